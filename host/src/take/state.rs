//! What a journal's lines amount to: where a take stands, frame by frame.
//!
//! A frame in here is one exposure to make, by its number in the order in which they are made: where
//! every frame of the shot gets one, that is the frame's own number, and where it gets several,
//! [`TakeState::order`] tells the frame and the pass.
//!
//! A **slot** is one intended exposure, numbered from 1 through the whole take; a frame that is
//! shot again gets a slot of its own, and the history of the earlier one stays. The next frame is
//! always the first that is still wanted.

use std::collections::{BTreeMap, BTreeSet};

use panestep_protocol::{BootId, ShotId, Token};

pub use super::frame::{Check, Drift, FrameState, Open, Standing, Suspects};
use super::journal::{Entry, Picture};
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

    /// Whether an entry can come next; nothing is changed where it cannot.
    pub(super) fn follow(&mut self, entry: &Entry) -> Result<(), &'static str> {
        match entry {
            Entry::Begun { .. } => return Err("the take begins twice"),
            Entry::Session {
                board,
                boot,
                number,
            } => {
                let now = (BootId(boot.0), *number);
                let before = self.sessions.insert(board.clone(), now);
                // Whoever had the board in between may have homed its axes for a purpose of his
                // own: what was off then is not known here.
                let ours = before.is_none_or(|(boot, last)| {
                    boot != now.0 || last.checked_add(1) == Some(*number)
                });
                if !ours {
                    self.homed.retain(|_, boot| *boot != now.0);
                }
            }
            Entry::Halted { .. } => {}
            Entry::Homing { axis } => {
                self.homed.remove(axis);
            }
            Entry::Homed {
                axis, boot, off, ..
            } => {
                if off.is_none() {
                    for frame in std::mem::take(&mut self.pending) {
                        self.set_check(frame, Check::Unknown);
                    }
                }
                self.homed.insert(axis.clone(), BootId(boot.0));
            }
            Entry::Checked { off } => {
                let check = if off.is_empty() {
                    Check::ByScale
                } else {
                    Check::Passed
                };
                for frame in std::mem::take(&mut self.pending) {
                    self.set_check(frame, check);
                }
            }
            Entry::Suspect { drift, frames } => {
                self.has(frames)?;
                let exposed = |frame| {
                    self.frame(frame)
                        .is_some_and(|frame| frame.standing == Standing::Exposed)
                };
                if !frames.iter().flat_map(|span| span.frames()).all(exposed) {
                    return Err("a frame is doubted that is not exposed");
                }
                self.finished = false;
                for frame in frames.iter().flat_map(|span| span.frames()) {
                    self.pending.remove(&frame);
                    self.suspects.insert(frame);
                    self.set_check(frame, Check::Suspect);
                }
                // Its count is known to be wrong until it has been homed.
                self.homed.remove(&drift.axis);
                self.drifts.push(drift.clone());
            }
            Entry::Kept => {
                if self.suspects.is_empty() {
                    return Err("frames are kept although none is in doubt");
                }
                for frame in std::mem::take(&mut self.suspects) {
                    self.set_check(frame, Check::Kept);
                }
                self.drifts.clear();
            }
            Entry::Again { frames, .. } => self.change(frames, Standing::Wanted)?,
            Entry::Dropped { frames } => self.change(frames, Standing::Dropped)?,
            Entry::Found { pictures } => self.pictures.extend(pictures.iter().cloned()),
            Entry::Reading { axis, reading, .. } => {
                self.readings.insert(axis.clone(), *reading);
            }
            Entry::Arranged { frame, .. } => {
                if self.frame(*frame).is_none() {
                    return Err("a frame beyond the last");
                }
            }
            Entry::Intent {
                frame,
                slot,
                attempt,
                boot,
            } => {
                let token = Token {
                    slot: *slot,
                    attempt: *attempt,
                };
                if self.open.is_some() {
                    return Err("an intent while another is open");
                }
                if token != self.next || Some(*frame) != self.next_frame() {
                    return Err("an intent for another frame than the next");
                }
                let boots = self.sessions.iter();
                self.posed = boots.map(|(name, at)| (name.clone(), at.0)).collect();
                self.open = Some(Open {
                    frame: *frame,
                    token,
                    boot: boot.map(|boot| BootId(boot.0)),
                });
            }
            Entry::Done {
                slot,
                attempt,
                picture,
                ..
            } => {
                let picture = picture.as_ref();
                self.close(*slot, *attempt, true, picture)?;
            }
            Entry::Void { slot, attempt } => {
                self.close(*slot, *attempt, false, None)?;
            }
            Entry::Verdict {
                slot,
                attempt,
                exposed,
                picture,
                others,
                ..
            } => {
                let frame = self.close(*slot, *attempt, *exposed, picture.as_ref())?;
                self.pictures.extend(others.iter().cloned());
                let token = Token {
                    slot: *slot,
                    attempt: *attempt,
                };
                self.verdicts.insert(token, (frame, *exposed));
            }
            Entry::TakenBack {
                slot,
                attempt,
                exposed,
            } => self.take_back(*slot, *attempt, *exposed)?,
            Entry::Behind { slot, attempt, .. } => {
                let token = Token {
                    slot: *slot,
                    attempt: *attempt,
                };
                if self.open.is_some() || token < self.next {
                    return Err("the board is said to be ahead, but is not");
                }
                self.next = Token {
                    slot: slot.checked_add(1).ok_or("too many slots")?,
                    attempt: 1,
                };
                self.spent = token;
            }
            Entry::Vouched { frame } => {
                if self.open.is_some() || Some(*frame) != self.next_frame() {
                    return Err("a person vouches for another frame than the next");
                }
                let next = self.after_tries()?;
                self.exposed(*frame, 0, None);
                self.next = next;
                // What was counted then is not known here.
                self.pending.remove(frame);
                self.set_check(*frame, Check::Unknown);
            }
            Entry::Chosen { frame } => {
                if self.open.is_some() {
                    return Err("a frame is chosen while an intent is open");
                }
                let wanted = self
                    .frame(*frame)
                    .is_some_and(|frame| frame.standing == Standing::Wanted);
                if !wanted {
                    return Err("a frame is chosen that is not wanted");
                }
                if self.next_frame() != Some(*frame) {
                    self.next = self.after_tries()?;
                }
                self.chosen = Some(*frame);
            }
            Entry::Finished => {
                if self.open.is_some() || self.wanted > 0 || !self.suspects.is_empty() {
                    return Err("finished before the last frame");
                }
                self.finished = true;
            }
        }
        self.lines += 1;
        Ok(())
    }

    fn set_check(&mut self, frame: u32, check: Check) {
        if let Some(frame) = self.frame_mut(frame) {
            frame.check = check;
        }
    }

    fn has(&self, spans: &[Span]) -> Result<(), &'static str> {
        if spans.iter().any(|span| span.last() > self.turns()) {
            return Err("a frame beyond the last");
        }
        Ok(())
    }

    /// Makes frames wanted again, or leaves them out.
    fn change(&mut self, spans: &[Span], standing: Standing) -> Result<(), &'static str> {
        if self.open.is_some() {
            return Err("a change of frames while an intent is open");
        }
        self.has(spans)?;
        self.next = self.after_tries()?;
        for frame in spans.iter().flat_map(|span| span.frames()) {
            self.pending.remove(&frame);
            self.suspects.remove(&frame);
            self.stand(frame, standing);
            self.set_check(frame, Check::Pending);
        }
        if self.suspects.is_empty() {
            self.drifts.clear();
        }
        Ok(())
    }

    /// The token to use next where what is wanted changes. A slot belongs to one frame: tries of
    /// another one are over.
    fn after_tries(&self) -> Result<Token, &'static str> {
        if self.next.attempt > 1 {
            Ok(Token {
                slot: self.next.slot.checked_add(1).ok_or("too many slots")?,
                attempt: 1,
            })
        } else {
            Ok(self.next)
        }
    }

    fn stand(&mut self, frame: u32, standing: Standing) {
        let Some(state) = self.frame_mut(frame) else {
            return;
        };
        let before = std::mem::replace(&mut state.standing, standing);
        match before {
            Standing::Wanted => self.wanted -= 1,
            Standing::Dropped => self.dropped -= 1,
            Standing::Exposed => {}
        }
        if standing == Standing::Dropped {
            self.dropped += 1;
        }
        if standing != Standing::Wanted && self.chosen == Some(frame) {
            self.chosen = None;
        }
        if standing == Standing::Wanted {
            self.wanted += 1;
            self.low = self.low.min(frame);
            self.finished = false;
        } else if frame == self.low {
            let low = self.wanted().next();
            self.low = low.unwrap_or(self.turns().saturating_add(1));
        }
    }

    fn exposed(&mut self, frame: u32, slot: u32, picture: Option<&Picture>) {
        self.stand(frame, Standing::Exposed);
        if let Some(state) = self.frame_mut(frame) {
            state.exposures += 1;
            state.slot = slot;
            state.picture = picture.map(|picture| picture.file.clone());
            state.check = Check::Pending;
        }
        self.pending.insert(frame);
        self.sequence.push(frame);
    }

    fn close(
        &mut self,
        slot: u32,
        attempt: u16,
        exposed: bool,
        picture: Option<&Picture>,
    ) -> Result<u32, &'static str> {
        let token = Token { slot, attempt };
        let Some(open) = self.open.filter(|open| open.token == token) else {
            return Err("the outcome of an intent that is not open");
        };
        let next = if exposed {
            Token {
                slot: slot.checked_add(1).ok_or("too many slots")?,
                attempt: 1,
            }
        } else {
            Token {
                slot,
                attempt: attempt.checked_add(1).ok_or("too many tries")?,
            }
        };
        self.open = None;
        self.spent = token;
        self.next = next;
        if let Some(picture) = picture {
            self.pictures.insert(picture.file.clone());
            self.digests.insert(picture.digest.0, picture.file.clone());
        }
        if exposed {
            self.exposed(open.frame, slot, picture);
        }
        Ok(open.frame)
    }

    /// A person was mistaken about a slot.
    fn take_back(&mut self, slot: u32, attempt: u16, exposed: bool) -> Result<(), &'static str> {
        if self.open.is_some() {
            return Err("an answer is taken back while an intent is open");
        }
        let token = Token { slot, attempt };
        let next = self.after_tries()?;
        let Some((frame, said)) = self.verdicts.get_mut(&token) else {
            return Err("an answer is taken back that was never given");
        };
        if *said == exposed {
            return Err("an answer is taken back that is the same");
        }
        *said = exposed;
        let frame = *frame;
        self.next = next;
        let standing = self.frame(frame).map(|frame| frame.standing);
        if exposed {
            if standing == Some(Standing::Exposed) {
                // A later exposure of it counts; this one is one more.
                if let Some(state) = self.frame_mut(frame) {
                    state.exposures += 1;
                }
                return Ok(());
            }
            self.exposed(frame, slot, None);
            // Home checks since then have not looked at this pose.
            self.pending.remove(&frame);
            self.set_check(frame, Check::Unknown);
            return Ok(());
        }
        let Some(state) = self.frame_mut(frame) else {
            return Ok(());
        };
        state.exposures = state.exposures.saturating_sub(1);
        // Where it is the one that counted, the frame has none.
        if state.slot == slot && standing == Some(Standing::Exposed) {
            state.picture = None;
            self.pending.remove(&frame);
            self.suspects.remove(&frame);
            if self.suspects.is_empty() {
                self.drifts.clear();
            }
            self.stand(frame, Standing::Wanted);
            self.set_check(frame, Check::Pending);
        }
        Ok(())
    }
}

fn index(frame: u32) -> Option<usize> {
    usize::try_from(frame.checked_sub(1)?).ok()
}
