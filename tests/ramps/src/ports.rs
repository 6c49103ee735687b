//! Hardware that costs what a real board's does: a register read for each reading, a store for the
//! pulses.

use panestep_firmware::hardware::{CameraPort, LampPort, MarkPort, StepPort, SwitchPort};
use panestep_protocol::{AxisMask, Mark};

use crate::chip;

/// First home switch, the stop and the flash contact, among the pins.
const HOME: u32 = 14;
const STOP: u32 = 1 << 21;
const CONTACT: u32 = 1 << 27;

/// The pins with everything at rest: switches closed to ground, flash contact open.
pub(crate) const RESTING: u32 = CONTACT;

/// The pins with these home switches tripped.
pub(crate) const fn tripped(home: AxisMask) -> u32 {
    RESTING | (home.0 as u32) << HOME
}

/// The board.
#[derive(Debug, Default)]
pub(crate) struct Ports {
    /// The direction lines, and the pulses of the last tick, for the model of the stand. (Both are
    /// a store to memory that a real board does not need.)
    pub(crate) high: AxisMask,
    /// As above.
    pub(crate) stepped: AxisMask,
    mark: Option<Mark>,
}

impl StepPort for Ports {
    fn directions(&mut self, high: AxisMask) {
        self.high = high;
    }

    #[inline]
    fn step(&mut self, axes: AxisMask) {
        chip::pulses(u32::from(axes.0));
        self.stepped = axes;
    }

    fn drivers(&mut self, _on: bool) {}
}

impl SwitchPort for Ports {
    #[inline]
    fn home(&mut self) -> AxisMask {
        AxisMask((chip::pins() >> HOME) as u8 & 0x3f)
    }

    #[inline]
    fn far(&mut self) -> AxisMask {
        AxisMask::NONE
    }

    #[inline]
    fn stop(&mut self) -> bool {
        chip::pins() & STOP != 0
    }
}

impl CameraPort for Ports {
    fn half_press(&mut self, _closed: bool) {}

    fn release(&mut self, _closed: bool) {}

    #[inline]
    fn contact(&mut self) -> bool {
        chip::pins() & CONTACT == 0
    }
}

impl LampPort for Ports {
    fn lamps(&mut self, _on: u8) {}
}

impl MarkPort for Ports {
    fn mark(&mut self) -> Option<Mark> {
        self.mark
    }

    fn set_mark(&mut self, mark: Mark) {
        self.mark = Some(mark);
    }
}
