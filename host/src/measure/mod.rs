//! What readings tell of a stand: how far a step really goes, how well an axis comes back, how
//! square it runs, what the lens is like, how long it trembles.
//!
//! All of this is arithmetic on readings; nothing in here opens a port, reads a clock or writes a
//! file. Every result carries its standard uncertainty in the sense of the GUM (JCGM 100:2008),
//! worked out from the readings' own scatter: what a bad dial indicator gets wrong every time alike
//! is not in it.
//!
//! * [`table`]: readings from a CSV file or as typed, with their units and their places.
//! * [`fit`]: least squares, Student's t, outliers.
//! * [`axis`]: readings of one axis sent to places: its scale, its slack, ISO 230-2's figures
//!   ([`positioning`]) and their plot ([`plot`]).
//! * [`home`]: how closely the home switch is found again.
//! * [`square`]: the direction of travel against a square.
//! * [`lens`]: focal length, entrance pupil and apparent distances from field widths.
//! * [`decay`]: natural frequency, damping, and how long to wait.

pub mod axis;
pub mod decay;
pub mod fit;
pub mod home;
pub mod lens;
pub mod plot;
pub mod positioning;
pub mod square;
pub mod table;

/// A value and how well it is known.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty, in the value's unit; none where there are no more readings than
    /// unknowns, so that nothing tells how far they scatter.
    pub uncertainty: Option<f64>,
    /// Half the width of its 95 % interval (Student's t), in the value's unit.
    pub within_95: Option<f64>,
}

impl Estimate {
    /// From a value, its standard uncertainty and its degrees of freedom.
    #[must_use]
    pub fn new(value: f64, uncertainty: Option<f64>, freedom: usize) -> Self {
        let uncertainty = uncertainty.filter(|it| it.is_finite() && freedom > 0);
        Self {
            value,
            uncertainty,
            within_95: uncertainty.map(|it| it * fit::student(0.95, freedom)),
        }
    }

    /// The same times a factor.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        let times = |it: f64| it * factor.abs();
        Self {
            value: self.value * factor,
            uncertainty: self.uncertainty.map(times),
            within_95: self.within_95.map(times),
        }
    }
}
