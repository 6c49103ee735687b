//! The program at a stand: where, home, jog, stepping, the first power-up. On the stand that is
//! simulated inside it, and on one simulated behind a port, with a hand on its switches.

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use tempfile::TempDir;

#[path = "../support/mod.rs"]
mod support;

mod jog;
mod power_up;
mod steps;

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
    let text = text.replace("[lens]", "clearance = \"10 mm\"\n\n[lens]");
    fs::write(path, text).expect("written");
    folder
}

/// A stand of which a board moves nothing: it fires the camera.
fn folder_of_hands() -> Rc<TempDir> {
    let folder = folder();
    let path = folder.path().join("stand.toml");
    let text = fs::read_to_string(&path).expect("there");
    let by_hand = |line: &str| match line {
        line if line.starts_with("motor = ") => Some("hand = { scale = \"0.5 mm\" }".to_owned()),
        line if ["speed", "acceleration", "jerk", "home"]
            .iter()
            .any(|key| line.starts_with(&format!("{key} = "))) =>
        {
            None
        }
        line => Some(line.to_owned()),
    };
    let lines: Vec<String> = text.lines().filter_map(by_hand).collect();
    fs::write(path, lines.join("\n")).expect("written");
    folder
}

/// The same folder, with words of its stand file replaced.
fn changed(folder: Rc<TempDir>, words: &[(&str, &str)]) -> Rc<TempDir> {
    let path = folder.path().join("stand.toml");
    let mut text = fs::read_to_string(&path).expect("there");
    for (old, new) in words {
        assert!(text.contains(old), "no {old:?} in the stand file");
        text = text.replace(old, new);
    }
    fs::write(path, text).expect("written");
    folder
}

/// How often a test may begin anew where the machine stalls.
const TRIES: u32 = 5;

/// A pause as long as this ends the talk between the program and a stand behind a port: both keep
/// real time there, and each takes the other for gone.
const STALL: Duration = Duration::from_millis(100);

/// Runs a test that talks over a port, in real time. Where it fails although the machine has kept
/// up, it has failed; where the machine has stalled meanwhile, and only then, it is run once more.
fn timely(test: fn()) {
    for call in 1.. {
        let over = Arc::new(AtomicBool::new(false));
        let ended = Arc::clone(&over);
        let watch = std::thread::spawn(move || {
            let mut longest = Duration::ZERO;
            while !ended.load(Ordering::Relaxed) {
                let begun = Instant::now();
                std::thread::sleep(Duration::from_millis(1));
                longest = longest.max(begun.elapsed());
            }
            longest
        });
        let result = std::panic::catch_unwind(test);
        over.store(true, Ordering::Relaxed);
        let late = watch.join().expect("it only looks at the clock") > STALL;
        match result {
            Ok(()) => return,
            Err(_) if late && call < TRIES => {}
            Err(failure) => std::panic::resume_unwind(failure),
        }
    }
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
    timely(stays_homed);
}

fn stays_homed() {
    let folder = folder();
    let stand = Stand::new(&folder);
    stand.says(
        "home quay",
        0,
        &["going home: quay east", "quay east is at -21.7"],
    );
    let table = stand.says("where", 0, &[]);
    assert!(
        table.contains("-21.7") && table.contains(" yes "),
        "{table}"
    );
    // Homing has left it between its switch and its travel.
    let nearest = "panestep jog quay east to -20.000 mm";
    let beyond = ["cannot go to -20.7", "homing has left it", nearest];
    stand.says("jog quay east 1 mm", 2, &beyond);
    stand.says(
        "jog quay east to -20.000 mm",
        0,
        &["from -21.7", "quay east is at -20.000 mm"],
    );
    stand.says(
        "jog quay east to -12 mm",
        0,
        &["from -20.0", "quay east is at -12.000 mm"],
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
    timely(ends_of_a_jog);
}

fn ends_of_a_jog() {
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
    timely(untested_board);
}

fn untested_board() {
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
    // A board that moves nothing needs no stop test.
    let camera = changed(folder_of_hands(), &[("stop_tested = \"2026-03-01\"\n", "")]);
    let by_hand = Stand::new(&camera);
    let mut seat = by_hand.seat("rehearse shot.toml");
    seat.read_up_to("move quay until its east scale reads");
    drop(seat);
    // One simulated inside the program has no stop that could be tested.
    says(&folder, &["home"], 0, &["home, after"]);
}

/// A take goes on by what the stand file says today, not by what it said when the take began.
#[test]
fn a_take_is_gone_on_with_only_where_the_stop_is_tested_today() {
    let tested = "stop_tested = \"2026-03-01\"\n";
    let folder = folder();
    let shoot = ["shoot", "shot.toml", "--take", "take", "--without-pictures"];
    says(&folder, &shoot, 3, &["go on with"]);
    let folder = changed(folder, &[(tested, "")]);
    let resume = ["resume", "take", "--port", "main=/dev/null"];
    let output = run(&folder, &resume);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("no `stop_tested`"), "{said}");
    // The file and the port that the person has named.
    let hint = said.split("--stand ").nth(1).expect("the file").trim();
    let (file, port) = hint.split_once(' ').expect("and the port");
    assert!(
        file.ends_with("stand.toml") && !file.contains("take/"),
        "{said}"
    );
    assert_eq!(port, "--port main=/dev/null");

    // The other way round: tested since, and so is the copy's missing word of no account.
    let copy = folder.path().join("take/stand.toml");
    let text = fs::read_to_string(&copy).expect("the copy");
    fs::write(&copy, text.replace(tested, "")).expect("written");
    says(&folder, &resume, 2, &["no `stop_tested`"]);
    let name = "name = \"main\"\n";
    let folder = changed(folder, &[(name, &format!("{name}{tested}"))]);
    says(&folder, &resume, 1, &["/dev/null"]);
    // Where the stand file is gone, the copy counts.
    fs::remove_file(folder.path().join("stand.toml")).expect("removed");
    says(&folder, &resume, 2, &["take/stand.toml"]);
}

/// Every command at the stand names all boards that are missing.
#[test]
fn every_missing_board_is_named_at_once() {
    let folder = changed(
        folder(),
        &[(
            "[[level]]\nname = \"quay\"",
            "[[board]]\nname = \"attic\"\nport = \"simulated\"\n\n[[level]]\nname = \"quay\"",
        )],
    );
    let ports = ["--port", "main=/dev/null", "--port", "attic=/dev/zero"];
    for words in ["where", "home quay", "jog quay east 1 mm", "power-up"] {
        let mut arguments: Vec<&str> = words.split(' ').collect();
        arguments.extend(ports);
        if words == "power-up" {
            let mut seat = Seat::at(&folder, &arguments);
            seat.read_up_to("Enter when all that is so");
            seat.type_line("");
            seat.read_up_to("not every board of this stand");
            seat.read_up_to("/dev/null");
            seat.read_up_to("/dev/zero");
            assert_eq!(seat.code(), Some(1));
            continue;
        }
        let wanted = [
            "not every board of this stand",
            "/dev/null",
            "/dev/zero",
            "nothing was moved",
        ];
        says(&folder, &arguments, 1, &wanted);
    }
}
