//! Depth of field, blur and diffraction, by the exact thin lens.
//!
//! Distances count from the entrance pupil, in millimetres, and are apparent ones where there is
//! glass between (see [`super::apparent_distance_mm`]). F-numbers are those marked on the lens
//! unless they are called effective. The lens is taken to be thin: entrance and exit pupil of the
//! same size (a pupil magnification of 1), as for most lenses of about normal focal length.

/// Wavelength in the middle of daylight as the eye weighs it: 0.00055 mm (550 nm; the round number
/// that tables of diffraction use).
pub const GREEN_MM: f64 = 0.000_55;

/// Where what the lens sees is sharp: as far as a blurred point is no greater than the circle of
/// confusion.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DepthOfField {
    /// Nearest sharp distance, mm.
    pub near_mm: f64,
    /// Farthest sharp distance, mm; infinite where everything beyond is sharp.
    pub far_mm: f64,
}

impl DepthOfField {
    /// Whether what lies at a distance, mm, is sharp.
    #[must_use]
    pub fn reaches(&self, distance_mm: f64) -> bool {
        (self.near_mm..=self.far_mm).contains(&distance_mm)
    }
}

/// The nearest distance focused on which a lens is sharp to infinity: `f²/(N c) + f`, mm.
/// (The first of the two definitions in the encyclopedias; the other leaves the last term out.)
#[must_use]
pub fn hyperfocal_mm(focal_length_mm: f64, f_number: f64, circle_mm: f64) -> f64 {
    short_hyperfocal_mm(focal_length_mm, f_number, circle_mm) + focal_length_mm
}

/// Without the focal length.
fn short_hyperfocal_mm(focal_length_mm: f64, f_number: f64, circle_mm: f64) -> f64 {
    focal_length_mm * focal_length_mm / (f_number * circle_mm)
}

/// From where to where a lens focused on `focus_mm` is sharp. With `h = f²/(N c)`:
/// near `h s/(h + s - f)`, far `h s/(h - s + f)`; exact for a thin lens.
#[must_use]
pub fn depth_of_field(
    focal_length_mm: f64,
    f_number: f64,
    circle_mm: f64,
    focus_mm: f64,
) -> DepthOfField {
    let hyperfocal = short_hyperfocal_mm(focal_length_mm, f_number, circle_mm);
    let beyond = focus_mm - focal_length_mm;
    DepthOfField {
        near_mm: hyperfocal * focus_mm / (hyperfocal + beyond),
        far_mm: if hyperfocal > beyond {
            hyperfocal * focus_mm / (hyperfocal - beyond)
        } else {
            f64::INFINITY
        },
    }
}

/// Depth of field close up, from the nearest to the farthest sharp distance, mm:
/// `2 c N (1 + m)/m²`. An approximation for magnifications above about 1:10 (B. Brown,
/// Cinematography: Theory and Practice, page 282, seen).
#[must_use]
pub fn close_up_depth_mm(f_number: f64, circle_mm: f64, magnification: f64) -> f64 {
    2.0 * circle_mm * f_number * (1.0 + magnification) / (magnification * magnification)
}

/// Diameter on the sensor of the disc that a point at `distance_mm` is blurred to by a lens focused
/// on `focus_mm`, mm: `(f/N) v |1/s - 1/d|`, where `v` is the image distance of the focus. Exact for a thin
/// lens; 0 for what is in focus, without diffraction.
#[must_use]
pub fn blur_mm(focal_length_mm: f64, f_number: f64, focus_mm: f64, distance_mm: f64) -> f64 {
    focal_length_mm / f_number
        * super::image_distance_mm(focal_length_mm, focus_mm)
        * (1.0 / focus_mm - 1.0 / distance_mm).abs()
}

/// Diameter of the first dark ring around a point's image, mm: `2.44 λ N`, with the effective
/// f-number. (The Airy disc; Hollows & James, Imaging Resource Guide, section 2.4, seen.)
#[must_use]
pub fn airy_diameter_mm(effective_f_number: f64, wavelength_mm: f64) -> f64 {
    2.44 * wavelength_mm * effective_f_number
}

/// The f-number by which the light that reaches the sensor and the diffraction go close up:
/// `N (1 + m)`.
#[must_use]
pub fn effective_f_number(f_number: f64, magnification: f64) -> f64 {
    f_number * (1.0 + magnification)
}

/// How many times as long must be exposed close up as a meter beside the camera says: `(1 + m)²`.
#[must_use]
pub fn exposure_factor(magnification: f64) -> f64 {
    (1.0 + magnification).powi(2)
}

/// Diameter of a point blurred by defocus and by diffraction together, mm: the root of the sum of
/// their squares.
///
/// A convention, not physics: that is how two Gaussian blurs add, and these are none. It is widely
/// used all the same (so R. Littlefield, photomacrography.net, topic 23751, seen, who says both).
#[must_use]
pub fn together_mm(blur_mm: f64, airy_mm: f64) -> f64 {
    blur_mm.hypot(airy_mm)
}

/// The marked f-number at which the worst of several distances is sharpest, by blur and diffraction
/// [`together_mm`]: wider open its blur grows, further closed its diffraction.
///
/// Diffraction is the same for all of them, so the worst is the one whose blur is the greatest at
/// any f-number, and it is sharpest where both are equal:
/// `f sqrt(max |1/s - 1/d| / (2.44 λ))`. With the focus in the middle of far subjects that is Hansma's
/// rule, `sqrt(375 D)` for a spread `D` of image distances in mm (P. Hansma, View camera focusing in
/// practice, 1996; from memory).
///
/// `None` where all of them are in focus: the widest opening is the sharpest then, of a perfect
/// lens.
#[must_use]
pub fn sharpest_f_number(
    focal_length_mm: f64,
    focus_mm: f64,
    distances_mm: impl IntoIterator<Item = f64>,
    wavelength_mm: f64,
) -> Option<f64> {
    let worst = distances_mm
        .into_iter()
        .map(|distance_mm| (1.0 / focus_mm - 1.0 / distance_mm).abs())
        .fold(0.0, f64::max);
    // What differs by rounding only is in focus.
    (worst * focus_mm > 1e-9).then(|| focal_length_mm * (worst / (2.44 * wavelength_mm)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::{image_distance_mm, magnification};

    fn near(value: f64, expected: f64, within: f64) {
        assert!((value - expected).abs() <= within, "{value} {expected}");
    }

    const FOOT_MM: f64 = 304.8;

    /// slideplayer.com/5823246, table for 35 mm cameras (seen): 50 mm, circle of 0.001 in, marked
    /// f-numbers, feet. US Army SS0507 (seen): 2 in at f/8 and 0.002 in, 20.8 ft. Without the
    /// focal length itself, calculator.7search.cc (seen): 15 625 mm and 3712.12 mm.
    #[test]
    fn hyperfocal_distances_of_the_tables() {
        let table = [
            (1.4, 230.7),
            (2.0, 161.5),
            (2.8, 115.3),
            (4.0, 80.7),
            (5.6, 57.7),
            (8.0, 40.4),
            (11.0, 29.4),
            (16.0, 20.2),
            (22.0, 14.7),
            (32.0, 10.1),
        ];
        for (f_number, feet) in table {
            let short_mm = short_hyperfocal_mm(50.0, f_number, 0.0254);
            near(short_mm / FOOT_MM, feet, 0.051);
        }
        near(short_hyperfocal_mm(50.8, 8.0, 0.0508) / FOOT_MM, 20.8, 0.05);
        near(short_hyperfocal_mm(50.0, 8.0, 0.02), 15_625.0, 0.5);
        near(short_hyperfocal_mm(35.0, 11.0, 0.03), 3712.12, 0.005);
    }

    /// Encyclopedia article "Hyperfocal distance", example (a mirror seen): 50 mm at f/8 with
    /// 0.03 mm: 10 467 mm, or 10 417 mm by the second definition; focused there, sharp from 5233 mm to
    /// infinity; focused on half of it, from 3489 mm to 10 467 mm (by its approximation for far
    /// subjects, which drops the focal length).
    #[test]
    fn an_encyclopedias_depth_of_field() {
        let hyperfocal = hyperfocal_mm(50.0, 8.0, 0.03);
        near(hyperfocal, 10_467.0, 0.5);
        near(hyperfocal - 50.0, 10_417.0, 0.5);
        let whole = depth_of_field(50.0, 8.0, 0.03, hyperfocal * (1.0 + 1e-12));
        near(whole.near_mm, 5233.0, 0.5);
        assert_eq!(whole.far_mm, f64::INFINITY);
        let half = depth_of_field(50.0, 8.0, 0.03, hyperfocal / 2.0);
        near(half.near_mm / 3489.0, 1.0, 0.004);
        near(half.far_mm / 10_467.0, 1.0, 0.01);
        assert!(half.reaches(5000.0) && !half.reaches(3000.0) && !half.reaches(11_000.0));
    }

    /// At the ends of the depth of field the blur is the circle of confusion, by another formula.
    #[test]
    fn blur_at_the_ends_is_the_circle_of_confusion() {
        for (focal_length_mm, f_number, focus_mm) in
            [(50.0, 8.0, 715.0), (35.0, 2.8, 400.0), (100.0, 22.0, 205.0)]
        {
            let depth = depth_of_field(focal_length_mm, f_number, 0.025, focus_mm);
            for end in [depth.near_mm, depth.far_mm] {
                near(
                    blur_mm(focal_length_mm, f_number, focus_mm, end),
                    0.025,
                    1e-12,
                );
            }
            assert_eq!(blur_mm(focal_length_mm, f_number, focus_mm, focus_mm), 0.0);
        }
    }

    /// photomacrography.net, topic 35788 (seen): 0.018 mm, fivefold, f/2.8 and f/4: 0.0242 mm and
    /// 0.0346 mm. The exact limits agree close up.
    #[test]
    fn close_up_depths() {
        near(close_up_depth_mm(2.8, 0.018, 5.0), 0.0242, 5e-5);
        near(close_up_depth_mm(4.0, 0.018, 5.0), 0.0346, 5e-5);
        let focus_mm = 100.0 * (1.0 + 1.0 / 0.5);
        let exact = depth_of_field(100.0, 8.0, 0.025, focus_mm);
        near(
            (exact.far_mm - exact.near_mm) / close_up_depth_mm(8.0, 0.025, 0.5),
            1.0,
            1e-4,
        );
    }

    /// Imaging Resource Guide, section 2.4, table 1, 520 nm (digits from memory); codingace.net
    /// (seen): 550 nm at f/4 5.37 µm, 532 nm at f/8 10.38 µm.
    #[test]
    fn airy_diameters_of_the_tables() {
        let table = [
            (1.4, 1.78),
            (2.0, 2.54),
            (2.8, 3.55),
            (4.0, 5.08),
            (5.6, 7.11),
            (8.0, 10.15),
            (11.0, 13.96),
            (16.0, 20.30),
        ];
        for (f_number, micrometres) in table {
            near(
                airy_diameter_mm(f_number, 0.000_52) * 1000.0,
                micrometres,
                0.0051,
            );
        }
        near(airy_diameter_mm(4.0, GREEN_MM) * 1000.0, 5.37, 0.005);
        near(airy_diameter_mm(8.0, 0.000_532) * 1000.0, 10.38, 0.005);
    }

    /// Bellows of 450 mm on 300 mm: 2.25 (kennethleegallery.com, seen); 18 in on 12 in, f/16: 2.25,
    /// image 8 in of an object of 12 in: 2.8 (US Army SS0512, seen); f/8 at half size is set to
    /// f/5.3 (Brown, page 282, seen); life size at f/8: f/16 and four times the time
    /// (tools.gera.services, seen).
    #[test]
    fn exposure_factors_of_the_handbooks() {
        near(exposure_factor(450.0 / 300.0 - 1.0), 2.25, 1e-12);
        near(exposure_factor(18.0 / 12.0 - 1.0), 2.25, 1e-12);
        near(exposure_factor(8.0 / 12.0), 2.8, 0.03);
        near(8.0 * 8.0 / effective_f_number(8.0, 0.5), 5.3, 0.05);
        near(effective_f_number(8.0, 1.0), 16.0, 1e-12);
        near(exposure_factor(magnification(100.0, 200.0)), 4.0, 1e-12);
    }

    /// Hansma's rule, and no other f-number leaves the worst sharper.
    #[test]
    fn the_sharpest_f_number_is_hansmas_and_the_best() {
        let (focal_length_mm, wavelength_mm) = (150.0, 0.000_546);
        // Far subjects whose images lie 0.5 mm each side of the focused one's.
        let image = image_distance_mm(focal_length_mm, 20_000.0);
        let distances = [image - 0.5, image + 0.5]
            .map(|image_mm| 1.0 / (1.0 / focal_length_mm - 1.0 / image_mm));
        let best = sharpest_f_number(focal_length_mm, 20_000.0, distances, wavelength_mm).unwrap();
        near(best / f64::sqrt(375.0 * 1.0), 1.0, 0.01);

        let (focus_mm, distances) = (715.0, [510.0, 890.0, 1030.0]);
        let worst = |f_number: f64| {
            let airy = airy_diameter_mm(
                effective_f_number(f_number, magnification(50.0, focus_mm)),
                GREEN_MM,
            );
            distances
                .iter()
                .map(|&distance| together_mm(blur_mm(50.0, f_number, focus_mm, distance), airy))
                .fold(0.0, f64::max)
        };
        let best = sharpest_f_number(50.0, focus_mm, distances, GREEN_MM).unwrap();
        for other in (10..800).map(|tenth| f64::from(tenth) / 10.0) {
            assert!(worst(best) <= worst(other) + 1e-12, "f/{best} f/{other}");
        }
        assert_eq!(sharpest_f_number(50.0, 715.0, [715.0], GREEN_MM), None);
        assert_eq!(sharpest_f_number(50.0, 715.0, [], GREEN_MM), None);
    }
}
