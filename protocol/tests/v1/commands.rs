//! Every order, byte for byte.

use super::*;

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
