//! What a person types: lines, and on a terminal single keys.

use std::cell::{Cell, RefCell};
use std::io::{self, IsTerminal};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, PoisonError};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::io::Errno;
use rustix::process::getpgrp;
use rustix::termios::{
    LocalModes, OptionalActions, QueueSelector, SpecialCodeIndex, tcflush, tcgetattr, tcgetpgrp,
    tcsetattr,
};

use super::interrupt::BEFORE;
use super::screen::say;

/// How long the terminal is listened to between two looks at whether Ctrl-C has been pressed.
const LISTEN: Timespec = Timespec {
    tv_sec: 0,
    tv_nsec: 50_000_000,
};

/// The standard input. Whoever reads from it shares this, as what was read too far is kept in it.
pub(crate) struct Typing {
    stop: Arc<AtomicBool>,
    /// What has been typed beyond what was taken.
    typed: RefCell<Vec<u8>>,
    /// Whether the input has been found to have ended where nothing was waited for.
    ended: Cell<bool>,
}

/// A key, or from a file or a pipe a line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Key {
    /// Enter; an empty line.
    Enter,
    /// A character.
    Character(char),
    /// A line of more than one character.
    Line(String),
}

/// A terminal on which single keys arrive, until this is dropped.
struct SingleKeys;

impl SingleKeys {
    /// `None` where the standard input is no terminal, or is one that cannot be set.
    fn begin() -> Option<Self> {
        let stdin = io::stdin();
        let mut kept = BEFORE.lock().unwrap_or_else(PoisonError::into_inner);
        let before = tcgetattr(&stdin).ok()?;
        let mut single = before.clone();
        // Ctrl-C stays what it is.
        single
            .local_modes
            .remove(LocalModes::ICANON | LocalModes::ECHO);
        single.special_codes[SpecialCodeIndex::VMIN] = 1;
        single.special_codes[SpecialCodeIndex::VTIME] = 0;
        tcsetattr(&stdin, OptionalActions::Now, &single).ok()?;
        *kept = Some(before);
        Some(Self)
    }
}

impl Drop for SingleKeys {
    fn drop(&mut self) {
        let mut kept = BEFORE.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(before) = kept.take() {
            // A terminal that has gone away needs nothing put back.
            let _ = tcsetattr(io::stdin(), OptionalActions::Now, &before);
        }
    }
}

impl Typing {
    pub(crate) fn new(stop: &Arc<AtomicBool>) -> Self {
        Self {
            stop: Arc::clone(stop),
            typed: RefCell::default(),
            ended: Cell::new(false),
        }
    }

    /// The next line typed; none at the end of the input or after Ctrl-C.
    pub(crate) fn line(&self) -> Option<String> {
        loop {
            if self.stop.load(Ordering::Relaxed) {
                return None;
            }
            if let Some(line) = self.whole_line() {
                return Some(line);
            }
            if !self.listen(&LISTEN) {
                return self.nobody();
            }
        }
    }

    /// The next key: on a terminal at once, and what was typed before is no answer. `say_what` says
    /// what can be pressed. None at the end of the input or after Ctrl-C.
    pub(crate) fn key(&self, say_what: impl FnOnce()) -> Option<Key> {
        let Some(_single) = SingleKeys::begin() else {
            say_what();
            let line = self.line()?;
            let mut characters = line.chars();
            return Some(match (characters.next(), characters.next()) {
                (None, _) => Key::Enter,
                (Some(only), None) => Key::Character(only),
                _ => Key::Line(line),
            });
        };
        self.forget();
        say_what();
        loop {
            if self.stop.load(Ordering::Relaxed) {
                return None;
            }
            if let Some(key) = self.first_key() {
                return Some(key);
            }
            if !self.listen(&LISTEN) {
                return self.nobody();
            }
        }
    }

    /// A line that has been typed already; waits for none.
    pub(crate) fn line_by_now(&self) -> Option<String> {
        if let Some(line) = self.whole_line() {
            return Some(line);
        }
        let stdin = io::stdin();
        // To read from a terminal in the background would suspend the program.
        if tcgetpgrp(&stdin).is_ok_and(|group| group != getpgrp()) {
            return None;
        }
        let now = Timespec {
            tv_sec: 0,
            tv_nsec: 0,
        };
        if !self.ended.get() && !self.listen(&now) {
            self.ended.set(true);
        }
        self.whole_line()
    }

    /// What was typed before a question is no answer to it: an Enter too many would say that the
    /// next frame has been exposed. (From a file or a pipe there is nothing but what comes before.)
    pub(crate) fn forget(&self) {
        let stdin = io::stdin();
        if stdin.is_terminal() {
            self.typed.borrow_mut().clear();
            // Where it cannot be done, the question stands all the same.
            let _ = tcflush(&stdin, QueueSelector::IFlush);
        }
    }

    fn whole_line(&self) -> Option<String> {
        let mut typed = self.typed.borrow_mut();
        let end = typed.iter().position(|&byte| byte == b'\n')?;
        let line: Vec<u8> = typed.drain(..=end).collect();
        Some(String::from_utf8_lossy(&line).trim().to_owned())
    }

    fn first_key(&self) -> Option<Key> {
        let mut typed = self.typed.borrow_mut();
        if typed.is_empty() {
            return None;
        }
        // A key that sends several bytes, an arrow or an umlaut, is one key; none of ours is.
        let bytes = std::mem::take(&mut *typed);
        let text = String::from_utf8_lossy(&bytes);
        let mut characters = text.chars();
        Some(match (characters.next(), characters.next()) {
            (Some('\n' | '\r'), _) => Key::Enter,
            (Some(only), None) => Key::Character(only),
            (Some('\u{1b}'), _) | (None, _) => Key::Line("?".to_owned()),
            // Typed faster than it was read.
            (Some(first), _) => Key::Character(first),
        })
    }

    /// Reads what is there, waiting for it for a little while. `false` where the input has ended.
    ///
    /// The standard library begins a read anew when a signal ends it, so that Ctrl-C would go
    /// unnoticed until somebody typed a line: here the read begins only once something is there.
    fn listen(&self, time: &Timespec) -> bool {
        let stdin = io::stdin();
        let mut ready = [PollFd::new(&stdin, PollFlags::IN)];
        match poll(&mut ready, Some(time)) {
            Ok(0) | Err(Errno::INTR) => return true,
            Ok(_) => {}
            Err(_) => return false,
        }
        let mut buffer = [0; 256];
        let mut typed = self.typed.borrow_mut();
        match rustix::io::read(&stdin, &mut buffer) {
            Ok(0) if !typed.is_empty() => typed.push(b'\n'),
            Ok(count) if count > 0 => typed.extend_from_slice(&buffer[..count]),
            Err(Errno::INTR | Errno::AGAIN) => {}
            Ok(_) | Err(_) => return false,
        }
        true
    }

    fn nobody<T>(&self) -> Option<T> {
        say("  the standard input has ended: there is nobody to answer");
        None
    }
}
