//! Divisions of 32 bits by the chip's divider, in place of the compiler's own routines, as the
//! chip's usual library does it: what the crates measured here divide by.
//!
//! Registers and the eight cycles: RP2040 data sheet, section 2.3.1.5 (from memory). The emulator
//! charges the eight cycles at the store of the divisor.

const DIVIDEND: usize = 0xd000_0060;
const DIVISOR: usize = 0xd000_0064;
const QUOTIENT: usize = 0xd000_0070;
const REMAINDER: usize = 0xd000_0074;

/// Quotient and remainder.
#[inline(always)]
fn divide(n: u32, d: u32) -> (u32, u32) {
    // SAFETY: these registers are words and always there. Nothing here runs in an interrupt, so
    // nothing comes between the stores and the loads.
    unsafe {
        (DIVIDEND as *mut u32).write_volatile(n);
        (DIVISOR as *mut u32).write_volatile(d);
        // The remainder first: reading the quotient ends the division.
        let remainder = (REMAINDER as *const u32).read_volatile();
        ((QUOTIENT as *const u32).read_volatile(), remainder)
    }
}

// SAFETY: the processor's run-time ABI defines this name with just these arguments and results.
#[unsafe(no_mangle)]
extern "C" fn __aeabi_uidiv(n: u32, d: u32) -> u32 {
    divide(n, d).0
}

// SAFETY: as above; quotient and remainder come back in the two registers of a 64-bit result.
#[unsafe(no_mangle)]
extern "C" fn __aeabi_uidivmod(n: u32, d: u32) -> u64 {
    let (quotient, remainder) = divide(n, d);
    u64::from(quotient) | u64::from(remainder) << 32
}
