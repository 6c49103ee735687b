//! A guided series: an axis is sent from place to place, and the person reads the dial.

use panestep::measure::axis::{self, AxisReading, Going, Oddity, oddity, strays};
use panestep::measure::table;
use panestep::schedule::Schedule;
use panestep::sim::Random;
use panestep::stand::{Axis, AxisId, AxisUnit, Drive};
use panestep::take::Attended;
use panestep::units::InUnit;

use super::args::Guided;
use super::kept::Kept;
use super::{place_of, wrong};
use crate::cli::Failure;
use crate::cli::at_stand::{Place, Teller, stood, told};
use crate::cli::home::homed;
use crate::cli::screen::say;

/// How finely a simulated dial reads, and how far it is off at most, axis units.
const DIAL: f64 = 0.001;
const DIAL_OFF: f64 = 0.002;

/// Where to send an axis, and how often.
pub(super) struct Route {
    /// Targets, rising, axis units.
    pub(super) targets: Vec<f64>,
    /// Where to come from for the first one, either way.
    ends: (f64, f64),
    /// Runs each way.
    pub(super) runs: u32,
    /// Whether there are runs back at all.
    pub(super) both: bool,
}

impl Route {
    /// Chooses the targets.
    pub(super) fn new(
        of: &Axis,
        guided: &Guided,
        (runs, both): (u32, bool),
    ) -> Result<Self, Failure> {
        let unit = of.way.unit();
        let (least, most) = of.travel;
        let step = match &of.drive {
            Drive::Motor(motor) => 1.0 / motor.steps_per_unit,
            Drive::Hand { scale } => *scale,
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
        // Enough to take up far more slack than a stand should have, where there is room for it.
        let lead = (0.05 * (to - from)).max(4.0 * of.backlash).max(4.0 * step);
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

    /// Every stop in order: run, which way, where to come from where that is not the last stop, and
    /// the target.
    fn stops(&self) -> Vec<(u32, Going, Option<f64>, f64)> {
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

/// How the axis gets to a target, coming from where it is.
type Go<'a> = dyn FnMut(f64) -> Result<(), Failure> + 'a;

/// Sends an axis to every stop of a route and asks for the reading at each. `head` is that of the
/// saved table, with `@` for the unit.
pub(super) fn series(
    place: &Place,
    id: AxisId,
    route: &Route,
    guided: &Guided,
    head: &'static str,
) -> Result<Vec<AxisReading>, Failure> {
    let of = &place.stand().axes[id.0];
    let unit = of.way.unit();
    if let Some(word) = &guided.unit {
        table::reading("1", unit, Some(word)).map_err(|error| wrong(format!("--unit: {error}")))?;
    }
    let name = format!("{} {}", place.stand().carrier_name(of.of), of.way.name());
    let mut asker = Asker {
        place,
        id,
        name: name.clone(),
        unit,
        word: guided
            .unit
            .clone()
            .unwrap_or_else(|| unit.sign().to_owned()),
        coarse: 0.5 + 2.0 * of.backlash,
        noise: Random::new(0x5EED),
        first: None,
        scale: 1.0,
    };
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
    match &of.drive {
        Drive::Hand { .. } => {
            tell("moved by hand");
            let kept = Kept::begin(guided.save.as_deref(), head, unit)?;
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
            asker.all(route, &mut go, &kept)
        }
        Drive::Motor(_) => {
            let schedule = place.schedule()?;
            let at = motor(&schedule, place, id)?;
            place.rig.stop_is_tested(place.stand(), place.file.path())?;
            let kept = Kept::begin(guided.save.as_deref(), head, unit)?;
            let mut teller = Teller::new(&schedule);
            place.attend(&schedule, &mut teller, |attended| {
                place.set_up(attended)?;
                homed(attended, &[at])?;
                tell("moved by its motor: keep clear");
                let mut go = |target: f64| goes(attended, at, target);
                asker.all(route, &mut go, &kept)
            })
        }
    }
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

struct Asker<'a> {
    place: &'a Place,
    id: AxisId,
    name: String,
    unit: AxisUnit,
    /// The unit of what is typed without one.
    word: String,
    /// What never counts as odd, axis units.
    coarse: f64,
    noise: Random,
    /// Target and reading that the others are compared with.
    first: Option<(f64, f64)>,
    /// Reading per unit, where the person has let an odd one stand.
    scale: f64,
}

impl Asker<'_> {
    fn all(
        &mut self,
        route: &Route,
        go: &mut Go<'_>,
        kept: &Kept,
    ) -> Result<Vec<AxisReading>, Failure> {
        let simulated = self.place.rig.is_simulated();
        say(&format!(
            "  type each reading, in {} or with its unit; {}",
            self.word,
            if simulated {
                "(simulated stand: Enter reads the dial for you); stop ends it"
            } else {
                "nothing, or stop, ends it"
            }
        ));
        let mut readings: Vec<AxisReading> = Vec::new();
        for (run, going, from, target) in route.stops() {
            let result = self.one(
                go,
                from,
                target,
                going,
                &format!("run {run} of {}, ", route.runs),
            );
            match result {
                Ok(reading) => {
                    readings.push(AxisReading {
                        line: readings.len() + 1,
                        target,
                        going,
                        run,
                        reading,
                    });
                    kept.keep(&readings)?;
                }
                Err(failure) => return Err(failure.and_hint(kept.so_far(&readings))),
            }
        }
        let mut stay = Vec::new();
        while let Some(stray) = strays(&readings)
            .into_iter()
            .find(|it| !stay.contains(&it.place))
        {
            let it = readings[stray.place];
            say(&format!(
                "run {}, {} at {}: {} lies {} from what the others have there",
                it.run,
                self.toward(it.going),
                InUnit(it.target, self.unit),
                InUnit(it.reading, self.unit),
                InUnit(stray.by, self.unit)
            ));
            if self
                .place
                .desk()
                .yes_or_no("  read it again? yes, or no where it stays:")
                != Some(true)
            {
                stay.push(stray.place);
                continue;
            }
            let from = match it.going {
                Going::Forward => route.ends.0,
                Going::Backward => route.ends.1,
            };
            match self.one(go, Some(from), it.target, it.going, "once more, ") {
                Ok(reading) => readings[stray.place].reading = reading,
                Err(failure) => return Err(failure.and_hint(kept.so_far(&readings))),
            }
            kept.keep(&readings)?;
        }
        Ok(readings)
    }

    fn toward(&self, going: Going) -> String {
        let way = self.place.stand().axes[self.id.0].way;
        let by = if going == Going::Forward { 1.0 } else { -1.0 };
        format!("going {}", way.toward(by))
    }

    /// Goes to a target, from beyond where that is wanted, and asks for its reading.
    fn one(
        &mut self,
        go: &mut Go<'_>,
        from: Option<f64>,
        target: f64,
        going: Going,
        which: &str,
    ) -> Result<f64, Failure> {
        if let Some(from) = from {
            go(from)?;
        }
        go(target)?;
        let what = format!(
            "{which}{}: {} stands at {}. The reading:",
            self.toward(going),
            self.name,
            InUnit(target, self.unit)
        );
        loop {
            say(&what);
            let stopped = || Failure::stopped("the series was ended before its end");
            let typed = self.place.typing.line().ok_or_else(stopped)?;
            let reading = match (typed.as_str(), self.dial()) {
                ("stop", _) | ("", None) => return Err(stopped()),
                ("", Some(dial)) => {
                    say(&format!("  the dial reads {}", InUnit(dial, self.unit)));
                    dial
                }
                (typed, _) => match table::reading(typed, self.unit, Some(&self.word)) {
                    Ok(reading) => reading,
                    Err(error) => {
                        say(&format!("  {error}"));
                        continue;
                    }
                },
            };
            if self.sensible(target, reading)? {
                return Ok(reading);
            }
        }
    }

    /// What a simulated dial reads.
    fn dial(&mut self) -> Option<f64> {
        let true_place = self.place.rig.dial(self.id)?;
        let off = self.noise.between(-DIAL_OFF, DIAL_OFF);
        Some(((true_place + off) / DIAL).round() * DIAL)
    }

    /// Whether a reading goes with where the axis was sent, or the person lets it stand.
    fn sensible(&mut self, target: f64, reading: f64) -> Result<bool, Failure> {
        let Some((first_target, first_reading)) = self.first else {
            self.first = Some((target, reading));
            return Ok(true);
        };
        let sent = target - first_target;
        let read = reading - first_reading;
        let Some(odd) = oddity(sent * self.scale, read, self.coarse) else {
            return Ok(true);
        };
        let why = match odd {
            Oddity::Mirrored => "the wrong sign",
            Oddity::Inches => "inches and millimetres mixed up",
            Oddity::Centimetres => "centimetres and millimetres mixed up",
            Oddity::Off => "a slip in reading or typing",
        };
        say(&format!(
            "  since the first reading {} has been sent {}, but the reading has changed by {}: \
             this looks like {why}",
            self.name,
            signed(sent, self.unit),
            signed(read, self.unit)
        ));
        let answer = self
            .place
            .desk()
            .yes_or_no("  type it again? yes, or no where the dial really reads so:");
        match answer {
            Some(true) => Ok(false),
            Some(false) => {
                // So it will be with the others, too.
                if sent != 0.0 {
                    self.scale = read / sent;
                }
                Ok(true)
            }
            None => Err(Failure::stopped("the series was ended before its end")),
        }
    }
}

fn signed(value: f64, unit: AxisUnit) -> String {
    format!("{:+}", InUnit(value, unit))
}
