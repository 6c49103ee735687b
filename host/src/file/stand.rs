//! What a stand file means, and whether such a stand can be.

use std::ops::Range;
use std::time::Duration;

use panestep_protocol::{MAX_AXES, MAX_NAME};

use super::reader::{At, Table};
use crate::optics::{apparent_distance_mm, zero_pose};
use crate::stand::{
    Axis, AxisUnit, Board, BoardId, Carrier, Drive, Face, Home, Lens, Level, LevelId, Motor, Pane,
    Picture, PortName, Shutter, Stand, Way,
};
use crate::units::{InUnit, Millimetres};

/// Free height between panes where the file says nothing, mm.
const CLEARANCE_MM: f64 = 1.0;

/// From release to the opening of the shutter where the file says nothing: longer than most
/// cameras take (common practice, no source).
const DELAY: Duration = Duration::from_millis(200);

const MM: AxisUnit = AxisUnit::Millimetre;

const WAYS: [(&str, Way); 5] = [
    ("east", Way::East),
    ("north", Way::North),
    ("lift", Way::Lift),
    ("turn", Way::Turn),
    ("focus", Way::Focus),
];

/// Names of boards or levels in the file's order, also of those that are unsound otherwise.
type Names<'a> = Vec<Option<At<&'a str>>>;

/// Reads every key before it gives up on any, so that all that is wrong is named at once.
pub(super) fn stand(file: &Table<'_>) -> Option<Stand> {
    let name = file.text("name");
    let clearance = if file.has("clearance") {
        file.slack("clearance", MM).map(|at| at.value)
    } else {
        Some(CLEARANCE_MM)
    };
    let (board_names, boards) = boards(file);
    let (level_names, levels, level_spans) = levels(file);
    let lens = file
        .table("lens")
        .and_then(|table| lens(&table, &level_names));
    let axes = axes(file, &level_names, &board_names);
    let shutter = file
        .table("shutter")
        .and_then(|table| shutter(&table, &board_names));
    let stand = Stand {
        name: name?.to_owned(),
        lens: lens?,
        boards: boards?,
        levels: levels?,
        axes: axes?,
        shutter: shutter?,
        clearance_mm: clearance?,
    };
    heights(file, &stand, &level_spans);
    Some(stand)
}

fn unique(file: &Table<'_>, what: &str, names: &Names<'_>) {
    for (at, name) in names.iter().enumerate() {
        if let Some(name) = name
            && names[..at]
                .iter()
                .flatten()
                .any(|other| other.value == name.value)
        {
            file.note(
                name.span.clone(),
                format!("there are two {what}s called `{}`", name.value),
                "give each a name of its own",
            );
        }
    }
}

fn boards<'a>(file: &Table<'a>) -> (Names<'a>, Option<Vec<Board>>) {
    let mut names = Names::new();
    let mut boards = Vec::new();
    let mut ports: Vec<&str> = Vec::new();
    for table in file.tables("board") {
        let name = table.text_at("name");
        let port = table.text_at("port");
        if let Some(name) = &name
            && name.value.len() > MAX_NAME
        {
            table.note(
                name.span.clone(),
                format!(
                    "the board's name is {} bytes long, but a board's has at most {MAX_NAME}",
                    name.value.len()
                ),
                "shorten it, here and on the board",
            );
        }
        if let Some(port) = &port
            && port.value != "simulated"
        {
            if ports.contains(&port.value) {
                table.note(
                    port.span.clone(),
                    format!("two boards are on port `{}`", port.value),
                    "give each board its own port",
                );
            }
            ports.push(port.value);
        }
        boards.push(name.as_ref().zip(port).map(|(name, port)| Board {
            name: name.value.to_owned(),
            port: match port.value {
                "simulated" => PortName::Simulated,
                serial => PortName::Serial(serial.to_owned()),
            },
        }));
        names.push(name);
    }
    if boards.is_empty() {
        file.note(
            0..0,
            "the stand has no board",
            "add a [[board]] with its name and port",
        );
    }
    unique(file, "board", &names);
    (names, boards.into_iter().collect())
}

fn levels<'a>(file: &Table<'a>) -> (Names<'a>, Option<Vec<Level>>, Vec<Range<usize>>) {
    let mut names = Names::new();
    let mut levels = Vec::new();
    let mut spans = Vec::new();
    for table in file.tables("level") {
        let name = table.text_at("name");
        let height = table.size("height", MM);
        let pane = table.table("pane").and_then(|table| pane(&table));
        if let Some(name) = &name
            && name.value == "camera"
        {
            table.note(
                name.span.clone(),
                "a level is called `camera`, which means the camera itself",
                "call it something else",
            );
        }
        spans.push(height.as_ref().map_or(table.span(), |at| at.span.clone()));
        levels.push((|| {
            Some(Level {
                name: name.as_ref()?.value.to_owned(),
                height_mm: height?.value,
                pane: pane?,
            })
        })());
        names.push(name);
    }
    if levels.is_empty() {
        file.note(
            0..0,
            "the stand has no level",
            "add a [[level]] for each pane, from the lens downwards",
        );
    }
    unique(file, "level", &names);
    (names, levels.into_iter().collect(), spans)
}

fn pane(table: &Table<'_>) -> Option<Pane> {
    let width = table.size("width", MM);
    let height = table.size("height", MM);
    let thickness = table.size("thickness", MM);
    // Air has 1; no glass reaches 3.
    let index = table.number("index", 0.0, 3.0);
    if let Some(index) = &index
        && index.value < 1.0
    {
        table.note(
            index.span.clone(),
            format!("`index` is {}, but from 1 to 3 is wanted", index.value),
            "window glass has 1.52",
        );
    }
    let art = table.word("art", &[("upper", Face::Upper), ("under", Face::Under)]);
    Some(Pane {
        width_mm: width?.value,
        height_mm: height?.value,
        thickness_mm: thickness?.value,
        index: index?.value,
        art: art?,
    })
}

fn lens(table: &Table<'_>, levels: &Names<'_>) -> Option<Lens> {
    let focal_length = table.size("focal_length", MM);
    let f_number = table.number("f_number", 0.0, 1000.0);
    let picture = table.table("picture").and_then(|table| picture(&table));
    let height = table.size("height", MM);
    let focus = table
        .text_at("focus")
        .and_then(|name| named(table, "`focus`", &name, levels));
    Some(Lens {
        focal_length_mm: focal_length?.value,
        f_number: f_number?.value,
        picture: picture?,
        height_mm: height?.value,
        focus: LevelId(focus?),
    })
}

fn picture(table: &Table<'_>) -> Option<Picture> {
    let width = table.size("width", MM);
    let height = table.size("height", MM);
    let pixels = table.pair("pixels");
    let pixel = |at: usize| table.as_whole(pixels?[at], "pixels", 1, 100_000);
    let (columns, rows) = (pixel(0), pixel(1));
    let (width, height, columns, rows) = (width?, height?, columns?, rows?);
    let picture = Picture {
        width_mm: width.value,
        height_mm: height.value,
        columns: columns.value,
        rows: rows.value,
    };
    let shape = picture.width_mm / picture.height_mm;
    let pixels = f64::from(picture.columns) / f64::from(picture.rows);
    if (shape / pixels - 1.0).abs() > 0.01 {
        table.note(
            columns.span.start..rows.span.end,
            format!("the picture is {shape:.3} times as wide as high in millimetres, but {pixels:.3} times in pixels; pixels are square"),
            "give the size of the part of the sensor that these pixels cover",
        );
    }
    Some(picture)
}

fn named(table: &Table<'_>, what: &str, name: &At<&str>, names: &Names<'_>) -> Option<usize> {
    let found = names.iter().position(|other| {
        other
            .as_ref()
            .is_some_and(|other| other.value == name.value)
    });
    if found.is_none() {
        table.unknown(name, what, names.iter().flatten().map(|other| other.value));
    }
    found
}

/// The levels stand one below another and below the lens, which can form a picture of each.
fn heights(file: &Table<'_>, stand: &Stand, spans: &[Range<usize>]) {
    let faces = |level: &Level| match level.pane.art {
        Face::Upper => (level.height_mm - level.pane.thickness_mm, level.height_mm),
        Face::Under => (level.height_mm, level.height_mm + level.pane.thickness_mm),
    };
    let pose = zero_pose(stand);
    for (at, level) in stand.levels.iter().enumerate() {
        let span = || spans[at].clone();
        let (bottom, top) = faces(level);
        if bottom < 0.0 {
            file.note(
                span(),
                format!(
                    "the glass of `{}` reaches {} below the bed",
                    level.name,
                    Millimetres(-bottom)
                ),
                "heights are measured upwards from the bed",
            );
        }
        if top >= stand.lens.height_mm {
            file.note(
                span(),
                format!(
                    "the glass of `{}` reaches up to {}, but the lens is at {}",
                    level.name,
                    Millimetres(top),
                    Millimetres(stand.lens.height_mm)
                ),
                "every level is below the lens",
            );
            continue;
        }
        if let Some(above) = at.checked_sub(1).and_then(|at| stand.levels.get(at)) {
            let gap = faces(above).0 - top;
            if gap <= 0.0 || gap < stand.clearance_mm {
                file.note(
                    span(),
                    format!(
                        "from `{}` down to `{}` there is {} of air, but {} or more is wanted",
                        above.name,
                        level.name,
                        Millimetres(gap),
                        Millimetres(stand.clearance_mm)
                    ),
                    "list the levels from the lens downwards and check heights and thickness",
                );
            }
        }
        let distance = apparent_distance_mm(stand, LevelId(at), &pose.camera, &pose.levels[at]);
        if distance <= stand.lens.focal_length_mm {
            file.note(
                span(),
                format!(
                    "`{}` appears {} from the lens, within its focal length of {}",
                    level.name,
                    Millimetres(distance),
                    Millimetres(stand.lens.focal_length_mm)
                ),
                "a lens forms a picture only of what lies beyond its focal length",
            );
        }
    }
}

fn axes(file: &Table<'_>, levels: &Names<'_>, boards: &Names<'_>) -> Option<Vec<Axis>> {
    let mut axes: Vec<Option<Axis>> = Vec::new();
    for table in file.tables("axis") {
        let axis = axis(&table, levels, boards);
        if let Some((axis, channel)) = &axis {
            for other in axes.iter().flatten() {
                if (other.of, other.way) == (axis.of, axis.way) {
                    table.note(
                        table.span(),
                        format!("a second axis moves the same thing {}", axis.way.name()),
                        "take one of them out",
                    );
                }
                if let (Drive::Motor(one), Drive::Motor(two)) = (&other.drive, &axis.drive)
                    && (one.board, one.channel) == (two.board, two.channel)
                {
                    table.note(
                        channel.clone(),
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
fn axis(table: &Table<'_>, levels: &Names<'_>, boards: &Names<'_>) -> Option<(Axis, Range<usize>)> {
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
        focus_table(table)
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
                let motor = motor_of(table, &motor, unit, boards, travel)?;
                Some((Drive::Motor(motor), channel))
            })
        }
        (None, Some(hand)) => table.as_table(hand, "hand".into()).and_then(|hand| {
            let scale = hand.size("scale", unit)?.value;
            Some((Drive::Hand { scale }, table.span()))
        }),
        (motor, _) => {
            let found = if motor.is_some() { "both" } else { "neither" };
            table.note(
                table.span(),
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

fn focus_table(table: &Table<'_>) -> Option<Vec<(f64, f64)>> {
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
            format!(
                "the `table` of a focus axis has {} rows, but at least 2 are wanted",
                rows.len()
            ),
            "measure it: table = [{ ring = \"0 deg\", distance = \"300 mm\" }, ...]",
        );
        return None;
    }
    let rows: Vec<_> = rows.into_iter().collect::<Option<_>>()?;
    for two in rows.windows(2) {
        let ((ring, distance, _), (next_ring, next_distance, span)) = (&two[0], &two[1]);
        if next_ring <= ring || next_distance <= distance {
            table.note(
                span.clone(),
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
    unit: AxisUnit,
    boards: &Names<'_>,
    travel: Option<(f64, f64)>,
) -> Option<Motor> {
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
            per_turn.span.clone(),
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
                at.span.clone(),
                format!("`{key}` is {}{below}, which is {in_steps} steps{below}, but from 1 to {} is wanted: from {}{below} to {}{below}", InUnit(at.value, unit), u32::MAX, InUnit(step, unit), InUnit(f64::from(u32::MAX) * step, unit)),
                "check the number, its unit and the motor's steps",
            );
        }
    }
    if slow.value > speed.value {
        axis.note(
            slow.span,
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
            switch.span.clone(),
            format!("the home switch is at {}, within the travel from {} to {}, but beyond one of its ends is wanted", InUnit(switch.value, unit), InUnit(least, unit), InUnit(greatest, unit)),
            format!("the axis must be able to leave the switch; write such as switch = \"{home_example}\""),
        );
    }
    if within.value < step {
        axis.note(
            within.span,
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
    })
}

fn shutter(table: &Table<'_>, boards: &Names<'_>) -> Option<Shutter> {
    let board = table
        .text_at("board")
        .and_then(|name| named(table, "`board`", &name, boards));
    let settle = table.time("settle", false);
    let half_press = table.time_or_zero("half_press");
    let press = table.time("press", true);
    let exposure = table.time("exposure", true);
    let delay = if table.has("delay") {
        table.time("delay", false)
    } else {
        Some(DELAY)
    };
    let ready = table.time("ready", false);
    let flash_contact = table.flag("flash_contact", None);
    Some(Shutter {
        board: BoardId(board?),
        settle: settle?,
        half_press: half_press?,
        press: press?,
        exposure: exposure?,
        delay: delay?,
        ready: ready?,
        flash_contact: flash_contact?,
    })
}
