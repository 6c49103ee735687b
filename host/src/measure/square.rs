//! The direction of travel against a square or straight-edge.
//!
//! A dial indicator rides along the blade while the axis travels; where the travel is not parallel
//! to the blade, the reading grows or falls with the way.

use serde::Serialize;

use super::Estimate;
use super::fit::{self, FitError, OUTLIER, Stray};

/// What the readings say.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SquareResult {
    /// How much the reading grows along the travel, mm per metre.
    pub per_metre: Estimate,
    /// The same as an angle, degrees.
    pub degrees: Estimate,
    /// What is left of each reading beside the straight line, mm: how crooked the travel is.
    pub residuals: Vec<f64>,
    /// From the least to the greatest of them, mm.
    pub straightness: f64,
    /// From the first to the last position, mm.
    pub length: f64,
}

/// Fits a line through readings (mm) at positions along the travel (mm).
///
/// # Errors
///
/// Where there are fewer than two readings, or all at one place.
pub fn squareness(positions: &[f64], readings: &[f64]) -> Result<SquareResult, FitError> {
    let fit = fit::line(positions, readings)?;
    let slope = fit.estimate(1);
    let angle = slope.value.atan();
    // d(atan x) = dx / (1 + x^2).
    let degrees = slope
        .times(1.0 / (1.0 + slope.value * slope.value))
        .times(1_f64.to_degrees());
    let (least, most) = fit::ends(fit.residuals.iter().copied());
    let (from, to) = fit::ends(positions.iter().copied());
    Ok(SquareResult {
        per_metre: slope.times(1000.0),
        degrees: Estimate {
            value: angle.to_degrees(),
            ..degrees
        },
        straightness: most - least,
        residuals: fit.residuals,
        length: to - from,
    })
}

/// The reading that lies farthest from the line, where chance hardly explains it.
#[must_use]
pub fn stray(positions: &[f64], readings: &[f64]) -> Option<Stray> {
    let fit = fit::line(positions, readings).ok()?;
    fit.stray(OUTLIER, fit::finest(readings))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slope_is_told_per_metre_and_as_an_angle() {
        let positions = [0.0, 50.0, 100.0, 150.0, 200.0];
        let readings = [1.0, 1.1, 1.2, 1.3, 1.4];
        let found = squareness(&positions, &readings).expect("a line");
        assert!((found.per_metre.value - 2.0).abs() < 1e-9);
        // 2 mm per metre is 2 mrad to a millionth: 0.114591 degrees.
        assert!((found.degrees.value - 0.114_591).abs() < 1e-6);
        assert!(found.straightness < 1e-9);
        assert!(stray(&positions, &[1.0, 1.1, 1.2, 5.3, 1.4]).is_some_and(|it| it.place == 3));
        assert!(squareness(&[1.0, 1.0], &[0.0, 1.0]).is_err());
    }
}
