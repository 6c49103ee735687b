//! The path, tick by tick, against the exact way and the straightforward model.

use super::*;
use crate::motion::{Leg, Limits, plan};
use std::vec::Vec;

/// One axis that needs exactly these lengths.
fn profile(a: u32, b: u32, c: u32) -> Profile {
    // At one step and `c` ticks a second, the limits are 1/C, 1/(BC) and 1/(ABC) of powers of
    // the rate; a distance of b * a makes them whole.
    let rate = c * b * a;
    let limits = Limits {
        speed: a * b,
        acceleration: rate * a,
        jerk: rate * rate,
    };
    let leg = Leg {
        distance: 1,
        limits,
    };
    plan(&[leg], rate).expect("small numbers")
}

/// Speed, acceleration and way covered, of a move of few steps.
fn state(path: &Path) -> (i64, i64, u64) {
    assert!(!path.is_wide);
    let line = &path.line;
    let covered = u64::try_from(line.covered).expect("a short way");
    (line.speed.into(), line.acceleration.into(), covered)
}

/// Every small shape, braked at every tick: within the profile's jerk, acceleration and speed
/// at every tick, never backwards, at rest in time and before the target.
#[test]
fn every_stop_of_every_small_shape_is_within_the_profile() {
    let mut shapes = 0;
    let lengths = (1..=9_u32).flat_map(|a| (a..=12).map(move |b| (a, b)));
    for (a, b) in lengths {
        for c in [a + b, a + b + 1, a + b + 7] {
            let profile = profile(a, b, c);
            assert_eq!(profile.lengths(), [a, b, c]);
            shapes += 1;
            for brake_at in 0..profile.ticks() {
                brake(profile, brake_at);
            }
        }
    }
    assert_eq!(shapes, 3 * (9 * 12 - 36));
}

fn brake(profile: Profile, brake_at: u32) {
    let [a, b, c] = profile.lengths().map(i64::from);
    let mut path = Path::idle();
    assert!(path.begin(&[1, 0, 0, 0, 0, 0, 0, 0], profile));
    let mut states = Vec::from([(0_i64, 0_i64)]);
    let mut way = 0;
    let mut ticks = 0;
    while path.is_moving() {
        if ticks == brake_at {
            path.brake();
        }
        path.tick();
        ticks += 1;
        let (speed, acceleration, _) = state(&path);
        way += speed;
        states.push((speed, acceleration));
        assert!(ticks <= profile.ticks(), "{profile:?} braked at {brake_at}");
    }
    assert!(ticks - brake_at <= profile.stop_ticks());
    assert!(way <= a * b * c);
    // At rest the last of the slowing down goes too.
    assert_eq!(state(&path).0, 0);
    states.push((0, 0));
    for (at, pair) in states.windows(2).enumerate() {
        let [(v0, a0), (v1, a1)] = [pair[0], pair[1]];
        assert!(
            (0..=a * b).contains(&v1),
            "{profile:?} {brake_at} {at}: speed {v1}"
        );
        assert!(
            a1.abs() <= a,
            "{profile:?} {brake_at} {at}: acceleration {a1}"
        );
        assert!(
            (a1 - a0).abs() <= 1,
            "{profile:?} {brake_at} {at}: jerk {}",
            a1 - a0
        );
        // The axes' own sums say the same.
        assert!(v1 == v0 + a1 || (v1, a1) == (0, 0));
    }
}

/// On the way, braked or not, every axis is at the nearest whole step to its share.
#[test]
fn every_axis_is_at_the_nearest_step_to_its_share() {
    let profile = profile(4, 9, 20);
    let whole = profile.whole();
    let steps = [20, -7, 0, 1, 3, -19, 13, 0];
    for brake_at in 0..=profile.ticks() {
        let mut path = Path::idle();
        assert!(path.begin(&steps, profile));
        let mut at = [0_u64; MAX_AXES];
        for tick in 0..profile.ticks() {
            if tick == brake_at {
                path.brake();
            }
            for axis in path.tick().iter() {
                at[axis] += 1;
            }
            for (at, steps) in at.iter().zip(steps) {
                let share = state(&path).2 * u64::from(steps.unsigned_abs());
                assert!(share.abs_diff(2 * at * whole) <= whole);
            }
        }
    }
}

/// The place of the way at which step `n` is due, in units made larger by `shift`: the least way
/// that can be covered and is no less.
fn exact(whole: u64, distance: u32, n: u64, shift: u32) -> u128 {
    let due = (u128::from(2 * n - 1) * u128::from(whole)).div_ceil(u128::from(distance));
    due << shift
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(20_000))]

    /// Every step of every distance falls at exactly its place, also the last of 2^31.
    #[test]
    fn sums_are_as_good_as_exact(
        bits in 1_u32..=62,
        low in proptest::prelude::any::<u64>(),
        distance in 1_u32..=1 << 31,
        places in 0_u32..=31,
        part in 1_u64..=1 << 31,
    ) {
        let whole = (1 << (bits - 1) | low & ((1 << (bits - 1)) - 1)).max(2);
        let distance = (distance >> places).clamp(1, u32::try_from(whole / 2).unwrap_or(1 << 31));
        let distances = u64::from(distance);
        for n in [1, 2, distances, distances.saturating_sub(1).max(1), 1 + part % distances] {
            let wide = Wide::new(distance, whole);
            // The sum in 64.64, of which the whole part counts.
            let sum = |high: u64, low: u64| u128::from(high) << 64 | u128::from(low);
            let due = sum(wide.due, wide.due_fine);
            let apart = sum(wide.apart, wide.apart_fine);
            let sum = due.wrapping_add(apart.wrapping_mul(u128::from(n - 1)));
            assert_eq!(sum >> 64, exact(whole, distance, n, 0));
            let Some(shift) = narrow_shift(whole, distance, distance) else {
                continue;
            };
            let narrow = Narrow::new(distance, whole << shift);
            let sum = u128::from(narrow.due) + u128::from(narrow.apart) * u128::from(n - 1);
            let way = (sum >> 32).next_multiple_of(1 << shift);
            assert_eq!(way, exact(whole, distance, n, shift));
            let last = (sum as u32).wrapping_sub(narrow.due as u32);
            assert_eq!(u64::from(last.wrapping_mul(inverse(narrow.apart as u32))), n - 1);
        }
    }
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(400))]

    /// Narrow and wide, braked and with axes dropped, every tick is the model's, and so are the
    /// counts.
    #[test]
    fn every_tick_is_the_models(
        distances in proptest::array::uniform8(-3_000_i32..=3_000),
        small in proptest::array::uniform8(0_u32..=12),
        speed in 1_000_u32..=200_000,
        gentle in 1_u32..=200,
        jerky in 1_u32..=2_000,
        brake_at in 0_u32..=60_000,
        drop in (0_usize..=12, 0_u32..=20_000),
    ) {
        // Some axes stand still, some go a short way.
        let mut steps = distances;
        for (steps, small) in steps.iter_mut().zip(small) {
            *steps >>= small;
            if small > 10 { *steps = 0; }
        }
        let acceleration = (speed / 10 * gentle).max(1);
        let limits = Limits { speed, acceleration, jerk: acceleration.saturating_mul(jerky) };
        let legs = steps.map(|steps| Leg { distance: steps.unsigned_abs(), limits });
        let profile = plan(&legs, 200_000).expect("within bounds");
        for narrow in [true, false] {
            let mut path = Path::idle();
            let mut model = model::Path::idle();
            assert!(path.begin_by(&steps, profile, narrow));
            assert!(model.begin(&steps, profile));
            let mut taken = [0; MAX_AXES];
            for tick in 0..=profile.ticks() {
                if tick == brake_at {
                    path.brake();
                    model.brake();
                }
                if tick == drop.1 {
                    path.drop_axis(drop.0);
                    model.drop_axis(drop.0);
                }
                assert_eq!(path.is_moving(), model.is_moving());
                assert_eq!(path.is_braking(), model.is_braking());
                assert_eq!(path.ticks_left(), model.ticks_left());
                assert_eq!(path.axes(), model.axes());
                let stepping = path.tick();
                assert_eq!(stepping, model.tick(), "tick {tick} of {steps:?}, {profile:?}");
                for axis in stepping.iter() {
                    taken[axis] += steps[axis].signum();
                    if tick % 64 == 0 || !path.is_moving() {
                        assert_eq!(path.taken(axis), taken[axis]);
                    }
                }
            }
            assert!(!path.is_moving());
            // Also afterwards a dropped axis is forgotten.
            for axis in 0..MAX_AXES {
                path.drop_axis(axis);
                assert_eq!(path.taken(axis), 0);
            }
        }
    }
}
