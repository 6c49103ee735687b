//! The program at a stand: where, home, jog, stepping, the first power-up. On the stand that is
//! simulated inside it, and on one simulated behind a port, with a hand on its switches.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::rc::Rc;

use tempfile::TempDir;

mod support;

use support::seat::Seat;

/// A folder with a stand of one motor and a level moved by hand, and a shot for it.
fn folder() -> Rc<TempDir> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data");
    let read = |name: &str| fs::read_to_string(data.join(name)).expect("the test's file");
    let quick = read("hand.stand.toml")
        .replace("\"60 mm/s2\"", "\"400 mm/s2\"")
        .replace("\"400 mm/s3\"", "\"6000 mm/s3\"");
    fs::write(folder.path().join("stand.toml"), quick).expect("written");
    let shot = read("hand.shot.toml").replace("hand.stand.toml", "stand.toml");
    fs::write(folder.path().join("shot.toml"), shot).expect("written");
    Rc::new(folder)
}

/// The same, with two levels that have lifts.
fn lifts() -> Rc<TempDir> {
    let folder = folder();
    let path = folder.path().join("stand.toml");
    let text = fs::read_to_string(&path).expect("there");
    let lift = |of: &str, channel: u8| {
        format!(
            "[[axis]]\nof = \"{of}\"\ndirection = \"lift\"\n\
             motor = {{ board = \"main\", channel = {channel}, steps = 200, microsteps = 16, per_turn = \"8 mm\" }}\n\
             travel = [\"-10 mm\", \"480 mm\"]\nspeed = \"25 mm/s\"\nacceleration = \"400 mm/s2\"\n\
             jerk = \"6000 mm/s3\"\nhome = {{ switch = \"-14 mm\", within = \"0.02 mm\" }}\n\n"
        )
    };
    let at = text.rfind("[[axis]]").expect("the hand axis");
    let text = format!(
        "{}{}{}{}",
        &text[..at],
        lift("quay", 1),
        lift("sky", 2),
        &text[at..]
    );
    fs::write(path, text).expect("written");
    folder
}

fn run(folder: &TempDir, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_panestep"))
        .args(arguments)
        .current_dir(folder.path())
        .stdin(Stdio::null())
        .output()
        .expect("it runs")
}

#[track_caller]
fn says(folder: &TempDir, arguments: &[&str], code: i32, words: &[&str]) -> String {
    let output = run(folder, arguments);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let shown = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
    for word in words {
        assert!(said.contains(word), "{arguments:?}: no {word:?} in {said}");
    }
    shown
}

/// What was typed wrongly moves nothing, and what is known is listed.
#[test]
fn a_jog_that_is_typed_wrongly_moves_nothing() {
    let folder = lifts();
    let table: &[(&str, &[&str])] = &[
        (
            "moon east 2 mm",
            &["no level \"moon\"", "quay lift (up, down)"],
        ),
        (
            "quay sideways 2 mm",
            &["no direction", "quay east (east, west)"],
        ),
        (
            "quay turn 2 deg",
            &["has no axis that goes turn", "quay east"],
        ),
        ("sky north 2 mm", &["moved by hand", "sky lift"]),
        ("camera lift 2 mm", &["camera has no axis"]),
        ("quay east 2", &["no unit"]),
        ("quay east 2 furlongs", &["`furlongs`"]),
        ("quay east 2 deg", &["an angle, but a length"]),
        ("quay east two mm", &["does not begin with a number"]),
        ("quay east 1/0 in", &["divides by zero"]),
        ("quay east --2 mm", &[]),
        ("quay east 0 mm", &["less than half a step"]),
        ("quay east 0.0001 mm", &["less than half a step"]),
        ("quay east 900 km", &["`km`"]),
        ("quay east 9000 m", &["farther than its whole travel"]),
        (
            "quay east 41 mm",
            &["farther than its whole travel of 40.000 mm"],
        ),
        (
            "quay east -41 mm",
            &["farther than its whole travel of 40.000 mm"],
        ),
        (
            "quay west to 2 mm",
            &["could mean two places", "quay east to"],
        ),
        ("quay east", &["how far"]),
        ("quay", &["not understood"]),
        ("to frame 1", &["which shot"]),
        ("to frame one --shot shot.toml", &["no frame's number"]),
        ("to frame 9 --shot shot.toml", &["there is no frame 9"]),
        ("quay east 2 mm --shot shot.toml", &["--shot goes with"]),
        ("quay to frame 1 --shot nowhere.toml", &["nowhere.toml"]),
        ("quay east 2 mm --stand nowhere.toml", &["nowhere.toml"]),
        ("quay east 2 mm --port attic=x", &["no board \"attic\""]),
    ];
    for (words, wanted) in table {
        let mut arguments = vec!["jog"];
        arguments.extend(words.split(' '));
        let output = run(&folder, &arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{words}: {said}");
        for word in *wanted {
            assert!(said.contains(word), "{words}: no {word:?} in {said}");
        }
        assert!(!said.contains(" goes "), "{words}: {said}");
    }
    // Not wrong, but not possible as things stand.
    let to = ["jog", "quay", "east", "to", "-12", "mm"];
    says(&folder, &to, 1, &["quay east is not homed", "--home"]);
    let empty = tempfile::tempdir().expect("a folder");
    says(&empty, &["where"], 2, &["no stand.toml", "--stand"]);
}

#[test]
fn every_way_of_saying_a_distance_is_understood() {
    let folder = lifts();
    for (words, told) in [
        ("quay east 2 mm", "quay goes east by 2.000 mm"),
        ("quay east 2mm", "quay goes east by 2.000 mm"),
        ("quay west 2 mm", "quay goes west by 2.000 mm"),
        ("quay east -2 mm", "quay goes west by 2.000 mm"),
        ("quay west -.5 mm", "quay goes east by 0.500 mm"),
        ("quay lift 1/16 in", "quay goes up by 1.588 mm"),
        ("quay up 1/16 in", "quay goes up by 1.588 mm"),
        ("quay down 3 mm", "quay goes down by 3.000 mm"),
        ("quay lift -1/16 in", "quay goes down by 1.588 mm"),
        ("quay east to -12 mm --home", "quay goes east by"),
        (
            "--home quay east to -1/2 in",
            "from -22.000 mm to -12.700 mm",
        ),
    ] {
        let mut arguments = vec!["jog"];
        arguments.extend(words.split(' '));
        says(&folder, &arguments, 0, &[told]);
    }
}

/// Lifts go one after another, and never into each other.
#[test]
fn lifts_keep_clear_of_each_other() {
    let folder = lifts();
    // 500 mm lie between the two levels, 6 mm of them glass.
    let far = ["jog", "sky", "lift", "to", "479", "mm", "--home"];
    let said = run(&folder, &far);
    let said = String::from_utf8_lossy(&said.stderr).into_owned();
    assert!(said.contains("clearance"), "{said}");
    assert!(said.contains("quay and sky would come within"), "{said}");
    assert!(!said.contains("sky goes up"), "{said}");
    let near = ["jog", "sky", "lift", "to", "300", "mm", "--home"];
    says(&folder, &near, 0, &["sky lift is at 300.000 mm"]);
}

#[test]
fn where_tells_everything_in_three_ways() {
    let folder = folder();
    let table = says(&folder, &["where"], 0, &["simulated inside this program"]);
    assert!(table.contains("sky    north   by hand"), "{table}");
    assert!(table.contains("unknown"), "{table}");
    assert!(
        table.contains("stop circuit closed, drivers off, idle"),
        "{table}"
    );
    assert!(table.contains("stop tested 2026-03-01"), "{table}");
    let rows = says(&folder, &["where", "--format", "csv"], 0, &[]);
    let lines: Vec<&str> = rows.lines().collect();
    assert_eq!(lines.len(), 3, "{rows}");
    assert_eq!(
        lines[1],
        "quay,east,no,main,,mm,0,no,closed,closed,off,closed,"
    );
    assert_eq!(lines[2], "sky,north,yes,,,mm,,,,,,,");
    let text = says(&folder, &["where", "--format", "json"], 0, &[]);
    let document: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(document["axes"][0]["home_switch"], "closed");
    assert_eq!(document["axes"][1]["by_hand"], true);
    assert_eq!(document["boards"][0]["stop_tested"], "2026-03-01");
}

/// A stand behind a port, and a hand on it.
struct Stand {
    hand: Seat,
    port: String,
}

impl Stand {
    fn new(folder: &Rc<TempDir>) -> Self {
        let mut hand = Seat::at(folder, &["simulate", "stand.toml"]);
        hand.read_up_to("board main is at ");
        let port = hand.read_between("\n");
        hand.read_up_to("Ctrl-C ends it");
        Self {
            hand,
            port: format!("main={}", port.trim()),
        }
    }

    fn does(&mut self, what: &str) {
        self.hand.type_line(what);
        self.hand.read_up_to(&format!("done: {what}"));
    }

    fn arguments<'a>(&'a self, words: &'a str) -> Vec<&'a str> {
        let mut arguments: Vec<&str> = words.split(' ').collect();
        arguments.extend(["--port", &self.port]);
        arguments
    }

    fn seat(&self, words: &str) -> Seat {
        Seat::at(&self.hand.folder, &self.arguments(words))
    }

    #[track_caller]
    fn says(&self, words: &str, code: i32, wanted: &[&str]) -> String {
        says(&self.hand.folder, &self.arguments(words), code, wanted)
    }
}

#[test]
fn a_stand_stays_homed_between_two_commands() {
    let folder = folder();
    let stand = Stand::new(&folder);
    stand.says(
        "home quay",
        0,
        &["going home: quay east", "quay east is at -22.0"],
    );
    let table = stand.says("where", 0, &[]);
    assert!(
        table.contains("-22.0") && table.contains(" yes "),
        "{table}"
    );
    stand.says(
        "jog quay east to -12 mm",
        0,
        &["from -22.", "quay east is at -12.000 mm"],
    );
    stand.says(
        "jog quay west 2 mm",
        0,
        &["quay goes west by 2.000 mm, from -12.000 mm to -14.000 mm"],
    );
    let outside = "its travel is from -20.000 mm to 20.000 mm";
    stand.says(
        "jog quay west 8 mm",
        2,
        &["cannot go to -22.000 mm", outside],
    );
    stand.says("jog quay east to 20.1 mm", 2, &[outside]);
    stand.says(
        "jog to frame 2 --shot shot.toml",
        0,
        &["sky north is moved by hand: to -6.000 mm"],
    );
    stand.says("home", 0, &["its switch was", "from where it was counted"]);
}

#[test]
fn ctrl_c_and_the_stop_end_a_jog() {
    let folder = folder();
    let mut stand = Stand::new(&folder);
    let mut seat = stand.seat("jog quay east 20 mm");
    seat.read_up_to("waiting until it stands");
    seat.read_up_to("left");
    seat.interrupt();
    seat.read_up_to("stopped by a person; everything stands still");
    assert_eq!(seat.code(), Some(3));

    // What the program itself has stopped goes on without a word.
    let mut seat = stand.seat("jog quay west 10 mm");
    seat.read_up_to("left");
    stand.does("press stop");
    seat.read_up_to("board \"main\" has stopped: the stop circuit");
    assert_eq!(seat.code(), Some(3));
    let table = stand.says("where", 0, &[]);
    assert!(table.contains("stop circuit open"), "{table}");
    assert!(
        table.contains("it has stopped: the stop circuit"),
        "{table}"
    );
    stand.says(
        "jog quay east 1 mm",
        3,
        &["the stop circuit of board main is open"],
    );
    stand.does("let go stop");
    // Nobody there to say that all is well.
    stand.says(
        "jog quay east 1 mm",
        3,
        &["is all well", "nothing was moved"],
    );
    let mut seat = stand.seat("jog quay east 1 mm");
    seat.read_up_to("is all well");
    seat.type_line("no");
    seat.read_up_to("nothing was moved");
    assert_eq!(seat.code(), Some(3));
    let mut seat = stand.seat("jog quay east 1 mm");
    seat.read_up_to("is all well");
    seat.type_line("yes");
    seat.read_up_to("quay east stands");
    assert_eq!(seat.code(), Some(0));

    // The cable comes out in the middle of it.
    let mut seat = stand.seat("jog quay east 20 mm");
    seat.read_up_to("left");
    stand.does("pull out board main");
    seat.read_up_to("board \"main\"");
    assert_eq!(seat.code(), Some(1));
    stand.does("put back board main");
    let table = stand.says("where", 0, &[]);
    assert!(
        table.contains("it heard nothing from this program"),
        "{table}"
    );
}

/// Nothing looks for a switch on a board whose stop nobody has tested.
#[test]
fn a_board_whose_stop_is_untested_is_not_homed() {
    let folder = folder();
    let path = folder.path().join("stand.toml");
    let text = fs::read_to_string(&path).expect("there");
    fs::write(&path, text.replace("stop_tested = \"2026-03-01\"\n", "")).expect("written");
    let stand = Stand::new(&folder);
    for words in [
        "home",
        "home quay east",
        "jog quay east to 1 mm --home",
        "rehearse shot.toml",
        "rehearse shot.toml --step",
        "shoot shot.toml --take take",
    ] {
        let wanted = ["no `stop_tested`", "panestep power-up", "nothing was moved"];
        stand.says(words, 2, &wanted);
    }
    assert!(!folder.path().join("take").exists());
    stand.says("where", 0, &[]);
    stand.says("jog quay east 1 mm", 0, &["slowly"]);
    // One simulated inside the program has no stop that could be tested.
    says(&folder, &["home"], 0, &["home, after"]);
}

fn untested() -> (Rc<TempDir>, PathBuf, String) {
    let folder = lifts();
    let path = folder.path().join("stand.toml");
    let text = fs::read_to_string(&path).expect("there");
    let text = text.replace("stop_tested = \"2026-03-01\"\n", "# Not tested yet.\n");
    fs::write(&path, &text).expect("written");
    (folder, path, text)
}

/// Presses what is asked for, up to the stop test.
fn up_to_the_stop_test(stand: &mut Stand, seat: &mut Seat) {
    for what in ["quay east", "quay lift", "sky lift"] {
        seat.read_up_to(&format!("press {what}'s home switch"));
        stand.does(&format!("press {what}"));
        seat.read_up_to("it opens: let it go");
        stand.does(&format!("let go {what}"));
        seat.read_up_to("opens and closes");
    }
    seat.read_up_to("press the stop of board main");
    stand.does("press stop");
    seat.read_up_to("it opens: let it go");
    stand.does("let go stop");
    seat.read_up_to("stop test of board main");
    seat.type_line("");
    seat.read_up_to("board main");
}

#[test]
fn the_first_power_up_tries_everything_and_writes_what_it_found() {
    let (folder, path, before) = untested();
    let mut stand = Stand::new(&folder);
    // At rest an open switch is named.
    stand.does("pull out sky lift");
    let mut seat = stand.seat("power-up");
    seat.read_up_to("Enter when all that is so");
    seat.type_line("");
    seat.read_up_to("sky lift's home switch is open: the carriage stands on it");
    stand.does("put back sky lift");
    seat.read_up_to("every switch is closed");
    // The wrong one is named too.
    seat.read_up_to("press quay east's home switch");
    stand.does("press quay lift");
    seat.read_up_to(
        "quay east's home switch was asked for, but quay lift's home switch has changed",
    );
    stand.does("let go quay lift");
    stand.does("press quay east");
    seat.read_up_to("it opens: let it go");
    stand.does("let go quay east");
    for what in ["quay lift", "sky lift"] {
        seat.read_up_to(&format!("press {what}'s home switch"));
        stand.does(&format!("press {what}"));
        seat.read_up_to("it opens: let it go");
        stand.does(&format!("let go {what}"));
    }
    seat.read_up_to("press the stop of board main");
    stand.does("press stop");
    seat.read_up_to("it opens: let it go");
    stand.does("let go stop");
    seat.read_up_to("Enter: it sets out");
    seat.type_line("");
    // It goes; then it is stopped.
    std::thread::sleep(std::time::Duration::from_millis(500));
    stand.does("press stop");
    seat.read_up_to("it has stopped");
    seat.read_up_to("have the motors lost their power too");
    seat.type_line("yes");
    seat.read_up_to("now let the stop out again");
    stand.does("let go stop");
    seat.read_up_to("letting it out starts nothing");
    for (what, toward) in [("quay", "east"), ("quay", "up"), ("sky", "up")] {
        seat.read_up_to(&format!("{what} goes {toward} by 1.000 mm: Enter"));
        seat.type_line("");
        seat.read_up_to(&format!("did it go {toward}?"));
        if toward == "east" {
            seat.type_line("perhaps");
            seat.read_up_to("please type yes, no, still or again");
            seat.type_line("no");
            seat.read_up_to("`reversed` of quay east has to be true");
            seat.read_up_to("goes east by 1.000 mm: Enter");
            seat.type_line("");
            seat.read_up_to("did it go east?");
        }
        seat.type_line("yes");
    }
    seat.read_up_to("the stand file's changes");
    seat.read_up_to("+ stop_tested = \"");
    seat.read_up_to("reversed = true");
    seat.read_up_to("write them? yes or no:");
    assert_eq!(fs::read_to_string(&path).expect("there"), before);
    seat.type_line("yes");
    seat.read_up_to("written into stand.toml");
    assert_eq!(seat.code(), Some(0));
    let after = fs::read_to_string(&path).expect("there");
    assert!(after.contains("# Not tested yet."), "{after}");
    assert_eq!(after.matches("reversed = true").count(), 1, "{after}");
    assert_eq!(after.matches("stop_tested = \"2").count(), 1, "{after}");
    let kept = |line: &&str| before.contains(*line);
    assert_eq!(
        after.lines().filter(kept).count(),
        before.lines().count() - 1
    );
    // And now it may be homed. Its motor does not really turn the other way round, which the
    // switch at the other end tells.
    stand.says("home quay lift", 0, &["home, after"]);
}

/// A stop that does not cut the power, a person who leaves, a no at the end: nothing is written.
#[test]
fn a_power_up_that_is_refused_writes_nothing() {
    let (folder, path, before) = untested();
    let mut stand = Stand::new(&folder);
    let unwritten = || assert_eq!(fs::read_to_string(&path).expect("there"), before);

    let mut seat = stand.seat("power-up");
    seat.read_up_to("Enter when all that is so");
    seat.interrupt();
    seat.read_up_to("the power-up was left");
    assert_eq!(seat.code(), Some(3));
    unwritten();

    let mut seat = stand.seat("power-up");
    seat.type_line("");
    seat.read_up_to("press quay east's home switch");
    seat.interrupt();
    seat.read_up_to("the power-up was left");
    assert_eq!(seat.code(), Some(3));
    unwritten();

    let mut seat = stand.seat("power-up");
    seat.read_up_to("Enter when all that is so");
    seat.type_line("");
    up_to_the_stop_test(&mut stand, &mut seat);
    std::thread::sleep(std::time::Duration::from_millis(500));
    stand.does("press stop");
    seat.read_up_to("have the motors lost their power too");
    seat.type_line("no");
    seat.read_up_to("the stop does not cut the motors' power");
    assert_eq!(seat.code(), Some(3));
    unwritten();
    stand.does("let go stop");
    stand.says("home", 2, &["panestep power-up"]);
}

#[test]
fn keys_act_at_once_and_the_terminal_is_given_back() {
    let folder = folder();
    let mut seat = Seat::at(&folder, &["rehearse", "shot.toml", "--step"]);
    seat.read_up_to("at no frame yet");
    seat.read_up_to("Enter: go to frame 1, f: forward, b: back, g: go to a frame, l: leave");
    seat.press("\n");
    seat.read_up_to("to frame 1:");
    // The level moved by hand is asked for as in a run, in whole lines.
    seat.read_up_to("its reading now");
    seat.type_line("4");
    seat.read_up_to("at frame 1 of 2");
    seat.read_up_to("l: leave");
    seat.press("b");
    seat.read_up_to("there is no frame before this");
    seat.read_up_to("l: leave");
    seat.press("x");
    seat.read_up_to("none of the keys");
    seat.read_up_to("l: leave");
    seat.press("e");
    seat.read_up_to("none of the keys");
    seat.read_up_to("l: leave");
    seat.press("g");
    seat.read_up_to("to which frame, 1 to 2?");
    seat.type_line("7");
    seat.read_up_to("none of the frames");
    seat.type_line("2");
    seat.read_up_to("to frame 2:");
    seat.read_up_to("quay goes ");
    seat.read_up_to("its reading now");
    seat.type_line("-6");
    seat.read_up_to("at frame 2 of 2");
    seat.read_up_to("Enter: leave");
    seat.press("l");
    seat.read_up_to("nothing was exposed");
    assert_eq!(seat.code(), Some(0));
    assert!(seat.is_restored());

    // Ctrl-C while a key is waited for.
    let mut seat = Seat::at(&folder, &["rehearse", "shot.toml", "--step"]);
    seat.read_up_to("l: leave");
    seat.press("\u{3}");
    seat.read_up_to("the rehearsal was stopped");
    assert_eq!(seat.code(), Some(3));
    assert!(seat.is_restored());
}

#[test]
fn a_frame_is_exposed_where_one_stands_and_again_after_a_yes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    support::write(folder.path(), support::BOARD, "", 3);
    let folder = Rc::new(folder);
    let mut seat = Seat::at(
        &folder,
        &[
            "shoot",
            "shot.toml",
            "--take",
            "take",
            "--without-pictures",
            "--step",
        ],
    );
    let mut key = |waited: &str, key: &str| {
        seat.read_up_to(waited);
        seat.read_up_to("l: leave");
        seat.press(key);
    };
    key("at no frame yet; 3 frames still to be exposed", "e");
    key("go to a frame first", "f");
    key("at frame 1 of 3, not exposed yet", "f");
    key("at frame 2 of 3, not exposed yet", "e");
    key("frame 2 is exposed", "e");
    seat.read_up_to("frame 2 is exposed already; expose it once more?");
    seat.type_line("no");
    seat.read_up_to("it stays as it is");
    seat.read_up_to("l: leave");
    seat.press("e");
    seat.read_up_to("expose it once more?");
    seat.type_line("yes");
    seat.read_up_to("frame 2 is exposed");
    seat.read_up_to("Enter: go to frame 3");
    seat.press("l");
    seat.read_up_to("panestep resume take --without-pictures --step");
    assert_eq!(seat.code(), Some(3));
    assert!(seat.is_restored());
    let take = folder.path().join("take");
    assert_eq!(support::of_kind(&take, "intent", "frame"), [2, 2]);
    assert_eq!(support::of_kind(&take, "chosen", "frame"), [2, 2]);
    assert_eq!(support::of_kind(&take, "again", "why"), ["a person"]);

    let resume = ["resume", "take", "--without-pictures", "--step"];
    let mut seat = Seat::at(&folder, &resume);
    for waited in [
        "at no frame yet",
        "at frame 1",
        "frame 1 is exposed",
        "at frame 3",
    ] {
        seat.read_up_to(waited);
        seat.read_up_to("l: leave");
        seat.press("\n");
    }
    seat.read_up_to("frame 3 is exposed");
    seat.read_up_to("Enter: leave");
    seat.press("\n");
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
    assert_eq!(support::of_kind(&take, "intent", "frame"), [2, 2, 1, 3]);
}

/// From a pipe, keys are lines.
#[test]
fn from_a_pipe_keys_are_lines() {
    use std::io::Write;
    let folder = tempfile::tempdir().expect("a temporary folder");
    support::write(folder.path(), support::BOARD, "", 3);
    let mut child = Command::new(env!("CARGO_BIN_EXE_panestep"))
        .args(["rehearse", "shot.toml", "--step"])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut keys = child.stdin.take().expect("its input");
    keys.write_all(b"g 3\nb\ng\n\nwhat\nl\n").expect("written");
    drop(keys);
    let output = child.wait_with_output().expect("it ends");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{said}");
    for words in [
        "to frame 3:",
        "to frame 2:",
        "none of the keys",
        "nothing was exposed",
    ] {
        assert!(said.contains(words), "no {words:?} in {said}");
    }
}
