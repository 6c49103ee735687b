//! What a sound plan leaves over, and what to look out for at the stand.

use serde::Serialize;

/// What a sound plan leaves over.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Report {
    /// One for each level, in the stand's order.
    pub levels: Vec<LevelReport>,
    /// One for each axis, in the stand's order.
    pub axes: Vec<AxisReport>,
    /// Moves that would need an axis that is not there, but are too small to show (at most
    /// [`TOLERATED_PIXELS`]).
    pub missing: Vec<MissingAxis>,
}

/// Picture error in pixels up to which a missing axis is reported instead of refused.
pub const TOLERATED_PIXELS: f64 = 0.5;

/// A level over the whole shot.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct LevelReport {
    /// The level.
    pub level: String,
    /// Greatest size error of its layer, percent; above 0 where it looks too large. 0 where its
    /// lift keeps the size right.
    pub size_error_percent: f64,
    /// The same at the picture's corner, pixels.
    pub size_error_pixels: f64,
    /// Frame at which it is greatest.
    pub size_error_frame: u32,
    /// Farthest that the centre of the level goes in the picture from one picture to the next,
    /// pixels.
    pub travel_pixels: f64,
    /// The picture at which it arrives there.
    pub travel_frame: u32,
}

/// An axis over the whole shot, in its own unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct AxisReport {
    /// What it carries.
    pub of: String,
    /// Which way.
    pub direction: &'static str,
    /// Unit of the positions.
    pub unit: &'static str,
    /// Least position.
    pub least: f64,
    /// Greatest position.
    pub greatest: f64,
    /// Farthest that it goes from one picture to the next.
    pub largest_move: f64,
    /// The frame that it arrives at then.
    pub largest_move_frame: u32,
    /// Greatest change of how far it goes from one picture to the next: its acceleration, in its
    /// unit a picture squared.
    pub largest_change: f64,
    /// The frame at which it is.
    pub largest_change_frame: u32,
    /// Greatest picture error from setting whole steps or divisions, pixels.
    pub rounding_pixels: f64,
    /// What one step, or one division, of error costs in the picture where it costs most, pixels;
    /// for the lens's ring, the blur of what should be in focus.
    pub step_pixels: f64,
}

/// A move that an axis is missing for.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct MissingAxis {
    /// The level, or `camera`.
    pub of: String,
    /// Which way.
    pub direction: &'static str,
    /// Greatest picture error that it costs, pixels.
    pub pixels: f64,
    /// Frame at which it is greatest.
    pub frame: u32,
}
