//! `panestep measure lens`: focal length, entrance pupil, levels' distances.

use panestep::file::amend::Change;
use panestep::measure::Estimate;
use panestep::measure::lens::{FieldReading, Focus, LensResult, solve};
use panestep::measure::table::{Column, Row, Want};
use panestep::stand::{AxisUnit, LevelId, Stand};
use serde_json::json;

use super::args::{self, Shape};
use super::output::{document, figure, lines, with_uncertainty};
use super::{UNTOUCHED, level, level_of, place_of, propose, rounded, with_changes, wrong};
use crate::cli::Failure;

const MM: AxisUnit = AxisUnit::Millimetre;

/// Measures the lens.
pub(crate) fn lens(typed: &args::Lens) -> Result<(), Failure> {
    let common = &typed.common;
    let place = super::place(&common.at)?;
    let stand = place.stand();
    let column = |name, want, needed| Column { name, want, needed };
    let columns = [
        column("level", Want::Word, true),
        column("lift", Want::Place(MM), false),
        column("camera", Want::Place(MM), false),
        column("width", Want::Place(MM), false),
        column("length", Want::Place(MM), false),
        column("pixels", Want::Number, false),
    ];
    let Some(rows) = super::table(common, &columns, 2)? else {
        return Err(wrong(
            "no readings: --readings FILE names a table of them, - the standard input; `panestep \
             measure lens --help` says which columns it has",
        ));
    };
    let file = common
        .readings
        .as_ref()
        .map(|it| it.display().to_string())
        .unwrap_or_default();
    let readings: Vec<FieldReading> = rows
        .iter()
        .map(|row| reading(stand, &file, row))
        .collect::<Result<_, _>>()?;
    let known: Vec<LevelId> = typed
        .known
        .iter()
        .map(|name| level(stand, name))
        .collect::<Result<_, _>>()?;
    let focus = if typed.refocused {
        Focus::EachTime
    } else {
        let lift = typed.focused_lift.as_deref();
        Focus::Fixed {
            level: match &typed.focused {
                Some(name) => level(stand, name)?,
                None => stand.lens.focus,
            },
            lift_mm: lift.map_or(Ok(0.0), |text| place_of("--focused-lift", text, MM))?,
            camera_lift_mm: 0.0,
        }
    };
    grows_as_it_nears(stand, &file, &readings)?;
    let result = solve(stand, &readings, focus, &known).map_err(wrong)?;
    if let Some(stray) = result.stray.filter(|_| !common.keep_outliers) {
        let mm = result.left[stray.place].mm / result.left[stray.place].pixels * stray.by;
        return Err(Failure::wrong(format!(
            "{file}:{}: this reading lies {:.1} pixels, {mm:.2} mm, from what the others say \
             (statistic {:.2}, and chance alone exceeds {:.2} once in 100 series)",
            readings[stray.place].line, stray.by, stray.statistic, stray.critical
        ))
        .hint(format!(
            "{UNTOUCHED}. Read it again and mend the row, or leave it in with --keep-outliers"
        )));
    }
    let unit = mixed_up(result.focal_length.value / stand.lens.focal_length_mm);
    let changes = match unit {
        Some(_) => Vec::new(),
        None => changes(stand, &result),
    };
    match common.format {
        Shape::Table => lines(&told(stand, &readings, &result))?,
        Shape::Json => document(
            "lens",
            with_changes(json!({ "result": result }), &place, &changes),
        )?,
    }
    if let Some(unit) = unit {
        return Err(wrong(format!(
            "a focal length of {:.3} mm follows, but the file has {} mm: that is about {unit}. Name the \
             ruler's unit in the column's head, or mend `focal_length` by hand",
            result.focal_length.value, stand.lens.focal_length_mm
        )));
    }
    propose(&place, &changes, common)
}

/// What a focal length so many times as long as the file's gives away.
fn mixed_up(times: f64) -> Option<&'static str> {
    // A lens is rarely known as well as an axis; no two that fit a stand differ like that.
    let near = |to: f64| (times / to - 1.0).abs() < 0.2 || (times * to - 1.0).abs() < 0.2;
    if near(25.4) {
        Some("25.4 or its inverse, inches taken for millimetres or the other way round")
    } else if near(10.0) {
        Some("10 or a tenth, centimetres taken for millimetres or the other way round")
    } else {
        None
    }
}

/// Whatever is lifted toward the camera looks larger: of two readings of a level of which that is not
/// so, one is wrong.
fn grows_as_it_nears(stand: &Stand, file: &str, readings: &[FieldReading]) -> Result<(), Failure> {
    let near = |it: &FieldReading| it.lift_mm - it.camera_lift_mm;
    let size = |it: &FieldReading| it.pixels / it.length_mm;
    for level in 0..stand.levels.len() {
        let of = readings.iter().filter(|it| it.level == LevelId(level));
        let by_height = |a: &&FieldReading, b: &&FieldReading| near(a).total_cmp(&near(b));
        let ends = of.clone().min_by(by_height).zip(of.max_by(by_height));
        if let Some((low, high)) = ends
            && near(high) > near(low)
            && size(high) <= size(low)
        {
            return Err(wrong(format!(
                "{file}:{} and {file}:{}: {} is nearer to the camera in the second of them by {:.3} \
                 mm, and yet looks no larger. Check the signs of the lifts, up being more, and the \
                 lengths",
                low.line,
                high.line,
                stand.levels[level].name,
                near(high) - near(low)
            )));
        }
    }
    Ok(())
}

fn reading(stand: &Stand, file: &str, row: &Row) -> Result<FieldReading, Failure> {
    let at = |what: String| wrong(format!("{file}:{}: {what}", row.line));
    let name = row.word("level").unwrap_or_default();
    let level = level_of(stand, name).ok_or_else(|| {
        let names: Vec<&str> = stand.levels.iter().map(|it| it.name.as_str()).collect();
        at(format!(
            "there is no level `{name}`; the levels are {}",
            names.join(", ")
        ))
    })?;
    let (width, length, pixels) = (
        row.number("width"),
        row.number("length"),
        row.number("pixels"),
    );
    let columns = f64::from(stand.lens.picture.columns);
    let (length_mm, pixels) = match (width, length, pixels) {
        (Some(width), None, None) => (width, columns),
        (None, Some(length), Some(pixels)) => (length, pixels),
        _ => {
            return Err(at(
                "either `width`, or `length` and `pixels`, is wanted; a unit in the column's head \
                 makes them lengths, such as `width mm`"
                    .to_owned(),
            ));
        }
    };
    if length_mm <= 0.0 {
        return Err(at(format!(
            "a length of {length_mm} mm cannot be seen; more than zero is wanted"
        )));
    }
    if pixels > columns {
        return Err(at(format!(
            "{pixels} pixels are more than the picture's {columns}, which the stand file gives it"
        )));
    }
    Ok(FieldReading {
        line: row.line,
        level,
        lift_mm: row.number("lift").unwrap_or_default(),
        camera_lift_mm: row.number("camera").unwrap_or_default(),
        length_mm,
        pixels,
    })
}

/// What follows for the stand file: what is told with an uncertainty, and is news beyond it.
fn changes(stand: &Stand, result: &LensResult) -> Vec<Change> {
    let news = |it: Estimate, of_file: f64| {
        let beyond = |within: f64| (it.value - of_file).abs() > within;
        it.within_95.is_some_and(beyond).then(|| rounded(it))
    };
    let mut changes = Vec::new();
    let focal = news(result.focal_length, stand.lens.focal_length_mm);
    changes.extend(focal.map(|mm| Change::FocalLength { mm }));
    let height = news(result.height, stand.lens.height_mm);
    changes.extend(height.map(|mm| Change::LensHeight { mm }));
    for it in result.levels.iter().filter(|it| !it.known) {
        let level = LevelId(it.level);
        let mm = news(it.height, stand.levels[it.level].height_mm);
        changes.extend(mm.map(|mm| Change::LevelHeight { level, mm }));
    }
    changes
}

fn told(stand: &Stand, readings: &[FieldReading], result: &LensResult) -> Vec<String> {
    let mut out = vec![
        format!(
            "focal length     {}",
            with_uncertainty(result.focal_length, "mm", 3)
        ),
        format!(
            "entrance pupil   {} above the bed",
            with_uncertainty(result.height, "mm", 2)
        ),
    ];
    if let Some(image) = result.image_distance {
        out.push(format!("image distance   {image:.3} mm"));
    }
    out.push(String::new());
    for level in &result.levels {
        let name = &stand.levels[level.level].name;
        out.push(format!(
            "{name}: apparent distance {}",
            with_uncertainty(level.distance, "mm", 2)
        ));
        out.push(if level.known {
            format!("  height {:.2} mm, taken as true", level.height.value)
        } else {
            format!("  height {}", with_uncertainty(level.height, "mm", 2))
        });
    }
    out.push(String::new());
    out.push(format!(
        "{:>6} {:<16} {:>10} {:>12} {:>10} {:>10}",
        "line", "level", "lift mm", "length mm", "left px", "left mm"
    ));
    for (reading, left) in readings.iter().zip(&result.left) {
        out.push(format!(
            "{:>6} {:<16} {:>10.3} {:>12.3} {:>10} {:>10}",
            reading.line,
            stand.levels[reading.level.0].name,
            reading.lift_mm,
            reading.length_mm,
            figure(Some(left.pixels), 2),
            figure(Some(left.mm), 3)
        ));
    }
    out.push(match result.scatter {
        Some(scatter) => format!("a reading scatters by {scatter:.2} pixels (standard deviation)"),
        None => {
            "no reading to spare: nothing tells how far they scatter; take a few more".to_owned()
        }
    });
    out
}
