//! A shot file of arbitrary text, for two levels of the demonstration's stand: a shot in which every value is
//! finite and in its range, or problems that can be shown; never a panic.
#![no_main]

use std::path::Path;
use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use panestep::file::{read_shot_text, read_stand_text, stand_of};
use panestep::shot::{Distance, ShiftTrack, Shot, Track};
use panestep::stand::Stand;
use panestep_fuzz::{plant, short, words};

const DEMO: &str = include_str!("../../../../host/demo/shot.toml");
const STAND: &str = include_str!("../../../../host/demo/stand.toml");

/// What the demonstration's shot has none of.
const MORE: &str = "
[[shift]]
level = \"skiffs\"
direction = \"north\"
keys = [{ frame = 1, by = \"0 mm\" }, { frame = 100, by = \"1 mm\", fairing = 5 }]

[camera]
keys = [{ frame = 1, turn = \"0 deg\", lift = \"1 mm\" }, { frame = 60, turn = \"1 deg\" }]

[focus]
keys = [{ frame = 1, level = \"skiffs\" }, { frame = 120, level = \"reeds\", fairing = 12 }]
";

static DEMO_STAND: LazyLock<Stand> =
    LazyLock::new(|| read_stand_text("stand.toml", &short(STAND)).expect("two of its levels"));

fuzz_target!(
    init: plant(
        &[short(DEMO).into(), [short(DEMO), short(MORE)].concat().into()],
        &(&words(DEMO) | &words(MORE))
    ),
    |data: &[u8]| {
        let Ok(text) = std::str::from_utf8(data) else {
            return;
        };
        // Reads the text a second time: now and then.
        if data.len() % 8 == 0
            && let Err(problems) = stand_of("shot.toml", text)
        {
            assert!(!problems.to_string().is_empty());
        }
        match read_shot_text("shot.toml", text, &DEMO_STAND, Path::new("folder")) {
            Ok(shot) => sound(&shot),
            Err(problems) => {
                assert!(!problems.all().is_empty());
                for problem in problems.all() {
                    let line = problem.to_string();
                    assert!(!line.chars().any(char::is_control), "{line:?}");
                    assert!(!problem.message().is_empty());
                }
                // Drawing all the lines is slow, and many are the same.
                if data.len() % 16 == 0 {
                    assert!(!problems.report(false).is_empty());
                }
            }
        }
    }
);

fn sound(shot: &Shot) {
    assert!(!shot.name.is_empty() && shot.frames >= 1 && (1..=4).contains(&shot.hold));
    assert!(shot.rate.is_finite() && shot.rate > 0.0);
    assert!((1..=shot.frames).contains(&shot.reference_frame));
    assert_eq!(shot.layers.len(), DEMO_STAND.levels.len());
    for (at, layer) in shot.layers.iter().enumerate() {
        assert_eq!(layer.level.0, at);
        assert!(layer.art_width_mm.is_finite() && layer.art_width_mm > 0.0);
        assert!(layer.art_centre_mm.0.is_finite() && layer.art_centre_mm.1.is_finite());
        if let Distance::At(distance) = layer.distance {
            assert!(distance.is_finite() && distance > 0.0);
        }
    }
    let viewer = &shot.viewer;
    for one in [&viewer.east, &viewer.north, &viewer.ahead, &viewer.roll] {
        track(one, shot.frames);
    }
    for shift in &shot.shifts {
        assert!(shift.level.0 < DEMO_STAND.levels.len());
        match &shift.track {
            ShiftTrack::PerFrame { amount, from, to } => {
                assert!(amount.is_finite() && 1 <= *from && from <= to && *to <= shot.frames);
            }
            ShiftTrack::Keys(keys) => track(keys, shot.frames),
        }
    }
    for (_, one) in &shot.camera {
        track(one, shot.frames);
    }
    for key in &shot.focus {
        assert!((1..=shot.frames).contains(&key.frame));
        assert!(key.level.0 < DEMO_STAND.levels.len());
    }
    assert!(shot.focus.is_sorted_by(|one, next| one.frame < next.frame));
}

fn track(track: &Track, frames: u32) {
    for key in &track.keys {
        assert!((1..=frames).contains(&key.frame) && key.value.is_finite());
    }
    assert!(track.keys.is_sorted_by(|one, next| one.frame < next.frame));
}
