//! Arbitrary bytes as each kind of message: what can be read is written and read again as the
//! same, fits a frame, and is what a board or a host would read from that frame.
#![no_main]

use std::collections::BTreeSet;
use std::fmt::Debug;

use libfuzzer_sys::fuzz_target;
use panestep_fuzz::{frame, plant};
use panestep_protocol::frame::decode;
use panestep_protocol::{
    FrameError, FromBoard, Hello, Identity, MAX_FRAME, MAX_MESSAGE, Reply, Request, ToBoard, encode,
};
use serde::Serialize;
use serde::de::DeserializeOwned;

fuzz_target!(
    init: plant(&[b"PANE".to_vec()], &BTreeSet::new()),
    |data: &[u8]| {
        part::<Hello>(data);
        part::<Identity>(data);
        part::<Request>(data);
        part::<Reply>(data);
        if part::<ToBoard>(data) | part::<FromBoard>(data) {
            whole::<ToBoard>(data);
            whole::<FromBoard>(data);
        }
    }
);

/// Whether it can be read.
fn part<T: Serialize + DeserializeOwned + PartialEq + Debug>(data: &[u8]) -> bool {
    let Ok((message, _)) = postcard::take_from_bytes::<T>(data) else {
        return false;
    };
    let mut buffer = [0; MAX_MESSAGE];
    let written = postcard::to_slice(&message, &mut buffer).expect("every message has room");
    let (again, rest) = postcard::take_from_bytes::<T>(written).expect("it was just written");
    assert_eq!((&again, rest), (&message, &[][..]));
    true
}

/// The frame around just these bytes is the message that the bytes are, or none.
fn whole<T: Serialize + DeserializeOwned + PartialEq + Debug>(data: &[u8]) {
    let expected = match postcard::take_from_bytes::<T>(data) {
        Ok((message, [])) => Ok(message),
        _ => Err(FrameError::NotAMessage),
    };
    let mut framed = frame(data);
    assert_eq!(framed.pop(), Some(0));
    let answer = decode::<T>(&mut framed);
    assert_eq!(answer, expected);
    if let Ok(message) = answer {
        assert!(encode(&message, &mut [0; MAX_FRAME]).is_ok());
    }
}
