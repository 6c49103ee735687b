//! Moves, limits, stop, silence.

mod bench;

use bench::{AXES, Bench, GUARD, RATE, SETUP, fire};
use panestep_protocol::{
    Activity, Answer, AxisIndex, AxisMask, Command, GuardSettings, Halt, NudgeOrder, Refusal,
    Steps, Ticks, Toward,
};

#[test]
fn a_move_ends_where_and_when_it_was_said_to() {
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 1200), (1, -300), (2, 0)]);
    let way = bench.under(command);
    assert_eq!(bench.rest(), way);
    for (axis, to) in [(0, 1200), (1, -300), (2, 0)] {
        assert_eq!(bench.position(axis), to);
        assert_eq!(bench.carriage(axis), i64::from(to));
    }
    // The other way: the direction lines need their time, twice.
    let back = bench.move_to(&[(0, 1100), (1, -350)]);
    let way = bench.under(back);
    assert_eq!(bench.rest(), way);
    assert_eq!((bench.carriage(0), bench.carriage(1)), (1100, -350));
}

#[test]
fn turning_round_at_once_keeps_the_drivers_time() {
    // The fake refuses a direction change within the set-up time of a pulse.
    let mut bench = Bench::homed();
    for to in [1, 0, 1, 0, 5, 4] {
        let from = bench.position(0);
        let by = Steps(to - from);
        let order = NudgeOrder {
            axis: AxisIndex(0),
            from: Steps(from),
            by,
        };
        let way = bench.under(Command::Nudge(order));
        assert_eq!(bench.rest(), way);
        assert_eq!(bench.carriage(0), i64::from(to));
        assert!(way <= 953 * RATE / 500 + 2 * SETUP);
    }
}

#[test]
fn stop_cuts_at_the_next_tick_and_is_latched() {
    for ticks in (1..4000).step_by(331) {
        let mut bench = Bench::homed();
        let command = bench.move_to(&[(0, 2000), (1, -800)]);
        bench.under(command);
        bench.tick(ticks.min(900));
        bench.status();
        bench.fake().stop = true;
        let before = bench.fake().count();
        bench.tick(1);
        assert_eq!(bench.fake().count(), before);
        let status = bench.status();
        assert_eq!(status.halt, Some(Halt::Stop));
        assert_eq!(status.homed, AxisMask::NONE);
        assert_eq!(status.activity, Activity::Idle);
        assert!(status.drivers && bench.fake().drivers, "the drivers hold");
        bench.tick(1000);
        assert_eq!(
            bench.refused(Command::Acknowledge),
            Refusal::Halted(Halt::Stop)
        );
        bench.fake().stop = false;
        bench.tick(1000);
        assert_eq!(bench.fake().count(), before, "the reset restarts nothing");
        assert_eq!(
            bench.status().halt,
            Some(Halt::Stop),
            "nor does it clear it"
        );
        bench.done(Command::Acknowledge);
        assert_eq!(bench.status().halt, None);
    }
}

#[test]
fn a_stop_of_one_tick_is_a_stop() {
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 2000)]);
    bench.under(command);
    bench.tick(500);
    bench.fake().stop = true;
    bench.tick(1);
    bench.fake().stop = false;
    let before = bench.fake().count();
    bench.tick(5000);
    assert_eq!(bench.fake().count(), before);
    assert_eq!(bench.status().halt, Some(Halt::Stop));
}

#[test]
fn a_limit_stops_its_axis_within_the_tick_and_the_others_gently() {
    let mut bench = Bench::homed();
    // Someone has left a tool in the way of axis 0's far switch: it trips at 1000.
    bench.fake().carriages[0].far.at = 1000;
    bench.fake().carriages[0].far.bounce = 30;
    let command = bench.move_to(&[(0, 2500), (1, 2400)]);
    bench.under(command);
    while bench.carriage(0) < 1000 {
        bench.tick(1);
        if bench.board.hardware().now.is_multiple_of(400) {
            bench.status();
        }
    }
    let other = bench.position(1);
    bench.tick(1);
    assert_eq!(
        bench.carriage(0),
        1000,
        "not a step after the tick that sees it"
    );
    assert_eq!(bench.status().activity, Activity::Stopping);
    assert_eq!(
        bench.refused(Command::Acknowledge),
        Refusal::Busy(Activity::Stopping)
    );
    bench.rest();
    assert_eq!(bench.carriage(0), 1000);
    let braked = bench.position(1) - other;
    assert!((1..2000).contains(&braked), "{braked}");
    assert_eq!(i64::from(bench.position(1)), bench.carriage(1));
    let status = bench.status();
    let (axis, toward) = (AxisIndex(0), Toward::Positive);
    assert_eq!(status.halt, Some(Halt::Limit { axis, toward }));
    assert_eq!(status.homed, AxisMask(0b110));
    // The way out: acknowledged, slow, and only away from it.
    let from = Steps(bench.position(0));
    let nudge = |by| {
        Command::Nudge(NudgeOrder {
            axis,
            from,
            by: Steps(by),
        })
    };
    let halted = Refusal::Halted(Halt::Limit { axis, toward });
    assert_eq!(bench.refused(nudge(-10)), halted);
    bench.done(Command::Acknowledge);
    assert_eq!(bench.refused(nudge(10)), Refusal::SwitchTripped(axis));
    let way = bench.under(nudge(-10));
    assert!(way >= 10 * RATE / 500, "slowly");
    bench.rest();
    assert_eq!(bench.carriage(0), 990);
    assert_eq!(bench.status().halt, None);
}

#[test]
fn silence_stops_gently_and_keeps_the_places() {
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 2800), (1, 2000)]);
    bench.under(command);
    bench.tick(GUARD.silence.0);
    assert_eq!(bench.board.core().activity(), Activity::Moving);
    bench.tick(1);
    assert_eq!(bench.board.core().activity(), Activity::Stopping);
    bench.tick(4 * RATE);
    assert_eq!(bench.board.core().activity(), Activity::Idle);
    let status = bench.status();
    assert_eq!(status.halt, Some(Halt::Silence));
    assert_eq!(status.homed, AxisMask::first(usize::from(AXES)));
    for axis in 0..2 {
        assert_eq!(i64::from(bench.position(axis)), bench.carriage(axis));
    }
    let again = bench.move_to(&[(0, 2800)]);
    assert_eq!(bench.refused(again.clone()), Refusal::Halted(Halt::Silence));
    bench.done(Command::Acknowledge);
    bench.under(again);
    bench.rest();
    assert_eq!(bench.carriage(0), 2800);
}

#[test]
fn silence_at_rest_is_no_fault() {
    let mut bench = Bench::homed();
    bench.tick(20 * GUARD.silence.0);
    assert_eq!(bench.status().halt, None);
}

#[test]
fn only_this_sessions_messages_break_the_silence() {
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 2800)]);
    bench.under(command);
    for _ in 0..12 {
        bench.tick(GUARD.silence.0 / 10);
        bench.identity();
        let mut other = bench.request(Command::Status);
        other.session.0 += 1;
        assert!(bench.exchange(&other).result.is_err());
        bench.send(&[1, 2, 3, 0]);
    }
    assert_eq!(bench.status().halt, Some(Halt::Silence));
}

#[test]
fn a_halt_that_was_asked_for() {
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 2800)]);
    bench.under(command);
    bench.tick(800);
    bench.done(Command::Halt);
    bench.rest();
    let status = bench.status();
    assert_eq!(status.halt, Some(Halt::Asked));
    assert!(status.homed.contains(0));
    assert!(bench.carriage(0) < 2800);
    assert_eq!(bench.carriage(0), i64::from(bench.position(0)));
}

#[test]
fn a_graver_halt_takes_the_place_of_a_lesser_one() {
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 2800)]);
    bench.under(command);
    bench.tick(800);
    bench.done(Command::Halt);
    bench.fake().stop = true;
    bench.tick(1);
    bench.fake().stop = false;
    bench.done(Command::Halt);
    assert_eq!(bench.status().halt, Some(Halt::Stop));
}

/// Whatever is asked for: with the stop open, nothing steps (the fake notes it where it does).
#[test]
fn nothing_steps_while_the_stop_is_open_from_the_start() {
    let mut bench = Bench::homed();
    bench.fake().stop = true;
    bench.tick(1);
    let command = bench.move_to(&[(0, 0)]);
    assert_eq!(bench.refused(command), Refusal::Halted(Halt::Stop));
    assert_eq!(
        bench.refused(Command::Home(bench::home(0))),
        Refusal::Halted(Halt::Stop)
    );
    assert_eq!(
        bench.refused(Command::Check(bench::home(0))),
        Refusal::Halted(Halt::Stop)
    );
    assert_eq!(
        bench.refused(Command::Drivers { on: true }),
        Refusal::Halted(Halt::Stop)
    );
    // Begun and stopped between two ticks.
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 0)]);
    bench.under(command);
    let before = bench.fake().count();
    bench.fake().stop = true;
    bench.tick(3000);
    assert_eq!(bench.fake().count(), before);
}

#[test]
fn refusals_before_anything_moves() {
    let mut bench = Bench::new();
    let move_to = bench.move_to(&[(0, 5)]);
    bench.open();
    let axis = AxisIndex(0);
    assert_eq!(bench.refused(move_to.clone()), Refusal::NotConfigured(axis));
    let nine = |mut settings: panestep_protocol::AxisSettings| {
        settings.axis = AxisIndex(9);
        settings
    };
    let settings = bench::settings(0);
    assert_eq!(
        bench.refused(Command::Configure(nine(settings))),
        Refusal::NoAxis(AxisIndex(9))
    );
    for spoil in [
        |s: &mut panestep_protocol::AxisSettings| s.speed = 0,
        |s: &mut panestep_protocol::AxisSettings| s.acceleration = 0,
        |s: &mut panestep_protocol::AxisSettings| s.jerk = 0,
        |s: &mut panestep_protocol::AxisSettings| s.slow = 0,
        |s: &mut panestep_protocol::AxisSettings| s.slow = s.speed + 1,
        |s: &mut panestep_protocol::AxisSettings| s.least = Steps(s.greatest.0 + 1),
        |s: &mut panestep_protocol::AxisSettings| {
            (s.least, s.greatest) = (Steps(i32::MIN), Steps(i32::MAX));
        },
    ] {
        let mut bad = settings;
        spoil(&mut bad);
        assert_eq!(
            bench.refused(Command::Configure(bad)),
            Refusal::BadValue(axis)
        );
    }
    let mut fast = settings;
    fast.speed = RATE + 1;
    assert_eq!(
        bench.refused(Command::Configure(fast)),
        Refusal::TooFast(axis)
    );
    let silence = Ticks(u32::MAX);
    let guard = GuardSettings { silence, ..GUARD };
    assert_eq!(bench.refused(Command::Guard(guard)), Refusal::BadTime);
    bench.done(Command::Configure(settings));
    assert_eq!(bench.refused(move_to.clone()), Refusal::DriversOff);
    bench.done(Command::Drivers { on: true });
    assert_eq!(bench.refused(move_to), Refusal::NotHomed(AxisMask(1)));
    let mut order = bench::home(0);
    order.slow = settings.slow + 1;
    assert_eq!(bench.refused(Command::Home(order)), Refusal::BadValue(axis));

    let mut bench = Bench::homed();
    let outside = bench.move_to(&[(0, 2901)]);
    assert_eq!(bench.refused(outside), Refusal::OutsideTravel(axis));
    let at = Steps(bench.position(0));
    let Command::Move { mut targets } = bench.move_to(&[(0, 0), (0, 1)]) else {
        unreachable!()
    };
    let twice = Command::Move {
        targets: targets.clone(),
    };
    assert_eq!(bench.refused(twice), Refusal::BadValue(axis));
    targets.pop();
    targets[0].from = Steps(at.0 + 1);
    assert_eq!(
        bench.refused(Command::Move { targets }),
        Refusal::NotThere { axis, at }
    );
    let good = bench.move_to(&[(0, 0)]);
    bench.under(good.clone());
    for busy in [
        good,
        Command::Configure(settings),
        Command::Guard(GUARD),
        Command::Drivers { on: false },
        Command::Home(bench::home(1)),
        Command::Check(bench::home(1)),
        Command::Nudge(NudgeOrder {
            axis,
            from: at,
            by: Steps(1),
        }),
    ] {
        assert_eq!(bench.refused(busy), Refusal::Busy(Activity::Moving));
    }
    let spent = panestep_protocol::Token::default();
    bench.done(Command::OpenShot {
        shot: bench::SHOT,
        spent,
    });
    assert_eq!(
        bench.refused(Command::Fire(fire(1))),
        Refusal::Busy(Activity::Moving)
    );
    bench.rest();

    // So slow that nothing can count it.
    let mut slowest = settings;
    (
        slowest.acceleration,
        slowest.jerk,
        slowest.slow,
        slowest.speed,
    ) = (1, 1, 1, 1);
    (slowest.least, slowest.greatest) = (Steps(-1_000_000_000), Steps(1_000_000_000));
    bench.done(Command::Configure(slowest));
    let far = bench.move_to(&[(0, 1_000_000_000)]);
    assert_eq!(bench.refused(far), Refusal::TooLong);
}

#[test]
fn setting_up_the_same_again_loses_nothing() {
    let mut bench = Bench::homed();
    let mut settings = bench::settings(0);
    settings.speed -= 1;
    bench.done(Command::Configure(settings));
    assert!(bench.status().homed.contains(0));
    settings.reversed = true;
    bench.done(Command::Configure(settings));
    assert!(!bench.status().homed.contains(0));
    bench.done(Command::Drivers { on: false });
    assert_eq!(bench.status().homed, AxisMask::NONE);
}

#[test]
fn no_way_is_no_move() {
    let mut bench = Bench::homed();
    let at = bench.position(0);
    let stay = bench.move_to(&[(0, at)]);
    // Just off the travel after homing: the place where it stands is no target.
    assert_eq!(bench.refused(stay), Refusal::OutsideTravel(AxisIndex(0)));
    let targets = Default::default();
    let nothing = Answer::Under { way: Ticks(0) };
    assert_eq!(bench.ask(Command::Move { targets }), Ok(nothing));
    assert_eq!(bench.status().activity, Activity::Idle);
}

/// A move that ends on the very step at which the switch trips has run into it like any other.
#[test]
fn a_limit_tripped_by_the_last_step_is_a_limit() {
    let mut bench = Bench::homed();
    bench.fake().carriages[0].far.at = 1000;
    let command = bench.move_to(&[(0, 1000), (1, 1000)]);
    bench.under(command);
    bench.rest();
    bench.tick(1);
    let status = bench.status();
    let (axis, toward) = (AxisIndex(0), Toward::Positive);
    assert_eq!(status.halt, Some(Halt::Limit { axis, toward }));
    assert_eq!(status.homed, AxisMask(0b110));
    assert_eq!(status.activity, Activity::Idle);
    assert_eq!((bench.position(0), bench.carriage(0)), (1000, 1000));
    // Once only: acknowledged, it stays away while nothing moves, also when the drivers go off
    // and on, and on the slow way out.
    bench.done(Command::Acknowledge);
    bench.tick(20);
    bench.done(Command::Drivers { on: false });
    bench.done(Command::Drivers { on: true });
    bench.tick(20);
    assert_eq!(bench.status().halt, None);
    let from = Steps(bench.position(0));
    let by = Steps(-20);
    bench.under(Command::Nudge(NudgeOrder { axis, from, by }));
    bench.rest();
    bench.tick(20);
    assert_eq!(bench.status().halt, None);
    assert_eq!(bench.carriage(0), 980);
}

/// An axis whose motor runs the wrong way round, or whose wire breaks, trips the switch that it
/// should be leaving. It stops within the tick, whichever end it was sent to.
#[test]
fn a_switch_that_trips_behind_an_axis_stops_it_too() {
    let mut fake = bench::Fake::new();
    fake.carriages[0].miswired = true;
    fake.carriages[0].at = 2900;
    let mut bench = Bench::ready_over(fake);
    // A person tries it out: slowly, toward home, and it goes the other way.
    let axis = AxisIndex(0);
    let (from, by) = (Steps(0), Steps(-500));
    bench.under(Command::Nudge(NudgeOrder { axis, from, by }));
    bench.rest();
    assert_eq!(bench.carriage(0), 3000, "not a step beyond the switch");
    let status = bench.status();
    let toward = Toward::Positive;
    assert_eq!(status.halt, Some(Halt::Limit { axis, toward }));

    // In a move, too: the others come to a controlled stop.
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 2500), (1, 2400)]);
    bench.under(command);
    bench.tick(900);
    bench.fake().carriages[0].home.stuck = Some(true);
    let (before, other) = (bench.carriage(0), bench.carriage(1));
    bench.tick(1);
    assert_eq!(bench.carriage(0), before);
    assert_eq!(bench.status().activity, Activity::Stopping);
    bench.rest();
    assert_eq!(bench.carriage(0), before);
    assert!(bench.carriage(1) > other);
    let status = bench.status();
    let toward = Toward::Negative;
    assert_eq!(status.halt, Some(Halt::Limit { axis, toward }));
    assert_eq!(status.homed, AxisMask(0b110));
}

/// Braking after a homing was given up, the wrong switch still stops the axis at once.
#[test]
fn a_homing_given_up_does_not_run_into_the_other_end() {
    let mut fake = bench::Fake::new();
    fake.carriages[0].miswired = true;
    fake.carriages[0].at = 2500;
    let mut bench = Bench::ready_over(fake);
    bench.done(Command::Home(bench::home(0)));
    while bench.carriage(0) < 2980 {
        bench.tick(1);
        if bench.board.hardware().now.is_multiple_of(400) {
            bench.status();
        }
    }
    bench.done(Command::Halt);
    bench.rest();
    assert_eq!(bench.carriage(0), 3000);
    let (axis, toward) = (AxisIndex(0), Toward::Positive);
    assert_eq!(bench.status().halt, Some(Halt::Limit { axis, toward }));
}

/// With a switch tripped at either end, a fast move is refused: the way out is slow.
#[test]
fn no_fast_move_off_a_tripped_switch() {
    let mut bench = Bench::homed();
    let axis = AxisIndex(0);
    let start = bench.move_to(&[(0, 0)]);
    bench.under(start);
    bench.rest();
    bench.tick(1);
    for far in [false, true] {
        let carriage = &mut bench.fake().carriages[0];
        carriage.home.stuck = Some(!far);
        carriage.far.stuck = Some(far);
        bench.tick(1);
        for to in [500, -900] {
            let command = bench.move_to(&[(0, to), (1, 500)]);
            assert_eq!(bench.refused(command), Refusal::SwitchTripped(axis));
        }
        // The axes beside it may go; slowly, so may it.
        let by = if far { -5 } else { 5 };
        let from = Steps(bench.position(0));
        let by = Steps(by);
        bench.under(Command::Nudge(NudgeOrder { axis, from, by }));
        bench.rest();
        let at = bench.position(1);
        let command = bench.move_to(&[(1, if at < 0 { 50 } else { -50 })]);
        bench.under(command);
        bench.rest();
        bench.tick(1);
        assert_eq!(bench.status().halt, None);
    }
}

/// The direction lines of a move that was cut short before its first pulse have changed all the
/// same: the next one waits for them. (The fake notes a pulse that comes too early.)
#[test]
fn a_move_cut_short_before_its_first_pulse_leaves_the_drivers_their_time() {
    for cut in 0..2 * SETUP {
        let mut bench = Bench::ready();
        let mut settings = bench::settings(0);
        // A step at every tick from the first one on.
        (settings.speed, settings.slow) = (RATE, RATE);
        bench.done(Command::Configure(settings));
        let axis = AxisIndex(0);
        let nudge = |bench: &Bench, by| {
            let (from, by) = (Steps(bench.position(0)), Steps(by));
            Command::Nudge(NudgeOrder { axis, from, by })
        };
        let back = nudge(&bench, -1);
        let way = bench.under(back);
        assert_eq!(bench.rest(), way);
        let first = nudge(&bench, 10);
        bench.under(first);
        bench.tick(cut);
        bench.done(Command::Halt);
        bench.rest();
        bench.done(Command::Acknowledge);
        let again = nudge(&bench, 10);
        let way = bench.under(again);
        let before = bench.carriage(0);
        assert_eq!(bench.rest(), way, "cut at {cut}");
        assert_eq!(bench.carriage(0), before + 10);
    }
}

/// The lines are set at the start; the very first pulse leaves the drivers their time as well.
#[test]
fn the_first_pulse_after_the_start_is_not_too_early() {
    let mut fake = bench::Fake::new();
    fake.carriages[0].at = 0;
    let mut bench = Bench::over(fake);
    bench.open();
    let mut settings = bench::settings(0);
    (settings.speed, settings.slow) = (RATE, RATE);
    // The lines are low at the start, and this move needs them so.
    settings.reversed = true;
    bench.done(Command::Configure(settings));
    bench.done(Command::Guard(GUARD));
    bench.done(Command::Drivers { on: true });
    let (axis, from, by) = (AxisIndex(0), Steps(0), Steps(5));
    let way = bench.under(Command::Nudge(NudgeOrder { axis, from, by }));
    // The bench has let one tick pass.
    assert_eq!(way, (SETUP - 2) + 5 + 1);
    while bench.fake().count() == 0 {
        bench.tick(1);
    }
    assert!(bench.fake().now >= u64::from(SETUP), "{}", bench.fake().now);
    assert_eq!(bench.rest(), way + 1 - SETUP);
}

/// A new host takes over in the middle of a move: the old one's messages keep nothing alive any
/// more, and the new one can stop it.
#[test]
fn a_new_session_takes_over_a_move_under_way() {
    let mut bench = Bench::homed();
    let command = bench.move_to(&[(0, 2800)]);
    bench.under(command);
    bench.tick(500);
    let old = bench.request(Command::Status);
    bench.session.0 += 1;
    bench.id = 0;
    bench.open();
    assert_eq!(bench.status().activity, Activity::Moving);
    for _ in 0..GUARD.silence.0 / 100 {
        bench.tick(100);
        assert!(matches!(
            bench.exchange(&old).result,
            Err(Refusal::OtherSession(_))
        ));
    }
    bench.tick(1);
    assert_eq!(bench.board.core().activity(), Activity::Stopping);
    assert_eq!(bench.status().halt, Some(Halt::Silence));
}
