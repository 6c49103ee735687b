//! What has to be true of a stand and a shot before any geometry can be made of them.

use crate::optics;
use crate::plan::refusals::{Fault, Refusals};
use crate::shot::{Distance, Shot};
use crate::stand::{Carrier, CarrierPose, LevelId, Stand, Way};

/// Most frames of a shot: half a day at 24 a second. A slip of the pen must not fill the memory.
const MOST_FRAMES: u32 = 1_000_000;

/// What no geometry can be made of.
pub(crate) fn unsound(stand: &Stand, shot: &Shot) -> Result<(), Refusals> {
    let say = |what: String| Err(Fault::Unsound { what }.into());
    let there = |LevelId(level): LevelId| level < stand.levels.len();
    if shot.frames == 0 {
        return say("the shot has no frames".into());
    }
    if shot.frames > MOST_FRAMES {
        return say(format!(
            "the shot has {} frames; at most {MOST_FRAMES} are planned",
            shot.frames
        ));
    }
    if shot.hold == 0 {
        return say("pictures have to be held for at least one frame".into());
    }
    if !(1..=shot.frames).contains(&shot.reference_frame) {
        return say(format!(
            "the reference frame {} is not one of the shot's frames 1 to {}",
            shot.reference_frame, shot.frames
        ));
    }
    if shot.layers.len() != stand.levels.len()
        || shot
            .layers
            .iter()
            .enumerate()
            .any(|(i, layer)| layer.level != LevelId(i))
    {
        return say(format!(
            "every level needs exactly one layer, in the stand's order: {} levels, {} layers",
            stand.levels.len(),
            shot.layers.len()
        ));
    }
    if !there(stand.lens.focus)
        || shot.shifts.iter().any(|shift| !there(shift.level))
        || shot.focus.iter().any(|key| !there(key.level))
        || stand
            .axes
            .iter()
            .any(|axis| matches!(axis.of, Carrier::Level(id) if !there(id)))
    {
        return say("a level is named that the stand does not have".into());
    }
    if shot.shifts.iter().any(|shift| shift.way == Way::Focus)
        || shot.camera.iter().any(|(way, _)| *way == Way::Focus)
    {
        return say("focus is pulled by focus keys, not as a move of a level or the camera".into());
    }
    for (level, layer) in stand.levels.iter().zip(&shot.layers) {
        if let Distance::At(distance) = layer.distance
            && !(distance > 0.0 && distance.is_finite())
        {
            return say(format!(
                "the layer on {} needs a distance above zero, not {distance} mm",
                level.name
            ));
        }
    }
    let picture = &stand.lens.picture;
    if !(picture.width_mm > 0.0
        && picture.height_mm > 0.0
        && picture.columns > 0
        && picture.rows > 0
        && stand.lens.focal_length_mm > 0.0)
    {
        return say("the focal length and the picture's sides have to be above zero".into());
    }
    if !stand.clearance_mm.is_finite() {
        return say("the clearance between levels has to be a number".into());
    }
    let zero = CarrierPose::default();
    for (index, level) in stand.levels.iter().enumerate() {
        let pane = &level.pane;
        if !(pane.thickness_mm >= 0.0 && pane.thickness_mm.is_finite() && pane.index >= 1.0) {
            return say(format!(
                "the pane of {} needs a thickness of 0 or more and an index of 1 or more",
                level.name
            ));
        }
        let distance_mm = optics::apparent_distance_mm(stand, LevelId(index), &zero, &zero);
        if !(distance_mm > 0.0 && distance_mm.is_finite()) {
            return Err(Fault::AboveLens {
                level: level.name.clone(),
                gap_mm: distance_mm,
            }
            .into());
        }
    }
    Ok(())
}
