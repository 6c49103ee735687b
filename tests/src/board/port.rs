//! The board as the link knows one: bytes and time. Waiting here is what lets emulated time pass.

use std::error::Error;
use std::io;
use std::time::Duration;

use panestep::link::{Clock, Port};
use panestep::take::Boards;

use super::{Board, BoardError, Line};

/// Longest that a board may take to come to its port.
const APPEARS: Duration = Duration::from_secs(2);

/// How often is looked whether it has come.
const LOOK: Duration = Duration::from_millis(1);

/// The emulated board's clock.
#[derive(Clone, Debug)]
pub struct EmulatedClock(pub Board);

impl Clock for EmulatedClock {
    fn now(&self) -> Duration {
        self.0.now()
    }

    fn sleep(&self, time: Duration) -> io::Result<()> {
        Ok(self.0.pass(time)?)
    }
}

/// One opening of the board's port.
#[derive(Debug)]
pub struct EmulatedPort {
    board: Board,
    starts: u32,
}

impl Board {
    /// Opens the board's port, once it is there.
    ///
    /// # Errors
    /// It does not come, or the emulation's end.
    pub fn port(&self) -> Result<EmulatedPort, BoardError> {
        let until = self.now() + APPEARS;
        while !self.counters()?.ready {
            if self.now() >= until {
                return Err(BoardError::NotThere(APPEARS));
            }
            self.pass(LOOK)?;
        }
        let mut inner = self.0.borrow_mut();
        inner.heard.clear();
        let starts = inner.starts;
        drop(inner);
        Ok(EmulatedPort {
            board: self.clone(),
            starts,
        })
    }
}

impl EmulatedPort {
    /// A reset takes the port away, where it is USB.
    fn there(&self) -> io::Result<()> {
        let inner = self.board.0.borrow();
        if inner.line == Line::Usb && inner.starts != self.starts {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        Ok(())
    }
}

impl Port for EmulatedPort {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.there()?;
        Ok(self.board.0.borrow_mut().send(bytes)?)
    }

    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize> {
        self.there()?;
        let mut inner = self.board.0.borrow_mut();
        let until = inner.now + time;
        while inner.heard.is_empty() && inner.now < until {
            inner.run(until, true)?;
            if inner.line == Line::Usb && inner.starts != self.starts {
                return Err(io::ErrorKind::BrokenPipe.into());
            }
        }
        let count = inner.heard.len().min(buffer.len());
        buffer[..count].copy_from_slice(&inner.heard[..count]);
        inner.heard.drain(..count);
        Ok(count)
    }
}

/// The one board of a take.
#[derive(Clone, Debug)]
pub struct Emulated(pub Board);

impl Boards for Emulated {
    fn open(&mut self, _: usize, _: &str) -> Result<Box<dyn Port>, Box<dyn Error + Send + Sync>> {
        Ok(Box::new(self.0.port()?))
    }

    fn port_name(&self, _: usize) -> String {
        "emulated".into()
    }
}
