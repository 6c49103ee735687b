//! The program on a terminal: what a person types, and Ctrl-C.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::rc::Rc;
use std::time::{Duration, Instant};

use support::seat::{LIMIT, Seat};
use tempfile::TempDir;

mod support;

/// A folder with the stand that has a level set by hand.
fn by_hand() -> Rc<TempDir> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for name in ["hand.stand.toml", "hand.shot.toml"] {
        let from = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/data")
            .join(name);
        fs::copy(from, folder.path().join(name)).expect("the test's files");
    }
    Rc::new(folder)
}

/// A folder with a stand of one motor and a shot of three frames.
fn three_frames(fired: &str, more: &str) -> Rc<TempDir> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    support::write(folder.path(), fired, more, 3);
    fs::create_dir(folder.path().join("card")).expect("a folder");
    Rc::new(folder)
}

const SHOOT: &[&str] = &[
    "shoot",
    "hand.shot.toml",
    "--take",
    "take",
    "--without-pictures",
];

#[test]
fn a_person_sets_a_level_and_is_told_of_every_wrong_reading() {
    let mut seat = Seat::at(&by_hand(), SHOOT);
    seat.read_up_to("north scale reads 4.0 mm");
    seat.read_up_to("its reading now");
    seat.type_line("-4");
    seat.read_up_to("wrong side of zero");
    seat.read_up_to("move sky north by 8.0 mm");
    seat.type_line("four");
    seat.read_up_to("not a reading");
    seat.type_line("5");
    seat.read_up_to("1.0 mm too high");
    seat.read_up_to("move sky south by 1.0 mm");
    seat.type_line("4 mm");
    seat.read_up_to("move sky south by 10.0 mm");
    seat.read_up_to("its reading now");
    seat.type_line("-6.0");
    seat.read_up_to("2 frames exposed, each exactly once");
    assert_eq!(seat.code(), Some(0));
}

#[test]
fn ctrl_c_ends_the_wait_for_a_person_and_says_how_to_go_on() {
    let mut seat = Seat::at(&by_hand(), SHOOT);
    seat.read_up_to("its reading now");
    seat.interrupt();
    seat.read_up_to("stopped before frame 1");
    seat.read_up_to("panestep resume take");
    assert_eq!(seat.code(), Some(3));
    assert!(seat.folder.path().join("take/journal.jsonl").is_file());
}

#[test]
fn the_word_stop_stops_too() {
    let mut seat = Seat::at(&by_hand(), SHOOT);
    seat.read_up_to("its reading now");
    seat.type_line("4");
    seat.read_up_to("frame 2: move sky");
    seat.type_line("stop");
    seat.read_up_to("stopped before frame 2");
    assert_eq!(seat.code(), Some(3));
}

const TAKE: &[&str] = &["shoot", "shot.toml", "--take", "take"];
const RESUME: &[&str] = &["resume", "take"];

/// Fails once, at the second frame, and may have fired the camera before.
const FAILS_ONCE: &str =
    "if [ \"$1\" = 2 ] && [ ! -e failed ]; then touch failed; echo 'card error' >&2; exit 5; fi";

/// The question comes, with all that is known.
#[track_caller]
fn asks(seat: &mut Seat) {
    seat.read_up_to("ended with exit code 5");
    seat.read_up_to("card error");
    seat.read_up_to("frame 2: the command that takes the picture ended with exit code 5");
    seat.read_up_to("has frame 2 been exposed, once and whole?");
}

#[test]
fn a_yes_counts_and_can_be_taken_back() {
    let folder = three_frames(support::COMMAND, "");
    support::script(folder.path(), FAILS_ONCE);
    let take = folder.path().join("take");
    let mut seat = Seat::at(&folder, TAKE);
    asks(&mut seat);
    seat.type_line("perhaps");
    seat.read_up_to("please type yes or no");
    seat.type_line("yes");
    seat.read_up_to("panestep resume take --take-back 2");
    seat.read_up_to("3 frames exposed, 1 of them by a person's word;");
    assert_eq!(seat.code(), Some(0));
    assert_eq!(support::of_kind(&take, "verdict", "exposed"), [true]);
    assert_eq!(support::of_kind(&take, "done", "slot"), [1, 3]);

    let mut seat = Seat::at(&folder, &["resume", "take", "--take-back", "2"]);
    seat.read_up_to("frame 2: not exposed after all");
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
    assert_eq!(support::of_kind(&take, "taken-back", "exposed"), [false]);
    assert_eq!(support::of_kind(&take, "done", "slot"), [1, 3, 4]);

    // Nothing was ever said about the third.
    let mut seat = Seat::at(&folder, &["resume", "take", "--take-back", "3"]);
    seat.read_up_to("no answer about frame 3");
    assert_eq!(seat.code(), Some(2));
}

#[test]
fn a_no_exposes_the_frame_anew() {
    let folder = three_frames(support::COMMAND, "");
    support::script(folder.path(), FAILS_ONCE);
    let take = folder.path().join("take");
    let mut seat = Seat::at(&folder, TAKE);
    asks(&mut seat);
    seat.type_line("no");
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
    assert_eq!(support::of_kind(&take, "verdict", "exposed"), [false]);
    assert_eq!(support::of_kind(&take, "done", "slot"), [1, 2, 3]);
    assert_eq!(support::of_kind(&take, "done", "attempt"), [1, 2, 1]);
}

#[test]
fn a_question_without_an_answer_comes_again() {
    let folder = three_frames(support::COMMAND, "");
    support::script(folder.path(), FAILS_ONCE);
    let mut seat = Seat::at(&folder, TAKE);
    asks(&mut seat);
    seat.type_line("");
    seat.read_up_to("whether frame 2 has been exposed is still open");
    seat.read_up_to("panestep resume take");
    assert_eq!(seat.code(), Some(3));

    let mut seat = Seat::at(&folder, RESUME);
    seat.read_up_to("frame 2 was begun");
    seat.read_up_to("has frame 2 been exposed");
    seat.interrupt();
    seat.read_up_to("will be asked again");
    assert_eq!(seat.code(), Some(3));

    let mut seat = Seat::at(&folder, RESUME);
    seat.read_up_to("has frame 2 been exposed");
    seat.type_line("no");
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
    let take = folder.path().join("take");
    assert_eq!(support::of_kind(&take, "done", "slot"), [1, 2, 3]);
}

#[test]
fn a_command_that_hangs_is_ended_and_asked_about() {
    let fired = support::COMMAND.replace("60 s", "3 s");
    let folder = three_frames(&fired, "");
    support::script(
        folder.path(),
        "if [ \"$1\" = 3 ] && [ ! -e hung ]; then touch hung; echo 'no lens' >&2; sleep 300; fi",
    );
    let mut seat = Seat::at(&folder, TAKE);
    seat.read_up_to("./photograph 3 had not ended after 3 s, and was ended");
    seat.read_up_to("no lens");
    seat.read_up_to("has frame 3 been exposed");
    seat.type_line("no");
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
}

#[test]
fn ctrl_c_does_not_reach_the_command_and_its_exposure_is_finished() {
    let folder = three_frames(support::COMMAND, "");
    // It waits for the test, for a minute at most.
    support::script(
        folder.path(),
        "touch begun; n=0; while [ ! -e go ] && [ $n -lt 600 ]; do sleep 0.1; n=$((n + 1)); done; \
         echo $1 >>fired",
    );
    let mut seat = Seat::at(&folder, TAKE);
    let begun = Instant::now();
    while !folder.path().join("begun").exists() {
        assert!(begun.elapsed() < LIMIT, "the command was never run");
        std::thread::sleep(Duration::from_millis(10));
    }
    seat.interrupt();
    fs::write(folder.path().join("go"), "").expect("written");
    seat.read_up_to("stopped before frame 2");
    assert_eq!(seat.code(), Some(3));
    let fired = fs::read_to_string(folder.path().join("fired")).expect("written");
    assert_eq!(fired, "1\n");
    let take = folder.path().join("take");
    assert_eq!(support::of_kind(&take, "done", "slot"), [1]);
}

#[test]
fn every_picture_of_a_command_is_named_and_a_black_one_and_a_copy_ask() {
    let folder = three_frames(support::COMMAND, support::CARD);
    let at = |name: &str| folder.path().join(name);
    for (name, shade) in [("1.png", 90), ("2.png", 0), ("3.png", 90)] {
        support::picture(&at(name), shade);
    }
    support::script(folder.path(), "cp $1.png card/IMG_$1.png");
    let mut seat = Seat::at(&folder, TAKE);
    seat.read_up_to("the picture that has come is black");
    seat.read_up_to("new in card: IMG_2.png");
    seat.type_line("yes");
    seat.read_up_to("the same, dot for dot");
    seat.read_up_to("new in card: IMG_3.png");
    support::picture(&at("3.png"), 91);
    support::script(folder.path(), "cp $1.png card/IMG_$1b.png");
    seat.type_line("no");
    seat.read_up_to("3 frames exposed, 1 of them by a person's word");
    assert_eq!(seat.code(), Some(0));
    let take = at("take");
    let pictures = support::of_kind(&take, "done", "picture");
    let files: Vec<_> = pictures.iter().map(|picture| &picture["file"]).collect();
    assert_eq!(files, ["IMG_1.png", "IMG_3b.png"]);
    assert_eq!(support::of_kind(&take, "verdict", "exposed"), [true, false]);
}

/// Whoever leaves while a finger is waited for has not said that the release was left alone.
#[test]
fn an_interrupt_while_a_finger_is_waited_for_leaves_a_question() {
    let folder = three_frames(support::HAND, "");
    let mut seat = Seat::at(&folder, TAKE);
    seat.read_up_to("frame 1: everything is in place and still");
    seat.interrupt();
    seat.read_up_to("whether frame 1 has been exposed is still open");
    assert_eq!(seat.code(), Some(3));
    let mut seat = Seat::at(&folder, RESUME);
    seat.read_up_to("has frame 1 been exposed");
    seat.type_line("yes");
    for frame in [2, 3] {
        seat.read_up_to(&format!("frame {frame}: everything is in place and still"));
        seat.type_line("");
    }
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
    let take = folder.path().join("take");
    assert_eq!(support::of_kind(&take, "done", "slot"), [2, 3]);
}

#[test]
fn a_finger_fires_where_nothing_else_does() {
    let folder = three_frames(support::HAND, "");
    let mut seat = Seat::at(&folder, TAKE);
    seat.read_up_to("frame 1: everything is in place and still");
    seat.type_line("what?");
    seat.read_up_to("just Enter");
    seat.type_line("");
    seat.read_up_to("frame 2: everything is in place and still");
    // Others can look on meanwhile, but not work on it.
    let other = |arguments: &[&str]| {
        Command::new(env!("CARGO_BIN_EXE_panestep"))
            .args(arguments)
            .current_dir(folder.path())
            .output()
            .expect("it runs")
    };
    let output = other(&["record", "take", "--format", "csv"]);
    assert_eq!(output.status.code(), Some(0));
    let rows = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(rows.contains("\n1,exposed,1,1,,"), "{rows}");
    assert!(rows.contains("\n2,begun,,0,,,,"), "{rows}");
    let output = other(RESUME);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("another program is working"), "{said}");
    assert!(said.contains("panestep record take"), "{said}");
    seat.type_line("no");
    seat.read_up_to("stopped before frame 2");
    assert_eq!(seat.code(), Some(3));
    let mut seat = Seat::at(&folder, RESUME);
    for frame in [2, 3] {
        seat.read_up_to(&format!("frame {frame}: everything is in place and still"));
        seat.type_line("");
    }
    seat.read_up_to("3 frames exposed; nothing on this stand could tell");
    assert_eq!(seat.code(), Some(0));
    let take = folder.path().join("take");
    let pictures = fs::read_dir(take.join("pictures")).expect("the pictures");
    assert_eq!(pictures.count(), 3);
    assert_eq!(support::of_kind(&take, "done", "slot"), [1, 2, 3]);
}

/// Somebody presses the camera's release while the take waits for a person.
#[test]
fn a_surplus_picture_stops_the_take_which_then_goes_on_without_it() {
    let folder = by_hand();
    let path = folder.path().join("hand.stand.toml");
    let mut stand = fs::read_to_string(&path).expect("the stand");
    stand.push_str(&format!("\n{}\n", support::CARD));
    fs::write(&path, stand).expect("written");
    let card = folder.path().join("card");
    fs::create_dir(&card).expect("a folder");
    let mut seat = Seat::at(&folder, &["shoot", "hand.shot.toml", "--take", "take"]);
    seat.read_up_to("its reading now");
    seat.type_line("4");
    seat.read_up_to("its reading now");
    support::picture(&card.join("surplus.png"), 50);
    seat.type_line("-6");
    seat.read_up_to("surplus.png");
    seat.read_up_to("panestep resume take");
    assert_eq!(seat.code(), Some(3));

    let mut seat = Seat::at(&folder, RESUME);
    seat.read_up_to("its reading now");
    seat.type_line("-6");
    seat.read_up_to("2 frames exposed, each exactly once");
    assert_eq!(seat.code(), Some(0));
    let take = folder.path().join("take");
    let pictures = support::of_kind(&take, "done", "picture");
    let files: Vec<_> = pictures.iter().map(|picture| &picture["file"]).collect();
    assert_eq!(files, ["picture-00001.png", "picture-00002.png"]);
}
