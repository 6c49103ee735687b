//! What every Panestep board does: motion, homing, guards, shutter and service.
//!
//! * [`hardware`]: what the library needs of a board, one small trait for each capability.
//! * [`hal`]: that, over embedded-hal pins.
//! * [`motion`]: how an axis gets from rest to rest, tick by tick.
//! * [`homing`]: how it finds its home switch.
//! * [`shutter`]: exposures, and why a token is never fired twice.
//! * [`core`]: everything that happens at a tick, in a board's interrupt.
//! * [`service`]: bytes in, bytes out, and all planning, in a board's main loop.
//! * [`controller`]: both together.
#![no_std]
// Nothing that a received byte can reach may panic.
#![cfg_attr(
    not(test),
    deny(
        clippy::arithmetic_side_effects,
        clippy::expect_used,
        clippy::indexing_slicing,
        clippy::panic,
        clippy::unwrap_used
    )
)]

#[cfg(test)]
extern crate std;

pub mod controller;
pub mod core;
mod drive;
mod guard;
pub mod hal;
pub mod hardware;
pub mod homing;
mod log;
// Its arithmetic is bounded where a profile is planned, and swept over every 32-bit input by tests.
#[allow(clippy::arithmetic_side_effects)]
pub mod motion;
pub mod service;
pub mod shutter;

pub use controller::{Controller, Setup};
