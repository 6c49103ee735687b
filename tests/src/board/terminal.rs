//! The board on a pseudo-terminal, for a program that runs in real time.
//!
//! Emulated time keeps behind real time, and waits for the program: the board comes to a stop by
//! itself where its host is silent for too long, and on a busy machine the program may not get its
//! turn for that long without being to blame for it.
//!
//! The program does not wait for the emulation: its own time-outs are real. Where the machine stalls
//! for longer than they allow, the program loses its board, and is not to blame for that either;
//! [`Terminal::was_late`] tells.

use std::io;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use panestep::link::session::ANSWER;

use super::{Board, BoardError};

/// Emulated time without a byte from the program after which emulated time waits for it: half of
/// the silence that a board is told to stop at.
const QUIET: Duration = Duration::from_millis(300);

/// Longest that it waits, in real time: a program that has hung must be found out by the board.
const PATIENCE: Duration = Duration::from_secs(10);

/// Most emulated time between two looks at the terminal.
const SLICE: Duration = Duration::from_millis(5);

/// Most real time that is made up for in one go.
const LAG: Duration = Duration::from_millis(20);

/// Real time beyond the emulated one that an answer may take: half of what the program waits for.
const LATE: Duration = Duration::from_micros(ANSWER.as_micros() as u64 / 2);

/// A pseudo-terminal with the board behind it.
#[derive(Debug)]
pub struct Terminal {
    board: Board,
    master: OwnedFd,
    path: PathBuf,
    /// Real time of the last step.
    last: Instant,
    /// Emulated time that is still to pass.
    due: Duration,
    /// When the program was heard last, in both times.
    heard: (Duration, Instant),
    /// Since when the program waits for an answer, in both times.
    waiting: Option<(Duration, Instant)>,
    late: bool,
}

impl Terminal {
    /// Opens a pseudo-terminal in raw mode for a board.
    ///
    /// # Errors
    /// Whatever the system says.
    pub fn open(board: &Board) -> Result<Self, BoardError> {
        let (master, path) = pair().map_err(BoardError::Terminal)?;
        Ok(Self {
            board: board.clone(),
            master,
            path,
            last: Instant::now(),
            due: Duration::ZERO,
            heard: (board.now(), Instant::now()),
            waiting: None,
            late: false,
        })
    }

    /// Where the program finds the board.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Whether, since this was asked last, the program has had to wait for an answer because the
    /// emulation stood still or was slow, so long that it may have given up.
    pub fn was_late(&mut self) -> bool {
        std::mem::take(&mut self.late)
    }

    /// Carries bytes to and fro and lets the emulated time follow the real one, for a moment.
    ///
    /// # Errors
    /// A terminal that fails; the emulation's end.
    pub fn step(&mut self) -> Result<(), BoardError> {
        let before = self.last;
        let open = self.carry_in()?;
        let now = Instant::now();
        if self.board.0.borrow().tap.asked.is_some() {
            // It may have asked just after the step before.
            self.waiting.get_or_insert((self.board.now(), before));
        }
        self.due += now.duration_since(self.last).min(LAG);
        self.last = now;
        let silent = self.board.now().saturating_sub(self.heard.0);
        if open && silent >= QUIET && self.heard.1.elapsed() < PATIENCE {
            self.due = Duration::ZERO;
        }
        let time = self.due.min(SLICE);
        // What the emulation cannot keep up with is not made up for.
        self.due = Duration::ZERO;
        let mut inner = self.board.0.borrow_mut();
        let until = inner.now + time;
        if inner.now < until {
            inner.run(until, true)?;
        }
        let bytes = std::mem::take(&mut inner.heard);
        if let Some((emulated, real)) = self.waiting {
            let passed = inner.now.saturating_sub(emulated);
            self.late |= real.elapsed().saturating_sub(passed) > LATE;
        }
        if inner.tap.asked.is_none() {
            self.waiting = None;
        }
        drop(inner);
        if open { self.carry_out(&bytes) } else { Ok(()) }
    }

    /// Bytes from the program to the board; whether a program has the terminal open.
    fn carry_in(&mut self) -> Result<bool, BoardError> {
        let mut fds = [PollFd::new(&self.master, PollFlags::IN)];
        let time = Timespec {
            tv_sec: 0,
            tv_nsec: 1_000_000,
        };
        match poll(&mut fds, Some(&time)) {
            Ok(_) | Err(Errno::INTR) => {}
            Err(error) => return Err(BoardError::Terminal(error.into())),
        }
        let closed = fds[0].revents().contains(PollFlags::HUP);
        let mut buffer = [0; 1024];
        loop {
            match rustix::io::read(&self.master, &mut buffer) {
                Ok(0) => break,
                Ok(count) => {
                    self.board.0.borrow_mut().send(&buffer[..count])?;
                    self.heard = (self.board.now(), Instant::now());
                }
                Err(Errno::INTR) => {}
                // EIO: nobody has the other side open.
                Err(Errno::AGAIN | Errno::IO) => break,
                Err(error) => return Err(BoardError::Terminal(error.into())),
            }
        }
        if closed {
            // A terminal that is closed says so at once, over and over.
            std::thread::sleep(Duration::from_millis(1));
            self.heard = (self.board.now(), Instant::now());
        }
        Ok(!closed)
    }

    fn carry_out(&self, bytes: &[u8]) -> Result<(), BoardError> {
        if bytes.is_empty() {
            return Ok(());
        }
        match rustix::io::write(&self.master, bytes) {
            // Nobody reads: what does not fit is lost, as on a real line.
            Ok(_) | Err(Errno::AGAIN | Errno::INTR | Errno::IO) => Ok(()),
            Err(error) => Err(BoardError::Terminal(error.into())),
        }
    }
}

fn pair() -> io::Result<(OwnedFd, PathBuf)> {
    // Close-on-exec: a program started from here must not hold the terminal open.
    let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
    grantpt(&master)?;
    unlockpt(&master)?;
    let name = ptsname(&master, Vec::new())?;
    let slave = open(
        name.as_c_str(),
        OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
        Mode::empty(),
    )?;
    let mut modes = tcgetattr(&slave)?;
    modes.make_raw();
    tcsetattr(&slave, OptionalActions::Now, &modes)?;
    fcntl_setfl(&master, fcntl_getfl(&master)? | OFlags::NONBLOCK)?;
    let path = name
        .into_string()
        .map_err(|error| io::Error::new(io::ErrorKind::InvalidData, error))?;
    // Closed again here: from now on the master tells whether a program has it open.
    Ok((master, path.into()))
}
