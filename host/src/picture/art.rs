//! The paintings on the panes, as light.

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};

use crate::camera::whole;
use crate::picture::light::LIGHT;
use crate::plan::coverage::Painted;

/// Greatest width or height of a painting's file, pixels.
pub const MAX_SIDE: u32 = 20_000;

/// Greatest number of pixels of a painting's file: 8 bytes each once it is loaded, and a third
/// more for its reductions.
pub const MAX_PIXELS: u64 = 100_000_000;

/// Greatest size of a painting's file, bytes: twice what the most pixels take without any packing.
const MAX_BYTES: u64 = 16 * MAX_PIXELS;

/// Why a picture could not be made. Each names the file.
#[derive(Debug, thiserror::Error)]
pub enum PictureError {
    /// A layer's art cannot be opened.
    #[error("the art of layer {layer} cannot be opened: {}: {source}; check `art` in the shot file", path.display())]
    Missing {
        /// The level that carries the layer.
        layer: String,
        /// The file.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// A layer's art is not a picture that can be read.
    #[error("the art of layer {layer} is not a PNG, JPEG or TIFF picture that can be read: {}: {reason}; save it again as PNG", path.display())]
    NotAPicture {
        /// The level that carries the layer.
        layer: String,
        /// The file.
        path: PathBuf,
        /// What the decoder found.
        reason: String,
    },
    /// A layer's art has more pixels than can be loaded.
    #[error("the art of layer {layer} is too large: {}: {width} x {height} pixels; at most {MAX_SIDE} a side and {MAX_PIXELS} in all: reduce it, the camera cannot see so fine", path.display())]
    TooLarge {
        /// The level that carries the layer.
        layer: String,
        /// The file.
        path: PathBuf,
        /// Its width, pixels.
        width: u32,
        /// Its height, pixels.
        height: u32,
    },
    /// A layer's painting has no width on the glass.
    #[error(
        "the art of layer {layer} would be {width_mm} mm wide on the glass; give a positive `art_width`"
    )]
    NoWidth {
        /// The level that carries the layer.
        layer: String,
        /// The width, mm.
        width_mm: f64,
    },
    /// The shot does not have one layer for each level of the stand.
    #[error(
        "the shot has {layers} layers and the stand {levels} levels; give every level exactly one layer, in the stand's order"
    )]
    Layers {
        /// Layers of the shot.
        layers: usize,
        /// Levels of the stand.
        levels: usize,
    },
    /// A pass that the shot does not have.
    #[error("there is no pass {pass}; the shot has {passes}")]
    NoPass {
        /// Which, counted from 1.
        pass: usize,
        /// How many there are.
        passes: usize,
    },
    /// A file cannot be written, or a folder not read.
    #[error("{}: {source}; check the folder and the free space", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// Why not.
        source: std::io::Error,
    },
    /// A photograph in a folder cannot be read.
    #[error("{} is not a picture that can be read: {reason}; take the frame again or remove the file", path.display())]
    Frame {
        /// The file.
        path: PathBuf,
        /// What the decoder found.
        reason: String,
    },
    /// There are no photographs, or not the ones asked for.
    #[error("{}: no photograph of {what}", path.display())]
    NoFrames {
        /// The folder.
        path: PathBuf,
        /// What was looked for.
        what: String,
    },
    /// Photographs of one take differ in size.
    #[error("{}: {found} pixels, but the first frame has {expected}; they are not from one take", path.display())]
    Size {
        /// The file.
        path: PathBuf,
        /// Its width and height.
        found: String,
        /// Those of the first.
        expected: String,
    },
    /// Two pictures that are to be compared differ in size.
    #[error("{first:?} and {second:?} pixels cannot be compared; make both of one size")]
    Unlike {
        /// Columns and rows of one.
        first: (u32, u32),
        /// Those of the other.
        second: (u32, u32),
    },
    /// The caller asked to stop; nothing was left behind.
    #[error("interrupted")]
    Interrupted,
}

/// One picture as light, each pixel weighted by its own opacity: red, green, blue, opacity, 65535
/// for full. All around lies a border of one clear pixel, so that a sample between four pixels
/// finds all four anywhere up to the edge.
pub(crate) struct Plane {
    /// Width with the border.
    pub(crate) stride: usize,
    /// Width without.
    pub(crate) width: usize,
    /// Height without.
    pub(crate) height: usize,
    /// Row by row from the top.
    pub(crate) pixels: Vec<[u16; 4]>,
    /// What the samples that start in a tile can find, row by row of tiles.
    tiles: Vec<Cover>,
}

/// How a part of a painting covers what lies behind it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Cover {
    /// Not at all.
    Clear,
    /// Here and there, or not fully.
    Part,
    /// Fully.
    Full,
}

/// Width and height of a tile, pixels.
const TILE: usize = 16;

/// A painting and its reductions to a half, a quarter and so on.
pub(crate) struct Art {
    /// The largest first.
    pub(crate) planes: Vec<Plane>,
}

impl Plane {
    fn clear(width: usize, height: usize) -> Self {
        Self {
            stride: width + 2,
            width,
            height,
            pixels: vec![[0; 4]; (width + 2) * (height + 2)],
            tiles: Vec::new(),
        }
    }

    /// Notes what each tile covers. A sample reads the next column and row too, so a tile answers
    /// for one of each beyond its own.
    fn with_tiles(mut self) -> Self {
        let rows = self.height + 2;
        for top in (0..rows).step_by(TILE) {
            for left in (0..self.stride).step_by(TILE) {
                let right = (left + TILE + 1).min(self.stride);
                let (mut clear, mut full) = (true, true);
                for y in top..(top + TILE + 1).min(rows) {
                    for pixel in &self.pixels[y * self.stride + left..y * self.stride + right] {
                        clear &= pixel[3] == 0;
                        full &= pixel[3] == u16::MAX;
                    }
                }
                self.tiles.push(match (clear, full) {
                    (true, _) => Cover::Clear,
                    (_, true) => Cover::Full,
                    _ => Cover::Part,
                });
            }
        }
        self
    }

    /// What samples within a rectangle cover, both corners included, counted from the border. The
    /// outside is clear.
    pub(crate) fn cover(&self, [left, right]: [f64; 2], [top, bottom]: [f64; 2]) -> Cover {
        let (across, rows) = (self.stride.div_ceil(TILE), self.height + 2);
        let inside =
            left >= 0.0 && top >= 0.0 && right < self.stride as f64 && bottom < rows as f64;
        if right < 0.0 || bottom < 0.0 || left >= self.stride as f64 || top >= rows as f64 {
            return Cover::Clear;
        }
        // Truncation to zero or more; past the end is the last tile.
        let columns = left as usize / TILE..=(right as usize).min(self.stride - 1) / TILE;
        let (mut clear, mut full) = (true, inside);
        for row in top as usize / TILE..=(bottom as usize).min(rows - 1) / TILE {
            for tile in &self.tiles[row * across + columns.start()..=row * across + columns.end()] {
                clear &= *tile == Cover::Clear;
                full &= *tile == Cover::Full;
            }
        }
        match (clear, full) {
            (true, _) => Cover::Clear,
            (_, true) => Cover::Full,
            _ => Cover::Part,
        }
    }

    /// Half as wide and high; an odd edge is filled up with clear glass. The mean of four pixels
    /// of weighted light is exact.
    fn halved(&self) -> Self {
        let mut half = Self::clear(self.width.div_ceil(2), self.height.div_ceil(2));
        for y in 0..half.height {
            for x in 0..half.width {
                let at = (2 * y + 1) * self.stride + 2 * x + 1;
                // Past an odd edge lies the border, which is clear.
                let (a, b) = (self.pixels[at], self.pixels[at + 1]);
                let (c, d) = (
                    self.pixels[at + self.stride],
                    self.pixels[at + self.stride + 1],
                );
                half.pixels[(y + 1) * half.stride + x + 1] = std::array::from_fn(|i| {
                    let sum = u32::from(a[i]) + u32::from(b[i]) + u32::from(c[i]) + u32::from(d[i]);
                    ((sum + 2) / 4) as u16
                });
            }
        }
        half
    }
}

impl Art {
    /// Makes sure that a file is a whole picture and not too large, without decoding it. What is
    /// broken within only [`Self::load`] finds.
    ///
    /// # Errors
    /// [`PictureError::Missing`], [`PictureError::NotAPicture`] or [`PictureError::TooLarge`].
    pub(crate) fn check(layer: &str, path: &Path) -> Result<(), PictureError> {
        let file = ArtFile { layer, path };
        let bytes = file.read()?;
        let format = file.decoder(&bytes)?.0;
        // A decoder may take what is missing of a JPEG file for grey.
        let whole = match format {
            ImageFormat::Jpeg => whole::jpeg_has_its_end(&bytes),
            ImageFormat::Png => whole::png_has_its_end(&bytes),
            _ => true,
        };
        if whole {
            Ok(())
        } else {
            Err(file.broken("its end is missing"))
        }
    }

    /// Reads a painting. Its size is checked before anything is decoded.
    ///
    /// # Errors
    /// As [`Self::check`].
    pub(crate) fn load(layer: &str, path: &Path) -> Result<Self, PictureError> {
        let file = ArtFile { layer, path };
        let bytes = file.read()?;
        let (_, decoder) = file.decoder(&bytes)?;
        Ok(Self::from_picture(&file.decoded(decoder)?.into_rgba16()))
    }

    /// The size of a painting, and at which of its edges something is painted: what is clear there
    /// can end in the picture without being seen to. Decodes only what has an opacity.
    ///
    /// # Errors
    /// As [`Self::check`].
    pub(crate) fn painted(layer: &str, path: &Path) -> Result<Painted, PictureError> {
        let file = ArtFile { layer, path };
        let bytes = file.read()?;
        let (_, mut decoder) = file.decoder(&bytes)?;
        let (mut columns, mut rows) = decoder.dimensions();
        if sideways(decoder.orientation().map_err(|error| file.broken(error))?) {
            (columns, rows) = (rows, columns);
        }
        let mut painted = Painted {
            columns,
            rows,
            to_edge: [true; 4],
        };
        if decoder.color_type().has_alpha() {
            let picture = file.decoded(decoder)?.into_rgba16();
            let seen = |x: u32, y: u32| picture.get_pixel(x, y)[3] > 0;
            painted.to_edge = [
                (0..rows).any(|y| seen(0, y)),
                (0..rows).any(|y| seen(columns - 1, y)),
                (0..columns).any(|x| seen(x, rows - 1)),
                (0..columns).any(|x| seen(x, 0)),
            ];
        }
        Ok(painted)
    }

    /// Memory that it takes.
    pub(crate) fn bytes(&self) -> usize {
        self.planes
            .iter()
            .map(|plane| size_of_val(&plane.pixels[..]) + plane.tiles.len())
            .sum()
    }

    pub(crate) fn from_picture(picture: &image::ImageBuffer<image::Rgba<u16>, Vec<u16>>) -> Self {
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let mut plane = Plane::clear(width, height);
        for (x, y, image::Rgba([red, green, blue, opacity])) in picture.enumerate_pixels() {
            let weight =
                |value: u16| (LIGHT[usize::from(value)] * f32::from(*opacity) + 0.5) as u16;
            plane.pixels[(y as usize + 1) * plane.stride + x as usize + 1] =
                [weight(*red), weight(*green), weight(*blue), *opacity];
        }
        let mut planes = vec![plane];
        while let Some(last) = planes.last() {
            if last.width <= 1 && last.height <= 1 {
                break;
            }
            let half = last.halved();
            planes.push(half);
        }
        Self {
            planes: planes.into_iter().map(Plane::with_tiles).collect(),
        }
    }
}

/// Whether a picture is turned by a quarter.
fn sideways(orientation: Orientation) -> bool {
    matches!(
        orientation,
        Orientation::Rotate90
            | Orientation::Rotate270
            | Orientation::Rotate90FlipH
            | Orientation::Rotate270FlipH
    )
}

/// A file of art, with the words for what is wrong with it.
struct ArtFile<'a> {
    layer: &'a str,
    path: &'a Path,
}

impl ArtFile<'_> {
    fn broken(&self, reason: impl ToString) -> PictureError {
        PictureError::NotAPicture {
            layer: self.layer.to_owned(),
            path: self.path.to_owned(),
            reason: reason.to_string(),
        }
    }

    fn read(&self) -> Result<Vec<u8>, PictureError> {
        let missing = |source| PictureError::Missing {
            layer: self.layer.to_owned(),
            path: self.path.to_owned(),
            source,
        };
        let metadata = fs::metadata(self.path).map_err(missing)?;
        if !metadata.is_file() {
            let what = if metadata.is_dir() {
                "a folder"
            } else {
                "no plain file"
            };
            return Err(self.broken(format!("it is {what}")));
        }
        if metadata.len() > MAX_BYTES {
            return Err(self.broken(format!("it has {} bytes", metadata.len())));
        }
        fs::read(self.path).map_err(missing)
    }

    fn decoded(&self, mut decoder: impl ImageDecoder) -> Result<DynamicImage, PictureError> {
        // The caps bound the pixels; these bound what a broken file makes the decoder ask for
        // besides.
        let mut limits = Limits::default();
        limits.max_alloc = Some(8 * MAX_PIXELS + (64 << 20));
        decoder
            .set_limits(limits)
            .map_err(|error| self.broken(error))?;
        // As whoever looks at the file sees it, who may have turned the camera.
        let orientation = decoder.orientation().map_err(|error| self.broken(error))?;
        let mut picture =
            DynamicImage::from_decoder(decoder).map_err(|error| self.broken(error))?;
        picture.apply_orientation(orientation);
        Ok(picture)
    }

    /// A decoder that has read the head, whose size is within the limits.
    fn decoder<'a>(
        &self,
        bytes: &'a [u8],
    ) -> Result<(ImageFormat, impl ImageDecoder + use<'a>), PictureError> {
        let mut reader = ImageReader::new(Cursor::new(bytes))
            .with_guessed_format()
            .map_err(|error| self.broken(error))?;
        reader.limits(Limits::no_limits());
        let format = reader
            .format()
            .ok_or_else(|| self.broken("it is in none of these formats"))?;
        let decoder = reader.into_decoder().map_err(|error| self.broken(error))?;
        let (width, height) = decoder.dimensions();
        if width > MAX_SIDE
            || height > MAX_SIDE
            || u64::from(width) * u64::from(height) > MAX_PIXELS
        {
            return Err(PictureError::TooLarge {
                layer: self.layer.to_owned(),
                path: self.path.to_owned(),
                width,
                height,
            });
        }
        Ok((format, decoder))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::texture::tests::turned_jpeg;

    #[test]
    fn a_painting_is_turned_as_its_exif_says() {
        let folder = tempfile::tempdir().expect("a folder");
        for (orientation, size) in [(1, (16, 8)), (6, (8, 16))] {
            let path = folder.path().join(format!("{orientation}.jpg"));
            fs::write(&path, turned_jpeg(orientation)).expect("written");
            let painted = Art::painted("reeds", &path).expect("a picture");
            assert_eq!((painted.columns, painted.rows), size);
            let art = Art::load("reeds", &path).expect("a picture");
            let plane = &art.planes[0];
            assert_eq!(
                (plane.width, plane.height),
                (size.0 as usize, size.1 as usize)
            );
            // White is at the left, or by the turn at the top; inside the clear border.
            let white = plane.pixels[plane.stride + 1][0];
            let black = plane.pixels[plane.stride * plane.height + plane.width][0];
            assert!(white > 50_000 && black < 1000, "{white} {black}");
        }
    }
}
