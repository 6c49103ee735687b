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

#[cfg(test)]
extern crate std;

#[deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "reached from received bytes"
)]
pub mod controller;
#[deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "reached from received bytes"
)]
pub mod core;
#[deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "reached from received bytes"
)]
mod drive;
#[deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "reached from received bytes"
)]
mod guard;
#[deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "reached from received bytes"
)]
pub mod hal;
pub mod hardware;
#[deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "reached from received bytes"
)]
pub mod homing;
mod log;
pub mod motion;
#[deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "reached from received bytes"
)]
pub mod service;
#[deny(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "reached from received bytes"
)]
pub mod shutter;

pub use controller::{Controller, Setup};
