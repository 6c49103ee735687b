//! The people at the stand: what a take asks them, and what it tells them.

use std::time::Duration;

use panestep_protocol::Token;

use super::exposure::{Flaw, Known, Released};
use super::hands::HandRequest;
use super::span::Span;
use super::state::{Drift, Suspects};
use crate::schedule::{Chore, EXPOSURE_WORD, FRAME_WORD, MotorAxis, PASS_WORD, Turn};

/// Somebody at the stand. `None` from any question means: stop here, the take goes on later.
pub trait Person {
    /// Asks for an axis to be moved by hand, and for the reading of its scale afterwards, in the
    /// axis's unit.
    fn set(&mut self, request: &HandRequest<'_>) -> Option<f64>;

    /// Asks whether a frame has been exposed, once and whole. Never guess.
    fn exposed(&mut self, question: &Question) -> Option<bool>;

    /// Asks which of these frames (by the numbers of their exposures) have been exposed already, at most so many of them: a take that was
    /// stepped through exposes in any order, and its journal, an older copy, knows nothing of it.
    /// Never guess.
    fn others(&mut self, frames: &[Span], most: u32) -> Option<Vec<u32>>;

    /// Asks for a finger on the camera's release, once. `false`: the release has been left alone
    /// for certain, and the take stops here. `None`: nobody says; the question comes again.
    fn fire(&mut self, turn: Turn) -> Option<bool>;

    /// Asks for everything that a hand has to do before an exposure, beside setting axes; whoever
    /// answers has done all of it.
    fn arrange(&mut self, arrangement: &Arrangement<'_>) -> Option<()>;

    /// Asks whether frames that a home check has put in doubt are to be shot again. `false` keeps
    /// them as they are.
    fn again(&mut self, suspects: &Suspects) -> Option<bool>;
}

/// Nobody: every question stops the run.
impl Person for () {
    fn set(&mut self, _: &HandRequest<'_>) -> Option<f64> {
        None
    }

    fn exposed(&mut self, _: &Question) -> Option<bool> {
        None
    }

    fn others(&mut self, _: &[Span], _: u32) -> Option<Vec<u32>> {
        None
    }

    fn fire(&mut self, _: Turn) -> Option<bool> {
        None
    }

    fn arrange(&mut self, _: &Arrangement<'_>) -> Option<()> {
        None
    }

    fn again(&mut self, _: &Suspects) -> Option<bool> {
        None
    }
}

/// Everything that a hand has to do before an exposure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Arrangement<'a> {
    /// The exposure.
    pub turn: Turn,
    /// Its pass's name; empty where the shot names no passes.
    pub pass: &'a str,
    /// What is to be done, at least one thing; in the order in which it is best done.
    pub chores: &'a [Chore],
    /// Whether it is the first time in this run: then all of it is here, as nobody knows how the
    /// stand was left, and some of it may be so already.
    pub first: bool,
}

/// What fires the camera where no board does.
pub trait Trigger {
    /// Runs the user's own command, and waits until it has ended. Where it takes too long it is
    /// ended.
    fn release(&mut self, order: &ReleaseOrder<'_>) -> Released;

    /// Why the last one could not be started, or how it failed, for messages.
    fn why(&self) -> String;
}

/// One exposure by a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReleaseOrder<'a> {
    /// The frame.
    pub turn: Turn,
    /// How long the shutter is to be open.
    pub exposure: Duration,
    /// The program and its arguments; `{frame}` is to be replaced by the frame's number, `{pass}`
    /// by the pass's, `{exposure}` by the exposure time in seconds.
    pub words: &'a [String],
    /// Longest time that it may take.
    pub time_out: Duration,
}

impl ReleaseOrder<'_> {
    /// A word of the command with everything in its place.
    #[must_use]
    pub fn filled_in(&self, word: &str) -> String {
        word.replace(FRAME_WORD, &self.turn.frame.to_string())
            .replace(PASS_WORD, &(self.turn.pass + 1).to_string())
            .replace(EXPOSURE_WORD, &self.exposure.as_secs_f64().to_string())
    }
}

/// For stands on which a board or a finger fires: there is no command to run.
impl Trigger for () {
    fn release(&mut self, _: &ReleaseOrder<'_>) -> Released {
        Released::NotBegun
    }

    fn why(&self) -> String {
        "there is no command to run".into()
    }
}

/// A frame of which nobody but a person can say whether it has been exposed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// The frame.
    pub turn: Turn,
    /// The token.
    pub token: Token,
    /// What is known.
    pub known: Known,
    /// The pictures that have come since it was to be exposed, where they are watched.
    pub pictures: Vec<String>,
}

impl Known {
    /// What is known, and what is not, as a sentence.
    #[must_use]
    pub fn sentence(self) -> String {
        match self {
            Self::ResetNoMark => "the board was reset before it could say whether it had fired, and keeps no mark of this take".into(),
            Self::ResetBegun => "the board was reset after it had begun to fire; the exposure may be none, part of one, or whole".into(),
            Self::MarkAhead => "the board has fired later than the journal knows of; the journal may be an older copy".into(),
            Self::Forgotten => "the board runs on, but has forgotten this take; another take may have been begun on it".into(),
            Self::NoContact => "the board fired, but the flash contact did not close: the camera did not follow, or the contact's wire is broken".into(),
            Self::Contacts(times) => format!("the board fired once, but the flash contact closed {times} times: the camera may have exposed more than once"),
            Self::NoPicture => "the camera was fired, but no picture has come: it did not expose, or its picture was lost on the way or its card is full".into(),
            Self::Pictures(count) => format!("the camera was fired once, but {count} pictures have come: it may have exposed more than once, or somebody else has pressed its release"),
            Self::Flawed(Flaw::Unreadable) => "the camera was fired, but the picture that has come cannot be read: it is damaged, or its kind is not one that can be read here".into(),
            Self::Flawed(Flaw::Black) => "the camera was fired, but the picture that has come is black: the lens is covered, the lamps are out, or the exposure failed".into(),
            Self::Flawed(Flaw::Copy) => "the camera was fired, but the picture that has come is the same, dot for dot, as an earlier one of this take".into(),
            Self::Unaccounted => "pictures have come since this take's last exposure of which its journal knows nothing; the journal may be an older copy".into(),
            Self::Disturbed => "the camera was fired, but a board has been reset, or has let go of its motors, while the shutter may have been open: the picture may be blurred, or of another pose".into(),
            Self::CommandFailed(Some(code)) => format!("the command that takes the picture ended with exit code {code}: it may have fired the camera before it failed"),
            Self::CommandFailed(None) => "the command that takes the picture was ended from outside: it may have fired the camera before".into(),
            Self::CommandTimedOut => "the command that takes the picture did not end in time and was ended: it may have fired the camera before".into(),
            Self::RunEnded => "the program ended after it had set out to expose this frame and before it heard what became of it; see that no command of that run is still at work".into(),
        }
    }
}

/// From where to where an axis goes, steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passage<'a> {
    /// The axis.
    pub axis: &'a MotorAxis,
    /// Where it is.
    pub from: i32,
    /// Where it is to be.
    pub to: i32,
}

/// What a run has just done or is about to do. Axes are named like `reeds east`.
#[derive(Clone, Debug, PartialEq)]
pub enum Progress<'a> {
    /// A session with a board began.
    Connected {
        /// The board.
        board: &'a str,
    },
    /// An axis looks for its home switch.
    Homing {
        /// The axis.
        axis: &'a str,
        /// Its number among those that are homed now, from 1, and how many they are.
        number: (usize, usize),
    },
    /// It has found it.
    Homed {
        /// The axis.
        axis: &'a str,
    },
    /// An axis has lost its count: whether these frames were exposed in their poses cannot be
    /// checked against its switch any more.
    Unchecked {
        /// The axis.
        axis: &'a str,
        /// The frames.
        frames: &'a [Span],
    },
    /// An axis goes to its home switch, to see whether it is where it is counted.
    Checking {
        /// The axis.
        axis: &'a str,
        /// Its number among those that are checked, from 1, and how many they are.
        number: (usize, usize),
    },
    /// Every axis was found where it is counted.
    Checked {
        /// How many frames have been exposed since the check before; none in a rehearsal.
        frames: usize,
    },
    /// An axis was found elsewhere than it was counted, by more than the stand says its switch can
    /// differ: it has lost steps, or the switch is not exact. Frames are in doubt, where any have
    /// been exposed since.
    Doubted {
        /// The axis, and by how much it was off.
        drift: &'a Drift,
        /// The frames.
        frames: &'a [Span],
    },
    /// A board whose lamps burnt for a frame has started anew while it was exposed, or does not answer
    /// any more: it is in doubt.
    Unlit {
        /// The board.
        board: &'a str,
        /// The frame.
        turn: Turn,
    },
    /// The run ends while a shutter may be open: the lamps burn on until it has certainly closed.
    LampsWait {
        /// For how long.
        left: Duration,
    },
    /// Frames are to be shot again, or left out, as the person wants it.
    Changed {
        /// What.
        what: &'a str,
        /// The frames.
        frames: &'a [Span],
    },
    /// Pictures lie in the folder that belong to no exposure of this take.
    Strangers {
        /// Their files.
        pictures: &'a [String],
    },
    /// Levels are on their way to a frame's pose.
    Moving {
        /// The frame.
        turn: Turn,
    },
    /// Levels are about to set out for a frame's pose, where a person steps through a shot.
    SettingOut {
        /// The frame.
        turn: Turn,
        /// Every motor axis.
        passages: &'a [Passage<'a>],
    },
    /// Something moves, and is awaited.
    UnderWay {
        /// Until it should be at rest.
        left: Duration,
    },
    /// Everything is in its place and comes to rest, or the camera gets ready.
    Resting {
        /// For so long.
        left: Duration,
    },
    /// They have arrived, as counters and switches agree.
    Arrived {
        /// The frame.
        turn: Turn,
    },
    /// The shutter is about to be fired.
    Exposing {
        /// The frame.
        turn: Turn,
    },
    /// A frame is done: exposed, or only reached in a rehearsal.
    Frame {
        /// The frame.
        turn: Turn,
        /// How many exposures are done, in this run and before it; in a rehearsal, frames.
        done: u32,
        /// How many there are to do in all: those left out do not count.
        turns: u32,
        /// The picture that has come of it, where they are watched.
        picture: Option<&'a str>,
        /// Since this run began.
        elapsed: Duration,
        /// Until it will probably end.
        left: Duration,
    },
}

/// Somebody who looks on.
pub trait Watch {
    /// Takes note.
    fn see(&mut self, progress: &Progress<'_>);
}

impl Watch for () {
    fn see(&mut self, _: &Progress<'_>) {}
}

impl<F: FnMut(&Progress<'_>)> Watch for F {
    fn see(&mut self, progress: &Progress<'_>) {
        self(progress);
    }
}
