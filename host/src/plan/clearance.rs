//! Free height between two levels' glass, and below the lens, of a stand as it is: for moves that no
//! plan has checked.

use super::check::body;
use crate::stand::{AxisId, Carrier, LevelId, Stand, Way};

/// Two bodies that would come too near each other.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "{upper} and {lower} would come within {gap_mm:.3} mm of each other, and {}",
    least(*clearance_mm)
)]
pub struct Touch {
    /// The upper level, or the lens.
    pub upper: String,
    /// The lower level.
    pub lower: String,
    /// Free height that would be left, mm; below zero where they would be in each other.
    pub gap_mm: f64,
    /// Least free height by the stand, mm; none is wanted below the lens but that there be some.
    pub clearance_mm: f64,
}

fn least(clearance_mm: f64) -> String {
    if clearance_mm > 0.0 {
        format!("the stand's clearance is {clearance_mm:.3} mm")
    } else {
        "they may not touch".to_owned()
    }
}

/// The lift of the camera and of every level, where it is known.
#[derive(Clone, Debug, PartialEq)]
pub struct Lifts {
    /// The camera's and then the levels', from the top, mm; none where nobody knows it.
    known: Vec<Option<f64>>,
    /// Least and greatest that each may have, mm.
    travel: Vec<(f64, f64)>,
}

impl Lifts {
    /// Of a stand of which nothing is known: what has no lift is where it is built.
    #[must_use]
    pub fn of(stand: &Stand) -> Self {
        let levels = (0..stand.levels.len()).map(|level| Carrier::Level(LevelId(level)));
        let lifts = std::iter::once(Carrier::Camera).chain(levels).map(|of| {
            let axis = stand.axis(of, Way::Lift);
            axis.map(|AxisId(axis)| stand.axes[axis].travel)
        });
        let (known, travel) = lifts
            .map(|travel| match travel {
                None => (Some(0.0), (0.0, 0.0)),
                Some(travel) => (None, travel),
            })
            .unzip();
        Self { known, travel }
    }

    /// One lift is known, mm. Of a level that there is not, nothing is kept.
    pub fn know(&mut self, of: Carrier, lift_mm: f64) {
        if let Some(known) = self.known.get_mut(place(of)) {
            *known = Some(lift_mm);
        }
    }

    /// Least and greatest lift of a body where it is known.
    fn certain(&self, place: usize) -> Option<(f64, f64)> {
        let known = self.known.get(place).copied().flatten();
        known.map(|lift| (lift, lift))
    }

    /// Least and greatest lift of a body: its whole travel where it is not known.
    fn possible(&self, place: usize) -> Option<(f64, f64)> {
        self.certain(place)
            .or_else(|| self.travel.get(place).copied())
    }
}

/// The lens comes first, and then the levels from the top.
fn place(of: Carrier) -> usize {
    match of {
        Carrier::Camera => 0,
        Carrier::Level(LevelId(level)) => level + 1,
    }
}

/// A lift that is to go somewhere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiftMove {
    /// What it lifts.
    pub of: Carrier,
    /// Where it is, mm.
    pub from_mm: f64,
    /// Where it is to be, mm.
    pub to_mm: f64,
    /// How far down it comes on the way, where it takes slack up from below its target, mm.
    pub least_mm: f64,
}

/// An order in which lifts can go one after another, none of them coming too near another that is
/// known: places in `moves`.
///
/// # Errors
/// Where there is no such order: two that would come too near each other.
pub fn order(stand: &Stand, moves: &[LiftMove], lifts: &Lifts) -> Result<Vec<usize>, Touch> {
    let mut lifts = lifts.clone();
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
                lifts.know(moves[place].of, moves[place].to_mm);
                ordered.push(place);
            }
            (None, Some(touch)) => return Err(touch),
            // Not reached: whatever cannot go has said why.
            (None, None) => break,
        }
    }
    Ok(ordered)
}

/// Sees whether the camera or a level can go somewhere while everything else stays. Of a neighbour
/// whose lift is not known, nothing is told here: see [`doubt`]. A move that makes too small a gap
/// no smaller is let pass.
///
/// # Errors
/// The neighbour that it would come too near to.
pub fn clear(stand: &Stand, lift: &LiftMove, lifts: &Lifts) -> Result<(), Touch> {
    check(stand, lift, |place| lifts.certain(place))
}

/// The neighbour that a move might come too near to: one whose lift is not known may be anywhere on
/// its travel.
#[must_use]
pub fn doubt(stand: &Stand, lift: &LiftMove, lifts: &Lifts) -> Option<Touch> {
    check(stand, lift, |place| lifts.possible(place)).err()
}

fn check(
    stand: &Stand,
    lift: &LiftMove,
    lift_of: impl Fn(usize) -> Option<(f64, f64)>,
) -> Result<(), Touch> {
    let LiftMove {
        of,
        from_mm,
        to_mm,
        least_mm,
    } = *lift;
    let this = place(of);
    let pair = |upper: usize, before: (f64, f64), after: (f64, f64)| {
        let (Some(before), Some(after)) =
            (gap_mm(stand, upper, before), gap_mm(stand, upper, after))
        else {
            return Ok(());
        };
        match touch(stand, upper, after) {
            Some(touch) if after < before => Err(touch),
            _ => Ok(()),
        }
    };
    if let Some(upper) = this.checked_sub(1)
        && let Some((lift, _)) = lift_of(upper)
    {
        let greatest = from_mm.max(to_mm);
        pair(upper, (lift, from_mm), (lift, greatest))?;
    }
    if let Some((_, lift)) = lift_of(this + 1) {
        let least = from_mm.min(to_mm).min(least_mm);
        pair(this, (from_mm, lift), (least, lift))?;
    }
    Ok(())
}

/// Free height between a body, counted as in [`Lifts`], and the one below it at their lifts, mm. `None`
/// where there are no such two.
fn gap_mm(stand: &Stand, upper: usize, (upper_lift, lower_lift): (f64, f64)) -> Option<f64> {
    let below = stand.levels.get(upper)?;
    let (_, bottom_mm) = underside(stand, upper)?;
    let free = bottom_mm - below.height_mm - body(&below.pane).1;
    Some(free + upper_lift - lower_lift)
}

/// The two, where that leaves too little room between them.
fn touch(stand: &Stand, upper: usize, gap_mm: f64) -> Option<Touch> {
    // A level has no clearance to keep from the lens, but may not get there. Rounding of the
    // sums must not refuse a stand built to the clearance itself.
    let (room, clearance_mm) = match upper {
        0 => (gap_mm > 0.0, 0.0),
        _ => (gap_mm >= stand.clearance_mm - 1e-9, stand.clearance_mm),
    };
    let (above, _) = underside(stand, upper).filter(|_| !room)?;
    Some(Touch {
        upper: above.to_owned(),
        lower: stand.levels.get(upper)?.name.clone(),
        gap_mm,
        clearance_mm,
    })
}

/// All that are too near each other with every lift at its zero.
#[must_use]
pub fn at_rest(stand: &Stand) -> Vec<Touch> {
    (0..stand.levels.len())
        .filter_map(|upper| touch(stand, upper, gap_mm(stand, upper, (0.0, 0.0))?))
        .collect()
}

/// All that could come too near each other within their travels, with the lifts at which they are
/// nearest: the upper one's least and the lower one's greatest, mm.
#[must_use]
pub fn within_travel(stand: &Stand) -> Vec<(Touch, f64, f64)> {
    let lifts = Lifts::of(stand);
    (0..stand.levels.len())
        .filter_map(|upper| {
            let (least, _) = lifts.travel.get(upper)?;
            let (_, greatest) = lifts.travel.get(upper + 1)?;
            let gap_mm = gap_mm(stand, upper, (*least, *greatest))?;
            Some((touch(stand, upper, gap_mm)?, *least, *greatest))
        })
        .collect()
}

/// The lens's or a level's name, and how high its underside is without its lift, mm.
fn underside(stand: &Stand, place: usize) -> Option<(&str, f64)> {
    match place.checked_sub(1) {
        None => Some(("the lens", stand.lens.height_mm)),
        Some(level) => stand
            .levels
            .get(level)
            .map(|level| (level.name.as_str(), level.height_mm + body(&level.pane).0)),
    }
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
            of: Carrier::Level(LevelId(level)),
            from_mm,
            to_mm,
            least_mm,
        }
    }

    /// A stand whose levels and camera all have lifts, where these are known.
    fn at(camera: Option<f64>, quay: Option<f64>, sky: Option<f64>) -> Lifts {
        Lifts {
            known: vec![camera, quay, sky],
            travel: vec![(-100.0, 100.0); 3],
        }
    }

    fn known(quay: f64, sky: f64) -> Lifts {
        at(Some(0.0), Some(quay), Some(sky))
    }

    #[test]
    fn a_lift_stops_short_of_its_neighbours() {
        let stand = stand();
        let (quay, sky) = (0, 1);
        let clear_of = |level, way, lifts: &Lifts| clear(&stand, &lift(level, way), lifts);
        let up = |to: f64| clear_of(sky, (0.0, to, to), &known(0.0, 0.0));
        assert_eq!(up(484.0), Ok(()));
        let touch = up(484.1).expect_err("too near");
        assert_eq!(
            (touch.upper.as_str(), touch.lower.as_str()),
            ("quay", "sky")
        );
        assert!((touch.gap_mm - 9.9).abs() < 1e-9, "{touch}");
        // Down onto it, and by the dip that takes the slack up.
        assert_eq!(
            clear_of(quay, (0.0, -484.0, -484.0), &known(0.0, 0.0)),
            Ok(())
        );
        assert!(clear_of(quay, (0.0, -484.0, -484.1), &known(0.0, 0.0)).is_err());
        // The other one is nearer already.
        assert!(clear_of(quay, (0.0, -100.0, -100.0), &known(0.0, 400.0)).is_err());
        // Out of a gap that is too small the way is free, farther in it is not.
        assert_eq!(
            clear_of(sky, (490.0, 488.0, 488.0), &known(0.0, 490.0)),
            Ok(())
        );
        assert!(clear_of(sky, (490.0, 490.5, 490.5), &known(0.0, 490.0)).is_err());
        // Of one whose place is unknown nothing can be told.
        let unknown = at(Some(0.0), None, Some(0.0));
        assert_eq!(clear_of(sky, (0.0, 900.0, 900.0), &unknown), Ok(()));
    }

    /// The lens hangs at 1600 mm, 800 mm above quay's face.
    #[test]
    fn nothing_goes_into_the_lens_nor_the_lens_into_anything() {
        let stand = stand();
        let up = |to: f64, lifts: &Lifts| clear(&stand, &lift(0, (0.0, to, to)), lifts);
        assert_eq!(up(799.9, &known(0.0, 0.0)), Ok(()));
        let touch = up(800.0, &known(0.0, 0.0)).expect_err("glass against the lens");
        assert_eq!(touch.upper, "the lens");
        assert!(touch.to_string().contains("may not touch"), "{touch}");
        assert!(up(750.0, &at(Some(-60.0), Some(0.0), Some(0.0))).is_err());
        let camera = |to: f64, least: f64| LiftMove {
            of: Carrier::Camera,
            from_mm: 0.0,
            to_mm: to,
            least_mm: least,
        };
        let down = |lift: LiftMove| clear(&stand, &lift, &known(300.0, 0.0));
        assert_eq!(down(camera(-499.0, -499.0)), Ok(()));
        assert!(down(camera(-499.0, -500.0)).is_err());
        assert!(down(camera(-501.0, -501.0)).is_err());
        assert_eq!(down(camera(100.0, 100.0)), Ok(()));
    }

    /// A neighbour that nobody knows may be anywhere on its travel, 100 mm up and down.
    #[test]
    fn an_unknown_neighbour_is_in_the_way_wherever_it_may_be() {
        let stand = stand();
        let doubt_of = |level, to: f64, lifts: &Lifts| {
            doubt(&stand, &lift(level, (0.0, to, to)), lifts).map(|touch| touch.upper)
        };
        let unknown = at(Some(0.0), None, Some(0.0));
        assert_eq!(doubt_of(1, 384.0, &unknown), None);
        assert_eq!(doubt_of(1, 384.1, &unknown).as_deref(), Some("quay"));
        assert_eq!(doubt_of(1, -50.0, &unknown), None);
        let unknown = at(None, Some(0.0), Some(0.0));
        assert_eq!(doubt_of(0, 699.9, &unknown), None);
        assert_eq!(doubt_of(0, 700.0, &unknown).as_deref(), Some("the lens"));
        // What has no lift is where it is built.
        assert_eq!(Lifts::of(&stand).known, [Some(0.0); 3]);
    }

    #[test]
    fn lifts_go_in_an_order_in_which_none_is_in_the_way() {
        let stand = stand();
        // Both up: the upper one first, whichever is named first.
        let (quay, sky) = (lift(0, (0.0, 200.0, 200.0)), lift(1, (400.0, 600.0, 600.0)));
        assert_eq!(
            order(&stand, &[sky, quay], &known(0.0, 400.0)),
            Ok(vec![1, 0])
        );
        assert_eq!(
            order(&stand, &[quay, sky], &known(0.0, 400.0)),
            Ok(vec![0, 1])
        );
        // Both down: the lower one first.
        let (quay, sky) = (lift(0, (200.0, 0.0, 0.0)), lift(1, (600.0, 400.0, 400.0)));
        assert_eq!(
            order(&stand, &[quay, sky], &known(200.0, 600.0)),
            Ok(vec![1, 0])
        );
        // Where they would be in each other at the end, there is none.
        let (quay, sky) = (lift(0, (0.0, -200.0, -200.0)), lift(1, (0.0, 300.0, 300.0)));
        let touch = order(&stand, &[quay, sky], &known(0.0, 0.0)).expect_err("no room");
        assert!(touch.gap_mm < 0.0, "{touch}");
        assert_eq!(order(&stand, &[], &known(0.0, 0.0)), Ok(vec![]));
    }
}
