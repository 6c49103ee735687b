//! A planned shot in open formats, for other programs.
//!
//! * [`scene`]: the scene as glTF 2.0, with an animated camera and textured planes.
//! * [`texture`]: paintings as glTF wants them.
//!
//! The curves as CSV and JSON are written by [`crate::plan::curves`].

pub mod scene;
pub mod texture;
mod write;

pub use write::{DOCUMENT, is_painting};
