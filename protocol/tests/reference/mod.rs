//! Framing once more, written down from the published descriptions and sharing no code with the
//! crate: what the suites compare it with. `published.rs` checks this against the published
//! examples too.
#![allow(dead_code, reason = "each suite uses a part of it")]

use serde::ser::{Serialize, SerializeTuple, Serializer};

/// CRC-32/ISCSI, bit by bit: polynomial 1EDC6F41, reflected (82F63B78), all ones before and
/// behind (G. Cook, reveng catalogue of CRC algorithms).
pub(crate) fn crc(bytes: &[u8]) -> u32 {
    let mut register = u32::MAX;
    for &byte in bytes {
        register ^= u32::from(byte);
        for _ in 0..8 {
            let out = register & 1;
            register >>= 1;
            if out == 1 {
                register ^= 0x82F6_3B78;
            }
        }
    }
    !register
}

/// Consistent overhead byte stuffing (S. Cheshire, M. Baker, IEEE/ACM Trans. Networking 7(2),
/// 1999), without the closing zero. A full block at the very end has no empty block behind it.
pub(crate) fn stuff(plain: &[u8]) -> Vec<u8> {
    let mut stuffed = Vec::new();
    let mut block = Vec::new();
    let mut full = false;
    for &byte in plain {
        if byte == 0 {
            stuffed.push(u8::try_from(block.len() + 1).unwrap());
            stuffed.append(&mut block);
            full = false;
        } else {
            block.push(byte);
            if block.len() == 254 {
                stuffed.push(255);
                stuffed.append(&mut block);
                full = true;
            }
        }
    }
    if !(full && block.is_empty()) {
        stuffed.push(u8::try_from(block.len() + 1).unwrap());
        stuffed.append(&mut block);
    }
    stuffed
}

/// The reverse of [`stuff`]; `None` where the bytes are no such code.
pub(crate) fn unstuff(stuffed: &[u8]) -> Option<Vec<u8>> {
    let mut plain = Vec::new();
    let mut rest = stuffed;
    while let Some((&code, behind)) = rest.split_first() {
        let length = usize::from(code).checked_sub(1)?;
        let block = behind.get(..length)?;
        if block.contains(&0) {
            return None;
        }
        plain.extend_from_slice(block);
        rest = &behind[length..];
        if code != 255 && !rest.is_empty() {
            plain.push(0);
        }
    }
    Some(plain)
}

/// A whole frame around the bytes of a message: CRC behind them, lowest byte first, both stuffed,
/// a zero at the end.
pub(crate) fn frame(body: &[u8]) -> Vec<u8> {
    let mut plain = body.to_vec();
    plain.extend_from_slice(&crc(body).to_le_bytes());
    let mut frame = stuff(&plain);
    frame.push(0);
    frame
}

/// The bytes of the message in a whole frame.
///
/// # Panics
/// Where it is no sound frame.
pub(crate) fn unframe(frame: &[u8]) -> Vec<u8> {
    let (&end, stuffed) = frame.split_last().expect("an empty frame");
    assert_eq!(end, 0, "no zero at the end of {frame:02X?}");
    assert!(!stuffed.contains(&0), "a zero inside {frame:02X?}");
    let plain = unstuff(stuffed).expect("not stuffed soundly");
    let (body, check) = plain.split_last_chunk::<4>().expect("too short for a CRC");
    assert_eq!(u32::from_le_bytes(*check), crc(body), "CRC of {frame:02X?}");
    body.to_vec()
}

/// Bytes that stand on the wire as they are: no length before them.
pub(crate) struct Raw<'a>(pub(crate) &'a [u8]);

impl Serialize for Raw<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut tuple = serializer.serialize_tuple(self.0.len())?;
        for byte in self.0 {
            tuple.serialize_element(byte)?;
        }
        tuple.end()
    }
}

/// Pseudo-random numbers from a seed (SplitMix64: Steele, Lea, Flood, OOPSLA 2014; the constants
/// from memory).
pub(crate) struct Random(pub(crate) u64);

impl Random {
    /// The next number.
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// The next byte.
    pub(crate) fn byte(&mut self) -> u8 {
        self.next().to_be_bytes()[0]
    }

    /// A number below `end`.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % u64::try_from(end).unwrap()).unwrap()
    }
}
