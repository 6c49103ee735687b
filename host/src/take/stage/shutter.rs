//! One exposure: the exchange of [`exposure`](crate::take::exposure) with a board, a journal and a
//! person.

use std::time::Duration;

use panestep_protocol::{Answer, Command, ExposureFact, FireOrder, Refusal, Token};

use super::{Crew, Interrupt};
use crate::link::{LinkError, words};
use crate::schedule::{Release, Turn};
use crate::take::JournalError;
use crate::take::error::TakeError;
use crate::take::exposure::{Action, Event, Known, Released, Rules, State, step};
use crate::take::journal::{Entry, Hex};
use crate::take::people::{Progress, Question, ReleaseOrder};
use crate::take::run::LOOK;

/// Sessions tried in a row before a board counts as gone.
const RECONNECTS: u32 = 5;

/// How often one exposure may be refused and tried anew within a run.
const TRIES: u32 = 4;

/// Between two looks at an exposure under way.
const BREATH: Duration = Duration::from_millis(2);

impl Crew<'_, '_> {
    fn camera_board(&self) -> Result<usize, TakeError> {
        self.schedule
            .exposure
            .board()
            .ok_or(TakeError::Schedule("no board fires the camera"))
    }

    pub(super) fn open_shot(&mut self) -> Result<(), TakeError> {
        let (Some(board), Some(journal)) = (self.schedule.exposure.board(), &self.journal) else {
            return Ok(());
        };
        let state = journal.state();
        let command = Command::OpenShot {
            shot: state.shot,
            spent: state.spent,
        };
        self.ask(board, command).map(drop)
    }

    /// Whatever an earlier run left open is settled before anything moves.
    pub(in crate::take) fn settle_open_exposure(&mut self) -> Result<(), Interrupt> {
        let Some(open) = self.state().and_then(|state| state.open) else {
            return Ok(());
        };
        let turn = self.turn(open.frame)?;
        // Whatever fired may have fired a moment ago: the shutter may be open.
        self.sleep(self.schedule.window(open.frame))?;
        let state = State::in_doubt(open.token, open.boot);
        let event = match open.boot {
            None => Event::TakenUp,
            Some(_) => {
                let link = self.link(self.camera_board()?)?;
                let (boot, mark) = (link.boot(), link.identity().mark);
                self.open_shot()?;
                Event::Connected { boot, mark }
            }
        };
        let start = step(state, event, self.rules());
        // The boards have just been connected: what is wrong with one shows by itself.
        self.drive(turn, start)?;
        Ok(())
    }

    fn rules(&self) -> Rules {
        Rules {
            shot: self.state().map(|state| state.shot).unwrap_or_default(),
            flash_contact: self.schedule.exposure.flash_contact(),
            pictures: self.schedule.exposure.arrival.is_some(),
        }
    }

    /// Exposes a frame whose pose has been reached: `true` where it is exposed, `false` where it is
    /// certain that it is not and the pose has to be made sure of again.
    pub(in crate::take) fn expose(&mut self, turn: Turn, tries: u32) -> Result<bool, Interrupt> {
        self.check_interrupt()?;
        self.refuse_strangers()?;
        let Some(journal) = &mut self.journal else {
            return Ok(true);
        };
        journal.make_room()?;
        self.refuse_stray_contacts()?;
        let Some(journal) = &self.journal else {
            return Ok(true);
        };
        let token = journal.state().next;
        let state = State::ready(token);
        let board = self.schedule.exposure.board();
        let boot = match board {
            Some(board) => Some(self.link(board)?.boot()),
            None => None,
        };
        self.see(&Progress::Exposing { turn });
        self.refused = None;
        self.left_alone = false;
        let start = step(state, Event::PoseReached { boot }, self.rules());
        let done = self.drive(turn, start)?;
        if let Some(error) = self.gone.take() {
            return Err(error.into());
        }
        if let (Some(board), Some(was)) = (board, boot) {
            let now = self.link(board)?.boot();
            if now != was && !self.nothing_left() {
                // Positions are gone: only a new run homes.
                return Err(TakeError::Link(LinkError::Reset {
                    board: self.schedule.boards[board].clone(),
                    was,
                    now,
                })
                .into());
            }
        }
        if done {
            return Ok(true);
        }
        if self.left_alone {
            return Err(Interrupt::Person);
        }
        if matches!(self.schedule.exposure.release, Release::Command { .. }) && self.unbegun {
            return Err(TakeError::Command {
                turn,
                why: self.stage.trigger.why(),
            }
            .into());
        }
        if let Some(Refusal::Spent(high)) = self.refused
            && high >= token
        {
            // The board remembers more than this journal, an older copy, knows.
            self.vouch(high.slot - token.slot, high, Known::MarkAhead, None)?;
            self.record_behind(high)?;
            return Ok(false);
        }
        if let Some(refusal) = self.refused {
            let board = self.camera_board()?;
            if let Refusal::Halted(_) = refusal {
                return Err(self.refused(board, refusal).into());
            }
            if tries >= TRIES {
                let name = |axis| self.axis_name(board, axis);
                return Err(TakeError::NoExposure {
                    turn,
                    tries,
                    why: words::refusal(&refusal, &name),
                }
                .into());
            }
        } else if tries >= TRIES {
            return Err(TakeError::NoExposure {
                turn,
                tries,
                why: "it turned out not to have been exposed".into(),
            }
            .into());
        }
        Ok(false)
    }

    /// A contact that has closed since the last exposure was over is of one that nobody asked for:
    /// the stand may have moved under an open shutter, and a picture too many lies on the card.
    pub(in crate::take) fn refuse_stray_contacts(&mut self) -> Result<(), Interrupt> {
        let (Some(board), true) = (
            self.schedule.exposure.board(),
            self.schedule.exposure.flash_contact(),
        ) else {
            return Ok(());
        };
        let now = self.link(board)?.status()?.contacts;
        let times = now.wrapping_sub(self.contacts.unwrap_or(now));
        // Counted only once: whoever goes on has been told.
        self.contacts = Some(now);
        if times > 0 {
            let turn = self.next_frame();
            return Err(TakeError::StrayContact { turn, times }.into());
        }
        Ok(())
    }

    /// Runs the exchange until the slot is closed (`true`) or certainly unexposed (`false`).
    pub(super) fn drive(
        &mut self,
        turn: Turn,
        start: (State, Option<Action>),
    ) -> Result<bool, Interrupt> {
        let rules = self.rules();
        let (mut state, mut action) = start;
        self.picture = None;
        self.gone = None;
        self.unbegun = false;
        self.window = self.schedule.window(turn.number);
        let mut known = String::new();
        let mut reconnects = 0;
        while let Some(next) = action {
            let event = match next {
                Action::MoveOn => return Ok(true),
                Action::Stop => {
                    return Err(TakeError::Journal(JournalError::Poisoned).into());
                }
                Action::Reconnect => {
                    reconnects += 1;
                    self.reconnect(reconnects)?
                }
                Action::Ask { token, known: what } => {
                    known = what.sentence();
                    self.ask_person(turn, token, what)?
                }
                Action::RecordIntent { token, boot } => self.written(&Entry::Intent {
                    frame: turn.number,
                    slot: token.slot,
                    attempt: token.attempt,
                    boot: boot.map(|boot| Hex(boot.0)),
                })?,
                Action::RecordDone { token, contacts } => {
                    let picture = self.picture.take();
                    let unlit = self.unlit(turn);
                    self.written(&Entry::Done {
                        slot: token.slot,
                        attempt: token.attempt,
                        contacts,
                        picture,
                        unlit,
                    })?
                }
                Action::RecordVoid { token } => self.written(&Entry::Void {
                    slot: token.slot,
                    attempt: token.attempt,
                })?,
                Action::RecordVerdict { token, exposed } => {
                    let picture = self.picture.take();
                    let mut others = std::mem::take(&mut self.arrived);
                    others.retain(|file| picture.as_ref().is_none_or(|one| one.file != *file));
                    let unlit = if exposed {
                        self.unlit(turn)
                    } else {
                        Vec::new()
                    };
                    self.written(&Entry::Verdict {
                        slot: token.slot,
                        attempt: token.attempt,
                        exposed,
                        known: known.clone(),
                        picture,
                        others,
                        unlit,
                    })?
                }
                Action::Release { token: _ } => self.release(turn)?,
                Action::Look { token: _ } => self.look_at_exposure(turn)?,
                Action::Fire { token } => self.fire(turn, rules, token)?,
                Action::Watch { token } => self.follow(token)?,
                Action::Fence { token } => self.fence(rules, token)?,
            };
            (state, action) = step(state, event, rules);
        }
        Ok(matches!(state, State::Closed { .. }))
    }

    /// Writes an entry. The state machine hears of a failure through the error that ends the run:
    /// whatever is in memory then ends with it.
    fn written(&mut self, entry: &Entry) -> Result<Event, Interrupt> {
        self.record(entry)?;
        Ok(Event::Durable)
    }

    fn reconnect(&mut self, tries: u32) -> Result<Event, Interrupt> {
        let board = self.camera_board()?;
        if tries > 1 {
            self.sleep(LOOK * tries)?;
        }
        match self.connect(board) {
            Ok(()) => {
                let link = self.link(board)?;
                Ok(Event::Connected {
                    boot: link.boot(),
                    mark: link.identity().mark,
                })
            }
            Err(error) if error.is_lost() && tries < RECONNECTS => Ok(Event::NoAnswer),
            Err(error) => Err(error.into()),
        }
    }

    fn ask_person(&mut self, turn: Turn, token: Token, known: Known) -> Result<Event, Interrupt> {
        let question = Question {
            turn,
            token,
            known,
            pictures: self.arrived.clone(),
        };
        let exposed = self
            .stage
            .person
            .exposed(&question)
            .ok_or(Interrupt::Person)?;
        Ok(Event::Verdict { token, exposed })
    }

    /// Runs the user's command, or asks for a person's finger.
    fn release(&mut self, turn: Turn) -> Result<Event, Interrupt> {
        let exposure = &self.schedule.exposure;
        let how = match &exposure.release {
            Release::Command { words, time_out } => self.stage.trigger.release(&ReleaseOrder {
                turn,
                exposure: self
                    .schedule
                    .passes
                    .get(turn.pass)
                    .map_or(Duration::ZERO, |pass| pass.exposure),
                words,
                time_out: *time_out,
            }),
            Release::Hand => match self.stage.person.fire(turn) {
                Some(true) => Released::Took,
                Some(false) => {
                    self.left_alone = true;
                    Released::NotBegun
                }
                // It may have been pressed: the intent stays open.
                None => {
                    self.released = self.now();
                    return Err(Interrupt::Person);
                }
            },
            Release::Board { .. } => {
                return Err(TakeError::Schedule("a board fires the camera").into());
            }
        };
        self.released = self.now();
        self.unbegun = how == Released::NotBegun;
        if !self.unbegun {
            // Neither says when the shutter has closed.
            self.sleep(self.window)?;
            self.ready = self.now() + exposure.ready;
        }
        Ok(Event::Released { how })
    }

    fn fire(&mut self, turn: Turn, rules: Rules, token: Token) -> Result<Event, Interrupt> {
        let board = self.camera_board()?;
        let exposure = &self.schedule.exposure;
        let Release::Board {
            half_press, press, ..
        } = exposure.release
        else {
            return Err(TakeError::Schedule("no board fires the camera").into());
        };
        let press = self
            .schedule
            .passes
            .get(turn.pass)
            .map_or(press, |pass| pass.press);
        let window = self.window;
        let link = self.link(board)?;
        let order = FireOrder {
            shot: rules.shot,
            token,
            half_press: link.ticks(half_press)?,
            press: link.ticks(press)?,
            window: link.ticks(window)?,
        };
        let asked = link.ask(Command::Fire(order));
        self.released = self.now();
        match asked {
            Ok(Answer::Under { way }) => {
                let time = self.link(board)?.time(way);
                self.sleep(time)?;
                Ok(running(token))
            }
            Ok(_) => Ok(running(token)),
            Err(LinkError::Refused { refusal, .. }) => {
                self.refused = Some(refusal);
                Ok(Event::Refused { token })
            }
            Err(error) if error.is_lost() => Ok(Event::NoAnswer),
            Err(error) => Err(TakeError::from(error).into()),
        }
    }

    /// What the board knows of the last token by now.
    fn follow(&mut self, token: Token) -> Result<Event, Interrupt> {
        let board = self.camera_board()?;
        self.sleep(BREATH)?;
        let fact = match self.link(board)?.status() {
            Ok(status) => match status.exposure {
                Some((of, fact)) if of == token => fact,
                _ => ExposureFact::Unknown,
            },
            Err(error) if error.is_lost() => return Ok(Event::NoAnswer),
            Err(error) => return Err(TakeError::from(error).into()),
        };
        self.fact(token, fact)
    }

    fn fence(&mut self, rules: Rules, token: Token) -> Result<Event, Interrupt> {
        let board = self.camera_board()?;
        let shot = rules.shot;
        if std::mem::take(&mut self.running) {
            self.sleep(BREATH)?;
        }
        match self.link(board)?.ask(Command::Fence { shot, token }) {
            Ok(Answer::Exposure(fact)) => self.fact(token, fact),
            Ok(_) => Err(TakeError::Link(LinkError::Misfit {
                board: self.schedule.boards[board].clone(),
            })
            .into()),
            Err(error) if error.is_lost() => Ok(Event::NoAnswer),
            Err(error) => Err(TakeError::from(error).into()),
        }
    }

    fn fact(&mut self, token: Token, fact: ExposureFact) -> Result<Event, Interrupt> {
        self.running = fact == ExposureFact::Running;
        if let ExposureFact::Fired { contacts } = fact {
            let exposure = &self.schedule.exposure;
            if exposure.flash_contact() && contacts > 1 {
                // The last of them may have come late in the window: the shutter may still be open.
                self.sleep(self.window)?;
            }
            self.ready = self.now() + exposure.ready;
            let board = self.camera_board()?;
            self.contacts = match self.link(board)?.status() {
                Ok(status) => Some(status.contacts),
                // Whatever is wrong with it is dealt with where the board is asked for itself.
                Err(_) => None,
            };
        }
        Ok(Event::Fact { token, fact })
    }
}

fn running(token: Token) -> Event {
    Event::Fact {
        token,
        fact: ExposureFact::Running,
    }
}
