//! What ends a run before its last frame.

use std::time::Duration;

use panestep_protocol::HomingFault;
use thiserror::Error;

use crate::link::{LinkError, words};
use crate::plan::times::MoveError;
use crate::schedule::Turn;
use crate::stand::AxisUnit;
use crate::units::InUnit;

use super::journal::JournalError;

/// How a run that did not reach its last frame ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// It could not: something has to be mended or changed first. Exit code 1.
    CouldNot,
    /// A guard or a person stopped it; the take can go on. Exit code 3.
    Stopped,
}

/// Why a run ended.
#[derive(Debug, Error)]
pub enum TakeError {
    /// The port of a board cannot be had.
    #[error("board {board:?}: {source}")]
    Port {
        /// The board.
        board: String,
        /// Why.
        source: Box<dyn std::error::Error + Send + Sync>,
    },
    /// No session with a board could be begun.
    #[error("port {port:?}: {source}{}", elsewhere(source))]
    Connect {
        /// The port.
        port: String,
        /// Why.
        source: LinkError,
    },
    /// A board would refuse a move of the schedule.
    #[error("{0}; nothing was moved")]
    Move(#[from] MoveError),
    /// Something went wrong between the host and a board.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// A board refused a request about a named axis.
    #[error("board {board:?} refuses: {what}")]
    Refused {
        /// The board.
        board: String,
        /// Why, with the axes' names.
        what: String,
    },
    /// A guard on a board, or a person, stopped everything.
    #[error("board {board:?} has stopped: {cause}")]
    Halted {
        /// The board.
        board: String,
        /// Why, with the axes' names.
        cause: String,
    },
    /// An axis could not be homed.
    #[error("{axis} cannot be homed: {}", words::homing(*fault))]
    Homing {
        /// The axis.
        axis: String,
        /// How it failed.
        fault: HomingFault,
    },
    /// The board does not count what was ordered.
    #[error(
        "{}{axis} should be at step {expected}, but its board counts {counted}; see that no other program uses its port, then go on: where a count is in doubt, the axis is homed afresh",
        of_frame(*turn)
    )]
    Counter {
        /// The frame, where it is one.
        turn: Option<Turn>,
        /// The axis.
        axis: String,
        /// The target.
        expected: i32,
        /// The board's count.
        counted: i32,
    },
    /// A switch is tripped where none should be.
    #[error(
        "{}the {which} switch of {axis} is tripped although the axis should be inside its travel; it has lost steps, or the switch or its wire is faulty",
        of_frame(*turn)
    )]
    Switch {
        /// The frame, where it is one.
        turn: Option<Turn>,
        /// The axis.
        axis: String,
        /// `home` or `far`.
        which: &'static str,
    },
    /// An axis is not trusted any more, or something still moves.
    #[error("{}board {board:?} is not ready to expose: {what}", of_frame(*turn))]
    NotReady {
        /// The frame, where it is one.
        turn: Option<Turn>,
        /// The board.
        board: String,
        /// What is missing.
        what: String,
    },
    /// Something did not come to rest in time.
    #[error(
        "board {board:?} did not come to rest within {waited:.1?}; cut its motors' power if anything still turns"
    )]
    Restless {
        /// The board.
        board: String,
        /// How long it was waited for.
        waited: Duration,
    },
    /// No room to take up an axis's slack.
    #[error(
        "{}{axis} is to stand at step {target}, {room} steps from the end of its travel, and needs {take_up} to take up its slack from the same side; move the plan away from that end, or lower the travel's least position",
        of_frame(*turn)
    )]
    NoRoom {
        /// The frame, where it is one.
        turn: Option<Turn>,
        /// The axis.
        axis: String,
        /// The target.
        target: i32,
        /// Steps below it that may be used.
        room: i32,
        /// Steps needed.
        take_up: i32,
    },
    /// A person stopped it at the stand.
    #[error("stopped by a person; everything stands still")]
    Interrupted,
    /// An axis cannot go to a position before it is homed.
    #[error(
        "{axis} is not homed: nobody knows where it is, so that it cannot be sent to a position; home it first. Nothing was moved"
    )]
    NotHomed {
        /// The axis.
        axis: String,
    },
    /// A position beyond an axis's travel.
    #[error(
        "{axis} cannot go to {}: its travel is from {} to {}; nothing was moved",
        InUnit(*target, *unit), InUnit(travel.0, *unit), InUnit(travel.1, *unit)
    )]
    OutsideTravel {
        /// The axis.
        axis: String,
        /// Where it was to go.
        target: f64,
        /// Least and greatest position.
        travel: (f64, f64),
        /// The unit of all three.
        unit: AxisUnit,
    },
    /// An axis that is not homed was to go farther than its whole travel.
    #[error(
        "{axis} is not homed, and {} is farther than its whole travel of {}; nothing was moved",
        InUnit(by.abs(), *unit), InUnit(*travel, *unit)
    )]
    TooFar {
        /// The axis.
        axis: String,
        /// How far it was to go, with its sign.
        by: f64,
        /// The length of its travel.
        travel: f64,
        /// The unit of both.
        unit: AxisUnit,
    },
    /// The schedule does not hold together.
    #[error("the schedule does not hold together: {0}")]
    Schedule(&'static str),
    /// The take began with another schedule.
    #[error(
        "the take began with another schedule (fingerprint {began:016x}, now {now:016x}): its files or this program have changed since; nothing was moved"
    )]
    OtherSchedule {
        /// What it began with.
        began: u64,
        /// What was offered now.
        now: u64,
    },
    /// A frame that the take does not have.
    #[error("there is no frame {frame}: the take has {frames}; nothing was changed")]
    NoFrame {
        /// The frame.
        frame: u32,
        /// How many there are.
        frames: u32,
    },
    /// Not so many frames are exposed.
    #[error(
        "cannot go back by {count}: {exposed} of the frames asked for are exposed; nothing was changed"
    )]
    NotSoFar {
        /// How far.
        count: u32,
        /// How many are exposed, up to that.
        exposed: usize,
    },
    /// Nobody has answered anything about a frame.
    #[error(
        "there is no answer about frame {turn} that could be taken back (a question that is still open is asked when the take goes on); nothing was changed"
    )]
    NoAnswer {
        /// The frame.
        turn: Turn,
    },
    /// Pictures have come that nobody asked for.
    #[error(
        "{}: a picture has come that no exposure of this take has made: {}; somebody has pressed the camera's release, or an exposure has made two. Have a look at it; the take goes on without it",
        at_frame(*turn), pictures.join(", ")
    )]
    Strangers {
        /// The frame that was about to be exposed; none at the end.
        turn: Option<Turn>,
        /// Their files.
        pictures: Vec<String>,
    },
    /// The flash contact has closed without an order.
    #[error(
        "{}: the camera's flash contact has closed {times} times since the last exposure was over, and nobody asked for that: the camera has exposed once more, or somebody has pressed its release. Have a look at the last frame's picture and at those that are too many; the take goes on without them",
        at_frame(*turn)
    )]
    StrayContact {
        /// The frame that was about to be exposed; none at the end.
        turn: Option<Turn>,
        /// How often.
        times: u32,
    },
    /// The pictures' folder cannot be read.
    #[error("the folder that the pictures arrive in cannot be read: {0}")]
    Album(std::io::Error),
    /// The command that takes the pictures could not be started.
    #[error("frame {turn}: the command that takes the picture cannot be run: {why}")]
    Command {
        /// The frame.
        turn: Turn,
        /// Why.
        why: String,
    },
    /// The journal.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// One exposure was tried again and again.
    #[error(
        "frame {turn}: {tries} tries have not exposed it, the last because {why}; look at the camera and at what fires it"
    )]
    NoExposure {
        /// The frame.
        turn: Turn,
        /// How often.
        tries: u32,
        /// The last refusal.
        why: String,
    },
    /// The clock ended a wait.
    #[error("interrupted: {0}")]
    Clock(std::io::Error),
}

fn of_frame(turn: Option<Turn>) -> String {
    turn.map_or_else(String::new, |turn| format!("frame {turn}: "))
}

fn at_frame(turn: Option<Turn>) -> String {
    turn.map_or_else(
        || "after the last frame".to_owned(),
        |turn| format!("before frame {turn}"),
    )
}

/// What else to check where a port leads to nobody.
fn elsewhere(error: &LinkError) -> &'static str {
    match error {
        LinkError::NoAnswer { .. } => ", and that the stand file names the port that it is on",
        _ => "",
    }
}

impl TakeError {
    /// Whether a board or its port went away, so that only a new session can go on.
    pub(super) fn is_lost(&self) -> bool {
        match self {
            Self::Port { .. } => true,
            Self::Link(error) | Self::Connect { source: error, .. } => error.is_lost(),
            _ => false,
        }
    }

    /// Which exit code this ending has.
    #[must_use]
    pub fn ending(&self) -> Ending {
        match self {
            // What the boards' guards see, and what this program's own checks see.
            Self::Halted { .. }
            | Self::Counter { .. }
            | Self::Switch { .. }
            | Self::NotReady { .. }
            | Self::Strangers { .. }
            | Self::Interrupted
            | Self::StrayContact { .. } => Ending::Stopped,
            _ => Ending::CouldNot,
        }
    }

    /// Whether the take can go on from here once the cause is gone.
    #[must_use]
    pub fn resumable(&self) -> bool {
        !matches!(
            self,
            Self::Schedule(_)
                | Self::OtherSchedule { .. }
                | Self::NoRoom { .. }
                | Self::Move(_)
                | Self::NoFrame { .. }
                | Self::NotSoFar { .. }
                | Self::NoAnswer { .. }
                | Self::Journal(JournalError::Damaged { .. } | JournalError::OutOfOrder { .. })
        )
    }
}
