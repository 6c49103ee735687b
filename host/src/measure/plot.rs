//! The plot of a series of readings, after ISO 230-2: deviation against target, both directions.
//!
//! Forward and backward differ in colour, in the shape of the mark and in the line, so that the
//! plot can be read printed in grey too.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::axis::Going;
use super::positioning::{Positioning, Target};
use crate::stand::AxisUnit;

const SIZE: (u32, u32) = (1000, 620);
const FORWARD: RGBColor = RGBColor(0x1B, 0x5E, 0x8C);
const BACKWARD: RGBColor = RGBColor(0xA8, 0x4B, 0x12);
const INK: RGBColor = RGBColor(0x22, 0x22, 0x22);
const GRID: RGBColor = RGBColor(0xE3, 0xE3, 0xE3);

/// The plot could not be drawn.
#[derive(Debug, thiserror::Error)]
#[error("the plot could not be drawn: {0}")]
pub struct PlotError(String);

fn lost(error: impl std::fmt::Display) -> PlotError {
    PlotError(error.to_string())
}

/// Draws the readings of an axis as SVG. `title` says which axis; `unit` is its unit.
///
/// # Errors
///
/// Where there is nothing to draw.
pub fn svg(result: &Positioning, title: &str, unit: AxisUnit) -> Result<String, PlotError> {
    let mut text = String::new();
    draw(&mut text, result, title, unit)?;
    Ok(text)
}

/// A unit for the deviations in which they are neither tiny nor huge.
fn fine(unit: AxisUnit, size: f64) -> (f64, &'static str) {
    match unit {
        AxisUnit::Millimetre if size < 0.5 => (1000.0, "\u{b5}m"),
        AxisUnit::Millimetre => (1.0, "mm"),
        AxisUnit::Degree if size < 0.5 => (1000.0, "mdeg"),
        AxisUnit::Degree => (1.0, "deg"),
    }
}

const BOTH: [Going; 2] = [Going::Forward, Going::Backward];

fn colour(going: Going) -> RGBColor {
    match going {
        Going::Forward => FORWARD,
        Going::Backward => BACKWARD,
    }
}

fn draw(
    text: &mut String,
    result: &Positioning,
    title: &str,
    unit: AxisUnit,
) -> Result<(), PlotError> {
    let targets = &result.targets;
    let (Some(first), Some(last)) = (targets.first(), targets.last()) else {
        return Err(PlotError("there are no readings".into()));
    };
    let deviations = targets.iter().flat_map(|target| {
        BOTH.into_iter()
            .filter_map(|going| target.cell(going))
            .flat_map(|cell| {
                let band = cell.band().unwrap_or((cell.mean, cell.mean));
                cell.deviations.iter().copied().chain([band.0, band.1])
            })
    });
    let (least, most) = super::fit::ends(deviations);
    let (factor, small) = fine(unit, least.abs().max(most.abs()));
    let (least, most) = (least * factor, most * factor);
    let room = (most - least).max(1e-6) * 0.08;
    let length = (last.target - first.target).max(1e-6);
    let x = first.target - 0.05 * length..last.target + 0.14 * length;
    let heights = least - room..most + room;

    let root = SVGBackend::with_string(text, SIZE).into_drawing_area();
    root.fill(&WHITE).map_err(lost)?;
    let (head, body) = root.split_vertically(96);
    legend(&head, result, title, factor, small)?;
    let mut chart = ChartBuilder::on(&body)
        .margin(12)
        .margin_right(20)
        .x_label_area_size(46)
        .y_label_area_size(74)
        .build_cartesian_2d(x.clone(), heights.clone())
        .map_err(lost)?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GRID)
        .axis_style(INK)
        .x_labels(10)
        .y_labels(9)
        .x_desc(format!("target, {}", unit.sign()))
        .y_desc(format!("deviation: reading less target, {small}"))
        .label_style(("sans-serif", 15).into_font().color(&INK))
        .axis_desc_style(("sans-serif", 16).into_font().color(&INK))
        .draw()
        .map_err(lost)?;
    // Deviations that are all far from zero leave its line outside the drawing.
    if heights.contains(&0.0) {
        let zero = PathElement::new(vec![(x.start, 0.0), (x.end, 0.0)], INK.stroke_width(1));
        chart.draw_series([zero]).map_err(lost)?;
    }

    for going in BOTH {
        let of: Vec<(&Target, _)> = targets
            .iter()
            .filter_map(|target| Some((target, target.cell(going)?)))
            .collect();
        let colour = colour(going);
        // The band, and its edges: dots and dashes, since two bands lie on one another.
        let band = |upper: bool| {
            let edges = of.iter().filter_map(|(target, cell)| {
                let (low, high) = cell.band()?;
                Some((target.target, factor * if upper { high } else { low }))
            });
            edges.collect::<Vec<_>>()
        };
        let (low, high) = (band(false), band(true));
        let around: Vec<_> = high
            .iter()
            .copied()
            .chain(low.iter().rev().copied())
            .collect();
        if around.len() > 2 {
            let area = Polygon::new(around, colour.mix(0.10).filled());
            chart.draw_series([area]).map_err(lost)?;
            for edge in [low, high] {
                let dots = match going {
                    Going::Forward => DashedLineSeries::new(edge, 9, 5, colour.stroke_width(1)),
                    Going::Backward => DashedLineSeries::new(edge, 2, 4, colour.stroke_width(1)),
                };
                chart.draw_series(dots).map_err(lost)?;
            }
        }
        let means: Vec<_> = of
            .iter()
            .map(|(target, cell)| (target.target, cell.mean * factor))
            .collect();
        let line = colour.stroke_width(2);
        match going {
            Going::Forward => chart.draw_series(LineSeries::new(means.clone(), line)),
            Going::Backward => {
                let dashes = DashedLineSeries::new(means.clone(), 10, 6, line);
                chart.draw_series(dashes).map_err(lost)?;
                chart.draw_series(LineSeries::new(Vec::new(), line))
            }
        }
        .map_err(lost)?;
        let runs = of.iter().flat_map(|(target, cell)| {
            let at = target.target;
            cell.deviations.iter().map(move |it| (at, it * factor))
        });
        match going {
            Going::Forward => {
                let marks = runs.map(|at| TriangleMarker::new(at, 4, colour.filled()));
                chart.draw_series(marks).map_err(lost)?;
                let marks = means
                    .iter()
                    .map(|&at| TriangleMarker::new(at, 8, colour.filled()));
                chart.draw_series(marks).map_err(lost)?;
            }
            Going::Backward => {
                let marks = runs.map(|at| Circle::new(at, 3, colour.stroke_width(1)));
                chart.draw_series(marks).map_err(lost)?;
                let marks = means.iter().map(|&at| Circle::new(at, 6, WHITE.filled()));
                chart.draw_series(marks).map_err(lost)?;
                let marks = means.iter().map(|&at| Circle::new(at, 6, line));
                chart.draw_series(marks).map_err(lost)?;
            }
        }
    }
    for (name, at, low, high, side) in bars(result, length) {
        let (low, high) = (low * factor, high * factor);
        let tick = 0.008 * length;
        let ink = INK.stroke_width(2);
        let lines = [
            vec![(at, low), (at, high)],
            vec![(at - tick, low), (at + tick, low)],
            vec![(at - tick, high), (at + tick, high)],
        ];
        chart
            .draw_series(lines.map(|line| PathElement::new(line, ink)))
            .map_err(lost)?;
        let style = ("sans-serif", 18, FontStyle::Bold)
            .into_font()
            .color(&INK)
            .pos(Pos::new(side, VPos::Center));
        let beside = if matches!(side, HPos::Left) {
            1.6
        } else {
            -1.6
        };
        let place = (at + beside * tick, f64::midpoint(low, high));
        chart
            .draw_series([Text::new(name, place, style)])
            .map_err(lost)?;
    }
    root.present().map_err(lost)
}

/// The greatest `B` and `R` beside their targets, and `A` at the side: where, from, to.
fn bars(result: &Positioning, length: f64) -> Vec<(&'static str, f64, f64, f64, HPos)> {
    let targets = &result.targets;
    let mut bars = Vec::new();
    let worst = |of: fn(&Target) -> Option<f64>| {
        let known = targets.iter().filter_map(|it| Some((it, of(it)?.abs())));
        known.max_by(|a, b| a.1.total_cmp(&b.1)).map(|it| it.0)
    };
    let cells = |target: &Target| target.forward.clone().zip(target.backward.clone());
    if let Some((target, (up, down))) =
        worst(|it| it.reversal).and_then(|it| Some((it, cells(it)?)))
    {
        let (low, high) = (up.mean.min(down.mean), up.mean.max(down.mean));
        bars.push(("B", target.target + 0.025 * length, low, high, HPos::Left));
    }
    if let Some((target, (up, down))) =
        worst(|it| it.repeatability).and_then(|it| Some((it, cells(it)?)))
        && let (Some(up), Some(down)) = (up.band(), down.band())
    {
        // Where one direction's own band is wider than both together, that one is the bar.
        let (low, high) = (up.0.min(down.0), up.1.max(down.1));
        bars.push(("R", target.target - 0.02 * length, low, high, HPos::Right));
    }
    if result.accuracy.is_some()
        && let Some(last) = targets.last()
    {
        let bands = || {
            let of = |target| {
                BOTH.into_iter()
                    .filter_map(move |going| Target::cell(target, going))
            };
            targets.iter().flat_map(of).filter_map(|cell| cell.band())
        };
        let (low, high) = (
            super::fit::ends(bands().map(|it| it.0)).0,
            super::fit::ends(bands().map(|it| it.1)).1,
        );
        bars.push(("A", last.target + 0.08 * length, low, high, HPos::Left));
    }
    bars
}

fn legend(
    head: &DrawingArea<SVGBackend<'_>, plotters::coord::Shift>,
    result: &Positioning,
    title: &str,
    factor: f64,
    small: &str,
) -> Result<(), PlotError> {
    let font = |size: i32| ("sans-serif", size).into_font().color(&INK);
    let put = |text: String, at: (i32, i32), size: i32| {
        head.draw(&Text::new(text, at, font(size))).map_err(lost)
    };
    put(title.to_owned(), (20, 12), 20)?;
    let figures = [
        ("A", result.accuracy),
        ("E", result.systematic),
        ("M", result.mean_deviation),
        ("R", result.repeatability),
        ("B", result.reversal),
        ("mean B", result.mean_reversal),
    ];
    let figures: Vec<String> = figures
        .into_iter()
        .filter_map(|(name, value)| Some(format!("{name} {:.1} {small}", value? * factor)))
        .collect();
    put(figures.join(",  "), (20, 42), 16)?;
    let (y, mut x) = (78, 20);
    for (going, words) in [
        (Going::Forward, "forward: each run, mean, mean \u{b1} 2s"),
        (Going::Backward, "backward: each run, mean, mean \u{b1} 2s"),
    ] {
        if !result.targets.iter().any(|it| it.cell(going).is_some()) {
            continue;
        }
        let colour = colour(going);
        let line = colour.stroke_width(2);
        let dashes: &[(i32, i32)] = match going {
            Going::Forward => &[(0, 44)],
            Going::Backward => &[(0, 10), (16, 26), (32, 44)],
        };
        for &(from, to) in dashes {
            let dash = PathElement::new(vec![(x + from, y), (x + to, y)], line);
            head.draw(&dash).map_err(lost)?;
        }
        match going {
            Going::Forward => head.draw(&TriangleMarker::new((x + 22, y), 8, colour.filled())),
            Going::Backward => {
                head.draw(&Circle::new((x + 22, y), 6, WHITE.filled()))
                    .map_err(lost)?;
                head.draw(&Circle::new((x + 22, y), 6, line))
            }
        }
        .map_err(lost)?;
        put(words.to_owned(), (x + 56, y - 8), 15)?;
        x += 360;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::axis::AxisReading;
    use super::super::positioning::positioning;
    use super::*;

    /// Readings of two targets that are all off by the same, `by` mm.
    fn off_by(by: f64) -> Positioning {
        let readings: Vec<AxisReading> = [(0.0, Going::Forward), (2.0, Going::Backward)]
            .into_iter()
            .enumerate()
            .map(|(line, (target, going))| AxisReading {
                line,
                target,
                going,
                run: 1,
                reading: target + by,
            })
            .collect();
        positioning(&readings)
    }

    #[test]
    fn nothing_is_drawn_beyond_the_drawing() {
        // Deviations far from zero and close to one another: the line of zero is out of sight.
        for by in [0.0, 10.0, -1e9] {
            let drawing = svg(&off_by(by), "quay east", AxisUnit::Millimetre).expect("drawn");
            let ends = drawing.split("points=\"").skip(1);
            let points: Vec<f64> = ends
                .filter_map(|rest| rest.split('"').next())
                .flat_map(|points| points.split([' ', ',']).filter(|it| !it.is_empty()))
                .map(|number| number.parse().expect("a number"))
                .collect();
            assert!(points.len() > 20, "{}", points.len());
            for point in points {
                assert!((0.0..=f64::from(SIZE.0)).contains(&point), "{by}: {point}");
            }
        }
    }
}
