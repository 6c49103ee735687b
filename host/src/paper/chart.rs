//! How everything moves over the frames, a drawing for each level and one for the camera: panels one
//! above another share the frames' axis. Of more frames than can be told apart, a column shows the
//! least and the greatest of those that fall on it.

use std::io;

use super::draw::{At, Drawing, GREY, INK, PALE, Pen, ticks};
use super::slug;
use crate::plan::Plan;
use crate::plan::curves::Curves;
use crate::plan::strobing::{Fast, Limits, Rule};
use crate::plan::survey::Survey;
use crate::shot::Shot;
use crate::stand::{Carrier, LevelId, Stand};

/// Most columns of a curve.
const COLUMNS: u32 = 1200;
const WIDTH: f64 = 1000.0;
const LEFT: f64 = 78.0;
const RIGHT: f64 = 22.0;
const PANEL: f64 = 150.0;
const GAP: f64 = 46.0;
/// A limit that lies farther from the curve than so many times its height is named, not drawn.
const NEAR: f64 = 6.0;

/// A drawing and what its file is to be called, without its ending.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chart {
    /// The name.
    pub name: String,
    /// The drawing.
    pub svg: String,
}

/// Least and greatest value of each column.
#[derive(Clone, Debug)]
struct Trace {
    columns: Vec<Option<(f64, f64)>>,
}

struct Panel<'a> {
    title: String,
    /// Solid, and dashed.
    traces: Vec<(&'a Trace, Pen)>,
    limits: Vec<(f64, String)>,
    warnings: Vec<&'a Fast>,
    /// Whether its values rest while a picture is held.
    steps: bool,
    zero: bool,
}

/// Charts of everything that moves or travels. `begun` hears every frame, and may end the work.
///
/// # Errors
///
/// Those of `begun`.
pub fn charts(
    stand: &Stand,
    shot: &Shot,
    plan: &Plan,
    survey: &Survey,
    mut begun: impl FnMut(u32) -> io::Result<()>,
) -> io::Result<Vec<Chart>> {
    let columns = shot.frames.clamp(1, COLUMNS);
    let trace = || Trace {
        columns: vec![None; columns as usize],
    };
    let mut axes: Vec<[Trace; 2]> = stand.axes.iter().map(|_| [trace(), trace()]).collect();
    let mut levels: Vec<[Trace; 2]> = stand.levels.iter().map(|_| [trace(), trace()]).collect();
    Curves::new(stand, plan).go(1..=shot.frames, |sample| -> io::Result<()> {
        begun(sample.frame)?;
        let column =
            (u64::from(sample.frame - 1) * u64::from(columns) / u64::from(shot.frames)) as usize;
        for (traces, motion) in axes.iter_mut().zip(&sample.axes) {
            traces[0].add(column, motion.position);
            if let Some(speed) = motion.speed {
                traces[1].add(column, speed);
            }
        }
        for (traces, travel) in levels.iter_mut().zip(sample.levels.iter().flatten()) {
            traces[0].add(column, travel.centre_px);
            traces[1].add(column, travel.edge_px);
        }
        Ok(())
    })?;

    let limits = Limits::new(&shot.strobing, stand.lens.picture.columns, shot.rate);
    let carriers = std::iter::once(Carrier::Camera)
        .chain((0..stand.levels.len()).map(|level| Carrier::Level(LevelId(level))));
    let mut charts = Vec::new();
    for of in carriers {
        let mut panels = Vec::new();
        for (axis, [position, speed]) in stand.axes.iter().zip(&axes) {
            if axis.of != of {
                continue;
            }
            let (way, unit) = (axis.way.name(), axis.way.unit().sign());
            let [forth, _] = axis.way.directions();
            panels.push(Panel {
                title: format!("{way}: position, {unit} from its zero, {forth}"),
                traces: vec![(position, Pen::solid(1.8))],
                limits: vec![
                    (axis.travel.0, format!("least, {} {unit}", axis.travel.0)),
                    (axis.travel.1, format!("greatest, {} {unit}", axis.travel.1)),
                ],
                warnings: Vec::new(),
                steps: true,
                zero: false,
            });
            panels.push(Panel {
                title: format!(
                    "{way}: speed, {unit} a frame (times {} for a second of the film)",
                    shot.rate
                ),
                traces: vec![(speed, Pen::solid(1.8))],
                limits: Vec::new(),
                warnings: Vec::new(),
                steps: true,
                zero: true,
            });
        }
        if let Carrier::Level(LevelId(level)) = of {
            let [centre, edge] = &levels[level];
            let name = &stand.levels[level].name;
            panels.push(Panel {
                title: "travel in the picture, px from the picture before: middle (solid), \
                        fastest point (dashed)"
                    .into(),
                traces: vec![(centre, Pen::solid(1.8)), (edge, Pen::dashed(1.8, "9 4"))],
                limits: vec![
                    (
                        limits.crossing_px * f64::from(shot.hold),
                        format!(
                            "picture crossed in {} s",
                            shot.strobing.crossing.as_secs_f64()
                        ),
                    ),
                    (limits.strobes_px, "strobes from here".into()),
                    (limits.smears_px, "smears from here".into()),
                ],
                warnings: survey
                    .fast
                    .iter()
                    .filter(|fast| fast.level == *name)
                    .collect(),
                steps: true,
                zero: true,
            });
        }
        if panels.is_empty() {
            continue;
        }
        let name = stand.carrier_name(of);
        let number = charts.len() + 1;
        charts.push(Chart {
            name: format!("{number:02}-{}", slug(name))
                .trim_end_matches('-')
                .to_owned(),
            svg: drawn(&format!("{}: {name}", shot.name), shot, &panels),
        });
    }
    Ok(charts)
}

impl Trace {
    fn add(&mut self, column: usize, value: f64) {
        if let Some(place) = self.columns.get_mut(column) {
            let (least, greatest) = place.unwrap_or((value, value));
            *place = Some((least.min(value), greatest.max(value)));
        }
    }

    fn ends(&self) -> Option<(f64, f64)> {
        let known = self.columns.iter().flatten();
        known.fold(None, |ends: Option<(f64, f64)>, &(low, high)| {
            let (least, greatest) = ends.unwrap_or((low, high));
            Some((least.min(low), greatest.max(high)))
        })
    }
}

fn drawn(title: &str, shot: &Shot, panels: &[Panel<'_>]) -> String {
    let head = 62.0;
    let warnings: Vec<String> = panels
        .iter()
        .flat_map(|panel| &panel.warnings)
        .map(|fast| words(fast))
        .collect();
    let top = head + 18.0 * warnings.len() as f64;
    let height = top + (PANEL + GAP) * panels.len() as f64 + 14.0;
    let mut drawing = Drawing::new(WIDTH, height);
    drawing.area((0.0, 0.0), (WIDTH, height), "#ffffff");
    drawing.text((LEFT, 26.0), 19.0, At::Start, title);
    let held = match shot.hold {
        1 => String::new(),
        hold => format!(", each picture held for {hold}"),
    };
    drawing.text(
        (LEFT, 46.0),
        13.0,
        At::Start,
        &format!("{} frames at {} a second{held}", shot.frames, shot.rate),
    );
    for (place, warning) in warnings.iter().enumerate() {
        let y = head + 18.0 * place as f64;
        triangle(&mut drawing, (LEFT + 5.0, y - 9.0));
        drawing.text((LEFT + 18.0, y), 13.0, At::Start, warning);
    }
    for (place, panel) in panels.iter().enumerate() {
        let y = top + 22.0 + (PANEL + GAP) * place as f64;
        panel.draw(&mut drawing, shot, y);
    }
    drawing.finish()
}

/// A warning in words.
fn words(fast: &Fast) -> String {
    let first = fast.frames.first().map_or(1, |span| *span.start());
    let last = fast.frames.last().map_or(1, |span| *span.end());
    let what = match fast.rule {
        Rule::Crossing => "crosses the picture too fast",
        Rule::Jumps => "strobes",
    };
    format!(
        "{what} at frames {first} to {last}, fastest at {}: {:.1} px, limit {:.1} px{}",
        fast.worst_frame,
        fast.pixels,
        fast.limit_pixels,
        match fast.rule {
            Rule::Crossing => " a frame",
            Rule::Jumps => " a picture",
        }
    )
}

fn triangle(drawing: &mut Drawing, (x, y): (f64, f64)) {
    let points = [(x, y + 9.0), (x - 5.0, y), (x + 5.0, y)];
    drawing.closed(&points, Some(INK), Pen::solid(0.5));
}

impl Panel<'_> {
    /// What the panel reaches from and to: its curves, and the limits near them.
    fn range(&self) -> ((f64, f64), Vec<&(f64, String)>) {
        let ends = self.traces.iter().filter_map(|(trace, _)| trace.ends());
        let (mut least, mut greatest) = ends
            .reduce(|one, two| (one.0.min(two.0), one.1.max(two.1)))
            .unwrap_or((0.0, 0.0));
        if self.zero {
            least = least.min(0.0);
            greatest = greatest.max(0.0);
        }
        let room = (greatest - least).max(greatest.abs().max(least.abs()) * 1e-3);
        let mut far = Vec::new();
        let (low, high) = (least - NEAR * room, greatest + NEAR * room);
        for limit in &self.limits {
            if room > 0.0 && limit.0 >= low && limit.0 <= high {
                least = least.min(limit.0);
                greatest = greatest.max(limit.0);
            } else {
                far.push(limit);
            }
        }
        let room = (greatest - least).max(1e-3);
        ((least - 0.06 * room, greatest + 0.16 * room), far)
    }

    fn draw(&self, drawing: &mut Drawing, shot: &Shot, top: f64) {
        let ((least, greatest), far) = self.range();
        let frames = f64::from(shot.frames);
        let wide = WIDTH - LEFT - RIGHT;
        // A frame is as wide as it is shown for: from half before its number to half after.
        let x = |frame: f64| LEFT + (frame - 0.5) / frames * wide;
        let y = |value: f64| top + PANEL * (greatest - value) / (greatest - least);
        let mut title = self.title.clone();
        for (_, what) in &far {
            title.push_str(&format!("; {what}: beyond this panel"));
        }
        drawing.text((LEFT, top - 7.0), 13.0, At::Start, &title);

        for fast in &self.warnings {
            for span in &fast.frames {
                let from = x(f64::from(*span.start()) - 0.5);
                let to = x(f64::from(*span.end()) + 0.5);
                drawing.area((from, top), (to - from, PANEL), PALE);
            }
        }
        let (values, decimals) = ticks(least, greatest, 5.0);
        for value in values {
            let pen = Pen::solid(0.5).grey();
            drawing.line((LEFT, y(value)), (WIDTH - RIGHT, y(value)), pen);
            let text = format!("{value:.decimals$}");
            drawing.text((LEFT - 8.0, y(value) + 4.5), 13.0, At::End, &text);
        }
        let (marks, _) = ticks(1.0, frames, 10.0);
        let marks = marks.into_iter().filter(|frame| frame.fract() == 0.0);
        for frame in std::iter::once(1.0).chain(marks.filter(|frame| *frame > 1.5)) {
            let bottom = top + PANEL;
            drawing.line(
                (x(frame), bottom),
                (x(frame), bottom + 5.0),
                Pen::solid(1.0),
            );
            let text = format!("{frame:.0}");
            drawing.text((x(frame), bottom + 19.0), 12.0, At::Middle, &text);
        }
        let known = self.traces[0].0.columns.iter().flatten();
        let ends = (known.clone().next().copied(), known.last().copied());
        for (limit, what) in &self.limits {
            if *limit < least || *limit > greatest {
                continue;
            }
            let pen = Pen::dashed(1.2, "2 4");
            drawing.line((LEFT, y(*limit)), (WIDTH - RIGHT, y(*limit)), pen);
            // At the end at which the curve is farther away.
            let apart =
                |end: Option<(f64, f64)>| end.map_or(0.0, |(_, value)| (value - limit).abs());
            let (place, anchor) = if apart(ends.0) > apart(ends.1) {
                (LEFT + 6.0, At::Start)
            } else {
                (WIDTH - RIGHT - 4.0, At::End)
            };
            drawing.text((place, y(*limit) - 4.0), 12.0, anchor, what);
        }
        for (trace, pen) in &self.traces {
            drawing.through(
                self.line(trace, shot).map(|at| Some((x(at?.0), y(at?.1)))),
                *pen,
            );
        }
        for fast in &self.warnings {
            triangle(drawing, (x(f64::from(fast.worst_frame)), top + 1.0));
        }
        let corners = [
            (LEFT, top),
            (WIDTH - RIGHT, top),
            (WIDTH - RIGHT, top + PANEL),
            (LEFT, top + PANEL),
        ];
        drawing.closed(
            &corners,
            None,
            Pen {
                colour: GREY,
                ..Pen::solid(1.0)
            },
        );
    }

    /// Points of a curve: frame and value. A value that rests while its frame is shown is drawn as
    /// wide as the frame.
    fn line(&self, trace: &Trace, shot: &Shot) -> impl Iterator<Item = Option<(f64, f64)>> {
        let each = f64::from(shot.frames) / trace.columns.len() as f64;
        let steps = self.steps && shot.hold > 1 || shot.frames == 1;
        let points: Vec<Option<(f64, f64)>> = trace
            .columns
            .iter()
            .enumerate()
            .flat_map(|(column, values)| {
                let middle = 0.5 + (column as f64 + 0.5) * each;
                match values {
                    None => [None, None],
                    Some((low, _)) if each == 1.0 && steps => {
                        [Some((middle - 0.5, *low)), Some((middle + 0.5, *low))]
                    }
                    Some((low, high)) => [Some((middle, *low)), Some((middle, *high))],
                }
            })
            .collect();
        points.into_iter()
    }
}
