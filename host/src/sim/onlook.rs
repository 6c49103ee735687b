//! An onlooker, who sees everything that happens to the stand as it happens.

use std::time::Duration;

use super::fault::Fault;
use crate::stand::{AxisId, BoardId};

/// Something that has just happened.
#[derive(Clone, Debug, PartialEq)]
pub enum Happening<'a> {
    /// A motor received a pulse.
    Step {
        /// Its axis.
        axis: AxisId,
        /// Whether toward greater positions, by the stand file.
        positive: bool,
        /// Whether it made the step.
        made: bool,
    },
    /// A board switched its motor drivers.
    Drivers {
        /// The board.
        board: BoardId,
        /// Whether on.
        on: bool,
    },
    /// A release line closed or opened.
    Release {
        /// The board.
        board: BoardId,
        /// Whether it closed.
        closed: bool,
    },
    /// The camera's own release was pressed.
    HandRelease,
    /// The shutter opened or closed.
    Shutter {
        /// Whether it opened.
        open: bool,
        /// The exposure, counted from 1.
        number: u32,
    },
    /// The stop circuit opened or closed.
    Stop {
        /// Whether it opened.
        open: bool,
    },
    /// A board went into reset.
    Down {
        /// The board.
        board: BoardId,
    },
    /// A board came up again.
    Up {
        /// The board.
        board: BoardId,
    },
    /// Bytes set out.
    Sent {
        /// The board that they go to or come from.
        board: BoardId,
        /// Whether they go to it.
        to_board: bool,
        /// As they set out.
        bytes: &'a [u8],
    },
    /// Bytes arrived.
    Arrived {
        /// The board that they went to or came from.
        board: BoardId,
        /// Whether they went to it.
        to_board: bool,
        /// As they arrived.
        bytes: &'a [u8],
    },
    /// A fault took effect. One that waits for its occasion, such as damage to the next piece or
    /// steps to be lost, does so at every occasion, and may name another number than was injected.
    Struck(&'a Fault),
}

/// Takes note of what has happened, and when; what it returns strikes right after. It must not use
/// the stand.
pub type Onlooker = Box<dyn FnMut(Duration, &Happening<'_>) -> Vec<Fault>>;
