//! Free height between two levels' glass, of a stand as it is: for moves that no plan has checked.

use super::check::body;
use crate::stand::{LevelId, Stand};

/// Two levels that would come too near each other.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "{upper} and {lower} would come within {gap_mm:.3} mm of each other, and the stand's clearance is {clearance_mm:.3} mm; nothing was moved"
)]
pub struct Touch {
    /// The upper level.
    pub upper: String,
    /// The lower level.
    pub lower: String,
    /// Free height that would be left, mm; below zero where they would be in each other.
    pub gap_mm: f64,
    /// Least free height by the stand, mm.
    pub clearance_mm: f64,
}

/// Sees whether a level can go from one lift to another, and on the way as far down as `least_mm`,
/// while every other one stays. `lifts` has the lift of each level in mm, `None` where nobody knows
/// it: of those, nothing can be told. A move that makes too small a gap no smaller is let pass.
///
/// # Errors
/// The neighbour that it would come too near to.
pub fn clear(
    stand: &Stand,
    level: LevelId,
    (from_mm, to_mm, least_mm): (f64, f64, f64),
    lifts: &[Option<f64>],
) -> Result<(), Touch> {
    let LevelId(place) = level;
    let lift_of = |place: usize| lifts.get(place).copied().flatten();
    let check = |upper: usize, lower: usize, before: (f64, f64), after: (f64, f64)| {
        let (Some(above), Some(below)) = (stand.levels.get(upper), stand.levels.get(lower)) else {
            return Ok(());
        };
        let free = above.height_mm + body(&above.pane).0 - below.height_mm - body(&below.pane).1;
        let gap = |(upper_lift, lower_lift): (f64, f64)| free + upper_lift - lower_lift;
        let (before, after) = (gap(before), gap(after));
        // Rounding of the sums must not refuse a stand built to the clearance itself.
        if after >= stand.clearance_mm - 1e-9 || after >= before {
            return Ok(());
        }
        Err(Touch {
            upper: above.name.clone(),
            lower: below.name.clone(),
            gap_mm: after,
            clearance_mm: stand.clearance_mm,
        })
    };
    if let Some(upper) = place.checked_sub(1)
        && let Some(lift) = lift_of(upper)
    {
        let greatest = from_mm.max(to_mm);
        check(upper, place, (lift, from_mm), (lift, greatest))?;
    }
    if let Some(lift) = lift_of(place + 1) {
        let least = from_mm.min(to_mm).min(least_mm);
        check(place, place + 1, (from_mm, lift), (least, lift))?;
    }
    Ok(())
}
