//! Paintings as textures of a glTF scene: PNG or JPEG, as the file is where glTF takes it so, else
//! made into PNG of 8 bits.

use std::fs::File;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{self, Cursor, Read};
use std::path::Path;

use image::codecs::png::PngEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageEncoder, ImageFormat, ImageReader, Limits};

use crate::camera::whole;
use crate::picture::{MAX_PIXELS, MAX_SIDE};

/// Longest file that is read, bytes.
const MAX_FILE: u64 = 1 << 30;

/// A painting, ready to be put into a scene.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Texture {
    /// The file's bytes.
    pub bytes: Vec<u8>,
    /// What they are.
    pub kind: Kind,
    /// Width, pixels.
    pub width: u32,
    /// Height, pixels.
    pub height: u32,
    /// Whether it can be seen through somewhere.
    pub alpha: bool,
    /// Whether the bytes are those of the art's own file.
    pub own: bool,
}

/// What a texture's bytes are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// PNG.
    Png,
    /// JPEG.
    Jpeg,
}

impl Kind {
    /// Its media type.
    #[must_use]
    pub const fn mime(self) -> &'static str {
        match self {
            Self::Png => "image/png",
            Self::Jpeg => "image/jpeg",
        }
    }

    /// The ending of its files' names.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Png => "png",
            Self::Jpeg => "jpg",
        }
    }
}

impl Texture {
    /// What tells whether the bytes are the same when they are made again.
    pub(super) fn fingerprint(&self) -> u64 {
        hash(&self.bytes)
    }
}

/// A painting's bytes once more, which are not kept: together they may be more than fits in memory.
///
/// # Errors
///
/// Where it cannot be read any more, or is another by now.
pub(super) fn again(path: &Path, own: bool, fingerprint: u64) -> io::Result<Vec<u8>> {
    let changed = |what: String| {
        io::Error::other(format!(
            "{} has changed while the scene was made: {what}; make the scene again",
            path.display()
        ))
    };
    let bytes = if own {
        read(path).map_err(changed)?
    } else {
        load(path).map_err(changed)?.bytes
    };
    if hash(&bytes) != fingerprint {
        return Err(changed("it holds another picture".into()));
    }
    Ok(bytes)
}

fn hash(bytes: &[u8]) -> u64 {
    let mut hasher = DefaultHasher::new();
    bytes.hash(&mut hasher);
    hasher.finish()
}

/// Reads a painting.
///
/// # Errors
///
/// What is wrong with the file, without its name.
pub fn load(path: &Path) -> Result<Texture, String> {
    of_bytes(read(path)?)
}

fn read(path: &Path) -> Result<Vec<u8>, String> {
    let file = File::open(path).map_err(|error| error.to_string())?;
    let about = file.metadata().map_err(|error| error.to_string())?;
    if !about.is_file() {
        return Err("it is not a file".into());
    }
    let mut bytes = Vec::new();
    file.take(MAX_FILE + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| error.to_string())?;
    if bytes.len() as u64 > MAX_FILE {
        return Err("it is longer than 1 GiB".into());
    }
    Ok(bytes)
}

fn of_bytes(bytes: Vec<u8>) -> Result<Texture, String> {
    let unreadable = |error: image::ImageError| format!("it is not a picture: {error}");
    let mut reader = ImageReader::new(Cursor::new(&bytes))
        .with_guessed_format()
        .map_err(|error| error.to_string())?;
    reader.limits(Limits::no_limits());
    let format = reader.format();
    let mut decoder = reader.into_decoder().map_err(unreadable)?;
    let (width, height) = decoder.dimensions();
    let orientation = decoder.orientation().map_err(unreadable)?;
    if width > MAX_SIDE || height > MAX_SIDE || u64::from(width) * u64::from(height) > MAX_PIXELS {
        return Err(format!(
            "it has {width} x {height} pixels; at most {MAX_SIDE} a side and {MAX_PIXELS} in all"
        ));
    }
    // A decoder may take what is missing of a JPEG file for grey.
    if format == Some(ImageFormat::Jpeg) && !whole::jpeg_has_its_end(&bytes) {
        return Err("its end is missing".to_owned());
    }
    let mut limits = Limits::default();
    limits.max_alloc = Some(8 * MAX_PIXELS + (64 << 20));
    decoder.set_limits(limits).map_err(unreadable)?;
    // Decoded in any case: a file that is cut short must not get into a scene.
    let mut picture = DynamicImage::from_decoder(decoder).map_err(unreadable)?;
    // Some viewers turn a picture as its file's Exif says, some do not: it is turned here.
    picture.apply_orientation(orientation);
    let (width, height) = (picture.width(), picture.height());
    let own = match format {
        _ if orientation != Orientation::NoTransforms => None,
        Some(ImageFormat::Png) if plain_png(&bytes) => Some(Kind::Png),
        Some(ImageFormat::Jpeg) if plain_jpeg(&bytes) => Some(Kind::Jpeg),
        _ => None,
    };
    let clear = || picture.to_rgba8().pixels().any(|pixel| pixel[3] < u8::MAX);
    let alpha = picture.color().has_alpha() && clear();
    let (bytes, kind) = match own {
        Some(kind) => (bytes, kind),
        None => {
            let mut made = Vec::new();
            let eight = if alpha {
                DynamicImage::from(picture.into_rgba8())
            } else {
                DynamicImage::from(picture.into_rgb8())
            };
            PngEncoder::new(&mut made)
                .write_image(eight.as_bytes(), width, height, eight.color().into())
                .map_err(unreadable)?;
            (made, Kind::Png)
        }
    };
    Ok(Texture {
        bytes,
        kind,
        width,
        height,
        alpha,
        own: own.is_some(),
    })
}

/// Whether every reader of glTF shows a PNG file alike: no more than 8 bits, and nothing said of its
/// colours, its pixels' shape or an animation, all of which glTF has ignored (glTF 2.0, 3.8.3
/// "Images").
fn plain_png(bytes: &[u8]) -> bool {
    let mut at = 8;
    let mut plain = false;
    while let Some(head) = bytes.get(at..at + 8) {
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        match &head[4..8] {
            // Depth is the byte after width and height.
            b"IHDR" => plain = bytes.get(at + 16).is_some_and(|depth| *depth <= 8),
            b"gAMA" | b"cHRM" | b"iCCP" | b"pHYs" | b"acTL" => return false,
            b"IEND" => return plain,
            _ => {}
        }
        let Some(next) = at.checked_add(12).and_then(|it| it.checked_add(length)) else {
            return false;
        };
        at = next;
    }
    false
}

/// Whether a JPEG file has 8 bits and one or three colours: others are not read everywhere. (Markers
/// by ITU-T T.81, annex B.)
fn plain_jpeg(bytes: &[u8]) -> bool {
    let mut at = 2;
    while let Some(&[0xFF, marker, high, low]) = bytes.get(at..at + 4) {
        let length = usize::from(u16::from_be_bytes([high, low]));
        match marker {
            // Baseline, extended, progressive.
            0xC0..=0xC2 => {
                let precision = bytes.get(at + 4);
                let colours = bytes.get(at + 9);
                return precision == Some(&8) && matches!(colours, Some(1 | 3));
            }
            0xC3..=0xCF if !matches!(marker, 0xC4 | 0xC8 | 0xCC) => return false,
            0xDA => return false,
            _ => at += 2 + length,
        }
    }
    false
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use image::{ImageBuffer, Luma, Rgb, Rgba};

    fn written(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
        let mut bytes = Cursor::new(Vec::new());
        picture.write_to(&mut bytes, format).expect("written");
        bytes.into_inner()
    }

    #[test]
    fn plain_files_are_taken_as_they_are() {
        let clear = DynamicImage::from(ImageBuffer::from_pixel(7, 5, Rgba([9_u8, 8, 7, 100])));
        let solid = DynamicImage::from(ImageBuffer::from_pixel(7, 5, Rgb([9_u8, 8, 7])));
        for (picture, format, kind, alpha) in [
            (&clear, ImageFormat::Png, Kind::Png, true),
            (&solid, ImageFormat::Png, Kind::Png, false),
            (&solid, ImageFormat::Jpeg, Kind::Jpeg, false),
        ] {
            let bytes = written(picture, format);
            let texture = of_bytes(bytes.clone()).expect("a texture");
            assert_eq!((texture.kind, texture.alpha), (kind, alpha));
            assert_eq!((texture.width, texture.height), (7, 5));
            assert!(texture.own && texture.bytes == bytes);
        }
    }

    #[test]
    fn others_become_png_of_8_bits_that_says_the_same() {
        let deep = DynamicImage::from(ImageBuffer::from_pixel(
            3,
            2,
            Rgba([65535_u16, 0, 257, 514]),
        ));
        let grey = DynamicImage::from(ImageBuffer::from_pixel(3, 2, Luma([40_u8])));
        for (picture, format, pixel) in [
            (&deep, ImageFormat::Png, [255, 0, 1, 2]),
            (&grey, ImageFormat::Tiff, [40, 40, 40, 255]),
        ] {
            let texture = of_bytes(written(picture, format)).expect("a texture");
            assert!(!texture.own && texture.kind == Kind::Png && plain_png(&texture.bytes));
            let read = image::load_from_memory(&texture.bytes)
                .expect("a PNG")
                .into_rgba8();
            assert_eq!(read.get_pixel(1, 1).0, pixel);
        }
    }

    /// A JPEG picture, white at the left and black at the right, with an orientation in its Exif.
    /// Exif 2.3, 4.6.4, tag 0112 (from memory): 6 has the first row at the right, to be turned by 90
    /// degrees clockwise.
    pub(crate) fn turned_jpeg(orientation: u8) -> Vec<u8> {
        let picture = DynamicImage::from(ImageBuffer::from_fn(16, 8, |x, _| {
            Rgb(if x < 8 { [250_u8, 250, 250] } else { [5, 5, 5] })
        }));
        let bytes = written(&picture, ImageFormat::Jpeg);
        // APP1 behind the start: big-endian TIFF with one entry of type SHORT.
        let mut exif = b"Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
        exif.extend_from_slice(&[orientation, 0, 0, 0, 0, 0, 0]);
        let mut turned = bytes[..2].to_vec();
        turned.extend_from_slice(&[0xFF, 0xE1, 0, exif.len() as u8 + 2]);
        turned.extend_from_slice(&exif);
        turned.extend_from_slice(&bytes[2..]);
        turned
    }

    #[test]
    fn a_jpeg_that_exif_turns_is_turned() {
        for (orientation, size) in [(1_u8, (16, 8)), (6, (8, 16))] {
            let turned = turned_jpeg(orientation);
            let texture = of_bytes(turned).expect("a texture");
            assert_eq!((texture.width, texture.height), size);
            assert_eq!(texture.own, orientation == 1);
            let read = image::load_from_memory(&texture.bytes).expect("a picture");
            assert_eq!((read.width(), read.height()), size);
            // White, which was at the left, is at the top.
            let read = read.into_luma8();
            assert!(read.get_pixel(1, 1)[0] > 200);
            let far = (size.0 - 2, size.1 - 2);
            assert!(read.get_pixel(far.0, far.1)[0] < 50);
        }
    }

    #[test]
    fn a_file_cut_short_anywhere_is_refused() {
        let picture = DynamicImage::from(ImageBuffer::from_fn(9, 9, |x, y| {
            Rgb([x as u8, y as u8, 3])
        }));
        let bytes = written(&picture, ImageFormat::Jpeg);
        for length in 0..bytes.len() {
            assert!(of_bytes(bytes[..length].to_vec()).is_err(), "JPEG {length}");
        }
        let bytes = written(&picture, ImageFormat::Png);
        // The last chunk, IEND, holds nothing of the picture.
        for length in 0..bytes.len() - 12 {
            assert!(of_bytes(bytes[..length].to_vec()).is_err(), "{length}");
        }
        assert!(of_bytes(b"no picture".to_vec()).is_err());
    }

    #[test]
    fn a_picture_with_opacity_that_is_clear_nowhere_hides_what_is_behind_it() {
        for (opacity, alpha) in [(255_u8, false), (254, true)] {
            let picture = DynamicImage::from(ImageBuffer::from_fn(4, 4, |x, _| {
                image::Rgba([9_u8, 9, 9, if x == 2 { opacity } else { 255 }])
            }));
            let texture = of_bytes(written(&picture, ImageFormat::Png)).expect("a picture");
            assert_eq!(texture.alpha, alpha, "opacity {opacity}");
        }
    }
}
