//! The shutter: when it opens, what it saw, what the flash contact told.

use std::cell::RefCell;
use std::io;
use std::rc::Rc;
use std::time::Duration;

use panestep::sim::{CameraFault, Fault, Law, Options, When};
use panestep_protocol::{Command, ExposureFact, Refusal};

use crate::rig::{REEDS_EAST, SKY_NORTH, ready_to_fire};

#[test]
fn an_exposure_opens_within_the_delay_lasts_and_is_counted_once() {
    let (simulated, mut driver) = ready_to_fire(&Options::default(), &[REEDS_EAST]);
    driver.move_to(&[(REEDS_EAST, 800)]);
    let seen = Rc::new(RefCell::new(Vec::new()));
    let album = Rc::clone(&seen);
    simulated.on_exposure(move |pose, number| {
        album.borrow_mut().push((number, pose.clone()));
        Ok(())
    });
    driver.open_shot(5);
    for slot in 1..=3 {
        driver.move_to(&[(REEDS_EAST, 800 * slot)]);
        let pose = simulated.pose();
        let before = driver.clock.now();
        let fact = driver.fire(5, slot as u32);
        assert_eq!(fact, ExposureFact::Fired { contacts: 1 });
        let exposures = simulated.exposures();
        let last = exposures.last().expect("an exposure");
        assert_eq!(exposures.len(), slot as usize);
        assert_eq!(last.number, slot as u32);
        assert_eq!((&last.pose, last.blurred), (&pose, false));
        assert_eq!(last.closed - last.opened, Duration::from_millis(500));
        // Settling 300 ms, half-press 50 ms, then up to 100 ms of the camera's own, and the
        // messages' way.
        let waited = last.opened - before;
        assert!(
            waited > Duration::from_millis(350) && waited < Duration::from_millis(470),
            "{waited:?}"
        );
        assert_eq!(seen.borrow().last(), Some(&(slot as u32, pose)));
    }
    assert_eq!(simulated.releases(), 3);
    assert_eq!(simulated.violations(), []);
}

#[test]
fn the_contact_tells_what_the_camera_did() {
    let (simulated, mut driver) = ready_to_fire(&Options::default(), &[]);
    driver.open_shot(9);
    let faults = [
        (None, 1, 1),
        (Some(CameraFault::Ignores), 0, 0),
        (Some(CameraFault::NoContact), 0, 1),
        (None, 1, 1),
    ];
    let mut taken = 0;
    for (slot, (fault, contacts, exposures)) in (1..).zip(faults) {
        if let Some(fault) = fault {
            simulated.inject(When::Now, Fault::Camera(fault));
        }
        let fact = driver.fire(9, slot);
        taken += exposures;
        assert_eq!(fact, ExposureFact::Fired { contacts }, "slot {slot}");
        assert_eq!(simulated.exposures().len(), taken, "slot {slot}");
    }
    simulated.inject(When::Now, Fault::Camera(CameraFault::FiresTwice));
    let before = driver.status().contacts;
    driver.fire(9, 5);
    driver.clock.sleep(Duration::from_secs(2)).unwrap();
    assert_eq!(driver.status().contacts - before, 2);
    assert_eq!(simulated.exposures().len(), taken + 2);
}

#[test]
fn a_busy_camera_ignores_its_release() {
    let (simulated, mut driver) = ready_to_fire(&Options::default(), &[]);
    driver.open_shot(9);
    driver.clock.sleep(Duration::from_secs(1)).unwrap();
    let order = driver.fire_order(9, 1);
    driver.ask(order);
    driver.rest();
    // The window has passed, the camera is not ready yet.
    let order = driver.fire_order(9, 2);
    driver.ask(order);
    let status = driver.rest();
    assert_eq!(simulated.releases(), 2);
    assert_eq!(simulated.ignored(), 1);
    assert_eq!(simulated.exposures().len(), 1);
    let (_, fact) = status.exposure.expect("a token has been accepted");
    assert_eq!(fact, ExposureFact::Fired { contacts: 0 });
}

#[test]
fn what_moves_while_the_shutter_is_open_spoils_the_picture() {
    let (simulated, mut driver) = ready_to_fire(&Options::default(), &[]);
    driver.open_shot(9);
    driver.clock.sleep(Duration::from_secs(1)).unwrap();
    let order = driver.fire_order(9, 1);
    driver.ask(order);
    simulated.pass(Duration::from_millis(300)).unwrap();
    assert!(simulated.shutter_open());
    simulated.crank(SKY_NORTH, 3.0);
    driver.rest();
    assert!(simulated.exposures()[0].blurred);
    let violations = simulated.violations();
    assert_eq!(violations.len(), 1);
    assert_eq!(
        violations[0].law,
        Law::MovedWhileOpen {
            axis: SKY_NORTH,
            number: 1
        }
    );
}

#[test]
fn a_board_does_not_fire_before_everything_has_settled() {
    let (simulated, mut driver) = ready_to_fire(&Options::default(), &[REEDS_EAST]);
    driver.open_shot(9);
    driver.move_to(&[(REEDS_EAST, 0)]);
    let order = driver.fire_order(9, 1);
    let refused = driver.try_ask(order).unwrap();
    assert!(matches!(refused, Err(Refusal::NotSettled { .. })));
    assert_eq!(simulated.releases(), 0);
    // A board told of a shorter rest than the stand's is caught by the stand.
    let settle = driver.ticks(Duration::from_millis(1));
    let silence = driver.ticks(Duration::from_millis(500));
    driver.ask(Command::Guard(panestep_protocol::GuardSettings {
        silence,
        settle,
    }));
    driver.move_to(&[(REEDS_EAST, 40)]);
    let order = driver.fire_order(9, 2);
    driver.ask(order);
    driver.rest();
    assert!(matches!(
        simulated.violations()[..],
        [panestep::sim::Violation {
            law: Law::NotSettled { .. },
            ..
        }]
    ));
}

#[test]
fn a_picture_that_cannot_be_kept_ends_every_wait() {
    let (simulated, mut driver) = ready_to_fire(&Options::default(), &[]);
    simulated.on_exposure(|_, number| {
        Err(io::Error::new(
            io::ErrorKind::StorageFull,
            format!("no room for picture {number}"),
        ))
    });
    driver.open_shot(9);
    driver.clock.sleep(Duration::from_secs(1)).unwrap();
    let order = driver.fire_order(9, 1);
    driver.ask(order);
    for _ in 0..2 {
        let error = driver.clock.sleep(Duration::from_secs(2)).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::StorageFull);
        assert_eq!(error.to_string(), "no room for picture 1");
    }
    let error = driver.try_ask(Command::Status).unwrap_err();
    assert_eq!(error.kind(), io::ErrorKind::StorageFull);
}
