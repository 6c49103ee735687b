//! The library's hardware over embedded-hal pins.
//!
//! Levels: every switch and the stop are normally closed circuits from the input to ground, with
//! the input pulled up, so that an open circuit, by the switch or by a broken wire, reads high and
//! means tripped. The flash contact closes to ground: low means closed. Step, half-press, release
//! and lamp outputs are active high; most drivers' enable is active low, see [`Pins::enable_low`].
//!
//! A pin that reports an error is taken in the safe state: a switch that cannot be read is tripped,
//! a flash contact that cannot be read is open (no evidence). Once a motor's output has failed, a
//! pulse may be lost, and once a camera line could not be opened, the shutter may stay open: the
//! stop reads as open from then on, so that nothing moves. A camera line that could not be closed
//! shows as a missing flash contact.
//!
//! A pulse holds the processor up for its whole width. Where that is too long for the board's tick,
//! the board brings a [`StepPort`] of its own.

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{InputPin, OutputPin, PinState};
use panestep_protocol::{AxisMask, Mark};

use crate::hardware::{CameraPort, LampPort, MarkPort, StepPort, SwitchPort};

/// One axis's pins.
#[derive(Debug)]
pub struct AxisPins<O, I> {
    /// Step output.
    pub step: O,
    /// Direction output.
    pub direction: O,
    /// Home switch.
    pub home: I,
    /// Switch at the other end, where there is one.
    pub far: Option<I>,
}

/// A board's pins: `AXES` axes (at most [`MAX_AXES`](panestep_protocol::MAX_AXES), those beyond are
/// never stepped) and `LAMPS` lamps.
#[derive(Debug)]
pub struct Pins<O, I, const AXES: usize, const LAMPS: usize> {
    /// The axes' own pins.
    pub axes: [AxisPins<O, I>; AXES],
    /// The drivers' common enable.
    pub enable: O,
    /// Whether the drivers are on while the enable output is low.
    pub enable_low: bool,
    /// Stop circuit.
    pub stop: I,
    /// Half-press line.
    pub half_press: O,
    /// Release line.
    pub release: O,
    /// Flash contact.
    pub contact: I,
    /// Lamps.
    pub lamps: [O; LAMPS],
}

/// [`Pins`], something that waits for a pulse's width, and a place for the mark.
#[derive(Debug)]
pub struct PinBoard<O, I, D, M, const AXES: usize, const LAMPS: usize> {
    pins: Pins<O, I, AXES, LAMPS>,
    delay: D,
    pulse_ns: u32,
    marks: M,
    failed: bool,
}

impl<O, I, D, M, const AXES: usize, const LAMPS: usize> PinBoard<O, I, D, M, AXES, LAMPS> {
    /// `pulse_ns`: how long a step output stays high, in nanoseconds, as the drivers ask for.
    pub const fn new(pins: Pins<O, I, AXES, LAMPS>, delay: D, pulse_ns: u32, marks: M) -> Self {
        Self {
            pins,
            delay,
            pulse_ns,
            marks,
            failed: false,
        }
    }

    /// Whether a motor's output has reported an error since the start, or a camera line could not
    /// be opened.
    pub const fn has_failed(&self) -> bool {
        self.failed
    }

    /// Gives the parts back.
    pub fn into_parts(self) -> (Pins<O, I, AXES, LAMPS>, D, M) {
        (self.pins, self.delay, self.marks)
    }
}

/// High, or no telling: the circuit counts as open.
fn is_open(pin: &mut impl InputPin) -> bool {
    pin.is_high().unwrap_or(true)
}

impl<O: OutputPin, I, D: DelayNs, M, const AXES: usize, const LAMPS: usize> StepPort
    for PinBoard<O, I, D, M, AXES, LAMPS>
{
    fn directions(&mut self, high: AxisMask) {
        for (axis, pins) in self.pins.axes.iter_mut().enumerate() {
            let state = PinState::from(high.contains(axis));
            self.failed |= pins.direction.set_state(state).is_err();
        }
    }

    fn step(&mut self, axes: AxisMask) {
        for (axis, pins) in self.pins.axes.iter_mut().enumerate() {
            if axes.contains(axis) {
                self.failed |= pins.step.set_high().is_err();
            }
        }
        self.delay.delay_ns(self.pulse_ns);
        for (axis, pins) in self.pins.axes.iter_mut().enumerate() {
            if axes.contains(axis) {
                self.failed |= pins.step.set_low().is_err();
            }
        }
    }

    fn drivers(&mut self, on: bool) {
        let state = PinState::from(on != self.pins.enable_low);
        self.failed |= self.pins.enable.set_state(state).is_err();
    }
}

impl<O, I: InputPin, D, M, const AXES: usize, const LAMPS: usize> SwitchPort
    for PinBoard<O, I, D, M, AXES, LAMPS>
{
    fn home(&mut self) -> AxisMask {
        let mut tripped = AxisMask::NONE;
        for (axis, pins) in self.pins.axes.iter_mut().enumerate() {
            if is_open(&mut pins.home) {
                tripped.insert(axis);
            }
        }
        tripped
    }

    fn far(&mut self) -> AxisMask {
        let mut tripped = AxisMask::NONE;
        for (axis, pins) in self.pins.axes.iter_mut().enumerate() {
            if pins.far.as_mut().is_some_and(is_open) {
                tripped.insert(axis);
            }
        }
        tripped
    }

    fn stop(&mut self) -> bool {
        self.failed || is_open(&mut self.pins.stop)
    }
}

impl<O: OutputPin, I: InputPin, D, M, const AXES: usize, const LAMPS: usize> CameraPort
    for PinBoard<O, I, D, M, AXES, LAMPS>
{
    fn half_press(&mut self, closed: bool) {
        let set = self.pins.half_press.set_state(PinState::from(closed));
        self.failed |= set.is_err() && !closed;
    }

    fn release(&mut self, closed: bool) {
        let set = self.pins.release.set_state(PinState::from(closed));
        self.failed |= set.is_err() && !closed;
    }

    fn contact(&mut self) -> bool {
        self.pins.contact.is_low().unwrap_or(false)
    }
}

impl<O: OutputPin, I, D, M, const AXES: usize, const LAMPS: usize> LampPort
    for PinBoard<O, I, D, M, AXES, LAMPS>
{
    fn lamps(&mut self, on: u8) {
        for (lamp, pin) in self.pins.lamps.iter_mut().enumerate() {
            // A lamp is no guard: nothing depends on whether it burns.
            let _ = pin.set_state(PinState::from(AxisMask(on).contains(lamp)));
        }
    }
}

impl<O, I, D, M: MarkPort, const AXES: usize, const LAMPS: usize> MarkPort
    for PinBoard<O, I, D, M, AXES, LAMPS>
{
    fn mark(&mut self) -> Option<Mark> {
        self.marks.mark()
    }

    fn set_mark(&mut self, mark: Mark) {
        self.marks.set_mark(mark);
    }
}
