//! What is out of focus: every point a disc.
//!
//! Each level is blurred by itself, as weighted light, and then laid over what is below: what an edge
//! out of focus lets through is seen through it. Near an edge a lens also sees round what is before
//! it, which is left out.

/// Diameters between which the small kernel gives way to the disc, pixels.
const SMALL: (f64, f64) = (1.5, 3.0);

/// Diameter below which nothing is blurred, pixels: a neighbour's share would be under 1/100000.
const NONE: f64 = 0.018;

/// Diameter above which a coarser picture is blurred, pixels: what is so soft has nothing finer, and
/// what a disc reaches beyond a few rows has to be held and reckoned for each few rows.
const LARGE: f64 = 64.0;

/// A disc, and the picture that it is laid on.
#[derive(Clone, Debug)]
pub(super) struct Blur {
    pub(super) disc: Disc,
    /// Pixels of the picture, across and down, to one of what is blurred. Between four of these the
    /// picture's are then found.
    pub(super) step: usize,
}

impl Blur {
    /// For a disc of a diameter in the picture's pixels; none where it is too small to matter.
    pub(super) fn new(diameter: f64) -> Option<Self> {
        let mut step = 1;
        while diameter / step as f64 > LARGE && step < 1 << 16 {
            step *= 2;
        }
        Some(Self {
            disc: Disc::new(diameter / step as f64)?,
            step,
        })
    }

    /// How far what is blurred has to be known beyond the picture on every side, in its own pixels.
    pub(super) fn margin(&self) -> usize {
        self.disc.reach + usize::from(self.step > 1)
    }
}

/// A kernel of weights that sum up to 1: an even disc, cut into strips along the rows.
///
/// Its second moment is the disc's, `d²/16` along either axis, whatever the diameter `d`: a disc
/// smaller than a few pixels has no shape that pixels could show, but it does make things softer.
/// Whole rows of pixels do not lie as whole columns do: by the moment, a disc of a few pixels is up to
/// 6 % wider than high or higher than wide, a large one is round.
#[derive(Clone, Debug)]
pub(super) struct Disc {
    /// Rows and columns that it reaches beyond its middle, with one more where all weights are 0.
    pub(super) reach: usize,
    /// Strips of the middle row, the next one, and so on: those above are those below.
    strips: Vec<Strip>,
    /// Shares of the middle, its four neighbours and the four at the corners, beside the strips.
    small: Option<[f32; 3]>,
}

/// `whole` times what lies within `half` columns of the middle, `edge` times the next on both
/// sides.
#[derive(Clone, Copy, Debug)]
struct Strip {
    half: usize,
    whole: f32,
    edge: f32,
}

/// A level's light on some rows of the picture and round them, as integers, so that sums along a
/// row are exact however long it is.
pub(super) struct Rows {
    pub(super) width: usize,
    pub(super) pixels: Vec<[u16; 4]>,
    sums: Vec<[u32; 4]>,
}

impl Disc {
    /// A disc of a diameter in pixels; none where it is too small to matter.
    pub(super) fn new(diameter: f64) -> Option<Self> {
        if !diameter.is_finite() || diameter < NONE {
            return None;
        }
        let part = ((diameter - SMALL.0) / (SMALL.1 - SMALL.0)).clamp(0.0, 1.0);
        let share = part * part * (3.0 - 2.0 * part);
        let chords = if share > 0.0 {
            chords(radius_of(diameter))
        } else {
            Vec::new()
        };
        let area: f64 = rows(&chords).map(|(_, chord)| chord.area()).sum();
        let strips: Vec<Strip> = chords
            .iter()
            .map(|&Chord { half, covered }| {
                let weight = share / area * covered;
                let beyond = half - 0.5;
                if beyond < 0.0 {
                    let whole = (2.0 * half * weight) as f32;
                    return Strip {
                        half: 0,
                        whole,
                        edge: 0.0,
                    };
                }
                Strip {
                    half: beyond.floor() as usize,
                    whole: weight as f32,
                    edge: (beyond.fract() * weight) as f32,
                }
            })
            .collect();
        let small = (share < 1.0).then(|| {
            let side = diameter * diameter / 32.0;
            let middle = 1.0 - 2.0 * side;
            [middle * middle, middle * side, side * side]
                .map(|weight| (weight * (1.0 - share)) as f32)
        });
        let across = strips.iter().map(|strip| strip.half + 2).max();
        Some(Self {
            reach: across.unwrap_or(0).max(strips.len()).max(1),
            strips,
            small,
        })
    }

    /// A row of the picture, blurred, from rows around it: `row` is its place among them, and
    /// column `reach` is its first.
    pub(super) fn row(&self, from: &Rows, row: usize, out: &mut [[f32; 4]]) {
        out.fill([0.0; 4]);
        for (away, strip) in self.strips.iter().enumerate() {
            strip.add(from, row + away, self.reach, out);
            if away > 0 {
                strip.add(from, row - away, self.reach, out);
            }
        }
        let Some([middle, side, corner]) = self.small else {
            return;
        };
        for (row, beside, straight) in [
            (row - 1, corner, side),
            (row, side, middle),
            (row + 1, corner, side),
        ] {
            let pixels = &from.pixels[row * from.width + self.reach - 1..][..out.len() + 2];
            for (out, three) in out.iter_mut().zip(pixels.windows(3)) {
                for (i, out) in out.iter_mut().enumerate() {
                    *out += f32::from(three[1][i]) * straight
                        + (f32::from(three[0][i]) + f32::from(three[2][i])) * beside;
                }
            }
        }
    }
}

impl Strip {
    fn add(&self, from: &Rows, row: usize, first: usize, out: &mut [[f32; 4]]) {
        let pixels = &from.pixels[row * from.width..][..from.width];
        let sums = &from.sums[row * (from.width + 1)..][..from.width + 1];
        let count = out.len();
        let left = &sums[first - self.half..][..count];
        let right = &sums[first + self.half + 1..][..count];
        let before = &pixels[first - self.half - 1..][..count];
        let after = &pixels[first + self.half + 1..][..count];
        for x in 0..count {
            for i in 0..4 {
                let sum = right[x][i].wrapping_sub(left[x][i]) as f32;
                let edges = f32::from(before[x][i]) + f32::from(after[x][i]);
                out[x][i] += sum * self.whole + edges * self.edge;
            }
        }
    }
}

impl Rows {
    /// Clear rows of a width.
    pub(super) fn clear(width: usize, rows: usize) -> Self {
        Self {
            width,
            pixels: vec![[0; 4]; width * rows],
            sums: Vec::new(),
        }
    }

    /// Once the pixels are there: adds them up along each row.
    pub(super) fn add_up(&mut self) {
        self.sums.clear();
        self.sums
            .reserve(self.pixels.len() + self.pixels.len() / self.width.max(1));
        for row in self.pixels.chunks_exact(self.width) {
            let mut sum = [0_u32; 4];
            self.sums.push(sum);
            for pixel in row {
                for (sum, value) in sum.iter_mut().zip(pixel) {
                    // Around zero: only differences count.
                    *sum = sum.wrapping_add(u32::from(*value));
                }
                self.sums.push(sum);
            }
        }
    }
}

/// What a disc covers of a row.
#[derive(Clone, Copy)]
struct Chord {
    /// Half its width there: the mean over the part of the row's height that it covers.
    half: f64,
    /// That part.
    covered: f64,
}

impl Chord {
    fn area(&self) -> f64 {
        2.0 * self.half * self.covered
    }
}

/// What a disc covers of each row from the middle one on.
fn chords(radius: f64) -> Vec<Chord> {
    // Area between the middle and a height, of the half to one side.
    let area = |height: f64| {
        let height = height.clamp(-radius, radius);
        let across = (radius * radius - height * height).max(0.0).sqrt();
        0.5 * (height * across + radius * radius * (height / radius).clamp(-1.0, 1.0).asin())
    };
    (0..)
        .map(f64::from)
        .take_while(|row| row - 0.5 < radius)
        .map(|row| {
            let covered = radius.min(row + 0.5) - (row - 0.5).max(-radius);
            Chord {
                half: (area(row + 0.5) - area(row - 0.5)) / covered,
                covered,
            }
        })
        .collect()
}

/// All rows, with their distance from the middle.
fn rows(chords: &[Chord]) -> impl Iterator<Item = (f64, Chord)> {
    let down = chords.iter().enumerate();
    let up = chords.iter().enumerate().skip(1);
    down.chain(up).map(|(row, chord)| (row as f64, *chord))
}

/// Second moment of the strips, the mean of both axes.
fn moment(chords: &[Chord]) -> f64 {
    let (mut mass, mut sum) = (0.0, 0.0);
    for (away, chord) in rows(chords) {
        // Columns are whole pixels, of which the outer two may be covered in part.
        let whole = (chord.half - 0.5).max(0.0).floor();
        let edge = (chord.half - 0.5 - whole).max(0.0);
        let across =
            whole * (whole + 1.0) * (2.0 * whole + 1.0) / 3.0 + 2.0 * edge * (whole + 1.0).powi(2);
        mass += chord.area();
        sum += across * chord.covered + chord.area() * away * away;
    }
    sum / mass / 2.0
}

/// Radius of the strips whose second moment is that of a disc of a diameter: a little less than the
/// half, since pixels are wide themselves.
fn radius_of(diameter: f64) -> f64 {
    let wanted = diameter * diameter / 16.0;
    let (mut least, mut most) = (diameter / 8.0, diameter / 2.0 + 1.0);
    for _ in 0..40 {
        let middle = (least + most) / 2.0;
        if moment(&chords(middle)) < wanted {
            least = middle;
        } else {
            most = middle;
        }
    }
    (least + most) / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The picture of a point.
    fn point(diameter: f64) -> (usize, Vec<f64>) {
        let disc = Disc::new(diameter).expect("it is blurred");
        let reach = disc.reach;
        let side = 2 * reach + 1;
        let mut rows = Rows::clear(side + 2 * reach, side + 2 * reach);
        rows.pixels[(2 * reach) * rows.width + 2 * reach] = [u16::MAX; 4];
        rows.add_up();
        let mut picture = Vec::new();
        let mut out = vec![[0.0; 4]; side];
        for row in 0..side {
            disc.row(&rows, row + reach, &mut out);
            picture.extend(out.iter().map(|light| f64::from(light[0]) / 65535.0));
        }
        (side, picture)
    }

    /// An even disc's light is 1 in all, and its second moment `d²/16` along each axis
    /// (a moment of area, any handbook).
    #[test]
    fn a_point_becomes_a_disc_of_that_size() {
        for diameter in [
            0.05, 0.3, 0.9, 1.4, 1.8, 2.25, 2.5, 3.0, 3.7, 5.0, 6.2, 11.0, 30.5,
        ] {
            let (side, picture) = point(diameter);
            let middle = (side / 2) as f64;
            let (mut sum, mut across, mut down) = (0.0, 0.0, 0.0);
            for (at, light) in picture.iter().enumerate() {
                let (x, y) = ((at % side) as f64 - middle, (at / side) as f64 - middle);
                sum += light;
                across += light * x * x;
                down += light * y * y;
            }
            assert!((sum - 1.0).abs() < 1e-5, "{diameter} {sum}");
            let found = |moment: f64| 4.0 * (moment / sum).sqrt();
            let mean = found((across + down) / 2.0);
            assert!((mean - diameter).abs() < 0.002, "{diameter} {mean}");
            let (across, down) = (found(across), found(down));
            let unlike = (across - down).abs();
            assert!(unlike < 0.06 * diameter, "{diameter} {across} {down}");
            // Even within, nothing beyond.
            if diameter > 4.0 {
                let even = 4.0 / (std::f64::consts::PI * diameter * diameter);
                let centre = picture[side * side / 2];
                assert!(
                    (centre / even - 1.0).abs() < 0.16,
                    "{diameter} {centre} {even}"
                );
                assert!(picture[0].abs() < 1e-9);
            }
        }
    }

    /// From one diameter to a slightly greater one no weight jumps, from none at all on.
    #[test]
    fn the_disc_grows_smoothly() {
        assert!(Disc::new(0.0).is_none() && Disc::new(f64::NAN).is_none());
        let at = |diameter: f64, x: isize, y: isize| {
            let (side, picture) = point(diameter);
            let middle = (side / 2) as isize;
            let (x, y) = (middle + x, middle + y);
            let inside = (0..side as isize).contains(&x) && (0..side as isize).contains(&y);
            if inside {
                picture[y as usize * side + x as usize]
            } else {
                0.0
            }
        };
        for (x, y) in [(0, 0), (1, 0), (0, 1), (1, 1), (2, 0), (0, 3), (2, 2)] {
            let mut before = if (x, y) == (0, 0) { 1.0 } else { 0.0 };
            for step in 2..=800 {
                let now = at(f64::from(step) * 0.01, x, y);
                assert!(
                    (now - before).abs() < 0.012,
                    "{step} {x} {y}: {before} {now}"
                );
                before = now;
            }
        }
    }
}
