//! `panestep shoot`, `rehearse` and `resume`.

use std::cell::Cell;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::atomic::{AtomicBool, Ordering};

use panestep::picture::{Scene, animation};
use panestep::plan::times;
use panestep::schedule::Schedule;
use panestep::shot::Shot;
use panestep::stand::Stand;
use panestep::take::{
    self, Ending, Files, Folder, FolderError, Journal, Outcome, Stage, TakeError,
};
use panestep_protocol::ShotId;

use super::people::{Desk, Onlooker};
use super::rig::{self, Rig};
use super::screen::{Progress, say};
use super::{Failure, args, interrupt, plan};

/// Width of a take's animation, pixels: a preview, not the pictures.
const ANIMATION_WIDTH: u32 = 640;

/// Photographs a shot.
pub(crate) fn shoot(typed: &args::Shoot) -> Result<(), Failure> {
    let (stand, shot) = plan::read(&typed.shot)?;
    let planned = plan::planned(&typed.shot, &stand, &shot)?;
    let path = typed
        .take
        .clone()
        .unwrap_or_else(|| free_folder(&typed.shot, &shot.name));
    if path.symlink_metadata().is_ok() {
        return Err(folder_failure(&FolderError::Exists { path }));
    }
    let rig = Rig::new(&stand, &typed.ports, &typed.simulated)?;
    rig.greet(&stand)?;
    let scene = wants_pictures(&rig, &typed.simulated)
        .then(|| rig::scene(&stand, &shot))
        .transpose()?;
    let time =
        times::times(planned.schedule(), times::DEFAULT_TICK_RATE).map_err(Failure::wrong)?;
    plan::summary(&shot, &planned, &time);
    if rig.is_simulated() {
        say(
            "the stand is simulated: its own clock runs faster than yours, and the times are by its clock",
        );
    }
    let schedule = planned.into_schedule();

    let (stand_path, stand_text, shot_text) = texts(&typed.shot)?;
    let (folder, journal) = Folder::create(
        &path,
        &Files {
            stand: &stand_text,
            shot: &shot_text,
            art: &folder_of(&typed.shot)?,
            base: &folder_of(&stand_path)?,
        },
        &schedule,
        new_shot()?,
        Box::new(jiff::Timestamp::now),
    )
    .map_err(|error| folder_failure(&error))?;
    say(&format!("the take is in {}", folder.path().display()));
    run(
        &Job {
            stand,
            shot,
            schedule,
            rig,
            folder,
        },
        scene,
        journal,
    )
}

/// Goes on with a take.
pub(crate) fn resume(typed: &args::Resume) -> Result<(), Failure> {
    let (folder, journal) = Folder::open(&typed.take, Box::new(jiff::Timestamp::now))
        .map_err(|error| folder_failure(&error).hint("nothing was moved"))?;
    let read = |path: PathBuf| {
        fs::read_to_string(&path)
            .map(|text| (path.display().to_string(), text))
            .map_err(|error| Failure::could_not(format!("{}: {error}", path.display())))
    };
    let (stand_name, stand_text) = read(folder.stand())?;
    let (shot_name, shot_text) = read(folder.shot())?;
    let stand = panestep::file::read_stand_text(&stand_name, &stand_text)
        .map_err(|problems| plan::file_failure(&problems))?;
    let art = PathBuf::from(&journal.state().art);
    let shot = panestep::file::read_shot_text(&shot_name, &shot_text, &stand, &art)
        .map_err(|problems| plan::file_failure(&problems))?;
    let planned = plan::planned(&folder.shot(), &stand, &shot)?;
    let rig = Rig::new(&stand, &typed.ports, &typed.simulated)?;
    let scene = wants_pictures(&rig, &typed.simulated)
        .then(|| rig::scene(&stand, &shot))
        .transpose()?;
    let schedule = planned.into_schedule();
    match journal.state().next_frame() {
        Some(frame) => say(&format!(
            "going on with frame {frame} of {}",
            schedule.frames
        )),
        None => say("every frame of this take is exposed already"),
    }
    run(
        &Job {
            stand,
            shot,
            schedule,
            rig,
            folder,
        },
        scene,
        journal,
    )
}

/// Makes every move of a shot without exposing.
pub(crate) fn rehearse(typed: &args::Rehearse) -> Result<(), Failure> {
    let (stand, shot) = plan::read(&typed.shot)?;
    let schedule = plan::planned(&typed.shot, &stand, &shot)?.into_schedule();
    let rig = Rig::new(&stand, &typed.ports, &typed.simulated)?;
    let stop = interrupt::flag()?;
    let mut onlooker = Onlooker::new("rehearsing", &schedule, Rc::default());
    let mut desk = Desk::new(&stand, &rig, &stop);
    let outcome = take::rehearse(
        &schedule,
        &mut Stage {
            boards: &mut &rig,
            clock: rig.clock(),
            person: &mut desk,
            watch: &mut onlooker,
            trigger: &mut (),
            album: None,
            interrupt: &stop,
        },
    );
    onlooker.done();
    match outcome {
        Ok(Outcome::Finished) => {
            say(&format!(
                "rehearsed {} frames, nothing was exposed",
                schedule.frames
            ));
            Ok(())
        }
        Ok(Outcome::Interrupted { .. }) => Err(Failure::stopped(
            "the rehearsal was stopped; everything stands still",
        )),
        Err(error) => Err(ended(&error)),
    }
}

/// A take that is ready to run.
struct Job {
    stand: Stand,
    shot: Shot,
    schedule: Schedule,
    rig: Rig,
    folder: Folder,
}

fn run(job: &Job, scene: Option<Scene>, mut journal: Journal) -> Result<(), Failure> {
    let pictures = job.folder.pictures();
    let frame = Rc::new(Cell::new(1));
    let simulated_camera = match (&job.rig, scene) {
        (Rig::Simulated(simulated), Some(scene)) => {
            let frame = Rc::clone(&frame);
            rig::photograph(simulated, &job.stand, scene, move |_| {
                rig::picture_of_frame(&pictures, frame.get())
            });
            true
        }
        _ => false,
    };
    let stop = interrupt::flag()?;
    let mut onlooker = Onlooker::new("shooting", &job.schedule, frame);
    let mut desk = Desk::new(&job.stand, &job.rig, &stop);
    let outcome = take::shoot(
        &job.schedule,
        &mut journal,
        &mut Stage {
            boards: &mut &job.rig,
            clock: job.rig.clock(),
            person: &mut desk,
            watch: &mut onlooker,
            trigger: &mut (),
            album: None,
            interrupt: &stop,
        },
        &[],
    );
    onlooker.done();
    let go_on = format!("go on with: panestep resume {}", quoted(job.folder.path()));
    match outcome {
        Ok(Outcome::Finished) => {
            say(&format!(
                "{} frames exposed, each exactly once",
                job.schedule.frames
            ));
            if simulated_camera {
                animate(job, &stop)?;
            }
            Ok(())
        }
        Ok(Outcome::Interrupted { next }) => Err(Failure::stopped(match next {
            Some(frame) => format!("stopped before frame {frame}; everything stands still"),
            None => "stopped; every frame is exposed, and everything stands still".to_owned(),
        })
        .hint(go_on)),
        Err(error) if error.resumable() => Err(ended(&error).hint(go_on)),
        Err(error) => Err(ended(&error)),
    }
}

/// The animation of a finished take's pictures.
fn animate(job: &Job, stop: &AtomicBool) -> Result<(), Failure> {
    let path = job.folder.path().join("animation.gif");
    let mut progress = Progress::new("making the animation", 0);
    let made = animation::write(
        &job.folder.pictures(),
        &path,
        job.shot.rate,
        ANIMATION_WIDTH,
        |done, steps| {
            progress.of(done as u64, steps as u64);
            if stop.load(Ordering::Relaxed) {
                ControlFlow::Break(())
            } else {
                ControlFlow::Continue(())
            }
        },
    );
    progress.done();
    made.map_err(|error| {
        Failure::could_not(error)
            .hint("the take itself is whole: its pictures and journal are there")
    })?;
    say(&format!(
        "pictures in {}, animation {}",
        job.folder.pictures().display(),
        path.display()
    ));
    Ok(())
}

fn wants_pictures(rig: &Rig, simulated: &args::Simulated) -> bool {
    rig.is_simulated() && !simulated.without_pictures
}

/// A folder that is named wrongly is the command line's fault; anything else is not.
fn folder_failure(error: &FolderError) -> Failure {
    match error {
        FolderError::Exists { .. } | FolderError::NoTake { .. } => Failure::wrong(error),
        _ => Failure::could_not(error),
    }
}

fn ended(error: &TakeError) -> Failure {
    match error.ending() {
        Ending::Stopped => Failure::stopped(error),
        Ending::CouldNot => Failure::could_not(error),
    }
}

/// The stand file's path and the two files' texts, for the take's copies.
fn texts(shot: &Path) -> Result<(PathBuf, String, String), Failure> {
    let read = |path: &Path| {
        fs::read_to_string(path)
            .map_err(|error| Failure::could_not(format!("{}: {error}", path.display())))
    };
    let shot_text = read(shot)?;
    let stand = panestep::file::stand_of(&shot.display().to_string(), &shot_text)
        .map_err(|problems| plan::file_failure(&problems))?;
    let stand_path = shot.parent().unwrap_or(Path::new("")).join(stand);
    let stand_text = read(&stand_path)?;
    Ok((stand_path, stand_text, shot_text))
}

/// A file's folder, wherever the take is gone on with from.
fn folder_of(file: &Path) -> Result<PathBuf, Failure> {
    let folder = match file.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    fs::canonicalize(folder)
        .map_err(|error| Failure::could_not(format!("{}: {error}", folder.display())))
}

/// The first folder of the shot's name that is free, in `takes` beside the shot file.
fn free_folder(shot: &Path, name: &str) -> PathBuf {
    let plain: String = name
        .split(|character: char| !character.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect::<Vec<_>>()
        .join("-");
    let plain = if plain.is_empty() {
        "take".to_owned()
    } else {
        plain
    };
    let takes = shot.parent().unwrap_or(Path::new("")).join("takes");
    let mut number = 1;
    loop {
        let folder = takes.join(format!("{plain}-{number}"));
        if folder.symlink_metadata().is_err() {
            return folder;
        }
        number += 1;
    }
}

/// A number for a new take, which no other has.
fn new_shot() -> Result<ShotId, Failure> {
    let mut bytes = [0; 8];
    rustix::rand::getrandom(&mut bytes, rustix::rand::GetRandomFlags::empty())
        .map_err(|error| Failure::could_not(format!("no random number to be had: {error}")))?;
    Ok(ShotId(u64::from_le_bytes(bytes)))
}

/// A path as a shell takes it.
fn quoted(path: &Path) -> String {
    let path = path.display().to_string();
    let plain = |character: char| character.is_alphanumeric() || "/._-".contains(character);
    if path.chars().all(plain) {
        path
    } else {
        format!("'{}'", path.replace('\'', "'\\''"))
    }
}
