//! How everything moves over the frames, a drawing for each level and one for the camera: panels one
//! above another share the frames' axis. Of more frames than can be told apart, a column shows the
//! least and the greatest of those that fall on it.

mod warnings;

use std::io;

use self::warnings::{Warning, warnings};
use super::draw::{At, Drawing, GREY, INK, PALE, Pen, ticks};
use super::slug;
use crate::plan::Plan;
use crate::plan::curves::Curves;
use crate::plan::strobing::{Fast, Limits};
use crate::plan::survey::Survey;
use crate::shot::Shot;
use crate::stand::{Carrier, Drive, LevelId, Stand};
use crate::units::Scale;

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
    zero: bool,
    /// Less than this is nothing: a step or a division of the axis, a pixel.
    least: f64,
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
            let (grain, set) = match &axis.drive {
                Drive::Motor(motor) => {
                    let step = 1.0 / motor.steps_per_unit;
                    (step, format!("step, {step:.5} {unit}"))
                }
                Drive::Hand { scale, .. } => {
                    let division = Scale::of(*scale, axis.way.unit()).with_unit(*scale);
                    (*scale, format!("division, {division}"))
                }
            };
            panels.push(Panel {
                title: format!(
                    "{way}: position as wished, {unit} from its zero; + is {forth}; it is set to the \
                     nearest {set}"
                ),
                traces: vec![(position, Pen::solid(1.8))],
                limits: vec![
                    (axis.travel.0, format!("least, {} {unit}", axis.travel.0)),
                    (axis.travel.1, format!("greatest, {} {unit}", axis.travel.1)),
                ],
                warnings: Vec::new(),
                zero: false,
                least: grain,
            });
            panels.push(Panel {
                title: format!(
                    "{way}: speed, {unit} a frame (times {} for a second of the film)",
                    shot.rate
                ),
                traces: vec![(speed, Pen::solid(1.8))],
                limits: Vec::new(),
                warnings: Vec::new(),
                zero: true,
                least: grain,
            });
        }
        if let Carrier::Level(LevelId(level)) = of {
            let [centre, edge] = &levels[level];
            let name = &stand.levels[level].name;
            let crossing_px = limits.crossing_px * f64::from(shot.hold);
            panels.push(Panel {
                title: "travel in the picture, px from picture to picture: its middle (solid), \
                        its fastest point (dashed)"
                    .into(),
                traces: vec![(centre, Pen::solid(1.8)), (edge, Pen::dashed(1.8, "9 4"))],
                limits: vec![
                    (
                        crossing_px,
                        format!(
                            "crosses the picture in {} s, {crossing_px:.1} px",
                            shot.strobing.crossing.as_secs_f64()
                        ),
                    ),
                    (
                        limits.strobes_px,
                        format!("strobes from {:.1} px", limits.strobes_px),
                    ),
                    (
                        limits.smears_px,
                        format!("smears from {:.1} px", limits.smears_px),
                    ),
                ],
                warnings: survey
                    .fast
                    .iter()
                    .filter(|fast| fast.level == *name)
                    .collect(),
                zero: true,
                least: 1.0,
            });
        }
        if panels.is_empty() {
            continue;
        }
        let name = stand.carrier_name(of);
        let number = charts.len() + 1;
        let warned = match of {
            Carrier::Level(LevelId(level)) => warnings(survey, level, name),
            Carrier::Camera => Vec::new(),
        };
        charts.push(Chart {
            name: format!("{number:02}-{}", slug(name))
                .trim_end_matches('-')
                .to_owned(),
            svg: drawn(&format!("{}: {name}", shot.name), shot, &panels, &warned),
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

fn drawn(title: &str, shot: &Shot, panels: &[Panel<'_>], warned: &[Warning]) -> String {
    let head = 66.0;
    let top = head + 18.0 * warned.len() as f64;
    let below = top + (PANEL + GAP) * panels.len() as f64;
    let height = below + warnings::height(warned) + 14.0;
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
    for (place, warning) in warned.iter().enumerate() {
        let y = head + 18.0 * place as f64;
        triangle(&mut drawing, (LEFT + 5.0, y - 9.0));
        drawing.text((LEFT + 18.0, y), 13.0, At::Start, &warning.words);
    }
    for (place, panel) in panels.iter().enumerate() {
        let y = top + 22.0 + (PANEL + GAP) * place as f64;
        panel.draw(&mut drawing, shot, y);
    }
    warnings::draw(warned, &mut drawing, below + 18.0, |frame| {
        across(shot, frame)
    });
    drawing.finish()
}

/// Where a frame lies: it is as wide as it is shown for, from half before its number to half after.
fn across(shot: &Shot, frame: f64) -> f64 {
    LEFT + (frame - 0.5) / f64::from(shot.frames) * (WIDTH - LEFT - RIGHT)
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
        // What stands still has some room; no rounding is blown up to a curve.
        let short = self.least - (greatest - least);
        if short > 0.0 {
            // What is never less than nothing has its room above.
            let below = if self.zero && least >= 0.0 {
                0.0
            } else {
                short / 2.0
            };
            least -= below;
            greatest += short - below;
        }
        let room = greatest - least;
        ((least - 0.06 * room, greatest + 0.16 * room), far)
    }

    fn draw(&self, drawing: &mut Drawing, shot: &Shot, top: f64) {
        let ((least, greatest), far) = self.range();
        let frames = f64::from(shot.frames);
        let x = |frame: f64| across(shot, frame);
        let y = |value: f64| top + PANEL * (greatest - value) / (greatest - least);
        drawing.text((LEFT, top - 7.0), 13.0, At::Start, &self.title);

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
        for (trace, pen) in &self.traces {
            drawing.through(
                self.line(trace, shot).map(|at| Some((x(at?.0), y(at?.1)))),
                *pen,
            );
        }
        // What the words of a limit must not meet: a line's place, and its height.
        let mut taken = Vec::new();
        if !far.is_empty() {
            let far: Vec<&str> = far.iter().map(|(_, what)| what.as_str()).collect();
            let far = format!("beyond this panel: {}", far.join("; "));
            drawing.text((WIDTH - RIGHT - 6.0, top + 14.0), 11.0, At::End, &far);
            taken.extend([(1, top + 18.0), (2, top + 18.0)]);
        }
        self.name_limits(drawing, y, (least, greatest), taken);
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

    /// Draws the limits that the panel reaches to, each with its words where the curves are far away
    /// and no other words are.
    fn name_limits(
        &self,
        drawing: &mut Drawing,
        y: impl Fn(f64) -> f64,
        (least, greatest): (f64, f64),
        mut taken: Vec<(usize, f64)>,
    ) {
        /// How tall words are, px.
        const TALL: f64 = 14.0;
        /// At the left, in the middle, at the right.
        const PLACES: usize = 3;
        for (limit, what) in &self.limits {
            if *limit < least || *limit > greatest {
                continue;
            }
            let at = y(*limit);
            let pen = Pen::dashed(1.2, "2 4");
            drawing.line((LEFT, at), (WIDTH - RIGHT, at), pen);
            // How near a curve comes to the words, px.
            let apart = |place: usize| {
                let near = self.traces.iter().flat_map(|(trace, _)| {
                    let count = trace.columns.len();
                    let from = place * count / PLACES;
                    let to = ((place + 1) * count / PLACES).max(from + 1);
                    trace.columns[from.min(count)..to.min(count)]
                        .iter()
                        .flatten()
                });
                near.flat_map(|(low, high)| [y(*low), y(*high)])
                    .map(|curve| (curve - (at - TALL / 2.0)).abs())
                    .fold(f64::INFINITY, f64::min)
            };
            let free = |place: &usize| {
                let mut others = taken.iter().filter(|(other, _)| other == place);
                others.all(|(_, other)| (other - at).abs() >= TALL)
            };
            let best = [1, 0, 2]
                .into_iter()
                .filter(free)
                .max_by(|one, two| apart(*one).min(30.0).total_cmp(&apart(*two).min(30.0)));
            let place = best.unwrap_or(2);
            taken.push((place, at));
            let (x, anchor) = match place {
                0 => (LEFT + 6.0, At::Start),
                1 => (f64::midpoint(LEFT, WIDTH - RIGHT), At::Middle),
                _ => (WIDTH - RIGHT - 6.0, At::End),
            };
            drawing.text((x, at - 4.0), 12.0, anchor, what);
        }
    }

    /// Points of a curve: frame and value. A value that rests while its frame is shown is drawn as
    /// wide as the frame.
    fn line(&self, trace: &Trace, shot: &Shot) -> impl Iterator<Item = Option<(f64, f64)>> {
        let each = f64::from(shot.frames) / trace.columns.len() as f64;
        let steps = shot.hold > 1 || shot.frames == 1;
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
