//! Homing: the switch found, and each way in which it is not.

mod bench;

use bench::{AXES, Bench, Fake, GUARD, home, settings};
use panestep_protocol::answer::HomeFound;
use panestep_protocol::{
    Activity, AxisIndex, Command, Halt, HomingFault, HomingReport, RequestId, Steps, Toward,
};

/// Homes axis 0 of this hardware.
fn run(fake: Fake) -> (Bench, HomingReport) {
    let mut bench = Bench::ready_over(fake);
    bench.done(Command::Home(home(0)));
    let request = RequestId(bench.id);
    assert_eq!(bench.status().activity, Activity::Homing(AxisIndex(0)));
    bench.rest();
    let report = bench.status().homing.expect("a report");
    assert_eq!(report.request, request);
    assert_eq!(report.axis, AxisIndex(0));
    (bench, report)
}

#[test]
fn finds_the_step_at_which_the_switch_trips() {
    // The carriage stands at 500, the board counts from 0: the switch at -1000 is 1500 away.
    let (mut bench, report) = run(Fake::new());
    let found = HomeFound {
        was: Steps(-1500),
        opened: Steps(3),
    };
    assert_eq!(report.result, Ok(found));
    let status = bench.status();
    assert!(status.homed.contains(0));
    assert_eq!(status.halt, None);
    assert_eq!(bench.position(0), -1000 + 3 + 50);
    assert_eq!(bench.carriage(0), -1000 + 3 + 50);
    // Once more: now the count was right.
    bench.done(Command::Home(home(0)));
    bench.rest();
    let again = bench
        .status()
        .homing
        .expect("a report")
        .result
        .expect("found");
    assert_eq!(again.was, Steps(-1000));
}

#[test]
fn a_home_switch_at_the_positive_end_is_found_as_well() {
    let mut fake = Fake::new();
    fake.carriages[0].home.at = 3000;
    fake.carriages[0].far.at = -1000;
    fake.carriages[0].home.above = true;
    fake.carriages[0].far.above = false;
    fake.carriages[0].miswired = true;
    let mut bench = Bench::ready_over(fake);
    let mut turned = settings(0);
    (turned.home, turned.reversed) = (Toward::Positive, true);
    bench.done(Command::Configure(turned));
    let mut order = home(0);
    order.edge = Steps(3000);
    bench.done(Command::Home(order));
    bench.rest();
    let found = bench
        .status()
        .homing
        .expect("a report")
        .result
        .expect("found");
    assert_eq!((found.was, found.opened), (Steps(2500), Steps(-3)));
    assert_eq!(bench.position(0), 3000 - 3 - 50);
    assert_eq!(bench.carriage(0), 3000 - 3 - 50);
}

#[test]
fn starts_on_the_tripped_switch() {
    let mut fake = Fake::new();
    fake.carriages[0].at = -1100;
    let (bench, report) = run(fake);
    assert!(report.result.is_ok(), "{report:?}");
    assert_eq!(bench.carriage(0), i64::from(bench.position(0)));
}

#[test]
fn starts_on_the_switch_at_the_other_end() {
    let mut fake = Fake::new();
    fake.carriages[0].at = 3100;
    let (mut bench, report) = run(fake);
    assert!(report.result.is_ok(), "{report:?}");
    assert_eq!(bench.status().halt, None);
    assert_eq!(bench.carriage(0), i64::from(bench.position(0)));
}

#[test]
fn bounce_does_not_fool_it() {
    for bounce in [1, 4, 7, 15, 23, 60] {
        let mut fake = Fake::new();
        fake.carriages[0].home.bounce = bounce;
        fake.carriages[0].far.bounce = bounce;
        let (bench, report) = run(fake);
        let found = report.result.expect("found");
        assert_eq!(
            (found.was, found.opened),
            (Steps(-1500), Steps(3)),
            "bounce {bounce}"
        );
        assert_eq!(bench.carriage(0), i64::from(bench.position(0)));
    }
}

#[test]
fn no_switch_within_the_search() {
    let mut fake = Fake::new();
    fake.carriages[0].home.stuck = Some(false);
    let (mut bench, report) = run(fake);
    assert_eq!(report.result, Err(HomingFault::NotFound));
    assert!(!bench.status().homed.contains(0));
    assert_eq!(bench.fake().pulses[0], 4500);
}

#[test]
fn a_switch_that_never_opens() {
    let mut fake = Fake::new();
    fake.carriages[0].home.stuck = Some(true);
    let (mut bench, report) = run(fake);
    assert_eq!(report.result, Err(HomingFault::NeverOpens));
    assert!(!bench.status().homed.contains(0));
    assert_eq!(bench.fake().pulses[0], 800);
}

#[test]
fn the_other_end_first() {
    let mut fake = Fake::new();
    fake.carriages[0].miswired = true;
    let (mut bench, report) = run(fake);
    assert_eq!(report.result, Err(HomingFault::OtherEnd));
    // The very step: 500 to 3000.
    assert_eq!(bench.fake().pulses[0], 2500);
    let (axis, toward) = (AxisIndex(0), Toward::Positive);
    let status = bench.status();
    assert_eq!(status.halt, Some(Halt::Limit { axis, toward }));
    assert!(!status.homed.contains(0));
}

#[test]
fn on_the_other_end_with_the_motor_the_wrong_way_round() {
    let mut fake = Fake::new();
    fake.carriages[0].at = 3000;
    fake.carriages[0].miswired = true;
    let (mut bench, report) = run(fake);
    assert_eq!(report.result, Err(HomingFault::OtherEnd));
    // No farther than the back-off, and slowly.
    assert_eq!(bench.fake().pulses[0], 800);
}

/// Runs a homing for so many ticks, then lets something happen.
fn interrupted(ticks: u32, happen: impl Fn(&mut Bench)) -> Bench {
    let mut bench = Bench::ready();
    bench.done(Command::Home(home(0)));
    for _ in 0..ticks / 500 {
        bench.tick(500);
        bench.status();
    }
    bench.tick(ticks % 500);
    assert_eq!(bench.status().activity, Activity::Homing(AxisIndex(0)));
    happen(&mut bench);
    bench.tick(5000);
    let status = bench.status();
    assert_eq!(status.activity, Activity::Idle);
    let report = status.homing.expect("a report");
    assert_eq!(report.result, Err(HomingFault::Interrupted), "{ticks}");
    assert!(!status.homed.contains(0));
    bench
}

#[test]
fn interrupted_at_any_time() {
    // Undisturbed it takes some 17,000 ticks.
    for ticks in (0..16_000).step_by(977) {
        let mut bench = interrupted(ticks, |bench| bench.done(Command::Halt));
        assert_eq!(bench.status().halt, Some(Halt::Asked));

        let mut bench = interrupted(ticks, |bench| bench.tick(GUARD.silence.0 + 2000));
        assert_eq!(bench.status().halt, Some(Halt::Silence));

        let mut bench = interrupted(ticks, |bench| {
            bench.fake().stop = true;
            let before = bench.fake().count();
            bench.tick(1);
            assert_eq!(bench.fake().count(), before, "not a step more");
        });
        assert_eq!(bench.status().halt, Some(Halt::Stop));
    }
}

#[test]
fn the_other_axes_keep_their_places() {
    let mut bench = Bench::homed();
    let before: Vec<_> = (0..AXES)
        .map(|axis| bench.position(usize::from(axis)))
        .collect();
    bench.done(Command::Home(home(1)));
    assert!(bench.status().homed.contains(0) && !bench.status().homed.contains(1));
    bench.rest();
    assert_eq!(bench.position(0), before[0]);
    assert_eq!(bench.position(2), before[2]);
}

/// Ticks that are not quiet are ticked through, with what they leave to the main loop.
#[test]
fn skipping_through_a_homing_is_ticking_through_it() {
    let mut ticked = Bench::ready();
    let mut skipped = Bench::ready();
    for bench in [&mut ticked, &mut skipped] {
        bench.done(Command::Home(home(0)));
    }
    for _ in 0..20 {
        for _ in 0..300 {
            ticked.board.tick();
        }
        skipped.board.skip(300);
        assert_eq!(skipped.status(), ticked.status());
        assert_eq!(skipped.carriage(0), ticked.carriage(0));
    }
    assert_ne!(ticked.carriage(0), Bench::ready().carriage(0));
}
