//! The laws that the pins of a board must not break, and what was counted at them.

use std::time::Duration;

use crate::stand::{AxisId, BoardId};

/// Least time between a change of a direction line and a pulse, before it or after, ns. Five
/// microseconds satisfy the common step/direction drivers' data sheets (from memory; the
/// quickest ask for far less), and are well below a tick.
pub(super) const DIRECTION_SETUP: u64 = 5_000;

/// Least time between two pulses of one motor, ns: the same data sheets' 2.5 us high and 2.5 us
/// low.
pub(super) const PULSE_INTERVAL: u64 = 5_000;

/// A law that was broken: whatever the controller believed, this is what its pins did.
#[derive(Clone, Debug, PartialEq)]
pub struct Violation {
    /// When.
    pub at: Duration,
    /// What.
    pub law: Law,
}

/// The laws that no controller may break.
#[derive(Clone, Debug, PartialEq)]
pub enum Law {
    /// A direction line changed too near to a pulse, before it or after, for the driver to see
    /// which came first.
    DirectionSetup {
        /// The axis.
        axis: AxisId,
    },
    /// Two pulses came nearer to each other than a driver can tell apart.
    PulseInterval {
        /// The axis.
        axis: AxisId,
    },
    /// Two pulses came faster than the stand file allows the axis to go.
    Speed {
        /// The axis.
        axis: AxisId,
        /// Between the two pulses.
        interval: Duration,
    },
    /// A pulse while the motor drivers were off.
    DriversOff {
        /// The axis.
        axis: AxisId,
    },
    /// A pulse on a channel that no motor is connected to.
    NoMotor {
        /// The board.
        board: BoardId,
        /// The channel.
        channel: u8,
    },
    /// Something moved while the shutter was open.
    MovedWhileOpen {
        /// The axis that was the first to.
        axis: AxisId,
        /// The exposure.
        number: u32,
    },
    /// The release line closed before everything had been still for the settling time.
    NotSettled {
        /// How long it had been still.
        still: Duration,
    },
    /// A pulse after the stop circuit had been open for more than a tick.
    AfterStop {
        /// The axis.
        axis: AxisId,
    },
}

/// What one axis's motor has received and done, counted at its pins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StepCount {
    /// Pulses received with the direction that the stand file calls positive.
    pub positive: u64,
    /// Pulses received with the other one.
    pub negative: u64,
    /// Pulses that made no step: lost on demand, against a mechanical end, or with the drivers
    /// off.
    pub lost: u64,
}

impl StepCount {
    /// Positive less negative pulses.
    #[must_use]
    pub const fn net(self) -> i64 {
        self.positive as i64 - self.negative as i64
    }
}
