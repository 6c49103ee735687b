//! `panestep measure decay`: natural frequency, damping, and how long to wait.

use panestep::file::amend::Change;
use panestep::measure::decay::{self, Peak, settle, settle_time};
use panestep::measure::table::{self, Column, Want};
use panestep::stand::AxisUnit;
use serde_json::json;

use super::args::{self, Shape};
use super::output::{document, lines, with_uncertainty};
use super::{UNTOUCHED, place_of, propose, text_of, with_changes, wrong};
use crate::cli::Failure;

const MM: AxisUnit = AxisUnit::Millimetre;

/// Measures how a swing dies away.
pub(crate) fn decay(typed: &args::Decay) -> Result<(), Failure> {
    let common = &typed.common;
    let place = super::place(&common.at)?;
    let below = place_of("--below", &typed.below, MM)?;
    if below <= 0.0 {
        return Err(wrong(
            "--below: more than zero is wanted; a swing never dies away to nothing",
        ));
    }
    let Some(path) = &common.readings else {
        return Err(wrong(
            "no readings: --readings FILE names a table of them, - the standard input; `panestep \
             measure decay --help` says which columns it has",
        ));
    };
    let (name, text) = text_of(path)?;
    let peaks = peaks(&name, &text)?;
    if let Some(stray) = decay::stray(&peaks).filter(|_| !common.keep_outliers) {
        return Err(Failure::wrong(format!(
            "{name}:{}: this turning point is {:.2} times what the others say (statistic {:.2}, and \
             chance alone exceeds {:.2} once in 100 series)",
            peaks[stray.place].line,
            stray.by.exp(),
            stray.statistic,
            stray.critical
        ))
        .hint(format!(
            "{UNTOUCHED}. Mend the row or take it out, or leave it in with --keep-outliers"
        )));
    }
    let result = decay::decay(&peaks).map_err(|error| {
        let line = error
            .line()
            .map_or(String::new(), |line| format!("{line}:"));
        wrong(format!("{name}:{line} {error}"))
    })?;
    let time = settle(&result, below);
    let changes: Vec<Change> = time
        .map(|time| Change::Settle { time })
        .into_iter()
        .collect();
    let likely = settle_time(
        result.frequency.value,
        result.damping.value,
        result.first,
        below,
    );
    match common.format {
        Shape::Table => lines(&[
            format!(
                "{} turning points, the first {:.4} mm from rest",
                result.peaks, result.first
            ),
            format!(
                "natural frequency      {}",
                with_uncertainty(result.frequency, "Hz", 3)
            ),
            format!(
                "damping ratio          {}",
                with_uncertainty(result.damping, "", 5).replace(" ,", ",")
            ),
            format!(
                "logarithmic decrement  {}",
                with_uncertainty(result.decrement, "", 5).replace(" ,", ",")
            ),
            format!("below {below} mm after    {likely:.3} s from the first turning point"),
            format!(
                "to wait                {}; the file has {} ms",
                time.map_or("cannot be told".to_owned(), |time| format!(
                    "{} ms, with both at the worse end of their 95 % intervals, and half a swing for \
                     the way to the first turning point",
                    time.as_millis()
                )),
                place.stand().shutter.settle.as_millis()
            ),
        ])?,
        Shape::Json => document(
            "decay",
            with_changes(
                json!({
                    "peaks": peaks,
                    "result": result,
                    "below": below,
                    "settle_likely_s": likely,
                    "settle_s": time.map(|time| time.as_secs_f64()),
                }),
                &place,
                &changes,
            ),
        )?,
    }
    if time.is_none() {
        return Err(wrong(format!(
            "a damping ratio of {:.5} is too uncertain, or too little, to say how long to wait; read \
             more turning points",
            result.damping.value
        )));
    }
    propose(&place, &changes, common)
}

/// Turning points, from a table of them or of a whole trace.
fn peaks(name: &str, text: &str) -> Result<Vec<Peak>, Failure> {
    let column = |name, want| Column {
        name,
        want,
        needed: true,
    };
    let heads = text.trim_start_matches('\u{feff}').lines().map(str::trim);
    let head = heads
        .into_iter()
        .find(|line| !line.is_empty() && !line.starts_with('#'));
    let is_trace = head.is_some_and(|head| {
        let head = head.to_lowercase();
        head.contains("reading") && !head.contains("amplitude")
    });
    let value = if is_trace { "reading" } else { "amplitude" };
    let columns = [column("time", Want::Time), column(value, Want::Place(MM))];
    let rows = table::read(name, text, &columns, 3).map_err(wrong)?;
    let of = |row: &table::Row| Some((row.line, row.number("time")?, row.number(value)?));
    let points: Vec<(usize, f64, f64)> = rows.iter().filter_map(of).collect();
    if is_trace {
        if let Some(pair) = points.windows(2).find(|pair| pair[1].1 <= pair[0].1) {
            return Err(wrong(format!(
                "{name}:{}: its time is not after the one before; list the readings in the order of time",
                pair[1].0
            )));
        }
        let peaks = decay::peaks(&points);
        if peaks.len() < 3
            && let Some((rest, scatter)) = decay::rest(&points)
        {
            let most = points
                .iter()
                .map(|it| (it.2 - rest).abs())
                .fold(0.0, f64::max);
            return Err(wrong(format!(
                "{name}: {} turning points stand out of this trace, and at least 3 are wanted. Rest \
                 is taken from its last tenth, {rest:.4} mm, where the readings still scatter by \
                 {scatter:.4} mm; the farthest from it is {most:.4} mm. Record until it hangs still, \
                 with at least ten readings for each swing",
                peaks.len()
            )));
        }
        return Ok(peaks);
    }
    let peak = |(line, time, amplitude)| Peak {
        time,
        amplitude,
        line,
    };
    Ok(points.into_iter().map(peak).collect())
}
