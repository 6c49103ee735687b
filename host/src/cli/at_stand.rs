//! What the commands at the stand have in common: the stand, its boards, who is asked and told.

use std::cell::Cell;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use panestep::file::amend::StandFile;
use panestep::plan;
use panestep::schedule::{MotorAxis, Schedule};
use panestep::stand::{Drive, Stand};
use panestep::take::{self, Attended, Stage, TakeError, Watch};
use panestep::units::InUnit;

use super::muster::muster;
use super::people::Desk;
use super::rig::Rig;
use super::screen::{about, clock_time, say};
use super::take::ended;
use super::typed::Typing;
use super::{Failure, args, interrupt};

/// A stand under a person's hands.
pub(crate) struct Place {
    pub(crate) file: StandFile,
    pub(crate) rig: Rig,
    pub(crate) stop: Arc<AtomicBool>,
    pub(crate) typing: Rc<Typing>,
    /// Whether every board has been looked for.
    mustered: Cell<bool>,
}

impl Place {
    /// Reads the stand and finds out where its boards are; opens nothing.
    pub(crate) fn new(typed: &args::AtStand) -> Result<Self, Failure> {
        let path = typed
            .stand
            .clone()
            .unwrap_or_else(|| PathBuf::from("stand.toml"));
        if typed.stand.is_none() && !path.exists() {
            return Err(
                Failure::wrong("there is no stand.toml in this folder; nothing was done")
                    .hint("name the stand file with --stand FILE"),
            );
        }
        Self::of_file(typed, path)
    }

    /// The stand of a shot.
    pub(crate) fn of_shot(typed: &args::AtStand, shot: &Path) -> Result<Self, Failure> {
        let text = std::fs::read_to_string(shot)
            .map_err(|error| Failure::wrong(format!("{}: {error}", shot.display())))?;
        let named = panestep::file::stand_of(&shot.display().to_string(), &text)
            .map_err(|problems| super::plan::file_failure(&problems))?;
        let path = shot.parent().unwrap_or(Path::new("")).join(named);
        let place = Self::of_file(typed, path)?;
        if let Some(other) = &typed.stand {
            let other =
                StandFile::read(other).map_err(|problems| super::plan::file_failure(&problems))?;
            if other.stand() != place.stand() {
                return Err(
                    Failure::wrong("the shot is for another stand than --stand names")
                        .hint("nothing was moved; leave --stand out"),
                );
            }
        }
        Ok(place)
    }

    fn of_file(typed: &args::AtStand, path: PathBuf) -> Result<Self, Failure> {
        let file =
            StandFile::read(path).map_err(|problems| super::plan::file_failure(&problems))?;
        let simulated = args::Simulated {
            seed: typed.seed,
            without_pictures: true,
        };
        let rig = Rig::new(file.stand(), &typed.ports, &simulated, 0)?;
        let stop = interrupt::flag()?;
        let typing = Rc::new(Typing::new(&stop));
        Ok(Self {
            file,
            rig,
            stop,
            typing,
            mustered: Cell::new(false),
        })
    }

    /// The stand.
    pub(crate) fn stand(&self) -> &Stand {
        self.file.stand()
    }

    /// Its boards and axes, without a frame.
    pub(crate) fn schedule(&self) -> Result<Schedule, Failure> {
        plan::standing(self.stand()).map_err(|refusals| {
            Failure::wrong(format!(
                "{} cannot be moved as its file describes it; nothing was moved\n\n{refusals}",
                self.stand().name
            ))
        })
    }

    /// The same, of a stand that has motors.
    pub(crate) fn motors(&self) -> Result<Schedule, Failure> {
        let schedule = self.schedule()?;
        if schedule.motors.is_empty() {
            return Err(Failure::wrong(format!(
                "{} has no axis that a motor moves",
                self.stand().name
            ))
            .hint("nothing was moved; what is moved by hand is asked for by rehearse and shoot"));
        }
        Ok(schedule)
    }

    /// The person.
    pub(crate) fn desk(&self) -> Desk<'_> {
        Desk::new(self.stand(), &self.rig, &self.typing)
    }

    /// Begins a session with every board and works with them. The first time, all of them are looked
    /// for before any that is missing is complained of.
    pub(crate) fn attend<T>(
        &self,
        schedule: &Schedule,
        watch: &mut dyn Watch,
        work: impl FnOnce(&mut Attended<'_, '_>) -> Result<T, Failure>,
    ) -> Result<T, Failure> {
        if !self.mustered.replace(true) {
            muster(&self.rig, self.stand(), "nothing was moved")?;
        }
        let mut stage = Stage {
            boards: &mut &self.rig,
            clock: self.rig.clock(),
            person: &mut (),
            watch,
            trigger: &mut (),
            album: None,
            interrupt: &self.stop,
        };
        let mut attended =
            Attended::connect(schedule, &mut stage).map_err(|error| ended(&error))?;
        work(&mut attended)
    }

    /// Sets the boards up. Where one has been halted by its stop or a limit switch, says why, and
    /// asks whether it may move again.
    pub(crate) fn set_up(&self, attended: &mut Attended<'_, '_>) -> Result<(), Failure> {
        let seen = attended.look().map_err(|error| ended(&error))?;
        let halted: Vec<_> = seen
            .boards
            .iter()
            .filter(|board| board.wants_a_person())
            .collect();
        for board in &halted {
            let why = board.halt.as_deref().unwrap_or_default();
            say(&format!("board {} has stopped: {why}", board.name));
            if board.status.switches.stop {
                return Err(Failure::stopped(format!(
                    "the stop circuit of board {} is open; nothing was moved",
                    board.name
                ))
                .hint("let the stop button out, or mend its wire, once all is well"));
            }
        }
        if !halted.is_empty() {
            let answer = self.desk().yes_or_no(
                "  is all well, and may the motors be switched on again? yes, or no to stop here:",
            );
            if answer != Some(true) {
                return Err(Failure::stopped("nothing was moved"));
            }
        }
        attended
            .set_up(!halted.is_empty())
            .map_err(|error| ended(&error))
    }

    /// The axes of a level, or the one of a level that goes a certain way, or all; by their places
    /// among the motors.
    pub(crate) fn axes(
        &self,
        schedule: &Schedule,
        level: Option<&str>,
        direction: Option<&str>,
    ) -> Result<Vec<usize>, Failure> {
        let Some(level) = level else {
            return Ok((0..schedule.motors.len()).collect());
        };
        let way = direction.map(|word| self.way(level, word)).transpose()?;
        let places: Vec<usize> = (0..schedule.motors.len())
            .filter(|&place| {
                let axis = &schedule.motors[place];
                axis.of == level && way.is_none_or(|(way, _)| way == axis.way)
            })
            .collect();
        if !places.is_empty() {
            return Ok(places);
        }
        let stand = self.stand();
        let by_hand = stand.axes.iter().find(|axis| {
            matches!(axis.drive, Drive::Hand { .. })
                && stand.carrier_name(axis.of) == level
                && way.is_none_or(|(way, _)| way == axis.way)
        });
        let known = self.known();
        Err(match by_hand {
            Some(axis) => Failure::wrong(format!(
                "{level} {} is moved by hand, by its scale: no board can move it",
                axis.way.name()
            )),
            None if !self.carries(level) => {
                Failure::wrong(format!("the stand has no level {level:?}"))
            }
            None => Failure::wrong(match direction {
                Some(word) => format!("{level} has no axis that goes {word}"),
                None => format!("{level} has no axis at all"),
            }),
        }
        .hint(format!("nothing was moved. {known}")))
    }

    /// The way that a direction's word means, and whether it is the one back.
    pub(crate) fn way(
        &self,
        level: &str,
        word: &str,
    ) -> Result<(panestep::stand::Way, bool), Failure> {
        panestep::stand::Way::of_word(word).ok_or_else(|| {
            Failure::wrong(format!("{word:?} is no direction of {level}"))
                .hint(format!("nothing was moved. {}", self.known()))
        })
    }

    fn carries(&self, level: &str) -> bool {
        level == "camera" || self.stand().levels.iter().any(|known| known.name == level)
    }

    /// What can be named, for whoever named something else.
    fn known(&self) -> String {
        let stand = self.stand();
        let mut lines = vec!["What there is to be moved:".to_owned()];
        for axis in &stand.axes {
            let [forth, _, back] = axis.way.words();
            let hand = match axis.drive {
                Drive::Hand { .. } => ", by hand",
                Drive::Motor(_) => "",
            };
            lines.push(format!(
                "  {} {} ({forth}, {back}{hand})",
                stand.carrier_name(axis.of),
                axis.way.name(),
            ));
        }
        lines.join("\n")
    }
}

/// Tells of homing and of what is waited for.
pub(crate) struct Teller<'s> {
    schedule: &'s Schedule,
}

impl<'s> Teller<'s> {
    pub(crate) fn new(schedule: &'s Schedule) -> Self {
        Self { schedule }
    }
}

impl Watch for Teller<'_> {
    fn see(&mut self, progress: &take::Progress<'_>) {
        match *progress {
            take::Progress::Homing {
                axis,
                number: (number, all),
            }
            | take::Progress::Checking {
                axis,
                number: (number, all),
            } => {
                let known = self
                    .schedule
                    .motors
                    .iter()
                    .find(|motor| motor.name() == axis);
                let longest =
                    known.map_or(Duration::ZERO, |motor| Attended::homing_time(motor, None));
                say(&format!(
                    "looking for the home switch of {axis} ({number} of {all}), {} at most",
                    clock_time(longest)
                ));
            }
            take::Progress::Connected { board } => say(&format!("board {board} answers")),
            take::Progress::Homed { axis } => say(&format!("{axis} is homed")),
            take::Progress::UnderWay { left } => {
                super::screen::passing(&format!("  under way, {} left", about(left)));
            }
            _ => {}
        }
    }
}

/// Where an axis is, as people read it.
pub(crate) fn at(axis: &MotorAxis, steps: i32) -> InUnit {
    InUnit(f64::from(steps) * axis.step_size, axis.unit)
}

/// Which way an axis goes and how far, from where to where.
pub(crate) fn told(axis: &MotorAxis, from: i32, to: i32) -> String {
    let by = f64::from(to) - f64::from(from);
    let amount = InUnit(by.abs() * axis.step_size, axis.unit);
    if from == to {
        return format!(
            "{} {} stays at {}",
            axis.of,
            axis.way.name(),
            at(axis, from)
        );
    }
    format!(
        "{} goes {} by {amount}, from {} to {}",
        axis.of,
        axis.way.toward(by),
        at(axis, from),
        at(axis, to)
    )
}

/// An ending at the stand, with what to do where something is known to help.
pub(crate) fn stood(error: &TakeError) -> Failure {
    let failure = ended(error);
    match error {
        TakeError::NotHomed { .. } => failure.hint(
            "panestep home, or --home with this command, homes it. (A stand simulated inside the \
             program is a new one each time, and never homed at first.)",
        ),
        TakeError::Halted { .. } => {
            failure.hint("see what stopped it, make sure that nothing can be hurt, then begin anew")
        }
        _ => failure,
    }
}
