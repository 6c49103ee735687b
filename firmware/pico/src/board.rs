//! The library's hardware on this chip: one access to a port for all axes at once.

use panestep_firmware::hardware::{CameraPort, LampPort, MarkPort, StepPort, SwitchPort};
use panestep_protocol::{AxisMask, Mark};
use rp2040_hal::pac;

use crate::kept;
use crate::pins::{self, Line, Wiring};
use crate::pulses::Pulses;

/// All the lines, and the place for the mark.
#[derive(Debug)]
pub struct Board {
    pulses: Pulses,
    marks: kept::Marks,
}

/// The ports of this core.
#[inline(always)]
fn port() -> &'static pac::sio::RegisterBlock {
    // SAFETY: the address is that of the block's registers, which are there for as long as the chip
    // has power. Outputs are only written to by the owner of the one `Board`, and in single
    // accesses that set or clear given bits.
    unsafe { &*pac::SIO::ptr() }
}

/// Sets outputs, in a port's word.
#[inline(always)]
fn raise(outputs: u32) {
    port().gpio_out_set().write(|word| {
        // SAFETY: each bit sets one output, and there are no others.
        unsafe { word.bits(outputs) }
    });
}

/// Clears outputs.
#[inline(always)]
fn lower(outputs: u32) {
    port().gpio_out_clr().write(|word| {
        // SAFETY: each bit clears one output, and there are no others.
        unsafe { word.bits(outputs) }
    });
}

#[inline(always)]
fn set(line: &Line, high: bool) {
    if high {
        raise(line.mask());
    } else {
        lower(line.mask());
    }
}

#[inline(always)]
fn read(line: &Line) -> u32 {
    (port().gpio_in().read().bits() & line.mask()) >> line.first
}

/// Gives every pin its function, its pull and its first level. To be called once, before a
/// [`Board`] is made.
pub fn set_up_pins(io: &pac::io_bank0::RegisterBlock, pads: &pac::pads_bank0::RegisterBlock) {
    for line in &pins::TABLE {
        for pin in line.first..line.first + line.count {
            let mask = 1 << pin;
            if matches!(line.wiring, Wiring::Low | Wiring::High) {
                // The level comes first, so that none but this one is ever seen.
                if line.wiring == Wiring::High {
                    raise(mask);
                } else {
                    lower(mask);
                }
                port().gpio_oe_set().write(|word| {
                    // SAFETY: each bit makes one pin an output.
                    unsafe { word.bits(mask) }
                });
            }
            let pulled_up = matches!(line.wiring, Wiring::PulledUp | Wiring::UartIn);
            // Until the state machine drives them, nothing else does.
            let pulled_down = line.wiring == Wiring::Pulses;
            pads.gpio(usize::from(pin)).write(|pad| {
                pad.ie().set_bit().od().clear_bit();
                pad.schmitt().set_bit();
                pad.pue().bit(pulled_up).pde().bit(pulled_down)
            });
            io.gpio(usize::from(pin))
                .gpio_ctrl()
                .write(|control| match line.wiring {
                    Wiring::Low | Wiring::High | Wiring::PulledUp => control.funcsel().sio(),
                    Wiring::Pulses => control.funcsel().pio0(),
                    Wiring::UartOut | Wiring::UartIn => control.funcsel().uart(),
                });
        }
    }
}

impl Board {
    /// The board, its pins having been set up.
    pub const fn new(pulses: Pulses, marks: kept::Marks) -> Self {
        Self { pulses, marks }
    }

    /// Pulses.
    pub const fn pulses_mut(&mut self) -> &mut Pulses {
        &mut self.pulses
    }
}

impl StepPort for Board {
    #[inline(always)]
    fn directions(&mut self, high: AxisMask) {
        let wanted = (u32::from(high.0) << pins::DIRECTION.first) & pins::DIRECTION.mask();
        raise(wanted);
        lower(pins::DIRECTION.mask() & !wanted);
    }

    #[inline(always)]
    fn step(&mut self, axes: AxisMask) {
        self.pulses.step(axes);
    }

    fn drivers(&mut self, on: bool) {
        set(&pins::ENABLE, !on);
        set(&pins::LED, on);
    }
}

impl SwitchPort for Board {
    #[inline(always)]
    fn home(&mut self) -> AxisMask {
        AxisMask(read(&pins::HOME) as u8)
    }

    /// There are no such inputs: switches at the other ends go into the stop circuit.
    #[inline(always)]
    fn far(&mut self) -> AxisMask {
        AxisMask::NONE
    }

    #[inline(always)]
    fn stop(&mut self) -> bool {
        self.pulses.is_late() || read(&pins::STOP) != 0
    }
}

impl CameraPort for Board {
    fn half_press(&mut self, closed: bool) {
        set(&pins::HALF_PRESS, closed);
    }

    fn release(&mut self, closed: bool) {
        set(&pins::RELEASE, closed);
    }

    #[inline(always)]
    fn contact(&mut self) -> bool {
        read(&pins::CONTACT) == 0
    }
}

impl LampPort for Board {
    fn lamps(&mut self, on: u8) {
        set(&pins::LAMP, on & 1 != 0);
    }
}

impl MarkPort for Board {
    fn mark(&mut self) -> Option<Mark> {
        self.marks.mark()
    }

    fn set_mark(&mut self, mark: Mark) {
        self.marks.set_mark(mark);
    }
}
