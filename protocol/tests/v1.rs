//! The wire format of version 1, byte for byte.
//!
//! THE RULE. Boards in the field speak these bytes. Where a test in this file fails, revert the
//! change to the messages; do not edit the test. Vectors are only ever appended: one for each
//! variant that is appended. A change that cannot be made by appending is a new version of the
//! protocol, with a `v2.rs` beside this file, and the vectors of the frozen handshake in both.
//!
//! Expected bytes were laid out by hand from postcard's published wire format (see
//! `published.rs`), one field a line. Numbers wider than a byte are varints, seven bits a byte,
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

mod reference;

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

fn index_of_command(command: &Command) -> u8 {
    // No wildcard: an appended variant does not compile until it has an index here and a vector
    // below.
    match command {
        Command::Open { .. } => 0,
        Command::Status => 1,
        Command::Configure(_) => 2,
        Command::Guard(_) => 3,
        Command::Drivers { .. } => 4,
        Command::Home(_) => 5,
        Command::Move { .. } => 6,
        Command::Nudge(_) => 7,
        Command::Halt => 8,
        Command::Acknowledge => 9,
        Command::OpenShot { .. } => 10,
        Command::Fire(_) => 11,
        Command::Fence { .. } => 12,
        Command::Lamps { .. } => 13,
        Command::Check(_) => 14,
    }
}

fn commands() -> Vec<(Command, Vec<Field>)> {
    let token = Token {
        slot: 300,
        attempt: 2,
    };
    vec![
        (
            Command::Open {
                schema: [0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88],
            },
            vec![
                ("Open", &[0x00]),
                ("schema", &[0x11, 0x22, 0x33, 0x44, 0x55, 0x66, 0x77, 0x88]),
            ],
        ),
        (Command::Status, vec![("Status", &[0x01])]),
        (
            Command::Configure(AxisSettings {
                axis: AxisIndex(2),
                speed: 10_000,
                acceleration: 24_000,
                jerk: 160_000,
                slow: 800,
                reversed: true,
                least: Steps(-48_000),
                greatest: Steps(48_000),
                home: Toward::Negative,
            }),
            vec![
                ("Configure", &[0x02]),
                ("axis, a plain byte", &[0x02]),
                ("speed", &[0x90, 0x4E]),
                ("acceleration", &[0xC0, 0xBB, 0x01]),
                ("jerk", &[0x80, 0xE2, 0x09]),
                ("slow", &[0xA0, 0x06]),
                ("reversed", &[0x01]),
                ("least", &[0xFF, 0xED, 0x05]),
                ("greatest", &[0x80, 0xEE, 0x05]),
                ("Toward::Negative", &[0x00]),
            ],
        ),
        (
            Command::Guard(GuardSettings {
                silence: Ticks(50_000),
                settle: Ticks(72_000),
            }),
            vec![
                ("Guard", &[0x03]),
                ("silence", &[0xD0, 0x86, 0x03]),
                ("settle", &[0xC0, 0xB2, 0x04]),
            ],
        ),
        (
            Command::Drivers { on: true },
            vec![("Drivers", &[0x04]), ("on", &[0x01])],
        ),
        (
            Command::Home(HomeOrder {
                axis: AxisIndex(5),
                fast: 4_000,
                slow: 320,
                search: 100_000,
                back_off: 1_600,
                clear: 200,
                edge: Steps(-124_000),
            }),
            vec![
                ("Home", &[0x05]),
                ("axis", &[0x05]),
                ("fast", &[0xA0, 0x1F]),
                ("slow", &[0xC0, 0x02]),
                ("search", &[0xA0, 0x8D, 0x06]),
                ("back_off", &[0xC0, 0x0C]),
                ("clear", &[0xC8, 0x01]),
                ("edge", &[0xBF, 0x91, 0x0F]),
            ],
        ),
        (
            Command::Move {
                targets: Few::from_slice(&[
                    AxisTarget {
                        axis: AxisIndex(0),
                        from: Steps(1_000),
                        to: Steps(-1_000),
                    },
                    AxisTarget {
                        axis: AxisIndex(7),
                        from: Steps(0),
                        to: Steps(64),
                    },
                ])
                .unwrap(),
            },
            vec![
                ("Move", &[0x06]),
                ("two targets", &[0x02]),
                ("axis", &[0x00]),
                ("from", &[0xD0, 0x0F]),
                ("to", &[0xCF, 0x0F]),
                ("axis", &[0x07]),
                ("from", &[0x00]),
                ("to", &[0x80, 0x01]),
            ],
        ),
        (
            Command::Nudge(NudgeOrder {
                axis: AxisIndex(1),
                from: Steps(-3),
                by: Steps(400),
            }),
            vec![
                ("Nudge", &[0x07]),
                ("axis", &[0x01]),
                ("from", &[0x05]),
                ("by", &[0xA0, 0x06]),
            ],
        ),
        (Command::Halt, vec![("Halt", &[0x08])]),
        (Command::Acknowledge, vec![("Acknowledge", &[0x09])]),
        (
            Command::OpenShot {
                shot: ShotId(0x0123_4567_89AB_CDEF),
                spent: Token {
                    slot: 0,
                    attempt: 0,
                },
            },
            vec![
                ("OpenShot", &[0x0A]),
                (
                    "shot",
                    &[0xEF, 0x9B, 0xAF, 0xCD, 0xF8, 0xAC, 0xD1, 0x91, 0x01],
                ),
                ("spent: slot", &[0x00]),
                ("spent: attempt", &[0x00]),
            ],
        ),
        (
            Command::Fire(FireOrder {
                shot: ShotId(129),
                token,
                half_press: Ticks(0),
                press: Ticks(12_000),
                window: Ticks(70_000),
            }),
            vec![
                ("Fire", &[0x0B]),
                ("shot", &[0x81, 0x01]),
                ("slot", &[0xAC, 0x02]),
                ("attempt", &[0x02]),
                ("half_press", &[0x00]),
                ("press", &[0xE0, 0x5D]),
                ("window", &[0xF0, 0xA2, 0x04]),
            ],
        ),
        (
            Command::Fence {
                shot: ShotId(129),
                token,
            },
            vec![
                ("Fence", &[0x0C]),
                ("shot", &[0x81, 0x01]),
                ("slot", &[0xAC, 0x02]),
                ("attempt", &[0x02]),
            ],
        ),
        (
            Command::Lamps { on: 0b1000_0001 },
            vec![("Lamps", &[0x0D]), ("on, a plain byte", &[0x81])],
        ),
        (
            Command::Check(HomeOrder {
                axis: AxisIndex(2),
                fast: 129,
                slow: 64,
                search: 16_384,
                back_off: 300,
                clear: 0,
                edge: Steps(-65),
            }),
            vec![
                ("Check", &[0x0E]),
                ("axis", &[0x02]),
                ("fast", &[0x81, 0x01]),
                ("slow", &[0x40]),
                ("search", &[0x80, 0x80, 0x01]),
                ("back_off", &[0xAC, 0x02]),
                ("clear", &[0x00]),
                ("edge", &[0x81, 0x01]),
            ],
        ),
    ]
}

#[test]
fn every_command() {
    let mut pinned = BTreeSet::new();
    for (command, fields) in commands() {
        pinned.insert(index_of_command(&command));
        assert_eq!(fields[0].1, [index_of_command(&command)]);
        let message = ToBoard::Request(Request {
            boot: BootId(300),
            session: SessionId(7),
            id: RequestId(200),
            command,
        });
        let head: &[Field] = &[
            ("ToBoard::Request", &[0x01]),
            ("boot", &[0xAC, 0x02]),
            ("session", &[0x07]),
            ("id", &[0xC8, 0x01]),
        ];
        pin(&message, &[head, &fields].concat());
    }
    complete(&pinned, 15);
}

#[test]
fn both_ends_of_an_axis() {
    pin(&Toward::Negative, &[("Negative", &[0x00])]);
    pin(&Toward::Positive, &[("Positive", &[0x01])]);
}

/// Pins one reply.
fn pin_reply(result: Result<Answer, Refusal>, fields: &[Field]) {
    let accepted: Field = ("accepted", &[0x00]);
    let refused: Field = ("refused", &[0x01]);
    let head: [Field; 6] = [
        ("FromBoard::Reply", &[0x01]),
        ("boot", &[0xAC, 0x02]),
        ("session", &[0x07]),
        ("id", &[0xC8, 0x01]),
        ("at", &[0x80, 0xF7, 0x02]),
        if result.is_ok() { accepted } else { refused },
    ];
    let message = FromBoard::Reply(Reply {
        boot: BootId(300),
        session: SessionId(7),
        id: RequestId(200),
        at: Ticks(48_000),
        result,
    });
    pin(&message, &[&head, fields].concat());
}

fn index_of_answer(answer: &Answer) -> u8 {
    match answer {
        Answer::Done => 0,
        Answer::Under { .. } => 1,
        Answer::Status(_) => 2,
        Answer::Exposure(_) => 3,
    }
}

fn answers() -> Vec<(Answer, Vec<Field>)> {
    vec![
        (Answer::Done, vec![("Done", &[0x00])]),
        (
            Answer::Under { way: Ticks(12_000) },
            vec![("Under", &[0x01]), ("way", &[0xE0, 0x5D])],
        ),
        (
            Answer::Status(Status {
                activity: Activity::Idle,
                positions: Few::new(),
                configured: AxisMask::NONE,
                homed: AxisMask::NONE,
                drivers: false,
                switches: Switches::default(),
                halt: None,
                homing: None,
                still: Ticks(u32::MAX),
                exposure: None,
                contacts: 0,
                damaged: 0,
            }),
            vec![
                ("Status", &[0x02]),
                ("Activity::Idle", &[0x00]),
                ("no positions", &[0x00]),
                ("configured", &[0x00]),
                ("homed", &[0x00]),
                ("drivers", &[0x00]),
                ("switches: home", &[0x00]),
                ("switches: far", &[0x00]),
                ("switches: stop", &[0x00]),
                ("switches: contact", &[0x00]),
                ("no halt", &[0x00]),
                ("no homing", &[0x00]),
                ("still", &[0xFF, 0xFF, 0xFF, 0xFF, 0x0F]),
                ("no exposure", &[0x00]),
                ("contacts", &[0x00]),
                ("damaged", &[0x00]),
            ],
        ),
        (
            Answer::Status(Status {
                activity: Activity::Homing(AxisIndex(3)),
                positions: Few::from_slice(&[Steps(1_000), Steps(-48_000)]).unwrap(),
                configured: AxisMask(0b11),
                homed: AxisMask(0b01),
                drivers: true,
                switches: Switches {
                    home: AxisMask(0x80),
                    far: AxisMask(0x02),
                    stop: true,
                    contact: true,
                },
                halt: Some(Halt::Limit {
                    axis: AxisIndex(1),
                    toward: Toward::Positive,
                }),
                homing: Some(HomingReport {
                    request: RequestId(199),
                    axis: AxisIndex(0),
                    result: Ok(HomeFound {
                        was: Steps(-3),
                        opened: Steps(25),
                    }),
                }),
                still: Ticks(0),
                exposure: Some((
                    Token {
                        slot: 300,
                        attempt: 1,
                    },
                    ExposureFact::Fired { contacts: 1 },
                )),
                contacts: 300,
                damaged: 129,
            }),
            vec![
                ("Status", &[0x02]),
                ("Activity::Homing, axis", &[0x02, 0x03]),
                ("two positions", &[0x02]),
                ("position", &[0xD0, 0x0F]),
                ("position", &[0xFF, 0xED, 0x05]),
                ("configured", &[0x03]),
                ("homed", &[0x01]),
                ("drivers", &[0x01]),
                ("switches: home", &[0x80]),
                ("switches: far", &[0x02]),
                ("switches: stop", &[0x01]),
                ("switches: contact", &[0x01]),
                ("a halt", &[0x01]),
                ("Halt::Limit", &[0x01]),
                ("axis", &[0x01]),
                ("Toward::Positive", &[0x01]),
                ("a homing", &[0x01]),
                ("request", &[0xC7, 0x01]),
                ("axis", &[0x00]),
                ("found", &[0x00]),
                ("was", &[0x05]),
                ("opened", &[0x32]),
                ("still", &[0x00]),
                ("an exposure", &[0x01]),
                ("slot", &[0xAC, 0x02]),
                ("attempt", &[0x01]),
                ("ExposureFact::Fired, contacts", &[0x01, 0x01]),
                ("contacts", &[0xAC, 0x02]),
                ("damaged", &[0x81, 0x01]),
            ],
        ),
        (
            Answer::Exposure(ExposureFact::Fired { contacts: 255 }),
            vec![
                ("Exposure", &[0x03]),
                ("ExposureFact::Fired", &[0x01]),
                ("contacts, a plain byte", &[0xFF]),
            ],
        ),
    ]
}

#[test]
fn every_answer() {
    let mut pinned = BTreeSet::new();
    for (answer, fields) in answers() {
        pinned.insert(index_of_answer(&answer));
        assert_eq!(fields[0].1, [index_of_answer(&answer)]);
        pin_reply(Ok(answer), &fields);
    }
    complete(&pinned, 4);
}

#[test]
fn everything_a_status_can_say() {
    pin(&Activity::Idle, &[("Idle", &[0x00])]);
    pin(&Activity::Moving, &[("Moving", &[0x01])]);
    pin(
        &Activity::Homing(AxisIndex(4)),
        &[("Homing", &[0x02]), ("axis", &[0x04])],
    );
    pin(&Activity::Stopping, &[("Stopping", &[0x03])]);
    pin(&Activity::Exposing, &[("Exposing", &[0x04])]);

    pin(&Halt::Stop, &[("Stop", &[0x00])]);
    pin(
        &Halt::Limit {
            axis: AxisIndex(6),
            toward: Toward::Negative,
        },
        &[("Limit", &[0x01]), ("axis", &[0x06]), ("toward", &[0x00])],
    );
    pin(&Halt::Silence, &[("Silence", &[0x02])]);
    pin(&Halt::Asked, &[("Asked", &[0x03])]);

    pin(&HomingFault::NotFound, &[("NotFound", &[0x00])]);
    pin(&HomingFault::NeverOpens, &[("NeverOpens", &[0x01])]);
    pin(&HomingFault::OtherEnd, &[("OtherEnd", &[0x02])]);
    pin(&HomingFault::Interrupted, &[("Interrupted", &[0x03])]);
    pin(
        &HomingReport {
            request: RequestId(1),
            axis: AxisIndex(2),
            result: Err(HomingFault::NeverOpens),
        },
        &[
            ("request", &[0x01]),
            ("axis", &[0x02]),
            ("failed", &[0x01]),
            ("NeverOpens", &[0x01]),
        ],
    );

    pin(&ExposureFact::Running, &[("Running", &[0x00])]);
    pin(
        &ExposureFact::Fired { contacts: 2 },
        &[("Fired", &[0x01]), ("contacts", &[0x02])],
    );
    pin(&ExposureFact::Never, &[("Never", &[0x02])]);
    pin(&ExposureFact::Unknown, &[("Unknown", &[0x03])]);
}

fn index_of_refusal(refusal: &Refusal) -> u8 {
    match refusal {
        Refusal::OtherBoot(_) => 0,
        Refusal::OtherSession(_) => 1,
        Refusal::Stale(_) => 2,
        Refusal::OtherSchema => 3,
        Refusal::NoAxis(_) => 4,
        Refusal::NotConfigured(_) => 5,
        Refusal::BadValue(_) => 6,
        Refusal::TooFast(_) => 7,
        Refusal::TooLong => 8,
        Refusal::Busy(_) => 9,
        Refusal::Halted(_) => 10,
        Refusal::DriversOff => 11,
        Refusal::NotHomed(_) => 12,
        Refusal::OutsideTravel(_) => 13,
        Refusal::NotThere { .. } => 14,
        Refusal::SwitchTripped(_) => 15,
        Refusal::NotSettled { .. } => 16,
        Refusal::NoShot => 17,
        Refusal::Spent(_) => 18,
        Refusal::BadTime => 19,
    }
}

fn refusals() -> Vec<(Refusal, Vec<Field>)> {
    vec![
        (
            Refusal::OtherBoot(BootId(0x0123_4567_89AB_CDEF)),
            vec![
                ("OtherBoot", &[0x00]),
                (
                    "the board's",
                    &[0xEF, 0x9B, 0xAF, 0xCD, 0xF8, 0xAC, 0xD1, 0x91, 0x01],
                ),
            ],
        ),
        (
            Refusal::OtherSession(SessionId(129)),
            vec![("OtherSession", &[0x01]), ("the open one", &[0x81, 0x01])],
        ),
        (
            Refusal::Stale(RequestId(300)),
            vec![("Stale", &[0x02]), ("number", &[0xAC, 0x02])],
        ),
        (Refusal::OtherSchema, vec![("OtherSchema", &[0x03])]),
        (
            Refusal::NoAxis(AxisIndex(255)),
            vec![("NoAxis", &[0x04]), ("axis", &[0xFF])],
        ),
        (
            Refusal::NotConfigured(AxisIndex(1)),
            vec![("NotConfigured", &[0x05]), ("axis", &[0x01])],
        ),
        (
            Refusal::BadValue(AxisIndex(2)),
            vec![("BadValue", &[0x06]), ("axis", &[0x02])],
        ),
        (
            Refusal::TooFast(AxisIndex(3)),
            vec![("TooFast", &[0x07]), ("axis", &[0x03])],
        ),
        (Refusal::TooLong, vec![("TooLong", &[0x08])]),
        (
            Refusal::Busy(Activity::Exposing),
            vec![("Busy", &[0x09]), ("Activity::Exposing", &[0x04])],
        ),
        (
            Refusal::Halted(Halt::Silence),
            vec![("Halted", &[0x0A]), ("Halt::Silence", &[0x02])],
        ),
        (Refusal::DriversOff, vec![("DriversOff", &[0x0B])]),
        (
            Refusal::NotHomed(AxisMask(0b1010_0001)),
            vec![("NotHomed", &[0x0C]), ("axes", &[0xA1])],
        ),
        (
            Refusal::OutsideTravel(AxisIndex(4)),
            vec![("OutsideTravel", &[0x0D]), ("axis", &[0x04])],
        ),
        (
            Refusal::NotThere {
                axis: AxisIndex(5),
                at: Steps(-65),
            },
            vec![
                ("NotThere", &[0x0E]),
                ("axis", &[0x05]),
                ("at", &[0x81, 0x01]),
            ],
        ),
        (
            Refusal::SwitchTripped(AxisIndex(6)),
            vec![("SwitchTripped", &[0x0F]), ("axis", &[0x06])],
        ),
        (
            Refusal::NotSettled { wait: Ticks(2_000) },
            vec![("NotSettled", &[0x10]), ("wait", &[0xD0, 0x0F])],
        ),
        (Refusal::NoShot, vec![("NoShot", &[0x11])]),
        (
            Refusal::Spent(Token {
                slot: 96,
                attempt: 300,
            }),
            vec![
                ("Spent", &[0x12]),
                ("slot", &[0x60]),
                ("attempt", &[0xAC, 0x02]),
            ],
        ),
        (Refusal::BadTime, vec![("BadTime", &[0x13])]),
    ]
}

#[test]
fn every_refusal() {
    let mut pinned = BTreeSet::new();
    for (refusal, fields) in refusals() {
        pinned.insert(index_of_refusal(&refusal));
        assert_eq!(fields[0].1, [index_of_refusal(&refusal)]);
        pin_reply(Err(refusal), &fields);
    }
    complete(&pinned, 20);
}
