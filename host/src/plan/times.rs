//! How long a shot takes at the stand, by the motion planner that the boards themselves use.

use std::time::Duration;

use panestep_firmware::motion::{self, Leg, Limits, PlanError};

use crate::schedule::{Release, Schedule, Turn};

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
    /// Waiting for lamps that boards have switched, where they take longer to warm up than all of
    /// that lasts.
    pub lighting: Duration,
    /// Of moving: back from the last frame to the first, for passes that come after the run.
    pub way_back: Duration,
    /// The longest single move from one frame to the next.
    pub longest_move: Duration,
    /// The frame that it leads to.
    pub longest_move_frame: u32,
    /// Settings of axes that a person has to make.
    pub hand_settings: u64,
    /// How often a person has to lay drawings, take levels out or put them back, switch lamps, or
    /// set the camera, the first time included.
    pub arrangements: u64,
}

impl Times {
    /// All together.
    #[must_use]
    pub fn total(&self) -> Duration {
        [
            self.moving,
            self.settling,
            self.exposing,
            self.readying,
            self.lighting,
        ]
        .into_iter()
        .fold(Duration::ZERO, Duration::saturating_add)
    }
}

/// How long one exposure takes, from the end of the one before to the end of its own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TurnTime {
    /// The move from the exposure before; none to the first.
    pub moving: Duration,
    /// Resting before the exposure.
    pub settling: Duration,
    /// Waiting for the camera beyond that.
    pub readying: Duration,
    /// Waiting for lamps beyond that.
    pub lighting: Duration,
    /// From half-press to the certain closing of the shutter.
    pub exposing: Duration,
}

impl TurnTime {
    /// All together.
    #[must_use]
    pub fn total(&self) -> Duration {
        [
            self.moving,
            self.settling,
            self.readying,
            self.lighting,
            self.exposing,
        ]
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
    let order = schedule.order();
    let mut last: Option<Turn> = None;
    for number in 1..=order.turns() {
        let time = turn_time(schedule, number, tick_rate)?;
        let Some(turn) = order.turn(number) else {
            continue;
        };
        let before = last.replace(turn).map(|turn| turn.frame);
        times.moving = times.moving.saturating_add(time.moving);
        times.settling = times.settling.saturating_add(time.settling);
        times.readying = times.readying.saturating_add(time.readying);
        times.exposing = times.exposing.saturating_add(time.exposing);
        times.lighting = times.lighting.saturating_add(time.lighting);
        if before.is_some_and(|before| before > turn.frame) {
            times.way_back = times.way_back.saturating_add(time.moving);
        } else if time.moving > times.longest_move {
            times.longest_move = time.moving;
            times.longest_move_frame = turn.frame;
        }
        let from = before.and_then(|before| schedule.hands_at(before));
        if let (Some(from), Some(to)) = (from, schedule.hands_at(turn.frame)) {
            times.hand_settings +=
                from.iter().zip(to).filter(|(from, to)| from != to).count() as u64;
        }
    }
    times.arrangements = schedule.arrangements();
    Ok(times)
}

/// Times of one exposure, by its number, after the one before it. Beyond the last: none.
///
/// # Errors
///
/// Where a board would refuse the move.
pub fn turn_time(schedule: &Schedule, number: u32, tick_rate: u32) -> Result<TurnTime, MoveError> {
    let Some(turn) = schedule.turn(number) else {
        return Ok(TurnTime::default());
    };
    let frame = turn.frame;
    let before = number
        .checked_sub(1)
        .and_then(|before| schedule.turn(before));
    let from = before.and_then(|before| schedule.motors_at(before.frame));
    let moving = match (from, schedule.motors_at(frame)) {
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
    let readying = if before.is_some() {
        let meanwhile = moving.saturating_add(exposure.settle);
        exposure.ready.saturating_sub(meanwhile)
    } else {
        Duration::ZERO
    };
    // They are switched when everything is in place, and warm up while it settles.
    let meanwhile = exposure.settle.saturating_add(readying);
    let lighting = warm_up(schedule, before, turn).saturating_sub(meanwhile);
    let window = schedule.window(number);
    let own_press = schedule.passes.get(turn.pass).map(|pass| pass.press);
    Ok(TurnTime {
        moving,
        settling: exposure.settle,
        readying,
        lighting,
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
                let press = own_press.unwrap_or(press);
                half_press.saturating_add(window.saturating_add(late).max(press))
            }
            Release::Command { .. } | Release::Hand => window,
        },
    })
}

/// Longest time that a lamp needs which a board has to switch for an exposure; all of them for the
/// first.
fn warm_up(schedule: &Schedule, before: Option<Turn>, turn: Turn) -> Duration {
    if before.is_some_and(|before| before.pass == turn.pass) {
        return Duration::ZERO;
    }
    let burns = |turn: Turn, lamp: usize| {
        let pass = schedule.passes.get(turn.pass);
        pass.is_none_or(|pass| pass.lamps.contains(&lamp))
    };
    let lamps = schedule.lamps.iter().enumerate();
    lamps
        .filter(|&(place, lamp)| {
            lamp.output.is_some()
                && before.is_none_or(|before| burns(before, place) != burns(turn, place))
        })
        .map(|(_, lamp)| lamp.warm_up)
        .max()
        .unwrap_or_default()
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
