//! Where a view shows things and how it mixes light, measured in the pictures: full HD, six levels
//! with opacity, everything moving.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use image::{ImageBuffer, RgbImage, Rgba};
use panestep::optics::{self, depth, light};
use panestep::picture::{Look, PictureError, Scene};
use panestep::plan::Geometry;
use panestep::shot::{Distance, Key, Layer, Pass, Shot, Strobing, Track, Viewer};
use panestep::stand::{
    BoardId, Face, Lens, Level, LevelId, Pane, Picture, Release, Shutter, Stand, StandPose,
};

const SIZE: (u32, u32) = (1920, 1080);
const FRAMES: u32 = 40;
/// Width of a painting on the glass, mm: the lowest fills the picture.
fn art_mm(level: usize) -> f64 {
    if level == 5 { 900.0 } else { 400.0 }
}

/// Pixels of every painting.
const ART: (u32, u32) = (1600, 900);

fn stand() -> Stand {
    let level = |(index, height_mm): (usize, f64)| Level {
        name: format!("level {index}"),
        height_mm,
        pane: Pane {
            width_mm: 900.0,
            height_mm: 600.0,
            thickness_mm: 5.0,
            index: 1.52,
            art: if index.is_multiple_of(2) {
                Face::Upper
            } else {
                Face::Under
            },
        },
        swing: None,
    };
    let heights = [880.0, 800.0, 700.0, 620.0, 500.0, 400.0];
    Stand {
        name: "test".to_owned(),
        lens: Lens {
            focal_length_mm: 50.0,
            f_number: 5.6,
            picture: Picture {
                width_mm: 36.0,
                height_mm: 20.25,
                columns: SIZE.0,
                rows: SIZE.1,
            },
            height_mm: 1400.0,
            focus: LevelId(2),
            circle_of_confusion_mm: 0.03,
            swing: None,
        },
        boards: Vec::new(),
        levels: heights.into_iter().enumerate().map(level).collect(),
        axes: Vec::new(),
        lamps: Vec::new(),
        shutter: Shutter {
            release: Release::Board {
                board: BoardId(0),
                half_press: Duration::ZERO,
                press: Duration::ZERO,
                flash_contact: false,
            },
            settle: Duration::ZERO,
            exposure: Duration::from_millis(500),
            delay: Duration::ZERO,
            ready: Duration::ZERO,
            timed_by_release: false,
        },
        arrival: None,
        home_check: 0,
        clearance_mm: 0.0,
    }
}

fn shot(art: &[PathBuf]) -> Shot {
    let track = |value: f64| Track {
        keys: vec![
            Key {
                frame: 1,
                value: 0.0,
                fairing: 4,
            },
            Key {
                frame: FRAMES,
                value,
                fairing: 4,
            },
        ],
    };
    Shot {
        name: "test".to_owned(),
        frames: FRAMES,
        rate: 24.0,
        hold: 1,
        layers: art
            .iter()
            .enumerate()
            .map(|(index, art)| Layer {
                level: LevelId(index),
                distance: Distance::At(3000.0 * (index + 1) as f64),
                art: Some(art.clone()),
                art_width_mm: art_mm(index),
                art_centre_mm: (3.0, -2.0),
            })
            .collect(),
        viewer: Viewer {
            east: track(170.0),
            north: track(-60.0),
            ahead: track(300.0),
            roll: track(3.0),
        },
        shifts: Vec::new(),
        camera: Vec::new(),
        focus: Vec::new(),
        reference_frame: 1,
        cels: Vec::new(),
        passes: vec![Pass::only(0)],
        strobing: Strobing::default(),
    }
}

fn to_value(light: f64) -> f64 {
    if light <= 0.003_130_8 {
        light * 12.92
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}

fn to_light(value: u8) -> f64 {
    let value = f64::from(value) / 255.0;
    if value <= 0.04045 {
        value / 12.92
    } else {
        ((value + 0.055) / 1.055).powf(2.4)
    }
}

/// Where the dot of a level lies, mm east and north of its zero: each level's somewhere else in the
/// picture, so that no dot comes near another.
fn place(level: usize) -> (f64, f64) {
    let (column, row) = (level % 3, level / 3);
    let spread = 1.0 + 0.12 * level as f64;
    (
        (column as f64 - 1.0) * 72.0 * spread + 7.3,
        (0.5 - row as f64) * 62.0 * spread + 2.1,
    )
}

/// A soft white dot that is opaque in its middle, on clear glass; on the lowest level on opaque
/// black. There the steps of 8-bit values are finest: on the grey of the ground they would swallow
/// the dots' tails, which count for much in a second moment. 16 bits.
fn dot(path: &Path, level: usize) {
    let (east, north) = place(level);
    let per_mm = f64::from(ART.0) / art_mm(level);
    let x = f64::from(ART.0) / 2.0 + (east - 3.0) * per_mm;
    let y = f64::from(ART.1) / 2.0 - (north + 2.0) * per_mm;
    let picture = ImageBuffer::<Rgba<u16>, _>::from_fn(ART.0, ART.1, |column, row| {
        let away = (f64::from(column) + 0.5 - x).hypot(f64::from(row) + 0.5 - y) / per_mm;
        let light = (-(away * away) / 3.75).exp();
        let full = |value: f64| (value * 65535.0).round() as u16;
        if level == 5 {
            let value = full(to_value(light));
            Rgba([value, value, value, u16::MAX])
        } else {
            Rgba([u16::MAX, u16::MAX, u16::MAX, full(light)])
        }
    });
    picture.save(path).unwrap();
}

/// What is brighter than black within a circle: its sum, its middle in pixels from the top left
/// corner, its second moment (the mean of both axes).
fn measured(picture: &RgbImage, (x, y): (f64, f64), radius: f64) -> (f64, (f64, f64), f64) {
    let pixel = |column: i64, row: i64| {
        let inside =
            (0..i64::from(SIZE.0)).contains(&column) && (0..i64::from(SIZE.1)).contains(&row);
        assert!(inside, "the circle leaves the picture at {column} {row}");
        picture.get_pixel(column as u32, row as u32)
    };
    let (mut sum, mut mean, mut moment) = (0.0, (0.0, 0.0), 0.0);
    let reach = radius as i64 + 1;
    for row in y as i64 - reach..=y as i64 + reach {
        for column in x as i64 - reach..=x as i64 + reach {
            let (dx, dy) = (column as f64 + 0.5 - x, row as f64 + 0.5 - y);
            if dx.hypot(dy) < radius {
                let light = to_light(pixel(column, row)[1]);
                sum += light;
                mean.0 += light * dx;
                mean.1 += light * dy;
                moment += light * (dx * dx + dy * dy) / 2.0;
            }
        }
    }
    let (east, south) = (mean.0 / sum, mean.1 / sum);
    let moment = moment / sum - (east * east + south * south) / 2.0;
    (sum, (x + east, y + south), moment)
}

/// A picture is given up once it is asked to.
#[test]
fn a_picture_can_be_given_up() {
    let (_folder, stand, _, scene) = painted();
    let stop = Arc::new(AtomicBool::new(false));
    let scene = scene.stopped_by(Arc::clone(&stop));
    let pose = optics::zero_pose(&stand);
    let look = Look::plain((96, 54));
    assert!(scene.photograph(1, &[0], &pose, &look).is_ok());
    stop.store(true, Ordering::Relaxed);
    let given_up = scene.photograph(1, &[0], &pose, &look);
    assert!(matches!(given_up, Err(PictureError::Interrupted)));
}

fn painted() -> (tempfile::TempDir, Stand, Shot, Scene) {
    let folder = tempfile::tempdir().unwrap();
    let art: Vec<PathBuf> = (0..6)
        .map(|level| {
            let path = folder.path().join(format!("dot-{level}.png"));
            dot(&path, level);
            path
        })
        .collect();
    let (stand, shot) = (stand(), shot(&art));
    let scene = Scene::load(&stand, &shot, |_, _| {}).unwrap();
    (folder, stand, shot, scene)
}

/// Where a point of a level is pictured, worked out here step by step, apart from the plan's own
/// arithmetic: turned and moved with its pane, seen from the camera, raised by the glass above it (a flat
/// plate's `t (1 - 1/n)`), and through a thin lens (any textbook of optics for both).
fn projected(stand: &Stand, pose: &StandPose, level: usize, point: (f64, f64)) -> (f64, f64) {
    use nalgebra::{Rotation2, Vector2};
    let turn = |degrees: f64| Rotation2::new(degrees.to_radians());
    let (own, camera) = (&pose.levels[level], &pose.camera);
    let on_table = turn(own.turn_degrees) * Vector2::new(point.0, point.1)
        + Vector2::new(own.east_mm, own.north_mm);
    let seen =
        turn(-camera.turn_degrees) * (on_table - Vector2::new(camera.east_mm, camera.north_mm));
    let mut glass_mm = 0.0;
    for above in 0..=level {
        let pane = &stand.levels[above].pane;
        if above < level || pane.art == Face::Under {
            glass_mm += pane.thickness_mm - pane.thickness_mm / pane.index;
        }
    }
    let distance_mm = stand.lens.height_mm + camera.lift_mm
        - stand.levels[level].height_mm
        - own.lift_mm
        - glass_mm;
    let (focal_mm, focus_mm) = (stand.lens.focal_length_mm, pose.focus_mm);
    let image_mm = focal_mm * focus_mm / (focus_mm - focal_mm);
    let pictured_mm = seen * image_mm / distance_mm;
    (
        f64::from(SIZE.0) * (0.5 + pictured_mm.x / 36.0),
        f64::from(SIZE.1) * (0.5 - pictured_mm.y / 20.25),
    )
}

/// Every level's dot at many frames, without blur and with it, against a projection of this test's
/// own: 0.05 px. And the blur's disc by its second moment, `d²/16` more than without (a
/// moment of area, any handbook), against the thin lens's formula.
#[test]
fn dots_are_where_they_belong_and_as_soft() {
    let (_folder, stand, shot, scene) = painted();
    let geometry = Geometry::new(&stand, &shot).unwrap();
    let sharp = Look::plain(SIZE);
    let soft = Look {
        blur: true,
        ..sharp
    };
    let (mut compared, mut discs) = (0, 0);
    for frame in [1, 2, 9, 14, 20, 21, 27, 33, FRAMES] {
        let pose = geometry.pose(frame);
        let plain = scene.photograph(frame, &[0], &pose.stand, &sharp).unwrap();
        let blurred = scene.photograph(frame, &[0], &pose.stand, &soft).unwrap();
        for level in 0..6 {
            let expected = projected(&stand, &pose.stand, level, place(level));
            let (sum, middle, moment) = measured(&plain, expected, 62.0);
            assert!(sum > 20.0, "frame {frame} level {level}: no dot");
            let (soft_sum, soft_middle, soft_moment) = measured(&blurred, expected, 62.0);
            assert!(
                (soft_sum / sum - 1.0).abs() < 0.01,
                "{frame} {level} {sum} {soft_sum}"
            );
            for found in [middle, soft_middle] {
                let off = (found.0 - expected.0).hypot(found.1 - expected.1);
                compared += 1;
                assert!(off < 0.05, "frame {frame} level {level}: {off} px off");
            }
            let place = &pose.stand.levels[level];
            let distance_mm =
                optics::apparent_distance_mm(&stand, LevelId(level), &pose.stand.camera, place);
            let disc = depth::blur_mm(50.0, 5.6, pose.stand.focus_mm, distance_mm) * 1920.0 / 36.0;
            let found = 4.0 * (soft_moment - moment).max(0.0).sqrt();
            // Left out here: what small discs add is lost among the steps of 8 bits. The kernels' own
            // moments are tested beside them.
            if disc < 4.0 {
                continue;
            }
            discs += 1;
            assert!(
                (found - disc).abs() < 0.02 * disc + 0.1,
                "frame {frame} level {level}: {found} {disc}"
            );
        }
    }
    assert_eq!(compared, 9 * 6 * 2);
    assert!(discs >= 18, "{discs} discs were large enough to measure");
}

/// A dot that is moved by a tenth of a pixel is found to have moved: what the test above asserts can
/// fail.
#[test]
fn a_tenth_of_a_pixel_is_seen() {
    let (_folder, stand, shot, scene) = painted();
    let geometry = Geometry::new(&stand, &shot).unwrap();
    let pose = geometry.pose(9).stand;
    let mut moved = pose.clone();
    for level in 0..6 {
        let (column, _) = projected(&stand, &pose, level, place(level));
        moved.levels[level].east_mm += 1.0;
        let (by_a_mm, _) = projected(&stand, &moved, level, place(level));
        moved.levels[level].east_mm += 0.1 / (by_a_mm - column) - 1.0;
    }
    let picture = scene
        .photograph(9, &[0], &moved, &Look::plain(SIZE))
        .unwrap();
    for level in 0..6 {
        let expected = projected(&stand, &pose, level, place(level));
        let (_, found, _) = measured(&picture, expected, 62.0);
        let off = (found.0 - expected.0).hypot(found.1 - expected.1);
        assert!((0.05..0.15).contains(&off), "level {level}: {off}");
    }
}

/// A pane of 5 mm and index 1.52 above raises what is below by `t (1 - 1/n)` (a flat plate near the
/// axis; any textbook of optics): without it the level lies farther off, is pictured smaller by
/// `f / (s - f)` (thin lens), and is not dimmed by it.
#[test]
fn a_level_that_is_out_shifts_and_dims_nothing() {
    let (_folder, stand, mut shot, _) = painted();
    let mut without = shot.passes[0].clone();
    without.name = "without".into();
    without.without = vec![LevelId(0), LevelId(1)];
    shot.passes.push(without);
    let scene = Scene::load(&stand, &shot, |_, _| {}).unwrap();
    let pose = optics::zero_pose(&stand);
    let shift_mm = 5.0 * (1.0 - 1.0 / 1.52);
    for level in 2..6 {
        let (x, y) = place(level);
        let panes = level + usize::from(!level.is_multiple_of(2));
        let heights = [880.0, 800.0, 700.0, 620.0, 500.0, 400.0];
        let distance_mm = |panes: usize| 1400.0 - heights[level] - panes as f64 * shift_mm;
        // Focused on level 2 with all panes in, whichever are out.
        let image_mm = 1.0 / (1.0 / 50.0 - 1.0 / pose.focus_mm);
        for (pass, panes) in [(0, panes), (1, panes - 2)] {
            let scale = image_mm / distance_mm(panes) * 1920.0 / 36.0;
            let expected = (960.0 + scale * x, 540.0 - scale * y);
            for picture in [
                scene.photograph_of(1, pass, &pose, SIZE).unwrap(),
                scene
                    .photograph(
                        1,
                        &[pass],
                        &pose,
                        &Look {
                            blur: true,
                            ..Look::plain(SIZE)
                        },
                    )
                    .unwrap(),
            ] {
                let (sum, found, _) = measured(&picture, expected, 62.0);
                assert!(sum > 20.0, "level {level} pass {pass}: no dot");
                let off = (found.0 - expected.0).hypot(found.1 - expected.1);
                assert!(off < 0.05, "level {level} pass {pass}: {off}");
            }
            let blur_px =
                depth::blur_mm(50.0, 5.6, pose.focus_mm, distance_mm(panes)) * 1920.0 / 36.0;
            let found = scene.blur_px(LevelId(level), pass, &pose, 1920).unwrap();
            assert!(
                (found - blur_px).abs() < 1e-9,
                "level {level} pass {pass}: {found} {blur_px}"
            );
        }
        // The two passes differ by more than the check allows.
        let apart =
            (1.0 / distance_mm(panes - 2) - 1.0 / distance_mm(panes)).abs() * image_mm * 1920.0
                / 36.0
                * x.hypot(y);
        assert!(apart > 0.2, "level {level}: {apart}");
        // What light there is for lack of two panes, by the formula for a pile (see `light`).
        let rest = light::pile_transmittance(vec![1.52; panes - 2]);
        let through = scene.through_glass(LevelId(level), 1);
        assert!((through - rest).abs() < 1e-12, "level {level}: {through}");
        assert!(through > 1.1 * scene.through_glass(LevelId(level), 0));
    }
}

/// Even colours of different opacity, one over another, against the published formula worked out
/// here in light (T. Porter, T. Duff, Computer Graphics 18(3), 1984), with the ground of 18 % behind
/// and the light that each pane takes.
#[test]
fn levels_cover_and_lose_light_by_the_formulas() {
    let folder = tempfile::tempdir().unwrap();
    let colours: [[u8; 4]; 6] = [
        [255, 180, 90, 60],
        [20, 200, 120, 130],
        [90, 90, 255, 200],
        [250, 30, 30, 90],
        [0, 0, 0, 40],
        [200, 220, 240, 150],
    ];
    let art: Vec<PathBuf> = (0..)
        .zip(colours)
        .map(|(level, colour)| {
            let path = folder.path().join(format!("even-{level}.png"));
            image::RgbaImage::from_pixel(320, 180, Rgba(colour))
                .save(&path)
                .unwrap();
            path
        })
        .collect();
    let (stand, mut shot) = (stand(), shot(&art));
    shot.passes = vec![
        Pass::only(0),
        Pass {
            without: vec![LevelId(1), LevelId(4)],
            exposure: Some(Duration::from_millis(125)),
            ..Pass::only(0)
        },
    ];
    let scene = Scene::load(&stand, &shot, |_, _| {}).unwrap();
    let pose = optics::zero_pose(&stand);
    let expected = |pass: &Pass, losses: bool, channel: usize| {
        let there: Vec<usize> = (0..6)
            .filter(|level| !pass.without.contains(&LevelId(*level)))
            .collect();
        let pane =
            |count: usize| light::pile_transmittance(vec![1.52; if losses { count } else { 0 }]);
        let mut behind = 0.18 * pane(there.len());
        for (above, level) in there.iter().enumerate().rev() {
            let [colour, alpha] = [colours[*level][channel], colours[*level][3]];
            let alpha = f64::from(alpha) / 255.0;
            // The levels with an odd place are painted on the under side.
            let own = to_light(colour) * pane(above + level % 2);
            behind = own * alpha + behind * (1.0 - alpha);
        }
        let share = pass.exposure.map_or(1.0, |time| time.as_secs_f64() / 0.5);
        behind * share
    };
    for light_loss in [false, true] {
        for blur in [false, true] {
            let look = Look {
                size: (96, 54),
                blur,
                light_loss,
            };
            for passes in [&[0][..], &[1], &[0, 1]] {
                let picture = scene.photograph(1, passes, &pose, &look).unwrap();
                let found = picture.get_pixel(48, 27);
                for channel in 0..3 {
                    let light: f64 = passes
                        .iter()
                        .map(|pass| expected(&shot.passes[*pass], light_loss, channel))
                        .sum();
                    let value = 255.0 * to_value(light.min(1.0));
                    let off = (f64::from(found[channel]) - value).abs();
                    assert!(
                        off < 0.6,
                        "{light_loss} {blur} {passes:?} {channel}: {found:?} {value}"
                    );
                }
            }
        }
    }
}

/// `tests/reference/blend.csv`: Pillow 13.0.0's `alpha_composite` of five even levels. It rounds
/// amounts of light to 1/255 after every level; a step of our values near white is 2.3/255 of light.
#[test]
fn levels_cover_as_an_independent_library_lays_them() {
    let (mut compared, mut sum) = (0, 0.0);
    let lines = include_str!("reference/blend.csv").lines();
    for line in lines.filter(|line| !line.starts_with('#')) {
        let numbers: Vec<u8> = line.split(',').map(|text| text.parse().unwrap()).collect();
        let (levels, expected) = numbers.split_at(20);
        let folder = tempfile::tempdir().unwrap();
        // Nothing is seen of the sixth: the fifth hides it.
        let colours = levels.chunks_exact(4).chain([&[255, 0, 0, 255][..]]);
        let art: Vec<PathBuf> = (0..)
            .zip(colours)
            .map(|(level, colour)| {
                let path = folder.path().join(format!("even-{level}.png"));
                let value = |light: u8| (to_value(f64::from(light) / 255.0) * 65535.0).round();
                let colour = [
                    value(colour[0]) as u16,
                    value(colour[1]) as u16,
                    value(colour[2]) as u16,
                    u16::from(colour[3]) * 257,
                ];
                ImageBuffer::<Rgba<u16>, Vec<u16>>::from_pixel(16, 9, Rgba(colour))
                    .save(&path)
                    .unwrap();
                path
            })
            .collect();
        let stand = stand();
        let scene = Scene::load(&stand, &shot(&art), |_, _| {}).unwrap();
        let look = Look::plain((32, 18));
        let picture = scene
            .photograph(1, &[0], &optics::zero_pose(&stand), &look)
            .unwrap();
        for (found, expected) in picture.get_pixel(16, 9).0.iter().zip(expected) {
            let off = (to_light(*found) * 255.0 - f64::from(*expected)).abs();
            assert!(off < 2.5, "{line}: {off}");
            sum += off;
            compared += 1;
        }
    }
    assert_eq!(compared, 40 * 3);
    assert!(sum / 120.0 < 0.8, "{}", sum / 120.0);
}
