//! The take's memory: append-only JSON Lines, every line synced before what follows from it.
//!
//! A line is a JSON object with its number `n`, a time `at` (RFC 3339; a label, nothing is decided
//! by it), what happened (`kind` and its fields) and, last, a checksum `sum` in eight hexadecimal
//! digits: the CRC-32/ISCSI of the previous line's checksum (four bytes, little-endian, zero
//! before the first line) and of all bytes of the line before `,"sum"`. So a line that was
//! changed, lost or moved does not fit its neighbours.
//!
//! Every entry is synced before the next is written, so that a crash can tear only the last line.
//! A last line that is not sound was never relied upon, as far as the disk is honest: it is cut off
//! before anything is added. (Where a disk spoils a line that it had kept, the board's memory, or
//! without one the pictures' folder, tells that the journal is behind.)
//! Damage anywhere else is an error that names the line.

use std::io;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::disk::Disk;
pub use super::entry::{Entry, Hex, PassBegun, Picture};
use super::state::TakeState;

static CRC: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISCSI);
const BEGINS: &str = "a take begins with its shot";

/// Room that is kept for the entries of one exposure, bytes: an intent, its outcome with a
/// picture's name, and the cause of an ending.
const ROOM: u64 = 16 * 1024;

/// What a line is whose checksum is right and whose meaning is not known.
const UNKNOWN: &str =
    "it is whole, but no entry that this version knows; a newer one may have written it";

const TAIL: usize = r#","sum":"01234567"}"#.len();

#[derive(Serialize, Deserialize)]
struct Line {
    n: u64,
    at: String,
    #[serde(flatten)]
    entry: Entry,
}

/// What is wrong with a journal.
#[derive(Debug, Error)]
pub enum JournalError {
    /// A line that is not the last is damaged, or does not fit its neighbours.
    #[error("line {line} of the journal is damaged: {what}; nothing was changed")]
    Damaged {
        /// The line, from 1.
        line: u64,
        /// What is wrong with it.
        what: &'static str,
    },
    /// A sound line that cannot come at this place.
    #[error("line {line} of the journal does not follow from those before it: {what}")]
    OutOfOrder {
        /// The line, from 1.
        line: u64,
        /// What does not fit.
        what: &'static str,
    },
    /// There is no sound first line.
    #[error("the journal is empty: the take never began")]
    Empty,
    /// The disk failed.
    #[error("cannot write the journal: {0}; nothing more is done until the disk works again")]
    Disk(#[from] io::Error),
    /// The disk failed before; what is on it is known only after reading it afresh.
    #[error("the journal's disk failed earlier in this run")]
    Poisoned,
}

/// What reading a journal gave.
#[derive(Debug)]
pub struct Replay {
    /// What the lines amount to.
    pub state: TakeState,
    /// All entries, in order.
    pub history: Vec<Entry>,
    /// How many bytes are sound; what lies beyond is a torn last line.
    pub sound: usize,
    chain: u32,
}

/// Reads a journal. Takes any bytes at all.
///
/// # Errors
/// Damage before the last line, entries out of order, or no sound line at all.
pub fn replay(bytes: &[u8]) -> Result<Replay, JournalError> {
    let mut state: Option<TakeState> = None;
    let mut history = Vec::new();
    let mut chain = 0;
    let mut sound = 0;
    while sound < bytes.len() {
        let rest = &bytes[sound..];
        let number = history.len() as u64 + 1;
        let end = rest.iter().position(|&byte| byte == b'\n');
        let text = &rest[..end.unwrap_or(rest.len())];
        let last = end.is_none_or(|end| end + 1 == rest.len());
        let parsed = match end {
            Some(_) => parse(text, number, chain),
            None => Err("it is cut short"),
        };
        let (entry, sum) = match parsed {
            Ok(parsed) => parsed,
            // Whole and sound, and no entry of this version's: relied upon all the same.
            Err(what) if last && what != UNKNOWN => break,
            Err(what) => return Err(JournalError::Damaged { line: number, what }),
        };
        match &mut state {
            Some(state) => state.follow(&entry),
            none => {
                *none = TakeState::begin(&entry);
                none.is_some().then_some(()).ok_or(BEGINS)
            }
        }
        .map_err(|what| JournalError::OutOfOrder { line: number, what })?;
        history.push(entry);
        chain = sum;
        sound += text.len() + 1;
    }
    Ok(Replay {
        state: state.ok_or(JournalError::Empty)?,
        history,
        sound,
        chain,
    })
}

fn parse(text: &[u8], number: u64, chain: u32) -> Result<(Entry, u32), &'static str> {
    let body_length = text.len().checked_sub(TAIL).ok_or("it is cut short")?;
    let (body, tail) = text.split_at(body_length);
    let digits = tail
        .strip_prefix(br#","sum":""#)
        .and_then(|tail| tail.strip_suffix(br#""}"#))
        .and_then(|digits| std::str::from_utf8(digits).ok())
        .ok_or("it has no checksum")?;
    let written = u32::from_str_radix(digits, 16).map_err(|_| "it has no checksum")?;
    let sum = checksum(chain, body);
    if sum != written {
        return Err("its checksum does not fit it and the line before");
    }
    let mut json = body.to_vec();
    json.push(b'}');
    let line: Line = serde_json::from_slice(&json).map_err(|_| UNKNOWN)?;
    if line.n != number {
        return Err("its number is not the next");
    }
    Ok((line.entry, sum))
}

fn checksum(chain: u32, body: &[u8]) -> u32 {
    let mut digest = CRC.digest();
    digest.update(&chain.to_le_bytes());
    digest.update(body);
    digest.finalize()
}

/// Where the times in a journal come from.
pub type Stamp = Box<dyn FnMut() -> jiff::Timestamp>;

/// A journal open for writing.
pub struct Journal {
    disk: Box<dyn Disk>,
    stamp: Stamp,
    state: TakeState,
    chain: u32,
    poisoned: bool,
}

impl std::fmt::Debug for Journal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Journal")
            .field("state", &self.state)
            .field("poisoned", &self.poisoned)
            .finish_non_exhaustive()
    }
}

impl Journal {
    /// Begins the journal of a new take with its first entry, [`Entry::Begun`].
    ///
    /// # Errors
    /// The disk's, or that it is another entry.
    pub fn begin(disk: Box<dyn Disk>, stamp: Stamp, begun: &Entry) -> Result<Self, JournalError> {
        let state = TakeState::begin(begun).ok_or(JournalError::OutOfOrder {
            line: 1,
            what: BEGINS,
        })?;
        let mut journal = Self {
            disk,
            stamp,
            state,
            chain: 0,
            poisoned: false,
        };
        journal.write(begun, 1)?;
        Ok(journal)
    }

    /// Goes on with a journal: reads it, and cuts a torn last line off.
    ///
    /// # Errors
    /// What [`replay`] finds, or the disk's.
    pub fn resume(mut disk: Box<dyn Disk>, stamp: Stamp) -> Result<Self, JournalError> {
        let bytes = disk.read()?;
        let replay = replay(&bytes)?;
        if replay.sound < bytes.len() {
            disk.cut(replay.sound as u64)?;
        } else {
            // What was found may not have been synced by the run that wrote it.
            disk.sync()?;
        }
        Ok(Self {
            disk,
            stamp,
            state: replay.state,
            chain: replay.chain,
            poisoned: false,
        })
    }

    /// What the lines amount to.
    #[must_use]
    pub fn state(&self) -> &TakeState {
        &self.state
    }

    /// Makes sure that the disk has room for everything that one exposure can add: a full disk is
    /// to stop a take before an exposure, not after it.
    ///
    /// # Errors
    /// The disk's; after one the journal takes no more entries.
    pub fn make_room(&mut self) -> Result<(), JournalError> {
        if self.poisoned {
            return Err(JournalError::Poisoned);
        }
        self.disk.reserve(ROOM).map_err(|error| {
            self.poisoned = true;
            error.into()
        })
    }

    /// Appends an entry and syncs it. When this returns, it is on disk.
    ///
    /// # Errors
    /// The disk's; after one the journal takes no more entries, and its state is what it would
    /// have been. Or an entry that cannot come next; nothing is written then.
    pub fn record(&mut self, entry: &Entry) -> Result<(), JournalError> {
        if self.poisoned {
            return Err(JournalError::Poisoned);
        }
        let line = self.state.lines + 1;
        self.state
            .follow(entry)
            .map_err(|what| JournalError::OutOfOrder { line, what })?;
        self.write(entry, line)
    }

    fn write(&mut self, entry: &Entry, n: u64) -> Result<(), JournalError> {
        let line = Line {
            n,
            at: (self.stamp)().to_string(),
            entry: entry.clone(),
        };
        let mut text = serde_json::to_vec(&line).map_err(io::Error::other)?;
        text.pop();
        let sum = checksum(self.chain, &text);
        text.extend_from_slice(format!(",\"sum\":\"{sum:08x}\"}}\n").as_bytes());
        let written = self.disk.append(&text).and_then(|()| self.disk.sync());
        if let Err(error) = written {
            self.poisoned = true;
            return Err(error.into());
        }
        self.chain = sum;
        Ok(())
    }
}
