//! The stand from the side, as one sees it from the south, to scale: glass, lens, what the lens sees,
//! how deep it is sharp, and how far each lift goes.
//!
//! The picture's edges are bent by the glass: a ray goes on in air as steeply as before, but within a
//! pane it gets sideways only `1/n` as far (the paraxial law of refraction, by which the planner
//! reckons too).

use super::draw::{At, Drawing, PALE, Pen, ticks};
use crate::optics::depth::depth_of_field;
use crate::optics::glass_shift_mm;
use crate::plan::Plan;
use crate::shot::Shot;
use crate::stand::{Carrier, Face, Level, LevelId, Stand, Way};

const WIDTH: f64 = 1000.0;
const HEIGHT: f64 = 900.0;
const TOP: f64 = 96.0;
const BOTTOM: f64 = 74.0;
/// Room for words at the left and at the right.
const SIDE: f64 = 250.0;
/// Least distance between the words of two levels: of three lines each, and where there are too many
/// levels for that, of one.
const LINES: f64 = 52.0;
const LINE: f64 = 18.0;
/// Half the least width of the lens that can be seen, px.
const LENS: f64 = 24.0;

/// Draws a stand as it stands at the first frame of a plan.
#[must_use]
pub fn elevation(stand: &Stand, shot: &Shot, plan: &Plan) -> String {
    let pose = plan.geometry().pose(1);
    let lens_mm = stand.lens.height_mm + pose.stand.camera.lift_mm;
    let faces: Vec<Body> = stand
        .levels
        .iter()
        .zip(&pose.stand.levels)
        .map(|(level, place)| Body::new(level, place.lift_mm))
        .collect();
    let tallest = stand
        .axis(Carrier::Camera, Way::Lift)
        .map_or(lens_mm, |axis| {
            lens_mm.max(stand.lens.height_mm + stand.axes[axis.0].travel.1)
        });
    let lens = &stand.lens;
    let camera = &pose.stand.camera;
    let halves: Vec<f64> = stand
        .levels
        .iter()
        .zip(&pose.stand.levels)
        .map(|(level, place)| {
            half_width(
                level.pane.width_mm,
                level.pane.height_mm,
                place.turn_degrees,
            )
        })
        .collect();
    let picture = &lens.picture;
    let slope =
        half_width(picture.width_mm, picture.height_mm, camera.turn_degrees) / pose.image_mm;
    let seen_mm = ray(lens_mm, &faces, slope)
        .last()
        .map_or(0.0, |(aside, _)| aside.abs());
    let places = pose.stand.levels.iter().zip(&halves);
    let farthest = places
        .map(|(place, half)| place.east_mm.abs() + half)
        .fold(camera.east_mm.abs() + seen_mm, f64::max)
        .max(50.0);
    let most = HEIGHT - TOP - BOTTOM;
    let scale = (most / (tallest * 1.04)).min((WIDTH / 2.0 - SIDE) / farthest);
    // As tall as the stand, or as the words of all levels need.
    let count = stand.levels.len() as f64;
    let short = LINES * (count + 1.0) > most;
    let words = (count + 1.0) * if short { LINE } else { LINES };
    let ground = TOP + words.max(tallest * 1.04 * scale);
    let tall = ground + BOTTOM;
    let x = |east_mm: f64| WIDTH / 2.0 + east_mm * scale;
    let y = |height_mm: f64| ground - height_mm * scale;
    let mut drawing = Drawing::new(WIDTH, tall);
    drawing.area((0.0, 0.0), (WIDTH, tall), "#ffffff");
    drawing.text(
        (20.0, 30.0),
        19.0,
        At::Start,
        &format!("{}: from the south, to scale", stand.name),
    );
    drawing.text(
        (20.0, 52.0),
        13.0,
        At::Start,
        &format!(
            "at frame 1 of {}; heights are above the bed, of the painted faces; left is west",
            shot.name
        ),
    );
    drawing.text(
        (20.0, 70.0),
        13.0,
        At::Start,
        &format!(
            "lens {} mm at f/{}, picture {} mm wide; thin lines: the picture's edges, bent by the glass",
            stand.lens.focal_length_mm, stand.lens.f_number, stand.lens.picture.width_mm
        ),
    );

    // Where it is sharp, behind everything else.
    let sharp = depth_of_field(
        lens.focal_length_mm,
        lens.f_number,
        lens.circle_of_confusion_mm,
        pose.stand.focus_mm,
    );
    let near_mm = height_of(lens_mm, &faces, sharp.near_mm);
    let far_mm = height_of(lens_mm, &faces, sharp.far_mm).max(0.0);
    let edge = WIDTH - SIDE + 6.0;
    drawing.area(
        (SIDE, y(near_mm)),
        (WIDTH - 2.0 * SIDE, y(far_mm) - y(near_mm)),
        PALE,
    );
    // The bed and the optical axis.
    drawing.line(
        (SIDE - 30.0, ground),
        (WIDTH - SIDE, ground),
        Pen::solid(3.0),
    );
    drawing.text((SIDE - 36.0, ground + 5.0), 13.0, At::End, "bed, 0 mm");
    let centre = x(camera.east_mm);
    drawing.line(
        (centre, y(lens_mm) - 26.0),
        (centre, ground),
        Pen::dashed(0.8, "12 3 2 3"),
    );
    // What the lens sees.
    for side in [-1.0, 1.0] {
        let ray = ray(lens_mm, &faces, side * slope);
        let points = ray
            .into_iter()
            .map(|(east_mm, height_mm)| Some((x(camera.east_mm + east_mm), y(height_mm))));
        drawing.through(points, Pen::solid(0.9));
    }
    // The lens.
    let pupil = lens.focal_length_mm / lens.f_number / 2.0 * scale;
    let half = pupil.max(LENS);
    let eye = y(lens_mm);
    let bow: Vec<(f64, f64)> = (0..=24)
        .map(|step| {
            let angle = f64::from(step) / 24.0 * std::f64::consts::TAU;
            (centre + half * angle.cos(), eye + 5.0 * angle.sin())
        })
        .collect();
    drawing.closed(&bow, Some("#ffffff"), Pen::solid(1.4));
    drawing.text(
        (SIDE - 36.0, eye + 4.0),
        13.0,
        At::End,
        &format!("lens, {lens_mm:.1} mm"),
    );
    if pupil < LENS {
        drawing.text(
            (SIDE - 36.0, eye + 19.0),
            12.0,
            At::End,
            "(drawn wider than it is)",
        );
    }
    drawing.line(
        (SIDE - 30.0, eye),
        (centre - half, eye),
        Pen::dashed(0.6, "1 3"),
    );
    drawing.arrows((SIDE - 14.0, eye), (SIDE - 14.0, ground));
    if let Some(axis) = stand.axis(Carrier::Camera, Way::Lift) {
        let (least, greatest) = stand.axes[axis.0].travel;
        let at = centre + half + 14.0;
        range(
            &mut drawing,
            at,
            y(stand.lens.height_mm + least),
            y(stand.lens.height_mm + greatest),
        );
    }

    // The levels.
    let wanted: Vec<f64> = stand
        .levels
        .iter()
        .zip(&faces)
        .map(|(level, body)| {
            let face_mm = match level.pane.art {
                Face::Upper => body.top_mm,
                Face::Under => body.bottom_mm,
            };
            y(face_mm) - 4.0
        })
        .collect();
    let (apart, below) = if short { (LINE, 0.0) } else { (LINES, 40.0) };
    let words = spread(&wanted, apart, (TOP, ground - below));
    let mut above_mm = None;
    let each = stand.levels.iter().zip(&pose.stand.levels).zip(&faces);
    for (index, ((level, place), body)) in each.enumerate() {
        let id = LevelId(index);
        let (west, east) = (
            x(place.east_mm - halves[index]),
            x(place.east_mm + halves[index]),
        );
        let (top, bottom) = (y(body.top_mm), y(body.bottom_mm));
        drawing.closed(
            &[(west, top), (east, top), (east, bottom), (west, bottom)],
            Some("#f4f4f4"),
            Pen::solid(0.8),
        );
        let face = match level.pane.art {
            Face::Upper => top,
            Face::Under => bottom,
        };
        drawing.line((west, face), (east, face), Pen::solid(2.2));
        let words_y = words[index];
        drawing.line((east, face), (edge, words_y), Pen::solid(0.6).grey());
        drawing.text(
            (edge + 5.0, words_y + 4.0),
            14.0,
            At::Start,
            &format!("{}, {:.1} mm", level.name, body.face_mm),
        );
        let gap = match above_mm {
            Some(above) => format!("{:.1} mm of air above", above - body.top_mm),
            None => format!("{:.1} mm below the lens", lens_mm - body.top_mm),
        };
        above_mm = Some(body.bottom_mm);
        let glass = format!(
            "glass {} mm, n {}",
            level.pane.thickness_mm, level.pane.index
        );
        let more: &[String] = if short { &[] } else { &[glass, gap] };
        for (line, words) in more.iter().enumerate() {
            let place = (edge + 5.0, words_y + 19.0 + 15.0 * line as f64);
            drawing.text(place, 12.0, At::Start, words);
        }
        if let Some(axis) = stand.axis(Carrier::Level(id), Way::Lift) {
            let (least, greatest) = stand.axes[axis.0].travel;
            range(
                &mut drawing,
                west - 12.0,
                y(level.height_mm + least),
                y(level.height_mm + greatest),
            );
        }
    }
    // How deep it is sharp.
    let at = SIDE - 54.0;
    drawing.arrows((at, y(near_mm)), (at, y(far_mm)));
    let middle = f64::midpoint(y(near_mm), y(far_mm));
    let far = if sharp.far_mm.is_infinite() {
        "to infinity".to_owned()
    } else {
        format!("to {far_mm:.0} mm")
    };
    for (place, words) in [
        "sharp".to_owned(),
        format!("from {near_mm:.0}"),
        far,
        format!("(circle {:.3} mm)", lens.circle_of_confusion_mm),
    ]
    .into_iter()
    .enumerate()
    {
        let line = middle - 22.0 + 16.0 * place as f64;
        drawing.text((at - 8.0, line), 12.5, At::End, &words);
    }
    scale_bar(&mut drawing, scale, tall);
    drawing.text(
        (WIDTH - 20.0, tall - 20.0),
        12.0,
        At::End,
        "heavy side of a pane: its painted face; bars with ticks: how far a lift goes; grey: sharp",
    );
    drawing.finish()
}

/// Half of what a rectangle that is turned takes from west to east.
fn half_width(width: f64, height: f64, turn_degrees: f64) -> f64 {
    let (sin, cos) = turn_degrees.to_radians().sin_cos();
    f64::midpoint(width * cos.abs(), height * sin.abs())
}

/// Places that come in their order, no nearer to one another than so much, and as near as that
/// allows to those wanted; within two ends, where there is room for all.
fn spread(wanted: &[f64], apart: f64, (first, last): (f64, f64)) -> Vec<f64> {
    let mut places = wanted.to_vec();
    let mut least = first;
    for place in &mut places {
        *place = place.max(least);
        least = *place + apart;
    }
    let mut most = last;
    for place in places.iter_mut().rev() {
        *place = place.min(most);
        most = *place - apart;
    }
    places
}

/// Heights of a pane, mm.
struct Body {
    top_mm: f64,
    bottom_mm: f64,
    face_mm: f64,
    shift_mm: f64,
    index: f64,
}

impl Body {
    fn new(level: &Level, lift_mm: f64) -> Self {
        let face_mm = level.height_mm + lift_mm;
        let (top_mm, bottom_mm) = match level.pane.art {
            Face::Upper => (face_mm, face_mm - level.pane.thickness_mm),
            Face::Under => (face_mm + level.pane.thickness_mm, face_mm),
        };
        Self {
            top_mm,
            bottom_mm,
            face_mm,
            shift_mm: glass_shift_mm(&level.pane),
            index: level.pane.index,
        }
    }
}

/// Points of a ray from the lens to the bed: how far sideways, and at which height.
fn ray(lens_mm: f64, panes: &[Body], slope: f64) -> Vec<(f64, f64)> {
    let mut points = vec![(0.0, lens_mm)];
    let mut aside = 0.0;
    let mut height = lens_mm;
    for pane in panes {
        aside += slope * (height - pane.top_mm);
        points.push((aside, pane.top_mm));
        aside += slope * (pane.top_mm - pane.bottom_mm) / pane.index;
        points.push((aside, pane.bottom_mm));
        height = pane.bottom_mm;
    }
    points.push((aside + slope * height, 0.0));
    points
}

/// The height at which something appears to be so far from the lens; within a pane, where it appears
/// in its glass.
fn height_of(lens_mm: f64, panes: &[Body], apparent_mm: f64) -> f64 {
    let mut raised = 0.0;
    for pane in panes {
        let to_top = lens_mm - pane.top_mm - raised;
        if apparent_mm <= to_top {
            break;
        }
        let thickness = pane.top_mm - pane.bottom_mm;
        if apparent_mm <= to_top + thickness - pane.shift_mm {
            return pane.top_mm - (apparent_mm - to_top) * pane.index;
        }
        raised += pane.shift_mm;
    }
    lens_mm - apparent_mm - raised
}

/// How far a lift goes.
fn range(drawing: &mut Drawing, at: f64, low: f64, high: f64) {
    drawing.line((at, low), (at, high), Pen::solid(1.6));
    for end in [low, high] {
        drawing.line((at - 5.0, end), (at + 5.0, end), Pen::solid(1.6));
    }
}

fn scale_bar(drawing: &mut Drawing, scale: f64, tall: f64) {
    let (marks, _) = ticks(0.0, 200.0 / scale, 2.0);
    let length_mm = marks.get(1).copied().unwrap_or(100.0);
    let (from, y) = (24.0, tall - 26.0);
    let to = from + length_mm * scale;
    drawing.line((from, y), (to, y), Pen::solid(2.0));
    for end in [from, to] {
        drawing.line((end, y - 5.0), (end, y + 5.0), Pen::solid(2.0));
    }
    drawing.text(
        (to + 8.0, y + 4.5),
        13.0,
        At::Start,
        &format!("{length_mm:.0} mm"),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pane(top_mm: f64, thickness_mm: f64, index: f64) -> Body {
        Body {
            top_mm,
            bottom_mm: top_mm - thickness_mm,
            face_mm: top_mm,
            shift_mm: thickness_mm * (1.0 - 1.0 / index),
            index,
        }
    }

    #[test]
    fn words_are_spread_between_the_ends() {
        assert_eq!(
            spread(&[5.0, 6.0, 40.0], 10.0, (0.0, 100.0)),
            [5.0, 15.0, 40.0]
        );
        assert_eq!(
            spread(&[90.0, 95.0, 99.0], 10.0, (0.0, 100.0)),
            [80.0, 90.0, 100.0]
        );
        assert_eq!(spread(&[-9.0, -9.0], 10.0, (0.0, 100.0)), [0.0, 10.0]);
    }

    #[test]
    fn what_is_turned_takes_its_own_width() {
        for (turn, half) in [(0.0, 18.0), (90.0, 12.0), (-90.0, 12.0), (180.0, 18.0)] {
            assert!((half_width(36.0, 24.0, turn) - half).abs() < 1e-9, "{turn}");
        }
        // A square by its corner.
        let corner = half_width(2.0, 2.0, 45.0);
        assert!((corner - 2.0_f64.sqrt()).abs() < 1e-9, "{corner}");
    }

    /// byjus.com, "printed page under a glass cube": 6.0 cm of glass, n = 1.5, raise what is under
    /// them by 2.0 cm.
    #[test]
    fn what_is_under_glass_appears_nearer_by_the_published_shift() {
        let panes = [pane(500.0, 60.0, 1.5)];
        // At the under side the page is 660 mm away, and appears at 640 mm.
        assert!((height_of(1100.0, &panes, 640.0) - 440.0).abs() < 1e-9);
        assert!((height_of(1100.0, &panes, 840.0) - 240.0).abs() < 1e-9);
        assert!((height_of(1100.0, &panes, 500.0) - 600.0).abs() < 1e-9);
        assert!((height_of(1100.0, &panes, 620.0) - 470.0).abs() < 1e-9);
        // A ray gets there as if everything lay 20 mm nearer.
        let ray = ray(1100.0, &panes, 0.25);
        assert!((ray[3].0 - 0.25 * (1100.0 - 20.0)).abs() < 1e-9);
        assert_eq!(ray[3].1, 0.0);
    }
}
