//! Frames a second of `view`, beside the same warp and blend written with OpenCV in Python, on the same
//! machine in the same run.
//!
//! Run with `cargo bench -p panestep-tests --bench view`; PYTHON names an interpreter that has OpenCV and
//! NumPy (`tests/reference/README.md`).
//!
//! Both make the same pictures, 1920 x 1080 with six levels, from the same files: paintings of
//! 2400 x 1350 pixels with opacity, nothing hidden, every level and the camera moved, turned and
//! lifted from frame to frame. Both blend linear light weighted by opacity, between four neighbours, in
//! 32-bit floating point, and end with the 8-bit values of sRGB in memory; reading and writing files
//! does not count. Both have all cores: ours shares out the rows of one frame, the script whole frames.
//! The paintings are held with 16 bits by us and with 32 by the script, which OpenCV warps quicker.
//! The pictures are compared: OpenCV rounds places to 1/32 of a pixel, which shows in single values.
//!
//! The two take turns, a round each, so that what else the machine does falls on both. Wanted is a ratio
//! of 1.5; no time makes a bench fail here, since it says as much of the machine as of the program.
//! What makes this one fail: the other side cannot be run, or the two did not make the same picture.
#![allow(clippy::print_stdout, reason = "a bench prints its figures")]

#[path = "../tests/plan_support/mod.rs"]
mod plan_support;

use std::error::Error;
use std::hint::black_box;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Instant;

use image::{Rgba, RgbaImage};
use panestep::optics;
use panestep::picture::{Look, Scene};
use panestep::shot::{Distance, Shot};
use panestep::stand::{Face, LevelId, Stand, StandPose};
use plan_support::{ALL, pane, stand, still_shot};

const SIZE: (u32, u32) = (1920, 1080);
const ART: (u32, u32) = (2400, 1350);
const LEVELS: usize = 6;
const FRAMES: usize = 16;
const ROUNDS: usize = 5;

/// Hills of a level's own, soft, opaque below and half clear above.
fn paint(level: usize, path: &Path) -> Result<(), Box<dyn Error>> {
    let seed = level as f64 + 1.0;
    let picture = RgbaImage::from_fn(ART.0, ART.1, |x, y| {
        let (u, v) = (f64::from(x) / 2400.0, f64::from(y) / 1350.0);
        let wave = 0.5 + 0.2 * (u * (5.0 + seed) + seed).sin() + 0.05 * (u * 40.0 * seed).sin();
        let opacity = 0.25 + 0.65 / (1.0 + (-(v - wave) * 18.0).exp());
        let shade = |phase: f64| 127.5 + 120.0 * (u * 31.0 + v * 17.0 * seed + phase).sin();
        Rgba([shade(0.0), shade(2.1), shade(4.2), opacity * 255.0].map(|value| value as u8))
    });
    Ok(picture.save(path)?)
}

fn job(folder: &Path) -> Result<(Stand, Shot), Box<dyn Error>> {
    let levels: Vec<_> = (0..LEVELS)
        .map(|at| (1050.0 - 90.0 * at as f64, pane(5.0, 1.52, Face::Upper)))
        .collect();
    let mut stand = stand(&levels, &ALL, &[]);
    stand.lens.picture.width_mm = 36.0;
    stand.lens.picture.height_mm = 20.25;
    (stand.lens.picture.columns, stand.lens.picture.rows) = SIZE;
    let mut shot = still_shot(1, &[Distance::Far; LEVELS]);
    let zero = optics::zero_pose(&stand);
    for (level, layer) in shot.layers.iter_mut().enumerate() {
        let path = folder.join(format!("art-{level}.png"));
        paint(level, &path)?;
        let distance_mm =
            optics::apparent_distance_mm(&stand, LevelId(level), &zero.camera, &zero.levels[level]);
        let image_mm = optics::image_distance_mm(stand.lens.focal_length_mm, zero.focus_mm);
        // A pixel of the painting is about one of the picture.
        layer.art_width_mm = 36.0 * distance_mm / image_mm * f64::from(ART.0) / f64::from(SIZE.0);
        layer.art = Some(path);
    }
    Ok((stand, shot))
}

fn poses(stand: &Stand) -> Vec<StandPose> {
    (0..FRAMES)
        .map(|frame| {
            let t = frame as f64;
            let mut pose = optics::zero_pose(stand);
            pose.camera.turn_degrees = 0.11 * t;
            for (level, place) in pose.levels.iter_mut().enumerate() {
                let level = level as f64;
                place.east_mm = -1.3 * t / (1.0 + level);
                place.north_mm = 0.4 * t / (1.0 + level);
                place.lift_mm = 0.6 * t;
                place.turn_degrees = 0.05 * level * t;
            }
            pose
        })
        .collect()
}

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::temp_dir().join(format!("panestep-view-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let result = compare(&folder);
    std::fs::remove_dir_all(&folder)?;
    result
}

/// The script, started, with its paintings loaded.
struct Theirs {
    process: Child,
    asks: ChildStdin,
    answers: BufReader<ChildStdout>,
    /// What it says of itself.
    about: serde_json::Value,
}

impl Theirs {
    fn start(folder: &Path) -> Result<Self, Box<dyn Error>> {
        let python = std::env::var_os("PYTHON").unwrap_or_else(|| "python3".into());
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/view.py");
        let how = "set PYTHON to an interpreter that has OpenCV: tests/reference/README.md";
        let mut process = Command::new(&python)
            .arg(script)
            .arg(folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|error| format!("{}: {error}; {how}", python.display()))?;
        let pipes = (process.stdin.take(), process.stdout.take());
        let (Some(asks), Some(answers)) = pipes else {
            return Err("the script has no pipes".into());
        };
        let mut theirs = Self {
            process,
            asks,
            answers: BufReader::new(answers),
            about: serde_json::Value::Null,
        };
        theirs.about = theirs
            .answer()
            .map_err(|error| format!("{} did not get ready ({error}); {how}", python.display()))?;
        Ok(theirs)
    }

    fn answer(&mut self) -> Result<serde_json::Value, Box<dyn Error>> {
        let mut line = String::new();
        self.answers.read_line(&mut line)?;
        Ok(serde_json::from_str(&line)?)
    }

    /// Seconds a frame of one round.
    fn round(&mut self) -> Result<f64, Box<dyn Error>> {
        writeln!(self.asks, "round")?;
        Ok(self.answer()?.as_f64().ok_or("the script told no time")?)
    }

    /// Ends when there is nothing more to ask.
    fn end(self) -> Result<(), Box<dyn Error>> {
        let Self {
            mut process, asks, ..
        } = self;
        drop(asks);
        let status = process.wait()?;
        if status.success() {
            Ok(())
        } else {
            Err(format!("the script ended with {status}").into())
        }
    }
}

fn compare(folder: &Path) -> Result<(), Box<dyn Error>> {
    let (stand, shot) = job(folder)?;
    let scene = Scene::load(&stand, &shot, |_, _| {})?;
    let poses = poses(&stand);
    write_job(folder, &stand, &shot, &poses)?;
    let mut theirs = Theirs::start(folder)?;
    let ours = |look: Look| -> Result<f64, Box<dyn Error>> {
        let start = Instant::now();
        for pose in &poses {
            black_box(scene.photograph(1, &[0], pose, &look)?);
        }
        Ok(start.elapsed().as_secs_f64() / poses.len() as f64)
    };
    let plain = Look::plain(SIZE);
    let blur = Look {
        blur: true,
        ..plain
    };
    // Once for the tables.
    scene.photograph(1, &[0], &poses[0], &plain)?;
    let mut best = [f64::INFINITY; 3];
    for _ in 0..ROUNDS {
        let round = [ours(plain)?, ours(blur)?, theirs.round()?];
        for (best, seconds) in best.iter_mut().zip(round) {
            *best = best.min(seconds);
        }
    }
    let [plainly, blurred, opencv] = best;
    println!(
        "{} x {}, {LEVELS} levels, opacity everywhere; the best of {ROUNDS} rounds, in turns",
        SIZE.0, SIZE.1
    );
    println!(
        "  view:                   {:>5.1} frames a second",
        1.0 / plainly
    );
    println!(
        "  view, with blur:        {:>5.1} frames a second",
        1.0 / blurred
    );
    println!(
        "  OpenCV {} in Python: {:>5.1} frames a second, {} threads",
        theirs.about["opencv"].as_str().unwrap_or("?"),
        1.0 / opencv,
        theirs.about["threads"]
    );
    println!(
        "  view is {:.2} times as fast as OpenCV (wanted: 1.5)",
        opencv / plainly
    );
    theirs.end()?;
    for number in [0, FRAMES - 1] {
        let path = folder.join(format!("picture-{number}.png"));
        let theirs = image::open(path)?.to_rgb8();
        let ours = scene.photograph(1, &[0], &poses[number], &plain)?;
        let off = |(a, b): (&u8, &u8)| f64::from(a.abs_diff(*b));
        let pairs = || ours.as_raw().iter().zip(theirs.as_raw());
        let mean = pairs().map(off).sum::<f64>() / ours.as_raw().len() as f64;
        let most = pairs().map(off).fold(0.0, f64::max);
        println!(
            "  frame {number}: the two differ by {mean:.3} of 255 on average, {most} at the most"
        );
        assert!(mean < 0.5, "they did not make the same picture");
    }
    Ok(())
}

/// What the script has to know, in numbers alone.
fn write_job(
    folder: &Path,
    stand: &Stand,
    shot: &Shot,
    poses: &[StandPose],
) -> Result<(), Box<dyn Error>> {
    let place =
        |of: &panestep::stand::CarrierPose| [of.east_mm, of.north_mm, of.lift_mm, of.turn_degrees];
    let levels: Vec<_> = (0..LEVELS)
        .map(|level| {
            serde_json::json!({
                "height_mm": stand.levels[level].height_mm,
                "glass_mm": optics::glass_above_mm(stand, LevelId(level)),
                "art": format!("art-{level}.png"),
                "pixels": [ART.0, ART.1],
                "width_mm": shot.layers[level].art_width_mm,
                "centre_mm": shot.layers[level].art_centre_mm,
            })
        })
        .collect();
    let frames: Vec<_> = poses
        .iter()
        .map(|pose| {
            serde_json::json!({
                "camera": place(&pose.camera),
                "focus_mm": pose.focus_mm,
                "levels": pose.levels.iter().map(place).collect::<Vec<_>>(),
            })
        })
        .collect();
    let lens = &stand.lens;
    let job = serde_json::json!({
        "size": [SIZE.0, SIZE.1],
        "lens": {
            "focal_length_mm": lens.focal_length_mm,
            "height_mm": lens.height_mm,
            "width_mm": lens.picture.width_mm,
        },
        "levels": levels,
        "frames": frames,
    });
    Ok(std::fs::write(folder.join("job.json"), job.to_string())?)
}
