//! What a journal's lines amount to: where a take stands, frame by frame.
//!
//! A frame in here is one exposure to make, by its number in the order in which they are made: where
//! every frame of the shot gets one, that is the frame's own number, and where it gets several,
//! [`TakeState::order`] tells the frame and the pass.
//!
//! A **slot** is one intended exposure, numbered from 1 through the whole take; a frame that is
//! shot again gets a slot of its own, and the history of the earlier one stays. The next frame is
//! always the first that is still wanted.

mod follow;

use std::collections::{BTreeMap, BTreeSet};

use panestep_protocol::{BootId, ShotId, Token};

pub use super::frame::{Check, Drift, FrameState, Open, Standing, Suspects};
use super::journal::Entry;
use super::span::Span;
use crate::schedule::{MAX_FRAMES, Order, Turn};

/// Where a take stands.
#[derive(Clone, Debug, PartialEq)]
pub struct TakeState {
    /// The shot's name.
    pub name: String,
    /// The exposures to make, in their order.
    pub order: Order,
    /// The names of the passes; empty where every frame gets one exposure.
    pub passes: Vec<String>,
    /// The folder that the shot's art lies relative to.
    pub art: String,
    /// The folder that the stand's command and its pictures' folder lie relative to.
    pub base: String,
    /// The schedule's fingerprint.
    pub schedule: u64,
    /// The take's number for the boards.
    pub shot: ShotId,
    /// The last token whose outcome is known (slot 0 before the first).
    pub spent: Token,
    /// The token to use next.
    pub next: Token,
    /// The intent without an outcome, where there is one.
    pub open: Option<Open>,
    /// The last reading of every axis moved by hand that has been set, by its name.
    pub readings: BTreeMap<String, f64>,
    /// Whether nothing is left to do.
    pub finished: bool,
    /// Lines so far.
    pub lines: u64,
    /// As far as anything has become of a frame.
    table: Vec<FrameState>,
    /// The wanted frame that a person wants next.
    chosen: Option<u32>,
    /// No frame before this one is wanted.
    low: u32,
    wanted: u32,
    dropped: u32,
    /// Frames exposed since the last home check.
    pending: BTreeSet<u32>,
    suspects: BTreeSet<u32>,
    drifts: Vec<Drift>,
    unlit: Vec<(String, u32)>,
    /// The last session with each board: its start, and the session's number.
    sessions: BTreeMap<String, (BootId, u32)>,
    /// The starts of all boards when the last intent was written.
    posed: BTreeMap<String, BootId>,
    /// The start of the board in which each axis was homed last.
    homed: BTreeMap<String, BootId>,
    /// Frames in the order in which they were exposed.
    sequence: Vec<u32>,
    /// What people have said of slots: the frame, and whether it was exposed.
    verdicts: BTreeMap<Token, (u32, bool)>,
    pictures: BTreeSet<String>,
    digests: BTreeMap<u64, String>,
}

impl TakeState {
    pub(super) fn begin(entry: &Entry) -> Option<Self> {
        let Entry::Begun {
            name,
            frames,
            passes,
            art,
            base,
            schedule,
            shot,
        } = entry
        else {
            return None;
        };
        let order = Order::new(*frames, passes.iter().map(|pass| pass.when));
        if *frames > MAX_FRAMES || order.turns() > MAX_FRAMES {
            return None;
        }
        Some(Self {
            name: name.clone(),
            wanted: order.turns(),
            order,
            passes: passes.iter().map(|pass| pass.name.clone()).collect(),
            art: art.clone(),
            base: base.clone(),
            schedule: schedule.0,
            shot: ShotId(shot.0),
            spent: Token::default(),
            next: Token {
                slot: 1,
                attempt: 1,
            },
            open: None,
            readings: BTreeMap::new(),
            finished: false,
            lines: 1,
            table: Vec::new(),
            chosen: None,
            low: 1,
            dropped: 0,
            pending: BTreeSet::new(),
            suspects: BTreeSet::new(),
            drifts: Vec::new(),
            unlit: Vec::new(),
            sessions: BTreeMap::new(),
            posed: BTreeMap::new(),
            homed: BTreeMap::new(),
            sequence: Vec::new(),
            verdicts: BTreeMap::new(),
            pictures: BTreeSet::new(),
            digests: BTreeMap::new(),
        })
    }

    /// How many exposures there are to make.
    #[must_use]
    pub fn turns(&self) -> u32 {
        self.order.turns()
    }

    /// The frame and pass of a number; beyond the ends, which no sound journal speaks of, a frame of
    /// that number.
    #[must_use]
    pub fn turn(&self, number: u32) -> Turn {
        self.order.turn(number).unwrap_or(Turn {
            number,
            frame: number,
            pass: 0,
            several: false,
        })
    }

    /// A frame, counted from 1, or `None` beyond the ends.
    #[must_use]
    pub fn frame(&self, frame: u32) -> Option<&FrameState> {
        static UNTOUCHED: FrameState = FrameState::UNTOUCHED;
        let index = index(frame).filter(|_| frame <= self.turns())?;
        Some(self.table.get(index).unwrap_or(&UNTOUCHED))
    }

    fn frame_mut(&mut self, frame: u32) -> Option<&mut FrameState> {
        let index = index(frame).filter(|_| frame <= self.turns())?;
        if index >= self.table.len() {
            self.table.resize(index + 1, FrameState::UNTOUCHED);
        }
        self.table.get_mut(index)
    }

    /// The frame to expose next, or `None` where none is wanted any more.
    #[must_use]
    pub fn next_frame(&self) -> Option<u32> {
        self.chosen.or_else(|| self.wanted().next())
    }

    /// The frames that are still to be exposed, in rising order.
    pub fn wanted(&self) -> impl Iterator<Item = u32> + '_ {
        (self.low..=self.turns()).filter(|&frame| {
            self.frame(frame)
                .is_some_and(|frame| frame.standing == Standing::Wanted)
        })
    }

    /// How many frames are still to be exposed.
    #[must_use]
    pub const fn left(&self) -> u32 {
        self.wanted
    }

    /// How many frames are left out.
    #[must_use]
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Frames that were exposed since the last home check, in rising order.
    pub fn unchecked(&self) -> impl ExactSizeIterator<Item = u32> + '_ {
        self.pending.iter().copied()
    }

    /// Frames in doubt of which nobody has decided yet.
    #[must_use]
    pub fn suspects(&self) -> Option<Suspects> {
        (!self.suspects.is_empty()).then(|| Suspects {
            drifts: self.drifts.clone(),
            unlit: self.unlit.clone(),
            frames: Span::of(self.suspects.iter().copied()),
        })
    }

    /// Whether this was a board's start when the last intent was written.
    #[must_use]
    pub fn posed(&self, board: &str, boot: BootId) -> bool {
        self.posed.get(board) == Some(&boot)
    }

    /// Whether this take has homed an axis in this start of its board, and nobody else has had the
    /// board since, so that its count still says something.
    #[must_use]
    pub fn counted(&self, axis: &str, boot: BootId) -> bool {
        self.homed.get(axis) == Some(&boot)
    }

    /// The frames that were exposed last, the last first, each once.
    #[must_use]
    pub fn last_exposed(&self, count: usize) -> Vec<u32> {
        let mut seen = BTreeSet::new();
        self.sequence
            .iter()
            .rev()
            .copied()
            .filter(|&frame| {
                self.frame(frame)
                    .is_some_and(|frame| frame.standing == Standing::Exposed)
                    && seen.insert(frame)
            })
            .take(count)
            .collect()
    }

    /// What a person said last of a frame: the token, and whether it was exposed.
    #[must_use]
    pub fn verdict(&self, frame: u32) -> Option<(Token, bool)> {
        self.verdicts
            .iter()
            .rev()
            .find(|(_, (of, _))| *of == frame)
            .map(|(&token, &(_, exposed))| (token, exposed))
    }

    /// Whether a picture's file is known: of an exposure, or as one that belongs to none.
    #[must_use]
    pub fn knows(&self, picture: &str) -> bool {
        self.pictures.contains(picture)
    }

    /// The file of an exposure's picture that is the same, dot for dot.
    #[must_use]
    pub fn same_picture(&self, digest: u64) -> Option<&str> {
        self.digests.get(&digest).map(String::as_str)
    }
}

fn index(frame: u32) -> Option<usize> {
    usize::try_from(frame.checked_sub(1)?).ok()
}
