//! How long a shot takes at the stand, by the motion planner that the boards themselves use.

use std::time::Duration;

use panestep_firmware::motion::{self, Leg, Limits, PlanError};

use crate::schedule::{Release, Schedule};

/// Ticks a second of a board's step clock where the board has not told its own: at most one step
/// a tick.
pub const DEFAULT_TICK_RATE: u32 = 20_000;

/// How long a shot takes, from the first frame's pose on. Homing, home checks, messages and people's
/// work are not in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Times {
    /// Motors moving, slack taken up.
    pub moving: Duration,
    /// Resting before exposures.
    pub settling: Duration,
    /// From half-press to the certain closing of the shutter.
    pub exposing: Duration,
    /// Waiting for the camera, where it takes longer to get ready than moving and settling last:
    /// it gets ready meanwhile.
    pub readying: Duration,
    /// The longest single move from one frame to the next.
    pub longest_move: Duration,
    /// The frame that it leads to.
    pub longest_move_frame: u32,
    /// Settings that a person has to make.
    pub hand_settings: u64,
}

impl Times {
    /// All together.
    #[must_use]
    pub fn total(&self) -> Duration {
        [self.moving, self.settling, self.exposing, self.readying]
            .into_iter()
            .fold(Duration::ZERO, Duration::saturating_add)
    }
}

/// How long one frame takes, from the end of the exposure before to the end of its own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct FrameTime {
    /// The move from the frame before; none to the first frame.
    pub moving: Duration,
    /// Resting before the exposure.
    pub settling: Duration,
    /// Waiting for the camera beyond that.
    pub readying: Duration,
    /// From half-press to the certain closing of the shutter.
    pub exposing: Duration,
}

impl FrameTime {
    /// All together.
    #[must_use]
    pub fn total(&self) -> Duration {
        [self.moving, self.settling, self.readying, self.exposing]
            .into_iter()
            .fold(Duration::ZERO, Duration::saturating_add)
    }
}

/// A move that the boards would refuse.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("frame {frame}: board {board} cannot make this move: {}", reason(*.cause))]
pub struct MoveError {
    /// The frame that the move leads to.
    pub frame: u32,
    /// The board.
    pub board: String,
    /// Why.
    pub cause: PlanError,
}

fn reason(cause: PlanError) -> &'static str {
    match cause {
        PlanError::ZeroLimit => "a speed, acceleration or jerk is zero",
        PlanError::TooFast => "an axis is to go faster than one step a tick",
        PlanError::TooLong => "it lasts longer than the board can count",
    }
}

/// Times of every move of a schedule, from the first frame's positions on. The boards move at the
/// same time; where drives have slack, the axes that arrive from above go beyond their targets
/// and come back in a second move.
///
/// # Errors
///
/// Where a board would refuse a move.
pub fn times(schedule: &Schedule, tick_rate: u32) -> Result<Times, MoveError> {
    let mut times = Times::default();
    for frame in 1..=schedule.frames {
        let time = frame_time(schedule, frame, tick_rate)?;
        times.moving = times.moving.saturating_add(time.moving);
        times.settling = times.settling.saturating_add(time.settling);
        times.readying = times.readying.saturating_add(time.readying);
        times.exposing = times.exposing.saturating_add(time.exposing);
        if time.moving > times.longest_move {
            times.longest_move = time.moving;
            times.longest_move_frame = frame;
        }
        if let (Some(from), Some(to)) = (schedule.hands_at(frame - 1), schedule.hands_at(frame)) {
            times.hand_settings +=
                from.iter().zip(to).filter(|(from, to)| from != to).count() as u64;
        }
    }
    Ok(times)
}

/// Times of one frame, after the one before it.
///
/// # Errors
///
/// Where a board would refuse the move.
pub fn frame_time(schedule: &Schedule, frame: u32, tick_rate: u32) -> Result<FrameTime, MoveError> {
    let before = frame
        .checked_sub(1)
        .and_then(|before| schedule.motors_at(before));
    let moving = match (before, schedule.motors_at(frame)) {
        (Some(from), Some(to)) => {
            move_time(schedule, from, to, tick_rate).map_err(|(board, cause)| MoveError {
                frame,
                board: schedule.boards.get(board).cloned().unwrap_or_default(),
                cause,
            })?
        }
        _ => Duration::ZERO,
    };
    let exposure = &schedule.exposure;
    let readying = if frame > 1 {
        let meanwhile = moving.saturating_add(exposure.settle);
        exposure.ready.saturating_sub(meanwhile)
    } else {
        Duration::ZERO
    };
    Ok(FrameTime {
        moving,
        settling: exposure.settle,
        readying,
        exposing: match exposure.release {
            Release::Board {
                half_press,
                press,
                flash_contact,
                ..
            } => {
                // Where there is a contact, the window begins anew with its closing.
                let late = if flash_contact {
                    exposure.delay
                } else {
                    Duration::ZERO
                };
                half_press.saturating_add(exposure.window.saturating_add(late).max(press))
            }
            Release::Command { .. } | Release::Hand => exposure.window,
        },
    })
}

/// Time of one move from all positions to all others; on error the board's place too. Beyond the
/// target, then back: the boards begin the second way together.
fn move_time(
    schedule: &Schedule,
    from: &[i32],
    to: &[i32],
    tick_rate: u32,
) -> Result<Duration, (usize, PlanError)> {
    let mut longest = [0_u32; 2];
    for board in 0..schedule.boards.len() {
        let mut way = Vec::new();
        let mut back = Vec::new();
        for ((axis, &from), &to) in schedule.motors.iter().zip(from).zip(to) {
            if axis.board != board || from == to {
                continue;
            }
            let limits = Limits {
                speed: axis.speed,
                acceleration: axis.acceleration,
                jerk: axis.jerk,
            };
            let take_up = if to < from {
                axis.take_up.unsigned_abs()
            } else {
                0
            };
            way.push(Leg {
                distance: from.abs_diff(to).saturating_add(take_up),
                limits,
            });
            if take_up > 0 {
                back.push(Leg {
                    distance: take_up,
                    limits,
                });
            }
        }
        for (legs, longest) in [&way, &back].into_iter().zip(&mut longest) {
            if !legs.is_empty() {
                let profile = motion::plan(legs, tick_rate).map_err(|cause| (board, cause))?;
                *longest = profile.ticks().max(*longest);
            }
        }
    }
    let ticks: u64 = longest.into_iter().map(u64::from).sum();
    Ok(Duration::from_nanos(
        ticks.saturating_mul(1_000_000_000) / u64::from(tick_rate.max(1)),
    ))
}
