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
//! all that is in the picture ([`edge_travel_px`]), which lies at its edge. Where the viewer comes
//! nearer, the edge goes farther than the middle. On twos it is the whole jump, not a half of it for
//! each frame.

use std::ops::RangeInclusive;

use crate::plan::geometry::FramePose;
use crate::plan::imaging::Imaging;
use crate::plan::strobing::edge_travel_px;
use crate::plan::{Plan, PlannedAxis};
use crate::stand::{LevelId, Stand};

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
    /// The fastest point of the picture.
    pub edge_px: f64,
}

/// The curves of a plan. They are worked out picture by picture: their size does not grow with
/// the frames.
#[derive(Clone, Copy, Debug)]
pub struct Curves<'a> {
    stand: &'a Stand,
    plan: &'a Plan,
}

impl<'a> Curves<'a> {
    /// The curves of a plan on its stand.
    #[must_use]
    pub fn new(stand: &'a Stand, plan: &'a Plan) -> Self {
        Self { stand, plan }
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
            sample.levels = (picture > 1).then(|| {
                let levels = (0..here.levels.len()).map(LevelId);
                let seen = |pose: &FramePose, level| {
                    Imaging::new(self.stand, &pose.stand, pose.image_mm, level)
                };
                levels
                    .map(|level| {
                        seen(&before, level)
                            .zip(seen(&here, level))
                            .map_or(Travel::default(), |(before, here)| travel(&before, &here))
                    })
                    .collect()
            });
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

/// How far every level goes in the picture from one imaging of it to the next.
fn travel(before: &Imaging, here: &Imaging) -> Travel {
    let middle = before.middle();
    let then = here.pixel(before.point(middle));
    Travel {
        centre_px: (then.0 - middle.0).hypot(then.1 - middle.1),
        edge_px: edge_travel_px(before, here),
    }
}
