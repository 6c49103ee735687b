//! What the simulated camera photographs, from where the panes physically are, and what becomes
//! of the photographs: numbered PNG files, an animation, a strip of a few frames.

pub mod animation;
mod art;
mod blur;
pub mod difference;
mod exposing;
mod field;
mod file;
mod grain;
mod letters;
mod light;
mod noise;
mod palette;
mod sampling;
mod scene;
mod shelf;
pub mod strip;

pub use art::{MAX_PIXELS, MAX_SIDE, PictureError};
pub use file::{exposure_name, frame_name, is_view, write_png, write_view};
pub use noise::add_noise;
pub use scene::{Look, Scene};

use std::path::Path;

use crate::plan::coverage::Painted;

/// The size of a layer's painting, and at which of its edges something is painted.
///
/// # Errors
/// A file that is missing, no picture or too large.
pub fn painted(layer: &str, path: &Path) -> Result<Painted, PictureError> {
    art::Art::painted(layer, path)
}
