//! Moves that strobe: steps from picture to picture that the eye no longer joins.
//!
//! Two rules of the trade are asked, each with its own limit ([`Strobing`]):
//!
//! * A camera's pan is safe where anything takes at least seven seconds to cross the picture
//!   (red.com/red-101/camera-panning-speed; for 24 pictures a second and a shutter of 180 degrees).
//!   That is a speed: held pictures count with the frames that they are shown for.
//! * A pan of drawings strobes beyond 0.1 inch a frame of a 12-inch field, and is safe again, as a
//!   smear, from 0.25 inch on (joshuanava.biz/drawn-animation; probably T. White, The Animator's
//!   Workbook, 1986, from memory). That is a jump from one picture to the next: a picture's width in
//!   120, and in 48 jumps. A picture that is held for two frames jumps twice as far.
//!
//! Where the picture grows or turns as well, its edge moves faster than its middle: what counts is
//! the fastest point of a level in the picture (joshuanava.biz, as above).

use std::ops::RangeInclusive;
use std::time::Duration;

use serde::Serialize;

use crate::plan::imaging::Imaging;
use crate::shot::{Shot, Strobing};
use crate::stand::Stand;

/// Which rule a move breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// It crosses the picture in less time than it may.
    Crossing,
    /// It jumps so far from picture to picture that it strobes.
    Jumps,
    /// It jumps so much farther that it is a smear: on a drawing, that hides the jump, where it is
    /// painted as one; a pane that stands still while it is exposed is sharp at every stop.
    Smear,
}

/// Frames in which a level's move breaks a rule.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fast {
    /// The level's name.
    pub level: String,
    /// The rule.
    pub rule: Rule,
    /// Stretches of frames at which the level arrives too fast.
    pub frames: Vec<RangeInclusive<u32>>,
    /// The frame at which it arrives fastest among `frames`.
    pub worst_frame: u32,
    /// How far the fastest point goes there, pixels: a frame for [`Rule::Crossing`], from picture to
    /// picture for the others.
    pub pixels: f64,
    /// How far it may go, pixels.
    pub limit_pixels: f64,
}

/// The limits in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// A frame, by the rule of the crossing time.
    pub crossing_px: f64,
    /// From picture to picture: beyond it a move strobes.
    pub strobes_px: f64,
    /// From picture to picture: from here on it is a smear.
    pub smears_px: f64,
}

impl Limits {
    /// For a picture so many pixels wide, at so many frames a second.
    #[must_use]
    pub fn new(rules: &Strobing, columns: u32, rate: f64) -> Self {
        let width = f64::from(columns);
        Self {
            crossing_px: width / (rules.crossing.as_secs_f64() * rate),
            strobes_px: width / rules.strobes_below,
            smears_px: width / rules.smears_below,
        }
    }

    /// Time in which a move of so many pixels a frame crosses the picture; none where it stands
    /// still.
    #[must_use]
    pub fn crossing_time(&self, rules: &Strobing, pixels: f64) -> Option<Duration> {
        Duration::try_from_secs_f64(rules.crossing.as_secs_f64() * self.crossing_px / pixels).ok()
    }
}

/// How far the fastest point of the picture goes from one imaging of a level to the next, pixels:
/// of all that is in the picture before or after.
#[must_use]
pub fn edge_travel_px(before: &Imaging, after: &Imaging) -> f64 {
    // The way that a point goes is linear in its place, so it is longest at a corner.
    let way = |from: &Imaging, to: &Imaging| {
        from.corners()
            .into_iter()
            .zip(from.filling())
            .map(|(corner, point)| {
                let then = to.pixel(point);
                (then.0 - corner.0).hypot(then.1 - corner.1)
            })
            .fold(0.0, f64::max)
    };
    way(before, after).max(way(after, before))
}

/// Gathers the moves of all levels, picture by picture.
#[derive(Clone, Debug)]
pub(crate) struct Speeds {
    limits: Limits,
    levels: Vec<LevelSpeed>,
}

#[derive(Clone, Debug)]
struct LevelSpeed {
    before: Option<(Imaging, u32, bool)>,
    greatest: Travel,
    crossing: Fast,
    jumps: Fast,
    smear: Fast,
}

/// The fastest arrival of a level.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Travel {
    /// How far the fastest point goes from one picture to the next, pixels.
    pub pixels: f64,
    /// The frame at which it arrives there.
    pub frame: u32,
}

impl Speeds {
    pub(crate) fn new(stand: &Stand, shot: &Shot) -> Self {
        let limits = Limits::new(&shot.strobing, stand.lens.picture.columns, shot.rate);
        let fast = |level: &str, rule, limit_pixels| Fast {
            level: level.to_owned(),
            rule,
            frames: Vec::new(),
            worst_frame: 1,
            pixels: 0.0,
            limit_pixels,
        };
        let levels = stand.levels.iter().map(|level| LevelSpeed {
            before: None,
            greatest: Travel::default(),
            crossing: fast(&level.name, Rule::Crossing, limits.crossing_px),
            jumps: fast(&level.name, Rule::Jumps, limits.strobes_px),
            smear: fast(&level.name, Rule::Smear, limits.smears_px),
        });
        Self {
            limits,
            levels: levels.collect(),
        }
    }

    /// Takes a level's part of a picture in that is held for `held` frames from `frame`. `shown`:
    /// whether anything lies on it.
    pub(crate) fn look(
        &mut self,
        frame: u32,
        held: u32,
        level: usize,
        imaging: &Imaging,
        shown: bool,
    ) {
        let limits = self.limits;
        let level = &mut self.levels[level];
        // What appears or goes has not moved for the eye.
        let before = level.before.replace((*imaging, held, shown));
        let (Some((before, held_before, true)), true) = (before, shown) else {
            return;
        };
        let pixels = edge_travel_px(&before, imaging);
        if pixels > level.greatest.pixels {
            level.greatest = Travel { pixels, frame };
        }
        let span = frame..=frame + held.max(1) - 1;
        let a_frame = pixels / f64::from(held_before.max(1));
        if a_frame > limits.crossing_px * (1.0 + ROUNDING) {
            level.crossing.add(span.clone(), a_frame);
        }
        if pixels >= limits.smears_px {
            level.smear.add(span, pixels);
        } else if pixels > limits.strobes_px * (1.0 + ROUNDING) {
            level.jumps.add(span, pixels);
        }
    }

    /// The fastest arrival of every level, and what breaks a rule.
    pub(crate) fn finish(self) -> (Vec<Travel>, Vec<Fast>) {
        let greatest = self.levels.iter().map(|level| level.greatest).collect();
        let fast = self
            .levels
            .into_iter()
            .flat_map(|level| [level.smear, level.jumps, level.crossing])
            .filter(|fast| !fast.frames.is_empty())
            .collect();
        (greatest, fast)
    }
}

/// A move planned to be just as fast as it may be is not too fast by rounding.
const ROUNDING: f64 = 1e-9;

impl Fast {
    fn add(&mut self, span: RangeInclusive<u32>, pixels: f64) {
        if pixels > self.pixels {
            self.pixels = pixels;
            self.worst_frame = *span.start();
        }
        join(&mut self.frames, span);
    }
}

/// Adds a stretch of frames to others, all before it.
pub(crate) fn join(frames: &mut Vec<RangeInclusive<u32>>, span: RangeInclusive<u32>) {
    match frames.last_mut() {
        Some(last) if last.end() + 1 >= *span.start() => *last = *last.start()..=*span.end(),
        _ => frames.push(span),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// red.com/red-101/camera-panning-speed: seven seconds for a picture's width, at 24 frames a second 168 frames (the
    /// division is ours): 0.5952 % of the width a frame, 0.0714 in of a 12-inch field.
    /// joshuanava.biz/drawn-animation: 0.1 in and 0.25 in a frame, on 12 inches.
    #[test]
    fn limits_are_the_published_ones() {
        let limits = Limits::new(&Strobing::default(), 12_000, 24.0);
        assert!((limits.crossing_px - 71.43).abs() < 0.005, "{limits:?}");
        assert!((limits.crossing_px / 12_000.0 - 0.005_952).abs() < 1e-6);
        assert!((limits.strobes_px - 100.0).abs() < 1e-9);
        assert!((limits.smears_px - 250.0).abs() < 1e-9);
    }

    #[test]
    fn stretches_that_touch_become_one() {
        let mut frames = Vec::new();
        for span in [2..=3, 4..=4, 7..=8, 9..=9] {
            join(&mut frames, span);
        }
        assert_eq!(frames, [2..=4, 7..=9]);
    }
}
