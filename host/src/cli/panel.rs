//! The boards' inputs, shown as they are.

use std::io::{self, IsTerminal, Write};

use panestep::schedule::Schedule;
use panestep::take::Seen;
use panestep::take::attended::{Input, Inputs};

use super::screen::say;

/// Every input as it is now: on a terminal lines that are drawn over again and again, elsewhere a
/// line for every change.
pub(crate) struct Panel<'s> {
    schedule: &'s Schedule,
    wired: Vec<Input>,
    shown: Option<Vec<bool>>,
    drawn: bool,
}

impl<'s> Panel<'s> {
    pub(crate) fn new(schedule: &'s Schedule) -> Self {
        Self {
            schedule,
            wired: Inputs::wired(schedule),
            shown: None,
            drawn: false,
        }
    }

    /// Shows what has changed.
    pub(crate) fn show(&mut self, seen: &Seen) {
        let inputs = seen.inputs();
        let now: Vec<bool> = self
            .wired
            .iter()
            .map(|&input| inputs.is_open(input))
            .collect();
        let before = self.shown.replace(now.clone());
        if before.as_ref() == Some(&now) && (self.drawn || !io::stderr().is_terminal()) {
            return;
        }
        let state = |open: bool| if open { "OPEN" } else { "closed" };
        let line = |input: Input, open: bool| {
            format!("    {}: {}", input.name(self.schedule), state(open))
        };
        if !io::stderr().is_terminal() {
            for (place, (&input, &open)) in self.wired.iter().zip(&now).enumerate() {
                if before.as_ref().is_none_or(|before| before[place] != open) {
                    say(&line(input, open));
                }
            }
            return;
        }
        let mut screen = io::stderr().lock();
        if self.drawn {
            let _ = write!(screen, "\x1b[{}A", self.wired.len());
        }
        for (&input, &open) in self.wired.iter().zip(&now) {
            let _ = writeln!(screen, "\r{}\x1b[K", line(input, open));
        }
        self.drawn = true;
    }

    /// What is said next comes below; the lines are drawn anew after it.
    pub(crate) fn leave(&mut self) {
        if std::mem::take(&mut self.drawn) {
            // Taken away, so that what was said stays together.
            let _ = write!(io::stderr().lock(), "\x1b[{}A\x1b[J", self.wired.len());
        }
    }
}
