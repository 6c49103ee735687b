//! `panestep view` as a person runs it: what it writes, what it says, what it refuses.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};
use std::time::Duration;

use assert_cmd::Command;
use image::{ImageBuffer, Rgb, RgbImage};
use panestep::picture::animation::{self, Pictures};
use rustix::process::{Pid, Signal, kill_process};

/// A stand of two levels without axes, and a shot on it.
struct Place {
    folder: tempfile::TempDir,
}

const STAND: &str = r#"
name = "Two levels"
[lens]
focal_length = "50 mm"
f_number = 4.0
picture = { width = "36 mm", height = "24 mm", pixels = [240, 160] }
height = "1200 mm"
focus = "skiffs"
[[level]]
name = "reeds"
height = "800 mm"
pane = { width = "400 mm", height = "300 mm", thickness = "6 mm", index = 1.52, art = "upper" }
[[level]]
name = "skiffs"
height = "500 mm"
pane = { width = "500 mm", height = "400 mm", thickness = "6 mm", index = 1.52, art = "upper" }
[[axis]]
of = "reeds"
direction = "east"
hand = { scale = "0.5 mm" }
travel = ["-60 mm", "60 mm"]
[shutter]
by_hand = true
settle = "1 s"
exposure = "500 ms"
ready = "1 s"
"#;

impl Place {
    /// `reeds` and `skiffs` are lines of the two layers, `rest` what stands below them.
    fn new(frames: u32, reeds: &str, skiffs: &str, rest: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("stand.toml"), STAND).unwrap();
        let shot = format!(
            r#"
name = "Tide"
stand = "stand.toml"
frames = {frames}
rate = 24
exposures = "ones"
[[layer]]
level = "reeds"
distance = "3 m"
{reeds}
[[layer]]
level = "skiffs"
distance = "far"
{skiffs}
[viewer]
keys = [{{ frame = 1, east = "0 m" }}, {{ frame = {frames}, east = "0.2 m" }}]
{rest}
"#
        );
        let shot = if frames == 1 {
            shot.replace(", { frame = 1, east = \"0.2 m\" }", "")
        } else {
            shot
        };
        std::fs::write(folder.path().join("shot.toml"), shot).unwrap();
        Self { folder }
    }

    /// With art on the upper level.
    fn with_art(frames: u32, name: &str) -> Self {
        let art = format!("art = \"{name}\"\nart_width = \"200 mm\"");
        Self::new(frames, &art, "", "")
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn view(&self, words: &[&str]) -> Output {
        Command::cargo_bin("panestep")
            .unwrap()
            .current_dir(self.folder.path())
            .args(["view", "shot.toml"])
            .args(words)
            .output()
            .unwrap()
    }

    /// Runs it, and expects that it does what it is asked.
    fn shows(&self, words: &[&str]) -> (String, String) {
        let output = self.view(words);
        let (out, said) = texts(&output);
        assert_eq!(output.status.code(), Some(0), "{words:?}: {said}");
        (out, said)
    }

    /// Runs it, and expects that it refuses, with these words, and has written nothing.
    fn refuses(&self, words: &[&str], expected: &[&str]) {
        let before = self.files();
        let output = self.view(words);
        let (out, said) = texts(&output);
        assert_eq!(output.status.code(), Some(2), "{words:?}: {said}");
        for expected in expected {
            assert!(said.contains(expected), "{words:?}: {expected}: {said}");
        }
        assert!(out.is_empty(), "{out}");
        assert_eq!(self.files(), before, "{words:?}");
    }

    fn files(&self) -> Vec<PathBuf> {
        fn below(folder: &Path, files: &mut Vec<PathBuf>) {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    below(&path, files);
                }
                files.push(path);
            }
        }
        let mut files = Vec::new();
        below(self.folder.path(), &mut files);
        files.sort();
        files
    }
}

fn texts(output: &Output) -> (String, String) {
    (
        String::from_utf8(output.stdout.clone()).unwrap(),
        String::from_utf8(output.stderr.clone()).unwrap(),
    )
}

fn picture(path: impl AsRef<Path>) -> RgbImage {
    image::open(path.as_ref())
        .unwrap_or_else(|error| panic!("{}: {error}", path.as_ref().display()))
        .to_rgb8()
}

#[test]
fn the_first_frame_a_range_and_all_are_written_as_files() {
    let place = Place::new(12, "", "", "");
    let (out, said) = place.shows(&[]);
    assert_eq!(out.trim(), "shot-view");
    assert!(
        said.contains("test fields") && said.contains("reeds, skiffs"),
        "{said}"
    );
    assert_eq!(
        picture(place.path("shot-view/frame-0001.png")).dimensions(),
        (240, 160)
    );
    place.shows(&[
        "--frames", "4-6", "--frames", "9", "--width", "120", "--out", "some",
    ]);
    let names: Vec<String> = std::fs::read_dir(place.path("some"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(names.len(), 4, "{names:?}");
    for frame in [4, 5, 6, 9] {
        let path = place.path(&format!("some/frame-{frame:04}.png"));
        assert_eq!(picture(path).dimensions(), (120, 80));
    }
    place.shows(&["--all", "--width", "60", "--out", "every"]);
    assert!(place.path("every/frame-0012.png").exists());
    assert_eq!(std::fs::read_dir(place.path("every")).unwrap().count(), 12);
    // The near level moves, and both levels are seen through each other.
    let first = picture(place.path("every/frame-0001.png"));
    assert_ne!(first, picture(place.path("every/frame-0012.png")));
    place.shows(&["--frames", "3", "--out", "one.png"]);
    assert_eq!(picture(place.path("one.png")).dimensions(), (240, 160));
}

#[test]
fn animations_have_a_picture_for_each_frame_and_last_as_long() {
    let place = Place::new(60, "", "", "");
    place.shows(&["--all", "--width", "48", "--out", "tide.gif"]);
    let file = std::fs::File::open(place.path("tide.gif")).unwrap();
    let mut decoder = gif::DecodeOptions::new().read_info(file).unwrap();
    let mut delays = Vec::new();
    while let Some(frame) = decoder.read_next_frame().unwrap() {
        delays.push(u32::from(frame.delay));
    }
    assert_eq!((delays.len(), delays.iter().sum::<u32>()), (60, 250));
    place.shows(&["--frames", "1-20", "--width", "48", "--out", "tide.apng"]);
    place.shows(&["--frames", "1-20", "--width", "48", "--out", "files"]);
    let file = std::io::BufReader::new(std::fs::File::open(place.path("tide.apng")).unwrap());
    let mut reader = png::Decoder::new(file).read_info().unwrap();
    assert_eq!(reader.info().animation_control.unwrap().num_frames, 20);
    let mut frame = vec![0; reader.output_buffer_size().unwrap()];
    for number in 1..=20 {
        reader.next_frame(&mut frame).unwrap();
        let control = reader.info().frame_control.unwrap();
        assert_eq!(
            f64::from(control.delay_num) / f64::from(control.delay_den),
            1.0 / 24.0
        );
        let same = picture(place.path(&format!("files/frame-{number:04}.png")));
        assert_eq!(&frame, same.as_raw(), "{number}");
    }
}

#[test]
fn a_strip_has_its_frames_and_a_difference_says_where() {
    let place = Place::new(30, "", "", "");
    let (out, _) = place.shows(&["--strip", "8", "--width", "60"]);
    assert_eq!(out.trim(), "shot-view/strip.png");
    // Six across, two rows.
    let strip = picture(place.path("shot-view/strip.png"));
    assert_eq!(strip.width(), 6 * 60 + 7 * 8);
    assert!(strip.height() > 2 * 40 && strip.height() < 3 * 40 + 40);
    let (out, said) = place.shows(&["--difference", "1", "30"]);
    assert_eq!(out.trim(), "shot-view/difference-0001-0030.png");
    assert!(
        said.contains("greatest difference") && said.contains("column"),
        "{said}"
    );
    let (_, said) = place.shows(&["--difference", "5", "5", "--out", "none.png"]);
    assert!(said.contains("equal in every pixel"), "{said}");
    assert!(
        picture(place.path("none.png"))
            .pixels()
            .all(|p| p[0] == p[1] && p[1] == p[2])
    );
}

/// Steps and divisions: the scale has half millimetres, the story wants less between frames.
#[test]
fn levels_stand_on_their_divisions_unless_exactly() {
    let place = Place::new(1000, "", "", "");
    let equal = |words: &[&str]| {
        let (_, said) = place.shows(words);
        said.contains("equal in every pixel")
    };
    assert!(equal(&["--difference", "1", "2"]));
    assert!(!equal(&["--difference", "1", "2", "--exact"]));
    // 0.2 m of 3 m is far beyond what a shorter travel allows: refused, and shown all the same.
    let narrow = STAND
        .replace("-60 mm", "-1 mm")
        .replace("\"60 mm\"", "\"1 mm\"");
    std::fs::write(place.path("stand.toml"), narrow).unwrap();
    place.refuses(&[], &["cannot be shot", "--exact"]);
    place.shows(&["--exact", "--out", "exact.png"]);
}

#[test]
fn what_is_not_a_view_is_not_written_over() {
    let place = Place::new(5, "", "", "");
    let own = place.path("mine.png");
    RgbImage::from_pixel(9, 9, Rgb([1, 2, 3]))
        .save(&own)
        .unwrap();
    let before = std::fs::read(&own).unwrap();
    place.refuses(&["--out", "mine.png"], &["mine.png", "--replace"]);
    assert_eq!(std::fs::read(&own).unwrap(), before);
    std::fs::create_dir(place.path("mixed")).unwrap();
    std::fs::copy(&own, place.path("mixed/frame-0003.png")).unwrap();
    place.refuses(&["--all", "--out", "mixed"], &["frame-0003.png"]);
    place.shows(&["--out", "mine.png", "--replace"]);
    // Its own it writes over, of every kind.
    for name in ["mine.png", "tide.gif", "tide.apng"] {
        place.shows(&["--width", "60", "--out", name]);
        place.shows(&["--width", "48", "--out", name]);
    }
}

#[test]
fn wrong_words_are_refused_before_anything_is_written() {
    let place = Place::new(5, "", "", "");
    place.refuses(&["--frames", "3-6"], &["no frame 6", "5 frames"]);
    place.refuses(&["--difference", "1", "9"], &["no frame 9"]);
    place.refuses(&["--width", "2000"], &["240"]);
    place.refuses(&["--width", "0"], &["--width 0"]);
    place.refuses(&["--pass", "night"], &["no pass `night`"]);
    place.refuses(&["--all", "--out", "all.png"], &["5 frames", ".gif"]);
    place.refuses(&["--out", "x.bmp"], &[".png"]);
    place.refuses(&["--strip", "3", "--out", "x.gif"], &[".png"]);
    place.refuses(&["--strip", "0"], &["1..=60"]);
    place.refuses(&["--frames", "0"], &["expected a frame"]);
}

#[test]
fn one_frame_is_enough() {
    let place = Place::new(1, "", "", "");
    place.shows(&["--all", "--out", "all"]);
    place.shows(&["--strip", "5", "--out", "strip.png"]);
    place.shows(&["--out", "tide.gif"]);
    place.shows(&["--out", "tide.apng"]);
    place.shows(&["--difference", "1", "1", "--out", "none.png"]);
}

#[test]
fn bad_art_is_named_before_anything_is_written() {
    let place = Place::with_art(5, "reeds.png");
    place.refuses(&[], &["reeds", "reeds.png", "cannot be opened"]);
    let write = |bytes: &[u8]| std::fs::write(place.path("reeds.png"), bytes).unwrap();
    write(b"not a picture");
    place.refuses(&[], &["reeds.png", "not a PNG, JPEG or TIFF"]);
    write(b"");
    place.refuses(&[], &["reeds.png", "not a PNG, JPEG or TIFF"]);
    write(&head_of_png(100_000, 100_000));
    place.refuses(&[], &["too large", "100000 x 100000"]);
    write(&head_of_png(0, 5));
    place.refuses(&[], &["reeds.png"]);
    let whole = encoded(&noise(), image::ImageFormat::Png);
    for length in [whole.len() / 2, whole.len() - 1] {
        write(&whole[..length]);
        place.refuses(&[], &["reeds.png", "not a PNG, JPEG or TIFF"]);
    }
    let whole = encoded(&noise(), image::ImageFormat::Jpeg);
    write(&whole[..whole.len() / 2]);
    place.refuses(&[], &["reeds.png", "its end is missing"]);
    let whole = encoded(&noise(), image::ImageFormat::Tiff);
    write(&whole[..whole.len() / 2]);
    place.refuses(&[], &["reeds.png", "not a PNG, JPEG or TIFF"]);
    std::fs::remove_file(place.path("reeds.png")).unwrap();
    std::fs::create_dir(place.path("reeds.png")).unwrap();
    place.refuses(&[], &["reeds.png", "a folder"]);
    // Whoever has no art yet looks at test fields.
    place.shows(&["--test-field"]);
}

/// A drawing for a later frame that is missing is named at once, and drawings lie on their frames.
#[test]
fn drawings_are_checked_and_shown() {
    let rest = "[[cels]]\nlevel = \"skiffs\"\nfrom = 2\ndrawings = [\"a.png\", \"b.png\"]\n";
    let place = Place::new(5, "", "art = \"a.png\"\nart_width = \"600 mm\"", rest);
    RgbImage::from_pixel(30, 20, Rgb([200, 10, 10]))
        .save(place.path("a.png"))
        .unwrap();
    place.refuses(&["--frames", "1"], &["b.png", "skiffs"]);
    RgbImage::from_pixel(30, 20, Rgb([10, 10, 200]))
        .save(place.path("b.png"))
        .unwrap();
    place.shows(&["--all", "--out", "all"]);
    let corner = |frame: u32| {
        let picture = picture(place.path(&format!("all/frame-{frame:04}.png")));
        *picture.get_pixel(2, 2)
    };
    assert!(corner(2)[0] > corner(2)[2] && corner(3)[0] < corner(3)[2]);
    assert_eq!(corner(1), corner(2));
}

/// The same even colour in every format that a painter may save: it is seen as that colour.
#[test]
fn art_in_every_kind_of_pixel_is_shown() {
    use image::{DynamicImage, GrayImage, Luma, LumaA, Rgba};
    let place = Place::with_art(1, "reeds.png");
    let (w, h) = (64, 48);
    let kinds: Vec<(&str, DynamicImage)> = vec![
        ("grey", GrayImage::from_pixel(w, h, Luma([120])).into()),
        (
            "grey, 16 bits",
            ImageBuffer::from_pixel(w, h, Luma([120 * 257_u16])).into(),
        ),
        (
            "grey, opacity",
            ImageBuffer::from_pixel(w, h, LumaA([120_u8, 255])).into(),
        ),
        ("colour", RgbImage::from_pixel(w, h, Rgb([120; 3])).into()),
        (
            "colour, 16 bits",
            ImageBuffer::from_pixel(w, h, Rgb([120 * 257_u16; 3])).into(),
        ),
        (
            "opacity",
            ImageBuffer::from_pixel(w, h, Rgba([120_u8, 120, 120, 255])).into(),
        ),
        (
            "opacity, 16 bits",
            ImageBuffer::from_pixel(w, h, Rgba([30_840_u16, 30_840, 30_840, 65_535])).into(),
        ),
    ];
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    for (name, picture) in &kinds {
        for format in [image::ImageFormat::Png, image::ImageFormat::Tiff] {
            // The encoder has no TIFF of grey with opacity.
            if *name == "grey, opacity" && format == image::ImageFormat::Tiff {
                continue;
            }
            files.push((format!("{name} {format:?}"), encoded(picture, format)));
        }
    }
    files.push((
        "JPEG".into(),
        encoded(&kinds[3].1, image::ImageFormat::Jpeg),
    ));
    files.push(("palette".into(), palette_png()));
    // Made by Pillow 13.0.0: Image.new("CMYK", (64, 48), (0, 0, 0, 135)).
    files.push((
        "CMYK JPEG".into(),
        include_bytes!("reference/cmyk.jpg").to_vec(),
    ));
    files.push((
        "CMYK TIFF".into(),
        include_bytes!("reference/cmyk.tif").to_vec(),
    ));
    for (name, bytes) in files {
        std::fs::write(place.path("reeds.png"), bytes).unwrap();
        place.shows(&["--out", "seen.png"]);
        let seen = picture(place.path("seen.png")).get_pixel(120, 80).0;
        assert!(
            seen.iter().all(|value| value.abs_diff(120) <= 2),
            "{name}: {seen:?}"
        );
    }
}

/// However many frames: the pictures of a thousand small ones, and a hundred thousand from which
/// three are asked.
#[test]
fn long_shots_are_shown_in_part() {
    let place = Place::new(100_000, "", "", "");
    place.shows(&["--frames", "99999-100000", "--width", "60", "--out", "end"]);
    assert!(place.path("end/frame-100000.png").exists());
    place.shows(&["--strip", "3", "--width", "60"]);
}

/// A shot that takes long: whoever stops it finds whole pictures and is told where to go on, and of
/// an animation nothing.
#[test]
fn stopping_leaves_no_half_file() {
    let place = Place::new(20_000, "", "", "");
    let stopped = |words: &[&str], once_there: &str| {
        let child = std::process::Command::new(assert_cmd::cargo::cargo_bin("panestep"))
            .current_dir(place.folder.path())
            .args(["view", "shot.toml", "--all"])
            .args(words)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        while !place.path(once_there).exists() {
            std::thread::sleep(Duration::from_millis(2));
        }
        kill_process(Pid::from_child(&child), Signal::INT).unwrap();
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(3), "{:?}", texts(&output));
        texts(&output).1
    };
    let said = stopped(&["--out", "tide"], "tide/frame-0003.png");
    let names: Vec<PathBuf> = std::fs::read_dir(place.path("tide"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    assert!((3..20_000).contains(&names.len()), "{said}");
    for name in &names {
        assert_eq!(picture(name).dimensions(), (240, 160), "{name:?}");
    }
    let next = format!("--frames {}-20000", names.len() + 1);
    assert!(said.contains(&next), "{next}: {said}");
    let before = place.files();
    for name in ["tide.gif", "tide.apng"] {
        stopped(&["--out", name], &format!("{name}.part"));
        assert_eq!(place.files(), before, "{name}");
    }
}

/// However long an animation, few of its pictures are asked for at a time, and each but those that a
/// palette is learnt from once.
#[test]
fn an_animation_holds_few_of_its_pictures() {
    let folder = tempfile::tempdir().unwrap();
    let count = 1000;
    for name in ["long.gif", "long.apng"] {
        let (mut most, mut asked) = (0, vec![0; count]);
        let mut make = |places: &[usize]| {
            most = most.max(places.len());
            for place in places {
                asked[*place] += 1;
            }
            let even = |place: &usize| RgbImage::from_pixel(8, 6, Rgb([*place as u8, 90, 30]));
            Ok(places.iter().map(even).collect())
        };
        let pictures = Pictures {
            count,
            make: &mut make,
        };
        let path = folder.path().join(name);
        let go_on = |_, _| ControlFlow::Continue(());
        if name.ends_with("gif") {
            animation::gif(pictures, &path, 24.0, true, go_on).unwrap();
        } else {
            animation::apng(pictures, &path, 24.0, go_on).unwrap();
        }
        assert!((1..=8).contains(&most), "{name}: {most}");
        assert!(asked.iter().all(|times| (1..=2).contains(times)), "{name}");
        let again = if name.ends_with("gif") { 48 } else { 0 };
        assert_eq!(asked.iter().sum::<usize>(), count + again, "{name}");
    }
}

#[test]
fn passes_are_shown_one_over_another_or_alone() {
    let rest = "[[pass]]\nname = \"day\"\n[[pass]]\nname = \"glow\"\nwithout = [\"reeds\"]\n\
                exposure = \"125 ms\"\n";
    let place = Place::new(2, "", "", rest);
    let (_, said) = place.shows(&["--out", "both.png"]);
    assert!(said.contains("day, glow"), "{said}");
    place.shows(&["--pass", "day", "--out", "day.png"]);
    place.shows(&["--pass", "2", "--out", "glow.png"]);
    let middle = |name: &str| u32::from(picture(place.path(name)).get_pixel(3, 3)[1]);
    assert!(middle("both.png") > middle("day.png") && middle("day.png") > middle("glow.png"));
    place.refuses(&["--pass", "3"], &["1 day, 2 glow"]);
}

fn noise() -> image::DynamicImage {
    let mut state = 1_u32;
    RgbImage::from_fn(64, 48, |_, _| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [_, a, b, c] = state.to_be_bytes();
        Rgb([a, b, c])
    })
    .into()
}

fn encoded(picture: &image::DynamicImage, format: image::ImageFormat) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

fn palette_png() -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 64, 48);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Four);
    encoder.set_palette(vec![0, 0, 0, 120, 120, 120]);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&[0x11; 32 * 48]).unwrap();
    writer.finish().unwrap();
    bytes
}

/// The head of a PNG (PNG specification, 11.2.1) of a size, an empty body and an end.
fn head_of_png(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut chunk = |name: &[u8; 4], data: &[u8]| {
        bytes.extend((data.len() as u32).to_be_bytes());
        let mut body = name.to_vec();
        body.extend(data);
        bytes.extend(&body);
        bytes.extend(
            crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC)
                .checksum(&body)
                .to_be_bytes(),
        );
    };
    let mut header = width.to_be_bytes().to_vec();
    header.extend(height.to_be_bytes());
    header.extend([8, 6, 0, 0, 0]);
    chunk(b"IHDR", &header);
    chunk(b"IDAT", b"");
    chunk(b"IEND", b"");
    bytes
}
