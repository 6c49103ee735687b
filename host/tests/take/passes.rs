//! Several exposures of every frame, their lamps, and what a hand has to do before them.

use std::time::Duration;

use panestep::schedule::{Chore, Laid, Lamp, Pass, Schedule};
use panestep::shot::When;
use panestep::sim::{Options, SimulatedStand, When as At};
use panestep::stand::{BoardId, Release};
use panestep::take::{Check, Edit, Entry, Outcome, Progress, Span, Unsynced, rehearse};

use super::rig::{Bench, MAIN, STEPS_PER_MM, begun, schedule, stand};
use super::rig::{SHOT, sim_now};

pub(super) const WARM_UP: Duration = Duration::from_millis(900);
pub(super) const LOWER: BoardId = BoardId(1);

/// Day and dusk at each frame, and after the run a pass of titles in which nothing burns; for it
/// the reeds are out.
pub(super) fn with_passes() -> Schedule {
    let lamp = |name: &str, board, output| Lamp {
        name: name.into(),
        output: Some((board, output)),
        warm_up: WARM_UP,
    };
    let pass = |name: &str, when, lamps: &[usize]| Pass {
        name: name.into(),
        when,
        lamps: lamps.to_vec(),
        without: Vec::new(),
        exposure: Duration::from_millis(500),
        press: Duration::from_millis(150),
        window: Duration::from_millis(600),
        set_by_hand: false,
    };
    Schedule {
        lamps: vec![lamp("dawn", 0, 0), lamp("dusk", 0, 2), lamp("glow", 1, 1)],
        passes: vec![
            pass("day", When::EachFrame, &[0, 2]),
            pass("dusk", When::EachFrame, &[1]),
            pass("titles", When::AfterRun, &[]),
        ],
        ..schedule(false)
    }
}

/// For the titles the reeds are out; a gull lies on the sky, from the third frame on another.
pub(super) fn with_hands() -> Schedule {
    let laid = |frame, drawing: &str| Laid {
        frame,
        on: "sky".into(),
        drawing: Some(drawing.into()),
    };
    let mut schedule = with_passes();
    schedule.passes[2].without.push("reeds".into());
    schedule.laid = vec![laid(1, "gull-1"), laid(3, "gull-2")];
    schedule
}

/// What burns on each board in each pass.
pub(super) const BURNING: [[u8; 2]; 3] = [[0b001, 0b010], [0b100, 0], [0, 0]];

/// The exposures' numbers, in the order in which they were made.
pub(super) fn numbers(bench: &Bench) -> Vec<u32> {
    let (mut numbers, mut open) = (Vec::new(), 0);
    for entry in bench.entries() {
        match entry {
            Entry::Intent { frame, .. } => open = frame,
            Entry::Done { .. } | Entry::Verdict { exposed: true, .. } => numbers.push(open),
            _ => {}
        }
    }
    numbers
}

/// Every exposure of the camera is one of the journal's, in its place, its light, its warmth, and
/// nothing moved or was switched meanwhile; when it is over no lamp burns.
pub(super) fn assert_lit_and_in_place(bench: &Bench, context: &str) {
    let exposures = bench.sim.exposures();
    let numbers = numbers(bench);
    assert_eq!(numbers.len(), exposures.len(), "{context}: {numbers:?}");
    assert_eq!(bench.sim.releases() as usize, exposures.len(), "{context}");
    for (number, exposure) in numbers.iter().zip(&exposures) {
        let turn = bench.schedule.turn(*number).expect("there is one");
        let context = format!("{context}, frame {turn}");
        assert!(!exposure.blurred, "{context}");
        assert_eq!(exposure.lamps, BURNING[turn.pass], "{context}");
        assert!(exposure.switched + WARM_UP <= exposure.opened, "{context}");
        let targets = bench.schedule.motors_at(turn.frame).expect("a row");
        let pose = [
            exposure.pose.levels[0].east_mm,
            exposure.pose.levels[0].lift_mm,
            exposure.pose.levels[1].east_mm,
        ];
        for (is, target) in pose.iter().zip(targets) {
            let off = is - f64::from(*target) / STEPS_PER_MM;
            assert!(
                off.abs() <= 1.0 / STEPS_PER_MM + 1e-6,
                "{context}: off by {off} mm"
            );
        }
    }
    let violations = bench.sim.violations();
    assert!(violations.is_empty(), "{context}: {violations:?}");
    let burning = [MAIN, LOWER].map(|board| bench.sim.lamps(board));
    assert_eq!(burning, [0, 0], "{context}: a lamp burns");
}

/// And every one of them exactly once, in their order.
pub(super) fn assert_exact(bench: &Bench, context: &str) {
    let all: Vec<u32> = (1..=bench.schedule.turns()).collect();
    assert_eq!(numbers(bench), all, "{context}");
    assert_lit_and_in_place(bench, context);
    assert_eq!(bench.entries().last(), Some(&Entry::Finished), "{context}");
}

/// The same with so many frames.
pub(super) fn short(mut schedule: Schedule, frames: u32) -> Schedule {
    schedule.frames = frames;
    let entries = frames as usize * schedule.motors.len();
    schedule.motor_targets.truncate(entries);
    schedule
}

#[test]
fn passes_are_exposed_in_their_order_each_once_in_its_own_light() {
    let mut bench = Bench::with(with_passes());
    let (mut seen, mut counts) = (Vec::new(), Vec::new());
    let outcome = bench.shoot_watched(|progress, _| {
        if let Progress::Frame {
            turn, done, turns, ..
        } = progress
        {
            seen.push((turn.frame, turn.pass));
            counts.push((*done, *turns));
        }
    });
    assert_eq!(outcome.expect("nothing goes wrong"), Outcome::Finished);
    let order = [
        (1, 0),
        (1, 1),
        (2, 0),
        (2, 1),
        (3, 0),
        (3, 1),
        (1, 2),
        (2, 2),
        (3, 2),
    ];
    assert_eq!(seen, order);
    assert_eq!((counts[0], counts[8]), ((1, 9), (9, 9)));
    assert_exact(&bench, "undisturbed");
    assert!(bench.person.arranged.is_empty(), "asked in vain");
}

#[test]
fn killed_at_every_disk_operation_it_makes_each_exposure_once() {
    let schedule = short(with_hands(), 2);
    let mut whole = Bench::with(schedule.clone());
    whole.shoot().expect("nothing goes wrong");
    assert_exact(&whole, "undisturbed");
    let operations = whole.disk.operations();
    assert!(operations > 40, "{operations}");
    for operation in 0..operations {
        let unsynced = [Unsynced::Kept, Unsynced::Lost, Unsynced::Torn(40)];
        let unsynced = unsynced[operation as usize % 3];
        let context = format!("killed at operation {operation}, unsynced {unsynced:?}");
        let mut bench = Bench::with(schedule.clone());
        bench.disk.fail_after(operation);
        bench.shoot().expect_err(&context);
        bench.disk.crash(unsynced);
        assert_eq!(bench.shoot().expect(&context), Outcome::Finished);
        assert_exact(&bench, &context);
        assert!(bench.person.asked.is_empty(), "{context}: asked in vain");
    }
}

#[test]
fn only_what_differs_is_asked_for_and_all_of_it_where_a_run_begins() {
    let mut bench = Bench::with(with_hands());
    assert_eq!(bench.shoot().expect("done"), Outcome::Finished);
    assert_exact(&bench, "by hand");
    let lay = |drawing: &str| Chore::Lay {
        level: "sky".into(),
        drawing: drawing.into(),
    };
    let back = Chore::PutBack {
        level: "reeds".into(),
    };
    let out = Chore::TakeOut {
        level: "reeds".into(),
    };
    let asked: Vec<(u32, usize, Vec<Chore>, bool)> = bench
        .person
        .arranged
        .iter()
        .map(|(turn, chores, first)| (turn.frame, turn.pass, chores.clone(), *first))
        .collect();
    assert_eq!(
        asked,
        [
            (1, 0, vec![back.clone(), lay("gull-1")], true),
            (3, 0, vec![lay("gull-2")], false),
            (1, 2, vec![out, lay("gull-1")], false),
            (3, 2, vec![lay("gull-2")], false),
        ]
    );
    let done: Vec<(u32, Vec<Chore>)> = bench
        .entries()
        .into_iter()
        .filter_map(|entry| match entry {
            Entry::Arranged { frame, done } => Some((frame, done)),
            _ => None,
        })
        .collect();
    assert_eq!(done.len(), 4);
    assert_eq!(done[0], (1, vec![back, lay("gull-1")]));
    assert_eq!((done[2].0, bench.schedule.arrangements()), (7, 4));
    // Before the reeds are taken out, all that was exposed is checked by itself.
    let entries = bench.entries();
    let taken_out = entries
        .iter()
        .position(|entry| matches!(entry, Entry::Arranged { frame: 7, .. }))
        .expect("written");
    assert!(matches!(entries[taken_out - 1], Entry::Checked { .. }));
}

/// An arm that pushes a carriage while glass is taken out is found before anything is exposed, and
/// what was exposed before is in no doubt.
#[test]
fn what_an_arm_has_pushed_is_homed_before_the_exposure() {
    let mut bench = Bench::with(with_hands());
    let mut pushed = false;
    let mut checks = 0;
    let outcome = bench.shoot_watched(|progress, sim| {
        if let Progress::Frame { turn, .. } = progress {
            pushed = turn.number == 6;
        }
        // The first check is before the arm, the second after it.
        if let Progress::Checked { .. } = progress
            && pushed
        {
            checks += 1;
            if checks == 1 {
                let fault = panestep::sim::Fault::LoseSteps {
                    axis: panestep::stand::AxisId(0),
                    steps: 60,
                };
                sim.inject(At::Now, fault);
            }
        }
    });
    assert_eq!(outcome.expect("homed afresh"), Outcome::Finished);
    assert_exact(&bench, "after an arm");
    assert!(bench.person.doubts.is_empty(), "{:?}", bench.person.doubts);
    let drifted = |entry: &Entry| matches!(entry, Entry::Suspect { .. });
    assert!(!bench.entries().iter().any(drifted));
    let journal = bench.journal().expect("sound");
    for number in 1..=9 {
        let frame = journal.state().frame(number).expect("there");
        assert_eq!(frame.check, Check::Passed, "{number}");
    }
}

#[test]
fn nothing_said_where_something_is_to_be_laid_stops_before_the_exposure() {
    for leaves_at in 1..=4 {
        let mut bench = Bench::with(with_hands());
        bench.person.leaves_at = leaves_at;
        let outcome = bench.shoot().expect("no error");
        let number = [1, 5, 7, 9][leaves_at - 1];
        let next = bench.schedule.turn(number);
        assert_eq!(outcome, Outcome::Interrupted { next });
        assert_eq!(bench.sim.releases(), number - 1);
        assert_lit_and_in_place(&bench, "left alone");
        bench.person.leaves_at = 0;
        assert_eq!(bench.shoot().expect("it goes on"), Outcome::Finished);
        assert_exact(&bench, "gone on with");
        // Nobody knows any more how the stand was left.
        let (turn, chores, first) = &bench.person.arranged[leaves_at];
        assert_eq!((turn.number, chores.len(), *first), (number, 2, true));
    }
}

#[test]
fn a_rehearsal_makes_every_move_and_the_way_back_and_asks_for_nothing() {
    let mut bench = Bench::with(with_hands());
    let (mut frames, mut lamps) = (Vec::new(), Vec::new());
    let sim = bench.sim.clone();
    let mut watch = |progress: &Progress<'_>| {
        if let Progress::Frame { turn, .. } = progress {
            frames.push((turn.frame, turn.pass));
            lamps.push([sim.lamps(MAIN), sim.lamps(LOWER)]);
        }
    };
    let outcome = bench.on_stage(&mut watch, None, rehearse);
    assert_eq!(outcome.expect("no error"), Outcome::Finished);
    assert_eq!(frames, [(1, 0), (2, 0), (3, 0), (1, 2)]);
    assert_eq!(lamps, [BURNING[0], BURNING[0], BURNING[0], BURNING[2]]);
    assert!(bench.person.arranged.is_empty());
    assert_eq!(bench.sim.releases(), 0);
    assert_eq!((bench.sim.lamps(MAIN), bench.sim.lamps(LOWER)), (0, 0));
}

#[test]
fn edits_are_of_single_exposures() {
    let mut bench = Bench::with(with_passes());
    let number = |frame, pass| with_passes().number_of(frame, pass).expect("there");
    let one = |number| Span::new(number, number).expect("a span");
    // Frame 2 is left out in its second pass, all of the titles but one.
    let edits = [
        Edit::Drop(one(number(2, 1))),
        Edit::Drop(Span::new(number(2, 2), number(3, 2)).expect("a span")),
    ];
    let outcome = bench.shoot_edited(&edits, |_, _| {});
    assert_eq!(outcome.expect("done"), Outcome::Finished);
    assert_eq!(numbers(&bench), [1, 2, 3, 5, 6, 7]);
    // The last two exposures once more, and a frame in one pass.
    let edits = [Edit::Again(one(number(1, 1))), Edit::Back(2)];
    let outcome = bench.shoot_edited(&edits, |_, _| {});
    assert_eq!(outcome.expect("done"), Outcome::Finished);
    assert_eq!(numbers(&bench)[6..], [2, 6, 7]);
    assert_lit_and_in_place(&bench, "again");
    let error = bench.shoot_edited(&[Edit::TakeBack(2)], |_, _| {});
    let said = error.expect_err("nobody was asked").to_string();
    assert!(said.contains("frame 1 in pass 2"), "{said}");
}

/// Where the line times the exposure, each pass has its own.
#[test]
fn each_pass_closes_the_release_for_its_own_time() {
    let mut schedule = short(with_passes(), 1);
    for (pass, press) in schedule.passes.iter_mut().zip([300, 1200, 150]) {
        pass.press = Duration::from_millis(press);
        pass.exposure = pass.press;
        pass.window = pass.press + Duration::from_millis(100);
    }
    let mut bench = Bench::with(schedule);
    let options = Options {
        press_times: true,
        ..Options::default()
    };
    let mut stand = stand();
    if let Release::Board { press, .. } = &mut stand.shutter.release {
        *press = Duration::from_millis(1200);
    }
    bench.sim = SimulatedStand::new(&stand, &options);
    assert_eq!(bench.shoot().expect("done"), Outcome::Finished);
    assert_exact(&bench, "by the press");
    for (exposure, press) in bench.sim.exposures().iter().zip([300.0, 1200.0, 150.0]) {
        let open = (exposure.closed - exposure.opened).as_secs_f64() * 1000.0;
        assert!((open - press).abs() < 1.0, "{open} ms instead of {press}");
    }
}

/// The plan's time is that of the stand: the first exposure's way is no part of it.
#[test]
fn the_time_with_passes_is_the_planned_one() {
    let mut bench = Bench::with(with_passes());
    let (mut ends, mut lefts) = (Vec::new(), Vec::new());
    bench
        .shoot_watched(|progress, sim| {
            if let Progress::Frame { left, .. } = progress {
                ends.push(sim_now(sim));
                lefts.push(*left);
            }
        })
        .expect("done");
    let took = (ends[8] - ends[0]).as_secs_f64();
    let planned = lefts[0].as_secs_f64();
    assert!(
        (took / planned - 1.0).abs() < 0.05,
        "{took} s, {planned} s planned"
    );
}

/// A journal of a take with one exposure a frame says nothing that one of before passes did not.
#[test]
fn a_journal_of_one_pass_is_what_it_was() {
    let mut one = schedule(false);
    let plain = serde_json::to_string(&begun(&one, SHOT)).expect("JSON");
    assert!(!plain.contains("pass"), "{plain}");
    one.passes = with_passes().passes[..1].to_vec();
    one.passes[0].lamps.clear();
    assert_eq!(
        serde_json::to_string(&begun(&one, SHOT)).expect("JSON"),
        plain
    );
    let several = serde_json::to_string(&begun(&with_passes(), SHOT)).expect("JSON");
    assert!(
        several.contains(r#""passes":[{"name":"day","when":"each-frame"}"#),
        "{several}"
    );
}

/// The journal and the schedule of a take that the program wrote before there were passes, killed
/// while its second exposure was under way: it goes on where it was.
#[test]
fn a_take_from_before_passes_goes_on() {
    let text = include_str!("before-passes-schedule.json");
    let before: Schedule = serde_json::from_str(text).expect("a schedule of before");
    let mut bench = Bench::with(before);
    bench
        .disk
        .replace(include_bytes!("before-passes.jsonl").to_vec());
    let open = bench.journal().expect("it is sound").state().open;
    assert_eq!(open.map(|open| open.frame), Some(2));
    // This bench's board, in the same start, has fired nothing: it says so when it is asked, and the
    // second is made again.
    assert_eq!(bench.shoot().expect("it goes on"), Outcome::Finished);
    assert!(bench.person.asked.is_empty());
    let fenced = |entry: &Entry| {
        matches!(
            entry,
            Entry::Void {
                slot: 2,
                attempt: 1
            }
        )
    };
    assert_eq!(
        bench.entries().iter().filter(|entry| fenced(entry)).count(),
        1
    );
    assert_eq!(numbers(&bench), [1, 2, 3]);
    assert_eq!(bench.sim.releases(), 2, "the first was made before");
    assert_eq!(bench.entries().last(), Some(&Entry::Finished));
}
