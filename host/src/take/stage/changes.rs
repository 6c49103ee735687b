//! Frames that are shot again, left out or in doubt, and a journal that is behind its board.

use panestep_protocol::Token;

use super::{Crew, Interrupt};
use crate::take::error::TakeError;
use crate::take::exposure::{Action, Known, State};
use crate::take::journal::Entry;
use crate::take::people::{Progress, Question};
use crate::take::run::Edit;
use crate::take::span::Span;
use crate::take::state::Drift;

impl Crew<'_, '_> {
    /// Makes the changes that a person wants; each is an entry.
    pub(in crate::take) fn edit(&mut self, edits: &[Edit]) -> Result<(), Interrupt> {
        for edit in edits {
            let Some(state) = self.state() else {
                return Ok(());
            };
            let entry = edit.entry(state)?;
            self.record(&entry)?;
            match &entry {
                Entry::Again { frames, .. } => self.changed("to be shot again", frames),
                Entry::Dropped { frames } => self.changed("left out", frames),
                Entry::TakenBack { exposed, .. } => {
                    let what = if *exposed {
                        "exposed after all"
                    } else {
                        "not exposed after all"
                    };
                    if let Edit::TakeBack(frame) = *edit {
                        self.changed(what, &Span::of([frame]));
                    }
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn changed(&mut self, what: &str, frames: &[Span]) {
        self.see(&Progress::Changed { what, frames });
    }

    /// An axis was found elsewhere than it was counted. Every frame that was exposed since it was
    /// last known to be right is in doubt.
    pub(super) fn doubt(&mut self, drift: Drift) -> Result<(), TakeError> {
        let mut frames: Vec<u32> = Vec::new();
        if let Some(state) = self.state() {
            frames.extend(state.unchecked());
            for span in state.suspects().unwrap_or_default().frames {
                frames.extend(span.frames());
            }
        }
        frames.sort_unstable();
        frames.dedup();
        let frames = Span::of(frames);
        self.see(&Progress::Doubted {
            drift: &drift,
            frames: &frames,
        });
        if frames.is_empty() {
            return Ok(());
        }
        self.record(&Entry::Suspect { drift, frames })
    }

    /// A person decides what becomes of frames in doubt.
    pub(in crate::take) fn decide_suspects(&mut self) -> Result<(), Interrupt> {
        let Some(suspects) = self.state().and_then(|state| state.suspects()) else {
            return Ok(());
        };
        let again = self
            .stage
            .person
            .again(&suspects)
            .ok_or(Interrupt::Person)?;
        if again {
            self.changed("to be shot again", &suspects.frames);
            self.record(&Entry::Again {
                frames: suspects.frames,
                why: match (suspects.drifts.is_empty(), suspects.unlit.is_empty()) {
                    (true, false) => "its light",
                    (false, false) => "a home check, its light",
                    (_, true) => "a home check",
                }
                .into(),
            })?;
        } else {
            self.record(&Entry::Kept)?;
        }
        Ok(())
    }

    /// Where the board has begun exposures of this take of which the journal knows nothing, the
    /// journal is an older copy: a person says which frames are exposed, and the board's tokens
    /// count as spent.
    pub(in crate::take) fn catch_up_with_board(&mut self) -> Result<(), Interrupt> {
        let (Some(board), Some(state)) = (self.schedule.exposure.board(), self.state()) else {
            return Ok(());
        };
        let (shot, next, open) = (state.shot, state.next, state.open);
        // The mark outlives a reset; what the board remembers outlives another take's mark.
        let marked = self.link(board)?.identity().mark;
        let marked = marked.filter(|mark| mark.shot == shot);
        self.open_shot()?;
        let remembered = self.link(board)?.status()?.exposure;
        let last = marked
            .map(|mark| mark.token)
            .max(remembered.map(|(token, _)| token));
        let Some(last) = last else {
            return Ok(());
        };
        if open.map_or(last < next, |open| last <= open.token) {
            return Ok(());
        }
        let mut unexposed = None;
        if let Some(open) = open {
            let known = Known::MarkAhead;
            let token = open.token;
            self.arrived = self.strangers()?;
            let exposed = self.drive(
                self.turn(open.frame)?,
                (
                    State::Asking { token, known },
                    Some(Action::Ask { token, known }),
                ),
            )?;
            unexposed = (!exposed).then_some(open.frame);
        }
        // Every slot is one frame's, however often it was tried.
        let most = match open {
            Some(open) => last.slot.saturating_sub(open.token.slot),
            None => last.slot.saturating_sub(next.slot).saturating_add(1),
        };
        self.vouch(most, last, Known::MarkAhead, unexposed)?;
        self.record_behind(last)?;
        Ok(())
    }

    /// The camera board's tokens up to this one are spent, whatever the journal knows of them.
    pub(super) fn record_behind(&mut self, last: Token) -> Result<(), TakeError> {
        let (Some(board), Some(state)) = (self.schedule.exposure.board(), self.state()) else {
            return Ok(());
        };
        if last < state.next {
            return Ok(());
        }
        self.record(&Entry::Behind {
            board: self.schedule.boards[board].clone(),
            slot: last.slot,
            attempt: last.attempt,
        })
    }

    /// Asks, frame by frame, whether those that come next are exposed already, until one is not; and
    /// then which others are, as a take that is stepped through exposes in any order. At most so many
    /// are. `unexposed` is a frame of which it has just been said that it is not.
    pub(super) fn vouch(
        &mut self,
        most: u32,
        token: Token,
        known: Known,
        mut unexposed: Option<u32>,
    ) -> Result<(), Interrupt> {
        let mut left = most;
        while left > 0 && unexposed.is_none() {
            let Some(turn) = self.next_frame() else {
                return Ok(());
            };
            let question = Question {
                turn,
                token,
                known,
                pictures: self.strangers()?,
            };
            let exposed = self.stage.person.exposed(&question);
            if exposed.ok_or(Interrupt::Person)? {
                self.record(&Entry::Vouched { frame: turn.number })?;
                left -= 1;
            } else {
                unexposed = Some(turn.number);
            }
        }
        let mut others = self.wanted();
        others.retain(|&frame| Some(frame) != unexposed);
        if left == 0 || others.is_empty() {
            return Ok(());
        }
        let frames = Span::of(others.iter().copied());
        let exposed = self.stage.person.others(&frames, left);
        let exposed = exposed.ok_or(Interrupt::Person)?;
        others.retain(|frame| exposed.contains(frame));
        others.truncate(usize::try_from(left).unwrap_or(usize::MAX));
        for frame in others {
            if self.next_frame() != Some(self.turn(frame)?) {
                self.record(&Entry::Chosen { frame })?;
            }
            self.record(&Entry::Vouched { frame })?;
        }
        Ok(())
    }

    /// Pictures that have come while no run was at work. Before a take's first exposure they are
    /// somebody else's. Later, where no board keeps a memory of what it fired, the journal may be
    /// an older copy that knows nothing of exposures that it should: a person is asked.
    pub(in crate::take) fn account_for_pictures(&mut self) -> Result<(), Interrupt> {
        let begun = self.state().is_some_and(|state| state.next.slot > 1);
        if self.schedule.exposure.board().is_none() && begun {
            let come = u32::try_from(self.strangers()?.len()).unwrap_or(u32::MAX);
            let next = self.state().map(|state| state.next).unwrap_or_default();
            self.vouch(come, next, Known::Unaccounted, None)?;
        }
        self.note_strangers()
    }
}
