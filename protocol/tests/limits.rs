//! How long messages and frames can get.

use heapless::Vec as Few;
use panestep_protocol::{
    Activity, Answer, AxisIndex, AxisMask, AxisTarget, BootId, Command, ExposureFact, FromBoard,
    Halt, HomeFound, HomingReport, Identity, MAX_AXES, MAX_FRAME, MAX_MESSAGE, MAX_NAME, Mark,
    Reply, Request, RequestId, SessionId, ShotId, Status, Steps, Switches, Ticks, ToBoard, Token,
    Toward, encode,
};
use reference::Raw;
use serde::Serialize;

mod reference;

/// Every number at its longest.
const TOKEN: Token = Token {
    slot: u32::MAX,
    attempt: u16::MAX,
};
const SHOT: ShotId = ShotId(u64::MAX);
const BOOT: BootId = BootId(u64::MAX);
const SESSION: SessionId = SessionId(u32::MAX);
const REQUEST: RequestId = RequestId(u32::MAX);
const STEPS: Steps = Steps(i32::MIN);
const TICKS: Ticks = Ticks(u32::MAX);
const AXIS: AxisIndex = AxisIndex(u8::MAX);
const AXES: AxisMask = AxisMask(u8::MAX);

fn longest_move() -> ToBoard {
    let target = AxisTarget {
        axis: AXIS,
        from: STEPS,
        to: STEPS,
    };
    ToBoard::Request(Request {
        boot: BOOT,
        session: SESSION,
        id: REQUEST,
        command: Command::Move {
            targets: Few::from_slice(&[target; MAX_AXES]).unwrap(),
        },
    })
}

fn longest_status() -> FromBoard {
    FromBoard::Reply(Reply {
        boot: BOOT,
        session: SESSION,
        id: REQUEST,
        at: TICKS,
        result: Ok(Answer::Status(Status {
            activity: Activity::Homing(AXIS),
            positions: Few::from_slice(&[STEPS; MAX_AXES]).unwrap(),
            configured: AXES,
            homed: AXES,
            drivers: true,
            switches: Switches {
                home: AXES,
                far: AXES,
                stop: true,
                contact: true,
            },
            halt: Some(Halt::Limit {
                axis: AXIS,
                toward: Toward::Positive,
            }),
            homing: Some(HomingReport {
                request: REQUEST,
                axis: AXIS,
                result: Ok(HomeFound {
                    was: STEPS,
                    opened: STEPS,
                }),
            }),
            still: TICKS,
            exposure: Some((TOKEN, ExposureFact::Fired { contacts: u8::MAX })),
            contacts: u32::MAX,
            damaged: u32::MAX,
        })),
    })
}

fn longest_identity() -> FromBoard {
    FromBoard::Identity(Identity {
        magic: [u8::MAX; 4],
        version: u16::MAX,
        schema: [u8::MAX; 8],
        nonce: u32::MAX,
        name: core::iter::repeat_n('n', MAX_NAME).collect(),
        axes: u8::MAX,
        tick_rate: u32::MAX,
        boot: BOOT,
        session: SESSION,
        mark: Some(Mark {
            shot: SHOT,
            token: TOKEN,
        }),
    })
}

/// A message's length with its CRC, after checking that its frame keeps within `MAX_FRAME`.
fn length<T: Serialize>(message: &T) -> usize {
    let mut buffer = [0; 2 * MAX_FRAME];
    let frame = encode(message, &mut buffer).unwrap();
    assert!(frame.len() <= MAX_FRAME, "a frame of {}", frame.len());
    reference::unframe(frame).len() + 4
}

/// `MAX_MESSAGE` comes out of postcard's arithmetic on the types; here it is out of messages.
#[test]
fn the_longest_message_is_as_long_as_was_said() {
    let lengths = [
        length(&longest_move()),
        length(&longest_status()),
        length(&longest_identity()),
    ];
    assert_eq!(lengths.iter().max(), Some(&MAX_MESSAGE), "{lengths:?}");
}

/// Also where no byte of the longest message is zero: the worst that COBS can meet.
#[test]
fn a_frame_of_the_longest_bytes_just_fits() {
    for length in (0..=MAX_MESSAGE - 4).step_by(if cfg!(miri) { 37 } else { 1 }) {
        let bytes = vec![1; length];
        let mut buffer = [0; MAX_FRAME];
        let frame = encode(&Raw(&bytes), &mut buffer).unwrap();
        assert_eq!(reference::unframe(frame), bytes);
    }
}

/// The formula behind `MAX_FRAME` at every length, also those that today's longest message does
/// not have: full blocks at the very end cost one byte more than might be thought.
#[test]
fn the_bound_holds_at_every_length() {
    let mut met = 0;
    // A few in Miri, which is slow.
    let step = if cfg!(miri) { 101 } else { 1 };
    for length in (0..1_100).step_by(step) {
        let bytes = vec![1; length];
        let message = length + 4;
        let bound = message + message / 254 + 1 + 1;
        let mut buffer = vec![0; 2_000];
        let frame = encode(&Raw(&bytes), &mut buffer).unwrap();
        assert!(frame.len() <= bound, "{length} bytes: {}", frame.len());
        met += usize::from(frame.len() == bound);
    }
    assert!(met > 1_000 / step, "the bound is close: met {met} times");
    assert_eq!(MAX_FRAME, MAX_MESSAGE + MAX_MESSAGE / 254 + 2);
}

/// A board keeps a frame each way, and one message, in memory: some hundred bytes in all.
#[test]
fn messages_are_small() {
    const { assert!(MAX_FRAME <= 256) };
    const { assert!(size_of::<ToBoard>() <= 256) };
    const { assert!(size_of::<FromBoard>() <= 256) };
}

/// Every buffer that is too small is refused, and no byte behind it is touched.
#[test]
fn no_room_is_said() {
    let message = longest_status();
    let mut whole = [0; MAX_FRAME];
    let length = encode(&message, &mut whole).unwrap().len();
    for room in (0..length).step_by(if cfg!(miri) { 9 } else { 1 }) {
        let mut buffer = [0xEE; MAX_FRAME];
        let refused = encode(&message, &mut buffer[..room]).unwrap_err();
        assert_eq!(refused, panestep_protocol::FrameError::NoRoom);
        assert!(buffer[room..].iter().all(|&byte| byte == 0xEE));
    }
    let mut buffer = [0; MAX_FRAME];
    assert!(encode(&message, &mut buffer[..length]).is_ok());
}
