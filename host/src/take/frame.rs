//! What is known of the frames of a take, one by one.

use panestep_protocol::{BootId, Token};
use serde::{Deserialize, Serialize};

use super::span::Span;

/// An intent whose outcome the journal does not know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Open {
    /// The frame.
    pub frame: u32,
    /// The token.
    pub token: Token,
    /// The camera board's start, where a board was to fire.
    pub boot: Option<BootId>,
}

/// Whether a frame is still to be exposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// It is.
    Wanted,
    /// It is exposed.
    Exposed,
    /// A person has left it out.
    Dropped,
}

/// What the home checks say of the pose that a frame was exposed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Check {
    /// None has come since.
    Pending,
    /// The next one found every axis where it was counted.
    Passed,
    /// No motor moves anything: the pose is what a person has read off the scales.
    ByScale,
    /// The next one found an axis elsewhere; nobody has decided yet.
    Suspect,
    /// It did, and a person keeps the frame all the same.
    Kept,
    /// An axis's count was lost before the next one: it cannot be known any more.
    Unknown,
}

/// One frame of a take.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FrameState {
    /// Whether it is still to be exposed.
    pub standing: Standing,
    /// How many exposures of it there are, those that were shot again included.
    pub exposures: u32,
    /// The slot of the last one; 0 where there is none.
    pub slot: u32,
    /// The file of its picture, where it is known.
    pub picture: Option<String>,
    /// What the home checks say.
    pub check: Check,
}

impl FrameState {
    pub(super) const UNTOUCHED: Self = Self {
        standing: Standing::Wanted,
        exposures: 0,
        slot: 0,
        picture: None,
        check: Check::Pending,
    };
}

/// An axis that was found elsewhere than it was counted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// The axis, such as `reeds east`.
    pub axis: String,
    /// By how much, steps.
    pub steps: i32,
    /// The same in the axis's unit.
    pub amount: f64,
    /// The unit's sign: `mm` or `deg`.
    pub unit: String,
    /// By how much the picture is off, in its pixels, where it is off most.
    pub pixels: f64,
}

/// Frames that are in doubt, and why.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Suspects {
    /// The axes that home checks have found elsewhere.
    pub drifts: Vec<Drift>,
    /// The boards that may have left frames dark, each with its frame.
    pub unlit: Vec<(String, u32)>,
    /// The frames, in rising order.
    pub frames: Vec<Span>,
}
