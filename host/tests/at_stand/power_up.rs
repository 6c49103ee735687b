//! The first power-up, with a hand on the simulated stand's switches.

use std::fs;
use std::path::PathBuf;
use std::rc::Rc;

use tempfile::TempDir;

use super::support::seat::Seat;
use super::{Stand, lifts, timely};

fn untested() -> (Rc<TempDir>, PathBuf, String) {
    let folder = lifts();
    let path = folder.path().join("stand.toml");
    let text = fs::read_to_string(&path).expect("there");
    let text = text
        .replace("stop_tested = \"2026-03-01\"\n", "# Not tested yet.\n")
        .replace("480 mm", "40 mm");
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
    out_to_the_stop_test(stand, seat);
}

/// The stop itself, and the axis sets out.
fn out_to_the_stop_test(stand: &mut Stand, seat: &mut Seat) {
    seat.read_up_to("press the stop of board main");
    stand.does("press stop");
    seat.read_up_to("it opens: let it go");
    stand.does("let go stop");
    // Not a lift, although the other levels have them.
    seat.read_up_to("quay east goes slowly to and fro");
    moves_again(seat, "yes");
    seat.read_up_to("under way");
}

/// A halt by the stop is told, and asked about.
fn moves_again(seat: &mut Seat, answer: &str) {
    seat.read_up_to("board main has stopped: the stop circuit");
    seat.read_up_to("may the motors be switched on again?");
    seat.type_line(answer);
}

/// Where quay east is by its board's count.
fn east(stand: &Stand) -> String {
    let rows = stand.says("where --format csv", 0, &[]);
    let row = rows.lines().find(|row| row.starts_with("quay,east"));
    let position = row.and_then(|row| row.split(',').nth(6).map(str::to_owned));
    position.expect("a position")
}

/// The stop test is passed, from where the axis goes.
fn through_the_stop_test(stand: &mut Stand, seat: &mut Seat) {
    stand.does("press stop");
    seat.read_up_to("it has stopped");
    seat.read_up_to("have you seen quay east move up to then");
    seat.type_line("yes");
    seat.read_up_to("have the motors lost their power too");
    seat.type_line("yes");
    seat.read_up_to("now let the stop out again");
    stand.does("let go stop");
    seat.read_up_to("press start, so that the motors have power again");
    seat.type_line("");
    seat.read_up_to("letting it out starts nothing");
}

#[test]
fn the_first_power_up_tries_everything_and_writes_what_it_found() {
    timely(tries_everything);
}

fn tries_everything() {
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
    out_to_the_stop_test(&mut stand, &mut seat);
    through_the_stop_test(&mut stand, &mut seat);
    for (what, toward) in [("quay", "east"), ("quay", "up"), ("sky", "up")] {
        seat.read_up_to(&format!("{what} goes {toward} by 1.000 mm; look at it"));
        if toward == "east" {
            moves_again(&mut seat, "yes");
        } else {
            seat.read_up_to("Enter: it goes");
            seat.type_line("");
        }
        seat.read_up_to(&format!("did it go {toward}?"));
        if toward == "east" {
            seat.type_line("perhaps");
            seat.read_up_to("please type yes, no, still or again");
            seat.type_line("no");
            seat.read_up_to("`reversed` of quay east has to be true");
            seat.read_up_to("goes east by 1.000 mm; look at it");
            seat.read_up_to("Enter: it goes");
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
    timely(refused);
}

fn refused() {
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
    seat.read_up_to("Enter when all that is so");
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
    stand.does("press stop");
    seat.read_up_to("have you seen quay east move");
    seat.type_line("yes");
    seat.read_up_to("have the motors lost their power too");
    seat.type_line("no");
    seat.read_up_to("the stop does not cut the motors' power");
    assert_eq!(seat.code(), Some(3));
    unwritten();
    stand.does("let go stop");
    stand.says("home", 2, &["panestep power-up"]);
}

/// A motor without power stands still whatever the stop does: its board counts all the same.
#[test]
fn a_stop_test_in_which_nothing_moved_is_not_passed() {
    timely(nothing_moved);
}

fn nothing_moved() {
    let (folder, path, before) = untested();
    let mut stand = Stand::new(&folder);
    let mut seat = stand.seat("power-up");
    seat.read_up_to("Enter when all that is so");
    seat.type_line("");
    up_to_the_stop_test(&mut stand, &mut seat);
    stand.does("press stop");
    seat.read_up_to("have you seen quay east move up to then");
    seat.type_line("no");
    seat.read_up_to("nobody has seen the stop of board main stop anything");
    seat.read_up_to("start has to be pressed");
    assert_eq!(seat.code(), Some(3));
    assert_eq!(fs::read_to_string(&path).expect("there"), before);
}

/// What is tried again begins where it began before; a stop that comes while a question waits is
/// told, and nothing moves before a yes.
#[test]
fn nothing_creeps_and_no_stop_goes_unseen_in_a_power_up() {
    timely(nothing_creeps);
}

fn nothing_creeps() {
    let (folder, path, before) = untested();
    let mut stand = Stand::new(&folder);
    let mut seat = stand.seat("power-up");
    seat.read_up_to("Enter when all that is so");
    seat.type_line("");
    up_to_the_stop_test(&mut stand, &mut seat);
    through_the_stop_test(&mut stand, &mut seat);
    moves_again(&mut seat, "yes");
    let mut began = None;
    for answer in ["again", "still", "no"] {
        seat.read_up_to("did it go east?");
        let east = east(&stand);
        assert_eq!(began.get_or_insert_with(|| east.clone()), &east, "{answer}");
        seat.type_line(answer);
        seat.read_up_to("Enter: it goes");
        seat.type_line("");
    }
    seat.read_up_to("did it go east?");
    let there = east(&stand);
    assert_eq!(began.as_ref(), Some(&there));
    stand.does("press stop");
    stand.does("let go stop");
    seat.type_line("yes");
    moves_again(&mut seat, "no");
    seat.read_up_to("nothing was moved");
    assert_eq!(seat.code(), Some(3));
    assert_eq!(east(&stand), there);
    assert_eq!(fs::read_to_string(&path).expect("there"), before);
}
