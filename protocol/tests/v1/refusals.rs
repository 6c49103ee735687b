//! Every refusal, byte for byte.

use super::answers::pin_reply;
use super::*;

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
