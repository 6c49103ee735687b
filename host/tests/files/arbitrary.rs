//! Files that nobody would write: thousands of seeded changes to sound ones, and values that are no
//! numbers.

use super::*;

/// A number from a seed (SplitMix64, S. Vigna's published constants).
fn next(seed: &mut u64) -> u64 {
    *seed = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *seed;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

fn mutated(text: &str, seed: u64) -> String {
    const PIECES: [&str; 24] = [
        "nan",
        "-inf",
        "\"",
        "[",
        "]",
        "{",
        "}",
        "\n",
        "=",
        "-",
        "0",
        "99999999999999999999",
        "1/0",
        "\u{e9}",
        "\u{1f3a5}",
        "\"\"",
        "1e308",
        "[[axis]]\n",
        "[lens]\n",
        "true",
        "'",
        "°",
        "²",
        "#",
    ];
    let mut seed = seed;
    let mut chars: Vec<char> = text.chars().collect();
    for _ in 0..=next(&mut seed) % 4 {
        let at = (next(&mut seed) % chars.len() as u64) as usize;
        let length = (next(&mut seed) % 12) as usize;
        let end = (at + length).min(chars.len());
        let piece = PIECES[(next(&mut seed) % PIECES.len() as u64) as usize];
        match next(&mut seed) % 4 {
            0 => drop(chars.drain(at..end)),
            1 => drop(chars.splice(at..at, piece.chars())),
            // Another digit in a number: often still a sound file.
            2 => {
                if let Some(digit) = chars[at..].iter_mut().find(|c| c.is_ascii_digit()) {
                    *digit = char::from(b'0' + (next(&mut seed) % 10) as u8);
                }
            }
            _ => drop(chars.splice(at..end, piece.chars())),
        }
    }
    chars.into_iter().collect()
}

fn finite(stand: &Stand) -> bool {
    let motors = stand.axes.iter().all(|axis| match &axis.drive {
        Drive::Motor(motor) => [
            motor.steps_per_unit,
            motor.speed,
            motor.acceleration,
            motor.jerk,
            motor.slow,
        ]
        .iter()
        .all(|value| value.is_finite() && *value > 0.0),
        Drive::Hand { scale, .. } => scale.is_finite() && *scale > 0.0,
    });
    motors
        && stand.lens.f_number.is_finite()
        && stand
            .levels
            .iter()
            .all(|level| level.height_mm > 0.0 && level.pane.index >= 1.0)
}

#[test]
fn no_mutation_is_worse_than_refused() {
    let sound = stand();
    let (mut refused, mut read) = (0, 0);
    for seed in 0..4000 {
        let text = mutated(STAND, seed);
        match read_stand_text("stand.toml", &text) {
            Ok(stand) => {
                read += 1;
                assert!(finite(&stand), "seed {seed}");
            }
            Err(problems) => {
                refused += 1;
                assert!(!problems.all().is_empty(), "seed {seed}");
                if seed % 16 == 0 {
                    assert!(!problems.report(true).is_empty(), "seed {seed}");
                }
            }
        }
        match read_shot_text("shot.toml", &mutated(SHOT, seed), &sound, Path::new("")) {
            Ok(shot) => assert!(
                shot.frames >= 1 && shot.rate > 0.0 && shot.layers.len() == 3,
                "seed {seed}"
            ),
            Err(problems) => assert!(!problems.to_string().is_empty(), "seed {seed}"),
        }
    }
    // Both ways were really taken.
    assert!(
        refused > 1000 && read > 100,
        "{refused} refused, {read} read"
    );
}

/// Every value of both files in turn, as a number that is none.
#[test]
fn nan_and_infinity_are_refused_everywhere() {
    let sound = stand();
    let mut tried = 0;
    for bad in [
        "nan",
        "-nan",
        "inf",
        "-inf",
        "\"nan mm\"",
        "\"inf\"",
        "\"NaN deg/s\"",
    ] {
        for (text, of_stand) in [(STAND, true), (SHOT, false)] {
            for (at, _) in text.match_indices(" = ") {
                let start = at + 3;
                let rest = &text[start..];
                let value = match rest.as_bytes()[0] {
                    b'"' => &rest[..rest[1..].find('"').unwrap() + 2],
                    b'{' | b'[' => continue,
                    _ => &rest[..rest.find([',', ' ', '\n']).unwrap()],
                };
                let key = text[..at].rsplit(['\n', ' ', '{', ',']).next().unwrap();
                // Names and paths are free text.
                if bad.starts_with('"') && matches!(key, "name" | "port" | "art" | "stand") {
                    continue;
                }
                tried += 1;
                let text = format!("{}{bad}{}", &text[..start], &rest[value.len()..]);
                let refused = if of_stand {
                    read_stand_text("stand.toml", &text).is_err()
                } else {
                    read_shot_text("shot.toml", &text, &sound, Path::new("")).is_err()
                };
                assert!(refused, "{key} = {bad} was read");
            }
        }
    }
    assert!(tried > 500, "{tried} values tried");
}
