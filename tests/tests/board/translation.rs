//! The emulation itself: its quick way through the instructions against the package's own.

use std::time::Duration;

use panestep_tests::board::Line;

use crate::rig::{Session, board, short, sure};

/// Between two looks at the core: at another place of the tick every time.
const EVERY: Duration = Duration::from_nanos(7013);

#[test]
fn the_translated_instructions_do_what_the_interpreted_ones_do() {
    let schedule = short(&[0], 1);
    let mut session = Session::open(&schedule, Line::Usb, 11);
    session.home(0);
    session.go(&[(0, 4000)]);
    let (compared, differences) = session
        .board
        .doubt(Duration::from_millis(60))
        .expect("the board");
    assert!(compared > 500_000, "{compared} instructions");
    assert!(differences.is_empty(), "{differences:#?}");
    let status = session.rest();
    assert_eq!(status.positions[0].0, 4000);
    session.assert_clean();
}

/// The translation does many instructions in one go; here such runs are compared, not single
/// instructions: start, USB, homing and a move come out the same by the package's interpreter alone,
/// to the nanosecond and to the register.
#[test]
fn whole_blocks_do_what_the_interpreter_does() {
    let schedule = short(&[0], 1);
    let run = |plain: bool| {
        let board = board(&schedule, Line::Usb, 15);
        board.plain(plain).expect("the board");
        let (begin, _) = sure(board.trace(Duration::from_millis(5), EVERY));
        let mut session = Session::again(&board);
        session.set_up(&schedule);
        session.home(0);
        board.log(true).expect("the board");
        session.go(&[(0, 4000)]);
        // The first part of the ramp.
        let (way, memory) = sure(board.trace(Duration::from_millis(60), EVERY));
        let pulses = board.pulses().expect("the board");
        let (load, _) = board.load().expect("the board");
        let end = (board.now(), format!("{load:?}"), memory);
        session.assert_clean();
        (begin, way, pulses, end)
    };
    let (whole, plain) = (run(false), run(true));
    assert!(whole.1.len() > 5000, "{} looks", whole.1.len());
    assert!(whole.2.len() > 30, "{} pulses", whole.2.len());
    for (what, ours, theirs) in [("start", whole.0, plain.0), ("move", whole.1, plain.1)] {
        let differs = ours
            .iter()
            .zip(&theirs)
            .position(|(our, their)| our != their);
        assert_eq!(
            differs, None,
            "{what}: at which look, {EVERY:?} apart, the two part"
        );
        assert_eq!(ours.len(), theirs.len(), "{what}");
    }
    assert_eq!(whole.2, plain.2);
    assert_eq!(whole.3, plain.3);
}

/// And each by itself, with the flags before it also the other way round: what it leaves as it was
/// would not be seen where it was right by chance.
#[test]
fn every_block_leaves_what_the_interpreter_leaves() {
    let schedule = short(&[0, 4], 1);
    let board = board(&schedule, Line::Usb, 18);
    let (compared, differences) = sure(board.doubt_blocks(|| {
        let mut session = Session::again(&board);
        session.set_up(&schedule);
        session.home(0);
        session.go(&[(0, 300)]);
        session.rest();
        session.assert_clean();
        Ok(())
    }));
    assert!(compared > 2000, "{compared}");
    assert!(differences.is_empty(), "{differences:#?}");
}

#[test]
fn the_same_run_is_the_same_every_time() {
    let schedule = short(&[4], 1);
    let run = || {
        let mut session = Session::open(&schedule, Line::Usb, 14);
        session.board.log(true).expect("the board");
        session.home(4);
        let pulses = session.board.pulses().expect("the board");
        let (load, _) = session.board.load().expect("the board");
        let boot = session.link.boot();
        let end = (session.board.now(), boot, format!("{load:?}"));
        session.assert_clean();
        (pulses, end)
    };
    let (first, second) = (run(), run());
    assert!(first.0.len() > 500, "{} pulses", first.0.len());
    assert_eq!(first, second);
}
