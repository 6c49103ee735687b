//! Reads the two files that a person writes, the stand and the shot, and says what is wrong.
//!
//! The text becomes a tree of values that know their place ([`toml`]'s own), the tree becomes the
//! types of [`crate::stand`] and [`crate::shot`], and everything that is wrong on the way is
//! gathered, so that one reading names it all.

pub mod amend;
mod axis;
mod exposures;
mod problems;
mod reader;
mod screw;
mod shot;
mod shutter;
mod stand;
mod words;

use std::path::{Path, PathBuf};

use crate::shot::Shot;
use crate::stand::Stand;

pub use problems::{Problem, Problems};

/// Longest file that is read, bytes.
pub const MAX_FILE: u64 = 1 << 20;

/// Reads a stand file.
///
/// # Errors
///
/// Everything that is wrong with it.
pub fn read_stand(path: impl AsRef<Path>) -> Result<Stand, Problems> {
    let path = path.as_ref();
    read_stand_text(&path.display().to_string(), &load(path)?)
}

/// Reads a stand from text; `name` stands for the file's in messages.
///
/// # Errors
///
/// Everything that is wrong with it.
pub fn read_stand_text(name: &str, text: &str) -> Result<Stand, Problems> {
    reader::read(name, text, stand::stand)
}

/// Reads a shot file and the stand that it names, which lies relative to the shot's folder.
///
/// # Errors
///
/// Everything that is wrong with the stand or, where that is sound, with the shot.
pub fn read_shot(path: impl AsRef<Path>) -> Result<(Stand, Shot), Problems> {
    let path = path.as_ref();
    let name = path.display().to_string();
    let text = load(path)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let stand_path = folder.join(stand_of(&name, &text)?);
    let stand_name = stand_path.display().to_string();
    let stand_text = load(&stand_path)?;
    let stand = read_stand_text(&stand_name, &stand_text)?;
    let places = stand_places(&stand_name, &stand_text)?;
    let shot = reader::read(&name, &text, |table| {
        shot::shot(table, &stand, folder, &places)
    })?;
    Ok((stand, shot))
}

/// Reads a shot from text, for a stand that has been read; art lies relative to `folder`. Nothing
/// is read from disk, and where the text says that the stand lies does not matter.
///
/// # Errors
///
/// Everything that is wrong with it.
pub fn read_shot_text(
    name: &str,
    text: &str,
    stand: &Stand,
    folder: &Path,
) -> Result<Shot, Problems> {
    reader::read(name, text, |table| shot::shot(table, stand, folder, &[]))
}

/// Where a sound stand's levels stand in its file, as `file:line`, in its order.
fn stand_places(name: &str, text: &str) -> Result<Vec<String>, Problems> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    reader::read(name, text, |table| {
        table.leave_rest();
        let place = |level: &reader::Table<'_>| {
            level.leave_rest();
            let line = text[..level.place_of("name").start].matches('\n').count() + 1;
            format!("{name}:{line}")
        };
        Some(table.tables("level").iter().map(place).collect())
    })
}

/// The stand file that a shot's text names, as it is written there.
///
/// # Errors
///
/// Where the text is not sound TOML or names none.
pub fn stand_of(name: &str, text: &str) -> Result<PathBuf, Problems> {
    reader::read(name, text, |table| {
        table.leave_rest();
        if table.has("lens") && !table.has("stand") {
            table.note(
                table.place_of("lens"),
                "a stand has this, a shot has not",
                "this file describes a stand, not a shot",
                "name a shot's file; what looks at a stand alone is `check`",
            );
            return None;
        }
        table.text("stand").map(PathBuf::from)
    })
}

fn load(path: &Path) -> Result<String, Problems> {
    use std::io::Read;
    let name = path.display().to_string();
    let fail = |message: String, help: &str| {
        let file = problems::source(&name, "");
        let texts = [String::new(), message, help.into()];
        Problems::new(vec![Problem::new(&file, None, texts)])
    };
    let unreadable = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => fail(
            format!("there is no file {name}"),
            "check the path; a shot names its stand relative to the shot's own folder",
        ),
        _ => fail(
            format!("{name} cannot be read: {error}"),
            "check that it is a file and may be read",
        ),
    };
    // A device or a pipe would never end, or wait for ever.
    if !std::fs::metadata(path).map_err(unreadable)?.is_file() {
        return Err(fail(
            format!("{name} is not a file"),
            "name the file itself",
        ));
    }
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(MAX_FILE + 1).read_to_end(&mut bytes))
        .map_err(unreadable)?;
    if bytes.len() as u64 > MAX_FILE {
        return Err(fail(
            format!("{name} is longer than 1 MiB: a stand or shot is a few pages of text"),
            "check that this is the right file",
        ));
    }
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let line = error.as_bytes()[..at]
            .iter()
            .filter(|byte| **byte == b'\n')
            .count()
            + 1;
        fail(
            format!("{name} is not UTF-8 text: line {line} has a byte that is none"),
            "save it as UTF-8 from a text editor",
        )
    })
}
