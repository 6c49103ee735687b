//! The Pico's image in an emulator: what comes out of its pins, and what it makes of what happens
//! there. Everything but `program` runs on the emulator's own time, the same every time.

mod homing;
mod load;
mod program;
mod resets;
mod rig;
mod shoot;
mod stops;
mod translation;
