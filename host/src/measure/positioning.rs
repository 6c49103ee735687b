//! ISO 230-2: accuracy and repeatability of positioning, with all its figures.
//!
//! Formulas of ISO 230-2:2014, from memory of the standard and as implemented by others (see the
//! published data set in the tests); coverage factor 2 throughout. Deviations are reading less
//! target. Every figure but the deviations themselves is the same wherever the scale's zero lies.

use serde::Serialize;

use super::axis::{AxisReading, Going};
use super::fit::{deviation, ends, mean};

/// The runs to one target from one side.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cell {
    /// Deviation of each run, in the order read, axis units.
    pub deviations: Vec<f64>,
    /// Their mean, `x` with a bar: the unidirectional mean positional deviation.
    pub mean: f64,
    /// Their standard deviation, `s`: the estimator of unidirectional repeatability; none for a
    /// single run.
    pub deviation: Option<f64>,
}

/// One target.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Target {
    /// Where the axis was sent, axis units.
    pub target: f64,
    /// Approached going forward.
    pub forward: Option<Cell>,
    /// Approached going backward.
    pub backward: Option<Cell>,
    /// Mean bidirectional positional deviation.
    pub mean: Option<f64>,
    /// Reversal error `B_i`: forward mean less backward mean. Negative for plain slack.
    pub reversal: Option<f64>,
    /// Unidirectional repeatability, forward: `4 s`.
    pub repeatability_forward: Option<f64>,
    /// Backward.
    pub repeatability_backward: Option<f64>,
    /// Bidirectional: the greatest of `2 s + 2 s + |B|` and the two above.
    pub repeatability: Option<f64>,
}

/// The figures of a whole axis, axis units. Those that need both directions, or more than one run,
/// are there only with them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Positioning {
    /// Every target, in order.
    pub targets: Vec<Target>,
    /// Reversal error of the axis, `B`: the greatest amount.
    pub reversal: Option<f64>,
    /// Mean reversal error, with its sign.
    pub mean_reversal: Option<f64>,
    /// Unidirectional systematic deviation, forward.
    pub systematic_forward: Option<f64>,
    /// Backward.
    pub systematic_backward: Option<f64>,
    /// Bidirectional systematic deviation, `E`.
    pub systematic: Option<f64>,
    /// Mean bidirectional positional deviation, `M`.
    pub mean_deviation: Option<f64>,
    /// Unidirectional repeatability, forward.
    pub repeatability_forward: Option<f64>,
    /// Backward.
    pub repeatability_backward: Option<f64>,
    /// Bidirectional repeatability, `R`.
    pub repeatability: Option<f64>,
    /// Unidirectional accuracy, forward.
    pub accuracy_forward: Option<f64>,
    /// Backward.
    pub accuracy_backward: Option<f64>,
    /// Bidirectional accuracy, `A`.
    pub accuracy: Option<f64>,
}

impl Cell {
    fn new(deviations: Vec<f64>) -> Option<Self> {
        (!deviations.is_empty()).then(|| Self {
            mean: mean(&deviations),
            deviation: deviation(&deviations),
            deviations,
        })
    }

    /// From `mean - 2 s` to `mean + 2 s`.
    #[must_use]
    pub fn band(&self) -> Option<(f64, f64)> {
        self.deviation
            .map(|s| (self.mean - 2.0 * s, self.mean + 2.0 * s))
    }
}

impl Target {
    fn new(target: f64, of: impl Fn(Going) -> Vec<f64>) -> Self {
        let forward = Cell::new(of(Going::Forward));
        let backward = Cell::new(of(Going::Backward));
        let four_s = |cell: &Option<Cell>| Some(4.0 * cell.as_ref()?.deviation?);
        let both = forward.as_ref().zip(backward.as_ref());
        let reversal = both.map(|(forward, backward)| forward.mean - backward.mean);
        let (up, down) = (four_s(&forward), four_s(&backward));
        let repeatability = up.zip(down).zip(reversal).map(|((up, down), reversal)| {
            (up / 2.0 + down / 2.0 + reversal.abs()).max(up).max(down)
        });
        Self {
            target,
            mean: both.map(|(forward, backward)| f64::midpoint(forward.mean, backward.mean)),
            reversal,
            repeatability_forward: up,
            repeatability_backward: down,
            repeatability,
            forward,
            backward,
        }
    }

    /// The runs of a direction.
    #[must_use]
    pub fn cell(&self, going: Going) -> Option<&Cell> {
        match going {
            Going::Forward => self.forward.as_ref(),
            Going::Backward => self.backward.as_ref(),
        }
    }
}

/// Every target's value, or none where one of them has none.
fn all<T>(targets: &[Target], of: impl Fn(&Target) -> Option<T>) -> Option<Vec<T>> {
    let values: Option<Vec<T>> = targets.iter().map(of).collect();
    values.filter(|values| !values.is_empty())
}

fn greatest(values: Vec<f64>) -> f64 {
    ends(values.into_iter()).1
}

fn span(values: impl Iterator<Item = f64>) -> f64 {
    let (least, most) = ends(values);
    most - least
}

/// Works out the figures.
#[must_use]
pub fn positioning(readings: &[AxisReading]) -> Positioning {
    // Stable: the runs to a target stay in the order read.
    let mut sorted: Vec<&AxisReading> = readings.iter().collect();
    sorted.sort_by(|a, b| a.target.total_cmp(&b.target));
    let targets: Vec<Target> = sorted
        .chunk_by(|a, b| a.target == b.target)
        .map(|here| {
            let target = here[0].target;
            Target::new(target, |going| {
                let going = here.iter().filter(|reading| reading.going == going);
                going.map(|reading| reading.reading - target).collect()
            })
        })
        .collect();
    let means = |going| all(&targets, |it| it.cell(going).map(|cell| cell.mean));
    let bands = |going| all(&targets, |it| it.cell(going)?.band());
    let both = |a: Option<Vec<f64>>, b: Option<Vec<f64>>| a.zip(b);
    let band_span = |bands: Vec<(f64, f64)>| {
        let (least, most) = (bands.iter().map(|it| it.0), bands.iter().map(|it| it.1));
        ends(most).1 - ends(least).0
    };
    let (up, down) = (means(Going::Forward), means(Going::Backward));
    let (bands_up, bands_down) = (bands(Going::Forward), bands(Going::Backward));
    let reversals = all(&targets, |it| it.reversal);
    Positioning {
        reversal: reversals
            .as_ref()
            .map(|it| greatest(it.iter().map(|it| it.abs()).collect())),
        mean_reversal: reversals.as_deref().map(mean),
        systematic_forward: up.clone().map(|it| span(it.into_iter())),
        systematic_backward: down.clone().map(|it| span(it.into_iter())),
        systematic: both(up, down).map(|(up, down)| span(up.into_iter().chain(down))),
        mean_deviation: all(&targets, |it| it.mean).map(|it| span(it.into_iter())),
        repeatability_forward: all(&targets, |it| it.repeatability_forward).map(greatest),
        repeatability_backward: all(&targets, |it| it.repeatability_backward).map(greatest),
        repeatability: all(&targets, |it| it.repeatability).map(greatest),
        accuracy_forward: bands_up.clone().map(band_span),
        accuracy_backward: bands_down.clone().map(band_span),
        accuracy: bands_up
            .zip(bands_down)
            .map(|(up, down)| band_span(up.into_iter().chain(down).collect())),
        targets,
    }
}
