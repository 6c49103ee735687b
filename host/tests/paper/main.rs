//! What is exported, drawn and printed of a planned shot, read back by other libraries.

mod curves;
mod drawings;
mod program;
mod scene;
mod sheets;

use std::fs;
use std::path::{Path, PathBuf};

use image::{Rgba, RgbaImage};
use panestep::plan::Plan;
use panestep::shot::Shot;
use panestep::stand::Stand;
use tempfile::TempDir;

/// A name that HTML, CSV, SVG and JSON each have to be careful with.
const REEDS: &str = "reeds & <rushes>, 'near'";

/// A shot in a folder of its own: everything is moved by hand, the camera rolls, goes up and down and
/// pulls focus, drawings of a gull lie on one level, and there are two passes.
struct Coast {
    folder: TempDir,
    frames: u32,
}

const AXES: &[(&str, &str, &str)] = &[
    (REEDS, "east", "0.1 mm"),
    (REEDS, "north", "0.5 mm"),
    (REEDS, "lift", "0.1 mm"),
    ("gulls", "east", "0.1 mm"),
    ("gulls", "north", "0.1 mm"),
    ("gulls", "lift", "0.1 mm"),
    ("camera", "lift", "0.1 mm"),
    ("camera", "turn", "0.1 deg"),
];

impl Coast {
    fn new(frames: u32, exposures: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let mut stand = String::from(
            r#"name = "Coast <stand> & co"
[lens]
focal_length = "50 mm"
f_number = 8.0
picture = { width = "36 mm", height = "24 mm", pixels = [1800, 1200] }
height = "1500 mm"
focus = "gulls"
[shutter]
by_hand = true
settle = "1 s"
exposure = "500 ms"
ready = "1 s"
[[lamp]]
name = "dawn"
by_hand = true
[[lamp]]
name = "glow"
by_hand = true
"#,
        );
        for (name, height, art) in [
            (REEDS, 900, "upper"),
            ("gulls", 600, "under"),
            ("sky", 250, "upper"),
        ] {
            stand.push_str(&format!(
                "[[level]]\nname = \"{name}\"\nheight = \"{height} mm\"\npane = {{ width = \"900 mm\", \
                 height = \"700 mm\", thickness = \"6 mm\", index = 1.52, art = \"{art}\" }}\n"
            ));
        }
        for (of, direction, scale) in AXES {
            let unit = if *direction == "turn" { "deg" } else { "mm" };
            stand.push_str(&format!(
                "[[axis]]\nof = \"{of}\"\ndirection = \"{direction}\"\nhand = {{ scale = \"{scale}\" }}\n\
                 travel = [\"-150 {unit}\", \"150 {unit}\"]\n"
            ));
        }
        stand.push_str(
            "[[axis]]\nof = \"camera\"\ndirection = \"focus\"\nhand = { scale = \"0.1 deg\" }\n\
             travel = [\"0 deg\", \"120 deg\"]\ntable = [{ ring = \"0 deg\", distance = \"400 mm\" }, \
             { ring = \"60 deg\", distance = \"700 mm\" }, { ring = \"120 deg\", distance = \"1600 mm\" }]\n",
        );
        let last = frames;
        let to = last.clamp(1, 6);
        let mut shot = format!(
            r#"name = "Dawn, <first> & last"
stand = "stand.toml"
frames = {frames}
rate = 24
exposures = "{exposures}"
[[layer]]
level = "{REEDS}"
distance = "4 m"
art = "reeds & <rushes>.png"
art_width = "500 mm"
art_centre = ["20 mm", "-15 mm"]
[[layer]]
level = "gulls"
distance = "30 m"
art = "gulls.jpg"
art_width = "760 mm"
[[layer]]
level = "sky"
distance = "far"
[[cels]]
level = "gulls"
drawings = ["gull-1.png", "gull-2.png", "bare"]
to = {to}
cycle = true
[[pass]]
name = "dawn"
lamps = ["dawn"]
[[pass]]
name = "glow"
lamps = ["glow"]
without = ["{REEDS}"]
exposure = "2 s"
"#
        );
        if frames > 1 {
            shot.push_str(&format!(
                "[viewer]\nkeys = [{{ frame = 1, east = \"0 m\", north = \"0 m\", ahead = \"0 m\", roll = \
                 \"0 deg\", fairing = 2 }}, {{ frame = {last}, east = \"0.3 m\", north = \"0.1 m\", ahead = \
                 \"0.5 m\", roll = \"8 deg\" }}]\n[focus]\nkeys = [{{ frame = 1, level = \"gulls\" }}, \
                 {{ frame = {last}, level = \"{REEDS}\" }}]\n"
            ));
        }
        let write = |name: &str, text: &str| {
            fs::write(folder.path().join(name), text).expect("written");
        };
        write("stand.toml", &stand);
        write("shot.toml", &shot);
        let clear = RgbaImage::from_fn(50, 40, |x, y| {
            Rgba([5 * x as u8, 6 * y as u8, 90, 40 + 4 * x as u8])
        });
        for name in ["reeds & <rushes>.png", "gull-1.png", "gull-2.png"] {
            clear.save(folder.path().join(name)).expect("written");
        }
        let solid = image::DynamicImage::from(clear).into_rgb8();
        solid
            .save(folder.path().join("gulls.jpg"))
            .expect("written");
        Self { folder, frames }
    }

    fn path(&self, name: impl AsRef<Path>) -> PathBuf {
        self.folder.path().join(name)
    }

    fn planned(&self) -> (Stand, Shot, Plan) {
        let (stand, shot) = panestep::file::read_shot(self.path("shot.toml"))
            .unwrap_or_else(|problems| panic!("{}", problems.report(false)));
        assert_eq!(shot.frames, self.frames);
        let plan = Plan::new(&stand, &shot).unwrap_or_else(|refusals| panic!("{refusals}"));
        (stand, shot, plan)
    }
}

fn demo() -> (Stand, Shot, Plan) {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/shot.toml");
    let (stand, shot) = panestep::file::read_shot(path).expect("the demonstration");
    let plan = Plan::new(&stand, &shot).expect("sound");
    (stand, shot, plan)
}

fn near(value: f64, expected: f64, within: f64, what: impl std::fmt::Display) {
    assert!(
        (value - expected).abs() <= within,
        "{what}: {value}, {expected}"
    );
}
