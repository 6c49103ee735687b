//! The light of exposures: lamps after a reset, at a run's end, switched by hand, and in steps.

use std::rc::Rc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use panestep::link::LinkError;
use panestep::sim::{Fault, When as At};
use panestep::stand::BoardId;
use panestep::take::{
    Check, Entry, Outcome, Progress, Standing, Steps, Stood, TakeError, Wish, rehearse, shoot,
    shoot_by_steps,
};

use super::passes::{
    BURNING, LOWER, WARM_UP, assert_exact, assert_lit_and_in_place, numbers, short, with_passes,
};
use super::rig::{Bench, MAIN, reset, sim_now};

/// A board starts anew.
fn reset_of(of: BoardId) -> Fault {
    match reset() {
        Fault::Reset {
            keep_mark,
            drop_port,
            ..
        } => Fault::Reset {
            board: of,
            keep_mark,
            drop_port,
        },
        other => other,
    }
}

/// A board that starts anew has its lamps out: they burn again before anything is exposed.
#[test]
fn lamps_burn_again_after_a_reset_between_two_passes() {
    for (board, at) in [(MAIN, 2), (LOWER, 3)] {
        let mut bench = Bench::with(with_passes());
        let mut struck = false;
        let result = bench.shoot_watched(|progress, sim| {
            if let Progress::Frame { done, .. } = progress
                && *done == at
                && !std::mem::replace(&mut struck, true)
            {
                sim.inject(At::Now, reset_of(board));
            }
        });
        let error = result.expect_err("the board has lost its count");
        let lost = matches!(error, TakeError::Link(LinkError::Reset { .. }));
        assert!(lost, "{board:?}: {error:?}");
        assert_eq!(bench.sim.releases(), at);
        assert_eq!(bench.shoot().expect("it goes on"), Outcome::Finished);
        assert_exact(&bench, "after a reset");
    }
}

#[test]
fn lamps_go_out_however_a_run_ends() {
    for at in 1..=9 {
        let mut bench = Bench::with(with_passes());
        let interrupt = Rc::new(AtomicBool::new(false));
        let mut journal = bench.journal().expect("begun");
        let mut watch = |progress: &Progress<'_>| {
            if let Progress::Exposing { turn } = progress
                && turn.number == at
            {
                interrupt.store(true, Ordering::Relaxed);
            }
        };
        let outcome = bench.on_stage(&mut watch, Some(&interrupt), |schedule, stage| {
            shoot(schedule, &mut journal, stage, &[])
        });
        let next = bench.schedule.turn(at + 1);
        assert_eq!(outcome.expect("no error"), Outcome::Interrupted { next });
        drop(journal);
        // The exposure that was under way is whole, in its own light.
        assert_eq!(bench.sim.releases(), at);
        assert_lit_and_in_place(&bench, "interrupted");
    }
}

/// A rehearsal that is stopped, a take that an error ends, and a board that is lost: wherever a lamp
/// can still be reached, it is out afterwards.
#[test]
fn lamps_go_out_after_an_error_and_after_a_rehearsal_that_is_stopped() {
    let mut bench = Bench::with(with_passes());
    let interrupt = Rc::new(AtomicBool::new(false));
    let seen = Rc::new(std::cell::Cell::new([0, 0]));
    let (stop, lit, sim) = (Rc::clone(&interrupt), Rc::clone(&seen), bench.sim.clone());
    let mut watch = move |progress: &Progress<'_>| {
        if let Progress::Moving { turn } = progress
            && turn.frame == 2
        {
            lit.set([MAIN, LOWER].map(|board| sim.lamps(board)));
            stop.store(true, Ordering::Relaxed);
        }
    };
    let outcome = bench.on_stage(&mut watch, Some(&interrupt), rehearse);
    let outcome = outcome.expect("no error");
    assert!(
        matches!(outcome, Outcome::Interrupted { .. }),
        "{outcome:?}"
    );
    assert_eq!(seen.get(), BURNING[0], "they burnt before");
    assert_eq!([MAIN, LOWER].map(|board| bench.sim.lamps(board)), [0, 0]);

    // The disk is full between two exposures.
    let mut bench = Bench::with(with_passes());
    let disk = bench.disk.clone();
    let mut burnt = [0, 0];
    let result = bench.shoot_watched(|progress, sim| {
        if let Progress::Frame { done: 1, .. } = progress {
            burnt = [MAIN, LOWER].map(|board| sim.lamps(board));
            disk.hold(Some(disk.length()));
        }
    });
    result.expect_err("nothing more can be recorded");
    assert_eq!(burnt, BURNING[0], "they burnt before");
    assert_eq!([MAIN, LOWER].map(|board| bench.sim.lamps(board)), [0, 0]);
}

/// A board whose lamp burns starts anew while the shutter is open. The camera's board sees the others
/// stop, and a person is asked whether the frame is exposed. It is; but was its light enough? That
/// is another question.
#[test]
fn a_lamp_that_goes_out_during_an_exposure_puts_its_frame_in_doubt() {
    for again in [true, false] {
        let mut bench = Bench::with(short(with_passes(), 2));
        // Frame 2, day: the third exposure.
        bench.person.verdicts = vec![Some(true)];
        let mut struck = None;
        let result = bench.shoot_watched(|progress, sim| {
            if let Progress::Exposing { turn } = progress
                && turn.number == 3
                && struck.is_none()
            {
                struck = Some(*turn);
                let middle = sim_now(sim) + Duration::from_millis(400);
                sim.inject(At::At(middle), reset_of(LOWER));
            }
        });
        let error = result.expect_err("a board has lost its count");
        let lost = matches!(error, TakeError::Link(LinkError::Reset { .. }));
        assert!(lost, "{error:?}");
        let board = bench.schedule.boards[LOWER.0].clone();
        let last = bench
            .entries()
            .into_iter()
            .rev()
            .find_map(|entry| match entry {
                Entry::Verdict { slot, unlit, .. } => Some((slot, unlit)),
                _ => None,
            });
        assert_eq!(last, Some((3, vec![board.clone()])));
        let taken = bench.sim.exposures();
        assert_eq!(taken.len(), 3);
        assert!(taken[2].switched > taken[2].opened, "it went out meanwhile");
        assert!(taken[2].switched < taken[2].closed, "it went out meanwhile");

        bench.person.again = vec![Some(again)];
        assert_eq!(bench.shoot().expect("it goes on"), Outcome::Finished);
        assert_eq!(bench.person.doubts.len(), 1);
        let doubts = &bench.person.doubts[0];
        assert_eq!(doubts.unlit, [(board, 3)]);
        assert!(doubts.drifts.is_empty());
        assert_eq!(doubts.frames, panestep::take::Span::of([3]));
        let journal = bench.journal().expect("it is sound");
        let frame = journal.state().frame(3).expect("there is one").clone();
        assert_eq!(frame.standing, Standing::Exposed);
        // Kept as it is, its place is one that nobody can look over any more.
        let check = if again { Check::Passed } else { Check::Unknown };
        assert_eq!(
            (frame.exposures, frame.check),
            (1 + u32::from(again), check)
        );
        let expected: &[u32] = if again {
            &[1, 2, 3, 3, 4, 5, 6]
        } else {
            &[1, 2, 3, 4, 5, 6]
        };
        assert_eq!(numbers(&bench), expected);
        let mut exposures = bench.sim.exposures();
        // All but the doubted one were in their own light.
        exposures.remove(2);
        for (taken, number) in exposures
            .iter()
            .zip([1, 2].into_iter().chain(expected[3..].iter().copied()))
        {
            let turn = bench.schedule.turn(number).expect("there is one");
            assert_eq!(taken.lamps, BURNING[turn.pass], "frame {turn}");
            assert!(taken.switched + WARM_UP <= taken.opened, "frame {turn}");
        }
    }
}

/// Between two passes of one frame nothing moves: what is waited for is the lamp.
#[test]
fn a_lamp_switched_by_hand_warms_up_before_the_exposure() {
    let gap = |warm_up: Duration| {
        let mut schedule = short(with_passes(), 1);
        for lamp in &mut schedule.lamps {
            lamp.output = None;
            lamp.warm_up = warm_up;
        }
        let mut bench = Bench::with(schedule);
        assert_eq!(bench.shoot().expect("no error"), Outcome::Finished);
        assert!(bench.person.arranged.len() >= 2, "lamps are asked for");
        let taken = bench.sim.exposures();
        taken[1].opened - taken[0].closed
    };
    let (long, none) = (gap(Duration::from_secs(20)), gap(Duration::ZERO));
    assert!(long >= Duration::from_secs(20), "{long:?}");
    assert!(none < Duration::from_secs(5), "{none:?}");
}

/// Somebody who goes from exposure to exposure, and leaves.
struct Walker(Vec<Wish>);

impl Steps for Walker {
    fn next(&mut self, _: &Stood) -> Option<Wish> {
        (!self.0.is_empty()).then(|| self.0.remove(0))
    }
}

#[test]
fn whoever_steps_exposes_each_pass_in_its_own_light() {
    let mut bench = Bench::with(short(with_passes(), 2));
    // Another order than a run's own: the passes of frame 2 first, and the titles of frame 1.
    let order = [3, 4, 5, 2, 1, 6];
    let wishes = order
        .into_iter()
        .flat_map(|number| [Wish::Go(number), Wish::Expose])
        .chain([Wish::Leave])
        .collect();
    let mut journal = bench.journal().expect("begun");
    let mut steps = Walker(wishes);
    let result = bench.on_stage(&mut |_: &Progress<'_>| (), None, |schedule, stage| {
        shoot_by_steps(schedule, &mut journal, stage, &[], &mut steps)
    });
    drop(journal);
    assert_eq!(result.expect("no error"), Outcome::Finished);
    assert_eq!(numbers(&bench), order);
    assert_lit_and_in_place(&bench, "in steps");
}
