//! The numbers of every level that a builder wants at one glance.

use serde::Serialize;

use super::Sight;
use super::drives::smallest;
use crate::optics::depth::blur_mm;
use crate::optics::light::{pile_transmittance, stops};
use crate::stand::{Carrier, Face, LevelId, Stand, Way};

/// A level as the lens sees it with every axis at its zero, focused as the stand says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Glance {
    /// The level's name.
    pub level: String,
    /// Apparent distance from the entrance pupil, mm.
    pub distance_mm: f64,
    /// Size in the picture against its own size.
    pub magnification: f64,
    /// Blur by focus alone, pixels.
    pub blur_px: f64,
    /// Light on its way from the level to the lens, stops; below 0 for a loss.
    pub light_stops: f64,
    /// One step, or one division of the scale, of the level's own coarsest axis.
    pub step: Option<Step>,
}

/// One step, or one division of a scale, in the picture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Step {
    /// Which way the axis goes.
    pub way: &'static str,
    /// How far it moves the picture of its level, pixels; at the corner for a lift or a turn.
    pub pixels: f64,
}

/// All levels of which the lens forms a picture, from the top.
pub(super) fn glance(stand: &Stand, sight: &Sight) -> Vec<Glance> {
    let lens = &stand.lens;
    (0..stand.levels.len())
        .map(LevelId)
        .filter_map(|level| {
            let distance_mm = sight.distance_mm(stand, level);
            if distance_mm.partial_cmp(&lens.focal_length_mm) != Some(std::cmp::Ordering::Greater) {
                return None;
            }
            let blur = blur_mm(
                lens.focal_length_mm,
                lens.f_number,
                sight.focus_mm,
                distance_mm,
            );
            Some(Glance {
                level: stand.levels[level.0].name.clone(),
                distance_mm,
                magnification: sight.magnification(stand, level),
                blur_px: blur * lens.picture.pixels_per_mm(),
                light_stops: stops(seen_through(stand, level).1),
                step: coarsest(stand, sight, level),
            })
        })
        .collect()
}

fn coarsest(stand: &Stand, sight: &Sight, level: LevelId) -> Option<Step> {
    let own = stand
        .axes
        .iter()
        .filter(|axis| axis.of == Carrier::Level(level) && axis.way != Way::Focus);
    own.map(|axis| Step {
        way: axis.way.name(),
        pixels: smallest(axis).0 * sight.pixels_per_unit(stand, level, axis.way),
    })
    .max_by(|one, two| one.pixels.total_cmp(&two.pixels))
}

/// How many panes lie between the lens and a level's art, and the part of the light that they let through.
pub(super) fn seen_through(stand: &Stand, level: LevelId) -> (usize, f64) {
    let own = &stand.levels[level.0].pane;
    let above = stand.levels[..level.0].iter().map(|level| level.pane.index);
    let panes = above.chain((own.art == Face::Under).then_some(own.index));
    (panes.clone().count(), pile_transmittance(panes))
}
