//! Axes: steps in the picture, travel, speed, home switches.

use super::{About, Aspect, FILE, Finding, PRACTICE, Severity, Sight, short};
use crate::optics::depth::blur_mm;
use crate::optics::focused_distance_mm;
use crate::plan::times::DEFAULT_TICK_RATE;
use crate::stand::{Axis, AxisId, Drive, LevelId, Motor, Stand, Way};

/// Pixels of one step from which on it is worth a word; half of it is the error of a target.
const COARSE_PX: f64 = 0.5;

/// Pixels of one step from which on a slow move is seen to go by jerks.
const JERKY_PX: f64 = 2.0;

/// Part of the picture below which a sideways travel is next to nothing.
const LITTLE: f64 = 0.02;

/// Full steps a second above which common motors have little torque left.
const FAST_STEPS: f64 = 1000.0;

const SPLIT: &str = "steps x microsteps / per_turn, pictured by the thin lens";
const SPEED: &str = "speed x steps per unit; common motors lose torque above about 1000 full steps a \
                     second (common practice, no source)";

pub(super) fn drives(stand: &Stand, sight: Option<&Sight>, found: &mut Vec<Finding>) {
    for (place, axis) in stand.axes.iter().enumerate() {
        let id = AxisId(place);
        if let Some(sight) = sight {
            if axis.way == Way::Focus {
                ring_step(stand, sight, id, found);
            } else {
                step(stand, sight, id, found);
                travel(stand, sight, id, found);
            }
        }
        if let Drive::Motor(motor) = &axis.drive {
            speed(axis, motor, id, found);
            home_switch(axis, motor, id, found);
            if let Some(sight) = sight {
                home_within(stand, sight, id, motor, found);
            }
        }
    }
}

/// The smallest move of an axis, what it is called, and whether a motor makes it.
fn smallest(axis: &Axis) -> (f64, &'static str, bool) {
    match &axis.drive {
        Drive::Motor(motor) => (1.0 / motor.steps_per_unit, "step", true),
        Drive::Hand { scale } => (*scale, "division of the scale", false),
    }
}

fn step(stand: &Stand, sight: &Sight, id: AxisId, found: &mut Vec<Finding>) {
    let axis = &stand.axes[id.0];
    let unit = axis.way.unit().sign();
    let (size, what, by_motor) = smallest(axis);
    let Some((most, per_unit)) = sight.moved_most(stand, axis.of, axis.way) else {
        return;
    };
    let pixels = size * per_unit;
    let where_to = match axis.way {
        Way::Lift | Way::Turn => " at the picture's corner",
        _ => "",
    };
    let mut finding = Finding::new(
        match pixels {
            _ if pixels < COARSE_PX => Severity::Fine,
            _ if pixels < JERKY_PX || !by_motor => Severity::WorthKnowing,
            _ => Severity::Warning,
        },
        About::Axis(id),
        Aspect::Step,
        format!(
            "one {what}, {} {unit}, in the picture of {}{where_to}{}",
            short(size),
            stand.levels[most.0].name,
            match &axis.drive {
                Drive::Motor(motor) => format!("; {} steps per {unit}", short(motor.steps_per_unit)),
                Drive::Hand { .. } => "; a reading may be off by half of it".to_owned(),
            }
        ),
    )
    .value(format!("{} px", short(pixels)))
    .number("smallest move", size, unit)
    .source(SPLIT)
    .unless_fine(if by_motor {
        "slow moves go by visible jerks: use finer microsteps (up to 16 a full step), or a finer screw"
    } else {
        "read between the divisions, or fit a finer scale, a vernier or a dial, and write its `scale`"
    });
    if let Drive::Motor(motor) = &axis.drive {
        finding = finding.number("steps per unit", motor.steps_per_unit, "");
    }
    for level in sight.moved(stand, axis.of) {
        let pixels = size * sight.pixels_per_unit(stand, level, axis.way);
        let name = format!("in the picture of {}", stand.levels[level.0].name);
        finding = finding.number(name, pixels, "px");
    }
    found.push(finding);
}

/// What one step of the lens's ring changes, as the blur of what was in focus.
fn ring_step(stand: &Stand, sight: &Sight, id: AxisId, found: &mut Vec<Finding>) {
    let axis = &stand.axes[id.0];
    let lens = &stand.lens;
    let (size, what, by_motor) = smallest(axis);
    let table = &axis.focus_table;
    let steepest = table
        .windows(2)
        .filter_map(|two| {
            let ring = two[0].0;
            let before = focused_distance_mm(table, ring)?;
            let after = focused_distance_mm(table, (ring + size).min(two[1].0))?;
            let blur = blur_mm(lens.focal_length_mm, lens.f_number, before, after);
            Some(blur * lens.picture.pixels_per_mm())
        })
        .fold(0.0, f64::max);
    // Half of it is the error of a target.
    found.push(
        Finding::new(
            if steepest < 1.0 {
                Severity::Fine
            } else {
                Severity::WorthKnowing
            },
            About::Axis(id),
            Aspect::Step,
            format!(
                "of blur from one {what}, {} deg, where the table is steepest; {} is in focus at rest",
                short(size),
                stand.levels[lens.focus.0].name
            ),
        )
        .value(format!("{} px", short(steepest)))
        .number("smallest move", size, "deg")
        .number("blur of one", steepest, "px")
        .number("focus at rest", sight.focus_mm, "mm")
        .source(SPLIT)
        .unless_fine(if by_motor {
            "use finer microsteps or a gear between motor and ring"
        } else {
            "read between the divisions, or fit a finer scale"
        }),
    );
}

fn travel(stand: &Stand, sight: &Sight, id: AxisId, found: &mut Vec<Finding>) {
    let axis = &stand.axes[id.0];
    let (least, greatest) = axis.travel;
    let unit = axis.way.unit().sign();
    let Some((most, _)) = sight.moved_most(stand, axis.of, axis.way) else {
        return;
    };
    let span = greatest - least;
    let name = &stand.levels[most.0].name;
    let picture = &stand.lens.picture;
    let ends = format!("{} to {} {unit}", short(least), short(greatest));
    let finding = match axis.way {
        Way::East | Way::North => {
            let (side_mm, side) = if axis.way == Way::East {
                (picture.width_mm, "widths")
            } else {
                (picture.height_mm, "heights")
            };
            let seen_mm = side_mm / sight.magnification(stand, most);
            let part = span / seen_mm;
            Finding::new(
                if part < LITTLE {
                    Severity::WorthKnowing
                } else {
                    Severity::Fine
                },
                About::Axis(id),
                Aspect::Travel,
                format!(
                    "of travel, {ends}: {} picture {side} of {} mm at {name}",
                    short(part),
                    short(seen_mm)
                ),
            )
            .number("picture", seen_mm, "mm")
            .number("travel against the picture", part, "")
            .unless_fine("next to nothing to move with: check the ends and their units")
        }
        Way::Lift => {
            let distance_mm = sight.distance_mm(stand, most);
            // Up is nearer for a level, farther for the camera.
            let away = match axis.of {
                crate::stand::Carrier::Level(_) => (-least, -greatest),
                crate::stand::Carrier::Camera => (least, greatest),
            };
            let sizes = [away.0, away.1].map(|by| distance_mm / (distance_mm + by));
            let (small, large) = (sizes[0].min(sizes[1]), sizes[0].max(sizes[1]));
            Finding::new(
                Severity::Fine,
                About::Axis(id),
                Aspect::Travel,
                format!(
                    "of travel, {ends}: {name} is pictured at {} to {} times its size at zero",
                    short(small),
                    short(large)
                ),
            )
            .number("smallest", small, "")
            .number("largest", large, "")
        }
        Way::Turn | Way::Focus => Finding::new(
            Severity::Fine,
            About::Axis(id),
            Aspect::Travel,
            format!("of travel, {ends}"),
        ),
    };
    found.push(
        finding
            .value(format!("{} {unit}", short(span)))
            .number("travel", span, unit)
            .number("least", least, unit)
            .number("greatest", greatest, unit)
            .source(FILE),
    );
}

fn speed(axis: &Axis, motor: &Motor, id: AxisId, found: &mut Vec<Finding>) {
    let unit = axis.way.unit().sign();
    let rate = motor.speed * motor.steps_per_unit;
    let turns = motor.speed / motor.per_turn();
    let full = turns * f64::from(motor.steps);
    let greatest = f64::from(DEFAULT_TICK_RATE);
    let (severity, advice) = if rate > greatest {
        (
            Severity::Forbids,
            Some(format!(
                "a board sends {DEFAULT_TICK_RATE} steps a second at most: lower `speed` to {} {unit}/s, \
                 or use coarser microsteps",
                short(greatest / motor.steps_per_unit)
            )),
        )
    } else if full > FAST_STEPS {
        (
            Severity::WorthKnowing,
            Some(
                "look the torque at this speed up in the motor's pull-out curve; nothing is won by \
                 speed between frames"
                    .to_owned(),
            ),
        )
    } else {
        (Severity::Fine, None)
    };
    let mut finding = Finding::new(
        severity,
        About::Axis(id),
        Aspect::Speed,
        format!(
            "at its full {} {unit}/s; {} full steps and {} turns a second; a board sends {} at most",
            short(motor.speed),
            short(full),
            short(turns),
            DEFAULT_TICK_RATE
        ),
    )
    .value(format!("{} steps/s", short(rate)))
    .number("step rate", rate, "steps/s")
    .number("greatest step rate", greatest, "steps/s")
    .number("full steps", full, "steps/s")
    .number("turns", turns, "turns/s")
    .source(SPEED);
    finding.advice = advice;
    found.push(finding);
}

fn home_switch(axis: &Axis, motor: &Motor, id: AxisId, found: &mut Vec<Finding>) {
    let unit = axis.way.unit().sign();
    let (least, greatest) = axis.travel;
    let switch = motor.home.switch;
    let inside = (least..=greatest).contains(&switch);
    let gap = if switch < least {
        least - switch
    } else {
        switch - greatest
    };
    // A switch this near trips while the axis goes to the end of its travel, which stops everything.
    let needed = motor.home.within + axis.backlash;
    let end = if switch < least { "lower" } else { "upper" };
    let (severity, says, advice) = if inside {
        (
            Severity::Forbids,
            format!(
                "the home switch's place, within the travel from {} to {} {unit}",
                short(least),
                short(greatest)
            ),
            Some("it would trip during moves: put it beyond one end of the travel"),
        )
    } else if gap > greatest - least {
        (
            Severity::Warning,
            format!(
                "from the {end} end of the travel to the home switch, farther than the whole travel of \
                 {} {unit}: can the axis get there?",
                short(greatest - least)
            ),
            Some("check the sign and the unit of `switch`, and of `travel`"),
        )
    } else if gap <= needed {
        (
            Severity::Warning,
            format!(
                "from the {end} end of the travel to the home switch: less than it may be off and the \
                 slack, {} {unit}",
                short(needed)
            ),
            Some(
                "it may trip at the end of the travel; move the switch out, or shorten the travel",
            ),
        )
    } else {
        (
            Severity::Fine,
            format!("from the {end} end of the travel to the home switch"),
            None,
        )
    };
    let value = if inside { switch } else { gap };
    let mut finding = Finding::new(severity, About::Axis(id), Aspect::HomeSwitch, says)
        .value(format!("{} {unit}", short(value)))
        .number("switch", switch, unit)
        .number("least", least, unit)
        .number("greatest", greatest, unit)
        .source(FILE);
    finding.advice = advice.map(str::to_owned);
    found.push(finding);
}

fn home_within(stand: &Stand, sight: &Sight, id: AxisId, motor: &Motor, found: &mut Vec<Finding>) {
    let axis = &stand.axes[id.0];
    if axis.way == Way::Focus {
        return;
    }
    let unit = axis.way.unit().sign();
    let Some((LevelId(most), per_unit)) = sight.moved_most(stand, axis.of, axis.way) else {
        return;
    };
    let pixels = motor.home.within * per_unit;
    found.push(
        Finding::new(
            if pixels <= 1.0 {
                Severity::Fine
            } else {
                Severity::WorthKnowing
            },
            About::Axis(id),
            Aspect::HomeWithin,
            format!(
                "that the home switch may be off, {} {unit}, in the picture of {}",
                short(motor.home.within),
                stand.levels[most].name
            ),
        )
        .value(format!("{} px", short(pixels)))
        .number("within", motor.home.within, unit)
        .number("in the picture", pixels, "px")
        .source(PRACTICE)
        .unless_fine(
            "a take that is resumed after a power cut may jump by so much: measure what the switch \
             really does with `panestep measure home`, and write that",
        ),
    );
}
