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
use crate::picture::palette::{COLOURS, Colours, Palette};

/// Index of the palette that means "as in the frame before".
const UNCHANGED: u8 = COLOURS as u8;
/// Most pictures that are made at a time, and the most memory that they may take, bytes: between two
/// lots the caller may stop the work.
const LOT: usize = 8;
const LOT_BYTES: usize = 128 << 20;
/// Most pictures that a palette is learnt from.
const LEARNT: usize = 48;
/// Shortest time that a GIF shows a picture, hundredths of a second: shorter ones are not shown rightly
/// by all viewers (common practice, no source).
const GIF_LEAST: u16 = 2;
/// Parts of a second that an animated PNG counts, or seconds where a frame lasts longer than that:
/// 24, 25 and 30 frames a second are whole.
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
    gif(pictures, output, rate, false, progress).map(|_| ())
}

/// Writes pictures as a looping GIF at `rate` frames a second, marked as a view where `marked`. Says how
/// many of them it shows.
///
/// GIF counts hundredths of a second, and shows no picture for less than two: above 50 frames a second
/// some are left out. Each ends at the hundredth nearest to its time, so that the whole lasts as long as
/// the shot. The palette is learnt from at most 48 pictures, evenly spread. Few pictures are held at a
/// time, however many there are. `progress` hears how many steps of how many are done, and may stop the
/// work.
///
/// # Errors
/// As [`write()`].
pub fn gif(
    pictures: Pictures<'_>,
    output: &Path,
    rate: f64,
    marked: bool,
    mut progress: impl FnMut(usize, usize) -> ControlFlow<()>,
) -> Result<usize, PictureError> {
    let Pictures { count, make } = pictures;
    some(count, output)?;
    let shown = shown(count, rate);
    let places: Vec<usize> = shown.iter().map(|(place, _)| *place).collect();
    let learns = places.len().min(LEARNT);
    let learnt: Vec<usize> = (0..learns)
        .map(|place| places[place * places.len() / learns])
        .collect();
    let steps = learnt.len() + places.len();
    if progress(0, steps).is_break() {
        return Err(PictureError::Interrupted);
    }
    let mut known = make(&learnt[..1])?;
    let (columns, rows) = known[0].dimensions();
    let lot = lot_of(&known[0]);
    let (columns, rows) = match (u16::try_from(columns), u16::try_from(rows)) {
        (Ok(columns), Ok(rows)) => (columns, rows),
        _ => return Err(failed(output, std::io::Error::other("too large for GIF"))),
    };
    // Where all of them are few and small they are made once, otherwise once more to be written.
    let bytes = learnt.len() * known[0].as_raw().len();
    let once = learnt.len() == places.len() && bytes <= 2 * LOT_BYTES;
    let mut colours = Colours::default();
    colours.add(&known[0]);
    let mut done = 1;
    for lot in learnt[1..].chunks(lot) {
        if progress(done, steps).is_break() {
            return Err(PictureError::Interrupted);
        }
        let more = make(lot)?;
        more.iter().for_each(|picture| colours.add(picture));
        done += more.len();
        if once {
            known.extend(more);
        }
    }
    let mut palette = Palette::learn(&colours);
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
        let mut written = 0;
        for lot in shown.chunks(lot) {
            let pictures = if once {
                known.drain(..lot.len()).collect()
            } else {
                known.clear();
                let places: Vec<usize> = lot.iter().map(|(place, _)| *place).collect();
                make(&places)?
            };
            for ((_, delay), picture) in lot.iter().zip(&pictures) {
                if progress(learnt.len() + written, steps).is_break() {
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
                        delay: *delay,
                        transparent: before.is_some().then_some(UNCHANGED),
                        dispose: gif::DisposalMethod::Keep,
                        buffer: Cow::Owned(shown),
                        ..gif::Frame::default()
                    })
                    .map_err(encoding)?;
                before = Some(dithered);
                written += 1;
            }
        }
        Ok(())
    })?;
    // Whoever stops at the very end has an animation all the same.
    let _ = progress(steps, steps);
    Ok(places.len())
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
        let (part, of_second) = delay(rate);
        encoder.set_frame_delay(part, of_second).map_err(encoding)?;
        let mut writer = encoder.write_header().map_err(encoding)?;
        let mut next = first;
        let places: Vec<usize> = (1..count).collect();
        let mut lots = places.chunks(lot_of(&next[0]));
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

/// How many pictures like this one are made at a time.
fn lot_of(picture: &RgbImage) -> usize {
    (LOT_BYTES / picture.as_raw().len().max(1)).clamp(1, LOT)
}

/// Which pictures a GIF shows, and for how long, hundredths of a second. Where there are too many, those
/// that stand at every second hundredth.
fn shown(count: usize, rate: f64) -> Vec<(usize, u16)> {
    let begins = |place: usize| (100.0 * place as f64 / rate).round();
    let least = f64::from(GIF_LEAST);
    if 100.0 / rate >= least {
        let delay = |place: usize| begins(place + 1) - begins(place);
        // Saturates.
        return (0..count)
            .map(|place| (place, delay(place) as u16))
            .collect();
    }
    let pictures = ((begins(count) / least) as usize).max(1);
    let last = (begins(count) - least * (pictures - 1) as f64).max(least);
    (0..pictures)
        .map(|picture| {
            let place = (picture as f64 * least * rate / 100.0) as usize;
            let delay = if picture + 1 < pictures {
                GIF_LEAST
            } else {
                last as u16
            };
            (place.min(count - 1), delay)
        })
        .collect()
}

/// How long an animated PNG shows a picture: numerator and denominator of seconds.
fn delay(rate: f64) -> (u16, u16) {
    let unit = f64::from(APNG_UNIT);
    // Both are whole numbers below 65536. Saturates.
    if rate >= 1.0 {
        ((unit / rate).round() as u16, APNG_UNIT)
    } else {
        (APNG_UNIT, ((unit * rate).round() as u16).max(1))
    }
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

    /// As long as the shot, to the hundredth of a second that GIF counts; no picture shorter than two.
    #[test]
    fn a_gif_lasts_as_long_as_the_shot() {
        for rate in [0.5, 12.0, 24.0, 25.0, 30.0, 50.0, 60.0, 120.0, 1000.0] {
            let count = (rate * 4.0) as usize;
            let shown = shown(count, rate);
            let sum: u32 = shown.iter().map(|(_, delay)| u32::from(*delay)).sum();
            assert_eq!(sum, 400, "{rate}");
            assert!(shown.iter().all(|(_, delay)| *delay >= 2), "{rate}");
            let all = shown.len() == count;
            assert_eq!(all, rate <= 50.0, "{rate}: {}", shown.len());
        }
        // A single frame of a quick shot is longer than it should be, but there.
        assert_eq!(shown(1, 1000.0), [(0, 2)]);
    }

    #[test]
    fn an_animated_pngs_delay_is_the_frames_time() {
        for rate in [0.001, 0.5, 0.9, 1.0, 24.0, 25.0, 24_000.0 / 1001.0, 1000.0] {
            let (part, of_second) = delay(rate);
            let seconds = f64::from(part) / f64::from(of_second);
            assert!((seconds * rate - 1.0).abs() < 3e-4, "{rate}: {seconds} s");
        }
    }
}
