//! `panestep plan`, and the reading and planning that other commands begin with.

mod summary;

use std::io::{self, BufWriter, Write};
use std::path::Path;

use panestep::picture;
use panestep::plan::coverage::Painted;
use panestep::plan::survey::{Survey, survey};
use panestep::plan::times;
use panestep::plan::{Plan, output};
use panestep::shot::Shot;
use panestep::stand::Stand;

use super::Failure;
use super::args::{self, Format};
use super::screen::{self, Progress};

pub(crate) use summary::summary;

/// Reads a shot and its stand.
pub(crate) fn read(shot: &Path) -> Result<(Stand, Shot), Failure> {
    panestep::file::read_shot(shot).map_err(|problems| file_failure(&problems))
}

/// What is wrong with a file, with its lines.
pub(crate) fn file_failure(problems: &panestep::file::Problems) -> Failure {
    let count = problems.all().len();
    let things = if count == 1 {
        "one thing is"
    } else {
        &format!("{count} things are")
    };
    Failure::wrong(format!(
        "{things} wrong, nothing was done\n\n{}",
        problems.report(screen::colour())
    ))
}

/// Plans a shot, or says everything that speaks against it.
pub(crate) fn planned(path: &Path, stand: &Stand, shot: &Shot) -> Result<Plan, Failure> {
    Plan::new(stand, shot).map_err(|refusals| {
        Failure::wrong(format!(
            "{} cannot be shot on {}; nothing was moved\n\n{refusals}",
            path.display(),
            stand.name,
        ))
    })
}

/// Writes the targets to standard output, and what to know about them to standard error.
pub(crate) fn plan(typed: &args::Plan) -> Result<(), Failure> {
    let (stand, shot) = read(&typed.shot)?;
    let plan = planned(&typed.shot, &stand, &shot)?;
    let surveyed = surveyed(&stand, &shot, &plan);
    let mut out = BufWriter::new(io::stdout().lock());
    match typed.format {
        Format::Table => output::table(&plan, 1..=shot.frames, screen::width(), &mut out),
        Format::Json => output::json(&plan, &surveyed, &mut out),
        Format::Csv => output::csv(&plan, &mut out),
    }
    .and_then(|()| out.flush())
    .map_err(|error| Failure::output(&error))?;
    if typed.format == Format::Table {
        let times =
            times::times(plan.schedule(), times::DEFAULT_TICK_RATE).map_err(Failure::wrong)?;
        summary(&stand, &shot, &plan, &times, &surveyed);
        summary::details(&shot, &plan, &surveyed);
    }
    Ok(())
}

/// Looks at every picture of a plan, and at the edges of the art. Art that cannot be read is not
/// known here; it is spoken of where it is needed.
pub(crate) fn surveyed(stand: &Stand, shot: &Shot, plan: &Plan) -> Survey {
    let art: Vec<Option<Painted>> = shot
        .layers
        .iter()
        .map(|layer| {
            let drawn = shot.cels.iter().filter(|cels| cels.level == layer.level);
            let drawings = drawn.flat_map(|cels| &cels.drawings);
            let mut all = layer
                .art
                .iter()
                .chain(drawings.filter_map(|drawing| drawing.art.as_ref()));
            let art = all.next()?;
            picture::painted(&stand.levels[layer.level.0].name, art).ok()
        })
        .collect();
    let mut progress = Progress::new("looking at every frame", u64::from(shot.frames));
    // A bar for less than a blink is none.
    const SHORT: u32 = 50_000;
    let survey = survey(stand, shot, plan, &art, |done| {
        if shot.frames > SHORT && done % 1000 < shot.hold {
            progress.at(u64::from(done), "");
        }
    });
    progress.done();
    survey
}
