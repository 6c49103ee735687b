//! What the link needs of the world: a clock and a byte stream.

use std::io;
use std::time::Duration;

/// Time since some fixed start, never going back. Real or simulated.
pub trait Clock {
    /// Now.
    fn now(&self) -> Duration;

    /// Waits. A simulated clock moves on by itself while the caller waits, and only then.
    ///
    /// # Errors
    /// Whatever ends the wait early: a simulated host that is being killed, for one.
    fn sleep(&self, time: Duration) -> io::Result<()>;
}

/// A byte stream to a board.
pub trait Port {
    /// Sends all of the bytes.
    ///
    /// # Errors
    /// Any error means that the port is lost.
    fn send(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Waits for bytes, until some have come or the time has passed, and returns how many were
    /// put into the buffer: 0 where the time has passed.
    ///
    /// # Errors
    /// Any error means that the port is lost.
    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize>;
}

impl<T: Clock + ?Sized> Clock for &T {
    fn now(&self) -> Duration {
        (**self).now()
    }

    fn sleep(&self, time: Duration) -> io::Result<()> {
        (**self).sleep(time)
    }
}

impl Port for Box<dyn Port> {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        (**self).send(bytes)
    }

    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize> {
        (**self).receive(buffer, time)
    }
}
