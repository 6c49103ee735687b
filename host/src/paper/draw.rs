//! Lines and words of a drawing, as SVG. Coordinates are in CSS pixels from the top left.

use svg::Document;
use svg::node::element::{Description, Group, Line, Path, Polygon, Rectangle, Text, Title};

/// What shows that a file was written by this program.
pub const MARK: &str = "Made with Panestep";

pub(super) const INK: &str = "#111111";
pub(super) const GREY: &str = "#6a6a6a";
pub(super) const PALE: &str = "#dcdcdc";

/// How a line is drawn.
#[derive(Clone, Copy)]
pub(super) struct Pen {
    pub(super) colour: &'static str,
    pub(super) width: f64,
    pub(super) dashes: Option<&'static str>,
}

impl Pen {
    pub(super) const fn solid(width: f64) -> Self {
        Self {
            colour: INK,
            width,
            dashes: None,
        }
    }

    pub(super) const fn dashed(width: f64, dashes: &'static str) -> Self {
        Self {
            colour: INK,
            width,
            dashes: Some(dashes),
        }
    }

    pub(super) const fn grey(self) -> Self {
        Self {
            colour: GREY,
            ..self
        }
    }
}

/// Which end of a text lies at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum At {
    Start,
    Middle,
    End,
}

pub(super) struct Drawing {
    document: Document,
    width: f64,
}

impl Drawing {
    pub(super) fn new(width: f64, height: f64) -> Self {
        let document = Document::new()
            .set("viewBox", format!("0 0 {width:.2} {height:.2}"))
            .set("width", format!("{width:.2}"))
            .set("height", format!("{height:.2}"))
            .set("font-family", "sans-serif")
            .add(Description::new().add(svg::node::Text::new(MARK)));
        Self { document, width }
    }

    fn add(&mut self, node: impl Into<Box<dyn svg::Node>>) {
        svg::Node::append(&mut self.document, node);
    }

    pub(super) fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), pen: Pen) {
        let mut line = Line::new()
            .set("x1", number(x1))
            .set("y1", number(y1))
            .set("x2", number(x2))
            .set("y2", number(y2))
            .set("stroke", pen.colour)
            .set("stroke-width", pen.width);
        if let Some(dashes) = pen.dashes {
            line = line.set("stroke-dasharray", dashes);
        }
        self.add(line);
    }

    /// A line through points; a gap where there is none.
    pub(super) fn through(&mut self, points: impl Iterator<Item = Option<(f64, f64)>>, pen: Pen) {
        let mut data = String::new();
        let mut gap = true;
        for point in points {
            match point {
                Some((x, y)) => {
                    let letter = if gap { 'M' } else { 'L' };
                    data.push_str(&format!("{letter}{} {}", number(x), number(y)));
                    gap = false;
                }
                None => gap = true,
            }
        }
        if data.is_empty() {
            return;
        }
        let mut path = Path::new()
            .set("d", data)
            .set("fill", "none")
            .set("stroke", pen.colour)
            .set("stroke-width", pen.width)
            .set("stroke-linejoin", "round");
        if let Some(dashes) = pen.dashes {
            path = path.set("stroke-dasharray", dashes);
        }
        self.add(path);
    }

    pub(super) fn closed(&mut self, points: &[(f64, f64)], fill: Option<&str>, pen: Pen) {
        let points: Vec<String> = points
            .iter()
            .map(|(x, y)| format!("{},{}", number(*x), number(*y)))
            .collect();
        let mut polygon = Polygon::new()
            .set("points", points.join(" "))
            .set("fill", fill.unwrap_or("none"))
            .set("stroke", pen.colour)
            .set("stroke-width", pen.width);
        if let Some(dashes) = pen.dashes {
            polygon = polygon.set("stroke-dasharray", dashes);
        }
        self.add(polygon);
    }

    /// An area without an outline.
    pub(super) fn area(&mut self, (x, y): (f64, f64), (width, height): (f64, f64), fill: &str) {
        let rectangle = Rectangle::new()
            .set("x", number(x))
            .set("y", number(y))
            .set("width", number(width.max(0.0)))
            .set("height", number(height.max(0.0)))
            .set("fill", fill);
        self.add(rectangle);
    }

    /// A text with its base line at a place. What would leave the drawing is cut off, and said in
    /// full where the drawing is pointed at.
    pub(super) fn text(&mut self, (x, y): (f64, f64), size: f64, at: At, words: &str) {
        let anchor = match at {
            At::Start => "start",
            At::Middle => "middle",
            At::End => "end",
        };
        let room = match at {
            At::Start => self.width - x,
            At::Middle => 2.0 * x.min(self.width - x),
            At::End => x,
        };
        let short = shortened(words, (room - 2.0) / size);
        let text = Text::new("")
            .set("x", number(x))
            .set("y", number(y))
            .set("font-size", size)
            .set("fill", INK)
            .set("text-anchor", anchor)
            .add(svg::node::Text::new(short.as_deref().unwrap_or(words)));
        match short {
            None => self.add(text),
            Some(_) => {
                let title = Title::new("").add(svg::node::Text::new(words));
                self.add(Group::new().add(title).add(text));
            }
        }
    }

    /// A dimension: a line with an arrow at both ends.
    pub(super) fn arrows(&mut self, from: (f64, f64), to: (f64, f64)) {
        const HEAD: f64 = 6.0;
        self.line(from, to, Pen::solid(0.9));
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy);
        if length < 2.5 * HEAD {
            return;
        }
        let (x, y) = (dx / length * HEAD, dy / length * HEAD);
        for ((tip_x, tip_y), sign) in [(from, 1.0), (to, -1.0)] {
            let (back_x, back_y) = (tip_x + sign * x, tip_y + sign * y);
            let (side_x, side_y) = (-y * 0.35, x * 0.35);
            self.closed(
                &[
                    (tip_x, tip_y),
                    (back_x + side_x, back_y + side_y),
                    (back_x - side_x, back_y - side_y),
                ],
                Some(INK),
                Pen::solid(0.5),
            );
        }
    }

    pub(super) fn finish(self) -> String {
        let mut text = self.document.to_string();
        text.push('\n');
        text
    }
}

/// Widths of letters of DejaVu Sans, which is wider than what browsers mostly have, in parts of the
/// type's size; of what is not plain Latin, as much as the widest.
fn letter_width(letter: char) -> f64 {
    match letter {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '|' | ' ' => 0.36,
        'f' | 't' | 'r' | 'J' | '(' | ')' | '-' | '/' | '"' => 0.46,
        'm' | 'w' | 'M' | 'W' | '@' | '%' => 1.0,
        'a'..='z' | '0'..='9' => 0.64,
        ' '..='~' => 0.84,
        '\u{a0}'..='\u{24f}' => 0.9,
        _ => 1.1,
    }
}

/// Words cut off so that they take no more than so many times the type's size; none where they
/// need not be.
fn shortened(words: &str, room: f64) -> Option<String> {
    let width: f64 = words.chars().map(letter_width).sum();
    if width <= room {
        return None;
    }
    let mut left = room - 3.0 * letter_width('.');
    let fits = |letter: &char| {
        left -= letter_width(*letter);
        left >= 0.0
    };
    let start: String = words.chars().take_while(fits).collect();
    Some(start + "...")
}

/// A place to a hundredth of a pixel; what is not a number or too far away to be drawn is at the edge.
fn number(value: f64) -> String {
    let value = if value.is_nan() { 0.0 } else { value };
    let text = format!("{:.2}", value.clamp(-1e5, 1e5));
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Round numbers between two, about so many, and the decimals that they need.
pub(super) fn ticks(least: f64, greatest: f64, about: f64) -> (Vec<f64>, usize) {
    let room = greatest - least;
    if !(room > 0.0 && room.is_finite() && about >= 1.0) {
        return (vec![least], 3);
    }
    let rough = room / about;
    let ten = 10.0_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|part| part * ten)
        .find(|step| *step >= rough * (1.0 - 1e-9))
        .unwrap_or(10.0 * ten);
    let decimals = (-(step.log10() + 1e-9).floor()).clamp(0.0, 9.0) as usize;
    let first = (least / step - 1e-9).ceil();
    let last = (greatest / step + 1e-9).floor();
    let count = (last - first).clamp(0.0, 1000.0) as usize;
    let values = (0..=count).map(|place| (first + place as f64) * step + 0.0);
    (values.collect(), decimals)
}

#[cfg(test)]
mod tests {
    use super::{shortened, ticks};

    #[test]
    fn words_without_room_are_cut_off() {
        assert_eq!(shortened("reeds", 4.0), None);
        let name = "reeds ".repeat(40);
        let short = shortened(&name, 20.0).expect("cut off");
        assert!(
            short.starts_with("reeds reeds") && short.ends_with("..."),
            "{short}"
        );
        assert!((30..45).contains(&short.len()), "{short}");
        assert_eq!(shortened("reeds", -3.0).as_deref(), Some("..."));
    }

    #[test]
    fn ticks_are_round_numbers() {
        assert_eq!(
            ticks(0.0, 1.0, 5.0),
            (vec![0.0, 0.2, 0.4, 0.6000000000000001, 0.8, 1.0], 1)
        );
        assert_eq!(ticks(-7.0, 12.0, 4.0), (vec![-5.0, 0.0, 5.0, 10.0], 0));
        assert_eq!(
            ticks(1.0, 120.0, 6.0).0,
            [20.0, 40.0, 60.0, 80.0, 100.0, 120.0]
        );
        assert_eq!(ticks(3.0, 3.0, 5.0).0, [3.0]);
        assert_eq!(ticks(0.0, f64::INFINITY, 5.0).0.len(), 1);
    }
}
