//! A drawing as PNG, with a font of the program's own: it looks the same on every machine.
//!
//! The font is DejaVu Sans 2.37, which may be shipped with anything (its licence follows Bitstream
//! Vera's).

use std::io::{self, Write};
use std::sync::{Arc, OnceLock};

use super::MARK;
use image::RgbImage;
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree, fontdb};

/// A drawing could not be made into a picture.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the drawing cannot be made into a picture: {0}")]
pub struct RasterError(String);

/// A drawing as pixels, `scale` of them to one of its own units, on white.
///
/// # Errors
///
/// A text that is no SVG, or a drawing of no size, or of more than 16384 pixels a side.
pub fn raster(svg: &str, scale: f32) -> Result<RgbImage, RasterError> {
    const MOST: f32 = 16_384.0;
    let options = Options {
        font_family: "DejaVu Sans".into(),
        fontdb: fonts(),
        ..Options::default()
    };
    let tree = Tree::from_str(svg, &options).map_err(|error| RasterError(error.to_string()))?;
    let size = |side: f32| {
        let side = (side * scale).round();
        if (1.0..=MOST).contains(&side) {
            Ok(side as u32)
        } else {
            Err(RasterError(format!("{side} pixels a side")))
        }
    };
    let (width, height) = (size(tree.size().width())?, size(tree.size().height())?);
    let mut pixels = Pixmap::new(width, height)
        .ok_or_else(|| RasterError(format!("{width} x {height} pixels")))?;
    pixels.fill(Color::WHITE);
    resvg::render(
        &tree,
        Transform::from_scale(scale, scale),
        &mut pixels.as_mut(),
    );
    // On white nothing is clear.
    let (solid, _) = pixels.data().as_chunks::<4>();
    let bytes = solid.iter().flat_map(|[r, g, b, _]| [*r, *g, *b]).collect();
    RgbImage::from_raw(width, height, bytes)
        .ok_or_else(|| RasterError(format!("{width} x {height} pixels")))
}

/// Writes a drawing's pixels as PNG that says who made it, as the SVG does.
///
/// # Errors
///
/// Those of the writer.
pub fn png(picture: &RgbImage, out: impl Write) -> io::Result<()> {
    let mut encoder = png::Encoder::new(out, picture.width(), picture.height());
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.add_text_chunk("Software".to_owned(), MARK.to_owned())?;
    let mut writer = encoder.write_header()?;
    writer.write_image_data(picture.as_raw())?;
    Ok(writer.finish()?)
}

fn fonts() -> Arc<fontdb::Database> {
    static FONTS: OnceLock<Arc<fontdb::Database>> = OnceLock::new();
    let made = || {
        let mut fonts = fontdb::Database::new();
        fonts.load_font_data(dejavu::sans::regular().to_vec());
        fonts.set_sans_serif_family("DejaVu Sans");
        Arc::new(fonts)
    };
    Arc::clone(FONTS.get_or_init(made))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_and_lines_come_out_black_on_white_at_the_size_asked_for() {
        let svg = "<svg xmlns='http://www.w3.org/2000/svg' width='80' height='40' \
                   font-family='sans-serif'><text x='10' y='30' font-size='24'>reeds</text></svg>";
        let picture = raster(svg, 2.0).expect("a picture");
        assert_eq!(picture.dimensions(), (160, 80));
        let dark = picture.pixels().filter(|it| it.0[0] < 100).count();
        assert!(dark > 200, "{dark}");
        assert_eq!(picture.get_pixel(159, 0).0, [255; 3]);
        assert!(raster("no drawing", 1.0).is_err());
        assert!(raster(svg, 1e4).is_err());
    }
}
