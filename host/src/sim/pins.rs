//! The pins of a simulated board: what the firmware library drives instead of a chip's registers.

use std::cell::RefCell;
use std::rc::Rc;

use panestep_firmware::hardware::{CameraPort, LampPort, MarkPort, StepPort, SwitchPort};
use panestep_protocol::{AxisMask, Mark};

use super::mechanics::Mechanics;

/// One board's pins, connected to the stand's mechanics.
pub(super) struct Pins {
    pub(super) board: usize,
    pub(super) mechanics: Rc<RefCell<Mechanics>>,
}

impl StepPort for Pins {
    fn directions(&mut self, high: AxisMask) {
        self.mechanics.borrow_mut().directions(self.board, high.0);
    }

    fn step(&mut self, axes: AxisMask) {
        self.mechanics.borrow_mut().step(self.board, axes.0);
    }

    fn drivers(&mut self, on: bool) {
        self.mechanics.borrow_mut().drivers(self.board, on);
    }
}

impl SwitchPort for Pins {
    fn home(&mut self) -> AxisMask {
        AxisMask(self.mechanics.borrow().lines[self.board].home)
    }

    fn far(&mut self) -> AxisMask {
        AxisMask(self.mechanics.borrow().lines[self.board].far)
    }

    fn stop(&mut self) -> bool {
        self.mechanics.borrow().stop
    }
}

impl CameraPort for Pins {
    fn half_press(&mut self, closed: bool) {
        self.mechanics.borrow_mut().half_press(self.board, closed);
    }

    fn release(&mut self, closed: bool) {
        self.mechanics.borrow_mut().release(self.board, closed);
    }

    fn contact(&mut self) -> bool {
        self.mechanics.borrow().contact(self.board)
    }
}

impl LampPort for Pins {
    fn lamps(&mut self, on: u8) {
        self.mechanics.borrow_mut().lamps(self.board, on);
    }
}

impl MarkPort for Pins {
    fn mark(&mut self) -> Option<Mark> {
        self.mechanics.borrow().lines[self.board].kept
    }

    fn set_mark(&mut self, mark: Mark) {
        self.mechanics.borrow_mut().keep(self.board, mark);
    }
}
