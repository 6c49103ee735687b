//! Natural frequency and damping from a swing that dies away, and how long to wait for it.
//!
//! A free, lightly damped swing is `A exp(-z w t) cos(w sqrt(1 - z^2) t)` with the natural angular
//! frequency `w` and the damping ratio `z`. Its turning points, one after another, alternate in
//! sign and lie half a period apart, and the logarithm of their amounts falls along a straight line:
//! by the logarithmic decrement `d = 2 pi z / sqrt(1 - z^2)` a period. (Any textbook of vibrations.)

use std::f64::consts::TAU;
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
    #[error("{found} turning point{}; at least 3 are wanted, better 6 or more", if *found == 1 { "" } else { "s" })]
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
    /// Neither do the signs alternate, nor are all the same.
    #[error(
        "the sign of this turning point does not go with the others, {}: write {:+} if it was \
         mistyped; or leave the turning points to one side out, all of them",
        if *alternate { "which lie to one side and the other in turn" } else { "which all lie to one side" },
        -amplitude
    )]
    Sign {
        /// Its line.
        line: usize,
        /// What stands there.
        amplitude: f64,
        /// Whether most alternate.
        alternate: bool,
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
            Self::AtRest { line }
            | Self::Order { line }
            | Self::Sign { line, .. }
            | Self::Uneven { line, .. } => Some(*line),
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
    let alternate = alternate(peaks)?;
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

/// Whether the turning points lie to one side and the other in turn, rather than all to one side.
fn alternate(peaks: &[Peak]) -> Result<bool, DecayError> {
    // Of the four patterns that there are, the one that most of them follow.
    let against = |alternate: bool, first: bool| {
        let wanted = move |at: usize| first != (alternate && at % 2 == 1);
        let wrong = peaks
            .iter()
            .enumerate()
            .filter(move |(at, peak)| (peak.amplitude > 0.0) != wanted(*at));
        let count = wrong.clone().count();
        (count, wrong.map(|(_, peak)| *peak).next(), alternate)
    };
    let patterns = [(true, true), (true, false), (false, true), (false, false)];
    let best = patterns
        .into_iter()
        .map(|(alternate, first)| against(alternate, first))
        .min_by_key(|(count, ..)| *count);
    match best {
        Some((_, Some(peak), alternate)) => Err(DecayError::Sign {
            line: peak.line,
            amplitude: peak.amplitude,
            alternate,
        }),
        Some((_, None, alternate)) => Ok(alternate),
        None => Ok(true),
    }
}

fn logs(peaks: &[Peak]) -> Vec<f64> {
    peaks.iter().map(|peak| peak.amplitude.abs().ln()).collect()
}

/// The turning point that lies farthest from the line of the logarithms, where chance hardly
/// explains it; by how much in logarithms.
#[must_use]
pub fn stray(peaks: &[Peak]) -> Option<Stray> {
    let number: Vec<f64> = (0..peaks.len()).map(|at| at as f64).collect();
    // What lies off by less than a hundredth is nothing to be read again.
    fit::line(&number, &logs(peaks)).ok()?.stray(OUTLIER, 0.01)
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
/// may be at the end of their 95 % intervals, and half a swing more, since the first turning point
/// may come so long after the last step; rounded up to 10 ms. None where it is not finite or longer
/// than an hour.
#[must_use]
pub fn settle(result: &DecayResult, below: f64) -> Option<Duration> {
    let lower = |it: Estimate| it.value - it.within_95.unwrap_or(0.0);
    let (frequency, damping) = (lower(result.frequency), lower(result.damping));
    if frequency <= 0.0 || damping <= 0.0 {
        return None;
    }
    let half = 0.5 / frequency / (1.0 - damping * damping).max(0.01).sqrt();
    let time = half + settle_time(frequency, damping, result.first, below);
    let hundredths = (time * 100.0 - 1e-9).ceil().max(0.0);
    (hundredths < 360_000.0).then(|| Duration::from_millis(hundredths as u64 * 10))
}

/// Where a trace comes to rest, the mean of its last tenth, and how far that tenth scatters; in the
/// readings' unit. None for fewer than five readings.
#[must_use]
pub fn rest(trace: &[(usize, f64, f64)]) -> Option<(f64, f64)> {
    let tail = trace.len().checked_sub((trace.len() / 10).max(3))?;
    let values: Vec<f64> = trace[tail..].iter().map(|it| it.2).collect();
    (trace.len() >= 5).then(|| {
        let noise = fit::deviation(&values).unwrap_or(0.0);
        (fit::mean(&values), noise)
    })
}

/// How many times the scatter at rest a reading lies away from rest before it counts as a swing:
/// what is left of the noise where the trace passes through rest is no turning point.
const STANDS_OUT: f64 = 4.0;

/// The turning points of a whole trace of times (s) and readings: on each side of [`rest`] the top
/// of the parabola that fits the readings about the farthest one. The swing is free from its greatest
/// turn on: what comes before is the push. It ends where it is no more than a twentieth of that, or
/// hardly stands out of what is left at the end.
#[must_use]
pub fn peaks(trace: &[(usize, f64, f64)]) -> Vec<Peak> {
    let Some((rest, noise)) = rest(trace) else {
        return Vec::new();
    };
    let from_rest = |at: usize| trace[at].2 - rest;
    let farther = |&a: &usize, &b: &usize| {
        let amount = |at: usize| from_rest(at).abs();
        amount(a).total_cmp(&amount(b)).then(b.cmp(&a))
    };
    let Some(greatest) = (0..trace.len()).max_by(farther) else {
        return Vec::new();
    };
    let most = from_rest(greatest).abs();
    let least = (most / 20.0).max(1.5 * STANDS_OUT * noise);
    let aside = (most / 1000.0).max(STANDS_OUT * noise);
    if most <= least {
        return Vec::new();
    }
    let mut found: Vec<Peak> = Vec::new();
    // The side that the greatest turn lies on may have begun before it.
    let side = from_rest(greatest).signum();
    let mut start = (0..greatest)
        .rev()
        .find(|&at| from_rest(at) * side < aside)
        .map_or(0, |at| at + 1);
    while start < trace.len() {
        let side = from_rest(start).signum();
        // Until it stands out to the other side: what the noise does about rest passes unseen.
        let end = (start..trace.len())
            .find(|&at| from_rest(at) * side < -aside)
            .unwrap_or(trace.len());
        let Some(top) = (start..end).max_by(farther) else {
            break;
        };
        // The trace's own ends are no turning points: it may have begun or ended half way.
        let over = (top..end).any(|at| from_rest(at).abs() < 0.5 * from_rest(top).abs());
        if from_rest(top).abs() < least || !over {
            break;
        }
        if top > 0 {
            found.push(vertex(trace, (start, top, end), rest));
        }
        start = end;
    }
    free(found)
}

/// The turning points without the first where that one is the push: where a level was held aside
/// and let go, or pushed for long, it lies at another distance from the next than the others do.
fn free(mut found: Vec<Peak>) -> Vec<Peak> {
    let gap = |pair: &[Peak]| pair[1].time - pair[0].time;
    let mut gaps: Vec<f64> = found.windows(2).skip(1).map(gap).collect();
    gaps.sort_by(f64::total_cmp);
    if let Some(usual) = gaps.get(gaps.len() / 2)
        && (gap(&found[..2]) / usual - 1.0).abs() > 0.1
    {
        found.remove(0);
    }
    found
}

/// The top of the parabola through the readings about the middle of a turn, two fifths of it: the
/// noise of a single reading counts for little, and none are chosen for lying far out. Where they make
/// no parabola with a top, the farthest reading.
fn vertex(
    trace: &[(usize, f64, f64)],
    (start, top, end): (usize, usize, usize),
    rest: f64,
) -> Peak {
    let (line, time, value) = trace[top];
    let plain = Peak {
        time,
        amplitude: value - rest,
        line,
    };
    let far = (start..end).filter(|&at| (trace[at].2 - rest) / plain.amplitude > 0.5);
    let middle = far.clone().sum::<usize>() / far.count().max(1);
    let aside = ((end - start) / 5).max(1);
    let about = &trace[middle.saturating_sub(aside)..(middle + aside + 1).min(trace.len())];
    let (first, last) = (about[0].1 - time, about[about.len() - 1].1 - time);
    let half = (last - first) / 2.0;
    let rows: Vec<Vec<f64>> = about
        .iter()
        .map(|it| (it.1 - time) / half)
        .map(|along| vec![1.0, along, along * along])
        .collect();
    let values: Vec<f64> = about.iter().map(|it| it.2 - rest).collect();
    let Ok(fit) = fit::linear(&rows, &values) else {
        return plain;
    };
    let [at_top, slope, bend] = fit.coefficients[..] else {
        return plain;
    };
    let shift = -slope / (2.0 * bend);
    let amplitude = at_top + slope * shift / 2.0;
    // A parabola that opens the wrong way, or has its top elsewhere, is none of a turning point.
    if !shift.is_finite()
        || shift * half < first
        || shift * half > last
        || amplitude * plain.amplitude <= 0.0
    {
        return plain;
    }
    Peak {
        time: time + shift * half,
        amplitude,
        line,
    }
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
            // d = 2 pi z / sqrt(1 - z^2)
            let decrement = TAU * 0.04 / (1.0_f64 - 0.04 * 0.04).sqrt();
            assert!((found.decrement.value - decrement).abs() < 1e-9);
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

    /// A swing of 0.5 mm at 5 Hz with a damping ratio of 0.03 after half a second of rest, read
    /// every 2 ms with so much noise; `first` has what happens before the free swing.
    fn recorded(noise: f64, first: impl Fn(f64) -> f64, end: f64) -> Vec<(usize, f64, f64)> {
        let mut random = crate::sim::Random::new(7);
        let rate = 0.03 * TAU * 5.0;
        let damped = TAU * 5.0 * (1.0 - 0.03_f64 * 0.03).sqrt();
        (0..(end / 0.002) as usize)
            .map(|at| {
                let time = at as f64 * 0.002;
                let since = time - 0.5;
                let swing = if since < 0.0 {
                    first(since)
                } else {
                    0.5 * (-rate * since).exp() * (damped * since).cos()
                };
                // Twelve even numbers make a normal one of a deviation of one.
                let normal: f64 = (0..12).map(|_| random.between(-0.5, 0.5)).sum();
                (at + 2, time, 12.0 + swing + noise * normal)
            })
            .collect()
    }

    #[test]
    fn a_recording_gives_the_swing_in_spite_of_push_and_noise() {
        let hold = |_: f64| 0.5;
        let push = |since: f64| {
            if since > -0.15 {
                0.5 + since / 0.3
            } else {
                0.0
            }
        };
        let still = |_: f64| 0.0;
        for noise in [0.0, 0.003, 0.01] {
            for (name, first) in [
                ("hold", &hold as &dyn Fn(f64) -> f64),
                ("push", &push),
                ("still", &still),
            ] {
                let trace = recorded(noise, first, 8.0);
                let turns = peaks(&trace);
                let found = decay(&turns).unwrap_or_else(|error| panic!("{name} {noise}: {error}"));
                assert!(found.peaks >= 5, "{name} {noise}: {found:?}");
                let off = found.frequency.value - 5.0;
                assert!(off.abs() < 0.02, "{name} {noise}: {found:?}");
                let off = found.damping.value - 0.03;
                assert!(off.abs() < 0.0015, "{name} {noise}: {found:?}");
            }
        }
    }

    #[test]
    fn a_trace_that_ends_while_it_swings_says_how_far() {
        let trace = recorded(0.0, |_| 0.0, 0.8);
        let (_, scatter) = rest(&trace).expect("long enough");
        assert!(scatter > 0.05, "{scatter}");
        let turns = peaks(&trace);
        assert!(turns.len() < 3, "{turns:?}");
        let error = decay(&turns[..turns.len().min(1)]).expect_err("too few");
        assert!(error.to_string().contains("1 turning point;") || turns.is_empty());
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
        let turned = change(3, &|it| it.amplitude *= -1.0);
        assert!(
            turned.contains("Some(5): the sign of this turning point does not go with the others"),
            "{turned}"
        );
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
