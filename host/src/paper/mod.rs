//! What is drawn and printed of a planned shot. Pure: text in, text out.
//!
//! * [`chart`]: how every axis and level moves over the frames.
//! * [`elevation`]: the stand from the side, to scale.
//! * [`exposure_sheet`]: every exposure in its order, to work from at the stand.
//! * [`painters_sheet`]: what to paint on every level, how large, and where.
//! * [`raster`]: a drawing as PNG.
//!
//! Drawings are SVG in black and greys, so that they can be read however they are printed.

pub mod chart;
mod draw;
pub mod elevation;
pub mod exposure_sheet;
mod html;
pub mod painters_sheet;
pub mod raster;

pub use draw::MARK;
pub use exposure_sheet::CSV_HEAD;

/// A name as part of a file's: plain letters, digits and hyphens alone.
#[must_use]
pub fn slug(name: &str) -> String {
    let mut slug = String::new();
    for letter in name.chars() {
        if letter.is_ascii_alphanumeric() {
            slug.push(letter.to_ascii_lowercase());
        } else if !slug.ends_with('-') && !slug.is_empty() {
            slug.push('-');
        }
    }
    slug.truncate(40);
    slug.trim_end_matches('-').to_owned()
}
