use super::*;
use crate::optics::{apparent_distance_mm, image_distance_mm};
use crate::stand::CarrierPose;

const DEMO: &str = include_str!("../../../demo/stand.toml");

fn stand() -> Stand {
    crate::file::read_stand_text("stand.toml", DEMO).expect("sound")
}

fn fixed(level: usize) -> Focus {
    Focus::Fixed {
        level: LevelId(level),
        lift_mm: 0.0,
        camera_lift_mm: 0.0,
    }
}

/// What a stand's camera would read of lengths of 100 mm at these levels and lifts, by
/// [`crate::optics`].
fn seen(stand: &Stand, places: &[(usize, f64)], focus: Focus) -> Vec<FieldReading> {
    let zero = CarrierPose::default();
    let apparent = |level: usize, lift_mm: f64| {
        let pose = CarrierPose { lift_mm, ..zero };
        apparent_distance_mm(stand, LevelId(level), &zero, &pose)
    };
    let picture = &stand.lens.picture;
    let per_mm = f64::from(picture.columns) / picture.width_mm;
    let reading = |(line, &(level, lift_mm)): (usize, &(usize, f64))| {
        let distance = apparent(level, lift_mm);
        let focused = match focus {
            Focus::Fixed { level, lift_mm, .. } => apparent(level.0, lift_mm),
            Focus::EachTime => distance,
        };
        let image = image_distance_mm(stand.lens.focal_length_mm, focused);
        FieldReading {
            line,
            level: LevelId(level),
            lift_mm,
            camera_lift_mm: 0.0,
            length_mm: 100.0,
            pixels: 100.0 * per_mm * image / distance,
        }
    };
    places.iter().enumerate().map(reading).collect()
}

const PLACES: [(usize, f64); 5] = [(0, 0.0), (0, 120.0), (1, 0.0), (1, 50.0), (3, 0.0)];

#[test]
fn another_lens_is_found_from_what_it_sees() {
    let file = stand();
    let mut real = stand();
    real.lens.focal_length_mm = 53.7;
    real.lens.height_mm = 1421.0;
    real.levels[1].height_mm = 676.0;
    real.levels[3].height_mm = 365.5;
    for focus in [fixed(1), Focus::EachTime] {
        let found = solve(&file, &seen(&real, &PLACES, focus), focus, &[]).expect("solved");
        assert!((found.focal_length.value - 53.7).abs() < 1e-5, "{found:?}");
        assert!((found.height.value - 1421.0).abs() < 1e-4, "{found:?}");
        let heights: Vec<f64> = found.levels.iter().map(|it| it.height.value).collect();
        assert!((heights[1] - 676.0).abs() < 1e-4 && (heights[2] - 365.5).abs() < 1e-4);
        assert!(found.levels[0].known && !found.levels[1].known);
        // No reading to spare: 5 readings, f, height, two levels leave one.
        assert!(found.scatter.is_some_and(|it| it < 1e-6));
    }
}

#[test]
fn what_cannot_be_solved_is_refused() {
    let stand = stand();
    let try_it = |places: &[(usize, f64)], focus, known: &[LevelId]| {
        solve(&stand, &seen(&stand, places, focus), focus, known)
    };
    // Twice the same height, also where the camera and the level went up together.
    let same = [(0, 10.0), (0, 10.0)];
    assert_eq!(try_it(&same, fixed(0), &[]), Err(LensError::SameHeight));
    let mut together = seen(&stand, &[(0, 0.0), (0, 0.0)], fixed(0));
    together[1].lift_mm = 40.0;
    together[1].camera_lift_mm = 40.0;
    assert_eq!(
        solve(&stand, &together, fixed(0), &[]),
        Err(LensError::SameHeight)
    );
    // Two levels once each: only where both heights are known.
    let two = [(0, 0.0), (3, 0.0)];
    assert_eq!(try_it(&two, fixed(0), &[]), Err(LensError::SameHeight));
    let found = try_it(&two, fixed(0), &[LevelId(0), LevelId(3)]).expect("solved");
    assert!((found.focal_length.value - 50.0).abs() < 1e-6);
    assert_eq!(found.focal_length.uncertainty, None);
    // The image distance without the focused distance.
    let one = [(0, 0.0), (0, 100.0)];
    assert!(matches!(
        try_it(&one, fixed(1), &[]),
        Err(LensError::FocusUnread { .. })
    ));
    assert!(try_it(&one, fixed(1), &[LevelId(1)]).is_ok());
    assert!(try_it(&one, Focus::EachTime, &[]).is_ok());
    let three = [(0, 0.0), (0, 100.0), (1, 0.0), (2, 0.0)];
    assert!(try_it(&three, fixed(1), &[]).is_ok());
    let known = [LevelId(0), LevelId(1)];
    assert!(try_it(&three[1..], fixed(1), &known).is_ok());
    assert!(try_it(&three[..3], fixed(1), &[LevelId(2)]).is_ok());
    assert!(matches!(
        try_it(&one[..1], Focus::EachTime, &[]),
        Err(LensError::SameHeight)
    ));
}

#[test]
fn readings_of_no_lens_are_refused() {
    let stand = stand();
    let mut readings = seen(&stand, &PLACES, fixed(1));
    // The level comes nearer, and grows smaller: the lift has the wrong sign.
    for reading in &mut readings {
        reading.lift_mm = -reading.lift_mm;
    }
    let error = solve(&stand, &readings, fixed(1), &[]);
    assert!(
        matches!(error, Err(LensError::NoLens { .. } | LensError::Fit(_))),
        "{error:?}"
    );
}
