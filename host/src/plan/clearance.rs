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

/// A level's lift that is to go somewhere, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiftMove {
    /// The level.
    pub level: LevelId,
    /// Where it is.
    pub from_mm: f64,
    /// Where it is to be.
    pub to_mm: f64,
    /// How far down it comes on the way, where it takes slack up from below its target.
    pub least_mm: f64,
}

/// An order in which lifts can go one after another, none of them coming too near another: places
/// in `moves`. `lifts` has the lift of each level in mm, `None` where nobody knows it.
///
/// # Errors
/// Where there is no such order: two that would come too near each other.
pub fn order(
    stand: &Stand,
    moves: &[LiftMove],
    lifts: &[Option<f64>],
) -> Result<Vec<usize>, Touch> {
    let mut lifts = lifts.to_vec();
    let mut left: Vec<usize> = (0..moves.len()).collect();
    let mut ordered = Vec::new();
    while !left.is_empty() {
        let mut touch = None;
        let next = left.iter().position(|&place| {
            clear(stand, &moves[place], &lifts)
                .map_err(|found| touch.get_or_insert(found).clone())
                .is_ok()
        });
        match (next, touch) {
            (Some(next), _) => {
                let place = left.remove(next);
                if let Some(lift) = lifts.get_mut(moves[place].level.0) {
                    *lift = Some(moves[place].to_mm);
                }
                ordered.push(place);
            }
            (None, Some(touch)) => return Err(touch),
            // Not reached: whatever cannot go has said why.
            (None, None) => break,
        }
    }
    Ok(ordered)
}

/// Sees whether a level can go somewhere while every other one stays. `lifts` has the lift of each
/// level in mm, `None` where nobody knows it: of those, nothing can be told. A move that makes too
/// small a gap no smaller is let pass.
///
/// # Errors
/// The neighbour that it would come too near to.
pub fn clear(stand: &Stand, lift: &LiftMove, lifts: &[Option<f64>]) -> Result<(), Touch> {
    let LiftMove {
        level,
        from_mm,
        to_mm,
        least_mm,
    } = *lift;
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

    fn lift(level: usize, (from_mm, to_mm, least_mm): (f64, f64, f64)) -> LiftMove {
        LiftMove {
            level: LevelId(level),
            from_mm,
            to_mm,
            least_mm,
        }
    }

    #[test]
    fn a_lift_stops_short_of_its_neighbours() {
        let stand = stand();
        let (quay, sky) = (0, 1);
        let clear_of = |level, way, lifts: &[Option<f64>]| clear(&stand, &lift(level, way), lifts);
        let at = |quay: f64, sky: f64| [Some(quay), Some(sky)];
        let up = |to: f64| clear_of(sky, (0.0, to, to), &at(0.0, 0.0));
        assert_eq!(up(484.0), Ok(()));
        let touch = up(484.1).expect_err("too near");
        assert_eq!(
            (touch.upper.as_str(), touch.lower.as_str()),
            ("quay", "sky")
        );
        assert!((touch.gap_mm - 9.9).abs() < 1e-9, "{touch}");
        // Down onto it, and by the dip that takes the slack up.
        assert_eq!(clear_of(quay, (0.0, -484.0, -484.0), &at(0.0, 0.0)), Ok(()));
        assert!(clear_of(quay, (0.0, -484.0, -484.1), &at(0.0, 0.0)).is_err());
        // The other one is nearer already.
        assert!(clear_of(quay, (0.0, -100.0, -100.0), &at(0.0, 400.0)).is_err());
        // Out of a gap that is too small the way is free, farther in it is not.
        assert_eq!(
            clear_of(sky, (490.0, 488.0, 488.0), &at(0.0, 490.0)),
            Ok(())
        );
        assert!(clear_of(sky, (490.0, 490.5, 490.5), &at(0.0, 490.0)).is_err());
        // Of one whose place is unknown nothing can be told.
        assert_eq!(
            clear_of(sky, (0.0, 900.0, 900.0), &[None, Some(0.0)]),
            Ok(())
        );
    }

    #[test]
    fn lifts_go_in_an_order_in_which_none_is_in_the_way() {
        let stand = stand();
        let at = |quay: f64, sky: f64| [Some(quay), Some(sky)];
        // Both up: the upper one first, whichever is named first.
        let (quay, sky) = (lift(0, (0.0, 200.0, 200.0)), lift(1, (400.0, 600.0, 600.0)));
        assert_eq!(order(&stand, &[sky, quay], &at(0.0, 400.0)), Ok(vec![1, 0]));
        assert_eq!(order(&stand, &[quay, sky], &at(0.0, 400.0)), Ok(vec![0, 1]));
        // Both down: the lower one first.
        let (quay, sky) = (lift(0, (200.0, 0.0, 0.0)), lift(1, (600.0, 400.0, 400.0)));
        assert_eq!(
            order(&stand, &[quay, sky], &at(200.0, 600.0)),
            Ok(vec![1, 0])
        );
        // Where they would be in each other at the end, there is none.
        let (quay, sky) = (lift(0, (0.0, -200.0, -200.0)), lift(1, (0.0, 300.0, 300.0)));
        let touch = order(&stand, &[quay, sky], &at(0.0, 0.0)).expect_err("no room");
        assert!(touch.gap_mm < 0.0, "{touch}");
        assert_eq!(order(&stand, &[], &at(0.0, 0.0)), Ok(vec![]));
    }
}
