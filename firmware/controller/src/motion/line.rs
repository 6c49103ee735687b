//! Speed and way along the line that all axes of a move share.

/// Numbers of 32 or 64 bits, in units of the profile times two to the power of `shift`.
///
/// The profile's bounds (see [`super::path`]) keep all of them far below where they would wrap round,
/// but for the way covered of narrow numbers, which may.
#[derive(Clone, Copy, Debug)]
#[repr(C)]
pub(super) struct Line<N> {
    /// The profile's speed, acceleration and jerk at the last tick.
    pub(super) speed: N,
    pub(super) acceleration: N,
    jerk: N,
    /// The way covered so far, in half units.
    pub(super) covered: N,
    /// The profile's greatest acceleration.
    greatest: N,
    /// Under way of a controlled stop: the speed that goes when the slowing down is brought to
    /// nothing from now on.
    rest: N,
    shift: u32,
}

macro_rules! line {
    ($number:ty, $way:ty) => {
        impl Line<$number> {
            /// Nothing moves.
            pub(super) const REST: Self = Self {
                speed: 0,
                acceleration: 0,
                jerk: 0,
                covered: 0,
                greatest: 0,
                rest: 0,
                shift: 0,
            };

            /// About to set out, with jerk 1; `greatest`: the acceleration, in units of the profile.
            const fn from(greatest: i32, shift: u32) -> Self {
                Self {
                    jerk: 1 << shift,
                    greatest: (greatest as $number) << shift,
                    shift,
                    ..Self::REST
                }
            }

            /// One tick: the way covered, in half units.
            #[inline(always)]
            pub(super) const fn advance(&mut self) -> $way {
                self.acceleration = self.acceleration.wrapping_add(self.jerk);
                // Never below 0, with or without a controlled stop.
                self.speed = self.speed.wrapping_add(self.acceleration);
                self.covered = self.covered.wrapping_add(self.speed.wrapping_mul(2));
                self.covered as $way
            }

            /// From now on, this jerk.
            pub(super) const fn bend(&mut self, jerk: i8) {
                self.jerk = (jerk as $number) << self.shift;
            }

            /// A controlled stop begins.
            pub(super) const fn brake(&mut self) {
                // From a deceleration m, jerk back to nothing takes (m - 1) + ... + 1 off the speed.
                let slowing = if self.acceleration < 0 {
                    // No more than 21 bits.
                    (-self.acceleration >> self.shift) as i64
                } else {
                    0
                };
                self.rest = ((slowing * (slowing - 1) / 2) as $number) << self.shift;
            }

            /// Sets the jerk of a controlled stop at this tick: as much slowing down as leaves enough
            /// speed to bring that slowing down to nothing again.
            pub(super) const fn brake_tick(&mut self) {
                let one = 1 << self.shift;
                let slowing = -self.acceleration;
                self.jerk = if slowing < 0 {
                    -one
                } else if slowing < self.greatest
                    && self.speed - (slowing + one) >= self.rest + slowing
                {
                    self.rest += slowing;
                    -one
                } else if self.speed - slowing >= self.rest {
                    0
                } else {
                    self.rest -= slowing - one;
                    one
                };
            }
        }
    };
}

line!(i32, u32);
line!(i64, u64);

impl Line<i32> {
    /// As [`Line::from`].
    pub(super) const fn new(greatest: i32, shift: u32) -> Self {
        Self::from(greatest, shift)
    }
}

impl Line<i64> {
    /// As [`Line::from`], in units of the profile.
    pub(super) const fn new(greatest: i32) -> Self {
        Self::from(greatest, 0)
    }
}
