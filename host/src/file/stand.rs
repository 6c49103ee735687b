//! What a stand file means, and whether such a stand can be.

use std::ops::Range;

use jiff::civil::Date;
use panestep_protocol::MAX_NAME;

use super::axis::axes;
use super::reader::{At, Table};
use super::shutter::{arrival, home_check, shutter};
use crate::optics::{apparent_distance_mm, zero_pose};
use crate::stand::{
    AxisUnit, Board, BoardId, Face, Lamp, LampSwitch, Lens, Level, LevelId, Pane, Picture,
    PortName, Stand, Swing,
};
use crate::units::Millimetres;

/// Longest name of a stand, characters.
const MAX_TITLE: usize = 80;

/// Longest name of a level, characters: it stands at the head of a column.
const MAX_LEVEL: usize = 40;

/// Free height between panes where the file says nothing, mm.
const CLEARANCE_MM: f64 = 1.0;

/// Parts of the picture's diagonal of which one is the circle of confusion where the file says
/// nothing (toolsforfilm.com: d/1500).
const SHARP_PART: f64 = 1500.0;

/// Lamp outputs that a board can have: a bit each.
const LAMP_OUTPUTS: u32 = 8;

const MM: AxisUnit = AxisUnit::Millimetre;

/// Names of boards or levels in the file's order, also of those that are unsound otherwise.
pub(super) type Names<'a> = Vec<Option<At<&'a str>>>;

/// Reads every key before it gives up on any, so that all that is wrong is named at once.
pub(super) fn stand(file: &Table<'_>) -> Option<Stand> {
    // Asked for in this order, so that a sound file's own keys stay the only ones that are known.
    if !file.has("lens") && file.has("stand") && file.has("frames") {
        file.leave_rest();
        file.note(
            file.place_of("stand"),
            "here it names its stand",
            "this file describes a shot, not a stand",
            "name the stand's file",
        );
        return None;
    }
    let name = file.name_at("name", MAX_TITLE);
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
    let focal_length_mm = lens.as_ref().map(|lens| lens.focal_length_mm);
    let axes = axes(file, &level_names, &board_names, focal_length_mm);
    let lamps = lamps(file, &board_names);
    let shutter = file
        .table("shutter")
        .and_then(|table| shutter(&table, &board_names));
    let arrival = arrival(file);
    let home_check = home_check(file);
    let stand = Stand {
        name: name?.value.to_owned(),
        lens: lens?,
        boards: boards?,
        levels: levels?,
        axes: axes?,
        lamps: lamps?,
        shutter: shutter?,
        arrival: arrival?,
        home_check: home_check?,
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
                format!("the second {what} of this name"),
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
        let name = table.name_at("name", MAX_TITLE);
        let port = table.text_at("port");
        let stop_tested = stop_tested(&table);
        if let Some(name) = &name
            && name.value.len() > MAX_NAME
        {
            table.note(
                name.span.clone(),
                format!("{} bytes; at most {MAX_NAME}", name.value.len()),
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
                    "the second board on it",
                    format!("two boards are on port `{}`", port.value),
                    "give each board its own port",
                );
            }
            ports.push(port.value);
        }
        let known = name.as_ref().zip(port).zip(stop_tested);
        boards.push(known.map(|((name, port), stop_tested)| Board {
            name: name.value.to_owned(),
            port: match port.value {
                "simulated" => PortName::Simulated,
                serial => PortName::Serial(serial.to_owned()),
            },
            stop_tested,
        }));
        names.push(name);
    }
    unique(file, "board", &names);
    (names, boards.into_iter().collect())
}

fn lamps(file: &Table<'_>, boards: &Names<'_>) -> Option<Vec<Lamp>> {
    let mut names = Names::new();
    let mut lamps: Vec<Option<Lamp>> = Vec::new();
    for table in file.tables("lamp") {
        let name = table.name_at("name", MAX_LEVEL);
        let switched = lamp_switch(&table, boards);
        let warm_up = table.time_or_zero("warm_up");
        if let Some(switched @ LampSwitch::Board { .. }) = switched
            && lamps.iter().flatten().any(|lamp| lamp.switched == switched)
        {
            table.note(
                table.place_of("output"),
                "the second lamp on it",
                "this lamp output already switches another lamp",
                "give every lamp an output of its own",
            );
        }
        lamps.push((|| {
            Some(Lamp {
                name: name.as_ref()?.value.to_owned(),
                switched: switched?,
                warm_up: warm_up?,
            })
        })());
        names.push(name);
    }
    unique(file, "lamp", &names);
    lamps.into_iter().collect()
}

/// What switches a lamp: a board's output, or a person.
fn lamp_switch(table: &Table<'_>, boards: &Names<'_>) -> Option<LampSwitch> {
    match (table.has("board"), table.has("by_hand")) {
        (true, false) => {
            let board = table
                .text_at("board")
                .and_then(|name| named(table, "`board`", &name, boards));
            let output = table.whole("output", 0, LAMP_OUTPUTS - 1);
            Some(LampSwitch::Board {
                board: BoardId(board?),
                output: output?.value as u8,
            })
        }
        (false, true) => {
            if table.flag("by_hand", None)? {
                return Some(LampSwitch::Hand);
            }
            table.note(
                table.place_of("by_hand"),
                "then what does?",
                "`by_hand` is false, and nothing else here says what switches the lamp",
                "put `board = ...` and `output = ...` in its place, or make it `true`",
            );
            None
        }
        (both, _) => {
            table.note(
                table.span(),
                if both {
                    "both are here"
                } else {
                    "nothing of it here"
                },
                if both {
                    "a lamp is switched by a board or by hand, not by both"
                } else {
                    "the lamp does not say what switches it"
                },
                "write `board = ...` with `output = 0` or higher for a board's lamp output, or \
                 `by_hand = true`",
            );
            table.leave_rest();
            None
        }
    }
}

/// The day of a board's stop test; `None` where what is written is none.
fn stop_tested(table: &Table<'_>) -> Option<Option<Date>> {
    if !table.has("stop_tested") {
        return Some(None);
    }
    let text = table.text_at("stop_tested")?;
    if let Ok(date) = text.value.parse() {
        return Some(Some(date));
    }
    table.note(
        text.span.clone(),
        "not a date",
        format!("`stop_tested` is `{}`, but a date is wanted", text.value),
        "write the day of the stop test as year-month-day, such as \"2026-11-26\"; `panestep \
         power-up` makes the test and writes it",
    );
    None
}

fn levels<'a>(file: &Table<'a>) -> (Names<'a>, Option<Vec<Level>>, Vec<Range<usize>>) {
    let mut names = Names::new();
    let mut levels = Vec::new();
    let mut spans = Vec::new();
    for table in file.tables("level") {
        let name = table.name_at("name", MAX_LEVEL);
        let height = table.size("height", MM);
        let pane = table.table("pane").and_then(|table| pane(&table));
        let swing = swing(&table);
        if let Some(name) = &name
            && name.value == "camera"
        {
            table.note(
                name.span.clone(),
                "means the camera itself",
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
                swing: swing?,
            })
        })());
        names.push(name);
    }
    if levels.is_empty() {
        file.note_whole(
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
            "less than air has",
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
    let sharp = table
        .has("circle_of_confusion")
        .then(|| table.size("circle_of_confusion", MM).map(|at| at.value));
    let swing = swing(table);
    let picture = picture?;
    let diagonal_mm = picture.width_mm.hypot(picture.height_mm);
    Some(Lens {
        focal_length_mm: focal_length?.value,
        f_number: f_number?.value,
        picture,
        height_mm: height?.value,
        focus: LevelId(focus?),
        circle_of_confusion_mm: sharp.unwrap_or(Some(diagonal_mm / SHARP_PART))?,
        swing: swing?,
    })
}

/// How a level or the camera swings; `None` where what is written is nothing of the kind.
fn swing(table: &Table<'_>) -> Option<Option<Swing>> {
    if !table.has("swing") {
        return Some(None);
    }
    let table = table.table("swing")?;
    let frequency = table.frequency("frequency");
    // From 1 on nothing swings any more.
    let damping = table.number("damping", 0.0, 0.999);
    Some(Some(Swing {
        frequency_hz: frequency?.value,
        damping: damping?.value,
    }))
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
            columns.span.start..rows.span.end, format!("{pixels:.3} : 1, but the millimetres say {shape:.3} : 1"),
            format!("the picture is {shape:.3} times as wide as high in millimetres, but {pixels:.3} times in pixels; pixels are square"),
            "give the size of the part of the sensor that these pixels cover",
        );
    }
    Some(picture)
}

/// The place of a name among those there are; notes where it is none of them.
pub(super) fn named(
    table: &Table<'_>,
    what: &str,
    name: &At<&str>,
    names: &Names<'_>,
) -> Option<usize> {
    let found = names.iter().position(|other| {
        other
            .as_ref()
            .is_some_and(|other| other.value == name.value)
    });
    if found.is_none() && names.is_empty() {
        table.note(
            name.span.clone(),
            "there is none",
            format!(
                "{what} is `{}`, but the file has none of them at all",
                name.value
            ),
            "add it, with its name: a board as [[board]] with its port, a level as [[level]]",
        );
    } else if found.is_none() {
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
                "too low for this glass",
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
                "the glass reaches the lens",
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
                        "{} too close to the level above",
                        Millimetres(stand.clearance_mm - gap)
                    ),
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
                "nearer than the focal length",
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
