//! What a tick costs, in cycles counted by the emulator; `--nocapture` shows it.

#![allow(clippy::print_stdout, reason = "the figures")]

use std::time::Duration;

use panestep::link::session::ANSWER;
use panestep_protocol::Activity;
use panestep_tests::board::Line;

use crate::rig::{Session, demo};

/// The host never waits for longer than it is ready to while axes move: from the order of a move on,
/// which is planned first, to its end.
#[test]
fn every_request_is_answered_in_time_while_six_axes_move() {
    let (_, plan) = demo();
    let schedule = plan.schedule();
    for (line, seed) in [(Line::Usb, 16), (Line::Uart, 17)] {
        let mut session = Session::open(schedule, line, seed);
        for motor in &schedule.motors {
            session.home(motor.channel);
        }
        let ways: Vec<(u8, i32)> = schedule
            .motors
            .iter()
            .map(|motor| (motor.channel, 3000 + 7 * i32::from(motor.channel)))
            .collect();
        session.board.talk();
        session.go(&ways);
        let mut asked = 2;
        while session.link.status().expect("the board").activity != Activity::Idle {
            asked += 1;
            // At another place of the tick every time.
            let time = Duration::from_nanos(1_003_700);
            session.board.pass(time).expect("the board");
        }
        let talk = session.board.talk();
        println!("{line:?}: {talk:?}");
        assert_eq!(talk.requests, asked + 1, "{line:?}");
        assert!(talk.requests > 50, "{line:?}: {talk:?}");
        assert_eq!(talk.repeated, 0, "{line:?}: {talk:?}");
        assert!(talk.longest < ANSWER, "{line:?}: {talk:?}");
        session.assert_clean();
    }
}

/// Six axes at 8000 steps a second each, up and down the ramp: the processor is never so late that a
/// tick has to wait for the one before.
#[test]
fn no_tick_waits_for_another_while_six_axes_move() {
    let (_, plan) = demo();
    let schedule = plan.schedule();
    let mut session = Session::open(schedule, Line::Usb, 13);
    for motor in &schedule.motors {
        session.home(motor.channel);
    }
    let ways: Vec<(u8, i32)> = schedule
        .motors
        .iter()
        .map(|motor| (motor.channel, 5000 + i32::from(motor.channel)))
        .collect();
    session.go(&ways);
    // The beginning itself may hold a tick off: nothing moves yet.
    session.board.measure().expect("the board");
    let status = session.rest();
    let (_, window) = session.board.load().expect("the board");
    let window = window.expect("measured");
    for motor in &schedule.motors {
        let axis = usize::from(motor.channel);
        assert_eq!(status.positions[axis].0, 5000 + i32::from(motor.channel));
    }
    let (mean, share) = window.tick().expect("ticks");
    let tick = &window.handlers[&panestep_tests::board::model::TICK];
    let slot = 125e6 / f64::from(session.link.identity().tick_rate);
    println!(
        "six axes: {mean:.0} cycles a tick, at most {:.0}, at least {:.0}, of {slot:.0}; {:.1} % of \
         the core; at most {:.0} cycles late; the core waits {:.1} % of the time",
        tick.most,
        tick.least,
        100.0 * share,
        tick.late,
        100.0 * window.idle / window.cycles,
    );
    assert_eq!(window.overruns, 0, "{window:?}");
    // Even the longest tick, held off for the longest time, has handed its pulses over before the
    // slot that they belong to: it does not take luck that the two do not meet. It is asked for
    // 400 ns after the slot's beginning.
    assert!(tick.late + tick.most < 0.96 * slot, "{window:?}");
    for motor in &schedule.motors {
        let axis = &session.counters().axes[usize::from(motor.channel)];
        println!(
            "{}: pulses at least {:?} ns high and {:?} low, direction {:?} before and {:?} after",
            motor.name(),
            axis.high.unwrap_or_default(),
            axis.low.unwrap_or_default(),
            axis.setup.unwrap_or_default(),
            axis.hold.unwrap_or_default(),
        );
    }
    session.assert_clean();
}
