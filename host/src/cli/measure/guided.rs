//! A guided series: an axis is sent from place to place, and the person reads the dial.

use panestep::measure::axis::{self, AxisReading, Going};
use panestep::plan::clearance::{self, LiftMove, Lifts};
use panestep::schedule::Schedule;
use panestep::stand::{Axis, AxisId, Carrier, Drive, Stand, Way};
use panestep::take::Attended;
use panestep::units::{InUnit, reading_in};

use super::args::Guided;
use super::asker::{Asker, Go};
use super::kept::Kept;
use super::{place_of, wrong};
use crate::cli::Failure;
use crate::cli::at_stand::{Place, Teller, stood, told};
use crate::cli::home::homed;
use crate::cli::lifts;
use crate::cli::screen::say;

/// What the dial follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reads {
    /// The travel.
    Along,
    /// A square or straight-edge beside it.
    Across,
}

/// A series from its first reading to its last.
pub(super) struct Series {
    pub(super) readings: Vec<AxisReading>,
    pub(super) kept: Kept,
}

/// Way before the first target that takes up the slack, axis units, where the travel has room for
/// it: far more than a sound drive has, and a quarter of its motor's turn.
const LEAD: f64 = 1.0;

/// Where to send an axis, and how often.
pub(super) struct Route {
    /// Targets, rising, axis units.
    pub(super) targets: Vec<f64>,
    /// Where to come from for the first one, either way.
    pub(super) ends: (f64, f64),
    /// Runs each way.
    pub(super) runs: u32,
    /// Whether there are runs back at all.
    pub(super) both: bool,
}

impl Route {
    /// Chooses the targets.
    /// `turn` is what a turn of its motor moves it, axis units.
    pub(super) fn new(
        of: &Axis,
        turn: Option<f64>,
        guided: &Guided,
        (runs, both): (u32, bool),
    ) -> Result<Self, Failure> {
        let unit = of.way.unit();
        let (least, most) = of.travel;
        let step = match &of.drive {
            Drive::Motor(motor) => 1.0 / motor.steps_per_unit,
            Drive::Hand { scale, .. } => *scale,
        };
        let from = guided
            .from
            .as_deref()
            .map(|it| place_of("--from", it, unit))
            .transpose()?;
        let to = guided
            .to
            .as_deref()
            .map(|it| place_of("--to", it, unit))
            .transpose()?;
        for (option, place) in [("--from", from), ("--to", to)] {
            if let Some(place) = place
                && !(least..=most).contains(&place)
            {
                return Err(wrong(format!(
                    "{option} {} is outside the travel, from {} to {}",
                    InUnit(place, unit),
                    InUnit(least, unit),
                    InUnit(most, unit)
                )));
            }
        }
        let count = guided.targets.map(usize::from);
        let (from, to) = (from.unwrap_or(least), to.unwrap_or(most));
        if to - from < 4.0 * step {
            return Err(wrong(format!(
                "from {} to {} there is no room for targets; --to has to lie well above --from",
                InUnit(from, unit),
                InUnit(to, unit)
            )));
        }
        let mut targets = axis::targets((from, to), count, step);
        targets.dedup();
        let (Some(&first), Some(&last)) = (targets.first(), targets.last()) else {
            return Err(wrong("there is no room for targets"));
        };
        let lead = [
            4.0 * of.backlash,
            4.0 * step,
            LEAD,
            turn.unwrap_or(0.0) / 4.0,
        ]
        .into_iter()
        .fold(0.05 * (to - from), f64::max);
        let to_step = |place: f64| (place / step).round() * step;
        let inside = |place: f64| {
            let place = to_step(place);
            if place < least {
                place + step
            } else if place > most {
                place - step
            } else {
                place
            }
        };
        Ok(Self {
            ends: (
                inside((first - lead).max(least)),
                inside((last + lead).min(most)),
            ),
            targets,
            runs,
            both,
        })
    }

    /// The way before the first target, in the direction that has less of it; axis units.
    pub(super) fn lead(&self) -> f64 {
        let (first, last) = (self.targets[0], self.targets[self.targets.len() - 1]);
        (first - self.ends.0).min(self.ends.1 - last)
    }

    /// Sees whether a lift can go the whole route while everything else stays, coming from `here`,
    /// mm. Says where nobody can tell.
    fn clear(&self, stand: &Stand, of: Carrier, here: f64, lifts: &Lifts) -> Result<(), Failure> {
        let (least, most) = self.ends;
        let ways = [(here, least), (here, most), (least, most)].map(|(from_mm, to_mm)| LiftMove {
            of,
            from_mm,
            to_mm,
            least_mm: least,
        });
        for way in &ways {
            clearance::clear(stand, way, lifts).map_err(|touch| {
                wrong(format!(
                    "on the way from {least:.3} mm to {most:.3} mm {touch}; nothing was measured. \
                     Measure a part of the travel, with --from and --to, or move the other one out \
                     of its way first"
                ))
            })?;
        }
        // Once is enough.
        let _ = ways.iter().any(|way| lifts::caution(stand, way, lifts));
        Ok(())
    }

    /// Every stop in order: run, which way, where to come from where that is not the last stop, and
    /// the target.
    pub(super) fn stops(&self) -> Vec<(u32, Going, Option<f64>, f64)> {
        let mut stops = Vec::new();
        for run in 1..=self.runs {
            let begin = |going, end| {
                move |(at, &target): (usize, &f64)| (run, going, (at == 0).then_some(end), target)
            };
            stops.extend(
                self.targets
                    .iter()
                    .enumerate()
                    .map(begin(Going::Forward, self.ends.0)),
            );
            if self.both {
                let back = self.targets.iter().rev().enumerate();
                stops.extend(back.map(begin(Going::Backward, self.ends.1)));
            }
        }
        stops
    }
}

/// Sends an axis to every stop of a route and asks for the reading at each. `head` is that of the
/// saved table, with `@` for the unit.
pub(super) fn series(
    place: &Place,
    id: AxisId,
    route: &Route,
    guided: &Guided,
    (reads, head): (Reads, &'static str),
) -> Result<Series, Failure> {
    let of = &place.stand().axes[id.0];
    let unit = of.way.unit();
    if let Some(word) = &guided.unit {
        reading_in("1", unit, Some(word)).map_err(|error| wrong(format!("--unit: {error}")))?;
    }
    let name = format!("{} {}", place.stand().carrier_name(of.of), of.way.name());
    let asker = Asker::new(place, id, reads, guided.unit.as_deref());
    let tell = |moved_by: &str| {
        say(&format!(
            "{name}: {} targets from {} to {}, {} each way{}, {moved_by}",
            route.targets.len(),
            InUnit(route.targets[0], unit),
            InUnit(route.targets[route.targets.len() - 1], unit),
            if route.runs == 1 {
                "one run".to_owned()
            } else {
                format!("{} runs", route.runs)
            },
            if route.both { "" } else { " (forward only)" },
        ));
    };
    let kept = Kept::begin(guided.save.as_deref(), head, unit, place.file.per_turn(id))?;
    let readings = match &of.drive {
        Drive::Hand { .. } => {
            if of.way == Way::Lift {
                let lifts = Lifts::of(place.stand());
                route.clear(place.stand(), of.of, route.ends.0, &lifts)?;
            }
            tell("moved by hand");
            let mut last: Option<f64> = None;
            let mut go = |target: f64| {
                let toward = last.map_or("", |last| of.way.toward(target - last));
                last = Some(target);
                say(&format!(
                    "move {name}{} until its scale reads {}",
                    if toward.is_empty() {
                        String::new()
                    } else {
                        format!(" {toward}, never back,")
                    },
                    InUnit(target, unit)
                ));
                place.rig.crank(id, target);
                Ok(())
            };
            asker.all(route, &mut go, &kept)?
        }
        Drive::Motor(_) => {
            let schedule = place.schedule()?;
            let at = motor(&schedule, place, id)?;
            place.rig.stop_is_tested(place.stand(), place.file.path())?;
            let mut teller = Teller::new(&schedule);
            place.attend(&schedule, &mut teller, |attended| {
                clear_way(place, &schedule, attended, at, route)?;
                place.set_up(attended)?;
                homed(attended, &[at])?;
                tell("moved by its motor: keep clear");
                let mut go: Box<Go<'_>> = Box::new(|target| goes(attended, at, target));
                asker.all(route, &mut go, &kept)
            })?
        }
    };
    Ok(Series { readings, kept })
}

/// Before anything moves: whether a lift's route stays clear of its neighbours. Those that go home
/// with it will be at their switches, the others stay where they are.
fn clear_way(
    place: &Place,
    schedule: &Schedule,
    attended: &mut Attended<'_, '_>,
    at: usize,
    route: &Route,
) -> Result<(), Failure> {
    let stand = place.stand();
    if schedule.motors[at].way != Way::Lift {
        return Ok(());
    }
    let seen = attended.look().map_err(|error| stood(&error))?;
    let mut known = lifts::known(stand, schedule, &seen);
    let home = |axis: usize| {
        let motor = &schedule.motors[axis];
        let (least, most) = motor.travel;
        f64::from(motor.switch.clamp(least, most)) * motor.step_size
    };
    for axis in attended.homes_with(&[at]) {
        known.know(lifts::carrier(stand, &schedule.motors[axis]), home(axis));
    }
    route
        .clear(
            stand,
            lifts::carrier(stand, &schedule.motors[at]),
            home(at),
            &known,
        )
        .map_err(|failure| failure.and_hint("nothing was moved"))
}

/// An axis's place among the motors.
pub(super) fn motor(schedule: &Schedule, place: &Place, id: AxisId) -> Result<usize, Failure> {
    let of = &place.stand().axes[id.0];
    let name = place.stand().carrier_name(of.of);
    schedule
        .motors
        .iter()
        .position(|motor| motor.of == name && motor.way == of.way)
        .ok_or_else(|| {
            wrong(format!(
                "{name} {} is moved by hand, not by a motor",
                of.way.name()
            ))
        })
}

fn goes(attended: &mut Attended<'_, '_>, at: usize, target: f64) -> Result<(), Failure> {
    let axis = attended.axis(at).map_err(|error| stood(&error))?;
    let steps = (target / axis.step_size).round() as i32;
    let from = attended.look().map_err(|error| stood(&error))?.axes[at].steps;
    if from != steps {
        say(&told(axis, from, steps));
    }
    attended
        .go_straight_to(at, steps)
        .map_err(|error| stood(&error))
}
