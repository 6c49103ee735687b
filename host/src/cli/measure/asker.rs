//! Who asks for the readings of a guided series, and notices what cannot be.

use panestep::measure::axis::{AxisReading, Going, Oddity, oddity, strays};
use panestep::sim::Random;
use panestep::stand::{AxisId, AxisUnit};
use panestep::units::{InUnit, reading_in};

use super::guided::{Reads, Route};
use super::kept::Kept;
use crate::cli::Failure;
use crate::cli::at_stand::Place;
use crate::cli::screen::say;

/// How finely a simulated dial reads, and how far it is off at most, axis units.
const DIAL: f64 = 0.001;
const DIAL_OFF: f64 = 0.002;

/// A travel that leans by more than this part of the way is none that a square is held against.
pub(super) const STEEP: f64 = 0.05;

/// How the axis gets to a target, coming from where it is.
pub(super) type Go<'a> = dyn FnMut(f64) -> Result<(), Failure> + 'a;

pub(super) struct Asker<'a> {
    place: &'a Place,
    id: AxisId,
    name: String,
    unit: AxisUnit,
    reads: Reads,
    /// The unit of what is typed without one.
    word: String,
    /// What never counts as odd, axis units.
    coarse: f64,
    noise: Random,
    readings: Vec<AxisReading>,
    /// Reading per unit sent, where the person has let an odd one stand: so it may be with others,
    /// too.
    learnt: Option<f64>,
}

/// What is to become of a reading.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Stands,
    Anew,
}

fn ended() -> Failure {
    Failure::stopped("the series was ended before its end")
}

impl<'a> Asker<'a> {
    pub(super) fn new(place: &'a Place, id: AxisId, reads: Reads, word: Option<&str>) -> Self {
        let of = &place.stand().axes[id.0];
        let unit = of.way.unit();
        Self {
            place,
            id,
            name: format!("{} {}", place.stand().carrier_name(of.of), of.way.name()),
            unit,
            reads,
            word: word.unwrap_or(unit.sign()).to_owned(),
            coarse: 0.5 + 2.0 * of.backlash,
            noise: Random::new(0x5EED),
            readings: Vec::new(),
            learnt: None,
        }
    }

    /// Goes to every stop of a route and asks for the reading there.
    pub(super) fn all(
        mut self,
        route: &Route,
        go: &mut Go<'_>,
        kept: &Kept,
    ) -> Result<Vec<AxisReading>, Failure> {
        let simulated = match (self.place.rig.is_simulated(), self.reads) {
            (false, _) => "",
            (true, Reads::Along) => " (simulated stand: Enter reads the dial for you);",
            (true, Reads::Across) => {
                " (simulated stand: it has no square, so that nothing can be read for you);"
            }
        };
        say(&format!(
            "  type each reading, in {} or with its unit;{simulated} stop ends it",
            self.word
        ));
        let done = self.stops(route, go, kept);
        done.map_err(|failure| failure.and_hint(kept.so_far(&self.readings)))?;
        Ok(self.readings)
    }

    fn stops(&mut self, route: &Route, go: &mut Go<'_>, kept: &Kept) -> Result<(), Failure> {
        for (run, going, from, target) in route.stops() {
            let which = format!("run {run} of {}, ", route.runs);
            let reading = self.one(go, from, target, going, &which)?;
            self.readings.push(AxisReading {
                line: self.readings.len() + 1,
                target,
                going,
                run,
                reading,
            });
            kept.keep(&self.readings)?;
        }
        let mut stay = Vec::new();
        while let Some(stray) = strays(&self.readings)
            .into_iter()
            .find(|it| !stay.contains(&it.place))
        {
            let it = self.readings[stray.place];
            say(&format!(
                "run {}, {} at {}: {} lies {} from what the others have there",
                it.run,
                self.toward(it.going),
                InUnit(it.target, self.unit),
                InUnit(it.reading, self.unit),
                InUnit(stray.by, self.unit)
            ));
            let question = "  read it again? yes, or no where it stays:";
            if self.choice(question, &["yes", "no"])? == "no" {
                stay.push(stray.place);
                continue;
            }
            let from = match it.going {
                Going::Forward => route.ends.0,
                Going::Backward => route.ends.1,
            };
            let reading = self.one(go, Some(from), it.target, it.going, "once more, ")?;
            self.readings[stray.place].reading = reading;
            kept.keep(&self.readings)?;
        }
        Ok(())
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
            let dial = self.dial();
            let reading = self.typed(&what, dial)?;
            if self.judge(target, reading)? == Verdict::Stands {
                return Ok(reading);
            }
        }
    }

    /// A reading as it is typed; `dial` is what Enter stands for.
    fn typed(&self, what: &str, dial: Option<f64>) -> Result<f64, Failure> {
        loop {
            say(what);
            let typed = self.place.typing.line().ok_or_else(ended)?;
            match (typed.as_str(), dial) {
                ("stop", _) => return Err(ended()),
                ("", None) => say("  nothing was typed; the reading is wanted, or stop"),
                ("", Some(dial)) => {
                    say(&format!("  the dial reads {}", InUnit(dial, self.unit)));
                    return Ok(dial);
                }
                (typed, _) => match reading_in(typed, self.unit, Some(&self.word)) {
                    Ok(reading) => return Ok(reading),
                    Err(error) => say(&format!("  {error}")),
                },
            }
        }
    }

    /// One of some words. Enter is none of them: it is asked again.
    fn choice<'w>(&self, question: &str, words: &[&'w str]) -> Result<&'w str, Failure> {
        loop {
            say(question);
            let typed = self.place.typing.line().ok_or_else(ended)?.to_lowercase();
            if typed == "stop" {
                return Err(ended());
            }
            let meant = words
                .iter()
                .find(|word| **word == typed || typed.len() == 1 && word.starts_with(&typed));
            if let Some(word) = meant {
                return Ok(word);
            }
            say(&format!("  please type {}, or stop", words.join(", ")));
        }
    }

    /// What a simulated dial reads.
    fn dial(&mut self) -> Option<f64> {
        if self.reads == Reads::Across {
            return None;
        }
        let true_place = self.place.rig.dial(self.id)?;
        let off = self.noise.between(-DIAL_OFF, DIAL_OFF);
        Some(((true_place + off) / DIAL).round() * DIAL)
    }

    /// Why a reading does not go with the way that the axis was sent since the first one.
    fn odd(&self, sent: f64, read: f64) -> Option<&'static str> {
        let goes_with = |scale: f64| oddity(sent * scale, read, self.coarse).is_none();
        if self.learnt.is_some_and(goes_with) {
            return None;
        }
        if self.reads == Reads::Across {
            let steep = read.abs() > (sent.abs() * STEEP).max(self.coarse);
            return steep.then_some(
                "a slip in reading or typing, or a dial that rides along the travel and not across it",
            );
        }
        Some(match oddity(sent, read, self.coarse)? {
            Oddity::Mirrored => "the wrong sign",
            Oddity::Inches if self.unit == AxisUnit::Millimetre => {
                "inches and millimetres mixed up"
            }
            Oddity::Centimetres if self.unit == AxisUnit::Millimetre => {
                "centimetres and millimetres mixed up"
            }
            Oddity::Inches | Oddity::Centimetres | Oddity::Off => "a slip in reading or typing",
        })
    }

    /// Whether a reading goes with where the axis was sent, or the person lets it stand.
    fn judge(&mut self, target: f64, reading: f64) -> Result<Verdict, Failure> {
        loop {
            let Some(first) = self.readings.first().copied() else {
                return Ok(Verdict::Stands);
            };
            let (sent, read) = (target - first.target, reading - first.reading);
            let Some(why) = self.odd(sent, read) else {
                return Ok(Verdict::Stands);
            };
            say(&format!(
                "  since the first reading {} has been sent {}, but the reading has changed by {}: \
                 this looks like {why}",
                self.name,
                signed(sent, self.unit),
                signed(read, self.unit)
            ));
            let question = format!(
                "  type it again? yes, or no where the dial really reads so; or first, where the \
                 first reading, {}, was wrong:",
                InUnit(first.reading, self.unit)
            );
            match self.choice(&question, &["yes", "no", "first"])? {
                "yes" => return Ok(Verdict::Anew),
                "no" => {
                    if sent != 0.0 {
                        self.learnt = Some(read / sent);
                    }
                    return Ok(Verdict::Stands);
                }
                _ => {
                    let what = format!(
                        "  what the dial did read first, at {}:",
                        InUnit(first.target, self.unit)
                    );
                    self.readings[0].reading = self.typed(&what, None)?;
                }
            }
        }
    }
}

fn signed(value: f64, unit: AxisUnit) -> String {
    format!("{:+}", InUnit(value, unit))
}
