//! A pattern of thresholds without any visible figure: like fine grain.

use std::sync::LazyLock;

/// Width and height of the pattern, pixels.
const SIDE: usize = 64;
const PLACES: usize = SIDE * SIDE;
/// Reach of a point's influence, pixels, and how it falls off.
const REACH: isize = 8;
const SIGMA: f32 = 1.5;

/// The threshold at a place, 0 to 255, each equally often in every neighbourhood.
pub(crate) fn threshold(x: u32, y: u32) -> u8 {
    PATTERN[y as usize % SIDE * SIDE + x as usize % SIDE]
}

static PATTERN: LazyLock<Vec<u8>> = LazyLock::new(|| {
    ranks()
        .into_iter()
        .map(|rank| (rank * 256 / PLACES) as u8)
        .collect()
});

/// How near the points are to each place; opposite edges meet.
struct Crowd {
    there: Vec<bool>,
    near: Vec<f32>,
    influence: Vec<f32>,
}

impl Crowd {
    fn put(&mut self, place: usize, there: bool) {
        self.there[place] = there;
        let sign = if there { 1.0 } else { -1.0 };
        let (x, y) = ((place % SIDE) as isize, (place / SIDE) as isize);
        let side = SIDE as isize;
        let mut influence = self.influence.iter();
        for down in -REACH..=REACH {
            let row = (y + down).rem_euclid(side) * side;
            for (right, influence) in (-REACH..=REACH).zip(&mut influence) {
                self.near[(row + (x + right).rem_euclid(side)) as usize] += sign * influence;
            }
        }
    }

    /// The point with the most, or the empty place with the fewest, points near it.
    fn extreme(&self, there: bool) -> usize {
        let sign = if there { -1.0 } else { 1.0 };
        (0..PLACES)
            .filter(|place| self.there[*place] == there)
            .min_by(|a, b| (sign * self.near[*a]).total_cmp(&(sign * self.near[*b])))
            .unwrap_or(0)
    }
}

/// The places in an order that spreads the first so many as evenly as can be, for any number: R.
/// A. Ulichney, "The void-and-cluster method for dither array generation", Proc. SPIE 1913, 1993.
fn ranks() -> Vec<usize> {
    let reach = -REACH..=REACH;
    let fall = |d: isize| (d * d) as f32 / (-2.0 * SIGMA * SIGMA);
    let influence = reach
        .clone()
        .flat_map(|y| reach.clone().map(move |x| (fall(x) + fall(y)).exp()))
        .collect();
    let mut crowd = Crowd {
        there: vec![false; PLACES],
        near: vec![0.0; PLACES],
        influence,
    };
    // A tenth of the places, anywhere (a linear congruential run of numbers), then moved from the
    // densest to the emptiest place until that changes nothing.
    let mut seed = 1_u32;
    let mut points = 0;
    while points < PLACES / 10 {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let place = (seed >> 8) as usize % PLACES;
        if !crowd.there[place] {
            crowd.put(place, true);
            points += 1;
        }
    }
    for _ in 0..PLACES {
        let dense = crowd.extreme(true);
        crowd.put(dense, false);
        let empty = crowd.extreme(false);
        crowd.put(empty, true);
        if empty == dense {
            break;
        }
    }
    // These points are the first in the order, the densest last; then the emptiest places follow.
    let mut ranks = vec![0; PLACES];
    let start = crowd.there.clone();
    for rank in (0..points).rev() {
        let place = crowd.extreme(true);
        crowd.put(place, false);
        ranks[place] = rank;
    }
    for place in (0..PLACES).filter(|place| start[*place]) {
        crowd.put(place, true);
    }
    for rank in points..PLACES {
        let place = crowd.extreme(false);
        crowd.put(place, true);
        ranks[place] = rank;
    }
    ranks
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every rank once; and no figure: in every 8 x 8 square about as many thresholds lie below
    /// each level as the level says: the variance is under a quarter of what chance alone gives.
    #[test]
    fn the_pattern_is_even_everywhere() {
        let mut sorted = ranks();
        sorted.sort_unstable();
        assert!(sorted.into_iter().eq(0..PLACES));
        for level in [32_u8, 64, 128, 192] {
            let mut squares = 0.0;
            for corner in 0..64_u32 {
                let (left, top) = (corner % 8 * 8, corner / 8 * 8);
                let below = (0..64)
                    .filter(|at| threshold(left + at % 8, top + at / 8) < level)
                    .count() as f64;
                squares += (below - f64::from(level) / 4.0).powi(2);
            }
            let share = f64::from(level) / 256.0;
            let chance = 64.0 * share * (1.0 - share);
            assert!(squares / 64.0 < chance / 4.0, "{level} {}", squares / 64.0);
        }
    }
}
