//! What the host can ask.

use heapless::Vec;
use postcard::experimental::max_size::MaxSize;
use postcard_schema::Schema;
use serde::{Deserialize, Serialize};

use crate::{AxisIndex, MAX_AXES, ShotId, Steps, Ticks, Token};

/// A request's order. Append only.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Command {
    /// Make the request's session the board's. Refused where the session is not greater than the
    /// last one, or the schema is not the board's.
    Open {
        /// The host's [`schema`](crate::schema).
        schema: [u8; 8],
    },
    /// Say how things stand. Also tells the board that the host is alive.
    Status,
    /// Set one axis up. Refused while anything moves.
    Configure(AxisSettings),
    /// Set the guards. Refused while anything moves.
    Guard(GuardSettings),
    /// Switch the motor drivers on or off, all together. Off makes every position untrusted.
    Drivers {
        /// Whether the motors hold.
        on: bool,
    },
    /// Find an axis's home switch. Answered at once; [`Status`](crate::Status) tells the outcome.
    Home(HomeOrder),
    /// Move axes to positions; all start and end together. Refused where a switch of an axis that
    /// is to go is tripped, at either end. Answered at once.
    Move {
        /// Where each axis stands and is to go; an axis not named stays.
        targets: Vec<AxisTarget, MAX_AXES>,
    },
    /// Move one axis slowly by a distance, homed or not. Where a switch is tripped, only away
    /// from it. Answered at once.
    Nudge(NudgeOrder),
    /// Bring everything that moves to a controlled stop.
    Halt,
    /// A person has seen why the board halted: let it move again. Refused while it still comes to
    /// a stop or the stop circuit is open; a limit switch may still be tripped.
    Acknowledge,
    /// Begin (or go on with) a take: its tokens up to `spent` can no longer be fired.
    OpenShot {
        /// The take.
        shot: ShotId,
        /// The last token that the host's journal has closed.
        spent: Token,
    },
    /// Close the shutter once. Acts at most once for each token.
    Fire(FireOrder),
    /// Make this token unfireable, then say whether it has been fired since this start of the
    /// board: of what an earlier start did, only the mark in the identity can tell.
    Fence {
        /// The take.
        shot: ShotId,
        /// The token.
        token: Token,
    },
    /// Switch the lamp outputs, bit `n` for lamp `n`.
    Lamps {
        /// The lamps that burn.
        on: u8,
    },
    /// Look for an axis's home switch as [`Command::Home`] does, but keep the count: the report
    /// says where the switch tripped by that count. Refused where the axis is not homed. Answered
    /// at once; while it looks, and where it does not find the switch, the axis is not homed.
    Check(HomeOrder),
}

/// Which end of an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Toward {
    /// Toward smaller positions.
    Negative,
    /// Toward greater positions.
    Positive,
}

/// How one axis may move.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AxisSettings {
    /// The axis.
    pub axis: AxisIndex,
    /// Greatest speed, steps a second.
    pub speed: u32,
    /// Greatest acceleration, steps a second squared.
    pub acceleration: u32,
    /// Greatest jerk, steps a second cubed.
    pub jerk: u32,
    /// Speed that it may start and stop at without a ramp, and is held to until it is homed,
    /// steps a second.
    pub slow: u32,
    /// Whether a positive step needs the direction line low instead of high.
    pub reversed: bool,
    /// Smallest position that a move may end at.
    pub least: Steps,
    /// Greatest position that a move may end at.
    pub greatest: Steps,
    /// Where the home switch is.
    pub home: Toward,
}

/// What the board watches for on its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GuardSettings {
    /// Longest time without a sound message from the host while anything moves.
    pub silence: Ticks,
    /// Rest between the last step and an exposure.
    pub settle: Ticks,
}

/// Where one axis is to go.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AxisTarget {
    /// The axis.
    pub axis: AxisIndex,
    /// Where the host believes it stands; the move is refused where it does not.
    pub from: Steps,
    /// Where it is to end.
    pub to: Steps,
}

/// How to find one axis's home switch: quickly up to it, back off until it opens, slowly up to it
/// again, then off it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HomeOrder {
    /// The axis.
    pub axis: AxisIndex,
    /// Speed of the first approach, steps a second; ramped like a move.
    pub fast: u32,
    /// Speed of the second approach, steps a second; at most the axis's slow speed.
    pub slow: u32,
    /// Farthest to go in search of the switch, in steps.
    pub search: u32,
    /// Farthest to back off, in steps, before the switch must have opened: more than the fast
    /// approach overruns it in its controlled stop.
    pub back_off: u32,
    /// How far beyond the opening of the switch to come to rest, in steps.
    pub clear: u32,
    /// Position of the step at which the switch trips on the slow approach; a check does not set
    /// the counter by it.
    pub edge: Steps,
}

/// A slow move by a distance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NudgeOrder {
    /// The axis.
    pub axis: AxisIndex,
    /// Where the host believes it stands; refused where it does not.
    pub from: Steps,
    /// How far, with its sign.
    pub by: Steps,
}

/// One closing of the shutter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FireOrder {
    /// The take.
    pub shot: ShotId,
    /// Its token.
    pub token: Token,
    /// How long the half-press line is closed before the release line.
    pub half_press: Ticks,
    /// How long the release line is closed.
    pub press: Ticks,
    /// From the closing of the release line, how long the exposure may last: the flash contact is
    /// counted and nothing may move until it has passed.
    pub window: Ticks,
}
