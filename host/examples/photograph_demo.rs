//! Photographs the demonstration without a take: what the camera would see if every pane stood
//! exactly where the plan wants it. `cargo run --release --example photograph_demo -- FOLDER`
//!
//! Leaves the frames, an animation and a strip of four frames in the folder, and says how long a
//! photograph took.

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use panestep::picture::{Scene, animation, frame_name, strip, write_png};
use panestep::{file, plan::Plan};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args_os()
        .nth(1)
        .map(PathBuf::from)
        .ok_or("give a folder to write to")?;
    std::fs::create_dir_all(&folder)?;
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/shot.toml");
    let (stand, shot) = file::read_shot(&demo).map_err(|problems| format!("{problems:?}"))?;
    let plan = Plan::new(&stand, &shot).map_err(|refusals| format!("{refusals:?}"))?;
    let scene = Scene::load(&stand, &shot, |_, _| {})?;
    let size = (stand.lens.picture.columns, stand.lens.picture.rows);
    let mut spent = Duration::ZERO;
    for frame in 1..=shot.frames {
        let pose = plan.geometry().pose(frame).stand;
        let start = Instant::now();
        let picture = scene.photograph_of(frame, 0, &pose, size)?;
        spent += start.elapsed();
        write_png(&picture, &folder.join(frame_name(frame)))?;
    }
    eprintln!(
        "{:.1} ms a photograph on {} threads",
        spent.as_secs_f64() * 1000.0 / f64::from(shot.frames),
        rayon::current_num_threads()
    );
    let go_on = |_, _| ControlFlow::Continue(());
    let frames = animation::frames_in(&folder)?;
    let paths: Vec<Vec<PathBuf>> = frames
        .into_iter()
        .map(|(_, passes)| passes.into_values().collect())
        .collect();
    animation::write(&paths, &folder.join("animation.gif"), shot.rate, 640, go_on)?;
    strip::write(&folder, &[1, 40, 80, 120], 480, &folder.join("strip.png"))?;
    Ok(())
}
