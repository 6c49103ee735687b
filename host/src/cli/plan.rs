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
use super::screen;
use super::staged::Work;

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
    let mut out = BufWriter::new(io::stdout().lock());
    let looked = match typed.format {
        Format::Csv => None,
        Format::Table | Format::Json => Some(surveyed(&stand, &shot, &plan)?),
    };
    match (typed.format, &looked) {
        (Format::Csv, _) | (_, None) => output::csv(&plan, &mut out),
        (Format::Json, Some(looked)) => output::json(&plan, &looked.survey, &mut out),
        (Format::Table, Some(_)) => {
            output::table(&plan, 1..=shot.frames, screen::width(), &mut out)
        }
    }
    .and_then(|()| out.flush())
    .map_err(|error| Failure::output(&error))?;
    if let (Format::Table, Some(looked)) = (typed.format, &looked) {
        let times =
            times::times(plan.schedule(), times::DEFAULT_TICK_RATE).map_err(Failure::wrong)?;
        summary::figures(&stand, &shot, &plan, &times);
        summary::details(&shot, &plan, &looked.survey);
        summary::look_out(&stand, &shot, &plan, looked);
    }
    Ok(())
}

/// What a look at every picture of a plan, and at its art, has shown.
pub(crate) struct Looked {
    pub(crate) survey: Survey,
    /// What is wrong with the art, in sentences.
    pub(crate) art: Vec<String>,
}

/// Looks at every picture of a plan, and at the edges of the art.
pub(crate) fn surveyed(stand: &Stand, shot: &Shot, plan: &Plan) -> Result<Looked, Failure> {
    let mut files: Vec<(usize, &Path)> = Vec::new();
    for (place, layer) in shot.layers.iter().enumerate() {
        let drawn = shot.cels.iter().filter(|cels| cels.level == layer.level);
        let drawings = drawn.flat_map(|cels| cels.drawings());
        let all = layer
            .art
            .iter()
            .chain(drawings.filter_map(|drawing| drawing.art.as_ref()));
        for art in all {
            if !files.contains(&(place, art)) {
                files.push((place, art));
            }
        }
    }
    let mut art: Vec<Option<Painted>> = vec![None; shot.layers.len()];
    let mut wrong = Vec::new();
    let mut work = Work::new("looking at the art", files.len() as u64)?;
    for &(place, path) in &files {
        if work.step().is_err() {
            return work.end(Err(Failure::stopped("stopped")));
        }
        let level = &stand.levels[place].name;
        match (picture::painted(level, path), &mut art[place]) {
            (Err(error), _) => wrong.push(format!(
                "{error}; the shot cannot be shot so on the simulated stand, and whether this \
                 fills the picture cannot be told"
            )),
            (Ok(painted), known @ None) => *known = Some(painted),
            (Ok(painted), Some(known)) => {
                if let Some(sentence) = other_shape(level, path, known, &painted) {
                    wrong.push(sentence);
                }
                for (known, edge) in known.to_edge.iter_mut().zip(painted.to_edge) {
                    *known |= edge;
                }
            }
        }
    }
    work.end(Ok(()))?;
    let mut work = Work::new("looking at every frame", u64::from(shot.frames))?;
    let mut seen = 0;
    let survey = survey(stand, shot, plan, &art, |done| {
        let more = u64::from(done - seen);
        seen = done;
        work.steps(more).is_ok()
    });
    let survey = work.end(survey.ok_or_else(|| Failure::stopped("stopped")))?;
    Ok(Looked { survey, art: wrong })
}

/// Drawings of one level have one width on the glass; where their pictures have another shape, one
/// is higher than the other.
fn other_shape(level: &str, path: &Path, first: &Painted, other: &Painted) -> Option<String> {
    let shape = |of: &Painted| f64::from(of.rows) / f64::from(of.columns.max(1));
    let apart = (shape(first) - shape(other)).abs() * f64::from(first.columns);
    // A row more or less is rounding.
    (apart > 1.5).then(|| {
        format!(
            "{level}: {} has {} x {} pixels, another shape than the {} x {} of its first picture: they will not lie one on another",
            path.display(),
            other.columns,
            other.rows,
            first.columns,
            first.rows
        )
    })
}
