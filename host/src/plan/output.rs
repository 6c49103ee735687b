//! The plan on paper and for other programs: a table, CSV, JSON.
//!
//! All three are written frame by frame; none grows in memory with the frames. Where the reader
//! goes away, the error's kind is [`io::ErrorKind::BrokenPipe`].

use std::io::{self, Write};
use std::ops::RangeInclusive;

use serde::ser::{Error as _, SerializeSeq, SerializeStruct};
use serde::{Serialize, Serializer};

use crate::plan::axes::{PlannedAxis, Setting};
use crate::plan::survey::Survey;
use crate::plan::{FramePose, Plan};
use crate::units::{Scale, fixed};

/// Version of the JSON; raised when a reader of an older one would misread it.
pub const JSON_VERSION: u32 = 1;

/// Writes a table for people: for each frame where every axis is set, motors in the positions of
/// whole steps, hands in divisions of their scale. Axes that do not fit beside each other into
/// `width` characters follow in blocks of their own. Frames beyond the shot are left out.
///
/// # Errors
///
/// Those of the writer.
pub fn table(
    plan: &Plan,
    frames: RangeInclusive<u32>,
    width: usize,
    out: &mut impl Write,
) -> io::Result<()> {
    const FRAME: usize = 6;
    let first = (*frames.start()).max(1);
    let last = (*frames.end()).min(plan.schedule.frames);
    let columns: Vec<Column> = plan.columns();
    let mut left = columns.as_slice();
    let mut block = 0;
    while !left.is_empty() {
        let mut taken = FRAME;
        let count = left
            .iter()
            .take_while(|column| {
                taken += 2 + column.width;
                taken <= width
            })
            .count()
            .max(1);
        let (now, later) = left.split_at(count);
        left = later;
        if block > 0 {
            writeln!(out)?;
        }
        block += 1;
        for (line, corner) in ["", "", "frame"].into_iter().enumerate() {
            let mut text = format!("{corner:>FRAME$}");
            for column in now {
                text.push_str("  ");
                text.push_str(&right(&column.head[line], column.width));
            }
            writeln!(out, "{}", text.trim_end())?;
        }
        for frame in first..=last {
            write!(out, "{frame:>FRAME$}")?;
            for column in now {
                let value = plan.set_at(frame, column.axis);
                let number = column.scale.words(value);
                write!(out, "  {}", right(&number, column.width))?;
            }
            writeln!(out)?;
        }
    }
    Ok(())
}

/// Writes CSV: `frame,of,direction,position,unit,steps`, one line for each frame and axis.
///
/// `position` is where the axis must stand, in its unit, from its zero, with 6 decimals; `steps`
/// is what its motor is sent, and empty for an axis that is moved by hand.
///
/// # Errors
///
/// Those of the writer.
pub fn csv(plan: &Plan, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "frame,of,direction,position,unit,steps")?;
    let names: Vec<String> = plan
        .report
        .axes
        .iter()
        .map(|axis| quoted(&axis.of))
        .collect();
    let mut pose = plan.geometry.blank();
    for frame in 1..=plan.schedule.frames {
        plan.geometry.pose_into(frame, &mut pose);
        let mut motors = plan.schedule.motors_at(frame).unwrap_or_default().iter();
        for (axis, of) in plan.axes.iter().zip(&names) {
            write!(
                out,
                "{frame},{of},{},{},{},",
                axis.way.name(),
                fixed(axis.position(&pose), 6),
                axis.way.unit().sign()
            )?;
            match axis.setting {
                Setting::Steps { .. } => match motors.next() {
                    Some(steps) => writeln!(out, "{steps}")?,
                    None => writeln!(out)?,
                },
                Setting::Scale { .. } => writeln!(out)?,
            }
        }
    }
    Ok(())
}

/// Writes JSON: one object with the plan's version, its axes, its report and [`Survey`], its
/// passes and drawings, and for each frame the
/// positions (exact, in the axes' units) and the settings (steps for motors, the scale's reading
/// for hands), both in the order of the axes.
///
/// # Errors
///
/// Those of the writer.
pub fn json(plan: &Plan, survey: &Survey, out: &mut impl Write) -> io::Result<()> {
    serde_json::to_writer(&mut *out, &Document(plan, survey))?;
    writeln!(out)
}

struct Document<'a>(&'a Plan, &'a Survey);

impl Serialize for Document<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let plan = self.0;
        let axes: Vec<AxisEntry<'_>> = plan
            .axes
            .iter()
            .zip(&plan.report.axes)
            .map(|(axis, report)| AxisEntry::new(axis, &report.of))
            .collect();
        let mut object = serializer.serialize_struct("Plan", 11)?;
        object.serialize_field("panestep_plan", &JSON_VERSION)?;
        object.serialize_field("name", &plan.schedule.name)?;
        object.serialize_field("frames", &plan.schedule.frames)?;
        object.serialize_field("rate", &plan.rate)?;
        object.serialize_field("axes", &axes)?;
        object.serialize_field("report", &plan.report)?;
        object.serialize_field("survey", self.1)?;
        object.serialize_field("lamps", &plan.schedule.lamps)?;
        object.serialize_field("passes", &plan.schedule.passes)?;
        object.serialize_field("drawings", &plan.schedule.laid)?;
        object.serialize_field("positions", &Frames(plan))?;
        object.end()
    }
}

#[derive(Serialize)]
struct AxisEntry<'a> {
    of: &'a str,
    direction: &'static str,
    unit: &'static str,
    driven_by: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    steps_per_unit: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    scale: Option<f64>,
}

impl<'a> AxisEntry<'a> {
    fn new(axis: &PlannedAxis, of: &'a str) -> Self {
        let (driven_by, steps_per_unit, scale) = match axis.setting {
            Setting::Steps { per_unit, .. } => ("motor", Some(per_unit), None),
            Setting::Scale { division } => ("hand", None, Some(division)),
        };
        Self {
            of,
            direction: axis.way.name(),
            unit: axis.way.unit().sign(),
            driven_by,
            steps_per_unit,
            scale,
        }
    }
}

struct Frames<'a>(&'a Plan);

impl Serialize for Frames<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let plan = self.0;
        let mut sequence = serializer.serialize_seq(Some(plan.schedule.frames as usize))?;
        let mut pose = plan.geometry.blank();
        for frame in 1..=plan.schedule.frames {
            plan.geometry.pose_into(frame, &mut pose);
            sequence.serialize_element(&FrameEntry {
                frame,
                position: Positions { plan, pose: &pose },
                set: Settings { plan, frame },
            })?;
        }
        sequence.end()
    }
}

#[derive(Serialize)]
struct FrameEntry<'a> {
    frame: u32,
    position: Positions<'a>,
    set: Settings<'a>,
}

struct Positions<'a> {
    plan: &'a Plan,
    pose: &'a FramePose,
}

impl Serialize for Positions<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        // Adding zero turns a negative zero into a plain one.
        serializer.collect_seq(
            self.plan
                .axes
                .iter()
                .map(|axis| axis.position(self.pose) + 0.0),
        )
    }
}

struct Settings<'a> {
    plan: &'a Plan,
    frame: u32,
}

impl Serialize for Settings<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let schedule = &self.plan.schedule;
        let mut motors = schedule.motors_at(self.frame).unwrap_or_default().iter();
        let mut hands = schedule.hands_at(self.frame).unwrap_or_default().iter();
        let mut sequence = serializer.serialize_seq(Some(self.plan.axes.len()))?;
        for axis in &self.plan.axes {
            let missing = || S::Error::custom("a target is missing");
            match axis.setting {
                Setting::Steps { .. } => {
                    sequence.serialize_element(motors.next().ok_or_else(missing)?)?;
                }
                Setting::Scale { .. } => {
                    sequence.serialize_element(hands.next().ok_or_else(missing)?)?;
                }
            }
        }
        sequence.end()
    }
}

/// A column of the table.
struct Column {
    axis: usize,
    head: [String; 3],
    width: usize,
    scale: Scale,
}

impl Plan {
    fn columns(&self) -> Vec<Column> {
        self.axes
            .iter()
            .zip(&self.report.axes)
            .enumerate()
            .map(|(axis, (planned, report))| {
                let unit = planned.way.unit();
                let scale = match planned.setting {
                    Setting::Scale { division } => Scale::of(division, unit),
                    Setting::Steps { .. } => Scale::of_motor(unit),
                };
                let hand = match planned.setting {
                    Setting::Scale { .. } => " by hand",
                    Setting::Steps { .. } => "",
                };
                let head = [
                    report.of.clone(),
                    format!("{}{hand}", report.direction),
                    scale.sign().to_owned(),
                ];
                let width = head
                    .iter()
                    .map(|text| text.chars().count())
                    .chain([report.least, report.greatest].map(|value| scale.letters(value)))
                    .max()
                    .unwrap_or(0);
                Column {
                    axis,
                    head,
                    width,
                    scale,
                }
            })
            .collect()
    }

    /// What an axis is set to at a frame, in its unit.
    fn set_at(&self, frame: u32, axis: usize) -> f64 {
        let stepped = |axis: &&PlannedAxis| matches!(axis.setting, Setting::Steps { .. });
        let motors = self.axes[..axis].iter().filter(stepped).count();
        let value = match self.axes[axis].setting {
            Setting::Steps { .. } => self
                .schedule
                .motors_at(frame)
                .and_then(|row| row.get(motors))
                .zip(self.schedule.motors.get(motors))
                .map(|(&steps, motor)| f64::from(steps) * motor.step_size),
            Setting::Scale { .. } => self
                .schedule
                .hands_at(frame)
                .and_then(|row| row.get(axis - motors))
                .copied(),
        };
        value.unwrap_or(f64::NAN)
    }
}

/// Padded on the left to a width in characters.
fn right(text: &str, width: usize) -> String {
    format!("{text:>width$}")
}

/// A field in quotes where it has to be, as RFC 4180, 2.5 to 2.7, has it. Lines end in LF, which the RFC
/// has as CR LF. What a spreadsheet takes a field for, such as a formula, is its own business.
pub(crate) fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}
