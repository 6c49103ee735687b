//! The program as it is run from a shell: exit codes, what goes where, what is left behind.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use tempfile::TempDir;

/// A folder of its own with the small stand and shot in it.
struct Desk(TempDir);

impl Desk {
    fn new() -> Self {
        let folder = tempfile::Builder::new()
            .prefix("two words ")
            .tempdir()
            .expect("a temporary folder");
        for name in ["hand.stand.toml", "hand.shot.toml"] {
            let from = Path::new(env!("CARGO_MANIFEST_DIR"))
                .join("tests/data")
                .join(name);
            fs::copy(from, folder.path().join(name)).expect("the test's files");
        }
        Self(folder)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// Replaces a text in a file; it has to be there.
    fn edit(&self, name: &str, from: &str, to: &str) {
        let path = self.path(name);
        let text = fs::read_to_string(&path).expect("the file");
        assert!(text.contains(from), "{name} has no {from:?}");
        fs::write(path, text.replacen(from, to, 1)).expect("the file is written");
    }

    fn run(&self, arguments: &[&str]) -> Output {
        self.command(arguments).output().expect("it runs")
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_panestep"));
        command
            .args(arguments)
            .current_dir(self.0.path())
            .stdin(Stdio::null());
        command
    }

    /// Nothing but the two files that were there from the start.
    fn is_untouched(&self) -> bool {
        fs::read_dir(self.0.path()).expect("the folder").count() == 2
    }
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

#[track_caller]
fn fails(output: &Output, code: i32, words: &[&str]) {
    let text = err(output);
    assert_eq!(output.status.code(), Some(code), "{text}");
    for word in words {
        assert!(text.contains(word), "{word:?} is missing in: {text}");
    }
    assert!(!text.contains("panicked"), "{text}");
    assert!(
        !text.contains('\u{1b}'),
        "colour without a terminal: {text}"
    );
    assert_eq!(out(output), "", "talk on standard output");
}

#[test]
fn a_plan_goes_to_standard_output_in_three_formats() {
    let desk = Desk::new();
    let csv = desk.run(&["plan", "hand.shot.toml", "--format", "csv"]);
    assert_eq!(csv.status.code(), Some(0), "{}", err(&csv));
    let text = out(&csv);
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("frame,of,direction,position,unit,steps"));
    assert_eq!(lines.next(), Some("1,quay,east,0.000000,mm,0"));
    assert_eq!(lines.next(), Some("1,sky,north,4.000000,mm,"));
    assert_eq!(lines.count(), 2);

    let json = desk.run(&["plan", "hand.shot.toml", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_slice(&json.stdout).expect("JSON");
    assert_eq!(value["panestep_plan"], 1);
    assert_eq!(value["frames"], 2);

    let table = desk.run(&["plan", "hand.shot.toml"]);
    assert!(out(&table).contains("by hand"));
    assert!(err(&table).contains("time to shoot"));
    assert!(!out(&table).contains("time to shoot"));
    assert!(desk.is_untouched());
}

#[test]
fn wrong_files_are_refused_with_their_place() {
    let cases = [
        (
            "hand.stand.toml",
            "\"1600 mm\"",
            "\"1600 kg\"",
            "hand.stand.toml",
        ),
        ("hand.stand.toml", "\"8 mm\"", "\"-8 mm\"", "per_turn"),
        (
            "hand.stand.toml",
            "f_number = 8.0",
            "f_number = nan",
            "f_number",
        ),
        (
            "hand.shot.toml",
            "level = \"quay\"",
            "level = \"pier\"",
            "pier",
        ),
        (
            "hand.shot.toml",
            "frames = 2",
            "frames = 2\nfrmes = 3",
            "frmes",
        ),
        ("hand.shot.toml", "frames = 2", "frames = 0", "frames"),
        ("hand.shot.toml", "\"0.02 m\"", "\"20 m\"", "quay"),
    ];
    for (file, from, to, word) in cases {
        let desk = Desk::new();
        desk.edit(file, from, to);
        for command in ["plan", "shoot", "rehearse"] {
            let output = desk.run(&[command, "hand.shot.toml"]);
            fails(&output, 2, &["panestep:", word]);
            assert!(desk.is_untouched(), "{command} left something for {to}");
        }
    }
}

#[test]
fn missing_files_folders_and_binary_files_are_named() {
    let desk = Desk::new();
    fails(&desk.run(&["plan", "none.toml"]), 2, &["none.toml"]);
    fails(&desk.run(&["plan", "."]), 2, &["not a file"]);
    fs::write(desk.path("hand.shot.toml"), [0xff, 0xfe, 0, 1]).expect("a file");
    fails(
        &desk.run(&["plan", "hand.shot.toml"]),
        2,
        &["hand.shot.toml"],
    );
    fails(&desk.run(&["plan"]), 2, &["SHOT"]);
}

#[test]
fn missing_and_broken_art_is_refused_before_a_take_is_begun() {
    let desk = Desk::new();
    desk.edit(
        "hand.shot.toml",
        "distance = \"far\"",
        "distance = \"far\"\nart = \"sky.png\"",
    );
    let output = desk.run(&["shoot", "hand.shot.toml"]);
    fails(&output, 2, &["sky.png"]);
    assert!(desk.is_untouched());
    fs::write(desk.path("sky.png"), b"this is no image").expect("a file");
    let output = desk.run(&["shoot", "hand.shot.toml"]);
    fails(&output, 2, &["sky.png"]);
    assert!(!desk.path("takes").exists());
}

#[test]
fn ports_that_cannot_be_had_leave_no_take_behind() {
    let desk = Desk::new();
    let shoot = |port: &str| desk.run(&["shoot", "hand.shot.toml", "--port", port]);
    fails(&shoot("other=/dev/null"), 2, &["no board", "main"]);
    fails(&shoot("main"), 2, &["BOARD=PORT"]);
    fails(
        &shoot("main=/dev/no-such-port"),
        1,
        &["no serial port", "nothing was moved"],
    );
    assert!(desk.is_untouched());
}

#[test]
fn a_port_where_no_board_answers_leaves_no_take_behind() {
    let desk = Desk::new();
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
    grantpt(&master).expect("granted");
    unlockpt(&master).expect("unlocked");
    let name = ptsname(&master, Vec::new()).expect("a name");
    let port = format!("main={}", name.to_str().expect("a plain name"));
    let output = desk.run(&["shoot", "hand.shot.toml", "--port", &port]);
    // The terminal's echo may bring the greeting itself back, which is no board's either.
    fails(&output, 1, &["board \"main\"", "nothing was moved"]);
    assert!(desk.is_untouched());
}

#[test]
fn a_take_is_never_overwritten_and_no_take_is_said_so() {
    let desk = Desk::new();
    fs::create_dir(desk.path("there")).expect("a folder");
    let output = desk.run(&["shoot", "hand.shot.toml", "--take", "there"]);
    fails(&output, 2, &["there already"]);
    assert_eq!(fs::read_dir(desk.path("there")).expect("it").count(), 0);
    fails(
        &desk.run(&["resume", "there"]),
        2,
        &["holds no take", "nothing was moved"],
    );
    fails(&desk.run(&["resume", "nowhere"]), 2, &["holds no take"]);
}

#[test]
fn with_nobody_to_answer_the_take_stops_and_can_be_gone_on_with() {
    let desk = Desk::new();
    let take = [
        "shoot",
        "hand.shot.toml",
        "--take",
        "a take",
        "--without-pictures",
    ];
    let output = desk.run(&take);
    fails(
        &output,
        3,
        &["nobody to answer", "panestep resume 'a take'"],
    );

    let typed = desk.path("typed");
    fs::write(&typed, "4\n-6\n").expect("a file");
    let resume = || {
        desk.command(&["resume", "a take", "--without-pictures"])
            .stdin(fs::File::open(&typed).expect("the answers"))
            .output()
            .expect("it runs")
    };
    let output = resume();
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(err(&output).contains("2 frames exposed, each exactly once"));

    let journal = desk.path("a take/journal.jsonl");
    let text = fs::read_to_string(&journal).expect("the journal");
    let done = |line: &&str| line.contains("\"done\"");
    assert_eq!(text.lines().filter(done).count(), 2, "{text}");

    // A finished take stays as it is.
    let output = resume();
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(err(&output).contains("exposed already"));

    // Damage inside is not guessed away.
    fs::write(&journal, text.replacen("\"done\"", "\"dome\"", 1)).expect("written");
    fails(&resume(), 1, &["journal", "nothing was moved"]);
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let desk = Desk::new();
    desk.edit("hand.shot.toml", "frames = 2", "frames = 20000");
    let mut child = desk
        .command(&["plan", "hand.shot.toml", "--format", "csv"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert_eq!(err(&output), "");
}
