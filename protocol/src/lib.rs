//! The messages between the Panestep host and a board, their framing and their version.
//!
//! The host asks, the board answers: a board never speaks unasked. One request is under way at a
//! time; the host repeats it, byte for byte, until its answer arrives, and the board answers a
//! repeated request again without carrying it out twice. Messages speak of steps, ticks, axis
//! numbers, switch states and exposure tokens, never of millimetres or frames.
//!
//! * [`message`]: the two message types, [`ToBoard`] and [`FromBoard`], and the frozen handshake.
//! * [`command`]: what the host can ask.
//! * [`answer`]: what the board can say, refusals among it.
//! * [`units`]: steps, ticks, axis numbers, tokens: a number never travels without its meaning.
//! * [`frame`]: postcard bytes, a CRC over them, COBS around both, a zero byte behind.
//!
//! # Changing the wire
//!
//! Postcard is positional. Append enum variants, never reorder or remove them, and raise
//! [`VERSION`] with any other change. [`schema`] changes by itself with the shape of the types, so
//! two builds that would misread each other refuse each other by name.
#![no_std]

#[cfg(test)]
extern crate std;

pub mod answer;
pub mod command;
pub mod frame;
pub mod message;
pub mod units;

pub use answer::{
    Activity, Answer, ExposureFact, Halt, HomeFound, HomingFault, HomingReport, Refusal, Status,
    Switches,
};
pub use command::{
    AxisSettings, AxisTarget, Command, FireOrder, GuardSettings, HomeOrder, NudgeOrder, Toward,
};
pub use frame::{Accumulator, FrameError, MAX_FRAME, MAX_MESSAGE, encode};
pub use message::{FromBoard, Hello, Identity, Mark, Reply, Request, ToBoard};
pub use units::{AxisIndex, AxisMask, BootId, RequestId, SessionId, ShotId, Steps, Ticks, Token};

/// Axes that one board can carry.
pub const MAX_AXES: usize = 8;

/// Longest board name, in bytes.
pub const MAX_NAME: usize = 24;

/// Version of the protocol. Raised with every change that an older peer would misread.
pub const VERSION: u16 = 1;

/// First bytes of every handshake: says that the peer speaks this protocol at all.
pub const MAGIC: [u8; 4] = *b"PANE";

/// Hash over the shape of every message (field names, types and order), both ways, and over how
/// many axes and how long a name they can carry.
///
/// Two peers whose hashes differ would misread each other and must not go on.
#[must_use]
pub fn schema() -> [u8; 8] {
    use postcard_schema::key::Key;
    const TO_BOARD: Key = Key::for_path::<ToBoard>("panestep/to-board");
    const FROM_BOARD: Key = Key::for_path::<FromBoard>("panestep/from-board");
    let mut mixed = TO_BOARD.to_bytes();
    for (mixed, other) in mixed.iter_mut().zip(FROM_BOARD.to_bytes()) {
        *mixed ^= other.rotate_left(3);
    }
    // The types' own hashes do not see how much their lists and texts can hold.
    mixed[0] ^= MAX_AXES as u8;
    mixed[1] ^= MAX_NAME as u8;
    mixed
}

// Each axis has its bit in an `AxisMask`; both numbers fit into one byte of the hash.
const _: () = assert!(MAX_AXES <= 8 && MAX_NAME <= u8::MAX as usize);
