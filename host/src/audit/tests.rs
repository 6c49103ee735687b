//! Published cases through the audit itself, and every finding with and without its cause.

use std::time::Duration;

use super::{About, Aspect, Finding, Severity, audit};
use crate::screw::Thread;
use crate::stand::{
    Axis, AxisId, Board, BoardId, Carrier, Drive, Face, Home, Lamp, LampSwitch, LevelId, Motor,
    PortName, Release, Screw, ScrewKind, Stand, Swing, Way,
};

mod lifts;
mod optics;
mod stands;

/// Three levels, quay in focus; reeds east and turn, camera lift and focus, sky north by hand.
fn stand() -> Stand {
    let text = include_str!("../../tests/data/stand.toml");
    crate::file::read_stand_text("stand.toml", text).expect("sound")
}

fn motor(channel: u8, per_turn: f64) -> Motor {
    Motor {
        board: BoardId(0),
        channel,
        steps: 200,
        microsteps: 16,
        steps_per_unit: 3200.0 / per_turn,
        reversed: false,
        speed: 5.0,
        acceleration: 40.0,
        jerk: 120.0,
        slow: 0.5,
        home: Home {
            switch: -13.0,
            within: 0.02,
        },
        screw: None,
    }
}

fn axis(of: Carrier, way: Way, drive: Drive) -> Axis {
    Axis {
        of,
        way,
        drive,
        travel: (-10.0, 10.0),
        backlash: 0.0,
        focus_table: Vec::new(),
    }
}

/// The stand with one lift more, of a level, going down to its switch; and the lift's place.
fn with_lift(level: usize, screw: Option<Screw>) -> (Stand, AxisId) {
    let mut stand = stand();
    let per_turn = screw.map_or(2.0, |screw| screw.kind.lead_mm() / screw.gear);
    let motor = Motor {
        screw,
        ..motor(10 + level as u8, per_turn)
    };
    stand.axes.push(axis(
        Carrier::Level(LevelId(level)),
        Way::Lift,
        Drive::Motor(motor),
    ));
    let place = AxisId(stand.axes.len() - 1);
    (stand, place)
}

fn motor_of(stand: &mut Stand, AxisId(axis): AxisId) -> &mut Motor {
    match &mut stand.axes[axis].drive {
        Drive::Motor(motor) => motor,
        Drive::Hand { .. } => panic!("a motor is wanted"),
    }
}

fn all(stand: &Stand, about: About, aspect: Aspect) -> Vec<Finding> {
    let found = audit(stand).findings.into_iter();
    found
        .filter(|finding| (finding.about, finding.aspect) == (about, aspect))
        .collect()
}

#[track_caller]
fn one(stand: &Stand, about: About, aspect: Aspect) -> Finding {
    let mut found = all(stand, about, aspect);
    assert_eq!(found.len(), 1, "{about:?} {aspect:?}: {found:?}");
    found.remove(0)
}

/// How bad one thing is; what is the matter always says what to do.
#[track_caller]
fn bad(stand: &Stand, about: About, aspect: Aspect) -> Severity {
    let found = one(stand, about, aspect);
    assert_eq!(
        found.severity == Severity::Fine,
        found.advice.is_none(),
        "{found:?}"
    );
    assert!(!found.says.is_empty() && !found.source.is_empty());
    found.severity
}

#[track_caller]
fn number(finding: &Finding, name: &str) -> f64 {
    let mut numbers = finding.numbers.iter();
    numbers
        .find(|number| number.name == name)
        .unwrap_or_else(|| panic!("{name} is not in {finding:?}"))
        .value
}

#[track_caller]
fn near(value: f64, expected: f64, within: f64) {
    assert!((value - expected).abs() <= within, "{value} {expected}");
}

/// Nothing in front of the lens but one level of thin air, so that its apparent distance is what the
/// handbooks call the distance.
fn handbook(focal_length_mm: f64, f_number: f64, circle_mm: f64, distance_mm: f64) -> Stand {
    let mut stand = stand();
    stand.axes.clear();
    stand.levels.truncate(1);
    stand.levels[0].pane.art = Face::Upper;
    stand.levels[0].height_mm = 10.0;
    stand.lens.focus = LevelId(0);
    stand.lens.height_mm = 10.0 + distance_mm;
    stand.lens.focal_length_mm = focal_length_mm;
    stand.lens.f_number = f_number;
    stand.lens.circle_of_confusion_mm = circle_mm;
    stand
}

const LEVEL: About = About::Level(LevelId(0));
