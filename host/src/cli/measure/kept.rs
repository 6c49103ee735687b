//! Readings and plots in files, none of which is ever written over another.

use std::cell::Cell;
use std::fmt::Write as _;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use panestep::measure::axis::{AxisReading, Going};
use panestep::stand::AxisUnit;

use super::{UNTOUCHED, wrong};
use crate::cli::Failure;

/// A file that grows with what is read. It is made with the first of it: a series that ends before
/// leaves nothing behind.
pub(super) struct Growing {
    path: Option<PathBuf>,
    made: Cell<bool>,
    /// Whether it holds all that it was given last.
    whole: Cell<bool>,
}

impl Growing {
    pub(super) fn begin(path: Option<&Path>) -> Result<Self, Failure> {
        if let Some(path) = path {
            must_be_free("--save", path)?;
        }
        Ok(Self {
            path: path.map(Path::to_owned),
            made: Cell::new(false),
            whole: Cell::new(false),
        })
    }

    /// Writes all that there is. In its place, not beside it: it is this program's own file.
    pub(super) fn write(&self, text: &str) -> Result<(), Failure> {
        let Some(path) = &self.path else {
            return Ok(());
        };
        self.whole.set(false);
        let first = !self.made.get();
        let written = OpenOptions::new()
            .write(true)
            .create_new(first)
            .truncate(!first)
            .open(path)
            .and_then(|mut file| {
                self.made.set(true);
                file.write_all(text.as_bytes())?;
                file.sync_data()
            });
        written.map_err(|error| {
            Failure::could_not(format!("{} cannot be written: {error}", path.display()))
        })?;
        self.whole.set(true);
        Ok(())
    }

    /// Where what was written last can be found: in the file, or in `text`, which is said.
    pub(super) fn where_it_is(&self, what: &str, text: &str) -> String {
        match &self.path {
            Some(path) if self.whole.get() => format!("{what} are in {}", path.display()),
            Some(_) => format!("{what}:\n{}", text.trim_end()),
            None => format!("{what}, which --save would have kept:\n{}", text.trim_end()),
        }
    }
}

/// Readings as they are kept in a file.
pub(super) struct Kept {
    file: Growing,
    head: &'static str,
    unit: AxisUnit,
    /// What a turn of the motor moved by the stand file when they were read: it says to which file
    /// they belong.
    turn: Option<f64>,
}

impl Kept {
    pub(super) fn begin(
        path: Option<&Path>,
        head: &'static str,
        unit: AxisUnit,
        turn: Option<f64>,
    ) -> Result<Self, Failure> {
        Ok(Self {
            file: Growing::begin(path)?,
            head,
            unit,
            turn,
        })
    }

    fn text(&self, readings: &[AxisReading]) -> String {
        let sign = self.unit.sign();
        let both = self.head.starts_with("run");
        let turn = self.turn.filter(|_| both);
        let mut text = self.head.replace('@', sign);
        if turn.is_some() {
            text.push_str(&format!(",per_turn {sign}"));
        }
        text.push('\n');
        let last = turn.map(|turn| format!(",{turn}")).unwrap_or_default();
        for it in readings {
            let going = match it.going {
                Going::Forward => "forward",
                Going::Backward => "backward",
            };
            let _ = if both {
                writeln!(
                    text,
                    "{},{going},{:.6},{:.6}{last}",
                    it.run, it.target, it.reading
                )
            } else {
                writeln!(text, "{:.6},{:.6}", it.target, it.reading)
            };
        }
        text
    }

    pub(super) fn keep(&self, readings: &[AxisReading]) -> Result<(), Failure> {
        self.file.write(&self.text(readings))
    }

    /// What became of the readings of a series that has ended early.
    pub(super) fn so_far(&self, readings: &[AxisReading]) -> String {
        match readings.len() {
            0 => format!("nothing had been read; {UNTOUCHED}"),
            count => {
                let what = format!("the {count} readings so far");
                let text = self.text(readings);
                format!("{UNTOUCHED}; {}", self.file.where_it_is(&what, &text))
            }
        }
    }

    /// Where the readings of a whole series are, for whoever would have to read them all again.
    pub(super) fn all(&self, readings: &[AxisReading]) -> String {
        let what = format!("the {} readings", readings.len());
        self.file.where_it_is(&what, &self.text(readings))
    }
}

/// Sees that a file can be made, and that none is there: whatever is there is somebody's.
pub(super) fn must_be_free(option: &str, path: &Path) -> Result<(), Failure> {
    let name = path.display();
    if path.symlink_metadata().is_ok() {
        return Err(wrong(format!(
            "{option} {name}: something of that name is there already, and is left as it is; nothing \
             was moved. Name another file, or move that one out of the way"
        )));
    }
    OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .and_then(|_| fs::remove_file(path))
        .map_err(|error| {
            wrong(format!(
                "{option} {name} cannot be written: {error}; nothing was moved. See that its folder \
                 is there and can be written into"
            ))
        })
}

/// Writes a plot, into a file that is not there yet.
pub(super) fn write_plot(path: &Path, text: &str) -> Result<(), Failure> {
    OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .and_then(|mut file| file.write_all(text.as_bytes()))
        .map_err(|error| {
            Failure::could_not(format!(
                "the plot was not drawn: {}: {error}",
                path.display()
            ))
        })
}
