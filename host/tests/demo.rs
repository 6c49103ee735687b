//! The demonstration: its plan fits its stand, its paintings fill every frame, and its art is
//! what our own code paints.

use std::path::{Path, PathBuf};

use image::imageops::{self, FilterType};
use panestep::file;
use panestep::optics;
use panestep::picture::Scene;
use panestep::plan::Plan;
use panestep::shot::{Distance, Shot};
use panestep::stand::{Carrier, CarrierPose, LevelId, Stand, Way};

#[path = "../examples/paint_demo/paint.rs"]
mod paint;

fn demo() -> (Stand, Shot) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/shot.toml");
    match file::read_shot(path) {
        Ok(demo) => demo,
        Err(problems) => panic!("{problems:?}"),
    }
}

fn art(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("demo/art/{name}.png"))
}

/// The same levels and paintings, cranked by hand.
#[test]
fn the_stand_without_motors_has_the_same_levels_and_a_plan_that_fits() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/by-hand-shot.toml");
    let (stand, shot) = file::read_shot(path).unwrap_or_else(|problems| panic!("{problems:?}"));
    let (with_motors, with_motors_shot) = demo();
    assert_eq!(
        (&stand.levels, &stand.lens),
        (&with_motors.levels, &with_motors.lens)
    );
    assert_eq!(shot.layers.len(), with_motors_shot.layers.len());
    assert!(stand.boards.is_empty());
    let plan = Plan::new(&stand, &shot).unwrap_or_else(|refusals| panic!("{refusals:?}"));
    assert!(plan.schedule().motors.is_empty() && plan.schedule().hands.len() == 4);
    Scene::load(&stand, &shot, |_, _| ()).expect("its art is there");
}

#[test]
fn the_plan_fits_the_stand_and_keeps_depth() {
    let (stand, shot) = demo();
    assert!(shot.frames >= 120 && stand.levels.len() == 5 && stand.axes.len() == 6);
    let plan = Plan::new(&stand, &shot).unwrap_or_else(|refusals| panic!("{refusals:?}"));
    let zero = CarrierPose::default();
    let (mut first, mut last) = (Vec::new(), Vec::new());
    for frame in 1..=shot.frames {
        let pose = plan.geometry().pose(frame);
        for (index, place) in pose.stand.levels.iter().enumerate() {
            let of = Carrier::Level(LevelId(index));
            for (way, at) in [(Way::East, place.east_mm), (Way::Lift, place.lift_mm)] {
                let (least, most) = stand
                    .axis(of, way)
                    .map_or((0.0, 0.0), |axis| stand.axes[axis.0].travel);
                assert!((least..=most).contains(&at), "{frame} {index} {way:?} {at}");
            }
            // The headland's 0.6 % is the largest.
            assert!(
                pose.levels[index].size_error().abs() < 0.0061,
                "{frame} {index}"
            );
        }
        // By the formulas themselves: s = s0 (D - Z) / D, east = -(s0 / D) X.
        let [x, _, z, _] = plan.geometry().viewer(frame);
        for (index, layer) in shot.layers.iter().enumerate().take(2) {
            let Distance::At(distance) = layer.distance else {
                panic!("{index} is far")
            };
            let s0 = optics::apparent_distance_mm(&stand, LevelId(index), &zero, &zero);
            let place = &pose.stand.levels[index];
            assert!((place.lift_mm - s0 * z / distance).abs() < 1e-6);
            assert!((place.east_mm + s0 / distance * x).abs() < 1e-6);
        }
        assert_eq!(pose.stand.levels[4], zero);
        if frame == 1 {
            first.clone_from(&pose.stand.levels);
        }
        last.clone_from(&pose.stand.levels);
    }
    // Near things sweep past: each level nearer goes further, and the clouds drift on their own.
    let went = |index: usize| last[index].east_mm - first[index].east_mm;
    assert!(went(0) < 2.0 * went(1) && went(1) < 2.0 * went(2) && went(2) < 0.0);
    assert!(went(3) > 25.0);
}

/// No painting may end within the frame on a side where it is not clear; the sky's is clear on
/// none, so it covers the whole frame.
#[test]
fn paintings_reach_beyond_the_frame_in_every_frame() {
    let (stand, shot) = demo();
    let plan = Plan::new(&stand, &shot).unwrap_or_else(|refusals| panic!("{refusals:?}"));
    for (index, layer) in shot.layers.iter().enumerate() {
        let picture = image::open(layer.art.as_ref().unwrap()).unwrap().to_rgba8();
        let (width, height) = picture.dimensions();
        let seen = |x: u32, y: u32| picture.get_pixel(x, y)[3] > 2;
        let edges = [
            ("east", (0..height).any(|y| seen(width - 1, y))),
            ("west", (0..height).any(|y| seen(0, y))),
            ("north", (0..width).any(|x| seen(x, 0))),
            ("south", (0..width).any(|x| seen(x, height - 1))),
        ];
        let per_mm = f64::from(width) / layer.art_width_mm;
        let half = (
            f64::from(width) / 2.0 / per_mm,
            f64::from(height) / 2.0 / per_mm,
        );
        for frame in 1..=shot.frames {
            let pose = plan.geometry().pose(frame);
            let place = pose.stand.levels[index];
            let s = pose.levels[index].distance_mm;
            let field = (
                stand.lens.picture.width_mm / 2.0 * s / pose.image_mm,
                stand.lens.picture.height_mm / 2.0 * s / pose.image_mm,
            );
            let centre = (
                place.east_mm + layer.art_centre_mm.0,
                place.north_mm + layer.art_centre_mm.1,
            );
            for (side, painted) in edges {
                let beyond = match side {
                    "east" => centre.0 + half.0 - field.0,
                    "west" => half.0 - centre.0 - field.0,
                    "north" => centre.1 + half.1 - field.1,
                    _ => half.1 - centre.1 - field.1,
                };
                assert!(
                    !painted || beyond > 0.3,
                    "{:?} ends {beyond} mm beyond the frame's {side} at frame {frame}",
                    layer.art
                );
            }
            // The painting lies on its pane.
            let pane = stand.levels[index].pane;
            assert!(layer.art_centre_mm.0.abs() + half.0 <= pane.width_mm / 2.0);
            assert!(layer.art_centre_mm.1.abs() + half.1 <= pane.height_mm / 2.0);
        }
    }
}

/// The far layer keeps size and place in the photographs themselves: the sun at the first frame
/// and at the last.
#[test]
fn the_sun_stays_where_it_is() {
    let (stand, shot) = demo();
    let plan = Plan::new(&stand, &shot).unwrap_or_else(|refusals| panic!("{refusals:?}"));
    let scene = Scene::load(&stand, &shot, |_, _| {}).unwrap();
    let sun = |frame: u32| {
        let pose = plan.geometry().pose(frame).stand;
        let picture = scene.photograph_of(frame, 0, &pose, (1920, 1080)).unwrap();
        let (mut count, mut x, mut y) = (0.0, 0.0, 0.0);
        for (column, row, pixel) in picture.enumerate_pixels() {
            let near = (1190..1290).contains(&column) && (402..502).contains(&row);
            if near && pixel[2] > 216 {
                count += 1.0;
                x += f64::from(column) + 0.5;
                y += f64::from(row) + 0.5;
            }
        }
        (count, x / count, y / count)
    };
    let (before, after) = (sun(1), sun(120));
    assert!(before.0 > 1500.0, "{before:?}");
    assert!(
        (before.0 - after.0).abs() < 0.05 * before.0,
        "{before:?} {after:?}"
    );
    assert!((before.1 - after.1).abs() < 1.0 && (before.2 - after.2).abs() < 1.0);
    assert!(
        (before.1 - 1240.0).abs() < 2.0 && (before.2 - 452.0).abs() < 2.0,
        "{before:?}"
    );
}

/// A machine's own sine and power may differ in the last bit, which a dither or a threshold can
/// make visible in single pixels: compared at a quarter of the size, within 3 of 255.
#[test]
fn the_committed_art_is_what_the_example_paints() {
    for (name, painted) in paint::all() {
        let committed = image::open(art(name)).unwrap().to_rgba8();
        assert_eq!(committed.dimensions(), painted.dimensions(), "{name}");
        let (width, height) = (committed.width() / 4, committed.height() / 4);
        let weighted = |picture: &image::RgbaImage| {
            let mut picture = picture.clone();
            for pixel in picture.pixels_mut() {
                for i in 0..3 {
                    pixel[i] = (u16::from(pixel[i]) * u16::from(pixel[3]) / 255) as u8;
                }
            }
            imageops::resize(&picture, width, height, FilterType::Triangle)
        };
        let worst = std::iter::zip(weighted(&committed).as_raw(), weighted(&painted).as_raw())
            .map(|(a, b)| a.abs_diff(*b))
            .max();
        assert!(worst.unwrap() <= 3, "{name}: {worst:?}");
    }
}

#[test]
fn the_example_writes_what_it_paints() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.png");
    let clear = image::RgbaImage::from_pixel(3, 2, image::Rgba([9, 8, 7, 100]));
    paint::save(&clear, &path).unwrap();
    assert_eq!(image::open(&path).unwrap().to_rgba8(), clear);
}
