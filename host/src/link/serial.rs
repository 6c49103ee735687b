//! A serial port, and the system's clock.

use std::io::{self, ErrorKind, Read, Write};
use std::time::{Duration, Instant};

use thiserror::Error;

use super::{Clock, Port};

/// Speed asked of the port. USB boards take no notice of it; at this speed the slowest usual
/// adapter works too.
pub const BAUD: u32 = 115_200;

/// Longest wait for the port to take bytes.
const WRITE_TIME: Duration = Duration::from_secs(1);

/// The system's clock, which neither stops nor jumps with the time of day.
#[derive(Clone, Copy, Debug)]
pub struct SystemClock {
    start: Instant,
}

impl SystemClock {
    /// A clock that starts now.
    #[must_use]
    pub fn new() -> Self {
        Self {
            start: Instant::now(),
        }
    }
}

impl Default for SystemClock {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock for SystemClock {
    fn now(&self) -> Duration {
        self.start.elapsed()
    }

    fn sleep(&self, time: Duration) -> io::Result<()> {
        std::thread::sleep(time);
        Ok(())
    }
}

/// Why a serial port could not be opened.
#[derive(Debug, Error)]
pub enum PortError {
    /// There is no such port.
    #[error("there is no serial port {port:?}; {}", list(there))]
    Missing {
        /// Its name.
        port: String,
        /// The ports that there are.
        there: Vec<String>,
    },
    /// Another program holds it.
    #[error("another program holds serial port {port:?}; close that one first")]
    Busy {
        /// Its name.
        port: String,
    },
    /// This user may not open it.
    #[error(
        "this user may not open serial port {port:?}; on most systems the user has to be in the group that owns it"
    )]
    Denied {
        /// Its name.
        port: String,
    },
    /// Anything else.
    #[error("cannot open serial port {port:?}: {source}")]
    Other {
        /// Its name.
        port: String,
        /// What the system said.
        source: serialport::Error,
    },
}

fn list(there: &[String]) -> String {
    if there.is_empty() {
        "there are no serial ports at all: is the board plugged in?".into()
    } else {
        format!("there are: {}", there.join(", "))
    }
}

/// A serial port, held by this program alone.
pub struct SerialPort {
    port: Box<dyn serialport::SerialPort>,
}

impl std::fmt::Debug for SerialPort {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SerialPort")
            .field("name", &self.port.name())
            .finish()
    }
}

impl SerialPort {
    /// Opens a port by its system name, for this program alone.
    ///
    /// # Errors
    /// That there is none, that another program holds it, that it may not be opened, or what else
    /// the system said.
    pub fn open(name: &str) -> Result<Self, PortError> {
        // USB boards send nothing until the terminal-ready line is up. Where there is no such
        // line, as on a pseudo-terminal, the builder passes over the system's complaint.
        let port = serialport::new(name, BAUD)
            .dtr_on_open(true)
            .timeout(WRITE_TIME)
            .open()
            .map_err(|error| classify(name, error))?;
        Ok(Self { port })
    }
}

fn classify(name: &str, error: serialport::Error) -> PortError {
    let port = name.to_owned();
    match error.kind() {
        serialport::ErrorKind::Io(ErrorKind::NotFound) => PortError::Missing {
            port,
            there: serialport::available_ports()
                .map(|ports| ports.into_iter().map(|port| port.port_name).collect())
                .unwrap_or_default(),
        },
        serialport::ErrorKind::Io(ErrorKind::PermissionDenied) => PortError::Denied { port },
        // Both ways in which another holder shows: the lock on the file, and a terminal that was
        // opened exclusively.
        serialport::ErrorKind::NoDevice
            if error.description.contains("exclusive lock")
                || error.description.contains("busy") =>
        {
            PortError::Busy { port }
        }
        _ => PortError::Other {
            port,
            source: error,
        },
    }
}

impl Port for SerialPort {
    fn send(&mut self, mut bytes: &[u8]) -> io::Result<()> {
        self.port
            .set_timeout(WRITE_TIME)
            .map_err(io::Error::other)?;
        while !bytes.is_empty() {
            match self.port.write(bytes) {
                Ok(0) => return Err(ErrorKind::WriteZero.into()),
                Ok(written) => bytes = &bytes[written..],
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }

    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize> {
        self.port.set_timeout(time).map_err(io::Error::other)?;
        match self.port.read(buffer) {
            // Ready, and yet nothing to read: the other end is gone.
            Ok(0) if !buffer.is_empty() => Err(ErrorKind::UnexpectedEof.into()),
            Ok(read) => Ok(read),
            Err(error) => match error.kind() {
                ErrorKind::TimedOut | ErrorKind::Interrupted => Ok(0),
                _ => Err(error),
            },
        }
    }
}
