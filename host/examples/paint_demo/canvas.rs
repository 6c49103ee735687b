//! A canvas in light, colours, and noise.

use image::RgbaImage;
use rayon::prelude::*;
use tiny_skia::{FillRule, Mask, Path, Transform};

/// Red, green, blue as sRGB values from 0 to 1.
pub(crate) type Colour = [f32; 3];

/// Weighted light over a piece of the frame's plane.
pub(crate) struct Canvas {
    left: i32,
    top: i32,
    width: usize,
    height: usize,
    pixels: Vec<[f32; 4]>,
}

/// A colour from `0xRRGGBB`.
pub(crate) fn hex(value: u32) -> Colour {
    [16, 8, 0].map(|shift| ((value >> shift) & 255) as f32 / 255.0)
}

pub(crate) fn mix(a: Colour, b: Colour, share: f32) -> Colour {
    let share = share.clamp(0.0, 1.0);
    std::array::from_fn(|i| a[i] + (b[i] - a[i]) * share)
}

pub(crate) fn scale(a: Colour, by: f32) -> Colour {
    a.map(|value| value * by)
}

/// A colour along stops of rising place.
pub(crate) fn ramp(stops: &[(f32, u32)], at: f32) -> Colour {
    for pair in stops.windows(2) {
        let ((from, a), (to, b)) = (pair[0], pair[1]);
        if at <= to {
            return mix(hex(a), hex(b), smooth(from, to, at));
        }
    }
    hex(stops[stops.len() - 1].1)
}

/// 0 up to `from`, 1 from `to` on, smooth between.
pub(crate) fn smooth(from: f32, to: f32, at: f32) -> f32 {
    let t = ((at - from) / (to - from)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// A number from 0 to 1 for a place and a seed: integer mixing, the same on every machine.
pub(crate) fn hash(x: i32, y: i32, seed: u32) -> f32 {
    let mut h = (x as u32)
        .wrapping_mul(0x9E37_79B1)
        .wrapping_add((y as u32).wrapping_mul(0x85EB_CA77))
        .wrapping_add(seed.wrapping_mul(0xC2B2_AE3D));
    h ^= h >> 15;
    h = h.wrapping_mul(0x2C1B_3C6D);
    h ^= h >> 12;
    h = h.wrapping_mul(0x297A_2D39);
    h ^= h >> 15;
    (h >> 8) as f32 / 16_777_216.0
}

/// Smooth noise from 0 to 1, one feature a unit.
pub(crate) fn noise(x: f32, y: f32, seed: u32) -> f32 {
    let (cell_x, cell_y) = (x.floor(), y.floor());
    let ease = |t: f32| t * t * t * (t * (6.0 * t - 15.0) + 10.0);
    let (fx, fy) = (ease(x - cell_x), ease(y - cell_y));
    let (i, j) = (cell_x as i32, cell_y as i32);
    let top = hash(i, j, seed) * (1.0 - fx) + hash(i + 1, j, seed) * fx;
    let bottom = hash(i, j + 1, seed) * (1.0 - fx) + hash(i + 1, j + 1, seed) * fx;
    top * (1.0 - fy) + bottom * fy
}

/// Noise in octaves, from 0 to 1.
pub(crate) fn layered(x: f32, y: f32, octaves: u32, seed: u32) -> f32 {
    let (mut sum, mut weight, mut total, mut size) = (0.0, 1.0, 0.0, 1.0);
    for octave in 0..octaves {
        // Turned a little at each octave, so that the lattice does not show.
        let (u, v) = (x * 0.8 - y * 0.6, x * 0.6 + y * 0.8);
        let (u, v) = if octave % 2 == 0 { (x, y) } else { (u, v) };
        sum += weight * noise(u * size, v * size, seed + octave);
        total += weight;
        weight *= 0.5;
        size *= 2.03;
    }
    sum / total
}

/// A run of numbers for a seed.
pub(crate) struct Chance {
    seed: u32,
    drawn: i32,
}

impl Chance {
    pub(crate) fn new(seed: u32) -> Self {
        Self { seed, drawn: 0 }
    }

    pub(crate) fn between(&mut self, from: f32, to: f32) -> f32 {
        self.drawn += 1;
        from + (to - from) * hash(self.drawn, 77, self.seed)
    }
}

fn light(value: f32) -> f32 {
    if value <= 0.04045 {
        value / 12.92
    } else {
        ((value + 0.055) / 1.055).powf(2.4)
    }
}

fn value(light: f32) -> f32 {
    if light <= 0.003_130_8 {
        light * 12.92
    } else {
        1.055 * light.powf(1.0 / 2.4) - 0.055
    }
}

fn over(behind: &mut [f32; 4], colour: Colour, opacity: f32) {
    let opacity = opacity.clamp(0.0, 1.0);
    if opacity == 0.0 {
        return;
    }
    for (behind, colour) in behind.iter_mut().zip(colour) {
        *behind = *behind * (1.0 - opacity) + light(colour.clamp(0.0, 1.0)) * opacity;
    }
    behind[3] = behind[3] * (1.0 - opacity) + opacity;
}

impl Canvas {
    /// A clear canvas from `left`, `top` to `right`, `bottom`.
    pub(crate) fn new((left, top): (i32, i32), (right, bottom): (i32, i32)) -> Self {
        let (width, height) = ((right - left) as usize, (bottom - top) as usize);
        Self {
            left,
            top,
            width,
            height,
            pixels: vec![[0.0; 4]; width * height],
        }
    }

    /// Paints every pixel: `shade` gives a colour and its opacity at a place.
    pub(crate) fn wash(&mut self, shade: impl Fn(f32, f32) -> (Colour, f32) + Sync) {
        let (left, top, width) = (self.left as f32, self.top as f32, self.width);
        self.pixels
            .par_chunks_exact_mut(width)
            .enumerate()
            .for_each(|(row, pixels)| {
                for (column, pixel) in pixels.iter_mut().enumerate() {
                    let (colour, opacity) =
                        shade(left + column as f32 + 0.5, top + row as f32 + 0.5);
                    over(pixel, colour, opacity);
                }
            });
    }

    /// Paints an ellipse about a place: `shade` goes by how far out, 1 at its edge.
    pub(crate) fn wash_near(
        &mut self,
        (x, y): (f32, f32),
        (half_x, half_y): (f32, f32),
        shade: impl Fn(f32) -> (Colour, f32),
    ) {
        let Some(oval) = tiny_skia::Rect::from_ltrb(x - half_x, y - half_y, x + half_x, y + half_y)
            .and_then(tiny_skia::PathBuilder::from_oval)
        else {
            return;
        };
        self.fill(&oval, |at_x, at_y| {
            shade(((at_x - x) / half_x).hypot((at_y - y) / half_y))
        });
    }

    /// Paints the inside of a path.
    pub(crate) fn fill(&mut self, path: &Path, shade: impl Fn(f32, f32) -> (Colour, f32)) {
        let bounds = path.bounds();
        let from_x = (bounds.left().floor() as i32 - 1).max(self.left);
        let from_y = (bounds.top().floor() as i32 - 1).max(self.top);
        let to_x = (bounds.right().ceil() as i32 + 1).min(self.left + self.width as i32);
        let to_y = (bounds.bottom().ceil() as i32 + 1).min(self.top + self.height as i32);
        if from_x >= to_x || from_y >= to_y {
            return;
        }
        let (width, height) = ((to_x - from_x) as u32, (to_y - from_y) as u32);
        let Some(mut mask) = Mask::new(width, height) else {
            return;
        };
        mask.fill_path(
            path,
            FillRule::Winding,
            true,
            Transform::from_translate(-from_x as f32, -from_y as f32),
        );
        for (index, covered) in mask.data().iter().enumerate() {
            if *covered == 0 {
                continue;
            }
            let x = from_x + (index as u32 % width) as i32;
            let y = from_y + (index as u32 / width) as i32;
            let (colour, opacity) = shade(x as f32 + 0.5, y as f32 + 0.5);
            let at = (y - self.top) as usize * self.width + (x - self.left) as usize;
            over(
                &mut self.pixels[at],
                colour,
                opacity * f32::from(*covered) / 255.0,
            );
        }
    }

    /// As 8-bit values, with a dither of up to one value against banding. Opacity is dithered
    /// only where it is soft, and what is clear is black all over.
    pub(crate) fn picture(&self) -> RgbaImage {
        RgbaImage::from_fn(self.width as u32, self.height as u32, |x, y| {
            let pixel = self.pixels[y as usize * self.width + x as usize];
            let opacity = pixel[3];
            let dither = |channel: u32| hash(x as i32, y as i32, 900 + channel);
            let alpha = if opacity > 0.998 {
                255
            } else if opacity < 0.002 {
                return image::Rgba([0; 4]);
            } else {
                (opacity * 255.0 + dither(3)).clamp(0.0, 255.0) as u8
            };
            // Where little shows, the value matters little: coarser, for a smaller file.
            let steps = if alpha > 200 { 255.0 } else { 127.0 };
            let [red, green, blue] = std::array::from_fn(|i| {
                let exact = value(pixel[i] / opacity) * steps + dither(i as u32);
                (exact.clamp(0.0, steps).floor() * (255.0 / steps)) as u8
            });
            image::Rgba([red, green, blue, alpha])
        })
    }
}
