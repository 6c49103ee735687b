//! `panestep record`: the exposure record, from the journal alone.

use std::fs;
use std::io::{self, BufWriter, Write};

use panestep::record::{self, Record};
use panestep::take::Span;
use panestep::take::span::by_pass;

use super::Failure;
use super::args::{self, Format};
use super::screen::say;
use super::take::quoted;

/// Writes the record to standard output, and what to know about it to standard error. Reads the
/// journal without holding it, also while another program adds to it.
pub(crate) fn record(typed: &args::Record) -> Result<(), Failure> {
    let path = typed.take.join("journal.jsonl");
    let bytes = fs::read(&path).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => Failure::wrong(format!(
            "{} holds no take: there is no journal.jsonl in it",
            typed.take.display()
        )),
        _ => Failure::could_not(format!("{}: {error}", path.display())),
    })?;
    let record = Record::read(&bytes)
        .map_err(|error| Failure::could_not(format!("{}: {error}", path.display())))?;
    let mut out = BufWriter::new(io::stdout().lock());
    match typed.format {
        Format::Table => record::table(&record, &mut out),
        Format::Json => record::json(&record, &mut out),
        Format::Csv => record::csv(&record, &mut out),
    }
    .and_then(|()| out.flush())
    .map_err(|error| Failure::output(&error))?;
    say(&format!(
        "{}, begun {}: {}",
        record.state.name,
        record::to_the_second(&record.begun),
        record.summary()
    ));
    let Some(problem) = &record.problem else {
        return Ok(());
    };
    match problem {
        record::Problem::Torn { .. } => {
            say(&problem.sentence());
            Ok(())
        }
        record::Problem::Damaged { .. } => {
            let order = &record.state.order;
            let missing = by_pass(order, &Span::of(record.state.wanted()));
            // A take of its own for each pass: they need not miss the same frames.
            let commands: Vec<String> = missing
                .iter()
                .map(|(pass, spans)| {
                    let only: Vec<String> =
                        spans.iter().map(|span| format!(" --only {span}")).collect();
                    let of_pass = match order.passes() {
                        1 => String::new(),
                        _ => format!(" --pass {}", pass + 1),
                    };
                    format!("panestep shoot SHOT{}{of_pass}", only.concat())
                })
                .collect();
            // Without a frame to name, the command would shoot everything.
            let anew = if commands.is_empty() {
                String::new()
            } else {
                format!(
                    "; else what is missing goes into a new take: {}",
                    commands.join(", and ")
                )
            };
            Err(Failure::could_not(problem.sentence()).hint(format!(
                "look at the pictures to see how far it really went. A whole copy of {} brings \
                 the take back{anew}",
                quoted(&path)
            )))
        }
    }
}
