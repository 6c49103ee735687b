//! `panestep export`: a planned shot in open formats.

use std::io::Write;
use std::ops::RangeInclusive;
use std::path::Path;

use panestep::export::scene::Scene;
use panestep::export::{DOCUMENT, texture};
use panestep::plan::curves::{self, Curves};
use panestep::take::Span;

use super::Failure;
use super::args;
use super::plan::{planned, read};
use super::screen::say;
use super::staged::{Staged, Work};

/// What shows that a file of curves is this program's: of CSV its first line, of JSON its first key.
const JSON_MARK: &str = "{\"panestep_curves\":";

/// Writes what was asked for.
pub(crate) fn export(typed: &args::Export) -> Result<(), Failure> {
    if typed.curves.is_none() && typed.scene.is_none() {
        return Err(Failure::wrong("nothing to write was named").hint(
            "say --curves FILE.csv, --curves FILE.json, --scene FOLDER or --scene FILE.glb",
        ));
    }
    // Before anything is worked out.
    let staged = Staged::new(typed.replace);
    if let Some(path) = &typed.curves {
        staged.must_be_ours(path, curves_of(path)?.mark())?;
    }
    let (stand, shot) = read(&typed.shot)?;
    let plan = planned(&typed.shot, &stand, &shot)?;
    let frames = frames(typed.frames, shot.frames)?;
    let count = u64::from(frames.end() - frames.start() + 1);

    let mut staged = staged;
    if let Some(path) = &typed.curves {
        let shape = curves_of(path)?;
        let mut work = Work::new("curves", count)?;
        let curves = Curves::new(&stand, &plan);
        let written = staged.write(path, shape.mark(), |out| {
            let begun = |_| work.step();
            match shape {
                Shape::Csv => curves::output::csv(&curves, frames, out, begun),
                Shape::Json => curves::output::json(&curves, frames, out, begun),
            }
        });
        work.end(written)?;
    }
    if let Some(path) = &typed.scene {
        let length = u64::from(shot.frames) * (stand.levels.len() as u64 + 1);
        let mut work = Work::new("scene", length)?;
        let result = scene(&mut staged, path, || {
            Scene::new(&stand, &shot, &plan, texture::load, |_| work.step())
        });
        work.end(result)?;
    }
    for path in staged.keep()? {
        say(&format!("written: {}", path.display()));
    }
    Ok(())
}

/// The frames that were asked for, or all.
pub(super) fn frames(asked: Option<Span>, last: u32) -> Result<RangeInclusive<u32>, Failure> {
    match asked {
        None => Ok(1..=last),
        Some(span) if span.first() > last => Err(Failure::wrong(format!(
            "--frames {span}: the shot has {last} frames"
        ))),
        Some(span) => Ok(span.first()..=span.last().min(last)),
    }
}

#[derive(Clone, Copy)]
enum Shape {
    Csv,
    Json,
}

impl Shape {
    const fn mark(self) -> &'static str {
        match self {
            Self::Csv => curves::output::HEAD,
            Self::Json => JSON_MARK,
        }
    }
}

/// The format that a file's ending asks for.
fn curves_of(path: &Path) -> Result<Shape, Failure> {
    match ending(path).as_deref() {
        Some("csv") => Ok(Shape::Csv),
        Some("json") => Ok(Shape::Json),
        _ => Err(Failure::wrong(format!(
            "--curves {}: its ending says neither CSV nor JSON",
            path.display()
        ))
        .hint("end the name in .csv or .json")),
    }
}

fn ending(path: &Path) -> Option<String> {
    let ending = path.extension()?.to_str()?;
    Some(ending.to_ascii_lowercase())
}

fn scene(
    staged: &mut Staged,
    path: &Path,
    make: impl FnOnce() -> std::io::Result<Scene>,
) -> Result<(), Failure> {
    let ending = ending(path);
    let one_file = matches!(ending.as_deref(), Some("gltf" | "glb")) && !path.is_dir();
    // A scene's own files are not known by their first lines: nothing is replaced unasked.
    if one_file {
        staged.must_be_ours(path, "")?;
    } else {
        staged.must_be_ours(&path.join(DOCUMENT), "")?;
    }
    let scene =
        make().map_err(|error| Failure::could_not(format!("the scene cannot be made: {error}")))?;
    match ending.as_deref() {
        Some("glb") if one_file => staged.write(path, "", |out| scene.glb(out))?,
        Some("gltf") if one_file => staged.write(path, "", |out| scene.gltf(out))?,
        _ => {
            staged.folder(path)?;
            for file in scene.beside() {
                staged.write(&path.join(file.name), "", |out| out.write_all(file.bytes))?;
            }
            // Last: a folder with a document has all that it names.
            staged.write(&path.join(DOCUMENT), "", |out| scene.document(out))?;
        }
    }
    for note in &scene.notes {
        say(note);
    }
    Ok(())
}
