//! The wire format of version 1, byte for byte.
//!
//! THE RULE. Boards in the field speak these bytes. Where a test in this folder fails, revert the
//! change to the messages; do not edit the test. Vectors are only ever appended: one for each
//! variant that is appended. A change that cannot be made by appending is a new version of the
//! protocol, with a `v2` beside this folder, and the vectors of the frozen handshake in both.
//!
//! Expected bytes were laid out by hand from postcard's published wire format (see
//! `../published.rs`), one field a line. Numbers wider than a byte are varints, seven bits a byte,
//! lowest first; signed ones are folded first (0, -1, 1, -2 ... become 0, 1, 2, 3 ...).

use std::collections::BTreeSet;
use std::fmt::Debug;

use heapless::Vec as Few;
use panestep_protocol::frame::decode;
use panestep_protocol::{
    Activity, Answer, AxisIndex, AxisMask, AxisSettings, AxisTarget, BootId, Command, ExposureFact,
    FireOrder, FromBoard, GuardSettings, Halt, Hello, HomeFound, HomeOrder, HomingFault,
    HomingReport, Identity, MAGIC, MAX_AXES, MAX_FRAME, MAX_NAME, Mark, NudgeOrder, Refusal, Reply,
    Request, RequestId, SessionId, ShotId, Status, Steps, Switches, Ticks, ToBoard, Token, Toward,
    VERSION, encode, schema,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

mod answers;
mod commands;
#[path = "../reference/mod.rs"]
mod reference;
mod refusals;

/// A field's name and its bytes.
type Field = (&'static str, &'static [u8]);

/// Checks that the message is these bytes, field by field, and that these bytes are the message.
fn pin<T: Serialize + DeserializeOwned + PartialEq + Debug>(message: &T, fields: &[Field]) {
    let mut buffer = [0; MAX_FRAME];
    let body = reference::unframe(encode(message, &mut buffer).unwrap());
    let mut rest = body.as_slice();
    for (name, bytes) in fields {
        let (field, behind) = rest.split_at(bytes.len().min(rest.len()));
        assert_eq!(field, *bytes, "{name} of {message:?}");
        rest = behind;
    }
    assert_eq!(rest, [0; 0], "behind the last field of {message:?}");

    let mut frame = reference::frame(&body);
    frame.pop();
    assert_eq!(decode::<T>(&mut frame).as_ref(), Ok(message));
}

/// Checks that every index from 0 up has been pinned, and no other.
fn complete(pinned: &BTreeSet<u8>, count: u8) {
    assert_eq!(*pinned, (0..count).collect::<BTreeSet<_>>());
}

/// The shape of all messages together. It changes with any change to them, also with an appended
/// variant: then, and only then, a new value stands here, in the same commit as the new vector.
/// `VERSION` is raised with it where an older peer would misread the newer.
#[test]
fn the_schema_hash_is_pinned() {
    assert_eq!(VERSION, 1);
    assert_eq!(MAGIC, *b"PANE");
    assert_eq!((MAX_AXES, MAX_NAME), (8, 24));
    assert_eq!(schema(), SCHEMA, "the hash is now {:02X?}", schema());
}

const SCHEMA: [u8; 8] = [0x0B, 0xC5, 0x7D, 0x5D, 0x03, 0x03, 0x45, 0xD4];

fn hello() -> ToBoard {
    ToBoard::Hello(Hello {
        magic: *b"PANE",
        version: 1,
        schema: [0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88],
        nonce: 0xDEAD_BEEF,
    })
}

fn identity(mark: Option<Mark>) -> FromBoard {
    FromBoard::Identity(Identity {
        magic: *b"PANE",
        version: 1,
        schema: [0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88],
        nonce: 0xDEAD_BEEF,
        name: "main".try_into().unwrap(),
        axes: 6,
        tick_rate: 100_000,
        boot: BootId(0x0123_4567_89AB_CDEF),
        session: SessionId(7),
        mark,
    })
}

#[test]
fn hello_is_frozen() {
    pin(
        &hello(),
        &[
            ("ToBoard::Hello", &[0x00]),
            ("magic", b"PANE"),
            ("version", &[0x01]),
            (
                "schema, without a length",
                &[0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88],
            ),
            ("nonce", &[0xEF, 0xFD, 0xB6, 0xF5, 0x0D]),
        ],
    );
}

#[test]
fn identity_is_frozen() {
    let fields: [Field; 10] = [
        ("FromBoard::Identity", &[0x00]),
        ("magic", b"PANE"),
        ("version", &[0x01]),
        (
            "schema, without a length",
            &[0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88],
        ),
        ("nonce", &[0xEF, 0xFD, 0xB6, 0xF5, 0x0D]),
        ("name: length, UTF-8", b"\x04main"),
        ("axes", &[0x06]),
        ("tick_rate", &[0xA0, 0x8D, 0x06]),
        (
            "boot",
            &[0xEF, 0x9B, 0xAF, 0xCD, 0xF8, 0xAC, 0xD1, 0x91, 0x01],
        ),
        ("session", &[0x07]),
    ];
    pin(
        &identity(None),
        &[fields.as_slice(), &[("no mark", &[0x00])]].concat(),
    );
    let mark = Mark {
        shot: ShotId(300),
        token: Token {
            slot: 96,
            attempt: 2,
        },
    };
    pin(
        &identity(Some(mark)),
        &[
            fields.as_slice(),
            &[
                ("a mark", &[0x01]),
                ("shot", &[0xAC, 0x02]),
                ("slot", &[0x60]),
                ("attempt", &[0x02]),
            ],
        ]
        .concat(),
    );
}

/// A whole frame as it stands on the wire: the one that a board of any version must answer.
#[test]
fn a_whole_frame_is_pinned() {
    let fields: [Field; 8] = [
        ("COBS: a zero comes next, ToBoard::Hello", &[0x01]),
        ("COBS: no zero in the next 22 bytes", &[0x17]),
        ("magic", b"PANE"),
        ("version", &[0x01]),
        ("schema", &[0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88]),
        ("nonce", &[0xEF, 0xFD, 0xB6, 0xF5, 0x0D]),
        ("CRC DDDF3543, lowest byte first", &[0x43, 0x35, 0xDF, 0xDD]),
        ("end of frame", &[0x00]),
    ];
    let expected: Vec<u8> = fields
        .iter()
        .flat_map(|(_, bytes)| *bytes)
        .copied()
        .collect();
    let mut buffer = [0; MAX_FRAME];
    let frame = encode(&hello(), &mut buffer).unwrap();
    assert_eq!(frame, expected, "now {frame:02X?}");
}
