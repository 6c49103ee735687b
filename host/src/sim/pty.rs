//! The simulated stand on pseudo-terminals, one for each board: any program can talk to it as to
//! a board on a serial port. Its clock keeps step with the real one.

use std::io;
use std::os::fd::{AsFd, OwnedFd};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl, open};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, ioctl_tiocnxcl, tcgetattr, tcsetattr};

use super::{SimPort, SimulatedStand};
use crate::link::Port;
use crate::stand::BoardId;

/// How long the loop waits for bytes before it lets the simulated time catch up.
const LOOP: Duration = Duration::from_millis(1);

/// Most real time that is made up for in one go.
const LAG: Duration = Duration::from_millis(50);

/// Silence after which a program that has died holding the terminal for itself is presumed gone.
const FORGOTTEN: Duration = Duration::from_secs(2);

/// Pseudo-terminals joined to the boards of a simulated stand.
pub struct Terminals {
    stand: SimulatedStand,
    ends: Vec<End>,
}

struct End {
    board: BoardId,
    path: PathBuf,
    master: OwnedFd,
    /// Kept open, so that the terminal outlives the programs that open and close it.
    slave: OwnedFd,
    port: Option<SimPort>,
    heard: Option<Instant>,
}

impl Terminals {
    /// Opens a pseudo-terminal for every board, in raw mode, and the boards' ports behind them.
    ///
    /// # Errors
    /// Whatever the system says; a board whose port is open already.
    pub fn open(stand: &SimulatedStand) -> io::Result<Self> {
        let ends = (0..stand.boards())
            .map(|board| End::open(stand, BoardId(board)))
            .collect::<io::Result<_>>()?;
        Ok(Self {
            stand: stand.clone(),
            ends,
        })
    }

    /// Where each board is reached, in the stand's order.
    pub fn paths(&self) -> impl Iterator<Item = &Path> {
        self.ends.iter().map(|end| end.path.as_path())
    }

    /// Carries bytes to and fro and keeps the simulated clock in step with the real one, `speed`
    /// times as fast, until `stop` is set. Where the simulation cannot keep up, its clock lags.
    ///
    /// # Errors
    /// A terminal that fails; the exposure hook's error.
    pub fn run(&mut self, stop: &AtomicBool, speed: f64) -> io::Result<()> {
        self.run_with(stop, speed, |_| ())
    }

    /// As [`Self::run`]; calls `meanwhile` again and again, which may do things to the stand.
    ///
    /// # Errors
    /// As [`Self::run`].
    pub fn run_with(
        &mut self,
        stop: &AtomicBool,
        speed: f64,
        mut meanwhile: impl FnMut(&SimulatedStand),
    ) -> io::Result<()> {
        let mut last = Instant::now();
        while !stop.load(Ordering::Relaxed) {
            self.wait()?;
            meanwhile(&self.stand);
            for end in &mut self.ends {
                end.carry_in(&self.stand)?;
            }
            let now = Instant::now();
            let passed = now.duration_since(last).min(LAG);
            last = now;
            self.stand.pass(passed.mul_f64(speed.clamp(0.0, 1e6)))?;
            for end in &mut self.ends {
                end.carry_out()?;
            }
        }
        Ok(())
    }

    /// Waits for bytes from any of the terminals, but not for long.
    fn wait(&self) -> io::Result<()> {
        let mut fds: Vec<PollFd<'_>> = self
            .ends
            .iter()
            .map(|end| PollFd::new(&end.master, PollFlags::IN))
            .collect();
        let time = Timespec {
            tv_sec: 0,
            tv_nsec: LOOP.subsec_nanos().into(),
        };
        match poll(&mut fds, Some(&time)) {
            Ok(_) | Err(Errno::INTR) => Ok(()),
            Err(error) => Err(error.into()),
        }
    }
}

impl End {
    fn open(stand: &SimulatedStand, board: BoardId) -> io::Result<Self> {
        let port = stand.port(board)?;
        // Close-on-exec: a program started from here must not hold the terminal open.
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let name = ptsname(&master, Vec::new())?;
        let slave = open(
            name.as_c_str(),
            OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
            rustix::fs::Mode::empty(),
        )?;
        let mut modes = tcgetattr(&slave)?;
        modes.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &modes)?;
        fcntl_setfl(&master, fcntl_getfl(&master)? | OFlags::NONBLOCK)?;
        let path = name
            .into_string()
            .map_err(|error| io::Error::new(io::ErrorKind::InvalidData, error))?;
        Ok(Self {
            board,
            path: path.into(),
            master,
            slave,
            port: Some(port),
            heard: None,
        })
    }

    /// Bytes from the terminal to the board.
    fn carry_in(&mut self, stand: &SimulatedStand) -> io::Result<()> {
        if self.port.is_none() {
            // A board that has been reset, or unplugged: bytes are lost until it is there again.
            self.port = stand.port(self.board).ok();
        }
        let mut buffer = [0; 1024];
        loop {
            match rustix::io::read(&self.master, &mut buffer) {
                Ok(0) => break,
                Ok(count) => {
                    self.heard = Some(Instant::now());
                    if let Some(port) = &mut self.port {
                        let sent = port.send(&buffer[..count]);
                        self.lost(sent)?;
                    }
                }
                Err(Errno::INTR) => {}
                // EIO: nobody has the other side open.
                Err(Errno::AGAIN | Errno::IO) => break,
                Err(error) => return Err(error.into()),
            }
        }
        if self.heard.is_some_and(|at| at.elapsed() > FORGOTTEN) {
            // A killed program cannot give its exclusive hold on the terminal back.
            self.heard = None;
            let _ = ioctl_tiocnxcl(self.slave.as_fd());
        }
        Ok(())
    }

    /// Bytes from the board to the terminal.
    fn carry_out(&mut self) -> io::Result<()> {
        let mut buffer = [0; 1024];
        while let Some(port) = &mut self.port {
            let count = match port.receive(&mut buffer, Duration::ZERO) {
                Ok(0) => break,
                Ok(count) => count,
                error => {
                    self.lost(error.map(drop))?;
                    break;
                }
            };
            match rustix::io::write(&self.master, &buffer[..count]) {
                // Nobody reads: what does not fit is lost, as on a real line.
                Ok(_) | Err(Errno::AGAIN | Errno::INTR | Errno::IO) => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    /// Lets go of a port whose board has gone.
    fn lost(&mut self, result: io::Result<()>) -> io::Result<()> {
        match result {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => {
                self.port = None;
                Ok(())
            }
            other => other,
        }
    }
}
