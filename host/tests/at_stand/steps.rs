//! Through a shot with keys.

use std::process::{Command, Stdio};
use std::rc::Rc;

use rustix::process::Signal;

use super::support::seat::Seat;
use super::{folder, says, support};

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
    seat.read_up_to("home check of quay east");
    seat.read_up_to("every axis is where it is counted");
    // No frame has been exposed that could have been checked.
    let after = seat.read_between("nothing was exposed");
    assert!(!after.contains("checked"), "{after}");
    assert_eq!(seat.code(), Some(0));
    assert!(seat.is_restored());

    // Ctrl-C while a key is waited for.
    let mut seat = Seat::at(&folder, &["rehearse", "shot.toml", "--step"]);
    seat.read_up_to("l: leave");
    seat.interrupt();
    seat.read_up_to("the rehearsal was stopped");
    assert_eq!(seat.code(), Some(3));
    assert!(seat.is_restored());
}

/// Whatever ends it on the spot, the terminal is given back.
#[test]
fn the_terminal_is_given_back_by_a_second_signal_and_by_the_harsh_one() {
    let folder = folder();
    for signals in [
        &[Signal::INT, Signal::TERM][..],
        &[Signal::TERM, Signal::HUP],
        &[Signal::QUIT],
    ] {
        let mut seat = Seat::at(&folder, &["rehearse", "shot.toml", "--step"]);
        seat.read_up_to("l: leave");
        assert!(!seat.is_restored(), "single keys are read");
        for &signal in signals {
            seat.signal(signal);
        }
        let code = seat.code();
        assert!(seat.is_restored(), "{signals:?}");
        // What SIGQUIT ends has no code.
        let killed = signals == [Signal::QUIT];
        assert_eq!(code, (!killed).then_some(3), "{signals:?}");
    }
}

/// Nobody there any more: that is no rehearsal that is over.
#[test]
fn the_end_of_the_input_stops_a_rehearsal_by_steps() {
    let folder = folder();
    let stepped = ["rehearse", "shot.toml", "--step"];
    says(&folder, &stepped, 3, &["the rehearsal was stopped"]);
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
