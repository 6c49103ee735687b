//! The demonstration's own files, shot on the simulated stand: what its motors received and where
//! its carriages were, whatever the program believes.

use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use panestep::link::Clock;
use panestep::plan::{Plan, times};
use panestep::sim::{Damage, Fault, Options, SimulatedStand, When};
use panestep::stand::{AxisId, BoardId, Drive, Stand};
use panestep::take::{Entry, Journal, Outcome, Progress, SimulatedDisk, Stage, shoot};
use panestep_protocol::ShotId;
use panestep_tests::{Nobody, Ports};

const FRAMES: u32 = 120;

fn demo() -> (Stand, Plan) {
    demo_on(|_| ())
}

/// The demonstration on a stand that is changed a little.
fn demo_on(change: impl Fn(&mut Stand)) -> (Stand, Plan) {
    let shot = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host/demo/shot.toml");
    let (mut stand, shot) = panestep::file::read_shot(&shot).expect("the demonstration is sound");
    change(&mut stand);
    let plan = Plan::new(&stand, &shot).expect("the demonstration can be planned");
    (stand, plan)
}

/// What was seen of a shoot.
struct Seen {
    sim: SimulatedStand,
    /// Net pulses of every motor axis when the shutter was about to be fired, frame by frame.
    pulses: Vec<Vec<i64>>,
    /// Of each frame that was done: time since the first move, and the time that was said to be
    /// left.
    pace: Vec<(Duration, Duration)>,
    /// When the first frame was done.
    first_done: Duration,
    /// When the last frame was: a home check follows.
    last_done: Duration,
}

fn shoot_demo(stand: &Stand, plan: &Plan, seed: u64, prepare: impl Fn(&SimulatedStand)) -> Seen {
    let options = Options {
        seed,
        ..Options::default()
    };
    let sim = SimulatedStand::new(stand, &options);
    prepare(&sim);
    let motors: Vec<AxisId> = (0..stand.axes.len())
        .filter(|&axis| matches!(stand.axes[axis].drive, Drive::Motor(_)))
        .map(AxisId)
        .collect();
    let schedule = plan.schedule();
    let mut journal = Journal::begin(
        Box::new(SimulatedDisk::default()),
        Box::new(Default::default),
        &Entry::begun(schedule, "art", "", ShotId(seed)),
    )
    .expect("a disk in memory");
    let seen = RefCell::new((Vec::new(), Vec::new(), Duration::ZERO, Duration::ZERO));
    let mut watch = |progress: &Progress<'_>| match *progress {
        Progress::Exposing { .. } => {
            let net = |&axis| sim.count(axis).expect("a motor").net();
            seen.borrow_mut().0.push(motors.iter().map(net).collect());
        }
        Progress::Frame {
            turn,
            elapsed,
            left,
            ..
        } => {
            let mut seen = seen.borrow_mut();
            seen.1.push((elapsed, left));
            seen.3 = sim.clock().now();
            if turn.frame == 1 {
                seen.2 = seen.3;
            }
        }
        _ => {}
    };
    let interrupt = AtomicBool::new(false);
    let outcome = shoot(
        schedule,
        &mut journal,
        &mut Stage {
            boards: &mut Ports(sim.clone()),
            clock: Rc::new(sim.clock()),
            person: &mut Nobody,
            watch: &mut watch,
            trigger: &mut (),
            album: None,
            interrupt: &interrupt,
        },
        &[],
    );
    match outcome {
        Ok(outcome) => assert_eq!(outcome, Outcome::Finished, "seed {seed}"),
        Err(error) => panic!("seed {seed}: {error}"),
    }
    let (pulses, pace, first_done, last_done) = seen.into_inner();
    Seen {
        sim,
        pulses,
        pace,
        first_done,
        last_done,
    }
}

/// How far a carriage may be from the plan, in its own steps: the plan rounds to whole steps, so
/// half a step; and the home switch, which trips somewhere between two steps of the slow approach,
/// is found at the later one, so up to a whole one. Slack has no part in it: every target is
/// approached from below, and the demonstration's slack is a whole number of steps. The switch's
/// hysteresis has none either: only its tripping counts, not its opening.
const STEPS_OFF: f64 = 1.5 + 1e-6;

fn assert_shot_exactly(stand: &Stand, plan: &Plan, seen: &Seen, seed: u64) {
    let schedule = plan.schedule();
    let sim = &seen.sim;
    assert_eq!(schedule.frames, FRAMES);
    assert_eq!(seen.pulses.len(), FRAMES as usize, "seed {seed}");
    for frame in 2..=FRAMES {
        let (from, to) = (
            schedule.motors_at(frame - 1).expect("a frame"),
            schedule.motors_at(frame).expect("a frame"),
        );
        let (before, now) = (
            &seen.pulses[frame as usize - 2],
            &seen.pulses[frame as usize - 1],
        );
        for (place, axis) in schedule.motors.iter().enumerate() {
            assert_eq!(
                now[place] - before[place],
                i64::from(to[place]) - i64::from(from[place]),
                "seed {seed}: pulses of {} {} to frame {frame}",
                axis.of,
                axis.way.name()
            );
        }
    }
    assert_eq!(sim.releases(), FRAMES, "seed {seed}");
    assert_eq!(sim.ignored(), 0, "seed {seed}: fired at a busy camera");
    assert_eq!(sim.violations(), [], "seed {seed}");
    let exposures = sim.exposures();
    assert_eq!(exposures.len(), FRAMES as usize, "seed {seed}");
    for (frame, exposure) in (1..).zip(&exposures) {
        assert!(!exposure.blurred, "seed {seed}, frame {frame}: moved");
        let planned = plan.geometry().pose(frame).stand;
        for (level, (is, wanted)) in exposure.pose.levels.iter().zip(&planned.levels).enumerate() {
            let name = &stand.levels[level].name;
            for (way, is, wanted) in [
                ("east", is.east_mm, wanted.east_mm),
                ("north", is.north_mm, wanted.north_mm),
                ("lift", is.lift_mm, wanted.lift_mm),
                ("turn", is.turn_degrees, wanted.turn_degrees),
            ] {
                let motor = schedule
                    .motors
                    .iter()
                    .find(|motor| motor.of == *name && motor.way.name() == way);
                // What the stand cannot do is left over, and reported by the plan.
                let Some(motor) = motor else {
                    assert!(is == 0.0, "seed {seed}: {name} {way} moved without an axis");
                    continue;
                };
                let off = (is - wanted) / motor.step_size;
                assert!(
                    off.abs() <= STEPS_OFF,
                    "seed {seed}, frame {frame}: {name} {way} is {off:+.2} steps off"
                );
            }
        }
    }
}

#[test]
fn the_demonstration_is_shot_as_planned() {
    let (stand, plan) = demo();
    let seen = shoot_demo(&stand, &plan, 1, |_| ());
    assert_shot_exactly(&stand, &plan, &seen, 1);
}

#[test]
fn noise_on_the_line_changes_nothing() {
    let (stand, plan) = demo();
    let quiet = shoot_demo(&stand, &plan, 2, |_| ());
    let events = quiet.sim.events();
    let noisy = shoot_demo(&stand, &plan, 2, |sim| {
        for piece in 0..60 {
            let damage = match piece % 4 {
                0 => Damage::Lost,
                1 => Damage::Twice,
                2 => Damage::Flipped,
                _ => Damage::After(vec![0x55, 0, 0xaa]),
            };
            let possible = sim.inject(
                When::Event(events * (piece + 1) / 61),
                Fault::Noise {
                    board: BoardId(0),
                    to_board: piece % 8 < 4,
                    damage,
                },
            );
            assert!(possible);
        }
    });
    assert_ne!(noisy.sim.trace(), quiet.sim.trace(), "the noise was heard");
    assert_shot_exactly(&stand, &plan, &noisy, 2);
}

#[test]
fn the_time_that_was_planned_is_the_time_that_it_takes() {
    // Home checks between the frames are no part of the plan.
    let (stand, plan) = demo_on(|stand| stand.home_check = 0);
    let seen = shoot_demo(&stand, &plan, 1, |_| ());
    let rate = times::DEFAULT_TICK_RATE;
    let total = times::times(plan.schedule(), rate)
        .expect("possible")
        .total();
    // The first frame's way is no part of the plan, the rest of it is.
    let first = times::turn_time(plan.schedule(), 1, rate)
        .expect("possible")
        .total();
    let took = (seen.last_done - seen.first_done + first).as_secs_f64();
    let planned = total.as_secs_f64();
    // Messages are not in the plan: some ten a frame, of some 2 ms each on this line. And the plan
    // waits for the contact as long as it may take; the camera closes it after 0.4 of that or more.
    let early = 0.6 * plan.schedule().exposure.delay.as_secs_f64() * f64::from(FRAMES);
    assert!(
        planned - early <= took && took < 1.03 * planned,
        "planned {planned:.1} s, took {took:.1} s"
    );
    let whole = seen.pace.last().expect("frames").0.as_secs_f64();
    for (frame, (elapsed, left)) in (1..).zip(&seen.pace) {
        let said = (*elapsed + *left).as_secs_f64();
        // Before the second frame is done nothing has been measured.
        let within = if frame == 1 { 0.03 } else { 0.01 };
        assert!(
            (said - whole).abs() < within * whole,
            "frame {frame}: said {said:.1} s in all, took {whole:.1} s"
        );
    }
    assert_eq!(seen.pace.last().expect("frames").1, Duration::ZERO);
}
