//! Results on standard output.

use std::io::{self, Write};

use panestep::measure::Estimate;
use serde_json::Value;

use crate::cli::Failure;

/// Writes lines.
pub(super) fn lines(lines: &[String]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    for line in lines {
        writeln!(out, "{}", line.trim_end()).map_err(|error| Failure::output(&error))?;
    }
    out.flush().map_err(|error| Failure::output(&error))
}

/// Writes a document.
pub(super) fn document(what: &str, mut body: Value) -> Result<(), Failure> {
    if let Value::Object(fields) = &mut body {
        fields.insert("panestep_measure".into(), 1.into());
        fields.insert("what".into(), what.into());
    }
    lines(&[body.to_string()])
}

/// A value with its uncertainty: `8.0123 mm, standard uncertainty 0.0004, 95 % within 0.0008`.
pub(super) fn with_uncertainty(estimate: Estimate, unit: &str, places: usize) -> String {
    let value = format!("{:.places$} {unit}", estimate.value);
    match (estimate.uncertainty, estimate.within_95) {
        (Some(standard), Some(within)) => format!(
            "{value}, standard uncertainty {standard:.places$}, 95 % within \u{b1}{within:.places$}"
        ),
        _ => format!("{value} (too few readings to tell how sure that is)"),
    }
}

/// A column of numbers, `-` where there is none.
pub(super) fn figure(value: Option<f64>, places: usize) -> String {
    match value {
        Some(value) => {
            let text = format!("{value:.places$}");
            // What rounds to nothing has no sign.
            if text
                .trim_start_matches('-')
                .bytes()
                .all(|it| matches!(it, b'0' | b'.'))
            {
                text.trim_start_matches('-').to_owned()
            } else {
                text
            }
        }
        None => "-".to_owned(),
    }
}
