//! What the simulated camera photographs, from where the panes physically are, and what becomes
//! of the photographs: numbered PNG files, an animation, a strip of a few frames.

pub mod animation;
mod art;
mod file;
mod grain;
mod light;
mod noise;
mod palette;
mod sampling;
mod scene;
mod shelf;
pub mod strip;

pub use art::{MAX_PIXELS, MAX_SIDE, PictureError};
pub use file::{dimensions, exposure_name, frame_name, write_png};
pub use noise::add_noise;
pub use scene::Scene;
