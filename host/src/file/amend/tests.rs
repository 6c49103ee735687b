use std::fs;
use std::time::Duration;

use super::*;
use crate::stand::{Carrier, Way};

const DEMO: &str = include_str!("../../../demo/stand.toml");

fn of(text: &str) -> StandFile {
    StandFile::of_text("stand.toml", text.to_owned()).expect("sound")
}

fn axis(file: &StandFile, level: usize, way: Way) -> AxisId {
    file.stand()
        .axis(Carrier::Level(LevelId(level)), way)
        .expect("an axis")
}

/// Every change once.
fn all(file: &StandFile) -> Vec<Change> {
    let axis = axis(file, 0, Way::East);
    vec![
        Change::PerTurn {
            axis,
            value: 8.012_345_6,
        },
        Change::Reversed { axis, value: true },
        Change::Backlash {
            axis,
            value: 0.0625,
        },
        Change::HomeWithin { axis, value: 0.03 },
        Change::FocalLength { mm: 51.2 },
        Change::LensHeight { mm: 1398.75 },
        Change::LevelHeight {
            level: LevelId(4),
            mm: 241.5,
        },
        Change::Settle {
            time: Duration::from_micros(450_500),
        },
        Change::StopTested {
            board: BoardId(0),
            date: jiff::civil::date(2026, 11, 26),
        },
    ]
}

#[test]
fn only_the_values_change() {
    let file = of(DEMO);
    let amended = file.amend(&all(&file)).expect("sound");
    let wanted = DEMO
        .replacen(
            "per_turn = \"8 mm\", reversed = false",
            "per_turn = \"8.012346 mm\", reversed = true",
            1,
        )
        .replacen("\"0.05 mm\"", "\"0.0625 mm\"", 1)
        .replacen(
            "\"-119 mm\", within = \"0.02 mm\"",
            "\"-119 mm\", within = \"0.03 mm\"",
            1,
        )
        .replacen("\"50 mm\"", "\"51.2 mm\"", 1)
        .replacen("\"1400 mm\"", "\"1398.75 mm\"", 1)
        .replacen("\"240 mm\"", "\"241.5 mm\"", 1)
        .replacen("settle = \"600 ms\"", "settle = \"450500 us\"", 1)
        .replacen(
            "port = \"simulated\"",
            "port = \"simulated\"\nstop_tested = \"2026-11-26\"",
            1,
        );
    assert_eq!(amended.text(), wanted);
    assert_eq!(amended.lines().len(), 8);
    let line = amended.lines()[2].to_string();
    assert!(
        line.contains("\n  + stop_tested = \"2026-11-26\""),
        "{line}"
    );
    assert!(!line.contains("  - "), "{line}");
    let line = amended.lines()[0].to_string();
    assert_eq!(
        line,
        "stand.toml:16:\n  - focal_length = \"50 mm\"\n  + focal_length = \"51.2 mm\""
    );
    assert_eq!(file.per_turn(axis(&file, 0, Way::East)), Some(8.0));
}

#[test]
fn line_endings_and_the_mark_of_byte_order_stay() {
    let text = format!("\u{feff}{}", DEMO.replace('\n', "\r\n"));
    let file = of(&text);
    let amended = file.amend(&all(&file)).expect("sound");
    assert!(amended.text().starts_with('\u{feff}'));
    assert_eq!(
        amended.text().matches('\n').count(),
        amended.text().matches("\r\n").count()
    );
    let plain = of(DEMO);
    let plain = plain.amend(&all(&plain)).expect("sound");
    assert_eq!(
        amended
            .text()
            .trim_start_matches('\u{feff}')
            .replace("\r\n", "\n"),
        plain.text()
    );
}

#[test]
fn a_key_that_is_missing_is_written_as_its_table_is() {
    // In braces, as lines with a dotted name, as a table with its own head, at the text's end.
    let brace = DEMO.replacen(", reversed = false }", " }", 1);
    let motor = "motor = { board = \"main\", channel = 0, steps = 200, microsteps = 16, per_turn = \"8 mm\", reversed = false }";
    let dotted = DEMO.replacen(
        motor,
        "  motor.board = \"main\" # here\n  motor.channel = 0\n  motor.steps = 200\n  motor.microsteps = 16\n  motor.per_turn = \"8 mm\" # a turn",
        1,
    );
    for (text, wanted) in [
        (&brace, "per_turn = \"8 mm\", reversed = true }"),
        (
            &dotted,
            "\n  motor.per_turn = \"8 mm\" # a turn\n  motor.reversed = true\ntravel",
        ),
    ] {
        let file = of(text);
        let axis = axis(&file, 0, Way::East);
        let amended = file
            .amend(&[Change::Reversed { axis, value: true }])
            .expect("sound");
        assert!(amended.text().contains(wanted), "{}", amended.text());
        assert_eq!(amended.lines().len(), 1);
    }
    let file = of(DEMO);
    let lift = axis(&file, 0, Way::Lift);
    let amended = file
        .amend(&[Change::Backlash {
            axis: lift,
            value: 0.01,
        }])
        .expect("sound");
    let wanted =
        "home = { switch = \"-8 mm\", within = \"0.02 mm\" }\nbacklash = \"0.01 mm\"\n\n[[axis]]";
    assert!(amended.text().contains(wanted), "{}", amended.text());

    let home = "home = { switch = \"-119 mm\", within = \"0.02 mm\" }";
    let headed = DEMO.replacen("backlash = \"0.05 mm\"\n", "", 1).replacen(
        home,
        "[axis.home]\n# the switch\nswitch = \"-119 mm\"\nwithin = \"0.02 mm\"",
        1,
    );
    let file = of(&headed);
    let east = axis(&file, 0, Way::East);
    let changes = [
        Change::Backlash {
            axis: east,
            value: 0.01,
        },
        Change::HomeWithin {
            axis: east,
            value: 0.5,
        },
    ];
    let amended = file.amend(&changes).expect("sound");
    assert!(
        amended
            .text()
            .contains("jerk = \"150 mm/s3\"\nbacklash = \"0.01 mm\"\n"),
        "{}",
        amended.text()
    );
    assert!(
        amended
            .text()
            .contains("# the switch\nswitch = \"-119 mm\"\nwithin = \"0.5 mm\"")
    );
}

#[test]
fn what_would_be_unsound_is_refused() {
    let file = of(DEMO);
    let east = axis(&file, 0, Way::East);
    for (change, words) in [
        (
            Change::LevelHeight {
                level: LevelId(0),
                mm: 1500.0,
            },
            "reaches up to 1500.000 mm",
        ),
        (
            Change::PerTurn {
                axis: east,
                value: -8.0,
            },
            "per_turn",
        ),
        (
            Change::PerTurn {
                axis: east,
                value: f64::NAN,
            },
            "no sensible size",
        ),
        (
            Change::HomeWithin {
                axis: east,
                value: 0.000_1,
            },
            "less than one step",
        ),
        (
            Change::Backlash {
                axis: AxisId(99),
                value: 0.1,
            },
            "no such axis",
        ),
        (
            Change::StopTested {
                board: BoardId(3),
                date: jiff::civil::date(2026, 11, 26),
            },
            "no such board",
        ),
        (
            Change::LevelHeight {
                level: LevelId(9),
                mm: 1.0,
            },
            "no such level",
        ),
    ] {
        let error = file.amend(&[change]).expect_err("refused");
        assert!(error.to_string().contains(words), "{error}");
    }
    let same = file
        .amend(&[Change::Reversed {
            axis: east,
            value: false,
        }])
        .expect("sound");
    assert!(same.is_empty() && same.lines().is_empty());
}

#[cfg(unix)]
#[test]
fn saving_keeps_permissions_and_links_and_refuses_a_changed_file() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = tempfile::tempdir().expect("a folder");
    let (real, link) = (
        folder.path().join("real.toml"),
        folder.path().join("stand.toml"),
    );
    fs::write(&real, DEMO).expect("written");
    fs::set_permissions(&real, fs::Permissions::from_mode(0o640)).expect("set");
    symlink("real.toml", &link).expect("linked");
    let file = StandFile::read(&link).expect("sound");
    let amended = file
        .amend(&[Change::FocalLength { mm: 51.0 }])
        .expect("sound");
    amended.save().expect("saved");
    assert!(fs::symlink_metadata(&link).expect("there").is_symlink());
    assert_eq!(fs::read_to_string(&real).expect("there"), amended.text());
    assert_eq!(
        fs::metadata(&real).expect("there").permissions().mode() & 0o777,
        0o640
    );
    assert_eq!(
        StandFile::read(&link).expect("sound").stand(),
        amended.stand()
    );

    // The text on the disk is no longer the one that was read.
    let error = file
        .amend(&[Change::FocalLength { mm: 52.0 }])
        .expect("sound")
        .save()
        .expect_err("refused");
    assert!(
        matches!(error, AmendError::ChangedMeanwhile { .. }),
        "{error}"
    );
    assert_eq!(fs::read_to_string(&real).expect("there"), amended.text());
    // Nothing is left lying about.
    assert_eq!(fs::read_dir(folder.path()).expect("read").count(), 2);
}
