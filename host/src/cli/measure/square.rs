//! `panestep measure square`: the direction of travel against a square.

use panestep::measure::square::{self, SquareResult};
use panestep::measure::table::{Column, Want};
use panestep::stand::{AxisUnit, Way};
use panestep::units::InUnit;
use serde_json::json;

use super::args::{self, Shape};
use super::asker::STEEP;
use super::guided::{Reads, Route, Series, series};
use super::output::{document, lines, with_uncertainty};
use super::{UNTOUCHED, named_axis, wrong};
use crate::cli::Failure;

const MM: AxisUnit = AxisUnit::Millimetre;

const HEAD: &str = "position @,reading @";

/// Measures squareness.
pub(crate) fn square(typed: &args::Square) -> Result<(), Failure> {
    let common = &typed.common;
    let place = super::place(&common.at)?;
    let (id, name) = named_axis(&place, &typed.level, &typed.direction)?;
    let of = &place.stand().axes[id.0];
    if of.way.unit() != MM {
        return Err(wrong(format!(
            "{name} turns; only a straight travel can be square"
        )));
    }
    let across = Way::of_word(&typed.grows)
        .filter(|(way, _)| way.unit() == MM && *way != of.way)
        .ok_or_else(|| {
            wrong(format!(
                "--grows {}: a direction across the travel is wanted, such as {}",
                typed.grows,
                if of.way == Way::North {
                    "east"
                } else {
                    "north"
                }
            ))
        })?;
    let column = |name| Column {
        name,
        want: Want::Place(MM),
        needed: true,
    };
    let mut kept = None;
    let pairs: Vec<(usize, f64, f64)> =
        match super::table(common, &[column("position"), column("reading")], 3)? {
            Some(rows) => rows
                .iter()
                .filter_map(|row| Some((row.line, row.number("position")?, row.number("reading")?)))
                .collect(),
            None => {
                let turn = place.file.per_turn(id);
                let route = Route::new(of, turn, &typed.guided, (1, false))?;
                let reads = (Reads::Across, HEAD);
                let series = series(&place, id, &route, &typed.guided, reads)?;
                let pairs = series
                    .readings
                    .iter()
                    .map(|it| (it.line, it.target, it.reading))
                    .collect();
                kept = Some(series);
                pairs
            }
        };
    let done = results(&pairs, (&name, of.way, across), common);
    done.map_err(|failure| match kept {
        Some(Series { readings, kept }) => failure.and_hint(kept.all(&readings)),
        None => failure,
    })
}

/// Works the readings out and tells what they say. `pairs` has line, position and reading of each.
fn results(
    pairs: &[(usize, f64, f64)],
    (name, way, across): (&str, Way, (Way, bool)),
    common: &args::Common,
) -> Result<(), Failure> {
    let positions: Vec<f64> = pairs.iter().map(|it| it.1).collect();
    let readings: Vec<f64> = pairs.iter().map(|it| it.2).collect();
    // A guided series has asked about each of them.
    let ask = common.readings.is_some() && !common.keep_outliers;
    if let Some(stray) = square::stray(&positions, &readings).filter(|_| ask) {
        return Err(Failure::wrong(format!(
            "line {}: {} at {} lies {} from the line through the others (statistic {:.2}, and chance \
             alone exceeds {:.2} once in 100 series)",
            pairs[stray.place].0,
            InUnit(readings[stray.place], MM),
            InUnit(positions[stray.place], MM),
            InUnit(stray.by, MM),
            stray.statistic,
            stray.critical
        ))
        .hint(format!(
            "{UNTOUCHED}. Read it again and mend the row, or leave it in with --keep-outliers"
        )));
    }
    let result = square::squareness(&positions, &readings).map_err(wrong)?;
    let words = in_words(&result, way, across);
    match common.format {
        Shape::Table => lines(&[
            format!(
                "{name}: {} readings over {}",
                pairs.len(),
                InUnit(result.length, MM)
            ),
            words,
            format!(
                "slope         {}",
                with_uncertainty(result.per_metre, "mm per metre", 4)
            ),
            format!(
                "angle         {}",
                with_uncertainty(result.degrees, "deg", 5)
            ),
            format!(
                "straightness  {:.4} (what is left beside the straight line)",
                InUnit(result.straightness, MM)
            ),
        ])?,
        Shape::Json => document(
            "square",
            json!({ "axis": name, "in_words": words, "result": result }),
        )?,
    }
    let slope = result.per_metre.value / 1000.0;
    if slope.abs() > STEEP {
        return Err(wrong(format!(
            "the reading changes by {slope:.3} mm for every mm of the way: no travel leans like that. \
             Does the dial ride along the travel and not across it, or is the unit another?"
        )));
    }
    Ok(())
}

/// Where the travel leans, as a sentence.
fn in_words(result: &SquareResult, way: Way, (across, back): (Way, bool)) -> String {
    let slope = result.per_metre;
    let sure = slope
        .within_95
        .is_none_or(|within| slope.value.abs() > within);
    if !sure {
        return "the travel is square, as far as these readings can tell".to_owned();
    }
    let by = if back { -slope.value } else { slope.value };
    let toward = match across {
        Way::Lift => across.toward(by).to_owned(),
        _ => format!("toward the {}", across.toward(by)),
    };
    let end = match way {
        Way::Lift => "upper",
        _ => way.toward(1.0),
    };
    format!(
        "the travel leans by {:.4} mm per metre {toward} at its {end} end",
        slope.value.abs()
    )
}
