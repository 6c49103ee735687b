//! The straightforward path, which the quick one must agree with at every tick: 64-bit sums, and
//! fractions of the distance carried as whole numbers.
//!
//! Everything here that happens at a tick is additions and comparisons: it runs in an interrupt on
//! a processor that has neither a division nor a 64-bit multiplication.
//!
//! The way is summed up once for all axes, in half units of the profile, and each axis only
//! compares it with the way at which its next step falls. With the whole way W = A·B·C, step `n` of
//! `d` falls at `(2n - 1) W / d` half units. These lie `2 W / d` apart, carried as a whole number and
//! a remainder.

use panestep_protocol::{AxisMask, MAX_AXES};

use crate::motion::Profile;

/// Runs one move at a time.
///
/// Each axis's position is the ideal one rounded to the nearest step at every tick, so it neither
/// leads nor lags by more than half a step.
#[derive(Clone, Debug)]
pub(super) struct Path {
    /// The axes that move, closely packed; only the first `count` mean anything.
    runs: [Run; MAX_AXES],
    count: usize,
    /// The way covered so far, in half units of the profile.
    covered: u64,
    /// The profile's speed, acceleration and greatest acceleration, in its own units.
    speed: i64,
    acceleration: i32,
    greatest: i32,
    /// The seven segments' lengths, which one is running, and what is left of it.
    segments: [u32; 7],
    segment: usize,
    left: u32,
    /// Under way of a controlled stop: the speed that goes when the slowing down is brought to
    /// nothing from now on.
    braking: Option<i64>,
}

/// One moving axis: when its next step falls.
#[derive(Clone, Copy, Debug)]
struct Run {
    /// The way at which the next step is due, in half units, rounded up.
    due: u64,
    /// From one step to the next: whole half units, and what is left over in parts of `distance`.
    apart: u64,
    left_over: u32,
    /// By how many parts of `distance` the exact way exceeds `due - 1`: 1 to `distance`.
    part: u32,
    distance: u32,
    /// The axis's bit.
    axis: u8,
}

impl Run {
    const STILL: Self = Self {
        due: u64::MAX,
        apart: 0,
        left_over: 0,
        part: 0,
        distance: 0,
        axis: 0,
    };

    /// `distance` is not 0, and at most 2^31; `whole` at most 2^62, so that the way to the step
    /// after the last one still is below 2^64.
    fn new(distance: u32, whole: u64, axis: u8) -> Self {
        let parts = u64::from(distance);
        let (each, rest) = match u32::try_from(whole) {
            // A steady profile: also a homing under way can afford that.
            Ok(whole) => (u64::from(whole / distance), whole % distance),
            // The remainder is below the distance.
            Err(_) => (whole / parts, (whole % parts) as u32),
        };
        // So is its double's.
        let (more, left_over) = if rest >= distance - rest {
            (1, rest - (distance - rest))
        } else {
            (0, rest + rest)
        };
        let (due, part) = if rest == 0 {
            (each, distance)
        } else {
            (each + 1, rest)
        };
        Self {
            due,
            apart: each + each + more,
            left_over,
            part,
            distance,
            axis,
        }
    }

    /// Looks for the next step. Kept out of the loop over the axes: most axes do not step at most
    /// ticks, and the loop without this needs no register that has to be saved.
    #[inline(never)]
    fn step(&mut self) {
        self.due += self.apart;
        self.part += self.left_over;
        if self.part > self.distance {
            self.part -= self.distance;
            self.due += 1;
        }
    }
}

/// The profile's jerk in each of the seven segments.
const JERKS: [i32; 7] = [1, 0, -1, 0, -1, 0, 1];

impl Path {
    /// Nothing moves.
    pub(super) const fn idle() -> Self {
        Self {
            runs: [Run::STILL; MAX_AXES],
            count: 0,
            covered: 0,
            speed: 0,
            acceleration: 0,
            greatest: 0,
            segments: [0; 7],
            segment: 0,
            left: 0,
            braking: None,
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
    pub(super) fn begin(&mut self, steps: &[i32; MAX_AXES], profile: Profile) -> bool {
        let too_far = |steps: &i32| steps.unsigned_abs() > profile.reach();
        if self.is_moving() || steps.iter().any(too_far) {
            return false;
        }
        let whole = profile.whole();
        *self = Self::idle();
        for (axis, &distance) in steps.iter().enumerate() {
            if distance == 0 {
                continue;
            }
            let Some(run) = self.runs.get_mut(self.count) else {
                break;
            };
            *run = Run::new(distance.unsigned_abs(), whole, 1 << axis);
            self.count += 1;
        }
        let [a, b, c] = profile.lengths();
        let constant = b.saturating_sub(a);
        let cruise = c.saturating_sub(a).saturating_sub(b);
        self.segments = [a, constant, a, cruise, a, constant, a];
        self.left = a;
        // A is the smallest factor of a product below 2^63: it has at most 21 bits.
        self.greatest = a as i32;
        true
    }

    /// One tick: the axes that step at it.
    #[inline]
    pub(super) fn tick(&mut self) -> AxisMask {
        if self.count == 0 {
            return AxisMask::NONE;
        }
        let jerk = match self.braking {
            Some(rest) => self.brake_tick(rest),
            None => self.segment_tick(),
        };
        self.acceleration += jerk;
        self.speed += i64::from(self.acceleration);
        // Never below 0, with or without a controlled stop.
        let speed = self.speed.unsigned_abs();
        let covered = self.covered + speed + speed;
        self.covered = covered;
        let mut stepping = 0;
        for run in self.runs.iter_mut().take(self.count) {
            if covered >= run.due {
                run.step();
                stepping |= run.axis;
            }
        }
        if self.speed <= 0 {
            self.count = 0;
        }
        AxisMask(stepping)
    }

    /// Begins a controlled stop: along the same line, with no more jerk and acceleration than the
    /// move itself. An acceleration under way is first brought to nothing, so the speed may still
    /// rise, but never beyond the profile's. It takes no more than [`Profile::stop_ticks`], and
    /// no axis goes beyond its target.
    pub(super) fn brake(&mut self) {
        if self.count == 0 || self.braking.is_some() {
            return;
        }
        // From a deceleration m, jerk back to nothing takes (m - 1) + ... + 1 off the speed.
        let slowing = i64::from(self.acceleration.min(0).unsigned_abs());
        self.braking = Some(slowing * (slowing - 1) / 2);
    }

    /// Stops one axis at once; the others go on as if it were not there. An axis that does not
    /// move is ignored.
    pub(super) fn drop_axis(&mut self, axis: usize) {
        let Some(bit) = 1u8.checked_shl(axis as u32).filter(|_| axis < MAX_AXES) else {
            return;
        };
        let moving = self.runs.get(..self.count).unwrap_or(&[]);
        let Some(place) = moving.iter().position(|run| run.axis == bit) else {
            return;
        };
        self.runs.swap(place, self.count - 1);
        self.count -= 1;
    }

    /// Whether a move is under way.
    #[inline]
    pub(super) const fn is_moving(&self) -> bool {
        self.count != 0
    }

    /// Whether a controlled stop is under way.
    pub(super) const fn is_braking(&self) -> bool {
        self.is_moving() && self.braking.is_some()
    }

    /// The axes that a move is under way for.
    pub(super) fn axes(&self) -> AxisMask {
        let moving = self.runs.iter().take(self.count);
        AxisMask(moving.fold(0, |axes, run| axes | run.axis))
    }

    /// Ticks until rest, where nobody interferes: 0 at rest, none during a controlled stop.
    pub(super) fn ticks_left(&self) -> Option<u32> {
        if !self.is_moving() {
            return Some(0);
        }
        if self.braking.is_some() {
            return None;
        }
        let ahead: u32 = self.segments.iter().skip(self.segment + 1).sum();
        // At the last tick of the last segment the move is at rest already.
        Some((ahead + self.left).saturating_sub(1))
    }

    /// The jerk of the profile at this tick.
    #[inline]
    fn segment_tick(&mut self) -> i32 {
        while self.left == 0 {
            self.segment += 1;
            let Some(&length) = self.segments.get(self.segment) else {
                // Not reached: the speed is 0, and the move over, within the last segment.
                self.count = 0;
                return 0;
            };
            self.left = length;
        }
        self.left -= 1;
        JERKS.get(self.segment).copied().unwrap_or(0)
    }

    /// The jerk of a controlled stop at this tick: as much slowing down as leaves enough speed to
    /// bring that slowing down to nothing again. `rest` is the speed that this would need.
    #[inline]
    fn brake_tick(&mut self, rest: i64) -> i32 {
        if self.acceleration > 0 {
            return -1;
        }
        let slowing = -i64::from(self.acceleration);
        if self.acceleration > -self.greatest && self.speed - (slowing + 1) >= rest + slowing {
            self.braking = Some(rest + slowing);
            -1
        } else if self.speed - slowing >= rest {
            0
        } else {
            self.braking = Some(rest - (slowing - 1));
            1
        }
    }
}
