//! `panestep view` as a person runs it: what it writes, what it says, what it refuses.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};
use std::time::Duration;

use assert_cmd::Command;
use image::{Rgb, RgbImage};
use rustix::process::{Pid, Signal, kill_process};

mod animations;
mod art;

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
        let shot = shot_text(frames, reeds, skiffs, rest);
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

/// The shot's file.
fn shot_text(frames: u32, reeds: &str, skiffs: &str, rest: &str) -> String {
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
    if frames == 1 {
        shot.replace(", { frame = 1, east = \"0.2 m\" }", "")
    } else {
        shot
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
    assert!(
        out.is_empty() && said.contains("written: shot-view\n"),
        "{said}"
    );
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
fn a_strip_has_its_frames_and_a_difference_says_where() {
    let place = Place::new(30, "", "", "");
    let (_, said) = place.shows(&["--strip", "8", "--width", "60"]);
    assert!(said.contains("written: shot-view/strip.png"), "{said}");
    // Six across, two rows.
    let strip = picture(place.path("shot-view/strip.png"));
    assert_eq!(strip.width(), 6 * 60 + 7 * 8);
    assert!(strip.height() > 2 * 40 && strip.height() < 3 * 40 + 40);
    let (_, said) = place.shows(&["--difference", "1", "30"]);
    assert!(
        said.contains("written: shot-view/difference-0001-0030.png"),
        "{said}"
    );
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
    // Five pictures of a large camera beside one another, unless somebody asks for less.
    let large = STAND.replace("[240, 160]", "[6000, 4000]");
    std::fs::write(place.path("stand.toml"), large).unwrap();
    place.refuses(
        &["--strip", "5", "--width", "6000", "--exact"],
        &["5 frames", "--width"],
    );
    place.shows(&["--strip", "5", "--exact", "--out", "strip.png"]);
    let strip = picture(place.path("strip.png"));
    assert_eq!(strip.width(), 5 * 480 + 6 * 8);
    std::fs::remove_file(place.path("strip.png")).unwrap();
    std::fs::write(place.path("stand.toml"), STAND).unwrap();
    place.refuses(&["--strip", "3", "--out", "x.gif"], &[".png"]);
    place.refuses(&["--strip", "0"], &["1..=60"]);
    place.refuses(&["--frames", "0"], &["expected a frame"]);
}

/// A dot makes no file of a folder's name, nor does an ending where a folder is meant.
#[test]
fn folders_may_have_dots() {
    let place = Place::new(2, "", "", "");
    for folder in ["take.v2", "take.v2", "tide.png/"] {
        place.shows(&["--all", "--width", "48", "--out", folder]);
        assert!(
            place.path(folder).join("frame-0002.png").exists(),
            "{folder}"
        );
    }
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

/// A hundred thousand frames, of which the last two are asked for, and three in a strip.
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

/// A single large picture is given up in its middle too. What it says at the beginning shows that it
/// hears the signal by then.
#[test]
fn a_single_picture_can_be_stopped() {
    let place = Place::new(20, "", "", "");
    let large = STAND.replace("[240, 160]", "[9000, 6000]");
    std::fs::write(place.path("stand.toml"), large).unwrap();
    let before = place.files();
    for words in [
        &["--difference", "1", "20"][..],
        &["--frames", "2", "--out", "one.png"],
    ] {
        let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin("panestep"))
            .current_dir(place.folder.path())
            .args(["view", "shot.toml", "--exact", "--blur"])
            .args(words)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut said = BufReader::new(child.stderr.take().unwrap());
        let mut line = String::new();
        while !line.contains("px of blur") {
            line.clear();
            assert!(said.read_line(&mut line).unwrap() > 0, "it ended");
        }
        kill_process(Pid::from_child(&child), Signal::INT).unwrap();
        std::io::copy(&mut said, &mut std::io::sink()).unwrap();
        assert_eq!(child.wait().unwrap().code(), Some(3), "{words:?}");
        assert_eq!(place.files(), before, "{words:?}");
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
