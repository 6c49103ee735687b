//! Takes on the simulated stand, over the real firmware: what the simulated motors and camera did
//! counts, not what the program believes.

mod attended;
mod boards;
mod changes;
mod evidence;
mod exchange;
mod faults;
mod hands;
mod light;
mod passes;
mod rig;
mod state;
mod steps;

use std::cell::RefCell;
use std::rc::Rc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use panestep::link::LinkError;
use panestep::plan::times::{DEFAULT_TICK_RATE, turn_time};
use panestep::schedule::Turn;
use panestep::sim::{CameraFault, Damage, Fault, When};
use panestep::stand::AxisId;
use panestep::take::exposure::Known;
use panestep::take::journal::replay;
use panestep::take::{
    Ending, Entry, Files, Folder, FolderError, HandProblem, JournalError, Outcome, Progress, Stage,
    TakeError, Unsynced, rehearse, shoot,
};

use rig::{Bench, FRAMES, MAIN, Ports, SHOT, reset, schedule, sim_now, stamp};

#[test]
fn a_whole_take_steps_exactly_as_scheduled() {
    let mut bench = Bench::new();
    let counts = RefCell::new(Vec::new());
    let outcome = bench
        .shoot_watched(|progress, sim| {
            if let Progress::Arrived { .. } = progress {
                let net = |axis| sim.count(AxisId(axis)).unwrap().net();
                counts.borrow_mut().push([net(0), net(1), net(2)]);
            }
        })
        .unwrap();
    assert_eq!(outcome, Outcome::Finished);
    bench.assert_exact("an undisturbed take");
    let counts = counts.into_inner();
    assert_eq!(counts.len(), 3);
    for frame in 1..3 {
        let targets = |frame: u32| bench.schedule.motors_at(frame).unwrap().to_vec();
        let (before, after) = (targets(frame), targets(frame + 1));
        for axis in 0..3 {
            assert_eq!(
                counts[frame as usize][axis] - counts[frame as usize - 1][axis],
                i64::from(after[axis] - before[axis]),
                "pulses of axis {axis} between frames {frame} and {}",
                frame + 1
            );
        }
    }
}

#[test]
fn a_rehearsal_moves_and_never_fires() {
    let mut bench = Bench::new();
    let mut frames = Vec::new();
    let mut watch = |progress: &Progress<'_>| {
        if let Progress::Frame { turn, .. } = progress {
            frames.push(turn.frame);
        }
    };
    let mut stage = Stage {
        boards: &mut Ports(bench.sim.clone()),
        clock: Rc::new(bench.sim.clock()),
        person: &mut bench.person,
        watch: &mut watch,
        trigger: &mut (),
        album: None,
        interrupt: &bench.interrupt,
    };
    assert_eq!(
        rehearse(&bench.schedule, &mut stage).unwrap(),
        Outcome::Finished
    );
    assert_eq!(frames, [1, 2, 3]);
    assert_eq!(bench.sim.releases(), 0);
    assert!(bench.sim.count(AxisId(0)).unwrap().positive > 0);
}

#[test]
fn killed_at_every_disk_operation_it_exposes_each_frame_once() {
    let mut whole = Bench::new();
    whole.shoot().unwrap();
    let operations = whole.disk.operations();
    assert!(operations > 20, "{operations}");
    for operation in 0..operations {
        for unsynced in [Unsynced::Kept, Unsynced::Lost, Unsynced::Torn(40)] {
            let context = format!("killed at operation {operation}, unsynced {unsynced:?}");
            let mut bench = Bench::new();
            bench.disk.fail_after(operation);
            bench.shoot().expect_err(&context);
            bench.disk.crash(unsynced);
            assert_eq!(
                bench.shoot().expect(&context),
                Outcome::Finished,
                "{context}"
            );
            bench.assert_exact(&context);
            assert!(bench.person.asked.is_empty(), "{context}: asked in vain");
        }
    }
}

#[test]
fn a_full_disk_stops_before_an_exposure_and_never_after_it() {
    let mut whole = Bench::new();
    drop(whole.journal().unwrap());
    let begun = whole.disk.bytes().len();
    whole.shoot().unwrap();
    let all = whole.disk.bytes().len();
    let (mut stopped, mut part_way) = (0, 0);
    // Steps that fall at every place within a line sooner or later, up to where everything fits
    // together with the room that is asked for beforehand.
    for capacity in (begun..begun + 16_000)
        .step_by(1999)
        .chain((begun + 16_000..all + 16_500).step_by(97))
    {
        let context = format!("room for {capacity} bytes");
        let mut bench = Bench::new();
        drop(bench.journal().unwrap());
        bench.disk.hold(Some(capacity));
        if let Err(error) = bench.shoot() {
            stopped += 1;
            assert!(
                matches!(error, TakeError::Journal(_)),
                "{context}: {error:?}"
            );
            let done = |entry: &Entry| matches!(entry, Entry::Done { .. });
            let exposed = bench.entries().iter().filter(|entry| done(entry)).count();
            assert_eq!(bench.sim.releases() as usize, exposed, "{context}");
            part_way += usize::from(exposed > 0 && exposed < FRAMES as usize);
            bench.disk.hold(None);
            bench.disk.crash(Unsynced::Kept);
            assert_eq!(bench.shoot().expect(&context), Outcome::Finished);
        }
        bench.assert_exact(&context);
        assert!(bench.person.asked.is_empty(), "{context}");
    }
    assert!(
        stopped > 15 && part_way > 3,
        "{stopped} stopped, {part_way} part way"
    );
}

#[test]
fn interrupted_at_every_event_it_goes_on_and_exposes_each_frame_once() {
    let mut events = 0;
    Bench::new().shoot_watched(|_, _| events += 1).unwrap();
    assert!(events > 15, "{events}");
    for stop_at in 0..events {
        let context = format!("interrupted at event {stop_at}");
        let mut bench = Bench::new();
        let interrupt = Rc::new(AtomicBool::new(false));
        let mut count = 0;
        let mut journal = bench.journal().unwrap();
        let mut watch = |_: &Progress<'_>| {
            if count == stop_at {
                interrupt.store(true, Ordering::Relaxed);
            }
            count += 1;
        };
        let mut stage = Stage {
            boards: &mut Ports(bench.sim.clone()),
            clock: Rc::new(bench.sim.clock()),
            person: &mut bench.person,
            watch: &mut watch,
            trigger: &mut (),
            album: None,
            interrupt: &interrupt,
        };
        let outcome = shoot(&bench.schedule, &mut journal, &mut stage, &[]).expect(&context);
        // Once the last home check is over, nothing is left to stop.
        let last = stop_at + 1 >= events;
        assert_eq!(outcome == Outcome::Finished, last, "{context}: {outcome:?}");
        drop(journal);
        if !last {
            assert_eq!(bench.shoot().expect(&context), Outcome::Finished);
        }
        bench.assert_exact(&context);
    }
}

#[test]
fn a_reset_during_an_exposure_is_asked_about_and_the_answer_is_heeded() {
    for (exposed, releases) in [(true, FRAMES), (false, FRAMES + 1)] {
        let mut bench = Bench::new();
        bench.person.verdicts = vec![Some(exposed)];
        bench.sim.inject(When::Release(2), reset());
        let error = bench.shoot().unwrap_err();
        assert!(
            matches!(error, TakeError::Link(LinkError::Reset { .. })),
            "{error:?}"
        );
        assert!(error.resumable());
        assert_eq!(bench.person.asked.len(), 1);
        assert_eq!(bench.person.asked[0].turn.frame, 2);
        assert_eq!(bench.person.asked[0].known, Known::ResetBegun);
        assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
        assert_eq!(bench.person.asked.len(), 1);
        assert_eq!(bench.sim.releases(), releases);
    }
}

#[test]
fn without_an_answer_nothing_is_guessed() {
    let mut bench = Bench::new();
    bench.sim.inject(
        When::Release(1),
        Fault::Reset {
            board: MAIN,
            keep_mark: false,
            drop_port: true,
        },
    );
    assert_eq!(
        bench.shoot().unwrap(),
        Outcome::Interrupted {
            next: Some(rig::frame(1))
        },
        "the person did not answer"
    );
    assert_eq!(
        bench.shoot().unwrap(),
        Outcome::Interrupted {
            next: Some(rig::frame(1))
        }
    );
    assert_eq!(bench.sim.releases(), 1);
    assert_eq!(bench.person.asked[0].known, Known::ResetNoMark);
    bench.person.verdicts = vec![Some(true)];
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    assert_eq!(bench.person.asked.len(), 3);
    assert_eq!(bench.sim.releases(), FRAMES);
}

#[test]
fn a_mark_earlier_than_the_intent_proves_that_nothing_was_fired() {
    let mut whole = Bench::new();
    let second = RefCell::new(0);
    let disk = whole.disk.clone();
    whole
        .shoot_watched(|progress, _| {
            if let Progress::Exposing {
                turn: Turn { frame: 2, .. },
            } = progress
            {
                *second.borrow_mut() = disk.operations();
            }
        })
        .unwrap();
    // The intent's sync fails, but its bytes are there afterwards: open, and never sent.
    let mut bench = Bench::new();
    bench.disk.fail_after(*second.borrow() + 1);
    bench.shoot().unwrap_err();
    bench.disk.crash(Unsynced::Kept);
    assert!(replay(&bench.disk.bytes()).unwrap().state.open.is_some());
    bench.sim.inject(
        When::Now,
        Fault::Reset {
            board: MAIN,
            keep_mark: true,
            drop_port: true,
        },
    );
    bench.sim.pass(Duration::from_secs(5)).unwrap();
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    bench.assert_exact("reset before the order was sent");
    assert!(bench.person.asked.is_empty());
    assert!(bench.entries().contains(&Entry::Void {
        slot: 2,
        attempt: 1
    }));
}

#[test]
fn noise_on_the_line_doubles_nothing() {
    let mut whole = Bench::new();
    whole.shoot().unwrap();
    let events = whole.sim.events();
    let runs = 48;
    for run in 0..runs {
        let to_board = run % 2 == 0;
        let damage = match (run / 2) % 4 {
            0 => Damage::Lost,
            1 => Damage::Twice,
            2 => Damage::Flipped,
            _ => Damage::After(vec![0x55, 0, 0xaa]),
        };
        let context = format!("run {run}: {damage:?}, to the board: {to_board}");
        let mut bench = Bench::new();
        for piece in 0..16 {
            bench.sim.inject(
                When::Event(events * (piece * runs + run) / (16 * runs)),
                Fault::Noise {
                    board: MAIN,
                    to_board,
                    damage: damage.clone(),
                },
            );
        }
        assert_eq!(bench.shoot().expect(&context), Outcome::Finished);
        bench.assert_exact(&context);
    }
}

#[test]
fn the_stop_button_ends_the_run_and_it_goes_on_homed_afresh() {
    let mut bench = Bench::new();
    let error = bench
        .shoot_watched(|progress, sim| {
            if let Progress::Moving {
                turn: Turn { frame: 2, .. },
            } = progress
            {
                let soon = sim_now(sim) + Duration::from_millis(150);
                sim.inject(When::At(soon), Fault::StopPressed);
            }
        })
        .unwrap_err();
    assert_eq!(error.ending(), Ending::Stopped, "{error:?}");
    assert!(error.to_string().contains("stop"), "{error}");
    // Still pressed: it says so and does nothing.
    let error = bench.shoot().unwrap_err();
    assert_eq!(error.ending(), Ending::Stopped, "{error:?}");
    bench.sim.inject(When::Now, Fault::StopReleased);
    bench.sim.pass(Duration::from_millis(100)).unwrap();
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    bench.assert_exact("stopped during the second move");
}

#[test]
fn a_camera_that_does_not_follow_or_follows_twice_is_asked_about() {
    for (fault, known) in [
        (CameraFault::Ignores, Known::NoContact),
        (CameraFault::FiresTwice, Known::Contacts(2)),
    ] {
        let mut bench = Bench::new();
        bench.person.verdicts = vec![Some(known != Known::NoContact)];
        bench.sim.inject(When::Now, Fault::Camera(fault));
        assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
        assert_eq!(bench.person.asked.len(), 1, "{fault:?}");
        assert_eq!(bench.person.asked[0].known, known);
    }
}

#[test]
fn a_motor_that_is_wired_the_wrong_way_round_is_named() {
    let mut bench = Bench::new();
    bench
        .sim
        .inject(When::Now, Fault::SwapWires { axis: AxisId(0) });
    let error = bench.shoot().unwrap_err();
    assert!(matches!(error, TakeError::Homing { .. }), "{error:?}");
    assert!(error.to_string().contains("reeds east"), "{error}");
    assert_eq!(bench.sim.releases(), 0);
}

#[test]
fn a_hand_axis_is_asked_for_until_its_reading_is_right() {
    let mut bench = Bench::with(schedule(true));
    bench.person.readings = vec![-1.0, 1.3, f64::NAN, 1.04];
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    match bench.person.problems.as_slice() {
        [
            None,
            Some(HandProblem::Mirrored { read: -1.0 }),
            Some(HandProblem::Off { read: 1.3, .. }),
            Some(HandProblem::NotANumber),
            // Set to 1.04 where 1.0 was asked, which is near enough for frame 2 too.
            rest @ ..,
        ] => assert!(
            rest.iter().all(Option::is_none) && !rest.is_empty(),
            "{rest:?}"
        ),
        other => panic!("{other:?}"),
    }
    assert_eq!(bench.sim.releases(), FRAMES);
}

#[test]
fn another_schedule_is_refused_before_anything_is_connected() {
    let mut bench = Bench::new();
    drop(bench.journal().unwrap());
    bench.schedule.motor_targets[4] += 1;
    let before = bench.sim.events();
    let error = bench.shoot().unwrap_err();
    assert!(
        matches!(error, TakeError::OtherSchedule { .. }),
        "{error:?}"
    );
    assert_eq!(bench.sim.events(), before);
}

#[test]
fn a_target_without_room_for_its_slack_is_refused() {
    let mut bench = Bench::new();
    bench.schedule.motor_targets[6] = -4000;
    let error = bench.shoot().unwrap_err();
    match &error {
        TakeError::NoRoom {
            turn: Some(Turn { frame: 3, .. }),
            room: 0,
            take_up: 40,
            ..
        } => {}
        other => panic!("{other:?}"),
    }
    assert!(error.to_string().contains("reeds east"), "{error}");
}

#[test]
fn a_torn_tail_is_cut_and_damage_inside_names_its_line() {
    let mut bench = Bench::new();
    bench.shoot().unwrap();
    let bytes = bench.disk.bytes();
    let whole = replay(&bytes).unwrap();
    assert_eq!(whole.sound, bytes.len());
    let ends: Vec<usize> = (0..bytes.len()).filter(|&at| bytes[at] == b'\n').collect();
    for length in 0..bytes.len() {
        let lines = ends.iter().filter(|&&end| end < length).count();
        match replay(&bytes[..length]) {
            Ok(replay) => {
                assert_eq!(replay.history, whole.history[..lines]);
                assert_eq!(replay.sound, ends[lines - 1] + 1);
            }
            Err(JournalError::Empty) => assert_eq!(lines, 0),
            Err(other) => panic!("{length}: {other}"),
        }
    }
    // Without the line end before the last line, both together are the last.
    for at in 0..ends[ends.len() - 2] {
        let line = 1 + ends.iter().filter(|&&end| end < at).count() as u64;
        let mut damaged = bytes.clone();
        damaged[at] ^= 1;
        match replay(&damaged) {
            Err(JournalError::Damaged { line: named, .. }) => assert_eq!(named, line, "byte {at}"),
            other => panic!("byte {at}: {other:?}"),
        }
    }
}

#[test]
fn a_folder_is_made_whole_and_never_over_another() {
    let place = tempfile::tempdir().unwrap();
    let path = place.path().join("take-1");
    let schedule = schedule(false);
    let make = || {
        Folder::create(
            &path,
            &Files {
                stand: "stand",
                shot: "shot",
                art: "art".as_ref(),
                base: "".as_ref(),
            },
            &schedule,
            SHOT,
            stamp(),
        )
    };
    let (folder, journal) = make().unwrap();
    assert!(folder.pictures().is_dir());
    assert_eq!(std::fs::read_to_string(folder.stand()).unwrap(), "stand");
    let locked = Folder::open(&path, stamp()).unwrap_err();
    assert!(matches!(locked, FolderError::Locked { .. }), "{locked:?}");
    drop(journal);
    let again = make().unwrap_err();
    assert!(matches!(again, FolderError::Exists { .. }), "{again:?}");
    assert_eq!(std::fs::read_dir(place.path()).unwrap().count(), 1);
    let (_, journal) = Folder::open(&path, stamp()).unwrap();
    assert_eq!(journal.state().next_frame(), Some(1));
    let none = Folder::open(place.path(), stamp()).unwrap_err();
    assert!(matches!(none, FolderError::NoTake { .. }), "{none:?}");
}

/// What two boards have to do takes as long as the longer of the two.
#[test]
fn boards_move_side_by_side() {
    let mut bench = Bench::new();
    // Close to 20 mm each: reeds east on one board, sky east on the other.
    bench.schedule.motor_targets[3] = 3900;
    bench.schedule.motor_targets[5] = 3900;
    let planned = turn_time(&bench.schedule, 2, DEFAULT_TICK_RATE)
        .expect("within the limits")
        .moving;
    assert!(planned > Duration::from_millis(500), "{planned:?}");
    let times = RefCell::new(Vec::new());
    bench
        .shoot_watched(|progress, sim| match progress {
            Progress::Moving {
                turn: Turn { frame: 2, .. },
            }
            | Progress::Arrived {
                turn: Turn { frame: 2, .. },
            } => {
                times.borrow_mut().push(sim_now(sim));
            }
            _ => {}
        })
        .expect("nothing is wrong");
    let [begun, arrived] = times.into_inner()[..] else {
        panic!("frame 2 is gone to once");
    };
    let took = arrived - begun;
    // One after the other they would take twice as long.
    assert!(
        took < planned.mul_f64(1.5),
        "{took:?} where {planned:?} was planned"
    );
}
