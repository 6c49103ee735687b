//! `panestep measure home`: how closely a home switch is found again.

use panestep::file::amend::Change;
use panestep::measure::fit::{OUTLIER, finest, linear};
use panestep::measure::home::repeatability;
use panestep::measure::table::{Column, Want};
use panestep::stand::{AxisId, AxisUnit, Drive, Home};
use panestep::units::InUnit;
use serde_json::json;

use super::args::{self, Shape};
use super::guided::motor;
use super::kept::Growing;
use super::output::{document, lines};
use super::{UNTOUCHED, named_axis, propose, with_changes, wrong};
use crate::cli::Failure;
use crate::cli::at_stand::{Place, Teller, stood};
use crate::cli::home::homed;
use crate::cli::screen::say;

/// Measures how closely the switch is found.
pub(crate) fn home(typed: &args::Home) -> Result<(), Failure> {
    let common = &typed.common;
    let place = super::place(&common.at)?;
    let (id, name) = named_axis(&place, &typed.level, &typed.direction)?;
    let of = &place.stand().axes[id.0];
    let unit = of.way.unit();
    let Drive::Motor(of_motor) = &of.drive else {
        return Err(wrong(format!(
            "{name} is moved by hand and has no home switch"
        )));
    };
    let step = 1.0 / of_motor.steps_per_unit;
    let columns = [Column {
        name: "found",
        want: Want::Place(unit),
        needed: true,
    }];
    let (findings, kept): (Vec<f64>, Option<Growing>) = match super::table(common, &columns, 3)? {
        Some(rows) => {
            let found = rows.iter().filter_map(|row| row.number("found"));
            (found.collect(), None)
        }
        None => {
            let (findings, kept) = found_by_board(&place, typed, id)?;
            (findings, Some(kept))
        }
    };
    let done = results(&place, id, (&name, step), &findings, common);
    done.map_err(|failure| match kept {
        Some(kept) => failure.and_hint(kept.where_it_is("the findings", &text(&findings, unit))),
        None => failure,
    })
}

/// Works the findings out and tells what they say; `step` is one of the axis's.
fn results(
    place: &Place,
    id: AxisId,
    (name, step): (&str, f64),
    findings: &[f64],
    common: &args::Common,
) -> Result<(), Failure> {
    let of = &place.stand().axes[id.0];
    let unit = of.way.unit();
    let Drive::Motor(of_motor) = &of.drive else {
        return Ok(());
    };
    let Home { within, .. } = of_motor.home;
    if let Some(stray) = linear(&vec![vec![1.0]; findings.len()], findings)
        .ok()
        .and_then(|fit| fit.stray(OUTLIER, finest(findings).max(step)))
        .filter(|_| !common.keep_outliers)
    {
        return Err(Failure::wrong(format!(
            "finding {} of {}: {} lies {} from the others (statistic {:.2}, and chance alone exceeds \
             {:.2} once in 100 series)",
            stray.place + 1,
            findings.len(),
            InUnit(findings[stray.place], unit),
            InUnit(stray.by, unit),
            stray.statistic,
            stray.critical
        ))
        .hint(format!(
            "{UNTOUCHED}. See whether the switch sits firmly and its lever is clean; then measure \
             again, or leave it in with --keep-outliers"
        )));
    }
    let result = repeatability(findings, step).map_err(wrong)?;
    // What was found within minutes does not speak for a narrower allowance on a warmer day.
    let wider = (result.within > within).then_some(Change::HomeWithin {
        axis: id,
        value: result.within,
    });
    let changes: Vec<Change> = wider.into_iter().collect();
    match common.format {
        Shape::Table => lines(&[
            format!("{name}: {} findings of the home switch", result.findings),
            format!("standard deviation  {:.4}", InUnit(result.deviation, unit)),
            format!("range               {:.4}", InUnit(result.range, unit)),
            format!(
                "two may lie apart   {:.4}; the file has {:.4}, one step is {:.4}",
                InUnit(result.within, unit),
                InUnit(within, unit),
                InUnit(step, unit)
            ),
            "(found within minutes; a warmer day needs more room, so that `within` is never proposed \
             narrower than it is)"
                .to_owned(),
        ])?,
        Shape::Json => document(
            "home",
            with_changes(
                json!({
                    "axis": name,
                    "unit": unit.sign(),
                    "findings": findings,
                    "result": result,
                }),
                place,
                &changes,
            ),
        )?,
    }
    propose(place, &changes, common)
}

/// Findings as a table.
fn text(findings: &[f64], unit: AxisUnit) -> String {
    let rows = findings.iter().map(|it| format!("{it:.6}\n"));
    format!("found {}\n{}", unit.sign(), rows.collect::<String>())
}

/// Lets the board look for the switch; where it was found each time, from the count.
fn found_by_board(
    place: &Place,
    typed: &args::Home,
    id: AxisId,
) -> Result<(Vec<f64>, Growing), Failure> {
    let unit = place.stand().axes[id.0].way.unit();
    let schedule = place.schedule()?;
    let at = motor(&schedule, place, id)?;
    place.rig.stop_is_tested(place.stand(), place.file.path())?;
    let kept = Growing::begin(typed.save.as_deref())?;
    let mut findings: Vec<f64> = Vec::new();
    let mut teller = Teller::new(&schedule);
    let done = place.attend(&schedule, &mut teller, |attended| {
        place.set_up(attended)?;
        homed(attended, &[at])?;
        for number in 1..=typed.times {
            let off = attended.check(at).map_err(|error| stood(&error))?;
            let found = f64::from(off) * schedule.motors[at].step_size;
            findings.push(found);
            say(&format!(
                "finding {number} of {}: {:+.4} from the first",
                typed.times,
                InUnit(found, unit)
            ));
            kept.write(&text(&findings, unit))?;
        }
        Ok(())
    });
    done.map_err(|failure| {
        let count = findings.len();
        failure.and_hint(if count == 0 {
            UNTOUCHED.to_owned()
        } else {
            let what = format!("the {count} findings so far");
            let there = kept.where_it_is(&what, &text(&findings, unit));
            format!("{UNTOUCHED}; {there}")
        })
    })?;
    Ok((findings, kept))
}
