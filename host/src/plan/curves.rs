//! How everything moves over the frames: position, speed and acceleration of every axis, and how
//! far every level travels in the picture.
//!
//! **Held pictures.** A picture that is held for several frames stands still and then jumps. That
//! jump is no speed of the move, and the rest before it no standstill. So everything here is
//! counted from picture to picture, and every frame of a picture has the picture's values:
//!
//! ```text
//! speed(k)        = (p(k) - p(k-1)) / h               none at the first picture
//! acceleration(k) = (p(k+1) - 2 p(k) + p(k-1)) / h^2  none at the first and the last picture
//! ```
//!
//! with `p(k)` the exact position at picture `k`, before it is rounded to steps or divisions, and
//! `h` the frames from one picture to the next. So the speed is that of the move by which the picture
//! was reached; speeds times `h` add up to the way. Both are the usual divided differences: exact where
//! the acceleration does not change.
//!
//! **Travel** is how far something painted on the level goes in the picture, from the picture
//! before to this one, in pixels: what was in the middle of the picture before, and the farthest of
//! what was at its edge (at its corners and the middles of its sides). Where the viewer comes nearer, the
//! edge goes farther than the middle. On twos it is the whole jump, not a half of it for each frame.

use std::ops::RangeInclusive;

use crate::plan::geometry::{FramePose, Geometry};
use crate::plan::{Plan, PlannedAxis};
use crate::stand::{CarrierPose, Picture};

pub mod output;

/// One frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sample {
    /// The frame, from 1.
    pub frame: u32,
    /// First frame of those that hold its picture.
    pub picture: u32,
    /// When it comes on when it is shown, seconds from the first frame.
    pub seconds: f64,
    /// One for each axis, in the stand's order.
    pub axes: Vec<Motion>,
    /// One for each level, in the stand's order; none at the first picture.
    pub levels: Option<Vec<Travel>>,
}

/// How an axis moves, in its unit and frames.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Motion {
    /// Where it must stand, exact.
    pub position: f64,
    /// Units a frame.
    pub speed: Option<f64>,
    /// Units a frame squared.
    pub acceleration: Option<f64>,
}

/// How far a level goes in the picture from the picture before, pixels.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Travel {
    /// What was in the middle of the picture.
    pub centre_px: f64,
    /// The farthest of what was at its edge.
    pub edge_px: f64,
}

/// The curves of a plan. They are worked out picture by picture: their size does not grow with
/// the frames.
#[derive(Clone, Copy, Debug)]
pub struct Curves<'a> {
    plan: &'a Plan,
}

impl<'a> Curves<'a> {
    /// The curves of a plan.
    #[must_use]
    pub fn new(plan: &'a Plan) -> Self {
        Self { plan }
    }

    /// Goes through frames; those beyond the shot are left out. `each` hears every sample in its
    /// turn, and may end the work with an error.
    ///
    /// # Errors
    ///
    /// Those of `each`.
    pub fn go<E>(
        &self,
        frames: RangeInclusive<u32>,
        mut each: impl FnMut(&Sample) -> Result<(), E>,
    ) -> Result<(), E> {
        let geometry = &self.plan.geometry;
        let hold = geometry.hold();
        let first = (*frames.start()).max(1);
        let last = (*frames.end()).min(geometry.frames());
        let mut before = geometry.blank();
        let mut here = geometry.blank();
        let mut after = geometry.blank();
        let mut sample = Sample::default();
        if first > last {
            return Ok(());
        }
        let mut picture = geometry.held(first);
        if picture > hold {
            geometry.pose_into(picture - hold, &mut before);
        }
        geometry.pose_into(picture, &mut here);
        while picture <= last {
            let next = picture.saturating_add(hold);
            let goes_on = next <= geometry.frames();
            if goes_on {
                geometry.pose_into(next, &mut after);
            }
            sample.picture = picture;
            let step = f64::from(hold);
            let moved = |axis: &PlannedAxis| {
                let position = axis.position(&here);
                let speed = (picture > 1).then(|| (position - axis.position(&before)) / step);
                Motion {
                    // Adding zero turns a negative zero into a plain one.
                    position: position + 0.0,
                    speed: speed.map(|speed| speed + 0.0),
                    acceleration: speed.filter(|_| goes_on).map(|speed| {
                        ((axis.position(&after) - position) / step - speed) / step + 0.0
                    }),
                }
            };
            sample.axes.clear();
            sample.axes.extend(self.plan.axes.iter().map(moved));
            sample.levels = (picture > 1).then(|| travels(geometry, &before, &here));
            for frame in picture.max(first)..next.min(last.saturating_add(1)) {
                sample.frame = frame;
                sample.seconds = f64::from(frame - 1) / self.plan.rate;
                each(&sample)?;
            }
            std::mem::swap(&mut before, &mut here);
            std::mem::swap(&mut here, &mut after);
            picture = next;
        }
        Ok(())
    }
}

/// How far every level goes in the picture from one pose to another.
#[must_use]
pub fn travels(geometry: &Geometry, before: &FramePose, here: &FramePose) -> Vec<Travel> {
    let picture = geometry.picture();
    (0..here.levels.len())
        .map(|level| {
            let (from, to) = (Seen::new(before, level), Seen::new(here, level));
            let gone = |at: (f64, f64)| {
                let (x, y) = to.pictured(from.painted(at));
                distance_px(picture, (x - at.0, y - at.1))
            };
            Travel {
                centre_px: gone((0.0, 0.0)),
                edge_px: edge(picture).map(gone).fold(0.0, f64::max),
            }
        })
        .collect()
}

/// Corners and middles of the sides of a picture, mm on the sensor from its middle.
pub(crate) fn edge(picture: &Picture) -> impl Iterator<Item = (f64, f64)> + use<> {
    let (x, y) = (picture.width_mm / 2.0, picture.height_mm / 2.0);
    [
        (-1.0, -1.0),
        (0.0, -1.0),
        (1.0, -1.0),
        (1.0, 0.0),
        (1.0, 1.0),
        (0.0, 1.0),
        (-1.0, 1.0),
        (-1.0, 0.0),
    ]
    .into_iter()
    .map(move |(east, north)| (east * x, north * y))
}

fn distance_px(picture: &Picture, (x, y): (f64, f64)) -> f64 {
    (x * f64::from(picture.columns) / picture.width_mm)
        .hypot(y * f64::from(picture.rows) / picture.height_mm)
}

/// How the lens sees a level: a similarity between the painting, in mm from the level's zero, and
/// the upright picture, in mm on the sensor from its middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    scale: f64,
    sin: f64,
    cos: f64,
    offset: (f64, f64),
}

impl Seen {
    /// A level of a pose; its place in the stand's list.
    #[must_use]
    pub fn new(pose: &FramePose, level: usize) -> Self {
        let place: CarrierPose = pose.stand.levels[level];
        let camera = &pose.stand.camera;
        let scale = pose.image_mm / pose.levels[level].distance_mm;
        let (sin, cos) = (place.turn_degrees - camera.turn_degrees)
            .to_radians()
            .sin_cos();
        let (camera_sin, camera_cos) = camera.turn_degrees.to_radians().sin_cos();
        let (x, y) = (
            place.east_mm - camera.east_mm,
            place.north_mm - camera.north_mm,
        );
        Self {
            scale,
            sin,
            cos,
            offset: (
                scale * (camera_cos * x + camera_sin * y),
                scale * (camera_cos * y - camera_sin * x),
            ),
        }
    }

    /// Where a point of the painting is pictured.
    #[must_use]
    pub fn pictured(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (
            self.offset.0 + self.scale * (self.cos * x - self.sin * y),
            self.offset.1 + self.scale * (self.sin * x + self.cos * y),
        )
    }

    /// What of the painting is pictured at a point.
    #[must_use]
    pub fn painted(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let (x, y) = (
            (x - self.offset.0) / self.scale,
            (y - self.offset.1) / self.scale,
        );
        (self.cos * x + self.sin * y, self.cos * y - self.sin * x)
    }
}

#[cfg(test)]
mod tests;
