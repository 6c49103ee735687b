//! Cables, resets, dying hosts, two boards, and runs that repeat themselves.

use std::io;
use std::time::{Duration, Instant};

use panestep::link::{Clock, Port};
use panestep::sim::{Damage, Fault, HostKilled, Options, SimulatedStand, When};
use panestep::stand::BoardId;
use panestep_protocol::{Activity, Command, ExposureFact, Halt, Hello, Refusal, ToBoard, Token};
use proptest::prelude::*;

use crate::rig::{Driver, MAIN, REEDS_EAST, motors_of, ready, ready_to_fire, stand, units};

#[test]
fn a_port_is_opened_once_and_forgets_what_was_under_way() {
    let stand = stand(false);
    let simulated = SimulatedStand::new(&stand, &Options::default());
    let mut port = simulated.port(MAIN).unwrap();
    let busy = simulated.port(MAIN).err().expect("it is open already");
    assert_eq!(busy.kind(), io::ErrorKind::ResourceBusy);
    let none = simulated.port(BoardId(7)).err().expect("no such board");
    assert_eq!(none.kind(), io::ErrorKind::NotFound);
    let mut buffer = [0; 10];
    let waited = simulated.clock().now();
    let count = port
        .receive(&mut buffer, Duration::from_millis(20))
        .unwrap();
    assert_eq!(count, 0, "a board never speaks unasked");
    assert_eq!(simulated.clock().now() - waited, Duration::from_millis(20));
    drop(port);
    // A hello whose answer is under way when the port is closed.
    let hello = ToBoard::Hello(Hello {
        magic: panestep_protocol::MAGIC,
        version: panestep_protocol::VERSION,
        schema: panestep_protocol::schema(),
        nonce: 1,
    });
    let mut frame = [0; panestep_protocol::MAX_FRAME];
    let frame = panestep_protocol::encode(&hello, &mut frame).unwrap();
    for wait in [1300, 20_000] {
        let mut port = simulated.port(MAIN).unwrap();
        port.send(frame).unwrap();
        simulated.pass(Duration::from_micros(wait)).unwrap();
        drop(port);
        let mut port = simulated.port(MAIN).unwrap();
        let count = port
            .receive(&mut buffer, Duration::from_millis(20))
            .unwrap();
        assert_eq!(count, 0, "closed after {wait} us");
        port.send(frame).unwrap();
        assert!(
            port.receive(&mut buffer, Duration::from_millis(20))
                .unwrap()
                > 0
        );
    }
}

#[test]
fn noise_is_survived_by_asking_again() {
    let (simulated, mut driver) = ready(&Options::default(), &[]);
    let damages = [
        Damage::Lost,
        Damage::Twice,
        Damage::Flipped,
        Damage::After(vec![0x55, 0, 0, 0x12, 0x34]),
    ];
    for to_board in [true, false] {
        for damage in &damages {
            let before = simulated.clock().now();
            simulated.inject(
                When::Now,
                Fault::Noise {
                    board: MAIN,
                    to_board,
                    damage: damage.clone(),
                },
            );
            driver.ask(Command::Lamps { on: 1 });
            let harmless = *damage == Damage::Twice;
            let waited = simulated.clock().now() - before;
            assert_eq!(
                waited < Duration::from_millis(40),
                harmless,
                "{damage:?} toward the board: {to_board}; took {waited:?}"
            );
        }
    }
    assert!(driver.status().damaged >= 2);
    assert_eq!(simulated.lamps(MAIN), 1);
}

#[test]
fn a_pulled_cable_fails_the_port_until_it_is_opened_afresh() {
    let (simulated, mut driver) = ready(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, -20_000)]);
    driver.start_move(&[(REEDS_EAST, 20_000)]);
    let at = driver.clock.now() + Duration::from_millis(300);
    simulated.inject(When::At(at), Fault::CableOut { board: MAIN });
    let error = loop {
        match driver.try_ask(Command::Status) {
            Ok(_) => driver.clock.sleep(Duration::from_millis(20)).unwrap(),
            Err(error) => break error,
        }
    };
    assert_eq!(error.kind(), io::ErrorKind::BrokenPipe);
    let stand = driver.stand.clone();
    drop(driver);
    let gone = simulated.port(MAIN).err().expect("the cable is out");
    assert_eq!(gone.kind(), io::ErrorKind::NotFound);
    simulated.pass(Duration::from_secs(3)).unwrap();
    simulated.inject(When::Now, Fault::CableIn { board: MAIN });
    let mut driver = Driver::simulated(&stand, &simulated, MAIN).unwrap();
    let status = driver.status();
    // The board stopped by itself meanwhile, and knows where it is.
    assert_eq!(status.halt, Some(Halt::Silence));
    assert!(!status.homed.is_empty());
    assert_eq!(simulated.violations(), []);
}

#[test]
fn a_reset_draws_a_new_boot_id_and_forgets_all_but_the_mark() {
    for keep_mark in [true, false] {
        let (simulated, mut driver) = ready_to_fire(&Options::default(), &[REEDS_EAST]);
        driver.open_shot(31);
        assert_eq!(driver.fire(31, 1), ExposureFact::Fired { contacts: 1 });
        driver.start_move(&[(REEDS_EAST, 0)]);
        let boot = driver.identity.boot;
        let at = driver.clock.now() + Duration::from_millis(500);
        simulated.inject(
            When::At(at),
            Fault::Reset {
                board: MAIN,
                keep_mark,
                drop_port: false,
            },
        );
        driver.clock.sleep(Duration::from_secs(2)).unwrap();
        let refused = driver.try_ask(Command::Status).unwrap();
        assert!(matches!(refused, Err(Refusal::OtherBoot(other)) if other != boot));
        let stand = driver.stand.clone();
        drop(driver);
        let mut driver = Driver::simulated(&stand, &simulated, MAIN).unwrap();
        let status = driver.status();
        assert!(status.homed.is_empty() && !status.drivers && status.exposure.is_none());
        let mark = driver.identity.mark.as_ref().map(|mark| mark.token);
        let token = Token {
            slot: 1,
            attempt: 1,
        };
        assert_eq!(mark, keep_mark.then_some(token));
        driver.set_up(&[REEDS_EAST]);
        assert!(driver.home(REEDS_EAST).result.is_ok());
        assert_eq!(simulated.violations(), []);
    }
}

#[test]
fn a_reset_can_take_the_port_with_it_and_never_the_open_shutter() {
    let (simulated, mut driver) = ready_to_fire(&Options::default(), &[]);
    driver.open_shot(31);
    driver.clock.sleep(Duration::from_secs(1)).unwrap();
    simulated.inject(
        When::Release(1),
        Fault::Reset {
            board: MAIN,
            keep_mark: true,
            drop_port: true,
        },
    );
    let order = driver.fire_order(31, 1);
    let asked = driver.try_ask(order);
    let waited = driver.clock.sleep(Duration::from_secs(2));
    assert!(waited.is_ok());
    assert!(asked.is_ok(), "answered before the line closed");
    let error = driver.try_ask(Command::Status).unwrap_err();
    assert_eq!(error.kind(), io::ErrorKind::BrokenPipe);
    // The release line opened with the reset: the camera exposes on its own timer all the same.
    assert_eq!(simulated.exposures().len(), 1);
}

#[test]
fn a_killed_host_waits_no_more_and_the_stand_carries_on() {
    for event in [40, 41, 60, 100] {
        let stand = stand(false);
        let simulated = SimulatedStand::new(&stand, &Options::default());
        simulated.inject(When::Event(event), Fault::KillHost);
        let run = || -> io::Result<()> {
            let mut driver = Driver::simulated(&stand, &simulated, MAIN)?;
            loop {
                driver.try_ask(Command::Status)?.expect("a status");
                driver.clock.sleep(Duration::from_millis(10))?;
            }
        };
        let error = run().unwrap_err();
        let killed = error
            .get_ref()
            .is_some_and(|inner| inner.is::<HostKilled>());
        assert!(killed, "{error}");
        assert_eq!(simulated.events(), event);
        assert!(simulated.port(MAIN).is_err());
        let before = simulated.clock().now();
        simulated.pass(Duration::from_secs(1)).unwrap();
        assert_eq!(simulated.clock().now() - before, Duration::from_secs(1));
        simulated.revive();
        Driver::simulated(&stand, &simulated, MAIN)
            .unwrap()
            .status();
    }
}

#[test]
fn two_boards_move_side_by_side_and_share_the_stop() {
    let stand = stand(true);
    let simulated = SimulatedStand::new(&stand, &Options::default());
    let mut drivers: Vec<Driver> = (0..2)
        .map(|board| Driver::simulated(&stand, &simulated, BoardId(board)).unwrap())
        .collect();
    assert_ne!(drivers[0].identity.boot, drivers[1].identity.boot);
    let mut first = Vec::new();
    for (board, driver) in drivers.iter_mut().enumerate() {
        assert_eq!(driver.identity.name.as_str(), stand.boards[board].name);
        let axes = motors_of(&stand, BoardId(board));
        driver.set_up(&axes);
        for &axis in &axes {
            assert!(driver.home(axis).result.is_ok());
        }
        driver.move_to(&[(axes[0], 0)]);
        first.push((axes[0], simulated.position(axes[0]).unwrap()));
    }
    for (driver, &(axis, _)) in drivers.iter_mut().zip(&first) {
        driver.start_move(&[(axis, 4000)]);
    }
    loop {
        // Each of them must hear from its host while it moves.
        let idle = |driver: &mut Driver| driver.status().activity == Activity::Idle;
        if drivers
            .iter_mut()
            .map(idle)
            .fold(true, |all, one| all & one)
        {
            break;
        }
    }
    for &(axis, zero) in &first {
        let moved = simulated.position(axis).unwrap() - zero;
        assert!((moved - 10.0).abs() < 1e-9, "axis {}: {moved}", axis.0);
    }
    simulated.inject(When::Now, Fault::StopPressed);
    for driver in &mut drivers {
        driver.clock.sleep(Duration::from_millis(1)).unwrap();
        assert_eq!(driver.status().halt, Some(Halt::Stop));
    }
    assert_eq!(simulated.violations(), []);
}

/// A short shoot; returns its trace and how long it took by its own clock.
fn shoot(seed: u64, frames: i32) -> (SimulatedStand, Duration) {
    let options = Options {
        seed,
        ..Options::default()
    };
    let axes = motors_of(&stand(false), MAIN);
    let (simulated, mut driver) = ready(&options, &axes);
    driver.open_shot(1);
    for frame in 1..=frames {
        // Some 30 mm there and back: one to two seconds.
        let side = if frame % 2 == 0 { 6000 } else { -6000 };
        let targets: Vec<_> = (1..)
            .zip(&axes)
            .map(|(place, &axis)| (axis, side + 50 * place + frame))
            .collect();
        driver.move_to(&targets);
        let fact = driver.fire(1, frame as u32);
        assert_eq!(fact, ExposureFact::Fired { contacts: 1 }, "frame {frame}");
    }
    let time = simulated.clock().now();
    (simulated, time)
}

#[test]
fn the_same_seed_gives_the_same_run() {
    let (one, _) = shoot(3, 4);
    let (again, _) = shoot(3, 4);
    let (other, _) = shoot(4, 4);
    assert_eq!(one.trace(), again.trace());
    assert_eq!(one.events(), again.events());
    assert_eq!(one.exposures(), again.exposures());
    assert_ne!(one.trace(), other.trace());
}

#[test]
fn a_hundred_and_twenty_frames_are_quick_and_lawful() {
    let start = Instant::now();
    let (simulated, time) = shoot(1, 120);
    let real = start.elapsed();
    let (ticks, events) = (simulated.ticks(), simulated.events());
    eprintln!(
        "120 frames, 6 axes: {:.0} s simulated in {:.3} s; {ticks} ticks at {:.0} ns, {events} events",
        time.as_secs_f64(),
        real.as_secs_f64(),
        real.as_nanos() as f64 / ticks as f64,
    );
    assert_eq!(simulated.exposures().len(), 120);
    assert_eq!(simulated.releases(), 120);
    assert_eq!(simulated.violations(), []);
    // Ticks in which nothing could happen were not carried out: settling and exposing alone take
    // 120 times 1.5 s of 20 000 ticks.
    assert!(ticks < (time.as_secs_f64() * 20_000.0) as u64 - 120 * 30_000 / 2);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// However the host polls, a move is the same pulses at the same intervals.
    #[test]
    fn polling_does_not_change_physics(
        seed in 1u64..1000,
        waits in prop::collection::vec(1u64..300, 1..30),
        to in -20_000i32..20_000,
    ) {
        let options = Options { seed, ..Options::default() };
        let (simulated, mut driver) = ready(&options, &[REEDS_EAST]);
        driver.move_to(&[(REEDS_EAST, 0)]);
        let zero = simulated.position(REEDS_EAST).unwrap();
        let before = simulated.count(REEDS_EAST).unwrap().net();
        driver.start_move(&[(REEDS_EAST, to)]);
        let mut port_turns = waits.iter().cycle();
        loop {
            let status = driver.status();
            if status.activity == Activity::Idle {
                break;
            }
            let wait = Duration::from_millis(*port_turns.next().unwrap());
            let mut buffer = [0; 8];
            if wait.as_millis().is_multiple_of(2) {
                driver.clock.sleep(wait).unwrap();
            } else {
                prop_assert_eq!(driver.port.receive(&mut buffer, wait).unwrap(), 0);
            }
        }
        prop_assert_eq!(simulated.count(REEDS_EAST).unwrap().net() - before, i64::from(to));
        let expected = if to < 0 { (units(to) + 0.05).min(0.0) } else { units(to) };
        let moved = simulated.position(REEDS_EAST).unwrap() - zero;
        prop_assert!((moved - expected).abs() < 1e-9, "moved {moved}, expected {expected}");
        prop_assert_eq!(simulated.violations(), []);
    }
}
