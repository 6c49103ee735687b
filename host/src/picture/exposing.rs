//! Light through the lens, row by row, to the values of a picture.

use std::sync::atomic::{AtomicBool, Ordering};

use image::RgbImage;
use rayon::prelude::*;
use wide::f32x4;

use crate::picture::art::Cover;
use crate::picture::blur::{Blur, Rows};
use crate::picture::light;
use crate::picture::sampling::{BLOCK, Row, Seen, gains, lay_all, over};

/// Rows of the picture that are blurred together: each lot needs some more around it.
const BAND: usize = 64;

/// One exposure of the picture.
pub(super) struct Exposed<'a> {
    /// From the farthest to the nearest.
    pub(super) levels: Vec<Shown<'a>>,
    /// Light of the ground that reaches the lens, 65535 for full.
    pub(super) ground: f32,
    /// How much of all the light the exposure time lets in.
    pub(super) share: f32,
}

/// A level in the picture.
pub(super) struct Shown<'a> {
    pub(super) seen: Seen<'a>,
    /// What its points are blurred to; then the picture that `seen` shows is larger by its margin
    /// on every side, and coarser.
    pub(super) blur: Option<Blur>,
}

/// The picture of all exposures together, `columns` wide; none once `stop` is set.
pub(super) fn expose(
    exposures: &[Exposed<'_>],
    (columns, rows): (u32, u32),
    stop: &AtomicBool,
) -> Option<RgbImage> {
    let mut picture = RgbImage::new(columns, rows);
    let stopped = || stop.load(Ordering::Relaxed);
    if columns == 0 || rows == 0 {
        return Some(picture);
    }
    let columns = columns as usize;
    let blurred = |exposed: &Exposed<'_>| exposed.levels.iter().any(|level| level.blur.is_some());
    if exposures.iter().any(blurred) {
        picture
            .as_mut()
            .par_chunks_mut(columns * 3 * BAND)
            .enumerate()
            .for_each(|(band, out)| {
                if stopped() {
                    return;
                }
                let mut sum = vec![[0.0; 4]; out.len() / 3];
                for exposed in exposures {
                    exposed.add_band(band * BAND, columns, &mut sum);
                }
                develop(&sum, out);
            });
    } else {
        picture
            .as_mut()
            .par_chunks_exact_mut(columns * 3)
            .enumerate()
            .for_each(|(row, out)| {
                if !stopped() {
                    expose_row(exposures, row, out);
                }
            });
    }
    (!stopped()).then_some(picture)
}

/// The values of amounts of light, 65535 for white. Saturates: what is brighter is white.
fn develop(light: &[[f32; 4]], out: &mut [u8]) {
    let values = light::values();
    let (least, most) = (f32x4::splat(0.0), f32x4::splat(65535.0));
    for (out, light) in out.chunks_exact_mut(3).zip(light) {
        // Rounded, and kept within the table before it is a whole number.
        let light = f32x4::from(*light).max(least).min(most).fast_round_int();
        for (out, light) in out.iter_mut().zip(light.to_array()) {
            *out = values[light as usize];
        }
    }
}

/// A row on which everything is sharp.
fn expose_row(exposures: &[Exposed<'_>], row: usize, out: &mut [u8]) {
    let columns = out.len() / 3;
    let mut rows: Vec<Vec<Row<'_>>> = exposures
        .iter()
        .map(|exposed| {
            let levels = exposed.levels.iter();
            levels.map(|level| level.seen.row(row, columns)).collect()
        })
        .collect();
    for (block, out) in out.chunks_mut(3 * BLOCK).enumerate() {
        let columns = block * BLOCK..block * BLOCK + out.len() / 3;
        let mut sum = [[0.0; 4]; BLOCK];
        for (exposed, rows) in exposures.iter().zip(&mut rows) {
            let mut light = [[exposed.ground; 4]; BLOCK];
            lay_all(rows, &columns, &mut light);
            add(&light, exposed.share, &mut sum);
        }
        develop(&sum[..out.len() / 3], out);
    }
}

/// As on film that is exposed several times.
fn add(light: &[[f32; 4]], share: f32, sum: &mut [[f32; 4]]) {
    for (sum, light) in sum.iter_mut().zip(light) {
        for (sum, light) in sum.iter_mut().zip(light) {
            *sum += light * share;
        }
    }
}

impl Exposed<'_> {
    /// Adds what comes of some rows of the picture from `first` on.
    fn add_band(&self, first: usize, columns: usize, sum: &mut [[f32; 4]]) {
        let mut light = vec![[self.ground; 4]; sum.len()];
        for level in &self.levels {
            match &level.blur {
                None => level.lay_sharp(first, columns, &mut light),
                Some(blur) => level.lay_blurred(blur, first, columns, &mut light),
            }
        }
        add(&light, self.share, sum);
    }
}

impl Shown<'_> {
    fn lay_sharp(&self, first: usize, columns: usize, light: &mut [[f32; 4]]) {
        for (row, light) in light.chunks_exact_mut(columns).enumerate() {
            let row = self.seen.row(first + row, columns);
            for (block, light) in light.chunks_mut(BLOCK).enumerate() {
                let columns = block * BLOCK..block * BLOCK + light.len();
                if row.look(&columns) != Cover::Clear {
                    let mut wide = [[0.0; 4]; BLOCK];
                    wide[..light.len()].copy_from_slice(light);
                    row.lay_over(&columns, &mut wide);
                    light.copy_from_slice(&wide[..light.len()]);
                }
            }
        }
    }

    fn lay_blurred(&self, blur: &Blur, first: usize, columns: usize, light: &mut [[f32; 4]]) {
        let (disc, step) = (&blur.disc, blur.step);
        // In pixels of what is blurred, counted with its margin.
        let place = |at: usize| (at as f64 + 0.5) / step as f64 - 0.5 + blur.margin() as f64;
        let beyond = usize::from(step > 1);
        let last = first + light.len() / columns - 1;
        let lowest = place(first).floor() as usize;
        let count = place(last).floor() as usize + beyond + 1 - lowest;
        let width = columns.div_ceil(step) + 2 * blur.margin();
        let mut rows = Rows::clear(width, count + 2 * disc.reach);
        let mut anything = false;
        for (row, pixels) in rows.pixels.chunks_exact_mut(width).enumerate() {
            let row = self.seen.row(lowest - disc.reach + row, width);
            for (block, pixels) in pixels.chunks_mut(BLOCK).enumerate() {
                let columns = block * BLOCK..block * BLOCK + pixels.len();
                if row.look(&columns) == Cover::Clear {
                    continue;
                }
                anything = true;
                let mut own = [[0.0; 4]; BLOCK];
                row.sample(&columns, &mut own);
                for (pixel, light) in pixels.iter_mut().zip(&own) {
                    *pixel = light.map(|value| (value + 0.5) as u16);
                }
            }
        }
        if !anything {
            return;
        }
        rows.add_up();
        let gains = gains(self.seen.gain);
        // The first column that is blurred is the one by `reach`.
        let across = width - 2 * disc.reach;
        let mut blurred = vec![[0.0; 4]; across * (1 + beyond)];
        let (mut upper, mut lower) = blurred.split_at_mut(across);
        let mut there = usize::MAX;
        for (row, light) in light.chunks_exact_mut(columns).enumerate() {
            let at = place(first + row);
            let whole = at.floor() as usize;
            if whole != there {
                // Most often, what was below is above now.
                if step > 1 && there.checked_add(1) == Some(whole) {
                    std::mem::swap(&mut upper, &mut lower);
                } else {
                    disc.row(&rows, whole - lowest + disc.reach, upper);
                }
                if step > 1 {
                    disc.row(&rows, whole + 1 - lowest + disc.reach, lower);
                }
                there = whole;
            }
            if step == 1 {
                for (light, sample) in light.iter_mut().zip(&*upper) {
                    over(light, f32x4::from(*sample), gains);
                }
                continue;
            }
            let down = f32x4::splat((at - at.floor()) as f32);
            for (column, light) in light.iter_mut().enumerate() {
                let at = place(column) - disc.reach as f64;
                let (whole, right) = (at.floor() as usize, f32x4::splat(at.fract() as f32));
                let between = |row: &[[f32; 4]]| {
                    let (a, b) = (f32x4::from(row[whole]), f32x4::from(row[whole + 1]));
                    a + (b - a) * right
                };
                let (a, b) = (between(upper), between(lower));
                over(light, a + (b - a) * down, gains);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::art::Art;
    use crate::picture::blur::Disc;
    use crate::picture::sampling::{Map, Sheet};

    /// A large disc on a coarser picture shows what it does on the picture itself, to about a step of
    /// the 255, and so it does at the edges of the picture and of the bands.
    #[test]
    fn large_discs_are_blurred_coarser_and_look_the_same() {
        let size = (300, 200);
        let art = Art::from_picture(&image::ImageBuffer::from_fn(400, 260, |x, y| {
            let bright = (x / 37 + y / 29) % 3 == 0;
            let value = if bright { 60_000 } else { 9_000 };
            let opacity = if x < 200 { u16::MAX } else { 20_000 };
            image::Rgba([value, value / 2, 65_535 - value, opacity])
        }));
        let map = Map {
            u: [0.99, 0.02, 41.3],
            v: [-0.02, 0.99, 33.1],
        };
        let picture = |blur: Blur| {
            let map = map.coarser(blur.step).with_margin(blur.margin());
            let reduced = blur.step.ilog2() as usize;
            let sheet = Sheet {
                plane: &art.planes[reduced],
                map: map.reduced(reduced),
            };
            let seen = Seen {
                gain: 1.0,
                fine: sheet,
                coarse: None,
            };
            let level = Shown {
                seen,
                blur: Some(blur),
            };
            let exposed = Exposed {
                levels: vec![level],
                ground: 0.18 * 65535.0,
                share: 1.0,
            };
            expose(&[exposed], size, &AtomicBool::new(false)).expect("not stopped")
        };
        for (diameter, step) in [(63.0, 1), (65.0, 2), (110.0, 2), (130.0, 4)] {
            let blur = Blur::new(diameter).expect("it is blurred");
            assert_eq!(blur.step, step);
            assert!(blur.disc.reach <= 34, "{}", blur.disc.reach);
            let found = picture(blur);
            let whole = picture(Blur {
                disc: Disc::new(diameter).expect("it is blurred"),
                step: 1,
            });
            let pairs = || std::iter::zip(found.as_raw(), whole.as_raw());
            let off = |(a, b): (&u8, &u8)| a.abs_diff(*b);
            let most = pairs().map(off).max();
            assert!(most <= Some(2), "{diameter}: {most:?}");
            assert!(found.get_pixel(20, 20) != found.get_pixel(280, 180));
        }
    }
}
