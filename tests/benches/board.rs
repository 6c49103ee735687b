//! Figures of the Pico's image, from the pins of an emulated chip and from its count of cycles.
//!
//! Nothing here depends on the machine that it runs on: emulated nanoseconds and cycles are the same
//! every time. So what must hold is asserted too.
//!
//! Not in the cycles: waits for the flash, of which the emulator knows nothing (the tick runs from
//! RAM). In them, where an interrupt is counted: 28 cycles for its entry and return (Cortex-M0+
//! Technical Reference Manual; from memory), which the emulator leaves out.
//!
//! Run with `cargo bench -p panestep-tests --features emulator --bench board`.
#![allow(clippy::print_stdout, reason = "a bench prints its figures")]

#[allow(dead_code, reason = "the tests need more of it")]
#[path = "../tests/board/rig.rs"]
mod rig;

use std::process::Command as Process;
use std::time::Duration;

use panestep_firmware::motion::{Leg, Limits, plan};
use panestep_protocol::{AxisIndex, AxisSettings, Command, Steps, Toward};
use panestep_tests::board::model::{Load, TICK};
use panestep_tests::board::{Line, Pulse};
use panestep_tests::image;
use serde_json::Value;

use rig::{Session, demo};

/// The chip's clock, Hz.
const CLOCK: f64 = 125e6;
const AXES: u8 = 6;

fn main() {
    let sizes = image::build().expect("the image").sizes;
    println!(
        "image: {} bytes of flash, {} of RAM, {} left for the stack",
        sizes.flash, sizes.ram, sizes.stack
    );
    println!();
    load();
    println!();
    times();
    println!();
    crates();
}

/// Six axes with these limits, homed, at zero.
fn session(limits: Limits) -> Session {
    let (_, plan) = demo();
    let schedule = plan.schedule();
    let mut session = Session::open(schedule, Line::Usb, 1);
    for motor in &schedule.motors {
        session.home(motor.channel);
    }
    for motor in &schedule.motors {
        session.done(Command::Configure(AxisSettings {
            axis: AxisIndex(motor.channel),
            speed: limits.speed,
            acceleration: limits.acceleration,
            jerk: limits.jerk,
            slow: limits.speed.min(2000),
            reversed: motor.reversed,
            least: Steps(-1_000_000),
            greatest: Steps(1_000_000),
            home: Toward::Negative,
        }));
    }
    session
}

fn tick_rate(session: &Session) -> f64 {
    f64::from(session.link.identity().tick_rate)
}

fn print_load(what: &str, load: &Load, slot: f64) -> f64 {
    let (mean, share) = load.tick().expect("ticks");
    let tick = &load.handlers[&TICK];
    println!(
        "  {what:<34} {mean:>5.0} mean {:>5.0} most of {slot:.0}  {:>5.1} %  at most {:>4.0} late",
        tick.most,
        100.0 * share,
        tick.late
    );
    assert_eq!(load.overruns, 0, "{what}: a tick waited for another");
    share
}

/// Cycles of a tick, with its interrupt's entry and return, and its share of the processor.
fn load() {
    let mut session = session(Limits {
        speed: 100_000,
        acceleration: 2_000_000,
        jerk: 100_000_000,
    });
    let rate = tick_rate(&session);
    let slot = CLOCK / rate;
    println!("ticks at {rate:.0} Hz: cycles, of a slot's, and share of the processor");
    let board = session.board.clone();
    let window = |time: Duration| {
        board.measure().expect("the board");
        board.pass(time).expect("the board");
        let (_, window) = board.load().expect("the board");
        window.expect("measured")
    };
    let time = Duration::from_millis(50);
    print_load("at rest", &window(time), slot);
    board.measure().expect("the board");
    session.home(0);
    let (_, homing) = board.load().expect("the board");
    print_load("a whole homing", &homing.expect("measured"), slot);

    // At the highest speed after 70 ms; 60,000 steps take 0.67 s.
    let everywhere = |to: i32| (0..AXES).map(move |axis| (axis, to)).collect::<Vec<_>>();
    session.go(&everywhere(60_000));
    board.pass(Duration::from_millis(100)).expect("the board");
    board.log(true).expect("the board");
    let cruise = window(time);
    let pulses = board.pulses().expect("the board");
    board.log(false).expect("the board");
    let share = print_load("six axes, a step a tick each", &cruise, slot);
    for axis in 0..AXES {
        let count = pulses.iter().filter(|pulse| pulse.axis == axis).count() as f64;
        let speed = count / time.as_secs_f64();
        assert!(
            (speed - 100_000.0).abs() <= 1.0 / time.as_secs_f64(),
            "axis {axis}: {speed} steps/s"
        );
    }
    assert!(share <= 0.5, "more than half of the processor");
    println!(
        "  that is 100,000 steps/s on each of six axes at once; at 200,000 ticks/s it would be \
         {:.0} %",
        200.0 * share * 100_000.0 / rate
    );
    session.rest();

    let ways: Vec<(u8, i32)> = (0..AXES)
        .map(|axis| (axis, 60_000 - 9_000 * i32::from(axis + 1)))
        .collect();
    // The beginning itself may hold a tick off: nothing moves yet.
    session.go(&ways);
    board.measure().expect("the board");
    session.rest();
    let (_, whole) = board.load().expect("the board");
    print_load("six axes, a whole move", &whole.expect("measured"), slot);

    for motor in 0..AXES {
        let axis = &session.counters().axes[usize::from(motor)];
        let [high, low, setup, hold] =
            [axis.high, axis.low, axis.setup, axis.hold].map(|time| time.expect("pulses") / 1e3);
        println!(
            "  axis {motor}: pulses at least {high:.2} µs high and {low:.2} µs low; direction at \
             least {setup:.1} µs before a pulse and {hold:.1} µs after one"
        );
        // The slowest of the drivers in the hardware notes.
        assert!(high >= 2.5 && low >= 2.5 && setup >= 5.0 && hold >= 0.65);
    }
    session.assert_clean();
}

/// Distance covered at time `t` of a move over `distance` in the seven-segment profile whose boxes
/// have these lengths: its jerk, integrated three times.
fn covered(distance: f64, [a, b, c]: [f64; 3], t: f64) -> f64 {
    let mut sum = 0.0;
    for (sign, at) in [
        (1.0, 0.0),
        (-1.0, a),
        (-1.0, b),
        (-1.0, c),
        (1.0, a + b),
        (1.0, a + c),
        (1.0, b + c),
        (-1.0, a + b + c),
    ] {
        sum += sign * (t - at).max(0.0).powi(3) / 6.0;
    }
    distance * sum / (a * b * c)
}

/// When step `n`, from 1, is due: where the exact way is half-way between two steps.
fn due(distance: f64, boxes: [f64; 3], n: usize) -> f64 {
    let way = n as f64 - 0.5;
    let (mut before, mut after) = (0.0, boxes.iter().sum::<f64>());
    for _ in 0..60 {
        let middle = (before + after) / 2.0;
        if covered(distance, boxes, middle) < way {
            before = middle;
        } else {
            after = middle;
        }
    }
    (before + after) / 2.0
}

/// Half the range of the differences between when pulses came and when they were due: what is left
/// of the error when a constant delay is taken out. In seconds.
fn error(pulses: &[f64], distance: f64, boxes: [f64; 3]) -> f64 {
    let late = pulses.iter().enumerate();
    let late = late.map(|(at, pulse)| pulse - due(distance, boxes, at + 1));
    let (least, most) = late.fold((f64::MAX, f64::MIN), |(least, most), late| {
        (least.min(late), most.max(late))
    });
    (most - least) / 2.0
}

/// Pulse times beside those of the ideal profile.
///
/// The profile in real numbers is the book's (L. Biagiotti, C. Melchiorri, "Trajectory Planning for
/// Automatic Machines and Robots", Springer 2008, section 3.4), with boxes of a/j, v/a and h/v where
/// all limits are reached.
fn times() {
    println!("pulse times beside the ideal profile's, a constant delay taken out");
    for (speed, acceleration, jerk, ways) in [
        (4_000, 20_000, 200_000, [9_000, 5_501, 2_999, 800, 77, 1]),
        (
            30_000,
            400_000,
            20_000_000,
            [6_000, 5_999, 2_345, 1_200, 501, 3],
        ),
    ] {
        let limits = Limits {
            speed,
            acceleration,
            jerk,
        };
        let mut session = session(limits);
        let rate = tick_rate(&session);
        let at = session.link.status().expect("the board").positions;
        let targets: Vec<(u8, i32)> = (0..AXES)
            .zip(ways)
            .map(|(axis, way)| (axis, at[usize::from(axis)].0 + way))
            .collect();
        session.board.log(true).expect("the board");
        session.go(&targets);
        session.rest();
        let pulses = session.board.pulses().expect("the board");

        let leg = |way: i32| Leg {
            distance: way.unsigned_abs(),
            limits,
        };
        let profile = plan(&ways.map(leg), rate as u32).expect("a profile");
        let whole = profile.lengths().map(|ticks| f64::from(ticks) / rate);
        let [v, a, j] = [speed, acceleration, jerk].map(f64::from);
        let longest = f64::from(ways[0]);
        // All limits are reached in both moves.
        let real = [a / j, v / a, longest / v];
        assert!(real[0] <= real[1] && real[0] + real[1] <= real[2]);
        let mut worst = [0.0_f64; 2];
        for (axis, way) in (0..AXES).zip(ways) {
            let of_axis = |pulse: &&Pulse| pulse.axis == axis;
            let times: Vec<f64> = pulses.iter().filter(of_axis).map(|p| p.at / 1e9).collect();
            assert_eq!(times.len(), way as usize);
            for (worst, boxes) in worst.iter_mut().zip([whole, real]) {
                *worst = worst.max(error(&times, f64::from(way), boxes));
            }
        }
        println!(
            "  {speed:>6} steps/s, {:.2} s: {:.2} µs; with its times not rounded to ticks {:.2} µs",
            whole.iter().sum::<f64>(),
            worst[0] * 1e6,
            worst[1] * 1e6
        );
        // To the nearest tick, which is half a tick either way, and what the sums of whole numbers
        // lose against integrals where the way hardly rises: at the very ends.
        assert!(worst[0] < 1.0 / rate, "{} s", worst[0]);
        session.assert_clean();
    }
}

/// The same ramps by two general crates, on the same chip.
fn crates() {
    let folder = image::top().join("tests/ramps");
    let mut build = image::cargo(&folder, "build").expect("a compiler for the chip");
    let built = build.args(["--release", "--locked"]).status();
    assert!(built.expect("cargo").success());
    let program = image::built_in(&folder)
        .join(image::TARGET)
        .join("release/panestep-ramps");
    let node = Process::new("node")
        .arg(image::top().join("tests/emulated/cycles.mjs"))
        .arg(program)
        .output()
        .expect("node");
    assert!(
        node.status.success(),
        "{}",
        String::from_utf8_lossy(&node.stderr)
    );
    let cases: Vec<Value> = serde_json::from_slice(&node.stdout).expect("figures");
    let find = |group: &str, name: &str| {
        let case = cases
            .iter()
            .find(|case| case["group"] == group && case["name"].as_str() == Some(name));
        case.unwrap_or_else(|| panic!("no case {group}, {name}"))
    };
    let number = |case: &Value, field: &str| case[field].as_f64().expect("a number");

    println!("cycles for an axis and a tick, at a step a tick (interrupt and pins not counted)");
    let tick = number(find("tick", "6 axes, a step a tick each"), "mean");
    let ours = tick / f64::from(AXES);
    println!("  the whole tick, six axes      {ours:>8.1}  jerk-limited, guards and all");
    let names = [
        "9000 steps at 200000/s",
        "4500 steps at 100000/s",
        "1020 steps at 10000/s",
    ];
    let others = ["stepgen", "ramp-maker, f32", "ramp-maker, fixed"];
    for other in others {
        let theirs = number(find(other, names[0]), "perPulse");
        println!("  {other:<29} {theirs:>8.1}  the time to the next step alone");
        assert!(ours < theirs, "dearer than {other}");
    }
    println!("cycles of the ramp alone, over whole ramps: ours a tick and axis, theirs a step");
    for name in names {
        print!("  {name:<24}");
        for (group, axes) in [("path, 1 axis", 1.0), ("path, 6 axes alike", 6.0)] {
            let mean = number(find(group, name), "mean") / axes;
            print!("  {group} {mean:.1}");
        }
        for other in others {
            print!("  {other} {:.0}", number(find(other, name), "perPulse"));
        }
        println!();
    }
    println!(
        "  (ours is paid at every tick, theirs at every step: at far less than a step a tick theirs \
         cost less)"
    );
}
