//! `panestep shoot`, `rehearse` and `resume`.

use std::fs;
use std::path::{Path, PathBuf};
use std::rc::Rc;

use panestep::file::amend::StandFile;
use panestep::picture::Scene;
use panestep::plan::times;
use panestep::schedule::{Schedule, differences};
use panestep::shot::Shot;
use panestep::stand::{Release, Stand};
use panestep::take::{
    self, Ending, Files, Folder, FolderError, Outcome, Stage, TakeError, TakeState,
};
use panestep_protocol::ShotId;

use super::edits::{edits, left_out, pass_named, pass_names};
use super::job::Job;
use super::muster::muster;
use super::onlooker::Onlooker;
use super::outside::Outside;
use super::people::Desk;
use super::rig::{self, Rig};
use super::screen::say;
use super::step::Keys;
use super::typed::Typing;
use super::{Failure, args, interrupt, plan};

/// Most differences between two plans that are shown.
const DIFFERENCES: usize = 12;

/// Photographs a shot.
pub(crate) fn shoot(typed: &args::Shoot) -> Result<(), Failure> {
    let (stand, shot) = plan::read(&typed.shot)?;
    let planned = plan::planned(&typed.shot, &stand, &shot)?;
    let order = planned.schedule().order();
    let pass = pass_named(typed.pass.as_deref(), &pass_names(&shot))?;
    let edits = left_out(&typed.only, pass, &order)?;
    let path = typed
        .take
        .clone()
        .unwrap_or_else(|| free_folder(&typed.shot, &shot.name));
    if path.symlink_metadata().is_ok() {
        return Err(folder_failure(&FolderError::Exists { path }));
    }
    let rig = Rig::new(&stand, &typed.ports, &typed.simulated, 0)?;
    let (stand_path, stand_text, shot_text) = texts(&typed.shot)?;
    rig.stop_is_tested(&stand, &stand_path)?;
    let base = folder_of(&stand_path)?;
    let outside = Outside::new(&stand, &rig, &base)?;
    muster(&rig, &stand, "nothing was moved, and no take was begun")?;
    let scene = scene(&stand, &shot, &rig, &typed.simulated)?;
    let time =
        times::times(planned.schedule(), times::DEFAULT_TICK_RATE).map_err(Failure::wrong)?;
    plan::summary(
        &stand,
        &shot,
        &planned,
        &time,
        &plan::surveyed(&stand, &shot, &planned)?,
    );
    say_simulated(&stand, &rig);
    let schedule = planned.into_schedule();

    let (folder, journal) = Folder::create(
        &path,
        &Files {
            stand: &stand_text,
            shot: &shot_text,
            art: &folder_of(&typed.shot)?,
            base: &base,
        },
        &schedule,
        new_shot()?,
        Box::new(jiff::Timestamp::now),
    )
    .map_err(|error| folder_failure(&error))?;
    say(&format!("the take is in {}", folder.path().display()));
    let resume = resume_command(&folder, &typed.ports, &typed.simulated);
    Job {
        stand,
        shot,
        schedule,
        rig,
        folder,
        base,
        step: typed.step,
        resume,
    }
    .run(outside, scene, journal, &edits)
}

/// Goes on with a take.
pub(crate) fn resume(typed: &args::Resume) -> Result<(), Failure> {
    let (folder, journal) = Folder::open(&typed.take, Box::new(jiff::Timestamp::now))
        .map_err(|error| not_opened(&error, &typed.take))?;
    let read = |path: PathBuf| {
        fs::read_to_string(&path)
            .map(|text| (path.display().to_string(), text))
            .map_err(|error| Failure::could_not(format!("{}: {error}", path.display())))
    };
    let (stand_name, stand_text) = read(folder.stand())?;
    let (shot_name, shot_text) = read(folder.shot())?;
    let stand = panestep::file::read_stand_text(&stand_name, &stand_text)
        .map_err(|problems| plan::file_failure(&problems))?;
    let state = journal.state();
    let art = PathBuf::from(&state.art);
    let shot = panestep::file::read_shot_text(&shot_name, &shot_text, &stand, &art)
        .map_err(|problems| plan::file_failure(&problems))?;
    let schedule = plan::planned(&folder.shot(), &stand, &shot)?.into_schedule();
    same_plan(&folder, state, &schedule)?;
    let edits = edits(typed, state, &pass_names(&shot))?;
    let rig = Rig::new(&stand, &typed.ports, &typed.simulated, state.lines)?;
    let (now, file) = stops_now(&stand, &folder, &state.base, (&shot_name, &shot_text));
    rig.stop_is_tested(&now, &file)?;
    let base = match state.base.as_str() {
        // A journal of before the stand's folder was kept.
        "" => folder.path().to_owned(),
        base => PathBuf::from(base),
    };
    let outside = Outside::new(&stand, &rig, &base)?;
    muster(&rig, &stand, "nothing was moved")?;
    let scene = scene(&stand, &shot, &rig, &typed.simulated)?;
    match (state.next_frame(), state.open) {
        (_, Some(open)) if !edits.is_empty() => say(&format!(
            "frame {} was begun, and what became of it is not known yet: the changes are made once \
             that is settled; if the program stops before, ask for them again",
            state.turn(open.frame)
        )),
        _ if !edits.is_empty() => {}
        (_, Some(open)) => say(&format!(
            "frame {} was begun, and what became of it is not known yet",
            state.turn(open.frame)
        )),
        (Some(number), None) => {
            let turn = state.turn(number);
            let of = if turn.several {
                ", of the shot's "
            } else {
                " of "
            };
            let frames = schedule.frames;
            say(&format!("going on with frame {turn}{of}{frames}"));
        }
        (None, None) => say("every frame of this take is exposed already, or left out"),
    }
    say_simulated(&stand, &rig);
    let resume = resume_command(&folder, &typed.ports, &typed.simulated);
    Job {
        stand,
        shot,
        schedule,
        rig,
        folder,
        base,
        step: typed.step,
        resume,
    }
    .run(outside, scene, journal, &edits)
}

/// The take's stand with what is known today of its boards' stops, and the file that says so: the
/// stand file that the take was begun from, where it is still there and sound, as boards are rewired
/// and tested after a take has begun; else the take's own copy.
fn stops_now(
    stand: &Stand,
    folder: &Folder,
    base: &str,
    (shot_name, shot_text): (&str, &str),
) -> (Stand, PathBuf) {
    let copy = || (stand.clone(), folder.stand());
    let named = panestep::file::stand_of(shot_name, shot_text).ok();
    let Some(name) = named.as_deref().and_then(Path::file_name) else {
        return copy();
    };
    if base.is_empty() {
        return copy();
    }
    let path = Path::new(base).join(name);
    let Ok(file) = StandFile::read(path) else {
        return copy();
    };
    let (mut now, path) = (stand.clone(), file.path().to_owned());
    for board in &mut now.boards {
        let mut known = file.stand().boards.iter();
        if let Some(known) = known.find(|known| known.name == board.name) {
            board.stop_tested = known.stop_tested;
        }
    }
    (now, path)
}

/// A take goes on with the plan that it began with, or not at all.
fn same_plan(folder: &Folder, state: &TakeState, now: &Schedule) -> Result<(), Failure> {
    if take::fingerprint(now) == state.schedule {
        return Ok(());
    }
    let what = "the take began with another plan than its own copies of stand and shot give now: \
                they have been changed, or this program works it out otherwise; nothing was moved";
    let differences = match folder.schedule() {
        Ok(began) if take::fingerprint(&began) == state.schedule => {
            let found = differences(&began, now);
            let mut text = String::new();
            for difference in found.iter().take(DIFFERENCES) {
                text.push_str("\n  ");
                text.push_str(difference);
            }
            if found.len() > DIFFERENCES {
                text.push_str(&format!("\n  and {} more", found.len() - DIFFERENCES));
            }
            text
        }
        Ok(_) => "\n  its copy of that plan, schedule.json, is not the one it began with either"
            .to_owned(),
        Err(error) => format!("\n  what differs cannot be shown: {error}"),
    };
    Err(
        Failure::wrong(format!("{what}\n{differences}")).hint(format!(
            "put stand.toml and shot.toml in {} back as they were, or begin a new take",
            folder.path().display()
        )),
    )
}

/// Why a take cannot be opened, and the ways back.
fn not_opened(error: &FolderError, path: &Path) -> Failure {
    let take = quoted(path);
    let hint = match error {
        FolderError::Journal { .. } => format!(
            "nothing was moved. What the journal still tells: panestep record {take}\n\
             the frames that are missing, in a new take: panestep shoot SHOT --only FRAMES"
        ),
        FolderError::Locked { .. } => {
            format!("nothing was moved. How far it is: panestep record {take}")
        }
        _ => "nothing was moved".to_owned(),
    };
    folder_failure(error).hint(hint)
}

/// What has to be typed to go on with a take.
fn resume_command(folder: &Folder, ports: &args::Ports, simulated: &args::Simulated) -> String {
    let mut command = format!("panestep resume {}", quoted(folder.path()));
    for (board, port) in &ports.ports {
        let port = quoted(Path::new(&format!("{board}={port}")));
        command.push_str(&format!(" --port {port}"));
    }
    if simulated.seed != args::SEED {
        command.push_str(&format!(" --seed {}", simulated.seed));
    }
    if simulated.without_pictures {
        command.push_str(" --without-pictures");
    }
    command
}

fn say_simulated(stand: &Stand, rig: &Rig) {
    if !rig.is_simulated() {
        return;
    }
    say(
        "the stand is simulated: its own clock runs faster than yours, and the times are by its clock",
    );
    if let Release::Command { .. } = stand.shutter.release {
        say("its camera is not: the stand file's own command is run to take each picture");
    }
}

/// The art for a simulated camera, where there is one.
fn scene(
    stand: &Stand,
    shot: &Shot,
    rig: &Rig,
    simulated: &args::Simulated,
) -> Result<Option<Scene>, Failure> {
    let by_command = matches!(stand.shutter.release, Release::Command { .. });
    (rig.is_simulated() && !simulated.without_pictures && !by_command)
        .then(|| rig::scene(stand, shot))
        .transpose()
}

/// Makes every move of a shot without exposing.
pub(crate) fn rehearse(typed: &args::Rehearse) -> Result<(), Failure> {
    let (stand, shot) = plan::read(&typed.shot)?;
    let schedule = plan::planned(&typed.shot, &stand, &shot)?.into_schedule();
    let rig = Rig::new(&stand, &typed.ports, &typed.simulated, 0)?;
    let (stand_path, _, _) = texts(&typed.shot)?;
    rig.stop_is_tested(&stand, &stand_path)?;
    muster(&rig, &stand, "nothing was moved")?;
    let stop = interrupt::flag()?;
    let mut onlooker = if typed.step {
        Onlooker::of_steps(&schedule, Rc::default())
    } else {
        let turns = u32::try_from(take::run::rehearsed(&schedule).len()).unwrap_or(u32::MAX);
        Onlooker::new("rehearsing", &schedule, turns, Rc::default())
    };
    let typing = Rc::new(Typing::new(&stop));
    let mut desk = Desk::new(&stand, &rig, &typing).with_frames_of(&schedule);
    let mut stage = Stage {
        boards: &mut &rig,
        clock: rig.clock(),
        person: &mut desk,
        watch: &mut onlooker,
        trigger: &mut (),
        album: None,
        interrupt: &stop,
    };
    let outcome = if typed.step {
        take::rehearse_by_steps(&schedule, &mut stage, &mut Keys::new(&typing, &schedule))
    } else {
        take::rehearse(&schedule, &mut stage)
    };
    onlooker.done();
    match outcome {
        Ok(Outcome::Finished) if typed.step => {
            say("the rehearsal is over; nothing was exposed");
            Ok(())
        }
        Ok(Outcome::Finished) => {
            let back = if schedule.order().runs().len() > 1 {
                " and the way back to the first"
            } else {
                ""
            };
            say(&format!(
                "rehearsed {} frames{back}, nothing was exposed",
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

/// A folder that is named wrongly is the command line's fault; anything else is not.
fn folder_failure(error: &FolderError) -> Failure {
    match error {
        FolderError::Exists { .. } | FolderError::NoTake { .. } => Failure::wrong(error),
        _ => Failure::could_not(error),
    }
}

/// An ending with its exit code.
pub(crate) fn ended(error: &TakeError) -> Failure {
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
pub(crate) fn quoted(path: &Path) -> String {
    let path = path.display().to_string();
    let plain = |character: char| character.is_alphanumeric() || "/._-=:".contains(character);
    if path.chars().all(plain) {
        path
    } else {
        format!("'{}'", path.replace('\'', "'\\''"))
    }
}
