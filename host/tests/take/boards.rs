//! Lifts on several boards, which keep no pace with each other.

use std::time::Duration;

use panestep::schedule::Pass;
use panestep::shot::When;
use panestep::stand::AxisId;
use panestep::take::{Edit, Outcome, Progress, Span};

use super::rig::Bench;

/// As motors of the rig: reeds lift on one board, and sky east, taken for a lift, on the other.
const UPPER: usize = 1;
const LOWER: usize = 2;

/// Shoots frames 1 and 3, the second left out, with both lifts going far between them; says for
/// every look at a move to frame 3 which of the lifts has moved since the look before.
fn moved(upper: [i32; 3], lower: [i32; 3], leave_out: bool) -> Vec<[bool; 2]> {
    let edits: Vec<Edit> = leave_out
        .then(|| Edit::Drop(Span::new(2, 2).expect("a span")))
        .into_iter()
        .collect();
    moved_to((3, 0), upper, lower, Vec::new(), &edits)
}

/// The same of the move to a frame in a pass.
fn moved_to(
    to: (u32, usize),
    upper: [i32; 3],
    lower: [i32; 3],
    passes: Vec<Pass>,
    edits: &[Edit],
) -> Vec<[bool; 2]> {
    let mut bench = Bench::new();
    bench.schedule.lifts = vec![UPPER, LOWER];
    for frame in 0..3 {
        bench.schedule.motor_targets[frame * 3 + UPPER] = upper[frame];
        bench.schedule.motor_targets[frame * 3 + LOWER] = lower[frame];
    }
    bench.schedule.passes = passes;
    let mut looks = Vec::new();
    let mut going = None;
    let outcome = bench.shoot_edited(edits, |progress, sim| {
        let counts = || [UPPER, LOWER].map(|axis| sim.count(AxisId(axis)).expect("a motor").net());
        match progress {
            Progress::Moving { turn } => {
                going = ((turn.frame, turn.pass) == to).then(counts);
            }
            Progress::Arrived { .. } => going = None,
            Progress::UnderWay { .. } => {
                if let Some(before) = &mut going {
                    let now = counts();
                    looks.push([0, 1].map(|of| now[of] != before[of]));
                    *before = now;
                }
            }
            _ => {}
        }
    });
    assert_eq!(outcome.expect("nothing is wrong"), Outcome::Finished);
    assert_eq!(bench.sim.violations(), []);
    looks
}

/// The first and the last look at which a lift had moved.
fn span(looks: &[[bool; 2]], of: usize) -> (usize, usize) {
    let moved = |look: &[bool; 2]| look[of];
    let first = looks.iter().position(moved).expect("it moves");
    (first, looks.iter().rposition(moved).expect("it moves"))
}

#[test]
fn past_a_frame_left_out_they_go_one_after_another_and_never_into_each_other() {
    let up = [0, 1500, 3000];
    let down = [3000, 1500, 0];
    for (upper, lower, upper_first) in [(up, up, true), (down, down, false), (up, down, true)] {
        let looks = moved(upper, lower, true);
        assert!(looks.iter().all(|look| *look != [true, true]), "{looks:?}");
        let (upper, lower) = (span(&looks, 0), span(&looks, 1));
        match upper_first {
            true => assert!(upper.1 < lower.0, "{looks:?}"),
            false => assert!(lower.1 < upper.0, "{looks:?}"),
        }
    }
}

/// The way back to the first frame, for a pass that comes after the run, is one that the plan has not
/// proven either.
#[test]
fn back_to_the_first_frame_they_go_one_after_another() {
    let passes = ["day", "titles"].map(|name| Pass {
        name: name.into(),
        when: match name {
            "day" => When::EachFrame,
            _ => When::AfterRun,
        },
        lamps: Vec::new(),
        without: Vec::new(),
        exposure: Duration::from_millis(500),
        press: Duration::from_millis(150),
        window: Duration::from_millis(600),
        set_by_hand: false,
    });
    let looks = moved_to((1, 1), [3000, 1500, 0], [3000, 1500, 0], passes.into(), &[]);
    assert!(looks.iter().all(|look| *look != [true, true]), "{looks:?}");
    // Both go up: the upper one first.
    assert!(span(&looks, 0).1 < span(&looks, 1).0, "{looks:?}");
}

/// From frame to frame the plan has proven the way, and nobody need wait.
#[test]
fn from_a_frame_to_the_next_they_go_side_by_side() {
    let looks = moved([0, 0, 3000], [0, 0, 3000], false);
    assert!(looks.contains(&[true, true]), "{looks:?}");
}
