//! `panestep jog`: an axis by a distance, to a position; axes to a frame.

use std::str::FromStr;

use panestep::plan::clearance::{self, LiftMove};
use panestep::schedule::{MotorAxis, Schedule};
use panestep::stand::{AxisUnit, Stand, Way};
use panestep::take::{Attended, Seen};
use panestep::units::{Angle, Length, QuantityError};

use super::at_stand::{Place, Teller, at, stood, told};
use super::home::homed;
use super::lifts;
use super::screen::say;
use super::{Failure, args, plan};

/// What was asked for.
enum Wish {
    /// An axis by so many units, with their sign.
    By(usize, f64),
    /// An axis to a position.
    To(usize, f64),
    /// Axes to where a frame wants them.
    Frame(Vec<usize>, u32),
}

/// Moves what was named.
pub(crate) fn jog(typed: &args::Jog) -> Result<(), Failure> {
    let words: Vec<&str> = typed.words.iter().map(String::as_str).collect();
    let frame = frame_words(&words)?;
    match (&typed.shot, frame) {
        (None, Some(_)) => {
            return Err(Failure::wrong("which shot is the frame of?")
                .hint("nothing was moved; name it with --shot SHOT"));
        }
        (Some(_), None) => {
            return Err(Failure::wrong("--shot goes with `to frame NUMBER` only")
                .hint("nothing was moved; such as: panestep jog to frame 12 --shot SHOT"));
        }
        _ => {}
    }
    let place = match &typed.shot {
        None => Place::new(&typed.at)?,
        Some(shot) => Place::of_shot(&typed.at, shot)?,
    };
    let (schedule, wish) = match (&typed.shot, frame) {
        (Some(path), Some((level, direction, frame))) => {
            let (stand, shot) = plan::read(path)?;
            let schedule = plan::planned(path, &stand, &shot)?.into_schedule();
            if frame == 0 || frame > schedule.frames {
                return Err(Failure::wrong(format!(
                    "there is no frame {frame}: {} has {}",
                    shot.name, schedule.frames
                ))
                .hint("nothing was moved"));
            }
            let axes = place.axes(&schedule, level, direction)?;
            (schedule, Wish::Frame(axes, frame))
        }
        _ => {
            let schedule = place.motors()?;
            let wish = axis_words(&place, &schedule, &words)?;
            (schedule, wish)
        }
    };
    if typed.home {
        place.rig.stop_is_tested(place.stand(), place.file.path())?;
    }
    let mut teller = Teller::new(&schedule);
    place.attend(&schedule, &mut teller, |attended| {
        Mover {
            stand: place.stand(),
            schedule: &schedule,
            attended,
        }
        .go(&place, &wish, typed.home)
    })
}

/// `[LEVEL [DIRECTION]] to frame NUMBER`, where it is that.
type FrameWords<'w> = Option<(Option<&'w str>, Option<&'w str>, u32)>;

fn frame_words<'w>(words: &[&'w str]) -> Result<FrameWords<'w>, Failure> {
    let (named, number) = match words {
        [named @ .., "to", "frame", number] => (named, *number),
        [.., "frame"] | [.., "frame", _] => {
            return Err(not_understood(words));
        }
        _ => return Ok(None),
    };
    let number = number.parse().map_err(|_| {
        Failure::wrong(format!("{number:?} is no frame's number")).hint("nothing was moved")
    })?;
    match *named {
        [] => Ok(Some((None, None, number))),
        [level] => Ok(Some((Some(level), None, number))),
        [level, direction] => Ok(Some((Some(level), Some(direction), number))),
        _ => Err(not_understood(words)),
    }
}

fn axis_words(place: &Place, schedule: &Schedule, words: &[&str]) -> Result<Wish, Failure> {
    let (level, direction, to, amount) = match words {
        [level, direction, "to", amount @ ..] => (*level, *direction, true, amount),
        [level, direction, amount @ ..] => (*level, *direction, false, amount),
        _ => return Err(not_understood(words)),
    };
    // What is moved comes first: whoever names a level wrongly has not yet thought of its unit.
    let axes = place.axes(schedule, Some(level), Some(direction))?;
    let axis = axes[0];
    let motor = &schedule.motors[axis];
    let (way, back) = place.way(level, direction)?;
    if amount.is_empty() {
        return Err(
            Failure::wrong(format!("how far is {level} to go {direction}?"))
                .hint("nothing was moved; such as: 2 mm, 1/16 in, 5 deg, or to -12 mm"),
        );
    }
    let value = quantity(&amount.join(" "), way.unit())
        .map_err(|error| Failure::wrong(error).hint("nothing was moved"))?;
    if to && back {
        let [forth, _, _] = way.words();
        return Err(Failure::wrong(format!(
            "a position counts {forth}, so that `{direction} to` could mean two places"
        ))
        .hint(format!(
            "nothing was moved; say `{level} {} to` with a minus sign where it is {direction} of zero",
            motor.way.name()
        )));
    }
    Ok(if to {
        Wish::To(axis, value)
    } else {
        Wish::By(axis, if back { -value } else { value })
    })
}

fn not_understood(words: &[&str]) -> Failure {
    Failure::wrong(format!("{:?} is not understood", words.join(" "))).hint(
        "nothing was moved; a level, a direction and a distance are wanted, such as `reeds east 2 \
         mm`, `reeds east to -12 mm` or `to frame 12 --shot SHOT`; panestep jog --help says more",
    )
}

fn quantity(text: &str, unit: AxisUnit) -> Result<f64, QuantityError> {
    match unit {
        AxisUnit::Millimetre => Length::from_str(text).map(Length::mm),
        AxisUnit::Degree => Angle::from_str(text).map(Angle::degrees),
    }
}

/// A stand while something is moved on it.
struct Mover<'p, 'a, 's, 'r> {
    stand: &'p Stand,
    schedule: &'p Schedule,
    attended: &'a mut Attended<'s, 'r>,
}

impl Mover<'_, '_, '_, '_> {
    fn go(&mut self, place: &Place, wish: &Wish, home: bool) -> Result<(), Failure> {
        // Everything that speaks against it is said before a motor is even switched on.
        let seen = self.look()?;
        let needed: &[usize] = match wish {
            Wish::By(..) => &[],
            Wish::To(axis, _) => std::slice::from_ref(axis),
            Wish::Frame(axes, _) => axes,
        };
        let lost: Vec<usize> = needed
            .iter()
            .copied()
            .filter(|&axis| !seen.axes[axis].homed)
            .collect();
        if lost.is_empty() || !home {
            self.targets(wish, &seen)?;
        }
        place.set_up(self.attended)?;
        if home && !lost.is_empty() {
            homed(self.attended, &lost)?;
        }
        let seen = self.look()?;
        match wish {
            Wish::By(axis, _) if !seen.axes[*axis].homed => self.nudge(wish, &seen),
            _ => self.bring(wish, &seen),
        }
    }

    fn look(&mut self) -> Result<Seen, Failure> {
        self.attended.look().map_err(|error| stood(&error))
    }

    fn axis(&self, place: usize) -> &MotorAxis {
        &self.schedule.motors[place]
    }

    /// A distance in whole steps.
    fn steps(&self, place: usize, amount: f64) -> Result<i32, Failure> {
        let axis = self.axis(place);
        let steps = (amount / axis.step_size).round();
        if steps.abs() >= f64::from(i32::MAX / 2) {
            return Err(Failure::wrong(format!(
                "that is {steps:.0} steps of {}: more than can be counted",
                axis.name()
            ))
            .hint("nothing was moved"));
        }
        Ok(steps as i32)
    }

    /// Where each axis is to end, as things stand; everything that can be refused is.
    fn targets(&mut self, wish: &Wish, seen: &Seen) -> Result<Vec<(usize, i32)>, Failure> {
        let targets = match *wish {
            Wish::By(axis, by) => {
                let steps = self.steps(axis, by)?;
                if steps == 0 {
                    return Err(Failure::wrong(format!(
                        "that is less than half a step: one step of {} is {}",
                        self.axis(axis).name(),
                        at(self.axis(axis), 1)
                    ))
                    .hint("nothing was moved"));
                }
                let now = seen.axes[axis];
                if !now.homed {
                    self.attended
                        .nudgeable(axis, steps)
                        .map_err(Failure::wrong)?;
                    return Ok(vec![(axis, now.steps.saturating_add(steps))]);
                }
                vec![(axis, now.steps.saturating_add(steps))]
            }
            Wish::To(axis, position) => vec![(axis, self.steps(axis, position)?)],
            Wish::Frame(ref axes, frame) => {
                let row = self.schedule.motors_at(frame).unwrap_or_default();
                axes.iter().map(|&axis| (axis, row[axis])).collect()
            }
        };
        for &(axis, steps) in &targets {
            self.attended.reachable(axis, steps).map_err(|error| {
                let failure = stood(&error);
                match error {
                    // What was typed leads nowhere.
                    panestep::take::TakeError::OutsideTravel { .. }
                    | panestep::take::TakeError::NoRoom { .. } => Failure::wrong(error),
                    _ => failure,
                }
            })?;
        }
        self.in_order(&targets, seen)
    }

    /// The same targets, lifts first, in an order in which none comes too near another.
    fn in_order(
        &self,
        targets: &[(usize, i32)],
        seen: &Seen,
    ) -> Result<Vec<(usize, i32)>, Failure> {
        let lift = |&(axis, to): &(usize, i32)| {
            let motor = self.axis(axis);
            let level = lifts::level(self.stand, motor)?;
            let mm = |steps: i32| f64::from(steps) * motor.step_size;
            Some(LiftMove {
                level,
                from_mm: mm(seen.axes[axis].steps),
                to_mm: mm(to),
                least_mm: mm(to.saturating_sub(motor.take_up)),
            })
        };
        let (lifts, others): (Vec<_>, Vec<_>) = targets
            .iter()
            .copied()
            .partition(|target| lift(target).is_some());
        let moves: Vec<LiftMove> = lifts.iter().filter_map(lift).collect();
        let order = clearance::order(
            self.stand,
            &moves,
            &lifts::known(self.stand, self.schedule, seen),
        )
        .map_err(|touch| {
            Failure::wrong(touch).hint("it was not moved; move the other one out of its way first")
        })?;
        let ordered = order.into_iter().map(|place| lifts[place]);
        Ok(ordered.chain(others).collect())
    }

    /// Says of which neighbours of a lift nobody can tell whether they are in its way.
    fn caution(&self, axis: usize, seen: &Seen) {
        if let Some(level) = lifts::level(self.stand, self.axis(axis)) {
            let known = lifts::known(self.stand, self.schedule, seen);
            lifts::caution(self.stand, level, &known);
        }
    }

    /// One axis that is not homed, slowly.
    fn nudge(&mut self, wish: &Wish, seen: &Seen) -> Result<(), Failure> {
        let [(axis, to)] = self.targets(wish, seen)?[..] else {
            return Ok(());
        };
        let motor = &self.schedule.motors[axis];
        let by = to.saturating_sub(seen.axes[axis].steps);
        say(&format!(
            "{} goes {} by {}, slowly: it is not homed, so that nobody knows from where",
            motor.of,
            motor.way.toward(f64::from(by)),
            at(motor, by.saturating_abs())
        ));
        self.caution(axis, seen);
        say("  waiting until it stands; Ctrl-C stops it");
        self.attended
            .nudge(axis, by)
            .map_err(|error| stood(&error))?;
        say(&format!("{} stands", motor.name()));
        Ok(())
    }

    /// Homed axes to their targets: each lift on its own, and then the others side by side.
    fn bring(&mut self, wish: &Wish, seen: &Seen) -> Result<(), Failure> {
        let targets = self.targets(wish, seen)?;
        for &(axis, to) in &targets {
            say(&told(self.axis(axis), seen.axes[axis].steps, to));
            self.caution(axis, seen);
        }
        let lifts = targets
            .iter()
            .take_while(|(axis, _)| self.axis(*axis).way == Way::Lift)
            .count();
        let (lifts, others) = targets.split_at(lifts);
        let groups = lifts.chunks(1).chain(std::iter::once(others));
        for group in groups.filter(|group| !group.is_empty()) {
            let moving: Vec<String> = group
                .iter()
                .filter(|&&(axis, to)| seen.axes[axis].steps != to)
                .map(|&(axis, _)| self.axis(axis).name())
                .collect();
            if moving.is_empty() {
                continue;
            }
            say(&format!(
                "  waiting for {}; Ctrl-C stops everything",
                moving.join(", ")
            ));
            self.attended
                .go_all_to(group)
                .map_err(|error| stood(&error))?;
        }
        let now = self.look()?;
        for &(axis, _) in &targets {
            let motor = self.axis(axis);
            say(&format!(
                "{} is at {}",
                motor.name(),
                at(motor, now.axes[axis].steps)
            ));
        }
        for (hand, reading) in self.hands(wish) {
            say(&format!("{hand} is moved by hand: to {reading}"));
        }
        Ok(())
    }

    /// What is still to be set by hand for a frame of which all was asked for.
    fn hands(&self, wish: &Wish) -> Vec<(String, panestep::units::InUnit)> {
        let Wish::Frame(axes, frame) = wish else {
            return Vec::new();
        };
        if axes.len() < self.schedule.motors.len() {
            return Vec::new();
        }
        let row = self.schedule.hands_at(*frame).unwrap_or_default();
        let hands = self.schedule.hands.iter().zip(row);
        hands
            .map(|(hand, &reading)| (hand.name(), panestep::units::InUnit(reading, hand.unit)))
            .collect()
    }
}
