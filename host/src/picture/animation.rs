//! Looping animations of a take's photographs, or of pictures that are made as they are needed.
//!
//! One palette serves all frames, and the dither depends on nothing but a pixel's place and
//! colour, so that what stands still in the shot stands still here too.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use image::RgbImage;
use image::imageops::{self, FilterType};
use rayon::prelude::*;

use crate::picture::PictureError;
use crate::picture::file::{MARK, failed, of_name, png, replace};
use crate::picture::light::{from_srgb, to_srgb};
use crate::picture::palette::{COLOURS, Palette};

/// Index of the palette that means "as in the frame before".
const UNCHANGED: u8 = COLOURS as u8;
/// Photographs that are read at a time: between two lots the caller may stop the work.
const LOT: usize = 8;
/// Most pictures that a palette is learnt from.
const LEARNT: usize = 48;
/// Parts of a second that an animated PNG counts: 24, 25 and 30 frames a second are whole.
const APNG_UNIT: u16 = 60_000;

/// The photographs of a frame, by the pass's number; 0 where the name has none.
pub type OfPasses = BTreeMap<usize, PathBuf>;

/// The photographs in a folder, frame by frame in their order: one, or where there are passes, one
/// of each, by its number (0 where the name has none); of one that was exposed more than once, the
/// last.
///
/// # Errors
/// A folder that cannot be read.
pub fn frames_in(folder: &Path) -> Result<Vec<(u32, OfPasses)>, PictureError> {
    let mut frames: BTreeMap<u32, BTreeMap<usize, (u32, PathBuf)>> = BTreeMap::new();
    for entry in fs::read_dir(folder).map_err(|error| failed(folder, error))? {
        let path = entry.map_err(|error| failed(folder, error))?.path();
        let name = path.file_name().and_then(|name| name.to_str());
        let Some((frame, pass, exposure)) = name.and_then(of_name) else {
            continue;
        };
        let passes = frames.entry(frame).or_default();
        if passes.get(&pass).is_none_or(|last| last.0 < exposure) {
            passes.insert(pass, (exposure, path));
        }
    }
    let last = |(pass, (_, path))| (pass, path);
    Ok(frames
        .into_iter()
        .map(|(frame, passes)| (frame, passes.into_iter().map(last).collect()))
        .collect())
}

/// Pictures of an animation, made when they are needed: `make` gives those of some places.
pub struct Pictures<'a> {
    /// How many there are.
    pub count: usize,
    /// Makes the pictures of these places, counted from 0; all of one size.
    #[expect(clippy::type_complexity, reason = "one closure, named by its field")]
    pub make: &'a mut dyn FnMut(&[usize]) -> Result<Vec<RgbImage>, PictureError>,
}

/// Writes these frames, in their order, as a looping GIF; the photographs of a frame are added in
/// light, as exposures of one picture in several passes are. It is at most `width` pixels wide, at `rate`
/// frames a second. `progress` hears how many steps of how many are done, and may stop the work.
///
/// # Errors
/// No photographs, one that cannot be read or differs in size, a file that cannot be written, or
/// [`PictureError::Interrupted`]; no file is left behind then.
pub fn write(
    frames: &[Vec<PathBuf>],
    output: &Path,
    rate: f64,
    width: u32,
    progress: impl FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<(), PictureError> {
    let mut first = None;
    let mut make = |places: &[usize]| {
        let read: Vec<_> = places
            .par_iter()
            .map(|place| {
                read_all(&frames[*place]).map(|found| (found.dimensions(), reduced(found, width)))
            })
            .collect();
        let mut pictures = Vec::with_capacity(read.len());
        for (read, place) in read.into_iter().zip(places) {
            let (size, picture) = read?;
            let expected = *first.get_or_insert(size);
            if size != expected {
                let text = |(width, height)| format!("{width} x {height}");
                return Err(PictureError::Size {
                    path: frames[*place].first().cloned().unwrap_or_default(),
                    found: text(size),
                    expected: text(expected),
                });
            }
            pictures.push(picture);
        }
        Ok(pictures)
    };
    let pictures = Pictures {
        count: frames.len(),
        make: &mut make,
    };
    gif(pictures, output, rate, false, progress)
}

/// Writes pictures as a looping GIF at `rate` frames a second, marked as a view where `marked`.
///
/// GIF counts hundredths of a second: each frame ends at the hundredth nearest to its time, so that
/// the whole lasts as long as the shot. The palette is learnt from at most 48 pictures, evenly
/// spread. No more pictures than that are held at a time, however many there are. `progress` hears
/// how many steps of how many are done, and may stop the work.
///
/// # Errors
/// As [`write()`].
pub fn gif(
    pictures: Pictures<'_>,
    output: &Path,
    rate: f64,
    marked: bool,
    mut progress: impl FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<(), PictureError> {
    let Pictures { count, make } = pictures;
    some(count, output)?;
    let learnt: Vec<usize> = (0..count.min(LEARNT))
        .map(|place| place * count / count.min(LEARNT))
        .collect();
    let steps = learnt.len() + count;
    let mut known: Vec<RgbImage> = Vec::with_capacity(learnt.len());
    for lot in learnt.chunks(LOT) {
        if progress(known.len(), steps).is_break() {
            return Err(PictureError::Interrupted);
        }
        known.extend(make(lot)?);
    }
    let (columns, rows) = known[0].dimensions();
    let (columns, rows) = match (u16::try_from(columns), u16::try_from(rows)) {
        (Ok(columns), Ok(rows)) => (columns, rows),
        _ => return Err(failed(output, std::io::Error::other("too large for GIF"))),
    };
    let palette = Palette::learn(&known);
    replace(output, |file| {
        let encoding = |error: gif::EncodingError| failed(output, std::io::Error::other(error));
        let mut encoder =
            gif::Encoder::new(file, columns, rows, &palette.values).map_err(encoding)?;
        encoder
            .set_repeat(gif::Repeat::Infinite)
            .map_err(encoding)?;
        if marked {
            encoder
                .write_raw_extension(gif::Extension::Comment.into(), &[MARK.as_bytes()])
                .map_err(encoding)?;
        }
        let mut before: Option<Vec<u8>> = None;
        let places: Vec<usize> = (0..count).collect();
        for lot in places.chunks(LOT) {
            let shown = if count == learnt.len() {
                known.drain(..lot.len()).collect()
            } else {
                known.clear();
                make(lot)?
            };
            for (index, picture) in lot.iter().zip(&shown) {
                if progress(learnt.len() + index, steps).is_break() {
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
                        delay: hundredths(*index, rate),
                        transparent: before.is_some().then_some(UNCHANGED),
                        dispose: gif::DisposalMethod::Keep,
                        buffer: Cow::Owned(shown),
                        ..gif::Frame::default()
                    })
                    .map_err(encoding)?;
                before = Some(dithered);
            }
        }
        Ok(())
    })?;
    // Whoever stops at the very end has an animation all the same.
    let _ = progress(steps, steps);
    Ok(())
}

/// Writes pictures as a looping animated PNG (PNG specification, third edition) in all their colours,
/// marked as a view. `progress` as for [`gif()`].
///
/// # Errors
/// As [`write()`].
pub fn apng(
    pictures: Pictures<'_>,
    output: &Path,
    rate: f64,
    mut progress: impl FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<(), PictureError> {
    let Pictures { count, make } = pictures;
    some(count, output)?;
    if progress(0, count).is_break() {
        return Err(PictureError::Interrupted);
    }
    let first = make(&[0])?;
    let encoding = |error: png::EncodingError| failed(output, std::io::Error::other(error));
    replace(output, |file| {
        let mut encoder = png(file, first[0].dimensions(), true).map_err(encoding)?;
        let frames = u32::try_from(count).unwrap_or(u32::MAX);
        encoder.set_animated(frames, 0).map_err(encoding)?;
        let delay = (f64::from(APNG_UNIT) / rate).round();
        // Saturates.
        encoder
            .set_frame_delay(delay as u16, APNG_UNIT)
            .map_err(encoding)?;
        let mut writer = encoder.write_header().map_err(encoding)?;
        let mut next = first;
        let places: Vec<usize> = (1..count).collect();
        let mut lots = places.chunks(LOT);
        let mut done = 0;
        while !next.is_empty() {
            // One lot is packed while the next is made.
            let lot = lots.next().unwrap_or_default();
            let mut packed = Ok(());
            let writer = &mut writer;
            let now = &next;
            let made = std::thread::scope(|scope| {
                let packing = scope.spawn(|| {
                    let mut pictures = now.iter();
                    pictures.try_for_each(|picture| writer.write_image_data(picture.as_raw()))
                });
                let made = if lot.is_empty() {
                    Ok(Vec::new())
                } else {
                    make(lot)
                };
                packed = packing
                    .join()
                    .unwrap_or_else(|panic| std::panic::resume_unwind(panic));
                made
            });
            packed.map_err(encoding)?;
            done += next.len();
            next = made?;
            if done < count && progress(done, count).is_break() {
                return Err(PictureError::Interrupted);
            }
        }
        writer.finish().map_err(encoding)
    })?;
    let _ = progress(count, count);
    Ok(())
}

/// An animation of nothing is none.
fn some(count: usize, output: &Path) -> Result<(), PictureError> {
    if count > 0 {
        return Ok(());
    }
    Err(PictureError::NoFrames {
        path: output.to_owned(),
        what: "any frame".to_owned(),
    })
}

/// How long a frame is shown, hundredths of a second; shorter ones than two are not shown rightly
/// by all viewers (common practice, no source).
fn hundredths(index: usize, rate: f64) -> u16 {
    let end = |frames: usize| (100.0 * frames as f64 / rate).round();
    (end(index + 1) - end(index)).clamp(2.0, f64::from(u16::MAX)) as u16
}

/// Reads the photographs of a frame, at least one, and adds them in light: what is brighter than
/// white is white.
pub(crate) fn read_all(paths: &[PathBuf]) -> Result<RgbImage, PictureError> {
    let (first, others) = paths.split_first().ok_or_else(|| PictureError::NoFrames {
        path: PathBuf::new(),
        what: "any photograph of a frame".to_owned(),
    })?;
    let mut sum = read(first)?;
    if others.is_empty() {
        return Ok(sum);
    }
    let light_of = |value: u8| from_srgb(f32::from(value) / 255.0);
    let mut light: Vec<f32> = sum.as_raw().iter().map(|&value| light_of(value)).collect();
    for path in others {
        let other = read(path)?;
        if other.dimensions() != sum.dimensions() {
            let text = |(width, height): (u32, u32)| format!("{width} x {height}");
            return Err(PictureError::Size {
                path: path.clone(),
                found: text(other.dimensions()),
                expected: text(sum.dimensions()),
            });
        }
        for (light, &value) in light.iter_mut().zip(other.as_raw()) {
            *light += light_of(value);
        }
    }
    for (value, light) in sum.iter_mut().zip(light) {
        // Saturates.
        *value = (to_srgb(light.min(1.0)) * 255.0 + 0.5) as u8;
    }
    Ok(sum)
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
pub(crate) fn reduced(picture: RgbImage, width: u32) -> RgbImage {
    let (columns, rows) = picture.dimensions();
    let width = width.max(1);
    if columns <= width {
        return picture;
    }
    let height = (f64::from(rows) * f64::from(width) / f64::from(columns)).round();
    imageops::resize(
        &picture,
        width,
        height.max(1.0) as u32,
        FilterType::Triangle,
    )
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
