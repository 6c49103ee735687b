//! Moves, and the guards that cut them short.

use std::time::Duration;

use panestep::link::Clock;
use panestep::sim::{Fault, Law, Options, SimulatedStand, SwitchFault, When};
use panestep::stand::AxisId;
use panestep_protocol::{Activity, Command, Halt};

use crate::rig::{
    CAMERA_FOCUS, MAIN, REEDS_EAST, REEDS_LIFT, SKY_NORTH, STEPS_PER_MM, motors_of, ready, stand,
    units,
};

fn carriage(simulated: &SimulatedStand, axis: AxisId) -> f64 {
    simulated.position(axis).expect("the stand has this axis")
}

fn net(simulated: &SimulatedStand, axis: AxisId) -> i64 {
    simulated.count(axis).expect("a motor axis").net()
}

#[test]
fn carriages_go_as_far_as_asked_and_motors_receive_as_many_pulses() {
    let axes = motors_of(&stand(false), MAIN);
    let (simulated, mut driver) = ready(&Options::default(), &axes);
    let start: Vec<_> = axes.iter().map(|&axis| (axis, 0)).collect();
    driver.move_to(&start);
    let zero: Vec<_> = axes
        .iter()
        .map(|&axis| carriage(&simulated, axis))
        .collect();
    let pulses: Vec<_> = axes.iter().map(|&axis| net(&simulated, axis)).collect();
    for targets in [
        [1000, 2000, -3000, 40, 0, 5],
        [999, -2000, -3001, 0, 17, 4],
        [-12_000, 3, 8000, -1, -17, 20_000],
    ] {
        let asked: Vec<_> = axes.iter().copied().zip(targets).collect();
        let status = driver.move_to(&asked);
        for (place, &(axis, to)) in asked.iter().enumerate() {
            let moved = carriage(&simulated, axis) - zero[place];
            assert!(
                (moved - units(to)).abs() < 0.01 / STEPS_PER_MM,
                "axis {}: moved {moved}, asked {}",
                axis.0,
                units(to)
            );
            assert_eq!(net(&simulated, axis) - pulses[place], i64::from(to));
        }
        assert_eq!(status.activity, Activity::Idle);
    }
    assert_eq!(simulated.violations(), []);
}

#[test]
fn reached_from_above_a_carriage_lags_by_its_backlash() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 0)]);
    let from_below = carriage(&simulated, REEDS_EAST);
    driver.move_to(&[(REEDS_EAST, 4000)]);
    driver.start_move(&[(REEDS_EAST, 0)]);
    driver.rest();
    let from_above = carriage(&simulated, REEDS_EAST);
    assert!((from_above - from_below - 0.05).abs() < 1e-9);
}

#[test]
fn lost_steps_show_on_the_stand_and_not_in_the_counts() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 0)]);
    let (zero, pulses) = (
        carriage(&simulated, REEDS_EAST),
        net(&simulated, REEDS_EAST),
    );
    simulated.inject(
        When::Now,
        Fault::LoseSteps {
            axis: REEDS_EAST,
            steps: 37,
        },
    );
    driver.move_to(&[(REEDS_EAST, 4000)]);
    assert_eq!(driver.position(REEDS_EAST), 4000);
    assert_eq!(net(&simulated, REEDS_EAST) - pulses, 4000);
    let short = 10.0 - (carriage(&simulated, REEDS_EAST) - zero);
    assert!((short - units(37)).abs() < 1e-9, "short by {short}");
    // And the next homing tells: its switch trips that much later by the count.
    let found = driver.home(REEDS_EAST).result.expect("the switch is there");
    let drift = driver.edge(REEDS_EAST) - found.was.0;
    assert!((drift.abs() - 37).abs() <= 1, "drift of {drift}");
}

#[test]
fn a_chance_of_losing_steps_loses_about_that_many() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 0)]);
    let before = simulated.count(REEDS_EAST).expect("a motor axis").lost;
    simulated.inject(
        When::Now,
        Fault::LoseOften {
            axis: REEDS_EAST,
            chance: 0.01,
        },
    );
    driver.move_to(&[(REEDS_EAST, 20_000)]);
    let lost = simulated.count(REEDS_EAST).expect("a motor axis").lost - before;
    // Binomial: 200 +- 14; five deviations either way.
    assert!((130..=270).contains(&lost), "{lost} of 20 000");
}

#[test]
fn a_switch_that_trips_stops_its_axis_within_a_tick_and_brakes_the_others() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST, CAMERA_FOCUS]);
    driver.move_to(&[(REEDS_EAST, 0), (CAMERA_FOCUS, 0)]);
    driver.start_move(&[(REEDS_EAST, 20_000), (CAMERA_FOCUS, 20_000)]);
    simulated.pass(Duration::from_millis(400)).unwrap();
    let (east, focus) = (net(&simulated, REEDS_EAST), net(&simulated, CAMERA_FOCUS));
    simulated.inject(
        When::Now,
        Fault::FarSwitch {
            axis: REEDS_EAST,
            fault: Some(SwitchFault::BrokenWire),
        },
    );
    let status = driver.rest();
    assert!(
        matches!(status.halt, Some(Halt::Limit { .. })),
        "{status:?}"
    );
    assert!(net(&simulated, REEDS_EAST) - east <= 1);
    // At about 19 mm/s, 60 mm/s2 and 400 mm/s3 the other one needs about 4 mm to stop, in any
    // case not the 45 mm that were left.
    let braked = net(&simulated, CAMERA_FOCUS) - focus;
    assert!((100..6000).contains(&braked), "{braked} steps");
    assert_eq!(simulated.violations(), []);
}

#[test]
fn the_stop_button_lets_no_further_tick_step() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 0)]);
    driver.start_move(&[(REEDS_EAST, 20_000)]);
    simulated.pass(Duration::from_millis(400)).unwrap();
    let before = net(&simulated, REEDS_EAST);
    simulated.inject(When::Now, Fault::StopPressed);
    let status = driver.rest();
    assert_eq!(status.halt, Some(Halt::Stop));
    assert!(status.homed.is_empty());
    assert!(net(&simulated, REEDS_EAST) - before <= 1);
    assert_eq!(simulated.violations(), []);
    // As long as it is pressed, and until somebody has seen it, nothing moves.
    assert!(driver.try_ask(Command::Acknowledge).unwrap().is_err());
    simulated.inject(When::Now, Fault::StopReleased);
    driver.clock.sleep(Duration::from_millis(10)).unwrap();
    driver.ask(Command::Acknowledge);
    assert!(driver.home(REEDS_EAST).result.is_ok());
}

#[test]
fn a_silent_host_brings_everything_to_a_controlled_stop() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, -20_000)]);
    let before = net(&simulated, REEDS_EAST);
    let zero = carriage(&simulated, REEDS_EAST);
    driver.start_move(&[(REEDS_EAST, 20_000)]);
    // Half a second of silence is allowed; 100 mm take four.
    driver.clock.sleep(Duration::from_secs(3)).unwrap();
    let status = driver.status();
    assert_eq!(status.halt, Some(Halt::Silence));
    assert_eq!(status.activity, Activity::Idle);
    assert!(status.drivers && !status.homed.is_empty());
    let gone = net(&simulated, REEDS_EAST) - before;
    assert!((100..20_000).contains(&gone), "{gone} steps");
    assert_eq!(i64::from(driver.position(REEDS_EAST)), gone - 20_000);
    assert!((carriage(&simulated, REEDS_EAST) - zero - units(gone as i32)).abs() < 1e-9);
}

#[test]
fn wires_swapped_in_the_middle_of_a_move_turn_the_motor_round() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_LIFT]);
    driver.move_to(&[(REEDS_LIFT, 0)]);
    let zero = carriage(&simulated, REEDS_LIFT);
    simulated.inject(When::Now, Fault::SwapWires { axis: REEDS_LIFT });
    driver.move_to(&[(REEDS_LIFT, 4000)]);
    let moved = carriage(&simulated, REEDS_LIFT) - zero;
    assert!((moved + 10.0 - 0.05).abs() < 1e-9, "moved {moved}");
}

#[test]
fn the_pose_is_that_of_the_carriages_the_cranks_and_the_lens_ring() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST, CAMERA_FOCUS]);
    driver.move_to(&[(REEDS_EAST, 4000), (CAMERA_FOCUS, 12_000)]);
    assert!(simulated.crank(SKY_NORTH, 12.5));
    assert!(!simulated.crank(REEDS_EAST, 12.5));
    let pose = simulated.pose();
    assert!((pose.levels[0].east_mm - 10.0).abs() < 2.0 / STEPS_PER_MM);
    assert_eq!(pose.levels[1].north_mm, 12.5);
    assert_eq!(pose.levels[1].lift_mm, 0.0, "a level without a lift");
    // Half-way from 0 to 60 degrees: half-way from 800 to 1400 mm.
    assert!((pose.focus_mm - 1100.0).abs() < 0.1, "{}", pose.focus_mm);
}

#[test]
fn people_at_a_crank_err_on_demand() {
    use panestep::sim::CrankSlip::{Double, Nothing, Other, Short, WrongWay};
    let simulated = SimulatedStand::new(&stand(false), &Options::default());
    let crank = |slip: Option<_>, to: f64| {
        if let Some(slip) = slip {
            simulated.inject(When::Now, Fault::Crank(slip));
        }
        simulated.crank(SKY_NORTH, to);
        carriage(&simulated, SKY_NORTH)
    };
    assert_eq!(crank(None, 4.0), 4.0);
    assert_eq!(crank(Some(WrongWay), 6.0), 2.0);
    assert_eq!(crank(Some(Short(0.5)), 4.0), 3.0);
    assert_eq!(crank(Some(Double), 4.0), 5.0);
    assert_eq!(crank(Some(Nothing), 0.0), 5.0);
    assert_eq!(crank(Some(Other(SKY_NORTH)), 6.0), 6.0);
}

#[test]
fn the_laws_are_enforced_on_whoever_drives_the_pins() {
    // A speed beyond the stand file's is a violation although the board was told to allow it.
    let mut lenient = stand(false);
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    if let panestep::stand::Drive::Motor(motor) = &mut lenient.axes[REEDS_EAST.0].drive {
        motor.speed *= 1.5;
    }
    driver.stand = lenient;
    driver.set_up(&[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, -20_000)]);
    driver.move_to(&[(REEDS_EAST, 20_000)]);
    let violations = simulated.violations();
    assert!(!violations.is_empty());
    assert!(violations.iter().all(|violation| matches!(
        violation.law,
        Law::Speed {
            axis: REEDS_EAST,
            ..
        }
    )));
    let at = violations[0].at;
    assert!(at > Duration::ZERO && at < simulated.clock().now());
}
