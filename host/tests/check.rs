//! `panestep check` as it is run from a shell.

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use serde_json::Value;
use tempfile::TempDir;

/// A folder with the demonstration's stand in it, some passages replaced.
fn desk(changes: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/stand.toml");
    let mut text = fs::read_to_string(from).expect("the demonstration's stand");
    for (old, new) in changes {
        assert!(text.contains(old), "the stand has no {old:?}");
        text = text.replace(old, new);
    }
    fs::write(folder.path().join("stand.toml"), text).expect("the stand is written");
    folder
}

fn check(folder: &TempDir, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_panestep"))
        .args(["check", "stand.toml"])
        .args(more)
        .current_dir(folder.path())
        .stdin(Stdio::null())
        .output()
        .expect("it runs")
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A lamp output that a Pico's board does not have.
const DARK: (&str, &str) = ("output = 0", "output = 3");

/// A level's screw that lets go.
const STEEP: (&str, &str) = (
    "thread = \"Tr 28 x 5\", load = \"5 kg\"",
    "thread = \"Tr 10 x 5 (P 2.5)\", load = \"5 kg\"",
);

#[test]
fn a_sound_stand_ends_with_0_and_says_everything() {
    let folder = desk(&[]);
    let output = check(&folder, &["--all"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert_eq!(err(&output), "");
    let text = out(&output);
    for words in [
        "Five-level bench stand: sound:",
        "\nlens\n",
        "\nlevel reeds\n",
        "\naxis reeds lift\n",
        "\nboard main\n",
        "\nshutter\n",
        "effective f-number",
        "pupil magnification of 1 assumed",
        "the least sharp level",
        "depth of field",
        "the light from sky goes through 4",
        "steps per mm",
        "widths of the picture",
        "steps a second",
        "s of rest are needed at most",
        "raise its 5 kg",
        "holds its load without power",
        "40 exposures",
        "where the numbers come from",
        "Shigley",
    ] {
        assert!(text.contains(words), "{words:?} is missing in:\n{text}");
    }
    assert!(!text.contains("WARNING") && !text.contains("FORBIDS"));
    assert!(!text.contains('\u{1b}'), "{text}");
    // Nothing wider than the screen, each line's source is among those listed.
    assert!(text.lines().all(|line| line.chars().count() <= 100));
    // Without `--all` what is fine is counted, and the numbers wanted first are there.
    let short = out(&check(&folder, &[]));
    for words in [
        "\nlevel ",
        "\nskiffs ",
        "0.0749 x",
        "more things were found fine (",
        "`--all`",
    ] {
        assert!(short.contains(words), "{words:?} is missing in:\n{short}");
    }
    assert!(!short.contains("\nok "), "{short}");
    assert!(short.lines().count() < text.lines().count() / 2, "{short}");
    // It leaves nothing behind.
    assert_eq!(fs::read_dir(folder.path()).expect("the folder").count(), 1);
}

#[test]
fn a_level_that_can_fall_is_loud_at_the_top_and_counted_at_the_end_but_no_ban() {
    let output = check(&desk(&[STEEP]), &[]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let text = out(&output);
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines[0].contains("1 WARNING"), "{text}");
    assert!(lines[2].starts_with("WARNING"), "{text}");
    assert!(
        lines[2].contains("reeds CAN FALL") || lines[2].contains("reeds FALLS"),
        "{text}"
    );
    assert!(text.contains("block it from below"), "{text}");
    let last = lines.last().expect("lines");
    assert!(last.contains("read the warnings: 1 WARNING"), "{text}");
}

#[test]
fn what_forbids_shooting_ends_with_1() {
    // No motor of 0.01 N m lifts that; the falling level comes after it.
    let weak = ("motor_torque = \"0.6 N m\"", "motor_torque = \"0.01 N m\"");
    let output = check(&desk(&[STEEP, weak]), &[]);
    assert_eq!(output.status.code(), Some(1), "{}", out(&output));
    let text = out(&output);
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines[0].contains("2 things FORBID shooting"), "{text}");
    assert!(lines[2].starts_with("FORBIDS"), "{text}");
    let last = lines.last().expect("lines");
    assert!(last.contains("2 things FORBID shooting"), "{text}");
    let talk = err(&output);
    assert!(talk.contains("cannot be shot on"), "{talk}");
    assert!(!talk.contains("panicked"), "{talk}");
}

/// Glass that meets on its way home, a step rate that no board sends, and what the planner refuses: each
/// through the program, with its exit code.
#[test]
fn everything_else_that_forbids_shooting_ends_with_1() {
    for (old, new, words) in [
        (
            "switch = \"-8 mm\", within = \"0.02 mm\"",
            "switch = \"-320 mm\", within = \"0.02 mm\"",
            "goes from zero to its home switch",
        ),
        (
            "speed = \"15 mm/s\"",
            "speed = \"100 mm/s\"",
            "a board sends only 20000",
        ),
        (
            "speed = \"15 mm/s\"",
            "speed = \"15 mm/s\"\nbacklash = \"9000 m\"",
            "more than can be counted",
        ),
    ] {
        let output = check(&desk(&[(old, new)]), &[]);
        let text = out(&output);
        assert_eq!(
            output.status.code(),
            Some(1),
            "{new}\n{}{text}",
            err(&output)
        );
        assert!(text.contains(words), "{words:?} is missing in:\n{text}");
        assert!(err(&output).contains("cannot be shot on"), "{new}");
        assert!(text.contains("\nFORBIDS "), "{text}");
    }
}

#[test]
fn a_lamp_output_that_no_pico_has_is_loud() {
    let output = check(&desk(&[DARK]), &[]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let text = out(&output);
    assert!(
        text.contains("\nWARNING  lamp front hangs on output 3"),
        "{text}"
    );
}

#[test]
fn a_wrong_file_ends_with_2_and_its_place() {
    for (old, new, words) in [
        ("channel = 1,", "channel = 0,", "channel 0"),
        // Glass that overlaps at rest: the reader refuses it, as it does a switch within the travel.
        (
            "height = \"880 mm\"",
            "height = \"684 mm\"",
            "from `reeds` down to `skiffs`",
        ),
        ("\"-8 mm\"", "\"8 mm\"", "within the travel"),
        ("\"7.5 Hz\"", "\"7.5 kg\"", "a frequency is wanted"),
        ("load = \"5 kg\"", "load = 5", "quotes"),
        ("\"Tr 28 x 5\"", "\"Tr 8 x 8\"", "several starts"),
    ] {
        let output = check(&desk(&[(old, new)]), &[]);
        assert_eq!(output.status.code(), Some(2), "{}", out(&output));
        assert_eq!(out(&output), "");
        let talk = err(&output);
        assert!(talk.contains("stand.toml:"), "{talk}");
        assert!(talk.contains(words), "{words:?} is missing in {talk}");
    }
    let folder = tempfile::tempdir().expect("a temporary folder");
    assert_eq!(check(&folder, &[]).status.code(), Some(2));
}

#[test]
fn the_same_for_programs() {
    let output = check(&desk(&[STEEP]), &["--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let value: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    assert_eq!(value["panestep_check"], 1);
    assert_eq!(value["sound"], true);
    assert_eq!(value["warnings"], 1);
    let findings = value["findings"].as_array().expect("findings");
    let holding = findings
        .iter()
        .find(|it| it["severity"] == "warning")
        .expect("the falling level");
    assert_eq!(holding["about"], "axis");
    assert_eq!(holding["name"], "reeds lift");
    assert_eq!(holding["aspect"], "holding");
    let numbers = holding["numbers"].as_array().expect("numbers");
    let torque = numbers
        .iter()
        .find(|it| it["name"] == "holding torque")
        .expect("the torque");
    assert_eq!(torque["unit"], "N m");
    assert!(torque["value"].as_f64().expect("a number") > 0.0);
    // Every finding has its source, and all are of things that the stand has.
    for finding in findings {
        assert!(!finding["source"].as_str().expect("text").is_empty());
        assert!(!finding["says"].as_str().expect("text").is_empty());
    }
}

#[test]
fn a_stand_cranked_by_hand_is_checked_too() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/by-hand-stand.toml");
    fs::copy(from, folder.path().join("stand.toml")).expect("the file");
    let output = check(&folder, &[]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let text = out(&output);
    assert!(
        text.contains("one division of the scale of reeds east, 0.5 mm"),
        "{text}"
    );
    assert!(text.contains("cranked by"), "{text}");
}
