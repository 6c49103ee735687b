//! What a sound plan will look like: a look at every picture of it, before anything moves.
//!
//! [`Plan::new`](crate::plan::Plan::new) refuses what cannot be; what can be, but should be known
//! before hours are spent on it, is gathered in here.

use serde::Serialize;

use crate::plan::Plan;
use crate::plan::coverage::{Coverage, LevelCoverage, Painted};
use crate::plan::imaging::Imaging;
use crate::plan::sharpness::{LevelSharpness, Sharpness};
use crate::plan::strobing::{Fast, Speeds, Travel};
use crate::shot::Shot;
use crate::stand::{LevelId, Stand};

/// What a plan will look like. Lists of levels are in the stand's order.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Survey {
    /// How paintings and panes fill the picture.
    pub coverage: Vec<LevelCoverage>,
    /// The fastest arrival of every level on which anything lies, of its fastest point.
    pub edge_travel: Vec<Travel>,
    /// Moves that break a rule of what the eye joins.
    pub fast: Vec<Fast>,
    /// How sharp every level is.
    pub sharpness: Vec<LevelSharpness>,
}

/// Looks at every picture of a plan. `art` is what is known of every layer's painting; where
/// nothing is, no edge of it toward north or south can be seen.
/// `progress` hears how many frames have been looked at.
#[must_use]
pub fn survey(
    stand: &Stand,
    shot: &Shot,
    plan: &Plan,
    art: &[Option<Painted>],
    mut progress: impl FnMut(u32) -> bool,
) -> Option<Survey> {
    let geometry = plan.geometry();
    let mut coverage = Coverage::new(stand, shot, art);
    let mut speeds = Speeds::new(stand, shot);
    let mut sharpness = Sharpness::new(stand);
    let mut pose = geometry.blank();
    let mut shows = vec![false; stand.levels.len()];
    let mut frame = 1;
    while frame <= shot.frames {
        let held = shot.hold.min(shot.frames - frame + 1);
        geometry.pose_into(frame, &mut pose);
        for (place, shows) in shows.iter_mut().enumerate() {
            let level = LevelId(place);
            let shown = (frame..frame + held).any(|frame| shot.art_at(level, frame).is_some());
            *shows = shown;
            if let Some(imaging) = Imaging::new(stand, &pose.stand, pose.image_mm, level) {
                coverage.look(frame, place, &imaging, shown);
                speeds.look(frame, held, place, &imaging, shown);
            }
        }
        sharpness.look(frame, held, &pose, &shows);
        frame += held;
        if !progress(frame - 1) {
            return None;
        }
    }
    let (edge_travel, fast) = speeds.finish();
    Some(Survey {
        coverage: coverage.finish(),
        edge_travel,
        fast,
        sharpness: sharpness.finish(),
    })
}
