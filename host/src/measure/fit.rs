//! Least squares, Student's t and outliers.

use nalgebra::{DMatrix, DVector, SVD};
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::Estimate;

/// A straight or other linear model that has been fitted to readings.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The model's coefficients.
    pub coefficients: Vec<f64>,
    /// What each reading lies above the model, in the readings' unit.
    pub residuals: Vec<f64>,
    /// How much each reading pulls the model toward itself, 0 to 1.
    leverages: Vec<f64>,
    /// Readings beyond the number of coefficients.
    pub freedom: usize,
    /// Inverse of the normal matrix: the coefficients' covariances for readings that scatter by 1.
    inverse: DMatrix<f64>,
    /// Size of the numbers that were added up: what is below their last digit is nothing.
    size: f64,
}

/// Why there is no fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// Fewer readings than unknowns.
    #[error("{readings} readings cannot tell {unknowns} unknowns")]
    TooFew {
        /// How many there are.
        readings: usize,
        /// How many unknowns.
        unknowns: usize,
    },
    /// The readings leave an unknown open.
    #[error("the readings do not differ in what would tell the unknowns apart")]
    Open,
}

/// A reading that lies away from the others.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Stray {
    /// Its place among the readings.
    pub place: usize,
    /// How far it lies from where the others would have it, in the readings' unit.
    pub by: f64,
    /// The test's statistic, and the value that chance exceeds once in 100.
    pub statistic: f64,
    /// That value.
    pub critical: f64,
}

/// How rarely chance alone may call a reading an outlier: 1 %, as ISO 5725-2 has it for what it
/// calls a statistical outlier (from memory).
pub const OUTLIER: f64 = 0.01;

/// Most steps of a decomposition: a few for each unknown are usual.
const MOST_STEPS: usize = 10_000;

/// Student's t for an interval that covers so much, such as 0.95, on both sides.
#[must_use]
pub fn student(coverage: f64, freedom: usize) -> f64 {
    StudentsT::new(0.0, 1.0, freedom.max(1) as f64)
        .map_or(f64::NAN, |t| t.inverse_cdf(0.5 + coverage / 2.0))
}

/// Fits `y = sum of coefficients times what stands in the row` by least squares.
///
/// # Errors
///
/// Where the readings are too few or do not tell the coefficients apart.
pub fn linear(rows: &[Vec<f64>], y: &[f64]) -> Result<Fit, FitError> {
    let unknowns = rows.first().map_or(0, Vec::len);
    let readings = rows.len().min(y.len());
    if readings < unknowns || unknowns == 0 {
        return Err(FitError::TooFew { readings, unknowns });
    }
    // What is not a number, such as a time divided by no time at all, tells nothing, and would keep
    // the decomposition going for ever.
    if !rows.iter().flatten().chain(y).all(|it| it.is_finite()) {
        return Err(FitError::Open);
    }
    // Columns of very different size would hide behind one another.
    let scale: Vec<f64> = (0..unknowns)
        .map(|column| {
            let most = rows.iter().map(|row| row[column].abs()).fold(0.0, f64::max);
            if most > 0.0 { most } else { 1.0 }
        })
        .collect();
    let design = DMatrix::from_fn(readings, unknowns, |row, column| {
        rows[row][column] / scale[column]
    });
    let wanted = DVector::from_column_slice(&y[..readings]);
    let svd =
        SVD::try_new(design.clone(), true, true, f64::EPSILON, MOST_STEPS).ok_or(FitError::Open)?;
    let greatest = svd.singular_values.max();
    if !greatest.is_finite() || svd.singular_values.min() <= greatest * 1e-10 {
        return Err(FitError::Open);
    }
    let solved = svd.solve(&wanted, 0.0).map_err(|_| FitError::Open)?;
    let residuals = &wanted - &design * &solved;
    let normal = design.transpose() * &design;
    let inverse = normal.try_inverse().ok_or(FitError::Open)?;
    let leverages = (0..readings)
        .map(|row| (design.row(row) * &inverse * design.row(row).transpose())[0].min(1.0))
        .collect();
    Ok(Fit {
        coefficients: (0..unknowns).map(|at| solved[at] / scale[at]).collect(),
        residuals: residuals.iter().copied().collect(),
        leverages,
        freedom: readings - unknowns,
        inverse: DMatrix::from_fn(unknowns, unknowns, |a, b| {
            inverse[(a, b)] / scale[a] / scale[b]
        }),
        size: wanted.amax(),
    })
}

/// A straight line `y = coefficients[0] + coefficients[1] x`.
///
/// # Errors
///
/// As [`linear`].
pub fn line(x: &[f64], y: &[f64]) -> Result<Fit, FitError> {
    let rows: Vec<_> = x.iter().map(|&x| vec![1.0, x]).collect();
    linear(&rows, y)
}

impl Fit {
    /// Standard deviation of the readings about the model; none where no reading is to spare.
    #[must_use]
    pub fn deviation(&self) -> Option<f64> {
        let squares: f64 = self.residuals.iter().map(|it| it * it).sum();
        (self.freedom > 0).then(|| (squares / self.freedom as f64).sqrt())
    }

    /// A coefficient with its uncertainty.
    #[must_use]
    pub fn estimate(&self, place: usize) -> Estimate {
        let mut weights = vec![0.0; self.coefficients.len()];
        weights[place] = 1.0;
        self.combined(&weights)
    }

    /// A sum of coefficients, each with its weight, with its uncertainty.
    #[must_use]
    pub fn combined(&self, weights: &[f64]) -> Estimate {
        let weights = DVector::from_column_slice(weights);
        let value = weights.dot(&DVector::from_column_slice(&self.coefficients));
        let variance = (weights.transpose() * &self.inverse * &weights)[0];
        let uncertainty = self.deviation().map(|it| it * variance.max(0.0).sqrt());
        Estimate::new(value, uncertainty, self.freedom)
    }

    /// The reading that lies farthest from where the others have it, where chance hardly explains
    /// that: at most once in `1 / alpha` series without any outlier.
    ///
    /// The greatest studentised residual against Student's t shared out over the readings. For a
    /// plain sample this is Grubbs' two-sided test (NIST/SEMATECH e-Handbook, section 1.3.5.17;
    /// ISO 5725-2), to which it is carried over so that readings at several places can be tested
    /// together. `finest` is what can be read at all: nothing that differs by less strays.
    #[must_use]
    pub fn stray(&self, alpha: f64, finest: f64) -> Option<Stray> {
        Left {
            residuals: &self.residuals,
            leverages: &self.leverages,
            freedom: self.freedom,
            size: self.size,
        }
        .stray(alpha, finest)
    }
}

/// What is left of readings beside a model.
struct Left<'a> {
    residuals: &'a [f64],
    leverages: &'a [f64],
    freedom: usize,
    size: f64,
}

impl Left<'_> {
    fn stray(&self, alpha: f64, finest: f64) -> Option<Stray> {
        if self.freedom < 2 {
            return None;
        }
        let squares: f64 = self.residuals.iter().map(|it| it * it).sum();
        let scatter = (squares / self.freedom as f64).sqrt();
        if scatter <= self.size * 1e-13 {
            return None;
        }
        let studentised = |place: usize| {
            let free = 1.0 - self.leverages[place];
            // A reading that is alone at its place tells nothing about itself.
            if free > 1e-9 {
                self.residuals[place] / scatter / free.sqrt()
            } else {
                0.0
            }
        };
        let place = (0..self.residuals.len())
            .max_by(|&a, &b| studentised(a).abs().total_cmp(&studentised(b).abs()))?;
        let statistic = studentised(place).abs();
        let by = self.residuals[place] / (1.0 - self.leverages[place]).max(1e-9);
        let critical = critical(self.residuals.len(), self.freedom, alpha);
        (statistic > critical && by.abs() > 1.5 * finest).then_some(Stray {
            place,
            by,
            statistic,
            critical,
        })
    }
}

/// As [`Fit::stray`], of readings that belong to groups with nothing but a mean for each: `groups`
/// has the group of each reading, counted from 0. Work and memory grow with the readings alone.
#[must_use]
pub fn stray_in_groups(groups: &[usize], y: &[f64], alpha: f64, finest: f64) -> Option<Stray> {
    let count = groups.iter().max()? + 1;
    let mut sums = vec![(0.0, 0_usize); count];
    for (&group, value) in groups.iter().zip(y) {
        sums[group].0 += value;
        sums[group].1 += 1;
    }
    let means: Vec<f64> = sums.iter().map(|&(sum, of)| sum / of as f64).collect();
    let residuals: Vec<f64> = groups
        .iter()
        .zip(y)
        .map(|(&group, value)| value - means[group])
        .collect();
    let leverages: Vec<f64> = groups
        .iter()
        .map(|&group| 1.0 / sums[group].1 as f64)
        .collect();
    let used = sums.iter().filter(|(_, of)| *of > 0).count();
    Left {
        residuals: &residuals,
        leverages: &leverages,
        freedom: residuals.len().saturating_sub(used),
        size: y.iter().fold(0.0, |most, it| it.abs().max(most)),
    }
    .stray(alpha, finest)
}

/// What the greatest studentised residual of so many readings, of which `freedom` (more than one)
/// are to spare, exceeds by chance with a probability of about `alpha`: `t sqrt(f / (f-1+t^2))` with
/// Student's t at `alpha / 2n` and `f-1` degrees of freedom.
///
/// For a plain sample, `f = n-1`, it is the two-sided critical value of Grubbs' test (NIST/SEMATECH
/// e-Handbook, section 1.3.5.17) times `sqrt(n / (n-1))`, as the residuals here are taken by their
/// own deviation, not by the sample's.
#[must_use]
pub fn critical(readings: usize, freedom: usize, alpha: f64) -> f64 {
    let t = student(1.0 - alpha / readings as f64, freedom.saturating_sub(1));
    let freedom = freedom as f64;
    t * (freedom / (freedom - 1.0 + t * t)).sqrt()
}

/// Mean of a sample; not a number for an empty one.
#[must_use]
pub fn mean(sample: &[f64]) -> f64 {
    sample.iter().sum::<f64>() / sample.len() as f64
}

/// Standard deviation of a sample with `n - 1`; none for fewer than two.
#[must_use]
pub fn deviation(sample: &[f64]) -> Option<f64> {
    let mean = mean(sample);
    let squares: f64 = sample.iter().map(|it| (it - mean).powi(2)).sum();
    (sample.len() > 1).then(|| (squares / (sample.len() - 1) as f64).sqrt())
}

/// The finest decimal place that the readings use: 0.01 for readings such as 3.25 and 4.1. Down to
/// a millionth.
#[must_use]
pub fn finest(readings: &[f64]) -> f64 {
    (0..6)
        .map(|places| 10_f64.powi(-places))
        .find(|step| {
            readings
                .iter()
                .all(|it| (it / step - (it / step).round()).abs() < 1e-6)
        })
        .unwrap_or(1e-6)
}

/// Least and greatest of some numbers; infinities the wrong way round for none.
pub(super) fn ends(numbers: impl Iterator<Item = f64>) -> (f64, f64) {
    numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), it| {
        (least.min(it), most.max(it))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fuzzing found a table whose times gave one: the fit never ended.
    #[test]
    fn what_is_not_a_number_is_no_fit() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let open = linear(&[vec![1.0, bad], vec![1.0, 2.0], vec![1.0, 3.0]], &[1.0; 3]);
            assert_eq!(open.err(), Some(FitError::Open));
            let open = line(&[1.0, 2.0, 3.0], &[1.0, bad, 3.0]);
            assert_eq!(open.err(), Some(FitError::Open));
        }
    }

    #[test]
    fn a_line_is_found_again_with_its_uncertainty() {
        let x = [0.0, 1.0, 2.0, 3.0];
        let y = [1.0, 3.1, 4.9, 7.0];
        let fit = line(&x, &y).expect("a line");
        // By hand: sxy = 9.9, sxx = 5; slope 1.98.
        let slope = fit.estimate(1);
        assert!((slope.value - 1.98).abs() < 1e-12);
        let squares: f64 = fit.residuals.iter().map(|it| it * it).sum();
        let expected = (squares / 2.0 / 5.0).sqrt();
        assert!((slope.uncertainty.expect("two to spare") - expected).abs() < 1e-12);
        // t(0.975, 2) = 4.303 (any table).
        assert!((slope.within_95.expect("known") / expected - 4.303).abs() < 1e-3);
    }

    #[test]
    fn what_cannot_be_told_is_refused() {
        assert_eq!(
            line(&[1.0], &[1.0]).expect_err("too few"),
            FitError::TooFew {
                readings: 1,
                unknowns: 2
            }
        );
        assert_eq!(
            line(&[5.0, 5.0, 5.0], &[1.0, 2.0, 3.0]).expect_err("one place"),
            FitError::Open
        );
        let two = line(&[0.0, 1.0], &[0.0, 1.0]).expect("a line");
        assert_eq!(two.estimate(1).uncertainty, None);
        assert!(two.stray(OUTLIER, 0.0).is_none());
    }

    #[test]
    fn groups_give_what_the_fit_of_their_means_gives() {
        let groups = [0, 1, 0, 1, 0, 1, 0, 1, 2, 2, 2];
        let y = [1.0, 5.0, 1.1, 5.2, 0.9, 4.9, 1.05, 7.0, 2.0, 2.1, 1.9];
        let rows: Vec<Vec<f64>> = groups
            .iter()
            .map(|&group| (0..3).map(|at| f64::from(u8::from(at == group))).collect())
            .collect();
        let whole = linear(&rows, &y).expect("three means").stray(OUTLIER, 0.0);
        let (whole, apart) = whole
            .zip(stray_in_groups(&groups, &y, OUTLIER, 0.0))
            .expect("7.0 strays");
        assert_eq!((whole.place, apart.place), (7, 7));
        assert!((whole.statistic - apart.statistic).abs() < 1e-9);
        assert!((whole.by - apart.by).abs() < 1e-9);
        assert_eq!(whole.critical, apart.critical);
    }

    #[test]
    fn readings_that_differ_by_what_can_just_be_read_do_not_stray() {
        let sample = [1.00, 1.00, 1.00, 1.00, 1.00, 1.01];
        let fit = linear(&vec![vec![1.0]; 6], &sample).expect("a mean");
        assert!(fit.stray(OUTLIER, 0.0).is_some());
        assert!(fit.stray(OUTLIER, finest(&sample)).is_none());
        assert_eq!(finest(&[3.25, 4.1, 5.0]), 0.01);
        assert_eq!(finest(&[1.0 / 3.0]), 1e-6);
    }
}
