//! Lengths, angles and times as people write them: `12.5 mm`, `1 3/16 in`, `90 deg`, `600 ms`.

/// A length, exact: whole picometres. An inch is 25 400 000 000 of them, so every binary fraction
/// of an inch down to 1/512 is exact; the range is about ±9 000 km.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Length(i64);

/// An angle, exact: whole micro-degrees, counter-clockwise positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Angle(i64);

impl Length {
    /// From whole picometres.
    #[must_use]
    pub const fn from_pm(pm: i64) -> Self {
        Self(pm)
    }

    /// In whole picometres.
    #[must_use]
    pub const fn pm(self) -> i64 {
        self.0
    }

    /// In millimetres.
    #[must_use]
    pub fn mm(self) -> f64 {
        self.0 as f64 / 1e9
    }
}

impl Angle {
    /// From whole micro-degrees.
    #[must_use]
    pub const fn from_microdegrees(microdegrees: i64) -> Self {
        Self(microdegrees)
    }

    /// In degrees.
    #[must_use]
    pub fn degrees(self) -> f64 {
        self.0 as f64 / 1e6
    }
}
