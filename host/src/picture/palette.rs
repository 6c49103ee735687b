//! Few colours for a whole film, and how they take turns to make all others.

use color_quant::NeuQuant;
use image::RgbImage;
use rayon::prelude::*;

use crate::picture::grain;
use crate::picture::light::from_srgb;

/// Colours of a palette; the last of GIF's 256 places means "as in the frame before".
pub(crate) const COLOURS: usize = 255;
/// Bits of each channel by which colours share a mixture.
const BITS: u32 = 7;
/// Rounds of moving each colour to the middle of what it stands for.
const ROUNDS: usize = 8;
/// Palette colours that are tried in pairs for a mixture.
const TRIED: usize = 12;
/// How much of a pair's contrast counts against it, beside the square of its error.
const CONTRAST: f32 = 0.06;

/// Lightness and two colour axes, in which equal distances look about equally far.
type Lab = [f32; 3];

/// B. Ottosson, "A perceptual color space for image processing", 2020 (Oklab, also in CSS Color
/// Module Level 4).
fn lab([red, green, blue]: [u8; 3]) -> Lab {
    let [r, g, b] = [red, green, blue].map(|value| from_srgb(f32::from(value) / 255.0));
    let l = (0.412_221_46 * r + 0.536_332_55 * g + 0.051_445_995 * b).cbrt();
    let m = (0.211_903_5 * r + 0.680_699_5 * g + 0.107_396_96 * b).cbrt();
    let s = (0.088_302_46 * r + 0.281_718_85 * g + 0.629_978_7 * b).cbrt();
    [
        0.210_454_26 * l + 0.793_617_8 * m - 0.004_072_047 * s,
        1.977_998_5 * l - 2.428_592_2 * m + 0.450_593_7 * s,
        0.025_904_037 * l + 0.782_771_77 * m - 0.808_675_77 * s,
    ]
}

fn apart(a: &Lab, b: &Lab) -> f32 {
    let [x, y, z] = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    x * x + y * y + z * z
}

/// Two palette colours; the second where the threshold is below the share.
#[derive(Clone, Copy)]
struct Mixture {
    first: u8,
    second: u8,
    share: u8,
}

/// A palette, and a mixture for every colour of the pictures it was learnt from.
pub(crate) struct Palette {
    /// Red, green, blue as sRGB values, 256 times.
    pub(crate) values: Vec<u8>,
    /// None where the colour has not been seen yet.
    mixtures: Vec<Option<Mixture>>,
}

/// How often each cell of like colours is there in some pictures.
pub(crate) struct Colours {
    counts: Vec<u32>,
}

impl Default for Colours {
    fn default() -> Self {
        Self {
            counts: vec![0; 1 << (3 * BITS)],
        }
    }
}

impl Colours {
    /// Counts a picture's colours too.
    pub(crate) fn add(&mut self, picture: &RgbImage) {
        for pixel in picture.pixels() {
            let count = &mut self.counts[cell(pixel)];
            *count = count.saturating_add(1);
        }
    }
}

/// The cell of like colours that a colour belongs to.
fn cell(pixel: &image::Rgb<u8>) -> usize {
    pixel.0.iter().fold(0, |cell, value| {
        (cell << BITS) | usize::from(value >> (8 - BITS))
    })
}

/// The colour in the middle of a cell.
fn middle(cell: usize) -> [u8; 3] {
    std::array::from_fn(|i| {
        let part = (cell >> (BITS as usize * (2 - i))) & ((1 << BITS) - 1);
        // Stretched, so that black stays black and white white.
        ((part * 255 + 63) / 127) as u8
    })
}

impl Palette {
    /// The palette for some pictures' colours.
    pub(crate) fn learn(Colours { counts }: &Colours) -> Self {
        let cells: Vec<usize> = (0..counts.len()).filter(|cell| counts[*cell] > 0).collect();
        let labs: Vec<Lab> = cells.par_iter().map(|cell| lab(middle(*cell))).collect();
        // By the root: wide skies need most colours, but a lamp's few pixels must have theirs.
        let weights: Vec<f64> = cells
            .iter()
            .map(|cell| f64::from(counts[*cell]).sqrt())
            .collect();
        let samples: Vec<u8> = cells
            .iter()
            .flat_map(|cell| {
                let [red, green, blue] = middle(*cell);
                let times = counts[*cell].ilog2() as usize / 3 + 1;
                std::iter::repeat_n([red, green, blue, 255], times)
            })
            .flatten()
            .collect();
        let learnt = NeuQuant::new(10, COLOURS, &samples).color_map_rgb();
        let mut values: Vec<[u8; 3]> = learnt
            .chunks_exact(3)
            .map(|value| [value[0], value[1], value[2]])
            .collect();
        for _ in 0..ROUNDS {
            let colours: Vec<Lab> = values.iter().map(|value| lab(*value)).collect();
            let chosen: Vec<usize> = labs
                .par_iter()
                .map(|wanted| nearest(&colours, wanted))
                .collect();
            let mut sums = vec![[0.0_f64; 4]; values.len()];
            for ((cell, chosen), weight) in cells.iter().zip(chosen).zip(&weights) {
                let sum = &mut sums[chosen];
                for (sum, value) in sum.iter_mut().zip(middle(*cell)) {
                    *sum += weight * f64::from(value);
                }
                sum[3] += weight;
            }
            for (value, sum) in values.iter_mut().zip(sums) {
                if sum[3] > 0.0 {
                    *value = std::array::from_fn(|i| (sum[i] / sum[3] + 0.5) as u8);
                }
            }
        }
        let colours: Vec<Lab> = values.iter().map(|value| lab(*value)).collect();
        let found: Vec<Mixture> = labs
            .par_iter()
            .map(|wanted| mixture(&colours, wanted))
            .collect();
        let mut mixtures = vec![None; counts.len()];
        for (cell, found) in cells.iter().zip(found) {
            mixtures[*cell] = Some(found);
        }
        // A place for "as before"; its colour is never seen.
        values.resize(COLOURS + 1, [0; 3]);
        Self {
            values: values.into_iter().flatten().collect(),
            mixtures,
        }
    }

    /// A picture in the palette's colours. Which one a pixel gets depends on nothing but its
    /// colour and place, so that what stands still stays still.
    pub(crate) fn dither(&mut self, picture: &RgbImage) -> Vec<u8> {
        self.know(picture);
        picture
            .enumerate_pixels()
            .map(|(x, y, pixel)| {
                // Known by now.
                let Some(mixture) = self.mixtures[cell(pixel)] else {
                    return 0;
                };
                if grain::threshold(x, y) < mixture.share {
                    mixture.second
                } else {
                    mixture.first
                }
            })
            .collect()
    }
}

impl Palette {
    /// Finds mixtures for a picture's colours that were in none it was learnt from.
    fn know(&mut self, picture: &RgbImage) {
        let mut new: Vec<usize> = picture.pixels().map(cell).collect();
        new.retain(|cell| self.mixtures[*cell].is_none());
        if new.is_empty() {
            return;
        }
        new.sort_unstable();
        new.dedup();
        let colours: Vec<Lab> = self
            .values
            .chunks_exact(3)
            .take(COLOURS)
            .map(|value| lab([value[0], value[1], value[2]]))
            .collect();
        let found: Vec<Mixture> = new
            .par_iter()
            .map(|cell| mixture(&colours, &lab(middle(*cell))))
            .collect();
        for (cell, found) in new.into_iter().zip(found) {
            self.mixtures[cell] = Some(found);
        }
    }
}

fn nearest(colours: &[Lab], wanted: &Lab) -> usize {
    let mut best = (0, f32::MAX);
    for (index, colour) in colours.iter().enumerate() {
        let far = apart(colour, wanted);
        if far < best.1 {
            best = (index, far);
        }
    }
    best.0
}

/// The pair whose mean comes nearest to a colour, without much contrast between the two.
fn mixture(colours: &[Lab], wanted: &Lab) -> Mixture {
    let mut order: Vec<(f32, usize)> = colours
        .iter()
        .enumerate()
        .map(|(index, colour)| (apart(colour, wanted), index))
        .collect();
    let tried = TRIED.min(order.len());
    order.select_nth_unstable_by(tried - 1, |a, b| a.0.total_cmp(&b.0));
    order.truncate(tried);
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let alone = order[0].1 as u8;
    let mut best = (
        order[0].0,
        Mixture {
            first: alone,
            second: alone,
            share: 0,
        },
    );
    for (place, (_, a)) in order.iter().enumerate() {
        for (_, b) in &order[place + 1..] {
            let (from, to) = (&colours[*a], &colours[*b]);
            let square = apart(from, to);
            if square == 0.0 {
                continue;
            }
            let along: f32 = (0..3)
                .map(|i| (wanted[i] - from[i]) * (to[i] - from[i]))
                .sum();
            let share = (along / square).clamp(0.0, 1.0);
            let mean: Lab = std::array::from_fn(|i| from[i] + share * (to[i] - from[i]));
            let cost = apart(&mean, wanted) + CONTRAST * share * (1.0 - share) * square;
            if cost < best.0 {
                // Neighbours share the darker as their first, so that their grain joins.
                let (first, second, share) = if from[0] <= to[0] {
                    (*a, *b, share)
                } else {
                    (*b, *a, 1.0 - share)
                };
                best = (
                    cost,
                    Mixture {
                        first: first as u8,
                        second: second as u8,
                        share: (share * 255.0 + 0.5) as u8,
                    },
                );
            }
        }
    }
    best.1
}
