//! How closely the home switch is found again.

use serde::Serialize;

use super::fit::{self, deviation, ends, mean, student};

/// What repeated findings say. Quantities are in the axis's unit.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HomeResult {
    /// How many findings.
    pub findings: usize,
    /// Their mean, from wherever they count.
    pub mean: f64,
    /// Their standard deviation.
    pub deviation: f64,
    /// From the least to the greatest.
    pub range: f64,
    /// How far two findings may lie apart: see [`repeatability`].
    pub within: f64,
}

/// How often a sound axis may be told that it has lost its count: once in a thousand checks.
const FALSE_ALARM: f64 = 0.001;

/// Works out the scatter of findings and what to allow two of them to lie apart.
///
/// The difference of two findings scatters by `s` times the root of 2. It is allowed Student's t
/// of that, so that an axis with no fault exceeds it once in a thousand checks, and never less than
/// what the findings themselves lay apart, or two steps. (ISO 5725-6's repeatability limit is built
/// the same way with 95 %, that is 2.8 s; from memory. A check that cries wolf every twentieth time
/// would be ignored.) Rounded up to two digits.
///
/// # Errors
///
/// Where there are fewer than three findings.
pub fn repeatability(findings: &[f64], step: f64) -> Result<HomeResult, fit::FitError> {
    let scatter = deviation(findings).filter(|_| findings.len() >= 3);
    let Some(scatter) = scatter else {
        return Err(fit::FitError::TooFew {
            readings: findings.len(),
            unknowns: 3,
        });
    };
    let (least, most) = ends(findings.iter().copied());
    let allowed = student(1.0 - FALSE_ALARM, findings.len() - 1) * scatter * 2_f64.sqrt();
    Ok(HomeResult {
        findings: findings.len(),
        mean: mean(findings),
        deviation: scatter,
        range: most - least,
        within: round_up(allowed.max(most - least).max(2.0 * step)),
    })
}

/// The value rounded up to two significant digits; as it is where it is not above zero.
#[must_use]
pub fn round_up(value: f64) -> f64 {
    if value <= 0.0 || !value.is_finite() {
        return value;
    }
    let digits = 10_f64.powi(value.log10().floor() as i32 - 1);
    // What is two digits already stays.
    (value / digits - 1e-9).ceil() * digits
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_allowance_covers_the_scatter_and_the_steps() {
        let found = repeatability(&[0.0, 0.0, 0.0], 0.0025).expect("three");
        assert_eq!((found.deviation, found.range), (0.0, 0.0));
        assert!((found.within - 0.005).abs() < 1e-12);
        let found = repeatability(&[0.0, 0.01, 0.02, 0.01, 0.01], 0.0025).expect("five");
        assert!((found.deviation - 0.005_f64.sqrt() / 10.0).abs() < 1e-12);
        // t(0.9995, 4) = 8.610 (any table): 8.610 x 0.0070711 x 1.4142 = 0.0861.
        assert!((found.within - 0.087).abs() < 1e-12, "{}", found.within);
        assert!(repeatability(&[0.0, 0.1], 0.1).is_err());
    }

    #[test]
    fn two_digits_stay_as_they_are() {
        for (value, wanted) in [(0.02, 0.02), (0.0201, 0.021), (12.3, 13.0), (0.0, 0.0)] {
            assert!((round_up(value) - wanted).abs() < 1e-12, "{value}");
        }
    }
}
