//! The exposure sheet: a row for every exposure in the order in which they are made, to work from and
//! to tick off at the stand. Written row by row; it does not grow in memory with the frames.

mod parts;
mod remarks;
mod rows;
mod table;

use std::io::{self, Write};
use std::ops::RangeInclusive;
use std::time::Duration;

use self::parts::Parts;
use self::rows::{Lies, Sheet};
use super::html::{FOOT, Paper, escaped, head, terms};
use crate::plan::Plan;
use crate::plan::output::quoted;
use crate::plan::survey::Survey;
use crate::schedule::{Pass, Schedule, Turn};
use crate::shot::{Shot, When};
use crate::stand::Stand;
use crate::units::fixed;

/// The first columns of the CSV; after them come, for each axis, its setting and how far it goes.
pub const CSV_HEAD: &str = "exposure,frame,pass,lamps,exposure_seconds,drawings,remarks";

/// Frames of 35 mm film to a foot, four perforations to a frame (liquisearch.com, "35 mm film";
/// de.zxc.wiki, "Filmfuß").
const FRAMES_A_FOOT: u32 = 16;

/// What a sheet is to have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Frames whose exposures are in it.
    pub frames: RangeInclusive<u32>,
    /// Whether motors' positions are as well.
    pub motors: bool,
}

/// Length on 35 mm film with four perforations to a frame: feet, and frames beyond them.
#[must_use]
pub fn footage(frames: u32) -> (u32, u32) {
    (frames / FRAMES_A_FOOT, frames % FRAMES_A_FOOT)
}

fn seconds(time: Duration) -> String {
    format!("{} s", time.as_secs_f64())
}

fn lamps(schedule: &Schedule, pass: &Pass) -> String {
    if schedule.lamps.is_empty() {
        return String::new();
    }
    let names: Vec<&str> = pass
        .lamps
        .iter()
        .filter_map(|lamp| Some(schedule.lamps.get(*lamp)?.name.as_str()))
        .collect();
    if names.is_empty() {
        "no lamp".into()
    } else {
        names.join(" + ")
    }
}

fn pass_name(turn: Turn, pass: Option<&Pass>) -> String {
    match pass {
        Some(pass) if turn.several => format!("{} {}", turn.pass + 1, pass.name),
        _ => String::new(),
    }
}

/// The exposure sheet of a planned shot.
pub struct ExposureSheet<'a> {
    stand: &'a Stand,
    shot: &'a Shot,
    sheet: Sheet<'a>,
    parts: Parts,
}

impl<'a> ExposureSheet<'a> {
    /// Puts together what stands on it.
    #[must_use]
    pub fn new(
        stand: &'a Stand,
        shot: &'a Shot,
        plan: &'a Plan,
        survey: &Survey,
        wanted: &'a Wanted,
    ) -> Self {
        let sheet = Sheet::new(stand, shot, plan, survey, wanted);
        let parts = Parts::new(&sheet);
        Self {
            stand,
            shot,
            sheet,
            parts,
        }
    }

    /// Rows of all tables for print, and of the CSV.
    #[must_use]
    pub fn rows(&self) -> (u64, u64) {
        let schedule = self.sheet.schedule;
        let frames = &self.sheet.wanted.frames;
        let turns = (1..=schedule.turns()).filter_map(|number| schedule.turn(number));
        let rows = turns.filter(|turn| frames.contains(&turn.frame)).count() as u64;
        (rows * self.parts.tables.len() as u64, rows)
    }

    /// Writes the sheet for print. `begun` hears the number of every exposure before its row is
    /// written, once for each table, and may end the work.
    ///
    /// # Errors
    ///
    /// Those of the writer and of `begun`.
    pub fn html(
        &self,
        out: &mut impl Write,
        mut begun: impl FnMut(u32) -> io::Result<()>,
    ) -> io::Result<()> {
        let Self {
            stand,
            shot,
            sheet,
            parts,
        } = self;
        let wanted = sheet.wanted;
        let schedule = sheet.schedule;
        let title = format!("{}: exposure sheet", shot.name);
        let paper = if parts.lying {
            Paper::Lying
        } else {
            Paper::Upright
        };
        out.write_all(head(&title, paper).as_bytes())?;
        writeln!(out, "<h1>{}</h1>", escaped(&title))?;
        let (first, last) = (*wanted.frames.start(), *wanted.frames.end());
        let (feet, over) = footage(shot.frames);
        let mut about = vec![
            ("stand", stand.name.clone()),
            (
                "frames",
                if (first, last) == (1, shot.frames) {
                    format!("1 to {last}")
                } else {
                    format!("{first} to {last} of {}", shot.frames)
                },
            ),
            (
                "shown",
                format!(
                    "{} frames a second, {:.2} s; on 35 mm film with 4 perforations {feet} ft {over} fr",
                    shot.rate,
                    f64::from(shot.frames) / shot.rate
                ),
            ),
            (
                "pictures",
                match shot.hold {
                    1 => "on ones".into(),
                    2 => "on twos: two frames to a picture".into(),
                    hold => format!("{hold} frames to a picture"),
                },
            ),
            (
                "exposures",
                if (first, last) == (1, shot.frames) {
                    format!("{}", schedule.turns())
                } else {
                    let passes = schedule.all_passes().len();
                    let here = wanted.frames.clone().count() * passes;
                    format!("{here} on this sheet, {} in all", schedule.turns())
                },
            ),
        ];
        for (place, pass) in schedule.passes.iter().enumerate() {
            if schedule.passes.len() == 1 && pass.name.is_empty() && schedule.lamps.is_empty() {
                about.push(("exposure time", seconds(pass.exposure)));
                continue;
            }
            let when = match pass.when {
                When::EachFrame => "at each frame",
                When::AfterRun => "after the run",
            };
            let out = if pass.without.is_empty() {
                String::new()
            } else {
                format!(", without {}", pass.without.join(", "))
            };
            let lamps = lamps(schedule, pass);
            let lamps = match (lamps.is_empty(), pass.lamps.len()) {
                (true, _) => String::new(),
                (false, 1) => format!(", lamp {lamps}"),
                (false, 0) => format!(", {lamps}"),
                (false, _) => format!(", lamps {lamps}"),
            };
            about.push((
                "pass",
                format!(
                    "{}{}: {when}, {}{lamps}{out}",
                    place + 1,
                    if pass.name.is_empty() {
                        String::new()
                    } else {
                        format!(" {}", pass.name)
                    },
                    seconds(pass.exposure)
                ),
            ));
        }
        if !sheet.remarks.throughout.is_empty() {
            about.push(("at every frame", sheet.remarks.throughout.join("; ")));
        }
        out.write_all(terms(&about).as_bytes())?;
        if !schedule.hands.is_empty() {
            writeln!(
                out,
                "<p>Bold: the scale's reading to set. Beside it: which way and how far from the row \
             before; a dot: leave it as it is.</p>"
            )?;
        }
        if !sheet.drawn.is_empty() {
            writeln!(
                out,
                "<p>Bold: the drawing to lay. An upright line: the one that lies there stays.</p>"
            )?;
        }
        if parts.tables.len() > 1 {
            writeln!(
                out,
                "<p>All columns do not fit side by side: there are {} tables, each with every exposure and \
             its own boxes to tick. What belongs to one level is on one table, where it has room there.</p>",
                parts.tables.len()
            )?;
        }
        for number in 0..parts.tables.len() {
            table::table(sheet, parts, number, out, &mut begun)?;
        }
        out.write_all(FOOT.as_bytes())
    }

    /// Writes the sheet as CSV: [`CSV_HEAD`], then for each axis `OF WAY UNIT` and `OF WAY by UNIT`.
    /// `begun` as for [`Self::html`], once for each exposure.
    ///
    /// # Errors
    ///
    /// Those of the writer and of `begun`.
    pub fn csv(
        &self,
        out: &mut impl Write,
        mut begun: impl FnMut(u32) -> io::Result<()>,
    ) -> io::Result<()> {
        let sheet = &self.sheet;
        let schedule = sheet.schedule;
        write!(out, "{CSV_HEAD}")?;
        for setting in &sheet.settings {
            let (of, way, unit) = (setting.of, setting.way.name(), setting.unit);
            let column = quoted(&format!("{of} {way} {unit}"));
            let by = quoted(&format!("{of} {way} by {unit}"));
            write!(out, ",{column},{by}")?;
        }
        writeln!(out)?;
        sheet.rows(|row| {
            begun(row.turn.number)?;
            let pass = schedule.passes.get(row.turn.pass);
            let drawings: Vec<String> = row
                .drawings
                .iter()
                .zip(&sheet.drawn)
                .map(|(lies, on)| match lies {
                    Lies::New(drawing) | Lies::Still(drawing) => {
                        format!("{on}: {}", drawing.as_deref().unwrap_or("bare"))
                    }
                    Lies::Out => format!("{on}: out"),
                })
                .collect();
            write!(
                out,
                "{},{},{},{},{},{},{}",
                row.turn.number,
                row.turn.frame,
                quoted(pass.map_or("", |pass| pass.name.as_str())),
                quoted(&pass.map_or(String::new(), |pass| lamps(schedule, pass))),
                pass.map_or(String::new(), |pass| pass
                    .exposure
                    .as_secs_f64()
                    .to_string()),
                quoted(&drawings.join("; ")),
                quoted(&row.remarks.join("; ")),
            )?;
            for ((value, by), setting) in row.settings.iter().zip(&sheet.settings) {
                let by = by.map_or(String::new(), |by| fixed(by, setting.digits));
                write!(out, ",{},{by}", fixed(*value, setting.digits))?;
            }
            writeln!(out)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::footage;

    /// liquisearch.com, "35 mm film", and de.zxc.wiki, "Filmfuß" (seen): 16 frames a foot; 90 ft a minute
    /// at 24 frames a second; 100 minutes are 9000 ft, 1000 ft about 11 minutes.
    #[test]
    fn footage_is_the_published_one() {
        assert_eq!(footage(24 * 60), (90, 0));
        assert_eq!(footage(24 * 60 * 100), (9000, 0));
        // 1000 ft at 24 frames a second: 16000 frames, 11.1 minutes.
        let eleven_minutes = 11 * 60 * 24;
        assert!((980..=1000).contains(&footage(eleven_minutes).0));
        assert_eq!(footage(120), (7, 8));
        assert_eq!(footage(1), (0, 1));
    }
}
