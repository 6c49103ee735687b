//! The few registers that are touched, and the marks that the runner watches.
//!
//! Marks are stores to registers of the second interpolator, which nothing else uses. They are in
//! the single-cycle block, so a mark costs little; what an empty pair of marks costs is measured
//! too, and taken off.

/// Registers of the single-cycle block (RP2040 data sheet, section 2.3.1.7, from memory).
const SIO: usize = 0xd000_0000;

/// Read back as written: stands for the register that the pins are read from, which costs the same.
const PINS: usize = SIO + 0x88;
/// First transmit queue of the first PIO block: takes the pulses on the board. The runner counts
/// them there, and takes them out.
const PULSES: usize = 0x5020_0010;
/// Takes a timer's next alarm; costs a crate's user as much as a pulse.
const ALARM: usize = 0x5020_0014;

const TEXT: usize = SIO + 0xc0;
const LENGTH: usize = SIO + 0xc4;
const CASE: usize = SIO + 0xdc;
const START: usize = SIO + 0xc8;
const END: usize = SIO + 0xcc;
const DUE: usize = SIO + 0xd0;
const OVER: usize = SIO + 0xd4;
const PANIC: usize = SIO + 0xd8;

#[inline(always)]
fn store(address: usize, value: u32) {
    // SAFETY: the addresses are the constants above: registers that are words and always there.
    unsafe { (address as *mut u32).write_volatile(value) };
}

/// All pins.
#[inline(always)]
pub(crate) fn pins() -> u32 {
    // SAFETY: as above.
    unsafe { (PINS as *const u32).read_volatile() }
}

/// What the pins read from now on.
#[inline(always)]
pub(crate) fn set_pins(pins: u32) {
    store(PINS, pins);
}

/// Sends pulses.
#[inline(always)]
pub(crate) fn pulses(axes: u32) {
    store(PULSES, axes);
}

/// Sets a timer.
#[inline(always)]
pub(crate) fn alarm(after: u32) {
    store(ALARM, after);
}

/// From here on, whatever is measured is of this case: its group, and what it is.
pub(crate) fn case(group: &'static str, name: &'static str) {
    for text in [group, name] {
        store(TEXT, text.as_ptr() as u32);
        store(LENGTH, text.len() as u32);
    }
    store(CASE, 0);
}

/// Measures some work.
#[inline(always)]
pub(crate) fn measure<R>(work: impl FnOnce() -> R) -> R {
    store(START, 0);
    let result = work();
    store(END, 0);
    result
}

/// How many pulses must have come in the case; the runner fails where they have not.
pub(crate) fn due(pulses: u32) {
    store(DUE, pulses);
}

/// Everything has been measured.
pub(crate) fn over() -> ! {
    store(OVER, 0);
    loop {
        core::hint::spin_loop();
    }
}

/// Something went wrong, in this line.
pub(crate) fn fail(line: u32) -> ! {
    store(PANIC, line);
    loop {
        core::hint::spin_loop();
    }
}
