//! Exactly once: the exchange that closes the shutter for one slot, as a pure transition function.
//!
//! [`step`] takes a state and an event and gives the next state and what to do. It does no
//! input or output, so the loop that shoots and the model that explores every order of events run
//! the same code.
//!
//! # The exchange
//!
//! 1. The pose is reached: record the intent (token, and the board's start) and sync it.
//! 2. Only then fire; repeats carry the same token, and the board acts once on each.
//! 3. The board says fired, and the evidence agrees, as far as the stand has any: the flash
//!    contact closed once, one new picture arrived, every board still holds every axis in its
//!    place. Record done and sync it.
//! 4. Only then may anything move.
//!
//! Whenever an answer fails to come, fence: the board makes the token unfireable and then says
//! whether it was fired. Never fired: record the void, sync it, go on with the next attempt.
//!
//! A command of the user's own and a person's finger take the board's place in step 2, without a
//! token and without a fence: where they leave a doubt, a person is asked.
//!
//! # Why at most once
//!
//! A second pulse for a slot needs a second token. That needs a void or a verdict "not exposed" on
//! disk. A void needs the board's "never": given after the fence, which makes the token
//! unfireable in this start of the board; in any later start the order names another boot and is
//! refused. Or it needs a mark earlier than the token, which proves that the board began none. Or
//! a command that could not even be started, or a person who says that the release was left alone.
//!
//! # Why none is skipped
//!
//! The next slot's intent needs this slot closed, and it closes only by evidence (fired, one
//! contact where it is wired, one good picture where they are watched) or by a person's verdict,
//! synced.
//!
//! # What cannot be decided
//!
//! Then a person is asked, with what is known ([`Known`]):
//!
//! * U1, a reset without a mark that decides ([`Known::ResetNoMark`]);
//! * U2, the mark is this very token ([`Known::ResetBegun`]): none, a part, or the whole;
//! * U4, no contact closed ([`Known::NoContact`]), or no picture came ([`Known::NoPicture`]): the
//!   camera, or the wire or the card;
//! * U5, the contact closed more than once ([`Known::Contacts`]), or several pictures came
//!   ([`Known::Pictures`]), or one that cannot be this exposure's ([`Known::Flawed`]);
//! * U6, the board has forgotten the take or the mark is ahead of the journal
//!   ([`Known::Forgotten`], [`Known::MarkAhead`]);
//! * U7, a command failed or took too long ([`Known::CommandFailed`],
//!   [`Known::CommandTimedOut`]), or the program itself ended before a command or a person had
//!   answered ([`Known::RunEnded`]);
//! * U8, a board was reset or has let go of its axes meanwhile ([`Known::Disturbed`]): the picture
//!   may be blurred, or of another pose.
//!
//! A picture that has come is shown with the question; it does not decide it: it may be of half an
//! exposure, or of a hand on the release.
//!
//! U3, a pulse that a camera without a contact and without watched pictures did not follow, shows
//! nowhere: there the promise is one pulse a slot.

use panestep_protocol::{BootId, ExposureFact, Mark, ShotId, Token};

/// One intended exposure under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum State {
    /// Nothing is promised; the token is the next to be used.
    Ready {
        /// The next token.
        token: Token,
    },
    /// The intent is being written.
    Intending {
        /// The token.
        token: Token,
        /// The board's start, where a board is to fire.
        boot: Option<BootId>,
    },
    /// The order has been given, and its outcome is not known yet.
    Firing {
        /// The token.
        token: Token,
        /// The board's start.
        boot: BootId,
    },
    /// In doubt; the board is to fence the token off and say what became of it.
    Fencing {
        /// The token.
        token: Token,
        /// The board's start that the intent names.
        boot: BootId,
    },
    /// A command of the user's own runs, or a person's finger is waited for.
    Releasing {
        /// The token.
        token: Token,
    },
    /// The pose is looked at once more, and where they are watched, its picture is waited for.
    Looking {
        /// The token.
        token: Token,
        /// How often the contact closed.
        contacts: u8,
        /// What is in doubt anyway: then a picture does not decide, but is shown.
        doubt: Option<Known>,
    },
    /// A person has to say what became of it.
    Asking {
        /// The token.
        token: Token,
        /// What is known.
        known: Known,
    },
    /// The proof of the exposure is being written.
    Closing {
        /// The token.
        token: Token,
    },
    /// The proof that there was none is being written.
    Voiding {
        /// The token.
        token: Token,
    },
    /// Exposed, on disk. Whatever comes now is ignored.
    Closed {
        /// The token.
        token: Token,
    },
    /// The disk failed, or the attempts are used up: nothing more is done in this run. What has
    /// been written decides at the next.
    Stopped {
        /// The token.
        token: Token,
    },
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Event {
    /// Everything is in place and at rest.
    PoseReached {
        /// The start of the board that is to fire, as this session found it; none where no board
        /// fires.
        boot: Option<BootId>,
    },
    /// The record asked for last is on disk.
    Durable,
    /// It is not, and may or may not be found there later.
    DiskFailed,
    /// The board said what it knows of a token.
    Fact {
        /// The token.
        token: Token,
        /// What the board said.
        fact: ExposureFact,
    },
    /// The board refused the order.
    Refused {
        /// The token.
        token: Token,
    },
    /// The board did not answer, or the port is gone.
    NoAnswer,
    /// A session has begun, at this start of the board, with this mark found.
    Connected {
        /// The board's start.
        boot: BootId,
        /// The mark.
        mark: Option<Mark>,
    },
    /// A command has ended, or a person has answered.
    Released {
        /// How.
        how: Released,
    },
    /// A new run has found the intent open, and no board that could be asked.
    TakenUp,
    /// The boards have been looked at, and the pictures' folder for long enough.
    Looked {
        /// What has come.
        found: Found,
        /// Whether every board has held every axis in its place since the intent.
        steady: bool,
    },
    /// A person has decided.
    Verdict {
        /// The token that was asked about.
        token: Token,
        /// Whether the frame has been exposed, once and whole.
        exposed: bool,
    },
}

/// What to do next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Action {
    /// Append and sync the intent; answer with [`Event::Durable`] or [`Event::DiskFailed`].
    RecordIntent {
        /// The token.
        token: Token,
        /// The board's start, where a board is to fire.
        boot: Option<BootId>,
    },
    /// Order the exposure.
    Fire {
        /// The token.
        token: Token,
    },
    /// Run the user's command, or ask for a person's finger; answer with [`Event::Released`].
    Release {
        /// The token.
        token: Token,
    },
    /// Look whether everything is in its place still, and where pictures are watched, wait for
    /// this one; answer with [`Event::Looked`].
    Look {
        /// The token.
        token: Token,
    },
    /// Wait a little, then read the board's status again.
    Watch {
        /// The token.
        token: Token,
    },
    /// Fence the token off; where it was just said to be running, after a little wait.
    Fence {
        /// The token.
        token: Token,
    },
    /// Begin a new session; answer with [`Event::Connected`].
    Reconnect,
    /// Append and sync that the slot is exposed.
    RecordDone {
        /// The token.
        token: Token,
        /// How often the contact closed.
        contacts: u8,
    },
    /// Append and sync that the token was never fired.
    RecordVoid {
        /// The token.
        token: Token,
    },
    /// Ask a person; answer with [`Event::Verdict`].
    Ask {
        /// The token.
        token: Token,
        /// What is known.
        known: Known,
    },
    /// Append and sync what the person said.
    RecordVerdict {
        /// The token.
        token: Token,
        /// Whether the frame has been exposed.
        exposed: bool,
    },
    /// The slot is closed: the next may begin.
    MoveOn,
    /// Stop this run.
    Stop,
}

/// What is known where it does not decide.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Known {
    /// The board was reset, and keeps no mark of this take.
    ResetNoMark,
    /// The board was reset after it had begun this exposure.
    ResetBegun,
    /// The board's mark is later than anything in the journal.
    MarkAhead,
    /// The board runs on, but has forgotten the take.
    Forgotten,
    /// Fired, but the flash contact did not close.
    NoContact,
    /// Fired, and the flash contact closed so often.
    Contacts(u8),
    /// Fired, but no picture has come.
    NoPicture,
    /// Fired, and so many pictures have come.
    Pictures(u8),
    /// Fired, and one picture has come that cannot be this exposure's.
    Flawed(Flaw),
    /// Fired, but a board has been reset or has let go of its axes since.
    Disturbed,
    /// Pictures have come of which the journal knows nothing, and no board fires that could.
    Unaccounted,
    /// The command ended with this exit code, or by a signal.
    CommandFailed(Option<i32>),
    /// The command did not end in time, and was ended.
    CommandTimedOut,
    /// The program ended before it heard what became of the exposure.
    RunEnded,
}

/// What is wrong with a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Flaw {
    /// It cannot be read, or only in part.
    Unreadable,
    /// It is black.
    Black,
    /// It is the same, dot for dot, as an earlier one of this take.
    Copy,
}

/// What has come into the pictures' folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Found {
    /// Pictures are not watched.
    Unwatched,
    /// Nothing.
    Nothing,
    /// One good new picture.
    One,
    /// So many.
    Several(u8),
    /// One that is no good.
    Flawed(Flaw),
}

/// How a command or a finger did.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Released {
    /// The picture has been taken: exit code 0, or the person says so.
    Took,
    /// The command could not be started, or the person has left the release alone.
    NotBegun,
    /// The command ended with this exit code, or by a signal.
    Failed(Option<i32>),
    /// The command did not end in time, and was ended.
    TimedOut,
}

/// What holds for the whole take.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Rules {
    /// The take.
    pub shot: ShotId,
    /// Whether each exposure must close the flash contact exactly once.
    pub flash_contact: bool,
    /// Whether each exposure must bring one new picture.
    pub pictures: bool,
}

impl State {
    /// A slot with nothing promised.
    #[must_use]
    pub const fn ready(token: Token) -> Self {
        Self::Ready { token }
    }

    /// A slot whose intent is on disk and whose outcome is not: only a new session with the board
    /// can tell ([`Event::Connected`]), or where none fired, a person ([`Event::TakenUp`]).
    #[must_use]
    pub const fn in_doubt(token: Token, boot: Option<BootId>) -> Self {
        match boot {
            Some(boot) => Self::Fencing { token, boot },
            None => Self::Releasing { token },
        }
    }

    /// The token.
    #[must_use]
    pub const fn token(&self) -> Token {
        match *self {
            Self::Ready { token }
            | Self::Intending { token, .. }
            | Self::Firing { token, .. }
            | Self::Fencing { token, .. }
            | Self::Releasing { token }
            | Self::Looking { token, .. }
            | Self::Asking { token, .. }
            | Self::Closing { token }
            | Self::Voiding { token }
            | Self::Closed { token }
            | Self::Stopped { token } => token,
        }
    }
}

/// The next state, and what to do. An event that does not belong to the state, a late or repeated
/// answer among them, changes nothing.
#[must_use]
pub fn step(state: State, event: Event, rules: Rules) -> (State, Option<Action>) {
    let same = (state, None);
    match (state, event) {
        (State::Ready { token }, Event::PoseReached { boot }) => (
            State::Intending { token, boot },
            Some(Action::RecordIntent { token, boot }),
        ),
        (State::Intending { token, boot }, Event::Durable) => match boot {
            Some(boot) => (State::Firing { token, boot }, Some(Action::Fire { token })),
            None => (State::Releasing { token }, Some(Action::Release { token })),
        },
        (
            State::Intending { token, .. } | State::Closing { token } | State::Voiding { token },
            Event::DiskFailed,
        ) => (State::Stopped { token }, Some(Action::Stop)),
        (
            State::Firing { token, boot } | State::Fencing { token, boot },
            Event::Fact { token: of, fact },
        ) if of == token => {
            let fencing = matches!(state, State::Fencing { .. });
            told(token, boot, fact, fencing, rules)
        }
        (State::Firing { token, boot }, Event::Refused { token: of }) if of == token => (
            State::Fencing { token, boot },
            Some(Action::Fence { token }),
        ),
        (State::Firing { token, boot } | State::Fencing { token, boot }, Event::NoAnswer) => {
            (State::Fencing { token, boot }, Some(Action::Reconnect))
        }
        (
            State::Firing { token, boot } | State::Fencing { token, boot },
            Event::Connected { boot: now, mark },
        ) => {
            if now == boot {
                (
                    State::Fencing { token, boot },
                    Some(Action::Fence { token }),
                )
            } else {
                after_reset(token, mark, rules)
            }
        }
        (State::Releasing { token }, Event::Released { how }) => match how {
            Released::Took => look(token, 0, None),
            Released::NotBegun => void(token),
            Released::Failed(code) => doubt(token, 0, Known::CommandFailed(code), rules),
            Released::TimedOut => doubt(token, 0, Known::CommandTimedOut, rules),
        },
        (State::Releasing { token }, Event::TakenUp) => doubt(token, 0, Known::RunEnded, rules),
        (
            State::Looking {
                token,
                contacts,
                doubt,
            },
            Event::Looked { found, steady },
        ) => match (doubt, found) {
            (Some(known), _) => ask(token, known),
            (None, _) if !steady => ask(token, Known::Disturbed),
            // Watched pictures are evidence that must not be left out.
            (None, Found::Unwatched) if rules.pictures => ask(token, Known::NoPicture),
            (None, Found::Unwatched | Found::One) => done(token, contacts),
            (None, Found::Nothing) => ask(token, Known::NoPicture),
            (None, Found::Several(count)) => ask(token, Known::Pictures(count)),
            (None, Found::Flawed(flaw)) => ask(token, Known::Flawed(flaw)),
        },
        (State::Asking { token, .. }, Event::Verdict { token: of, exposed }) if of == token => (
            if exposed {
                State::Closing { token }
            } else {
                State::Voiding { token }
            },
            Some(Action::RecordVerdict { token, exposed }),
        ),
        (State::Closing { token }, Event::Durable) => {
            (State::Closed { token }, Some(Action::MoveOn))
        }
        (State::Voiding { token }, Event::Durable) => match token.attempt.checked_add(1) {
            Some(attempt) => (
                State::Ready {
                    token: Token { attempt, ..token },
                },
                None,
            ),
            None => (State::Stopped { token }, Some(Action::Stop)),
        },
        _ => same,
    }
}

fn told(
    token: Token,
    boot: BootId,
    fact: ExposureFact,
    fencing: bool,
    rules: Rules,
) -> (State, Option<Action>) {
    match fact {
        ExposureFact::Running if fencing => (
            State::Fencing { token, boot },
            Some(Action::Fence { token }),
        ),
        ExposureFact::Running => (State::Firing { token, boot }, Some(Action::Watch { token })),
        ExposureFact::Fired { contacts } if contacts == 1 || !rules.flash_contact => {
            look(token, contacts, None)
        }
        ExposureFact::Fired { contacts: 0 } => doubt(token, 0, Known::NoContact, rules),
        ExposureFact::Fired { contacts } => {
            doubt(token, contacts, Known::Contacts(contacts), rules)
        }
        // Without a fence before it, an order may still be on its way.
        ExposureFact::Never | ExposureFact::Unknown if !fencing => (
            State::Fencing { token, boot },
            Some(Action::Fence { token }),
        ),
        ExposureFact::Never => void(token),
        ExposureFact::Unknown => doubt(token, 0, Known::Forgotten, rules),
    }
}

fn after_reset(token: Token, mark: Option<Mark>, rules: Rules) -> (State, Option<Action>) {
    match mark {
        Some(mark) if mark.shot == rules.shot => match mark.token.cmp(&token) {
            std::cmp::Ordering::Less => void(token),
            std::cmp::Ordering::Equal => doubt(token, 0, Known::ResetBegun, rules),
            std::cmp::Ordering::Greater => doubt(token, 0, Known::MarkAhead, rules),
        },
        // A mark of another take cannot be set before or after this token.
        _ => doubt(token, 0, Known::ResetNoMark, rules),
    }
}

fn void(token: Token) -> (State, Option<Action>) {
    (State::Voiding { token }, Some(Action::RecordVoid { token }))
}

/// A person has to be asked; where pictures are watched, with what has come.
fn doubt(token: Token, contacts: u8, known: Known, rules: Rules) -> (State, Option<Action>) {
    if rules.pictures {
        look(token, contacts, Some(known))
    } else {
        ask(token, known)
    }
}

fn look(token: Token, contacts: u8, doubt: Option<Known>) -> (State, Option<Action>) {
    (
        State::Looking {
            token,
            contacts,
            doubt,
        },
        Some(Action::Look { token }),
    )
}

fn done(token: Token, contacts: u8) -> (State, Option<Action>) {
    (
        State::Closing { token },
        Some(Action::RecordDone { token, contacts }),
    )
}

fn ask(token: Token, known: Known) -> (State, Option<Action>) {
    (
        State::Asking { token, known },
        Some(Action::Ask { token, known }),
    )
}
