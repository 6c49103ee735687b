//! Free height between two levels' glass, of a stand as it is: for moves that no plan has checked.

use super::check::body;
use crate::stand::{LevelId, Stand};

/// Two levels that would come too near each other.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "{upper} and {lower} would come within {gap_mm:.3} mm of each other, and the stand's clearance is {clearance_mm:.3} mm"
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Quay's glass lies from 794 to 800 mm, sky's from 294 to 300; 494 mm are free.
    fn stand() -> Stand {
        let text = include_str!("../../tests/data/hand.stand.toml");
        let mut stand = crate::file::read_stand_text("stand.toml", text).expect("sound");
        stand.clearance_mm = 10.0;
        stand
    }

    #[test]
    fn a_lift_stops_short_of_its_neighbours() {
        let stand = stand();
        let (quay, sky) = (LevelId(0), LevelId(1));
        let at = |quay: f64, sky: f64| [Some(quay), Some(sky)];
        let up = |to: f64| clear(&stand, sky, (0.0, to, to), &at(0.0, 0.0));
        assert_eq!(up(484.0), Ok(()));
        let touch = up(484.1).expect_err("too near");
        assert_eq!(
            (touch.upper.as_str(), touch.lower.as_str()),
            ("quay", "sky")
        );
        assert!((touch.gap_mm - 9.9).abs() < 1e-9, "{touch}");
        // Down onto it, and by the dip that takes the slack up.
        assert_eq!(
            clear(&stand, quay, (0.0, -484.0, -484.0), &at(0.0, 0.0)),
            Ok(())
        );
        assert!(clear(&stand, quay, (0.0, -484.0, -484.1), &at(0.0, 0.0)).is_err());
        // The other one is nearer already.
        assert!(clear(&stand, quay, (0.0, -100.0, -100.0), &at(0.0, 400.0)).is_err());
        // Out of a gap that is too small the way is free, farther in it is not.
        assert_eq!(
            clear(&stand, sky, (490.0, 488.0, 488.0), &at(0.0, 490.0)),
            Ok(())
        );
        assert!(clear(&stand, sky, (490.0, 490.5, 490.5), &at(0.0, 490.0)).is_err());
        // Of one whose place is unknown nothing can be told.
        assert_eq!(
            clear(&stand, sky, (0.0, 900.0, 900.0), &[None, Some(0.0)]),
            Ok(())
        );
    }
}
