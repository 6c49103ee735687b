//! The two files: what they mean, and what is said where they are wrong.

mod arbitrary;
mod camera;
mod exposures;
mod reference;
mod refusals;
mod screws;

use std::path::Path;
use std::time::Duration;

use panestep::file::{Problem, Problems, read_shot, read_shot_text, read_stand, read_stand_text};
use panestep::shot::{Distance, ShiftTrack, Shot};
use panestep::stand::{Carrier, Drive, Face, LevelId, Stand, Way};

const STAND: &str = include_str!("../data/stand.toml");
const SHOT: &str = include_str!("../data/shot.toml");

fn stand() -> Stand {
    read_stand_text("stand.toml", STAND).unwrap_or_else(|problems| panic!("{problems}"))
}

fn shot(text: &str) -> Result<Shot, Problems> {
    read_shot_text("shot.toml", text, &stand(), Path::new("work"))
}

/// The file with one passage changed, which has to be there.
fn changed(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "`{from}` is not in the file");
    text.replacen(from, to, 1)
}

/// Where a changed text begins to differ.
fn difference(one: &str, two: &str) -> usize {
    one.bytes()
        .zip(two.bytes())
        .take_while(|(one, two)| one == two)
        .count()
}

/// Where the table begins that a place is in.
fn head(text: &str, at: usize) -> usize {
    text[..at].rfind("\n[").map_or(0, |at| at + 1)
}

/// Refused, every part of the message given is in it, and one of the problems is on the line of
/// `text` that `at` is on.
#[track_caller]
fn refused(result: Result<(), Problems>, text: &str, at: usize, parts: &[&str]) {
    let problems = result.expect_err("should be refused");
    let said = problems.to_string();
    for part in parts {
        assert!(said.contains(part), "`{part}` is not said in:\n{said}");
    }
    let line_of = |at: usize| text[..at].matches('\n').count() + 1;
    let line = line_of(at);
    let on_line = |problem: &&Problem| problem.place().is_some_and(|place| place.0 == line);
    let Some(problem) = problems.all().iter().find(on_line) else {
        panic!("line {line} is not named in:\n{said}")
    };
    // The report for a screen shows the line itself.
    let report = problems.report(false);
    let shown = text.lines().nth(line - 1).unwrap_or("").trim();
    assert!(
        report.contains(&format!("{}:{line}:", problem.file())),
        "{report}"
    );
    assert!(report.contains(shown), "{report}");
}

#[track_caller]
fn stand_refused(from: &str, to: &str, parts: &[&str]) {
    let text = changed(STAND, from, to);
    let at = difference(STAND, &text);
    refused(
        read_stand_text("stand.toml", &text).map(drop),
        &text,
        at,
        parts,
    );
}

#[track_caller]
fn shot_refused(from: &str, to: &str, parts: &[&str]) {
    let text = changed(SHOT, from, to);
    refused(shot(&text).map(drop), &text, difference(SHOT, &text), parts);
}

/// As [`stand_refused`] where the fault is that of a whole table: its head is named.
#[track_caller]
fn stand_table_refused(from: &str, to: &str, parts: &[&str]) {
    let text = changed(STAND, from, to);
    let at = head(&text, difference(STAND, &text));
    refused(
        read_stand_text("stand.toml", &text).map(drop),
        &text,
        at,
        parts,
    );
}

#[test]
fn the_stand_means_what_it_says() {
    let stand = stand();
    assert_eq!(stand.levels.len(), 3);
    assert_eq!(stand.lens.focus, LevelId(1));
    assert_eq!(stand.levels[1].pane.art, Face::Under);
    assert_eq!(stand.levels[1].pane.thickness_mm, 6.35);
    assert_eq!(stand.levels[2].height_mm, 304.8);
    assert_eq!(stand.levels[2].pane.width_mm, 1200.0);
    assert_eq!(stand.clearance_mm, 5.0);
    let axis = &stand.axes[stand.axis(Carrier::Camera, Way::Lift).unwrap().0];
    let Drive::Motor(motor) = &axis.drive else {
        panic!("a motor")
    };
    assert_eq!(axis.travel, (-152.4, 152.4));
    assert_eq!(motor.steps_per_unit, 640.0);
    assert_eq!(motor.speed, 6.35);
    assert_eq!(motor.slow, 1.25, "a quarter turn a second");
    assert_eq!(motor.home.switch, -155.575);
    let turn = &stand.axes[stand.axis(Carrier::Level(LevelId(0)), Way::Turn).unwrap().0];
    assert_eq!(turn.travel, (-20.0, 20.0));
    let focus = &stand.axes[stand.axis(Carrier::Camera, Way::Focus).unwrap().0];
    assert_eq!(
        focus.focus_table,
        [(0.0, 350.0), (60.0, 700.0), (120.0, 1500.0)]
    );
    assert_eq!(
        stand.axes[4].drive,
        Drive::Hand {
            scale: 0.1,
            screw: None
        }
    );
    assert_eq!(stand.shutter.ready, Duration::from_millis(1200));
    assert!(matches!(
        stand.shutter.release,
        panestep::stand::Release::Board {
            half_press: Duration::ZERO,
            ..
        }
    ));
}

#[test]
fn the_shot_means_what_it_says() {
    let shot = shot(SHOT).unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(
        (shot.frames, shot.rate, shot.hold, shot.reference_frame),
        (96, 24.0, 2, 1)
    );
    assert_eq!(
        shot.layers[0].art.as_deref(),
        Some(Path::new("work/art/reeds.png"))
    );
    assert_eq!(shot.layers[0].art_centre_mm, (12.7, -5.0));
    assert_eq!(shot.layers[1].distance, Distance::At(12_000.0));
    assert_eq!(shot.layers[1].art_width_mm, 900.0, "the pane's width");
    assert_eq!(shot.layers[2].distance, Distance::Far);
    let frames =
        |track: &panestep::shot::Track| track.keys.iter().map(|key| key.frame).collect::<Vec<_>>();
    assert_eq!(frames(&shot.viewer.east), [1, 40, 96]);
    assert_eq!(
        frames(&shot.viewer.ahead),
        [1, 96],
        "a key that states no value is none of its track"
    );
    assert!(shot.viewer.roll.keys.is_empty());
    assert_eq!(shot.shifts[0].way, Way::North);
    assert_eq!(
        shot.shifts[0].track,
        ShiftTrack::PerFrame {
            amount: -0.79375,
            from: 10,
            to: 96
        }
    );
    assert_eq!(shot.camera.len(), 1);
    assert_eq!(shot.focus[1].level, LevelId(1));
}

#[test]
fn a_shot_finds_its_stand_beside_it() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data");
    let (stand, shot) =
        read_shot(folder.join("shot.toml")).unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(stand.name, "Three-level test stand");
    assert_eq!(shot.layers[0].art, Some(folder.join("art/reeds.png")));
}

/// Steps to a millimetre as calculators publish them: 200 steps x 16 on a screw of 8 mm and of
/// 2 mm (calculatorfriend.com/steps-per-mm-calculator: 400, 1600), 200 x 8 on 2 mm (circuitist.com:
/// 800), 400 x 16 for 12 mm (a stored forum thread: 533.33).
#[test]
fn steps_to_a_millimetre_are_the_published_ones() {
    let motor = "steps = 200, microsteps = 16, per_turn = \"8 mm\"";
    for (steps, microsteps, per_turn, published) in [
        (200, 16, 8, 400.0),
        (200, 16, 2, 1600.0),
        (200, 8, 2, 800.0),
        (400, 16, 12, 533.33),
    ] {
        let to =
            format!("steps = {steps}, microsteps = {microsteps}, per_turn = \"{per_turn} mm\"");
        let text = changed(STAND, motor, &to);
        let stand = read_stand_text("stand.toml", &text).unwrap_or_else(|p| panic!("{p}"));
        let Drive::Motor(motor) = &stand.axes[0].drive else {
            panic!("a motor")
        };
        let steps = motor.steps_per_unit;
        assert!((steps - published).abs() < 0.005, "{steps} {published}");
    }
}

#[test]
fn a_level_without_a_layer_is_named_with_both_its_places() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("shot.toml");
    std::fs::write(folder.path().join("stand.toml"), STAND).unwrap();
    let begin = SHOT.find("[[layer]]\nlevel = \"quay\"").unwrap();
    let end = begin + SHOT[begin + 1..].find("[[").unwrap() + 1;
    let text = format!("{}{}", &SHOT[..begin], &SHOT[end..]);
    std::fs::write(&path, &text).unwrap();
    let problems = read_shot(&path).unwrap_err();
    let said = problems.to_string();
    assert_eq!(problems.all().len(), 1, "{said}");
    let line = |text: &str, at: usize| text[..at].matches('\n').count() + 1;
    // In the shot, where the layers end; in the stand, where the level stands.
    let last = text.rfind("[[layer]]").unwrap();
    assert_eq!(problems.all()[0].place().unwrap().0, line(&text, last));
    let quay = line(STAND, STAND.find("name = \"quay\"").unwrap());
    assert!(said.contains(&format!("stand.toml:{quay})")), "{said}");
    // Without the stand's text there is no place in it to name.
    let said = shot(&text).unwrap_err().to_string();
    assert!(said.contains("a level `quay`, but"), "{said}");
}

#[test]
fn a_shots_text_needs_neither_its_stand_nor_its_art_on_disk() {
    let text = changed(SHOT, "\"stand.toml\"", "\"/nowhere/at all/stand.toml\"");
    let folder = Path::new("/nowhere/else");
    let read = read_shot_text("take/shot.toml", &text, &stand(), folder).unwrap();
    assert_eq!(read.layers[0].art, Some(folder.join("art/reeds.png")));
}

#[test]
fn columns_count_characters() {
    // In bytes it would be 20: the degree sign has two.
    let text = changed(
        STAND,
        "[\"-20 deg\", \"20\u{b0}\"]",
        "[\"-20\u{b0}\", \"20 mm\"]",
    );
    let problems = read_stand_text("stand.toml", &text).unwrap_err();
    let line = text[..text.find("\"20 mm\"").unwrap()]
        .matches('\n')
        .count()
        + 1;
    assert_eq!(problems.all()[0].place(), Some((line, 19)), "{problems}");
    // Characters of two, three and four bytes; in bytes it would be 45.
    let text = changed(
        STAND,
        "pane = { width = \"700 mm\",",
        "pane = { width = \"700 mm\", \"\u{e9}\u{2192}\u{1f3a5}\" = 1, depth = 2,",
    );
    let problems = read_stand_text("stand.toml", &text).unwrap_err();
    let columns: Vec<_> = problems
        .all()
        .iter()
        .map(|problem| problem.place().unwrap().1)
        .collect();
    assert_eq!(columns, [28, 39], "{problems}");
}

#[test]
fn files_from_any_editor_mean_the_same() {
    let stand = stand();
    let expected = shot(SHOT).unwrap();
    for (begin, end) in [("\u{feff}", "\n"), ("", "\r\n"), ("\u{feff}", "\r\n")] {
        let converted = |text: &str| format!("{begin}{}", text.replace('\n', end));
        let read = read_stand_text("stand.toml", &converted(STAND));
        assert_eq!(read.as_ref().ok(), Some(&stand), "{begin:?} {end:?}");
        let read = read_shot_text("shot.toml", &converted(SHOT), &stand, Path::new("work"));
        assert_eq!(read.as_ref().ok(), Some(&expected), "{begin:?} {end:?}");
        // Lines and columns are the same, also on the line that has the mark.
        let text = changed(STAND, "jerk = \"400 mm/s^3\"", "jerk = 400");
        let places = |text: &str| -> Vec<_> {
            let problems = read_stand_text("stand.toml", text).unwrap_err();
            problems.all().iter().map(Problem::place).collect()
        };
        assert_eq!(places(&converted(&text)), places(&text));
        let text = changed(STAND, "name = \"Three-level test stand\"", "name = 3");
        assert_eq!(places(&text), [Some((1, 8))]);
        assert_eq!(places(&converted(&text)), places(&text));
        let report = read_stand_text("stand.toml", &converted(&text))
            .unwrap_err()
            .report(false);
        assert!(!report.contains(['\r', '\u{feff}']), "{report:?}");
    }
}

#[test]
fn names_are_short_and_can_be_read() {
    let long = "reeds".repeat(20);
    let name = "name = \"sky\"";
    stand_refused(name, "name = \"\"", &["`name` is empty"]);
    stand_refused(name, "name = \"  \"", &["`name` is empty"]);
    stand_refused(name, "name = \"sky \"", &["`sky `", "blank"]);
    stand_refused(
        name,
        &format!("name = \"{long}\""),
        &["100 characters long", "at most 40"],
    );
    stand_refused(name, r#"name = "sk\ny""#, &["U+000A"]);
    stand_refused(name, r#"name = "\u001b[31msky""#, &["U+001B"]);
    stand_refused(name, r#"name = "sky\u202E""#, &["U+202E"]);
    stand_refused(
        "port = \"simulated\"",
        r#"port = "/dev/tty\u0000""#,
        &["U+0000"],
    );
    shot_refused(
        "art = \"art/reeds.png\"",
        r#"art = "art/\treeds.png""#,
        &["`art` holds the character U+0009"],
    );
    shot_refused(
        "name = \"",
        &format!("name = \"{long}"),
        &["`name` is", "at most 80"],
    );
    // Quotes, commas and other alphabets are names like any others.
    let text = STAND.replace("\"sky\"", r#"'"high", sky é 空'"#);
    let stand = read_stand_text("stand.toml", &text).unwrap();
    assert_eq!(stand.levels[2].name, "\"high\", sky é 空");
}

/// What is wrong with a file must not steer the terminal that it is shown on.
#[test]
fn no_message_steers_the_terminal() {
    for bad in [
        r#"name = "\u001b[2Jsky\u0007""#,
        "name = \"\u{1b}[2Jsky\"",
        "name = \"\u{9b}2Jsky\"",
        "name = \"sky\" # \u{202e}",
        r#""\u001b]0;title" = 1"#,
        "name = 1\u{7f}",
        // No characters at all, and in no XML.
        "name = \"sky\u{fffe}\"",
        "name = \"sky\u{ffff}\"",
        "name = \"sky\u{1fffe}\"",
    ] {
        let text = changed(STAND, "name = \"sky\"", bad);
        let text = changed(&text, "of = \"sky\"", r#"of = "\u001bc""#);
        let text = changed(&text, "speed = \"25 mm/s\"", r#"speed = "25 mm\u001b/s""#);
        let problems = read_stand_text("stand\u{1b}.toml", &text).unwrap_err();
        let all = format!("{problems}\n{}", problems.report(false));
        let steering = |c: char| {
            (c.is_control() && c != '\n')
                || matches!(c, '\u{202e}' | '\u{fffe}' | '\u{ffff}' | '\u{1fffe}')
        };
        assert!(!all.contains(steering), "{all:?}");
    }
}

#[test]
fn a_stands_file_is_told_from_a_shots() {
    let stand = read_stand_text("shot.toml", SHOT).map(drop).unwrap_err();
    let shot = panestep::file::stand_of("stand.toml", STAND).unwrap_err();
    for (problems, says) in [
        (stand, "this file describes a shot, not a stand"),
        (shot, "this file describes a stand, not a shot"),
    ] {
        let all = problems.all();
        assert_eq!(all.len(), 1, "one thing is wrong, and it is said alone");
        assert!(all[0].to_string().contains(says), "{}", all[0]);
    }
}

/// The report for a screen says beside the line what is there, not only that it is wrong.
#[test]
fn reports_say_at_the_place_what_was_found() {
    let report = |from: &str, to: &str| {
        read_stand_text("stand.toml", &changed(STAND, from, to))
            .unwrap_err()
            .report(false)
    };
    for (from, to, label, help) in [
        (
            "speed = \"25 mm/s\"",
            "speed = \"25 mm\"",
            "a length, not a speed",
            "such as \"25 mm/s\"",
        ),
        (
            "focus = \"quay\"",
            "focus = \"quai\"",
            "not one of those known",
            "did you mean `quay`?",
        ),
        (
            "height = \"800 mm\"",
            "height = \"1190 mm\"",
            "7.350 mm too close to the level above",
            "list the levels from the lens downwards",
        ),
        (
            "{ ring = \"0 deg\", distance = \"350 mm\" }",
            "{ ring = \"0 deg\", distance = \"49 mm\" }",
            "nearer than the focal length",
            "measure distances from the entrance pupil",
        ),
        (
            "channel = 1",
            "channel = 1.5",
            "not a whole number from 0 to 7",
            "write a whole number",
        ),
        (
            "f_number = 8.0",
            "",
            "no `f_number` in here",
            "add `f_number = ...`",
        ),
    ] {
        let report = report(from, to);
        for part in [label, help] {
            assert!(report.contains(part), "`{part}` is not in\n{report}");
        }
    }
}

#[test]
fn everything_wrong_is_named_at_once() {
    let text = changed(STAND, "steps = 200", "steps = -1");
    let text = changed(&text, "f_number", "f_nummer");
    let text = changed(&text, "settle = \"600 ms\"", "settle = \"600\"");
    let problems = read_stand_text("bench.toml", &text).unwrap_err();
    let lines: Vec<_> = problems
        .all()
        .iter()
        .map(|problem| problem.place().unwrap().0)
        .collect();
    assert!(lines.is_sorted(), "{lines:?}");
    let said = problems.to_string();
    assert_eq!(said.lines().count(), problems.all().len());
    assert!(problems.all().len() >= 4, "{said}");
    assert!(
        said.lines().all(|line| line.starts_with("bench.toml:")),
        "{said}"
    );
    assert!(said.contains("did you mean `f_number`?"), "{said}");
    assert!(said.contains("`steps` is -1"), "{said}");
    assert!(said.contains("`600` has no unit"), "{said}");
}

#[test]
fn what_cannot_be_read_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("stand.toml");
    let said = |path: &Path| read_stand(path).unwrap_err().to_string();
    assert!(said(&path).contains("there is no file"));
    assert!(said(&path).contains(&path.display().to_string()));
    assert!(said(folder.path()).contains("is not a file"));
    std::fs::write(&path, b"name = \"\xff\"").unwrap();
    assert!(said(&path).contains("not UTF-8 text: line 1"));
    std::fs::write(&path, vec![b'\n'; (1 << 20) + 1]).unwrap();
    assert!(said(&path).contains("longer than 1 MiB"));
    std::fs::write(&path, vec![b'\n'; 1 << 20]).unwrap();
    assert!(said(&path).contains("no `name`"), "exactly 1 MiB is read");
    let shot_path = folder.path().join("shot.toml");
    std::fs::write(
        &shot_path,
        changed(SHOT, "\"stand.toml\"", "\"other.toml\""),
    )
    .unwrap();
    let said = read_shot(&shot_path).unwrap_err().to_string();
    assert!(said.contains("other.toml"), "{said}");
}
