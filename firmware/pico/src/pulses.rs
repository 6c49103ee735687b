//! Ticks and step pulses, made by a state machine of the chip (RP2040 data sheet, chapter 3).
//!
//! The state machine cuts time into slots of 10 µs. At the start of each it puts out the pulses that
//! were handed over during the slot before, and gives a tick; half-way it takes them back. So pulse
//! times and widths do not depend on when the processor comes to its interrupt, provided that it
//! gets through before the slot ends:
//!
//! ```text
//! slot      |  n                |  n + 1            |  n + 2
//! pulses    |^^^^^^^^^|         |^^^^^^^^^|         |    of tick n - 1, of tick n, ...
//! interrupt | tick n            | tick n + 1        |
//! ```
//!
//! Tick `n` reads the switches after the pulses of tick `n - 1` have begun: no pulse follows the
//! tick that sees one tripped.
//!
//! Each slot leaves a word in the receiving queue, and each tick takes one: where the processor was
//! held up for more than a slot, the ticks are made up for, up to four of them. But pulses handed over
//! after their slot has begun would come a slot late, perhaps after a tick that has seen a switch trip.
//! The next tick finds them still in the queue: it throws them away, and the board gives up.

use panestep_protocol::AxisMask;
use pio::pio_asm;
use rp2040_hal::pac;
use rp2040_hal::pio::{Buffers, PIOBuilder, PIOExt, PinDir, PinState, ShiftDirection};

use crate::pins;

/// Ticks a second: one a slot.
pub const TICK_RATE: u32 = 100_000;

/// Cycles of the state machine in a slot: 25 with the pulses high, 25 with them low. It asks for the
/// tick in the third, 400 ns after it has looked for pulses, and looks for the next ones 9.6 µs later.
const SLOT_CYCLES: u32 = 50;

/// "pull noblock", encoded (RP2040 data sheet, 3.4.7).
const PULL_NOBLOCK: u16 = 0x8080;

/// Cycles of the system clock in one of the state machine, in 256ths.
const fn divisor(system_clock: u32) -> u32 {
    (system_clock as u64 * 256 / (SLOT_CYCLES * TICK_RATE) as u64) as u32
}

/// The state machine's queues.
#[derive(Debug)]
pub struct Pulses {
    late: bool,
}

/// The block that the state machine is in. Only words are read and written, each in one access.
fn block() -> &'static pac::pio0::RegisterBlock {
    // SAFETY: the address is that of the block's registers, which are there for as long as the chip
    // has power. The only parts that are used after the start are the queues, the interrupt's
    // only by the tick, and flags that are cleared by writing ones.
    unsafe { &*pac::PIO0::ptr() }
}

impl Pulses {
    /// Sets the state machine going.
    pub fn start(pio: pac::PIO0, resets: &mut pac::RESETS, system_clock: u32) -> Self {
        let (mut pio, machine, _, _, _) = pio.split(resets);
        let program = pio_asm!(
            "set x, 0",
            ".wrap_target",
            // Nothing handed over: X, which is 0.
            "pull noblock",
            "out pins, 6",
            "push noblock [23]",
            "mov pins, null [23]",
            ".wrap",
        );
        // Five of 32 instructions: there is room in a block that nothing else uses.
        let Ok(installed) = pio.install(&program.program) else {
            unreachable!()
        };
        let divisor = divisor(system_clock);
        let (mut machine, received, _sent) = PIOBuilder::from_installed_program(installed)
            .out_pins(pins::STEP.first, pins::STEP.count)
            .out_shift_direction(ShiftDirection::Right)
            .buffers(Buffers::RxTx)
            .clock_divisor_fixed_point((divisor >> 8) as u16, divisor as u8)
            .build(machine);
        let steps = pins::STEP.first..pins::STEP.first + pins::STEP.count;
        machine.set_pins(steps.clone().map(|pin| (pin, PinState::Low)));
        machine.set_pindirs(steps.map(|pin| (pin, PinDir::Output)));
        received.enable_rx_not_empty_interrupt(rp2040_hal::pio::PioIRQ::Irq0);
        machine.start();
        Self { late: false }
    }

    /// Takes the word that a slot has left: the interrupt has been served. To be called before
    /// anything else in a tick.
    ///
    /// The pulses of the tick before must have gone. Where they have not, the processor was held up in
    /// the middle of a move: they are thrown away, and the board counts as failed.
    #[inline(always)]
    pub fn take_tick(&mut self) {
        let block = block();
        let _ = block.rxf(0).read().bits();
        if block.fstat().read().txempty().bits() & 1 == 0 {
            self.late = true;
            block.sm(0).sm_instr().write(|instruction| {
                // SAFETY: any instruction may be written. This one takes the word out of the queue,
                // and the next slot begins with another of its kind.
                unsafe { instruction.sm0_instr().bits(PULL_NOBLOCK) }
            });
        }
    }

    /// Hands over the pulses of the next slot.
    #[inline(always)]
    pub fn step(&mut self, axes: AxisMask) {
        block().txf(0).write(|word| {
            // SAFETY: the register takes any word.
            unsafe { word.bits(u32::from(axes.0)) }
        });
    }

    /// Whether pulses came too late, or ticks were lost in the middle of something.
    #[inline(always)]
    pub const fn is_late(&self) -> bool {
        self.late
    }

    /// Ticks have been lost in the middle of something.
    pub const fn give_up(&mut self) {
        self.late = true;
    }
}

/// Whether ticks have been lost since it was asked last: the processor was held up for longer than
/// the queue is deep.
pub fn take_lost() -> bool {
    let lost = block().fdebug().read().rxstall().bits() & 1 != 0;
    if lost {
        block().fdebug().write(|word| {
            // SAFETY: a flag is cleared by writing a one; there are no other effects.
            unsafe { word.rxstall().bits(1) }
        });
    }
    lost
}

/// Forgets the slots that have gone by before anybody served them.
pub fn forget_ticks() {
    while block().fstat().read().rxempty().bits() & 1 == 0 {
        let _ = block().rxf(0).read().bits();
    }
    take_lost();
}
