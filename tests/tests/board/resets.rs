//! Resets, power cuts and the watchdog.

use std::time::Duration;

use panestep::link::LinkError;
use panestep::schedule::Turn;
use panestep_protocol::{
    AxisIndex, AxisTarget, Command, FireOrder, Mark, Refusal, ShotId, Steps, Token,
};
use panestep_tests::board::{Line, Restart, When};

use crate::rig::{Bench, Session, assert_clean, short};

#[test]
fn a_reset_in_a_move_is_noticed_and_nothing_moves_until_homed() {
    let schedule = short(&[0, 4], 1);
    // The UART's port stays: only the board's start tells.
    let mut session = Session::open(&schedule, Line::Uart, 5);
    session.home(0);
    let reset = When::After {
        axis: 0,
        pulses: 900,
    };
    session
        .board
        .restart(Restart::Reset, reset)
        .expect("the board");
    session.go(&[(0, 6000)]);
    session
        .board
        .pass(Duration::from_millis(400))
        .expect("the board");
    let error = session.link.status().expect_err("another start");
    assert!(matches!(error, LinkError::Reset { .. }), "{error}");
    let board = session.board.clone();
    let counters = board.counters().expect("the board");
    assert_eq!(counters.starts, 2);
    assert!(!counters.drivers, "off until it is told");
    let mut session = Session::again(&board);
    session.set_up(&schedule);
    let status = session.link.status().expect("the board");
    assert!(status.homed.is_empty());
    let target = AxisTarget {
        axis: AxisIndex(0),
        from: Steps(0),
        to: Steps(100),
    };
    let refused = session.link.ask(Command::Move {
        targets: [target].into_iter().collect(),
    });
    assert!(
        matches!(
            refused,
            Err(LinkError::Refused {
                refusal: Refusal::NotHomed(_),
                ..
            })
        ),
        "{refused:?}"
    );
    let moved = |counters: &panestep_tests::board::Counters| counters.axes[0].all();
    assert_eq!(
        moved(&session.counters()),
        moved(&counters),
        "nothing has moved since"
    );
    session.home(0);
    session.assert_clean();
}

#[test]
fn a_take_goes_on_after_a_reset_in_a_move() {
    let frames = 3;
    let mut bench = Bench::new(short(&[0], frames), Line::Usb, 6);
    let board = bench.board.clone();
    let mut boards = bench.boards();
    let error = bench
        .shoot(&mut boards, &[], |progress| {
            if let panestep::take::Progress::Moving {
                turn: Turn { frame: 2, .. },
            } = progress
            {
                let soon = When::After {
                    axis: 0,
                    pulses: 20,
                };
                board.restart(Restart::Reset, soon).expect("the board");
            }
        })
        .expect_err("the port went away");
    assert!(error.resumable(), "{error}");
    let outcome = bench.shoot(&mut boards, &[], |_| ());
    assert_eq!(
        outcome.expect("it goes on"),
        panestep::take::Outcome::Finished
    );
    bench.assert_exact(frames);
}

/// The mark of an exposure that has been fired.
fn fired(session: &mut Session, slot: u32) -> Mark {
    let (shot, token) = (ShotId(0x77), Token { slot, attempt: 1 });
    session.done(Command::OpenShot {
        shot,
        spent: Token {
            slot: slot - 1,
            attempt: 1,
        },
    });
    session
        .board
        .pass(Duration::from_millis(50))
        .expect("the board");
    let ticks = |millis| {
        let time = Duration::from_millis(millis);
        session.link.ticks(time).expect("short")
    };
    let (half_press, press, window) = (ticks(5), ticks(20), ticks(200));
    session
        .link
        .ask(Command::Fire(FireOrder {
            shot,
            token,
            half_press,
            press,
            window,
        }))
        .expect("fired");
    session
        .board
        .pass(Duration::from_millis(300))
        .expect("the board");
    Mark { shot, token }
}

#[test]
fn the_mark_survives_a_reset_but_not_a_power_cut() {
    let schedule = short(&[0], 1);
    let mut session = Session::open(&schedule, Line::Usb, 7);
    assert_eq!(session.link.identity().mark, None, "memory held noise");
    session.home(0);
    let mark = fired(&mut session, 3);
    let counters = session.counters();
    assert_eq!(counters.exposures.len(), 1);
    assert!(counters.releases[0].half, "half-pressed before");
    let pressed = counters.releases[0].opened.expect("let go") - counters.releases[0].closed;
    // Twenty milliseconds, and a tick at either end.
    assert!((pressed - 20e6).abs() <= 2e4, "{pressed} ns");
    assert!(!counters.half && !counters.lamp);
    session.done(Command::Lamps { on: 1 });
    session
        .board
        .pass(Duration::from_millis(1))
        .expect("the board");
    assert!(session.counters().lamp);
    let board = session.board.clone();
    let boot = session.link.boot();
    board.restart(Restart::Reset, When::Now).expect("the board");
    let session = Session::again(&board);
    assert_eq!(session.link.identity().mark, Some(mark));
    assert_ne!(session.link.boot(), boot);
    let boot = session.link.boot();
    board.restart(Restart::Power, When::Now).expect("the board");
    let session = Session::again(&board);
    assert_eq!(session.link.identity().mark, None);
    assert_ne!(session.link.boot(), boot);
    assert_clean(&board);
}

#[test]
fn the_watchdog_resets_a_board_that_takes_no_ticks() {
    let schedule = short(&[0], 1);
    let mut session = Session::open(&schedule, Line::Usb, 8);
    session.home(0);
    let mark = fired(&mut session, 9);
    session.go(&[(0, 4000)]);
    session
        .board
        .pass(Duration::from_millis(300))
        .expect("the board");
    session.board.log(true).expect("the board");
    session.board.starve().expect("the board");
    let starved = session.board.now();
    session
        .board
        .pass(Duration::from_millis(500))
        .expect("the board");
    let board = session.board.clone();
    let counters = board.counters().expect("the board");
    assert_eq!((counters.starts, counters.watchdogs), (2, 1));
    assert!(!counters.drivers);
    // Without ticks there are no pulses, long before the watchdog bites.
    let pulses = board.pulses().expect("the board");
    let late = starved.as_nanos() as f64 + 20_000.0;
    assert_eq!(pulses.iter().filter(|pulse| pulse.at > late).count(), 0);
    let session = Session::again(&board);
    assert_eq!(session.link.identity().mark, Some(mark));
    assert_clean(&board);
}
