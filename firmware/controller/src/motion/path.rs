//! One move as it runs, tick by tick.
//!
//! Everything here that happens at a tick is additions and comparisons: it runs in an interrupt on
//! a processor that has neither a division nor a 64-bit multiplication, and where every word that is
//! read or written counts.
//!
//! The way is summed up once for all axes, in half units of the profile, and each axis only
//! compares it with the way at which its next step falls. With the whole way W = A·B·C, step `n` of
//! `d` falls at `(2n - 1) W / d` half units, and these lie `2 W / d` apart.
//!
//! # Why a binary fraction is exact
//!
//! An axis adds up `2 W / d`, cut off behind `k` binary places. That is short by less than two of the
//! last places a step (the cut, and one for the odd number below), in all by less than `2d` of them:
//! `2d / 2^k`. The ways at which steps fall are multiples of `1 / d`, the way covered is whole. So where
//! `2d / 2^k` is no more than `1 / d`, no whole number lies between the way summed up and the exact
//! one, and comparing with either is the same. `k` is chosen so that `2^k >= 2 d^2`.
//!
//! # Narrow and wide
//!
//! Where everything fits, `narrow` numbers do: 32 bits before the point and 32 behind it. What is
//! before the point wraps round: two ways are compared by their difference, and the next step is never
//! 2^31 away. Where `k` must be more than 32, the profile's unit is made larger by a power of two, its
//! jerk being that power instead of 1, and nothing else changes. All other moves are `wide`: 64 bits
//! before the point and 64 behind it, which is enough for any.
//!
//! # Counting for nothing
//!
//! What an axis adds up is made odd in its last place (by cutting off one more). An odd number has an
//! inverse modulo 2^32, so the number of steps taken can be told from the last word of the sum: nothing
//! is counted at a tick.

use panestep_protocol::{AxisMask, MAX_AXES};

use super::Profile;
use super::line::Line;

/// Runs one move at a time.
///
/// Each axis's position is the ideal one rounded to the nearest step at every tick, so it neither
/// leads nor lags by more than half a step.
// What a tick needs comes first: the processor reaches the beginning of a structure more cheaply.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Path {
    /// When each axis's next step falls, in the places of the axes. (A loop over those that move alone
    /// would cost more than to ask the others too.)
    narrow: [Narrow; MAX_AXES],
    /// Whether the move last begun is still under way, and by which numbers.
    moving: bool,
    is_wide: bool,
    /// How many places its axes reach up to, and which they are, but for those that have been dropped.
    places: u8,
    axes: AxisMask,
    /// What is left of the segment that is running. 0 under way of a controlled stop.
    left: u32,
    /// Speed and way covered, where numbers are narrow.
    line: Line<i32>,
    /// Those whose distance is positive.
    positive: AxisMask,
    /// Whether the move is being stopped.
    braking: bool,
    /// Which segment is running, and the seven segments' lengths.
    segment: u8,
    segments: [u32; 7],
    /// How the axes' steps are counted.
    counts: [Count; MAX_AXES],
    /// Where numbers are wide, instead of `line` and `narrow`. The first four axes and the others.
    long_line: Line<i64>,
    wide: [[Wide; MAX_AXES / 2]; 2],
}

/// When an axis's next step falls, in 32 bits before the point and 32 behind it.
#[derive(Clone, Copy, Debug)]
struct Narrow {
    /// The way at which the next step is due, less the last place, plus 1: a whole number is beyond
    /// the way just where it is no less than this one's whole part.
    due: u64,
    /// From one step to the next.
    apart: u64,
}

/// When an axis's next step falls, likewise, in 64 bits before the point and 64 behind it.
#[derive(Clone, Copy, Debug)]
struct Wide {
    due_fine: u64,
    due: u64,
    apart_fine: u64,
    apart: u64,
}

/// How an axis's steps are counted: by the last word of its sum at the start, and by what the word's
/// change has to be multiplied with, modulo 2^32: 0 for an axis that does not move. Downward, that gives
/// a count that falls.
#[derive(Clone, Copy, Debug)]
struct Count {
    first: u32,
    factor: u32,
}

impl Count {
    const STILL: Self = Self {
        first: 0,
        factor: 0,
    };

    const fn new(first: u32, apart: u32, upward: bool) -> Self {
        let inverse = inverse(apart);
        let factor = if upward {
            inverse
        } else {
            inverse.wrapping_neg()
        };
        Self { first, factor }
    }
}

impl Narrow {
    /// An axis that does not move: it is asked all the same, and what it says is not heard.
    const STILL: Self = Self {
        due: 1 << 62,
        apart: 1 << 62,
    };

    /// `whole` is in units made larger already, and `2 whole / distance` below 2^31; `distance` is
    /// not 0.
    fn new(distance: u32, whole: u64) -> Self {
        let (each, rest) = divide(whole * 2, distance);
        let sum = (each << 32) | u64::from(fraction(rest, distance).0);
        Self {
            due: (sum / 2).wrapping_sub(1).wrapping_add(1 << 32),
            // One less where it is even.
            apart: sum - (!sum & 1),
        }
    }

    /// Whether the step is due where the way covered is this; if so, goes on to the next one.
    #[inline(always)]
    const fn step(&mut self, covered: u32) -> bool {
        // What is before the point wraps round.
        if (covered.wrapping_sub((self.due >> 32) as u32) as i32) < 0 {
            return false;
        }
        self.due = self.due.wrapping_add(self.apart);
        true
    }
}

impl Wide {
    /// An axis that does not move.
    const STILL: Self = Self {
        due_fine: 0,
        due: u64::MAX,
        apart_fine: 0,
        apart: 0,
    };

    /// `distance` is not 0, and at most 2^31; `whole` at most 2^62, so that the way to the step
    /// after the last one still is below 2^64.
    fn new(distance: u32, whole: u64) -> Self {
        let (each, rest) = divide(whole * 2, distance);
        let (high, rest) = fraction(rest, distance);
        let (low, _) = fraction(rest, distance);
        let sum = u128::from(each) << 64 | u128::from(high) << 32 | u128::from(low);
        let due = (sum / 2).wrapping_sub(1).wrapping_add(1 << 64);
        let apart = sum - (!sum & 1);
        Self {
            due_fine: due as u64,
            due: (due >> 64) as u64,
            apart_fine: apart as u64,
            apart: (apart >> 64) as u64,
        }
    }

    /// Whether the step is due where the way covered is this; if so, goes on to the next one.
    #[inline(always)]
    const fn step(&mut self, covered: u64) -> bool {
        if covered < self.due {
            return false;
        }
        let due = (self.due as u128) << 64 | self.due_fine as u128;
        let apart = (self.apart as u128) << 64 | self.apart_fine as u128;
        // Not beyond the step after the last one.
        let due = due.wrapping_add(apart);
        self.due = (due >> 64) as u64;
        self.due_fine = due as u64;
        true
    }
}

/// The first `places` axes' steps where the way covered is this.
///
/// A function of its own, and no loop: it has all of the processor's few registers for itself.
#[inline(never)]
const fn narrow_steps(runs: &mut [Narrow; MAX_AXES], covered: u32, places: u8) -> u8 {
    let [a, b, c, d, e, f, g, h] = runs;
    let mut steps = 0;
    if a.step(covered) {
        steps |= 1;
    }
    if places <= 1 {
        return steps;
    }
    if b.step(covered) {
        steps |= 1 << 1;
    }
    if c.step(covered) {
        steps |= 1 << 2;
    }
    if places <= 3 {
        return steps;
    }
    if d.step(covered) {
        steps |= 1 << 3;
    }
    if e.step(covered) {
        steps |= 1 << 4;
    }
    if f.step(covered) {
        steps |= 1 << 5;
    }
    if places <= 6 {
        return steps;
    }
    if g.step(covered) {
        steps |= 1 << 6;
    }
    if h.step(covered) {
        steps |= 1 << 7;
    }
    steps
}

/// As [`narrow_steps`], of four axes.
#[inline(never)]
const fn wide_steps(runs: &mut [Wide; MAX_AXES / 2], covered: u64) -> u8 {
    let [a, b, c, d] = runs;
    let mut steps = 0;
    if a.step(covered) {
        steps |= 1;
    }
    if b.step(covered) {
        steps |= 1 << 1;
    }
    if c.step(covered) {
        steps |= 1 << 2;
    }
    if d.step(covered) {
        steps |= 1 << 3;
    }
    steps
}

/// `way / distance`, and what is left over.
fn divide(way: u64, distance: u32) -> (u64, u32) {
    match u32::try_from(way) {
        // A steady profile: also a homing under way can afford that.
        Ok(way) => (u64::from(way / distance), way % distance),
        Err(_) => {
            let parts = u64::from(distance);
            // What is left over is below the distance.
            (way / parts, (way % parts) as u32)
        }
    }
}

/// The first 32 binary places of `part / distance`, and what is left over; `part` is below
/// `distance`, which is at most 2^31.
const fn fraction(part: u32, distance: u32) -> (u32, u32) {
    let mut part = part;
    let mut places = 0;
    let mut place = 0;
    while place < u32::BITS {
        part <<= 1;
        places <<= 1;
        if part >= distance {
            part -= distance;
            places |= 1;
        }
        place += 1;
    }
    (places, part)
}

/// The inverse of an odd number modulo 2^32.
const fn inverse(odd: u32) -> u32 {
    // Right in its last three bits, as odd² = 1 modulo 8; each turn doubles how many are right.
    let mut inverse = odd;
    let mut turn = 0;
    while turn < 4 {
        inverse = inverse.wrapping_mul(2_u32.wrapping_sub(odd.wrapping_mul(inverse)));
        turn += 1;
    }
    inverse
}

/// By how many places the profile's unit is made larger so that narrow numbers are exact for
/// distances from `least` to `most`, or none where narrow numbers do not do.
const fn narrow_shift(whole: u64, least: u32, most: u32) -> Option<u32> {
    // 2 most² <= 2^(2n + 1), with most <= 2^n.
    let places = 2 * (u32::BITS - (most - 1).leading_zeros()) + 1;
    let shift = places.saturating_sub(32);
    // So that nothing is shifted out; as least is at most 2^31, more would be too far anyway.
    let room = whole.leading_zeros() > shift + 1;
    // Between two steps of the slowest axis. The speed is no more than half of this.
    if room && whole << (shift + 1) <= least as u64 * ((1 << 31) - 2) {
        Some(shift)
    } else {
        None
    }
}

/// The profile's jerk in each of the seven segments.
const JERKS: [i8; 7] = [1, 0, -1, 0, -1, 0, 1];

impl Path {
    /// Nothing moves.
    #[must_use]
    pub const fn idle() -> Self {
        Self {
            narrow: [Narrow::STILL; MAX_AXES],
            wide: [[Wide::STILL; MAX_AXES / 2]; 2],
            counts: [Count::STILL; MAX_AXES],
            axes: AxisMask::NONE,
            places: 0,
            positive: AxisMask::NONE,
            moving: false,
            is_wide: false,
            braking: false,
            left: 0,
            line: Line::<i32>::REST,
            long_line: Line::<i64>::REST,
            segments: [0; 7],
            segment: 0,
        }
    }

    /// Begins a move: each axis by its distance in steps, with its sign; the first tick after this
    /// is the move's first.
    ///
    /// Returns whether it has begun. It has not, and nothing has changed, where a move is under way
    /// or where an axis would have to go farther than the profile [reaches](Profile::reach). A move
    /// of no distance is over at once.
    ///
    /// This divides once for each axis. Where that is too long for an interrupt, begin on a path of
    /// one's own and hand that over.
    #[must_use]
    pub fn begin(&mut self, steps: &[i32; MAX_AXES], profile: Profile) -> bool {
        self.begin_by(steps, profile, true)
    }

    /// `narrow`: where narrow numbers do, they are taken.
    fn begin_by(&mut self, steps: &[i32; MAX_AXES], profile: Profile, narrow: bool) -> bool {
        let reach = profile.reach();
        let (mut least, mut most) = (u32::MAX, 0);
        for distance in steps.iter().map(|steps| steps.unsigned_abs()) {
            if distance != 0 {
                least = least.min(distance);
                most = most.max(distance);
            }
        }
        if self.moving || most > reach {
            return false;
        }
        self.axes = AxisMask::NONE;
        self.positive = AxisMask::NONE;
        self.braking = false;
        if most == 0 {
            return true;
        }
        let whole = profile.whole();
        let shift = narrow_shift(whole, least, most).filter(|_| narrow);
        let wide = self.wide.as_flattened_mut().iter_mut();
        let places = self.narrow.iter_mut().zip(wide).zip(&mut self.counts);
        for (axis, (((narrow, wide), count), &steps)) in places.zip(steps).enumerate() {
            let distance = steps.unsigned_abs();
            if distance == 0 {
                (*narrow, *wide, *count) = (Narrow::STILL, Wide::STILL, Count::STILL);
                continue;
            }
            if let Some(shift) = shift {
                *narrow = Narrow::new(distance, whole << shift);
                *count = Count::new(narrow.due as u32, narrow.apart as u32, steps > 0);
            } else {
                *wide = Wide::new(distance, whole);
                *count = Count::new(wide.due_fine as u32, wide.apart_fine as u32, steps > 0);
            }
            self.axes.insert(axis);
            // No more than eight.
            self.places = axis as u8 + 1;
            if steps > 0 {
                self.positive.insert(axis);
            }
        }
        let [a, b, c] = profile.lengths();
        let constant = b.saturating_sub(a);
        let cruise = c.saturating_sub(a).saturating_sub(b);
        self.segments = [a, constant, a, cruise, a, constant, a];
        self.segment = 0;
        self.left = a;
        self.is_wide = shift.is_none();
        // A is the smallest factor of a product below 2^63: it has at most 21 bits.
        match shift {
            Some(shift) => self.line = Line::<i32>::new(a as i32, shift),
            None => self.long_line = Line::<i64>::new(a as i32),
        }
        self.moving = true;
        true
    }

    /// Takes over a move that has just begun on another path. Quicker than to copy it whole.
    pub(crate) fn take_over(&mut self, begun: &Self) {
        if begun.is_wide {
            self.wide = begun.wide;
            self.long_line = begun.long_line;
        } else {
            self.narrow = begun.narrow;
            self.line = begun.line;
        }
        self.counts = begun.counts;
        self.axes = begun.axes;
        self.places = begun.places;
        self.positive = begun.positive;
        self.moving = begun.moving;
        self.is_wide = begun.is_wide;
        self.braking = begun.braking;
        self.left = begun.left;
        self.segments = begun.segments;
        self.segment = begun.segment;
    }

    /// One tick: the axes that step at it.
    #[inline]
    pub fn tick(&mut self) -> AxisMask {
        if self.moving {
            self.go_on()
        } else {
            AxisMask::NONE
        }
    }

    #[inline(always)]
    fn go_on(&mut self) -> AxisMask {
        if self.left == 0 {
            self.bend();
        } else {
            self.left -= 1;
        }
        if self.is_wide {
            return self.go_on_wide();
        }
        let covered = self.line.advance();
        if self.line.speed <= 0 {
            self.moving = false;
        }
        let steps = narrow_steps(&mut self.narrow, covered, self.places);
        AxisMask(steps & self.axes.0)
    }

    #[inline(never)]
    fn go_on_wide(&mut self) -> AxisMask {
        let covered = self.long_line.advance();
        if self.long_line.speed <= 0 {
            self.moving = false;
        }
        let [first, others] = &mut self.wide;
        let mut steps = wide_steps(first, covered);
        if self.places > 4 {
            steps |= wide_steps(others, covered) << 4;
        }
        AxisMask(steps & self.axes.0)
    }

    /// At the end of a segment, and at every tick of a controlled stop: sets the jerk.
    #[inline(never)]
    fn bend(&mut self) {
        if self.braking {
            if self.is_wide {
                self.long_line.brake_tick();
            } else {
                self.line.brake_tick();
            }
            return;
        }
        let ahead = self.segments.iter().zip(JERKS).zip(0..);
        let mut ahead = ahead.skip(usize::from(self.segment) + 1);
        // The last segment has a length, and the move is over within it.
        if let Some(((&length, jerk), segment)) = ahead.find(|((length, _), _)| **length > 0) {
            self.segment = segment;
            self.left = length - 1;
            if self.is_wide {
                self.long_line.bend(jerk);
            } else {
                self.line.bend(jerk);
            }
        }
    }

    /// Begins a controlled stop: along the same line, with no more jerk and acceleration than the
    /// move itself. An acceleration under way is first brought to nothing, so the speed may still
    /// rise, but never beyond the profile's. It takes no more than [`Profile::stop_ticks`], and
    /// no axis goes beyond its target.
    pub fn brake(&mut self) {
        if !self.moving || self.braking {
            return;
        }
        self.braking = true;
        // Every tick from now on sets its own jerk.
        self.left = 0;
        if self.is_wide {
            self.long_line.brake();
        } else {
            self.line.brake();
        }
    }

    /// Stops everything at once.
    pub fn halt(&mut self) {
        self.moving = false;
    }

    /// Stops one axis at once; the others go on as if it were not there. An axis that is not in the
    /// move is ignored. The path forgets what the axis has taken.
    pub fn drop_axis(&mut self, axis: usize) {
        // Also when the move is over: what it has taken must not be counted a second time.
        self.axes.remove(axis);
        self.moving &= !self.axes.is_empty();
    }

    /// The axes that go in the positive direction, of the last move begun.
    #[must_use]
    pub const fn directions(&self) -> AxisMask {
        self.positive
    }

    /// Whether a move is under way.
    #[must_use]
    #[inline]
    pub const fn is_moving(&self) -> bool {
        self.moving
    }

    /// Whether a controlled stop is under way.
    #[must_use]
    pub const fn is_braking(&self) -> bool {
        self.moving && self.braking
    }

    /// The axes that a move is under way for.
    #[must_use]
    pub const fn axes(&self) -> AxisMask {
        if self.moving {
            self.axes
        } else {
            AxisMask::NONE
        }
    }

    /// Ticks until rest, where nobody interferes: 0 at rest, none during a controlled stop.
    #[must_use]
    pub fn ticks_left(&self) -> Option<u32> {
        if !self.moving {
            return Some(0);
        }
        if self.braking {
            return None;
        }
        let ahead: u32 = self
            .segments
            .iter()
            .skip(usize::from(self.segment) + 1)
            .sum();
        // At the last tick of the last segment the move is at rest already.
        Some((ahead + self.left).saturating_sub(1))
    }

    /// Steps that the axis has taken in the move under way, or else in the last one, with their sign,
    /// and modulo 2^32; 0 for an axis that is not in it, or has been dropped.
    #[must_use]
    pub fn taken(&self, axis: usize) -> i32 {
        if !self.axes.contains(axis) {
            return 0;
        }
        let Count { first, factor } = self.counts.get(axis).copied().unwrap_or(Count::STILL);
        self.last(axis).wrapping_sub(first).wrapping_mul(factor) as i32
    }

    /// The last word of an axis's sum.
    #[inline(always)]
    fn last(&self, axis: usize) -> u32 {
        if self.is_wide {
            let run = self.wide.as_flattened().get(axis);
            run.map_or(0, |run| run.due_fine as u32)
        } else {
            self.narrow.get(axis).map_or(0, |run| run.due as u32)
        }
    }
}

impl Default for Path {
    fn default() -> Self {
        Self::idle()
    }
}

#[cfg(test)]
mod model;

#[cfg(test)]
mod tests;
