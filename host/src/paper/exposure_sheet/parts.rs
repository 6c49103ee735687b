//! How a sheet's columns are shared out among tables that fit on paper: upright where all fit side by
//! side, else lying, and where there are more still, on several tables, each with its own frames and
//! boxes. What belongs to one level stays together, so that whoever works there needs one sheet.

use super::pass_name;
use super::rows::Sheet;
use crate::stand::Way;

/// Width that is left between the margins of the page's style, mm: of A4 (210 x 297 mm) and Letter
/// (215.9 x 279.4 mm) the narrower, less twice 12 mm.
pub(super) const UPRIGHT_MM: f64 = 210.0 - 24.0;
/// The same of paper that lies.
pub(super) const LYING_MM: f64 = 279.4 - 24.0;

/// A digit of 10 points, in bold and not; those of DejaVu Sans, which is wider than what browsers
/// mostly have, are 0.70 and 0.64 of its size.
const DIGIT_MM: f64 = 0.70 * 10.0 * PT_MM;
const THIN_DIGIT_MM: f64 = 0.64 * 10.0 * PT_MM;
/// A letter of 9 points, as wide as most.
const LETTER_MM: f64 = 0.62 * 9.0 * PT_MM;
const PT_MM: f64 = 25.4 / 72.0;
/// What a cell has beside its words.
const PADDING_MM: f64 = 3.0;
/// The box to tick, with its heading.
const BOX_MM: f64 = 13.0;

/// Widths of the columns that every table has.
pub(super) struct Fixed {
    pub(super) frame_mm: f64,
    /// Of the pass, where there are several.
    pub(super) pass_mm: Option<f64>,
}

impl Fixed {
    pub(super) const BOX_MM: f64 = BOX_MM;

    pub(super) fn width_mm(&self) -> f64 {
        BOX_MM + self.frame_mm + self.pass_mm.unwrap_or(0.0)
    }
}

/// One table.
#[derive(Debug, Default)]
pub(super) struct Part {
    /// Levels whose drawings it has, by their place, with the column's width.
    pub(super) drawn: Vec<(usize, f64)>,
    /// Settings that it has, by their place, with the widths of both their columns.
    pub(super) settings: Vec<(usize, [f64; 2])>,
    /// Of all these.
    pub(super) width_mm: f64,
}

/// All tables of a sheet.
pub(super) struct Parts {
    pub(super) fixed: Fixed,
    pub(super) tables: Vec<Part>,
    /// Whether the paper lies.
    pub(super) lying: bool,
}

fn letters(words: &str) -> f64 {
    words.chars().count() as f64
}

impl Parts {
    pub(super) fn new(sheet: &Sheet<'_>) -> Self {
        let schedule = sheet.schedule;
        let frame = sheet.wanted.frames.end().to_string();
        let turn = schedule.turn(1);
        let names = schedule.passes.iter().enumerate().filter_map(|(pass, it)| {
            let turn = super::Turn { pass, ..turn? };
            Some(letters(&pass_name(turn, Some(it))))
        });
        let fixed = Fixed {
            frame_mm: (letters(&frame) * DIGIT_MM + PADDING_MM).max(14.0),
            // Longer names go on two lines.
            pass_mm: (schedule.passes.len() > 1)
                .then(|| names.fold(6.0, f64::max).min(16.0) * LETTER_MM + PADDING_MM),
        };
        let drawn: Vec<f64> = sheet
            .drawn
            .iter()
            .map(|on| {
                let all = schedule.laid.iter().filter(|laid| laid.on == *on);
                let names = all.filter_map(|laid| laid.drawing.as_deref().map(letters));
                names.fold(8.0, f64::max).min(14.0) * DIGIT_MM + PADDING_MM
            })
            .collect();
        let settings = widths(sheet);

        // Everything on one table?
        let mut whole = Part::default();
        for (place, width) in drawn.iter().enumerate() {
            whole.draw(place, *width);
        }
        for (place, widths) in settings.iter().enumerate() {
            whole.set(place, *widths);
        }
        let width_mm = fixed.width_mm() + whole.width_mm;
        let lying = width_mm > UPRIGHT_MM;
        if width_mm <= LYING_MM {
            let tables = vec![whole];
            return Self {
                fixed,
                tables,
                lying,
            };
        }

        let mut carriers: Vec<&str> = Vec::new();
        for of in sheet
            .settings
            .iter()
            .map(|it| it.of)
            .chain(sheet.drawn.iter().copied())
        {
            if !carriers.contains(&of) {
                carriers.push(of);
            }
        }
        let room = LYING_MM - fixed.width_mm();
        let mut tables: Vec<Part> = vec![Part::default()];
        for of in carriers {
            let mut group = Part::default();
            let mut last = tables.len() - 1;
            for (place, width) in drawn.iter().enumerate() {
                if sheet.drawn[place] == of {
                    group.draw(place, *width);
                }
            }
            for (place, widths) in settings.iter().enumerate() {
                if sheet.settings[place].of == of {
                    group.set(place, *widths);
                }
            }
            let begins = tables[last].width_mm > 0.0;
            if begins && tables[last].width_mm + group.width_mm > room {
                tables.push(Part::default());
                last += 1;
            }
            // What is too much for one table even by itself goes on as many as it needs.
            for (place, width) in group.drawn {
                last = roomy(&mut tables, last, width, room);
                tables[last].draw(place, width);
            }
            for (place, widths) in group.settings {
                last = roomy(&mut tables, last, widths[0] + widths[1], room);
                tables[last].set(place, widths);
            }
        }
        Self {
            fixed,
            tables,
            lying,
        }
    }
}

/// The table that has room for so much more: the last, or a new one.
fn roomy(tables: &mut Vec<Part>, last: usize, width_mm: f64, room_mm: f64) -> usize {
    let full = tables[last].width_mm > 0.0 && tables[last].width_mm + width_mm > room_mm;
    if full {
        tables.push(Part::default());
    }
    tables.len() - 1
}

impl Part {
    fn draw(&mut self, place: usize, width_mm: f64) {
        self.drawn.push((place, width_mm));
        self.width_mm += width_mm;
    }

    fn set(&mut self, place: usize, widths_mm: [f64; 2]) {
        self.settings.push((place, widths_mm));
        self.width_mm += widths_mm[0] + widths_mm[1];
    }
}

/// How wide settings are, and by how much they go.
fn widths(sheet: &Sheet<'_>) -> Vec<[f64; 2]> {
    let mut ends = vec![(f64::INFINITY, f64::NEG_INFINITY); sheet.settings.len()];
    for frame in sheet.wanted.frames.clone() {
        for ((least, greatest), value) in ends.iter_mut().zip(sheet.settings_at(frame)) {
            *least = least.min(value);
            *greatest = greatest.max(value);
        }
    }
    let each = sheet.settings.iter().zip(ends);
    each.map(|(setting, (least, greatest))| {
        let long = |value: f64| setting.scale.letters(value) as f64;
        let value = long(least).max(long(greatest));
        let by = long((greatest - least).abs());
        let [forth, back] = setting.way.directions();
        let words = letters(forth).max(letters(back));
        let by = match setting.way {
            // Long words: on two lines.
            Way::Turn | Way::Focus => by.max(words.min(10.0)),
            Way::East | Way::North | Way::Lift => words + 1.0 + by,
        };
        let digit = if setting.hand {
            DIGIT_MM
        } else {
            THIN_DIGIT_MM
        };
        // Their heading is over both.
        [value * digit + PADDING_MM, by * LETTER_MM + PADDING_MM]
    })
    .collect()
}
