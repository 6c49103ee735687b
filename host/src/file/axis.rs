//! What an axis of a stand file means, and whether there can be such a one.

use std::ops::Range;

use panestep_protocol::MAX_AXES;

use super::reader::{At, Table};
use super::screw::screw;
use super::stand::{Names, named};
use crate::stand::{Axis, AxisUnit, BoardId, Carrier, Drive, Home, LevelId, Motor, Way};
use crate::units::{InUnit, Millimetres};

const MM: AxisUnit = AxisUnit::Millimetre;

const WAYS: [(&str, Way); 5] = [
    ("east", Way::East),
    ("north", Way::North),
    ("lift", Way::Lift),
    ("turn", Way::Turn),
    ("focus", Way::Focus),
];

pub(super) fn axes(
    file: &Table<'_>,
    levels: &Names<'_>,
    boards: &Names<'_>,
    focal_length_mm: Option<f64>,
) -> Option<Vec<Axis>> {
    let mut axes: Vec<Option<Axis>> = Vec::new();
    for table in file.tables("axis") {
        let axis = axis(&table, levels, boards, focal_length_mm);
        if let Some((axis, channel)) = &axis {
            for other in axes.iter().flatten() {
                if (other.of, other.way) == (axis.of, axis.way) {
                    table.note(
                        table.span(),
                        "the second axis of this kind",
                        format!(
                            "a second axis moves `{}` {}",
                            carrier_name(axis.of, levels),
                            axis.way.name()
                        ),
                        "take one of them out",
                    );
                }
                if let (Drive::Motor(one), Drive::Motor(two)) = (&other.drive, &axis.drive)
                    && (one.board, one.channel) == (two.board, two.channel)
                {
                    table.note(
                        channel.clone(),
                        "the second motor on it",
                        format!(
                            "channel {} of this board already drives another axis",
                            two.channel
                        ),
                        "give every motor a channel of its own",
                    );
                }
            }
        }
        axes.push(axis.map(|(axis, _)| axis));
    }
    axes.into_iter().collect()
}

/// An axis and where its motor's channel stands.
fn axis(
    table: &Table<'_>,
    levels: &Names<'_>,
    boards: &Names<'_>,
    focal_length_mm: Option<f64>,
) -> Option<(Axis, Range<usize>)> {
    let of = table.text_at("of").and_then(|of| match of.value {
        "camera" => Some(Carrier::Camera),
        _ => {
            let mut names = levels.clone();
            names.push(Some(At {
                value: "camera",
                span: 0..0,
            }));
            named(table, "`of`", &of, &names).map(|at| Carrier::Level(LevelId(at)))
        }
    });
    let Some(way) = table.word("direction", &WAYS) else {
        // Without its direction the units of everything else are unknown.
        table.leave_rest();
        return None;
    };
    let unit = way.unit();
    if let (Some(Carrier::Level(_)), Way::Focus) = (of, way) {
        table.note(
            table.span(),
            "a level, and focus",
            "only the camera has a `focus` axis, and this one is of a level",
            "write of = \"camera\"",
        );
    }
    let travel = travel(table, unit);
    let backlash = if table.has("backlash") {
        table.slack("backlash", unit).map(|at| at.value)
    } else {
        Some(0.0)
    };
    let focus_table = if way == Way::Focus {
        focus_table(table, focal_length_mm)
    } else {
        Some(Vec::new())
    };
    let drive = match (table.find("motor"), table.find("hand")) {
        (Some(motor), None) => {
            let motor = table.as_table(motor, "motor".into());
            if motor.is_none() {
                table.leave_rest();
            }
            let travel = travel.as_ref().map(|at| at.value);
            motor.and_then(|motor| {
                let channel = motor.place_of("channel");
                let motor = motor_of(table, &motor, way, boards, travel)?;
                Some((Drive::Motor(motor), channel))
            })
        }
        (None, Some(hand)) => {
            let screw = screw(table, way == Way::Lift, false);
            table.as_table(hand, "hand".into()).and_then(|hand| {
                let scale = hand.size("scale", unit)?.value;
                let screw = screw?;
                Some((Drive::Hand { scale, screw }, table.span()))
            })
        }
        (motor, _) => {
            let found = if motor.is_some() { "both" } else { "neither" };
            table.note(
                table.span(),
                format!("{found} is here"),
                format!("the axis has {found} of `motor` and `hand`, but exactly one is wanted"),
                "say what moves it",
            );
            table.leave_rest();
            None
        }
    };
    let (drive, channel) = drive?;
    let axis = Axis {
        of: of?,
        way,
        drive,
        travel: travel?.value,
        backlash: backlash?,
        focus_table: focus_table?,
    };
    Some((axis, channel))
}

fn travel(table: &Table<'_>, unit: AxisUnit) -> Option<At<(f64, f64)>> {
    let [least, greatest] = table.pair("travel")?;
    let least = table.as_place(least, "travel", unit);
    let greatest = table.as_place(greatest, "travel", unit);
    let (least, greatest) = (least?, greatest?);
    let span = least.span.start..greatest.span.end;
    let (from, to) = (least.value, greatest.value);
    if from >= to {
        table.note(
            span,
            "least and greatest are the wrong way round, or equal",
            format!(
                "`travel` goes from {} to {}, which leaves nothing between",
                InUnit(from, unit),
                InUnit(to, unit)
            ),
            "write the least position first, then the greatest",
        );
        return None;
    }
    if from > 0.0 || to < 0.0 {
        table.note(
            span,
            "zero is not between them",
            format!(
                "`travel` goes from {} to {}, which leaves out zero",
                InUnit(from, unit),
                InUnit(to, unit)
            ),
            "positions count from the axis's zero, where the levels stand at the reference frame",
        );
        return None;
    }
    Some(At {
        value: (from, to),
        span,
    })
}

fn focus_table(table: &Table<'_>, focal_length_mm: Option<f64>) -> Option<Vec<(f64, f64)>> {
    let rows: Vec<_> = table
        .tables("table")
        .iter()
        .map(|row| {
            let ring = row.place("ring", AxisUnit::Degree);
            let distance = row.size("distance", MM);
            Some((ring?.value, distance?.value, row.span()))
        })
        .collect();
    if rows.len() < 2 {
        table.note(
            table.span(),
            format!("{} rows", rows.len()),
            format!(
                "the `table` of a focus axis has {} rows, but at least 2 are wanted",
                rows.len()
            ),
            "measure it: table = [{ ring = \"0 deg\", distance = \"300 mm\" }, ...]",
        );
        return None;
    }
    let rows: Vec<_> = rows.into_iter().collect::<Option<_>>()?;
    if let (Some(focal_length_mm), Some((_, distance, span))) = (focal_length_mm, rows.first())
        && *distance <= focal_length_mm
    {
        table.note(
            span.clone(),
            "nearer than the focal length",
            format!(
                "the `table` goes down to {}, but a lens of {} focuses only beyond that",
                Millimetres(*distance),
                Millimetres(focal_length_mm)
            ),
            "measure distances from the entrance pupil (roughly: from the diaphragm)",
        );
    }
    for two in rows.windows(2) {
        let ((ring, distance, _), (next_ring, next_distance, span)) = (&two[0], &two[1]);
        if next_ring <= ring || next_distance <= distance {
            table.note(
                span.clone(), "does not rise above the row before",
                format!("the `table` goes from {} at {} to {} at {}, but both must rise from row to row", Millimetres(*distance), InUnit(*ring, AxisUnit::Degree), Millimetres(*next_distance), InUnit(*next_ring, AxisUnit::Degree)),
                "list the rows from the nearest distance to the farthest; let ring positions grow toward far",
            );
        }
    }
    Some(
        rows.into_iter()
            .map(|(ring, distance, _)| (ring, distance))
            .collect(),
    )
}

/// Reads the motor's own table and the keys of the axis that only a motor has.
fn motor_of(
    axis: &Table<'_>,
    motor: &Table<'_>,
    way: Way,
    boards: &Names<'_>,
    travel: Option<(f64, f64)>,
) -> Option<Motor> {
    let (unit, lifts) = (way.unit(), way == Way::Lift);
    let (speeds, home_example) = match unit {
        AxisUnit::Millimetre => (["25 mm/s", "60 mm/s2", "400 mm/s3", "2 mm/s"], "-124 mm"),
        AxisUnit::Degree => (
            ["10 deg/s", "20 deg/s2", "100 deg/s3", "1 deg/s"],
            "-94 deg",
        ),
    };
    let board = motor
        .text_at("board")
        .and_then(|name| named(motor, "`board`", &name, boards));
    let channel = motor.whole("channel", 0, MAX_AXES as u32 - 1);
    let steps = motor.whole("steps", 1, 1_000_000);
    let microsteps = motor.whole("microsteps", 1, 256);
    let per_turn = motor.size("per_turn", unit);
    let reversed = motor.flag("reversed", Some(false));
    let speed = axis.rate::<1>("speed", unit, speeds[0]);
    let acceleration = axis.rate::<2>("acceleration", unit, speeds[1]);
    let jerk = axis.rate::<3>("jerk", unit, speeds[2]);
    let screw = screw(axis, lifts, true);
    let slow = axis
        .has("slow")
        .then(|| axis.rate::<1>("slow", unit, speeds[3]));
    let home = axis.table("home").and_then(|home| {
        let switch = home.place("switch", unit);
        let within = home.size("within", unit);
        Some((switch?, within?))
    });
    let (steps, microsteps, per_turn) = (steps?, microsteps?, per_turn?);
    let steps_per_unit = f64::from(steps.value) * f64::from(microsteps.value) / per_turn.value;
    let step = 1.0 / steps_per_unit;
    if !(1e-6..=1.0).contains(&step) {
        motor.note(
            per_turn.span.clone(), format!("gives a step of {} {}", step, unit.sign()),
            format!("one step is {}, but from 0.000001 to 1 {} is wanted: {} steps x {} microsteps for {}", InUnit(step, unit), unit.sign(), steps.value, microsteps.value, InUnit(per_turn.value, unit)),
            "check `steps`, `microsteps` and `per_turn`",
        );
    }
    let (speed, acceleration, jerk) = (speed?, acceleration?, jerk?);
    // A quarter of a turn a second: slow enough for any stepper to start at (common practice, no
    // source).
    let slow = match slow {
        Some(slow) => slow?,
        None => At {
            value: speed.value.min(per_turn.value / 4.0),
            span: speed.span.clone(),
        },
    };
    for (key, at, below) in [
        ("speed", &speed, "/s"),
        ("acceleration", &acceleration, "/s2"),
        ("jerk", &jerk, "/s3"),
        ("slow", &slow, "/s"),
    ] {
        let in_steps = (at.value * steps_per_unit).round();
        if !(1.0..=f64::from(u32::MAX)).contains(&in_steps) {
            axis.note(
                at.span.clone(), format!("{in_steps} steps{below}"),
                format!("`{key}` is {}{below}, which is {in_steps} steps{below}, but from 1 to {} is wanted: from {}{below} to {}{below}", InUnit(at.value, unit), u32::MAX, InUnit(step, unit), InUnit(f64::from(u32::MAX) * step, unit)),
                "check the number, its unit and the motor's steps",
            );
        }
    }
    if slow.value > speed.value {
        axis.note(
            slow.span,
            format!("faster than {}/s", InUnit(speed.value, unit)),
            format!(
                "`slow` is {}/s, faster than `speed` with {}/s",
                InUnit(slow.value, unit),
                InUnit(speed.value, unit)
            ),
            "`slow` is a speed that needs no ramp",
        );
    }
    let (switch, within) = home?;
    let (least, greatest) = travel?;
    if (least..=greatest).contains(&switch.value) {
        axis.note(
            switch.span.clone(), "within the travel",
            format!("the home switch is at {}, within the travel from {} to {}, but beyond one of its ends is wanted", InUnit(switch.value, unit), InUnit(least, unit), InUnit(greatest, unit)),
            format!("the axis must be able to leave the switch; write such as switch = \"{home_example}\""),
        );
    }
    if within.value < step {
        axis.note(
            within.span,
            "finer than a step",
            format!(
                "`within` is {}, less than one step of {}",
                InUnit(within.value, unit),
                InUnit(step, unit)
            ),
            "a switch is never found more closely than to a step",
        );
    }
    // The way from end to end, and the search beyond it, must fit as well as the positions.
    let most = f64::from(i32::MAX / 4) * step;
    for place in [least, greatest, switch.value] {
        if place.abs() > most {
            axis.note(
                axis.span(),
                "an end or the switch is too far away",
                format!(
                    "the axis reaches {}, but with steps of {} it can count only to {}",
                    InUnit(place, unit),
                    InUnit(step, unit),
                    InUnit(most, unit)
                ),
                "check `travel`, `home` and the motor's steps",
            );
        }
    }
    Some(Motor {
        board: BoardId(board?),
        channel: u8::try_from(channel?.value).ok()?,
        steps: steps.value,
        microsteps: microsteps.value,
        steps_per_unit,
        reversed: reversed?,
        speed: speed.value,
        acceleration: acceleration.value,
        jerk: jerk.value,
        slow: slow.value,
        home: Home {
            switch: switch.value,
            within: within.value,
        },
        screw: screw?,
    })
}

fn carrier_name<'a>(of: Carrier, levels: &Names<'a>) -> &'a str {
    match of {
        Carrier::Camera => "camera",
        Carrier::Level(LevelId(level)) => levels
            .get(level)
            .and_then(Option::as_ref)
            .map_or("", |name| name.value),
    }
}
