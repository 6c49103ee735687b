//! A stand without a motor and without a board, on a terminal: the person at the cranks is told what
//! to do, and every wrong reading is caught before the frame is exposed.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::rc::Rc;

use support::seat::Seat;
use tempfile::TempDir;

mod support;

/// The demonstration's stand that is cranked by hand, quick to come to rest, and the first three
/// frames of its shot, without its art.
fn demo() -> Rc<TempDir> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    let read = |name: &str| fs::read_to_string(demo.join(name)).expect("the demonstration's file");
    let stand = read("by-hand-stand.toml").replace("\"3 s\"", "\"20 ms\"");
    let stand = stand
        .replace("\"1.2 s\"", "\"20 ms\"")
        .replace("\"500 ms\"", "\"20 ms\"");
    let shot: String = read("by-hand-shot.toml")
        .lines()
        .filter(|line| !line.starts_with("art"))
        .map(|line| format!("{line}\n"))
        .collect();
    fs::write(folder.path().join("by-hand-stand.toml"), stand).expect("written");
    fs::write(folder.path().join("shot.toml"), shot).expect("written");
    Rc::new(folder)
}

const SHOOT: &[&str] = &["shoot", "shot.toml", "--take", "take", "--only", "1-3"];

/// Sets every scale to zero for the first two frames, and presses the release for both.
fn first_two_frames(seat: &mut Seat) {
    for level in ["reeds", "skiffs", "headland", "clouds"] {
        seat.read_up_to(&format!(
            "frame 1: move {level} until its east scale reads 0.0 mm"
        ));
        seat.read_up_to("its reading now");
        seat.type_line("0");
    }
    for frame in [1, 2] {
        seat.read_up_to(&format!("frame {frame}: everything is in place and still"));
        seat.type_line("");
    }
}

#[test]
fn it_needs_no_port_and_ends_with_every_frame_exposed() {
    let folder = demo();
    let mut seat = Seat::at(&folder, SHOOT);
    first_two_frames(&mut seat);
    // Large, for who stands at the crank: `REEDS WEST` in block letters.
    let before =
        seat.read_between("frame 3: move reeds west by 1.5 mm, until its east scale reads -1.5 mm");
    assert!(before.contains('\u{2580}'), "{before}");
    seat.read_up_to("its reading now");
    seat.type_line("-1.5");
    seat.read_up_to("frame 3: move skiffs west by 0.5 mm");
    seat.type_line("-0.5 mm");
    seat.read_up_to("frame 3: move clouds east by 0.5 mm");
    // 1/50 in is 0.508 mm.
    seat.type_line("1/50 in");
    seat.read_up_to("frame 3: everything is in place and still");
    seat.type_line("");
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
    let take = folder.path().join("take");
    assert_eq!(support::of_kind(&take, "done", "slot"), [1, 2, 3]);
    let output = Command::new(env!("CARGO_BIN_EXE_panestep"))
        .args(["record", "take", "--format", "csv"])
        .current_dir(folder.path())
        .output()
        .expect("it runs");
    let rows = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(rows.matches(",by its scales,").count(), 3, "{rows}");
}

/// The mistakes: the wrong way, short, double, the wrong level, another unit.
#[test]
fn every_mistake_is_said_and_the_release_is_asked_for_only_when_all_is_right() {
    let folder = demo();
    let mut seat = Seat::at(&folder, SHOOT);
    for level in ["reeds", "skiffs", "headland", "clouds"] {
        seat.read_up_to(&format!("frame 1: move {level}"));
        // The reeds stand 6 mm to the east of where they should.
        seat.type_line(if level == "reeds" { "6" } else { "0" });
        if level == "reeds" {
            seat.read_up_to("6.0 mm is 6.0 mm too high");
            seat.read_up_to("frame 1: move reeds west by 6.0 mm");
            seat.type_line("12");
            seat.read_up_to("12.0 mm: reeds has gone the wrong way, 6.0 mm away");
            seat.read_up_to("move reeds west by 12.0 mm");
            seat.type_line("4.5");
            seat.read_up_to("has not gone far enough, 4.5 mm are missing");
            seat.type_line("-4.5");
            seat.read_up_to("-4.5 mm: reeds has gone twice as far as it should");
            seat.read_up_to("move reeds east by 4.5 mm");
            seat.type_line("0");
        }
    }
    for frame in [1, 2] {
        let before = seat.read_between(&format!("frame {frame}: everything is in place"));
        assert!(!before.contains("wrong way"), "{before}");
        seat.type_line("");
    }
    seat.read_up_to("frame 3: move reeds west by 1.5 mm");
    seat.type_line("0");
    seat.read_up_to("0 mm is where it stood before: reeds has not moved yet");
    seat.read_up_to("frame 3: move reeds west by 1.5 mm");
    seat.type_line("-1.5");
    // Where has the hand been before? The headland is not to be moved in this frame.
    seat.read_up_to("headland may have been moved in place of reeds east");
    seat.read_up_to("see that the east scale of headland reads 0.0 mm");
    seat.type_line("-1.5");
    seat.read_up_to("It was moved in place of reeds east: move it back east by 1.5 mm");
    seat.type_line("0");
    seat.read_up_to("frame 3: move skiffs west by 0.5 mm");
    seat.type_line("3 deg");
    seat.read_up_to("`3 deg` is an angle, but a length is wanted");
    seat.type_line("-500");
    seat.read_up_to("-500.0 mm is beyond its travel, from -50.0 mm to 30.0 mm");
    seat.type_line("-0.5");
    seat.read_up_to("frame 3: move clouds east by 0.5 mm");
    // One division, and not moved.
    seat.type_line("0");
    seat.read_up_to("0 mm is where it stood before: clouds has not moved yet");
    seat.type_line("0.5");
    for (level, reading) in [("reeds", "-1.5"), ("skiffs", "-0.5"), ("headland", "0")] {
        seat.read_up_to(&format!(
            "{level} may have been moved in place of clouds east"
        ));
        seat.type_line(reading);
    }
    seat.read_up_to("frame 3: everything is in place and still");
    seat.type_line("");
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
}

#[test]
fn it_rehearses_stops_and_goes_on() {
    let folder = demo();
    let mut seat = Seat::at(&folder, &["rehearse", "shot.toml"]);
    seat.read_up_to("frame 1: move reeds");
    seat.interrupt();
    seat.read_up_to("the rehearsal was stopped");
    assert_eq!(seat.code(), Some(3));

    let mut seat = Seat::at(&folder, SHOOT);
    first_two_frames(&mut seat);
    seat.read_up_to("frame 3: move reeds west");
    // An Enter too many ends nothing.
    seat.type_line("");
    seat.read_up_to("or stop to stop here");
    seat.type_line("stop");
    seat.read_up_to("stopped before frame 3");
    assert_eq!(seat.code(), Some(3));
    let mut seat = Seat::at(&folder, &["resume", "take"]);
    // Whoever comes back looks at every scale once; where it stood is in the journal.
    for (level, reading) in [
        ("reeds", "-1.5"),
        ("skiffs", "-0.5"),
        ("headland", "0"),
        ("clouds", "0.5"),
    ] {
        seat.read_up_to("frame 3: ");
        seat.read_up_to(level);
        seat.type_line(reading);
    }
    seat.read_up_to("frame 3: everything is in place and still");
    seat.type_line("");
    seat.read_up_to("3 frames exposed");
    assert_eq!(seat.code(), Some(0));
}

#[test]
fn ports_and_a_simulated_stand_have_nothing_to_do_with_it() {
    let folder = demo();
    for (words, says) in [
        (
            &["shoot", "shot.toml", "--port", "main=/dev/null"][..],
            "it has no boards at all",
        ),
        (&["simulate", "by-hand-stand.toml"], "has no board"),
        (
            &["home", "--stand", "by-hand-stand.toml"],
            "no axis that a motor moves",
        ),
        (
            &["power-up", "--stand", "by-hand-stand.toml"],
            "no axis that a motor moves",
        ),
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_panestep"))
            .args(words)
            .current_dir(folder.path())
            .output()
            .expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(says), "{said}");
    }
}

#[test]
fn a_motor_or_a_release_line_needs_a_board() {
    let folder = demo();
    let path = folder.path().join("by-hand-stand.toml");
    let stand = fs::read_to_string(&path).expect("the stand");
    fs::write(
        &path,
        stand.replace("by_hand = true", "board = \"main\"\npress = \"50 ms\""),
    )
    .expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_panestep"))
        .args(["plan", "shot.toml"])
        .current_dir(folder.path())
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(
        said.contains("`board` is `main`, but the file has none of them"),
        "{said}"
    );
}
