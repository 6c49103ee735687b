//! The simulated camera: where it shows things, how it mixes light, what it says of bad art.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::time::Duration;

use image::{ImageBuffer, Luma, Rgb, RgbImage, Rgba, RgbaImage};
use panestep::optics;
use panestep::picture::{
    PictureError, Scene, animation, exposure_name, frame_name, strip, write_png,
};
use panestep::shot::{Cels, Distance, Drawing, Layer, Pass, Shot, Viewer};
use panestep::stand::{
    BoardId, Face, Lens, Level, LevelId, Pane, Picture, Release, Shutter, Stand, StandPose,
};

/// Levels 500 mm and further below a 50 mm lens, bottom glass too thin to shift anything.
fn stand(heights: &[f64]) -> Stand {
    Stand {
        name: "test".to_owned(),
        lens: Lens {
            focal_length_mm: 50.0,
            f_number: 8.0,
            picture: Picture {
                width_mm: 36.0,
                height_mm: 24.0,
                columns: 90,
                rows: 60,
            },
            height_mm: 1000.0,
            focus: LevelId(0),
            circle_of_confusion_mm: 0.03,
            swing: None,
        },
        boards: Vec::new(),
        levels: heights
            .iter()
            .enumerate()
            .map(|(index, height_mm)| Level {
                name: format!("level {index}"),
                height_mm: *height_mm,
                pane: Pane {
                    width_mm: 400.0,
                    height_mm: 300.0,
                    thickness_mm: 1e-9,
                    index: 1.52,
                    art: Face::Upper,
                },
                swing: None,
            })
            .collect(),
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
            exposure: Duration::ZERO,
            delay: Duration::ZERO,
            ready: Duration::ZERO,
            timed_by_release: false,
        },
        arrival: None,
        home_check: 0,
        clearance_mm: 0.0,
    }
}

fn shot(art: &[Option<PathBuf>]) -> Shot {
    Shot {
        name: "test".to_owned(),
        frames: 1,
        rate: 24.0,
        hold: 1,
        layers: art
            .iter()
            .enumerate()
            .map(|(index, art)| Layer {
                level: LevelId(index),
                distance: Distance::Far,
                art: art.clone(),
                art_width_mm: 256.0,
                art_centre_mm: (0.0, 0.0),
            })
            .collect(),
        viewer: Viewer::default(),
        shifts: Vec::new(),
        camera: Vec::new(),
        focus: Vec::new(),
        reference_frame: 1,
        cels: Vec::new(),
        passes: vec![Pass::only(0)],
        strobing: panestep::shot::Strobing::default(),
    }
}

fn nothing(_: usize, _: usize) {}

fn to_light(value: u8) -> f64 {
    let value = f64::from(value) / 255.0;
    if value <= 0.04045 {
        value / 12.92
    } else {
        ((value + 0.055) / 1.055).powf(2.4)
    }
}

fn to_value(light: f64) -> f64 {
    255.0
        * if light <= 0.0031308 {
            light * 12.92
        } else {
            1.055 * light.powf(1.0 / 2.4) - 0.055
        }
}

/// `tests/reference/warp.csv`: OpenCV 5.0.0's warpAffine through a matrix of the script's own.
/// It rounds places to 1/32 of a pixel, where the painting's steepest edges rise by 255 in one
/// pixel: 255/64 at the most, and half a value for rounding.
#[test]
fn a_warp_agrees_with_an_independent_library() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("art.png");
    RgbaImage::from_fn(64, 48, |x, y| {
        Rgba(
            [
                x * 4 % 256,
                y * 5 % 256,
                x * y % 256,
                64 + (x + 2 * y) % 192,
            ]
            .map(|v| v as u8),
        )
    })
    .save(&path)
    .unwrap();
    let stand = stand(&[500.0]);
    let scene = Scene::load(&stand, &shot(&[Some(path)]), nothing).unwrap();
    let mut pose = optics::zero_pose(&stand);
    let level = &mut pose.levels[0];
    (level.east_mm, level.north_mm, level.turn_degrees) = (11.3, -7.9, 8.0);
    let camera = &mut pose.camera;
    (camera.east_mm, camera.north_mm, camera.turn_degrees) = (3.1, 4.7, -5.0);
    let picture = scene.photograph_of(1, 0, &pose, (90, 60)).unwrap();
    let mut compared = 0;
    let mut sum = 0.0;
    for line in include_str!("reference/warp.csv").lines() {
        if line.starts_with('#') {
            continue;
        }
        let fields: Vec<f64> = line
            .split(',')
            .map(|field| field.parse().unwrap())
            .collect();
        let pixel = picture.get_pixel(fields[0] as u32, fields[1] as u32);
        for (value, light) in pixel.0.iter().zip(&fields[2..]) {
            let off = (f64::from(*value) - to_value(light / 65535.0)).abs();
            assert!(off <= 4.5, "{line}: {pixel:?}");
            sum += off;
            compared += 1;
        }
    }
    assert_eq!(compared, 130 * 3);
    assert!(
        sum / f64::from(compared) < 0.6,
        "{}",
        sum / f64::from(compared)
    );
}

/// A soft white dot on black, 16 bits, with its middle at a place of the 512 x 384 painting.
fn dot(path: &Path, (x, y): (f64, f64)) {
    ImageBuffer::<Luma<u16>, _>::from_fn(512, 384, |column, row| {
        let (dx, dy) = (f64::from(column) + 0.5 - x, f64::from(row) + 0.5 - y);
        let light = (-(dx * dx + dy * dy) / 50.0).exp();
        Luma([(to_value(light) / 255.0 * 65535.0).round() as u16])
    })
    .save(path)
    .unwrap();
}

fn centroid(picture: &RgbImage) -> (f64, f64) {
    let (mut sum, mut x, mut y) = (0.0, 0.0, 0.0);
    for (column, row, pixel) in picture.enumerate_pixels() {
        // The ground that shows beside a painting is not the dot.
        let light = to_light(pixel[0]);
        sum += light;
        x += light * (f64::from(column) + 0.5);
        y += light * (f64::from(row) + 0.5);
    }
    (x / sum, y / sum)
}

/// Similarity of triangles: a point `x` beside the axis and `s` before the lens is pictured
/// `v x / s` beside it. Pan, lift, turn, the camera's own moves, and a picture taken small.
#[test]
fn a_dot_is_pictured_where_the_lens_equation_puts_it() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("dot.png");
    // 2 pixels a mm: the dot is 28 mm east and 17 mm north of the painting's centre.
    dot(&path, (256.0 + 56.0, 192.0 - 34.0));
    let stand = stand(&[500.0]);
    let mut shot = shot(&[Some(path)]);
    shot.layers[0].art_centre_mm = (1.5, -2.5);
    let point = (28.0 + 1.5, 17.0 - 2.5);
    let scene = Scene::load(&stand, &shot, nothing).unwrap();
    let zero = optics::zero_pose(&stand);
    type Case = (&'static str, fn(&mut StandPose));
    let cases: [Case; 7] = [
        ("zero", |_| {}),
        ("pan", |pose| pose.levels[0].east_mm = -6.37),
        ("north", |pose| pose.levels[0].north_mm = 3.21),
        ("lift", |pose| pose.levels[0].lift_mm = 61.7),
        ("turn", |pose| pose.levels[0].turn_degrees = 11.3),
        ("camera", |pose| {
            pose.camera.east_mm = 4.4;
            pose.camera.north_mm = -3.3;
            pose.camera.turn_degrees = 7.7;
            pose.camera.lift_mm = 21.0;
        }),
        ("focus", |pose| pose.focus_mm = 420.0),
    ];
    for (name, change) in cases {
        for (columns, rows) in [(720, 480), (300, 200), (120, 80)] {
            let mut pose = zero.clone();
            change(&mut pose);
            let turned = |degrees: f64, (x, y): (f64, f64)| {
                let (sin, cos) = degrees.to_radians().sin_cos();
                (cos * x - sin * y, sin * x + cos * y)
            };
            let (level, camera) = (pose.levels[0], pose.camera);
            let (east, north) = turned(level.turn_degrees, point);
            let beside = (
                east + level.east_mm - camera.east_mm,
                north + level.north_mm - camera.north_mm,
            );
            let (x, y) = turned(-camera.turn_degrees, beside);
            let s = 500.0 + camera.lift_mm - level.lift_mm;
            let v = 50.0 * pose.focus_mm / (pose.focus_mm - 50.0);
            let per_mm = f64::from(columns) / 36.0 * v / s;
            let expected = (
                f64::from(columns) / 2.0 + x * per_mm,
                f64::from(rows) / 2.0 - y * per_mm,
            );
            let mut picture = scene.photograph_of(1, 0, &pose, (columns, rows)).unwrap();
            // Only round the dot: beyond the painting lies the ground.
            for (column, row, pixel) in picture.enumerate_pixels_mut() {
                let far = (f64::from(column) - expected.0).hypot(f64::from(row) - expected.1);
                if far > 12.0 * per_mm {
                    *pixel = Rgb([0; 3]);
                }
            }
            let found = centroid(&picture);
            let off = (found.0 - expected.0).hypot(found.1 - expected.1);
            assert!(off < 0.05, "{name} {columns}: {found:?}, not {expected:?}");
        }
    }
}

/// A chequerboard too fine to be seen is the mean of its light: sRGB 188 (IEC 61966-2-1: light
/// 0.5), not 128 and not a coarser pattern.
#[test]
fn what_is_too_fine_is_averaged_in_light() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("art.png");
    image::GrayImage::from_fn(2048, 1536, |x, y| {
        Luma([if (x + y) % 2 == 0 { 255 } else { 0 }])
    })
    .save(&path)
    .unwrap();
    let stand = stand(&[500.0]);
    let scene = Scene::load(&stand, &shot(&[Some(path)]), nothing).unwrap();
    let mut pose = optics::zero_pose(&stand);
    pose.levels[0].turn_degrees = 3.0;
    pose.levels[0].lift_mm = -200.0;
    for columns in [270, 300, 360, 90] {
        let picture = scene
            .photograph_of(1, 0, &pose, (columns, columns * 2 / 3))
            .unwrap();
        let (x, y) = (columns / 2, columns / 3);
        for (dx, dy) in [(0, 0), (3, 1), (7, 5)] {
            assert!(
                picture.get_pixel(x + dx, y + dy)[0].abs_diff(188) <= 1,
                "{columns}"
            );
        }
    }
}

/// Nearer panes cover farther ones by their opacity, in light; a bare pane covers nothing.
#[test]
fn panes_cover_what_lies_below_in_light() {
    let folder = tempfile::tempdir().unwrap();
    let (near, far) = (
        folder.path().join("near.png"),
        folder.path().join("far.jpg"),
    );
    RgbaImage::from_pixel(64, 48, Rgba([255, 0, 0, 51]))
        .save(&near)
        .unwrap();
    RgbImage::from_pixel(64, 48, Rgb([0, 0, 255]))
        .save(&far)
        .unwrap();
    let stand = stand(&[500.0, 400.0, 300.0]);
    let mut shot = shot(&[Some(near), None, Some(far)]);
    shot.layers[2].art_width_mm = 60.0;
    let scene = Scene::load(&stand, &shot, nothing).unwrap();
    let picture = scene
        .photograph_of(1, 0, &optics::zero_pose(&stand), (90, 60))
        .unwrap();
    let [red, _, blue] = picture.get_pixel(45, 30).0.map(f64::from);
    assert!((red - to_value(0.2)).abs() <= 1.5, "{red}");
    assert!((blue - to_value(0.8)).abs() <= 2.5, "{blue}");
    // Beside the far painting, the ground of 18 % through the red.
    let [red, green, _] = picture.get_pixel(10, 30).0.map(f64::from);
    assert!((red - to_value(0.2 + 0.8 * 0.18)).abs() <= 1.0, "{red}");
    assert!((green - to_value(0.8 * 0.18)).abs() <= 1.0, "{green}");
}

/// A drawing lies on its frames only, a bare pane shows what is below, a level that is taken out for
/// a pass is not there, and a pass's light goes with its exposure time.
#[test]
fn frames_have_their_drawings_and_passes_their_light() {
    let folder = tempfile::tempdir().unwrap();
    let art = |name: &str, colour: [u8; 3]| {
        let path = folder.path().join(name);
        RgbImage::from_pixel(64, 48, Rgb(colour))
            .save(&path)
            .unwrap();
        path
    };
    let mut stand = stand(&[500.0, 400.0]);
    stand.shutter.exposure = Duration::from_millis(400);
    let near = art("near.png", [200, 0, 0]);
    let far = art("far.png", [0, 0, 188]);
    let mut shot = shot(&[Some(near), Some(far)]);
    shot.frames = 10;
    let drawings = vec![
        Drawing {
            art: Some(art("green.png", [0, 150, 0])),
            hold: 2,
        },
        Drawing { art: None, hold: 1 },
    ];
    let cels = Cels::new(LevelId(0), 3, 8, drawings, true);
    shot.cels.push(cels);
    shot.passes = vec![
        Pass::only(0),
        Pass {
            without: vec![LevelId(0)],
            exposure: Some(Duration::from_millis(100)),
            ..Pass::only(0)
        },
    ];
    let scene = Scene::load(&stand, &shot, nothing).unwrap();
    let pose = optics::zero_pose(&stand);
    let middle = |frame, pass| {
        let picture = scene.photograph_of(frame, pass, &pose, (9, 6)).unwrap();
        picture.get_pixel(4, 3).0
    };
    let (red, green, blue) = ([200, 0, 0], [0, 150, 0], [0, 0, 188]);
    let expected = [red, red, green, green, blue, green, green, blue, red, red];
    for (frame, expected) in (1..).zip(expected) {
        assert_eq!(middle(frame, 0), expected, "{frame}");
        // A quarter of the light of sRGB 188, which is 0.503 (IEC 61966-2-1).
        let value = to_value(to_light(188) / 4.0).round() as u8;
        assert_eq!(middle(frame, 1), [0, 0, value], "{frame}");
    }
    let none = scene.photograph_of(1, 2, &pose, (9, 6)).unwrap_err();
    assert!(none.to_string().contains("no pass 3"), "{none}");
    // A drawing that nobody will see before frame 9 is found out at once.
    std::fs::write(folder.path().join("green.png"), "not a picture").unwrap();
    let error = Scene::load(&stand, &shot, nothing).err().unwrap();
    assert!(error.to_string().contains("green.png"), "{error}");
}

#[test]
fn bad_art_is_named_with_its_layer_and_file() {
    let folder = tempfile::tempdir().unwrap();
    let stand = stand(&[500.0]);
    let load =
        |name: &str| match Scene::load(&stand, &shot(&[Some(folder.path().join(name))]), nothing) {
            Err(error) => error,
            Ok(_) => panic!("{name} was loaded"),
        };
    let missing = load("none.png");
    assert!(matches!(missing, PictureError::Missing { .. }), "{missing}");
    std::fs::write(folder.path().join("text.png"), "not a picture").unwrap();
    let text = load("text.png");
    assert!(matches!(text, PictureError::NotAPicture { .. }), "{text}");
    for error in [missing, text] {
        let said = error.to_string();
        assert!(said.contains("level 0") && said.contains(".png"), "{said}");
    }
    // The head of a PNG that claims 30000 x 2 pixels (PNG 3rd ed., 11.2.1), and nothing after it.
    let mut head = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\x75\x30\0\0\0\x02\x08\x06\0\0\0".to_vec();
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&head[12..]);
    head.extend(crc.to_be_bytes());
    head.extend(b"\0\0\0\0IDAT");
    head.extend(
        crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC)
            .checksum(b"IDAT")
            .to_be_bytes(),
    );
    std::fs::write(folder.path().join("huge.png"), &head).unwrap();
    let huge = load("huge.png");
    assert!(
        matches!(huge, PictureError::TooLarge { width: 30000, .. }),
        "{huge}"
    );
    // Cut short.
    let whole = folder.path().join("whole.png");
    RgbImage::from_fn(99, 99, |x, y| Rgb([x as u8, y as u8, (x * y) as u8]))
        .save(&whole)
        .unwrap();
    let bytes = std::fs::read(&whole).unwrap();
    std::fs::write(folder.path().join("cut.png"), &bytes[..bytes.len() / 2]).unwrap();
    assert!(matches!(load("cut.png"), PictureError::NotAPicture { .. }));
}

#[test]
fn an_animation_and_a_strip_come_from_the_numbered_frames() {
    let folder = tempfile::tempdir().unwrap();
    for frame in 1..=5_u32 {
        let picture = RgbImage::from_fn(96, 54, |x, y| {
            let bar = x.abs_diff(frame * 12) < 4;
            Rgb(if bar {
                [250, 240, 200]
            } else {
                [x as u8, 80 + y as u8, 160]
            })
        });
        write_png(&picture, &folder.path().join(frame_name(frame))).unwrap();
    }
    // Frame 3 was exposed three times: the last one counts.
    let spoilt = RgbImage::from_pixel(96, 54, Rgb([255, 0, 0]));
    let third = folder.path().join(exposure_name(3, None, 3));
    std::fs::rename(folder.path().join(frame_name(3)), third).unwrap();
    for exposure in [1, 2] {
        write_png(
            &spoilt,
            &folder.path().join(exposure_name(3, None, exposure)),
        )
        .unwrap();
    }
    let there = animation::frames_in(folder.path()).unwrap();
    let paths: Vec<Vec<_>> = there
        .iter()
        .map(|(_, passes)| passes.values().cloned().collect())
        .collect();
    assert!(there.iter().map(|(frame, _)| *frame).eq(1..=5));
    assert!(paths[2].len() == 1 && paths[2][0].ends_with("frame-0003-3.png"));
    let gif = folder.path().join("animation.gif");
    let stopped = animation::write(&paths, &gif, 24.0, 48, |done, _| {
        if done < 7 {
            ControlFlow::Continue(())
        } else {
            ControlFlow::Break(())
        }
    });
    assert!(matches!(stopped, Err(PictureError::Interrupted)));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 7);
    animation::write(&paths, &gif, 24.0, 48, |_, _| ControlFlow::Continue(())).unwrap();
    let mut options = gif::DecodeOptions::new();
    options.set_color_output(gif::ColorOutput::Indexed);
    let mut decoder = options
        .read_info(std::fs::File::open(&gif).unwrap())
        .unwrap();
    assert_eq!((decoder.width(), decoder.height()), (48, 27));
    let mut delays = Vec::new();
    let mut unchanged = 0;
    while let Some(frame) = decoder.read_next_frame().unwrap() {
        delays.push(frame.delay);
        let clear = frame
            .transparent
            .map(|t| frame.buffer.iter().filter(|v| **v == t).count());
        unchanged += clear.unwrap_or(0);
    }
    assert_eq!(delays, [4, 4, 5, 4, 4]);
    // Only the bar moves: at most 10 of 48 columns change from one frame to the next.
    assert!(unchanged >= 4 * 38 * 27, "{unchanged}");
    let png = folder.path().join("strip.png");
    strip::write(folder.path(), &[1, 3, 5], 48, &png).unwrap();
    assert_eq!(
        image::open(&png).unwrap().to_rgb8().dimensions(),
        (3 * 48 + 16, 27)
    );
    let none = strip::write(folder.path(), &[1, 9], 48, &png);
    assert!(none.unwrap_err().to_string().contains("frame 9"));
}

/// The passes of a frame are added in light, and what is brighter than white is white. Half of the
/// light of white is sRGB 187.5, a quarter 137 (IEC 61966-2-1): two quarters make the half.
#[test]
fn the_passes_of_a_frame_are_added_in_light() {
    let folder = tempfile::tempdir().unwrap();
    let plain = |values: [u8; 3], name: String| {
        let picture = RgbImage::from_pixel(8, 8, Rgb(values));
        write_png(&picture, &folder.path().join(name)).unwrap();
    };
    // The first exposure of pass 2 was spoilt.
    plain([137, 0, 188], exposure_name(1, Some(1), 1));
    plain([255; 3], exposure_name(1, Some(2), 1));
    plain([137, 0, 255], exposure_name(1, Some(2), 2));
    let names = [(1, 1), (2, 1), (2, 2)].map(|(pass, times)| exposure_name(1, Some(pass), times));
    let expected = [
        "frame-0001-pass-1.png",
        "frame-0001-pass-2.png",
        "frame-0001-pass-2-2.png",
    ];
    assert_eq!(names, expected);
    let there = animation::frames_in(folder.path()).unwrap();
    let files: Vec<(usize, &str)> = there[0]
        .1
        .iter()
        .map(|(pass, path)| (*pass, path.file_name().unwrap().to_str().unwrap()))
        .collect();
    assert_eq!(files, [(1, expected[0]), (2, expected[2])]);
    let png = folder.path().join("strip.png");
    strip::write(folder.path(), &[1], 8, &png).unwrap();
    let sum = image::open(&png).unwrap().to_rgb8().get_pixel(4, 4).0;
    assert!(
        sum[0].abs_diff(188) <= 1 && sum[1] == 0 && sum[2] == 255,
        "{sum:?}"
    );
}
