//! Properties of the messages' framing: whatever is sent arrives, whatever is damaged does not,
//! and whatever comes in does no harm. All draws come from fixed seeds.

use core::fmt::Debug;

use panestep_protocol::frame::decode;
use panestep_protocol::{
    Accumulator, Answer, BootId, Command, FromBoard, Hello, MAGIC, MAX_FRAME, Reply, Request,
    RequestId, SessionId, Steps, Ticks, ToBoard, encode,
};
use panestep_protocol::{AxisIndex, AxisTarget, FrameError, Identity, NudgeOrder};
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestCaseError};
use reference::{Random, Raw};
use serde::Serialize;
use serde::de::DeserializeOwned;

mod draw;
mod reference;

/// Miri runs some hundred times slower: it gets a few of everything.
const fn fewer(count: usize) -> usize {
    if cfg!(miri) { count / 1_000 } else { count }
}

fn settings() -> ProptestConfig {
    ProptestConfig {
        cases: fewer(2_000) as u32,
        rng_seed: RngSeed::Fixed(0x50_41_4E_45),
        failure_persistence: None,
        ..ProptestConfig::default()
    }
}

/// A message's frame.
fn frame_of<T: Serialize>(message: &T) -> Vec<u8> {
    let mut buffer = [0; MAX_FRAME];
    encode(message, &mut buffer).unwrap().to_vec()
}

/// Everything that comes of some bytes.
fn feed<T: DeserializeOwned>(
    accumulator: &mut Accumulator<T>,
    bytes: &[u8],
) -> Vec<Result<T, FrameError>> {
    bytes
        .iter()
        .filter_map(|&byte| accumulator.push(byte))
        .collect()
}

/// Sends a message and receives it again; then the same bytes as a reader would see them that
/// shares no code with ours.
fn there_and_back<T>(message: &T) -> Result<(), TestCaseError>
where
    T: Serialize + DeserializeOwned + PartialEq + Clone + Debug,
{
    let frame = frame_of(message);
    let mut accumulator = Accumulator::default();
    let (end, before) = frame.split_last().unwrap();
    prop_assert_eq!(feed::<T>(&mut accumulator, before), []);
    prop_assert_eq!(accumulator.push(*end), Some(Ok(message.clone())));

    let body = reference::unframe(&frame);
    let mut again = reference::frame(&body);
    again.pop();
    prop_assert_eq!(decode::<T>(&mut again), Ok(message.clone()));
    Ok(())
}

proptest! {
    #![proptest_config(settings())]

    #[test]
    fn what_a_host_sends_arrives(message in draw::to_board()) {
        there_and_back(&message)?;
    }

    #[test]
    fn what_a_board_sends_arrives(message in draw::from_board()) {
        there_and_back(&message)?;
    }

    /// After any bytes at all and a zero, the next frame is read; and so is every frame after it.
    #[test]
    fn the_next_zero_brings_it_back_in_step(
        garbage in prop::collection::vec(any::<u8>(), 0..3 * MAX_FRAME),
        first in draw::to_board(),
        second in draw::to_board(),
    ) {
        let mut accumulator = Accumulator::default();
        feed(&mut accumulator, &garbage);
        accumulator.push(0);
        let sent = [frame_of(&first), frame_of(&second)].concat();
        prop_assert_eq!(feed(&mut accumulator, &sent), [Ok(first), Ok(second)]);
    }

    /// Garbage that runs straight into a frame costs that frame at most, never the one behind.
    #[test]
    fn garbage_costs_one_frame_at_most(
        garbage in prop::collection::vec(1..=u8::MAX, 1..3 * MAX_FRAME),
        first in draw::from_board(),
        second in draw::from_board(),
    ) {
        let mut accumulator = Accumulator::default();
        let sent = [garbage, frame_of(&first), frame_of(&second)].concat();
        let read = feed(&mut accumulator, &sent);
        prop_assert_eq!(read.len(), 2);
        prop_assert!(read[0].is_err());
        prop_assert_eq!(&read[1], &Ok(second));
    }

    /// A frame cut short anywhere is no message, and the next one is read all the same.
    #[test]
    fn a_frame_cut_short_is_refused(
        cut in draw::to_board(),
        next in draw::to_board(),
        place in any::<prop::sample::Index>(),
    ) {
        let frame = frame_of(&cut);
        let left = 1 + place.index(frame.len() - 2);
        let mut accumulator = Accumulator::default();
        let sent = [&frame[..left], &[0], &frame_of(&next)].concat();
        let read = feed(&mut accumulator, &sent);
        prop_assert_eq!(read.len(), 2);
        prop_assert!(read[0].is_err());
        prop_assert_eq!(&read[1], &Ok(next));
    }

    /// No two messages share a frame.
    #[test]
    fn different_messages_have_different_frames(a in draw::to_board(), b in draw::to_board()) {
        prop_assert_eq!(a == b, frame_of(&a) == frame_of(&b));
    }
}

/// Messages with many zeros and with none, short and long.
fn samples() -> Vec<ToBoard> {
    let request = |command| {
        ToBoard::Request(Request {
            boot: BootId(0x0123_4567_89AB_CDEF),
            session: SessionId(7),
            id: RequestId(200),
            command,
        })
    };
    let target = |axis, from, to| AxisTarget {
        axis: AxisIndex(axis),
        from: Steps(from),
        to: Steps(to),
    };
    let targets = (0..8).map(|axis| target(axis, 0, i32::from(axis) * 1_000 - 3_500));
    vec![
        ToBoard::Hello(Hello {
            magic: MAGIC,
            version: 1,
            schema: [0; 8],
            nonce: 0,
        }),
        request(Command::Status),
        request(Command::Nudge(NudgeOrder {
            axis: AxisIndex(0),
            from: Steps(0),
            by: Steps(-1),
        })),
        request(Command::Move {
            targets: targets.collect(),
        }),
    ]
}

/// The same from a board.
fn answers() -> Vec<FromBoard> {
    vec![
        FromBoard::Identity(Identity {
            magic: MAGIC,
            version: 1,
            schema: [0xA5; 8],
            nonce: 77,
            name: "main".try_into().unwrap(),
            axes: 6,
            tick_rate: 100_000,
            boot: BootId(0),
            session: SessionId(0),
            mark: None,
        }),
        FromBoard::Reply(Reply {
            boot: BootId(u64::MAX),
            session: SessionId(1),
            id: RequestId(1),
            at: Ticks(0),
            result: Ok(Answer::Done),
        }),
    ]
}

/// Turns every single bit of a frame, and every pair of bits, its closing zero included; a sound
/// frame follows. Nothing is read but that.
fn turned_bits_are_noticed<T>(message: &T) -> usize
where
    T: Serialize + DeserializeOwned + PartialEq + Debug,
{
    let frame = frame_of(message);
    let bits = frame.len() * 8;
    let mut turned = 0;
    let mut check = |places: &[usize]| {
        let mut damaged = frame.clone();
        for &place in places {
            damaged[place / 8] ^= 1 << (place % 8);
        }
        // A zero ends whatever the damage left open.
        damaged.push(0);
        let mut accumulator = Accumulator::default();
        let read = feed::<T>(&mut accumulator, &damaged);
        assert!(
            read.iter().all(Result::is_err),
            "bits {places:?} of {message:?}: {read:?}"
        );
        let read = feed::<T>(&mut accumulator, &frame);
        assert!(matches!(&read[..], [Ok(next)] if next == message));
        turned += 1;
    };
    for first in (0..bits).step_by(if cfg!(miri) { 60 } else { 1 }) {
        check(&[first]);
        for second in (0..first).step_by(if cfg!(miri) { 500 } else { 1 }) {
            check(&[first, second]);
        }
    }
    turned
}

#[test]
fn every_turned_bit_is_noticed() {
    let turned: usize = samples().iter().map(turned_bits_are_noticed).sum::<usize>()
        + answers().iter().map(turned_bits_are_noticed).sum::<usize>();
    assert!(turned > if cfg!(miri) { 15 } else { 180_000 }, "{turned}");
}

/// However long the input without a zero, it is one error, said at the zero.
#[test]
fn endless_input_is_one_error() {
    for length in [
        MAX_FRAME + 1,
        MAX_FRAME + 2,
        10 * MAX_FRAME,
        fewer(1_000_000),
    ] {
        let mut accumulator = Accumulator::<ToBoard>::default();
        for _ in 0..length {
            assert_eq!(accumulator.push(1), None);
        }
        assert_eq!(accumulator.push(0), Some(Err(FrameError::TooLong)));
        assert_eq!(accumulator.push(0), None, "nothing is left of it");
        let message = &samples()[0];
        assert_eq!(
            feed(&mut accumulator, &frame_of(message)),
            [Ok(message.clone())]
        );
    }
    // It holds its buffer and no more, and cannot grow: it has no heap.
    assert!(size_of::<Accumulator<ToBoard>>() <= MAX_FRAME + 32);
}

/// Zeros alone are no frames and no errors.
#[test]
fn zeros_are_nothing() {
    let mut accumulator = Accumulator::<FromBoard>::default();
    for _ in 0..1_000 {
        assert_eq!(accumulator.push(0), None);
    }
}

/// Random bytes, with zeros rare and frequent, into both ends.
#[test]
fn a_million_random_bytes_do_no_harm() {
    for (seed, zero_in) in [(1, 256), (2, 64), (3, 8), (4, 1_000_000)] {
        let mut random = Random(seed);
        let mut host = Accumulator::<FromBoard>::default();
        let mut board = Accumulator::<ToBoard>::default();
        let mut errors = 0;
        for _ in 0..fewer(1_000_000) {
            let byte = if random.below(zero_in) == 0 {
                0
            } else {
                random.byte()
            };
            let read = (host.push(byte), board.push(byte));
            assert!(!matches!(read.0, Some(Ok(_))), "seed {seed}");
            assert!(!matches!(read.1, Some(Ok(_))), "seed {seed}");
            errors += usize::from(read.1.is_some());
        }
        assert!(errors > fewer(1_000), "seed {seed}: {errors} errors");
    }
}

/// Random bytes behind a sound checksum: past the frame, into the messages. Whatever is read is
/// written and read again as the same.
#[test]
fn random_messages_do_no_harm() {
    fn try_one<T>(body: &[u8]) -> bool
    where
        T: Serialize + DeserializeOwned + PartialEq + Debug,
    {
        let mut buffer = [0; 2 * MAX_FRAME];
        let mut frame = encode(&Raw(body), &mut buffer).unwrap().to_vec();
        frame.pop();
        match decode::<T>(&mut frame) {
            Ok(message) => {
                let mut again = frame_of(&message);
                again.pop();
                assert_eq!(decode::<T>(&mut again), Ok(message));
                true
            }
            Err(error) => {
                assert_eq!(error, FrameError::NotAMessage, "{body:02X?}");
                false
            }
        }
    }

    let bodies: Vec<Vec<u8>> = samples()
        .iter()
        .map(frame_of)
        .chain(answers().iter().map(frame_of))
        .map(|frame| reference::unframe(&frame))
        .collect();
    let mut random = Random(5);
    let mut sound = 0;
    let rounds = if cfg!(miri) { 30 } else { 300_000 };
    for round in 0..rounds {
        let body: Vec<u8> = if round % 2 == 0 {
            (0..random.below(60)).map(|_| random.byte()).collect()
        } else {
            // A message of which some bytes have become others.
            let mut body = bodies[random.below(bodies.len())].clone();
            for _ in 0..=random.below(4) {
                let place = random.below(body.len());
                body[place] = random.byte();
            }
            body
        };
        sound += usize::from(try_one::<ToBoard>(&body));
        sound += usize::from(try_one::<FromBoard>(&body));
    }
    assert!(
        (rounds / 30..rounds - rounds / 30).contains(&sound),
        "{sound} of {} were messages",
        2 * rounds
    );
}
