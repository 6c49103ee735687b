//! Talking to a board: ports, sessions, retries. Knows nothing of frames.
//!
//! * [`port`]: what the link needs of the world.
//! * [`serial`]: a serial port and the system's clock.
//! * [`session`]: the handshake, numbered requests, repeats.
//! * [`words`]: a board's refusals and halts as sentences.

pub mod error;
pub mod port;
pub mod serial;
pub mod session;
pub mod words;

pub use error::LinkError;
pub use port::{Clock, Port};
pub use serial::{PortError, SerialPort, SystemClock};
pub use session::{Link, greet, ticks};
