//! What each of a journal's lines changes, and which cannot come where it stands.

use panestep_protocol::{BootId, Token};

use super::{Check, Open, Standing, TakeState};
use crate::take::journal::{Entry, Picture};
use crate::take::span::Span;

impl TakeState {
    /// Whether an entry can come next; nothing is changed where it cannot.
    pub(in crate::take) fn follow(&mut self, entry: &Entry) -> Result<(), &'static str> {
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
                // Where only light was in doubt, its pose is still to be looked over.
                let of_light = self.drifts.is_empty();
                for frame in std::mem::take(&mut self.suspects) {
                    if of_light {
                        self.pending.insert(frame);
                        self.set_check(frame, Check::Pending);
                    } else {
                        self.set_check(frame, Check::Kept);
                    }
                }
                self.drifts.clear();
                self.unlit.clear();
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
                unlit,
                ..
            } => {
                let picture = picture.as_ref();
                let frame = self.close(*slot, *attempt, true, picture)?;
                self.doubt_light(frame, unlit);
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
                unlit,
                ..
            } => {
                let frame = self.close(*slot, *attempt, *exposed, picture.as_ref())?;
                self.pictures.extend(others.iter().cloned());
                let token = Token {
                    slot: *slot,
                    attempt: *attempt,
                };
                self.verdicts.insert(token, (frame, *exposed));
                if *exposed {
                    self.doubt_light(frame, unlit);
                }
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

    /// Puts a frame that has just been exposed in doubt, where boards may have left it dark.
    fn doubt_light(&mut self, frame: u32, boards: &[String]) {
        if boards.is_empty() {
            return;
        }
        self.pending.remove(&frame);
        self.suspects.insert(frame);
        self.set_check(frame, Check::Suspect);
        let boards = boards.iter().map(|board| (board.clone(), frame));
        self.unlit.extend(boards);
    }

    /// Of what put frames in doubt, what concerns none any more.
    fn forget_causes(&mut self) {
        self.unlit
            .retain(|(_, frame)| self.suspects.contains(frame));
        if self.suspects.is_empty() {
            self.drifts.clear();
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
        self.forget_causes();
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
            self.forget_causes();
            self.stand(frame, Standing::Wanted);
            self.set_check(frame, Check::Pending);
        }
        Ok(())
    }
}
