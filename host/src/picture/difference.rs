//! What two pictures of one size do not have in common.

use image::{Rgb, RgbImage};

use crate::picture::PictureError;

/// Two pictures in one, and where they differ most.
pub struct Difference {
    /// Grey where they are equal; orange where the first has more, blue where the second has, of that
    /// of red, green and blue in which they differ most. Orange and blue can be told apart by people who
    /// see red and green alike.
    pub picture: RgbImage,
    /// The greatest difference of a pixel's red, green or blue, of 255.
    pub greatest: u8,
    /// Column and row of the pixel that differs so much, counted from 0; the first of them.
    pub at: (u32, u32),
    /// How many pixels differ at all.
    pub pixels: u64,
    /// By how much differences are enlarged in the picture, so that small ones are seen.
    pub enlarged: f64,
}

/// Most that differences are enlarged by.
const MOST: f32 = 8.0;

/// Compares two pictures.
///
/// # Errors
/// [`PictureError::Unlike`] where they differ in size.
pub fn between(first: &RgbImage, second: &RgbImage) -> Result<Difference, PictureError> {
    if first.dimensions() != second.dimensions() {
        return Err(PictureError::Unlike {
            first: first.dimensions(),
            second: second.dimensions(),
        });
    }
    let mut found = Difference {
        picture: RgbImage::new(first.width(), first.height()),
        greatest: 0,
        at: (0, 0),
        pixels: 0,
        enlarged: 1.0,
    };
    for ((x, y, a), b) in first.enumerate_pixels().zip(second.pixels()) {
        let off = more(a, b).unsigned_abs() as u8;
        found.pixels += u64::from(off > 0);
        if off > found.greatest {
            (found.greatest, found.at) = (off, (x, y));
        }
    }
    // The greatest is to fill half of the range.
    let enlarged = match found.greatest {
        0 => 1.0,
        greatest => (128.0 / f32::from(greatest)).clamp(1.0, MOST),
    };
    found.enlarged = f64::from(enlarged);
    for ((a, b), out) in first
        .pixels()
        .zip(second.pixels())
        .zip(found.picture.pixels_mut())
    {
        let more = f32::from(more(a, b)) / 2.0 * enlarged;
        let (a, b) = (luma(a), luma(b));
        // A faint picture of what both show, so that it is seen where things are.
        let grey = 80.0 + (a + b) / 2.0 * 0.37;
        // Orange is red with half as much green; blue the other way.
        *out = Rgb([grey + more, grey, grey - more].map(|value| {
            // Saturates.
            (value + 0.5) as u8
        }));
    }
    Ok(found)
}

/// How much more the first has than the second, of that of red, green and blue in which they differ
/// most.
fn more(a: &Rgb<u8>, b: &Rgb<u8>) -> i16 {
    std::iter::zip(a.0, b.0)
        .map(|(a, b)| i16::from(a) - i16::from(b))
        .max_by_key(|more| more.unsigned_abs())
        .unwrap_or(0)
}

/// Brightness of a pixel's values (ITU-R BT.709-6, 3.2).
fn luma(pixel: &Rgb<u8>) -> f32 {
    let [red, green, blue] = pixel.0.map(f32::from);
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_is_grey_and_what_differs_has_its_colour() {
        let mut first = RgbImage::from_pixel(20, 10, Rgb([100, 120, 140]));
        let mut second = first.clone();
        let none = between(&first, &second).expect("of one size");
        assert_eq!((none.greatest, none.pixels), (0, 0));
        assert!(none.picture.pixels().all(|p| p[0] == p[1] && p[1] == p[2]));
        first.put_pixel(3, 4, Rgb([110, 130, 150]));
        second.put_pixel(12, 7, Rgb([140, 160, 180]));
        let found = between(&first, &second).expect("of one size");
        assert_eq!((found.greatest, found.at, found.pixels), (40, (12, 7), 2));
        assert!((found.enlarged - 3.2).abs() < 0.01);
        let went = found.picture.get_pixel(3, 4);
        let came = found.picture.get_pixel(12, 7);
        assert!(went[0] > went[1] && went[1] > went[2], "{went:?}");
        assert!(came[2] > came[1] && came[1] > came[0], "{came:?}");
        let grey = found.picture.get_pixel(0, 0);
        assert!(grey[0] == grey[1] && grey[1] == grey[2]);
        assert!(between(&first, &RgbImage::new(10, 20)).is_err());
    }

    /// Red of luma 54.2 against blue of the same: (255, 0, 0) and (0, 50, 255).
    #[test]
    fn another_colour_of_the_same_brightness_is_not_grey() {
        let first = RgbImage::from_pixel(4, 4, Rgb([255, 0, 0]));
        let second = RgbImage::from_pixel(4, 4, Rgb([0, 50, 255]));
        assert!((luma(first.get_pixel(0, 0)) - luma(second.get_pixel(0, 0))).abs() < 1.0);
        let found = between(&first, &second).expect("of one size");
        assert_eq!((found.greatest, found.pixels), (255, 16));
        let pixel = found.picture.get_pixel(0, 0);
        assert!(pixel[0].abs_diff(pixel[2]) > 60, "{pixel:?}");
    }
}
