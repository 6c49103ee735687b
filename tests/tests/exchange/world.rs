//! The world around the exchange: what is on disk, what the board, the camera, the user's command
//! and the pictures' folder are at, and what may still go wrong.

use std::collections::BTreeSet;

use panestep::take::exposure::{Action, Flaw, Found, State};
use panestep_protocol::{BootId, Mark, ShotId, Token};

/// The take.
pub(crate) const SHOT: ShotId = ShotId(1);

/// What fires the camera.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fires {
    Board,
    Command,
    Hand,
}

/// A message to the board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Line {
    Fire(Token, BootId),
    Fence(Token, BootId),
    Watch(Token, BootId),
}

/// A line of the journal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Record {
    Intent(Token, Option<BootId>),
    Done(Token),
    Void(Token),
    Verdict(Token, bool),
}

/// The board. The shot is opened with every session.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Board {
    pub(crate) boot: BootId,
    /// Tokens up to this one are spent.
    pub(crate) high: Token,
    /// The last token accepted, and how often the contact has closed once it is over.
    pub(crate) last: Option<(Token, Option<u8>)>,
    pub(crate) mark: Option<Mark>,
}

/// The program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Host {
    Down,
    /// About to do something.
    Doing(State, Action),
    /// The record has been written, not yet synced.
    Written(State, Record),
    /// Waits for an answer of the board.
    Waiting(State, Line),
    /// Waits for the command, or for the person at the release.
    Releasing(State),
    /// Between exposures.
    Between,
    Finished,
}

/// What the camera makes of a pulse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Camera {
    /// One exposure, and its picture.
    Exposes,
    /// Nothing.
    Ignores,
    /// Two exposures, two pictures.
    Twice,
    /// A picture that is no good, as of a shutter that sticks.
    Spoils,
    /// One exposure, and no picture of it.
    Loses,
}

/// What may still go wrong, and how often.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(crate) struct Budget {
    pub(crate) crashes: u8,
    pub(crate) resets: u8,
    /// Answers that do not come in time.
    pub(crate) silences: u8,
    /// Orders that the board refuses.
    pub(crate) refusals: u8,
    pub(crate) disk: u8,
    /// Pulses of which the camera makes anything but one exposure.
    pub(crate) camera: u8,
    /// Commands that do not start, fail or hang; hands that leave the release alone.
    pub(crate) release: u8,
    /// Pictures that somebody takes between two exposures.
    pub(crate) strays: u8,
    /// Axes that are let go of, without a reset of the board that fires.
    pub(crate) disturbed: u8,
}

/// The user's command or the person at the release; it may outlive the program.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) struct Releaser {
    pub(crate) token: Token,
    pub(crate) fired: bool,
}

/// Pictures that have come since the intent, and those before it that belong to none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub(crate) struct Album {
    pub(crate) good: u8,
    pub(crate) spoilt: u8,
    pub(crate) old: u8,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub(crate) struct World {
    pub(crate) host: Host,
    /// The start of the board that the session was opened with.
    pub(crate) session: BootId,
    pub(crate) safe: Vec<Record>,
    pub(crate) unsynced: Option<Record>,
    pub(crate) board: Board,
    pub(crate) releaser: Option<Releaser>,
    pub(crate) album: Album,
    /// Everything ever sent: it arrives whenever it likes, as often as it likes, or never.
    pub(crate) line: BTreeSet<Line>,
    pub(crate) budget: Budget,
    /// For each slot: pulses, whole exposures, and verdicts that there was none.
    pub(crate) pulses: Vec<u8>,
    pub(crate) exposures: Vec<u8>,
    pub(crate) denied: Vec<u8>,
    /// Whether the exposure of the token fired last was one and whole.
    pub(crate) whole: Option<(Token, bool)>,
    /// Whether an axis may have left its place since the intent.
    pub(crate) moved: bool,
    /// For each slot: whether its last exposure was of a pose out of place.
    pub(crate) displaced: Vec<bool>,
    /// A pulse was sent without its intent on disk.
    pub(crate) unrecorded: bool,
}

/// Place of a token's slot in a list.
pub(crate) fn place(token: Token) -> usize {
    token.slot as usize - 1
}

/// What a journal amounts to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Replay {
    pub(crate) next: Token,
    pub(crate) spent: Token,
    pub(crate) open: Option<(Token, Option<BootId>)>,
}

/// Reads a journal.
pub(crate) fn replay(records: &[Record]) -> Replay {
    let mut next = Token {
        slot: 1,
        attempt: 1,
    };
    let (mut spent, mut open) = (Token::default(), None);
    for record in records {
        let (token, exposed) = match *record {
            Record::Intent(token, boot) => {
                open = Some((token, boot));
                continue;
            }
            Record::Done(token) => (token, true),
            Record::Void(token) => (token, false),
            Record::Verdict(token, exposed) => (token, exposed),
        };
        open = None;
        spent = token;
        next = if exposed {
            Token {
                slot: token.slot + 1,
                attempt: 1,
            }
        } else {
            Token {
                attempt: token.attempt + 1,
                ..token
            }
        };
    }
    Replay { next, spent, open }
}

impl World {
    pub(crate) fn new(slots: u32, budget: Budget) -> Self {
        let none = vec![0; slots as usize];
        Self {
            host: Host::Down,
            session: BootId(1),
            safe: Vec::new(),
            unsynced: None,
            board: Board {
                boot: BootId(1),
                high: Token::default(),
                last: None,
                mark: None,
            },
            releaser: None,
            album: Album::default(),
            line: BTreeSet::new(),
            budget,
            pulses: none.clone(),
            exposures: none.clone(),
            denied: none,
            whole: None,
            moved: false,
            displaced: vec![false; slots as usize],
            unrecorded: false,
        }
    }

    /// Everything written, synced or not.
    pub(crate) fn written(&self) -> Vec<Record> {
        let mut records = self.safe.clone();
        records.extend(self.unsynced);
        records
    }

    /// Whether an exposure may still be under way.
    pub(crate) fn is_busy(&self) -> bool {
        matches!(self.board.last, Some((_, None))) || self.releaser.is_some()
    }

    /// The camera's line closes.
    pub(crate) fn pulse(&mut self, token: Token) {
        self.pulses[place(token)] += 1;
        self.whole = None;
        self.displaced[place(token)] = false;
        let intended = |record: &Record| matches!(record, Record::Intent(of, _) if *of == token);
        self.unrecorded |= !self.safe.iter().any(intended);
    }

    /// What the camera makes of it; how often the contact closes.
    pub(crate) fn expose(&mut self, token: Token, camera: Camera) -> u8 {
        let (exposures, pictures, contacts) = match camera {
            Camera::Exposes => (1, 1, 1),
            Camera::Ignores => (0, 0, 0),
            Camera::Twice => (2, 2, 2),
            Camera::Spoils => (0, 0, 1),
            Camera::Loses => (1, 0, 1),
        };
        self.exposures[place(token)] += exposures;
        self.album.good += pictures;
        self.album.spoilt += u8::from(camera == Camera::Spoils);
        self.displaced[place(token)] = self.moved && exposures > 0;
        self.whole = Some((token, exposures == 1 && !self.moved));
        contacts
    }

    /// What a look at the pictures' folder finds; with `old`, also what lay there before.
    pub(crate) fn found(&self, old: bool) -> Found {
        let Album { good, spoilt, .. } = self.album;
        let good = good + if old { self.album.old } else { 0 };
        match (good, spoilt) {
            (0, 0) => Found::Nothing,
            (1, 0) => Found::One,
            (0, 1) => Found::Flawed(Flaw::Black),
            _ => Found::Several(good + spoilt),
        }
    }
}
