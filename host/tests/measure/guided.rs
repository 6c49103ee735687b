//! Guided series, on a pseudo-terminal.

use std::fs;

use super::support::seat::Seat;
use super::{err, folder, is_refused, out, run, series, stand_text, with};

/// Slack that the way before the first target does not take up would spoil the scale.
#[test]
fn a_way_too_short_for_the_slack_is_seen() {
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
            "--from",
            "-2 mm",
            "--to",
            "2 mm",
            "--true-backlash",
            "0.4 mm",
        ],
    );
    for _ in 0..20 {
        seat.read_up_to("The reading:");
        seat.type_line("");
    }
    // The travel has room: with a way of a quarter turn the scale is right.
    seat.read_up_to("scale       ");
    let scale: f64 = seat
        .read_between(" mm read")
        .trim()
        .parse()
        .expect("a number");
    assert!((scale - 1.0).abs() < 0.002, "{scale}");
    seat.read_up_to("write this into it?");
    seat.type_line("no");
    assert_eq!(seat.code(), Some(0));
    // A table whose first targets were come to from too near.
    let mut line = 0;
    let table = series(1.0, |_, it| it);
    let spoiled = table
        .lines()
        .map(|text| {
            line += 1;
            let by = match text.splitn(4, ',').collect::<Vec<_>>()[..] {
                [_, "east", "-18", _] => 0.03,
                [_, "west", "18", _] => -0.03,
                _ => return format!("{text}\n"),
            };
            let (row, reading) = text.rsplit_once(',').expect("a row");
            let reading: f64 = reading.parse().expect("a number");
            format!("{row},{:.4}\n", reading + by)
        })
        .collect::<String>();
    let output = with(&folder, &spoiled, &["axis", "quay", "east", "--write"]);
    is_refused(&folder, &output, &["did not take up all the slack"]);
    assert!(out(&output).contains("scale  "), "{}", out(&output));
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
    // What was kept reads back, and is known to be the old turn's: it is not proposed again.
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
    assert!(err(&output).contains("written already"), "{}", err(&output));
    assert_eq!(output.status.code(), Some(2));
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
        ("1 kg", "is a mass, but a length is wanted"),
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
    seat.read_up_to("the stand file is untouched; the 2 readings so far are in kept.csv");
    assert_eq!(seat.code(), Some(3));
    assert_eq!(stand_text(&folder), before);
    let kept = fs::read_to_string(folder.path().join("kept.csv")).expect("kept");
    let head = "run,going,target mm,reading mm,per_turn mm";
    assert_eq!(kept.lines().next(), Some(head));
    assert!(
        kept.lines().skip(1).all(|line| line.ends_with(",8")),
        "{kept}"
    );
    assert_eq!(kept.lines().count(), 3);
    // A file that is there is somebody's readings.
    is_refused(
        &folder,
        &run(&folder, &["axis", "quay", "east", "--save", "kept.csv"]),
        &["kept.csv", "nothing was moved"],
    );
}

/// Answers to what is noticed: Enter is none, a wrong first reading can be mended, and a scale that
/// the person has let stand is held against nobody.
#[test]
fn a_wrong_first_reading_is_mended_and_enter_is_no_answer() {
    let folder = folder();
    let before = stand_text(&folder);
    let mut seat = Seat::at(&folder, &["measure", "axis", "quay", "east"]);
    seat.read_up_to("The reading:");
    seat.type_line("81");
    seat.read_up_to("The reading:");
    seat.type_line("-9.6");
    seat.read_up_to("yes, or no where the dial really reads so");
    seat.type_line("");
    seat.read_up_to("please type yes, no, first");
    seat.type_line("first");
    seat.read_up_to("what the dial did read first, at -18.000 mm:");
    seat.type_line("-18");
    // The second one goes with that.
    seat.read_up_to("run 1 of 5, going east");
    seat.read_up_to("The reading:");
    // One is off and stays so; the next sound one is not called a slip.
    seat.type_line("7");
    seat.read_up_to("this looks like a slip");
    seat.read_up_to("yes, or no");
    seat.type_line("no");
    seat.read_up_to("The reading:");
    seat.type_line("");
    let told = seat.read_between("The reading:");
    assert!(!told.contains("looks like"), "{told}");
    seat.press("\u{4}");
    seat.read_up_to("the stand file is untouched; the 4 readings so far, which --save");
    assert_eq!(seat.code(), Some(3));
    assert_eq!(stand_text(&folder), before);
}

/// An end of the input at a question about a reading is an end, not an answer.
#[test]
fn an_end_at_a_question_writes_nothing() {
    let folder = folder();
    let before = stand_text(&folder);
    let mut seat = Seat::at(
        &folder,
        &["measure", "axis", "quay", "east", "--runs", "3", "--write"],
    );
    for number in 1..=30 {
        seat.read_up_to("The reading:");
        // The second target of the first run, by a little that only the others give away.
        seat.type_line(if number == 2 { "-9.43" } else { "" });
    }
    seat.read_up_to("read it again? yes, or no");
    seat.type_line("");
    seat.read_up_to("please type yes, no, or stop");
    seat.press("\u{4}");
    seat.read_up_to("the series was ended before its end");
    seat.read_up_to("the 30 readings so far");
    assert_eq!(seat.code(), Some(3));
    assert_eq!(stand_text(&folder), before);
}

/// A dial along a square hardly moves: that is what is wanted, and the simulated stand has none.
#[test]
fn a_square_is_measured_by_a_guided_series() {
    let folder = folder();
    let square = ["measure", "square", "quay", "east", "--grows", "north"];
    let mut seat = Seat::at(&folder, &square);
    seat.read_up_to("it has no square");
    for (number, reading) in ["1", "1.01", "1.018", "1.031", "1.04"]
        .into_iter()
        .enumerate()
    {
        seat.read_up_to("The reading:");
        if number == 1 {
            seat.type_line("");
            seat.read_up_to("nothing was typed");
            seat.read_up_to("The reading:");
            seat.type_line("-8.6");
            seat.read_up_to("a dial that rides along the travel and not across it");
            seat.read_up_to("yes, or no");
            seat.type_line("yes");
            seat.read_up_to("The reading:");
        }
        seat.type_line(reading);
    }
    seat.read_up_to("the travel leans by 1.");
    seat.read_up_to("toward the north at its east end");
    assert_eq!(seat.code(), Some(0));
    let table = "position mm,reading mm\n-20,-20.1\n0,0\n10,10\n20,20\n";
    let output = with(&folder, table, &square[1..]);
    is_refused(&folder, &output, &["for every mm of the way"]);
    assert!(out(&output).contains("slope"), "{}", out(&output));
}

/// A series that ends before its first reading leaves no file behind.
#[test]
fn an_empty_series_leaves_no_file() {
    let folder = folder();
    let mut seat = Seat::at(
        &folder,
        &["measure", "axis", "quay", "east", "--save", "kept.csv"],
    );
    seat.read_up_to("The reading:");
    seat.type_line("stop");
    seat.read_up_to("nothing had been read; the stand file is untouched");
    assert_eq!(seat.code(), Some(3));
    assert!(!folder.path().join("kept.csv").exists());
}

/// A lift that would run into the level below is refused before anything moves.
#[test]
fn a_lift_keeps_clear_of_its_neighbours() {
    let folder = folder();
    let path = folder.path().join("stand.toml");
    let lift = stand_text(&folder)
        .replace("direction = \"east\"", "direction = \"lift\"")
        .replace("[\"-20 mm\", \"20 mm\"]", "[\"-600 mm\", \"20 mm\"]")
        .replace("switch = \"-24 mm\"", "switch = \"24 mm\"");
    fs::write(&path, lift).expect("written");
    let output = run(&folder, &["axis", "quay", "lift"]);
    let said = err(&output);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("quay and sky would come within"), "{said}");
    assert!(said.contains("nothing was moved"), "{said}");
    assert!(!said.contains("going home"), "{said}");
    // Where there is room it goes.
    let mut seat = Seat::at(
        &folder,
        &[
            "measure", "axis", "quay", "lift", "--from", "-10 mm", "--runs", "1",
        ],
    );
    seat.read_up_to("The reading:");
    seat.type_line("stop");
    assert_eq!(seat.code(), Some(3));
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
    seat.read_up_to("the stand file is untouched; the 3 readings so far are in kept.csv");
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
