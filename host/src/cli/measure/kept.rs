//! Readings and plots in files.

use std::fmt::Write as _;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use panestep::measure::axis::{AxisReading, Going};
use panestep::stand::AxisUnit;

use super::{UNTOUCHED, wrong};
use crate::cli::Failure;

/// Readings as they are kept in a file.
pub(super) struct Kept {
    path: Option<PathBuf>,
    head: &'static str,
    unit: AxisUnit,
}

impl Kept {
    pub(super) fn begin(
        path: Option<&Path>,
        head: &'static str,
        unit: AxisUnit,
    ) -> Result<Self, Failure> {
        if let Some(path) = path {
            begin_file(path)?;
        }
        Ok(Self {
            path: path.map(Path::to_owned),
            head,
            unit,
        })
    }

    fn text(&self, readings: &[AxisReading]) -> String {
        let sign = self.unit.sign();
        let mut text = format!("{}\n", self.head.replace('@', sign));
        let both = self.head.starts_with("run");
        for it in readings {
            let going = match it.going {
                Going::Forward => "forward",
                Going::Backward => "backward",
            };
            let _ = if both {
                writeln!(
                    text,
                    "{},{going},{:.6},{:.6}",
                    it.run, it.target, it.reading
                )
            } else {
                writeln!(text, "{:.6},{:.6}", it.target, it.reading)
            };
        }
        text
    }

    pub(super) fn keep(&self, readings: &[AxisReading]) -> Result<(), Failure> {
        match &self.path {
            Some(path) => write_file(path, &self.text(readings)),
            None => Ok(()),
        }
    }

    /// What became of the readings of a series that has ended early.
    pub(super) fn so_far(&self, readings: &[AxisReading]) -> String {
        match (&self.path, readings.len()) {
            (_, 0) => format!("nothing had been read; {UNTOUCHED}"),
            (Some(path), count) => format!(
                "the {count} readings so far are in {}; {UNTOUCHED}",
                path.display()
            ),
            (None, count) => format!(
                "{UNTOUCHED}. The {count} readings so far, which --save would have kept:\n{}",
                self.text(readings).trim_end()
            ),
        }
    }
}

/// Makes a file for readings; one that is there already is somebody's.
pub(super) fn begin_file(path: &Path) -> Result<(), Failure> {
    OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .map(drop)
        .map_err(|error| {
            wrong(format!(
                "--save {}: {error}; nothing was moved",
                path.display()
            ))
        })
}

/// Writes what there is so far. In its place, not beside it: it is this program's own file.
pub(super) fn write_file(path: &Path, text: &str) -> Result<(), Failure> {
    let written = OpenOptions::new()
        .write(true)
        .truncate(true)
        .open(path)
        .and_then(|mut file| {
            file.write_all(text.as_bytes())?;
            file.sync_data()
        });
    written.map_err(|error| Failure::could_not(format!("{}: {error}", path.display())))
}

/// Writes a plot or another file that can be made again.
pub(super) fn write_plot(path: &Path, text: &str) -> Result<(), Failure> {
    fs::write(path, text)
        .map_err(|error| Failure::could_not(format!("{}: {error}", path.display())))
}
