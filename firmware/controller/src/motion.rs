//! How axes get from rest to rest: all of a move start and end together, each within its own
//! speed, acceleration and jerk.
//!
//! # The profile
//!
//! The speed over time is the convolution of three boxes of lengths `jerk <= ramp <= ...` ticks:
//! with lengths A, B and C (`A <= B`, `A + B <= C`) this is the seven-segment profile: A ticks of
//! constant jerk, B - A of constant acceleration, A of opposite jerk, C - A - B of constant speed,
//! and the same backwards. Summed over all ticks the integer profile with jerk 1 gives exactly
//! A·B·C, so an axis that is to go `d` steps adds `d` times the profile's speed to an accumulator
//! at every tick and steps whenever it has A·B·C together: it ends exactly on its last step, with
//! nothing rounded on the way and nothing but additions per tick.

/// What an axis may do, in steps and seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Greatest speed, steps a second.
    pub speed: u32,
    /// Greatest acceleration, steps a second squared.
    pub acceleration: u32,
    /// Greatest jerk, steps a second cubed.
    pub jerk: u32,
}

/// One axis's part of a move.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Leg {
    /// How far, in steps, without the sign.
    pub distance: u32,
    /// What the axis may do.
    pub limits: Limits,
}

/// A move's shape over time, the same for all axes in it. Lengths in ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Profile {
    /// Length of the first box: of each jerk segment.
    jerk: u32,
    /// Length of the second box: from rest to the end of constant acceleration.
    ramp: u32,
    /// Length of the third box: from rest to the start of slowing down.
    cruise: u32,
}

/// Why no profile can be given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanError {
    /// A limit is zero.
    ZeroLimit,
    /// An axis's speed limit is more than a step a tick.
    TooFast,
    /// The move lasts longer than can be counted.
    TooLong,
}
