//! A table of a file, read key by key; what is wrong is noted, and reading goes on.

use std::cell::RefCell;
use std::fmt::Display;
use std::ops::Range;
use std::str::FromStr;
use std::sync::Arc;
use std::time::Duration;

use miette::NamedSource;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::problems::{source, steers};
use super::words::{advice, amended, brief, describe, suggestion};
use super::{MAX_FILE, Problem, Problems};
use crate::stand::AxisUnit;
use crate::units::{
    Angle, Length, QuantityError, Rate, parse_duration, parse_frequency_hz, parse_mass_kg,
    parse_torque_nm,
};

/// Gathers what is wrong with one file.
pub(super) struct Notes {
    file: Arc<NamedSource<String>>,
    problems: RefCell<Vec<Problem>>,
}

/// A table of the file and which of its keys have been asked for.
pub(super) struct Table<'a> {
    notes: &'a Notes,
    what: String,
    span: Range<usize>,
    table: &'a DeTable<'a>,
    known: RefCell<Vec<&'static str>>,
    leave_rest: std::cell::Cell<bool>,
}

/// A value and its place.
#[derive(Clone, Debug)]
pub(super) struct At<T> {
    pub(super) value: T,
    pub(super) span: Range<usize>,
}

/// A value as it stands in the file.
pub(super) type Value<'a> = &'a Spanned<DeValue<'a>>;

/// Reads a whole file by `meaning`, and refuses it where anything has been noted.
pub(super) fn read<T>(
    name: &str,
    text: &str,
    meaning: impl FnOnce(&Table<'_>) -> Option<T>,
) -> Result<T, Problems> {
    // Some editors begin a file with a mark of its byte order; places count from behind it.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let notes = Notes {
        file: source(name, text),
        problems: RefCell::default(),
    };
    if text.len() as u64 > MAX_FILE {
        notes.note(
            None,
            "",
            "this is longer than 1 MiB",
            "check that this is the right file",
        );
        return Err(Problems::new(notes.problems.take()));
    }
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let help = "write it as TOML: `key = \"value\"`, [table], [[one of several]]";
        notes.note(error.span(), "not understood", error.message(), help);
    }
    // What a broken text seems to say is not worth a second opinion.
    if !errors.is_empty() {
        return Err(Problems::new(notes.problems.take()));
    }
    let root = Table::new(&notes, "the file".into(), 0..0, document.get_ref());
    let value = meaning(&root);
    drop(root);
    let problems = notes.problems.take();
    match value {
        Some(value) if problems.is_empty() => Ok(value),
        _ if problems.is_empty() => {
            notes.note(
                None,
                "",
                "this does not add up to a whole",
                "compare it with the demonstration's",
            );
            Err(Problems::new(notes.problems.take()))
        }
        _ => Err(Problems::new(problems)),
    }
}

impl Notes {
    pub(super) fn note(
        &self,
        span: Option<Range<usize>>,
        label: impl Display,
        message: impl Display,
        help: impl Display,
    ) {
        let texts = [label.to_string(), message.to_string(), help.to_string()];
        let problem = Problem::new(&self.file, span, texts);
        self.problems.borrow_mut().push(problem);
    }
}

impl<'a> Table<'a> {
    fn new(notes: &'a Notes, what: String, span: Range<usize>, table: &'a DeTable<'a>) -> Self {
        Self {
            notes,
            what,
            span,
            table,
            known: RefCell::default(),
            leave_rest: std::cell::Cell::new(false),
        }
    }

    /// Says nothing of keys that nobody asked for.
    pub(super) fn leave_rest(&self) {
        self.leave_rest.set(true);
    }

    /// Where it stands.
    pub(super) fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// Where the value of a key stands; where the table does when it is not there.
    pub(super) fn place_of(&self, key: &str) -> Range<usize> {
        self.table.get(key).map_or(self.span(), Spanned::span)
    }

    /// Notes a problem: at the place a few words of what is there, beside it what was found and
    /// what was expected, and what to do.
    pub(super) fn note(
        &self,
        span: Range<usize>,
        label: impl Display,
        message: impl Display,
        help: impl Display,
    ) {
        self.notes.note(Some(span), label, message, help);
    }

    /// Notes a problem of the file as a whole.
    pub(super) fn note_whole(&self, message: impl Display, help: impl Display) {
        self.notes.note(None, "", message, help);
    }

    /// The value of a key, where it is there.
    pub(super) fn find(&self, key: &'static str) -> Option<Value<'a>> {
        self.known.borrow_mut().push(key);
        self.table.get(key)
    }

    pub(super) fn has(&self, key: &'static str) -> bool {
        self.find(key).is_some()
    }

    /// The value of a key that has to be there.
    fn need(&self, key: &'static str) -> Option<Value<'a>> {
        let value = self.find(key);
        if value.is_none() {
            self.note(
                self.span(),
                format!(
                    "no `{key}` {}",
                    if self.span.is_empty() {
                        "before the first table"
                    } else {
                        "in here"
                    }
                ),
                format!("{} has no `{key}`", self.what),
                format!("add `{key} = ...`"),
            );
        }
        value
    }

    fn wrong(&self, value: Value<'a>, key: &str, expected: &str) {
        let found = describe(value.get_ref());
        self.note(
            value.span(),
            format!("not {}", expected.trim_end_matches(',')),
            format!("`{key}` is {found}, but {expected} is wanted"),
            advice(value.get_ref(), expected),
        );
    }

    pub(super) fn text_at(&self, key: &'static str) -> Option<At<&'a str>> {
        let value = self.need(key)?;
        self.as_text(value, key)
    }

    pub(super) fn as_text(&self, value: Value<'a>, key: &str) -> Option<At<&'a str>> {
        match value.get_ref() {
            DeValue::String(text) if text.trim().is_empty() => {
                self.note(
                    value.span(),
                    "nothing is written",
                    format!("`{key}` is empty"),
                    format!("write the {key} between the quotes, or take the line out"),
                );
                None
            }
            DeValue::String(text) => {
                if let Some(c) = text.chars().find(|&c| steers(c)) {
                    self.note(
                        value.span(),
                        format!("holds U+{:04X}", u32::from(c)),
                        format!(
                            "`{key}` holds the character U+{:04X}, which cannot be seen",
                            u32::from(c)
                        ),
                        "take it out: only what can be read belongs here",
                    );
                    return None;
                }
                Some(At {
                    value: text,
                    span: value.span(),
                })
            }
            _ => {
                self.wrong(value, key, "text in quotes");
                None
            }
        }
    }

    pub(super) fn text(&self, key: &'static str) -> Option<&'a str> {
        Some(self.text_at(key)?.value)
    }

    /// A name that people and files are given: not longer than `most` characters, and without
    /// blanks at its ends, which nobody sees.
    pub(super) fn name_at(&self, key: &'static str, most: usize) -> Option<At<&'a str>> {
        let name = self.text_at(key)?;
        let length = name.value.chars().count();
        if length > most {
            self.note(
                name.span,
                format!("{length} characters"),
                format!("`{key}` is {length} characters long, but at most {most} are wanted"),
                "shorten it",
            );
            return None;
        }
        if name.value.trim() != name.value {
            self.note(
                name.span,
                "a blank at its start or end",
                format!(
                    "`{key}` is `{}`, with a blank at its start or end",
                    name.value
                ),
                "take the blank out",
            );
            return None;
        }
        Some(name)
    }

    /// One of several words.
    pub(super) fn word<T: Copy>(&self, key: &'static str, words: &[(&str, T)]) -> Option<T> {
        let text = self.text_at(key)?;
        let known = || words.iter().map(|(word, _)| *word);
        let word = words.iter().find(|(word, _)| *word == text.value);
        if word.is_none() {
            self.unknown(&text, &format!("`{key}`"), known());
        }
        word.map(|(_, value)| *value)
    }

    /// Notes a word that is none of those known.
    pub(super) fn unknown<'w>(
        &self,
        text: &At<&str>,
        what: &str,
        known: impl Iterator<Item = &'w str> + Clone,
    ) {
        let list = known
            .clone()
            .map(|word| format!("`{word}`"))
            .collect::<Vec<_>>()
            .join(", ");
        self.note(
            text.span.clone(),
            "not one of those known",
            format!("{what} is `{}`, but one of {list} is wanted", text.value),
            suggestion(text.value, known),
        );
    }

    pub(super) fn flag(&self, key: &'static str, default: Option<bool>) -> Option<bool> {
        if default.is_some() && !self.has(key) {
            return default;
        }
        let value = self.need(key)?;
        match value.get_ref() {
            DeValue::Boolean(flag) => Some(*flag),
            _ => {
                self.wrong(value, key, "`true` or `false`");
                None
            }
        }
    }

    /// A whole number within bounds.
    pub(super) fn whole(&self, key: &'static str, least: u32, most: u32) -> Option<At<u32>> {
        let value = self.need(key)?;
        self.as_whole(value, key, least, most)
    }

    pub(super) fn whole_or(
        &self,
        key: &'static str,
        least: u32,
        most: u32,
        default: u32,
    ) -> Option<u32> {
        if !self.has(key) {
            return Some(default);
        }
        self.whole(key, least, most).map(|at| at.value)
    }

    pub(super) fn as_whole(
        &self,
        value: Value<'a>,
        key: &str,
        least: u32,
        most: u32,
    ) -> Option<At<u32>> {
        if let DeValue::Integer(number) = value.get_ref()
            && let Ok(number) = i128::from_str_radix(number.as_str(), number.radix())
            && let Ok(number) = u32::try_from(number)
            && (least..=most).contains(&number)
        {
            return Some(At {
                value: number,
                span: value.span(),
            });
        }
        self.wrong(
            value,
            key,
            &format!("a whole number from {least} to {most}"),
        );
        None
    }

    /// A plain number within bounds; `above` is itself out of bounds.
    pub(super) fn number(&self, key: &'static str, above: f64, most: f64) -> Option<At<f64>> {
        let value = self.need(key)?;
        self.as_number(value, key, above, most)
    }

    pub(super) fn as_number(
        &self,
        value: Value<'a>,
        key: &str,
        above: f64,
        most: f64,
    ) -> Option<At<f64>> {
        let number: Option<f64> = match value.get_ref() {
            DeValue::Integer(number) if number.radix() == 10 => number.as_str().parse().ok(),
            DeValue::Float(number) => number.as_str().parse().ok(),
            _ => None,
        };
        if let Some(number) = number
            && number.is_finite()
            && number > above
            && number <= most
        {
            return Some(At {
                value: number,
                span: value.span(),
            });
        }
        self.wrong(
            value,
            key,
            &format!("a number above {above} and up to {most}"),
        );
        None
    }

    fn quantity<T>(
        &self,
        value: Value<'a>,
        key: &str,
        example: &str,
        parse: impl Fn(&str) -> Result<T, QuantityError>,
    ) -> Option<At<T>> {
        let DeValue::String(text) = value.get_ref() else {
            self.wrong(
                value,
                key,
                &format!("a quantity with its unit in quotes, such as \"{example}\","),
            );
            return None;
        };
        match parse(text) {
            Ok(quantity) => Some(At {
                value: quantity,
                span: value.span(),
            }),
            Err(error) => {
                self.note(
                    value.span(),
                    brief(&error),
                    format!("`{key}`: {error}"),
                    amended(text, example, &parse),
                );
                None
            }
        }
    }

    /// A length above zero, mm, or a word instead, which is `None`.
    pub(super) fn size_or(&self, key: &'static str, word: &str) -> Option<Option<At<f64>>> {
        let value = self.need(key)?;
        if let DeValue::String(text) = value.get_ref()
            && text.trim() == word
        {
            return Some(None);
        }
        let example = format!("600 mm\" or \"{word}");
        let length = self.quantity(value, key, &example, Length::from_str)?;
        let at = At {
            value: length.value.mm(),
            span: length.span,
        };
        self.positive(key, at, "mm").map(Some)
    }

    /// A length, mm.
    pub(super) fn as_length(&self, value: Value<'a>, key: &str) -> Option<At<f64>> {
        let length = self.quantity(value, key, "12.5 mm", Length::from_str)?;
        Some(At {
            value: length.value.mm(),
            span: length.span,
        })
    }

    /// A length or an angle, in the unit given.
    pub(super) fn as_place(&self, value: Value<'a>, key: &str, unit: AxisUnit) -> Option<At<f64>> {
        match unit {
            AxisUnit::Millimetre => self.as_length(value, key),
            AxisUnit::Degree => {
                let angle = self.quantity(value, key, "90 deg", Angle::from_str)?;
                Some(At {
                    value: angle.value.degrees(),
                    span: angle.span,
                })
            }
        }
    }

    pub(super) fn place(&self, key: &'static str, unit: AxisUnit) -> Option<At<f64>> {
        self.as_place(self.need(key)?, key, unit)
    }

    /// A length or an angle that is above zero.
    pub(super) fn size(&self, key: &'static str, unit: AxisUnit) -> Option<At<f64>> {
        let at = self.place(key, unit)?;
        self.positive(key, at, unit.sign())
    }

    /// One that is zero or more.
    pub(super) fn slack(&self, key: &'static str, unit: AxisUnit) -> Option<At<f64>> {
        let at = self.place(key, unit)?;
        if at.value < 0.0 {
            self.note(
                at.span,
                "less than zero",
                format!(
                    "`{key}` is {} {}, but zero or more is wanted",
                    at.value,
                    unit.sign()
                ),
                "take the sign out",
            );
            return None;
        }
        Some(at)
    }

    pub(super) fn positive(&self, key: &str, at: At<f64>, sign: &str) -> Option<At<f64>> {
        if at.value > 0.0 {
            return Some(at);
        }
        self.note(
            at.span,
            "not more than zero",
            format!(
                "`{key}` is {} {sign}, but more than zero is wanted",
                at.value
            ),
            "give its size without a sign",
        );
        None
    }

    /// A speed, acceleration or jerk that is above zero, in the axis's unit and seconds.
    pub(super) fn rate<const ORDER: u8>(
        &self,
        key: &'static str,
        unit: AxisUnit,
        example: &str,
    ) -> Option<At<f64>> {
        let value = self.need(key)?;
        let rate = self.quantity(value, key, example, |text| Rate::<ORDER>::parse(text, unit))?;
        let at = At {
            value: rate.value.per_second(),
            span: rate.span,
        };
        self.positive(key, at, unit.sign())
    }

    /// A mass above zero, kg.
    pub(super) fn mass(&self, key: &'static str) -> Option<At<f64>> {
        let value = self.need(key)?;
        let at = self.quantity(value, key, "3.2 kg", parse_mass_kg)?;
        self.positive(key, at, "kg")
    }

    /// A torque above zero, newton metres.
    pub(super) fn torque(&self, key: &'static str) -> Option<At<f64>> {
        let value = self.need(key)?;
        let at = self.quantity(value, key, "0.4 N m", parse_torque_nm)?;
        self.positive(key, at, "N m")
    }

    /// A frequency above zero, hertz.
    pub(super) fn frequency(&self, key: &'static str) -> Option<At<f64>> {
        let value = self.need(key)?;
        let at = self.quantity(value, key, "4.2 Hz", parse_frequency_hz)?;
        self.positive(key, at, "Hz")
    }

    /// A time under an hour.
    pub(super) fn time(&self, key: &'static str, above_zero: bool) -> Option<Duration> {
        let value = self.need(key)?;
        let at = self.quantity(value, key, "600 ms", parse_duration)?;
        if (above_zero && at.value.is_zero()) || at.value >= Duration::from_secs(3600) {
            let least = if above_zero {
                "more than zero"
            } else {
                "zero or more"
            };
            self.note(
                at.span,
                format!("not {least} and less than an hour"),
                format!(
                    "`{key}` is {} s, but {least} and less than an hour is wanted",
                    at.value.as_secs_f64()
                ),
                "check the number and its unit",
            );
            return None;
        }
        Some(at.value)
    }

    pub(super) fn time_or_zero(&self, key: &'static str) -> Option<Duration> {
        if self.has(key) {
            self.time(key, false)
        } else {
            Some(Duration::ZERO)
        }
    }

    /// A table that has to be there.
    pub(super) fn table(&self, key: &'static str) -> Option<Table<'a>> {
        let value = self.need(key)?;
        self.as_table(value, key.into())
    }

    pub(super) fn as_table(&self, value: Value<'a>, what: String) -> Option<Table<'a>> {
        match value.get_ref() {
            DeValue::Table(table) => Some(Table::new(
                self.notes,
                format!("`{what}`"),
                value.span(),
                table,
            )),
            _ => {
                self.wrong(value, &what, "a table, `{ ... }` or a [header],");
                None
            }
        }
    }

    /// The values of a list; none where the key is not there.
    pub(super) fn list(&self, key: &'static str) -> &'a [Spanned<DeValue<'a>>] {
        let Some(value) = self.find(key) else {
            return &[];
        };
        match value.get_ref() {
            DeValue::Array(list) => list,
            _ => {
                self.wrong(
                    value,
                    key,
                    "a list in [ ], also of one thing, or several [[ ]] tables",
                );
                &[]
            }
        }
    }

    /// Whether the value of a key is a list.
    pub(super) fn is_list(&self, key: &'static str) -> bool {
        self.find(key)
            .is_some_and(|value| matches!(value.get_ref(), DeValue::Array(_)))
    }

    /// A list of texts that has to be there, with one at least, such as `example`.
    pub(super) fn texts(&self, key: &'static str, example: &str) -> Option<Vec<&'a str>> {
        let value = self.need(key)?;
        let DeValue::Array(list) = value.get_ref() else {
            self.wrong(value, key, &format!("a list of texts, such as {example},"));
            return None;
        };
        if list.is_empty() {
            self.note(
                value.span(),
                "nothing is written",
                format!("`{key}` is empty"),
                format!("write it as {example}"),
            );
        }
        let texts: Vec<_> = list.iter().map(|value| self.as_text(value, key)).collect();
        let texts: Option<Vec<_>> = texts.into_iter().map(|at| Some(at?.value)).collect();
        texts.filter(|texts| !texts.is_empty())
    }

    /// The tables of a list.
    pub(super) fn tables(&self, key: &'static str) -> Vec<Table<'a>> {
        self.list(key)
            .iter()
            .filter_map(|value| self.as_table(value, key.into()))
            .collect()
    }

    /// Exactly two values.
    pub(super) fn pair(&self, key: &'static str) -> Option<[Value<'a>; 2]> {
        let value = self.need(key)?;
        if let DeValue::Array(list) = value.get_ref()
            && let [one, two] = &list[..]
        {
            return Some([one, two]);
        }
        self.wrong(value, key, "a list of exactly two values, `[ ..., ... ]`,");
        None
    }
}

/// Names the keys that nobody asked for.
impl Drop for Table<'_> {
    fn drop(&mut self) {
        if self.leave_rest.get() {
            return;
        }
        let known = self.known.borrow();
        for key in self.table.keys() {
            if !known.contains(&key.get_ref().as_ref()) {
                self.note(
                    key.span(),
                    "no such key",
                    format!("{} has no key `{}`", self.what, key.get_ref()),
                    suggestion(key.get_ref(), known.iter().copied()),
                );
            }
        }
    }
}
