//! What can go wrong between the host and a board.

use std::io;
use std::time::Duration;

use panestep_protocol::{BootId, Refusal, VERSION};
use thiserror::Error;

use super::words;

/// What went wrong between the host and a board. Every variant names the board by the name that
/// the stand gives it.
#[derive(Debug, Error)]
pub enum LinkError {
    /// Nothing came back, or nothing that fits, after every repeat.
    #[error(
        "board {board:?} does not answer: {tries} tries within {waited:.1?} brought no answer; see that it has power and that its cable is in"
    )]
    NoAnswer {
        /// The board.
        board: String,
        /// How often it was asked.
        tries: u32,
        /// For how long altogether.
        waited: Duration,
    },
    /// The port failed.
    #[error("lost the port of board {board:?}: {source}; see that its cable is in")]
    Lost {
        /// The board.
        board: String,
        /// What the system said.
        source: io::Error,
    },
    /// Something is there, but it does not speak this protocol.
    #[error(
        "what answers where board {board:?} should be is not a Panestep board: {bytes} bytes came back, none of them a greeting; see that the stand file names the right port"
    )]
    NotABoard {
        /// The board.
        board: String,
        /// How many bytes it sent.
        bytes: usize,
    },
    /// The board speaks another version of the protocol.
    #[error(
        "board {board:?} speaks version {theirs} of the protocol and this program version {VERSION}: {}",
        if *theirs < VERSION { "put this program's firmware on the board" } else { "use a newer program, or put this program's firmware on the board" }
    )]
    Version {
        /// The board.
        board: String,
        /// The board's version.
        theirs: u16,
    },
    /// Same version, but the messages have another shape.
    #[error(
        "board {board:?} speaks version {VERSION} of the protocol too, but its messages have another shape ({theirs:02x?}, here {ours:02x?}): one of the two is a build from in between; put this program's firmware on the board"
    )]
    Schema {
        /// The board.
        board: String,
        /// The program's hash.
        ours: [u8; 8],
        /// The board's hash.
        theirs: [u8; 8],
    },
    /// Another board than the stand names.
    #[error(
        "the board that answers calls itself {found:?}, not {board:?}: the cables are swapped, or the stand file names the wrong port"
    )]
    OtherBoard {
        /// The board that was expected.
        board: String,
        /// The one that answered.
        found: String,
    },
    /// The board says that it counts no time.
    #[error("board {board:?} gives a tick rate of zero: its firmware is faulty")]
    NoTicks {
        /// The board.
        board: String,
    },
    /// The board has been reset since the session began.
    #[error(
        "board {board:?} has been reset (start {:016x}, now {:016x}): it no longer knows where anything stands",
        was.0, now.0
    )]
    Reset {
        /// The board.
        board: String,
        /// The start that the session belongs to.
        was: BootId,
        /// The start that it is at now.
        now: BootId,
    },
    /// The board refused a request.
    #[error("board {board:?} refuses: {}", words::refusal(refusal, &|axis| format!("axis {}", axis.0)))]
    Refused {
        /// The board.
        board: String,
        /// Why.
        refusal: Refusal,
    },
    /// The board gave an answer that does not fit the request.
    #[error("board {board:?} gave an answer that does not fit the request: its firmware is faulty")]
    Misfit {
        /// The board.
        board: String,
    },
    /// A time is longer than the board can count.
    #[error("{time:?} is longer than board {board:?} can count at {rate} ticks a second")]
    TooLong {
        /// The board.
        board: String,
        /// The time.
        time: Duration,
        /// The board's ticks a second.
        rate: u32,
    },
    /// All session or request numbers are used up.
    #[error("board {board:?} has used up its session or request numbers; switch it off and on")]
    NumbersSpent {
        /// The board.
        board: String,
    },
}

impl LinkError {
    /// Whether the board or its port went away, so that only a new session can go on.
    #[must_use]
    pub fn is_lost(&self) -> bool {
        matches!(
            self,
            Self::NoAnswer { .. } | Self::Lost { .. } | Self::Reset { .. }
        )
    }
}
