//! Axes moved by hand: what a person at a crank is asked, and what is wrong with the reading that
//! comes back.
//!
//! A reading says where a level stands, and nothing else in here does: what it does not show cannot
//! be caught. So every reading that is not the one wanted is compared with those that the usual
//! mistakes give: the wrong way, half of it, twice, not at all, another level's. Where it looks as if
//! another level had been moved, the scales of all the others are looked at as well, before the
//! frame can be exposed.

use super::error::TakeError;
use super::journal::Entry;
use super::stage::{Crew, Interrupt};
use crate::schedule::{HandAxis, Schedule, Turn};
use crate::stand::{AxisUnit, Way};
use crate::units::Scale;

/// Places that lie more divisions apart than this are told apart by a reading: targets are whole
/// divisions, and a reading may be off by half a one.
const APART: f64 = 0.75;

/// An axis to be moved by hand.
#[derive(Clone, Debug, PartialEq)]
pub struct HandRequest<'a> {
    /// The frame.
    pub turn: Turn,
    /// What it carries, such as `sky`.
    pub of: &'a str,
    /// Which way it goes where its reading grows.
    pub way: Way,
    /// Its unit.
    pub unit: AxisUnit,
    /// The reading that it should have, in its unit.
    pub reading: f64,
    /// Its last known reading, where there is one: tells how far to go and which way.
    pub last: Option<f64>,
    /// The scale's division: the reading may differ by half of it.
    pub scale: f64,
    /// The least and the greatest reading that it can have.
    pub travel: (f64, f64),
    /// What was wrong with the answer before, where there was one.
    pub problem: Option<HandProblem>,
    /// The axis that was to be moved, where this one may have been moved in its place: it is asked
    /// for only to make sure.
    pub in_place_of: Option<&'a str>,
}

impl HandRequest<'_> {
    /// How far to go, with its sign, where the present reading is known.
    #[must_use]
    pub fn by(&self) -> Option<f64> {
        self.last.map(|last| self.reading - last)
    }

    /// Which way to go in plain words, where the present reading is known and is another.
    #[must_use]
    pub fn toward(&self) -> Option<&'static str> {
        // A person cannot set less than half a division.
        self.by()
            .filter(|by| by.abs() > self.scale / 2.0)
            .map(|by| self.way.toward(by))
    }
}

/// What is wrong with a reading. Amounts are in the axis's unit and have no sign.
#[derive(Clone, Debug, PartialEq)]
pub enum HandProblem {
    /// Not what it should be, and like no mistake that is known.
    Off {
        /// What was read.
        read: f64,
        /// By how much it is too great.
        by: f64,
    },
    /// The right amount on the wrong side of zero.
    Mirrored {
        /// What was read.
        read: f64,
    },
    /// Moved, but away from where it should go.
    WrongWay {
        /// What was read.
        read: f64,
        /// How far it has gone.
        gone: f64,
    },
    /// Not moved at all.
    Unmoved {
        /// What was read.
        read: f64,
    },
    /// On its way, but not far enough.
    Short {
        /// What was read.
        read: f64,
        /// How much is missing.
        missing: f64,
    },
    /// Moved twice as far as it should be.
    Double {
        /// What was read.
        read: f64,
    },
    /// What another axis's scale reads, or would read had that one been moved.
    Another {
        /// What was read.
        read: f64,
        /// That axis, such as `clouds north`.
        axis: String,
    },
    /// The right place in another unit than the scale's.
    OtherUnit {
        /// What was read.
        read: f64,
        /// The unit that it would be right in.
        unit: &'static str,
    },
    /// Where this axis cannot be.
    BeyondTravel {
        /// What was read.
        read: f64,
    },
    /// Not a number.
    NotANumber,
}

impl HandProblem {
    /// The reading that was wrong: it still tells where the axis stands, unless it is no reading of
    /// this axis.
    #[must_use]
    pub fn read(&self) -> Option<f64> {
        match *self {
            Self::Off { read, .. }
            | Self::Mirrored { read }
            | Self::WrongWay { read, .. }
            | Self::Unmoved { read }
            | Self::Short { read, .. }
            | Self::Double { read } => Some(read),
            Self::Another { .. }
            | Self::OtherUnit { .. }
            | Self::BeyondTravel { .. }
            | Self::NotANumber => None,
        }
    }

    /// Whether another level may have been moved in place of this one.
    fn points_elsewhere(&self) -> bool {
        matches!(self, Self::Unmoved { .. } | Self::Another { .. })
    }
}

/// Another axis moved by hand and its last reading, in the same unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Other {
    /// Such as `clouds north`.
    pub axis: String,
    /// What its scale reads as far as is known.
    pub reading: f64,
}

/// What is wrong with the reading that was given for a request, if anything. `others` are the other
/// hand axes of the same unit whose readings are known.
#[must_use]
pub fn judge(request: &HandRequest<'_>, read: f64, others: &[Other]) -> Option<HandProblem> {
    let HandRequest {
        reading: target,
        scale,
        travel: (least, greatest),
        ..
    } = *request;
    // A reading that lies exactly half a division away must not fail by the last bit of a float.
    let within = scale / 2.0 * (1.0 + 1e-9);
    let near = |place: f64| (read - place).abs() <= within;
    if !read.is_finite() {
        return Some(HandProblem::NotANumber);
    }
    if near(target) {
        return None;
    }
    // Two places that a person could take for one another tell nothing apart.
    let told_apart = |one: f64, other: f64| (one - other).abs() > APART * scale;
    let last = request.last.filter(|&last| told_apart(last, target));
    if last.is_some_and(near) {
        return Some(HandProblem::Unmoved { read });
    }
    if near(-target) && told_apart(target, -target) {
        return Some(HandProblem::Mirrored { read });
    }
    // Of the units that it may have been read in instead, the size in millimetres.
    let units: &[(&'static str, f64)] = match request.unit {
        AxisUnit::Millimetre => &[("in", 25.4), ("cm", 10.0), ("mm", 1.0)],
        AxisUnit::Degree => &[],
    };
    let own = Scale::of(scale, request.unit);
    for &(unit, size) in units.iter().filter(|(unit, _)| *unit != own.sign()) {
        // To a twentieth: nobody reads inches as finely as the scale that is not in inches.
        let typed = read / own.unit_size();
        let close = (typed * size - target).abs() <= target.abs() / 20.0;
        if close && !near(0.0) && told_apart(target, read) {
            return Some(HandProblem::OtherUnit { read, unit });
        }
    }
    if let Some(last) = last {
        let by = target - last;
        if near(last + 2.0 * by) {
            return Some(HandProblem::Double { read });
        }
        for other in others {
            let reading = other.reading;
            let moved = reading + by;
            let is_its = near(reading) && told_apart(reading, last);
            if is_its || (near(moved) && told_apart(moved, target)) {
                let axis = other.axis.clone();
                return Some(HandProblem::Another { read, axis });
            }
        }
    }
    if read < least - within || read > greatest + within {
        return Some(HandProblem::BeyondTravel { read });
    }
    let Some(last) = last else {
        let by = read - target;
        return Some(HandProblem::Off { read, by });
    };
    let part = (read - last) / (target - last);
    Some(if part < 0.0 {
        let gone = (read - last).abs();
        HandProblem::WrongWay { read, gone }
    } else if part < 1.0 {
        let missing = (target - read).abs();
        HandProblem::Short { read, missing }
    } else {
        let by = read - target;
        HandProblem::Off { read, by }
    })
}

/// What is known of the hand axes in one run. Whoever comes back to a stand looks at every scale
/// once.
pub(super) struct Hands {
    /// Of each axis: its last reading in this run.
    seen: Vec<Option<f64>>,
}

impl Hands {
    pub(super) fn new(schedule: &Schedule) -> Self {
        Self {
            seen: vec![None; schedule.hands.len()],
        }
    }

    /// Has every hand axis set to where a frame wants it, and its scale read.
    pub(super) fn set(&mut self, crew: &mut Crew<'_, '_>, turn: Turn) -> Result<(), Interrupt> {
        let targets = crew
            .schedule
            .hands_at(turn.frame)
            .ok_or(TakeError::Schedule(
                "a frame has no positions for its hand axes",
            ))?;
        let axes = &crew.schedule.hands;
        let mut ahead: Vec<usize> = (0..axes.len())
            .filter(|&place| !self.is_there(&axes[place], place, targets[place]))
            .collect();
        // The first axis, as the stand lists them, comes first.
        ahead.reverse();
        while let Some(place) = ahead.pop() {
            self.ask(crew, turn, place, targets, &ahead)?;
        }
        Ok(())
    }

    /// Whether an axis has been read where a frame wants it, as exactly as a reading counts.
    fn is_there(&self, axis: &HandAxis, place: usize, target: f64) -> bool {
        let within = axis.scale / 2.0 * (1.0 + 1e-9);
        self.seen[place].is_some_and(|seen| (seen - target).abs() <= within)
    }

    /// Asks for one axis until it is right; `ahead` are those that are asked for after it anyway.
    /// Where another level may have been moved in its place, the scales of all others are looked at
    /// then.
    fn ask(
        &mut self,
        crew: &mut Crew<'_, '_>,
        turn: Turn,
        place: usize,
        targets: &[f64],
        ahead: &[usize],
    ) -> Result<(), Interrupt> {
        let axes = &crew.schedule.hands;
        // In the stand's order, as they are taken from the end.
        let others = |place: usize| {
            let others = (0..axes.len()).rev();
            others.filter(move |other| *other != place && !ahead.contains(other))
        };
        let mut doubted: Vec<(usize, String)> = Vec::new();
        let mut next = (place, None);
        loop {
            let (place, in_place_of) = next;
            if self.until_right(crew, turn, place, targets, in_place_of.as_deref())? {
                // Whatever has been looked at before may have been moved since.
                let name = axes[place].name();
                doubted = others(place).map(|other| (other, name.clone())).collect();
            }
            match doubted.pop() {
                None => return Ok(()),
                Some((other, name)) => next = (other, Some(name)),
            }
        }
    }

    /// Asks for one axis until it is right; whether a wrong reading has pointed to another level.
    fn until_right(
        &mut self,
        crew: &mut Crew<'_, '_>,
        turn: Turn,
        place: usize,
        targets: &[f64],
        in_place_of: Option<&str>,
    ) -> Result<bool, Interrupt> {
        let mut elsewhere = false;
        let mut problem = None;
        loop {
            problem = self.ask_once(crew, turn, place, targets, problem, in_place_of)?;
            match &problem {
                None => return Ok(elsewhere),
                Some(found) => elsewhere |= found.points_elsewhere(),
            }
        }
    }

    /// Asks for one reading; what is wrong with it.
    fn ask_once(
        &mut self,
        crew: &mut Crew<'_, '_>,
        turn: Turn,
        place: usize,
        targets: &[f64],
        problem: Option<HandProblem>,
        in_place_of: Option<&str>,
    ) -> Result<Option<HandProblem>, Interrupt> {
        crew.check_interrupt()?;
        let axes = &crew.schedule.hands;
        let axis = &axes[place];
        let known = |hands: &Self, crew: &Crew<'_, '_>, place: usize| {
            hands.seen[place].or_else(|| crew.last_reading(&axes[place].name()))
        };
        // A reading that was wrong still tells where the person sets out from now.
        let wrong = problem.as_ref().and_then(HandProblem::read);
        let request = HandRequest {
            turn,
            of: &axis.of,
            way: axis.way,
            unit: axis.unit,
            reading: targets[place],
            last: wrong.or_else(|| known(self, crew, place)),
            scale: axis.scale,
            travel: axis.travel,
            problem,
            in_place_of,
        };
        let read = crew.person().set(&request).ok_or(Interrupt::Person)?;
        let others: Vec<Other> = (0..axes.len())
            .filter(|&other| other != place && axes[other].unit == axis.unit)
            .filter_map(|other| {
                Some(Other {
                    axis: axes[other].name(),
                    reading: known(self, crew, other)?,
                })
            })
            .collect();
        let problem = judge(&request, read, &others);
        // Right or wrong, a hand has been on the stand.
        crew.touched();
        if problem.is_none() {
            crew.record(&Entry::Reading {
                frame: turn.number,
                axis: axis.name(),
                reading: read,
                scale: Scale::of(axis.scale, axis.unit).with_unit(read),
            })?;
            self.seen[place] = Some(read);
        }
        Ok(problem)
    }
}
