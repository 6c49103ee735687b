//! How the readings of a scale are written: in the unit and the parts that it is divided in.

use crate::stand::AxisUnit;

/// The smallest part of an inch that scales are divided in, by halving.
const FINEST_PART: u32 = 128;

/// Readings of a scale, or positions of a motor, as a person at the stand reads them.
///
/// A scale is one in inches where its division is an inch in halves, quarters and so on down to
/// 1/128, or its tenth, hundredth, thousandth or ten-thousandth, or a number of these: no scale in
/// millimetres has such divisions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    unit: AxisUnit,
    division: f64,
    form: Form,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Form {
    /// Parts of an inch, so many to an inch.
    Parts(u32),
    /// Inches with so many decimals.
    Inches(usize),
    /// The axis's own unit with so many decimals.
    Own(usize),
}

const INCH_MM: f64 = 25.4;

impl Scale {
    /// Of a scale with such a division, in the axis's unit.
    #[must_use]
    pub fn of(division: f64, unit: AxisUnit) -> Self {
        let form = match unit {
            AxisUnit::Millimetre => in_inches(division).unwrap_or(Form::Own(decimals(division))),
            AxisUnit::Degree => Form::Own(decimals(division)),
        };
        Self {
            unit,
            division,
            form,
        }
    }

    /// Of a motor: three decimals of its unit.
    #[must_use]
    pub const fn of_motor(unit: AxisUnit) -> Self {
        Self {
            unit,
            division: 0.0,
            form: Form::Own(3),
        }
    }

    /// The unit that its readings are written in: `mm`, `in` or `deg`.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self.form {
            Form::Parts(_) | Form::Inches(_) => "in",
            Form::Own(_) => self.unit.sign(),
        }
    }

    /// How large the unit of its readings is, in the axis's unit.
    #[must_use]
    pub const fn unit_size(self) -> f64 {
        match self.form {
            Form::Parts(_) | Form::Inches(_) => INCH_MM,
            Form::Own(_) => 1.0,
        }
    }

    /// A reading, given in the axis's unit, as it is written in [`Self::sign`]: `-1 5/32`, `0.012`,
    /// `-18.5`. What does not lie on a division has two decimals more than the division.
    #[must_use]
    pub fn words(self, value: f64) -> String {
        let on_division = self.division <= 0.0 || {
            let divisions = value / self.division;
            (divisions - divisions.round()).abs() < 1e-6
        };
        match self.form {
            Form::Parts(parts) if on_division => fraction(value / INCH_MM, parts),
            // Between two divisions: as finely as anybody reads, where that is exact.
            Form::Parts(_) => {
                let fine = value / INCH_MM * f64::from(2 * FINEST_PART);
                if (fine - fine.round()).abs() < 1e-6 {
                    fraction(value / INCH_MM, 2 * FINEST_PART)
                } else {
                    fixed(value / INCH_MM, 4)
                }
            }
            Form::Inches(digits) => {
                fixed(value / INCH_MM, digits + if on_division { 0 } else { 2 })
            }
            Form::Own(digits) => fixed(value, digits + if on_division { 0 } else { 2 }),
        }
    }

    /// The same with its unit.
    #[must_use]
    pub fn with_unit(self, value: f64) -> String {
        format!("{} {}", self.words(value), self.sign())
    }

    /// By how much a reading may differ, half a division, with its unit.
    #[must_use]
    pub fn half_division(self) -> String {
        let half = self.division / 2.0;
        let words = match self.form {
            Form::Parts(parts) => fraction(half / INCH_MM, parts.saturating_mul(2)),
            Form::Inches(digits) => fixed(half / INCH_MM, digits + 1),
            Form::Own(_) => fixed(half, decimals(half)),
        };
        format!("{words} {}", self.sign())
    }

    /// The longest that a reading between zero and this one can be, in characters.
    #[must_use]
    pub fn letters(self, value: f64) -> usize {
        match self.form {
            Form::Parts(parts) => {
                let sign = if value < 0.0 { "-" } else { "" };
                let whole = (value / INCH_MM).abs().floor();
                let longest = if whole >= 1.0 {
                    format!("{sign}{whole} {}/{parts}", parts - 1)
                } else {
                    format!("{sign}{}/{parts}", parts - 1)
                };
                longest.chars().count()
            }
            Form::Inches(_) | Form::Own(_) => self.words(value).chars().count(),
        }
    }
}

/// How a division of inches is written, where it is one.
fn in_inches(division: f64) -> Option<Form> {
    let whole = |value: f64| value >= 0.5 && (value - value.round()).abs() < 1e-6;
    let inches = division / INCH_MM;
    let mut parts = 1;
    while parts <= FINEST_PART {
        if whole(inches * f64::from(parts)) {
            return Some(Form::Parts(parts.max(2)));
        }
        parts *= 2;
    }
    (1..=4)
        .find(|&digits| whole(inches * 10_f64.powi(digits)))
        .map(|digits| Form::Inches(digits as usize))
}

/// Inches as a whole number and a fraction of parts, in lowest terms.
fn fraction(inches: f64, parts: u32) -> String {
    let count = (inches * f64::from(parts)).round();
    let sign = if count < 0.0 { "-" } else { "" };
    let count = count.abs() as u64;
    let (whole, mut over) = (count / u64::from(parts), count % u64::from(parts));
    let mut under = u64::from(parts);
    while over > 0 && over.is_multiple_of(2) && under.is_multiple_of(2) {
        over /= 2;
        under /= 2;
    }
    match (whole, over) {
        (0, 0) => "0".to_owned(),
        (whole, 0) => format!("{sign}{whole}"),
        (0, over) => format!("{sign}{over}/{under}"),
        (whole, over) => format!("{sign}{whole} {over}/{under}"),
    }
}

/// As many decimals as a scale's division has, at most 4.
pub(crate) fn decimals(division: f64) -> usize {
    (0..4_u8)
        .find(|&digits| {
            let shifted = division * 10.0_f64.powi(i32::from(digits));
            (shifted - shifted.round()).abs() < 1e-6 && shifted >= 0.5
        })
        .map_or(4, usize::from)
}

/// A number with so many decimals, never `-0`.
pub(crate) fn fixed(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::reading_in;

    const MM: AxisUnit = AxisUnit::Millimetre;

    #[test]
    fn scales_in_inches_are_read_in_inches() {
        for (division_mm, value_mm, words) in [
            (25.4 / 32.0, -25.4 / 32.0, "-1/32 in"),
            (25.4 / 32.0, 25.4 * 37.0 / 32.0, "1 5/32 in"),
            (25.4 / 32.0, -25.4 * 23.0 / 32.0, "-23/32 in"),
            (25.4 / 32.0, 25.4 * 48.0 / 32.0, "1 1/2 in"),
            (25.4 / 32.0, 50.8, "2 in"),
            (25.4 / 32.0, 0.0, "0 in"),
            (25.4 / 16.0, -1.0, "-0.0394 in"),
            (0.0254, 0.3048, "0.012 in"),
            (0.254, -25.4, "-1.00 in"),
            (0.127, 0.127, "0.005 in"),
        ] {
            let scale = Scale::of(division_mm, MM);
            assert_eq!(scale.with_unit(value_mm), words, "{division_mm} mm");
        }
        let thirty_seconds = Scale::of(25.4 / 32.0, MM);
        assert_eq!(thirty_seconds.half_division(), "1/64 in");
        assert_eq!(Scale::of(25.4 / 128.0, MM).half_division(), "1/256 in");
        assert_eq!(Scale::of(0.0254, MM).half_division(), "0.0005 in");
        // Between two divisions.
        assert_eq!(thirty_seconds.with_unit(25.4 * 75.0 / 64.0), "1 11/64 in");
        // No reading is longer than the room that is left for it.
        for count in 0..=100 {
            let value = f64::from(count) * 25.4 / 32.0;
            assert!(thirty_seconds.words(value).len() <= thirty_seconds.letters(80.0));
            assert!(thirty_seconds.words(-value).len() <= thirty_seconds.letters(-80.0));
        }
    }

    #[test]
    fn scales_in_millimetres_and_degrees_are_read_in_theirs() {
        for (division, value, words) in [
            (0.5, -18.5, "-18.5 mm"),
            (0.5, 0.0, "0.0 mm"),
            (1.0, 12.0, "12 mm"),
            (0.05, 3.15, "3.15 mm"),
            (0.02, 3.16, "3.16 mm"),
            (0.5, 3.23, "3.230 mm"),
            (0.25, 0.25, "0.25 mm"),
            (0.01, -0.001, "-0.0010 mm"),
            (10.0, 20.0, "20 mm"),
            (5.0, 25.0, "25 mm"),
        ] {
            assert_eq!(Scale::of(division, MM).with_unit(value), words);
        }
        assert_eq!(Scale::of(0.5, MM).half_division(), "0.25 mm");
        assert_eq!(Scale::of(0.1, AxisUnit::Degree).with_unit(-2.3), "-2.3 deg");
        assert_eq!(Scale::of_motor(MM).with_unit(1.23456), "1.235 mm");
    }

    /// What is written can be typed, and means the same.
    #[test]
    fn readings_are_read_back() {
        for division in [25.4 / 64.0, 25.4 / 8.0, 0.0254, 0.254, 0.5, 0.1, 0.02, 1.0] {
            let scale = Scale::of(division, MM);
            for count in -400..=400 {
                let value = f64::from(count) * division;
                let back = reading_in(&scale.words(value), MM, Some(scale.sign()));
                let off = back.expect("it can be read") - value;
                assert!(
                    off.abs() < 1e-9,
                    "{division} mm: {value} mm is off by {off}"
                );
            }
        }
    }
}
