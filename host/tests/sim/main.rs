//! The simulated stand, driven with bare protocol messages.
//!
//! What is asserted is what the stand saw: pulses counted at the motors, carriages, the shutter.
//! What the controller says of itself is only ever compared with that.

mod camera;
mod faults;
mod homing;
mod line;
mod motion;
mod rig;
#[cfg(unix)]
mod terminal;
