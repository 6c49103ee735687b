//! What is wrong with a file, where, and what to do about it.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use miette::{Diagnostic, LabeledSpan, NamedSource, SourceCode};

/// One thing that is wrong with a file.
#[derive(Clone, Debug)]
pub struct Problem {
    file: Arc<NamedSource<String>>,
    span: Option<Range<usize>>,
    message: String,
    label: String,
    help: String,
}

/// Everything found wrong; never empty, in the order of the files and their lines.
#[derive(Clone, Debug)]
pub struct Problems(Vec<Problem>);

impl Problem {
    pub(super) fn new(
        file: &Arc<NamedSource<String>>,
        span: Option<Range<usize>>,
        [label, message, help]: [String; 3],
    ) -> Self {
        let text = file.inner();
        // A report can only point at what is there.
        let span = span.map(|span| {
            let start = floor(text, span.start);
            start..floor(text, span.end).max(start)
        });
        Self {
            file: Arc::clone(file),
            span,
            message: printable(&message),
            label: printable(&label),
            help: printable(&help),
        }
    }

    /// Name of the file.
    #[must_use]
    pub fn file(&self) -> &str {
        self.file.name()
    }

    /// Line and column, both from 1, the column in characters; none where the whole file is at
    /// fault.
    #[must_use]
    pub fn place(&self) -> Option<(usize, usize)> {
        let before = self.file.inner().get(..self.span.as_ref()?.start)?;
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
        Some((line, column))
    }

    /// What is wrong: what was found and what was expected.
    #[must_use]
    pub fn message(&self) -> &str {
        &self.message
    }

    /// What to do.
    #[must_use]
    pub fn advice(&self) -> &str {
        &self.help
    }

    fn order(&self) -> usize {
        self.span.as_ref().map_or(0, |span| span.start)
    }
}

/// A file as a report shows it: every character that would steer a terminal instead of being seen
/// is replaced by one of the same length, so that places stay what they are.
pub(super) fn source(name: &str, text: &str) -> Arc<NamedSource<String>> {
    let text = text.chars().map(|c| match c {
        '\n' | '\t' => c,
        '\r' => ' ',
        c if !steers(c) => c,
        c => match c.len_utf8() {
            1 => '?',
            2 => '\u{bf}',
            _ => '\u{fffd}',
        },
    });
    Arc::new(NamedSource::new(printable(name), text.collect()))
}

/// Whether a character cannot be seen but changes what is: control characters, line and paragraph
/// separators, and those that turn the direction of writing.
pub(super) fn steers(c: char) -> bool {
    c.is_control()
        || u32::from(c) & 0xFFFE == 0xFFFE
        || matches!(c, '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
}

/// A text for a message, with what would steer a terminal written out as in TOML.
fn printable(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\n' => out.push(' '),
            c if steers(c) => out.push_str(&format!("\\u{:04x}", u32::from(c))),
            c => out.push(c),
        }
    }
    out
}

/// Nearest place at or before `at` where a character begins.
fn floor(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// `file:line:column: what is wrong (what to do)`, on one line.
impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:", self.file())?;
        if let Some((line, column)) = self.place() {
            write!(f, "{line}:{column}:")?;
        }
        write!(f, " {}", self.message)?;
        if !self.help.is_empty() {
            write!(f, " ({})", self.help)?;
        }
        Ok(())
    }
}

impl std::error::Error for Problem {}

/// The same as a report with the line of the file; its headline is the bare message.
struct Report<'a>(&'a Problem);

impl fmt::Display for Report<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.message)
    }
}

impl fmt::Debug for Report<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.0, f)
    }
}

impl std::error::Error for Report<'_> {}

impl Diagnostic for Report<'_> {
    fn help<'b>(&'b self) -> Option<Box<dyn fmt::Display + 'b>> {
        (!self.0.help.is_empty()).then(|| Box::new(&self.0.help) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.0
            .span
            .as_ref()
            .map(|_| &*self.0.file as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let span = self.0.span.clone()?;
        let label = Some(self.0.label.clone()).filter(|label| !label.is_empty());
        let label = LabeledSpan::new(label, span.start, span.len());
        Some(Box::new(std::iter::once(label)))
    }
}

impl Problems {
    pub(super) fn new(mut problems: Vec<Problem>) -> Self {
        problems.sort_by_key(Problem::order);
        Self(problems)
    }

    /// Every problem, at least one.
    #[must_use]
    pub fn all(&self) -> &[Problem] {
        &self.0
    }

    /// The problems as reports with the lines of the file, for a screen; in colour or plain.
    #[must_use]
    pub fn report(&self, colour: bool) -> String {
        let theme = if colour {
            miette::GraphicalTheme::unicode()
        } else {
            miette::GraphicalTheme::unicode_nocolor()
        };
        let handler = miette::GraphicalReportHandler::new_themed(theme).with_width(100);
        let mut out = String::new();
        for problem in &self.0 {
            let report = Report(problem);
            if handler.render_report(&mut out, &report).is_err() {
                // A report that cannot be drawn still has to be said.
                out.push_str(&problem.to_string());
            }
            if problem.span.is_none() {
                out.push_str(&format!("  in {}\n", problem.file()));
            }
        }
        out
    }
}

/// One line for each problem.
impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, problem) in self.0.iter().enumerate() {
            if at > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}
