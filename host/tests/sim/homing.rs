//! Homing, and what a person must be told apart when it fails.

use std::time::Duration;

use panestep::sim::{Fault, Options, SwitchFault, When};
use panestep_protocol::{HomingFault, Toward};

use crate::rig::{MAIN, REEDS_EAST, REEDS_LIFT, STEPS_PER_MM, motors_of, ready, stand, units};

/// A step, and half of one for the rounding of the edge, and half for that of a target.
const WITHIN: f64 = 2.0 / STEPS_PER_MM;

#[test]
fn every_axis_is_homed_to_where_its_switch_is() {
    for seed in 1..=4 {
        let options = Options {
            seed,
            ..Options::default()
        };
        let axes = motors_of(&stand(false), MAIN);
        let (simulated, mut driver) = ready(&options, &axes);
        for &axis in &axes {
            driver.move_to(&[(axis, 0)]);
            let meant = 0.0;
            let is = simulated.position(axis).expect("a motor axis");
            assert!(
                (is - meant).abs() <= WITHIN,
                "seed {seed}, axis {}: at {is}, meant {meant}",
                axis.0
            );
        }
        assert_eq!(simulated.violations(), [], "seed {seed}");
    }
}

#[test]
fn a_second_homing_finds_the_same_step() {
    let (_, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    let edge = driver.edge(REEDS_EAST);
    for _ in 0..5 {
        let found = driver.home(REEDS_EAST).result.expect("the switch is there");
        assert!((found.was.0 - edge).abs() <= 1, "{found:?}, edge {edge}");
        // The switch opens its hysteresis and the screw's slack farther on, to the step.
        let back = 0.2 + 0.05;
        assert!(
            (units(found.opened.0) - back).abs() <= 1.5 / STEPS_PER_MM,
            "{found:?}"
        );
    }
}

#[test]
fn a_motor_wired_the_wrong_way_round_reaches_the_other_end() {
    let options = Options {
        swapped_wires: vec![REEDS_EAST],
        ..Options::default()
    };
    let (simulated, mut driver) = ready(&options, &[REEDS_LIFT]);
    let before = simulated.position(REEDS_EAST);
    let report = driver.home(REEDS_EAST);
    assert_eq!(report.result, Err(HomingFault::OtherEnd));
    assert!(simulated.position(REEDS_EAST) > before);
    assert!(matches!(
        driver.status().halt,
        Some(panestep_protocol::Halt::Limit {
            toward: Toward::Positive,
            ..
        })
    ));
    let count = simulated.count(REEDS_EAST).expect("a motor axis");
    assert_eq!(count.lost, 0, "stopped at the switch, not at the end");
}

#[test]
fn swapped_wires_without_far_switches_run_into_the_end_and_find_nothing() {
    let options = Options {
        swapped_wires: vec![REEDS_EAST],
        far_switches: false,
        ..Options::default()
    };
    let (simulated, mut driver) = ready(&options, &[]);
    let report = driver.home(REEDS_EAST);
    assert_eq!(report.result, Err(HomingFault::NotFound));
    let count = simulated.count(REEDS_EAST).expect("a motor axis");
    assert!(count.lost > 0);
    assert_eq!(simulated.position(REEDS_EAST).map(f64::round), Some(74.0));
}

#[test]
fn a_switch_that_never_trips_is_not_found() {
    let (simulated, mut driver) = ready(&Options::default(), &[]);
    simulated.inject(
        When::Now,
        Fault::HomeSwitch {
            axis: REEDS_EAST,
            fault: Some(SwitchFault::Stuck),
        },
    );
    assert_eq!(driver.home(REEDS_EAST).result, Err(HomingFault::NotFound));
}

#[test]
fn a_broken_switch_wire_never_opens() {
    let (simulated, mut driver) = ready(&Options::default(), &[]);
    simulated.inject(
        When::Now,
        Fault::HomeSwitch {
            axis: REEDS_EAST,
            fault: Some(SwitchFault::BrokenWire),
        },
    );
    assert_eq!(driver.home(REEDS_EAST).result, Err(HomingFault::NeverOpens));
}

#[test]
fn a_level_whose_screw_runs_back_sinks_while_its_motor_is_off_and_no_longer() {
    let options = Options {
        runs_back: vec![REEDS_LIFT],
        ..Options::default()
    };
    let stand = stand(false);
    let simulated = panestep::sim::SimulatedStand::new(&stand, &options);
    let start = simulated.position(REEDS_LIFT).expect("a motor axis");
    simulated.pass(Duration::from_millis(100)).unwrap();
    let sunk = simulated.position(REEDS_LIFT).expect("a motor axis");
    assert!(sunk < start, "from {start} to {sunk}");
    let mut driver = crate::rig::Driver::simulated(&stand, &simulated, MAIN).unwrap();
    driver.set_up(&motors_of(&stand, MAIN));
    let held = simulated.position(REEDS_LIFT);
    simulated.pass(Duration::from_secs(5)).unwrap();
    assert_eq!(simulated.position(REEDS_LIFT), held);
    driver.ask(panestep_protocol::Command::Drivers { on: false });
    simulated.pass(Duration::from_secs(60)).unwrap();
    assert_eq!(simulated.position(REEDS_LIFT), Some(-74.0));
}
