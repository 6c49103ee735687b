//! Framing against published examples: COBS, the CRC, postcard. Each check names its source. All
//! go through the crate's own `encode` and `decode`: a frame is COBS(bytes, CRC lowest byte
//! first) and a zero.
//!
//! "Readme" below is the readme of the `cobs` package on PyPI, "the paper" S. Cheshire, M. Baker,
//! "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2), April 1999.

use panestep_protocol::frame::decode;
use panestep_protocol::{FrameError, encode};
use reference::Raw;
use serde::Serialize;
use serde::de::DeserializeOwned;

mod reference;

/// Some byte several times.
fn times(count: usize, byte: u8) -> Vec<u8> {
    vec![byte; count]
}

/// Plain bytes, and what they are stuffed to, without the closing zero.
fn published_stuffings() -> Vec<(&'static str, Vec<u8>, Vec<u8>)> {
    let hex = |text: &str| -> Vec<u8> {
        text.split_whitespace()
            .map(|byte| u8::from_str_radix(byte, 16).unwrap())
            .collect()
    };
    let run = |from: u8, to: u8| -> Vec<u8> { (from..=to).collect() };
    vec![
        (
            "the paper, figure 3 (as quoted in tests of other implementations)",
            hex("45 00 00 2C 4C 79 00 00 40 06 4F 37"),
            hex("02 45 01 04 2C 4C 79 01 05 40 06 4F 37"),
        ),
        (
            "the paper, figure 2 (as quoted in tests of other implementations)",
            [times(679, 1), hex("00")].concat(),
            [
                hex("FF"),
                times(254, 1),
                hex("FF"),
                times(254, 1),
                hex("AC"),
                times(171, 1),
                hex("01"),
            ]
            .concat(),
        ),
        ("readme", hex("00"), hex("01 01")),
        ("readme", hex("11 22 00 33"), hex("03 11 22 02 33")),
        ("readme", hex("11 00 00 00"), hex("02 11 01 01 01")),
        (
            "readme",
            run(1, 255),
            [hex("FF"), run(1, 254), hex("02 FF")].concat(),
        ),
        (
            "documentation of crate cobs_codec_rs",
            hex("11 00 22"),
            hex("02 11 02 22"),
        ),
        ("iceworks.cc", hex("DE AD BE EF"), hex("05 DE AD BE EF")),
        (
            "iceworks.cc",
            hex("DE AD 00 BE EF"),
            hex("03 DE AD 03 BE EF"),
        ),
        ("repository every-algorithm/python", hex(""), hex("01")),
        (
            "Wikipedia's table (from memory)",
            hex("00 00"),
            hex("01 01 01"),
        ),
        (
            "Wikipedia's table (from memory)",
            hex("00 11 00"),
            hex("01 02 11 01"),
        ),
        (
            "crate cobs 0.5.1, wikipedia_ex_6: no empty block behind a full one",
            run(1, 254),
            [hex("FF"), run(1, 254)].concat(),
        ),
        (
            "crate cobs 0.5.1, wikipedia_ex_7",
            [hex("00"), run(1, 254)].concat(),
            [hex("01 FF"), run(1, 254)].concat(),
        ),
        (
            "crate cobs 0.5.1, wikipedia_ex_9",
            [run(2, 255), hex("00")].concat(),
            [hex("FF"), run(2, 255), hex("01 01")].concat(),
        ),
        (
            "crate cobs 0.5.1, wikipedia_ex_10",
            [run(3, 255), hex("00 01")].concat(),
            [hex("FE"), run(3, 255), hex("02 01")].concat(),
        ),
    ]
}

#[test]
fn the_reference_stuffs_as_published() {
    for (source, plain, stuffed) in published_stuffings() {
        assert_eq!(reference::stuff(&plain), stuffed, "{source}");
        assert_eq!(reference::unstuff(&stuffed), Some(plain), "{source}");
    }
}

/// Bytes, a zero and a CRC are stuffed to the published bytes and, behind them, the stuffed CRC:
/// a block ends at every zero. Where the published bytes end with a full block, which stands for
/// no zero, an empty block follows for it.
#[test]
fn our_frames_begin_with_the_published_stuffings() {
    for (source, mut plain, mut stuffed) in published_stuffings() {
        let ends_full = stuffed.len() >= 255 && stuffed[stuffed.len() - 255] == 255;
        if ends_full && !plain.ends_with(&[0]) {
            stuffed.push(1);
        }
        plain.push(0);
        let check = reference::crc(&plain).to_le_bytes();
        let expected = [stuffed, reference::stuff(&check), vec![0]].concat();
        let mut buffer = [0; 800];
        let frame = encode(&Raw(&plain), &mut buffer).unwrap();
        assert_eq!(frame, expected, "{source}");
        assert_eq!(reference::unframe(frame), plain, "{source}");
    }
}

/// Longest codes, published as the test `test_max_encoding_length` of crate cobs 0.5.1; the zero
/// comes on top. Where the last block is full, ours are one byte longer: postcard puts an empty
/// block behind it, as the listing in the paper does (from memory). `MAX_FRAME` must allow for it.
#[test]
fn the_longest_codes_are_the_published_ones() {
    let full = 1;
    let published = [
        (253, 254),
        (254, 255 + full),
        (255, 257),
        (508, 510 + full),
        (509, 512),
    ];
    for (plain, stuffed) in published {
        // No zero among the bytes or in the CRC behind them: the longest code.
        let bytes = (1..=u8::MAX)
            .map(|byte| times(plain - 4, byte))
            .find(|bytes| !reference::crc(bytes).to_le_bytes().contains(&0))
            .expect("some CRC without a zero");
        let mut buffer = [0; 600];
        let frame = encode(&Raw(&bytes), &mut buffer).unwrap();
        assert_eq!(frame.len(), stuffed + 1, "{plain} bytes");
        assert_eq!(reference::unframe(frame), bytes);
    }
}

/// A peer that puts no empty block behind a full last one is understood as well.
#[test]
fn both_ends_of_a_full_last_block_are_understood() {
    let list = (1..=u8::MAX)
        .map(|byte| heapless::Vec::<u8, 300>::from_slice(&times(248, byte)).unwrap())
        .find(|list| reference::frame(&plain_of(list)).len() == 256)
        .expect("some CRC without a zero");
    let mut frame = reference::frame(&plain_of(&list));
    frame.pop();
    assert_eq!((frame.len(), frame[0]), (255, 255), "one full block");
    assert_eq!(decode(&mut frame.clone()), Ok(list.clone()));
    frame.push(1);
    assert_eq!(decode(&mut frame), Ok(list));
}

/// A list as postcard writes it: its length as a varint (two bytes here), then the bytes.
fn plain_of(list: &[u8]) -> Vec<u8> {
    assert!((128..16_384).contains(&list.len()));
    let low = u8::try_from(list.len() & 127).unwrap() | 128;
    let high = u8::try_from(list.len() >> 7).unwrap();
    [&[low, high], list].concat()
}

/// The catalogue's check value, on the wire lowest byte first: CRC-32/ISCSI of "123456789" is
/// E3069283 (G. Cook, reveng CRC catalogue; also documentation of crate crc-catalog).
#[test]
fn the_crc_is_the_catalogues() {
    let mut buffer = [0; 32];
    assert_eq!(
        encode(&Raw(b"123456789"), &mut buffer).unwrap(),
        b"\x0E123456789\x83\x92\x06\xE3\x00"
    );
    assert_eq!(reference::crc(b"123456789"), 0xE306_9283);
}

/// RFC 3720 (iSCSI), appendix B.4, as quoted in the tests of several storage libraries. The RFC
/// prints the CRC in the order of transmission, which is ours.
#[test]
fn the_crc_is_iscsis() {
    let rising: Vec<u8> = (0..32).collect();
    let falling: Vec<u8> = (0..32).rev().collect();
    for (bytes, check) in [
        (times(32, 0x00), [0xAA, 0x36, 0x91, 0x8A]),
        (times(32, 0xFF), [0x43, 0xAB, 0xA8, 0x62]),
        (rising, [0x4E, 0x79, 0xDD, 0x46]),
        (falling, [0x5C, 0xDB, 0x3F, 0x11]),
    ] {
        let mut buffer = [0; 64];
        let frame = encode(&Raw(&bytes), &mut buffer).unwrap();
        let plain = reference::unstuff(&frame[..frame.len() - 1]).unwrap();
        assert_eq!(plain, [bytes.as_slice(), &check].concat());
    }
}

/// The other checksums that go by a similar name are refused: the same frame with the CRC-32 of
/// Ethernet and zip (check value CBF43926, reveng catalogue) is not ours.
#[test]
fn another_crc_is_refused() {
    let mut frame = reference::stuff(b"123456789\x26\x39\xF4\xCB");
    assert_eq!(decode::<[u8; 9]>(&mut frame), Err(FrameError::Checksum));
    let mut frame = reference::stuff(b"123456789\xE3\x06\x92\x83");
    assert_eq!(
        decode::<[u8; 9]>(&mut frame),
        Err(FrameError::Checksum),
        "highest byte first"
    );
    let mut frame = reference::stuff(b"123456789\x83\x92\x06\xE3");
    assert_eq!(decode::<[u8; 9]>(&mut frame), Ok(*b"123456789"));
}

/// Checks a value's bytes both ways, through a frame.
fn wire<T: Serialize + DeserializeOwned + PartialEq + core::fmt::Debug>(value: T, bytes: &[u8]) {
    let mut buffer = [0; 64];
    let frame = encode(&value, &mut buffer).unwrap();
    assert_eq!(reference::unframe(frame), bytes, "{value:?}");
    assert_eq!(read::<T>(bytes), Ok(value));
}

/// Reads a value from its bytes, through a frame.
fn read<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, FrameError> {
    let mut frame = reference::frame(bytes);
    frame.pop();
    decode(&mut frame)
}

/// postcard's published wire format (jamesmunns/postcard, spec/src/wire-format.md at 5a5276c),
/// its tables of u16 and i16. The specification prints FF FF 02 for the i16 32767, which is an
/// erratum: by its own rules, folded to 65534, it is FE FF 03 (and so it stands in postcard's
/// tests/loopback.rs).
#[test]
fn numbers_are_postcards() {
    wire(0_u16, &[0x00]);
    wire(127_u16, &[0x7F]);
    wire(128_u16, &[0x80, 0x01]);
    wire(16_383_u16, &[0xFF, 0x7F]);
    wire(16_384_u16, &[0x80, 0x80, 0x01]);
    wire(16_385_u16, &[0x81, 0x80, 0x01]);
    wire(65_535_u16, &[0xFF, 0xFF, 0x03]);
    wire(0_i16, &[0x00]);
    wire(-1_i16, &[0x01]);
    wire(1_i16, &[0x02]);
    wire(63_i16, &[0x7E]);
    wire(-64_i16, &[0x7F]);
    wire(64_i16, &[0x80, 0x01]);
    wire(-65_i16, &[0x81, 0x01]);
    wire(32_767_i16, &[0xFE, 0xFF, 0x03]);
    wire(-32_768_i16, &[0xFF, 0xFF, 0x03]);
    assert_ne!(read(&[0xFF, 0xFF, 0x02]), Ok(32_767_i16), "the erratum");
}

/// The same, its table of the longest varints and its rules for everything else in our messages.
#[test]
fn the_rest_of_the_format_is_postcards() {
    let longest = |length: usize| {
        let mut buffer = [0; 64];
        let frame = match length {
            3 => encode(&u16::MAX, &mut buffer),
            5 => encode(&u32::MAX, &mut buffer),
            _ => encode(&u64::MAX, &mut buffer),
        };
        reference::unframe(frame.unwrap()).len()
    };
    for length in [3, 5, 10] {
        assert_eq!(longest(length), length);
    }
    wire(false, &[0x00]);
    wire(true, &[0x01]);
    wire(0x80_u8, &[0x80]);
    wire(-1_i8, &[0xFF]);
    wire(None::<u8>, &[0x00]);
    wire(Some(5_u8), &[0x01, 0x05]);
    wire((1_u8, 300_u16), &[0x01, 0xAC, 0x02]);
    wire(
        heapless::String::<8>::try_from("main").unwrap(),
        b"\x04main",
    );
    wire(
        heapless::Vec::<u16, 4>::from_slice(&[1, 300]).unwrap(),
        &[0x02, 0x01, 0xAC, 0x02],
    );
}

/// The same, its lists of u16 codes that must and must not be read.
#[test]
fn long_and_overlong_numbers_are_postcards() {
    assert_eq!(read::<u16>(&[0x80, 0x00]), Ok(0));
    assert_eq!(read::<u16>(&[0x80, 0x80, 0x00]), Ok(0));
    for overlong in [
        &[0x80, 0x80, 0x80, 0x00][..],
        &[0xFF, 0xFF, 0x07],
        &[0xFF, 0xFF, 0x83, 0x00],
    ] {
        assert_eq!(read::<u16>(overlong), Err(FrameError::NotAMessage));
    }
}

/// Bools, options, texts and lists that are not what they must be: postcard's own rules, with our
/// rule on top that nothing may be left over.
#[test]
fn what_is_no_value_is_refused() {
    assert_eq!(read::<bool>(&[0x02]), Err(FrameError::NotAMessage));
    assert_eq!(
        read::<Option<u8>>(&[0x02, 0x01]),
        Err(FrameError::NotAMessage)
    );
    assert_eq!(read::<u8>(&[]), Err(FrameError::NotAMessage));
    assert_eq!(
        read::<u8>(&[1, 2]),
        Err(FrameError::NotAMessage),
        "left over"
    );
    assert_eq!(
        read::<heapless::String<8>>(&[0x02, 0xC3, 0x28]),
        Err(FrameError::NotAMessage),
        "not UTF-8"
    );
    assert_eq!(
        read::<heapless::Vec<u8, 2>>(&[0x03, 1, 2, 3]),
        Err(FrameError::NotAMessage),
        "more than the list holds"
    );
    assert_eq!(
        read::<heapless::Vec<u8, 8>>(&[0x03, 1, 2]),
        Err(FrameError::NotAMessage),
        "fewer than announced"
    );
}
