//! The painter's sheet: for every level what to paint, at which scale, how large, and where on the
//! pane, drawn to scale.

use std::io::{self, Write};

use super::draw::{At, Drawing, PALE, Pen};
use super::html::{FOOT, Paper, escaped, head, terms};
use crate::picture::{MAX_PIXELS, MAX_SIDE};
use crate::plan::Plan;
use crate::plan::coverage::{Extent, LevelCoverage};
use crate::plan::imaging::Imaging;
use crate::plan::survey::Survey;
use crate::shot::{Distance, Shot};
use crate::stand::{Face, LevelId, Stand};

/// What a level's painting has to be.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// The level's name.
    pub level: String,
    /// Millimetres of the story to one of the painting; none of a far layer.
    pub scale: Option<f64>,
    /// What of the level is in the picture at some frame, with the margin, mm from its zero.
    pub paint: Extent,
    /// Pixels of the picture to a millimetre of the painting where it is seen largest.
    pub pixels_per_mm: f64,
    /// Files of the drawings, without folder and ending, in the order in which they are first used.
    pub drawings: Vec<String>,
}

impl Task {
    /// Columns and rows of a scan of what is to be painted, so that its pixels are nowhere coarser
    /// than the picture's.
    #[must_use]
    pub fn scan(&self) -> (u64, u64) {
        let pixels = |mm: f64| (mm * self.pixels_per_mm).ceil().max(0.0) as u64;
        (
            pixels(self.paint.width_mm()),
            pixels(self.paint.height_mm()),
        )
    }
}

/// What has to be painted, level by level in the stand's order. `begun` hears every picture, and
/// may end the work.
///
/// # Errors
///
/// Those of `begun`.
pub fn tasks(
    stand: &Stand,
    shot: &Shot,
    plan: &Plan,
    survey: &Survey,
    margin_mm: f64,
    mut begun: impl FnMut(u32) -> io::Result<()>,
) -> io::Result<Vec<Task>> {
    let geometry = plan.geometry();
    let mut tasks: Vec<Task> = survey
        .coverage
        .iter()
        .enumerate()
        .map(|(place, coverage)| Task {
            level: coverage.level.clone(),
            scale: match shot.layers[place].distance {
                Distance::At(_) => Some(1.0 / geometry.painted_size(LevelId(place))),
                Distance::Far => None,
            },
            paint: coverage.needs.with_margin(margin_mm),
            pixels_per_mm: 0.0,
            drawings: Vec::new(),
        })
        .collect();
    let mut pose = geometry.blank();
    for frame in 1..=shot.frames {
        begun(frame)?;
        let picture = geometry.held(frame) == frame;
        if picture {
            geometry.pose_into(frame, &mut pose);
        }
        for (place, task) in tasks.iter_mut().enumerate() {
            let id = LevelId(place);
            if picture && let Some(imaging) = Imaging::new(stand, &pose.stand, pose.image_mm, id) {
                task.pixels_per_mm = task.pixels_per_mm.max(imaging.pixels_per_mm());
            }
            if let Some(art) = shot.art_at(id, frame) {
                let name = art.file_stem().unwrap_or_default().to_string_lossy();
                if !task.drawings.iter().any(|known| *known == name) {
                    task.drawings.push(name.into_owned());
                }
            }
        }
    }
    Ok(tasks)
}

/// A length in both units.
fn both(mm: f64) -> String {
    format!("{mm:.1} mm ({:.2} in)", mm / 25.4)
}

fn size(width_mm: f64, height_mm: f64) -> String {
    format!(
        "{width_mm:.1} x {height_mm:.1} mm ({:.2} x {:.2} in)",
        width_mm / 25.4,
        height_mm / 25.4
    )
}

fn metres(mm: f64) -> String {
    if mm >= 100_000.0 {
        format!("{:.0} m ({:.0} ft)", mm / 1000.0, mm / 304.8)
    } else if mm >= 1000.0 {
        format!("{:.2} m ({:.1} ft)", mm / 1000.0, mm / 304.8)
    } else {
        both(mm)
    }
}

/// Writes the sheet for print.
///
/// # Errors
///
/// Those of the writer.
pub fn html(
    stand: &Stand,
    shot: &Shot,
    survey: &Survey,
    tasks: &[Task],
    margin_mm: f64,
    out: &mut impl Write,
) -> io::Result<()> {
    let title = format!("{}: painter's sheet", shot.name);
    out.write_all(head(&title, Paper::Upright).as_bytes())?;
    writeln!(out, "<h1>{}</h1>", escaped(&title))?;
    writeln!(
        out,
        "<p>{}, {} frames. Sizes are on the glass. Places are counted from the level's zero, the cross: \
         it lies in the middle of the pane. East is the right of the picture, north its top. \
         Whatever is seen at any frame is to be painted, and {} more on every side.</p>",
        escaped(&stand.name),
        shot.frames,
        both(margin_mm)
    )?;
    for ((place, task), coverage) in tasks.iter().enumerate().zip(&survey.coverage) {
        let level = &stand.levels[place];
        writeln!(out, "<section>\n<h2>{}</h2>", escaped(&task.level))?;
        let (scale, distance) = match (task.scale, shot.layers[place].distance) {
            (Some(scale), Distance::At(distance)) => (
                format!("1 : {}", round(scale)),
                format!("{} from the viewer", metres(distance)),
            ),
            _ => (
                "none: it is far, and keeps its size and place".into(),
                "far".into(),
            ),
        };
        let paint = &task.paint;
        let (middle_east, middle_north) = paint.centre_mm();
        let (columns, rows) = task.scan();
        let face = match level.pane.art {
            Face::Upper => "the upper face",
            Face::Under => {
                "the under face: turned over to paint there, east is at your left; the drawing below is as the \
                            camera sees it, through the glass"
            }
        };
        let mut list = vec![
            ("painted scale", scale),
            ("in the story", distance),
            ("size to paint", size(paint.width_mm(), paint.height_mm())),
            (
                "its middle",
                format!("{middle_east:+.1} mm east, {middle_north:+.1} mm north of the zero"),
            ),
            (
                "pane",
                format!(
                    "{}, painted on {face}",
                    size(level.pane.width_mm, level.pane.height_mm)
                ),
            ),
            (
                "scan",
                format!(
                    "{columns} x {rows} pixels, {:.0} to an inch: then no art pixel is larger than a \
                     pixel of the picture",
                    task.pixels_per_mm * 25.4
                ),
            ),
            ("drawings", drawings(task)),
        ];
        if !fits(paint, level.pane.width_mm, level.pane.height_mm) {
            list.push((
                "look out",
                "what is to be painted does not fit on the pane with this margin".into(),
            ));
        }
        if columns.max(rows) > u64::from(MAX_SIDE) || columns * rows > MAX_PIXELS {
            list.push((
                "look out",
                format!(
                    "such a scan is larger than this program takes, {MAX_SIDE} pixels a side and \
                     {MAX_PIXELS} in all: scan it coarser"
                ),
            ));
        }
        if let Some(spare) = coverage.painting_spare.filter(|spare| spare.mm < 0.0) {
            list.push((
                "look out",
                format!(
                    "the painting that there is ends inside the picture: {} (most at frame {})",
                    short(coverage),
                    spare.frame
                ),
            ));
        }
        out.write_all(terms(&list).as_bytes())?;
        out.write_all(drawn(stand, shot, place, task, coverage).as_bytes())?;
        writeln!(out, "</section>")?;
    }
    out.write_all(FOOT.as_bytes())
}

fn fits(paint: &Extent, width_mm: f64, height_mm: f64) -> bool {
    paint.west_mm >= -width_mm / 2.0
        && paint.east_mm <= width_mm / 2.0
        && paint.south_mm >= -height_mm / 2.0
        && paint.north_mm <= height_mm / 2.0
}

/// Three figures are enough for a scale.
fn round(scale: f64) -> String {
    if scale >= 100.0 {
        format!("{scale:.0}")
    } else {
        format!("{scale:.2}")
    }
}

fn drawings(task: &Task) -> String {
    const MANY: usize = 24;
    match task.drawings.len() {
        0 => "none yet".into(),
        1 => task.drawings[0].clone(),
        count if count > MANY => format!(
            "{}, ... {} in all, all registered alike",
            task.drawings[..MANY].join(", "),
            count
        ),
        count => format!(
            "{}: {count}, all registered alike",
            task.drawings.join(", ")
        ),
    }
}

const WIDTH: f64 = 660.0;
const MARGIN: f64 = 62.0;
const KEY: f64 = 46.0;

/// By how much a painting ends inside the picture, side by side.
fn short(coverage: &LevelCoverage) -> String {
    let sides = coverage
        .short_sides()
        .map(|(side, mm)| format!("{} by {mm:.1} mm", side.name()));
    sides.collect::<Vec<_>>().join(", ")
}

fn drawn(
    stand: &Stand,
    shot: &Shot,
    place: usize,
    task: &Task,
    coverage: &LevelCoverage,
) -> String {
    let pane = &stand.levels[place].pane;
    let pane = Extent::about((0.0, 0.0), pane.width_mm, pane.height_mm);
    let painting = coverage
        .painting
        .filter(|painting| painting.height_mm().is_finite());
    let all = [Some(pane), Some(task.paint), painting];
    let all = all.into_iter().flatten().reduce(|one, two| Extent {
        west_mm: one.west_mm.min(two.west_mm),
        east_mm: one.east_mm.max(two.east_mm),
        south_mm: one.south_mm.min(two.south_mm),
        north_mm: one.north_mm.max(two.north_mm),
    });
    let all = all.unwrap_or(pane);
    let wide = WIDTH - 2.0 * MARGIN;
    // No taller than half a page.
    let scale = (wide / all.width_mm()).min(400.0 / all.height_mm());
    let height = all.height_mm() * scale + 2.0 * MARGIN + KEY;
    let left = MARGIN + (wide - all.width_mm() * scale) / 2.0;
    let at = |(east, north): (f64, f64)| {
        (
            left + (east - all.west_mm) * scale,
            MARGIN + (all.north_mm - north) * scale,
        )
    };
    let corners = |extent: &Extent| {
        [
            at((extent.west_mm, extent.north_mm)),
            at((extent.east_mm, extent.north_mm)),
            at((extent.east_mm, extent.south_mm)),
            at((extent.west_mm, extent.south_mm)),
        ]
    };
    let mut drawing = Drawing::new(WIDTH, height);
    drawing.closed(&corners(&pane), Some("#f4f4f4"), Pen::solid(0.8));
    drawing.closed(&corners(&task.paint), Some(PALE), Pen::solid(2.2));
    if let Some(painting) = &painting {
        drawing.closed(&corners(painting), None, Pen::dashed(1.2, "10 3 2 3"));
    }
    drawing.closed(&corners(&coverage.needs), None, Pen::dashed(1.0, "2 3"));
    drawing.closed(&coverage.first.map(at), None, Pen::solid(1.2));
    drawing.closed(&coverage.last.map(at), None, Pen::dashed(1.2, "7 4"));
    for (points, words, up) in [
        (&coverage.first, "1", true),
        (&coverage.last, "last", false),
    ] {
        // At the north-west corner of the first, at the south-east of the last.
        let (x, y) = at(points[if up { 0 } else { 2 }]);
        let (text, anchor) = match (up, shot.frames) {
            (true, 1) => ("frame 1".to_owned(), At::Start),
            (_, 1) => continue,
            (true, _) => (format!("frame {words}"), At::Start),
            (false, last) => (format!("frame {last}"), At::End),
        };
        let place = if up {
            (x + 5.0, y + 14.0)
        } else {
            (x - 5.0, y - 6.0)
        };
        drawing.text(place, 12.0, anchor, &text);
    }
    let zero = at((0.0, 0.0));
    drawing.line(
        (zero.0 - 9.0, zero.1),
        (zero.0 + 9.0, zero.1),
        Pen::solid(1.4),
    );
    drawing.line(
        (zero.0, zero.1 - 9.0),
        (zero.0, zero.1 + 9.0),
        Pen::solid(1.4),
    );
    // Dimensions of what is to be painted.
    let [north_west, north_east, _, south_west] = corners(&task.paint);
    let above = MARGIN - 16.0;
    for x in [north_west.0, north_east.0] {
        drawing.line((x, above - 6.0), (x, north_west.1), Pen::solid(0.5).grey());
    }
    drawing.arrows((north_west.0, above), (north_east.0, above));
    let middle = f64::midpoint(north_west.0, north_east.0);
    let width = format!("{:.1} mm", task.paint.width_mm());
    drawing.text((middle, above - 6.0), 12.0, At::Middle, &width);
    let aside = left - 16.0;
    for y in [north_west.1, south_west.1] {
        drawing.line((aside - 6.0, y), (north_west.0, y), Pen::solid(0.5).grey());
    }
    drawing.arrows((aside, north_west.1), (aside, south_west.1));
    let middle = f64::midpoint(north_west.1, south_west.1);
    let tall = format!("{:.1}", task.paint.height_mm());
    drawing.text((aside - 4.0, middle + 4.0), 12.0, At::End, &tall);
    key(
        &mut drawing,
        height - KEY,
        painting.is_some(),
        shot.frames > 1,
    );
    drawing.finish()
}

/// What the lines mean.
fn key(drawing: &mut Drawing, top: f64, painting: bool, moves: bool) {
    let mut entries = vec![
        ("to paint", Pen::solid(2.2)),
        ("pane", Pen::solid(0.8)),
        ("first frame", Pen::solid(1.2)),
    ];
    if moves {
        entries.push(("last frame", Pen::dashed(1.2, "7 4")));
        entries.push(("all frames", Pen::dashed(1.0, "2 3")));
    }
    if painting {
        entries.push(("painting there is", Pen::dashed(1.2, "10 3 2 3")));
    }
    let each = (WIDTH - 20.0) / 6.0;
    for (place, (words, pen)) in entries.into_iter().enumerate() {
        let x = 10.0 + each * place as f64;
        drawing.line((x, top + 20.0), (x + 24.0, top + 20.0), pen);
        drawing.text((x + 28.0, top + 24.0), 11.0, At::Start, words);
    }
    let cross = "cross: the level's zero; north is up";
    drawing.text((10.0, top + 41.0), 11.0, At::Start, cross);
}

/// The first line of the CSV.
pub const CSV_HEAD: &str = "level,scale_1_to,distance_mm,paint_width_mm,paint_height_mm,\
                            paint_middle_east_mm,paint_middle_north_mm,margin_mm,scan_columns,\
                            scan_rows,drawings";

/// Writes the sheet as CSV; a far layer's scale and distance are empty.
///
/// # Errors
///
/// Those of the writer.
pub fn csv(shot: &Shot, tasks: &[Task], margin_mm: f64, out: &mut impl Write) -> io::Result<()> {
    use crate::plan::output::quoted;
    use crate::units::fixed;
    writeln!(out, "{CSV_HEAD}")?;
    for (task, layer) in tasks.iter().zip(&shot.layers) {
        let (east, north) = task.paint.centre_mm();
        let (columns, rows) = task.scan();
        let distance = match layer.distance {
            Distance::At(distance) => fixed(distance, 3),
            Distance::Far => String::new(),
        };
        writeln!(
            out,
            "{},{},{distance},{},{},{},{},{},{columns},{rows},{}",
            quoted(&task.level),
            task.scale.map_or(String::new(), |scale| fixed(scale, 6)),
            fixed(task.paint.width_mm(), 3),
            fixed(task.paint.height_mm(), 3),
            fixed(east, 3),
            fixed(north, 3),
            fixed(margin_mm, 3),
            quoted(&task.drawings.join("; ")),
        )?;
    }
    Ok(())
}
