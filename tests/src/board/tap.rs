//! Listens in to what the host sends: how often it asks for an exposure, how soon it is answered.
//!
//! It reads the frames with the protocol's own decoder, as the board does. What a noisy line has
//! damaged is no request to it either.

use std::collections::HashSet;
use std::time::Duration;

use panestep_protocol::{
    Accumulator, Command, RequestId, SessionId, ShotId, ToBoard, Token, frame::FrameError,
};

/// What has gone to and fro.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Talk {
    /// Requests, each counted once.
    pub requests: u32,
    /// How often one has been sent once more.
    pub repeated: u32,
    /// Longest emulated time from the sending of a greeting or request to the first byte after it.
    pub longest: Duration,
}

/// Reads along.
#[derive(Debug, Default)]
pub(super) struct Tap {
    frames: Accumulator<ToBoard>,
    last: Option<(SessionId, RequestId)>,
    /// When the greeting or request was sent that has not been answered.
    pub(super) asked: Option<Duration>,
    pub(super) talk: Talk,
    /// The exposures that have been asked for.
    fired: HashSet<(ShotId, Token)>,
}

impl Tap {
    /// Bytes for the board. Returns how many exposures they ask for that nothing has asked for yet.
    pub(super) fn sent(&mut self, bytes: &[u8], now: Duration) -> u32 {
        let mut exposures = 0;
        for &byte in bytes {
            if let Some(message) = self.frames.push(byte) {
                exposures += self.message(message, now);
            }
        }
        exposures
    }

    fn message(&mut self, message: Result<ToBoard, FrameError>, now: Duration) -> u32 {
        let request = match message {
            Ok(ToBoard::Request(request)) => request,
            Ok(ToBoard::Hello(_)) => {
                self.asked.get_or_insert(now);
                return 0;
            }
            Err(_) => return 0,
        };
        let number = (request.session, request.id);
        if self.last == Some(number) {
            // The time runs on: it is the first sending that has not been answered.
            self.talk.repeated += 1;
        } else {
            self.last = Some(number);
            self.asked = Some(now);
            self.talk.requests += 1;
        }
        match request.command {
            // Asked for again after a reset it is the same exposure still.
            Command::Fire(order) => u32::from(self.fired.insert((order.shot, order.token))),
            _ => 0,
        }
    }

    /// Bytes from the board have come.
    pub(super) fn heard(&mut self, now: Duration) {
        if let Some(sent) = self.asked.take() {
            self.talk.longest = self.talk.longest.max(now.saturating_sub(sent));
        }
    }
}
