//! From a level's plane to the picture and back.

use crate::optics;
use crate::stand::{LevelId, Stand, StandPose};

/// How the lens pictures a level's plane: a similarity, by similar triangles through the entrance
/// pupil.
///
/// Points of the level are in millimetres from its zero, east and north with the level unturned;
/// points of the picture in pixels from its top left corner, columns to the east and rows to the
/// south.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Imaging {
    /// Turn and scale to the picture behind the lens, as the sides of a complex factor.
    factor: (f64, f64),
    /// Where the level's zero is pictured, mm from the middle of the picture.
    zero_mm: (f64, f64),
    /// Pixels to a millimetre of the picture, east and south.
    pixels_per_mm: (f64, f64),
    middle: (f64, f64),
}

impl Imaging {
    /// With the stand in a pose and the lens at an image distance. `None` where there is no such
    /// level, or it is not below the lens.
    #[must_use]
    pub fn new(stand: &Stand, pose: &StandPose, image_mm: f64, level: LevelId) -> Option<Self> {
        let place = pose.levels.get(level.0)?;
        stand.levels.get(level.0)?;
        let distance_mm = optics::apparent_distance_mm(stand, level, &pose.camera, place);
        if distance_mm.is_nan() || distance_mm <= 0.0 {
            return None;
        }
        let scale = image_mm / distance_mm;
        let turn = (place.turn_degrees - pose.camera.turn_degrees).to_radians();
        let (sin, cos) = turn.sin_cos();
        let (camera_sin, camera_cos) = pose.camera.turn_degrees.to_radians().sin_cos();
        let (x, y) = (
            place.east_mm - pose.camera.east_mm,
            place.north_mm - pose.camera.north_mm,
        );
        let picture = &stand.lens.picture;
        let (columns, rows) = (f64::from(picture.columns), f64::from(picture.rows));
        Some(Self {
            factor: (scale * cos, scale * sin),
            zero_mm: (
                scale * (camera_cos * x + camera_sin * y),
                scale * (camera_cos * y - camera_sin * x),
            ),
            pixels_per_mm: (columns / picture.width_mm, rows / picture.height_mm),
            middle: (columns / 2.0, rows / 2.0),
        })
    }

    /// Where a point of the level is pictured.
    #[must_use]
    pub fn pixel(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let (cos, sin) = self.factor;
        let (east, north) = (
            cos * x - sin * y + self.zero_mm.0,
            sin * x + cos * y + self.zero_mm.1,
        );
        (
            self.middle.0 + east * self.pixels_per_mm.0,
            self.middle.1 - north * self.pixels_per_mm.1,
        )
    }

    /// The point of the level that is pictured there.
    #[must_use]
    pub fn point(&self, (column, row): (f64, f64)) -> (f64, f64) {
        let (cos, sin) = self.factor;
        let (east, north) = (
            (column - self.middle.0) / self.pixels_per_mm.0 - self.zero_mm.0,
            (self.middle.1 - row) / self.pixels_per_mm.1 - self.zero_mm.1,
        );
        let square = cos * cos + sin * sin;
        (
            (cos * east + sin * north) / square,
            (cos * north - sin * east) / square,
        )
    }

    /// The middle of the picture.
    #[must_use]
    pub fn middle(&self) -> (f64, f64) {
        self.middle
    }

    /// Corners of the picture: north-west, north-east, south-east, south-west.
    #[must_use]
    pub fn corners(&self) -> [(f64, f64); 4] {
        let (east, south) = (self.middle.0 * 2.0, self.middle.1 * 2.0);
        [(0.0, 0.0), (east, 0.0), (east, south), (0.0, south)]
    }

    /// What of the level fills the picture: the points at its corners.
    #[must_use]
    pub fn filling(&self) -> [(f64, f64); 4] {
        self.corners().map(|corner| self.point(corner))
    }

    /// Pixels to a millimetre of the level (the finer of the two ways).
    #[must_use]
    pub fn pixels_per_mm(&self) -> f64 {
        self.factor.0.hypot(self.factor.1) * self.pixels_per_mm.0.max(self.pixels_per_mm.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::{image_distance_mm, zero_pose};

    #[test]
    fn there_and_back_is_the_same_point() {
        let stand =
            crate::file::read_stand(concat!(env!("CARGO_MANIFEST_DIR"), "/demo/stand.toml"))
                .expect("the demonstration's stand");
        let mut pose = zero_pose(&stand);
        pose.camera.turn_degrees = 12.0;
        pose.camera.east_mm = -7.0;
        pose.levels[1].turn_degrees = -31.0;
        pose.levels[1].north_mm = 18.0;
        pose.levels[1].lift_mm = 25.0;
        let image_mm = image_distance_mm(stand.lens.focal_length_mm, pose.focus_mm);
        let imaging = Imaging::new(&stand, &pose, image_mm, LevelId(1)).expect("it is below");
        for point in [(0.0, 0.0), (-40.0, 12.5), (133.0, -71.0)] {
            let back = imaging.point(imaging.pixel(point));
            assert!(
                (back.0 - point.0).hypot(back.1 - point.1) < 1e-9,
                "{back:?}"
            );
        }
        for (corner, point) in imaging.corners().into_iter().zip(imaging.filling()) {
            let back = imaging.pixel(point);
            assert!(
                (back.0 - corner.0).hypot(back.1 - corner.1) < 1e-9,
                "{back:?}"
            );
        }
        assert_eq!(Imaging::new(&stand, &pose, image_mm, LevelId(9)), None);
        pose.levels[1].lift_mm = 5000.0;
        assert_eq!(Imaging::new(&stand, &pose, image_mm, LevelId(1)), None);
    }
}
