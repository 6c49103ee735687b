//! `panestep measure axis`: scale, slack and ISO 230-2's figures.

use std::path::Path;

use panestep::file::amend::Change;
use panestep::measure::axis::{self, AxisReading, AxisResult, Cause, Going, Oddity, oddity};
use panestep::measure::fit::Stray;
use panestep::measure::home::round_up;
use panestep::measure::plot;
use panestep::measure::positioning::{Positioning, positioning};
use panestep::measure::table::{Column, Row, Want};
use panestep::stand::{Axis, AxisId, AxisUnit, Way};
use panestep::units::InUnit;
use serde_json::json;

use super::args::{self, Shape};
use super::figures::told;
use super::guided::{Reads, Route, series};
use super::kept::{must_be_free, write_plot};
use super::output::{document, lines};
use super::{UNTOUCHED, named_axis, place_of, propose, rounded, with_changes, wrong};
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
    if let Some(plot) = &typed.plot {
        must_be_free("--plot", plot)?;
        if typed.guided.save.as_ref() == Some(plot) {
            return Err(wrong(
                "--plot and --save name the same file; nothing was moved",
            ));
        }
    }
    let columns = columns(unit);
    let mut stale = None;
    let (readings, guided) = match super::table(common, &columns, 4)? {
        Some(rows) => {
            stale = of_another_file(&rows, place.file.per_turn(id), unit);
            (readings(&rows, &of, common)?, None)
        }
        None => {
            let runs = (u32::from(typed.runs), true);
            let route = Route::new(&of, place.file.per_turn(id), &typed.guided, runs)?;
            let series = series(&place, id, &route, &typed.guided, (Reads::Along, HEAD))?;
            (series.readings, Some((series.kept, route.lead())))
        }
    };
    let lead = guided.as_ref().map(|(_, lead)| *lead);
    results(&place, typed, (id, &name), (&readings, stale), lead).map_err(|failure| match guided {
        Some((kept, _)) => failure.and_hint(kept.all(&readings)),
        None => failure,
    })
}

/// Works the readings out, tells what they say, draws it, and proposes what follows. `lead` is the
/// way before the first target, where this program has chosen it. Where the readings are `stale`,
/// nothing is proposed.
fn results(
    place: &Place,
    typed: &args::Axis,
    (id, name): (AxisId, &str),
    (readings, stale): (&[AxisReading], Option<Failure>),
    lead: Option<f64>,
) -> Result<(), Failure> {
    let common = &typed.common;
    let unit = place.stand().axes[id.0].way.unit();
    // A guided series has asked about each of them.
    if lead.is_none() && !common.keep_outliers {
        refuse_strays(readings, unit)?;
    }
    let mut result = axis::analyse(readings).map_err(wrong)?;
    result.cause = result.cause.map(|cause| of_unit(cause, unit));
    let rising = axis::rising(readings, &result);
    let found = positioning(&rising);
    let refused = refused(&result, (&rising, &found), lead, unit).or(stale);
    let changes = match refused {
        Some(_) => Vec::new(),
        None => changes(place, id, &result, &found),
    };
    match common.format {
        Shape::Table => lines(&told(place, id, name, &result, &found))?,
        Shape::Json => document(
            "axis",
            with_changes(
                json!({
                    "axis": name,
                    "unit": unit.sign(),
                    "readings": readings,
                    "result": result,
                    "positioning": found,
                }),
                place,
                &changes,
            ),
        )?,
    }
    let drawn = match &typed.plot {
        Some(path) => draw(
            path,
            &rising,
            &format!("{}: {name}", place.stand().name),
            unit,
        ),
        None => Ok(()),
    };
    let proposed = match refused {
        Some(failure) => Err(failure),
        None => {
            if let Some(cause) = result.cause {
                say(&format!(
                    "mind: {}. `per_turn` is left as it is",
                    because(cause)
                ));
            }
            propose(place, &changes, common)
        }
    };
    proposed.and(drawn)
}

fn draw(path: &Path, readings: &[AxisReading], title: &str, unit: AxisUnit) -> Result<(), Failure> {
    let text = plot::svg(&centred(readings), title, unit).map_err(Failure::could_not)?;
    write_plot(path, &text)?;
    say(&format!("drawn into {}", path.display()));
    Ok(())
}

/// Why nothing at all can be made of the readings, where that is so.
fn refused(
    result: &AxisResult,
    (rising, found): (&[AxisReading], &Positioning),
    lead: Option<f64>,
    unit: AxisUnit,
) -> Option<Failure> {
    if let Some(cause @ (Cause::Inches | Cause::Centimetres)) = result.cause {
        return Some(wrong(format!(
            "the readings change by {:.3} for every {} that the axis was sent: {}",
            result.scale.value,
            unit.sign(),
            because(cause)
        )));
    }
    let slack = result.backlash;
    if let Some(slack) = slack.filter(|it| it.value < -it.within_95.unwrap_or(0.0)) {
        return Some(wrong(format!(
            "the slack comes out below zero, {:.4}: no drive has that. Are forward and backward \
             swapped, does the dial stick, or does it count from another place for each?",
            InUnit(slack.value, unit)
        )));
    }
    let advice = "Scale and slack are wrong by that: choose targets with a longer way to the first \
                  one, farther from the ends of the travel, or mend the drive first";
    if let Some(left) = axis::slack_left(rising) {
        return Some(wrong(format!(
            "the way before the first target did not take up all the slack: {:.4} of it was left \
             there. {advice}",
            InUnit(left, unit)
        )));
    }
    let greatest = greatest_slack(found)?;
    // Nearly as much as the way itself: there may be any amount more.
    lead.filter(|lead| greatest > 0.9 * lead).map(|lead| {
        wrong(format!(
            "the readings show a slack of {:.4}, as much as the way before the first target, {:.4}: \
             it may not have taken up all of it. {advice}",
            InUnit(greatest, unit),
            InUnit(lead, unit)
        ))
    })
}

/// The greatest slack of any target, axis units.
fn greatest_slack(found: &Positioning) -> Option<f64> {
    let slacks = found.targets.iter().filter_map(|it| it.reversal);
    slacks.map(|it| -it).max_by(f64::total_cmp)
}

/// Inches and centimetres are no units of an angle.
fn of_unit(cause: Cause, unit: AxisUnit) -> Cause {
    match (cause, unit) {
        (Cause::Inches | Cause::Centimetres, AxisUnit::Degree) => Cause::Unknown,
        (cause, _) => cause,
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

fn columns(unit: AxisUnit) -> [Column; 5] {
    let column = |name, want, needed| Column { name, want, needed };
    [
        column("target", Want::Place(unit), true),
        column("going", Want::Word, true),
        column("reading", Want::Place(unit), true),
        column("run", Want::Number, false),
        column("per_turn", Want::Place(unit), false),
    ]
}

/// Why a table's readings do not belong to the stand file as it is: written twice, a correction would
/// count twice.
fn of_another_file(rows: &[Row], now: Option<f64>, unit: AxisUnit) -> Option<Failure> {
    let now = now?;
    let then: Vec<(usize, f64)> = rows
        .iter()
        .filter_map(|row| Some((row.line, row.number("per_turn")?)))
        .collect();
    if then.is_empty() {
        say(&format!(
            "the table does not say with which `per_turn` it was read (a column `per_turn`); it is \
             taken to be the file's {now} {}: a table that has been written once must not be used again",
            unit.sign()
        ));
    }
    // A nanometre: files are written as closely as that.
    let (line, then) = then.iter().find(|(_, then)| (then - now).abs() > 1.5e-6)?;
    let sign = unit.sign();
    let what = wrong(format!(
        "line {line}: the readings were taken with a `per_turn` of {then} {sign}, but the stand file \
         has {now} {sign}: what follows from them has been written already, or somebody has changed it \
         since. Measure again"
    ));
    Some(what.hint(UNTOUCHED))
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
    let odd = oddity(wanted, it.reading, 1e-9 + 0.02 * stray.by.abs());
    let guess = match (odd, unit) {
        (Some(Oddity::Mirrored), _) => "; its sign seems to be wrong",
        (Some(Oddity::Inches), AxisUnit::Millimetre) => {
            "; it seems to mix up inches and millimetres"
        }
        (Some(Oddity::Centimetres), AxisUnit::Millimetre) => {
            "; it seems to mix up centimetres and millimetres"
        }
        _ => "",
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

/// What follows for the stand file. Readings that fall say nothing about `reversed`: so do those of
/// a dial whose plunger is pushed in. Where something else has to be mended first, its cause says so,
/// and `per_turn` stays.
fn changes(place: &Place, id: AxisId, result: &AxisResult, found: &Positioning) -> Vec<Change> {
    let mut changes = Vec::new();
    if let (None, Some(turn)) = (result.cause, place.file.per_turn(id)) {
        let scale = result.scale.times(result.scale.value.signum());
        // What lies within its own uncertainty is no news.
        if (scale.value - 1.0).abs() > scale.within_95.unwrap_or(0.0) {
            let value = rounded(scale.times(turn));
            changes.push(Change::PerTurn { axis: id, value });
        }
    }
    // The greatest slack of any target has to be taken up. A wrong microstep setting does not touch
    // it; what is wrong for no known reason may.
    let known = matches!(result.cause, None | Some(Cause::Microsteps));
    if let (true, Some(slack), Some(greatest)) = (known, result.backlash, greatest_slack(found)) {
        let sure = slack.value > slack.within_95.unwrap_or(0.0);
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
