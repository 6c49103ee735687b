//! The faults that the swarm lets strike: each does to the stand what it says, and an onlooker sees
//! all of it.

use std::cell::RefCell;
use std::io;
use std::rc::Rc;
use std::time::Duration;

use panestep::link::{Clock, Link, LinkError, Port};
use panestep::sim::{
    Damage, Fault, Happening, Law, Options, SimulatedStand, Stranger, SwitchFault, When,
};
use panestep::stand::{AxisId, BoardId};
use panestep_protocol::{Activity, Halt};

use crate::rig::{Driver, MAIN, REEDS_EAST, REEDS_LIFT, ready, ready_to_fire, stand};

const LOWER: BoardId = BoardId(1);

fn connect(simulated: &SimulatedStand, board: BoardId, name: &str) -> Result<Link, LinkError> {
    let port = simulated.port(board).expect("a cable");
    Link::connect(Box::new(port), Rc::new(simulated.clock()), name)
}

#[test]
fn every_kind_of_damage_is_asked_through() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    for to_board in [true, false] {
        for damage in [
            Damage::Late(Duration::from_millis(70)),
            Damage::Short,
            Damage::Merged,
            Damage::Flood(3000),
        ] {
            let noise = Fault::Noise {
                board: MAIN,
                to_board,
                damage,
            };
            assert!(simulated.inject(When::Now, noise));
            let before = simulated.clock().now();
            assert_eq!(driver.status().activity, Activity::Idle);
            // A flood takes its time; everything else costs one try.
            assert!(simulated.clock().now() - before > Duration::from_millis(20));
            simulated.pass(Duration::from_millis(100)).expect("no hook");
        }
    }
}

#[test]
fn a_piece_held_back_is_overtaken() {
    let stand = stand(false);
    let simulated = SimulatedStand::new(&stand, &Options::default());
    let seen = Rc::new(RefCell::new(Vec::new()));
    let note = Rc::clone(&seen);
    simulated.on_happening(Box::new(move |_, happening| {
        if let Happening::Arrived {
            to_board: true,
            bytes,
            ..
        } = happening
        {
            note.borrow_mut().push(bytes.to_vec());
        }
        Vec::new()
    }));
    let mut port = simulated.port(MAIN).expect("a cable");
    let late = Fault::Noise {
        board: MAIN,
        to_board: true,
        damage: Damage::Late(Duration::from_millis(50)),
    };
    simulated.inject(When::Now, late);
    port.send(&[1]).expect("open");
    port.send(&[2]).expect("open");
    simulated.pass(Duration::from_millis(100)).expect("no hook");
    assert_eq!(*seen.borrow(), [vec![2], vec![1]]);
}

#[test]
fn who_is_on_the_port_is_found_out_before_anything_else() {
    let simulated = SimulatedStand::new(&stand(true), &Options::default());
    let put = |stranger| {
        let fault = Fault::Stranger {
            board: MAIN,
            stranger,
        };
        assert!(simulated.inject(When::Now, fault));
    };
    put(Some(Stranger::Babbler));
    let error = connect(&simulated, MAIN, "main").expect_err("no board");
    assert!(matches!(error, LinkError::NotABoard { .. }), "{error}");
    put(Some(Stranger::Named("bellows".into())));
    let error = connect(&simulated, MAIN, "main").expect_err("another board");
    assert!(
        matches!(&error, LinkError::OtherBoard { found, .. } if found == "bellows"),
        "{error}"
    );
    put(None);
    drop(connect(&simulated, MAIN, "main").expect("itself again"));
    let swap = Fault::Swapped {
        one: MAIN,
        other: LOWER,
    };
    simulated.inject(When::Now, swap.clone());
    let error = connect(&simulated, MAIN, "main").expect_err("the other one");
    assert!(
        matches!(&error, LinkError::OtherBoard { found, .. } if found == "lower"),
        "{error}"
    );
    simulated.inject(When::Now, swap);
    drop(connect(&simulated, LOWER, "lower").expect("where it belongs"));
}

#[test]
fn opening_a_port_may_reset_its_board() {
    let simulated = SimulatedStand::new(&stand(false), &Options::default());
    let first = connect(&simulated, MAIN, "main").expect("a board").boot();
    assert_eq!(
        connect(&simulated, MAIN, "main").expect("it").boot(),
        first,
        "opening changes nothing on a sound one"
    );
    simulated.inject(
        When::Now,
        Fault::OpeningResets {
            board: MAIN,
            on: true,
        },
    );
    let second = connect(&simulated, MAIN, "main").expect("it boots").boot();
    assert_ne!(first, second);
}

#[test]
fn a_supply_that_fails_is_sensed_by_nobody() {
    let options = Options {
        runs_back: vec![REEDS_LIFT],
        ..Options::default()
    };
    let (simulated, mut driver) = ready(&options, &[REEDS_EAST, REEDS_LIFT]);
    driver.move_to(&[(REEDS_EAST, 0), (REEDS_LIFT, 0)]);
    let place = |axis| simulated.position(axis).expect("an axis");
    let (east, lift) = (place(REEDS_EAST), place(REEDS_LIFT));
    simulated.inject(When::Now, Fault::MotorPower { on: false });
    driver.move_to(&[(REEDS_EAST, 400)]);
    assert_eq!(place(REEDS_EAST), east, "no step was made");
    assert!(place(REEDS_LIFT) < lift - 1.0, "it sinks");
    assert!(driver.status().homed.contains(0) && driver.status().drivers);
    simulated.inject(When::Now, Fault::MotorPower { on: true });
    driver.move_to(&[(REEDS_EAST, 800)]);
    assert!((place(REEDS_EAST) - east - 1.0).abs() < 0.06);
    simulated.inject(
        When::Now,
        Fault::Driver {
            axis: REEDS_EAST,
            dead: true,
        },
    );
    let here = place(REEDS_EAST);
    driver.move_to(&[(REEDS_EAST, 0)]);
    assert_eq!(place(REEDS_EAST), here);
    assert_eq!(simulated.violations(), []);
}

#[test]
fn a_home_switch_that_slips_is_found_where_it_is() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 0)]);
    let before = simulated.position(REEDS_EAST).expect("an axis");
    let slip = Fault::HomeSwitchMoved {
        axis: REEDS_EAST,
        by: 0.5,
    };
    assert!(simulated.inject(When::Now, slip));
    driver.home(REEDS_EAST);
    driver.move_to(&[(REEDS_EAST, 0)]);
    let after = simulated.position(REEDS_EAST).expect("an axis");
    assert!((after - before - 0.5).abs() < 0.01, "{before} and {after}");
}

#[test]
fn a_slack_that_changes_moves_no_carriage() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    // Straight there: the slack is to show.
    let mut go = |steps| {
        driver.start_move(&[(REEDS_EAST, steps)]);
        driver.rest();
        simulated.position(REEDS_EAST).expect("an axis")
    };
    go(4000);
    let mut before = go(0);
    // Driven downward, the carriage is its slack of 0.05 mm ahead.
    for slack in [0.02, 0.3] {
        let fault = Fault::Backlash {
            axis: REEDS_EAST,
            slack,
        };
        simulated.inject(When::Now, fault);
        assert_eq!(simulated.position(REEDS_EAST), Some(before));
        let top = go(4000);
        before = go(0);
        assert!(
            (top - before - (10.0 - slack)).abs() < 1e-6,
            "{slack}: from {top} to {before}"
        );
    }
}

#[test]
fn a_power_cut_takes_boards_and_host() {
    let simulated = SimulatedStand::new(&stand(true), &Options::default());
    let boots = [(MAIN, "main"), (LOWER, "lower")]
        .map(|(board, name)| connect(&simulated, board, name).expect("a board").boot());
    let mut port = simulated.port(MAIN).expect("a cable");
    simulated.inject(When::Now, Fault::PowerCut { keep_mark: false });
    assert!(port.send(&[0]).is_err());
    drop(port);
    assert!(simulated.port(MAIN).is_err());
    simulated.pass(Duration::from_secs(1)).expect("no hook");
    simulated.revive();
    for ((board, name), boot) in [(MAIN, "main"), (LOWER, "lower")].into_iter().zip(boots) {
        assert_ne!(
            connect(&simulated, board, name).expect("up again").boot(),
            boot
        );
    }
}

#[test]
fn a_suspended_host_sleeps_longer_than_it_meant_to() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.start_move(&[(REEDS_EAST, 20_000)]);
    simulated.inject(When::Now, Fault::Suspend(Duration::from_secs(3)));
    let before = simulated.clock().now();
    simulated
        .clock()
        .sleep(Duration::from_millis(10))
        .expect("alive");
    let slept = simulated.clock().now() - before;
    assert_eq!(slept, Duration::from_millis(3010));
    assert_eq!(driver.rest().halt, Some(Halt::Silence));
    assert_eq!(simulated.violations(), []);
}

#[test]
fn a_press_that_times_the_exposure_is_cut_short_by_a_reset() {
    let options = Options {
        press_times: true,
        ..Options::default()
    };
    for cut in [false, true] {
        let (simulated, mut driver) = ready_to_fire(&options, &[REEDS_EAST]);
        if cut {
            // As the shutter opens, and at no other time.
            let mut struck = false;
            simulated.on_happening(Box::new(move |_, happening| {
                let opens = matches!(happening, Happening::Shutter { open: true, .. });
                if opens && !std::mem::replace(&mut struck, true) {
                    return vec![Fault::Reset {
                        board: MAIN,
                        keep_mark: true,
                        drop_port: false,
                    }];
                }
                Vec::new()
            }));
        }
        driver.open_shot(1);
        simulated.pass(Duration::from_secs(1)).expect("no hook");
        let order = driver.fire_order(1, 1);
        driver.ask(order);
        simulated.pass(Duration::from_secs(2)).expect("no hook");
        let taken = simulated.exposures();
        assert_eq!(taken.len(), 1);
        let open = taken[0].closed - taken[0].opened;
        let pressed = Duration::from_millis(150);
        assert_eq!(open < pressed.mul_f64(0.8), cut, "{open:?}");
        assert_eq!((taken[0].press, taken[0].by_hand), (1, false));
        assert_eq!(simulated.violations(), []);
    }
}

#[test]
fn a_hand_on_the_release_exposes_without_a_word_to_the_board() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.start_move(&[(REEDS_EAST, 20_000)]);
    simulated.inject(When::Now, Fault::HandRelease);
    driver.rest();
    simulated.pass(Duration::from_secs(1)).expect("no hook");
    let taken = simulated.exposures();
    assert_eq!(taken.len(), 1);
    assert!(taken[0].by_hand && taken[0].blurred);
    assert_eq!((simulated.releases(), simulated.presses()), (0, 1));
    // No controller could have known.
    assert_eq!(simulated.violations(), []);
}

#[test]
fn the_onlooker_sees_every_step_and_may_let_a_fault_strike_between_two() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 0)]);
    let before = simulated.count(REEDS_EAST).expect("a motor").net();
    let seen = Rc::new(RefCell::new(0));
    let count = Rc::clone(&seen);
    simulated.on_happening(Box::new(move |_, happening| {
        if let Happening::Step {
            axis: REEDS_EAST,
            positive,
            made,
        } = *happening
        {
            assert!(positive && made);
            *count.borrow_mut() += 1;
            if *count.borrow() == 1000 {
                return vec![Fault::StopPressed];
            }
        }
        Vec::new()
    }));
    driver.start_move(&[(REEDS_EAST, 20_000)]);
    assert_eq!(driver.rest().halt, Some(Halt::Stop));
    assert_eq!(*seen.borrow(), 1000, "not one step more");
    let after = simulated.count(REEDS_EAST).expect("a motor").net();
    assert_eq!(after - before, 1000);
}

#[test]
fn a_switch_that_is_ignored_breaks_a_law() {
    // The board is told that the switch is sound while it is stuck; the carriage then runs on to
    // its end, which no law forbids: the switch is not as it was built.
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 0)]);
    let stuck = Fault::FarSwitch {
        axis: REEDS_EAST,
        fault: Some(SwitchFault::Stuck),
    };
    simulated.inject(When::Now, stuck);
    driver.move_to(&[(REEDS_EAST, 20_000)]);
    assert_eq!(simulated.violations(), []);
    // A law of silence that is stricter than the board's own guard is broken by it.
    let strict = Options {
        silence: Duration::from_millis(1),
        ..Options::default()
    };
    let (simulated, mut driver) = ready(&strict, &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 0)]);
    driver.start_move(&[(REEDS_EAST, 20_000)]);
    simulated.pass(Duration::from_secs(3)).expect("no hook");
    let broken = simulated.violations();
    assert!(
        broken
            .iter()
            .all(|violation| violation.law == Law::WentOnUnheard { axis: REEDS_EAST }),
        "{broken:?}"
    );
    assert!(!broken.is_empty());
}

#[test]
fn what_the_stand_does_not_have_cannot_strike() {
    let simulated = SimulatedStand::new(&stand(false), &Options::default());
    for fault in [
        Fault::Backlash {
            axis: AxisId(40),
            slack: 1.0,
        },
        Fault::Swapped {
            one: MAIN,
            other: LOWER,
        },
        Fault::Stranger {
            board: LOWER,
            stranger: None,
        },
    ] {
        assert!(!simulated.inject(When::Now, fault));
    }
    let port = simulated.port(LOWER).err().expect("one board only");
    assert_eq!(port.kind(), io::ErrorKind::NotFound);
    let _ = Driver::simulated(&stand(false), &simulated, MAIN).expect("a board");
}
