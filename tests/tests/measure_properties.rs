//! What holds for any readings.

use panestep::file::amend::{Change, StandFile};
use panestep::measure::axis::{AxisReading, Going, analyse, strays, targets};
use panestep::measure::positioning::positioning;
use panestep::measure::table::{Column, Want, read};
use panestep::stand::{AxisId, AxisUnit, LevelId};
use proptest::prelude::*;

const DEMO: &str = include_str!("../../host/demo/stand.toml");

const COLUMNS: [Column; 3] = [
    Column {
        name: "target",
        want: Want::Place(AxisUnit::Millimetre),
        needed: true,
    },
    Column {
        name: "reading",
        want: Want::Place(AxisUnit::Degree),
        needed: true,
    },
    Column {
        name: "time",
        want: Want::Time,
        needed: false,
    },
];

/// Both ways to every target, so often each.
fn series(
    targets: &[f64],
    runs: u32,
    reading: impl Fn(f64, Going, u32) -> f64,
) -> Vec<AxisReading> {
    let mut readings = Vec::new();
    for run in 1..=runs {
        for going in [Going::Forward, Going::Backward] {
            for &target in targets {
                readings.push(AxisReading {
                    line: readings.len() + 1,
                    target,
                    going,
                    run,
                    reading: reading(target, going, run),
                });
            }
        }
    }
    readings
}

proptest! {
    #[test]
    fn a_table_of_anything_is_read_or_refused_with_a_place(
        head in "[ -~\u{feff}]{0,40}", text in "(.|\n|\r|,|;|\"){0,200}",
    ) {
        for text in [
            format!("{head}\n{text}"),
            format!("target mm,reading deg,time s\n{text}"),
            text.clone(),
        ] {
            match read("any", &text, &COLUMNS, 1) {
                Ok(rows) => for row in rows {
                    prop_assert!(row.number("target").is_some_and(f64::is_finite));
                    prop_assert!(row.number("reading").is_some_and(f64::is_finite));
                },
                Err(error) => {
                    prop_assert!(!error.problems.is_empty());
                    let lines = text.lines().count().max(1);
                    prop_assert!(error.problems.iter().all(|it| (1..=lines).contains(&it.line)));
                }
            }
        }
    }

    #[test]
    fn scale_and_slack_are_found_wherever_the_scales_zero_is(
        scale in prop_oneof![0.4..2.5_f64, -2.5..-0.4_f64],
        slack in 0.0..1.0_f64, zero in -500.0..500.0_f64,
        span in 1.0..900.0_f64, count in 2_usize..20,
    ) {
        let targets = targets((-span / 2.0, span / 2.0), Some(count), 0.0025);
        let readings = series(&targets, 3, |target, going, _| {
            zero + scale * target + if going == Going::Backward { slack } else { 0.0 }
        });
        let found = analyse(&readings).expect("a fit");
        prop_assert!((found.scale.value / scale - 1.0).abs() < 1e-6);
        prop_assert!((found.backlash.expect("both ways").value - slack * scale.signum()).abs() < 1e-6);
        prop_assert_eq!(found.falling, scale < 0.0);
        // Without scatter nothing strays.
        prop_assert!(strays(&readings).is_empty());
    }

    /// By their definitions: every target's band lies within the axis's, means of both directions
    /// within those of each.
    #[test]
    fn figures_contain_one_another(
        errors in prop::collection::vec(-0.05..0.05_f64, 60), slack in -0.1..0.1_f64,
    ) {
        let targets = [0.0, 10.3, 19.1, 33.3, 41.0, 50.0];
        let mut errors = errors.into_iter();
        let readings: Vec<_> = series(&targets, 5, |target, going, _| {
            target + if going == Going::Backward { slack } else { 0.0 }
        })
        .into_iter()
        .map(|it| AxisReading { reading: it.reading + errors.next().unwrap_or(0.0), ..it })
        .collect();
        let found = positioning(&readings);
        let of = |it: Option<f64>| it.expect("whole") + 1e-12;
        prop_assert!(of(found.accuracy) >= found.repeatability.expect("whole"));
        prop_assert!(of(found.accuracy) >= found.systematic.expect("whole"));
        prop_assert!(of(found.systematic) >= found.mean_deviation.expect("whole"));
        prop_assert!(of(found.systematic) >= found.reversal.expect("whole"));
        prop_assert!(of(found.reversal) >= found.mean_reversal.expect("whole").abs());
        prop_assert!(of(found.repeatability) >= found.repeatability_forward.expect("whole"));
        prop_assert!(of(found.accuracy) >= found.accuracy_backward.expect("whole"));
    }

    /// Whatever is written: the other lines stay, and the stand that is read again is the one wanted
    /// (or nothing is written).
    #[test]
    fn amending_touches_the_lines_of_its_values_only(
        turn in prop_oneof![0.01..500.0_f64, any::<f64>()],
        backlash in prop_oneof![0.0..5.0_f64, any::<f64>()],
        height in prop_oneof![0.0..1400.0_f64, any::<f64>()],
        axis in 0_usize..7, level in 0_usize..6,
    ) {
        let file = StandFile::of_text("stand.toml", DEMO.to_owned()).expect("sound");
        let changes = [
            Change::PerTurn { axis: AxisId(axis), value: turn },
            Change::Backlash { axis: AxisId(axis), value: backlash },
            Change::LevelHeight { level: LevelId(level), mm: height },
        ];
        if let Ok(amended) = file.amend(&changes) {
            let changed = amended.lines().len();
            prop_assert!(changed <= 3);
            let kept = amended.text().lines().filter(|line| DEMO.lines().any(|it| it == *line));
            prop_assert!(kept.count() + changed >= amended.text().lines().count());
            let axis = &amended.stand().axes[axis];
            prop_assert!((axis.backlash - backlash).abs() <= 1e-6);
        }
    }

    #[test]
    fn targets_lie_within_the_travel_in_order(
        least in -900.0..0.0_f64, span in 1.0..2000.0_f64, count in prop::option::of(2_usize..60),
    ) {
        let most = least + span;
        let targets = targets((least, most), count, 0.0025);
        prop_assert!(targets.windows(2).all(|two| two[0] < two[1]));
        prop_assert!(targets.first().is_some_and(|it| *it >= least));
        prop_assert!(targets.last().is_some_and(|it| *it <= most));
        // ISO 230-2's practice: five for each metre, and at least five.
        let at_least = count.unwrap_or_else(|| ((span / 200.0) as usize).max(5));
        prop_assert!(targets.len() >= at_least);
    }
}
