//! How the program ends when it does not end well: a sentence, a hint, an exit code.

use std::io;
use std::process::ExitCode;

/// Why a command did not do what it was asked.
#[derive(Debug)]
pub(crate) struct Failure {
    class: Class,
    message: String,
    hint: Option<String>,
}

#[derive(Clone, Copy, Debug)]
enum Class {
    CouldNot,
    Wrong,
    Stopped,
    /// Whoever read our output has gone away: nothing more to say, and nothing is wrong.
    NobodyReads,
}

impl Failure {
    /// It could not be done.
    pub(crate) fn could_not(message: impl ToString) -> Self {
        Self::new(Class::CouldNot, message)
    }

    /// The command line or a file is wrong.
    pub(crate) fn wrong(message: impl ToString) -> Self {
        Self::new(Class::Wrong, message)
    }

    /// A guard or a person stopped it; it can be gone on with.
    pub(crate) fn stopped(message: impl ToString) -> Self {
        Self::new(Class::Stopped, message)
    }

    /// Writing the program's own output failed.
    pub(crate) fn output(error: &io::Error) -> Self {
        let class = match error.kind() {
            io::ErrorKind::BrokenPipe => Class::NobodyReads,
            _ => Class::CouldNot,
        };
        Self::new(class, format!("the output cannot be written: {error}"))
    }

    /// Adds what to do.
    pub(crate) fn hint(mut self, hint: impl ToString) -> Self {
        self.hint = Some(hint.to_string());
        self
    }

    /// Adds what else to do, below what is said already.
    pub(crate) fn and_hint(mut self, hint: impl ToString) -> Self {
        let before = self.hint.take().map(|it| it + "\n").unwrap_or_default();
        self.hint = Some(before + &hint.to_string());
        self
    }

    /// Says it on standard error; the exit code.
    pub(crate) fn report(&self) -> ExitCode {
        if !matches!(self.class, Class::NobodyReads) {
            let message = self.message.trim_end();
            super::screen::say(&format!("panestep: {message}"));
            if let Some(hint) = &self.hint {
                super::screen::say(&format!("  {}", hint.replace('\n', "\n  ")));
            }
        }
        ExitCode::from(match self.class {
            Class::NobodyReads => 0,
            Class::CouldNot => 1,
            Class::Wrong => 2,
            Class::Stopped => 3,
        })
    }

    fn new(class: Class, message: impl ToString) -> Self {
        Self {
            class,
            message: message.to_string(),
            hint: None,
        }
    }
}
