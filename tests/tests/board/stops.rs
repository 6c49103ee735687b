//! What stops a move: a switch, the stop circuit, a host that has gone silent.

use std::time::Duration;

use panestep::link::LinkError;
use panestep::link::session::SILENCE;
use panestep_protocol::{AxisIndex, Command, Halt, Refusal, Status, Toward};
use panestep_tests::board::{Line, Pulse, When};

use crate::rig::{BRAKING, Session, short};

/// One axis is a motor wired the other way round.
const AXES: [usize; 2] = [0, 4];
const FIRST: u8 = 0;
const SECOND: u8 = 4;

/// Both axes homed and some way off their switches.
fn ready(seed: u32) -> Session {
    let schedule = short(&AXES, 1);
    let mut session = Session::open(&schedule, Line::Usb, seed);
    session.home(FIRST);
    session.home(SECOND);
    session.go(&[(FIRST, 5000), (SECOND, 1000)]);
    session.rest();
    session.board.strict(0x3f).expect("the board");
    session
}

/// Where a carriage is, by the count that began at its switch.
fn place(session: &Session, axis: u8) -> i64 {
    let motor = short(&AXES, 1)
        .motors
        .into_iter()
        .find(|motor| motor.channel == axis)
        .expect("an axis of the schedule");
    session.counters().axes[usize::from(axis)].position - i64::from(motor.switch)
}

/// The board has counted these axes' steps as they came out of the pins.
fn assert_counted(session: &Session, status: &Status, axes: &[u8]) {
    for &axis in axes {
        let counted = i64::from(status.positions[usize::from(axis)].0);
        assert_eq!(counted, place(session, axis), "axis {axis}");
    }
}

/// The stop circuit is closed again, and a person has seen why it was open.
fn let_go(session: &mut Session) {
    session.board.stop(false, When::Now).expect("the board");
    session
        .board
        .pass(Duration::from_millis(1))
        .expect("the board");
    session.done(Command::Acknowledge);
}

fn of(pulses: &[Pulse], axis: u8) -> Vec<f64> {
    pulses
        .iter()
        .filter(|pulse| pulse.axis == axis)
        .map(|pulse| pulse.at)
        .collect()
}

/// Nanoseconds from one tick to the next: a pulse of the tick before the one that sees an input may
/// still come out at the beginning of the slot in which the input changes.
fn slot(session: &Session) -> f64 {
    1e9 / f64::from(session.link.identity().tick_rate)
}

/// An axis that was at its highest speed comes to a stop on a ramp from a time on.
fn assert_gentle(pulses: &[f64], from: f64) {
    let braking: Vec<f64> = pulses.iter().copied().filter(|&at| at > from).collect();
    assert!(braking.len() > 100, "{} pulses after", braking.len());
    let gaps: Vec<f64> = braking.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let mean = |gaps: &[f64]| gaps.iter().sum::<f64>() / gaps.len() as f64;
    // Pulses keep to ticks: single intervals go up and down by one, tenths of the way do not.
    let tenths: Vec<f64> = gaps.chunks(gaps.len().div_ceil(10)).map(mean).collect();
    assert!(tenths.is_sorted(), "{tenths:?}");
    let (first, last) = (tenths[0], gaps[gaps.len() - 1]);
    assert!(last > 5.0 * first, "{first} ns at first, {last} at last");
}

#[test]
fn a_switch_that_trips_in_a_move_stops_its_axis_at_once_and_the_others_gently() {
    let mut session = ready(2);
    session.board.log(true).expect("the board");
    let tripped = When::After {
        axis: FIRST,
        pulses: 1500,
    };
    session
        .board
        .force(FIRST, Some(true), tripped)
        .expect("the board");
    session.go(&[(FIRST, 500), (SECOND, 5500)]);
    let status = session.rest();
    assert_eq!(
        status.halt,
        Some(Halt::Limit {
            axis: AxisIndex(FIRST),
            toward: Toward::Negative
        })
    );
    assert!(
        !status.homed.contains(usize::from(FIRST)),
        "not trusted any more"
    );
    assert!(status.homed.contains(usize::from(SECOND)), "it has braked");
    assert!(status.drivers, "a level that can fall is held");
    let pulses = session.board.pulses().expect("the board");
    let slot = slot(&session);
    let (first, second) = (of(&pulses, FIRST), of(&pulses, SECOND));
    let trip = first[1499];
    assert!(first.iter().all(|&at| at <= trip + slot), "{first:?}");
    let after = second.iter().filter(|&&at| at > trip + 2.0 * slot).count();
    let last = second.last().expect("it moved") - trip;
    assert!(after > 100, "it was fast: {after} pulses after");
    assert_gentle(&second, trip + 2.0 * slot);
    assert!(last < BRAKING.as_nanos() as f64, "{last} ns");
    assert_counted(&session, &status, &[FIRST, SECOND]);
    session.assert_clean();
}

#[test]
fn the_stop_circuit_stops_everything_at_once() {
    let mut session = ready(3);
    session.board.log(true).expect("the board");
    let pressed = When::After {
        axis: SECOND,
        pulses: 1500,
    };
    session.board.stop(true, pressed).expect("the board");
    session.go(&[(FIRST, 500), (SECOND, 5500)]);
    let status = session.rest();
    assert_eq!(status.halt, Some(Halt::Stop));
    assert!(status.switches.stop);
    assert!(status.homed.is_empty());
    assert!(status.drivers, "a level that can fall is held");
    assert!(session.counters().drivers);
    let pulses = session.board.pulses().expect("the board");
    let pressed = of(&pulses, SECOND)[1499];
    let late = pulses
        .iter()
        .filter(|pulse| pulse.at > pressed + slot(&session))
        .count();
    assert_eq!(late, 0);
    // Nothing goes on before a person has let it.
    let refused = session.link.ask(Command::Acknowledge);
    assert!(matches!(
        refused,
        Err(LinkError::Refused {
            refusal: Refusal::Halted(Halt::Stop),
            ..
        })
    ));
    let_go(&mut session);
    session.assert_clean();
}

/// Wherever in the tick it opens: before the tick looks at its inputs, between its look and its
/// pulses, after them. That no pulse comes from the tick on that sees it is judged at the pins.
#[test]
fn the_stop_circuit_stops_it_at_every_place_of_the_tick() {
    let schedule = short(&[0], 1);
    let mut session = Session::open(&schedule, Line::Usb, 19);
    let slot = slot(&session);
    for part in 0..10 {
        session.home(FIRST);
        session.board.log(true).expect("the board");
        let by = Duration::from_nanos((slot * f64::from(part) / 10.0) as u64 + 333);
        let pressed = When::Later {
            axis: FIRST,
            pulses: 300,
            by,
        };
        session.board.stop(true, pressed).expect("the board");
        session.go(&[(FIRST, 2000)]);
        let status = session.rest();
        assert_eq!(status.halt, Some(Halt::Stop), "{by:?}");
        let pulses = of(&session.board.pulses().expect("the board"), FIRST);
        session.board.log(false).expect("the board");
        let opened = pulses[299] + by.as_nanos() as f64;
        assert!(pulses.iter().all(|&at| at <= opened + slot), "{by:?}");
        assert_counted(&session, &status, &[FIRST]);
        let_go(&mut session);
    }
    session.assert_clean();
}

#[test]
fn a_silent_host_brings_everything_to_a_gentle_stop() {
    let mut session = ready(4);
    session.board.log(true).expect("the board");
    session.go(&[(FIRST, 30_000), (SECOND, 31_000)]);
    // Heard at the latest now.
    let heard = session.board.now();
    session
        .board
        .pass(SILENCE + BRAKING * 2)
        .expect("the board");
    let counters = session.counters();
    assert!(counters.drivers, "a level that can fall is held");
    let pulses = session.board.pulses().expect("the board");
    // Gentle: many pulses still after the limit, farther and farther apart.
    let silent = (heard + SILENCE).as_nanos() as f64;
    for axis in [FIRST, SECOND] {
        assert_gentle(&of(&pulses, axis), silent);
    }
    let last = pulses.last().expect("it moved").at;
    let limit = heard + SILENCE + BRAKING;
    assert!(last < limit.as_nanos() as f64, "{last}, {limit:?}");
    // It went on for as long as it may: the answer took a few milliseconds.
    let least = heard + SILENCE - Duration::from_millis(5);
    assert!(last > least.as_nanos() as f64, "{last}, {least:?}");
    let status = session.rest();
    assert_eq!(status.halt, Some(Halt::Silence));
    for axis in [FIRST, SECOND] {
        assert!(
            status.homed.contains(usize::from(axis)),
            "it knows where it is"
        );
    }
    assert_counted(&session, &status, &[FIRST, SECOND]);
    session.assert_clean();
}

/// A processor that is held up in the middle of a move cannot hand its pulses over in time: they
/// are not sent late, the board gives up.
#[test]
fn a_processor_that_is_held_up_in_a_move_gives_up() {
    let mut session = ready(6);
    session.board.log(true).expect("the board");
    let when = When::After {
        axis: SECOND,
        pulses: 1500,
    };
    // Three slots and a half: what they leave is made up for at once, four ticks in a row. Where the
    // other axis steps at one of them, its pulse would be late; its steps drift past the first's.
    let held = Duration::from_micros(35);
    session.board.hold(held, when).expect("the board");
    for later in 1..=20 {
        let when = When::After {
            axis: SECOND,
            pulses: 1500 + later,
        };
        session.board.hold(held, when).expect("the board");
    }
    session.go(&[(FIRST, 500), (SECOND, 4900)]);
    let status = session.rest();
    assert_eq!(status.halt, Some(Halt::Stop));
    assert!(status.homed.is_empty());
    assert!(session.counters().drivers, "a level that can fall is held");
    let pulses = session.board.pulses().expect("the board");
    let second = of(&pulses, SECOND);
    assert!((1500..=1521).contains(&second.len()), "{}", second.len());
    // Whatever came, came with its slot.
    let begun = second[0];
    for at in pulses.iter().map(|pulse| pulse.at) {
        let slots = (at - begun) / slot(&session);
        assert!((slots - slots.round()).abs() < 1e-3, "{at}");
    }
    session.assert_clean();
    // It stays so until it is reset.
    let refused = session.link.ask(Command::Acknowledge);
    assert!(refused.is_err(), "{refused:?}");
}
