//! Talking to a board: ports, sessions, retries. Knows nothing of frames.

pub mod port;

pub use port::{Clock, Port};
