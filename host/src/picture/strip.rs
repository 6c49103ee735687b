//! A few frames side by side, for a page that shows a shot without moving.

use std::path::{Path, PathBuf};

use image::{Rgb, RgbImage, imageops};

use crate::picture::animation::{frames_in, read_all, reduced};
use crate::picture::{PictureError, write_png};

/// Pixels between two frames.
const GAP: u32 = 8;

/// Writes frames of a take's folder side by side as a PNG file, each at most `width` pixels wide. The
/// passes of a frame are added in light.
///
/// # Errors
/// A frame that is not there or cannot be read, frames of different sizes, or a file that cannot
/// be written.
pub fn write(folder: &Path, frames: &[u32], width: u32, output: &Path) -> Result<(), PictureError> {
    let there = frames_in(folder)?;
    let missing = |what: String| PictureError::NoFrames {
        path: folder.to_owned(),
        what,
    };
    let mut pictures = Vec::with_capacity(frames.len());
    for frame in frames {
        let (_, passes) = there
            .iter()
            .find(|(number, _)| number == frame)
            .ok_or_else(|| missing(format!("frame {frame}")))?;
        let paths: Vec<PathBuf> = passes.values().cloned().collect();
        pictures.push(reduced(read_all(&paths)?, width));
    }
    let Some(first) = pictures.first() else {
        return Err(missing("any frame".to_owned()));
    };
    let (columns, rows) = first.dimensions();
    let count = pictures.len() as u32;
    let mut strip = RgbImage::from_pixel(columns * count + GAP * (count - 1), rows, Rgb([255; 3]));
    for (index, picture) in pictures.iter().enumerate() {
        if picture.dimensions() != (columns, rows) {
            return Err(PictureError::Size {
                path: folder.to_owned(),
                found: format!("frame {}", frames[index]),
                expected: format!("{columns} x {rows}"),
            });
        }
        let left = i64::from(index as u32 * (columns + GAP));
        imageops::replace(&mut strip, picture, left, 0);
    }
    write_png(&strip, output)
}
