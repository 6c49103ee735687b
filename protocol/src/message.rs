//! The two message types and the frozen handshake.

use heapless::String;
use postcard::experimental::max_size::MaxSize;
use postcard_schema::Schema;
use serde::{Deserialize, Serialize};

use crate::{
    Answer, BootId, Command, MAX_NAME, Refusal, RequestId, SessionId, ShotId, Ticks, Token,
};

/// Everything a host sends.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ToBoard {
    /// Who are you? Changes nothing on the board; answered by every version. Frozen.
    Hello(Hello),
    /// A numbered request.
    Request(Request),
}

/// Everything a board sends, each one the answer to one message.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FromBoard {
    /// Answers [`ToBoard::Hello`]. Frozen.
    Identity(Identity),
    /// Answers [`ToBoard::Request`].
    Reply(Reply),
}

/// The host introduces itself. Frozen: every version reads every other version's.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Hello {
    /// [`MAGIC`](crate::MAGIC).
    pub magic: [u8; 4],
    /// The host's [`VERSION`](crate::VERSION).
    pub version: u16,
    /// The host's [`schema`](crate::schema).
    pub schema: [u8; 8],
    /// Drawn by the host; comes back in the identity, so that a stale answer is known as such.
    pub nonce: u32,
}

/// The board introduces itself. Frozen: every version reads every other version's.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Identity {
    /// [`MAGIC`](crate::MAGIC).
    pub magic: [u8; 4],
    /// The board's [`VERSION`](crate::VERSION).
    pub version: u16,
    /// The board's [`schema`](crate::schema).
    pub schema: [u8; 8],
    /// The nonce of the hello that this answers.
    pub nonce: u32,
    /// The board's name, set when its firmware is built.
    pub name: String<MAX_NAME>,
    /// How many axes it drives.
    pub axes: u8,
    /// Ticks a second.
    pub tick_rate: u32,
    /// Drawn at this start of the board.
    pub boot: BootId,
    /// The last session opened since this start; 0 where none has been.
    pub session: SessionId,
    /// What the mark that survives a reset says, where the board can keep one and it is sound.
    pub mark: Option<Mark>,
}

/// The last token that the board began to fire, kept where a reset does not reach it.
///
/// Written before the release line closes: a mark earlier than a token proves that the token was
/// never fired; a mark equal to it proves nothing about how the exposure ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Mark {
    /// The take that the token belongs to.
    pub shot: ShotId,
    /// The token.
    pub token: Token,
}

/// A numbered request of one session.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Request {
    /// The start of the board that this is meant for; at any other it is refused.
    pub boot: BootId,
    /// The session; [`Command::Open`] makes it the board's.
    pub session: SessionId,
    /// One more than the last request's. The same number again asks for the same answer again.
    pub id: RequestId,
    /// What to do.
    pub command: Command,
}

/// The board's answer to a [`Request`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reply {
    /// This start of the board.
    pub boot: BootId,
    /// The request's session.
    pub session: SessionId,
    /// The request's number.
    pub id: RequestId,
    /// The board's clock when it answered; wraps round.
    pub at: Ticks,
    /// What came of it.
    pub result: Result<Answer, Refusal>,
}
