//! The record on paper and for other programs: a table, CSV, JSON.

use std::io::{self, Write};

use serde::Serialize;

use super::{Record, Row};

/// Version of the JSON; raised when a reader of an older one would misread it.
pub const JSON_VERSION: u32 = 1;

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
    let rows: Vec<[String; 8]> = record.rows.iter().map(|row| cells(row, "; ")).collect();
    let mut widths = HEAD.map(str::len);
    let rows: Vec<[String; 8]> = rows
        .into_iter()
        .map(|mut row| {
            row[5] = to_the_second(&row[5]);
            for (width, cell) in widths.iter_mut().zip(&row) {
                *width = (*width).max(cell.chars().count());
            }
            row
        })
        .collect();
    let mut line = |cells: [&str; 8]| {
        let mut text = String::new();
        for (place, (cell, width)) in cells.into_iter().zip(widths).enumerate() {
            // Numbers stand to the right.
            let number = matches!(place, 0 | 2 | 3);
            text.push_str(&match number {
                true => format!("{cell:>width$}  "),
                false => format!("{cell:<width$}  "),
            });
        }
        writeln!(out, "{}", text.trim_end())
    };
    line(HEAD)?;
    for row in &rows {
        line(row.each_ref().map(String::as_str))?;
    }
    Ok(())
}

/// Writes CSV: a head, and one line for each frame.
///
/// # Errors
/// Those of the writer.
pub fn csv(record: &Record, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{}", HEAD.join(","))?;
    for row in &record.rows {
        let cells = cells(row, "; ").map(|cell| quoted(&cell));
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
        exposed: usize,
        left_out: u32,
        finished: bool,
        problem: Option<String>,
    }
    let head = Head {
        panestep_record: JSON_VERSION,
        name: &record.state.name,
        begun: &record.begun,
        frames: record.state.frames,
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

fn cells(row: &Row, between: &str) -> [String; 8] {
    let number = |number: Option<u32>| number.map(|number| number.to_string());
    [
        row.frame.to_string(),
        row.standing.to_owned(),
        number(row.slot).unwrap_or_default(),
        row.exposures.to_string(),
        row.picture.clone().unwrap_or_default(),
        row.at.clone().unwrap_or_default(),
        row.check.to_owned(),
        row.remarks.join(between),
    ]
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
