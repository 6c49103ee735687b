//! `panestep measure`: readings in, results out, and what follows for the stand file.

pub(crate) mod args;
mod asker;
mod axis;
mod decay;
mod figures;
mod guided;
mod home;
mod kept;
mod lens;
mod output;
mod square;

use std::io::{self, IsTerminal, Read};
use std::path::Path;

use panestep::file::amend::Change;
use panestep::measure::Estimate;
use panestep::measure::table::{self, Column, Row};
use panestep::stand::{AxisId, AxisUnit, Carrier, LevelId, Stand};
use panestep::units::reading_in;

use super::at_stand::Place;
use super::screen::say;
use super::{Failure, args as typed_args};
use args::{Common, What};

/// Longest table of readings, bytes.
const MAX_TABLE: u64 = 16 << 20;

/// What is said wherever something went wrong before the end.
const UNTOUCHED: &str = "the stand file is untouched";

/// Measures.
pub(crate) fn measure(typed: &args::Measure) -> Result<(), Failure> {
    match &typed.what {
        What::Axis(typed) => axis::axis(typed),
        What::Home(typed) => home::home(typed),
        What::Square(typed) => square::square(typed),
        What::Lens(typed) => lens::lens(typed),
        What::Decay(typed) => decay::decay(typed),
    }
}

fn wrong(message: impl ToString) -> Failure {
    Failure::wrong(message).hint(UNTOUCHED)
}

/// The table of readings, where one was named.
fn table(common: &Common, columns: &[Column], least: usize) -> Result<Option<Vec<Row>>, Failure> {
    let Some(path) = &common.readings else {
        return Ok(None);
    };
    let (name, text) = text_of(path)?;
    table::read(&name, &text, columns, least)
        .map(Some)
        .map_err(wrong)
}

/// A table's name for messages and its text.
fn text_of(path: &Path) -> Result<(String, String), Failure> {
    let mut bytes = Vec::new();
    let standard = path.as_os_str() == "-";
    let name = if standard {
        "standard input".to_owned()
    } else {
        path.display().to_string()
    };
    let read = if standard {
        io::stdin()
            .lock()
            .take(MAX_TABLE + 1)
            .read_to_end(&mut bytes)
    } else {
        let regular = std::fs::metadata(path).is_ok_and(|it| it.is_file());
        if path.exists() && !regular {
            return Err(wrong(format!("{name} is not a file")));
        }
        std::fs::File::open(path).and_then(|file| file.take(MAX_TABLE + 1).read_to_end(&mut bytes))
    };
    read.map_err(|error| wrong(format!("{name} cannot be read: {error}")))?;
    if bytes.len() as u64 > MAX_TABLE {
        return Err(wrong(format!("{name} is longer than 16 MiB")));
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| wrong(format!("{name} is not UTF-8 text; save it as UTF-8")))?;
    Ok((name, text))
}

/// The axis that was named, and what it is called.
fn named_axis(place: &Place, level: &str, word: &str) -> Result<(AxisId, String), Failure> {
    let (way, _) = place.way(level, word)?;
    let stand = place.stand();
    let carrier = match level {
        "camera" => Some(Carrier::Camera),
        _ => level_of(stand, level).map(Carrier::Level),
    };
    let found = carrier.and_then(|carrier| stand.axis(carrier, way));
    found
        .map(|axis| (axis, format!("{level} {}", way.name())))
        .ok_or_else(|| {
            let axes: Vec<String> = stand
                .axes
                .iter()
                .map(|axis| format!("{} {}", stand.carrier_name(axis.of), axis.way.name()))
                .collect();
            wrong(format!(
                "{level} has no axis that goes {word}; the stand's axes are: {}",
                axes.join(", ")
            ))
        })
}

fn level_of(stand: &Stand, name: &str) -> Option<LevelId> {
    let place = stand.levels.iter().position(|level| level.name == name);
    place.map(LevelId)
}

/// A level by its name.
fn level(stand: &Stand, name: &str) -> Result<LevelId, Failure> {
    level_of(stand, name).ok_or_else(|| {
        let names: Vec<&str> = stand.levels.iter().map(|it| it.name.as_str()).collect();
        wrong(format!(
            "there is no level {name:?}; the stand's levels are: {}",
            names.join(", ")
        ))
    })
}

/// A length or angle from an option.
fn place_of(option: &str, text: &str, unit: AxisUnit) -> Result<f64, Failure> {
    reading_in(text, unit, None).map_err(|error| wrong(format!("{option}: {error}")))
}

/// A value for the file: to a tenth of its uncertainty, since further digits would say nothing.
fn rounded(estimate: Estimate) -> f64 {
    let Some(uncertainty) = estimate.uncertainty.filter(|it| *it > 0.0) else {
        return (estimate.value * 1e4).round() / 1e4;
    };
    let digit = 10_f64
        .powi(uncertainty.log10().floor() as i32 - 1)
        .max(1e-6);
    (estimate.value / digit).round() * digit
}

/// Shows what is to change in the stand file, and writes it where that was asked for, or where the
/// person at the terminal says so.
fn propose(place: &Place, changes: &[Change], common: &Common) -> Result<(), Failure> {
    let file = &place.file;
    let name = file.path().display().to_string();
    let amended = file.amend(changes).map_err(wrong)?;
    if amended.is_empty() {
        say(&format!("nothing to change in {name}"));
        return Ok(());
    }
    say("to be changed in the stand file:");
    for line in amended.lines() {
        say(&line.to_string());
    }
    let from_input = common
        .readings
        .as_ref()
        .is_some_and(|it| it.as_os_str() == "-");
    let asked = !common.write && io::stdin().is_terminal() && !from_input;
    let write = common.write
        || asked
            && place
                .desk()
                .yes_or_no("write this into it? yes, or no to leave it:")
                == Some(true);
    if !write {
        let how = if asked { "" } else { "; --write writes it" };
        say(&format!("nothing was written{how}"));
        return Ok(());
    }
    amended
        .save()
        .map_err(|error| Failure::could_not(error).hint(UNTOUCHED))?;
    say(&format!("written into {name}"));
    Ok(())
}

/// A document with what would change; where the stand file cannot take that, with why.
fn with_changes(
    mut document: serde_json::Value,
    place: &Place,
    changes: &[Change],
) -> serde_json::Value {
    let (lines, refused) = match place.file.amend(changes) {
        Ok(amended) => {
            let lines = amended.lines().iter().map(|line| {
                serde_json::json!({
                    "file": line.file, "line": line.number, "old": line.old, "new": line.new,
                })
            });
            (lines.collect(), serde_json::Value::Null)
        }
        Err(error) => (serde_json::json!([]), error.to_string().into()),
    };
    document["changes"] = lines;
    document["refused"] = refused;
    document
}

/// The stand of a command.
fn place(at: &typed_args::AtStand) -> Result<Place, Failure> {
    Place::new(at)
}
