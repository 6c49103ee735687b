//! What every Panestep board does: motion, homing, guards, shutter and service.
//!
//! * [`hardware`]: what the library needs of a board, one small trait for each capability.
//! * [`motion`]: how an axis gets from rest to rest, tick by tick.
#![no_std]

#[cfg(test)]
extern crate std;

pub mod hardware;
pub mod motion;
