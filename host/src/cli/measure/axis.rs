//! `panestep measure axis`: scale, slack and ISO 230-2's figures.

use panestep::file::amend::Change;
use panestep::measure::axis::{self, AxisReading, AxisResult, Cause, Going, Oddity, oddity};
use panestep::measure::fit::Stray;
use panestep::measure::home::round_up;
use panestep::measure::plot;
use panestep::measure::positioning::{Positioning, Target, positioning};
use panestep::measure::table::{Column, Row, Want};
use panestep::stand::{Axis, AxisId, AxisUnit, Drive, Way};
use panestep::units::InUnit;
use serde_json::json;

use super::args::{self, Shape};
use super::guided::{Route, series};
use super::kept::write_plot;
use super::output::{document, figure, lines, with_uncertainty};
use super::{UNTOUCHED, changes_json, named_axis, place_of, propose, rounded, wrong};
use crate::cli::Failure;
use crate::cli::at_stand::Place;
use crate::cli::screen::say;

pub(super) const HEAD: &str = "run,going,target @,reading @";

/// Measures an axis.
pub(crate) fn axis(typed: &args::Axis) -> Result<(), Failure> {
    let common = &typed.common;
    let mut place = super::place(&common.at)?;
    let (id, name) = named_axis(&place, &typed.level, &typed.direction)?;
    let of = place.stand().axes[id.0].clone();
    let unit = of.way.unit();
    be_true(&mut place, typed, id, unit)?;
    let columns = columns(unit);
    let readings = match super::table(common, &columns, 4)? {
        Some(rows) => readings(&rows, &of, common)?,
        None => {
            let runs = (u32::from(typed.runs), true);
            let route = Route::new(&of, &typed.guided, runs)?;
            series(&place, id, &route, &typed.guided, HEAD)?
        }
    };
    // A guided series has asked about each of them.
    if common.readings.is_some() && !common.keep_outliers {
        refuse_strays(&readings, unit)?;
    }
    let result = axis::analyse(&readings).map_err(wrong)?;
    let found = positioning(&readings);
    let homed = common.readings.is_none();
    let changes = changes(&place, id, &result, &found, homed);
    match common.format {
        Shape::Table => lines(&told(&place, id, &name, &result, &found))?,
        Shape::Json => document(
            "axis",
            json!({
                "axis": name,
                "unit": unit.sign(),
                "readings": readings,
                "result": result,
                "positioning": found,
                "changes": changes_json(&place, &changes)?,
            }),
        )?,
    }
    if let Some(path) = &typed.plot {
        let text = plot::svg(
            &centred(&readings),
            &format!("{}: {name}", place.stand().name),
            unit,
        )
        .map_err(Failure::could_not)?;
        write_plot(path, &text)?;
        say(&format!("drawn into {}", path.display()));
    }
    match result.cause {
        Some(cause @ (Cause::Inches | Cause::Centimetres)) => Err(wrong(format!(
            "the readings change by {:.3} for every {} that the axis was sent: {}",
            result.scale.value,
            unit.sign(),
            because(cause)
        ))),
        Some(cause) => {
            say(&format!("mind: {}", because(cause)));
            propose(&place, &changes, common)
        }
        None => propose(&place, &changes, common),
    }
}

/// A simulated stand gets the lead and the slack that it really has.
fn be_true(
    place: &mut Place,
    typed: &args::Axis,
    id: AxisId,
    unit: AxisUnit,
) -> Result<(), Failure> {
    let truth = |option, text: &Option<String>| {
        let value = text
            .as_deref()
            .map(|text| place_of(option, text, unit))
            .transpose()?;
        match value {
            Some(value) if value < 0.0 || (option == "--true-per-turn" && value == 0.0) => {
                Err(wrong(format!("{option}: more than zero is wanted")))
            }
            value => Ok(value),
        }
    };
    let turn = truth("--true-per-turn", &typed.true_per_turn)?;
    let slack = truth("--true-backlash", &typed.true_backlash)?;
    if turn.is_none() && slack.is_none() {
        return Ok(());
    }
    if !place.rig.is_simulated() {
        return Err(wrong(
            "--true-per-turn and --true-backlash are for a stand simulated inside the program",
        ));
    }
    let of_file = place.file.per_turn(id);
    let scale = turn.zip(of_file).map(|(turn, of_file)| turn / of_file);
    place
        .rig
        .be(place.file.stand(), typed.common.at.seed, id, scale, slack);
    Ok(())
}

fn columns(unit: AxisUnit) -> [Column; 4] {
    let column = |name, want, needed| Column { name, want, needed };
    [
        column("target", Want::Place(unit), true),
        column("going", Want::Word, true),
        column("reading", Want::Place(unit), true),
        column("run", Want::Number, false),
    ]
}

fn readings(rows: &[Row], of: &Axis, common: &args::Common) -> Result<Vec<AxisReading>, Failure> {
    let (way, unit) = (of.way, of.way.unit());
    let (least, most) = of.travel;
    let file = common
        .readings
        .as_ref()
        .map(|it| it.display().to_string())
        .unwrap_or_default();
    rows.iter()
        .map(|row| {
            let word = row.word("going").unwrap_or_default().to_lowercase();
            let going = match Way::of_word(&word) {
                _ if matches!(word.as_str(), "forward" | "forwards") => Some(Going::Forward),
                _ if matches!(word.as_str(), "backward" | "backwards") => Some(Going::Backward),
                Some((this, back)) if this == way => {
                    Some(if back { Going::Backward } else { Going::Forward })
                }
                _ => None,
            };
            let going = going.ok_or_else(|| {
                let [forth, _, back] = way.words();
                wrong(format!(
                    "{file}:{}: `{word}` is no way that this axis goes; write {forth} or {back}, or \
                     forward or backward",
                    row.line
                ))
            })?;
            let target = row.number("target").unwrap_or_default();
            // A micrometre for what a table has rounded.
            if target < least - 1e-3 || target > most + 1e-3 {
                return Err(wrong(format!(
                    "{file}:{}: the axis cannot have been sent to {}: its travel is from {} to {}; \
                     check the column's unit and sign",
                    row.line,
                    InUnit(target, unit),
                    InUnit(least, unit),
                    InUnit(most, unit)
                )));
            }
            Ok(AxisReading {
                line: row.line,
                target,
                going,
                run: row.number("run").map_or(1, |run| run as u32),
                reading: row.number("reading").unwrap_or_default(),
            })
        })
        .collect()
}

fn refuse_strays(readings: &[AxisReading], unit: AxisUnit) -> Result<(), Failure> {
    let strays = axis::strays(readings);
    if strays.is_empty() {
        return Ok(());
    }
    let all: Vec<String> = strays
        .iter()
        .map(|stray| stray_line(readings, stray, unit))
        .collect();
    Err(Failure::wrong(all.join("\n")).hint(format!(
        "{UNTOUCHED}. Read it again and mend the row, or leave it in with --keep-outliers"
    )))
}

fn stray_line(readings: &[AxisReading], stray: &Stray, unit: AxisUnit) -> String {
    let it = readings[stray.place];
    let wanted = it.reading - stray.by;
    let guess = match oddity(wanted, it.reading, 1e-9 + 0.02 * stray.by.abs()) {
        Some(Oddity::Mirrored) => "; its sign seems to be wrong",
        Some(Oddity::Inches) => "; it seems to mix up inches and millimetres",
        Some(Oddity::Centimetres) => "; it seems to mix up centimetres and millimetres",
        Some(Oddity::Off) | None => "",
    };
    format!(
        "line {}: {} at target {} lies {} from what the other readings have there (statistic {:.2}, \
         and chance alone exceeds {:.2} once in 100 series){guess}",
        it.line,
        InUnit(it.reading, unit),
        InUnit(it.target, unit),
        InUnit(stray.by, unit),
        stray.statistic,
        stray.critical
    )
}

/// The readings with the scale's own zero taken off, so that a plot begins at none: the figures
/// stay the same.
fn centred(readings: &[AxisReading]) -> Positioning {
    let found = positioning(readings);
    let first = found.targets.first();
    let zero = first
        .and_then(|it| {
            it.mean
                .or_else(|| Some(it.forward.as_ref().or(it.backward.as_ref())?.mean))
        })
        .unwrap_or_default();
    let moved: Vec<AxisReading> = readings
        .iter()
        .map(|it| AxisReading {
            reading: it.reading - zero,
            ..*it
        })
        .collect();
    positioning(&moved)
}

/// What follows for the stand file. An axis that has been homed for the series has found its switch
/// on the side that the file says: where the readings fall, it is the scale that counts backward.
fn changes(
    place: &Place,
    id: AxisId,
    result: &AxisResult,
    found: &Positioning,
    homed: bool,
) -> Vec<Change> {
    let of = &place.stand().axes[id.0];
    let mut changes = Vec::new();
    if let (Drive::Motor(motor), Some(turn)) = (&of.drive, place.file.per_turn(id)) {
        let scale = result.scale.times(result.scale.value.signum());
        // What lies within its own uncertainty is no news.
        if (scale.value - 1.0).abs() > scale.within_95.unwrap_or(0.0) {
            let value = rounded(scale.times(turn));
            changes.push(Change::PerTurn { axis: id, value });
        }
        if result.reversed && !homed {
            changes.push(Change::Reversed {
                axis: id,
                value: !motor.reversed,
            });
        }
    }
    // The greatest slack of any target has to be taken up.
    let sign = result.scale.value.signum();
    let greatest = found
        .targets
        .iter()
        .filter_map(|it| it.reversal)
        .map(|it| -it * sign);
    let greatest = greatest.fold(f64::NEG_INFINITY, f64::max);
    if let Some(slack) = result.backlash {
        let sure = slack.value * sign > slack.within_95.unwrap_or(0.0);
        if sure && greatest > 0.0 {
            let value = round_up(greatest);
            changes.push(Change::Backlash { axis: id, value });
        }
    }
    changes
}

const fn because(cause: Cause) -> &'static str {
    match cause {
        Cause::Inches => {
            "that is 25.4 or its inverse: the readings, or `per_turn` in the stand file, are in \
             inches where millimetres are meant, or the other way round. Name the unit (--unit, or the \
             column's head), or mend `per_turn` by hand"
        }
        Cause::Centimetres => {
            "that is 10 or a tenth: the readings, or `per_turn` in the stand file, are in \
             centimetres where millimetres are meant, or the other way round. Name the unit, or mend \
             `per_turn` by hand"
        }
        Cause::Microsteps => {
            "the axis goes a power of two farther or less far than the file says: most likely the \
             driver's microstep setting is not the file's `microsteps`. Mend that rather than \
             `per_turn`"
        }
        Cause::Unknown => {
            "the axis goes quite differently from what the file says; check `steps`, `microsteps` and \
             `per_turn`, and the readings, before this is written"
        }
    }
}

fn told(
    place: &Place,
    id: AxisId,
    name: &str,
    result: &AxisResult,
    found: &Positioning,
) -> Vec<String> {
    let of = &place.stand().axes[id.0];
    let unit = of.way.unit();
    let sign = unit.sign();
    let mut out = vec![format!(
        "{name}: {} readings over {}",
        result.residuals.len(),
        InUnit(result.span, unit)
    )];
    out.push(String::new());
    out.push(format!(
        "scale       {}",
        with_uncertainty(result.scale, &format!("{sign} read per {sign} sent"), 6)
    ));
    for (what, straight) in [
        ("  forward", &result.forward),
        ("  backward", &result.backward),
    ] {
        if let Some(straight) = straight {
            let scatter = figure(straight.scatter, 4);
            out.push(format!(
                "{what:<12}{}; scatter {scatter} {sign}",
                with_uncertainty(straight.slope, "", 6).replace(" ,", ",")
            ));
        }
    }
    if let (Drive::Motor(motor), Some(turn)) = (&of.drive, place.file.per_turn(id)) {
        let size = result.scale.times(result.scale.value.signum());
        out.push(format!(
            "per turn    {}; the file has {turn} {sign}",
            with_uncertainty(size.times(turn), sign, 6)
        ));
        let steps = motor.steps_per_unit / size.value;
        let steps_off = size.uncertainty.map(|it| steps * it / size.value);
        out.push(format!(
            "            that is {steps:.4} steps per {sign}, standard uncertainty {}",
            figure(steps_off, 4)
        ));
    }
    out.push(format!(
        "            over these {} the file is off by {:+}",
        InUnit(result.span, unit),
        InUnit(result.off_over_travel, unit)
    ));
    if result.reversed {
        out.push(
            "            the readings fall where the axis was sent up: the scale counts the other \
             way, or, where the level itself went the wrong way, the motor is `reversed`"
                .to_owned(),
        );
    }
    if let Some(slack) = result.backlash {
        let slack = slack.times(result.scale.value.signum());
        out.push(format!("slack       {}", with_uncertainty(slack, sign, 4)));
        if slack.value < -slack.within_95.unwrap_or(f64::INFINITY) {
            out.push(
                "            below zero: no drive has that; are forward and backward swapped, or does \
                 the dial stick?"
                    .to_owned(),
            );
        }
    }
    out.push(String::new());
    out.extend(figures(found, unit));
    out
}

fn figures(found: &Positioning, unit: AxisUnit) -> Vec<String> {
    let sign = unit.sign();
    let mut out = vec![format!(
        "ISO 230-2, {sign} (deviation: reading less target; s: standard deviation)"
    )];
    out.push(format!(
        "{:>12} {:>10} {:>10} {:>10} {:>10} {:>9} {:>9} {:>9} {:>9} {:>9}",
        "target",
        "mean forw.",
        "mean back",
        "mean both",
        "reversal",
        "s forw.",
        "s back",
        "R forw.",
        "R back",
        "R"
    ));
    let cell = |target: &Target, going| target.cell(going).cloned();
    for target in &found.targets {
        let (up, down) = (cell(target, Going::Forward), cell(target, Going::Backward));
        out.push(format!(
            "{:>12.3} {:>10} {:>10} {:>10} {:>10} {:>9} {:>9} {:>9} {:>9} {:>9}",
            target.target,
            figure(up.as_ref().map(|it| it.mean), 4),
            figure(down.as_ref().map(|it| it.mean), 4),
            figure(target.mean, 4),
            figure(target.reversal, 4),
            figure(up.and_then(|it| it.deviation), 4),
            figure(down.and_then(|it| it.deviation), 4),
            figure(target.repeatability_forward, 4),
            figure(target.repeatability_backward, 4),
            figure(target.repeatability, 4),
        ));
    }
    out.push(String::new());
    out.push(format!(
        "{:<44} {:>10} {:>10} {:>10}",
        "", "both", "forward", "backward"
    ));
    for (what, both, up, down) in [
        (
            "accuracy A",
            found.accuracy,
            found.accuracy_forward,
            found.accuracy_backward,
        ),
        (
            "systematic deviation E",
            found.systematic,
            found.systematic_forward,
            found.systematic_backward,
        ),
        (
            "repeatability R",
            found.repeatability,
            found.repeatability_forward,
            found.repeatability_backward,
        ),
        (
            "mean bidirectional positional deviation M",
            found.mean_deviation,
            None,
            None,
        ),
        ("reversal error B", found.reversal, None, None),
        ("mean reversal error", found.mean_reversal, None, None),
    ] {
        let one_way = |value: Option<f64>| value.map_or(String::new(), |it| figure(Some(it), 4));
        out.push(format!(
            "{what:<44} {:>10} {:>10} {:>10}",
            figure(both, 4),
            one_way(up),
            one_way(down)
        ));
    }
    out
}
