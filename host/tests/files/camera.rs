//! What a stand file says of the camera: what fires it, where its pictures arrive, and how often
//! homes are checked.

use panestep::stand::{Arrival, BoardId, Release};

use super::*;

/// The stand with another `[shutter]`, and with `more` behind it.
fn with(firing: &str, more: &str) -> String {
    let begin = STAND.find("[shutter]").unwrap();
    format!(
        "{}[shutter]\n{firing}\nsettle = \"600 ms\"\nexposure = \"500 ms\"\nready = \"1.2 s\"\n{more}",
        &STAND[..begin]
    )
}

#[track_caller]
fn sound(text: &str) -> Stand {
    read_stand_text("stand.toml", text).unwrap_or_else(|problems| panic!("{problems}"))
}

/// Refused for one reason alone, on the line that holds `place`, with all of these parts said.
#[track_caller]
fn refused_at(text: &str, place: &str, parts: &[&str]) {
    let at = text.rfind(place).expect("the place is in the file");
    let result = read_stand_text("stand.toml", text);
    let count = result.as_ref().err().map_or(0, |all| all.all().len());
    refused(result.map(drop), text, at, parts);
    assert_eq!(count, 1, "one thing is wrong:\n{text}");
}

const BOARD: &str = "board = \"main\"\npress = \"150 ms\"\nflash_contact = true";
const COMMAND: &str = "command = [\"./photograph\", \"{frame}\"]\ntime_out = \"30 s\"";
const HAND: &str = "by_hand = true";

#[test]
fn each_way_of_firing_means_what_it_says() {
    let shutter = sound(&with(&format!("{BOARD}\nhalf_press = \"0.3 s\""), "")).shutter;
    let fired_by_board = Release::Board {
        board: BoardId(0),
        half_press: Duration::from_millis(300),
        press: Duration::from_millis(150),
        flash_contact: true,
    };
    assert_eq!(shutter.release, fired_by_board);

    let shutter = sound(&with(COMMAND, "")).shutter;
    let fired_by_command = Release::Command {
        words: vec!["./photograph".into(), "{frame}".into()],
        time_out: Duration::from_secs(30),
    };
    assert_eq!(shutter.release, fired_by_command);

    let shutter = sound(&with(&format!("{HAND}\ndelay = \"0 s\""), "")).shutter;
    assert_eq!(shutter.release, Release::Hand);
    // The times of the exposure itself are the same however it is fired.
    assert_eq!(
        [
            shutter.settle,
            shutter.exposure,
            shutter.delay,
            shutter.ready
        ],
        [600, 500, 0, 1200].map(Duration::from_millis)
    );
}

#[test]
fn a_command_is_a_list_of_texts() {
    let command = |value: &str| with(&format!("command = {value}\ntime_out = \"30 s\""), "");
    for (value, parts) in [
        ("[]", &["`command` is empty", "\"{frame}\""][..]),
        ("\"./photograph {frame}\"", &["the text", "a list of texts"]),
        ("7", &["`command` is 7", "a list of texts"]),
        (
            "[\"./photograph\", 7]",
            &["`command` is 7", "text in quotes"],
        ),
        ("[\"\", \"{frame}\"]", &["`command` is empty"]),
        ("[\"./photo\\u0007\"]", &["U+0007"]),
    ] {
        refused_at(&command(value), "command = ", parts);
    }
    for (time_out, parts) in [
        ("\"0 s\"", &["`time_out` is 0 s", "more than zero"][..]),
        ("\"60 min\"", &["less than an hour"]),
        ("30", &["`time_out` is 30", "unit"]),
        ("\"30 mm\"", &["a length", "a time"]),
    ] {
        let text = with(&format!("command = [\"a\"]\ntime_out = {time_out}"), "");
        refused_at(&text, "time_out = ", parts);
    }
    refused_at(
        &with("command = [\"./photograph\"]", ""),
        "[shutter]",
        &["no `time_out`", "add `time_out = ...`"],
    );
}

#[test]
fn exactly_one_thing_fires_the_camera() {
    refused_at(
        &with("", ""),
        "[shutter]",
        &[
            "does not say what fires the camera",
            "`board = ...`",
            "`command = [...]`",
            "`by_hand = true`",
        ],
    );
    for (firing, place, parts) in [
        (
            format!("{BOARD}\n{COMMAND}"),
            "command = ",
            ["`board` and `command`", "keep the one"],
        ),
        (
            format!("{HAND}\n{BOARD}"),
            "by_hand = ",
            ["`board` and `by_hand`", "only one of them"],
        ),
        (
            format!("{COMMAND}\n{HAND}"),
            "by_hand = ",
            ["`command` and `by_hand`", "take the others out"],
        ),
        (
            format!("{COMMAND}\n{HAND}\n{BOARD}"),
            "by_hand = ",
            ["`board` and `command` and `by_hand`", "keep the one"],
        ),
    ] {
        refused_at(&with(&firing, ""), place, &parts);
    }
    refused_at(
        &with("by_hand = false", ""),
        "by_hand = ",
        &["`by_hand` is false", "or make it `true`"],
    );
    refused_at(
        &with("by_hand = \"yes\"", ""),
        "by_hand = ",
        &["`by_hand` is the text \"yes\"", "`true` or `false`"],
    );
}

/// A key of another way of firing would do nothing: it is named rather than passed over.
#[test]
fn keys_of_another_way_of_firing_do_not_fit() {
    let board_keys = [
        ("half_press = \"0.3 s\"", "half-presses the release"),
        ("press = \"150 ms\"", "closes the release line"),
        ("flash_contact = false", "flash contact"),
    ];
    for (way, who, named) in [
        (COMMAND, "a command fires the camera", "`command`"),
        (HAND, "a person fires the camera", "`by_hand`"),
    ] {
        for (key, says) in board_keys {
            let text = with(&format!("{way}\n{key}"), "");
            let advice = format!("put `board` in place of {named}");
            refused_at(&text, key, &[says, who, &advice, "take the line out"]);
        }
    }
    for (way, who) in [(BOARD, "a board's release line"), (HAND, "a person")] {
        refused_at(
            &with(&format!("{way}\ntime_out = \"30 s\""), ""),
            "time_out",
            &["how long a command may take", who, "put `command` in place"],
        );
    }
    // What is missing is named beside what does not fit.
    let text = with("board = \"main\"\ntime_out = \"30 s\"", "");
    let said = read_stand_text("stand.toml", &text)
        .unwrap_err()
        .to_string();
    for part in ["no `press`", "no `flash_contact`", "`time_out` says"] {
        assert!(said.contains(part), "{said}");
    }
    refused_at(
        &with(&format!("{HAND}\ntimeout = \"30 s\""), ""),
        "timeout",
        &["no key `timeout`", "did you mean `time_out`?"],
    );
}

#[test]
fn the_folder_that_pictures_arrive_in() {
    assert_eq!(sound(STAND).arrival, None);
    let text = with(
        HAND,
        "[pictures]\nfolder = \"arriving here\"\nwithin = \"20 s\"",
    );
    let expected = Arrival {
        folder: "arriving here".into(),
        within: Duration::from_secs(20),
    };
    assert_eq!(sound(&text).arrival, Some(expected));
    for (keys, place, parts) in [
        (
            "folder = \"\"\nwithin = \"20 s\"",
            "folder",
            ["`folder` is empty", "take the line out"],
        ),
        (
            "folder = 3\nwithin = \"20 s\"",
            "folder",
            ["`folder` is 3", "text in quotes"],
        ),
        (
            "within = \"20 s\"",
            "[pictures]",
            ["no `folder`", "add `folder = ...`"],
        ),
        (
            "folder = \"in\"",
            "[pictures]",
            ["no `within`", "add `within = ...`"],
        ),
        (
            "folder = \"in\"\nwithin = \"0 s\"",
            "within",
            ["`within` is 0 s", "more than zero"],
        ),
        (
            "folder = \"in\"\nwithin = 20",
            "within",
            ["`within` is 20", "unit"],
        ),
        (
            "folder = \"in\"\nwithin = \"20 s\"\nwithn = 1",
            "withn",
            ["no key `withn`", "did you mean `within`?"],
        ),
    ] {
        refused_at(&with(HAND, &format!("[pictures]\n{keys}")), place, &parts);
    }
    let text = format!("pictures = 3\n{}", with(HAND, ""));
    refused_at(&text, "pictures = 3", &["`pictures` is 3", "a table"]);
}

#[test]
fn how_often_homes_are_checked() {
    assert_eq!(sound(STAND).home_check, 0);
    for every in [1, 24, 100_000] {
        let text = with(HAND, &format!("[home_check]\nevery = {every}"));
        assert_eq!(sound(&text).home_check, every);
    }
    for (value, found) in [
        ("0", "`every` is 0"),
        ("100001", "`every` is 100001"),
        ("-24", "`every` is -24"),
        ("24.0", "`every` is 24.0"),
        ("\"24 frames\"", "the text \"24 frames\""),
        ("true", "`every` is true"),
    ] {
        let text = with(HAND, &format!("[home_check]\nevery = {value}"));
        refused_at(
            &text,
            "every = ",
            &[found, "a whole number from 1 to 100000"],
        );
    }
    refused_at(
        &with(HAND, "[home_check]"),
        "[home_check]",
        &["no `every`", "add `every = ...`"],
    );
    refused_at(
        &with(HAND, "[home_check]\nevery = 24\nafter = 3"),
        "after",
        &["no key `after`", "known here: every"],
    );
    let text = format!("home_check = 24\n{}", with(HAND, ""));
    refused_at(&text, "home_check = 24", &["`home_check` is 24", "a table"]);
    refused_at(
        &with(HAND, "[home_chek]\nevery = 24"),
        "home_chek",
        &["no key `home_chek`", "did you mean `home_check`?"],
    );
}
