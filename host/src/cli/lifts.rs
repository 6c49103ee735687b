//! Lifts of a stand as it is: where each level is, and of which nobody knows.

use panestep::schedule::{MotorAxis, Schedule};
use panestep::stand::{Carrier, LevelId, Stand, Way};
use panestep::take::Seen;

use super::screen::say;

/// The level that a motor lifts; none for any other axis, and for the camera's.
pub(crate) fn level(stand: &Stand, motor: &MotorAxis) -> Option<LevelId> {
    let place = stand
        .levels
        .iter()
        .position(|level| level.name == motor.of)
        .filter(|_| motor.way == Way::Lift);
    place.map(LevelId)
}

/// The lift of each level, mm; `None` where an axis moves it and nobody knows where it is: by hand,
/// or by a motor that is not homed.
pub(crate) fn known(stand: &Stand, schedule: &Schedule, seen: &Seen) -> Vec<Option<f64>> {
    let mut lifts = fixed(stand);
    for axis in seen.axes.iter().filter(|axis| axis.homed) {
        if let Some(LevelId(level)) = level(stand, &schedule.motors[axis.place]) {
            lifts[level] = Some(axis.position);
        }
    }
    lifts
}

/// The same where no board has been asked: zero for levels that nothing lifts.
pub(crate) fn fixed(stand: &Stand) -> Vec<Option<f64>> {
    let mut lifts = vec![Some(0.0); stand.levels.len()];
    for axis in &stand.axes {
        if let (Carrier::Level(LevelId(level)), Way::Lift) = (axis.of, axis.way) {
            lifts[level] = None;
        }
    }
    lifts
}

/// Says of which neighbours of a level's lift nobody can tell whether they are in its way.
pub(crate) fn caution(stand: &Stand, LevelId(level): LevelId, lifts: &[Option<f64>]) {
    let unknown = |place: usize| lifts.get(place).is_some_and(Option::is_none);
    let own = unknown(level);
    let neighbours: Vec<&str> = [level.checked_sub(1), level.checked_add(1)]
        .into_iter()
        .flatten()
        .filter(|&place| place < lifts.len() && (own || unknown(place)))
        .map(|place| stand.levels[place].name.as_str())
        .collect();
    if !neighbours.is_empty() {
        say(&format!(
            "  look yourself that {} stays clear of {}: where they are is not known",
            stand.levels[level].name,
            neighbours.join(" and ")
        ));
    }
}
