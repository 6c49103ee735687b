//! Readings of an axis that was sent to places: how far it really goes, and its slack.

use serde::Serialize;

use super::Estimate;
use super::fit::{self, Fit, FitError, OUTLIER, Stray};

/// Which way the axis went when it arrived.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Going {
    /// Toward greater positions.
    Forward,
    /// Toward lesser ones.
    Backward,
}

/// One reading of the dial or scale. Quantities are in the axis's unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AxisReading {
    /// The line of the file that it stands in, or its number in the series.
    pub line: usize,
    /// Where the axis was sent.
    pub target: f64,
    /// Which way it arrived.
    pub going: Going,
    /// The run, counted from 1.
    pub run: u32,
    /// What was read, from wherever the scale counts.
    pub reading: f64,
}

/// A straight line through the readings of one direction: reading over target.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Straight {
    /// Reading per unit sent.
    pub slope: Estimate,
    /// Reading where the axis was sent to zero.
    pub at_zero: Estimate,
    /// Standard deviation of the readings about it; none for two readings.
    pub scatter: Option<f64>,
}

/// Why the readings scale as they do, where a number gives it away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cause {
    /// Off by 25.4: inches taken for millimetres or the other way round.
    Inches,
    /// Off by 10: centimetres.
    Centimetres,
    /// Off by a power of two: the driver's microstep setting is not the file's.
    Microsteps,
    /// Far off for no reason that the number tells.
    Unknown,
}

/// What a series says. Quantities are in the axis's unit.
#[derive(Clone, Debug, Serialize)]
pub struct AxisResult {
    /// Reading per unit sent, over both directions: one slope, each direction with a zero of its
    /// own. Negative where the readings fall as the axis goes forward.
    pub scale: Estimate,
    /// The readings that went forward.
    pub forward: Option<Straight>,
    /// Those that went backward.
    pub backward: Option<Straight>,
    /// How far the backward readings lie ahead of the forward ones: the slack. Not below zero on a
    /// sound stand.
    pub backlash: Option<Estimate>,
    /// What each reading lies above the line of its direction, in the order of the readings.
    pub residuals: Vec<f64>,
    /// Why the scale is far from one, where it is.
    pub cause: Option<Cause>,
    /// Whether the readings fall as the axis goes forward: the dial counts the other way, as one
    /// does whose plunger is pushed in. The readings cannot tell whether it is the axis instead.
    pub falling: bool,
    /// By how much an unscaled axis is off from one end of the readings to the other.
    pub off_over_travel: f64,
    /// From the least to the greatest target.
    pub span: f64,
}

/// How near to 25.4, 10 or a power of two a scale has to be to be taken for it.
const NEAR: f64 = 0.03;

/// A scale that is off by more than this is not a matter of fine adjustment any more.
const FAR: f64 = 0.05;

/// Most readings that are called strays.
const MOST_STRAYS: usize = 20;

/// Fits the series.
///
/// # Errors
///
/// Where the readings are fewer than two and the directions, or all at one place.
pub fn analyse(readings: &[AxisReading]) -> Result<AxisResult, FitError> {
    let straight = |going: Going| {
        let of: Vec<_> = readings.iter().filter(|it| it.going == going).collect();
        let x: Vec<f64> = of.iter().map(|it| it.target).collect();
        let y: Vec<f64> = of.iter().map(|it| it.reading).collect();
        let fit = fit::line(&x, &y).ok()?;
        Some(Straight {
            slope: fit.estimate(1),
            at_zero: fit.estimate(0),
            scatter: fit.deviation(),
        })
    };
    let both = both_ways(readings);
    let fit = joint(readings)?;
    let scale = fit.estimate(0);
    let falling = scale.value < 0.0;
    let ahead = if falling { -1.0 } else { 1.0 };
    let (least, most) = fit::ends(readings.iter().map(|it| it.target));
    Ok(AxisResult {
        scale,
        forward: straight(Going::Forward),
        backward: straight(Going::Backward),
        backlash: both.then(|| fit.combined(&[0.0, -ahead, ahead])),
        residuals: fit.residuals.clone(),
        cause: cause(scale.value),
        falling,
        off_over_travel: (scale.value.abs() - 1.0) * (most - least),
        span: most - least,
    })
}

/// The readings as a scale would have them that counts the way the axis does: those of one that
/// counts the other way with their signs changed.
#[must_use]
pub fn rising(readings: &[AxisReading], result: &AxisResult) -> Vec<AxisReading> {
    let by = if result.falling { -1.0 } else { 1.0 };
    let turned = readings.iter().map(|it| AxisReading {
        reading: it.reading * by,
        ..*it
    });
    turned.collect()
}

/// How much of the slack was still there at the first target of each direction, where the series
/// shows that: the axis had come too short a way to take it all up. `readings` are [`rising`]. Axis
/// units.
///
/// The first targets' readings are compared with the straight lines through all others. Both must
/// lie behind, by a quarter of the slack and by five times what the others scatter: a screw's own
/// errors hardly do that.
#[must_use]
pub fn slack_left(readings: &[AxisReading]) -> Option<f64> {
    let (least, most) = fit::ends(readings.iter().map(|it| it.target));
    let first = |it: &AxisReading| match it.going {
        Going::Forward => it.target == least,
        Going::Backward => it.target == most,
    };
    let (firsts, others): (Vec<AxisReading>, Vec<AxisReading>) =
        readings.iter().copied().partition(first);
    if !both_ways(&others) || !both_ways(&firsts) {
        return None;
    }
    let fit = joint(&others).ok()?;
    let scatter = fit.deviation()?;
    let (slope, zeros) = (fit.coefficients[0], &fit.coefficients[1..]);
    let slack = zeros[1] - zeros[0];
    let behind = |going: Going| {
        let of = firsts.iter().filter(|it| it.going == going);
        let by: Vec<f64> = of
            .map(|it| match going {
                Going::Forward => it.reading - zeros[0] - slope * it.target,
                Going::Backward => zeros[1] + slope * it.target - it.reading,
            })
            .collect();
        fit::mean(&by)
    };
    let (up, down) = (behind(Going::Forward), behind(Going::Backward));
    let left = up.min(down);
    let shown = (0.25 * slack).max(5.0 * scatter).max(1e-9 * (most - least));
    (left > shown).then(|| up.max(down))
}

fn both_ways(readings: &[AxisReading]) -> bool {
    let there = |going| readings.iter().any(|it| it.going == going);
    there(Going::Forward) && there(Going::Backward)
}

/// One slope, and for each direction that there is a zero of its own.
fn joint(readings: &[AxisReading]) -> Result<Fit, FitError> {
    let both = both_ways(readings);
    let rows: Vec<_> = readings
        .iter()
        .map(|it| match (both, it.going) {
            (false, _) => vec![it.target, 1.0],
            (true, Going::Forward) => vec![it.target, 1.0, 0.0],
            (true, Going::Backward) => vec![it.target, 0.0, 1.0],
        })
        .collect();
    let y: Vec<f64> = readings.iter().map(|it| it.reading).collect();
    fit::linear(&rows, &y)
}

fn cause(scale: f64) -> Option<Cause> {
    let size = scale.abs();
    let near = |to: f64| (size / to - 1.0).abs() < NEAR;
    if (size - 1.0).abs() <= FAR {
        None
    } else if near(25.4) || near(1.0 / 25.4) {
        Some(Cause::Inches)
    } else if near(10.0) || near(0.1) {
        Some(Cause::Centimetres)
    } else if near(2_f64.powi(size.log2().round() as i32)) && size.log2().abs() < 8.5 {
        Some(Cause::Microsteps)
    } else {
        Some(Cause::Unknown)
    }
}

/// Readings that lie away from the others, the worst first. Compared are the runs to the same
/// target from the same side; where there is one run only, all readings with their straight lines.
/// Each is looked for with those found before left out, up to a fifth of the readings, and twenty:
/// with more than that it is not single readings that are wrong.
#[must_use]
pub fn strays(readings: &[AxisReading]) -> Vec<Stray> {
    let values: Vec<f64> = readings.iter().map(|it| it.reading).collect();
    let finest = fit::finest(&values);
    let mut left: Vec<usize> = (0..readings.len()).collect();
    let mut found = Vec::new();
    while found.len() < readings.len().div_ceil(5).min(MOST_STRAYS) {
        let these: Vec<AxisReading> = left.iter().map(|&place| readings[place]).collect();
        let Some(stray) = stray(&these, finest) else {
            break;
        };
        let place = left.remove(stray.place);
        found.push(Stray { place, ..stray });
    }
    found
}

fn stray(readings: &[AxisReading], finest: f64) -> Option<Stray> {
    let cell = |place: usize| (readings[place].target, readings[place].going as u8);
    let mut sorted: Vec<usize> = (0..readings.len()).collect();
    sorted.sort_by(|&a, &b| {
        let ((one, up), (other, down)) = (cell(a), cell(b));
        one.total_cmp(&other).then(up.cmp(&down))
    });
    let mut of = vec![0; readings.len()];
    let mut cells = 0;
    for same in sorted.chunk_by(|&a, &b| cell(a) == cell(b)) {
        for &place in same {
            of[place] = cells;
        }
        cells += 1;
    }
    // Two to spare at least for each place, or the places' own errors cannot be told from chance.
    if readings.len() >= 3 * cells {
        let y: Vec<f64> = readings.iter().map(|it| it.reading).collect();
        return fit::stray_in_groups(&of, &y, OUTLIER, finest);
    }
    joint(readings).ok()?.stray(OUTLIER, finest)
}

/// What is wrong with a reading on its own, by where the axis was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Oddity {
    /// As far as it should be, to the other side.
    Mirrored,
    /// Off by 25.4.
    Inches,
    /// Off by 10.
    Centimetres,
    /// Off otherwise, by more than a twentieth of the way and more than a fine adjustment.
    Off,
}

/// Compares a reading with the first one of the series: by so much the axis has been sent, and by
/// so much the reading has changed. None where they go together, or where the way is too short to
/// tell. `coarse` is what never counts as odd, axis units.
#[must_use]
pub fn oddity(sent: f64, read: f64, coarse: f64) -> Option<Oddity> {
    let near = |wanted: f64| (read - wanted).abs() <= (wanted.abs() * FAR).max(coarse);
    if near(sent) {
        return None;
    }
    Some(if near(-sent) {
        Oddity::Mirrored
    } else if near(sent / 25.4) || near(sent * 25.4) {
        Oddity::Inches
    } else if near(sent / 10.0) || near(sent * 10.0) {
        Oddity::Centimetres
    } else {
        Oddity::Off
    })
}

/// Targets for a series after the practice of ISO 230-2 (from memory): at least five for each
/// metre and at least five, spread over the travel, not quite evenly, so that what recurs with the
/// screw's turn does not fall on the same place of it every time. `step` is what the axis can be
/// sent to a multiple of. Axis units.
#[must_use]
pub fn targets(travel: (f64, f64), count: Option<usize>, step: f64) -> Vec<f64> {
    let (least, most) = travel;
    let span = most - least;
    let count = count
        .unwrap_or_else(|| ((span / 200.0).ceil() as usize).max(5))
        .max(2);
    // A twentieth of the travel stays free at each end: the backward runs begin beyond the last.
    let (from, to) = (least + 0.05 * span, most - 0.05 * span);
    let gap = (to - from) / (count - 1) as f64;
    (0..count)
        .map(|at| {
            // Fixed fractions of the gap, the same every time: a plan can be repeated.
            let inner = at > 0 && at + 1 < count;
            let uneven = if inner {
                [0.11, -0.07, 0.05, -0.13][at % 4]
            } else {
                0.0
            };
            let place = from + gap * (at as f64 + uneven);
            (place / step).round() * step
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three runs each way to five targets, by `read(target, going)`.
    fn series(read: impl Fn(f64, Going) -> f64) -> Vec<AxisReading> {
        let mut readings = Vec::new();
        for run in 1..=3 {
            for going in [Going::Forward, Going::Backward] {
                for target in [-20.0, -9.5, 1.0, 10.5, 20.0] {
                    let jitter = f64::from((readings.len() * 7 % 5) as u8) * 0.0005;
                    readings.push(AxisReading {
                        line: readings.len() + 1,
                        target,
                        going,
                        run,
                        reading: read(target, going) + jitter,
                    });
                }
            }
        }
        readings
    }

    fn slack(going: Going) -> f64 {
        if going == Going::Backward { 0.5 } else { 0.0 }
    }

    #[test]
    fn a_scale_that_counts_the_other_way_has_the_same_slack() {
        let sound = series(|target, going| target + slack(going));
        let turned = series(|target, going| -target - slack(going));
        for (readings, falling) in [(&sound, false), (&turned, true)] {
            let result = analyse(readings).expect("a series");
            assert_eq!(result.falling, falling);
            let found = result.backlash.expect("both ways").value;
            assert!((found - 0.5).abs() < 1e-3, "{found}");
            assert_eq!(slack_left(&rising(readings, &result)), None);
        }
    }

    #[test]
    fn slack_that_was_not_taken_up_is_seen_at_the_first_targets() {
        // 0.3 mm of it were still there at the first target of each direction.
        let short = series(|target, going| {
            let left = match going {
                Going::Forward if target == -20.0 => 0.3,
                Going::Backward if target == 20.0 => -0.3,
                _ => 0.0,
            };
            target + slack(going) + left
        });
        let left = slack_left(&short).expect("seen");
        assert!((left - 0.3).abs() < 0.01, "{left}");
        // A screw that is wrong at one end alone is no such thing.
        let bent =
            series(|target, going| target + slack(going) + if target == -20.0 { 0.3 } else { 0.0 });
        assert_eq!(slack_left(&bent), None);
        assert_eq!(slack_left(&short[..1]), None);
    }

    /// As many rows and places as a table may have: the work must not grow with their product.
    #[test]
    fn a_table_of_many_places_is_looked_through() {
        let readings: Vec<AxisReading> = (0..99_000_u32)
            .map(|at| AxisReading {
                line: at as usize + 1,
                target: f64::from(at / 3) * 0.01,
                going: Going::Forward,
                run: 1,
                reading: f64::from(at / 3) * 0.01
                    + f64::from(at % 3) * 0.001
                    + if at == 5_000 { 4.0 } else { 0.0 },
            })
            .collect();
        let found: Vec<usize> = strays(&readings).iter().map(|it| it.place).collect();
        assert_eq!(found, [5_000]);
        let figures = crate::measure::positioning::positioning(&readings);
        assert_eq!(figures.targets.len(), 33_000);
    }
}
