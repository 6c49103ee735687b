//! Readings from a table in a CSV file.
//!
//! The first line names the columns, in any order; columns that nobody asks for are passed over. A
//! quantity has its unit in the column's head, `reading mm`, or with every value, `3.25 mm`, which
//! wins where both are there. Columns are parted by commas, semicolons or tabs, whichever the first
//! line has. Blank lines and lines that begin with `#` are passed over. What is wrong is named with
//! its line and column, all of it at once.

use std::collections::BTreeMap;
use std::fmt;

use crate::stand::AxisUnit;
use crate::units::{QuantityError, parse_duration, reading_in, with_unit};

/// Longest table that is read, rows.
const MOST_ROWS: usize = 100_000;

/// Most problems that are named: what is wrong everywhere need not be said everywhere.
const MOST_PROBLEMS: usize = 12;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Want {
    /// A length, mm, or an angle, degrees.
    Place(AxisUnit),
    /// A time, seconds.
    Time,
    /// A plain number above zero.
    Number,
    /// A name or word.
    Word,
}

/// A column that is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub want: Want,
    /// Whether it has to be there.
    pub needed: bool,
}

/// A value of a table.
#[derive(Clone, Debug, PartialEq)]
enum Cell {
    Number(f64),
    Word(String),
}

/// A row: its line in the file and its values.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Counted from 1.
    pub line: usize,
    cells: BTreeMap<&'static str, Cell>,
}

/// One thing that is wrong with a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableProblem {
    /// Line, counted from 1.
    pub line: usize,
    /// Column of the table, counted from 1, and its head; none for what concerns the whole line.
    pub column: Option<(usize, String)>,
    /// What was found, what was expected, what to do.
    pub what: String,
}

/// Everything that is wrong with a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableError {
    /// The file.
    pub file: String,
    /// Never empty.
    pub problems: Vec<TableProblem>,
    /// How many more there were.
    pub more: usize,
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, problem) in self.problems.iter().enumerate() {
            if place > 0 {
                writeln!(f)?;
            }
            write!(f, "{}:{}: ", self.file, problem.line)?;
            if let Some((number, head)) = &problem.column {
                write!(f, "column {number} (`{head}`): ")?;
            }
            write!(f, "{}", problem.what)?;
        }
        if self.more > 0 {
            write!(f, "\n... and {} more", self.more)?;
        }
        Ok(())
    }
}

impl std::error::Error for TableError {}

impl Row {
    /// A number of a column: millimetres, degrees, seconds or plain.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<f64> {
        match self.cells.get(name)? {
            Cell::Number(number) => Some(*number),
            Cell::Word(_) => None,
        }
    }

    /// A word of a column.
    #[must_use]
    pub fn word(&self, name: &str) -> Option<&str> {
        match self.cells.get(name)? {
            Cell::Word(word) => Some(word),
            Cell::Number(_) => None,
        }
    }
}

/// Reads a table; `name` is the file's, for messages.
///
/// # Errors
///
/// Everything that is wrong with it: a column that is missing, a value that is missing or is none,
/// fewer rows than `least`.
pub fn read(
    name: &str,
    text: &str,
    columns: &[Column],
    least: usize,
) -> Result<Vec<Row>, TableError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut problems = Vec::new();
    let mut lines = text
        .lines()
        .zip(1..)
        .filter(|(line, _)| !line.trim().is_empty() && !line.trim_start().starts_with('#'));
    let whole = |line, what: String| TableProblem {
        line,
        column: None,
        what,
    };
    let fail = |problems: Vec<TableProblem>| {
        let more = problems.len().saturating_sub(MOST_PROBLEMS);
        Err(TableError {
            file: name.to_owned(),
            problems: problems.into_iter().take(MOST_PROBLEMS).collect(),
            more,
        })
    };
    let Some((first, head_line)) = lines.next() else {
        let what = format!(
            "the table is empty; its first line names the columns: {}",
            named(columns)
        );
        return fail(vec![whole(1, what)]);
    };
    let parting = [b';', b'\t']
        .into_iter()
        .find(|&byte| first.as_bytes().contains(&byte))
        .unwrap_or(b',');
    let heads = match split(first, parting) {
        Ok(heads) => heads,
        Err(what) => return fail(vec![whole(head_line, what)]),
    };
    let mut found: Vec<(usize, Column, Option<String>)> = Vec::new();
    for column in columns {
        let matching: Vec<_> = heads
            .iter()
            .enumerate()
            .filter_map(|(at, head)| unit_of(head, column.name).map(|unit| (at, unit)))
            .collect();
        match matching.as_slice() {
            [] if column.needed => problems.push(whole(
                head_line,
                format!(
                    "there is no column `{}`; the columns here are {}, and wanted are {}",
                    column.name,
                    list(heads.iter().map(String::as_str)),
                    named(columns)
                ),
            )),
            [] => {}
            [(at, unit)] => {
                if let Some(unit) = unit
                    && let Err(error) = value(column.want, "1", Some(unit))
                {
                    problems.push(TableProblem {
                        line: head_line,
                        column: Some((at + 1, heads[*at].clone())),
                        what: error,
                    });
                } else {
                    found.push((*at, *column, unit.clone()));
                }
            }
            [_, (second, _), ..] => problems.push(TableProblem {
                line: head_line,
                column: Some((second + 1, heads[*second].clone())),
                what: format!("a second column `{}`; take one of them out", column.name),
            }),
        }
    }
    if !problems.is_empty() {
        return fail(problems);
    }
    let mut rows = Vec::new();
    let mut last = head_line;
    for (text, line) in lines {
        last = line;
        if rows.len() == MOST_ROWS {
            problems.push(whole(line, format!("there are more than {MOST_ROWS} rows")));
            break;
        }
        match row(text, line, parting, &heads, &found) {
            Ok(row) => rows.push(row),
            Err(mut wrong) => {
                problems.append(&mut wrong);
                // The row counts as one, so that it is not called missing as well.
                rows.push(Row {
                    line,
                    cells: BTreeMap::new(),
                });
            }
        }
    }
    if rows.len() < least {
        let what = format!(
            "there are {} rows of readings, but at least {least} are wanted",
            rows.len()
        );
        problems.push(whole(last, what));
    }
    if problems.is_empty() {
        Ok(rows)
    } else {
        fail(problems)
    }
}

fn row(
    text: &str,
    line: usize,
    parting: u8,
    heads: &[String],
    found: &[(usize, Column, Option<String>)],
) -> Result<Row, Vec<TableProblem>> {
    let whole = |what| {
        vec![TableProblem {
            line,
            column: None,
            what,
        }]
    };
    let fields = split(text, parting).map_err(whole)?;
    if fields.len() > heads.len() {
        return Err(whole(format!(
            "{} values, but {} columns; a decimal comma is to be written as a point",
            fields.len(),
            heads.len()
        )));
    }
    let mut cells = BTreeMap::new();
    let mut problems = Vec::new();
    for (at, column, unit) in found {
        let field = fields.get(*at).map_or("", String::as_str);
        if field.is_empty() && !column.needed {
            continue;
        }
        match value(column.want, field, unit.as_deref()) {
            Ok(cell) => {
                cells.insert(column.name, cell);
            }
            Err(what) => problems.push(TableProblem {
                line,
                column: Some((at + 1, heads[*at].clone())),
                what,
            }),
        }
    }
    if problems.is_empty() {
        Ok(Row { line, cells })
    } else {
        Err(problems)
    }
}

fn value(want: Want, text: &str, unit: Option<&str>) -> Result<Cell, String> {
    let quantity = |result: Result<f64, QuantityError>| {
        result
            .map(Cell::Number)
            .map_err(|error| match (&error, unit) {
                (QuantityError::BareNumber { .. }, None) => format!(
                    "{error}; or write the unit into the column's head, such as `reading {}`",
                    if want == Want::Time { "s" } else { "mm" }
                ),
                (QuantityError::Empty { .. }, _) => {
                    "nothing is written here; write the value, or take the row out".to_owned()
                }
                _ => error.to_string(),
            })
    };
    match want {
        Want::Place(kind) => quantity(reading_in(text, kind, unit)),
        Want::Time => quantity(with_unit(text, unit, |text| {
            parse_duration(text).map(|time| time.as_secs_f64())
        })),
        Want::Number => match text.parse::<f64>() {
            Ok(number) if number.is_finite() && number > 0.0 => Ok(Cell::Number(number)),
            _ => Err(format!("`{}` is not a number above zero", shown(text))),
        },
        Want::Word if text.is_empty() => {
            Err("nothing is written here; write the word, or take the row out".to_owned())
        }
        Want::Word => Ok(Cell::Word(text.to_owned())),
    }
}

fn shown(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}

/// The fields of a line. A line at a time, so that every problem has its line: a field over several
/// lines is nothing that readings need.
fn split(line: &str, parting: u8) -> Result<Vec<String>, String> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(parting)
        .trim(csv::Trim::All)
        .from_reader(line.as_bytes());
    match reader.records().next() {
        Some(Ok(record)) => Ok(record.iter().map(str::to_owned).collect()),
        Some(Err(error)) => Err(format!("this line is not understood: {error}")),
        None => Ok(Vec::new()),
    }
}

/// The unit in a column's head, where the head is that of the column: `reading`, `reading mm`,
/// `Reading (mm)`, `reading [mm]`.
fn unit_of(head: &str, name: &str) -> Option<Option<String>> {
    let head = head.trim();
    let rest = head
        .get(..name.len())
        .filter(|start| start.eq_ignore_ascii_case(name))
        .map(|_| &head[name.len()..])?;
    if rest.is_empty() {
        return Some(None);
    }
    if !rest.starts_with([' ', '(', '[', '_', '/']) {
        return None;
    }
    let unit = rest.trim_matches([' ', '(', ')', '[', ']', '_', '/']);
    Some((!unit.is_empty()).then(|| unit.to_owned()))
}

fn named(columns: &[Column]) -> String {
    let needed = columns.iter().filter(|column| column.needed);
    list(needed.map(|column| column.name))
}

fn list<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<_> = names.map(|name| format!("`{}`", shown(name))).collect();
    names.join(", ")
}

#[cfg(test)]
mod tests;
