//! The lens and the glass, by the thin-lens equation and the paraxial shift of a plane plate.

use crate::stand::{CarrierPose, Face, LevelId, Pane, Stand, StandPose};

/// How much nearer a plane plate makes everything behind it appear: `t (1 - 1/n)`, mm.
/// (Paraxial shift of a plane-parallel plate; any optics handbook.)
#[must_use]
pub fn glass_shift_mm(pane: &Pane) -> f64 {
    pane.thickness_mm * (1.0 - 1.0 / pane.index)
}

/// Distance behind the lens at which it forms the picture of what lies `distance_mm` before it:
/// `1/f = 1/s + 1/v`, mm. Negative or infinite where the object is within the focal length.
#[must_use]
pub fn image_distance_mm(focal_length_mm: f64, distance_mm: f64) -> f64 {
    1.0 / (1.0 / focal_length_mm - 1.0 / distance_mm)
}

/// Glass between the lens and a level's art, as the sum of the panes' shifts, mm.
#[must_use]
pub fn glass_above_mm(stand: &Stand, level: LevelId) -> f64 {
    let above: f64 = stand.levels[..level.0]
        .iter()
        .map(|level| glass_shift_mm(&level.pane))
        .sum();
    let pane = &stand.levels[level.0].pane;
    match pane.art {
        Face::Upper => above,
        Face::Under => above + glass_shift_mm(pane),
    }
}

/// Apparent distance from the entrance pupil to a level's art, mm.
#[must_use]
pub fn apparent_distance_mm(
    stand: &Stand,
    level: LevelId,
    camera: &CarrierPose,
    pose: &CarrierPose,
) -> f64 {
    (stand.lens.height_mm + camera.lift_mm)
        - (stand.levels[level.0].height_mm + pose.lift_mm)
        - glass_above_mm(stand, level)
}

/// Every axis at its zero, the lens focused on the stand's focus level.
#[must_use]
pub fn zero_pose(stand: &Stand) -> StandPose {
    let zero = CarrierPose::default();
    StandPose {
        levels: vec![zero; stand.levels.len()],
        camera: zero,
        focus_mm: apparent_distance_mm(stand, stand.lens.focus, &zero, &zero),
    }
}
