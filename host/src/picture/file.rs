//! Photographs on disk.

use std::fs::{self, File};
use std::io::{BufWriter, Read, Write};
use std::path::Path;

use image::RgbImage;

use crate::picture::PictureError;

/// File name of a frame's photograph, such as `frame-0007.png`; names sort as frames do up to
/// frame 9999.
#[must_use]
pub fn frame_name(frame: u32) -> String {
    format!("frame-{frame:04}.png")
}

/// File name of the photograph of a frame's so many-th exposure, counted from 1, in a pass, counted
/// from 1 too, where there are several: the first has the frame's own name, or one such as
/// `frame-0007-pass-2.png`, later ones such as `frame-0007-2.png` or `frame-0007-pass-2-3.png`.
#[must_use]
pub fn exposure_name(frame: u32, pass: Option<usize>, exposure: u32) -> String {
    let pass = pass.map_or(String::new(), |pass| format!("-pass-{pass}"));
    if exposure <= 1 {
        format!("frame-{frame:04}{pass}.png")
    } else {
        format!("frame-{frame:04}{pass}-{exposure}.png")
    }
}

/// The frame, the pass (0 where none is named) and the exposure of a photograph's file name.
pub(crate) fn of_name(name: &str) -> Option<(u32, usize, u32)> {
    let numbers = name.strip_prefix("frame-")?.strip_suffix(".png")?;
    let mut words = numbers.split('-');
    let number = |digits: &str| {
        let plain = digits.bytes().all(|byte| byte.is_ascii_digit());
        digits.parse().ok().filter(|_| plain)
    };
    let frame = number(words.next()?)?;
    let mut next = words.next();
    let mut pass = 0;
    if next == Some("pass") {
        pass = number(words.next()?)? as usize;
        next = words.next();
    }
    let exposure = next.map_or(Some(1), number)?;
    words.next().is_none().then_some((frame, pass, exposure))
}

/// What a picture file says of who made it, so that a view is never written over anything else than
/// a view.
pub(crate) const MARK: &str = "panestep view";

/// How far into a file its mark may lie, bytes: behind a GIF's palette.
const MARK_WITHIN: u64 = 2048;

/// Whether a file is a view that this program has made: its mark is near its beginning.
#[must_use]
pub fn is_view(path: &Path) -> bool {
    let mut head = Vec::new();
    let read = File::open(path).and_then(|file| file.take(MARK_WITHIN).read_to_end(&mut head));
    read.is_ok() && head.windows(MARK.len()).any(|part| part == MARK.as_bytes())
}

/// Writes a photograph as a PNG file, quickly rather than small: under a temporary name beside it
/// first, then renamed, so that a file of that name is always whole.
///
/// # Errors
/// Where the file cannot be written; nothing is left behind then.
pub fn write_png(picture: &RgbImage, path: &Path) -> Result<(), PictureError> {
    write_as(picture, path, false)
}

/// As [`write_png`], marked as a view: [`is_view`] will know it again.
///
/// # Errors
/// As [`write_png`].
pub fn write_view(picture: &RgbImage, path: &Path) -> Result<(), PictureError> {
    write_as(picture, path, true)
}

fn write_as(picture: &RgbImage, path: &Path, marked: bool) -> Result<(), PictureError> {
    replace(path, |file| {
        let written = png(file, picture.dimensions(), marked).and_then(|encoder| {
            let mut writer = encoder.write_header()?;
            writer.write_image_data(picture.as_raw())?;
            writer.finish()
        });
        written.map_err(|error| failed(path, std::io::Error::other(error)))
    })
}

/// An encoder for 8-bit colour pictures, quick rather than thorough.
pub(crate) fn png<W: Write>(
    file: W,
    (columns, rows): (u32, u32),
    marked: bool,
) -> Result<png::Encoder<'static, W>, png::EncodingError> {
    let mut encoder = png::Encoder::new(file, columns, rows);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    encoder.set_filter(png::Filter::Adaptive);
    if marked {
        encoder.add_text_chunk("Software".to_owned(), MARK.to_owned())?;
    }
    Ok(encoder)
}

/// Writes a file under a temporary name, then gives it its own.
pub(crate) fn replace(
    path: &Path,
    write: impl FnOnce(&mut BufWriter<File>) -> Result<(), PictureError>,
) -> Result<(), PictureError> {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(".part");
    let part = path.with_file_name(name);
    let written = File::create(&part)
        .map_err(|error| failed(&part, error))
        .and_then(|file| {
            let mut file = BufWriter::new(file);
            write(&mut file)?;
            file.flush().map_err(|error| failed(&part, error))
        })
        .and_then(|()| fs::rename(&part, path).map_err(|error| failed(path, error)));
    if written.is_err() {
        // There may be none; the first error is the one that counts.
        let _ = fs::remove_file(&part);
    }
    written
}

pub(crate) fn failed(path: &Path, source: std::io::Error) -> PictureError {
    PictureError::File {
        path: path.to_owned(),
        source,
    }
}
