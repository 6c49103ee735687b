//! Light through the lens, row by row, to the values of a picture.

use std::sync::atomic::{AtomicBool, Ordering};

use image::RgbImage;
use rayon::prelude::*;
use wide::f32x4;

use crate::picture::art::Cover;
use crate::picture::blur::{Disc, Rows};
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
    /// What its points are blurred to; then the picture that `seen` shows is larger by its reach
    /// on every side.
    pub(super) disc: Option<Disc>,
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
    let blurred = |exposed: &Exposed<'_>| exposed.levels.iter().any(|level| level.disc.is_some());
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
            match &level.disc {
                None => level.lay_sharp(first, columns, &mut light),
                Some(disc) => level.lay_blurred(disc, first, columns, &mut light),
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

    fn lay_blurred(&self, disc: &Disc, first: usize, columns: usize, light: &mut [[f32; 4]]) {
        let count = light.len() / columns;
        let width = columns + 2 * disc.reach;
        let mut rows = Rows::clear(width, count + 2 * disc.reach);
        let mut anything = false;
        for (row, pixels) in rows.pixels.chunks_exact_mut(width).enumerate() {
            let row = self.seen.row(first + row, width);
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
        let mut blurred = vec![[0.0; 4]; columns];
        for (row, light) in light.chunks_exact_mut(columns).enumerate() {
            disc.row(&rows, row + disc.reach, &mut blurred);
            for (light, sample) in light.iter_mut().zip(&blurred) {
                over(light, f32x4::from(*sample), gains);
            }
        }
    }
}
