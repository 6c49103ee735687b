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

/// Most columns or rows of a numbered strip.
pub const MOST_SIDE: u32 = 16_384;

/// Pictures of one size, from left to right and row by row, each with its number under it.
pub struct Numbered {
    strip: RgbImage,
    /// Of each picture.
    size: (u32, u32),
    /// Height of what stands below each.
    below: u32,
    /// Side of a letter's dot, pixels.
    dot: u32,
    placed: u32,
}

impl Numbered {
    /// An empty strip for so many pictures of a size, with numbers up to `greatest`. None where it
    /// would have more than [`MOST_SIDE`] columns or rows.
    #[must_use]
    pub fn new(count: usize, size: (u32, u32), greatest: u32) -> Option<Self> {
        let (columns, rows) = size;
        // Whole dots, large enough to read and narrow enough for the picture.
        let widest = letters::width(&greatest.to_string()) as u32;
        let dot = (columns / 160).clamp(1, 8).min((columns / widest).max(1));
        let below = dot * LETTER as u32 + 2 * GAP;
        let side = |pictures: usize, each: u64| {
            let all = pictures.max(1) as u64 * each + u64::from(GAP);
            u32::try_from(all).ok().filter(|all| *all <= MOST_SIDE)
        };
        let width = side(count.min(ROW), u64::from(columns) + u64::from(GAP))?;
        let height = side(count.div_ceil(ROW), u64::from(rows) + u64::from(below))?;
        Some(Self {
            strip: RgbImage::from_pixel(width, height, PAPER),
            size,
            below,
            dot,
            placed: 0,
        })
    }

    /// The next picture, with its number.
    pub fn add(&mut self, number: u32, picture: &RgbImage) {
        let (columns, rows) = self.size;
        let (across, down) = (self.placed % ROW as u32, self.placed / ROW as u32);
        let left = GAP + across * (columns + GAP);
        let top = GAP + down * (rows + self.below);
        imageops::replace(&mut self.strip, picture, i64::from(left), i64::from(top));
        let text = number.to_string();
        let dot = self.dot;
        let start = left + (columns.saturating_sub(dot * letters::width(&text) as u32)) / 2;
        letters::dots(&text, |column, row| {
            for part in 0..dot * dot {
                let x = start + column as u32 * dot + part % dot;
                let y = top + rows + GAP + row as u32 * dot + part / dot;
                if x < self.strip.width() && y < self.strip.height() {
                    self.strip.put_pixel(x, y, INK);
                }
            }
        });
        self.placed += 1;
    }

    /// What has been placed so far.
    #[must_use]
    pub const fn picture(&self) -> &RgbImage {
        &self.strip
    }
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
