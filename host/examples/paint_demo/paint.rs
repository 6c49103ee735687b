//! A tidal coast at first light, five layers of it.
//!
//! Everything is placed in the pixels of the shot's first frame, 1920 x 1080 from its top left
//! corner, so that the layers agree with one another; each canvas reaches beyond the frame as far
//! as its level travels. The eye is 1.6 m above the water and a pixel is 1/2866 of the distance,
//! so that the waterline of what is `D` metres away lies `1.6 x 2866 / D` below the horizon.

use std::path::Path;

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder, RgbaImage};

#[path = "canvas.rs"]
mod canvas;
#[path = "clouds.rs"]
mod clouds;
#[path = "headland.rs"]
mod headland;
#[path = "reeds.rs"]
mod reeds;
#[path = "skiffs.rs"]
mod skiffs;
#[path = "sky.rs"]
mod sky;

/// Row of the horizon.
pub(crate) const HORIZON: f32 = 500.0;
/// Centre of the sun.
pub(crate) const SUN: (f32, f32) = (1240.0, 452.0);

/// Every layer by name, from the lens downwards, and the headland's second drawing.
pub(crate) fn all() -> Vec<(&'static str, RgbaImage)> {
    vec![
        ("reeds", reeds::paint().picture()),
        ("skiffs", skiffs::paint().picture()),
        ("headland", headland::paint(false).picture()),
        ("headland-flash", headland::paint(true).picture()),
        ("clouds", clouds::paint().picture()),
        ("sky", sky::paint().picture()),
    ]
}

/// Writes a PNG file as small as it gets, without an alpha channel where nothing is clear.
pub(crate) fn save(picture: &RgbaImage, path: &Path) -> Result<(), Box<dyn std::error::Error>> {
    let file = std::io::BufWriter::new(std::fs::File::create(path)?);
    let encoder = PngEncoder::new_with_quality(file, CompressionType::Best, FilterType::Adaptive);
    let (width, height) = picture.dimensions();
    if picture.pixels().all(|pixel| pixel[3] == 255) {
        let opaque: Vec<u8> = picture
            .pixels()
            .flat_map(|pixel| [pixel[0], pixel[1], pixel[2]])
            .collect();
        encoder.write_image(&opaque, width, height, ExtendedColorType::Rgb8)?;
    } else {
        encoder.write_image(picture.as_raw(), width, height, ExtendedColorType::Rgba8)?;
    }
    Ok(())
}
