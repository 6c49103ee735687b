//! The curves for other programs, as CSV and as JSON: written frame by frame, neither grows in
//! memory with the frames.
//!
//! **CSV**: a line for each frame and axis, then one for each level; what does not apply is empty.
//!
//! | column | what it is |
//! |---|---|
//! | `frame` | from 1 |
//! | `picture` | first frame of those that hold the frame's picture |
//! | `seconds` | when the frame comes on when the film is shown, from the first |
//! | `of` | the level, or `camera` |
//! | `direction` | of an axis: `east`, `north`, `lift`, `turn`, `focus`; of a level: `picture` |
//! | `unit` | `mm` or `deg`; of a level `px` |
//! | `position` | of an axis: where it must stand, exact, from its zero; it is set to the nearest step or division |
//! | `speed_per_frame`, `speed_per_second` | of an axis: of the move by which the picture is reached |
//! | `acceleration_per_frame2`, `acceleration_per_second2` | of an axis, at the picture |
//! | `travel_centre`, `travel_edge` | of a level: how far it goes in the picture from the picture before |
//!
//! A second is one of the shown film, not one at the stand. [`super`] says how everything is defined
//! where a picture is held for several frames.
//!
//! **JSON**: one object with `panestep_curves` (its version), `name`, `frames`, `rate`, `hold` (frames
//! to a picture), `axes` (`of`, `direction`, `unit`), `levels` (names) and `samples`, one to a
//! frame. A sample has `frame`, `picture`, `seconds`, lists in the order of `axes` (`position`,
//! `speed_per_frame`, ...) and lists in the order of `levels` (`travel_centre`, `travel_edge`); what
//! there is not is `null`.

use std::io::{self, Write};
use std::ops::RangeInclusive;

use serde::Serialize;

use super::{Curves, Motion, Sample};
use crate::plan::output::quoted;
use crate::units::fixed;

/// Version of the JSON; raised when a reader of an older one would misread it.
pub const JSON_VERSION: u32 = 1;

/// The first line of the CSV.
pub const HEAD: &str = "frame,picture,seconds,of,direction,unit,position,speed_per_frame,\
                        speed_per_second,acceleration_per_frame2,acceleration_per_second2,\
                        travel_centre,travel_edge";

/// Writes the curves as CSV. `begun` hears every frame before it is written, and may end the work.
///
/// # Errors
///
/// Those of the writer and of `begun`.
pub fn csv(
    curves: &Curves<'_>,
    frames: RangeInclusive<u32>,
    out: &mut impl Write,
    mut begun: impl FnMut(u32) -> io::Result<()>,
) -> io::Result<()> {
    let plan = curves.plan;
    writeln!(out, "{HEAD}")?;
    let axes: Vec<String> = plan
        .report
        .axes
        .iter()
        .map(|axis| format!("{},{},{}", quoted(&axis.of), axis.direction, axis.unit))
        .collect();
    let levels: Vec<String> = plan
        .report
        .levels
        .iter()
        .map(|level| format!("{},picture,px", quoted(&level.level)))
        .collect();
    let number = |value: Option<f64>, times: f64| {
        value.map_or(String::new(), |value| fixed(value * times, 9))
    };
    let rate = plan.rate;
    curves.go(frames, |sample| {
        begun(sample.frame)?;
        let at = format!(
            "{},{},{}",
            sample.frame,
            sample.picture,
            fixed(sample.seconds, 6)
        );
        for (axis, motion) in axes.iter().zip(&sample.axes) {
            writeln!(
                out,
                "{at},{axis},{},{},{},{},{},,",
                fixed(motion.position, 9),
                number(motion.speed, 1.0),
                number(motion.speed, rate),
                number(motion.acceleration, 1.0),
                number(motion.acceleration, rate * rate),
            )?;
        }
        for (place, level) in levels.iter().enumerate() {
            let travel = sample.levels.as_ref().map(|levels| levels[place]);
            writeln!(
                out,
                "{at},{level},,,,,,{},{}",
                number(travel.map(|it| it.centre_px), 1.0),
                number(travel.map(|it| it.edge_px), 1.0),
            )?;
        }
        Ok(())
    })
}

#[derive(Serialize)]
struct Head<'a> {
    panestep_curves: u32,
    name: &'a str,
    frames: u32,
    rate: f64,
    hold: u32,
    axes: Vec<Axis<'a>>,
    levels: Vec<&'a str>,
}

#[derive(Serialize)]
struct Axis<'a> {
    of: &'a str,
    direction: &'static str,
    unit: &'static str,
}

#[derive(Serialize)]
struct Line {
    frame: u32,
    picture: u32,
    seconds: f64,
    position: Vec<f64>,
    speed_per_frame: Vec<Option<f64>>,
    speed_per_second: Vec<Option<f64>>,
    acceleration_per_frame2: Vec<Option<f64>>,
    acceleration_per_second2: Vec<Option<f64>>,
    travel_centre: Vec<Option<f64>>,
    travel_edge: Vec<Option<f64>>,
}

impl Line {
    fn new(sample: &Sample, rate: f64, levels: usize) -> Self {
        let of = |of: fn(&Motion) -> Option<f64>, times: f64| {
            let values = sample.axes.iter().map(of);
            values.map(|it| it.map(|it| it * times)).collect()
        };
        let travel = |place: usize| sample.levels.as_ref().map(|levels| levels[place]);
        Self {
            frame: sample.frame,
            picture: sample.picture,
            seconds: sample.seconds,
            position: sample.axes.iter().map(|axis| axis.position).collect(),
            speed_per_frame: of(|axis| axis.speed, 1.0),
            speed_per_second: of(|axis| axis.speed, rate),
            acceleration_per_frame2: of(|axis| axis.acceleration, 1.0),
            acceleration_per_second2: of(|axis| axis.acceleration, rate * rate),
            travel_centre: (0..levels)
                .map(|it| travel(it).map(|it| it.centre_px))
                .collect(),
            travel_edge: (0..levels)
                .map(|it| travel(it).map(|it| it.edge_px))
                .collect(),
        }
    }
}

/// Writes the curves as JSON, a sample to a line. `begun` hears every frame before it is written, and
/// may end the work.
///
/// # Errors
///
/// Those of the writer and of `begun`.
pub fn json(
    curves: &Curves<'_>,
    frames: RangeInclusive<u32>,
    out: &mut impl Write,
    mut begun: impl FnMut(u32) -> io::Result<()>,
) -> io::Result<()> {
    let plan = curves.plan;
    let report = &plan.report;
    let head = Head {
        panestep_curves: JSON_VERSION,
        name: &plan.schedule.name,
        frames: plan.schedule.frames,
        rate: plan.rate,
        hold: plan.geometry.hold(),
        axes: report
            .axes
            .iter()
            .map(|axis| Axis {
                of: &axis.of,
                direction: axis.direction,
                unit: axis.unit,
            })
            .collect(),
        levels: report
            .levels
            .iter()
            .map(|level| level.level.as_str())
            .collect(),
    };
    let head = serde_json::to_string(&head)?;
    // The samples are the object's last field.
    let open = head.strip_suffix('}').unwrap_or(&head);
    write!(out, "{open},\"samples\":[")?;
    let mut between = "\n";
    curves
        .go(frames, |sample| {
            begun(sample.frame)?;
            out.write_all(between.as_bytes())?;
            between = ",\n";
            serde_json::to_writer(
                &mut *out,
                &Line::new(sample, plan.rate, report.levels.len()),
            )?;
            Ok(())
        })
        .and_then(|()| writeln!(out, "\n]}}"))
}
