//! The same ramp by the firmware's path, and by two general crates.
//!
//! What makes it fair:
//!
//! * The crates work out a delay for each step, and a timer of each axis sets the next step off. The
//!   path decides at each tick, for all axes, which of them step. So the measure is cycles per step,
//!   and cycles per axis and second at a given number of steps a second: at one step a tick, where
//!   both are asked as often, and at fewer, where the crates are asked less often and the path is
//!   not.
//! * Each is measured from being asked to the stores that send the pulse and, where there is one, set
//!   the timer. The interrupt around it is left out on both sides; the crates would need one for each
//!   axis's step, the path one for all axes' tick.
//! * The numbers are those that each crate suggests for a processor without floating point, and
//!   `f32`, which is what its example uses. Divisions of 32 bits are done by the chip's divider
//!   ([`crate::divider`]), as they would be on a board; the path has none.
//! * All are built with the same profile. The ramp's length, top speed and acceleration are the same;
//!   the path keeps a jerk limit on top, which makes its ramp longer.

use core::hint::black_box;

use panestep_firmware::motion::{Leg, Limits, Path, plan};
use panestep_protocol::MAX_AXES;
use ramp_maker::MotionProfile;
use ramp_maker::trapezoidal::{DefaultNum, Trapezoidal};
use stepgen::Stepgen;

use crate::chip;

/// A ramp: rest to top speed to rest.
struct Ramp {
    name: &'static str,
    steps: u32,
    /// Steps a second, and steps a second squared.
    speed: u32,
    acceleration: u32,
}

const RAMPS: [Ramp; 4] = [
    Ramp {
        name: "9000 steps at 200000/s",
        steps: 9_000,
        speed: 200_000,
        acceleration: 8_000_000,
    },
    Ramp {
        name: "4500 steps at 100000/s",
        steps: 4_500,
        speed: 100_000,
        acceleration: 4_000_000,
    },
    Ramp {
        name: "1020 steps at 10000/s",
        steps: 1_020,
        speed: 10_000,
        acceleration: 400_000,
    },
    // It has to slow down before it has reached its speed.
    Ramp {
        name: "1200 steps at up to 200000/s",
        steps: 1_200,
        speed: 200_000,
        acceleration: 8_000_000,
    },
];

/// Ticks a second, of the path.
const RATE: u32 = 200_000;

#[inline(never)]
fn path_tick(path: &mut Path) {
    chip::measure(|| chip::pulses(u32::from(path.tick().0)));
}

fn path(group: &'static str, ramp: &Ramp, shares: &[i32; MAX_AXES]) {
    let leg = Leg {
        distance: ramp.steps,
        limits: Limits {
            speed: ramp.speed,
            acceleration: ramp.acceleration,
            // 5 ms to the full acceleration.
            jerk: ramp.acceleration.saturating_mul(200),
        },
    };
    let Ok(profile) = plan(&[leg], RATE) else {
        chip::fail(line!())
    };
    let steps = shares.map(|share| ramp.steps as i32 / 60 * share);
    let mut path = Path::idle();
    if !path.begin(black_box(&steps), profile) {
        chip::fail(line!());
    }
    chip::case(group, ramp.name);
    while path.is_moving() {
        path_tick(&mut path);
    }
    chip::due(steps.iter().map(|steps| steps.unsigned_abs()).sum());
}

#[inline(never)]
fn stepgen_step(stepgen: &mut Stepgen) -> bool {
    chip::measure(|| match stepgen.next() {
        Some(delay) => {
            chip::pulses(1);
            chip::alarm(delay >> 8);
            true
        }
        None => false,
    })
}

fn stepgen(ramp: &Ramp) {
    // Its delays are 30 to 65535 of its timer's ticks.
    let mut stepgen = Stepgen::new(10_000_000);
    let set = stepgen
        .set_acceleration(ramp.acceleration << 8)
        .and_then(|()| stepgen.set_target_speed(ramp.speed << 8))
        .and_then(|()| stepgen.set_target_step(ramp.steps));
    if set.is_err() {
        chip::fail(line!());
    }
    chip::case("stepgen", ramp.name);
    while stepgen_step(&mut stepgen) {}
    chip::due(ramp.steps);
}

#[inline(never)]
fn fixed_step(profile: &mut Trapezoidal<DefaultNum>) -> bool {
    chip::measure(|| match profile.next_delay() {
        Some(delay) => {
            chip::pulses(1);
            // Milliseconds with 32 bits behind the point, to 1/1024 of a microsecond or so.
            chip::alarm((delay.to_bits() >> 12) as u32);
            true
        }
        None => false,
    })
}

fn fixed(ramp: &Ramp) {
    // Counted in milliseconds: with seconds the square of the speed does not fit.
    let acceleration = DefaultNum::from_num(ramp.acceleration) / 1_000_000;
    let mut profile = Trapezoidal::<DefaultNum>::new(acceleration);
    profile.enter_position_mode(DefaultNum::from_num(ramp.speed) / 1_000, ramp.steps);
    chip::case("ramp-maker, fixed", ramp.name);
    while fixed_step(&mut profile) {}
    // It slows down early and gently, and makes the steps that are asked for.
    chip::due(ramp.steps);
}

#[inline(never)]
fn float_step(profile: &mut Trapezoidal<f32>) -> bool {
    chip::measure(|| match profile.next_delay() {
        Some(delay) => {
            chip::pulses(1);
            // The delay as it is: what converts it is the user's.
            chip::alarm(delay.to_bits());
            true
        }
        None => false,
    })
}

fn float(ramp: &Ramp) {
    let mut profile = Trapezoidal::<f32>::new(ramp.acceleration as f32);
    profile.enter_position_mode(ramp.speed as f32, ramp.steps);
    chip::case("ramp-maker, f32", ramp.name);
    while float_step(&mut profile) {}
    chip::due(ramp.steps);
}

/// All of them.
pub(crate) fn ramps() {
    for ramp in &RAMPS {
        path("path, 1 axis", ramp, &[60, 0, 0, 0, 0, 0, 0, 0]);
        path(
            "path, 6 axes alike",
            ramp,
            &[60, -60, 60, 60, -60, 60, 0, 0],
        );
        path(
            "path, 6 axes, 1 to 1/6",
            ramp,
            &[60, -50, 40, 30, -20, 10, 0, 0],
        );
        stepgen(ramp);
        fixed(ramp);
        float(ramp);
    }
}
