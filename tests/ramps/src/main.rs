//! An image that runs Panestep's tick, and two general stepper crates, on an RP2040 in an emulator.
//! `tests/emulated/cycles.mjs` runs it and prints what it measured.
#![no_std]
#![no_main]

mod board;
mod chip;
mod divider;
mod ports;
mod ramps;

use core::panic::PanicInfo;

#[cortex_m_rt::entry]
fn main() -> ! {
    chip::case("marks", "nothing");
    chip::measure(|| {});
    board::board();
    ramps::ramps();
    chip::over()
}

#[panic_handler]
fn panic(info: &PanicInfo<'_>) -> ! {
    chip::fail(info.location().map_or(0, |place| place.line()))
}
