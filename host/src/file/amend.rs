//! Changes single values in a stand file's text; everything else in it stays as it is, byte for
//! byte: comments, order, line endings, a mark of the byte order.
//!
//! The text is never written anew from what has been understood of it: the place of a value is
//! looked up, and its characters are replaced. A key that is not there yet is put behind the last
//! one of its table, in that table's own style. The result is read again, and refused where it is
//! unsound or where it means anything but the old stand with the wanted values.

mod place;
mod save;

use std::fmt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::civil::Date;

use super::{Problems, load, read_stand_text};
use crate::stand::{AxisId, AxisUnit, BoardId, Drive, LevelId, Stand};
use crate::units::{Angle, Length};

use place::Document;

/// A value to be changed. Quantities of an axis are in the axis's own unit; they are written to
/// the nearest nanometre or micro-degree, times to the nearest microsecond.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Change {
    /// How far one turn of the motor moves the axis.
    PerTurn {
        /// The axis.
        axis: AxisId,
        /// Axis units a turn.
        value: f64,
    },
    /// Whether the motor has to turn the other way round.
    Reversed {
        /// The axis.
        axis: AxisId,
        /// Whether it has.
        value: bool,
    },
    /// Slack of the drive.
    Backlash {
        /// The axis.
        axis: AxisId,
        /// Axis units.
        value: f64,
    },
    /// How far two findings of the home switch may lie apart.
    HomeWithin {
        /// The axis.
        axis: AxisId,
        /// Axis units.
        value: f64,
    },
    /// Focal length of the lens.
    FocalLength {
        /// Millimetres.
        mm: f64,
    },
    /// Height of the entrance pupil above the bed.
    LensHeight {
        /// Millimetres.
        mm: f64,
    },
    /// Height of a level's painted face above the bed.
    LevelHeight {
        /// The level.
        level: LevelId,
        /// Millimetres.
        mm: f64,
    },
    /// Rest between the last step and the exposure.
    Settle {
        /// How long.
        time: Duration,
    },
    /// When the stop has last been seen to stop a board's motors.
    StopTested {
        /// The board.
        board: BoardId,
        /// On which day.
        date: Date,
    },
}

/// A stand file as it was read.
#[derive(Clone, Debug)]
pub struct StandFile {
    path: PathBuf,
    text: String,
    stand: Stand,
}

/// A stand file as it would be; nothing has been written.
#[derive(Clone, Debug)]
pub struct Amended {
    path: PathBuf,
    before: String,
    text: String,
    stand: Stand,
    lines: Vec<ChangedLine>,
}

/// A line that differs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangedLine {
    /// The file's name.
    pub file: String,
    /// Its number in the new text, counted from 1.
    pub number: usize,
    /// As it was; none for a line that is new.
    pub old: Option<String>,
    /// As it is to be.
    pub new: String,
}

/// Why a stand file was not changed.
#[derive(Debug, thiserror::Error)]
pub enum AmendError {
    /// The stand has no such thing, or it has no such value.
    #[error("{file}: {what}")]
    NoPlace {
        /// The file.
        file: String,
        /// What is missing.
        what: String,
    },
    /// The value cannot be written, such as one that is not a number.
    #[error("{file}: `{key}` cannot become {value}: {why}")]
    NoValue {
        /// The file.
        file: String,
        /// The key.
        key: &'static str,
        /// The value.
        value: String,
        /// What is wrong with it.
        why: &'static str,
    },
    /// The stand would not be sound.
    #[error("the stand would not be sound with it: {0}")]
    Unsound(Problems),
    /// Reading the new text gave something else than what was wanted.
    #[error(
        "{file}: this change would alter more than it should, because of how the file is written; \
         change it by hand: {lines}"
    )]
    Otherwise {
        /// The file.
        file: String,
        /// What was to be changed.
        lines: String,
    },
    /// Somebody has changed the file meanwhile.
    #[error("{} has changed since it was read; nothing was written", path.display())]
    ChangedMeanwhile {
        /// The file.
        path: PathBuf,
    },
    /// The disk did not do it.
    #[error("{} cannot be written: {source}; it is as it was", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

impl fmt::Display for ChangedLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:", self.file, self.number)?;
        if let Some(old) = &self.old {
            write!(f, "\n  - {}", old.trim())?;
        }
        write!(f, "\n  + {}", self.new.trim())
    }
}

impl StandFile {
    /// Reads a stand file and keeps its text.
    ///
    /// # Errors
    ///
    /// Everything that is wrong with it.
    pub fn read(path: impl AsRef<Path>) -> Result<Self, Problems> {
        let path = path.as_ref();
        let text = load(path)?;
        Self::of_text(path, text)
    }

    /// From text that has been read already.
    ///
    /// # Errors
    ///
    /// Everything that is wrong with it.
    pub fn of_text(path: impl AsRef<Path>, text: String) -> Result<Self, Problems> {
        let path = path.as_ref().to_owned();
        let stand = read_stand_text(&path.display().to_string(), &text)?;
        Ok(Self { path, text, stand })
    }

    /// The stand.
    #[must_use]
    pub fn stand(&self) -> &Stand {
        &self.stand
    }

    /// Where the file lies.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// How far one turn of an axis's motor moves it by the file, axis units; none for an axis
    /// without a motor.
    #[must_use]
    pub fn per_turn(&self, axis: AxisId) -> Option<f64> {
        let Drive::Motor(motor) = &self.stand.axes.get(axis.0)?.drive else {
            return None;
        };
        Some(motor.per_turn())
    }

    /// Works the changes into the text. Values that are there already change nothing.
    ///
    /// # Errors
    ///
    /// Where a change has no place, or the result would not be sound or would mean anything else
    /// than the stand with these values.
    pub fn amend(&self, changes: &[Change]) -> Result<Amended, AmendError> {
        let mut text = self.text.clone();
        let mut expected = self.stand.clone();
        for change in changes {
            let mut wanted = expected.clone();
            let (key, value) = self.work_in(&mut wanted, &text, *change)?;
            if wanted == expected {
                continue;
            }
            expected = wanted;
            let document = Document::new(&text).ok_or_else(|| self.no_place("not understood"))?;
            text = document
                .with(*change, key, &value)
                .ok_or_else(|| self.no_place(&format!("no place for `{key} = {value}` found")))?;
        }
        let file = self.path.display().to_string();
        let stand = read_stand_text(&file, &text).map_err(AmendError::Unsound)?;
        let lines = changed_lines(&file, &self.text, &text);
        if stand != expected {
            let lines: Vec<_> = lines.iter().map(|line| line.new.trim()).collect();
            let lines = lines.join("; ");
            return Err(AmendError::Otherwise { file, lines });
        }
        Ok(Amended {
            path: self.path.clone(),
            before: self.text.clone(),
            text,
            stand,
            lines,
        })
    }

    fn no_place(&self, what: &str) -> AmendError {
        AmendError::NoPlace {
            file: self.path.display().to_string(),
            what: what.to_owned(),
        }
    }

    /// Makes the change in a stand; the key and the value as they are written.
    fn work_in(
        &self,
        stand: &mut Stand,
        text: &str,
        change: Change,
    ) -> Result<(&'static str, String), AmendError> {
        let file = || self.path.display().to_string();
        let no_value = |key, value: f64, why| AmendError::NoValue {
            file: file(),
            key,
            value: value.to_string(),
            why,
        };
        let quantity = |key, value: f64, unit| {
            written(value, unit).ok_or_else(|| no_value(key, value, "it is no sensible size"))
        };
        let key = change.key();
        Ok(match change {
            Change::PerTurn { axis, value } => {
                let (value, text_of) = quantity(key, value, self.unit(axis)?)?;
                let slow_is_there = Document::new(text).is_some_and(|it| it.has_slow(axis));
                let motor = self.motor(stand, axis)?;
                motor.steps_per_unit = f64::from(motor.steps) * f64::from(motor.microsteps) / value;
                if !slow_is_there {
                    // What the file does not say follows from the turn: see `file::axis`.
                    motor.slow = motor.speed.min(value / 4.0);
                }
                (key, text_of)
            }
            Change::Reversed { axis, value } => {
                self.motor(stand, axis)?.reversed = value;
                (key, value.to_string())
            }
            Change::Backlash { axis, value } => {
                let (value, text) = quantity(key, value, self.unit(axis)?)?;
                stand.axes[axis.0].backlash = value;
                (key, text)
            }
            Change::HomeWithin { axis, value } => {
                let (value, text) = quantity(key, value, self.unit(axis)?)?;
                self.motor(stand, axis)?.home.within = value;
                (key, text)
            }
            Change::FocalLength { mm } => {
                let (value, text) = quantity(key, mm, AxisUnit::Millimetre)?;
                stand.lens.focal_length_mm = value;
                (key, text)
            }
            Change::LensHeight { mm } => {
                let (value, text) = quantity(key, mm, AxisUnit::Millimetre)?;
                stand.lens.height_mm = value;
                (key, text)
            }
            Change::LevelHeight { level, mm } => {
                let (value, text) = quantity(key, mm, AxisUnit::Millimetre)?;
                let level = stand.levels.get_mut(level.0);
                level
                    .ok_or_else(|| self.no_place("the stand has no such level"))?
                    .height_mm = value;
                (key, text)
            }
            Change::Settle { time } => {
                let micros = u64::try_from(time.as_micros()).unwrap_or(u64::MAX);
                let time = Duration::from_micros(micros);
                stand.shutter.settle = time;
                let text = match micros % 1000 {
                    0 => format!("\"{} ms\"", micros / 1000),
                    _ => format!("\"{micros} us\""),
                };
                (key, text)
            }
            Change::StopTested { board, date } => {
                let board = stand.boards.get_mut(board.0);
                board
                    .ok_or_else(|| self.no_place("the stand has no such board"))?
                    .stop_tested = Some(date);
                (key, format!("\"{date}\""))
            }
        })
    }

    fn unit(&self, axis: AxisId) -> Result<AxisUnit, AmendError> {
        let axis = self.stand.axes.get(axis.0);
        axis.map(|axis| axis.way.unit())
            .ok_or_else(|| self.no_place("the stand has no such axis"))
    }

    fn motor<'a>(
        &self,
        stand: &'a mut Stand,
        axis: AxisId,
    ) -> Result<&'a mut crate::stand::Motor, AmendError> {
        match stand.axes.get_mut(axis.0).map(|axis| &mut axis.drive) {
            Some(Drive::Motor(motor)) => Ok(motor),
            Some(Drive::Hand { .. }) => {
                Err(self.no_place("the axis is moved by hand, not by a motor"))
            }
            None => Err(self.no_place("the stand has no such axis")),
        }
    }
}

impl Change {
    /// The key in the file.
    const fn key(self) -> &'static str {
        match self {
            Self::PerTurn { .. } => "per_turn",
            Self::Reversed { .. } => "reversed",
            Self::Backlash { .. } => "backlash",
            Self::HomeWithin { .. } => "within",
            Self::FocalLength { .. } => "focal_length",
            Self::LensHeight { .. } | Self::LevelHeight { .. } => "height",
            Self::Settle { .. } => "settle",
            Self::StopTested { .. } => "stop_tested",
        }
    }
}

/// A quantity as it is written, and its value when it is read again; none beyond what can be
/// written.
fn written(value: f64, unit: AxisUnit) -> Option<(f64, String)> {
    if !value.is_finite() || value.abs() > 1e9 {
        return None;
    }
    let millionths = (value * 1e6).round() as i64;
    Some(match unit {
        AxisUnit::Millimetre => {
            let length = Length::from_pm(millionths.checked_mul(1000)?);
            (length.mm(), format!("\"{length}\""))
        }
        AxisUnit::Degree => {
            let angle = Angle::from_microdegrees(millionths);
            (angle.degrees(), format!("\"{angle}\""))
        }
    })
}

/// The lines that differ. Changes replace characters within a line or add one, so that lines
/// correspond in order.
fn changed_lines(file: &str, before: &str, after: &str) -> Vec<ChangedLine> {
    let old: Vec<&str> = before.lines().collect();
    let new: Vec<&str> = after.lines().collect();
    let mut added = new.len().saturating_sub(old.len());
    let mut lines = Vec::new();
    let mut at = 0;
    for (place, line) in new.iter().enumerate() {
        if old.get(at) == Some(line) {
            at += 1;
            continue;
        }
        // A line is new where the old one comes right after it.
        let is_new = added > 0 && (at >= old.len() || new.get(place + 1) == old.get(at));
        added -= usize::from(is_new);
        lines.push(ChangedLine {
            file: file.to_owned(),
            number: place + 1,
            old: if is_new {
                None
            } else {
                old.get(at).map(|&old| old.to_owned())
            },
            new: (*line).to_owned(),
        });
        at += usize::from(!is_new);
    }
    lines
}

impl Amended {
    /// The lines that differ, in order.
    #[must_use]
    pub fn lines(&self) -> &[ChangedLine] {
        &self.lines
    }

    /// Whether nothing would change.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.text == self.before
    }

    /// The stand as it will be.
    #[must_use]
    pub fn stand(&self) -> &Stand {
        &self.stand
    }

    /// The file's text as it will be.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Writes the file: whole or not at all, with the permissions that it had; where its name is a
    /// link, the link stays and what it leads to is replaced.
    ///
    /// # Errors
    ///
    /// Where the file has changed since it was read, or the disk does not do it; the file is then
    /// as it was.
    pub fn save(&self) -> Result<(), AmendError> {
        if self.is_empty() {
            return Ok(());
        }
        save::replace(&self.path, self.before.as_bytes(), self.text.as_bytes())
    }
}

#[cfg(test)]
mod tests;
