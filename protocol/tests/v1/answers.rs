//! Every answer, byte for byte.

use super::*;

/// Pins one reply.
pub(super) fn pin_reply(result: Result<Answer, Refusal>, fields: &[Field]) {
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
