//! The program as it is run from a shell: exit codes, what goes where, what is left behind.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use tempfile::TempDir;

mod support;

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

    /// A folder with a stand of one motor, and a shot for it.
    fn plain(fired: &str, more: &str, frames: u32) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        support::write(folder.path(), fired, more, frames);
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

const TAKE: [&str; 4] = ["shoot", "shot.toml", "--take", "take"];

#[track_caller]
fn succeeds(output: &Output, words: &[&str]) {
    let text = err(output);
    assert_eq!(output.status.code(), Some(0), "{text}");
    for word in words {
        assert!(text.contains(word), "{word:?} is missing in: {text}");
    }
}

/// Slots that are done, in the journal's order.
fn slots(desk: &Desk) -> Vec<serde_json::Value> {
    support::of_kind(&desk.path("take"), "done", "slot")
}

/// The frames of the intents, in the journal's order.
fn frames(desk: &Desk) -> Vec<serde_json::Value> {
    support::of_kind(&desk.path("take"), "intent", "frame")
}

fn record(desk: &Desk) -> serde_json::Value {
    let output = desk.run(&["record", "take", "--format", "json"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    serde_json::from_slice(&output.stdout).expect("JSON")
}

#[test]
fn frames_are_shot_again_gone_back_and_left_out_by_entries() {
    let desk = Desk::plain(support::BOARD, "", 6);
    succeeds(&desk.run(&TAKE), &["6 frames exposed, each exactly once"]);
    let output = desk.run(&["resume", "take", "--again", "2-3", "--again", "6"]);
    succeeds(
        &output,
        &[
            "frames 2-3: to be shot again",
            "6 frames exposed, 3 of them more than once",
        ],
    );
    assert_eq!(frames(&desk), [1, 2, 3, 4, 5, 6, 2, 3, 6]);

    // The last two that were exposed; then one of them is left out after all.
    let output = desk.run(&["resume", "take", "--drop", "6", "--back", "2"]);
    succeeds(
        &output,
        &[
            "frames 3, 6: to be shot again",
            "frame 6: left out",
            ", 1 left out",
        ],
    );
    assert_eq!(frames(&desk), [1, 2, 3, 4, 5, 6, 2, 3, 6, 3]);
    assert_eq!(slots(&desk), (1..=10).collect::<Vec<_>>());

    // Nothing was overwritten, and all of it is told.
    for name in [
        "0002.png",
        "0002-2.png",
        "0003.png",
        "0003-2.png",
        "0003-3.png",
    ] {
        let picture = desk.path(&format!("take/pictures/frame-{name}"));
        assert!(picture.is_file(), "{name}");
    }
    let told = record(&desk);
    assert_eq!(told["panestep_record"], 1);
    assert_eq!(told["exposed"], 5);
    let row = |frame: usize| &told["rows"][frame - 1];
    assert_eq!(row(3)["exposures"], 3);
    assert_eq!(row(3)["slot"], 10);
    assert_eq!(row(3)["check"], "in place");
    assert_eq!(row(6)["standing"], "left out");
    assert_eq!(row(1)["remarks"], serde_json::json!([]));

    // The last pictures of five frames.
    let file = fs::File::open(desk.path("take/animation.gif")).expect("the animation");
    let mut decoder = gif::DecodeOptions::new().read_info(file).expect("a GIF");
    let mut count = 0;
    while decoder.read_next_frame().expect("a frame").is_some() {
        count += 1;
    }
    assert_eq!(count, 5);
}

#[test]
fn two_exposures_of_one_pose_differ_and_the_same_run_has_the_same_files() {
    let shoot = || {
        let desk = Desk::plain(support::BOARD, support::CARD, 2);
        fs::create_dir(desk.path("card")).expect("a folder");
        succeeds(&desk.run(&TAKE), &["2 frames exposed, each exactly once"]);
        succeeds(
            &desk.run(&["resume", "take", "--again", "1-2"]),
            &["2 frames"],
        );
        let read = |number: u32| {
            let name = format!("card/picture-{number:05}.png");
            fs::read(desk.path(&name)).expect("the picture")
        };
        let pictures = support::of_kind(&desk.path("take"), "done", "picture");
        assert_eq!(pictures.len(), 4);
        assert_eq!(pictures[3]["file"], "picture-00004.png");
        [1, 2, 3, 4].map(read)
    };
    let (one, other) = (shoot(), shoot());
    assert_eq!(one[..2], other[..2]);
    assert_ne!(one[0], one[2]);
    assert_ne!(one[1], one[3]);
}

#[test]
fn changes_that_cannot_be_are_the_command_lines_fault() {
    let desk = Desk::plain(support::BOARD, "", 3);
    fails(
        &desk.run(&["shoot", "shot.toml", "--only", "2-4"]),
        2,
        &["--only 2-4", "no frame 4"],
    );
    succeeds(&desk.run(&TAKE), &[]);
    let before = fs::read(desk.path("take/journal.jsonl")).expect("the journal");
    for (option, value, words) in [
        ("--again", "0", &["--again", "12-15"][..]),
        ("--again", "3-2", &["3-2"]),
        ("--again", "two", &["two"]),
        ("--drop", "1-", &["1-"]),
        (
            "--drop",
            "2-4",
            &["--drop 2-4", "no frame 4", "nothing was moved"],
        ),
        ("--back", "0", &["--back"]),
        ("--back", "4", &["cannot go back by 4"]),
        ("--take-back", "2", &["no answer about frame 2"]),
        ("--take-back", "9", &["no frame 9"]),
    ] {
        fails(&desk.run(&["resume", "take", option, value]), 2, words);
    }
    let after = fs::read(desk.path("take/journal.jsonl")).expect("the journal");
    assert!(before == after, "the journal was written to");
}

#[test]
fn a_take_of_some_frames_leaves_the_others_out() {
    let desk = Desk::plain(support::BOARD, "", 8);
    let only = ["--only", "3-4", "--only", "7"];
    succeeds(
        &desk.run(&[&TAKE[..], &only[..]].concat()),
        &["3 frames exposed, 5 left out, each exactly once"],
    );
    assert_eq!(frames(&desk), [3, 4, 7]);
    // One of the others is wanted after all.
    succeeds(
        &desk.run(&["resume", "take", "--again", "5"]),
        &["4 frames exposed"],
    );
    assert_eq!(frames(&desk), [3, 4, 7, 5]);
}

#[test]
fn a_changed_plan_is_refused_with_what_differs() {
    let desk = Desk::plain(support::BOARD, "", 3);
    succeeds(&desk.run(&TAKE), &[]);
    let before = fs::read(desk.path("take/journal.jsonl")).expect("the journal");
    // What it was begun from may change as it likes.
    desk.edit("shot.toml", "\"0.02 m\"", "\"0.01 m\"");
    succeeds(&desk.run(&["resume", "take", "--again", "1"]), &[]);
    let before_edit = fs::read(desk.path("take/journal.jsonl")).expect("the journal");
    assert!(before_edit.len() > before.len());
    // The take's own copy may not.
    desk.edit("take/shot.toml", "\"0.02 m\"", "\"0.01 m\"");
    let output = desk.run(&["resume", "take", "--again", "1"]);
    fails(
        &output,
        2,
        &[
            "another plan",
            "quay east, position at frame",
            "nothing was moved",
            "back as they were",
        ],
    );
    fs::remove_file(desk.path("take/schedule.json")).expect("removed");
    let output = desk.run(&["resume", "take"]);
    fails(&output, 2, &["another plan", "schedule.json"]);
    let after = fs::read(desk.path("take/journal.jsonl")).expect("the journal");
    assert!(before_edit == after, "the journal was written to");
}

#[test]
fn what_the_stand_names_has_to_be_there_before_a_take_is_begun() {
    let desk = Desk::plain(support::BOARD, support::CARD, 3);
    fails(
        &desk.run(&TAKE),
        1,
        &[
            "pictures arrive in",
            "card",
            "nothing was moved",
            "make the folder",
        ],
    );
    assert!(!desk.path("take").exists());

    let desk = Desk::plain(support::COMMAND, "", 3);
    fails(
        &desk.run(&TAKE),
        1,
        &["there is no ./photograph", "nothing was moved"],
    );
    fs::write(desk.path("photograph"), "#!/bin/sh\n").expect("written");
    fails(&desk.run(&TAKE), 1, &["chmod"]);
    assert!(!desk.path("take").exists());
    // Nobody fires in a rehearsal.
    succeeds(
        &desk.run(&["rehearse", "shot.toml"]),
        &["nothing was exposed"],
    );
}

#[test]
fn a_command_that_is_nowhere_ends_the_take_which_goes_on_once_it_is_there() {
    let fired = support::COMMAND.replace("./photograph", "photograph");
    let desk = Desk::plain(&fired, "", 3);
    let output = desk.run(&TAKE);
    fails(
        &output,
        1,
        &[
            "frame 1",
            "no program photograph on the search path",
            "panestep resume take",
        ],
    );
    assert!(slots(&desk).is_empty());

    support::script(&desk.path(""), "echo $1 >>fired; pwd >>where");
    let paths = format!(
        "{}:{}",
        desk.path("").display(),
        std::env::var("PATH").unwrap_or_default()
    );
    let output = desk
        .command(&["resume", "take"])
        .env("PATH", paths)
        .output()
        .expect("it runs");
    succeeds(&output, &["3 frames exposed"]);
    let fired = fs::read_to_string(desk.path("fired")).expect("written");
    assert_eq!(fired, "1\n2\n3\n");
    assert_eq!(slots(&desk), [1, 2, 3]);
}

#[test]
fn a_record_comes_in_three_formats_and_from_a_journal_that_is_not_sound() {
    let desk = Desk::plain(support::BOARD, support::CARD, 4);
    fails(&desk.run(&["record", "take"]), 2, &["holds no take"]);
    fs::create_dir(desk.path("card")).expect("a folder");
    succeeds(&desk.run(&TAKE), &["panestep record take"]);
    let told = record(&desk);
    let row = &told["rows"][2];
    assert_eq!(row["frame"], 3);
    assert_eq!(row["standing"], "exposed");
    assert_eq!(row["picture"], "picture-00003.png");
    let at: jiff::Timestamp = row["at"]
        .as_str()
        .expect("a time")
        .parse()
        .expect("RFC 3339");
    assert!(at > jiff::Timestamp::UNIX_EPOCH);

    let csv = desk.run(&["record", "take", "--format", "csv"]);
    let text = out(&csv);
    let mut lines = text.lines();
    let head = "frame,standing,slot,exposures,picture,at,check,remarks";
    assert_eq!(lines.next(), Some(head));
    let first = lines.next().expect("a line");
    assert!(
        first.starts_with("1,exposed,1,1,picture-00001.png,2"),
        "{first}"
    );
    assert!(first.ends_with(",in place,"), "{first}");
    assert_eq!(lines.count(), 3);

    let table = desk.run(&["record", "take"]);
    assert!(out(&table).contains("picture-00004.png"), "{}", out(&table));
    succeeds(&table, &["4 of 4 frames exposed, finished"]);

    // A torn last line: all before it counts.
    let journal = desk.path("take/journal.jsonl");
    let whole = fs::read(&journal).expect("the journal");
    let text = String::from_utf8(whole.clone()).expect("text");
    let last_done = text.rfind("\"done\"").expect("the last frame's");
    fs::write(&journal, &whole[..last_done]).expect("written");
    let output = desk.run(&["record", "take"]);
    succeeds(
        &output,
        &[
            "3 of 4 frames exposed",
            "frame 4 is not known yet",
            "is not whole",
        ],
    );
    assert!(out(&output).contains("begun"), "{}", out(&output));

    // Damage within: all before it is shown, and what is missing can go into a new take.
    let damaged = text.replacen("\"slot\":3,", "\"slot\":7,", 1);
    assert_ne!(damaged, text);
    fs::write(&journal, damaged).expect("written");
    let output = desk.run(&["record", "take"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    for word in ["damaged", "shoot SHOT --only 3-4", "2 of 4 frames exposed"] {
        assert!(err(&output).contains(word), "{word:?}: {}", err(&output));
    }
    assert_eq!(out(&output).lines().count(), 5, "{}", out(&output));
    fails(
        &desk.run(&["resume", "take"]),
        1,
        &[
            "damaged",
            "nothing was moved",
            "panestep record take",
            "--only FRAMES",
        ],
    );
    fs::write(&journal, "no journal").expect("written");
    fails(&desk.run(&["record", "take"]), 1, &["never began"]);
}

/// A limit on the size of files stands for a disk that is full: an ordinary user can set one.
#[test]
fn a_disk_that_is_full_stops_the_take_and_it_goes_on_when_there_is_room() {
    let desk = Desk::plain(support::BOARD, "", 40);
    // Blocks of 512 bytes (POSIX, ulimit); the signal that goes with the limit is ignored, so that
    // writes fail as on a full disk.
    let output = Command::new("sh")
        .args(["-c", "ulimit -f 16 && trap '' XFSZ && exec \"$@\"", "sh"])
        .arg(env!("CARGO_BIN_EXE_panestep"))
        .args(TAKE)
        .arg("--without-pictures")
        .current_dir(desk.path(""))
        .stdin(Stdio::null())
        .output()
        .expect("it runs");
    fails(
        &output,
        1,
        &[
            "cannot write the journal",
            "room on the disk",
            "panestep resume take",
        ],
    );
    let done = slots(&desk).len();
    assert!((3..40).contains(&done), "{done} frames");

    // It may have stopped with an exposure open: the simulated board is a new one, so a person has
    // to say. The release closed before the record failed.
    fs::write(desk.path("typed"), "yes\n").expect("a file");
    let output = desk
        .command(&["resume", "take", "--without-pictures"])
        .stdin(fs::File::open(desk.path("typed")).expect("the answer"))
        .output()
        .expect("it runs");
    succeeds(&output, &["40 frames exposed"]);
    let told = record(&desk);
    for row in told["rows"].as_array().expect("rows") {
        assert_eq!(row["exposures"], 1, "{row}");
    }
}
