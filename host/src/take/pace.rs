//! How much time is left.
//!
//! For each frame ahead, what the planner and the shutter's own times say it lasts, and on top of
//! that what the frames of this run have lasted longer than planned, on average: messages, a disk,
//! a person at a crank.

use std::time::Duration;

use crate::plan::times::{self, MoveError, TurnTime};
use crate::schedule::Schedule;

/// The time left of one run.
#[derive(Clone, Debug)]
pub struct Pace {
    /// Planned time of all frames after the first of the run, the second, and so on.
    ahead: Vec<Duration>,
    /// Frames done.
    done: u32,
    /// When the first frame of the run was done: the way to it is no part of the plan.
    since: Option<Duration>,
}

impl Pace {
    /// Plans exposures by their numbers, in their order, for boards at this tick rate. Without exposures in a
    /// rehearsal. The way across frames that are not among them counts as one frame's.
    ///
    /// # Errors
    /// Where a board would refuse a move.
    pub fn new(
        schedule: &Schedule,
        numbers: impl DoubleEndedIterator<Item = u32>,
        tick_rate: u32,
        exposures: bool,
    ) -> Result<Self, MoveError> {
        let mut sum = Duration::ZERO;
        let mut ahead = vec![sum];
        for number in numbers.rev() {
            let time = times::turn_time(schedule, number, tick_rate)?;
            let time = if exposures {
                time
            } else {
                TurnTime {
                    lighting: Duration::ZERO,
                    readying: Duration::ZERO,
                    exposing: Duration::ZERO,
                    ..time
                }
            };
            sum = sum.saturating_add(time.total());
            ahead.push(sum);
        }
        // The way to the first is no part of what is known.
        ahead.pop();
        ahead.reverse();
        Ok(Self {
            ahead,
            done: 0,
            since: None,
        })
    }

    /// A frame is done; returns what the rest will probably take.
    pub fn done(&mut self, now: Duration) -> Duration {
        let done = self.done;
        self.done = done.saturating_add(1);
        let ahead = |frames: u32| self.ahead.get(frames as usize).copied().unwrap_or_default();
        let left = ahead(done).as_secs_f64();
        let since = *self.since.get_or_insert(now);
        if done == 0 {
            return Duration::from_secs_f64(left);
        }
        let planned = ahead(0).as_secs_f64() - left;
        let measured = now.saturating_sub(since).as_secs_f64();
        let more = (measured - planned) / f64::from(done);
        let frames = (self.ahead.len() as f64 - 1.0 - f64::from(done)).max(0.0);
        Duration::try_from_secs_f64((left + more * frames).max(0.0)).unwrap_or(Duration::MAX)
    }
}
