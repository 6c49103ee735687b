//! Arbitrary bytes, and frames around arbitrary bytes, in a row: the accumulator says of each what
//! decoding it alone says, and whatever is a message is one again when it is sent on.
#![no_main]

use std::collections::BTreeSet;
use std::fmt::Debug;

use libfuzzer_sys::fuzz_target;
use panestep_fuzz::{Pieces, frame, plant};
use panestep_protocol::frame::decode;
use panestep_protocol::{
    Accumulator, AxisIndex, BootId, Command, FrameError, FromBoard, Hello, MAGIC, MAX_FRAME,
    Request, RequestId, SessionId, Steps, ToBoard, VERSION, encode, schema,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

fuzz_target!(
    init: plant(&seeds(), &BTreeSet::new()),
    |data: &[u8]| {
        let mut pieces = Pieces(data);
        let mut stream = Vec::new();
        while !pieces.is_empty() {
            let length = pieces.byte();
            let piece = pieces.bytes(usize::from(length & 0x7F));
            if length & 0x80 == 0 {
                stream.extend_from_slice(piece);
            } else {
                stream.extend(frame(piece));
            }
        }
        read::<ToBoard>(&stream);
        read::<FromBoard>(&stream);
    }
);

fn read<T: Serialize + DeserializeOwned + PartialEq + Debug>(stream: &[u8]) {
    let mut accumulator = Accumulator::<T>::default();
    let mut frames = stream.split_inclusive(|&byte| byte == 0);
    for whole in &mut frames {
        let mut said = whole.iter().filter_map(|&byte| accumulator.push(byte));
        let answer = said.next();
        assert!(said.next().is_none(), "one frame, one answer");
        let Some((0, inside)) = whole.split_last() else {
            assert_eq!(answer, None, "nothing is a frame without its zero");
            continue;
        };
        let expected = match inside.len() {
            0 => None,
            1..=MAX_FRAME => Some(decode::<T>(&mut inside.to_vec())),
            _ => Some(Err(FrameError::TooLong)),
        };
        assert_eq!(answer, expected);
        if let Some(Ok(message)) = answer {
            let mut buffer = [0; MAX_FRAME];
            let again = encode(&message, &mut buffer).expect("every message fits a frame");
            let (end, inside) = again.split_last().expect("a frame is not empty");
            assert_eq!(*end, 0);
            assert!(!inside.contains(&0));
            assert_eq!(decode::<T>(&mut inside.to_vec()), Ok(message));
        }
    }
}

fn seeds() -> Vec<Vec<u8>> {
    let request = |command| {
        ToBoard::Request(Request {
            boot: BootId(0x0123_4567_89AB_CDEF),
            session: SessionId(7),
            id: RequestId(200),
            command,
        })
    };
    let hello = ToBoard::Hello(Hello {
        magic: MAGIC,
        version: VERSION,
        schema: schema(),
        nonce: 3,
    });
    let nudge = Command::Nudge(panestep_protocol::NudgeOrder {
        axis: AxisIndex(1),
        from: Steps(-5),
        by: Steps(500),
    });
    let mut seeds = Vec::new();
    for message in [hello, request(Command::Status), request(nudge)] {
        let mut buffer = [0; MAX_FRAME];
        let framed = encode(&message, &mut buffer).expect("it fits").to_vec();
        let body = postcard_bytes(&message);
        seeds.push([&[framed.len() as u8], &framed[..]].concat());
        seeds.push([&[0x80 | body.len() as u8], &body[..]].concat());
    }
    seeds
}

fn postcard_bytes(message: &ToBoard) -> Vec<u8> {
    let mut buffer = [0; MAX_FRAME];
    postcard::to_slice(message, &mut buffer)
        .expect("it fits")
        .to_vec()
}
