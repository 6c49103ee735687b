//! Motion, seen from outside: how long moves last, how fast they go on the way, where they end,
//! and how they stop.
//!
//! Two references stand beside the code under test. The **closed forms** for the duration of a
//! time-optimal jerk-limited move from rest to rest are those of L. Biagiotti, C. Melchiorri,
//! "Trajectory Planning for Automatic Machines and Robots", Springer 2008, section 3.4 (written
//! down from memory; the book's example 3.13 below is a published number that they reproduce).
//! The **convolution** is the profile's definition, worked out box by box with whole numbers in
//! [`speeds`], without a thought for segments or accumulators.

use panestep_firmware::motion::{Leg, Limits, Path, PlanError, Profile, plan};
use panestep_protocol::{AxisMask, MAX_AXES};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;

/// Steps of one unit of length in the published examples.
const UNIT: u32 = 10_000;

// ---- references ---------------------------------------------------------------------------------

/// Duration in seconds of the quickest move over `h` within speed `v`, acceleration `a` and jerk
/// `j`: Biagiotti and Melchiorri, section 3.4, with no speed at either end.
fn closed_form(h: f64, v: f64, a: f64, j: f64) -> f64 {
    if v * j >= a * a {
        if h >= v * v / a + v * a / j {
            // All three limits are reached.
            h / v + v / a + a / j
        } else if h >= 2.0 * a.powi(3) / (j * j) {
            // The greatest speed is not.
            a / j + ((a / j).powi(2) + 4.0 * h / a).sqrt()
        } else {
            // Nothing but jerk.
            4.0 * (h / (2.0 * j)).cbrt()
        }
    } else if h >= 2.0 * v * (v / j).sqrt() {
        // The greatest acceleration is not.
        h / v + 2.0 * (v / j).sqrt()
    } else {
        4.0 * (h / (2.0 * j)).cbrt()
    }
}

/// The profile's speed at every tick, in its own units: three boxes convolved.
fn speeds(profile: Profile) -> Vec<i64> {
    let mut shape = vec![1_i64];
    for length in profile.lengths() {
        let length = length as usize;
        let mut wider = vec![0; shape.len() + length - 1];
        for (start, height) in shape.iter().enumerate() {
            for cell in &mut wider[start..start + length] {
                *cell += height;
            }
        }
        shape = wider;
    }
    shape
}

/// The share of the way, from 0 to 1, that the profile has covered `t` ticks after its start in
/// continuous time: three boxes convolved and integrated once are eight signed third powers.
fn covered(profile: Profile, t: f64) -> f64 {
    let [a, b, c] = profile.lengths().map(f64::from);
    let cube = |from: f64| (t - from).max(0.0).powi(3) / 6.0;
    (cube(0.0) - cube(a) - cube(b) - cube(c) + cube(a + b) + cube(a + c) + cube(b + c)
        - cube(a + b + c))
        / (a * b * c)
}

fn leg(distance: u32, speed: u32, acceleration: u32, jerk: u32) -> Leg {
    Leg {
        distance,
        limits: Limits {
            speed,
            acceleration,
            jerk,
        },
    }
}

/// Whether the three lengths keep the leg within its limits: the exact products of the module's
/// documentation.
fn within_limits(lengths: [u32; 3], leg: Leg, tick_rate: u32) -> bool {
    let [a, b, c] = lengths.map(u128::from);
    let (d, f) = (u128::from(leg.distance), u128::from(tick_rate));
    d * f <= u128::from(leg.limits.speed) * c
        && d * f * f <= u128::from(leg.limits.acceleration) * b * c
        && d * f * f * f <= u128::from(leg.limits.jerk) * a * b * c
}

/// A move as it runs: positions after every tick.
struct Run {
    path: Path,
    at: [i64; MAX_AXES],
}

impl Run {
    fn begin(steps: [i32; MAX_AXES], profile: Profile) -> Self {
        let mut path = Path::idle();
        assert!(path.begin(&steps, profile), "{steps:?} with {profile:?}");
        Self {
            path,
            at: [0; MAX_AXES],
        }
    }

    fn tick(&mut self) -> AxisMask {
        let stepping = self.path.tick();
        for axis in stepping.iter() {
            let positive = self.path.directions().contains(axis);
            self.at[axis] += if positive { 1 } else { -1 };
        }
        stepping
    }

    /// Runs until rest; the ticks it took.
    fn finish(&mut self) -> u32 {
        let mut ticks = 0;
        while self.path.is_moving() {
            self.tick();
            ticks += 1;
        }
        ticks
    }
}

/// The same cases at every run.
fn repeatable(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        rng_seed: RngSeed::Fixed(0x7061_6e65),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// Samples with something of every kind: all limits reached, no cruise, nothing but jerk, no
/// constant acceleration, and the shortest there is.
fn samples() -> Vec<Profile> {
    [
        leg(600, 900, 6_000, 80_000),
        leg(300, 1_000, 600, 8_000),
        leg(60, 1_000, 60_000, 80_000),
        leg(400, 500, 60_000, 80_000),
        leg(1, 1_000, 1_000_000, 1_000_000_000),
        leg(37, 1_000, 1_000_000, 1_000_000_000),
    ]
    .map(|leg| plan(&[leg], 1_000).expect("a sound leg"))
    .to_vec()
}

// ---- durations ----------------------------------------------------------------------------------

/// Biagiotti and Melchiorri, example 3.13: from 0 to 10 with v = 10, a = 20, j = 30, rest to rest.
/// Printed: Tj = 0.5503, Ta = 1.1006, no constant speed; 2.2013 in all.
#[test]
fn lasts_as_long_as_the_books_example() {
    assert!((closed_form(10.0, 10.0, 20.0, 30.0) - 2.2013).abs() < 5e-5);
    let rate = 100_000;
    let leg = leg(10 * UNIT, 10 * UNIT, 20 * UNIT, 30 * UNIT);
    let profile = plan(&[leg], rate).expect("a sound leg");
    let [jerk, ramp, cruise] = profile.lengths().map(|ticks| f64::from(ticks) / 1e5);
    assert!((jerk - 0.5503).abs() < 5e-5, "jerk {jerk}");
    // The acceleration lasts from rest for the first two boxes together.
    assert!(
        (jerk + ramp - 1.1006).abs() < 1e-4,
        "acceleration {jerk} + {ramp}"
    );
    assert!(
        (cruise - 1.1006).abs() < 1e-4,
        "before slowing down {cruise}"
    );
    let whole = f64::from(profile.ticks()) / 1e5;
    assert!((whole - 2.2013).abs() < 1e-4, "whole {whole}");
}

/// One move of each case of the closed forms, j = 30; the durations worked out from them.
#[test]
fn lasts_as_long_as_the_closed_forms_in_each_case() {
    for (h, v, a, seconds) in [
        (10, 5, 10, 2.833333),
        (10, 10, 10, 2.360921),
        (1, 5, 10, 1.021746),
        (10, 2, 10, 5.516398),
    ] {
        let form = closed_form(h.into(), v.into(), a.into(), 30.0);
        assert!((form - seconds).abs() < 5e-7, "{form} for {seconds}");
        let leg = leg(h * UNIT, v * UNIT, a * UNIT, 30 * UNIT);
        let profile = plan(&[leg], 100_000).expect("a sound leg");
        let ticks = f64::from(profile.ticks());
        assert!(
            (ticks - seconds * 1e5).abs() <= 1.1,
            "{ticks} for {seconds}"
        );
    }
}

/// A short move that no whole lengths bring within 0.1 % and one tick of the closed form: every
/// set of lengths that would be quicker than the plan breaks a limit.
#[test]
fn short_moves_cannot_always_be_as_quick_as_the_closed_form() {
    let leg = leg(104, 812, 112_546, 100_208_221);
    let form = 1e3 * closed_form(104.0, 812.0, 112_546.0, 100_208_221.0);
    let profile = plan(&[leg], 1_000).expect("a sound leg");
    let ticks = f64::from(profile.ticks());
    assert!(
        ticks > form + 1.0 + form * 1e-3 && ticks < form + 2.0,
        "{ticks} for {form}"
    );
    let mut tried = 0;
    for c in 2..profile.ticks() {
        for b in 1..c {
            for a in 1..=b.min(c - b) {
                if a + b + c <= profile.ticks() {
                    assert!(!within_limits([a, b, c], leg, 1_000), "{:?}", [a, b, c]);
                    tried += 1;
                }
            }
        }
    }
    assert!(tried > 10_000, "{tried}");
}

proptest! {
    #![proptest_config(repeatable(4096))]

    /// Nothing is quicker than the closed form but by the tick at which the move is at rest
    /// already; and nothing is slower by more than whole ticks ask for.
    #[test]
    fn lasts_as_long_as_the_closed_form(
        rate in 1_000_u32..=200_000,
        distance in 0.0_f64..6.5,
        speed in 0.001_f64..1.0,
        // Seconds that it would take to reach the speed, and the acceleration.
        ramp in -3.0_f64..0.7,
        jerk in -3.0_f64..0.7,
    ) {
        let distance = 10_f64.powf(distance) as u32;
        let speed = ((f64::from(rate) * speed) as u32).max(1);
        let acceleration = ((f64::from(speed) / 10_f64.powf(ramp)) as u32).max(1);
        let jerk = ((f64::from(acceleration) / 10_f64.powf(jerk)) as u32).max(1);
        let leg = leg(distance, speed, acceleration, jerk);
        let form = f64::from(rate) * closed_form(
            distance.into(), speed.into(), acceleration.into(), jerk.into(),
        );
        let profile = match plan(&[leg], rate) {
            Ok(profile) => profile,
            Err(error) => {
                prop_assert_eq!(error, PlanError::TooLong);
                prop_assert!(form > 1e6, "{} ticks are not too many", form);
                return Ok(());
            }
        };
        let more = f64::from(profile.ticks()) - form;
        prop_assert!(more > -1.0 - form * 1e-9, "{} ticks, {} less", form, -more);
        // Below 1,000 ticks three whole lengths can cost nearly two.
        let most = if form >= 1e3 { 1.0 + form * 1e-3 } else { 2.0 };
        prop_assert!(more < most, "{} ticks, {} more", form, more);
    }

    /// No other whole lengths are within the limits and take less time.
    #[test]
    fn is_the_quickest_in_whole_ticks(
        rate in 20_u32..400,
        legs in prop::collection::vec(
            (1_u32..40, 0.02_f64..1.0, 0.5_f64..40.0, 0.5_f64..40.0), 1..4),
    ) {
        let legs: Vec<Leg> = legs.iter().map(|&(distance, speed, ramp, jerk)| {
            let f = f64::from(rate);
            let speed = (f * speed).max(1.0);
            let acceleration = (speed * f / ramp).max(1.0);
            leg(distance, speed as u32, acceleration as u32, (acceleration * f / jerk) as u32 + 1)
        }).collect();
        let profile = plan(&legs, rate).expect("short moves");
        let all_within = |lengths| legs.iter().all(|&leg| within_limits(lengths, leg, rate));
        let [a, b, c] = profile.lengths();
        prop_assert!(1 <= a && a <= b && a + b <= c && all_within([a, b, c]));
        let sum = a + b + c;
        prop_assume!(sum < 600);
        for c in 2..sum {
            for b in 1..c.min(sum - c) {
                let a = b.min(c - b).min((sum - 1).saturating_sub(b + c));
                // The longest first box that would still be quicker.
                if a >= 1 {
                    prop_assert!(!all_within([a, b, c]), "{:?} beats {:?}", [a, b, c], profile);
                }
            }
        }
    }
}

// ---- what cannot be planned ---------------------------------------------------------------------

#[test]
fn a_move_of_no_distance_takes_no_time() {
    let nothing = plan(&[leg(0, 0, 0, 0), leg(0, u32::MAX, 1, 1)], 1_000).expect("no legs count");
    assert_eq!(nothing.ticks(), 0);
    assert_eq!(plan(&[], 0), Ok(nothing));
    assert_eq!(Profile::steady(0, 0, 0), Ok(nothing));
    let mut path = Path::idle();
    assert!(path.begin(&[0; MAX_AXES], nothing));
    assert!(!path.is_moving());
    assert_eq!(path.ticks_left(), Some(0));
    assert_eq!(path.tick(), AxisMask::NONE);
    // A distance needs a profile that can carry it.
    assert!(!path.begin(&[1, 0, 0, 0, 0, 0, 0, 0], nothing));
    assert!(!path.is_moving());
}

#[test]
fn says_why_there_is_no_profile() {
    for zero in [leg(1, 0, 1, 1), leg(1, 1, 0, 1), leg(1, 1, 1, 0)] {
        assert_eq!(
            plan(&[leg(5, 9, 9, 9), zero], 1_000),
            Err(PlanError::ZeroLimit)
        );
    }
    assert_eq!(plan(&[leg(1, 1_001, 9, 9)], 1_000), Err(PlanError::TooFast));
    assert!(plan(&[leg(1, 1_000, 9, 9)], 1_000).is_ok());
    // 2^32 steps at one a second and 200,000 ticks a second.
    assert_eq!(
        plan(&[leg(u32::MAX, 1, 9, 9)], 200_000),
        Err(PlanError::TooLong)
    );
    assert_eq!(Profile::steady(5, 0, 1_000), Err(PlanError::ZeroLimit));
    assert_eq!(Profile::steady(5, 1_001, 1_000), Err(PlanError::TooFast));
    assert_eq!(Profile::steady(u32::MAX, 1, 1_000), Err(PlanError::TooLong));
}

#[test]
fn begins_nothing_on_top_of_a_move_and_nothing_beyond_the_profiles_reach() {
    let profile = Profile::steady(50, 100, 1_000).expect("a sound speed");
    let reach = i32::try_from(profile.reach()).expect("short");
    let mut path = Path::idle();
    assert!(!path.begin(&[0, -(reach + 1), 0, 0, 0, 0, 0, 0], profile));
    assert!(!path.is_moving());
    assert!(path.begin(&[0, -reach, 0, 0, 0, 0, 0, 0], profile));
    assert!(!path.begin(&[1, 0, 0, 0, 0, 0, 0, 0], profile));
    let mut run = Run {
        path,
        at: [0; MAX_AXES],
    };
    run.finish();
    assert_eq!(run.at, [0, -i64::from(reach), 0, 0, 0, 0, 0, 0]);
}

fn any_number() -> impl Strategy<Value = u32> {
    prop_oneof![
        prop::sample::select(vec![0, 1, 2, 3, 1 << 16, 1 << 31, u32::MAX - 1, u32::MAX]),
        any::<u32>(),
        (0_u32..32, any::<u32>()).prop_map(|(shift, number)| number >> shift),
    ]
}

proptest! {
    #![proptest_config(repeatable(20_000))]

    /// Whatever the numbers: a profile within every limit, or a reason; no overflow on the way
    /// (the tests are built with overflow checks), neither planning nor running nor braking.
    #[test]
    fn survives_any_numbers(
        legs in prop::collection::vec(
            (any_number(), any_number(), any_number(), any_number()), 1..=MAX_AXES),
        rate in any_number(),
        signs in any::<u8>(),
        run_for in 0_u32..200,
    ) {
        let legs: Vec<Leg> = legs.iter().map(|&(d, v, a, j)| leg(d, v, a, j)).collect();
        let Ok(profile) = plan(&legs, rate) else { return Ok(()) };
        let lengths = profile.lengths();
        for &leg in legs.iter().filter(|leg| leg.distance > 0) {
            prop_assert!(within_limits(lengths, leg, rate), "{:?} {:?}", lengths, leg);
            prop_assert!(profile.stop_steps(leg.distance) <= leg.distance);
        }
        prop_assert!(profile.stop_ticks() <= profile.ticks().saturating_mul(2));
        let mut steps = [0_i32; MAX_AXES];
        for (axis, (steps, leg)) in steps.iter_mut().zip(&legs).enumerate() {
            let distance = leg.distance.min(1 << 31);
            *steps = if signs & 1 << axis != 0 {
                (-i64::from(distance)) as i32
            } else {
                i32::try_from(distance).unwrap_or(i32::MAX)
            };
        }
        let mut path = Path::idle();
        prop_assert!(path.begin(&steps, profile));
        for _ in 0..run_for { path.tick(); }
        path.brake();
        for _ in 0..run_for { path.tick(); }
    }

    #[test]
    fn a_steady_profile_keeps_its_speed(
        distance in any_number(), speed in any_number(), rate in any_number(),
    ) {
        let Ok(profile) = Profile::steady(distance, speed, rate) else { return Ok(()) };
        let [_, _, cruise] = profile.lengths().map(u128::from);
        prop_assert!(
            u128::from(distance) * u128::from(rate) <= u128::from(speed) * cruise);
        prop_assert!(cruise <= 2 || // and no slower than it must
            u128::from(distance) * u128::from(rate) > u128::from(speed) * (cruise - 1));
    }
}

// ---- on the way ---------------------------------------------------------------------------------

/// The profile's speed at every tick gives the speed, acceleration and jerk of every axis.
#[test]
fn keeps_within_the_limits_at_every_tick() {
    let rate = 1_000_u32;
    let f = f64::from(rate);
    let legs = [
        leg(600, 900, 6_000, 80_000),
        leg(75, 500, 700, 9_000),
        leg(9, 20, 300, 800),
        leg(400, 1_000, 9_000, 30_000),
    ];
    for count in 1..=legs.len() {
        let legs = &legs[..count];
        let profile = plan(legs, rate).expect("sound legs");
        let whole: f64 = profile.lengths().map(f64::from).iter().product();
        let speeds: Vec<f64> = speeds(profile).iter().map(|&v| v as f64).collect();
        let difference = |values: &[f64]| -> Vec<f64> {
            let rest = [0.0];
            let padded = [&rest[..], values, &rest[..]].concat();
            padded.windows(2).map(|pair| pair[1] - pair[0]).collect()
        };
        let greatest = |values: &[f64]| values.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
        let accelerations = difference(&speeds);
        let jerks = difference(&accelerations);
        for leg in legs {
            let share = f64::from(leg.distance) / whole;
            let close = 1.0 + 1e-12;
            assert!(greatest(&speeds) * share * f <= f64::from(leg.limits.speed) * close);
            let most = greatest(&accelerations) * share * f * f;
            assert!(most <= f64::from(leg.limits.acceleration) * close);
            let most = greatest(&jerks) * share * f * f * f;
            assert!(most <= f64::from(leg.limits.jerk) * close);
        }
    }
}

/// Every axis is at the nearest whole step to its share of the way, at every tick: they start
/// and end together, on a straight line, exactly at their ends.
#[test]
fn follows_the_convolution_to_the_nearest_step() {
    for profile in samples() {
        let [a, b, c] = profile.lengths().map(i64::from);
        let whole = a * b * c;
        let most = i32::try_from(c).expect("short");
        let steps = [most, -most, 1, -1, most / 2, -most / 3, 0, most.min(7)];
        let mut run = Run::begin(steps, profile);
        for (axis, &steps) in steps.iter().enumerate() {
            assert_eq!(run.path.axes().contains(axis), steps != 0);
        }
        let mut way = 0;
        for (tick, speed) in speeds(profile).into_iter().enumerate() {
            let left = profile.ticks() - u32::try_from(tick).expect("short");
            assert_eq!(run.path.ticks_left(), Some(left));
            run.tick();
            way += speed;
            for (at, steps) in run.at.iter().zip(steps) {
                let nearest = (2 * way * i64::from(steps.abs()) + whole) / (2 * whole);
                let lag = 2 * (way * i64::from(steps.abs()) - at.abs() * whole);
                assert!(
                    lag.abs() <= whole,
                    "{profile:?} tick {tick}: {at} for {nearest}"
                );
            }
        }
        assert_eq!(way, whole);
        assert!(run.path.is_moving());
        assert_eq!(run.tick(), AxisMask::NONE);
        assert!(!run.path.is_moving());
        assert_eq!(run.path.ticks_left(), Some(0));
        assert_eq!(run.at, steps.map(i64::from));
    }
}

/// A step falls within a tick of the instant at which the continuous profile is half a step short
/// of it. (Three whole boxes lie half a tick each later than the continuous ones and the first of
/// them acts at tick 1: tick `n` stands for the instant `n + 1/2`.)
#[test]
fn steps_fall_within_a_tick_of_the_continuous_profile() {
    for profile in samples() {
        let most = i32::try_from(profile.reach()).expect("short");
        let steps = [most, 5.min(most), 0, 1, 0, 0, 0, 0];
        let mut run = Run::begin(steps, profile);
        let mut tick = 0.0;
        while run.path.is_moving() {
            let stepping = run.tick();
            tick += 1.0;
            for axis in stepping.iter() {
                let share = (run.at[axis] as f64 - 0.5) / f64::from(steps[axis]);
                let (early, late) = (covered(profile, tick - 0.5), covered(profile, tick + 1.5));
                assert!(
                    early <= share + 1e-9 && share <= late + 1e-9,
                    "{profile:?} axis {axis} tick {tick}: {share} not in {early}..{late}"
                );
            }
        }
    }
}

proptest! {
    #![proptest_config(repeatable(64))]

    /// Eight axes of wildly different distances all arrive, in exactly the ticks foretold.
    #[test]
    fn ends_exactly_where_it_should(
        distances in prop::array::uniform8((0_u32..17, any::<i32>())),
        rate in 1_000_u32..20_000,
    ) {
        let steps = distances.map(|(bits, number)| number >> (31 - bits));
        let legs = steps.map(|steps| leg(steps.unsigned_abs(), rate / 2, rate * 2, rate * 8));
        let profile = plan(&legs, rate).expect("within the limits");
        if steps == [0; MAX_AXES] { return Ok(()) }
        let mut run = Run::begin(steps, profile);
        let ticks = run.finish();
        prop_assert_eq!(run.at, steps.map(i64::from));
        prop_assert_eq!(ticks, profile.ticks());
        for (axis, steps) in steps.iter().enumerate() {
            prop_assert_eq!(run.path.directions().contains(axis), *steps > 0);
        }
    }
}

// ---- stopping -----------------------------------------------------------------------------------

/// Brakes at every tick of every sample. (That the jerk and the acceleration of a stop stay within
/// the profile's is checked beside the code, where they can be seen.)
#[test]
fn brakes_from_every_tick_along_the_same_line() {
    for profile in samples() {
        let most = i32::try_from(profile.reach()).expect("short");
        let steps = [most, -most / 2, 3.min(most), 0, 0, 0, 0, -1];
        for brake_at in 0..profile.ticks() {
            let mut run = Run::begin(steps, profile);
            for _ in 0..brake_at {
                run.tick();
            }
            let left = run.path.ticks_left().expect("not braking yet");
            let before = run.at;
            run.path.brake();
            assert!(run.path.is_braking());
            assert_eq!(run.path.ticks_left(), None);
            let mut ticks = 0;
            while run.path.is_moving() {
                run.tick();
                ticks += 1;
                // On the line: the axis of greatest distance tells the share of the way to half a
                // step, and the others are within half a step of their share of it.
                for (at, steps) in run.at.iter().zip(steps) {
                    let line = run.at[0] as f64 * f64::from(steps) / f64::from(most);
                    let off = (*at as f64 - line).abs();
                    assert!(off <= 1.0 + 1e-9, "{profile:?} at {brake_at}: {off} off");
                }
            }
            assert!(
                ticks <= profile.stop_ticks().min(left),
                "{profile:?} {brake_at}: {ticks}"
            );
            for ((at, before), steps) in run.at.iter().zip(before).zip(steps) {
                assert!(at.abs() <= i64::from(steps).abs(), "beyond the target");
                let taken = u32::try_from((at - before).abs()).expect("short");
                let bound = profile.stop_steps(steps.unsigned_abs());
                assert!(
                    taken <= bound,
                    "{profile:?} at {brake_at}: {taken} steps, bound {bound}"
                );
            }
            assert!(!run.path.is_braking());
            assert_eq!(run.path.ticks_left(), Some(0));
            assert_eq!(run.tick(), AxisMask::NONE);
        }
    }
}

/// Braked at full speed, an axis goes on for as long as the speed over the deceleration says, half
/// the jerk's time on top: the stop is the second half of the closed form (case A).
#[test]
fn a_stop_from_full_speed_takes_as_long_as_the_closed_form() {
    let rate = 10_000;
    let profile = plan(&[leg(50_000, 5_000, 10_000, 30_000)], rate).expect("a sound leg");
    let mut run = Run::begin([50_000, 0, 0, 0, 0, 0, 0, 0], profile);
    for _ in 0..profile.ticks() / 2 {
        run.tick();
    }
    let before = run.at[0];
    run.path.brake();
    let ticks = run.finish();
    let seconds = 5_000.0 / 10_000.0 + 10_000.0 / 30_000.0;
    assert!((f64::from(ticks) - seconds * 1e4).abs() <= 2.0, "{ticks}");
    let steps = (run.at[0] - before) as f64;
    assert!((steps - 5_000.0 * seconds / 2.0).abs() <= 3.0, "{steps}");
}

#[test]
fn halts_at_once() {
    let profile = samples()[0];
    for halt_at in 0..profile.ticks() {
        for braking in [false, true] {
            let mut run = Run::begin([600, -300, 0, 0, 0, 0, 0, 1], profile);
            for _ in 0..halt_at {
                run.tick();
            }
            if braking {
                run.path.brake();
            }
            run.path.halt();
            assert!(!run.path.is_moving());
            for _ in 0..20 {
                assert_eq!(run.tick(), AxisMask::NONE);
            }
            // And the next move is whole.
            let at = run.at;
            assert!(run.path.begin(&[5, 0, -5, 0, 0, 0, 0, 0], profile));
            assert_eq!(run.finish(), profile.ticks());
            assert_eq!(
                [run.at[0] - at[0], run.at[1] - at[1], run.at[2]],
                [5, 0, -5]
            );
        }
    }
}

#[test]
fn drops_one_axis_and_goes_on_with_the_others() {
    let profile = samples()[0];
    let steps = [600, 0, -300, 100, 0, 0, -1, 599];
    for drop_at in (0..profile.ticks()).step_by(7) {
        for dropped in 0..MAX_AXES {
            let mut run = Run::begin(steps, profile);
            for _ in 0..drop_at {
                run.tick();
            }
            let before = run.at[dropped];
            run.path.drop_axis(dropped);
            assert!(!run.path.axes().contains(dropped));
            let rest = run.finish();
            assert_eq!(drop_at + rest, profile.ticks());
            let mut ends = steps.map(i64::from);
            ends[dropped] = before;
            assert_eq!(run.at, ends, "dropped {dropped} at {drop_at}");
        }
    }
}

#[test]
fn is_at_rest_when_the_last_axis_is_dropped() {
    let mut run = Run::begin([0, 40, 0, 0, 0, -40, 0, 0], samples()[0]);
    run.tick();
    run.path.drop_axis(1);
    run.path.drop_axis(1);
    run.path.drop_axis(usize::MAX);
    assert!(run.path.is_moving());
    run.path.drop_axis(5);
    assert!(!run.path.is_moving());
}

/// A braking path may still lose an axis; brake and halt at rest do nothing.
#[test]
fn odd_orders_do_no_harm() {
    let mut path = Path::idle();
    path.brake();
    path.halt();
    path.drop_axis(0);
    assert!(!path.is_moving() && !path.is_braking());
    let profile = samples()[0];
    let mut run = Run::begin([600, 600, 0, 0, 0, 0, 0, 0], profile);
    for _ in 0..200 {
        run.tick();
    }
    run.path.brake();
    run.path.brake();
    run.tick();
    run.path.drop_axis(0);
    let before = run.at;
    run.finish();
    assert_eq!(run.at[0], before[0]);
    assert!(run.at[1] > before[1]);
}
