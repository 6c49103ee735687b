//! Lifts of a stand as it is: what each carries, where it is, and of which nobody knows.

use panestep::plan::clearance::{self, LiftMove, Lifts};
use panestep::schedule::{MotorAxis, Schedule};
use panestep::stand::{Carrier, LevelId, Stand, Way};
use panestep::take::Seen;

use super::screen::say;

/// What a motor carries.
pub(crate) fn carrier(stand: &Stand, motor: &MotorAxis) -> Carrier {
    let mut levels = stand.levels.iter();
    levels
        .position(|level| level.name == motor.of)
        .map_or(Carrier::Camera, |level| Carrier::Level(LevelId(level)))
}

/// The lifts, where they are known: not of what is moved by hand, or not homed.
pub(crate) fn known(stand: &Stand, schedule: &Schedule, seen: &Seen) -> Lifts {
    let mut lifts = Lifts::of(stand);
    for axis in seen.axes.iter().filter(|axis| axis.homed) {
        let motor = &schedule.motors[axis.place];
        if motor.way == Way::Lift {
            lifts.know(carrier(stand, motor), axis.position);
        }
    }
    lifts
}

/// Says which neighbour might be in the way of a lift, as nobody knows where it is.
pub(crate) fn caution(stand: &Stand, lift: &LiftMove, lifts: &Lifts) -> bool {
    let doubt = clearance::doubt(stand, lift, lifts);
    if let Some(touch) = &doubt {
        say(&format!(
            "  nobody knows where one of the two is: {touch}, where it is as near as its travel lets \
             it be; look yourself that they stay clear"
        ));
    }
    doubt.is_some()
}
