//! The lens and the glass, by the thin-lens equation and the paraxial shift of a plane plate.
//!
//! * [`depth`]: depth of field, blur, diffraction, and exposure close up.
//! * [`light`]: what the glass lets through.

pub mod depth;
pub mod light;

use crate::stand::{CarrierPose, Face, LevelId, Pane, Picture, Stand, StandPose, Way};

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

/// The stand with some levels' panes taken out, as a pass may ask: nothing is shifted by them, and what
/// lies below looks farther away by as much as they raised it. Their places in the list stay.
#[must_use]
pub fn with_levels_out(stand: &Stand, out: &[LevelId]) -> Stand {
    let mut rest = stand.clone();
    for LevelId(level) in out {
        if let Some(level) = rest.levels.get_mut(*level) {
            level.pane.thickness_mm = 0.0;
        }
    }
    rest
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

/// How far the picture of what lies `distance_mm` before the lens moves, in pixels, for one unit of a
/// move: at the picture's corner for lifts and turns; 0 for focus.
#[must_use]
pub fn pixels_per_unit(picture: &Picture, image_mm: f64, distance_mm: f64, way: Way) -> f64 {
    picture.pixels_per_mm()
        * match way {
            Way::East | Way::North => image_mm / distance_mm,
            Way::Lift => picture.corner_mm() / distance_mm,
            Way::Turn => picture.corner_mm() * 1.0_f64.to_radians(),
            Way::Focus => 0.0,
        }
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

/// Magnification of a thin lens, image size over object size: `f / (s - f)`.
#[must_use]
pub fn magnification(focal_length_mm: f64, distance_mm: f64) -> f64 {
    focal_length_mm / (distance_mm - focal_length_mm)
}

/// Distance on which the lens is focused with its ring at a position, by the ring's table of
/// position (rising) and distance: along straight lines between the measured pairs. `None` beyond
/// the ends of the table.
#[must_use]
pub fn focused_distance_mm(table: &[(f64, f64)], ring: f64) -> Option<f64> {
    between(table.iter().copied(), ring)
}

/// Position of the lens ring that focuses on a distance: the inverse of [`focused_distance_mm`].
/// `None` where the table does not reach.
#[must_use]
pub fn ring_position(table: &[(f64, f64)], distance_mm: f64) -> Option<f64> {
    between(
        table.iter().map(|&(ring, distance)| (distance, ring)),
        distance_mm,
    )
}

/// Straight between neighbouring points; `x` may rise or fall.
fn between(points: impl Iterator<Item = (f64, f64)> + Clone, x: f64) -> Option<f64> {
    // What rounds to an end belongs to the table.
    let slack = x.abs() * 1e-12;
    points
        .clone()
        .zip(points.skip(1))
        .find_map(|((x0, y0), (x1, y1))| {
            let (least, greatest) = if x0 <= x1 { (x0, x1) } else { (x1, x0) };
            let within = x >= least - slack && x <= greatest + slack && greatest > least;
            within.then(|| {
                let part = ((x - x0) / (x1 - x0)).clamp(0.0, 1.0);
                y0 + part * (y1 - y0)
            })
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64, within: f64) {
        assert!((value - expected).abs() <= within, "{value} {expected}");
    }

    /// kennethleegallery.com/html/tech/bellows.php: a 200 mm lens at 315 mm of bellows sees an
    /// object at 547.8 mm; 300 mm at 3048 mm gives 10.9 %; at 320 mm of bellows 200 mm gives 0.60
    /// and 150 mm 1.133. Life size at twice the focal length: tools.gera.services.
    #[test]
    fn thin_lens_follows_published_bellows_examples() {
        near(image_distance_mm(200.0, 547.8), 315.0, 0.05);
        near(
            magnification(150.0, image_distance_mm(150.0, 320.0)),
            1.133,
            5e-4,
        );
        near(magnification(100.0, 200.0), 1.0, 1e-12);
        near(magnification(300.0, 3048.0), 0.109, 5e-4);
        near(
            magnification(200.0, image_distance_mm(200.0, 320.0)),
            0.60,
            1e-12,
        );
        near(image_distance_mm(100.0, 200.0), 200.0, 1e-12);
    }

    /// Textbook exercises: 6.0 cm of glass, n = 1.5, raise a page by 2.0 cm (byjus.com); 3 cm,
    /// 1.5: 1 cm (ctevtprep.com); 10 cm, 1.6: 3.75 cm (solve.club).
    #[test]
    fn glass_raises_what_is_behind_it_as_in_textbooks() {
        let pane = |thickness_mm: f64, index: f64| Pane {
            width_mm: 100.0,
            height_mm: 100.0,
            thickness_mm,
            index,
            art: Face::Upper,
        };
        near(glass_shift_mm(&pane(60.0, 1.5)), 20.0, 1e-12);
        near(glass_shift_mm(&pane(30.0, 1.5)), 10.0, 1e-12);
        near(glass_shift_mm(&pane(100.0, 1.6)), 37.5, 1e-12);
    }

    #[test]
    fn the_ring_and_its_distance_are_inverse_to_each_other() {
        let table = [
            (0.0, 400.0),
            (60.0, 700.0),
            (110.0, 1500.0),
            (140.0, 4000.0),
        ];
        for step in 0..=140 {
            let ring = f64::from(step);
            let distance = focused_distance_mm(&table, ring).expect("within the table");
            near(ring_position(&table, distance).expect("within"), ring, 1e-9);
        }
        assert_eq!(focused_distance_mm(&table, -0.1), None);
        assert_eq!(ring_position(&table, 399.0), None);
        assert_eq!(ring_position(&[], 500.0), None);
        assert_eq!(ring_position(&table, f64::NAN), None);
    }
}
