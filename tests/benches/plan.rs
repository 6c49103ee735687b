//! Planning time of a long shot on a large stand, beside a yardstick that any machine can be
//! compared by, and the memory that it takes.
//!
//! Run with `cargo bench -p panestep-tests --bench plan`.
#![allow(clippy::print_stdout, reason = "a bench prints its figures")]

#[path = "../tests/plan_support/mod.rs"]
mod plan_support;

use std::hint::black_box;
use std::time::{Duration, Instant};

use panestep::plan::{Plan, times};
use panestep::shot::{Distance, Key, Shift, ShiftTrack, Shot, Track};
use panestep::stand::{Face, LevelId, Stand, Way};
use plan_support::{ALL, pane, stand, still_shot};

const FRAMES: u32 = 100_000;
const LEVELS: usize = 10;

fn keyed(reach: f64) -> Track {
    let keys = (0..=20_u32)
        .map(|at| Key {
            frame: 1 + at * (FRAMES - 1) / 20,
            value: reach * (f64::from(at) * 1.7).sin(),
            fairing: if at % 5 == 0 { 48 } else { 0 },
        })
        .collect();
    Track { keys }
}

fn long_shot() -> (Stand, Shot) {
    let levels: Vec<_> = (0..LEVELS)
        .map(|at| (1200.0 - 120.0 * at as f64, pane(5.0, 1.52, Face::Under)))
        .collect();
    let distances: Vec<_> = (0..LEVELS)
        .map(|at| Distance::At(3000.0 + 2500.0 * at as f64))
        .collect();
    let stand = stand(&levels, &ALL, &[]);
    let mut shot = still_shot(FRAMES, &distances);
    shot.viewer.east = keyed(400.0);
    shot.viewer.north = keyed(150.0);
    shot.viewer.ahead = keyed(60.0);
    shot.viewer.roll = keyed(5.0);
    shot.shifts.push(Shift {
        level: LevelId(7),
        way: Way::East,
        track: ShiftTrack::Keys(keyed(25.0)),
    });
    (stand, shot)
}

fn quickest(mut work: impl FnMut()) -> Duration {
    (0..5)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed()
        })
        .min()
        .unwrap_or_default()
}

/// A line of `/proc/self/status` in kilobytes, where the system has it.
fn memory_kb(field: &str) -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix(field))?;
    line.trim_start_matches(':')
        .split_whitespace()
        .next()?
        .parse()
        .ok()
}

fn main() {
    let (stand, shot) = long_shot();
    let before = memory_kb("VmHWM");
    let plan = Plan::new(&stand, &shot).expect("the bench's shot is sound");
    let after = memory_kb("VmHWM");
    let targets = plan.schedule().motor_targets.len();
    assert_eq!(targets, FRAMES as usize * LEVELS * ALL.len());
    println!(
        "planning {LEVELS} levels x {} axes x {FRAMES} frames",
        ALL.len()
    );
    if let (Some(before), Some(after)) = (before, after) {
        println!(
            "  memory: peak grew by {:.1} MB; the targets alone are {:.1} MB",
            (after.saturating_sub(before)) as f64 / 1024.0,
            targets as f64 * 4.0 / 1_048_576.0
        );
    }
    drop(plan);

    let sound = quickest(|| {
        black_box(Plan::new(black_box(&stand), black_box(&shot)).is_ok());
    });
    let mut narrow = stand.clone();
    for axis in &mut narrow.axes {
        axis.travel = (-1.0, 1.0);
    }
    let refused = quickest(|| {
        assert!(Plan::new(black_box(&narrow), black_box(&shot)).is_err());
    });
    // The least that any planner has to do: one sine, one rounding and one store a target.
    let yardstick = quickest(|| {
        let sines: Vec<i32> = (0..targets)
            .map(|at| ((at as f64 * 1e-3).sin() * 40_000.0).round() as i32)
            .collect();
        black_box(sines);
    });
    let ratio = |time: Duration| time.as_secs_f64() / yardstick.as_secs_f64();
    println!(
        "  sound:     {sound:>10.3?}  {:.2} x the yardstick",
        ratio(sound)
    );
    println!(
        "  refused:   {refused:>10.3?}  {:.2} x the yardstick",
        ratio(refused)
    );
    println!("  yardstick: {yardstick:>10.3?}  a sine, a rounding and a store a target");

    let plan = Plan::new(&stand, &shot).expect("the bench's shot is sound");
    let start = Instant::now();
    let estimate = times::times(plan.schedule(), times::DEFAULT_TICK_RATE).expect("possible");
    println!(
        "  times of all moves: {:.3?} to work out, {:.0?} to shoot",
        start.elapsed(),
        estimate.total()
    );
}
