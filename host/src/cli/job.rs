//! A take at work: who looks on, who answers, what is said at its end.

use std::cell::Cell;
use std::ops::ControlFlow;
use std::path::PathBuf;
use std::rc::Rc;
use std::sync::atomic::{AtomicBool, Ordering};

use panestep::picture::{Scene, animation};
use panestep::schedule::{Schedule, Turn};
use panestep::shot::Shot;
use panestep::stand::Stand;
use panestep::take::{
    self, Album, Check, Edit, Folder, FrameState, Journal, Outcome, Stage, Standing, TakeError,
    TakeState,
};

use super::onlooker::{Onlooker, listed};
use super::outside::{self, Outside};
use super::people::Desk;
use super::rig::{self, Rig};
use super::screen::{Progress, frames as frames_of, say};
use super::step::Keys;
use super::take::{ended, quoted};
use super::typed::Typing;
use super::{Failure, interrupt};

/// Width of a take's animation, pixels: a preview, not the pictures.
const ANIMATION_WIDTH: u32 = 640;

/// The exposure that is being made, or that the stand is arranged for.
type Exposed = Rc<Cell<Option<Turn>>>;

/// A take that is ready to run.
pub(crate) struct Job {
    pub(crate) stand: Stand,
    pub(crate) shot: Shot,
    pub(crate) schedule: Schedule,
    pub(crate) rig: Rig,
    pub(crate) folder: Folder,
    /// The stand file's own folder.
    pub(crate) base: PathBuf,
    /// Whether a person steps through it.
    pub(crate) step: bool,
    /// What has to be typed to go on.
    pub(crate) resume: String,
}

impl Job {
    /// Runs it to whatever end, and says what to do next.
    pub(crate) fn run(
        &self,
        mut outside: Outside,
        scene: Option<Scene>,
        mut journal: Journal,
        edits: &[Edit],
    ) -> Result<(), Failure> {
        let (frame, arranged) = (Rc::default(), Rc::default());
        let shutter = scene.map(|scene| self.shutter(scene, &frame, &arranged));
        let simulated_camera = shutter.is_some();
        if let (Rig::Simulated(simulated), Some(shutter)) = (&self.rig, &shutter) {
            rig::wire(simulated, shutter);
        }
        let stop = interrupt::flag()?;
        let mut onlooker = if self.step {
            Onlooker::of_steps(&self.schedule, frame)
        } else {
            let state = journal.state();
            let turns = state.turns() - state.dropped();
            Onlooker::new("shooting", &self.schedule, turns, frame)
                .gone_on_with(turns - state.left(), turns)
        };
        let typing = Rc::new(Typing::new(&stop));
        let mut desk = Desk::new(&self.stand, &self.rig, &typing)
            .with_frames_of(&self.schedule)
            .with_arranged(arranged)
            .with_shutter(shutter)
            .with_resume(&self.resume);
        let mut stage = Stage {
            boards: &mut &self.rig,
            clock: self.rig.clock(),
            person: &mut desk,
            watch: &mut onlooker,
            trigger: &mut outside.command,
            album: outside
                .folder
                .as_mut()
                .map(|folder| folder as &mut dyn Album),
            interrupt: &stop,
        };
        let outcome = if self.step {
            let mut keys = Keys::new(&typing, &self.schedule);
            take::shoot_by_steps(&self.schedule, &mut journal, &mut stage, edits, &mut keys)
        } else {
            take::shoot(&self.schedule, &mut journal, &mut stage, edits)
        };
        onlooker.done();
        let state = journal.state();
        match outcome {
            Ok(Outcome::Finished) => {
                say(&finished(state, &self.schedule));
                if simulated_camera {
                    self.animate(state, &stop)?;
                }
                say(&format!(
                    "what became of each: panestep record {}; to shoot some again: {} --again FRAMES",
                    quoted(self.folder.path()),
                    self.resume
                ));
                Ok(())
            }
            Ok(Outcome::Interrupted { next }) => {
                Err(Failure::stopped(interrupted(state, next)).hint(self.go_on()))
            }
            Err(error) => Err(self.broken_off(&error)),
        }
    }

    /// The simulated camera: where the stand watches a folder, its pictures go there, else into the
    /// take's own. It photographs what really lies there: what a person has said last.
    fn shutter(&self, scene: Scene, exposing: &Exposed, arranged: &Exposed) -> rig::Shutter {
        let (turn, arranged) = (Rc::clone(exposing), Rc::clone(arranged));
        let out: Vec<Vec<String>> = self
            .schedule
            .passes
            .iter()
            .map(|pass| pass.without.clone())
            .collect();
        let what = move || match (turn.get(), arranged.get()) {
            // The light is that of the exposure, where the same levels are out for both.
            (Some(turn), Some(lies)) if out.get(turn.pass) == out.get(lies.pass) => {
                (lies.frame, turn.pass)
            }
            (_, Some(lies)) => (lies.frame, lies.pass),
            (Some(turn), None) => (turn.frame, turn.pass),
            (None, None) => (1, 0),
        };
        match outside::pictures(&self.stand, &self.base) {
            Some(folder) => rig::shutter(&self.stand, scene, what, move || {
                rig::picture_of_camera(&folder)
            }),
            None => {
                let folder = self.folder.pictures();
                let turn = Rc::clone(exposing);
                rig::shutter(&self.stand, scene, what, move || {
                    let (frame, pass) = turn.get().map_or((1, None), |turn| {
                        (turn.frame, turn.several.then_some(turn.pass + 1))
                    });
                    Ok(rig::picture_of_frame(&folder, frame, pass))
                })
            }
        }
    }

    fn go_on(&self) -> String {
        let step = if self.step { " --step" } else { "" };
        format!("go on with: {}{step}", self.resume)
    }

    fn broken_off(&self, error: &TakeError) -> Failure {
        let go_on = self.go_on();
        let hint = match error {
            TakeError::NoFrame { .. } | TakeError::NotSoFar { .. } | TakeError::NoAnswer { .. } => {
                return Failure::wrong(error).hint(format!(
                    "what became of each frame: panestep record {}",
                    quoted(self.folder.path())
                ));
            }
            TakeError::Halted { .. } => {
                format!("see what stopped it, make sure that nothing can be hurt, then {go_on}")
            }
            TakeError::Journal(_) => format!("once there is room on the disk, {go_on}"),
            TakeError::Command { .. } => format!("mend the command, then {go_on}"),
            TakeError::Album(_) => format!("once the folder can be read again, {go_on}"),
            _ => go_on,
        };
        if error.resumable() {
            ended(error).hint(hint)
        } else {
            ended(error)
        }
    }

    /// The animation of a finished take's pictures.
    fn animate(&self, state: &TakeState, stop: &AtomicBool) -> Result<(), Failure> {
        let pictures = self.pictures(state)?;
        if pictures.is_empty() {
            return Ok(());
        }
        let path = self.folder.path().join("animation.gif");
        let mut progress = Progress::new("making the animation", 0);
        let made = animation::write(
            &pictures,
            &path,
            self.shot.rate,
            ANIMATION_WIDTH,
            |done, steps| {
                progress.of(done as u64, steps as u64, "");
                if stop.load(Ordering::Relaxed) {
                    ControlFlow::Break(())
                } else {
                    ControlFlow::Continue(())
                }
            },
        );
        progress.done();
        made.map_err(|error| {
            Failure::could_not(error)
                .hint("the take itself is whole: its pictures and journal are there")
        })?;
        let folder =
            outside::pictures(&self.stand, &self.base).unwrap_or_else(|| self.folder.pictures());
        say(&format!(
            "pictures in {}, animation {}",
            folder.display(),
            path.display()
        ));
        Ok(())
    }

    /// The last pictures of every frame, of each pass in which it is exposed, by the journal: frames
    /// that are left out have none.
    fn pictures(&self, state: &TakeState) -> Result<Vec<Vec<PathBuf>>, Failure> {
        let exposed = |frame: u32, pass: usize| {
            let number = state.order.number_of(frame, pass)?;
            state
                .frame(number)
                .filter(|frame| frame.standing == Standing::Exposed)
        };
        let passes = || 0..state.order.passes();
        let mut frames: Vec<Vec<PathBuf>> = Vec::new();
        if let Some(folder) = outside::pictures(&self.stand, &self.base) {
            for frame in 1..=state.order.frames() {
                let file = |pass| exposed(frame, pass)?.picture.as_ref();
                let files = passes().filter_map(file);
                frames.push(files.map(|file| folder.join(file)).collect());
            }
        } else {
            let folder = self.folder.pictures();
            let there = animation::frames_in(&folder).map_err(Failure::could_not)?;
            let several = state.order.passes() > 1;
            for (frame, mut files) in there {
                let mut file = |pass| {
                    exposed(frame, pass)?;
                    files.remove(&if several { pass + 1 } else { 0 })
                };
                frames.push(passes().filter_map(&mut file).collect());
            }
        }
        frames.retain(|files| !files.is_empty());
        Ok(frames)
    }
}

/// What became of a take that is finished.
fn finished(state: &TakeState, schedule: &Schedule) -> String {
    let frames = (1..=state.turns()).filter_map(|frame| state.frame(frame));
    let exposed: Vec<&FrameState> = frames
        .filter(|frame| frame.standing == Standing::Exposed)
        .collect();
    let passes = state.order.passes();
    let mut text = if passes > 1 {
        let frames = frames_of(state.order.frames() as usize);
        format!(
            "{} exposures made, of {frames} in {passes} passes",
            exposed.len()
        )
    } else {
        format!("{} exposed", frames_of(exposed.len()))
    };
    let again = exposed.iter().filter(|frame| frame.exposures > 1).count();
    let by_word = (1..=state.turns())
        .filter(|&frame| by_word(state, frame))
        .count();
    if again > 0 {
        text.push_str(&format!(", {again} of them more than once"));
    }
    if by_word > 0 {
        text.push_str(&format!(", {by_word} of them by a person's word"));
    }
    if state.dropped() > 0 {
        text.push_str(&format!(", {} left out", state.dropped()));
    }
    let evidence = schedule.exposure.flash_contact() || schedule.exposure.arrival.is_some();
    if !evidence {
        text.push_str("; nothing on this stand could tell if the camera did not follow a release");
    } else if again == 0 && by_word == 0 {
        text.push_str(", each exactly once");
    }
    let count = |check| exposed.iter().filter(|frame| frame.check == check).count();
    let (kept, unknown) = (count(Check::Kept), count(Check::Unknown));
    if kept > 0 {
        text.push_str(&format!("; {kept} were kept although in doubt"));
    }
    if unknown > 0 {
        text.push_str(&format!("; of {unknown} the poses could not be checked"));
    }
    text
}

/// Whether a frame counts as exposed because a person said so.
fn by_word(state: &TakeState, frame: u32) -> bool {
    state.frame(frame).is_some_and(|of| {
        let said = state.verdict(frame);
        of.standing == Standing::Exposed
            && (of.slot == 0 || said.is_some_and(|(token, yes)| yes && token.slot == of.slot))
    })
}

fn interrupted(state: &TakeState, next: Option<Turn>) -> String {
    match (state.open, state.suspects(), next) {
        (Some(open), ..) => format!(
            "stopped; whether frame {} has been exposed is still open and will be asked again; \
             everything stands still",
            state.turn(open.frame)
        ),
        (None, Some(suspects), _) => format!(
            "stopped; whether to shoot {} again is still open and will be asked again; everything \
             stands still",
            listed(&state.order, &suspects.frames)
        ),
        (None, None, Some(turn)) => {
            format!("stopped before frame {turn}; everything stands still")
        }
        (None, None, None) => {
            "stopped; every frame is exposed, and everything stands still".to_owned()
        }
    }
}
