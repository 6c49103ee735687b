//! `panestep measure`: from readings to results and the stand file, and everything that can be wrong
//! with readings.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::rc::Rc;

use tempfile::TempDir;

mod support;

use support::seat::Seat;

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
    let before = fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/hand.stand.toml"),
    )
    .expect("there");
    let said = err(output);
    assert_eq!(output.status.code(), Some(2), "{said}{}", out(output));
    for word in words {
        assert!(said.contains(word), "no {word:?} in {said}");
    }
    assert!(said.contains("the stand file is untouched"), "{said}");
    assert_eq!(
        stand_text(folder).len(),
        before.len() + 2,
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
        &["--unit", "no unit known"],
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
    for (scale, words) in [(2.0, "microstep setting"), (0.7, "quite differently")] {
        let output = with(&folder, &series(scale, |_, it| it), &AXIS);
        assert_eq!(output.status.code(), Some(0), "{}", err(&output));
        assert!(err(&output).contains(words), "{}", err(&output));
    }
    let output = with(&folder, &series(-1.0, |_, it| it), &AXIS);
    assert!(
        out(&output).contains("the scale counts the other way"),
        "{}",
        out(&output)
    );
    assert!(err(&output).contains("reversed = true"), "{}", err(&output));
}

/// On the simulated stand the whole series runs through, with a dial that reads where the level
/// really is.
#[test]
fn a_guided_series_finds_what_the_simulated_stand_really_does() {
    let folder = folder();
    let mut seat = Seat::at(
        &folder,
        &[
            "measure",
            "axis",
            "quay",
            "east",
            "--runs",
            "2",
            "--save",
            "kept.csv",
            "--true-per-turn",
            "8.04 mm",
            "--true-backlash",
            "0.06 mm",
        ],
    );
    seat.read_up_to("5 targets from");
    seat.read_up_to("simulated stand: Enter reads the dial for you");
    for _ in 0..20 {
        seat.read_up_to("The reading:");
        seat.type_line("");
    }
    seat.read_up_to("to be changed in the stand file");
    seat.read_up_to("per_turn = \"8.0");
    seat.read_up_to("write this into it?");
    seat.type_line("yes");
    seat.read_up_to("written into stand.toml");
    assert_eq!(seat.code(), Some(0));
    let after = stand_text(&folder);
    let turn = after.split("per_turn = \"").nth(1).expect("there");
    let turn: f64 = turn[..turn.find(" mm").expect("mm")]
        .parse()
        .expect("a number");
    assert!((turn - 8.04).abs() < 0.002, "{turn}");
    let slack = after.split("\nbacklash = \"").nth(1).expect("there");
    let slack: f64 = slack[..slack.find(" mm").expect("mm")]
        .parse()
        .expect("a number");
    assert!((0.055..0.07).contains(&slack), "{slack}");
    // What was kept reads back: the file has the new turn already, so the scale is the old one's.
    let output = run(
        &folder,
        &[
            "axis",
            "quay",
            "east",
            "--readings",
            "kept.csv",
            "--format",
            "json",
        ],
    );
    let document: serde_json::Value = serde_json::from_str(&out(&output)).expect("JSON");
    let scale = document["result"]["scale"]["value"]
        .as_f64()
        .expect("a number");
    assert!((scale - 1.005).abs() < 0.0003, "{scale}");
    assert_eq!(document["readings"].as_array().expect("a list").len(), 20);
}

/// A slip in typing is noticed at once, by where the axis was sent; an end in the middle keeps what
/// there is.
#[test]
fn a_slip_in_typing_is_noticed_and_an_early_end_keeps_the_readings() {
    let folder = folder();
    let before = stand_text(&folder);
    let mut seat = Seat::at(
        &folder,
        &["measure", "axis", "quay", "east", "--save", "kept.csv"],
    );
    let mut first = true;
    for (typed, words) in [
        ("one", "does not begin with a number"),
        ("1 kg", "is no unit known here"),
        ("-18", "The reading:"),
    ] {
        if std::mem::take(&mut first) {
            seat.read_up_to("The reading:");
        }
        seat.type_line(typed);
        seat.read_up_to(words);
    }
    // The second target lies 8.37 mm farther on.
    for (typed, why) in [
        ("-26.4", "this looks like the wrong sign"),
        ("-17.67", "this looks like inches and millimetres mixed up"),
        ("20", "this looks like a slip"),
    ] {
        seat.type_line(typed);
        seat.read_up_to("has been sent +");
        let told = seat.read_between("yes, or no");
        assert!(told.contains(why), "{typed}: {told}");
        seat.type_line("yes");
        seat.read_up_to("The reading:");
    }
    seat.type_line("");
    seat.read_up_to("run 1 of 5, going east");
    seat.type_line("stop");
    seat.read_up_to("the series was ended before its end");
    seat.read_up_to("the 2 readings so far are in kept.csv; the stand file is untouched");
    assert_eq!(seat.code(), Some(3));
    assert_eq!(stand_text(&folder), before);
    let kept = fs::read_to_string(folder.path().join("kept.csv")).expect("kept");
    assert_eq!(kept.lines().next(), Some("run,going,target mm,reading mm"));
    assert_eq!(kept.lines().count(), 3);
    // A file that is there is somebody's readings.
    is_refused(
        &folder,
        &run(&folder, &["axis", "quay", "east", "--save", "kept.csv"]),
        &["kept.csv", "nothing was moved"],
    );
}

#[test]
fn a_board_pulled_in_the_middle_is_said_and_the_readings_are_kept() {
    let folder = folder();
    let before = stand_text(&folder);
    let mut hand = Seat::at(&folder, &["simulate", "stand.toml"]);
    hand.read_up_to("board main is at ");
    let port = format!("main={}", hand.read_between("\n").trim());
    hand.read_up_to("Ctrl-C ends it");
    let mut seat = Seat::at(
        &folder,
        &[
            "measure", "axis", "quay", "east", "--save", "kept.csv", "--from", "-2 mm", "--to",
            "2 mm", "--port", &port,
        ],
    );
    for reading in ["-1.8", "-0.9"] {
        seat.read_up_to("The reading:");
        seat.type_line(reading);
    }
    seat.read_up_to("The reading:");
    drop(hand);
    seat.type_line("0");
    seat.read_up_to("panestep: ");
    seat.read_up_to("the 3 readings so far are in kept.csv; the stand file is untouched");
    assert_eq!(seat.code(), Some(1));
    assert_eq!(stand_text(&folder), before);
    let kept = fs::read_to_string(folder.path().join("kept.csv")).expect("kept");
    assert_eq!(kept.lines().count(), 4, "{kept}");
}

#[test]
fn a_level_moved_by_hand_is_measured_too() {
    let folder = folder();
    let mut seat = Seat::at(
        &folder,
        &[
            "measure",
            "axis",
            "sky",
            "north",
            "--runs",
            "1",
            "--targets",
            "3",
        ],
    );
    seat.read_up_to("moved by hand");
    for _ in 0..6 {
        seat.read_up_to("until its scale reads");
        seat.read_up_to("The reading:");
        seat.type_line("");
    }
    seat.read_up_to("scale       1.0000");
    seat.read_up_to("nothing to change in stand.toml");
    assert_eq!(seat.code(), Some(0));
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
    assert_eq!(
        stand_text(&folder),
        before.replace("within = \"0.02 mm\"", "within = \"0.005 mm\"")
    );
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
    // 0.4 x 0.8^n = 0.02 at n = 13.43: 1.343 s.
    assert!(
        stand_text(&folder).contains("settle = \"1350 ms\""),
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
