//! Several exposures of the same frames, and what has to be seen to before each of them beside the
//! axes: lamps, levels that are taken out, drawings that lie on the glass.

use std::borrow::Cow;
use std::fmt;
use std::ops::Range;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{Release, Schedule};
use crate::shot::When;

/// A lamp.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lamp {
    /// Its name.
    pub name: String,
    /// The board in [`Schedule::boards`] and the lamp output that switch it; none where a person
    /// does.
    pub output: Option<(usize, u8)>,
    /// From switching it until its light is steady.
    pub warm_up: Duration,
}

/// One of the exposures of every frame.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pass {
    /// Its name.
    pub name: String,
    /// When it is exposed.
    pub when: When,
    /// Places of the lamps that burn in [`Schedule::lamps`], rising.
    pub lamps: Vec<usize>,
    /// Levels that are taken out.
    pub without: Vec<String>,
    /// How long the shutter is open.
    pub exposure: Duration,
    /// How long a board closes the release line.
    pub press: Duration,
    /// From the closing of the release line until the shutter has certainly closed.
    pub window: Duration,
    /// Whether a person has to set the camera to this exposure time: neither the release line nor
    /// a command tells it.
    pub set_by_hand: bool,
}

/// A drawing that lies on a level.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Laid {
    /// From this frame on.
    pub frame: u32,
    /// The level.
    pub on: String,
    /// The drawing, by its file's name without folder and ending; none for a bare pane.
    pub drawing: Option<String>,
}

/// One exposure to make: a frame in a pass. Its text is the frame's number, with the pass where
/// there are several: `12`, `12 in pass 2`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Turn {
    /// Its number among all exposures to make, from 1.
    pub number: u32,
    /// The frame, from 1.
    pub frame: u32,
    /// The pass's place in [`Schedule::passes`].
    pub pass: usize,
    /// Whether there are several passes.
    pub several: bool,
}

impl fmt::Display for Turn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.frame)?;
        if self.several {
            write!(f, " in pass {}", self.pass + 1)?;
        }
        Ok(())
    }
}

/// The order in which the exposures of a shot are made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Order {
    frames: u32,
    /// The passes that are exposed together at each frame, run by run.
    runs: Vec<Range<usize>>,
}

impl Order {
    /// Of so many frames in passes that are exposed then, in their order; none is one pass.
    pub fn new(frames: u32, passes: impl IntoIterator<Item = When>) -> Self {
        let mut runs: Vec<Range<usize>> = Vec::new();
        for (pass, when) in passes.into_iter().enumerate() {
            match runs.last_mut() {
                Some(run) if when == When::EachFrame => run.end = pass + 1,
                _ => runs.push(Range {
                    start: pass,
                    end: pass + 1,
                }),
            }
        }
        if runs.is_empty() {
            runs.push(Range { start: 0, end: 1 });
        }
        Self { frames, runs }
    }

    /// How many frames there are.
    #[must_use]
    pub const fn frames(&self) -> u32 {
        self.frames
    }

    /// How many passes there are, at least one.
    #[must_use]
    pub fn passes(&self) -> usize {
        self.runs.last().map_or(1, |run| run.end)
    }

    /// The passes that are exposed together at each frame, run by run.
    #[must_use]
    pub fn runs(&self) -> &[Range<usize>] {
        &self.runs
    }

    /// How many exposures there are to make. They are numbered from 1 in the order in which they
    /// are made.
    #[must_use]
    pub fn turns(&self) -> u32 {
        let passes = u32::try_from(self.passes()).unwrap_or(u32::MAX);
        self.frames.saturating_mul(passes)
    }

    /// The exposure of a number, or `None` beyond the ends.
    #[must_use]
    pub fn turn(&self, number: u32) -> Option<Turn> {
        let mut left = number.checked_sub(1)?;
        for run in &self.runs {
            let width = u32::try_from(run.len()).ok()?;
            let length = self.frames.checked_mul(width)?;
            if left < length {
                return Some(Turn {
                    number,
                    frame: left / width + 1,
                    pass: run.start + (left % width) as usize,
                    several: self.passes() > 1,
                });
            }
            left -= length;
        }
        None
    }

    /// The number of a frame's exposure in a pass, or `None` where there is none.
    #[must_use]
    pub fn number_of(&self, frame: u32, pass: usize) -> Option<u32> {
        let frame = frame.checked_sub(1).filter(|frame| *frame < self.frames)?;
        let mut before = 0_u32;
        for run in &self.runs {
            let width = u32::try_from(run.len()).ok()?;
            if run.contains(&pass) {
                let within = u32::try_from(pass - run.start).ok()?;
                return before
                    .checked_add(frame.checked_mul(width)?)?
                    .checked_add(within + 1);
            }
            before = before.checked_add(self.frames.checked_mul(width)?)?;
        }
        None
    }
}

impl Schedule {
    /// The order in which its exposures are made.
    #[must_use]
    pub fn order(&self) -> Order {
        Order::new(self.frames, self.passes.iter().map(|pass| pass.when))
    }

    /// How many exposures there are to make. They are numbered from 1 in the order in which they
    /// are made.
    #[must_use]
    pub fn turns(&self) -> u32 {
        self.order().turns()
    }

    /// The exposure of a number, or `None` beyond the ends.
    #[must_use]
    pub fn turn(&self, number: u32) -> Option<Turn> {
        self.order().turn(number)
    }

    /// The number of a frame's exposure in a pass, or `None` where there is none.
    #[must_use]
    pub fn number_of(&self, frame: u32, pass: usize) -> Option<u32> {
        self.order().number_of(frame, pass)
    }

    /// The passes of every frame, at least one: where the schedule names none, the one that its
    /// [`Exposure`](super::Exposure) alone makes.
    #[must_use]
    pub fn all_passes(&self) -> Cow<'_, [Pass]> {
        if self.passes.is_empty() {
            Cow::Owned(vec![self.plain_pass()])
        } else {
            Cow::Borrowed(&self.passes)
        }
    }

    /// The pass that [`Exposure`](super::Exposure) alone makes, with all lamps burning.
    fn plain_pass(&self) -> Pass {
        Pass {
            name: String::new(),
            when: When::EachFrame,
            lamps: (0..self.lamps.len()).collect(),
            without: Vec::new(),
            exposure: Duration::ZERO,
            press: match self.exposure.release {
                Release::Board { press, .. } => press,
                Release::Command { .. } | Release::Hand => Duration::ZERO,
            },
            window: self.exposure.window,
            set_by_hand: false,
        }
    }

    /// Whether every frame is exposed once, as [`Exposure`](super::Exposure) alone says: no lamp is
    /// switched, nothing is laid or taken out, no exposure time is told to anybody.
    #[must_use]
    pub fn is_plain(&self) -> bool {
        let one = match self.passes.as_slice() {
            [] => true,
            [pass] => {
                let plain = Pass {
                    name: pass.name.clone(),
                    when: pass.when,
                    exposure: pass.exposure,
                    ..self.plain_pass()
                };
                *pass == plain
            }
            _ => false,
        };
        one && self.lamps.is_empty() && self.laid.is_empty() && !self.exposure.tells_time()
    }

    /// From the closing of the release line until the shutter has certainly closed, for the exposure
    /// of a number.
    #[must_use]
    pub fn window(&self, number: u32) -> Duration {
        let pass = self.turn(number).map_or(0, |turn| turn.pass);
        let pass = self.passes.get(pass);
        pass.map_or(self.exposure.window, |pass| pass.window)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::Exposure;

    fn schedule(frames: u32, passes: &[When]) -> Schedule {
        Schedule {
            frames,
            passes: passes
                .iter()
                .map(|&when| Pass {
                    name: "light".into(),
                    when,
                    lamps: Vec::new(),
                    without: Vec::new(),
                    exposure: Duration::ZERO,
                    press: Duration::ZERO,
                    window: Duration::ZERO,
                    set_by_hand: false,
                })
                .collect(),
            name: "Tidal coast".into(),
            boards: Vec::new(),
            motors: Vec::new(),
            lifts: Vec::new(),
            hands: Vec::new(),
            motor_targets: Vec::new(),
            hand_targets: Vec::new(),
            exposure: Exposure {
                release: Release::Hand,
                settle: Duration::ZERO,
                delay: Duration::ZERO,
                window: Duration::ZERO,
                ready: Duration::ZERO,
                arrival: None,
            },
            lamps: Vec::new(),
            laid: Vec::new(),
            home_check: 0,
        }
    }

    fn order(schedule: &Schedule) -> Vec<(u32, usize)> {
        (1..=schedule.turns())
            .map(|number| schedule.turn(number).expect("it is one"))
            .map(|turn| (turn.frame, turn.pass))
            .collect()
    }

    #[test]
    fn passes_follow_one_another_at_each_frame_or_after_the_run() {
        use When::{AfterRun, EachFrame};
        assert_eq!(order(&schedule(3, &[])), [(1, 0), (2, 0), (3, 0)]);
        assert_eq!(
            order(&schedule(2, &[EachFrame, EachFrame, AfterRun])),
            [(1, 0), (1, 1), (2, 0), (2, 1), (1, 2), (2, 2)]
        );
        assert_eq!(
            order(&schedule(2, &[EachFrame, AfterRun, EachFrame])),
            [(1, 0), (2, 0), (1, 1), (1, 2), (2, 1), (2, 2)]
        );
    }

    #[test]
    fn every_exposure_has_its_number() {
        use When::{AfterRun, EachFrame};
        let schedule = schedule(5, &[EachFrame, EachFrame, AfterRun, EachFrame, AfterRun]);
        for number in 1..=schedule.turns() {
            let turn = schedule.turn(number).expect("it is one");
            assert_eq!(schedule.number_of(turn.frame, turn.pass), Some(number));
        }
        assert_eq!(schedule.turn(0), None);
        assert_eq!(schedule.turn(schedule.turns() + 1), None);
        assert_eq!(schedule.number_of(6, 0), None);
        assert_eq!(schedule.number_of(1, 5), None);
    }

    #[test]
    fn the_pass_is_named_only_where_there_are_several() {
        let one = schedule(3, &[]);
        assert_eq!(one.turn(2).expect("it is one").to_string(), "2");
        let two = schedule(3, &[When::EachFrame, When::EachFrame]);
        assert_eq!(two.turn(4).expect("it is one").to_string(), "2 in pass 2");
    }
}
