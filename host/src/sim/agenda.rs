//! What is going to happen, in order, and a trace of what has happened.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::fault::Fault;

/// Something that is going to happen.
#[derive(Clone, Debug)]
pub(super) enum Event {
    /// A switch's contact opens or closes, bouncing or for good.
    SwitchEdge {
        axis: usize,
        end: End,
        /// Which swing of the switch it belongs to: edges of an earlier one are void.
        swing: u32,
        tripped: bool,
    },
    /// Something in the camera.
    Camera(CameraEvent),
    /// Carriages whose motors are off sink a little.
    Sink,
    /// Bytes reach a board.
    ToBoard {
        board: usize,
        /// Which opening of the port they belong to.
        opening: u32,
        bytes: Vec<u8>,
    },
    /// Bytes reach the host.
    ToHost {
        board: usize,
        opening: u32,
        bytes: Vec<u8>,
    },
    /// A board comes up after a reset.
    Boot { board: usize, boot: u32 },
    /// A fault that was asked for.
    Fault(Fault),
}

/// Which end of an axis a switch is at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    Home,
    Far,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum CameraEvent {
    Open,
    ContactOpens,
    /// Half of the exposure has passed.
    Middle,
    Close,
}

struct Entry {
    at: u64,
    /// Breaks ties: first put down, first served.
    order: u64,
    event: Event,
}

impl PartialEq for Entry {
    fn eq(&self, other: &Self) -> bool {
        (self.at, self.order) == (other.at, other.order)
    }
}

impl Eq for Entry {}

impl PartialOrd for Entry {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Entry {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.at, self.order).cmp(&(other.at, other.order))
    }
}

/// Events in order of time. Times are nanoseconds since the start of the world.
#[derive(Default)]
pub(super) struct Agenda {
    heap: BinaryHeap<Reverse<Entry>>,
    order: u64,
}

impl Agenda {
    pub(super) fn put(&mut self, at: u64, event: Event) {
        self.order += 1;
        let order = self.order;
        self.heap.push(Reverse(Entry { at, order, event }));
    }

    /// When the next event is due; the end of time where there is none.
    pub(super) fn next_at(&self) -> u64 {
        self.heap.peek().map_or(u64::MAX, |entry| entry.0.at)
    }

    pub(super) fn take(&mut self) -> Option<(u64, Event)> {
        self.heap.pop().map(|entry| (entry.0.at, entry.0.event))
    }
}

/// A running hash over every pin edge and every byte, with their times: two runs with the same
/// hash were the same run.
#[derive(Clone, Copy, Debug)]
pub(super) struct Trace(u64);

/// What a trace entry is about.
#[derive(Clone, Copy, Debug)]
#[repr(u8)]
pub(super) enum Mark {
    Directions,
    Step,
    Drivers,
    Home,
    Far,
    Stop,
    HalfPress,
    Release,
    Contact,
    Lamps,
    Kept,
    ToBoard,
    ToHost,
}

impl Default for Trace {
    fn default() -> Self {
        Self(0xCBF2_9CE4_8422_2325)
    }
}

impl Trace {
    /// Notes an edge. In the manner of FNV-1a, but a word at a time; the rotation brings the high
    /// bits back down.
    pub(super) fn note(&mut self, at: u64, mark: Mark, board: usize, value: u64) {
        for word in [at, (board as u64) << 8 | mark as u64, value] {
            self.0 = (self.0 ^ word)
                .wrapping_mul(0x0000_0100_0000_01B3)
                .rotate_left(29);
        }
    }

    pub(super) fn note_bytes(&mut self, at: u64, mark: Mark, board: usize, bytes: &[u8]) {
        self.note(at, mark, board, bytes.len() as u64);
        for &byte in bytes {
            self.0 = (self.0 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3);
        }
    }

    pub(super) const fn value(self) -> u64 {
        self.0
    }
}
