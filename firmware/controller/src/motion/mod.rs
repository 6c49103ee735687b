//! How axes get from rest to rest: all of a move start and end together, each within its own
//! speed, acceleration and jerk.
//!
//! * [`plan`] (main loop) finds the shape of the quickest move that every axis allows.
//! * [`Path`] (at every tick) runs it, and can brake, halt, or drop an axis on the way.
//!
//! # The profile
//!
//! The speed over time is the convolution of three boxes. With lengths A, B and C ticks (`A <= B`,
//! `A + B <= C`) this is the seven-segment profile: A ticks of constant jerk, B - A of constant
//! acceleration, A of opposite jerk, C - A - B of constant speed, and the same backwards. (L.
//! Biagiotti, C. Melchiorri, "Trajectory Planning for Automatic Machines and Robots", Springer
//! 2008, section 3.4, treats the same profile in real numbers.) Summed over all ticks the integer
//! profile with jerk 1 gives exactly A·B·C: the whole way. An axis that is to go `d` steps takes its
//! step `n` at the tick at which `(2n - 1) / 2d` of the way has been covered, so that at every tick
//! it is at the nearest whole step to its share. It ends exactly on its last step, with nothing
//! rounded on the way and nothing but additions and comparisons per tick.
//!
//! The profile's greatest speed is A·B, its greatest acceleration A, its greatest jerk 1. At `f`
//! ticks a second, the axis that goes `d` steps therefore never exceeds
//!
//! ```text
//! speed          d f  / C          steps/s
//! acceleration   d f² / (B C)      steps/s²
//! jerk           d f³ / (A B C)    steps/s³
//! ```
//!
//! # How long it lasts
//!
//! A move lasts A + B + C - 1 ticks. In real numbers the quickest one lasts as long as the closed
//! forms of the book (a + b + c, say); in whole numbers each length is rounded up at the worst, so
//! that a move takes less than two ticks more. From 1,000 ticks on (10 ms at 100 kHz) that is within
//! 0.1 % and one tick. Of shorter moves a few in a thousand exceed one tick and 0.1 %, by up to that
//! second tick, and there no whole lengths do better: [`plan`] finds the least sum that there is
//! (the tests look through all the others).

mod line;
mod path;
mod profile;

pub use path::Path;
pub use profile::{Profile, plan};

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

/// Why no profile can be given. It does not name the leg: all of them share one profile.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanError {
    /// A limit is zero.
    ZeroLimit,
    /// An axis's speed limit is more than a step a tick.
    TooFast,
    /// The move lasts longer than can be counted.
    TooLong,
}
