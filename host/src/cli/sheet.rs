//! `panestep sheet`: what to print; `panestep chart`: what to look at.

use std::path::Path;

use panestep::paper::chart::{Chart, charts};
use panestep::paper::elevation::elevation;
use panestep::paper::exposure_sheet::{self, ExposureSheet, Wanted};
use panestep::paper::raster::{png, raster};
use panestep::paper::{MARK, painters_sheet};
use panestep::plan::Plan;
use panestep::plan::survey::Survey;
use panestep::shot::Shot;
use panestep::stand::{AxisUnit, Stand};
use panestep::units::reading_in;

use super::Failure;
use super::args::{self, ChartFormat};
use super::plan::{Looked, planned, read, surveyed};
use super::screen::say;
use super::staged::{Staged, Work};

/// Pixels of a PNG to a pixel of the drawing: it can be printed then.
const SCALE: f32 = 2.0;

/// A shot planned and looked at.
struct Ready {
    stand: Stand,
    shot: Shot,
    plan: Plan,
    survey: Survey,
}

impl Ready {
    fn new(path: &Path) -> Result<Self, Failure> {
        let (stand, shot) = read(path)?;
        let plan = planned(path, &stand, &shot)?;
        let Looked { survey, art } = surveyed(&stand, &shot, &plan)?;
        for wrong in art {
            say(&format!("look out: {wrong}"));
        }
        Ok(Self {
            stand,
            shot,
            plan,
            survey,
        })
    }
}

/// Writes both sheets.
pub(crate) fn sheet(typed: &args::Sheet) -> Result<(), Failure> {
    let margin_mm = margin(&typed.margin)?;
    let Ready {
        stand,
        shot,
        plan,
        survey,
    } = &Ready::new(&typed.shot)?;
    let frames = super::export::frames(typed.frames, shot.frames)?;
    let wanted = Wanted {
        frames,
        motors: typed.motors,
    };
    let folder = &typed.out;
    let mut staged = Staged::new(typed.replace);
    let files = [
        ("exposure-sheet.html", MARK),
        ("exposure-sheet.csv", exposure_sheet::CSV_HEAD),
        ("painters-sheet.html", MARK),
        ("painters-sheet.csv", painters_sheet::CSV_HEAD),
    ]
    .map(|(name, mark)| (folder.join(name), mark));
    for (path, mark) in &files {
        staged.must_be_ours(path, mark)?;
    }
    let sheet = ExposureSheet::new(stand, shot, plan, survey, &wanted);
    let (rows, lines) = sheet.rows();
    let mut work = Work::new("sheets", rows + lines + u64::from(shot.frames))?;
    let mut write = || -> Result<(), Failure> {
        staged.folder(folder)?;
        let [exposures, exposures_csv, painters, painters_csv] = &files;
        staged.write(&exposures.0, exposures.1, |out| {
            sheet.html(out, |_| work.step())
        })?;
        staged.write(&exposures_csv.0, exposures_csv.1, |out| {
            sheet.csv(out, |_| work.step())
        })?;
        let tasks = painters_sheet::tasks(stand, shot, plan, survey, margin_mm, |_| work.step())
            .map_err(Failure::could_not)?;
        staged.write(&painters.0, painters.1, |out| {
            painters_sheet::html(stand, shot, survey, &tasks, margin_mm, out)
        })?;
        staged.write(&painters_csv.0, painters_csv.1, |out| {
            painters_sheet::csv(shot, &tasks, margin_mm, out)
        })
    };
    let result = write();
    work.end(result)?;
    kept(staged)
}

/// Draws the charts.
pub(crate) fn chart(typed: &args::Chart) -> Result<(), Failure> {
    let Ready {
        stand,
        shot,
        plan,
        survey,
    } = &Ready::new(&typed.shot)?;
    let mut staged = Staged::new(typed.replace);
    let mut work = Work::new("charts", u64::from(shot.frames))?;
    let mut draw = || -> Result<(), Failure> {
        let failed = |error| Failure::could_not(format!("nothing can be drawn: {error}"));
        let mut all = charts(stand, shot, plan, survey, |_| work.step()).map_err(failed)?;
        all.push(Chart {
            name: "elevation".into(),
            svg: elevation(stand, shot, plan),
        });
        // All of them can be written, or none is.
        let ending = match typed.format {
            ChartFormat::Svg => "svg",
            ChartFormat::Png => "png",
        };
        let path = |chart: &Chart| typed.out.join(format!("{}.{ending}", chart.name));
        for chart in &all {
            staged.must_be_ours(&path(chart), MARK)?;
        }
        staged.folder(&typed.out)?;
        for chart in &all {
            match typed.format {
                ChartFormat::Svg => staged.write(&path(chart), MARK, |out| {
                    std::io::Write::write_all(out, chart.svg.as_bytes())
                })?,
                ChartFormat::Png => {
                    let picture = raster(&chart.svg, SCALE).map_err(Failure::could_not)?;
                    staged.write(&path(chart), MARK, |out| png(&picture, out))?;
                }
            }
        }
        Ok(())
    };
    let result = draw();
    work.end(result)?;
    kept(staged)
}

fn kept(staged: Staged) -> Result<(), Failure> {
    for path in staged.keep()? {
        say(&format!("written: {}", path.display()));
    }
    Ok(())
}

fn margin(text: &str) -> Result<f64, Failure> {
    let wrong = |what: String| Failure::wrong(format!("--margin {text}: {what}"));
    let margin =
        reading_in(text, AxisUnit::Millimetre, None).map_err(|error| wrong(error.to_string()))?;
    if (0.0..=10_000.0).contains(&margin) {
        return Ok(margin);
    }
    Err(wrong("between 0 mm and 10 m is wanted".into()))
}
