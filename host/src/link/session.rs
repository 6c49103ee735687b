//! The handshake, and numbered requests that are repeated until they are answered.
//!
//! # Time-outs
//!
//! The longest frame ([`MAX_FRAME`] bytes) needs ten bit times a byte at [`BAUD`],
//! each way. On top of both ways a board may take [`THINKING`] to plan a move, and the system's
//! scheduling and the USB stack their part; [`ANSWER`] is the sum. The board's silence guard
//! during motion has to outlast several of them: see [`SILENCE`].

use std::fmt;
use std::rc::Rc;
use std::time::Duration;

use panestep_protocol::{
    Accumulator, Answer, BootId, Command, FromBoard, Hello, Identity, MAGIC, MAX_FRAME, Reply,
    Request, RequestId, SessionId, Status, Ticks, ToBoard, VERSION, encode, schema,
};

use super::serial::BAUD;
use super::{Clock, LinkError, Port};
use panestep_protocol::Refusal;

/// Longest that a board may take to plan a move and answer, with the host's own delays.
pub const THINKING: Duration = Duration::from_millis(100);

/// How long an answer may take before the request is repeated.
pub const ANSWER: Duration = Duration::from_micros(
    THINKING.as_micros() as u64 + 2 * MAX_FRAME as u64 * 10 * 1_000_000 / BAUD as u64,
);

/// How often a request is sent before the board counts as gone.
pub const TRIES: u32 = 8;

/// How often the greeting is sent: a board that resets when its port is opened needs a few seconds
/// before it can answer.
pub const GREETINGS: u32 = 25;

/// The silence after which a board should stop by itself: three requests in a row may be lost.
pub const SILENCE: Duration = Duration::from_millis(600);

/// A time in ticks of a clock with this rate, rounded up; `None` where it does not fit.
#[must_use]
pub fn ticks(time: Duration, rate: u32) -> Option<Ticks> {
    let ticks = time
        .as_nanos()
        .checked_mul(u128::from(rate))?
        .div_ceil(1_000_000_000);
    u32::try_from(ticks).ok().map(Ticks)
}

/// A session with a board.
pub struct Link {
    port: Box<dyn Port>,
    clock: Rc<dyn Clock>,
    board: String,
    identity: Identity,
    session: SessionId,
    last: RequestId,
    frames: Accumulator<FromBoard>,
    greeted: u32,
}

impl fmt::Debug for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Link")
            .field("board", &self.board)
            .field("boot", &self.identity.boot)
            .field("session", &self.session)
            .field("last", &self.last)
            .finish_non_exhaustive()
    }
}

/// Asks who is at a port. Changes nothing on whatever is, and begins no session.
///
/// # Errors
/// As [`Link::connect`].
pub fn greet(
    port: Box<dyn Port>,
    clock: Rc<dyn Clock>,
    expected: &str,
) -> Result<Identity, LinkError> {
    Greeter::new(port, clock, expected).greet()
}

impl Link {
    /// Greets the board, and only when it is the expected one and speaks this protocol, begins a
    /// session. Nothing that could move or fire is sent before.
    ///
    /// # Errors
    /// That nothing answers, that it is no board, speaks another version or shape of messages, or
    /// is another board; or that the port failed.
    pub fn connect(
        port: Box<dyn Port>,
        clock: Rc<dyn Clock>,
        expected: &str,
    ) -> Result<Self, LinkError> {
        let mut greeter = Greeter::new(port, clock, expected);
        let identity = greeter.greet()?;
        let Greeter {
            port,
            clock,
            board,
            frames,
            greeted,
        } = greeter;
        let session = identity
            .session
            .0
            .checked_add(1)
            .ok_or_else(|| LinkError::NumbersSpent {
                board: board.clone(),
            })?;
        let mut link = Self {
            port,
            clock,
            board,
            identity,
            session: SessionId(session),
            last: RequestId(0),
            frames,
            greeted,
        };
        match link.ask(Command::Open { schema: schema() })? {
            Answer::Done => Ok(link),
            _ => Err(link.misfit()),
        }
    }

    /// What the board said of itself when the session began.
    #[must_use]
    pub fn identity(&self) -> &Identity {
        &self.identity
    }

    /// The board's name.
    #[must_use]
    pub fn board(&self) -> &str {
        &self.board
    }

    /// The start of the board that this session belongs to.
    #[must_use]
    pub fn boot(&self) -> BootId {
        self.identity.boot
    }

    /// The session's number: one more than that of the session before it in this start of the
    /// board, whoever had that.
    #[must_use]
    pub fn session(&self) -> SessionId {
        self.session
    }

    /// The number of the last request.
    #[must_use]
    pub fn last_request(&self) -> RequestId {
        self.last
    }

    /// A time in the board's ticks, rounded up.
    ///
    /// # Errors
    /// That the board cannot count that far.
    pub fn ticks(&self, time: Duration) -> Result<Ticks, LinkError> {
        ticks(time, self.identity.tick_rate).ok_or_else(|| LinkError::TooLong {
            board: self.board.clone(),
            time,
            rate: self.identity.tick_rate,
        })
    }

    /// How long so many of the board's ticks last.
    #[must_use]
    pub fn time(&self, ticks: Ticks) -> Duration {
        let nanos = u64::from(ticks.0) * 1_000_000_000 / u64::from(self.identity.tick_rate.max(1));
        Duration::from_nanos(nanos)
    }

    /// How things stand.
    ///
    /// # Errors
    /// As [`Link::ask`].
    pub fn status(&mut self) -> Result<Status, LinkError> {
        match self.ask(Command::Status)? {
            Answer::Status(status) => Ok(status),
            _ => Err(self.misfit()),
        }
    }

    /// Asks the board something under a new number, and repeats the same bytes until the answer to
    /// that number comes. However often it is repeated, the board carries it out at most once.
    ///
    /// # Errors
    /// The board's refusal; that it has been reset; that it does not answer; that the port failed.
    pub fn ask(&mut self, command: Command) -> Result<Answer, LinkError> {
        let Some(id) = self.last.0.checked_add(1).map(RequestId) else {
            return Err(LinkError::NumbersSpent {
                board: self.board.clone(),
            });
        };
        self.last = id;
        let message = ToBoard::Request(Request {
            boot: self.identity.boot,
            session: self.session,
            id,
            command,
        });
        let mut buffer = [0; MAX_FRAME];
        let frame = encode(&message, &mut buffer).map_err(|_| self.misfit())?;
        let begun = self.clock.now();
        for _ in 0..TRIES {
            if let Some(reply) = self.attempt(frame, id)? {
                return match reply.result {
                    Ok(answer) => Ok(answer),
                    Err(refusal) => Err(LinkError::Refused {
                        board: self.board.clone(),
                        refusal,
                    }),
                };
            }
        }
        Err(LinkError::NoAnswer {
            board: self.board.clone(),
            tries: TRIES,
            waited: self.clock.now().saturating_sub(begun),
        })
    }

    /// Sends the request once and waits for its answer.
    fn attempt(&mut self, frame: &[u8], id: RequestId) -> Result<Option<Reply>, LinkError> {
        self.port
            .send(frame)
            .map_err(|source| lost(&self.board, source))?;
        let deadline = self.clock.now() + ANSWER;
        let mut bytes = [0; MAX_FRAME];
        loop {
            let now = self.clock.now();
            if now >= deadline {
                return Ok(None);
            }
            let read = self
                .port
                .receive(&mut bytes, deadline - now)
                .map_err(|source| lost(&self.board, source))?;
            for &byte in bytes.get(..read).unwrap_or_default() {
                // Damaged frames, and sound ones that answer something else, are left aside.
                let Some(Ok(FromBoard::Reply(reply))) = self.frames.push(byte) else {
                    continue;
                };
                if reply.session != self.session || reply.id != id {
                    continue;
                }
                if reply.boot != self.identity.boot
                    || matches!(reply.result, Err(Refusal::OtherBoot(_)))
                {
                    // Either the board has been reset, or this is a late frame from before the
                    // session. Only a fresh greeting tells.
                    self.confirm_boot()?;
                    return Ok(None);
                }
                return Ok(Some(reply));
            }
        }
    }

    fn confirm_boot(&mut self) -> Result<(), LinkError> {
        let mut conversation = Conversation {
            port: &mut *self.port,
            clock: &*self.clock,
            board: &self.board,
            frames: &mut self.frames,
            greeted: &mut self.greeted,
        };
        let identity = conversation.greet()?;
        if identity.boot == self.identity.boot {
            return Ok(());
        }
        Err(LinkError::Reset {
            board: self.board.clone(),
            was: self.identity.boot,
            now: identity.boot,
        })
    }

    fn misfit(&self) -> LinkError {
        LinkError::Misfit {
            board: self.board.clone(),
        }
    }
}

fn lost(board: &str, source: std::io::Error) -> LinkError {
    LinkError::Lost {
        board: board.to_owned(),
        source,
    }
}

/// A link before there is a session.
struct Greeter {
    port: Box<dyn Port>,
    clock: Rc<dyn Clock>,
    board: String,
    frames: Accumulator<FromBoard>,
    greeted: u32,
}

impl Greeter {
    fn new(port: Box<dyn Port>, clock: Rc<dyn Clock>, expected: &str) -> Self {
        Self {
            port,
            clock,
            board: expected.to_owned(),
            frames: Accumulator::default(),
            greeted: 0,
        }
    }

    fn greet(&mut self) -> Result<Identity, LinkError> {
        Conversation {
            port: &mut *self.port,
            clock: &*self.clock,
            board: &self.board,
            frames: &mut self.frames,
            greeted: &mut self.greeted,
        }
        .greet()
    }
}

struct Conversation<'a> {
    port: &'a mut dyn Port,
    clock: &'a dyn Clock,
    board: &'a str,
    frames: &'a mut Accumulator<FromBoard>,
    greeted: &'a mut u32,
}

impl Conversation<'_> {
    /// Asks who is there. Changes nothing on whatever is.
    fn greet(&mut self) -> Result<Identity, LinkError> {
        let begun = self.clock.now();
        let mut heard = 0;
        for _ in 0..GREETINGS {
            if let Some(identity) = self.hello(&mut heard)? {
                return self.judge(identity, heard);
            }
        }
        if heard > 0 {
            return Err(LinkError::NotABoard {
                board: self.board.to_owned(),
                bytes: heard,
            });
        }
        Err(LinkError::NoAnswer {
            board: self.board.to_owned(),
            tries: GREETINGS,
            waited: self.clock.now().saturating_sub(begun),
        })
    }

    fn hello(&mut self, heard: &mut usize) -> Result<Option<Identity>, LinkError> {
        // Only has to differ from the nonces of earlier greetings whose answers may still be on
        // their way: the clock's nanoseconds, spread by an odd factor, and a count do that.
        *self.greeted = self.greeted.wrapping_add(1);
        let nonce = (self.clock.now().as_nanos() as u32)
            .wrapping_mul(0x9e37_79b1)
            .wrapping_add(*self.greeted);
        let hello = ToBoard::Hello(Hello {
            magic: MAGIC,
            version: VERSION,
            schema: schema(),
            nonce,
        });
        let mut buffer = [0; MAX_FRAME];
        let frame = encode(&hello, &mut buffer).map_err(|_| LinkError::Misfit {
            board: self.board.to_owned(),
        })?;
        // The zero closes whatever half a frame an earlier program left behind.
        self.port
            .send(&[0])
            .and_then(|()| self.port.send(frame))
            .map_err(|source| lost(self.board, source))?;
        let deadline = self.clock.now() + ANSWER;
        let mut bytes = [0; MAX_FRAME];
        loop {
            let now = self.clock.now();
            if now >= deadline {
                return Ok(None);
            }
            let read = self
                .port
                .receive(&mut bytes, deadline - now)
                .map_err(|source| lost(self.board, source))?;
            *heard += read;
            for &byte in bytes.get(..read).unwrap_or_default() {
                if let Some(Ok(FromBoard::Identity(identity))) = self.frames.push(byte)
                    && identity.nonce == nonce
                {
                    return Ok(Some(identity));
                }
            }
        }
    }

    fn judge(&self, identity: Identity, heard: usize) -> Result<Identity, LinkError> {
        let board = self.board.to_owned();
        if identity.magic != MAGIC {
            return Err(LinkError::NotABoard {
                board,
                bytes: heard,
            });
        }
        if identity.version != VERSION {
            return Err(LinkError::Version {
                board,
                theirs: identity.version,
            });
        }
        if identity.schema != schema() {
            return Err(LinkError::Schema {
                board,
                ours: schema(),
                theirs: identity.schema,
            });
        }
        if identity.name != self.board {
            return Err(LinkError::OtherBoard {
                board,
                found: identity.name.as_str().to_owned(),
            });
        }
        if identity.tick_rate == 0 {
            return Err(LinkError::NoTicks { board });
        }
        Ok(identity)
    }
}
