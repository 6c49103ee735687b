//! Standard error, for people: lines, a bar where there is a terminal, times of day.

use std::io::{self, IsTerminal, Write};
use std::os::fd::AsFd;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// The bar that is on the terminal now.
static BAR: Mutex<Option<ProgressBar>> = Mutex::new(None);

/// Whether the line that the terminal's cursor is on is one that passes.
static PASSING: AtomicBool = AtomicBool::new(false);

fn put_bar(bar: Option<ProgressBar>) -> Option<ProgressBar> {
    let mut now = BAR.lock().unwrap_or_else(PoisonError::into_inner);
    std::mem::replace(&mut now, bar)
}

/// Says a line. A screen that has gone away is no reason to stop.
pub(crate) fn say(line: &str) {
    aside(|| {
        let mut screen = io::stderr().lock();
        if PASSING.swap(false, Ordering::Relaxed) {
            let _ = write!(screen, "\r\x1b[K");
        }
        let _ = writeln!(screen, "{line}");
    });
}

/// Says a sentence behind its head: on a terminal in lines that begin below each other, elsewhere on
/// one line.
pub(crate) fn say_wrapped(head: &str, text: &str) {
    let mut lines = Vec::new();
    let width = if io::stderr().is_terminal() {
        width_of(io::stderr()).clamp(60, 120)
    } else {
        usize::MAX
    };
    // Nothing goes wrong in memory.
    let _ = wrapped(head, text, width, &mut lines);
    say(String::from_utf8_lossy(&lines).trim_end());
}

/// Writes a text behind its head, in lines of `width` characters that begin below each other.
pub(crate) fn wrapped(
    head: &str,
    text: &str,
    width: usize,
    out: &mut impl Write,
) -> io::Result<()> {
    let indent = head.chars().count();
    let mut line = head.to_owned();
    let mut length = indent;
    for word in text.split(' ') {
        let word_length = word.chars().count();
        if length > indent && length + 1 + word_length > width {
            writeln!(out, "{}", line.trim_end())?;
            line = " ".repeat(indent);
            length = indent;
        }
        if length > indent {
            line.push(' ');
            length += 1;
        }
        line.push_str(word);
        length += word_length;
    }
    writeln!(out, "{}", line.trim_end())
}

/// Does something with the bar out of the way, such as a talk with a person.
pub(crate) fn aside<T>(what: impl FnOnce() -> T) -> T {
    match put_bar(None) {
        Some(bar) => {
            let result = bar.suspend(what);
            put_bar(Some(bar));
            result
        }
        None => what(),
    }
}

/// Says what is waited for: beside the bar, or where there is none, on a line.
pub(crate) fn waiting(what: &str) {
    match put_bar(None) {
        Some(bar) => {
            bar.set_message(what.to_owned());
            bar.tick();
            put_bar(Some(bar));
        }
        None => say(what),
    }
}

/// Says what passes: on a terminal over the same line again and again, elsewhere not at all.
pub(crate) fn passing(what: &str) {
    if io::stderr().is_terminal() {
        PASSING.store(true, Ordering::Relaxed);
        let _ = write!(io::stderr().lock(), "\r{what}\x1b[K");
    }
}

/// Whether messages may have colour: a terminal, and nobody asked for none (no-color.org).
pub(crate) fn colour() -> bool {
    io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// Characters that fit on a line of standard output.
pub(crate) fn width() -> usize {
    width_of(io::stdout())
}

/// Characters that fit on a line of one of the program's outputs.
pub(crate) fn width_of(output: impl AsFd) -> usize {
    rustix::termios::tcgetwinsize(output)
        .map(|size| usize::from(size.ws_col))
        .ok()
        .filter(|&columns| columns > 0)
        .unwrap_or(100)
}

/// So many frames, as people say it.
pub(crate) fn frames(count: usize) -> String {
    format!("{count} frame{}", if count == 1 { "" } else { "s" })
}

/// A time as people read it: `2 h 05 min`, `3 min 20 s`, `8 s`.
pub(crate) fn clock_time(time: Duration) -> String {
    let seconds = time.as_secs() + u64::from(time.subsec_millis() >= 500);
    match (seconds / 3600, seconds / 60 % 60, seconds % 60) {
        (0, 0, seconds) => format!("{seconds} s"),
        (0, minutes, seconds) => format!("{minutes} min {seconds:02} s"),
        (hours, minutes, _) => format!("{hours} h {minutes:02} min"),
    }
}

/// How long something will still take, as people say it.
pub(crate) fn about(time: Duration) -> String {
    if time < Duration::from_secs(1) {
        return "less than a second".to_owned();
    }
    format!("about {}", clock_time(time))
}

/// Progress of one long thing: a bar on a terminal, a line now and then elsewhere.
pub(crate) struct Progress {
    bar: ProgressBar,
    /// What stands in front of every line where there is no terminal.
    what: &'static str,
    terminal: bool,
    said: u64,
}

impl Progress {
    /// Begins; `length` is the number of things to be done.
    pub(crate) fn new(what: &'static str, length: u64) -> Self {
        let terminal = io::stderr().is_terminal();
        let bar = ProgressBar::with_draw_target(
            Some(length),
            if terminal {
                ProgressDrawTarget::stderr()
            } else {
                ProgressDrawTarget::hidden()
            },
        );
        if let Ok(style) = ProgressStyle::with_template("{prefix} {wide_bar} {pos}/{len} {msg}") {
            bar.set_style(style);
        }
        bar.set_prefix(what);
        if terminal {
            put_bar(Some(bar.clone()));
        }
        Self {
            bar,
            what,
            terminal,
            said: 0,
        }
    }

    /// So many are done; `message` says how long it will still take, or what goes on.
    pub(crate) fn at(&mut self, done: u64, message: &str) {
        self.bar.set_message(message.to_owned());
        self.bar.set_position(done);
        // Without a terminal, a line for every tenth part.
        let length = self.bar.length().unwrap_or(1).max(1);
        let tenth = done * 10 / length;
        if !self.terminal && tenth > self.said {
            self.said = tenth;
            say(format!("{} {done}/{length} {message}", self.what).trim_end());
        }
    }

    /// So many of so many are done.
    pub(crate) fn of(&mut self, done: u64, length: u64, message: &str) {
        self.bar.set_length(length);
        self.at(done, message);
    }

    /// Takes the bar away.
    pub(crate) fn done(self) {
        put_bar(None);
        self.bar.finish_and_clear();
    }
}
