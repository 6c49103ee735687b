//! A test field for a level that has no art yet: its name, and a graticule in millimetres from the
//! level's zero, on glass that what lies below shows through.
//!
//! Levels differ in colour, in the shape of the marks and in how lines are broken, and their names
//! stand at different heights, so that they can be told apart without seeing colours, and where
//! they lie over one another.

use crate::optics;
use crate::picture::art::Art;
use crate::picture::letters::{self, LETTER};
use crate::stand::{LevelId, Stand};

/// Most columns of a field.
const MAX_COLUMNS: f64 = 3072.0;

/// Colours that people who see red and green alike can tell apart too (M. Okabe, K. Ito, Color
/// Universal Design, 2008; values from memory), black left out.
const COLOURS: [[u8; 3]; 7] = [
    [230, 159, 0],
    [86, 180, 233],
    [0, 158, 115],
    [240, 228, 66],
    [0, 114, 178],
    [213, 94, 0],
    [204, 121, 167],
];

/// Opacity of the glass between the lines, of the lines, and of marks and letters.
const OPACITY: [u16; 3] = [2_000, 26_000, 62_000];

/// Marks at the crossings of the bold lines.
#[derive(Clone, Copy)]
enum Mark {
    Disc,
    Square,
    Triangle,
    Diamond,
    Ring,
    Frame,
    Cross,
}

const MARKS: [Mark; 7] = [
    Mark::Disc,
    Mark::Square,
    Mark::Triangle,
    Mark::Diamond,
    Mark::Ring,
    Mark::Frame,
    Mark::Cross,
];

impl Mark {
    /// Whether a place is in the mark, in halves of its height, y downwards.
    fn has(self, x: f64, y: f64) -> bool {
        let (across, down) = (x.abs(), y.abs());
        let square = across.max(down);
        match self {
            Self::Disc => x.hypot(y) <= 1.0,
            Self::Square => square <= 0.86,
            Self::Triangle => (-0.9..=0.8).contains(&y) && across <= (y + 0.9) * 0.6,
            Self::Diamond => across + down <= 1.15,
            Self::Ring => (0.62..=1.05).contains(&x.hypot(y)),
            Self::Frame => (0.55..=0.92).contains(&square),
            Self::Cross => (across - down).abs() <= 0.38 && square <= 0.95,
        }
    }
}

/// A field under work. Lengths are in pixels.
struct Field {
    picture: image::ImageBuffer<image::Rgba<u16>, Vec<u16>>,
    colour: [u16; 3],
    per_mm: f64,
    middle: (f64, f64),
}

/// Paints the field of a level: as large as its pane, about as fine as the camera sees it.
pub(super) fn paint(stand: &Stand, level: LevelId) -> Art {
    let LevelId(index) = level;
    let pane = &stand.levels[index].pane;
    let zero = optics::zero_pose(stand);
    let lens = &stand.lens;
    let distance_mm = optics::apparent_distance_mm(stand, level, &zero.camera, &zero.levels[index]);
    let image_mm = optics::image_distance_mm(lens.focal_length_mm, zero.focus_mm);
    let seen = image_mm / distance_mm * f64::from(lens.picture.columns) / lens.picture.width_mm;
    // A stand that was read from a file has panes and lenses within sense; others get a field as well.
    let (width_mm, height_mm) = (pane.width_mm.max(1e-3), pane.height_mm.max(1e-3));
    let most = MAX_COLUMNS / width_mm.max(height_mm);
    let per_mm = if seen.is_finite() && seen > 0.0 {
        seen.min(most)
    } else {
        most
    };
    let size = |length_mm: f64| ((length_mm * per_mm).round() as u32).max(1);
    let (columns, rows) = (size(width_mm), size(height_mm));
    let colour = COLOURS[index % COLOURS.len()].map(|value| u16::from(value) * 257);
    let [red, green, blue] = colour;
    let glass = image::Rgba([red, green, blue, OPACITY[0]]);
    let mut field = Field {
        picture: image::ImageBuffer::from_pixel(columns, rows, glass),
        colour,
        // The picture's rows follow from its columns; so does what is a millimetre on it.
        per_mm: f64::from(columns) / width_mm,
        middle: (f64::from(columns) / 2.0, f64::from(rows) / 2.0),
    };
    // What is seen of the level decides how large things are; the pane may be larger.
    let view = (f64::from(lens.picture.rows) / seen.max(1e-9) * field.per_mm).clamp(8.0, 1e6);
    let place = (index, stand.levels.len());
    field.graticule(place, view, (width_mm, height_mm));
    field.name(&stand.levels[index].name, place, view);
    Art::from_picture(&field.picture)
}

impl Field {
    /// Lines with marks where they cross, the zero, a double edge, and a scale with numbers either way
    /// where no other level has its own.
    fn graticule(
        &mut self,
        (index, levels): (usize, usize),
        view: f64,
        (width_mm, height_mm): (f64, f64),
    ) {
        let step_mm = step_mm(view / self.per_mm);
        let step = step_mm * self.per_mm;
        let line = (view / 600.0).max(1.0);
        let mark = MARKS[index % MARKS.len()];
        let size = view / 90.0;
        // Every fourth level has whole lines. Broken ones: how long a piece is, and the gap after it.
        let piece = view * 0.012 * (1 + index % 4) as f64;
        let gap = if index.is_multiple_of(4) {
            0.0
        } else {
            piece * 0.5
        };
        let (columns, rows) = (2.0 * self.middle.0, 2.0 * self.middle.1);
        let across = (width_mm / step_mm / 2.0).floor() as i32;
        let down = (height_mm / step_mm / 2.0).floor() as i32;
        let east = |middle: f64, count: i32| middle + f64::from(count) * step;
        for count in -across..=across {
            let x = east(self.middle.0, count);
            self.broken(x, line, (piece, gap), OPACITY[1], true);
        }
        for count in -down..=down {
            let y = east(self.middle.1, count);
            self.broken(y, line, (piece, gap), OPACITY[1], false);
        }
        // The zero, and the edge of the pane.
        let edge = 4.0 * line;
        self.fill(
            (self.middle.0 - line, 0.0),
            (self.middle.0 + line, rows),
            OPACITY[2],
        );
        self.fill(
            (0.0, self.middle.1 - line),
            (columns, self.middle.1 + line),
            OPACITY[2],
        );
        for (from, to) in [
            ((0.0, 0.0), (columns, edge)),
            ((0.0, rows - edge), (columns, rows)),
            ((0.0, 0.0), (edge, rows)),
            ((columns - edge, 0.0), (columns, rows)),
        ] {
            self.fill(from, to, u16::MAX);
        }
        for row in -down..=down {
            for column in -across..=across {
                let place = (east(self.middle.0, column), east(self.middle.1, row));
                let size = if (row, column) == (0, 0) {
                    2.5 * size
                } else {
                    size
                };
                self.mark(mark, place, size);
            }
        }
        // Scales: this level's own height in the picture, and its own place across.
        let share = (index as f64 + 0.5) / levels.max(1) as f64 - 0.5;
        let letter = (view / 40.0).max(8.0);
        let scale = (
            self.middle.0 + share * view * 1.5,
            self.middle.1 + share * view * 0.92 + view / 22.0,
        );
        let dot = letter / LETTER as f64;
        for count in -5 * across..=5 * across {
            let x = self.middle.0 + f64::from(count) * step / 5.0;
            let long = if count % 5 == 0 { 2.0 } else { 1.0 };
            self.fill(
                (x - line / 2.0, scale.1),
                (x + line / 2.0, scale.1 + long * letter / 2.0),
                OPACITY[2],
            );
            if count % 5 == 0 {
                let text = number(f64::from(count / 5) * step_mm);
                self.text(&text, (x + 2.0 * dot, scale.1 + 2.0 * dot), letter);
            }
        }
        for count in -5 * down..=5 * down {
            let y = self.middle.1 - f64::from(count) * step / 5.0;
            let long = if count % 5 == 0 { 2.0 } else { 1.0 };
            self.fill(
                (scale.0, y - line / 2.0),
                (scale.0 + long * letter / 2.0, y + line / 2.0),
                OPACITY[2],
            );
            if count % 5 == 0 {
                let text = number(f64::from(count / 5) * step_mm);
                self.text(
                    &text,
                    (scale.0 + letter + 2.0 * dot, y - letter / 2.0),
                    letter,
                );
            }
        }
    }

    /// A line across the whole field, down it where `upright`.
    fn broken(
        &mut self,
        at: f64,
        width: f64,
        (piece, gap): (f64, f64),
        opacity: u16,
        upright: bool,
    ) {
        let (length, middle) = if upright {
            (2.0 * self.middle.1, self.middle.1)
        } else {
            (2.0 * self.middle.0, self.middle.0)
        };
        let (low, high) = (at - width / 2.0, at + width / 2.0);
        // Pieces are counted from the middle: they cross there.
        let round = piece + gap;
        let mut start = middle - piece / 2.0;
        start -= (start / round).ceil() * round;
        while start < length {
            let end = if gap > 0.0 { start + piece } else { length };
            if upright {
                self.fill((low, start), (high, end), opacity);
            } else {
                self.fill((start, low), (end, high), opacity);
            }
            start = if gap > 0.0 { start + round } else { length };
        }
    }

    /// The level's name, large, on plates at a height of its own, again and again across the pane: one
    /// is in the picture wherever the level has gone.
    fn name(&mut self, name: &str, (index, levels): (usize, usize), view: f64) {
        let letter = (view / 14.0).min(view / 2.2 / levels.max(1) as f64);
        let width = letters::width(name) as f64 / LETTER as f64 * letter;
        let share = (index as f64 + 0.5) / levels.max(1) as f64 - 0.5;
        let y = self.middle.1 + share * view * 0.92 - letter / 2.0;
        let room = letter * 0.2;
        let apart = (view * 1.1).max(1.5 * width);
        // Names of neighbours stand beside one another, not above.
        let aside = if index.is_multiple_of(2) {
            0.0
        } else {
            apart / 2.0
        };
        let count = (self.middle.0 / apart).ceil() as i32 + 1;
        let [red, green, blue] = self.colour.map(|value| value / 8);
        let plate = image::Rgba([red, green, blue, 58_000]);
        for repeat in -count..=count {
            let middle = self.middle.0 + f64::from(repeat) * apart + aside;
            let x = middle - width / 2.0;
            let left = x - 2.0 * room - letter;
            for y in pixels(y - room, y + letter + room, self.picture.height()) {
                for x in pixels(left, x + width + room, self.picture.width()) {
                    self.picture.put_pixel(x, y, plate);
                }
            }
            self.text(name, (x, y), letter);
            let mark = MARKS[index % MARKS.len()];
            self.mark(
                mark,
                (x - room - letter / 2.0, y + letter / 2.0),
                letter * 0.4,
            );
        }
    }

    /// Letters of a height, with their top left corner at a place.
    fn text(&mut self, text: &str, (x, y): (f64, f64), height: f64) {
        let dot = height / LETTER as f64;
        letters::dots(text, |column, row| {
            let (x, y) = (x + column as f64 * dot, y + row as f64 * dot);
            self.fill((x, y), (x + dot, y + dot), u16::MAX);
        });
    }

    /// A mark with its middle at a place, of half a height.
    fn mark(&mut self, mark: Mark, (x, y): (f64, f64), half: f64) {
        let size = (self.picture.width(), self.picture.height());
        for row in pixels(y - 1.2 * half, y + 1.2 * half, size.1) {
            for column in pixels(x - 1.2 * half, x + 1.2 * half, size.0) {
                // Sixteen places of each pixel.
                let place = |at: u32, part: u32| f64::from(at) + (f64::from(part) + 0.5) / 4.0;
                let inside = (0..16)
                    .filter(|part| {
                        let (x, y) = (place(column, part % 4) - x, place(row, part / 4) - y);
                        mark.has(x / half, y / half)
                    })
                    .count();
                self.lay(column, row, f64::from(OPACITY[2]) * inside as f64 / 16.0);
            }
        }
    }

    /// A rectangle, with its edges as sharp as the pixels allow.
    fn fill(&mut self, (left, top): (f64, f64), (right, bottom): (f64, f64), opacity: u16) {
        let within = |at: u32, from: f64, to: f64| {
            (f64::from(at + 1).min(to) - f64::from(at).max(from)).clamp(0.0, 1.0)
        };
        for row in pixels(top, bottom, self.picture.height()) {
            for column in pixels(left, right, self.picture.width()) {
                let part = within(column, left, right) * within(row, top, bottom);
                self.lay(column, row, f64::from(opacity) * part);
            }
        }
    }

    /// Makes a pixel the field's colour, at least so opaque.
    fn lay(&mut self, column: u32, row: u32, opacity: f64) {
        let pixel = self.picture.get_pixel_mut(column, row);
        let opacity = opacity.round() as u16;
        if opacity > 0 && (opacity > pixel[3] || pixel.0[..3] != self.colour) {
            let [red, green, blue] = self.colour;
            let opacity = opacity.max(pixel[3]);
            *pixel = image::Rgba([red, green, blue, opacity]);
        }
    }
}

/// The pixels that a stretch touches, of so many.
fn pixels(from: f64, to: f64, count: u32) -> std::ops::Range<u32> {
    // Truncation to zero or more.
    let end = (to.ceil() as u32).min(count);
    (from.floor() as u32).min(end)..end
}

/// A round number of millimetres, of which about five fit into what is seen of the level's height.
fn step_mm(view_mm: f64) -> f64 {
    let rough = (view_mm / 4.0).max(1e-6);
    let unit = 10.0_f64.powf(rough.log10().floor());
    match rough / unit {
        times if times < 2.0 => unit,
        times if times < 5.0 => 2.0 * unit,
        _ => 5.0 * unit,
    }
}

/// A position in millimetres, with its sign.
fn number(value_mm: f64) -> String {
    let rounded = (value_mm * 1000.0).round() / 1000.0;
    format!("{rounded:+}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_stand_at_round_numbers() {
        let steps = [
            (200.0, 50.0),
            (450.0, 100.0),
            (30.0, 5.0),
            (0.9, 0.2),
            (7999.0, 1000.0),
        ];
        for (view_mm, step) in steps {
            assert!((step_mm(view_mm) / step - 1.0).abs() < 1e-9, "{view_mm}");
        }
        assert_eq!([number(50.0), number(-0.6000000001)], ["+50", "-0.6"]);
    }

    #[test]
    fn no_two_levels_have_the_same_marks_colours_and_lines() {
        let mut stand =
            crate::file::read_stand(concat!(env!("CARGO_MANIFEST_DIR"), "/demo/stand.toml"))
                .expect("the demonstration's stand");
        // Levels alike in all but their place in the list, with panes three times as large as is seen.
        let lens = &mut stand.lens;
        (lens.picture.columns, lens.picture.rows) = (240, 160);
        (lens.picture.width_mm, lens.picture.height_mm) = (36.0, 24.0);
        let mut level = stand.levels[0].clone();
        level.pane.thickness_mm = 0.0;
        level.height_mm = lens.height_mm - 500.0;
        (level.pane.width_mm, level.pane.height_mm) = (3.0 * 360.0, 3.0 * 240.0);
        // Seven pairs of a colour and a mark, and four ways of breaking lines: alike again after 28.
        stand.levels = vec![level; 28];
        stand.lens.focus = LevelId(0);
        // The corner, where neither a name nor a scale of any level is.
        let corners: Vec<Vec<[u16; 4]>> = (0..28)
            .map(|level| {
                let art = paint(&stand, LevelId(level));
                let plane = &art.planes[0];
                let rows = plane
                    .pixels
                    .chunks_exact(plane.stride)
                    .take(plane.height / 8);
                let corner = rows.flat_map(|row| &row[..plane.width / 8]);
                corner.copied().collect()
            })
            .collect();
        assert!(corners[0].len() > 1000, "{}", corners[0].len());
        for (index, corner) in corners.iter().enumerate() {
            for (other, before) in corners[..index].iter().enumerate() {
                let differing = std::iter::zip(corner, before).filter(|(a, b)| a != b);
                let differing = differing.count();
                assert!(differing > 50, "{index} {other}: {differing}");
            }
        }
        for (a, first) in MARKS.iter().enumerate() {
            for second in &MARKS[a + 1..] {
                let differing = (0..400)
                    .map(|at| {
                        (
                            f64::from(at % 20) / 10.0 - 0.95,
                            f64::from(at / 20) / 10.0 - 0.95,
                        )
                    })
                    .filter(|(x, y)| first.has(*x, *y) != second.has(*x, *y))
                    .count();
                assert!(differing > 20, "{differing}");
            }
        }
    }
}
