//! What can be made to go wrong, and when.

use std::time::Duration;

use crate::stand::{AxisId, BoardId};

/// When a fault strikes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// At once.
    Now,
    /// At a moment of the virtual clock; at once where it has passed.
    At(Duration),
    /// With the n-th event of the world, counted as by
    /// [`events`](super::SimulatedStand::events).
    Event(u64),
    /// When the release line closes for the n-th time, counted from 1 over the whole run.
    Release(u32),
}

/// Something that goes wrong, or is put right again.
#[derive(Clone, Debug, PartialEq)]
pub enum Fault {
    /// A motor makes none of its next steps.
    LoseSteps {
        /// Its axis.
        axis: AxisId,
        /// How many.
        steps: u32,
    },
    /// A motor misses steps at random from now on.
    LoseOften {
        /// Its axis.
        axis: AxisId,
        /// Probability that a step is not made; 0 mends it.
        chance: f64,
    },
    /// A motor's wires are swapped: it turns the other way round from now on; once more mends it.
    SwapWires {
        /// Its axis.
        axis: AxisId,
    },
    /// The home switch's state as the board sees it no longer follows the carriage.
    HomeSwitch {
        /// Its axis.
        axis: AxisId,
        /// What is wrong with it; `None` mends it.
        fault: Option<SwitchFault>,
    },
    /// The same for the switch at the other end.
    FarSwitch {
        /// Its axis.
        axis: AxisId,
        /// What is wrong with it; `None` mends it.
        fault: Option<SwitchFault>,
    },
    /// The stop button is pressed, or its wire breaks. It stays so. Seen by every board.
    StopPressed,
    /// The stop button is pulled out again.
    StopReleased,
    /// What the camera does with the next press that it would otherwise answer as it should.
    Camera(CameraFault),
    /// A board restarts: its outputs fall to rest, it loses its counts and draws a new boot id.
    Reset {
        /// The board.
        board: BoardId,
        /// Whether the mark that survives a reset survives this one.
        keep_mark: bool,
        /// Whether its port drops out, as on a board with USB of its own.
        drop_port: bool,
    },
    /// The cable to a board is pulled: its open port fails, and opening it does too.
    CableOut {
        /// The board.
        board: BoardId,
    },
    /// The cable is plugged in again; the port has to be opened afresh.
    CableIn {
        /// The board.
        board: BoardId,
    },
    /// The next bytes on the way to a board or from it are damaged.
    Noise {
        /// The board.
        board: BoardId,
        /// On the way to the board, or from it.
        to_board: bool,
        /// What becomes of the next piece.
        damage: Damage,
    },
    /// A home switch trips elsewhere than before: it was knocked, or its bracket slipped.
    HomeSwitchMoved {
        /// Its axis.
        axis: AxisId,
        /// How far, axis units.
        by: f64,
    },
    /// The slack of a drive has become another: worn, or adjusted.
    Backlash {
        /// Its axis.
        axis: AxisId,
        /// The slack from now on, axis units.
        slack: f64,
    },
    /// The motors' supply fails or comes back. The boards do not see it: their drivers are on, and
    /// no motor makes a step.
    MotorPower {
        /// Whether it is there from now on.
        on: bool,
    },
    /// One motor's driver makes no steps any more, or is mended.
    Driver {
        /// Its axis.
        axis: AxisId,
        /// Whether it is dead from now on.
        dead: bool,
    },
    /// The power of stand and computer fails for a moment: every board restarts, every open port
    /// drops out, and the host program dies as by [`Fault::KillHost`].
    PowerCut {
        /// Whether the mark that survives a reset survives this too.
        keep_mark: bool,
    },
    /// Somebody presses the camera's own release: an exposure that nobody ordered.
    HandRelease,
    /// The host's next wait lasts so much longer: the computer was suspended.
    Suspend(Duration),
    /// Something else is plugged in where a board should be, or the board is there again.
    Stranger {
        /// The board whose port it is.
        board: BoardId,
        /// What it is; `None` mends it.
        stranger: Option<Stranger>,
    },
    /// The cables of two boards are swapped; once more mends it.
    Swapped {
        /// One.
        one: BoardId,
        /// The other.
        other: BoardId,
    },
    /// From now on the opening of a board's port resets it, as the line that says "ready" does on
    /// some boards; or no longer.
    OpeningResets {
        /// The board.
        board: BoardId,
        /// Whether it does.
        on: bool,
    },
    /// The host program dies: from now on every wait and every send fails with [`HostKilled`],
    /// until [`revive`](super::SimulatedStand::revive). The boards carry on.
    KillHost,
    /// What the person at a crank does with the next setting of a hand axis.
    Crank(CrankSlip),
}

/// What is wrong with a switch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SwitchFault {
    /// A broken wire: reads as tripped for ever, as switches are wired normally closed.
    BrokenWire,
    /// Welded shut or not reached by the carriage: never reads as tripped.
    Stuck,
}

/// What a camera does with a press of the release.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CameraFault {
    /// Nothing.
    Ignores,
    /// Exposes twice, one right after the other.
    FiresTwice,
    /// Exposes, but the flash contact does not close.
    NoContact,
    /// Opens so long after the release line closed.
    Late(Duration),
}

/// What becomes of a piece of bytes on the line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Damage {
    /// It is lost.
    Lost,
    /// It arrives twice.
    Twice,
    /// One bit of it is flipped, chosen by the seed.
    Flipped,
    /// These bytes come before it.
    After(Vec<u8>),
    /// It is held back so long, and may be overtaken.
    Late(Duration),
    /// Only its first half arrives.
    Short,
    /// Its last byte is lost, so that it runs into the next piece.
    Merged,
    /// So many bytes of garbage come before it, chosen by the seed.
    Flood(u32),
}

/// What is plugged in where a board should be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stranger {
    /// Something that answers whatever it hears with garbage.
    Babbler,
    /// A board of this kind, but of another name. It answers greetings and nothing else.
    Named(String),
}

/// What a person does wrong at a crank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CrankSlip {
    /// Turns the wrong way, as far as was asked.
    WrongWay,
    /// Goes only this part of the way.
    Short(f64),
    /// Goes twice as far.
    Double,
    /// Forgets to turn at all.
    Nothing,
    /// Turns the crank of another hand axis instead, by the same amount.
    Other(AxisId),
}

/// Why a wait of a killed host ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the simulated host has been killed")]
pub struct HostKilled;
