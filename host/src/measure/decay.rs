//! Natural frequency and damping from a swing that dies away, and how long to wait for it.
//!
//! A free, lightly damped swing is `A exp(-z w t) cos(w sqrt(1 - z^2) t)` with the natural angular
//! frequency `w` and the damping ratio `z`. Its turning points, one after another, alternate in
//! sign and lie half a period apart, and the logarithm of their amounts falls along a straight line:
//! by the logarithmic decrement `d = 2 pi z / sqrt(1 - z^2)` a period. (Any textbook of vibrations.)

use std::f64::consts::{PI, TAU};
use std::time::Duration;

use serde::Serialize;

use super::Estimate;
use super::fit::{self, FitError, OUTLIER, Stray};

/// A turning point: when, in seconds, and how far from rest, in any unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Peak {
    /// Seconds.
    pub time: f64,
    /// From rest, either way.
    pub amplitude: f64,
    /// Its line in the file.
    pub line: usize,
}

/// What the swing says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct DecayResult {
    /// Undamped natural frequency, hertz.
    pub frequency: Estimate,
    /// Damping ratio.
    pub damping: Estimate,
    /// Logarithmic decrement of a whole period.
    pub decrement: Estimate,
    /// The swing's amount at its first turning point by the line through all of them, in the
    /// readings' unit.
    pub first: f64,
    /// What the logarithm of each turning point's amount lies above that line.
    pub residuals: Vec<f64>,
    /// How many turning points.
    pub peaks: usize,
}

/// Why a swing tells nothing.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DecayError {
    /// Too few turning points.
    #[error("{found} turning points; at least 3 are wanted, better 6 or more")]
    TooFew {
        /// How many there are.
        found: usize,
    },
    /// One that is at rest.
    #[error("a turning point at rest has no logarithm; leave it out")]
    AtRest {
        /// Its line.
        line: usize,
    },
    /// Times that do not rise.
    #[error("its time is not after the one before; list them in the order of time")]
    Order {
        /// Its line.
        line: usize,
    },
    /// It grows.
    #[error(
        "the swing does not die away: from one turning point to the next it changes by {:+.1} %",
        change * 100.0
    )]
    Grows {
        /// Part by which it grows from one to the next.
        change: f64,
    },
    /// Uneven.
    #[error(
        "this turning point comes {after:.4} s after the one before, but most come {usual:.4} s \
         apart: one is missing, or one too many is there"
    )]
    Uneven {
        /// Its line.
        line: usize,
        /// Seconds since the one before.
        after: f64,
        /// Seconds that are usual.
        usual: f64,
    },
    /// No fit.
    #[error(transparent)]
    Fit(#[from] FitError),
}

impl DecayError {
    /// The line of the file that it is about, where it is one.
    #[must_use]
    pub const fn line(&self) -> Option<usize> {
        match self {
            Self::AtRest { line } | Self::Order { line } | Self::Uneven { line, .. } => Some(*line),
            Self::TooFew { .. } | Self::Grows { .. } | Self::Fit(_) => None,
        }
    }
}

/// Works out frequency and damping from turning points. Where their signs alternate they lie half
/// a period apart; where all have the same sign, a whole one.
///
/// # Errors
///
/// Where they are too few, uneven, or do not die away.
pub fn decay(peaks: &[Peak]) -> Result<DecayResult, DecayError> {
    if peaks.len() < 3 {
        return Err(DecayError::TooFew { found: peaks.len() });
    }
    if let Some(peak) = peaks.iter().find(|peak| peak.amplitude == 0.0) {
        return Err(DecayError::AtRest { line: peak.line });
    }
    if let Some(pair) = peaks.windows(2).find(|pair| pair[1].time <= pair[0].time) {
        return Err(DecayError::Order { line: pair[1].line });
    }
    let mut gaps: Vec<f64> = peaks
        .windows(2)
        .map(|pair| pair[1].time - pair[0].time)
        .collect();
    gaps.sort_by(f64::total_cmp);
    let usual = gaps[gaps.len() / 2];
    if let Some(pair) = peaks
        .windows(2)
        .find(|pair| !(0.6..1.6).contains(&((pair[1].time - pair[0].time) / usual)))
    {
        return Err(DecayError::Uneven {
            line: pair[1].line,
            after: pair[1].time - pair[0].time,
            usual,
        });
    }
    let alternate = peaks
        .windows(2)
        .all(|pair| pair[0].amplitude.signum() != pair[1].amplitude.signum());
    // Turning points for each period.
    let each = if alternate { 2.0 } else { 1.0 };
    let number: Vec<f64> = (0..peaks.len()).map(|at| at as f64).collect();
    let times: Vec<f64> = peaks.iter().map(|peak| peak.time).collect();
    let logs = logs(peaks);
    let spacing = fit::line(&number, &times)?.estimate(1);
    let fit = fit::line(&number, &logs)?;
    let fall = fit.estimate(1).times(-1.0);
    if fall.value <= 0.0 {
        return Err(DecayError::Grows {
            change: (-fall.value).exp() - 1.0,
        });
    }
    let decrement = fall.times(each);
    let root = (TAU * TAU + decrement.value * decrement.value).sqrt();
    let damping = decrement.value / root;
    // dz/dd = (2 pi)^2 / (4 pi^2 + d^2)^(3/2).
    let damping = Estimate {
        value: damping,
        ..decrement.times(TAU * TAU / root.powi(3))
    };
    let period = spacing.times(each);
    let undamped = (1.0 - damping.value * damping.value).sqrt();
    let frequency = Estimate {
        value: 1.0 / period.value / undamped,
        // The damping's own uncertainty hardly touches it.
        ..period.times(1.0 / period.value.powi(2) / undamped)
    };
    Ok(DecayResult {
        frequency,
        damping,
        decrement,
        first: fit.coefficients[0].exp(),
        residuals: fit.residuals,
        peaks: peaks.len(),
    })
}

fn logs(peaks: &[Peak]) -> Vec<f64> {
    peaks.iter().map(|peak| peak.amplitude.abs().ln()).collect()
}

/// The turning point that lies farthest from the line of the logarithms, where chance hardly
/// explains it; by how much in logarithms.
#[must_use]
pub fn stray(peaks: &[Peak]) -> Option<Stray> {
    let number: Vec<f64> = (0..peaks.len()).map(|at| at as f64).collect();
    fit::line(&number, &logs(peaks)).ok()?.stray(OUTLIER, 0.0)
}

/// Time until the envelope `amplitude exp(-z w t) / sqrt(1 - z^2)` of a swing is down to `below`
/// of the same unit: `-ln(below / amplitude sqrt(1 - z^2)) / (z w)`, seconds. Zero where it is
/// below already; infinite without damping.
#[must_use]
pub fn settle_time(frequency: f64, damping: f64, amplitude: f64, below: f64) -> f64 {
    let left = below / amplitude * (1.0 - damping * damping).max(0.0).sqrt();
    (-left.ln() / (damping * TAU * frequency)).max(0.0)
}

/// What the stand file should wait: the settle time with the damping as low and the frequency as it
/// may be at the end of their 95 % intervals, rounded up to 10 ms. None where it is not finite or
/// longer than an hour.
#[must_use]
pub fn settle(result: &DecayResult, below: f64) -> Option<Duration> {
    let lower = |it: Estimate| it.value - it.within_95.unwrap_or(0.0);
    let (frequency, damping) = (lower(result.frequency), lower(result.damping));
    if frequency <= 0.0 || damping <= 0.0 {
        return None;
    }
    let time = settle_time(frequency, damping, result.first, below);
    let hundredths = (time * 100.0 - 1e-9).ceil().max(0.0);
    (hundredths < 360_000.0).then(|| Duration::from_millis(hundredths as u64 * 10))
}

/// The turning points of a whole trace of times (s) and readings: between two passes through rest
/// the reading that is farthest from it, made finer by the parabola through its neighbours. Rest is
/// where the trace ends up: the mean of its last tenth. Ends where the swing is no more than
/// a twentieth of its first turning point, or no longer stands out of what is left at the end.
#[must_use]
pub fn peaks(trace: &[(usize, f64, f64)]) -> Vec<Peak> {
    if trace.len() < 5 {
        return Vec::new();
    }
    let tail = &trace[trace.len() - (trace.len() / 10).max(3)..];
    let values: Vec<f64> = tail.iter().map(|it| it.2).collect();
    let rest = fit::mean(&values);
    let noise = fit::deviation(&values).unwrap_or(0.0);
    let from_rest = |at: usize| trace[at].2 - rest;
    let mut found: Vec<Peak> = Vec::new();
    let mut start = 0;
    while start < trace.len() {
        let sign = from_rest(start).signum();
        let end = (start..trace.len())
            .find(|&at| from_rest(at).signum() != sign)
            .unwrap_or(trace.len());
        let top = (start..end)
            .max_by(|&a, &b| from_rest(a).abs().total_cmp(&from_rest(b).abs()))
            .unwrap_or(start);
        // The trace's own ends are no turning points: it may have begun or ended half way.
        if top > 0 && top + 1 < trace.len() && top >= start && end < trace.len() {
            let peak = vertex(trace, top, rest);
            let first = found
                .first()
                .map_or(peak.amplitude, |peak: &Peak| peak.amplitude);
            if peak.amplitude.abs() < (first.abs() / 20.0).max(4.0 * noise) {
                break;
            }
            found.push(peak);
        }
        start = end;
    }
    // A push at the start may still have grown: the swing is free from its greatest turn on.
    let greatest = (0..found.len())
        .max_by(|&a, &b| {
            let amount = |at: usize| found[at].amplitude.abs();
            amount(a).total_cmp(&amount(b)).then(b.cmp(&a))
        })
        .unwrap_or(0);
    found.split_off(greatest)
}

/// The top of the parabola through a reading and its neighbours.
fn vertex(trace: &[(usize, f64, f64)], top: usize, rest: f64) -> Peak {
    let (line, time, value) = trace[top];
    let (before, after) = (trace[top - 1], trace[top + 1]);
    let plain = Peak {
        time,
        amplitude: value - rest,
        line,
    };
    let (left, right) = (before.1 - time, after.1 - time);
    let (down, up) = (before.2 - value, after.2 - value);
    if left >= 0.0 || right <= 0.0 {
        return plain;
    }
    // y = a t^2 + b t through (left, down), (0, 0), (right, up).
    let a = (up / right - down / left) / (right - left);
    let b = up / right - a * right;
    let shift = -b / (2.0 * a);
    if !shift.is_finite() || shift < left || shift > right {
        return plain;
    }
    Peak {
        time: time + shift,
        amplitude: value - rest + b * shift / 2.0,
        line,
    }
}

/// Damping ratio from the logarithmic decrement of a whole period.
#[must_use]
pub fn damping_of(decrement: f64) -> f64 {
    decrement / (4.0 * PI * PI + decrement * decrement).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn swing(frequency: f64, damping: f64, count: usize, both: bool) -> Vec<Peak> {
        let damped = frequency * (1.0 - damping * damping).sqrt();
        let gap = if both { 0.5 } else { 1.0 } / damped;
        (0..count)
            .map(|at| {
                let time = gap * at as f64;
                let sign = if both && at % 2 == 1 { -1.0 } else { 1.0 };
                Peak {
                    time,
                    amplitude: sign * 0.8 * (-damping * TAU * frequency * time).exp(),
                    line: at + 2,
                }
            })
            .collect()
    }

    #[test]
    fn a_made_up_swing_is_found_again() {
        for both in [false, true] {
            let found = decay(&swing(7.5, 0.04, 8, both)).expect("a swing");
            assert!((found.frequency.value - 7.5).abs() < 1e-9);
            assert!((found.damping.value - 0.04).abs() < 1e-9);
            assert!((found.damping.value - damping_of(found.decrement.value)).abs() < 1e-12);
            assert!((found.first - 0.8).abs() < 1e-9);
        }
    }

    #[test]
    fn a_whole_trace_gives_its_turning_points() {
        let (frequency, damping) = (6.0_f64, 0.03_f64);
        let damped = TAU * frequency * (1.0 - damping * damping).sqrt();
        let trace: Vec<_> = (0..2000)
            .map(|at| {
                let time = f64::from(at) * 0.001;
                let value =
                    3.2 + 0.5 * (-damping * TAU * frequency * time).exp() * (damped * time).sin();
                (at as usize + 2, time, value)
            })
            .collect();
        let found = decay(&peaks(&trace)).expect("a swing");
        assert!(
            (found.frequency.value / frequency - 1.0).abs() < 1e-3,
            "{found:?}"
        );
        assert!(
            (found.damping.value / damping - 1.0).abs() < 0.02,
            "{found:?}"
        );
        assert!(peaks(&trace[..3]).is_empty());
        let still: Vec<_> = trace.iter().map(|it| (it.0, it.1, 1.0)).collect();
        assert!(decay(&peaks(&still)).is_err());
    }

    #[test]
    fn what_is_no_decay_is_refused() {
        let sound = swing(5.0, 0.05, 6, true);
        let change = |place: usize, change: &dyn Fn(&mut Peak)| {
            let mut peaks = sound.clone();
            change(&mut peaks[place]);
            let error = decay(&peaks).expect_err("refused");
            format!("{:?}: {error}", error.line())
        };
        assert!(change(2, &|it| it.amplitude = 0.0).contains("Some(4): a turning point at rest"));
        assert!(change(2, &|it| it.time = 0.0).contains("Some(4): its time is not after"));
        assert!(change(5, &|it| it.time += 0.2).contains("Some(7): this turning point comes"));
        assert!(decay(&sound[..2]).is_err());
        let grows: Vec<_> = sound
            .iter()
            .map(|it| Peak {
                amplitude: 1.0 / it.amplitude,
                ..*it
            })
            .collect();
        assert!(matches!(decay(&grows), Err(DecayError::Grows { .. })));
        let mut odd = swing(5.0, 0.02, 10, true);
        odd[4].amplitude *= 1.5;
        for (at, peak) in odd.iter_mut().enumerate() {
            peak.amplitude *= 1.0 + 0.002 * [1.0, -1.0, 0.5][at % 3];
        }
        assert_eq!(stray(&odd).map(|it| it.place), Some(4));
    }
}
