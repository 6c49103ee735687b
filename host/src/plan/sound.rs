//! What has to be true of a stand and a shot before any geometry can be made of them.

use crate::optics;
use crate::plan::refusals::{Fault, Refusals};
use crate::schedule::MAX_FRAMES;
use crate::shot::{Distance, Shot, When};
use crate::stand::{Carrier, CarrierPose, LevelId, Stand, Way};

/// What no geometry can be made of.
pub(crate) fn unsound(stand: &Stand, shot: &Shot) -> Result<(), Refusals> {
    let say = |what: String| Err(Fault::Unsound { what }.into());
    let there = |LevelId(level): LevelId| level < stand.levels.len();
    if shot.frames == 0 {
        return say("the shot has no frames".into());
    }
    if shot.frames > MAX_FRAMES {
        return say(format!(
            "the shot has {} frames; at most {MAX_FRAMES} are planned",
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
    exposures(stand, shot)?;
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

/// What no exposure can be made of.
fn exposures(stand: &Stand, shot: &Shot) -> Result<(), Refusals> {
    let say = |what: String| Err(Fault::Unsound { what }.into());
    let there = |LevelId(level): LevelId| level < stand.levels.len();
    if shot.passes.is_empty() {
        return say("every frame needs one exposure at least, but there is no pass".into());
    }
    let exposures = shot.passes.len() as u64 * u64::from(shot.frames);
    if exposures > u64::from(MAX_FRAMES) {
        return say(format!(
            "the shot has {exposures} exposures in its passes; at most {MAX_FRAMES} are planned"
        ));
    }
    if shot.passes[0].when == When::AfterRun {
        return say("the first pass cannot come after the run of those before it".into());
    }
    for pass in &shot.passes {
        if pass.lamps.iter().any(|&lamp| lamp >= stand.lamps.len())
            || !pass.without.iter().all(|&level| there(level))
        {
            return say(format!(
                "pass {:?} names a lamp or a level that the stand does not have",
                pass.name
            ));
        }
    }
    for (place, cels) in shot.cels.iter().enumerate() {
        let name = match stand.levels.get(cels.level.0) {
            Some(level) => &level.name,
            None => return say("drawings lie on a level that the stand does not have".into()),
        };
        let sound = (1..=cels.to).contains(&cels.from)
            && cels.to <= shot.frames
            && !cels.drawings().is_empty()
            && cels.drawings().iter().all(|drawing| drawing.hold > 0);
        if !sound {
            return say(format!(
                "drawings on {name} from frame {} to frame {} need frames of the shot in their order, and each drawing a frame at least",
                cels.from, cels.to
            ));
        }
        let other = shot.cels[..place].iter().find(|other| {
            other.level == cels.level && other.from <= cels.to && cels.from <= other.to
        });
        if let Some(other) = other {
            return say(format!(
                "two stretches of drawings on {name} share frames: {} to {} and {} to {}",
                other.from, other.to, cels.from, cels.to
            ));
        }
    }
    if !(shot.strobing.strobes_below > 0.0
        && shot.strobing.smears_below > 0.0
        && !shot.strobing.crossing.is_zero())
    {
        return say("the limits of strobing have to be above zero".into());
    }
    Ok(())
}
