//! Where a value stands in a stand file's text, and where a new one would go.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::Change;
use crate::stand::AxisId;

/// A stand file's text and what stands where in it.
pub(super) struct Document<'a> {
    /// The whole text, with a mark of the byte order where there is one.
    whole: &'a str,
    /// How long that mark is: places count from behind it.
    mark: usize,
    text: &'a str,
    root: Spanned<DeTable<'a>>,
}

type Entry<'t, 'a> = (&'t Spanned<DeString<'a>>, &'t Spanned<DeValue<'a>>);

impl<'a> Document<'a> {
    /// None where the text is no TOML.
    pub(super) fn new(whole: &'a str) -> Option<Self> {
        let text = whole.strip_prefix('\u{feff}').unwrap_or(whole);
        Some(Self {
            whole,
            mark: whole.len() - text.len(),
            text,
            root: DeTable::parse(text).ok()?,
        })
    }

    /// Whether an axis's table says how fast slow is.
    pub(super) fn has_slow(&self, axis: AxisId) -> bool {
        self.one_of("axis", axis.0)
            .is_some_and(|axis| axis.contains_key("slow"))
    }

    /// The text with a value changed or added; none where there is no place for it.
    pub(super) fn with(&self, change: Change, key: &str, value: &str) -> Option<String> {
        let table = match change {
            Change::PerTurn { axis, .. } | Change::Reversed { axis, .. } => {
                table(self.one_of("axis", axis.0)?, "motor")?
            }
            Change::Backlash { axis, .. } => self.one_of("axis", axis.0)?,
            Change::HomeWithin { axis, .. } => table(self.one_of("axis", axis.0)?, "home")?,
            Change::FocalLength { .. } | Change::LensHeight { .. } => {
                table(self.root.get_ref(), "lens")?
            }
            Change::LevelHeight { level, .. } => self.one_of("level", level.0)?,
            Change::Settle { .. } => table(self.root.get_ref(), "shutter")?,
            Change::StopTested { board, .. } => self.one_of("board", board.0)?,
        };
        match table.get(key) {
            Some(there) => Some(self.spliced(there.span(), value)),
            None => self.added(table, key, value),
        }
    }

    fn one_of(&self, key: &str, place: usize) -> Option<&DeTable<'a>> {
        match self.root.get_ref().get(key)?.get_ref() {
            DeValue::Array(tables) => match tables.get(place)?.get_ref() {
                DeValue::Table(table) => Some(table),
                _ => None,
            },
            _ => None,
        }
    }

    fn spliced(&self, place: Range<usize>, new: &str) -> String {
        let (start, end) = (place.start + self.mark, place.end + self.mark);
        [&self.whole[..start], new, &self.whole[end..]].concat()
    }

    /// Puts a key behind the table's last one, as that one is written.
    fn added(&self, table: &DeTable<'a>, key: &str, value: &str) -> Option<String> {
        let (last_key, last_value) = table
            .iter()
            .filter(|entry| self.is_written_here(entry))
            .max_by_key(|(key, _)| key.span().start)?;
        let end = last_value.span().end;
        let line = self.text[..last_key.span().start]
            .rfind('\n')
            .map_or(0, |at| at + 1);
        let before = &self.text[line..last_key.span().start];
        // What stands before a key on its line: blanks and the dotted names of its table. Anything
        // else, and the table is one in braces.
        if before.contains(['{', '=', ',']) {
            return Some(self.spliced(end..end, &format!(", {key} = {value}")));
        }
        let rest = &self.text[end..];
        let line_end = rest.find('\n').map_or(self.text.len(), |at| end + at);
        let newline = if self.text[..line_end].ends_with('\r') {
            "\r\n"
        } else {
            "\n"
        };
        let stop = self.text[..line_end]
            .strip_suffix('\r')
            .map_or(line_end, str::len);
        let newline = if stop == self.text.len() && self.text.contains("\r\n") {
            "\r\n"
        } else {
            newline
        };
        Some(self.spliced(stop..stop, &format!("{newline}{before}{key} = {value}")))
    }

    /// Whether an entry is `key = value` in its table's own text, not a table with a head or with
    /// dotted keys of its own.
    fn is_written_here(&self, (_, value): &Entry<'_, 'a>) -> bool {
        match value.get_ref() {
            DeValue::Table(_) => self.text[value.span()].starts_with('{'),
            DeValue::Array(_) => self.text[value.span()].starts_with('[') && !self.is_head(value),
            _ => true,
        }
    }

    fn is_head(&self, value: &Spanned<DeValue<'a>>) -> bool {
        let start = value.span().start;
        let line = self.text[..start].rfind('\n').map_or(0, |at| at + 1);
        self.text[line..start].trim().is_empty()
    }
}

fn table<'t, 'a>(of: &'t DeTable<'a>, key: &str) -> Option<&'t DeTable<'a>> {
    match of.get(key)?.get_ref() {
        DeValue::Table(table) => Some(table),
        _ => None,
    }
}
