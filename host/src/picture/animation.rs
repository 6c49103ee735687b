//! A looping GIF of a take's photographs.
//!
//! One palette serves all frames, and the dither depends on nothing but a pixel's place and
//! colour, so that what stands still in the shot stands still here too.

use std::borrow::Cow;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use color_quant::NeuQuant;
use image::RgbImage;
use image::imageops::{self, FilterType};

use crate::picture::PictureError;
use crate::picture::file::{failed, replace};

/// Colours of the palette; the last of GIF's 256 places means "as in the frame before".
const COLOURS: usize = 255;
const UNCHANGED: u8 = 255;
/// Colours that take turns in the dither of one colour.
const TURNS: usize = 16;
/// Bits of each channel by which colours share a dither.
const BITS: u32 = 6;
/// Frames that the palette is learnt from.
const SAMPLES: usize = 8;

/// The photographs in a folder, in the order of their numbers.
///
/// # Errors
/// A folder that cannot be read.
pub fn frames_in(folder: &Path) -> Result<Vec<(u32, PathBuf)>, PictureError> {
    let mut frames = Vec::new();
    for entry in fs::read_dir(folder).map_err(|error| failed(folder, error))? {
        let path = entry.map_err(|error| failed(folder, error))?.path();
        let number = path
            .file_name()
            .and_then(|name| name.to_str())
            .and_then(|name| name.strip_prefix("frame-")?.strip_suffix(".png"))
            .filter(|digits| digits.bytes().all(|byte| byte.is_ascii_digit()))
            .and_then(|digits| digits.parse().ok());
        if let Some(number) = number {
            frames.push((number, path));
        }
    }
    frames.sort();
    Ok(frames)
}

/// Writes the photographs in `folder` as a looping GIF, at most `width` pixels wide, at `rate`
/// frames a second. GIF counts hundredths of a second: each frame ends at the hundredth nearest
/// to its time, so that the whole lasts as long as the shot. `progress` hears how many steps of
/// how many are done, and may stop the work.
///
/// # Errors
/// No photographs, one that cannot be read or differs in size, a file that cannot be written, or
/// [`PictureError::Interrupted`]; no file is left behind then.
pub fn write(
    folder: &Path,
    output: &Path,
    rate: f64,
    width: u32,
    mut progress: impl FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<(), PictureError> {
    let paths = frames_in(folder)?;
    if paths.is_empty() {
        return Err(PictureError::NoFrames {
            path: folder.to_owned(),
            what: "any frame".to_owned(),
        });
    }
    let steps = 2 * paths.len();
    let mut pictures: Vec<RgbImage> = Vec::with_capacity(paths.len());
    let mut first = None;
    for (_, path) in &paths {
        if progress(pictures.len(), steps).is_break() {
            return Err(PictureError::Interrupted);
        }
        let picture = read(path)?;
        let size = *first.get_or_insert(picture.dimensions());
        if picture.dimensions() != size {
            let text = |(width, height)| format!("{width} x {height}");
            return Err(PictureError::Size {
                path: path.clone(),
                found: text(picture.dimensions()),
                expected: text(size),
            });
        }
        pictures.push(reduced(&picture, width));
    }
    let mut palette = Palette::learn(&pictures);
    replace(output, |file| {
        let encoding = |error: gif::EncodingError| failed(output, std::io::Error::other(error));
        let (columns, rows) = pictures[0].dimensions();
        let (columns, rows) = match (u16::try_from(columns), u16::try_from(rows)) {
            (Ok(columns), Ok(rows)) => (columns, rows),
            _ => return Err(failed(output, std::io::Error::other("too large for GIF"))),
        };
        let mut encoder =
            gif::Encoder::new(file, columns, rows, &palette.colours).map_err(encoding)?;
        encoder
            .set_repeat(gif::Repeat::Infinite)
            .map_err(encoding)?;
        let mut before: Option<Vec<u8>> = None;
        for (index, picture) in pictures.iter().enumerate() {
            if progress(paths.len() + index, steps).is_break() {
                return Err(PictureError::Interrupted);
            }
            let dithered = palette.dither(picture);
            let shown = match &before {
                None => dithered.clone(),
                Some(before) => std::iter::zip(&dithered, before)
                    .map(|(now, before)| if now == before { UNCHANGED } else { *now })
                    .collect(),
            };
            encoder
                .write_frame(&gif::Frame {
                    width: columns,
                    height: rows,
                    delay: hundredths(index, rate),
                    transparent: before.is_some().then_some(UNCHANGED),
                    dispose: gif::DisposalMethod::Keep,
                    buffer: Cow::Owned(shown),
                    ..gif::Frame::default()
                })
                .map_err(encoding)?;
            before = Some(dithered);
        }
        Ok(())
    })?;
    // Whoever stops at the very end has an animation all the same.
    let _ = progress(steps, steps);
    Ok(())
}

/// How long a frame is shown, hundredths of a second; shorter ones than two are not shown rightly
/// by all viewers (common practice, no source).
fn hundredths(index: usize, rate: f64) -> u16 {
    let end = |frames: usize| (100.0 * frames as f64 / rate).round();
    (end(index + 1) - end(index)).clamp(2.0, f64::from(u16::MAX)) as u16
}

/// Reads a photograph.
pub(crate) fn read(path: &Path) -> Result<RgbImage, PictureError> {
    let reader = image::ImageReader::open(path).map_err(|error| failed(path, error))?;
    reader
        .decode()
        .map(image::DynamicImage::into_rgb8)
        .map_err(|error| PictureError::Frame {
            path: path.to_owned(),
            reason: error.to_string(),
        })
}

/// At most `width` pixels wide.
pub(crate) fn reduced(picture: &RgbImage, width: u32) -> RgbImage {
    let (columns, rows) = picture.dimensions();
    let width = width.max(1);
    if columns <= width {
        return picture.clone();
    }
    let height = (f64::from(rows) * f64::from(width) / f64::from(columns)).round();
    imageops::resize(picture, width, height.max(1.0) as u32, FilterType::Triangle)
}

/// A palette and, for every colour met, the palette colours that take turns to make it.
struct Palette {
    colours: Vec<u8>,
    mixtures: Vec<Option<Box<[u8; TURNS]>>>,
}

impl Palette {
    fn learn(pictures: &[RgbImage]) -> Self {
        let step = pictures.len().div_ceil(SAMPLES);
        let samples: Vec<u8> = pictures
            .iter()
            .step_by(step)
            .flat_map(|picture| picture.pixels())
            .flat_map(|pixel| [pixel[0], pixel[1], pixel[2], 255])
            .collect();
        let mut colours = NeuQuant::new(10, COLOURS, &samples).color_map_rgb();
        // A place for "unchanged"; its colour is never seen.
        colours.resize(3 * (COLOURS + 1), 0);
        Self {
            colours,
            mixtures: vec![None; 1 << (3 * BITS)],
        }
    }

    fn colour(&self, index: usize) -> [i32; 3] {
        std::array::from_fn(|i| i32::from(self.colours[3 * index + i]))
    }

    fn nearest(&self, wanted: [i32; 3]) -> usize {
        let far = |index: &usize| -> i32 {
            std::iter::zip(self.colour(*index), wanted)
                .map(|(a, b)| (a - b) * (a - b))
                .sum()
        };
        (0..COLOURS).min_by_key(far).unwrap_or(0)
    }

    /// Colours whose mean is nearly the one wanted: each is the nearest to what the ones before
    /// it have left over. Sorted from dark to light, so that a threshold can choose.
    fn mixture(&self, wanted: [i32; 3]) -> Box<[u8; TURNS]> {
        let mut left = [0; 3];
        let mut chosen = [0_u8; TURNS];
        for place in &mut chosen {
            let aim: [i32; 3] = std::array::from_fn(|i| wanted[i] + left[i] * 3 / 4);
            let index = self.nearest(aim);
            let got = self.colour(index);
            left = std::array::from_fn(|i| left[i] + wanted[i] - got[i]);
            *place = index as u8;
        }
        chosen.sort_by_key(|index| {
            let [red, green, blue] = self.colour(usize::from(*index));
            (299 * red + 587 * green + 114 * blue, *index)
        });
        Box::new(chosen)
    }

    fn dither(&mut self, picture: &RgbImage) -> Vec<u8> {
        // B. E. Bayer's ordered matrix (IEEE Int. Conf. on Communications, 1973), from memory.
        const ORDER: [[usize; 4]; 4] =
            [[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]];
        let mut out = Vec::with_capacity(picture.pixels().len());
        for (x, y, pixel) in picture.enumerate_pixels() {
            let turn = ORDER[y as usize % 4][x as usize % 4];
            // Which of the colours that share a mixture: chosen by place as well, so that their
            // limits do not show as steps.
            let key = pixel.0.iter().fold(0, |key, value| {
                let between = ((turn * 7 + 3) % TURNS) as u32 * (1 << (8 - BITS)) / TURNS as u32;
                let part = (u32::from(*value) + between) >> (8 - BITS);
                (key << BITS) | part.min((1 << BITS) - 1) as usize
            });
            let mixture = match &self.mixtures[key] {
                Some(mixture) => mixture[turn],
                None => {
                    let wanted = std::array::from_fn(|i| {
                        let part = (key >> (BITS as usize * (2 - i))) & ((1 << BITS) - 1);
                        (part << (8 - BITS)) as i32
                    });
                    let mixture = self.mixture(wanted);
                    let index = mixture[turn];
                    self.mixtures[key] = Some(mixture);
                    index
                }
            };
            out.push(mixture);
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 24 frames of GIF's hundredths of a second last a second.
    #[test]
    fn delays_add_up_to_the_shots_length() {
        for rate in [12.0, 24.0, 25.0, 30.0] {
            let sum: u32 = (0..rate as usize)
                .map(|index| u32::from(hundredths(index, rate)))
                .sum();
            assert_eq!(sum, 100, "{rate}");
        }
    }
}
