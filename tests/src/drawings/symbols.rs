//! Symbols of wiring, in the plain form of IEC 60617 (shapes from memory): a resistor and a fuse are
//! boxes, a contact is drawn with its circuit at rest.
//!
//! Each is 40 pixels long and lies along a wire that runs down or to the right; each returns where
//! the wire goes on.

use super::sheet::{At, Fill, Pen, Point, Sheet};

/// Which way a wire runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Run {
    Down,
    Right,
}

/// Length of every symbol along its wire.
pub(crate) const LENGTH: f64 = 40.0;

/// A place on the sheet from which a symbol is drawn: `along` its wire, and `beside` it (to the
/// right of a wire down, above a wire to the right).
#[derive(Clone, Copy)]
struct Place(Point, Run);

impl Place {
    fn at(self, along: f64, beside: f64) -> Point {
        let Self((x, y), run) = self;
        match run {
            Run::Down => (x + beside, y + along),
            Run::Right => (x + along, y - beside),
        }
    }

    fn all<const N: usize>(self, points: [(f64, f64); N]) -> [Point; N] {
        points.map(|(along, beside)| self.at(along, beside))
    }

    fn end(self) -> Point {
        self.at(LENGTH, 0.0)
    }
}

impl Sheet {
    fn leads(&mut self, place: Place, pen: Pen, until: f64, again: f64) {
        self.line(pen, &place.all([(0.0, 0.0), (until, 0.0)]));
        self.line(pen, &place.all([(again, 0.0), (LENGTH, 0.0)]));
    }

    pub(crate) fn resistor(&mut self, at: Point, run: Run) -> Point {
        let place = Place(at, run);
        self.leads(place, Pen::Wire, 6.0, 34.0);
        let corners = place.all([(6.0, -5.5), (34.0, -5.5), (34.0, 5.5), (6.0, 5.5)]);
        self.shape(Pen::Wire, Fill::Paper, &corners);
        place.end()
    }

    pub(crate) fn fuse(&mut self, at: Point, run: Run) -> Point {
        let place = Place(at, run);
        let corners = place.all([(6.0, -6.0), (34.0, -6.0), (34.0, 6.0), (6.0, 6.0)]);
        self.shape(Pen::Wire, Fill::Paper, &corners);
        self.line(Pen::Wire, &place.all([(0.0, 0.0), (LENGTH, 0.0)]));
        place.end()
    }

    pub(crate) fn capacitor(&mut self, at: Point, run: Run) -> Point {
        let place = Place(at, run);
        self.leads(place, Pen::Wire, 17.0, 23.0);
        self.line(Pen::Outline, &place.all([(17.0, -10.0), (17.0, 10.0)]));
        self.line(Pen::Outline, &place.all([(23.0, -10.0), (23.0, 10.0)]));
        place.end()
    }

    /// Current flows along the run.
    pub(crate) fn diode(&mut self, at: Point, run: Run) -> Point {
        let place = Place(at, run);
        self.line(Pen::Wire, &place.all([(0.0, 0.0), (LENGTH, 0.0)]));
        let triangle = place.all([(12.0, -8.0), (12.0, 8.0), (26.0, 0.0)]);
        self.shape(Pen::Wire, Fill::Paper, &triangle);
        self.line(Pen::Outline, &place.all([(26.0, -8.0), (26.0, 8.0)]));
        place.end()
    }

    /// Current flows against the run.
    pub(crate) fn diode_against(&mut self, at: Point, run: Run) -> Point {
        let place = Place(at, run);
        self.line(Pen::Wire, &place.all([(0.0, 0.0), (LENGTH, 0.0)]));
        let triangle = place.all([(28.0, -8.0), (28.0, 8.0), (14.0, 0.0)]);
        self.shape(Pen::Wire, Fill::Paper, &triangle);
        self.line(Pen::Outline, &place.all([(14.0, -8.0), (14.0, 8.0)]));
        place.end()
    }

    /// Whatever quenches a coil, as its maker has it; its wires go in at the top and out at the bottom.
    pub(crate) fn suppressor(&mut self, at: Point) -> Point {
        let place = Place(at, Run::Down);
        self.leads(place, Pen::Wire, 8.0, 32.0);
        let corners = place.all([(8.0, -12.0), (32.0, -12.0), (32.0, 12.0), (8.0, 12.0)]);
        self.shape(Pen::Dashed, Fill::Paper, &corners);
        place.end()
    }

    /// A contact that is closed at rest.
    pub(crate) fn closed_contact(&mut self, at: Point, run: Run, pen: Pen) -> Point {
        let place = Place(at, run);
        self.leads(place, pen, 10.0, 30.0);
        self.line(pen, &place.all([(10.0, 0.0), (10.0, 10.0)]));
        self.line(pen, &place.all([(30.0, 0.0), (6.0, 9.0)]));
        place.end()
    }

    /// A contact that is open at rest.
    pub(crate) fn open_contact(&mut self, at: Point, run: Run, pen: Pen) -> Point {
        let place = Place(at, run);
        self.leads(place, pen, 10.0, 30.0);
        self.line(pen, &place.all([(30.0, 0.0), (9.0, -11.0)]));
        place.end()
    }

    /// An arrow in a circle: this contact is parted by the actuator itself.
    pub(crate) fn positive_opening(&mut self, at: Point) {
        self.circle(Pen::Wire, Fill::Paper, at, 8.0);
        let (x, y) = at;
        self.line(Pen::Wire, &[(x - 5.0, y), (x + 4.0, y)]);
        self.line(Pen::Wire, &[(x, y - 3.5), (x + 5.0, y), (x, y + 3.5)]);
    }

    /// A latching mushroom head, whose rod reaches right to contacts.
    pub(crate) fn mushroom(&mut self, at: Point, rod_to: f64) {
        let (x, y) = at;
        let head: Vec<Point> = (-6..=6)
            .map(|part| {
                let angle = f64::from(part) * std::f64::consts::PI / 12.0;
                (x - 12.0 * angle.cos(), y + 15.0 * angle.sin())
            })
            .collect();
        self.shape(Pen::Outline, Fill::Red, &head);
        self.line(Pen::Dashed, &[(x, y), (rod_to, y)]);
        // The latch.
        let latch = [(x + 18.0, y), (x + 24.0, y + 9.0), (x + 30.0, y)];
        self.shape(Pen::Wire, Fill::Paper, &latch);
    }

    /// A push button that springs back, whose rod reaches right to a contact.
    pub(crate) fn button(&mut self, at: Point, rod_to: f64) {
        let (x, y) = at;
        self.line(
            Pen::Outline,
            &[
                (x + 6.0, y - 9.0),
                (x, y - 9.0),
                (x, y + 9.0),
                (x + 6.0, y + 9.0),
            ],
        );
        self.line(Pen::Dashed, &[(x, y), (rod_to, y)]);
    }

    /// A coil of a relay or contactor; its wires go in at the top and out at the bottom.
    pub(crate) fn coil(&mut self, at: Point) -> Point {
        let place = Place(at, Run::Down);
        self.leads(place, Pen::Wire, 8.0, 32.0);
        let corners = place.all([(8.0, -18.0), (32.0, -18.0), (32.0, 18.0), (8.0, 18.0)]);
        self.shape(Pen::Outline, Fill::Paper, &corners);
        place.end()
    }

    /// Protective earth, below a wire's end.
    pub(crate) fn earth(&mut self, at: Point) {
        let (x, y) = at;
        self.line(Pen::Wire, &[at, (x, y + 8.0)]);
        for (row, half) in [(8.0, 11.0), (13.0, 7.0), (18.0, 3.0)] {
            self.line(Pen::Outline, &[(x - half, y + row), (x + half, y + row)]);
        }
    }

    /// The zero volts of a circuit, below a wire's end.
    pub(crate) fn zero(&mut self, at: Point) {
        let (x, y) = at;
        self.line(Pen::Wire, &[at, (x, y + 8.0)]);
        self.line(Pen::Power, &[(x - 11.0, y + 9.0), (x + 11.0, y + 9.0)]);
    }

    pub(crate) fn motor(&mut self, at: Point) {
        self.circle(Pen::Outline, Fill::Paper, at, 22.0);
        self.heading((at.0, at.1 + 5.0), At::Middle, "M");
    }

    pub(crate) fn lamp(&mut self, at: Point) {
        self.circle(Pen::Outline, Fill::Yellow, at, 16.0);
        let reach = 11.3;
        let (x, y) = at;
        self.line(Pen::Wire, &[(x - reach, y - reach), (x + reach, y + reach)]);
        self.line(Pen::Wire, &[(x - reach, y + reach), (x + reach, y - reach)]);
    }

    /// An opto-isolator, 100 wide and 60 high: its lamp's wires at the left's top and bottom, its
    /// transistor's at the right's. `mirrored`: the lamp is at the right. Returns the four ends: lamp's plus and
    /// minus, collector and emitter.
    pub(crate) fn isolator(&mut self, at: Point, mirrored: bool) -> [Point; 4] {
        let (x, y) = at;
        let across = |offset: f64| {
            if mirrored {
                x + 100.0 - offset
            } else {
                x + offset
            }
        };
        self.block(Pen::Outline, Fill::Shade, at, (100.0, 60.0));
        let lamp = across(22.0);
        self.diode((lamp, y + 10.0), Run::Down);
        self.line(Pen::Wire, &[(lamp, y), (lamp, y + 10.0)]);
        self.line(Pen::Wire, &[(lamp, y + 50.0), (lamp, y + 60.0)]);
        for row in [24.0, 32.0] {
            let (from, to) = (across(36.0), across(50.0));
            self.line(Pen::Wire, &[(from, y + row), (to, y + row)]);
            let head = across(45.0);
            let barbs = [(head, y + row - 3.0), (to, y + row), (head, y + row + 3.0)];
            self.line(Pen::Wire, &barbs);
        }
        let (bar, out) = (across(60.0), across(80.0));
        self.line(Pen::Power, &[(bar, y + 17.0), (bar, y + 43.0)]);
        self.line(Pen::Wire, &[(bar, y + 24.0), (out, y + 14.0), (out, y)]);
        self.line(
            Pen::Wire,
            &[(bar, y + 36.0), (out, y + 46.0), (out, y + 60.0)],
        );
        let tip = across(76.0);
        let barbs = [
            (tip, y + 44.0),
            (across(68.5), y + 43.5),
            (across(71.5), y + 37.8),
        ];
        self.shape(Pen::Thin, Fill::Ink, &barbs);
        [(lamp, y), (lamp, y + 60.0), (out, y), (out, y + 60.0)]
    }

    /// A transistor; its base's wire comes in at `at`. Returns collector and emitter.
    pub(crate) fn transistor(&mut self, at: Point) -> [Point; 2] {
        let (x, y) = at;
        self.circle(Pen::Wire, Fill::Paper, (x + 22.0, y), 20.0);
        self.line(Pen::Wire, &[at, (x + 15.0, y)]);
        self.line(Pen::Power, &[(x + 15.0, y - 11.0), (x + 15.0, y + 11.0)]);
        let ends = [(x + 30.0, y - 30.0), (x + 30.0, y + 30.0)];
        self.line(
            Pen::Wire,
            &[(x + 15.0, y - 5.0), (x + 30.0, y - 13.0), ends[0]],
        );
        self.line(
            Pen::Wire,
            &[(x + 15.0, y + 5.0), (x + 30.0, y + 13.0), ends[1]],
        );
        self.arrow_head((x + 15.0, y + 5.0), (x + 28.0, y + 12.0));
        ends
    }

    /// A cell; its plus is where the wire comes in.
    pub(crate) fn cell(&mut self, at: Point, run: Run) -> Point {
        let place = Place(at, run);
        self.leads(place, Pen::Wire, 17.0, 23.0);
        self.line(Pen::Outline, &place.all([(17.0, -13.0), (17.0, 13.0)]));
        self.line(Pen::Power, &place.all([(23.0, -6.0), (23.0, 6.0)]));
        place.end()
    }

    /// A dimension between two points side by side or above one another, with arrow heads.
    pub(crate) fn dimension(&mut self, from: Point, to: Point) {
        self.line(Pen::Thin, &[from, to]);
        self.arrow_head(to, from);
        self.arrow_head(from, to);
    }

    /// A head at `to` of an arrow that comes from `from`.
    pub(crate) fn arrow_head(&mut self, from: Point, to: Point) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy);
        let (dx, dy) = (dx / length * 9.0, dy / length * 9.0);
        let base = (to.0 - dx, to.1 - dy);
        let barb = |side: f64| (base.0 - side * dy * 0.38, base.1 + side * dx * 0.38);
        self.shape(Pen::Thin, Fill::Ink, &[barb(1.0), to, barb(-1.0)]);
    }

    /// A leader from a label to what it names.
    pub(crate) fn leader(&mut self, from: Point, to: Point) {
        self.line(Pen::Thin, &[from, to]);
        self.circle(Pen::Thin, Fill::Ink, to, 2.0);
    }
}
