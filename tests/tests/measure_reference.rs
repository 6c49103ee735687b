//! What readings tell, against NumPy, SciPy and OpenCV (`reference/measure.py`).

use panestep::file::read_stand_text;
use panestep::measure::Estimate;
use panestep::measure::axis::{AxisReading, Going, analyse};
use panestep::measure::decay::{Peak, decay, settle_time};
use panestep::measure::fit;
use panestep::measure::lens::{FieldReading, Focus, solve};
use panestep::measure::positioning::positioning;
use panestep::stand::LevelId;
use serde_json::Value;

fn reference() -> Value {
    let reference: Value =
        serde_json::from_str(include_str!("../reference/measure.json")).expect("valid JSON");
    assert_eq!(reference["libraries"]["scipy"], "1.14.1");
    reference
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .expect("a list")
        .iter()
        .map(number)
        .collect()
}

#[track_caller]
fn near(value: f64, expected: f64, within: f64) {
    assert!(
        (value - expected).abs() <= within,
        "{value}, not {expected}"
    );
}

/// Value and standard uncertainty.
#[track_caller]
fn agrees(estimate: Estimate, value: &Value, uncertainty: &Value, part: f64) {
    let (value, uncertainty) = (number(value), number(uncertainty));
    near(estimate.value, value, part * value.abs().max(uncertainty));
    near(
        estimate.uncertainty.expect("some to spare"),
        uncertainty,
        part * uncertainty,
    );
}

fn series(figures: &Value) -> Vec<AxisReading> {
    let targets = numbers(&figures["targets"]);
    let mut readings = Vec::new();
    for (going, name) in [(Going::Forward, "up"), (Going::Backward, "down")] {
        for (&target, runs) in targets.iter().zip(figures[name].as_array().expect("rows")) {
            for (run, reading) in (1..).zip(numbers(runs)) {
                readings.push(AxisReading {
                    line: readings.len() + 1,
                    target,
                    going,
                    run,
                    reading,
                });
            }
        }
    }
    readings
}

#[test]
fn positioning_figures_follow_numpy() {
    let reference = reference();
    let figures = &reference["positioning"];
    let found = positioning(&series(figures));
    assert_eq!(found.targets.len(), 7);
    let within = 1e-11;
    for (at, target) in found.targets.iter().enumerate() {
        let up = target.forward.as_ref().expect("runs");
        let down = target.backward.as_ref().expect("runs");
        for (value, name) in [
            (Some(up.mean), "means_up"),
            (Some(down.mean), "means_down"),
            (up.deviation, "s_up"),
            (down.deviation, "s_down"),
            (target.reversal, "reversals"),
            (target.repeatability, "repeatabilities"),
        ] {
            near(value.expect("there"), number(&figures[name][at]), within);
        }
    }
    for (value, name) in [
        (found.reversal, "B"),
        (found.mean_reversal, "mean_B"),
        (found.mean_deviation, "M"),
        (found.systematic_forward, "E_up"),
        (found.systematic_backward, "E_down"),
        (found.systematic, "E"),
        (found.repeatability_forward, "R_up"),
        (found.repeatability_backward, "R_down"),
        (found.repeatability, "R"),
        (found.accuracy_forward, "A_up"),
        (found.accuracy_backward, "A_down"),
        (found.accuracy, "A"),
    ] {
        near(value.expect("there"), number(&figures[name]), within);
    }
}

#[test]
fn scale_and_slack_follow_scipy_with_their_uncertainties() {
    let reference = reference();
    let scale = &reference["scale"];
    let found = analyse(&series(&reference["positioning"])).expect("a fit");
    for (straight, name) in [(&found.forward, "forward"), (&found.backward, "backward")] {
        let straight = straight.as_ref().expect("readings");
        let wanted = &scale[name];
        agrees(straight.slope, &wanted[0], &wanted[1], 1e-6);
        near(straight.at_zero.value, number(&wanted[2]), 1e-10);
        near(
            straight.at_zero.uncertainty.expect("there"),
            number(&wanted[3]),
            1e-10,
        );
    }
    agrees(found.scale, &scale["scale"][0], &scale["scale"][1], 1e-6);
    near(
        found.scale.within_95.expect("there"),
        number(&scale["scale"][2]),
        1e-12,
    );
    agrees(
        found.backlash.expect("both ways"),
        &scale["slack"][0],
        &scale["slack"][1],
        1e-6,
    );
}

#[test]
fn critical_values_follow_scipy() {
    let reference = reference();
    let rows = reference["grubbs"].as_array().expect("rows");
    assert_eq!(rows.len(), 20);
    for row in rows {
        let row = numbers(row);
        let count = row[1] as usize;
        let share = (row[1] - 1.0) / row[1];
        let critical = fit::critical(count, count - 1, row[0]) * share.sqrt();
        near(critical, row[2], 1e-7);
    }
}

#[test]
fn the_lens_is_solved_as_scipy_solves_it() {
    let reference = reference();
    let case = &reference["lens"];
    let heights = numbers(&case["heights"]);
    let level = |name: &str, height: f64| {
        format!(
            "[[level]]\nname = \"{name}\"\nheight = \"{height} mm\"\npane = {{ width = \"700 mm\", \
             height = \"500 mm\", thickness = \"6 mm\", index = 1.52, art = \"upper\" }}\n"
        )
    };
    let text = format!(
        "name = \"Three levels\"\n[lens]\nfocal_length = \"{} mm\"\nf_number = 8.0\npicture = {{ width \
         = \"{} mm\", height = \"24 mm\", pixels = [{}, {}] }}\nheight = \"{} mm\"\nfocus = \"skiffs\"\n\
         [[board]]\nname = \"main\"\nport = \"simulated\"\n{}{}{}[[axis]]\nof = \"reeds\"\ndirection \
         = \"lift\"\nhand = {{ scale = \"1 mm\" }}\ntravel = [\"-5 mm\", \"130 mm\"]\n[shutter]\nby_hand = \
         true\nsettle = \"1 s\"\nexposure = \"1 s\"\nready = \"1 s\"\n",
        number(&case["start"][0]),
        number(&case["width_mm"]),
        number(&case["columns"]),
        number(&case["rows"]),
        number(&case["start"][1]),
        level("reeds", heights[0]),
        level("skiffs", heights[1]),
        level("headland", heights[2]),
    );
    let stand = read_stand_text("three.toml", &text).expect("a sound stand");
    let focus = Focus::Fixed {
        level: LevelId(number(&case["focus"]) as usize),
        lift_mm: 0.0,
        camera_lift_mm: 0.0,
    };
    let lifts = case["lifts"].as_array().expect("rows");
    let readings = |name: &str| -> Vec<FieldReading> {
        let pixels = numbers(&case[name]);
        let rows = lifts.iter().map(numbers).zip(pixels).enumerate();
        rows.map(|(line, (lift, pixels))| FieldReading {
            line,
            level: LevelId(lift[0] as usize),
            lift_mm: lift[1],
            camera_lift_mm: 0.0,
            length_mm: number(&case["length"]),
            pixels,
        })
        .collect()
    };
    // Without reading errors: the lens that OpenCV's projection was given.
    let found = solve(&stand, &readings("exact"), focus, &[]).expect("solved");
    let truth = numbers(&case["truth"]);
    near(found.focal_length.value, truth[0], 1e-5);
    near(found.height.value, truth[1], 1e-4);
    near(found.levels[1].height.value, truth[2], 1e-4);
    near(found.levels[2].height.value, truth[3], 1e-4);
    // With them: SciPy's solution, its uncertainties and what it leaves.
    let found = solve(&stand, &readings("pixels"), focus, &[]).expect("solved");
    let all = [
        found.focal_length,
        found.height,
        found.levels[1].height,
        found.levels[2].height,
    ];
    for (at, estimate) in all.into_iter().enumerate() {
        let uncertainty = number(&case["uncertainty"][at]);
        near(
            estimate.value,
            number(&case["solved"][at]),
            1e-3 * uncertainty,
        );
        near(
            estimate.uncertainty.expect("five to spare"),
            uncertainty,
            1e-3 * uncertainty,
        );
        near(estimate.value, truth[at], 4.0 * uncertainty);
    }
    near(
        found.scatter.expect("to spare"),
        number(&case["scatter"]),
        1e-6,
    );
    for (left, wanted) in found.left.iter().zip(numbers(&case["residuals"])) {
        near(left.pixels, wanted, 1e-4);
    }
}

fn peaks(case: &Value) -> Vec<Peak> {
    let places = numbers(&case["places"]);
    let points = numbers(&case["times"]).into_iter().zip(places).enumerate();
    points
        .map(|(line, (time, amplitude))| Peak {
            time,
            amplitude,
            line,
        })
        .collect()
}

#[test]
fn integrated_swings_are_found_again() {
    let reference = reference();
    let decays = &reference["decay"];
    for case in decays["cases"].as_array().expect("cases") {
        let found = decay(&peaks(case)).expect("a swing");
        near(found.frequency.value, number(&case["frequency"]), 1e-6);
        near(found.damping.value, number(&case["damping"]), 1e-7);
        // The swing is within the envelope at its every turn.
        for peak in peaks(case) {
            let from = peaks(case)[0];
            let (frequency, damping) = (found.frequency.value, found.damping.value);
            let time = settle_time(
                frequency,
                damping,
                from.amplitude.abs(),
                peak.amplitude.abs(),
            );
            assert!(peak.time - from.time <= time + 1e-9, "{peak:?} {time}");
        }
    }
    let noisy = &decays["noisy"];
    let found = decay(&peaks(noisy)).expect("a swing");
    let half = &noisy["half_decrement"];
    agrees(found.decrement.times(0.5), &half[0], &half[1], 1e-9);
}
