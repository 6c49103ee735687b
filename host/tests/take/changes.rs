//! Home checks, frames that are shot again or left out, answers taken back, and a journal that is
//! behind its board.

use panestep::link::Link;
use panestep::schedule::Turn;
use panestep::sim::{Fault, SimulatedStand, SwitchFault, When};
use panestep::stand::AxisId;
use panestep::take::exposure::Known;
use panestep::take::journal::replay;
use panestep::take::{
    Check, Disk, Edit, Entry, Journal, Outcome, Progress, Span, Stage, Standing, Steps, Stood,
    TakeError, TakeState, Unsynced, Wish, rehearse, shoot, shoot_by_steps,
};
use std::rc::Rc;
use std::time::Duration;

use crate::rig::{Bench, FRAMES, MAIN, Ports, reset, stamp};

const REEDS_EAST: AxisId = AxisId(0);

fn lose(sim: &SimulatedStand, steps: u32) {
    let fault = Fault::LoseSteps {
        axis: REEDS_EAST,
        steps,
    };
    assert!(sim.inject(When::Now, fault));
}

fn span(first: u32, last: u32) -> Span {
    Span::new(first, last).expect("a span")
}

fn state(bench: &Bench) -> TakeState {
    replay(&bench.disk.bytes()).expect("sound").state
}

fn edited(bench: &mut Bench, edits: &[Edit]) -> Result<Outcome, TakeError> {
    bench.shoot_edited(edits, |_, _| ())
}

#[test]
fn the_check_at_the_end_passes_what_the_switch_may_differ_and_doubts_what_it_may_not() {
    // The switch may differ by 0.02 mm: 8 steps.
    for (steps, doubted) in [(0, false), (7, false), (10, true), (30, true)] {
        let mut bench = Bench::new();
        bench.person.again = vec![Some(true)];
        let mut lost = false;
        let outcome = bench.shoot_watched(|progress, sim| {
            if let Progress::Moving {
                turn: Turn { frame: 3, .. },
            } = progress
                && !std::mem::replace(&mut lost, true)
            {
                lose(sim, steps);
            }
        });
        assert_eq!(outcome.expect("no switch trips"), Outcome::Finished);
        let doubts = &bench.person.doubts;
        assert_eq!(doubts.len(), usize::from(doubted), "{steps}: {doubts:?}");
        if let Some(doubt) = doubts.first() {
            assert_eq!(doubt.frames, [span(1, 3)]);
            let drift = &doubt.drifts[0];
            assert_eq!(drift.axis, "reeds east");
            assert!(drift.steps.unsigned_abs().abs_diff(steps) <= 1, "{drift:?}");
            // 400 steps a millimetre, 0.05 pixels a step.
            assert!((drift.amount.abs() - f64::from(steps) / 400.0).abs() < 0.0026);
            assert_eq!(drift.unit, "mm");
            assert!((drift.pixels - f64::from(steps) * 0.05).abs() < 0.051);
            bench.assert_last_exposures("shot again");
        }
        let again = if doubted { FRAMES } else { 0 };
        assert_eq!(bench.sim.releases(), FRAMES + again);
        let off = bench
            .entries()
            .into_iter()
            .rev()
            .find_map(|entry| match entry {
                Entry::Checked { off } => Some(off["reeds east"]),
                _ => None,
            });
        // Homed afresh after a doubt, kept as it was counted otherwise.
        let expected = if doubted { 0 } else { steps };
        assert!(
            off.expect("checked").unsigned_abs().abs_diff(expected) <= 1,
            "{off:?}"
        );
        for frame in 1..=FRAMES {
            assert_eq!(
                state(&bench).frame(frame).expect("a frame").check,
                Check::Passed
            );
        }
    }
}

#[test]
fn a_check_every_so_many_frames_doubts_only_those_since_the_last() {
    let mut bench = Bench::new();
    bench.schedule.home_check = 2;
    bench.person.again = vec![Some(true)];
    let mut lost = false;
    bench
        .shoot_watched(|progress, sim| {
            if let Progress::Moving {
                turn: Turn { frame: 3, .. },
            } = progress
                && !std::mem::replace(&mut lost, true)
            {
                lose(sim, 40);
            }
        })
        .expect("no switch trips");
    assert_eq!(bench.person.doubts[0].frames, [span(3, 3)]);
    assert_eq!(bench.sim.releases(), FRAMES + 1);
    bench.assert_last_exposures("frame 3 again");
}

#[test]
fn frames_in_doubt_are_kept_where_a_person_says_so_and_wait_where_nobody_does() {
    let mut bench = Bench::new();
    // Nobody answers at first, and then somebody keeps them.
    bench.person.again = vec![None, Some(false)];
    let outcome = bench.shoot_watched(|progress, sim| {
        if let Progress::Moving {
            turn: Turn { frame: 2, .. },
        } = progress
        {
            lose(sim, 40);
        }
    });
    assert_eq!(outcome.unwrap(), Outcome::Interrupted { next: None });
    assert_eq!(state(&bench).frame(2).unwrap().check, Check::Suspect);
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    assert_eq!(bench.person.doubts.len(), 2);
    assert_eq!(bench.sim.releases(), FRAMES);
    assert_eq!(state(&bench).frame(2).unwrap().check, Check::Kept);
    assert_eq!(bench.entries().last(), Some(&Entry::Finished));
}

#[test]
fn a_board_that_lost_its_count_leaves_frames_that_cannot_be_checked_and_says_so() {
    let mut bench = Bench::new();
    bench
        .shoot_watched(|progress, sim| {
            if let Progress::Frame {
                turn: Turn { frame: 2, .. },
                ..
            } = progress
            {
                let reset = reset();
                sim.inject(When::Now, reset);
            }
        })
        .expect_err("reset");
    let mut told = Vec::new();
    bench
        .shoot_watched(|progress, _| {
            if let Progress::Unchecked { frames, .. } = progress {
                told.push(frames.to_vec());
            }
        })
        .expect("goes on");
    assert_eq!(told[0], [span(1, 2)]);
    let checks: Vec<Check> = (1..=FRAMES)
        .map(|frame| state(&bench).frame(frame).unwrap().check)
        .collect();
    assert_eq!(checks, [Check::Unknown, Check::Unknown, Check::Passed]);
    bench.assert_exact("reset between frames");
}

#[test]
fn a_host_that_dies_while_an_axis_is_homed_does_not_take_the_old_count_for_the_new() {
    // Steps are lost before frame 2, a switch trips at rest, and the host of the run that homes
    // for it is killed at one disk operation after another.
    let broken = |fault| Fault::FarSwitch {
        axis: REEDS_EAST,
        fault,
    };
    let (mut lost_sight, mut doubted) = (0, 0);
    for operation in 0..40 {
        let mut bench = Bench::new();
        let error = bench.shoot_watched(|progress, sim| match progress {
            Progress::Moving {
                turn: Turn { frame: 2, .. },
            } => lose(sim, 40),
            Progress::Arrived {
                turn: Turn { frame: 3, .. },
            } => {
                sim.inject(When::Now, broken(Some(SwitchFault::BrokenWire)));
            }
            _ => {}
        });
        error.expect_err("a switch is tripped");
        bench.sim.inject(When::Now, broken(None));
        // The drivers' power was off for a moment: everything is homed afresh.
        bench.sim.inject(When::Now, Fault::StopPressed);
        bench.sim.pass(Duration::from_millis(10)).expect("no hook");
        bench.sim.inject(When::Now, Fault::StopReleased);
        bench.disk.fail_after(operation);
        bench.person.again = vec![Some(true); 3];
        if bench.shoot().is_err() {
            bench.disk.crash(Unsynced::Kept);
            assert_eq!(bench.shoot().expect("goes on"), Outcome::Finished);
        }
        let state = state(&bench);
        let frame = state.frame(2).expect("a frame");
        match frame.check {
            Check::Unknown => lost_sight += 1,
            Check::Passed => {
                doubted += 1;
                assert_eq!(
                    frame.exposures,
                    2,
                    "passed as it was, at operation {operation}: {:#?}",
                    bench.entries()
                );
            }
            check => panic!("{check:?} at operation {operation}"),
        }
    }
    assert!(lost_sight > 0 && doubted > 0, "{lost_sight}, {doubted}");
}

#[test]
fn another_program_that_had_the_board_in_between_leaves_frames_that_cannot_be_checked() {
    let mut bench = Bench::new();
    bench.schedule.home_check = 0;
    let outcome = bench.shoot_watched(|progress, sim| match progress {
        Progress::Moving {
            turn: Turn { frame: 2, .. },
        } => lose(sim, 40),
        Progress::Frame {
            turn: Turn { frame: 2, .. },
            ..
        } => {
            sim.inject(When::Now, Fault::StopPressed);
        }
        _ => {}
    });
    outcome.expect_err("stopped");
    bench.sim.inject(When::Now, Fault::StopReleased);
    let port = bench.sim.port(MAIN).expect("free");
    drop(Link::connect(Box::new(port), Rc::new(bench.sim.clock()), "main").expect("it answers"));
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    let checks: Vec<Check> = (1..=FRAMES)
        .map(|frame| state(&bench).frame(frame).unwrap().check)
        .collect();
    assert_eq!(checks, [Check::Unknown, Check::Unknown, Check::Passed]);
    assert!(bench.person.doubts.is_empty());
}

#[test]
fn lifts_go_home_before_anything_else_and_all_of_them_where_one_must() {
    let mut bench = Bench::new();
    // As if what slides on the lower board went up and down too.
    bench.schedule.lifts = vec![1, 2];
    bench
        .shoot_watched(|progress, sim| {
            if let Progress::Frame {
                turn: Turn { frame: 1, .. },
                ..
            } = progress
            {
                let reset = reset();
                sim.inject(When::Now, reset);
            }
        })
        .expect_err("reset");
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    let homings: Vec<(bool, String)> = bench
        .entries()
        .into_iter()
        .filter_map(|entry| match entry {
            Entry::Homing { axis } => Some((false, axis)),
            Entry::Homed { axis, .. } => Some((true, axis)),
            _ => None,
        })
        .collect();
    // One after another, over both boards, at the start and after the reset of one board.
    let once = ["sky east", "reeds lift", "reeds east"]
        .map(|axis| [(false, axis.to_owned()), (true, axis.to_owned())])
        .concat();
    assert_eq!(homings, [once.clone(), once].concat());
    bench.assert_exact("a lower lift was homed with the upper");
}

#[test]
fn an_axis_that_has_sunk_onto_a_switch_at_rest_is_homed_when_the_take_goes_on() {
    let mut bench = Bench::new();
    let tripped = |fault| Fault::HomeSwitch {
        axis: REEDS_EAST,
        fault,
    };
    let error = bench.shoot_watched(|progress, sim| {
        if let Progress::Arrived {
            turn: Turn { frame: 2, .. },
        } = progress
        {
            sim.inject(When::Now, tripped(Some(SwitchFault::BrokenWire)));
        }
    });
    error.expect_err("a switch is tripped at rest");
    let error = bench.shoot().expect_err("it still is");
    assert!(matches!(error, TakeError::Homing { .. }), "{error:?}");
    bench.sim.inject(When::Now, tripped(None));
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    bench.assert_exact("homed afresh");
}

#[test]
fn a_rehearsal_checks_too() {
    let mut bench = Bench::new();
    let mut drifts = Vec::new();
    let sim = bench.sim.clone();
    let mut watch = |progress: &Progress<'_>| match progress {
        Progress::Moving {
            turn: Turn { frame: 3, .. },
        } => lose(&sim, 40),
        Progress::Doubted { drift, frames } => {
            assert!(frames.is_empty());
            drifts.push(drift.steps.unsigned_abs());
        }
        _ => {}
    };
    let outcome = rehearse(
        &bench.schedule,
        &mut Stage {
            boards: &mut Ports(bench.sim.clone()),
            clock: Rc::new(bench.sim.clock()),
            person: &mut bench.person,
            watch: &mut watch,
            trigger: &mut (),
            album: None,
            interrupt: &bench.interrupt,
        },
    );
    assert_eq!(outcome.unwrap(), Outcome::Finished);
    assert_eq!(drifts.len(), 1);
    assert!(drifts[0].abs_diff(40) <= 1, "{drifts:?}");
    assert_eq!(bench.sim.releases(), 0);
}

#[test]
fn frames_are_shot_again_and_the_history_stays() {
    let mut bench = Bench::new();
    bench.shoot().unwrap();
    let before = bench.disk.bytes();
    let outcome = edited(&mut bench, &[Edit::Again(span(1, 2)), Edit::Back(1)]);
    assert_eq!(outcome.unwrap(), Outcome::Finished);
    assert!(bench.disk.bytes().starts_with(&before), "the history stays");
    // Frames 1 and 2, and the last one that was exposed: frame 3.
    assert_eq!(bench.sim.releases(), 2 * FRAMES);
    let state = state(&bench);
    for frame in 1..=FRAMES {
        let frame_state = state.frame(frame).unwrap();
        assert_eq!(
            (frame_state.exposures, frame_state.slot),
            (2, FRAMES + frame)
        );
    }
    bench.assert_last_exposures("everything again");
    // And nothing more is done unasked.
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    assert_eq!(bench.sim.releases(), 2 * FRAMES);
}

#[test]
fn a_frame_that_is_left_out_is_not_exposed_and_can_be_wanted_again() {
    let mut bench = Bench::new();
    edited(&mut bench, &[Edit::Drop(span(2, 2))]).unwrap();
    assert_eq!(bench.sim.releases(), FRAMES - 1);
    assert_eq!(state(&bench).frame(2).unwrap().standing, Standing::Dropped);
    assert_eq!(bench.entries().last(), Some(&Entry::Finished));
    edited(&mut bench, &[Edit::Again(span(2, 2))]).unwrap();
    assert_eq!(bench.sim.releases(), FRAMES);
    bench.assert_last_exposures("wanted again");
}

#[test]
fn edits_that_cannot_be_made_change_nothing() {
    let mut bench = Bench::new();
    bench.shoot().unwrap();
    let before = bench.disk.bytes();
    for edits in [
        vec![Edit::Drop(span(1, 1)), Edit::Again(span(2, FRAMES + 1))],
        vec![Edit::Back(FRAMES + 1)],
        vec![Edit::Back(0)],
        vec![Edit::TakeBack(2)],
        vec![Edit::TakeBack(0)],
    ] {
        let error = edited(&mut bench, &edits).expect_err("cannot be made");
        assert!(error.to_string().contains("nothing was changed"), "{error}");
        assert_eq!(bench.disk.bytes(), before, "{edits:?}");
    }
}

#[test]
fn an_answer_can_be_taken_back_either_way() {
    for said in [true, false] {
        let mut bench = Bench::new();
        bench.person.verdicts = vec![Some(said)];
        bench.sim.inject(When::Release(2), reset());
        bench.shoot().expect_err("reset");
        let outcome = edited(&mut bench, &[Edit::TakeBack(2)]).expect("goes on");
        assert_eq!(outcome, Outcome::Finished);
        let state = state(&bench);
        let frame = state.frame(2).unwrap();
        assert_eq!(frame.standing, Standing::Exposed);
        // Said yes, meant no: exposed once more. Said no, meant yes: not again.
        assert_eq!(bench.sim.releases(), FRAMES + u32::from(said));
        assert_eq!(frame.exposures, 1);
        let back = Entry::TakenBack {
            slot: 2,
            attempt: 1,
            exposed: !said,
        };
        assert!(bench.entries().contains(&back));
    }
}

#[test]
fn a_journal_restored_from_an_older_copy_asks_frame_by_frame_and_spends_the_boards_tokens() {
    // The copy is from before frame 2's intent, or from just after it.
    for copied in ["done", "intent"] {
        let mut bench = Bench::new();
        let mut journal = bench.journal().unwrap();
        let mut watch = |progress: &Progress<'_>| {
            if let Progress::Moving {
                turn: Turn { frame: 3, .. },
            } = progress
            {
                bench
                    .interrupt
                    .store(true, std::sync::atomic::Ordering::Relaxed);
            }
        };
        shoot(
            &bench.schedule,
            &mut journal,
            &mut Stage {
                boards: &mut Ports(bench.sim.clone()),
                clock: Rc::new(bench.sim.clock()),
                person: &mut bench.person,
                watch: &mut watch,
                trigger: &mut (),
                album: None,
                interrupt: &bench.interrupt,
            },
            &[],
        )
        .expect("a person stops");
        drop(journal);
        bench
            .interrupt
            .store(false, std::sync::atomic::Ordering::Relaxed);
        // Back to the lines up to the first of that kind.
        let bytes = bench.disk.bytes();
        let text = String::from_utf8(bytes).unwrap();
        let mut copy = String::new();
        for line in text.split_inclusive('\n') {
            copy.push_str(line);
            if line.contains(&format!("\"kind\":\"{copied}\"")) {
                break;
            }
        }
        bench.disk.crash(Unsynced::Kept);
        let mut disk = bench.disk.clone();
        disk.cut(0).unwrap();
        disk.append(copy.as_bytes()).unwrap();
        disk.sync().unwrap();
        // By what really happened: frames 1 and 2 are exposed, 3 is not.
        let (frames, verdicts) = if copied == "done" {
            (vec![2], vec![Some(true)])
        } else {
            (vec![1, 2], vec![Some(true), Some(true)])
        };
        bench.person.verdicts = verdicts;
        assert_eq!(bench.shoot().unwrap(), Outcome::Finished, "{copied}");
        assert_eq!(bench.sim.releases(), FRAMES, "{copied}");
        let questions = &bench.person.asked;
        assert!(
            questions
                .iter()
                .all(|question| question.known == Known::MarkAhead)
        );
        let asked: Vec<u32> = questions
            .iter()
            .map(|question| question.turn.frame)
            .collect();
        assert_eq!(asked, frames, "{copied}");
        let state = state(&bench);
        assert!(state.next.slot > 3, "tokens of the board are spent");
        assert_eq!(
            Journal::resume(Box::new(bench.disk.clone()), stamp())
                .unwrap()
                .state(),
            &state
        );
    }
}

/// Stepped through: frame 3 was exposed, and then frame 1, of which the older copy knows nothing.
#[test]
fn an_older_copy_of_a_take_that_was_stepped_through_shoots_nothing_again() {
    for (copied, first) in [("begun", 1), ("intent", 2)] {
        let mut bench = Bench::new();
        let mut wishes = vec![Wish::Go(3), Wish::Expose, Wish::Go(first), Wish::Expose].into_iter();
        let mut journal = bench.journal().unwrap();
        shoot_by_steps(
            &bench.schedule,
            &mut journal,
            &mut Stage {
                boards: &mut Ports(bench.sim.clone()),
                clock: Rc::new(bench.sim.clock()),
                person: &mut bench.person,
                watch: &mut (),
                trigger: &mut (),
                album: None,
                interrupt: &bench.interrupt,
            },
            &[],
            &mut Wishes(&mut wishes),
        )
        .expect("it is left");
        drop(journal);
        let text = String::from_utf8(bench.disk.bytes()).unwrap();
        let end = text
            .find(&format!("\"kind\":\"{copied}\""))
            .expect("a line");
        let end = end + text[end..].find('\n').expect("its end") + 1;
        bench.disk.crash(Unsynced::Kept);
        let mut disk = bench.disk.clone();
        disk.cut(0).unwrap();
        disk.append(&text.as_bytes()[..end]).unwrap();
        disk.sync().unwrap();
        let (asked, others, named);
        if copied == "begun" {
            // Frame 1 is exposed, frame 2 is not; of the two tokens one is left, and frame 3.
            bench.person.verdicts = vec![Some(true), Some(false)];
            (asked, others, named) = (vec![1, 2], vec![(vec![span(3, 3)], 1)], vec![3]);
        } else {
            // Frame 3 was begun; frame 1 is not exposed, and frame 2 is.
            bench.person.verdicts = vec![Some(true), Some(false)];
            (asked, others, named) = (vec![3, 1], vec![(vec![span(2, 2)], 1)], vec![2]);
        }
        bench.person.others = vec![Some(named)];
        assert_eq!(bench.shoot().unwrap(), Outcome::Finished, "{copied}");
        let questions = bench.person.asked.iter();
        let frames: Vec<u32> = questions.map(|question| question.turn.frame).collect();
        assert_eq!(frames, asked, "{copied}");
        assert_eq!(bench.person.asked_others, others, "{copied}");
        assert_eq!(bench.sim.releases(), FRAMES, "{copied}");
        let now = state(&bench);
        for frame in 1..=FRAMES {
            assert_eq!(now.frame(frame).expect("a frame").exposures, 1, "{copied}");
        }
    }
}

struct Wishes<'a>(&'a mut dyn Iterator<Item = Wish>);

impl Steps for Wishes<'_> {
    fn next(&mut self, _: &Stood) -> Option<Wish> {
        self.0.next()
    }
}
