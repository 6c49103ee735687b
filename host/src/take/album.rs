//! The folder that the camera's pictures arrive in, and what tells one picture from another.

use std::io;

/// A folder that is watched.
pub trait Album {
    /// The pictures in it, each by one name, in any order. Files that a camera writes side by side
    /// for one exposure, which differ only in their ending, are one picture.
    ///
    /// # Errors
    /// Whatever the system said.
    fn names(&mut self) -> io::Result<Vec<String>>;

    /// Looks at one of them.
    ///
    /// # Errors
    /// Whatever the system said, other than that it is gone.
    fn look(&mut self, name: &str) -> io::Result<Look>;
}

/// What one look at a picture gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// It cannot be read, or only in part: it may still be arriving.
    Unreadable,
    /// It is whole.
    Whole {
        /// A digest of its dots.
        digest: u64,
        /// The brightness, of 255, that one dot in a thousand exceeds.
        bright: u8,
    },
}

/// Brightness that the brightest dots of a picture must reach not to count as black, of 255. A
/// frame taken with the lens covered stays below (common practice, no source).
pub const BLACK: u8 = 12;
