//! Checking a home switch: it looks as homing does, and the count stays.

mod bench;

use bench::{AXES, Bench, Fake, GUARD, RATE, fire, home, settings};
use panestep_protocol::answer::HomeFound;
use panestep_protocol::{
    Activity, AxisIndex, AxisMask, Command, Halt, HomingFault, HomingReport, Refusal, RequestId,
    Steps, Toward,
};

/// Checks axis 0.
fn check(bench: &mut Bench) -> HomingReport {
    bench.done(Command::Check(home(0)));
    let request = RequestId(bench.id);
    assert_eq!(bench.status().activity, Activity::Homing(AxisIndex(0)));
    bench.rest();
    let report = bench.status().homing.expect("a report");
    assert_eq!((report.request, report.axis), (request, AxisIndex(0)));
    report
}

/// Homed, and axis 0 sent to this place.
fn at(place: i32) -> Bench {
    let mut bench = Bench::homed();
    let there = bench.move_to(&[(0, place)]);
    bench.under(there);
    bench.rest();
    bench
}

#[test]
fn a_sound_count_is_confirmed() {
    let mut bench = at(1200);
    let found = HomeFound {
        was: Steps(-1000),
        opened: Steps(3),
    };
    assert_eq!(check(&mut bench).result, Ok(found));
    let status = bench.status();
    assert_eq!(status.homed, AxisMask(0b111));
    assert_eq!((status.activity, status.halt), (Activity::Idle, None));
    assert_eq!(bench.position(0), -1000 + 3 + 50);
    assert_eq!(bench.carriage(0), -1000 + 3 + 50);
}

/// Steps that the motor was given and did not make, either way round: the report says how many,
/// and the count goes on as if nothing had happened.
#[test]
fn lost_steps_are_told_and_the_count_is_kept() {
    for slip in [-160, -7, -1, 1, 40, 300] {
        let mut bench = at(1200);
        bench.fake().carriages[0].at += slip;
        let found = check(&mut bench).result.expect("found");
        // A carriage that stands farther from the switch gets to it later by the count.
        assert_eq!(i64::from(found.was.0), -1000 - slip, "{slip}");
        assert_eq!(found.opened, Steps(3), "{slip}");
        assert!(bench.status().homed.contains(0));
        assert_eq!(bench.position(0), found.was.0 + 3 + 50);
        assert_eq!(bench.carriage(0), i64::from(bench.position(0)) + slip);
        // Asked again it says the same: nothing has been set right.
        assert_eq!(check(&mut bench).result, Ok(found), "{slip}");
    }
}

#[test]
fn only_homing_sets_the_count_right() {
    let mut bench = at(1200);
    bench.fake().carriages[0].at += 40;
    assert_eq!(check(&mut bench).result.map(|found| found.was.0), Ok(-1040));
    bench.done(Command::Home(home(0)));
    bench.rest();
    assert_eq!(bench.carriage(0), i64::from(bench.position(0)));
    assert_eq!(check(&mut bench).result.map(|found| found.was.0), Ok(-1000));
}

/// Off the switch it may stand outside its travel; from there a move leads back in, as it does
/// after homing, and so does an exposure follow.
#[test]
fn from_the_switch_a_move_leads_back_into_the_travel() {
    for slip in [0, -40, 60] {
        let mut bench = at(1200);
        bench.fake().carriages[0].at += slip;
        check(&mut bench).result.expect("found");
        let stands = Steps(bench.position(0));
        assert!(stands < settings(0).least, "{stands:?}");
        // Farther out it may not go.
        let out = bench.move_to(&[(0, stands.0 - 1)]);
        assert_eq!(bench.refused(out), Refusal::OutsideTravel(AxisIndex(0)));
        let back = bench.move_to(&[(0, 1200), (1, 0)]);
        bench.under(back);
        bench.rest();
        assert_eq!((bench.position(0), bench.position(1)), (1200, 0));
        assert_eq!(bench.carriage(0), 1200 + slip);
        bench.tick(GUARD.settle.0 + 1);
        let spent = panestep_protocol::Token::default();
        let shot = bench::SHOT;
        bench.done(Command::OpenShot { shot, spent });
        bench.under(Command::Fire(fire(1)));
    }
}

#[test]
fn a_home_switch_at_the_positive_end() {
    let mut fake = Fake::new();
    fake.carriages[0].home.at = 3000;
    fake.carriages[0].far.at = -1000;
    fake.carriages[0].home.above = true;
    fake.carriages[0].far.above = false;
    let mut bench = Bench::ready_over(fake);
    let mut turned = settings(0);
    turned.home = Toward::Positive;
    bench.done(Command::Configure(turned));
    let mut order = home(0);
    order.edge = Steps(3000);
    bench.done(Command::Home(order));
    bench.rest();
    bench.fake().carriages[0].at -= 25;
    bench.done(Command::Check(order));
    bench.rest();
    let found = HomeFound {
        was: Steps(3025),
        opened: Steps(-3),
    };
    let status = bench.status();
    assert_eq!(status.homing.expect("a report").result, Ok(found));
    assert!(status.homed.contains(0));
    assert_eq!(bench.position(0), 3025 - 3 - 50);
}

#[test]
fn bounce_does_not_fool_it() {
    for bounce in [1, 7, 23, 60] {
        let mut bench = at(300);
        bench.fake().carriages[0].home.bounce = bounce;
        bench.fake().carriages[0].at += 12;
        let found = HomeFound {
            was: Steps(-1012),
            opened: Steps(3),
        };
        assert_eq!(check(&mut bench).result, Ok(found), "bounce {bounce}");
    }
}

#[test]
fn refused_where_there_is_no_count_to_keep() {
    let mut bench = Bench::ready();
    assert_eq!(
        bench.refused(Command::Check(home(1))),
        Refusal::NotHomed(AxisMask(0b010))
    );
    bench.done(Command::Home(home(0)));
    bench.rest();
    assert_eq!(
        bench.refused(Command::Check(home(1))),
        Refusal::NotHomed(AxisMask(0b010)),
        "another axis's homing does not help"
    );
    // Drivers off and on again: what was known is lost.
    bench.done(Command::Drivers { on: false });
    assert_eq!(
        bench.refused(Command::Check(home(0))),
        Refusal::DriversOff,
        "as for homing"
    );
    bench.done(Command::Drivers { on: true });
    assert_eq!(
        bench.refused(Command::Check(home(0))),
        Refusal::NotHomed(AxisMask(0b001))
    );
    assert_eq!(bench.fake().pulses[1], 0);
}

#[test]
fn refused_for_the_same_bad_orders_as_homing() {
    let mut bench = at(1200);
    let axis = AxisIndex(0);
    for spoil in [
        |order: &mut panestep_protocol::HomeOrder| order.fast = settings(0).speed + 1,
        |order: &mut panestep_protocol::HomeOrder| order.slow = settings(0).slow + 1,
        |order: &mut panestep_protocol::HomeOrder| order.search = 0,
        |order: &mut panestep_protocol::HomeOrder| order.back_off = 0,
        // From where it stands, the count would not reach that far.
        |order: &mut panestep_protocol::HomeOrder| order.search = i32::MAX as u32 - 1200,
    ] {
        let mut order = home(0);
        spoil(&mut order);
        assert_eq!(
            bench.refused(Command::Check(order)),
            Refusal::BadValue(axis),
            "{order:?}"
        );
    }
    assert!(bench.status().homed.contains(0));
}

#[test]
fn a_check_that_fails_leaves_the_axis_unhomed() {
    let mut bench = at(1200);
    bench.fake().carriages[0].home.stuck = Some(false);
    assert_eq!(check(&mut bench).result, Err(HomingFault::NotFound));
    assert_eq!(bench.status().homed, AxisMask(0b110));
    let back = bench.move_to(&[(0, 0)]);
    assert_eq!(bench.refused(back), Refusal::NotHomed(AxisMask(0b001)));

    let mut bench = at(1200);
    // The tick after the last step still takes a tripped switch for a collision.
    bench.tick(1);
    bench.fake().carriages[0].home.stuck = Some(true);
    bench.tick(1);
    assert_eq!(check(&mut bench).result, Err(HomingFault::NeverOpens));
    assert_eq!(bench.status().homed, AxisMask(0b110));

    // A motor whose wires were swapped since.
    let mut bench = at(1200);
    bench.fake().carriages[0].miswired = true;
    assert_eq!(check(&mut bench).result, Err(HomingFault::OtherEnd));
    let (axis, toward) = (AxisIndex(0), Toward::Positive);
    let status = bench.status();
    assert_eq!(status.halt, Some(Halt::Limit { axis, toward }));
    assert_eq!(status.homed, AxisMask(0b110));
}

/// Lets something happen at this tick of a check.
fn interrupted(ticks: u32, happen: impl Fn(&mut Bench)) -> Bench {
    let mut bench = at(500);
    bench.done(Command::Check(home(0)));
    for _ in 0..ticks / 500 {
        bench.tick(500);
        bench.status();
    }
    bench.tick(ticks % 500);
    assert_eq!(bench.status().activity, Activity::Homing(AxisIndex(0)));
    // Until it has confirmed the count, nothing can be done that relies on it.
    assert!(!bench.status().homed.contains(0), "{ticks}");
    happen(&mut bench);
    bench.tick(5000);
    let status = bench.status();
    assert_eq!(status.activity, Activity::Idle);
    let report = status.homing.expect("a report");
    assert_eq!(report.result, Err(HomingFault::Interrupted), "{ticks}");
    assert!(!status.homed.contains(0), "{ticks}");
    bench
}

#[test]
fn a_check_cut_short_leaves_the_axis_unhomed() {
    for ticks in (0..16_000).step_by(977) {
        let mut bench = interrupted(ticks, |bench| bench.done(Command::Halt));
        let status = bench.status();
        assert_eq!(status.halt, Some(Halt::Asked));
        assert_eq!(status.homed, AxisMask(0b110), "{ticks}");
        // Nothing has touched the counter, wherever it was cut short.
        assert_eq!(bench.carriage(0), i64::from(bench.position(0)), "{ticks}");
        bench.done(Command::Acknowledge);
        assert_eq!(
            bench.refused(Command::Check(home(0))),
            Refusal::NotHomed(AxisMask(0b001)),
            "{ticks}"
        );
        bench.done(Command::Home(home(0)));
        bench.rest();
        assert!(bench.status().homed.contains(0));

        let mut bench = interrupted(ticks, |bench| bench.tick(GUARD.silence.0 + 2000));
        assert_eq!(bench.status().halt, Some(Halt::Silence));

        let mut bench = interrupted(ticks, |bench| {
            bench.fake().stop = true;
            let before = bench.fake().count();
            bench.tick(1);
            assert_eq!(bench.fake().count(), before, "not a step more");
        });
        let status = bench.status();
        assert_eq!(status.halt, Some(Halt::Stop));
        assert_eq!(status.homed, AxisMask::NONE);
    }
}

#[test]
fn the_other_axes_keep_their_places() {
    let mut bench = at(1200);
    let before: Vec<_> = (1..usize::from(AXES))
        .map(|axis| bench.position(axis))
        .collect();
    let pulses = bench.fake().pulses[1..].to_vec();
    check(&mut bench).result.expect("found");
    let after: Vec<_> = (1..usize::from(AXES))
        .map(|axis| bench.position(axis))
        .collect();
    assert_eq!(before, after);
    assert_eq!(bench.fake().pulses[1..], pulses);
}

/// The same way at the same pace: a check is as gentle as homing, tick for tick.
#[test]
fn it_takes_as_long_as_homing() {
    let mut homing = at(1200);
    homing.done(Command::Home(home(0)));
    let mut checking = at(1200);
    checking.done(Command::Check(home(0)));
    let ticks = homing.rest();
    assert_eq!(ticks, checking.rest());
    assert!(ticks > RATE / 2, "{ticks}");
    assert_eq!(homing.fake().pulses, checking.fake().pulses);
}
