//! The record on paper and for other programs: a table, CSV, JSON.

use std::io::{self, Write};

use serde::Serialize;

use super::{Record, Row};

/// Version of the JSON; raised when a reader of an older one would misread it.
pub const JSON_VERSION: u32 = 1;

/// Where there are several passes, their number and name come after the frame.
const PASS: [&str; 2] = ["pass", "pass_name"];

const HEAD: [&str; 8] = [
    "frame",
    "standing",
    "slot",
    "exposures",
    "picture",
    "at",
    "check",
    "remarks",
];

/// Writes a table for people; times to the second.
///
/// # Errors
/// Those of the writer.
pub fn table(record: &Record, out: &mut impl Write) -> io::Result<()> {
    let head = head(record);
    let mut widths: Vec<usize> = head.iter().map(|name| name.len()).collect();
    let rows: Vec<Vec<String>> = record
        .rows
        .iter()
        .map(|row| {
            let at = row.at.as_deref().map(to_the_second);
            let row = cells(&Row { at, ..row.clone() }, "; ");
            for (width, cell) in widths.iter_mut().zip(&row) {
                *width = (*width).max(cell.chars().count());
            }
            row
        })
        .collect();
    let mut line = |cells: Vec<&str>| {
        let mut text = String::new();
        for ((cell, &width), name) in cells.into_iter().zip(&widths).zip(&head) {
            // Numbers stand to the right.
            let number = matches!(*name, "frame" | "pass" | "slot" | "exposures");
            text.push_str(&match number {
                true => format!("{cell:>width$}  "),
                false => format!("{cell:<width$}  "),
            });
        }
        writeln!(out, "{}", text.trim_end())
    };
    line(head.clone())?;
    for row in &rows {
        line(row.iter().map(String::as_str).collect())?;
    }
    Ok(())
}

/// Writes CSV: a head, and one line for each frame.
///
/// # Errors
/// Those of the writer.
pub fn csv(record: &Record, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{}", head(record).join(","))?;
    for row in &record.rows {
        let cells = cells(row, "; ");
        let cells: Vec<String> = cells.iter().map(|cell| quoted(cell)).collect();
        writeln!(out, "{}", cells.join(","))?;
    }
    Ok(())
}

/// Writes JSON: one object, with the frames one to a line.
///
/// # Errors
/// Those of the writer.
pub fn json(record: &Record, out: &mut impl Write) -> io::Result<()> {
    #[derive(Serialize)]
    struct Head<'a> {
        panestep_record: u32,
        name: &'a str,
        begun: &'a str,
        frames: u32,
        #[serde(skip_serializing_if = "<[String]>::is_empty")]
        passes: &'a [String],
        exposed: usize,
        left_out: u32,
        finished: bool,
        problem: Option<String>,
    }
    let head = Head {
        panestep_record: JSON_VERSION,
        name: &record.state.name,
        begun: &record.begun,
        frames: record.state.order.frames(),
        passes: &record.state.passes,
        exposed: record
            .rows
            .iter()
            .filter(|row| row.standing == super::EXPOSED)
            .count(),
        left_out: record.state.dropped(),
        finished: record.state.finished,
        problem: record.problem.as_ref().map(super::Problem::sentence),
    };
    let head = serde_json::to_string(&head)?;
    // The object goes on with its rows.
    let open = head.strip_suffix('}').unwrap_or(&head);
    write!(out, "{open},\"rows\":[")?;
    for (place, row) in record.rows.iter().enumerate() {
        out.write_all(if place > 0 { b",\n" } else { b"\n" })?;
        serde_json::to_writer(&mut *out, row)?;
    }
    writeln!(out, "\n]}}")
}

/// The columns' names.
fn head(record: &Record) -> Vec<&'static str> {
    let mut head = HEAD.to_vec();
    if record.state.order.passes() > 1 {
        head.splice(1..1, PASS);
    }
    head
}

fn cells(row: &Row, between: &str) -> Vec<String> {
    let number = |number: Option<u32>| number.map(|number| number.to_string());
    let mut cells = vec![row.frame.to_string()];
    cells.extend(row.pass.map(|pass| pass.to_string()));
    if row.pass.is_some() {
        cells.push(row.pass_name.clone().unwrap_or_default());
    }
    cells.extend([
        row.standing.to_owned(),
        number(row.slot).unwrap_or_default(),
        row.exposures.to_string(),
        row.picture.clone().unwrap_or_default(),
        row.at.clone().unwrap_or_default(),
        row.check.to_owned(),
        row.remarks.join(between),
    ]);
    cells
}

/// A time of the journal (RFC 3339) without its fraction of a second, for reading; as it is where
/// it is none.
#[must_use]
pub fn to_the_second(at: &str) -> String {
    at.parse::<jiff::Timestamp>()
        .and_then(|at| at.round(jiff::Unit::Second))
        .map_or_else(|_| at.to_owned(), |at| at.to_string())
}

/// A field as RFC 4180 has it.
fn quoted(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}
