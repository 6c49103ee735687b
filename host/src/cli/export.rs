//! `panestep export`: a planned shot in open formats.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use panestep::export::scene::{PAINTING, Scene};
use panestep::export::{DOCUMENT, is_painting, texture};
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
        let mut work = Work::new("scene", Scene::work(&shot, &plan))?;
        let result = scene(&mut staged, path, &mut work, |work| {
            Scene::new(&stand, &shot, &plan, texture::load, |much| work.steps(much))
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
    work: &mut Work,
    make: impl FnOnce(&mut Work) -> std::io::Result<Scene>,
) -> Result<(), Failure> {
    let ending = ending(path);
    let one_file = matches!(ending.as_deref(), Some("gltf" | "glb")) && !path.is_dir();
    // A scene's own files are not known by their first lines: nothing is replaced unasked.
    if one_file {
        staged.must_be_ours(path, "")?;
    } else {
        staged.must_be_ours(&path.join(DOCUMENT), "")?;
    }
    let scene = make(work)
        .map_err(|error| Failure::could_not(format!("the scene cannot be made: {error}")))?;
    match ending.as_deref() {
        Some("glb") if one_file => {
            staged.write(path, "", |out| scene.glb(out, |much| work.steps(much)))?
        }
        Some("gltf") if one_file => {
            staged.write(path, "", |out| scene.gltf(out, |much| work.steps(much)))?
        }
        _ => {
            staged.folder(path)?;
            let beside = scene.beside();
            for file in &beside {
                staged.write(&path.join(&file.name), "", |out| {
                    work.steps(PAINTING)?;
                    file.write(out)
                })?;
            }
            for old in paintings(path) {
                if !beside.iter().any(|file| file.name == old) {
                    say(&format!(
                        "{} is of an older scene: this one has nothing of that name",
                        path.join(old).display()
                    ));
                }
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

/// Paintings of scenes that are in a folder already.
fn paintings(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return Vec::new();
    };
    let names = entries.flatten().map(|entry| entry.file_name());
    let mut names: Vec<PathBuf> = names
        .filter(|name| name.to_str().is_some_and(is_painting))
        .map(PathBuf::from)
        .collect();
    names.sort();
    names
}
