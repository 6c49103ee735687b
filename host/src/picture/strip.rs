//! A few frames side by side, for a page that shows a shot without moving.

use std::path::{Path, PathBuf};

use image::{Rgb, RgbImage, imageops};

use crate::picture::animation::{frames_in, read_all, reduced};
use crate::picture::letters::{self, LETTER};
use crate::picture::{PictureError, write_png};

/// Pixels between two frames.
const GAP: u32 = 8;

/// Most frames in a row of a numbered strip.
const ROW: usize = 6;

/// Paper, and what is written on it.
const PAPER: Rgb<u8> = Rgb([255; 3]);
const INK: Rgb<u8> = Rgb([40; 3]);

/// Pictures of one size, from left to right and row by row, each with its number under it.
#[must_use]
pub fn numbered(pictures: &[(u32, RgbImage)]) -> RgbImage {
    let (columns, rows) = pictures
        .first()
        .map_or((1, 1), |(_, picture)| picture.dimensions());
    let across = pictures.len().clamp(1, ROW) as u32;
    let down = pictures.len().max(1).div_ceil(ROW) as u32;
    // Whole dots, large enough to read and narrow enough for the picture.
    let widest = pictures
        .iter()
        .map(|(number, _)| letters::width(&number.to_string()) as u32)
        .max()
        .unwrap_or(1);
    let dot = (columns / 160).clamp(1, 8).min((columns / widest).max(1));
    let below = dot * LETTER as u32 + 2 * GAP;
    let size = (
        across * columns + (across + 1) * GAP,
        down * (rows + below) + GAP,
    );
    let mut strip = RgbImage::from_pixel(size.0, size.1, PAPER);
    for (place, (number, picture)) in pictures.iter().enumerate() {
        let place = place as u32;
        let left = GAP + place % ROW as u32 * (columns + GAP);
        let top = GAP + place / ROW as u32 * (rows + below);
        imageops::replace(&mut strip, picture, i64::from(left), i64::from(top));
        let text = number.to_string();
        let start = left + (columns.saturating_sub(dot * letters::width(&text) as u32)) / 2;
        letters::dots(&text, |column, row| {
            for part in 0..dot * dot {
                let x = start + column as u32 * dot + part % dot;
                let y = top + rows + GAP + row as u32 * dot + part / dot;
                if x < size.0 && y < size.1 {
                    strip.put_pixel(x, y, INK);
                }
            }
        });
    }
    strip
}

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
    let mut strip = RgbImage::from_pixel(columns * count + GAP * (count - 1), rows, PAPER);
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
