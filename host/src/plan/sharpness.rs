//! What is sharp along a move, and how blurred the rest is.

use std::ops::RangeInclusive;

use serde::Serialize;

use crate::optics::depth::{blur_mm, depth_of_field};
use crate::plan::geometry::FramePose;
use crate::plan::strobing::join;
use crate::stand::Stand;

/// How sharp a level is over a shot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LevelSharpness {
    /// The level's name.
    pub level: String,
    /// Diameter of a point's blur where it is greatest, pixels, by the lens alone.
    pub blur_pixels: f64,
    /// The frame at which it is.
    pub frame: u32,
    /// Apparent distance of the level there, mm.
    pub distance_mm: f64,
    /// From where everything is sharp there, mm from the entrance pupil.
    pub near_mm: f64,
    /// Up to where; none where it is sharp to infinity.
    pub far_mm: Option<f64>,
    /// Stretches of frames at which the blur is greater than the circle of confusion.
    pub soft: Vec<RangeInclusive<u32>>,
}

/// Gathers how sharp levels are, picture by picture.
#[derive(Clone, Debug)]
pub(crate) struct Sharpness {
    focal_length_mm: f64,
    f_number: f64,
    circle_mm: f64,
    pixels_per_mm: f64,
    levels: Vec<LevelSharpness>,
}

impl Sharpness {
    pub(crate) fn new(stand: &Stand) -> Self {
        let lens = &stand.lens;
        let level = |name: &str| LevelSharpness {
            level: name.to_owned(),
            blur_pixels: -1.0,
            frame: 1,
            distance_mm: f64::NAN,
            near_mm: f64::NAN,
            far_mm: None,
            soft: Vec::new(),
        };
        Self {
            focal_length_mm: lens.focal_length_mm,
            f_number: lens.f_number,
            circle_mm: lens.circle_of_confusion_mm,
            pixels_per_mm: lens.picture.pixels_per_mm(),
            levels: stand.levels.iter().map(|of| level(&of.name)).collect(),
        }
    }

    /// Takes a picture in that is held for `held` frames from `frame`. `shows`: on which levels
    /// anything lies.
    pub(crate) fn look(&mut self, frame: u32, held: u32, pose: &FramePose, shows: &[bool]) {
        let focus_mm = pose.stand.focus_mm;
        for ((level, view), &shown) in self.levels.iter_mut().zip(&pose.levels).zip(shows) {
            let blur = blur_mm(
                self.focal_length_mm,
                self.f_number,
                focus_mm,
                view.distance_mm,
            );
            if shown && blur > self.circle_mm * (1.0 + 1e-9) {
                join(&mut level.soft, frame..=frame + held.max(1) - 1);
            }
            let pixels = blur * self.pixels_per_mm;
            if pixels > level.blur_pixels {
                let depth = depth_of_field(
                    self.focal_length_mm,
                    self.f_number,
                    self.circle_mm,
                    focus_mm,
                );
                level.blur_pixels = pixels;
                level.frame = frame;
                level.distance_mm = view.distance_mm;
                level.near_mm = depth.near_mm;
                level.far_mm = depth.far_mm.is_finite().then_some(depth.far_mm);
            }
        }
    }

    pub(crate) fn finish(self) -> Vec<LevelSharpness> {
        self.levels
    }
}
