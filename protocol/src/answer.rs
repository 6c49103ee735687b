//! What the board can say.

use heapless::Vec;
use postcard::experimental::max_size::MaxSize;
use postcard_schema::Schema;
use serde::{Deserialize, Serialize};

use crate::{AxisIndex, AxisMask, BootId, MAX_AXES, RequestId, SessionId, Steps, Ticks, Token};

/// A request that was accepted. Append only.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Answer {
    /// Done, or begun.
    Done,
    /// Begun, and will take this long.
    Under {
        /// From now until rest.
        way: Ticks,
    },
    /// How things stand.
    Status(Status),
    /// What is known of a token.
    Exposure(ExposureFact),
}

/// How things stand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Status {
    /// What it is doing.
    pub activity: Activity,
    /// Steps given to each axis, counted from its zero; meaningful where `homed`, and as
    /// distances in any case.
    pub positions: Vec<Steps, MAX_AXES>,
    /// Axes set up since this start.
    pub configured: AxisMask,
    /// Axes whose position is trusted.
    pub homed: AxisMask,
    /// Whether the motor drivers are on.
    pub drivers: bool,
    /// The inputs.
    pub switches: Switches,
    /// Why it refuses to move, until acknowledged.
    pub halt: Option<Halt>,
    /// How the last homing since this start ended.
    pub homing: Option<HomingReport>,
    /// How long nothing has moved; stays at the greatest value once it has reached it.
    pub still: Ticks,
    /// The open take's last token accepted since this start, and what is known of it.
    pub exposure: Option<(Token, ExposureFact)>,
    /// Closings of the flash contact since this start, in or out of an exposure; wraps round.
    pub contacts: u32,
    /// Frames dropped since this start because they were damaged; wraps round.
    pub damaged: u32,
}

/// What a board is doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Activity {
    /// Nothing.
    Idle,
    /// Moving.
    Moving,
    /// Looking for an axis's home switch.
    Homing(AxisIndex),
    /// Coming to a controlled stop.
    Stopping,
    /// The shutter may be open.
    Exposing,
}

/// The inputs. Every switch is wired normally closed: tripped means that the circuit is open, by
/// the switch or by a broken wire.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Switches {
    /// Home switches that are tripped.
    pub home: AxisMask,
    /// Switches at the other end that are tripped; none where the board has no input for them.
    pub far: AxisMask,
    /// Whether the stop circuit is open.
    pub stop: bool,
    /// Whether the flash contact is closed.
    pub contact: bool,
}

/// Why a board has stopped and refuses to move.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Halt {
    /// The stop circuit opened. No position is trusted any more.
    Stop,
    /// An axis ran into a switch, or one tripped behind it on its way. Its position is not trusted
    /// any more.
    Limit {
        /// The axis.
        axis: AxisIndex,
        /// Which end's switch.
        toward: Toward,
    },
    /// The host fell silent during motion; it came to a controlled stop and knows where it is.
    Silence,
    /// The host asked for it; it came to a controlled stop and knows where it is.
    Asked,
}

pub use crate::command::Toward;

/// How a homing ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HomingReport {
    /// The request that asked for it.
    pub request: RequestId,
    /// The axis.
    pub axis: AxisIndex,
    /// How it ended.
    pub result: Result<HomeFound, HomingFault>,
}

/// A home switch found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct HomeFound {
    /// Where the switch tripped on the slow approach by the count before this homing, or by the
    /// count that a check keeps: less the order's edge, it is what the count was wrong by.
    pub was: Steps,
    /// The step at which the switch opened again, less the step at which it tripped: its
    /// hysteresis, and the slack of the drive.
    pub opened: Steps,
}

/// Why a homing failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum HomingFault {
    /// No switch within the search distance.
    NotFound,
    /// The switch had not opened after the whole back-off.
    NeverOpens,
    /// The switch at the other end came first: the motor runs the wrong way round.
    OtherEnd,
    /// Stopped by a guard, or by the host, before it was found.
    Interrupted,
}

/// What is known of a token.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ExposureFact {
    /// The shutter may be open now.
    Running,
    /// The release line was closed and its window has passed.
    Fired {
        /// Closings of the flash contact in the window.
        contacts: u8,
    },
    /// Not fired, and never will be.
    Never,
    /// The board does not know this take, or no longer remembers this token.
    Unknown,
}

/// A request that was not carried out; nothing has changed. Append only.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, MaxSize, Schema)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Refusal {
    /// Meant for another start of the board.
    OtherBoot(BootId),
    /// No session is open, or another one is.
    OtherSession(SessionId),
    /// An older request's number.
    Stale(RequestId),
    /// The host's messages have another shape.
    OtherSchema,
    /// The board has no such axis.
    NoAxis(AxisIndex),
    /// The axis has not been set up.
    NotConfigured(AxisIndex),
    /// A setting or an order that makes no sense: zero, or beyond what the board can do.
    BadValue(AxisIndex),
    /// Faster than one step a tick.
    TooFast(AxisIndex),
    /// The move would last longer than the board can count.
    TooLong,
    /// Something is under way.
    Busy(Activity),
    /// Halted, and not acknowledged; or the cause lasts.
    Halted(Halt),
    /// The motor drivers are off.
    DriversOff,
    /// These axes' positions are not trusted.
    NotHomed(AxisMask),
    /// The target lies outside the axis's travel.
    OutsideTravel(AxisIndex),
    /// The axis is not where the host believes it is.
    NotThere {
        /// The axis.
        axis: AxisIndex,
        /// Where it is.
        at: Steps,
    },
    /// A switch of the axis is tripped, and this is not a nudge away from it.
    SwitchTripped(AxisIndex),
    /// Not still for long enough.
    NotSettled {
        /// What is missing.
        wait: Ticks,
    },
    /// No such take is open.
    NoShot,
    /// The token, or a later one, has been fired or fenced off already.
    Spent(Token),
    /// A time that makes no sense: no press at all, or longer than the board allows.
    BadTime,
}
