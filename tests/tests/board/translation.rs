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
    assert!(compared > 2_000_000, "{compared} instructions");
    assert!(differences.is_empty(), "{differences:#?}");
    let status = session.rest();
    assert_eq!(status.positions[0].0, 4000);
    session.assert_clean();
}
