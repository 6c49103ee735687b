//! The Pico's image in an emulator: what comes out of its pins, and what it makes of what happens
//! there. Everything but `program` and
//! `at_stand` runs on the emulator's own time, the same every time.

mod at_stand;
mod desk;
mod homing;
mod load;
mod program;
mod resets;
mod rig;
mod shoot;
mod stops;
mod translation;
