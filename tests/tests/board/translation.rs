//! The emulation itself: its quick way through the instructions against the package's own.

use std::time::Duration;

use panestep_tests::board::Line;

use crate::rig::{Session, short};

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
