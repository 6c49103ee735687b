//! What readings tell, against published values.

use panestep::measure::axis::{AxisReading, Going};
use panestep::measure::decay::settle_time;
use panestep::measure::fit::{linear, student};
use panestep::measure::positioning::positioning;

/// Deviations of a slit's stepper axis in micrometres, target by target, five runs forward and
/// five backward: European Spallation Source, repository anderssandstrom/ecmccomgui, header of
/// tools/iso230-2/ecmcISO230_2.py; seen, rounded here to the nanometre.
const TARGETS: [(f64, [f64; 5], [f64; 5]); 5] = [
    (
        15.0,
        [0.670, 1.690, 2.098, 3.933, 3.321],
        [4.748, 4.748, 4.952, 6.379, 6.787],
    ),
    (
        25.0,
        [-0.356, -0.356, -1.375, 0.052, -0.764],
        [-2.599, -1.579, -2.599, -1.783, -1.375],
    ),
    (
        35.0,
        [0.249, -7.091, -2.809, -0.363, -4.644],
        [-10.353, -7.499, -6.683, -5.868, -6.683],
    ),
    (
        45.0,
        [-2.205, -0.574, -1.797, -1.185, -3.428],
        [-2.205, -1.593, -1.185, -1.593, 0.242],
    ),
    (
        55.0,
        [2.885, 0.846, 7.167, 8.186, 0.439],
        [2.681, 2.885, 6.963, 5.740, 2.885],
    ),
];

fn published(offset: f64) -> Vec<AxisReading> {
    let mut readings = Vec::new();
    for (target, forward, backward) in TARGETS {
        for (going, runs) in [(Going::Forward, forward), (Going::Backward, backward)] {
            for (run, deviation) in (1..).zip(runs) {
                readings.push(AxisReading {
                    line: readings.len() + 1,
                    target,
                    going,
                    run,
                    reading: target + offset + deviation / 1000.0,
                });
            }
        }
    }
    readings
}

#[track_caller]
fn near(value: Option<f64>, expected: f64, within: f64) {
    let value = value.expect("there");
    assert!(
        (value - expected).abs() <= within,
        "{value}, not {expected}"
    );
}

/// The published report's figures (example_report_ISO230_2.md in the same repository, seen), but
/// for `E` and `R`: there the report does not follow the standard. Its `E` of 8.45 comes from a
/// slip in a comparison; by the formula it is the greatest mean less the least of both directions,
/// 5.523 - -7.417 = 12.940. Its `R` is that of one direction, which happens to be the same here.
#[test]
fn a_published_series_gives_its_published_figures() {
    let found = positioning(&published(0.0));
    let um = 1e-3;
    near(found.accuracy, 21.97 * um, 0.006 * um);
    near(found.accuracy_forward, 20.08 * um, 0.006 * um);
    near(found.accuracy_backward, 19.10 * um, 0.006 * um);
    near(found.systematic_forward, 6.84 * um, 0.006 * um);
    near(found.systematic_backward, 12.94 * um, 0.006 * um);
    near(found.systematic, 12.94 * um, 0.006 * um);
    near(found.repeatability_forward, 14.34 * um, 0.006 * um);
    near(found.repeatability_backward, 7.94 * um, 0.006 * um);
    near(found.repeatability, 14.34 * um, 0.006 * um);
    near(found.reversal, 4.49 * um, 0.006 * um);
    near(found.mean_reversal, 0.37 * um, 0.006 * um);
    near(found.mean_deviation, 9.24 * um, 0.006 * um);
    // Target by target: mean forward, mean backward, mean of both, reversal, s forward, s backward,
    // repeatability (the same report, to a hundredth of a micrometre).
    for (target, row) in found.targets.iter().zip([
        [2.342, 5.523, 3.933, -3.180, 1.301, 0.982, 7.746],
        [-0.560, -1.987, -1.273, 1.427, 0.539, 0.577, 3.660],
        [-2.932, -7.417, -5.174, 4.486, 3.040, 1.740, 14.044],
        [-1.838, -1.267, -1.552, -0.571, 1.083, 0.919, 4.574],
        [3.905, 4.231, 4.068, -0.326, 3.584, 1.985, 14.336],
    ]) {
        let (up, down) = (target.forward.as_ref(), target.backward.as_ref());
        let values = [
            up.map(|it| it.mean),
            down.map(|it| it.mean),
            target.mean,
            target.reversal,
            up.and_then(|it| it.deviation),
            down.and_then(|it| it.deviation),
            target.repeatability,
        ];
        for (value, expected) in values.into_iter().zip(row) {
            near(value, expected * um, 0.011 * um);
        }
    }
}

/// Where the scale's zero lies changes no figure.
#[test]
fn the_figures_do_not_depend_on_the_scales_zero() {
    let (here, there) = (positioning(&published(0.0)), positioning(&published(-3.75)));
    for (one, other) in [
        (here.accuracy, there.accuracy),
        (here.systematic, there.systematic),
        (here.repeatability, there.repeatability),
        (here.mean_deviation, there.mean_deviation),
        (here.mean_reversal, there.mean_reversal),
    ] {
        near(one, other.expect("there"), 1e-12);
    }
}

/// Figures that need runs back, or more than one run, are not made up.
#[test]
fn what_a_short_series_cannot_tell_is_left_out() {
    let all = published(0.0);
    let forward: Vec<_> = all
        .iter()
        .filter(|it| it.going == Going::Forward)
        .copied()
        .collect();
    let found = positioning(&forward);
    assert!(found.accuracy_forward.is_some() && found.systematic_forward.is_some());
    assert_eq!(
        (
            found.accuracy,
            found.reversal,
            found.repeatability,
            found.mean_deviation
        ),
        (None, None, None, None)
    );
    let once: Vec<_> = all.iter().filter(|it| it.run == 1).copied().collect();
    let found = positioning(&once);
    assert!(found.systematic.is_some() && found.reversal.is_some());
    assert_eq!((found.accuracy, found.repeatability), (None, None));
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.17, Grubbs' test: eight readings
/// of a mass spectrometer with G = 2.4687 (data and G seen in tests that cite it; the page itself
/// was not). The two-sided critical value for eight readings at 5 % is 2.126 (seen there too).
#[test]
fn grubbs_test_gives_the_handbooks_example() {
    let sample = [
        199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57,
    ];
    // For a fit of a mean the test is that one: the last reading strays, and by how much from the
    // others. The handbook divides by the sample's deviation, not by the residual's own.
    let share = (7.0_f64 / 8.0).sqrt();
    let fit = linear(&vec![vec![1.0]; 8], &sample).expect("a mean");
    let stray = fit.stray(0.05, 0.01).expect("an outlier");
    assert_eq!(stray.place, 7);
    let others: f64 = sample[..7].iter().sum::<f64>() / 7.0;
    assert!((stray.by - (245.57 - others)).abs() < 1e-9);
    let (statistic, critical) = (stray.statistic * share, stray.critical * share);
    assert!((statistic - 2.4687).abs() < 1e-4, "{statistic}");
    assert!((critical - 2.1266).abs() < 5e-4, "{critical}");
    let sound = linear(&vec![vec![1.0]; 7], &sample[..7]).expect("a mean");
    assert!(sound.stray(0.05, 0.01).is_none());
}

/// Student's t, two-sided 95 %: 12.706, 4.303, 2.571, 2.228, 1.984 for 1, 2, 5, 10 and 100 degrees
/// of freedom (any table; from memory).
#[test]
fn students_t_is_that_of_the_tables() {
    for (freedom, t) in [
        (1, 12.706),
        (2, 4.303),
        (5, 2.571),
        (10, 2.228),
        (100, 1.984),
    ] {
        assert!((student(0.95, freedom) - t).abs() < 6e-4, "{freedom}");
    }
}

/// Settling to 2 % with a damping ratio of 0.5 and 10 rad/s: 0.7824 s without the root
/// (theprimecalculator.com, seen), 0.8112 s with the envelope's own height, by the formula on the
/// same page, -ln(0.02 sqrt(1 - 0.25)) / 5.
/// Nagoor Kani, Control Systems, 3rd edition, example 3.6: 0.5 and 4 rad/s, 2 s to 2 % by the rule
/// 4 / (z w), which is a little less than what the formulas give.
#[test]
fn settling_times_are_those_of_textbooks() {
    let hertz = |radians: f64| radians / std::f64::consts::TAU;
    let time = settle_time(hertz(10.0), 0.5, 1.0, 0.02);
    assert!((time - 0.8112).abs() < 5e-5, "{time}");
    let root = 0.75_f64.sqrt();
    let plain = settle_time(hertz(10.0), 0.5, root, 0.02);
    assert!((plain - 0.7824).abs() < 5e-5, "{plain}");
    let rule = settle_time(hertz(4.0), 0.5, root, (-4.0_f64).exp());
    assert!((rule - 2.0).abs() < 1e-12, "{rule}");
    assert_eq!(settle_time(5.0, 0.1, 0.01, 0.02), 0.0);
}
