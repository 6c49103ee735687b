//! What the library needs of a board, one small trait for each capability. Masks have bit `n` for
//! axis `n`.

use panestep_protocol::{AxisMask, Mark};

/// Step and direction lines, and the drivers' common enable.
pub trait StepPort {
    /// Sets the direction line of every axis: high where the bit is set.
    fn directions(&mut self, high: AxisMask);

    /// Sends one step pulse on each axis in the set. The board sees to the pulse's width; pulses
    /// of one call may overlap, and are over before the next tick.
    fn step(&mut self, axes: AxisMask);

    /// Switches the motor drivers on or off, all together.
    fn drivers(&mut self, on: bool);
}

/// Switch inputs. All are wired normally closed: an open circuit reads as tripped.
pub trait SwitchPort {
    /// Home switches that are tripped.
    fn home(&mut self) -> AxisMask;

    /// Switches at the other ends that are tripped; none where the board has no such inputs.
    fn far(&mut self) -> AxisMask;

    /// Whether the stop circuit is open.
    fn stop(&mut self) -> bool;
}

/// The camera's lines.
pub trait CameraPort {
    /// Closes or opens the half-press line.
    fn half_press(&mut self, closed: bool);

    /// Closes or opens the release line.
    fn release(&mut self, closed: bool);

    /// Whether the flash contact is closed.
    fn contact(&mut self) -> bool;
}

/// Lamp outputs.
pub trait LampPort {
    /// Switches the lamps, bit `n` for lamp `n`.
    fn lamps(&mut self, on: u8);
}

/// A small mark that survives a reset.
pub trait MarkPort {
    /// The mark, where there is a sound one.
    fn mark(&mut self) -> Option<Mark>;

    /// Replaces it; when this returns, a reset finds the new one.
    fn set_mark(&mut self, mark: Mark);
}

/// A whole board.
pub trait Hardware: StepPort + SwitchPort + CameraPort + LampPort + MarkPort {}

impl<T: StepPort + SwitchPort + CameraPort + LampPort + MarkPort> Hardware for T {}
