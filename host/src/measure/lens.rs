//! Focal length, entrance pupil and apparent distances, from how large known lengths appear.
//!
//! A length `l` that lies flat at an apparent distance `s` from the entrance pupil fills
//! `n = l v / s` of the picture, with the image distance `v` (see [`crate::optics`]). One such
//! reading tells only `v / s`. Two readings of one level at two known lifts tell both. What they
//! tell depends on the focus:
//!
//! * **Focus left alone** (the usual way, [`Focus::Fixed`]): the readings tell `v` and every `s`. They
//!   say nothing about the focal length by itself: any lens with the same image distance would
//!   give the same pictures. It follows, by `1/f = 1/s + 1/v`, only from the distance that the lens
//!   was focused on; so the focused level has to be among those read, or its height known.
//! * **Focused anew for every reading** ([`Focus::EachTime`]): then `v` changes with `s`, and the
//!   readings tell the focal length and every `s` directly.
//!
//! The readings know distances from the lens, not heights above the bed: they would be the same if
//! the camera and all levels stood higher. So the height of at least one level is taken from
//! the stand file as true, and the lens and the other levels are placed by it. A level's height
//! follows from its apparent distance through the glass above it.
//!
//! What is minimised is the sum of the squares of the readings' errors in pixels, by the
//! Levenberg-Marquardt method.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};
use serde::Serialize;

use super::Estimate;
use super::fit::{self, Fit, FitError, OUTLIER, Stray};
use crate::optics::glass_above_mm;
use crate::stand::{LevelId, Stand};

/// How much of the picture a known length fills.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldReading {
    /// Its line in the file.
    pub line: usize,
    /// The level whose painted face it lies on.
    pub level: LevelId,
    /// The level's own lift, mm.
    pub lift_mm: f64,
    /// The camera's lift, mm.
    pub camera_lift_mm: f64,
    /// The length, mm. Where the whole width of the field was read: that width.
    pub length_mm: f64,
    /// How many pixels it fills, of those that the stand file gives the picture. Where the
    /// whole width of the field was read: all columns.
    pub pixels: f64,
}

/// How the lens was focused.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Focus {
    /// Once, on a level that stood at these lifts.
    Fixed {
        /// The level.
        level: LevelId,
        /// Its lift then, mm.
        lift_mm: f64,
        /// The camera's lift then, mm.
        camera_lift_mm: f64,
    },
    /// Anew for every reading, on what was read.
    EachTime,
}

/// A level's place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct LevelResult {
    /// The level, by its place in the stand.
    pub level: usize,
    /// Apparent distance from the entrance pupil with all lifts at zero, mm.
    pub distance: Estimate,
    /// Height of the painted face above the bed, mm.
    pub height: Estimate,
    /// Whether the height was taken from the stand file as true.
    pub known: bool,
}

/// What is left of a reading beside the model.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Left {
    /// In the picture, pixels.
    pub pixels: f64,
    /// On the level, mm.
    pub mm: f64,
}

/// What the readings say.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LensResult {
    /// Focal length, mm.
    pub focal_length: Estimate,
    /// Height of the entrance pupil above the bed with the camera's lift at zero, mm.
    pub height: Estimate,
    /// Image distance, mm; none where the lens was focused anew each time.
    pub image_distance: Option<f64>,
    /// The levels that were read, in the stand's order.
    pub levels: Vec<LevelResult>,
    /// Reading less model, for each reading.
    pub left: Vec<Left>,
    /// Standard deviation of a reading, pixels; none where no reading is to spare.
    pub scatter: Option<f64>,
    /// The reading that lies farthest from the others, where chance hardly explains it; pixels.
    pub stray: Option<Stray>,
}

/// Why it cannot be solved.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LensError {
    /// Too few.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// Nothing tells image distance and distances apart.
    #[error(
        "no level was read at two different lifts, so that nothing tells how far away it is from \
         how strongly the lens magnifies; read one level at two lifts, as far apart as it goes, or \
         give the heights of two levels that were read as known"
    )]
    SameHeight,
    /// The focused distance is not known.
    #[error(
        "the lens was focused on `{level}`, which was not read: without its distance the image \
         distance does not tell the focal length; read it too, or take its height as known, or \
         focus anew for every reading"
    )]
    FocusUnread {
        /// The focused level.
        level: String,
    },
    /// The numbers lead nowhere.
    #[error(
        "no lens fits these readings: {why}; check lengths, pixels, lifts, and that the lifts are \
         those of the level named"
    )]
    NoLens {
        /// What went wrong.
        why: &'static str,
    },
}

/// What can be read at all, pixels: nothing that differs by less strays.
const FINEST: f64 = 0.1;

/// Changes of lift below this are the same height, mm.
const SAME_MM: f64 = 1e-6;

struct Problem<'a> {
    stand: &'a Stand,
    readings: &'a [FieldReading],
    focus: Focus,
    /// Levels whose heights are unknown, in the order of their unknowns after the first two.
    unknown: Vec<LevelId>,
    /// Focal length, height of the pupil, heights of the unknown levels; mm.
    at: DVector<f64>,
}

impl Problem<'_> {
    fn height(&self, level: LevelId) -> (f64, Option<usize>) {
        match self.unknown.iter().position(|it| *it == level) {
            Some(place) => (self.at[2 + place], Some(2 + place)),
            None => (self.stand.levels[level.0].height_mm, None),
        }
    }

    /// Apparent distance, mm, and the place of the unknown that lessens it.
    fn distance(&self, level: LevelId, lift_mm: f64, camera_mm: f64) -> (f64, Option<usize>) {
        let (height, place) = self.height(level);
        let glass = glass_above_mm(self.stand, level);
        (self.at[1] + camera_mm - height - lift_mm - glass, place)
    }

    /// Distance focused on, for a reading.
    fn focused(&self, reading: &FieldReading) -> (f64, Option<usize>) {
        match self.focus {
            Focus::Fixed {
                level,
                lift_mm,
                camera_lift_mm,
            } => self.distance(level, lift_mm, camera_lift_mm),
            Focus::EachTime => {
                self.distance(reading.level, reading.lift_mm, reading.camera_lift_mm)
            }
        }
    }

    /// Pixels that a reading should have, and how they change with each unknown; none where there
    /// is no picture.
    fn model(&self, reading: &FieldReading) -> Option<(f64, Vec<f64>)> {
        let picture = &self.stand.lens.picture;
        let focal = self.at[0];
        let (distance, level) =
            self.distance(reading.level, reading.lift_mm, reading.camera_lift_mm);
        let (focused, focused_level) = self.focused(reading);
        let image = 1.0 / (1.0 / focal - 1.0 / focused);
        if !(focal > 0.0 && distance > 0.0 && focused > focal && image.is_finite()) {
            return None;
        }
        let per_mm = f64::from(picture.columns) / picture.width_mm;
        let pixels = reading.length_mm * per_mm * image / distance;
        let mut slope = vec![0.0; self.at.len()];
        // n = c v / s; dv/df = v^2/f^2, dv/ds_f = -v^2/s_f^2.
        slope[0] = pixels * image / (focal * focal);
        let by_distance = -pixels / distance;
        let by_focused = -pixels * image / (focused * focused);
        slope[1] = by_distance + by_focused;
        if let Some(place) = level {
            slope[place] -= by_distance;
        }
        if let Some(place) = focused_level {
            slope[place] -= by_focused;
        }
        Some((pixels, slope))
    }

    fn slopes(&self) -> Option<Vec<Vec<f64>>> {
        let slopes = self.readings.iter().map(|it| Some(self.model(it)?.1));
        slopes.collect()
    }

    fn errors(&self) -> Option<Vec<f64>> {
        let errors = self
            .readings
            .iter()
            .map(|it| Some(self.model(it)?.0 - it.pixels));
        errors.collect()
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, at: &DVector<f64>) {
        self.at.copy_from(at);
    }

    fn params(&self) -> DVector<f64> {
        self.at.clone()
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        self.errors().map(DVector::from_vec)
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let rows = self.slopes()?;
        Some(DMatrix::from_fn(
            rows.len(),
            self.at.len(),
            |row, column| rows[row][column],
        ))
    }
}

/// Solves for the lens and the levels that were read. The heights of the levels in `known` are
/// taken as true; where none of them was read, that of the first one read is.
///
/// # Errors
///
/// Where the readings leave something open, or no lens fits them.
pub fn solve(
    stand: &Stand,
    readings: &[FieldReading],
    focus: Focus,
    known: &[LevelId],
) -> Result<LensResult, LensError> {
    let mut read: Vec<LevelId> = readings.iter().map(|it| it.level).collect();
    read.sort_unstable();
    read.dedup();
    let mut known = known.to_vec();
    if !read.iter().any(|level| known.contains(level)) {
        known.extend(readings.first().map(|it| it.level));
    }
    let two_lifts = readings.iter().any(|a| {
        let way = |it: &FieldReading| it.lift_mm - it.camera_lift_mm;
        let differs = |b: &FieldReading| b.level == a.level && (way(a) - way(b)).abs() > SAME_MM;
        readings.iter().any(differs)
    });
    let known_read = read.iter().filter(|level| known.contains(level)).count();
    if !two_lifts && known_read < 2 {
        return Err(LensError::SameHeight);
    }
    if let Focus::Fixed { level, .. } = focus
        && !read.contains(&level)
        && !known.contains(&level)
    {
        return Err(LensError::FocusUnread {
            level: stand.levels[level.0].name.clone(),
        });
    }
    let unknown: Vec<LevelId> = read
        .iter()
        .copied()
        .filter(|level| !known.contains(level))
        .collect();
    let unknowns = 2 + unknown.len();
    if readings.len() < unknowns {
        return Err(FitError::TooFew {
            readings: readings.len(),
            unknowns,
        }
        .into());
    }
    let mut at = vec![stand.lens.focal_length_mm, stand.lens.height_mm];
    at.extend(unknown.iter().map(|level| stand.levels[level.0].height_mm));
    let problem = Problem {
        stand,
        readings,
        focus,
        unknown,
        at: DVector::from_vec(at),
    };
    let (solved, report) = LevenbergMarquardt::new().minimize(problem);
    if !report.termination.was_successful() {
        return Err(LensError::NoLens {
            why: "the search did not come to an end",
        });
    }
    result(&solved, &read, &known)
}

fn result(
    solved: &Problem<'_>,
    read: &[LevelId],
    known: &[LevelId],
) -> Result<LensResult, LensError> {
    let no_lens = LensError::NoLens {
        why: "they would need the lens within its own focal length of what it sees",
    };
    let (slopes, errors) = solved
        .slopes()
        .zip(solved.errors())
        .ok_or_else(|| no_lens.clone())?;
    // About the solution the model is as good as straight: the linear fit of what is left changes
    // nothing any more, and has the uncertainties.
    let left: Vec<f64> = errors.iter().map(|error| -error).collect();
    let fit: Fit = fit::linear(&slopes, &left)?;
    let size = solved.at.len();
    let place = |weights: &[(usize, f64)], value: f64| {
        let mut all = vec![0.0; size];
        for &(place, weight) in weights {
            all[place] += weight;
        }
        Estimate {
            value,
            ..fit.combined(&all)
        }
    };
    let levels = read.iter().map(|&level| {
        let (height, unknown) = solved.height(level);
        let (distance, _) = solved.distance(level, 0.0, 0.0);
        let mut weights = vec![(1, 1.0)];
        weights.extend(unknown.map(|unknown| (unknown, -1.0)));
        LevelResult {
            level: level.0,
            distance: place(&weights, distance),
            height: match unknown {
                Some(unknown) => place(&[(unknown, 1.0)], height),
                None => Estimate::new(height, None, 0),
            },
            known: known.contains(&level),
        }
    });
    let levels: Vec<LevelResult> = levels.collect();
    if levels.iter().any(|level| level.distance.value <= 0.0) {
        return Err(no_lens);
    }
    let focused = match solved.focus {
        Focus::Fixed { .. } => solved.readings.first().map(|it| solved.focused(it).0),
        Focus::EachTime => None,
    };
    Ok(LensResult {
        focal_length: place(&[(0, 1.0)], solved.at[0]),
        height: place(&[(1, 1.0)], solved.at[1]),
        image_distance: focused
            .map(|focused| crate::optics::image_distance_mm(solved.at[0], focused)),
        levels,
        left: left
            .iter()
            .zip(solved.readings)
            .map(|(&pixels, reading)| Left {
                pixels,
                mm: pixels / reading.pixels * reading.length_mm,
            })
            .collect(),
        scatter: fit.deviation(),
        stray: fit.stray(OUTLIER, FINEST),
    })
}

#[cfg(test)]
mod tests;
