//! The quickest profile that every axis allows, in whole ticks.

use super::{Leg, PlanError};

/// A move's shape over time, the same for all axes in it. Lengths in ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Profile {
    /// Length of the first box: of each jerk segment.
    jerk: u32,
    /// Length of the second box: from rest to the end of constant acceleration.
    ramp: u32,
    /// Length of the third box: from rest to the start of slowing down.
    cruise: u32,
}

/// Greatest product of the three lengths: the way of the whole profile. A path counts it in halves,
/// and looks as much as another whole ahead, in a `u64`.
const GREATEST_WHOLE: u64 = 1 << 62;

/// Candidates for the third box's length that are tried beyond the shortest possible one.
const CANDIDATES: u64 = 64;

/// Candidates that are ruled out by one look.
const RUN: u64 = 8;

impl Profile {
    /// The move of no distance.
    pub const NONE: Self = Self {
        jerk: 0,
        ramp: 0,
        cruise: 0,
    };

    /// A profile of constant speed, without a ramp, for an axis that may start and stop at it:
    /// `distance` steps at no more than `speed` steps a second, and no slower than a tick's
    /// rounding asks for. A distance of 0 gives a profile of 0 ticks.
    ///
    /// # Errors
    ///
    /// [`PlanError::ZeroLimit`] where the speed is 0, [`PlanError::TooFast`] where it is more than
    /// `tick_rate`, [`PlanError::TooLong`] where the move has more ticks than a `u32` counts.
    pub fn steady(distance: u32, speed: u32, tick_rate: u32) -> Result<Self, PlanError> {
        if distance == 0 {
            return Ok(Self::NONE);
        }
        if speed == 0 {
            return Err(PlanError::ZeroLimit);
        }
        if speed > tick_rate {
            return Err(PlanError::TooFast);
        }
        let cruise = (u64::from(distance) * u64::from(tick_rate)).div_ceil(u64::from(speed));
        Self::from_lengths(1, 1, cruise.max(2))
    }

    /// Ticks from the one at which the move begins to rest; 0 for a move of no distance.
    #[must_use]
    pub const fn ticks(self) -> u32 {
        // The constructor keeps the sum within a `u32`; for the move of no distance it is 0.
        (self.jerk + self.ramp + self.cruise).saturating_sub(1)
    }

    /// Lengths of the three boxes in ticks, the shortest first.
    #[must_use]
    pub const fn lengths(self) -> [u32; 3] {
        [self.jerk, self.ramp, self.cruise]
    }

    /// Greatest distance, in steps, that an axis can go with this profile: one step a tick at
    /// the highest speed.
    #[must_use]
    pub const fn reach(self) -> u32 {
        self.cruise
    }

    /// Ticks that a controlled stop takes at the most, from wherever in the move it begins.
    #[must_use]
    pub const fn stop_ticks(self) -> u32 {
        // At the worst the acceleration is first brought down (A ticks), then the highest speed
        // (A + B - 1), and a tick more absorbs what the whole numbers leave over. A move that is
        // nearly over needs less, and never more than the move itself had left.
        let ticks = self.jerk as u64 * 2 + self.ramp as u64;
        if ticks > u32::MAX as u64 {
            u32::MAX
        } else {
            ticks as u32
        }
    }

    /// Steps that an axis which goes `distance` steps with this profile can still take in a
    /// controlled stop, at the most, from wherever in the move it begins.
    #[must_use]
    pub fn stop_steps(self, distance: u32) -> u32 {
        if self.cruise == 0 {
            return 0;
        }
        // A ticks at no more than the highest speed d/C, then half that speed on average for
        // A + B ticks; one step more for the rounding to whole steps.
        let twice = u64::from(self.jerk) * 3 + u64::from(self.ramp);
        let steps =
            (u128::from(distance) * u128::from(twice)).div_ceil(u128::from(self.cruise) * 2);
        u32::try_from(steps + 1).map_or(distance, |steps| steps.min(distance))
    }

    /// Product of the three lengths: the way of the whole profile, at most 2^62.
    pub(super) const fn whole(self) -> u64 {
        // The constructor keeps the product within `GREATEST_WHOLE`.
        self.jerk as u64 * self.ramp as u64 * self.cruise as u64
    }

    fn from_lengths(jerk: u64, ramp: u64, cruise: u64) -> Result<Self, PlanError> {
        debug_assert!(1 <= jerk && jerk <= ramp && jerk + ramp <= cruise);
        let whole = jerk
            .checked_mul(ramp)
            .and_then(|product| product.checked_mul(cruise));
        let ticks = u32::try_from(jerk.saturating_add(ramp).saturating_add(cruise));
        if ticks.is_err() || whole.is_none_or(|whole| whole > GREATEST_WHOLE) {
            return Err(PlanError::TooLong);
        }
        Ok(Self {
            jerk: u32::try_from(jerk).map_err(|_| PlanError::TooLong)?,
            ramp: u32::try_from(ramp).map_err(|_| PlanError::TooLong)?,
            cruise: u32::try_from(cruise).map_err(|_| PlanError::TooLong)?,
        })
    }
}

/// The quickest profile with which every leg keeps its limits, at `tick_rate` ticks a second.
///
/// Legs of no distance do not count, whatever their limits; without any other leg the profile has
/// 0 ticks. Integer arithmetic only: the same result on every machine.
///
/// # Errors
///
/// [`PlanError::ZeroLimit`] where a limit is 0, [`PlanError::TooFast`] where a speed limit is more
/// than a step a tick, [`PlanError::TooLong`] where the move cannot be counted: its ticks in a
/// `u32`, its way in profile units in a `u64` (some 50 seconds of nothing but jerk at 100 kHz; hours at a
/// constant speed).
pub fn plan(legs: &[Leg], tick_rate: u32) -> Result<Profile, PlanError> {
    let rate = u64::from(tick_rate);
    let mut least = Least::default();
    for leg in legs.iter().filter(|leg| leg.distance != 0) {
        let limits = leg.limits;
        if limits.speed == 0 || limits.acceleration == 0 || limits.jerk == 0 {
            return Err(PlanError::ZeroLimit);
        }
        if limits.speed > tick_rate {
            return Err(PlanError::TooFast);
        }
        // Each product has one factor of 32 bits more: 64, 96 and 128 bits.
        let way = u64::from(leg.distance) * rate;
        let way2 = u128::from(way) * u128::from(rate);
        let way3 = way2 * u128::from(rate);
        least.c = least.c.max(way.div_ceil(u64::from(limits.speed)));
        least.bc = least.bc.max(quotient(way2, limits.acceleration)?);
        least.abc = least.abc.max(quotient(way3, limits.jerk)?);
    }
    if least.c == 0 {
        return Ok(Profile::NONE);
    }
    let [a, b, c] = least.shortest().ok_or(PlanError::TooLong)?;
    Profile::from_lengths(a, b, c)
}

/// The whole part of a cube root, by Newton's method from above.
fn cube_root(value: u64) -> u64 {
    if value == 0 {
        return 0;
    }
    // At least the root: with `n` bits the value is below 2^n.
    let mut root = 1_u64 << (u64::BITS - value.leading_zeros()).div_ceil(3);
    loop {
        let better = (2 * root + value / (root * root)) / 3;
        if better >= root {
            return root;
        }
        root = better;
    }
}

/// `way / limit`, rounded up, where it is small enough to be counted with.
fn quotient(way: u128, limit: u32) -> Result<u64, PlanError> {
    // Most ways need no division of 128 bits, which takes far longer.
    let least = match u64::try_from(way) {
        Ok(way) => Ok(way.div_ceil(u64::from(limit))),
        Err(_) => u64::try_from(way.div_ceil(u128::from(limit))),
    };
    match least {
        Ok(least) if least <= GREATEST_WHOLE => Ok(least),
        _ => Err(PlanError::TooLong),
    }
}

/// What the lengths A, B, C and their products must reach.
#[derive(Clone, Copy, Debug, Default)]
struct Least {
    c: u64,
    bc: u64,
    abc: u64,
}

impl Least {
    /// The lengths with the least sum, or none that can be counted.
    ///
    /// For a given C the best A and B follow directly, and their sum never rises with C. In real
    /// numbers the whole sum rises with C, so that the shortest C with `A + B <= C` is best; in
    /// whole numbers a slightly longer one can let A or B round down instead of up.
    fn shortest(self) -> Option<[u64; 3]> {
        let fits = |c| {
            let [a, b] = self.shortest_ramp(c);
            a + b <= c
        };
        let most = u64::from(u32::MAX);
        // No shorter C can do: `A B C >= abc` with `A + B <= C` asks for `C^3 >= 4 abc`, and
        // `B C >= bc` with `B < C` for `C^2 > bc`. It is mostly right, or nearly so.
        let mut c = self
            .c
            .max(cube_root(self.abc.saturating_mul(4)))
            .max(self.bc.isqrt())
            .max(2);
        if c > most {
            return None;
        }
        if !fits(c) {
            // `c` does not fit: longer and longer steps lead to one that does, halves back to the
            // shortest.
            let mut step = 1;
            let mut beyond = c;
            loop {
                if beyond == most {
                    return None;
                }
                beyond = (c + step).min(most);
                if fits(beyond) {
                    break;
                }
                c = beyond;
                step *= 2;
            }
            while beyond - c > 1 {
                let middle = c + (beyond - c) / 2;
                if fits(middle) {
                    beyond = middle;
                } else {
                    c = middle;
                }
            }
            c = beyond;
        }

        let sum = |[a, b, c]: [u64; 3]| a + b + c;
        let lengths = |c| {
            let [a, b] = self.shortest_ramp(c);
            [a, b, c]
        };
        // No candidate has a lesser A + B than those after it: one look at a run's last can rule
        // out the whole run.
        let floor = |c| {
            let [a, b] = self.shortest_ramp(c);
            a + b
        };
        let last = c + CANDIDATES;
        let least = floor(last);
        let mut best = lengths(c);
        let mut next = c + 1;
        while next <= last && next + least < sum(best) {
            let end = (next + RUN - 1).min(last);
            let floor = floor(end);
            for c in next..=end {
                if c + floor >= sum(best) {
                    break;
                }
                let candidate = lengths(c);
                if sum(candidate) < sum(best) {
                    best = candidate;
                }
            }
            next = end + 1;
        }
        Some(best)
    }

    /// A and B of the least sum for a given C, with `A <= B`.
    ///
    /// `B + M/B`, the sum of two factors of M, is least at the root of M and rises from there on:
    /// the best B is the root, or the shortest that the acceleration allows where that is longer.
    fn shortest_ramp(self, c: u64) -> [u64; 2] {
        let ab = self.abc.div_ceil(c);
        let root = ab.isqrt();
        let root = if root * root < ab { root + 1 } else { root };
        let b = self.bc.div_ceil(c).max(root);
        [ab.div_ceil(b), b]
    }
}

#[cfg(test)]
mod tests {
    use super::cube_root;

    #[test]
    fn cube_roots_are_rounded_down() {
        let cubes = (0..2_642_245_u64).step_by(997).map(|root| root.pow(3));
        for value in cubes.chain([u64::MAX]) {
            for value in [value.saturating_sub(1), value, value.saturating_add(1)] {
                let root = u128::from(cube_root(value));
                let value = u128::from(value);
                assert!(root.pow(3) <= value && value < (root + 1).pow(3), "{value}");
            }
        }
    }
}
