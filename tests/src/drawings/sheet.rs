//! A sheet of paper: lines, shapes and labels in SVG, and a check that no label lies on another one
//! or on a line, or hangs over the edge.

use svg::Document;
use svg::node::element::{Circle, Description, Group, Polygon, Polyline, Rectangle, Text, Title};

/// A point, in pixels from the top left corner.
pub(crate) type Point = (f64, f64);

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Pen {
    /// A signal's wire.
    Wire,
    /// A wire that carries a motor's, lamp's or supply's current.
    Power,
    /// The outline of a part.
    Outline,
    /// Heavy parts: frame, bed.
    Heavy,
    /// Dimensions and leaders.
    Thin,
    /// What belongs together, or is coupled mechanically.
    Dashed,
}

impl Pen {
    fn width(self) -> f64 {
        match self {
            Self::Wire => 1.6,
            Self::Power => 3.2,
            Self::Outline => 2.0,
            Self::Heavy => 4.5,
            Self::Thin | Self::Dashed => 1.1,
        }
    }
}

/// What a shape is filled with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fill {
    None,
    Paper,
    Ink,
    Glass,
    Metal,
    Shade,
    Red,
    Yellow,
}

impl Fill {
    fn colour(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Paper => "#ffffff",
            Self::Ink => INK,
            Self::Glass => "#cfe8f3",
            Self::Metal => "#c9ccd1",
            Self::Shade => "#f3f4f6",
            Self::Red => "#c62828",
            Self::Yellow => "#f5c518",
        }
    }
}

/// Which end of a label its place is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum At {
    Start,
    Middle,
    End,
}

const INK: &str = "#1b1f24";

/// Written in what the reader has; the widest of these decides whether labels fit.
const FONTS: &str = "DejaVu Sans, Verdana, Helvetica, Arial, sans-serif";

/// Heights of letters, in pixels.
const LABEL: f64 = 14.0;
const NOTE: f64 = 12.0;
const HEADING: f64 = 17.0;

/// Part of a label's size that one letter takes on average in the widest of the fonts; measured on
/// the drawings, with some to spare.
const LETTER_WIDTH: f64 = 0.6;

#[derive(Clone, Copy, Debug)]
struct Extent {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Extent {
    fn meets(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    /// Whether a stretch of line passes through (Liang and Barsky's clipping; from memory).
    fn is_crossed(&self, from: Point, to: Point) -> bool {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for (step, way) in [
            (-dx, from.0 - self.left),
            (dx, self.right - from.0),
            (-dy, from.1 - self.top),
            (dy, self.bottom - from.1),
        ] {
            if step == 0.0 {
                if way < 0.0 {
                    return false;
                }
            } else if step < 0.0 {
                enter = enter.max(way / step);
            } else {
                leave = leave.min(way / step);
            }
        }
        enter < leave
    }
}

/// A drawing under way.
pub(crate) struct Sheet {
    width: f64,
    height: f64,
    shapes: Group,
    labels: Vec<(String, Extent)>,
    stretches: Vec<(Point, Point)>,
}

impl Sheet {
    pub(crate) fn new(width: f64, height: f64) -> Self {
        Self {
            width,
            height,
            shapes: Group::new(),
            labels: Vec::new(),
            stretches: Vec::new(),
        }
    }

    fn add(&mut self, node: impl Into<Box<dyn svg::Node>>) {
        let shapes = std::mem::take(&mut self.shapes);
        self.shapes = shapes.add(node);
    }

    /// A line through points.
    pub(crate) fn line(&mut self, pen: Pen, points: &[Point]) {
        for pair in points.windows(2) {
            self.stretches.push((pair[0], pair[1]));
        }
        let mut line = Polyline::new()
            .set("points", text_of(points))
            .set("fill", "none")
            .set("stroke", INK)
            .set("stroke-width", pen.width())
            .set("stroke-linejoin", "round");
        if pen == Pen::Dashed {
            line = line.set("stroke-dasharray", "6 4");
        }
        self.add(line);
    }

    /// A closed shape.
    pub(crate) fn shape(&mut self, pen: Pen, fill: Fill, points: &[Point]) {
        for (at, from) in points.iter().enumerate() {
            self.stretches
                .push((*from, points[(at + 1) % points.len()]));
        }
        let mut shape = Polygon::new()
            .set("points", text_of(points))
            .set("fill", fill.colour())
            .set("stroke", INK)
            .set("stroke-width", pen.width())
            .set("stroke-linejoin", "round");
        if pen == Pen::Dashed {
            shape = shape.set("stroke-dasharray", "6 4");
        }
        self.add(shape);
    }

    /// An upright box from its top left corner.
    pub(crate) fn block(&mut self, pen: Pen, fill: Fill, at: Point, size: (f64, f64)) {
        let (right, bottom) = (at.0 + size.0, at.1 + size.1);
        for (from, to) in [
            (at, (right, at.1)),
            ((right, at.1), (right, bottom)),
            ((right, bottom), (at.0, bottom)),
            ((at.0, bottom), at),
        ] {
            self.stretches.push((from, to));
        }
        let mut block = Rectangle::new()
            .set("x", round(at.0))
            .set("y", round(at.1))
            .set("width", round(size.0))
            .set("height", round(size.1))
            .set("fill", fill.colour())
            .set("stroke", INK)
            .set("stroke-width", pen.width());
        if pen == Pen::Dashed {
            block = block.set("stroke-dasharray", "6 4");
        }
        self.add(block);
    }

    /// A circle round a point.
    pub(crate) fn circle(&mut self, pen: Pen, fill: Fill, at: Point, radius: f64) {
        let corner = |x: f64, y: f64| (at.0 + radius * x, at.1 + radius * y);
        for part in 0..8 {
            let angle = |part: i32| f64::from(part) * std::f64::consts::FRAC_PI_4;
            let point = |part: i32| corner(angle(part).cos(), angle(part).sin());
            self.stretches.push((point(part), point(part + 1)));
        }
        self.add(
            Circle::new()
                .set("cx", round(at.0))
                .set("cy", round(at.1))
                .set("r", round(radius))
                .set("fill", fill.colour())
                .set("stroke", INK)
                .set("stroke-width", pen.width()),
        );
    }

    /// Where wires are joined.
    pub(crate) fn joint(&mut self, at: Point) {
        self.circle(Pen::Thin, Fill::Ink, at, 3.0);
    }

    /// A terminal, where a wire of another cable begins.
    pub(crate) fn terminal(&mut self, at: Point) {
        self.circle(Pen::Wire, Fill::Paper, at, 3.5);
    }

    /// A label; `at` is on its base line.
    pub(crate) fn label(&mut self, at: Point, end: At, text: &str) {
        self.write(at, end, text, LABEL, "normal");
    }

    /// Small print.
    pub(crate) fn note(&mut self, at: Point, end: At, text: &str) {
        self.write(at, end, text, NOTE, "normal");
    }

    /// What a part or a corner of the sheet is.
    pub(crate) fn heading(&mut self, at: Point, end: At, text: &str) {
        self.write(at, end, text, LABEL, "bold");
    }

    /// What the whole drawing is, in its top left corner.
    pub(crate) fn title(&mut self, text: &str) {
        self.write((20.0, 30.0), At::Start, text, HEADING, "bold");
    }

    /// Lines of small print below one another.
    pub(crate) fn notes(&mut self, at: Point, end: At, lines: &[&str]) {
        for (row, line) in (0_u8..).zip(lines) {
            self.note((at.0, at.1 + f64::from(row) * 16.0), end, line);
        }
    }

    fn write(&mut self, at: Point, end: At, text: &str, size: f64, weight: &str) {
        let letters = f64::from(u32::try_from(text.chars().count()).unwrap_or(u32::MAX));
        let wide = if weight == "bold" { 1.1 } else { 1.0 };
        let width = letters * size * LETTER_WIDTH * wide;
        let (anchor, left) = match end {
            At::Start => ("start", at.0),
            At::Middle => ("middle", at.0 - width / 2.0),
            At::End => ("end", at.0 - width),
        };
        let extent = Extent {
            left,
            top: at.1 - size * 0.8,
            right: left + width,
            bottom: at.1 + size * 0.22,
        };
        self.labels.push((text.to_owned(), extent));
        self.add(
            Text::new(text)
                .set("x", round(at.0))
                .set("y", round(at.1))
                .set("font-size", size)
                .set("font-weight", weight)
                .set("text-anchor", anchor)
                .set("fill", INK),
        );
    }

    /// What is illegible: labels on labels, on lines, or over the edge; lines over the edge.
    pub(crate) fn faults(&self) -> Vec<String> {
        let mut faults = Vec::new();
        for (at, (text, extent)) in self.labels.iter().enumerate() {
            let over = extent.left < 4.0
                || extent.top < 4.0
                || extent.right > self.width - 4.0
                || extent.bottom > self.height - 4.0;
            if over {
                faults.push(format!("\"{text}\" hangs over the edge: {extent:.0?}"));
            }
            for (other, beside) in &self.labels[at + 1..] {
                if extent.meets(beside) {
                    faults.push(format!("\"{text}\" lies on \"{other}\""));
                }
            }
            for (from, to) in &self.stretches {
                if extent.is_crossed(*from, *to) {
                    faults.push(format!("\"{text}\" lies on a line, {from:.0?} to {to:.0?}"));
                }
            }
        }
        for (from, to) in &self.stretches {
            for (x, y) in [from, to] {
                if !(0.0..=self.width).contains(x) || !(0.0..=self.height).contains(y) {
                    faults.push(format!("a line ends off the sheet, at {x}, {y}"));
                }
            }
        }
        faults
    }

    /// Its labels, in the order they were written.
    pub(crate) fn labels(&self) -> impl Iterator<Item = &str> {
        self.labels.iter().map(|(text, _)| text.as_str())
    }

    /// The file's text. White paper lies under everything: dark readers show no paper of their own.
    pub(crate) fn svg(&self, title: &str, description: &str) -> String {
        let paper = Rectangle::new()
            .set("width", self.width)
            .set("height", self.height)
            .set("fill", Fill::Paper.colour());
        let document = Document::new()
            .set("viewBox", (0, 0, self.width, self.height))
            .set("width", self.width)
            .set("height", self.height)
            .set("font-family", FONTS)
            .set("role", "img")
            .add(Title::new(title))
            .add(Description::new().add(svg::node::Text::new(description)))
            .add(paper)
            .add(self.shapes.clone());
        format!("{document}\n")
    }
}

/// Tenths of a pixel: the file is the same wherever it is made.
fn round(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn text_of(points: &[Point]) -> String {
    let points: Vec<_> = points
        .iter()
        .map(|(x, y)| format!("{},{}", round(*x), round(*y)))
        .collect();
    points.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet() -> Sheet {
        let mut sheet = Sheet::new(200.0, 100.0);
        sheet.label((20.0, 50.0), At::Start, "reeds");
        sheet
    }

    #[test]
    fn a_label_alone_is_legible() {
        let mut sheet = sheet();
        sheet.line(Pen::Wire, &[(20.0, 60.0), (80.0, 60.0), (80.0, 20.0)]);
        assert!(sheet.faults().is_empty(), "{:?}", sheet.faults());
    }

    #[test]
    fn what_is_illegible_is_found() {
        let spoilt: [fn(&mut Sheet); 5] = [
            |sheet| sheet.label((40.0, 55.0), At::Middle, "skiffs"),
            |sheet| sheet.line(Pen::Thin, &[(0.0, 0.0), (60.0, 90.0)]),
            |sheet| sheet.block(Pen::Outline, Fill::None, (30.0, 10.0), (80.0, 60.0)),
            |sheet| sheet.note((190.0, 90.0), At::Start, "sky"),
            |sheet| sheet.line(Pen::Wire, &[(100.0, 80.0), (100.0, 101.0)]),
        ];
        for spoil in spoilt {
            let mut sheet = sheet();
            spoil(&mut sheet);
            assert!(!sheet.faults().is_empty());
        }
    }
}
