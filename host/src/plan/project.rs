//! What the lens sees of a stand, and what the viewer sees of the story. One must be the other.
//!
//! Points of the picture are in pixels from its top left corner, columns to the east and rows to
//! the south; the middle of the picture is at half its columns and rows. Points of a painting are
//! in millimetres from its level's zero, east and north with the level unturned.

use crate::optics;
use crate::plan::geometry::{FramePose, Geometry};
use crate::plan::imaging::Imaging;
use crate::shot::{Distance, Shot};
use crate::stand::{LevelId, Picture, Stand, StandPose};

/// Where a point of a level's painting is pictured with the stand in a pose and the lens at an
/// image distance. `None` where there is no such level or it is not below the lens.
#[must_use]
pub fn stand_point(
    stand: &Stand,
    pose: &StandPose,
    image_mm: f64,
    level: LevelId,
    point: (f64, f64),
) -> Option<(f64, f64)> {
    Some(Imaging::new(stand, pose, image_mm, level)?.pixel(point))
}

/// Where the same point belongs in the story's picture: the painting is a part of the story `D`
/// away, `1/a` as large, moved by what the shot asks of its level itself. `None` where there is no such level or the viewer is not before it.
#[must_use]
pub fn story_point(
    stand: &Stand,
    shot: &Shot,
    geometry: &Geometry,
    frame: u32,
    level: LevelId,
    point: (f64, f64),
) -> Option<(f64, f64)> {
    let layer = shot.layers.get(level.0)?;
    stand.levels.get(level.0)?;
    let [east, north, ahead, roll] = geometry.viewer(frame);
    let pose: FramePose = geometry.pose(frame);
    let own = geometry.own_move(frame, level)?;
    let (x, y) = turned(own.turn_degrees, point);
    let (x, y) = (x + own.east_mm, y + own.north_mm);
    let zero = Default::default();
    let zero_mm = optics::apparent_distance_mm(stand, level, &zero, &zero);
    // A lift of its own brings the layer nearer by as much as it covers in the story.
    let image_mm = geometry.reference_image_mm();
    let nearer = own.lift_mm * image_mm / pose.image_mm;
    let (offset, distance) = match layer.distance {
        Distance::At(distance) => {
            let size = distance / zero_mm;
            (
                (x * size - east, y * size - north),
                distance - ahead - nearer * size,
            )
        }
        // So far away that no travel shows.
        Distance::Far => ((x, y), zero_mm - nearer),
    };
    pictured(
        &stand.lens.picture,
        image_mm,
        turned(-roll, offset),
        distance,
    )
}

/// Turns a vector counter-clockwise.
fn turned(degrees: f64, (x, y): (f64, f64)) -> (f64, f64) {
    let (sin, cos) = degrees.to_radians().sin_cos();
    (cos * x - sin * y, sin * x + cos * y)
}

/// By similar triangles through the entrance pupil.
fn pictured(
    picture: &Picture,
    image_mm: f64,
    (x, y): (f64, f64),
    distance_mm: f64,
) -> Option<(f64, f64)> {
    if distance_mm.is_nan() || distance_mm <= 0.0 {
        return None;
    }
    let (columns, rows) = (f64::from(picture.columns), f64::from(picture.rows));
    let scale = image_mm / distance_mm;
    Some((
        columns / 2.0 + x * scale * columns / picture.width_mm,
        rows / 2.0 - y * scale * rows / picture.height_mm,
    ))
}
