//! Axes: steps in the picture, travel, speed, home switches.

use super::{About, Aspect, FILE, Finding, PRACTICE, Severity, Sight, axis_name, short};
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
            speed(stand, motor, id, found);
            home_switch(stand, motor, id, found);
            if let Some(sight) = sight {
                home_within(stand, sight, id, motor, found);
            }
        }
    }
}

/// The smallest move of an axis, what it is called, and whether a motor makes it.
pub(super) fn smallest(axis: &Axis) -> (f64, &'static str, bool) {
    match &axis.drive {
        Drive::Motor(motor) => (1.0 / motor.steps_per_unit, "step", true),
        Drive::Hand { scale, .. } => (*scale, "division of the scale", false),
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
            "one {what} of {}, {} {unit}, moves the picture of {} by {} px{where_to}{}",
            axis_name(stand, id),
            short(size),
            stand.levels[most.0].name,
            short(pixels),
            match &axis.drive {
                Drive::Motor(motor) => format!(" ({} steps per {unit})", short(motor.steps_per_unit)),
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
                "one {what} of {}, {} deg, blurs what was in focus by {} px where the table is steepest; at \
                 rest {} is in focus",
                axis_name(stand, id),
                short(size),
                short(steepest),
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
    let ends = format!(
        "{} goes from {} to {} {unit}, a way of {} {unit}",
        axis_name(stand, id),
        short(least),
        short(greatest),
        short(span)
    );
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
                    "{ends}: {} {side} of the picture, which shows {} mm of {name}",
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
            let nearest_mm = distance_mm + away.0.min(away.1);
            let small = distance_mm / (distance_mm + away.0.max(away.1));
            let large = distance_mm / nearest_mm;
            // Within the focal length there is no picture that could have a size.
            let pictured = nearest_mm > stand.lens.focal_length_mm;
            let sizes = if pictured {
                format!(
                    "{name} is pictured at {} to {} times its size at zero",
                    short(small),
                    short(large)
                )
            } else {
                format!(
                    "{name} is pictured at {} times its size at zero at the far end; before the near one it \
                     comes within the focal length, where it has no picture",
                    short(small)
                )
            };
            let finding = Finding::new(
                Severity::Fine,
                About::Axis(id),
                Aspect::Travel,
                format!("{ends}: {sizes}"),
            )
            .number("smallest", small, "");
            if pictured {
                finding.number("largest", large, "")
            } else {
                finding
            }
        }
        Way::Turn | Way::Focus => {
            Finding::new(Severity::Fine, About::Axis(id), Aspect::Travel, ends)
        }
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

fn speed(stand: &Stand, motor: &Motor, id: AxisId, found: &mut Vec<Finding>) {
    let unit = stand.axes[id.0].way.unit().sign();
    let rate = motor.speed * motor.steps_per_unit;
    let turns = motor.speed / motor.per_turn();
    let full = turns * f64::from(motor.steps);
    let greatest = f64::from(DEFAULT_TICK_RATE);
    let (severity, advice) = if rate < 1.0 {
        (
            Severity::Forbids,
            Some(format!(
                "a board sends no less than 1 step a second: raise `speed` to {} {unit}/s or more",
                short(1.0 / motor.steps_per_unit)
            )),
        )
    } else if rate > greatest {
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
            "{} asks for {} steps a second at its full speed of {} {unit}/s ({} full steps, {} turns); a \
             board sends {}{DEFAULT_TICK_RATE}",
            axis_name(stand, id),
            short(rate),
            short(motor.speed),
            short(full),
            short(turns),
            match severity {
                Severity::Forbids if rate < 1.0 => "1 at least, and at most ",
                Severity::Forbids => "only ",
                _ => "up to ",
            },
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

fn home_switch(stand: &Stand, motor: &Motor, id: AxisId, found: &mut Vec<Finding>) {
    let axis = &stand.axes[id.0];
    let name = axis_name(stand, id);
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
                "the home switch of {name} is at {} {unit}, within the travel from {} to {} {unit}",
                short(switch),
                short(least),
                short(greatest)
            ),
            Some("it would trip during moves: put it beyond one end of the travel"),
        )
    } else if gap > greatest - least {
        (
            Severity::Warning,
            format!(
                "the home switch of {name} is {} {unit} beyond the {end} end of its travel, farther than the \
                 whole travel of {} {unit}: can the axis get there?",
                short(gap),
                short(greatest - least)
            ),
            Some("check the sign and the unit of `switch`, and of `travel`"),
        )
    } else if gap <= needed {
        (
            Severity::Warning,
            format!(
                "the home switch of {name} is only {} {unit} beyond the {end} end of its travel: no more than \
                 it may be off and the slack together, {} {unit}",
                short(gap),
                short(needed)
            ),
            Some(
                "it may trip at the end of the travel; move the switch out, or shorten the travel",
            ),
        )
    } else {
        (
            Severity::Fine,
            format!(
                "the home switch of {name} is {} {unit} beyond the {end} end of its travel",
                short(gap)
            ),
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
                "the home switch of {} may be off by {} {unit}, which is {} px in the picture of {}",
                axis_name(stand, id),
                short(motor.home.within),
                short(pixels),
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
