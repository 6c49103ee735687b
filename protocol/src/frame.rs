//! Framing: postcard bytes, their CRC-32/ISCSI (little-endian) behind them, COBS around both, and
//! a zero byte that occurs nowhere else.

use postcard::experimental::max_size::MaxSize;
use postcard::ser_flavors::crc::CrcModifier;
use postcard::ser_flavors::{Cobs, Slice};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::{FromBoard, ToBoard};

/// The checksum of every frame; its check value on `123456789` is `E3069283` (reveng catalogue).
static CRC: crc::Crc<u32> = crc::Crc::<u32>::new(&crc::CRC_32_ISCSI);

const fn greater(a: usize, b: usize) -> usize {
    if a > b { a } else { b }
}

/// Longest message of either direction before framing, in bytes, its CRC included.
pub const MAX_MESSAGE: usize =
    greater(ToBoard::POSTCARD_MAX_SIZE, FromBoard::POSTCARD_MAX_SIZE) + 4;

/// Longest frame, in bytes, its closing zero included. COBS adds a byte for every 254, and one
/// more for what is left, even where nothing is (S. Cheshire, M. Baker, IEEE/ACM Trans.
/// Networking 7(2), 1999; that last byte could be saved, but postcard writes it).
pub const MAX_FRAME: usize = MAX_MESSAGE + MAX_MESSAGE / 254 + 1 + 1;

/// Why a frame was dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum FrameError {
    /// Longer than any message can be; everything up to the next zero byte was skipped.
    TooLong,
    /// Not a COBS frame, or shorter than its CRC.
    Broken,
    /// The CRC does not agree with the bytes.
    Checksum,
    /// A sound frame, but not a message of this protocol, or with bytes left over.
    NotAMessage,
    /// The buffer handed in for the frame is too small.
    NoRoom,
}

impl core::fmt::Display for FrameError {
    fn fmt(&self, to: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        to.write_str(match self {
            Self::TooLong => "longer than any message",
            Self::Broken => "not a frame",
            Self::Checksum => "damaged on the way: its checksum does not agree",
            Self::NotAMessage => "not a message of this protocol",
            Self::NoRoom => "no room to write the message",
        })
    }
}

impl core::error::Error for FrameError {}

/// Writes a message as a frame, closing zero included, and returns the part of `buffer` used.
/// [`MAX_FRAME`] bytes always suffice.
///
/// # Errors
/// [`FrameError::NoRoom`] where the buffer is too small.
pub fn encode<'a, T: Serialize>(message: &T, buffer: &'a mut [u8]) -> Result<&'a [u8], FrameError> {
    let flavor = Cobs::try_new(Slice::new(buffer)).map_err(|_| FrameError::NoRoom)?;
    postcard::serialize_with_flavor(message, CrcModifier::new(flavor, CRC.digest()))
        .map(|used| &*used)
        .map_err(|_| FrameError::NoRoom)
}

/// Reads a frame without its closing zero, in place.
///
/// # Errors
/// What was wrong with the frame.
pub fn decode<T: DeserializeOwned>(frame: &mut [u8]) -> Result<T, FrameError> {
    let length = cobs::decode_in_place(frame).map_err(|_| FrameError::Broken)?;
    let plain = frame.get(..length).ok_or(FrameError::Broken)?;
    let (body, check) = plain.split_last_chunk::<4>().ok_or(FrameError::Broken)?;
    if CRC.checksum(body) != u32::from_le_bytes(*check) {
        return Err(FrameError::Checksum);
    }
    // postcard itself would let bytes be left over.
    match postcard::take_from_bytes(body) {
        Ok((message, [])) => Ok(message),
        _ => Err(FrameError::NotAMessage),
    }
}

/// Collects bytes into frames and frames into messages of type `T`. Takes any bytes at all, holds
/// no more than [`MAX_FRAME`] of them, and is back in step at the next zero byte.
#[derive(Debug)]
pub struct Accumulator<T> {
    buffer: [u8; MAX_FRAME],
    used: usize,
    overflown: bool,
    message: core::marker::PhantomData<fn() -> T>,
}

impl<T> Default for Accumulator<T> {
    fn default() -> Self {
        Self {
            buffer: [0; MAX_FRAME],
            used: 0,
            overflown: false,
            message: core::marker::PhantomData,
        }
    }
}

impl<T: DeserializeOwned> Accumulator<T> {
    /// Takes one byte. `None` while a frame is still incomplete; two zero bytes in a row are no
    /// frame and no error.
    pub fn push(&mut self, byte: u8) -> Option<Result<T, FrameError>> {
        if byte != 0 {
            match self.buffer.get_mut(self.used) {
                Some(place) => {
                    *place = byte;
                    self.used += 1;
                }
                None => self.overflown = true,
            }
            return None;
        }
        let used = core::mem::take(&mut self.used);
        if core::mem::take(&mut self.overflown) {
            return Some(Err(FrameError::TooLong));
        }
        match self.buffer.get_mut(..used) {
            Some(frame) if !frame.is_empty() => Some(decode(frame)),
            _ => None,
        }
    }
}
