//! Lengths, angles and times as people write them: `12.5 mm`, `1 3/16 in`, `90 deg`, `600 ms`; and
//! masses, torques and frequencies: `3.2 kg`, `0.4 N m`, `4.2 Hz`.
//!
//! A quantity is a number and a unit. The number is a decimal (`12.5`), a fraction (`3/16`) or a
//! whole number and a fraction (`1 3/16`), with or without a sign. It is worked out exactly and
//! rounded once, to the nearest whole picometre, micro-degree, nanosecond, microgram, nanonewton metre
//! or microhertz (halves away from zero); nobody can measure what is lost there.

mod scale;

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

use crate::stand::AxisUnit;

pub use scale::Scale;
pub(crate) use scale::{decimals, fixed};

/// A length, exact: whole picometres. An inch is 25 400 000 000 of them, so every binary fraction
/// of an inch down to 1/512 is exact; the range is about ±9 000 km.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Length(i64);

/// An angle, exact: whole micro-degrees, counter-clockwise positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Angle(i64);

/// A speed (`ORDER` 1), an acceleration (2) or a jerk (3): whole picometres or micro-degrees for
/// each second, second squared or second cubed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rate<const ORDER: u8> {
    unit: AxisUnit,
    value: i64,
}

/// Such as `25 mm/s`.
pub type Speed = Rate<1>;
/// Such as `60 mm/s2`.
pub type Acceleration = Rate<2>;
/// Such as `400 mm/s3`.
pub type Jerk = Rate<3>;

/// What a quantity measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A length.
    Length,
    /// An angle.
    Angle,
    /// A time.
    Time,
    /// A mass.
    Mass,
    /// A torque.
    Torque,
    /// A frequency.
    Frequency,
    /// A speed, acceleration or jerk of something that slides (millimetres) or turns (degrees),
    /// by how often the second stands below the line: 1, 2 or 3.
    Rate(AxisUnit, u8),
}

/// Why a text is not the quantity that was wanted. `found` is the text as typed.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing there.
    #[error("nothing is written here: {expected} is wanted, such as {}", .expected.example())]
    Empty {
        /// What was wanted.
        expected: Kind,
    },
    /// A number without a unit.
    #[error("`{found}` has no unit: {expected} is wanted, such as {}", .expected.example())]
    BareNumber {
        /// As typed.
        found: String,
        /// What was wanted.
        expected: Kind,
    },
    /// A unit that is none of those known.
    #[error("`{unit}` in `{found}` is no unit known here: {expected} is wanted, such as {}", .expected.example())]
    UnknownUnit {
        /// As typed.
        found: String,
        /// What stands where the unit should.
        unit: String,
        /// What was wanted.
        expected: Kind,
    },
    /// A number with a comma in it.
    #[error(
        "`{found}` has a comma in its number: write the decimals behind a point, such as `0.5 mm`"
    )]
    Comma {
        /// As typed.
        found: String,
    },
    /// A sound quantity of the wrong kind.
    #[error("`{found}` is {is}, but {expected} is wanted, such as {}", .expected.example())]
    WrongKind {
        /// As typed.
        found: String,
        /// What it is.
        is: Kind,
        /// What was wanted.
        expected: Kind,
    },
    /// No number.
    #[error("`{found}` does not begin with a number: {expected} is wanted, such as {}", .expected.example())]
    NotANumber {
        /// As typed.
        found: String,
        /// What was wanted.
        expected: Kind,
    },
    /// A fraction over nothing.
    #[error("`{found}` divides by zero: {expected} is wanted, such as {}", .expected.example())]
    DivisionByZero {
        /// As typed.
        found: String,
        /// What was wanted.
        expected: Kind,
    },
    /// Too great to be meant.
    #[error("`{found}` is out of range: {expected} of a sensible size is wanted, such as {}", .expected.example())]
    OutOfRange {
        /// As typed.
        found: String,
        /// What was wanted.
        expected: Kind,
    },
    /// Below zero where that has no meaning.
    #[error("`{found}` is negative: {expected} of zero or more is wanted, such as {}", .expected.example())]
    Negative {
        /// As typed.
        found: String,
        /// What was wanted.
        expected: Kind,
    },
}

impl Kind {
    /// How such a quantity is written.
    #[must_use]
    pub const fn example(self) -> &'static str {
        match self {
            Self::Length => "`12.5 mm` or `1 3/16 in`",
            Self::Angle => "`90 deg`",
            Self::Time => "`600 ms` or `1.2 s`",
            Self::Mass => "`3.2 kg` or `7 lb`",
            Self::Torque => "`0.4 N m` or `57 oz in`",
            Self::Frequency => "`4.2 Hz`",
            Self::Rate(AxisUnit::Millimetre, 1) => "`25 mm/s` or `1/4 in/s`",
            Self::Rate(AxisUnit::Millimetre, 2) => "`60 mm/s2`",
            Self::Rate(AxisUnit::Millimetre, _) => "`400 mm/s3`",
            Self::Rate(AxisUnit::Degree, 1) => "`5 deg/s`",
            Self::Rate(AxisUnit::Degree, 2) => "`20 deg/s2`",
            Self::Rate(AxisUnit::Degree, _) => "`100 deg/s3`",
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Length => "a length",
            Self::Angle => "an angle",
            Self::Time => "a time",
            Self::Mass => "a mass",
            Self::Torque => "a torque",
            Self::Frequency => "a frequency",
            Self::Rate(AxisUnit::Millimetre, 1) => "a speed",
            Self::Rate(AxisUnit::Millimetre, 2) => "an acceleration",
            Self::Rate(AxisUnit::Millimetre, _) => "a jerk",
            Self::Rate(AxisUnit::Degree, 1) => "a turning speed",
            Self::Rate(AxisUnit::Degree, 2) => "a turning acceleration",
            Self::Rate(AxisUnit::Degree, _) => "a turning jerk",
        })
    }
}

/// A number as a ratio of whole numbers; the lower is positive.
struct Ratio(i128, i128);

enum NumberFault {
    None,
    Zero,
    Range,
}

/// Reads a quantity of the kind that is wanted; its value in the small parts that [`unit_of`] counts
/// in.
fn quantity(text: &str, expected: Kind) -> Result<i64, QuantityError> {
    let found = || text.chars().take(60).collect::<String>();
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(QuantityError::Empty { expected });
    }
    let (signed, unsigned) = match trimmed.chars().next() {
        Some('-' | '\u{2212}') => (-1, trimmed.trim_start_matches(['-', '\u{2212}'])),
        Some('+') => (1, trimmed.trim_start_matches('+')),
        _ => (1, trimmed),
    };
    // One sign only: a second one leaves the number shorter by more than one character.
    if trimmed.chars().count() - unsigned.chars().count() > 1 {
        return Err(QuantityError::NotANumber {
            found: found(),
            expected,
        });
    }
    let unsigned = unsigned.trim_start();
    // The number ends where the first character comes that no number has; a slash belongs to it
    // only between digits, which an unit's (`mm/s`) never is.
    let end = unsigned
        .find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '/' || c == ' '))
        .unwrap_or(unsigned.len());
    let (number, unit) = unsigned.split_at(end);
    let comma = unit
        .strip_prefix(',')
        .is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()));
    if comma {
        return Err(QuantityError::Comma { found: found() });
    }
    let Ratio(over, under) = number_of(number.trim()).map_err(|fault| match fault {
        NumberFault::None => QuantityError::NotANumber {
            found: found(),
            expected,
        },
        NumberFault::Zero => QuantityError::DivisionByZero {
            found: found(),
            expected,
        },
        NumberFault::Range => QuantityError::OutOfRange {
            found: found(),
            expected,
        },
    })?;
    if unit.is_empty() {
        return Err(QuantityError::BareNumber {
            found: found(),
            expected,
        });
    }
    let Some((is, scale)) = unit_of(unit, expected) else {
        let unit = unit.chars().take(30).collect();
        return Err(QuantityError::UnknownUnit {
            found: found(),
            unit,
            expected,
        });
    };
    if is != expected {
        return Err(QuantityError::WrongKind {
            found: found(),
            is,
            expected,
        });
    }
    over.checked_mul(scale)
        .map(|over| (over + under / 2) / under * signed)
        .and_then(|value| i64::try_from(value).ok())
        .ok_or_else(|| QuantityError::OutOfRange {
            found: found(),
            expected,
        })
}

fn number_of(text: &str) -> Result<Ratio, NumberFault> {
    let words: Vec<&str> = text.split(' ').filter(|word| !word.is_empty()).collect();
    let joined;
    let (whole, rest) = match words[..] {
        [] => return Err(NumberFault::None),
        [one] if one.contains('/') => (None, one),
        [one] => return decimal(one),
        [whole, fraction]
            if !whole.contains('/') && fraction.contains('/') && !fraction.starts_with('/') =>
        {
            (Some(digits(whole)?), fraction)
        }
        // Spaces around the stroke, `3 / 16`, leave no doubt either.
        [over, "/", under] => {
            joined = format!("{over}/{under}");
            (None, joined.as_str())
        }
        _ => return Err(NumberFault::None),
    };
    let (over, under) = rest.split_once('/').ok_or(NumberFault::None)?;
    let (over, under) = (digits(over)?, digits(under)?);
    if under == 0 {
        return Err(NumberFault::Zero);
    }
    let whole = whole
        .unwrap_or(0)
        .checked_mul(under)
        .and_then(|whole| whole.checked_add(over))
        .ok_or(NumberFault::Range)?;
    Ok(Ratio(whole, under))
}

fn decimal(text: &str) -> Result<Ratio, NumberFault> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    if whole.is_empty() && part.is_empty() {
        return Err(NumberFault::None);
    }
    let value = |text: &str| if text.is_empty() { Ok(0) } else { digits(text) };
    let part = part.trim_end_matches('0');
    let under = 10_i128.pow(u32::try_from(part.len().min(19)).unwrap_or(19));
    let part = value(part)?;
    let whole = value(whole)?.checked_mul(under).ok_or(NumberFault::Range)?;
    Ok(Ratio(
        whole.checked_add(part).ok_or(NumberFault::Range)?,
        under,
    ))
}

/// A whole number of up to 18 digits.
fn digits(text: &str) -> Result<i128, NumberFault> {
    if text.is_empty() || !text.bytes().all(|byte| byte.is_ascii_digit()) {
        return Err(NumberFault::None);
    }
    if text.len() > 18 {
        return Err(NumberFault::Range);
    }
    text.parse().map_err(|_| NumberFault::Range)
}

/// The kind and the size of a unit. The inch and the foot are those of the international yard and
/// pound agreement of 1959 (NIST SP 811, appendix B): 25.4 mm and 304.8 mm exactly; so is the pound, of
/// 0.45359237 kg. A kilogram-force is 9.80665 N. Counted in picometres, micro-degrees, nanoseconds,
/// micrograms, nanonewton metres and microhertz.
fn unit_of(unit: &str, expected: Kind) -> Option<(Kind, i128)> {
    // A torque's dot, as in N·m, says no more than a blank.
    let unit: String = unit
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '\u{b7}' | '\u{22c5}'))
        .collect();
    let (base, order) = match unit.split_once('/') {
        None => (unit.as_str(), 0),
        Some((base, "s")) => (base, 1),
        Some((base, "s2" | "s^2" | "s²")) => (base, 2),
        Some((base, "s3" | "s^3" | "s³")) => (base, 3),
        Some(_) => return None,
    };
    let (kind, scale) = match base {
        "pm" => (Kind::Length, 1),
        "nm" => (Kind::Length, 1_000),
        // The micro sign and the Greek letter look alike.
        "um" | "\u{b5}m" | "\u{3bc}m" => (Kind::Length, 1_000_000),
        "mm" => (Kind::Length, 1_000_000_000),
        "cm" => (Kind::Length, 10_000_000_000),
        "m" => (Kind::Length, 1_000_000_000_000),
        "in" => (Kind::Length, 25_400_000_000),
        "ft" => (Kind::Length, 304_800_000_000),
        // The strokes are minutes and seconds of arc to others: only where a length is wanted.
        "\"" | "\u{2033}" | "\u{201d}" if expected == Kind::Length => {
            (Kind::Length, 25_400_000_000)
        }
        "'" | "\u{2032}" | "\u{2019}" if expected == Kind::Length => {
            (Kind::Length, 304_800_000_000)
        }
        "deg" | "\u{b0}" => (Kind::Angle, 1_000_000),
        "us" | "\u{b5}s" | "\u{3bc}s" => (Kind::Time, 1_000),
        "ms" => (Kind::Time, 1_000_000),
        "s" => (Kind::Time, 1_000_000_000),
        "min" => (Kind::Time, 60_000_000_000),
        "g" => (Kind::Mass, 1_000_000),
        "kg" => (Kind::Mass, 1_000_000_000),
        "oz" => (Kind::Mass, 28_349_523),
        "lb" => (Kind::Mass, 453_592_370),
        "mNm" => (Kind::Torque, 1_000_000),
        "Ncm" => (Kind::Torque, 10_000_000),
        "Nm" => (Kind::Torque, 1_000_000_000),
        "kgcm" | "kgfcm" => (Kind::Torque, 98_066_500),
        "ozin" => (Kind::Torque, 7_061_552),
        "lbin" | "inlb" => (Kind::Torque, 112_984_829),
        "Hz" => (Kind::Frequency, 1_000_000),
        _ => return None,
    };
    match (kind, order) {
        (kind, 0) => Some((kind, scale)),
        (Kind::Length, order) => Some((Kind::Rate(AxisUnit::Millimetre, order), scale)),
        (Kind::Angle, order) => Some((Kind::Rate(AxisUnit::Degree, order), scale)),
        _ => None,
    }
}

/// Reads what a scale or a dial shows, in its own unit: a number alone counts as that unit, a
/// number with another unit of its kind is converted.
///
/// # Errors
///
/// Says what is wrong with the text.
pub fn reading(text: &str, unit: AxisUnit) -> Result<f64, QuantityError> {
    reading_in(text, unit, Some(unit.sign()))
}

/// The same where a number alone counts as another unit, `bare`, or is refused where there is none.
/// In millimetres or degrees.
///
/// # Errors
///
/// Says what is wrong with the text.
pub fn reading_in(text: &str, kind: AxisUnit, bare: Option<&str>) -> Result<f64, QuantityError> {
    let read = |text: &str| match kind {
        AxisUnit::Millimetre => text.parse().map(Length::mm),
        AxisUnit::Degree => text.parse().map(Angle::degrees),
    };
    with_unit(text, bare, read)
}

/// Reads a quantity; a number alone counts as `bare` where that is given.
pub(crate) fn with_unit(
    text: &str,
    bare: Option<&str>,
    read: impl Fn(&str) -> Result<f64, QuantityError>,
) -> Result<f64, QuantityError> {
    match (read(text), bare) {
        (Err(QuantityError::BareNumber { .. }), Some(unit)) => read(&format!("{text} {unit}")),
        (result, _) => result,
    }
}

/// Reads a time, such as `600 ms`, to the nearest nanosecond.
///
/// # Errors
///
/// Says what is wrong with the text; a negative time is refused.
pub fn parse_duration(text: &str) -> Result<Duration, QuantityError> {
    let expected = Kind::Time;
    let value = quantity(text, expected)?;
    u64::try_from(value)
        .map(Duration::from_nanos)
        .map_err(|_| QuantityError::Negative {
            found: text.into(),
            expected,
        })
}

/// Reads a mass, such as `3.2 kg`, in kilograms.
///
/// # Errors
///
/// Says what is wrong with the text.
pub fn parse_mass_kg(text: &str) -> Result<f64, QuantityError> {
    quantity(text, Kind::Mass).map(|micrograms| micrograms as f64 / 1e9)
}

/// Reads a torque, such as `0.4 N m`, in newton metres.
///
/// # Errors
///
/// Says what is wrong with the text.
pub fn parse_torque_nm(text: &str) -> Result<f64, QuantityError> {
    quantity(text, Kind::Torque).map(|nanos| nanos as f64 / 1e9)
}

/// Reads a frequency, such as `4.2 Hz`, in hertz.
///
/// # Errors
///
/// Says what is wrong with the text.
pub fn parse_frequency_hz(text: &str) -> Result<f64, QuantityError> {
    quantity(text, Kind::Frequency).map(|micros| micros as f64 / 1e6)
}

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

    /// In whole micro-degrees.
    #[must_use]
    pub const fn microdegrees(self) -> i64 {
        self.0
    }

    /// In degrees.
    #[must_use]
    pub fn degrees(self) -> f64 {
        self.0 as f64 / 1e6
    }
}

impl<const ORDER: u8> Rate<ORDER> {
    /// Reads one for an axis of that unit, such as `25 mm/s`.
    ///
    /// # Errors
    ///
    /// Says what is wrong with the text.
    pub fn parse(text: &str, unit: AxisUnit) -> Result<Self, QuantityError> {
        let value = quantity(text, Kind::Rate(unit, ORDER))?;
        Ok(Self { unit, value })
    }

    /// In the axis's unit, millimetres or degrees, for each second (squared, cubed).
    #[must_use]
    pub fn per_second(self) -> f64 {
        self.value as f64 / scale(self.unit)
    }
}

fn scale(unit: AxisUnit) -> f64 {
    match unit {
        AxisUnit::Millimetre => 1e9,
        AxisUnit::Degree => 1e6,
    }
}

impl FromStr for Length {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        quantity(text, Kind::Length).map(Self)
    }
}

impl FromStr for Angle {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        quantity(text, Kind::Angle).map(Self)
    }
}

/// Writes a whole number of small parts as a decimal of the unit, every digit and no more.
fn write_exact(f: &mut fmt::Formatter<'_>, value: i64, places: usize, unit: &str) -> fmt::Result {
    let sign = if value < 0 { "-" } else { "" };
    let digits = format!("{:0>width$}", value.unsigned_abs(), width = places + 1);
    let (whole, part) = digits.split_at(digits.len() - places);
    match part.trim_end_matches('0') {
        "" => write!(f, "{sign}{whole} {unit}"),
        part => write!(f, "{sign}{whole}.{part} {unit}"),
    }
}

/// Exact, in millimetres; reads back as the same.
impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_exact(f, self.0, 9, "mm")
    }
}

/// Exact, in degrees; reads back as the same.
impl fmt::Display for Angle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_exact(f, self.0, 6, "deg")
    }
}

/// Exact; reads back as the same.
impl<const ORDER: u8> fmt::Display for Rate<ORDER> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = match self.unit {
            AxisUnit::Millimetre => 9,
            AxisUnit::Degree => 6,
        };
        let below = if ORDER == 1 {
            String::new()
        } else {
            ORDER.to_string()
        };
        write_exact(
            f,
            self.value,
            places,
            &format!("{}/s{below}", self.unit.sign()),
        )
    }
}

/// A number of an axis's units for messages: `-12.345 mm`. Three places unless the format says
/// otherwise; with `+` a positive one has its sign; what rounds to zero has none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InUnit(pub f64, pub AxisUnit);

/// Millimetres for messages, as [`InUnit`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Millimetres(pub f64);

/// Degrees for messages, as [`InUnit`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Degrees(pub f64);

impl fmt::Display for InUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = f.precision().unwrap_or(3);
        let digits = format!("{:.places$}", self.0.abs());
        let zero = digits.bytes().all(|byte| matches!(byte, b'0' | b'.'));
        let sign = match self.0 {
            _ if zero => "",
            value if value < 0.0 => "-",
            _ if f.sign_plus() => "+",
            _ => "",
        };
        write!(f, "{sign}{digits} {}", self.1.sign())
    }
}

impl fmt::Display for Millimetres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        InUnit(self.0, AxisUnit::Millimetre).fmt(f)
    }
}

impl fmt::Display for Degrees {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        InUnit(self.0, AxisUnit::Degree).fmt(f)
    }
}
