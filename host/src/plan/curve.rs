//! Values over the frames: monotone curves through keys, with fairings at their ends.
//!
//! Between keys a curve is a cubic Hermite piece whose slopes satisfy the monotonicity conditions
//! of Fritsch and Carlson, "Monotone piecewise cubic interpolation", SIAM J. Numer. Anal. 17
//! (1980), 238-246: it is smooth in position and speed, meets every key, and does not overshoot.
//! The slopes are the weighted harmonic means of Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5
//! (1984), 300-304; at the two ends they are three-point estimates held to the same conditions.
//!
//! A fairing is a warp of time. The curve runs in a time of its own, whose rate rises smoothly
//! from nothing to full over the fairing's frames. The keys' times are warped likewise, so every
//! key is still met at its frame, and the speed at a faired end is exactly nothing.

use crate::shot::{Key, Track};

/// A value over the frames. Before its first key and after its last the value holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    pieces: Vec<Piece>,
}

/// From rest to rest, or from an end of the track to a rest.
#[derive(Clone, Debug, PartialEq)]
struct Piece {
    warp: Warp,
    knots: Vec<Knot>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Knot {
    /// Frame at which it is met.
    frame: f64,
    /// The same in the curve's own time.
    time: f64,
    value: f64,
    /// Slope of the value over the curve's own time.
    slope: f64,
}

/// The curve's own time over the frames of a piece.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Warp {
    start: f64,
    length: f64,
    rise: f64,
    fall: f64,
}

impl Warp {
    /// Fairings that do not fit between the ends share what there is in their proportion.
    fn new(first: &Key, last: &Key) -> Self {
        let length = f64::from(last.frame) - f64::from(first.frame);
        let (rise, fall) = (f64::from(first.fairing), f64::from(last.fairing));
        let share = if rise + fall > length {
            length / (rise + fall)
        } else {
            1.0
        };
        Self {
            start: f64::from(first.frame),
            length,
            rise: rise * share,
            fall: fall * share,
        }
    }

    /// The curve's own time at a frame of the piece, and its rate there.
    fn at(&self, frame: f64) -> (f64, f64) {
        let since = frame - self.start;
        let left = self.length - since;
        if since < self.rise {
            let (area, rate) = ramp(since / self.rise);
            (self.rise * area, rate)
        } else if left < self.fall {
            let (area, rate) = ramp(left / self.fall);
            let whole = self.length - (self.rise + self.fall) / 2.0;
            (whole - self.fall * area, rate)
        } else {
            (since - self.rise / 2.0, 1.0)
        }
    }
}

/// The rate `z^2 (3 - 2 z)`, which leaves 0 and reaches 1 without a jump in acceleration, and its
/// integral from 0.
fn ramp(z: f64) -> (f64, f64) {
    let z = z.clamp(0.0, 1.0);
    (z * z * z * (1.0 - z / 2.0), z * z * (3.0 - 2.0 * z))
}

impl Curve {
    /// The curve through a track's keys; nothing but zero where there are none. Keys out of order
    /// are put in order; of several keys at one frame the last counts.
    #[must_use]
    pub fn new(track: &Track) -> Self {
        let mut keys: Vec<Key> = track.keys.clone();
        keys.sort_by_key(|key| key.frame);
        keys.reverse();
        keys.dedup_by_key(|key| key.frame);
        keys.reverse();
        let mut pieces = Vec::new();
        let mut start = 0;
        for end in 0..keys.len() {
            let last = end + 1 == keys.len();
            if last || (end > start && keys[end].fairing > 0) {
                pieces.push(Piece::new(&keys[start..=end]));
                start = end;
            }
        }
        Self { pieces }
    }

    /// The same value at every frame.
    #[must_use]
    pub fn constant(value: f64) -> Self {
        Self::new(&Track {
            keys: vec![Key {
                frame: 1,
                value,
                fairing: 0,
            }],
        })
    }

    /// The value at a frame; frames in between are allowed.
    #[must_use]
    pub fn value(&self, frame: f64) -> f64 {
        self.at(frame).0
    }

    /// How fast the value changes at a frame, a frame. At an end without a fairing: 0 outside.
    #[must_use]
    pub fn speed(&self, frame: f64) -> f64 {
        self.at(frame).1
    }

    fn at(&self, frame: f64) -> (f64, f64) {
        let (Some(first), Some(last)) = (self.pieces.first(), self.pieces.last()) else {
            return (0.0, 0.0);
        };
        let (first, last) = (first.knots[0], last.knots[last.knots.len() - 1]);
        if frame < first.frame {
            return (first.value, 0.0);
        }
        if frame > last.frame {
            return (last.value, 0.0);
        }
        let piece = self
            .pieces
            .partition_point(|piece| piece.knots[0].frame <= frame)
            .saturating_sub(1);
        self.pieces[piece].at(frame)
    }
}

impl Piece {
    /// `keys` is not empty.
    fn new(keys: &[Key]) -> Self {
        let warp = Warp::new(&keys[0], &keys[keys.len() - 1]);
        let mut knots: Vec<Knot> = keys
            .iter()
            .map(|key| Knot {
                frame: f64::from(key.frame),
                time: warp.at(f64::from(key.frame)).0,
                value: key.value,
                slope: 0.0,
            })
            .collect();
        set_slopes(&mut knots);
        Self { warp, knots }
    }

    fn at(&self, frame: f64) -> (f64, f64) {
        let (time, rate) = self.warp.at(frame);
        let next = self.knots.partition_point(|knot| knot.frame <= frame);
        let a = &self.knots[next.saturating_sub(1)];
        if a.frame == frame || next >= self.knots.len() {
            return (a.value, a.slope * rate);
        }
        let b = &self.knots[next];
        let span = b.time - a.time;
        if span <= 0.0 {
            return (a.value, 0.0);
        }
        let z = ((time - a.time) / span).clamp(0.0, 1.0);
        let y = 1.0 - z;
        let value = a.value * y * y * (1.0 + 2.0 * z)
            + b.value * z * z * (1.0 + 2.0 * y)
            + span * z * y * (a.slope * y - b.slope * z);
        let slope = 6.0 * z * y * ((b.value - a.value) / span)
            + a.slope * y * (1.0 - 3.0 * z)
            + b.slope * z * (1.0 - 3.0 * y);
        // Rounding alone could carry the value past a key.
        let value = value.max(a.value.min(b.value)).min(a.value.max(b.value));
        (value, slope * rate)
    }
}

fn set_slopes(knots: &mut [Knot]) {
    let count = knots.len();
    if count < 2 {
        return;
    }
    let span = |knots: &[Knot], i: usize| knots[i + 1].time - knots[i].time;
    let secant = |knots: &[Knot], i: usize| {
        let span = span(knots, i);
        if span > 0.0 {
            (knots[i + 1].value - knots[i].value) / span
        } else {
            0.0
        }
    };
    if count == 2 {
        let slope = secant(knots, 0);
        knots[0].slope = slope;
        knots[1].slope = slope;
        return;
    }
    for i in 1..count - 1 {
        let (before, after) = (secant(knots, i - 1), secant(knots, i));
        let (h0, h1) = (span(knots, i - 1), span(knots, i));
        knots[i].slope = if before * after > 0.0 {
            let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
            (w0 + w1) / (w0 / before + w1 / after)
        } else {
            0.0
        };
    }
    knots[0].slope = end_slope(
        span(knots, 0),
        span(knots, 1),
        secant(knots, 0),
        secant(knots, 1),
    );
    knots[count - 1].slope = end_slope(
        span(knots, count - 2),
        span(knots, count - 3),
        secant(knots, count - 2),
        secant(knots, count - 3),
    );
}

/// Slope at an end from the two spans next to it, nearest first.
fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    if h0 + h1 <= 0.0 {
        return 0.0;
    }
    let slope = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if slope * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && slope.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(keys: &[(u32, f64, u32)]) -> Curve {
        Curve::new(&Track {
            keys: keys
                .iter()
                .map(|&(frame, value, fairing)| Key {
                    frame,
                    value,
                    fairing,
                })
                .collect(),
        })
    }

    #[test]
    fn holds_outside_its_keys_and_is_zero_without_any() {
        let held = curve(&[(5, 2.0, 0), (9, 4.0, 0)]);
        assert_eq!(held.value(1.0), 2.0);
        assert_eq!(held.value(7.0), 3.0);
        assert_eq!(held.value(50.0), 4.0);
        assert_eq!(curve(&[]).value(3.0), 0.0);
        assert_eq!(curve(&[(3, 1.5, 7)]).value(9.0), 1.5);
    }

    #[test]
    fn between_two_faired_keys_the_middle_runs_at_one_speed() {
        // 40 frames, 10 + 10 of them fairing: the rest runs as if the move took 30 frames.
        let faired = curve(&[(1, 0.0, 10), (41, 30.0, 10)]);
        assert!((faired.speed(21.0) - 1.0).abs() < 1e-12);
        assert!((faired.value(11.0) - 5.0).abs() < 1e-12);
        assert_eq!(faired.speed(1.0), 0.0);
        assert_eq!(faired.speed(41.0), 0.0);
    }

    #[test]
    fn an_inner_fairing_is_a_rest() {
        let rests = curve(&[(1, 0.0, 0), (11, 10.0, 4), (21, 30.0, 0)]);
        assert_eq!(rests.speed(11.0), 0.0);
        assert_eq!(rests.value(11.0), 10.0);
        assert!(rests.speed(1.0) > 0.9 && rests.speed(21.0) > 1.9);
    }

    #[test]
    fn fairings_that_do_not_fit_share_the_frames() {
        let squeezed = curve(&[(1, 0.0, 300), (11, 1.0, 100)]);
        assert_eq!(squeezed.speed(1.0), 0.0);
        assert_eq!(squeezed.value(11.0), 1.0);
        // Full speed is reached three quarters of the way.
        assert!((squeezed.speed(8.5) - 0.2).abs() < 1e-12);
    }
}
