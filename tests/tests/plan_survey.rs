//! What a plan will look like: strobing, coverage, sharpness. Against published rules, and against a
//! search over many points where a formula could be wrong.

mod plan_support;

use std::path::PathBuf;
use std::time::Duration;

use panestep::plan::Plan;
use panestep::plan::coverage::Painted;
use panestep::plan::project::stand_point;
use panestep::plan::strobing::Rule;
use panestep::plan::survey::{Survey, survey};
use panestep::shot::{Cels, Distance, Drawing, Shift, ShiftTrack, Shot};
use panestep::stand::{Face, LevelId, Stand, Way};
use plan_support::{ALL, four_levels, pane, stand, still_shot, track};

const INCH: f64 = 25.4;

fn surveyed(stand: &Stand, shot: &Shot, art: &[Option<Painted>]) -> Survey {
    let plan = Plan::new(stand, shot).expect("sound");
    survey(stand, shot, &plan, art, |_| true).expect("nobody stops it")
}

/// One far layer under no glass to speak of, of which the picture shows 12 inches: a 12-inch field.
fn twelve_field(frames: u32, inches_a_frame: f64) -> (Stand, Shot) {
    let magnification = 36.0 / (12.0 * INCH);
    let distance_mm = 50.0 * (1.0 + 1.0 / magnification);
    let glass = pane(1.0, 1.0, Face::Upper);
    let stand = stand(&[(1600.0 - distance_mm, glass)], &[Way::East], &[]);
    let mut shot = still_shot(frames, &[Distance::Far]);
    shot.layers[0].art = Some(PathBuf::from("sky.png"));
    shot.shifts = vec![Shift {
        level: LevelId(0),
        way: Way::East,
        track: ShiftTrack::PerFrame {
            amount: inches_a_frame * INCH,
            from: 1,
            to: frames,
        },
    }];
    (stand, shot)
}

fn rules(survey: &Survey) -> Vec<Rule> {
    survey.fast.iter().map(|fast| fast.rule).collect()
}

/// joshuanava.biz/drawn-animation (probably T. White, The Animator's Workbook, 1986, from memory):
/// a pan of more than 0.1 inch a frame is likely to strobe, one of 0.25 inch or more is safe again.
#[test]
fn jumps_strobe_as_the_animators_rule_says() {
    let strobes = |inches: f64| {
        let (stand, shot) = twelve_field(24, inches);
        let rules = rules(&surveyed(&stand, &shot, &[]));
        assert_eq!(rules.contains(&Rule::Smear), inches >= 0.25, "{inches}");
        rules.contains(&Rule::Jumps)
    };
    for (inches, expected) in [
        (0.05, false),
        (0.1, false),
        (0.1001, true),
        (0.2, true),
        (0.2499, true),
        (0.25, false),
        (0.3, false),
    ] {
        assert_eq!(strobes(inches), expected, "{inches} inches a frame");
    }
}

/// red.com/red-101/camera-panning-speed: a picture's width in seven seconds or more, at 24 frames a
/// second; of a 12-inch field 12 in / 168 = 0.0714 in a frame (the division is ours).
#[test]
fn a_pan_is_too_fast_as_the_seven_second_rule_says() {
    for (inches, expected) in [(0.0714, false), (0.0715, true)] {
        let (stand, shot) = twelve_field(24, inches);
        let survey = surveyed(&stand, &shot, &[]);
        let crosses = rules(&survey).contains(&Rule::Crossing);
        assert_eq!(crosses, expected, "{inches} inches a frame");
    }
    let (stand, mut shot) = twelve_field(24, 0.2);
    let fast = surveyed(&stand, &shot, &[]).fast;
    let crossing = fast.iter().find(|fast| fast.rule == Rule::Crossing);
    let crossing = crossing.expect("5 seconds are less than 7");
    assert_eq!(crossing.frames, [2..=24]);
    assert!((crossing.limit_pixels - 6000.0 / 168.0).abs() < 1e-9);
    assert!(
        (crossing.pixels - 100.0).abs() < 1e-6,
        "{}",
        crossing.pixels
    );
    // The limit is the shot's own.
    shot.strobing.crossing = Duration::from_millis(2499);
    assert!(!rules(&surveyed(&stand, &shot, &[])).contains(&Rule::Crossing));
}

#[test]
fn pictures_on_twos_jump_twice_as_far_but_go_no_faster() {
    let (stand, mut shot) = twelve_field(24, 0.06);
    assert_eq!(rules(&surveyed(&stand, &shot, &[])), []);
    shot.hold = 2;
    let survey = surveyed(&stand, &shot, &[]);
    assert_eq!(rules(&survey), [Rule::Jumps]);
    assert_eq!(survey.fast[0].frames, [3..=24]);
    assert!((survey.edge_travel[0].pixels - 0.12 / 12.0 * 6000.0).abs() < 1e-6);
}

#[test]
fn a_bare_pane_strobes_for_nobody() {
    let (stand, mut shot) = twelve_field(24, 0.2);
    shot.layers[0].art = None;
    assert_eq!(rules(&surveyed(&stand, &shot, &[])), []);
    // A drawing lies on it from frame 10 to 12: it is seen to move from the second picture on.
    let gull = Drawing {
        art: Some(PathBuf::from("gull.png")),
        hold: 1,
    };
    shot.cels = vec![Cels::new(LevelId(0), 10, 12, vec![gull], false)];
    let fast = surveyed(&stand, &shot, &[]).fast;
    assert!(fast.iter().all(|fast| fast.frames == [11..=12]), "{fast:?}");
    assert_eq!(fast.len(), 2);
}

/// A shot in which everything moves: ahead, sideways, and rolling.
fn everything() -> (Stand, Shot) {
    let stand = stand(&four_levels(), &ALL, &[]);
    let distances = [3000.0, 9000.0, 40_000.0].map(Distance::At);
    let mut shot = still_shot(
        12,
        &[distances[0], distances[1], distances[2], Distance::Far],
    );
    shot.viewer.east = track(&[(1, 0.0), (12, 180.0)]);
    shot.viewer.north = track(&[(1, 0.0), (7, 60.0), (12, -40.0)]);
    shot.viewer.ahead = track(&[(1, 0.0), (12, 300.0)]);
    shot.viewer.roll = track(&[(1, 0.0), (12, 4.0)]);
    for layer in &mut shot.layers {
        layer.art = Some(PathBuf::from("painting.png"));
    }
    (stand, shot)
}

/// The fastest point is where a search over the whole picture finds it: at its edge, not its middle.
#[test]
fn the_edge_of_the_picture_is_what_counts() {
    let (stand, shot) = everything();
    let plan = Plan::new(&stand, &shot).expect("sound");
    let survey = survey(&stand, &shot, &plan, &[], |_| true).expect("nobody stops it");
    for level in 0..4 {
        let id = LevelId(level);
        let mut greatest = [0.0_f64; 13];
        for frame in 2..=12 {
            let (one, two) = (plan.geometry().pose(frame - 1), plan.geometry().pose(frame));
            // Points of the level all over the picture and beyond, kept where one of the two
            // pictures shows them.
            let shown =
                |(x, y): (f64, f64)| (-0.5..=6000.5).contains(&x) && (-0.5..=4000.5).contains(&y);
            for east in -120..=120 {
                for north in -90..=90 {
                    let point = (f64::from(east) * 5.0, f64::from(north) * 5.0);
                    let at = |pose: &panestep::plan::FramePose| {
                        stand_point(&stand, &pose.stand, pose.image_mm, id, point)
                            .expect("it is below the lens")
                    };
                    let (before, after) = (at(&one), at(&two));
                    let way = (after.0 - before.0).hypot(after.1 - before.1);
                    if shown(before) || shown(after) {
                        let greatest = &mut greatest[frame as usize];
                        *greatest = greatest.max(way);
                    }
                }
            }
        }
        let found = survey.edge_travel[level];
        // The search sees points 5 mm apart.
        let there = greatest[found.frame as usize];
        assert!(
            found.pixels >= there - 1e-9 && found.pixels <= there * 1.02 + 0.1,
            "{found:?} {there}"
        );
        let most = greatest.into_iter().fold(0.0, f64::max);
        assert!(found.pixels >= most - 1e-9, "{found:?} {greatest:?}");
        let middle = plan.report().levels[level].travel_pixels;
        assert!(found.pixels > middle, "{found:?} {middle}");
    }
}

#[test]
fn a_painting_of_just_the_size_that_is_needed_fills_the_picture() {
    let (stand, mut shot) = everything();
    let first = surveyed(&stand, &shot, &[]);
    for (layer, coverage) in shot.layers.iter_mut().zip(&first.coverage) {
        layer.art_width_mm = coverage.needs.width_mm();
        layer.art_centre_mm = coverage.needs.centre_mm();
    }
    // Pixels of the shape that is needed, as near as whole ones come from above.
    let art: Vec<_> = first
        .coverage
        .iter()
        .map(|coverage| {
            let shape = coverage.needs.height_mm() / coverage.needs.width_mm();
            Some(Painted {
                columns: 1_000_000,
                rows: (shape * 1e6).ceil() as u32,
                to_edge: [true; 4],
            })
        })
        .collect();
    let just = surveyed(&stand, &shot, &art);
    for coverage in &just.coverage {
        let spare = coverage.painting_spare.expect("there is a painting");
        assert!((-1e-9..1e-3).contains(&spare.mm), "{spare:?}");
    }
    // A millimetre narrower: half of it is missing on each side, wherever the picture gets there.
    for layer in &mut shot.layers {
        layer.art_width_mm -= 1.0;
    }
    let short = surveyed(&stand, &shot, &[]);
    let plan = Plan::new(&stand, &shot).expect("sound");
    for (level, coverage) in short.coverage.iter().enumerate() {
        let spare = coverage.painting_spare.expect("there is a painting");
        assert!((spare.mm + 0.5).abs() < 1e-6, "{spare:?}");
        // Both sides are told of, not the worse alone.
        for (is, expected) in coverage.painting_short_mm.iter().zip([0.5, 0.5, 0.0, 0.0]) {
            assert!((is - expected).abs() < 1e-6, "{coverage:?}");
        }
        let sides: Vec<_> = coverage
            .short_sides()
            .map(|(side, _)| side.name())
            .collect();
        assert_eq!(sides, ["west", "east"]);
        let name = spare.side.name();
        assert!(name == "east" || name == "west", "{spare:?}");
        // At that frame the painting's edge is really pictured inside.
        let pose = plan.geometry().pose(spare.frame);
        let layer = &shot.layers[level];
        let sign = if name == "east" { 1.0 } else { -1.0 };
        let edge = |north_mm: f64| {
            let point = (
                layer.art_centre_mm.0 + sign * layer.art_width_mm / 2.0,
                north_mm,
            );
            stand_point(&stand, &pose.stand, pose.image_mm, LevelId(level), point).expect("below")
        };
        let inside = (-3000..=3000).any(|north| {
            let (column, row) = edge(f64::from(north) * 0.25);
            column > 0.0 && column < 6000.0 && row > 0.0 && row < 4000.0
        });
        assert!(inside, "level {level}: {spare:?}");
    }
}

/// An edge at which nothing is painted may end in the picture: only behind it nothing may be missing.
#[test]
fn a_clear_edge_counts_on_the_farthest_painting_alone() {
    let stand = stand(&four_levels()[..2], &[], &[]);
    let mut shot = still_shot(2, &[Distance::At(3000.0), Distance::Far]);
    for layer in &mut shot.layers {
        layer.art = Some(PathBuf::from("painting.png"));
        layer.art_width_mm = 100.0;
    }
    let art = |to_edge| {
        Some(Painted {
            columns: 3000,
            rows: 2000,
            to_edge,
        })
    };
    let spare =
        |art: &[_], level: usize| surveyed(&stand, &shot, art).coverage[level].painting_spare;
    let clear = [art([false; 4]), art([false; 4])];
    assert_eq!(spare(&clear, 0).map(|spare| spare.mm), Some(f64::INFINITY));
    assert!(spare(&clear, 1).is_some_and(|spare| spare.mm < -10.0));
    let south = [art([false, false, true, false]), None];
    let cut = spare(&south, 0).expect("there is a painting");
    assert!(cut.side.name() == "south" && cut.mm < -10.0, "{cut:?}");
}

#[test]
fn a_pane_too_small_is_named_with_its_side() {
    let (mut stand, mut shot) = twelve_field(10, 0.05);
    // 12 inches, and 9 times 0.05 inches of the way: the level goes east, so its west side comes in.
    stand.levels[0].pane.width_mm = 12.0 * INCH + 0.8 * INCH;
    let spare = surveyed(&stand, &shot, &[]).coverage[0].pane_spare;
    assert_eq!((spare.side.name(), spare.frame), ("west", 10));
    assert!((spare.mm + 0.05 * INCH).abs() < 1e-6, "{spare:?}");
    assert!((spare.pixels + 25.0).abs() < 1e-4, "{spare:?}");
    shot.frames = 9;
    let spare = surveyed(&stand, &shot, &[]).coverage[0].pane_spare;
    assert!(spare.mm.abs() < 1e-9, "{spare:?}");
}

/// Wikipedia, "Hyperfocal distance", example (zalansite.site mirror): 50 mm, f/8, circle of confusion
/// 0.03 mm: focused at 10 467 mm, everything from 5233 mm on is sharp, up to infinity.
#[test]
fn a_level_at_the_near_limit_is_just_sharp() {
    let glass = pane(0.5, 1.0, Face::Upper);
    let levels = [(12_000.0 - 5233.0, glass), (12_000.0 - 10_467.0, glass)];
    let mut stand = stand(&levels, &[], &[]);
    stand.lens.height_mm = 12_000.0;
    stand.lens.focus = LevelId(1);
    let mut shot = still_shot(3, &[Distance::At(5233.0), Distance::At(10_467.0)]);
    shot.layers[0].art = Some(PathBuf::from("reeds.png"));
    let sharpness = surveyed(&stand, &shot, &[]).sharpness;
    let circle_px = 0.03 * 6000.0 / 36.0;
    assert!(
        (sharpness[0].blur_pixels - circle_px).abs() < 2e-3,
        "{sharpness:?}"
    );
    assert!((sharpness[0].near_mm - 5233.0).abs() < 1.0, "{sharpness:?}");
    assert!(sharpness[1].blur_pixels < 1e-9, "{sharpness:?}");
    // Ten millimetres nearer it is soft, in all frames.
    stand.levels[0].height_mm += 10.0;
    let soft = &surveyed(&stand, &shot, &[]).sharpness[0];
    assert_eq!(soft.soft, [1..=3]);
    // Where nothing lies on it, nothing is soft.
    let mut bare = shot.clone();
    bare.layers[0].art = None;
    assert_eq!(surveyed(&stand, &bare, &[]).sharpness[0].soft, []);
    // Stopped down once more it is sharp again.
    stand.lens.f_number = 11.0;
    assert_eq!(surveyed(&stand, &shot, &[]).sharpness[0].soft, []);
}

/// A lift brings a level out of the depth of field: the frames are those where it is.
#[test]
fn a_level_becomes_soft_on_its_way() {
    let mut stand = stand(&four_levels(), &ALL, &[]);
    stand.lens.circle_of_confusion_mm = 0.5;
    let mut shot = still_shot(20, &[3000.0, 9000.0, 40_000.0, 80_000.0].map(Distance::At));
    shot.viewer.ahead = track(&[(1, 0.0), (20, 1200.0)]);
    shot.layers[0].art = Some(PathBuf::from("reeds.png"));
    let survey = surveyed(&stand, &shot, &[]);
    let plan = Plan::new(&stand, &shot).expect("sound");
    let nearest = &survey.sharpness[0];
    // By the thin lens, by hand: c = f^2 |s - u| / (N s (u - f)).
    let blur = |frame: u32| {
        let pose = plan.geometry().pose(frame);
        let (s, u) = (pose.levels[0].distance_mm, pose.stand.focus_mm);
        50.0 * 50.0 * (s - u).abs() / (8.0 * s * (u - 50.0))
    };
    let soft: Vec<u32> = (1..=20).filter(|&frame| blur(frame) > 0.5).collect();
    assert!(!soft.is_empty() && soft.len() < 20, "{soft:?}");
    assert_eq!(nearest.soft, [soft[0]..=soft[soft.len() - 1]]);
    assert_eq!(nearest.frame, 20);
    assert!((nearest.blur_pixels - blur(20) * 6000.0 / 36.0).abs() < 1e-6);
}
