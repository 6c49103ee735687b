//! Planes sampled along the rows of a picture, and laid over one another.

use std::ops::Range;

use wide::{f32x4, i32x4, i32x8, u16x8};

use crate::picture::art::{Cover, Plane};

/// Columns of a row that are decided on together: what is hidden or clear there is not computed.
pub(super) const BLOCK: usize = 32;

/// From the picture's pixels to a plane's, with half-pixel centres: `u = u[0] x + u[1] y + u[2]`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Map {
    pub(super) u: [f64; 3],
    pub(super) v: [f64; 3],
}

/// One pass over the picture: a plane, the map to it, and how much of the light it gets.
pub(super) struct Sheet<'a> {
    pub(super) plane: &'a Plane,
    pub(super) map: Map,
}

/// One level as the picture shows it: a plane, and the next smaller one with its share.
pub(super) struct Seen<'a> {
    /// How much of its light reaches the lens.
    pub(super) gain: f32,
    pub(super) fine: Sheet<'a>,
    pub(super) coarse: Option<(Sheet<'a>, f32)>,
}

/// A row of the picture on a plane, counted from the border: `u = u[0] x + u[1]`.
struct Line<'a> {
    plane: &'a Plane,
    u: [f64; 2],
    v: [f64; 2],
    /// Columns whose samples touch the plane.
    columns: Range<usize>,
}

/// One level in a row of the picture.
pub(super) struct Row<'a> {
    gain: f32,
    fine: Line<'a>,
    coarse: Option<(Line<'a>, f32)>,
    /// What it covers of the block that is being worked on.
    cover: Cover,
}

/// Light of a block's columns.
pub(super) type Block = [[f32; 4]; BLOCK];

impl Map {
    /// The same of a picture that has so many more columns on the left and rows on top.
    pub(super) fn with_margin(&self, margin: usize) -> Self {
        let margin = margin as f64;
        let moved = |[x, y, start]: [f64; 3]| [x, y, start - margin * (x + y)];
        Self {
            u: moved(self.u),
            v: moved(self.v),
        }
    }

    /// The same of a picture of which each pixel is so many wide and high.
    pub(super) fn coarser(&self, step: usize) -> Self {
        let step = step as f64;
        let wider =
            |[x, y, start]: [f64; 3]| [x * step, y * step, start + (x + y) * (step - 1.0) / 2.0];
        Self {
            u: wider(self.u),
            v: wider(self.v),
        }
    }

    /// The same to a plane reduced so many times by two.
    pub(super) fn reduced(&self, times: usize) -> Self {
        let part = 0.5_f64.powi(times as i32);
        let reduce = |[x, y, start]: [f64; 3]| [x * part, y * part, (start + 0.5) * part - 0.5];
        Self {
            u: reduce(self.u),
            v: reduce(self.v),
        }
    }
}

impl Sheet<'_> {
    /// Columns of a row whose samples touch the plane.
    fn columns(&self, row: usize, columns: usize) -> std::ops::Range<usize> {
        let (mut first, mut last) = (0.0, columns as f64 - 1.0);
        let along = [
            (self.map.u, self.plane.width),
            (self.map.v, self.plane.height),
        ];
        for ([step, down, start], size) in along {
            let at = start + down * row as f64;
            // -1 < at + step x < size, with room for rounding on the inner side.
            let (least, most) = (-1.0 + 1e-3, size as f64 - 1e-3);
            if step.abs() < 1e-12 {
                if !(least..=most).contains(&at) {
                    return 0..0;
                }
                continue;
            }
            let (a, b) = ((least - at) / step, (most - at) / step);
            first = f64::max(first, a.min(b));
            last = f64::min(last, a.max(b));
        }
        if first > last {
            return 0..0;
        }
        first.ceil() as usize..last.floor() as usize + 1
    }

    /// A row of the picture.
    fn line(&self, row: usize, columns: usize) -> Line<'_> {
        let along = |[step, down, start]: [f64; 3]| [step, down * row as f64 + start + 1.0];
        Line {
            plane: self.plane,
            u: along(self.map.u),
            v: along(self.map.v),
            columns: self.columns(row, columns),
        }
    }
}

impl Seen<'_> {
    /// A row of the picture.
    pub(super) fn row(&self, row: usize, columns: usize) -> Row<'_> {
        Row {
            gain: self.gain,
            fine: self.fine.line(row, columns),
            coarse: self
                .coarse
                .as_ref()
                .map(|(sheet, share)| (sheet.line(row, columns), *share)),
            cover: Cover::Part,
        }
    }
}

impl Line<'_> {
    fn cover(&self, columns: &Range<usize>) -> Cover {
        let span = |[step, start]: [f64; 2]| {
            let (a, b) = (
                start + step * columns.start as f64,
                start + step * (columns.end - 1) as f64,
            );
            // With room for rounding.
            [a.min(b) - 1e-3, a.max(b) + 1e-3]
        };
        self.plane.cover(span(self.u), span(self.v))
    }

    /// The light at some columns, between four pixels each. Where there is none, `shade` is not
    /// called.
    #[inline(always)]
    fn samples(&self, columns: &Range<usize>, mut shade: impl FnMut(usize, f32x4)) {
        let first = columns.start.max(self.columns.start);
        let last = columns.end.min(self.columns.end);
        if first >= last {
            return;
        }
        let (across, down) = (Places::new(self.u, first), Places::new(self.v, first));
        let stride = self.plane.stride;
        let start = (down.first as usize)
            .wrapping_mul(stride)
            .wrapping_add(across.first as usize);
        let two = |at: usize| self.plane.pixels.get(at..)?.first_chunk::<2>();
        let wholes = across.whole.iter().zip(&down.whole);
        let parts = across.part.iter().zip(&down.part);
        let from = first - columns.start;
        for (x, ((u, v), (right, below))) in (from..from + (last - first)).zip(wholes.zip(parts)) {
            // Negative steps wrap round.
            let at = (*v as isize as usize)
                .wrapping_mul(stride)
                .wrapping_add(*u as isize as usize)
                .wrapping_add(start);
            let (Some(upper), Some(lower)) = (two(at), two(at.wrapping_add(stride))) else {
                continue;
            };
            let (right, below) = (f32x4::splat(*right), f32x4::splat(*below));
            let ([a, b], [c, d]) = (light(upper), light(lower));
            let (left, next) = (a + (c - a) * below, b + (d - b) * below);
            shade(x, left + (next - left) * right);
        }
    }
}

/// Where a block's samples lie along one axis of the plane.
struct Places {
    /// The pixel at or before the first sample.
    first: i64,
    /// How many pixels farther each sample's is.
    whole: [i32; BLOCK],
    /// How far the sample lies behind that pixel, 0 to 1.
    part: [f32; BLOCK],
}

impl Places {
    /// From column `first` on. With 22 bits behind the point, which leaves room for 512 pixels: only a
    /// plane of one pixel is ever taken at more than two pixels a column.
    #[inline(always)]
    fn new([step, start]: [f64; 2], first: usize) -> Self {
        const ONE: f64 = 4_194_304.0;
        let at = start + step * first as f64;
        let (pixel, step) = (at.floor(), (step * ONE) as i32);
        let begin = ((at - pixel) * ONE) as i32;
        let mut places = Self {
            first: pixel as i64,
            whole: [0; BLOCK],
            part: [0.0; BLOCK],
        };
        let mut at = i32x4::from([0, 1, 2, 3].map(|x| begin.wrapping_add(step.wrapping_mul(x))));
        let four = i32x4::splat(step.wrapping_mul(4));
        let lots = places.whole.as_chunks_mut().0.iter_mut();
        for (whole, part) in lots.zip(places.part.as_chunks_mut().0) {
            *whole = (at >> 22_i32).to_array();
            let rest = f32x4::from_i32x4(at & i32x4::splat(0x3f_ffff));
            *part = (rest * f32x4::splat(1.0 / ONE as f32)).to_array();
            at += four;
        }
        places
    }
}

/// Two pixels side by side to reckon with, all four values of each at once.
#[inline(always)]
fn light(pixels: &[[u16; 4]; 2]) -> [f32x4; 2] {
    let [[a, b, c, d], [e, f, g, h]] = *pixels;
    let all = i32x8::from_u16x8(u16x8::from([a, b, c, d, e, f, g, h])).to_array();
    let [first, second] = [
        [all[0], all[1], all[2], all[3]],
        [all[4], all[5], all[6], all[7]],
    ];
    [first, second].map(|pixel| f32x4::from_i32x4(i32x4::from(pixel)))
}

impl Row<'_> {
    /// What the level covers of some columns.
    pub(super) fn look(&self, columns: &Range<usize>) -> Cover {
        let fine = self.fine.cover(columns);
        match &self.coarse {
            Some((coarse, _)) if coarse.cover(columns) != fine => Cover::Part,
            _ => fine,
        }
    }

    /// Lays some columns of the level over what lies behind them.
    pub(super) fn lay_over(&self, columns: &Range<usize>, light: &mut Block) {
        let gains = gains(self.gain);
        match &self.coarse {
            None => self
                .fine
                .samples(columns, |x, sample| over(&mut light[x], sample, gains)),
            Some(_) => {
                let mut own: Block = [[0.0; 4]; BLOCK];
                self.sample(columns, &mut own);
                for (light, sample) in light.iter_mut().zip(own) {
                    over(light, f32x4::from(sample), gains);
                }
            }
        }
    }

    /// The level's own light at some columns; where there is none, nothing is written.
    pub(super) fn sample(&self, columns: &Range<usize>, light: &mut Block) {
        match &self.coarse {
            None => self
                .fine
                .samples(columns, |x, sample| light[x] = sample.to_array()),
            Some((coarse, share)) => {
                self.fine.samples(columns, |x, sample| {
                    light[x] = (sample * f32x4::splat(1.0 - share)).to_array();
                });
                coarse.samples(columns, |x, sample| {
                    let sum = f32x4::from(light[x]) + sample * f32x4::splat(*share);
                    light[x] = sum.to_array();
                });
            }
        }
    }
}

/// Some columns of a row, levels from the farthest to the nearest: from the nearest one that hides
/// all behind it on.
pub(super) fn lay_all(levels: &mut [Row<'_>], columns: &Range<usize>, light: &mut Block) {
    let mut first = 0;
    for (index, level) in levels.iter_mut().enumerate().rev() {
        level.cover = level.look(columns);
        if level.cover == Cover::Full {
            first = index;
            break;
        }
    }
    for level in &levels[first..] {
        if level.cover != Cover::Clear {
            level.lay_over(columns, light);
        }
    }
}

/// What a sample is multiplied by before it is laid over others: its light by `gain`, its opacity
/// by nothing.
pub(super) fn gains(gain: f32) -> f32x4 {
    f32x4::from([gain, gain, gain, 1.0])
}

/// Weighted light over light (T. Porter, T. Duff, Computer Graphics 18(3), 1984), as much of it as
/// [`gains`] says.
#[inline]
pub(super) fn over(behind: &mut [f32; 4], sample: f32x4, gains: f32x4) {
    let through = 1.0 - sample.to_array()[3] * (1.0 / 65535.0);
    let light = sample * gains + f32x4::from(*behind) * f32x4::splat(through);
    *behind = light.to_array();
}
