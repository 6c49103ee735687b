//! The user's own camera, where no board tells of it: the command that fires it, and the folder
//! that its pictures arrive in.

mod command;
mod folder;
pub(crate) mod whole;

pub use command::{Told, UserCommand};
pub use folder::{MAX_PIXELS, PictureFolder};
