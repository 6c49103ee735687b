//! Curves through keys: properties, and SciPy's values (`reference/curve.py`).

use panestep::plan::curve::Curve;
use panestep::shot::{Key, Track};
use proptest::prelude::*;

#[test]
fn follows_scipy_through_keys_and_fairings() {
    let reference: serde_json::Value =
        serde_json::from_str(include_str!("../reference/curve.json")).expect("valid JSON");
    assert_eq!(reference["library"], "scipy");
    let mut compared = 0;
    for case in reference["cases"].as_array().expect("cases") {
        let number = |value: &serde_json::Value| value.as_f64().expect("a number");
        let keys = case["keys"].as_array().expect("keys");
        let fairing = |at: usize| number(&case["fairing"][at]) as u32;
        let track = Track {
            keys: keys
                .iter()
                .enumerate()
                .map(|(index, key)| Key {
                    frame: number(&key[0]) as u32,
                    value: number(&key[1]),
                    fairing: match index {
                        0 => fairing(0),
                        _ if index + 1 == keys.len() => fairing(1),
                        _ => 0,
                    },
                })
                .collect(),
        };
        let curve = Curve::new(&track);
        for pair in case["values"].as_array().expect("values") {
            let (frame, expected) = (number(&pair[0]), number(&pair[1]));
            let value = curve.value(frame);
            assert!(
                (value - expected).abs() < 1e-9,
                "{case} at {frame}: {value}, not {expected}"
            );
            compared += 1;
        }
    }
    assert!(compared > 300, "{compared}");
}

fn keys() -> impl Strategy<Value = Vec<Key>> {
    prop::collection::vec(
        (
            1_u32..40,
            -500.0..500.0_f64,
            prop_oneof![Just(0), 0_u32..60],
        ),
        1..9,
    )
    .prop_map(|steps| {
        let mut frame = 0;
        steps
            .into_iter()
            .map(|(step, value, fairing)| {
                frame += step;
                Key {
                    frame,
                    // Some neighbours equal.
                    value: if step % 7 == 0 { 12.5 } else { value },
                    fairing,
                }
            })
            .collect()
    })
}

proptest! {
    #[test]
    fn meets_every_key_exactly(keys in keys()) {
        let curve = Curve::new(&Track { keys: keys.clone() });
        for key in &keys {
            prop_assert_eq!(curve.value(f64::from(key.frame)), key.value);
        }
    }

    #[test]
    fn never_turns_back_between_keys(keys in keys()) {
        let curve = Curve::new(&Track { keys: keys.clone() });
        for pair in keys.windows(2) {
            let (a, b) = (pair[0], pair[1]);
            let toward = (b.value - a.value).signum();
            let mut before = a.value;
            for part in 0..=200 {
                let frame = f64::from(a.frame)
                    + f64::from(b.frame - a.frame) * f64::from(part) / 200.0;
                let value = curve.value(frame);
                prop_assert!((value - before) * toward >= -1e-11 * (1.0 + value.abs()));
                prop_assert!(value >= a.value.min(b.value) && value <= a.value.max(b.value));
                before = value;
            }
        }
    }

    /// The speed is the derivative of the value, and has no jumps inside: both sides of every
    /// key and every end of a fairing agree.
    #[test]
    fn speed_is_continuous(keys in keys()) {
        let curve = Curve::new(&Track { keys: keys.clone() });
        let (first, last) = (f64::from(keys[0].frame), f64::from(keys[keys.len() - 1].frame));
        let mut steepest: f64 = 1.0;
        for part in 0..=2000 {
            steepest = steepest.max(curve.speed(first + (last - first) * f64::from(part) / 2000.0).abs());
        }
        for key in &keys {
            for place in [0.0, f64::from(key.fairing), -f64::from(key.fairing)] {
                let frame = f64::from(key.frame) + place;
                if frame <= first + 1e-3 || frame >= last - 1e-3 {
                    continue;
                }
                let h = 1e-7;
                let jump = curve.speed(frame + h) - curve.speed(frame - h);
                prop_assert!(jump.abs() < 1e-4 * steepest, "{} at {}", jump, frame);
            }
        }
        for part in 1..100 {
            let frame = first + (last - first) * (f64::from(part) + 0.37) / 101.0;
            let h = 1e-5;
            let slope = (curve.value(frame + h) - curve.value(frame - h)) / (2.0 * h);
            prop_assert!((slope - curve.speed(frame)).abs() < 1e-3 * steepest);
        }
    }

    #[test]
    fn is_at_rest_at_faired_keys_and_holds_outside(keys in keys()) {
        let curve = Curve::new(&Track { keys: keys.clone() });
        for key in keys.iter().filter(|key| key.fairing > 0) {
            prop_assert_eq!(curve.speed(f64::from(key.frame)), 0.0);
        }
        let (first, last) = (keys[0], keys[keys.len() - 1]);
        prop_assert_eq!(curve.value(f64::from(first.frame) - 0.5), first.value);
        prop_assert_eq!(curve.value(f64::from(last.frame) + 1e6), last.value);
    }

    #[test]
    fn survives_anything(
        keys in prop::collection::vec((any::<u32>(), any::<f64>(), any::<u32>()), 0..6),
        frames in prop::collection::vec(any::<f64>(), 4),
    ) {
        let finite = keys.iter().all(|key| key.1.abs() < 1e300);
        let track = Track {
            keys: keys
                .iter()
                .map(|&(frame, value, fairing)| Key { frame, value, fairing })
                .collect(),
        };
        let curve = Curve::new(&track);
        for frame in frames {
            let value = curve.value(frame);
            prop_assert!(!finite || value.is_finite() || frame.is_nan());
        }
    }
}
