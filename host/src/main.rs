//! The `panestep` program.
fn main() {}
