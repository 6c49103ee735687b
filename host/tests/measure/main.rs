//! `panestep measure`: from readings to results and the stand file, and everything that can be wrong
//! with readings.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::rc::Rc;

use tempfile::TempDir;

mod guided;
#[path = "../support/mod.rs"]
mod support;

/// A folder with a stand of one motor and a level moved by hand.
fn folder() -> Rc<TempDir> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/hand.stand.toml");
    let text = fs::read_to_string(data).expect("the test's file");
    let quick = text
        .replace("\"60 mm/s2\"", "\"400 mm/s2\"")
        .replace("\"400 mm/s3\"", "\"6000 mm/s3\"");
    fs::write(folder.path().join("stand.toml"), quick).expect("written");
    Rc::new(folder)
}

fn stand_text(folder: &TempDir) -> String {
    fs::read_to_string(folder.path().join("stand.toml")).expect("the stand file")
}

fn run(folder: &TempDir, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_panestep"))
        .arg("measure")
        .args(arguments)
        .current_dir(folder.path())
        .stdin(Stdio::null())
        .output()
        .expect("it runs")
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Runs it on a table of readings.
fn with(folder: &TempDir, table: &str, arguments: &[&str]) -> Output {
    fs::write(folder.path().join("readings.csv"), table).expect("written");
    let mut all = arguments.to_vec();
    all.extend(["--readings", "readings.csv"]);
    run(folder, &all)
}

#[track_caller]
fn is_refused(folder: &TempDir, output: &Output, words: &[&str]) {
    let said = err(output);
    assert_eq!(output.status.code(), Some(2), "{said}{}", out(output));
    for word in words {
        assert!(said.contains(word), "no {word:?} in {said}");
    }
    assert!(said.contains("the stand file is untouched"), "{said}");
    assert_eq!(
        stand_text(folder),
        stand_text(&self::folder()),
        "it has been changed"
    );
}

/// A series of three runs each way to seven targets: an axis that goes `scale` times as far, with a
/// slack of 0.06 mm and a scatter of a few micrometres. `change` may spoil a row's reading.
fn series(scale: f64, change: impl Fn(usize, f64) -> f64) -> String {
    let mut text = "run,going,target mm,reading mm\n".to_owned();
    let mut line = 1;
    for run in 1..=3 {
        for (going, slack) in [("east", 0.0), ("west", 0.06)] {
            for target in [-18.0, -12.5, -6.25, 0.5, 6.75, 12.0, 18.0] {
                line += 1;
                let scatter = 0.002 * [0.3, -0.8, 0.5, 1.0, -0.6, -0.4][(line * 7 + run) % 6];
                let reading = change(line, target * scale + slack + scatter);
                let _ = writeln!(text, "{run},{going},{target},{reading:.4}");
            }
        }
    }
    text
}

const AXIS: [&str; 3] = ["axis", "quay", "east"];

/// A table says which file it belongs to: what follows from it is written once.
#[test]
fn readings_that_have_been_written_are_not_written_again() {
    let folder = folder();
    let table: String = series(1.005, |_, reading| reading)
        .lines()
        .enumerate()
        .map(|(at, line)| match at {
            0 => format!("{line},per_turn mm\n"),
            _ => format!("{line},8\n"),
        })
        .collect();
    let write = [&AXIS[..], &["--write"]].concat();
    let output = with(&folder, &table, &write);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let written = stand_text(&folder);
    assert_ne!(written, stand_text(&self::folder()));
    let output = with(&folder, &table, &write);
    let said = err(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("`per_turn` of 8 mm"), "{said}");
    assert!(said.contains("written already"), "{said}");
    assert_eq!(stand_text(&folder), written);
}

/// Backward readings below the forward ones: no drive has that.
#[test]
fn a_slack_below_zero_writes_nothing() {
    let folder = folder();
    let table = series(1.005, |_, reading| reading)
        .replace("east", "_")
        .replace("west", "east")
        .replace('_', "west");
    let write = [&AXIS[..], &["--write"]].concat();
    is_refused(
        &folder,
        &with(&folder, &table, &write),
        &["below zero", "swapped"],
    );
}

#[test]
fn readings_become_a_new_turn_and_slack_and_nothing_else_changes() {
    let folder = folder();
    let before = stand_text(&folder);
    let table = series(1.005, |_, reading| reading);
    let output = with(&folder, &table, &AXIS);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let shown = out(&output);
    for words in [
        "42 readings over 36.000 mm",
        "the file has 8 mm",
        "accuracy A",
        "reversal error B",
    ] {
        assert!(shown.contains(words), "no {words:?} in {shown}");
    }
    assert!(shown.contains("the file is off by +0.18"), "{shown}");
    assert!(
        err(&output).contains("nothing was written; --write writes it"),
        "{}",
        err(&output)
    );
    assert_eq!(stand_text(&folder), before);

    let output = with(
        &folder,
        &table,
        &["axis", "quay", "east", "--write", "--plot", "plot.svg"],
    );
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let after = stand_text(&folder);
    let turn = after.split("per_turn = \"").nth(1).expect("there");
    let turn: f64 = turn[..turn.find(" mm").expect("mm")]
        .parse()
        .expect("a number");
    assert!((turn - 8.04).abs() < 0.002, "{turn}");
    let changed: Vec<_> = before
        .lines()
        .filter(|line| !after.contains(line))
        .collect();
    assert_eq!(changed.len(), 1, "{changed:?}");
    assert!(after.contains("\nbacklash = \"0.06"), "{after}");
    let plot = fs::read_to_string(folder.path().join("plot.svg")).expect("drawn");
    for words in [
        "<svg",
        "quay east",
        "forward: each run",
        "backward: each run",
        "A ",
    ] {
        assert!(plot.contains(words), "no {words:?} in the plot");
    }
    // With the new turn, the same readings taken anew would leave nothing to change.
    let output = with(
        &folder,
        &series(1.0, |_, it| it),
        &["axis", "quay", "east", "--format", "json"],
    );
    let document: serde_json::Value = serde_json::from_str(&out(&output)).expect("JSON");
    assert_eq!(document["panestep_measure"], 1);
    let changes = document["changes"].as_array().expect("a list");
    assert!(
        changes
            .iter()
            .all(|change| !change["new"].as_str().expect("a line").contains("per_turn"))
    );
    assert!(document["positioning"]["accuracy"].is_f64());
}

#[test]
fn a_table_that_is_wrong_is_named_with_its_place() {
    let folder = folder();
    let good = "going,target mm,reading mm\n";
    for (table, words) in [
        (
            "target mm,reading mm\n1,1\n",
            "readings.csv:1: there is no column `going`",
        ),
        ("going,target mm,value\n", "there is no column `reading`"),
        ("", "the table is empty"),
        (
            &format!("{good}east,1,1\neast,2,\n"),
            "readings.csv:3: column 3 (`reading mm`): nothing is written",
        ),
        (
            &format!("{good}east,1,1\neast,2,two\n"),
            "`two` does not begin with a number",
        ),
        (
            &format!("{good}east,1,1\neast,2,nan\n"),
            "`nan` does not begin with a number",
        ),
        (
            &format!("{good}east,1,1\neast,2,2 s\n"),
            "is a time, but a length is wanted",
        ),
        (
            &format!("{good}east,1,1\neast,2,2 deg\n"),
            "is an angle, but a length is wanted",
        ),
        (
            &format!("{good}east,1,1\neast,2,2\n"),
            "there are 2 rows of readings, but at least 4",
        ),
        (
            &format!("{good}up,1,1\neast,2,2\neast,3,3\neast,4,4\n"),
            "readings.csv:2: `up` is no way that this axis goes",
        ),
        (
            &format!("{good}east,1,1\neast,2,2\neast,3,3\neast,40,40\n"),
            "readings.csv:5: the axis cannot have been sent to 40.000 mm",
        ),
        (
            &format!("{good}east,1,1\neast,1,2\neast,1,3\neast,1,4\n"),
            "do not differ",
        ),
        (
            "going,target mm,reading\neast,1,1\n",
            "write the unit into the column's head",
        ),
    ] {
        is_refused(&folder, &with(&folder, table, &AXIS), &[words]);
    }
    is_refused(
        &folder,
        &run(&folder, &["axis", "quay", "east", "--readings", "none.csv"]),
        &["none.csv cannot be read"],
    );
    is_refused(
        &folder,
        &run(&folder, &["axis", "quay", "lift", "--readings", "none.csv"]),
        &["quay has no axis that goes lift"],
    );
    is_refused(
        &folder,
        &run(&folder, &["axis", "quay", "east", "--from", "30 mm"]),
        &["outside the travel"],
    );
    is_refused(
        &folder,
        &run(&folder, &["axis", "quay", "east", "--unit", "kg"]),
        &["--unit", "is a mass"],
    );
}

/// A single reading of the wrong sign, unit or size is named with its line, and never dropped.
#[test]
fn a_reading_away_from_the_others_is_named() {
    let folder = folder();
    for (spoil, words) in [
        (-1.0, "its sign seems to be wrong"),
        (1.0 / 25.4, "inches and millimetres"),
        (10.0, "centimetres and millimetres"),
        (1.02, "once in 100 series"),
    ] {
        // Line 8: east, to 18 mm.
        let table = series(
            1.0,
            |line, reading| if line == 8 { reading * spoil } else { reading },
        );
        let output = with(&folder, &table, &AXIS);
        is_refused(
            &folder,
            &output,
            &["line 8: ", "at target 18.000 mm", words, "--keep-outliers"],
        );
        assert_eq!(out(&output), "");
    }
    let table = series(
        1.0,
        |line, reading| if line == 8 { reading * 1.02 } else { reading },
    );
    let output = with(
        &folder,
        &table,
        &["axis", "quay", "east", "--keep-outliers"],
    );
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(out(&output).contains("42 readings"));
}

/// What all readings have in common tells its cause; a wrong unit is never written.
#[test]
fn a_scale_that_is_far_off_says_why() {
    let folder = folder();
    let write = ["axis", "quay", "east", "--write"];
    for (scale, words) in [(1.0 / 25.4, "inches"), (0.1, "centimetres")] {
        is_refused(
            &folder,
            &with(&folder, &series(scale, |_, it| it), &write),
            &[words],
        );
    }
    // What is to be mended elsewhere first is not written as a turn of the motor.
    let before = stand_text(&folder);
    for (scale, words) in [(2.0, "microstep setting"), (0.7, "quite differently")] {
        let output = with(&folder, &series(scale, |_, it| it), &write);
        assert_eq!(output.status.code(), Some(0), "{}", err(&output));
        assert!(err(&output).contains(words), "{}", err(&output));
        let turn = |text: &str| text.contains("per_turn = \"8 mm\"");
        assert!(turn(&before) && turn(&stand_text(&folder)));
    }
}

/// A dial whose plunger is pushed in reads falling on a sound axis: the figures are those of its
/// mirror image, and nothing is said to run the wrong way.
#[test]
fn a_dial_that_counts_the_other_way_gives_the_same_figures() {
    let folder = folder();
    let table = series(1.0, |_, it| it);
    let mirrored = table
        .lines()
        .map(|line| match line.rsplit_once(',') {
            Some((row, reading)) if line.starts_with(char::is_numeric) => {
                let reading: f64 = reading.parse().expect("a number");
                format!("{row},{}\n", -reading)
            }
            _ => format!("{line}\n"),
        })
        .collect::<String>();
    let document = |table: &str| -> serde_json::Value {
        let json = ["axis", "quay", "east", "--format", "json"];
        let output = with(&folder, table, &json);
        assert_eq!(output.status.code(), Some(0), "{}", err(&output));
        serde_json::from_str(&out(&output)).expect("JSON")
    };
    let (sound, falling) = (document(&table), document(&mirrored));
    assert_eq!(sound["positioning"], falling["positioning"]);
    assert_eq!(sound["changes"], falling["changes"]);
    assert_eq!(falling["result"]["falling"], true);
    let output = with(&folder, &mirrored, &["axis", "quay", "east", "--write"]);
    assert!(
        out(&output).contains("the scale counts the other way"),
        "{}",
        out(&output)
    );
    assert!(!stand_text(&folder).contains("reversed"));
}

/// Whatever is there already is somebody's: a plot or a table of readings is never written over it.
#[test]
fn nothing_that_is_there_is_written_over() {
    let folder = folder();
    let table = series(1.0, |_, it| it);
    for name in ["stand.toml", "readings.csv"] {
        let output = with(&folder, &table, &["axis", "quay", "east", "--plot", name]);
        is_refused(&folder, &output, &["--plot", "is there already"]);
        assert_eq!(
            fs::read_to_string(folder.path().join("readings.csv")).expect("there"),
            table
        );
    }
    for (option, name) in [("--save", "stand.toml"), ("--plot", "none/plot.svg")] {
        let output = run(&folder, &["axis", "quay", "east", option, name]);
        is_refused(&folder, &output, &[option, name, "nothing was moved"]);
    }
    let both = ["axis", "quay", "east", "--save", "x", "--plot", "x"];
    is_refused(&folder, &run(&folder, &both), &["the same file"]);
    assert!(!folder.path().join("x").exists());
}

/// What follows cannot be taken by the stand file: the results are told all the same.
#[test]
fn results_are_told_even_where_the_stand_file_cannot_take_them() {
    let folder = folder();
    let path = folder.path().join("stand.toml");
    let sound = stand_text(&folder);
    // The allowance is just a step; a longer turn makes the step longer than that.
    let tight = sound.replace("within = \"0.02 mm\"", "within = \"0.0025 mm\"");
    fs::write(&path, &tight).expect("written");
    let table = series(1.02, |_, it| it);
    let output = with(
        &folder,
        &table,
        &["axis", "quay", "east", "--format", "json", "--write"],
    );
    assert_eq!(output.status.code(), Some(2), "{}", err(&output));
    let document: serde_json::Value = serde_json::from_str(&out(&output)).expect("JSON");
    assert!(document["result"]["scale"]["value"].is_f64());
    assert_eq!(document["changes"], serde_json::json!([]));
    let refused = document["refused"].as_str().expect("why");
    assert!(refused.contains("within"), "{refused}");
    assert_eq!(stand_text(&folder), tight);
}

#[test]
fn the_home_switch_is_found_again_and_again() {
    let folder = folder();
    let before = stand_text(&folder);
    let output = run(
        &folder,
        &[
            "home",
            "quay",
            "east",
            "--times",
            "4",
            "--save",
            "found.csv",
            "--write",
        ],
    );
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(err(&output).contains("finding 4 of 4"), "{}", err(&output));
    // Findings of a few minutes do not speak for a narrower allowance.
    assert!(
        err(&output).contains("nothing to change"),
        "{}",
        err(&output)
    );
    assert_eq!(stand_text(&folder), before);
    let wide = "found mm\n0\n0.015\n-0.015\n0.01\n-0.005\n0.0075\n0\n";
    let output = with(&folder, wide, &["home", "quay", "east"]);
    assert!(err(&output).contains("+ home = {"), "{}", err(&output));
    let kept = fs::read_to_string(folder.path().join("found.csv")).expect("kept");
    assert_eq!(kept.lines().count(), 5);
    let found = "found mm\n0\n0.005\n-0.005\n0.0025\n0\n0.5\n0\n-0.0025\n";
    let output = with(&folder, found, &["home", "quay", "east"]);
    assert!(
        err(&output).contains("finding 6 of 8: 0.500 mm lies"),
        "{}",
        err(&output)
    );
    assert_eq!(output.status.code(), Some(2));
    let output = with(&folder, "found mm\n0\n1\n", &["home", "quay", "east"]);
    assert!(
        err(&output).contains("there are 2 rows"),
        "{}",
        err(&output)
    );
    let output = run(&folder, &["home", "sky", "north"]);
    assert!(err(&output).contains("moved by hand"), "{}", err(&output));
}

#[test]
fn a_travel_that_leans_is_told_in_words() {
    let folder = folder();
    let table = "position mm,reading mm\n-20,0\n-10,0.011\n0,0.019\n10,0.031\n20,0.040\n";
    let square = |grows: &str| {
        with(
            &folder,
            table,
            &["square", "quay", "east", "--grows", grows],
        )
    };
    let shown = out(&square("north"));
    assert!(
        shown.contains("leans by 1.0000 mm per metre toward the north at its east end"),
        "{shown}"
    );
    let shown = out(&square("south"));
    assert!(
        shown.contains("toward the south at its east end"),
        "{shown}"
    );
    assert!(err(&square("west")).contains("a direction across the travel is wanted"));
    let spoiled = table
        .replace("0.031", "0.31")
        .replace("20,0.040", "20,0.040\n5,0.025\n-5,0.014\n15,0.034");
    let output = with(
        &folder,
        &spoiled,
        &["square", "quay", "east", "--grows", "north"],
    );
    is_refused(&folder, &output, &["line 5: 0.310 mm at 10.000 mm lies"]);
}

#[test]
fn a_lens_is_solved_from_a_ruler_or_refused() {
    let folder = folder();
    // What a lens of 52 mm at 1610 mm above the bed sees of quay (800 mm), focused there.
    let focal = 52.0;
    let image = 1.0 / (1.0 / focal - 1.0 / 810.0);
    let mut table = "level,lift mm,width mm\n".to_owned();
    for lift in [0.0, 40.0, 80.0, 120.0] {
        let _ = writeln!(table, "quay,{lift},{:.3}", 36.0 * (810.0 - lift) / image);
    }
    let output = with(&folder, &table, &["lens"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(
        out(&output).contains("focal length     52.00"),
        "{}",
        out(&output)
    );
    assert!(
        out(&output).contains("entrance pupil   1610.0"),
        "{}",
        out(&output)
    );
    assert!(
        err(&output).contains("+ focal_length = \"52"),
        "{}",
        err(&output)
    );

    let head = "level,lift mm,width mm\n";
    // No reading to spare: nothing tells how sure the lens is, and nothing is proposed.
    let two: String = table
        .lines()
        .take(3)
        .map(|line| format!("{line}\n"))
        .collect();
    let output = with(&folder, &two, &["lens", "--write"]);
    assert!(
        err(&output).contains("nothing to change"),
        "{}",
        err(&output)
    );
    let mut inches = head.to_owned();
    for lift in [0.0, 40.0, 80.0, 120.0] {
        let width = 36.0 * (810.0 - lift) / image;
        let _ = writeln!(inches, "quay,{lift},{:.4}", width * 25.4);
    }
    for (table, words) in [
        (
            format!("{head}quay,10,500\nquay,10,501\n"),
            "no level was read at two different lifts",
        ),
        (
            format!("{head}sky,0,700\nsky,50,680\n"),
            "the lens was focused on `quay`, which was not read",
        ),
        (
            format!("{head}quay,0,580\nquay,-40,551\nquay,-80,523\n"),
            "readings.csv:4 and readings.csv:2: quay is nearer",
        ),
        (inches, "inches taken for millimetres"),
        (
            format!("{head}pier,0,700\nsky,50,680\n"),
            "readings.csv:2: there is no level `pier`",
        ),
        (
            format!("{head}quay,0,700\nquay,50,-680\n"),
            "readings.csv:3: a length of -680 mm",
        ),
        (
            "level,lift mm,length mm,pixels\nquay,0,100,50\nquay,9,100,61\n".into(),
            "readings.csv:3: 61 pixels are more than the picture's 60",
        ),
        (
            "level,lift mm,length mm\nquay,0,100\nquay,9,100\n".into(),
            "either `width`, or `length` and `pixels`",
        ),
        (
            "level,lift mm,length mm,pixels\nquay,0,100,0\nquay,9,100,10\n".into(),
            "`0` is not a number above zero",
        ),
    ] {
        is_refused(&folder, &with(&folder, &table, &["lens"]), &[words]);
    }
    is_refused(&folder, &run(&folder, &["lens"]), &["no readings"]);
}

#[test]
fn a_swing_says_how_long_to_wait() {
    let folder = folder();
    let mut table = "time s,amplitude mm\n".to_owned();
    // 5 Hz, each turning point 0.8 of the one before.
    for turn in 0..9 {
        let _ = writeln!(
            table,
            "{:.3},{:.5}",
            0.1 * f64::from(turn),
            0.4 * (-0.8_f64).powi(turn)
        );
    }
    let output = with(&folder, &table, &["decay", "--below", "0.02 mm", "--write"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(
        out(&output).contains("natural frequency      5.0"),
        "{}",
        out(&output)
    );
    // 0.4 x 0.8^n = 0.02 at n = 13.43: 1.343 s, and half a swing to the first turning point.
    assert!(
        stand_text(&folder).contains("settle = \"1450 ms\""),
        "{}",
        stand_text(&folder)
    );

    let other = self::folder();
    for (table, words) in [
        ("time s,amplitude mm\n0,1\n0.1,-0.9\n", "there are 2 rows"),
        (
            "time s,amplitude mm\n0,1\n0.1,-1.1\n0.2,1.2\n",
            "does not die away",
        ),
        (
            "time s,amplitude mm\n0,1\n0.1,-0.9\n0.2,-0.8\n0.3,-0.7\n0.4,0.6\n",
            "readings.csv:4: the sign of this turning point",
        ),
        (
            "time s,reading mm\n0,1\n0.1,1\n0.2,1\n0.3,1\n0.4,1.5\n0.5,1\n0.6,1\n0.7,1\n",
            "stand out of this trace",
        ),
        (
            "time s,amplitude mm\n0,1\n0.1,-0.9\n0.05,0.8\n",
            "readings.csv:4: its time is not after",
        ),
        (
            "time mm,amplitude mm\n0,1\n0.1,-0.9\n0.2,0.8\n",
            "is a length, but a time is wanted",
        ),
        ("time s,height mm\n0,1\n", "there is no column `amplitude`"),
    ] {
        is_refused(&other, &with(&other, table, &["decay"]), &[words]);
    }
    is_refused(
        &other,
        &with(&other, "", &["decay", "--below", "0 mm"]),
        &["more than zero is wanted"],
    );
}
