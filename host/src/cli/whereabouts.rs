//! `panestep where`: where every axis is, and how every switch and board stands.

use std::io::{self, BufWriter, Write};

use panestep::link::words;
use panestep::schedule::Schedule;
use panestep::stand::{Drive, Stand};
use panestep::take::{AxisSeen, Seen};
use panestep::units::InUnit;
use serde_json::{Value, json};

use super::Failure;
use super::args::{self, Format};
use super::at_stand::{Place, stood};
use super::screen::say;

/// Writes it to standard output.
pub(crate) fn whereabouts(typed: &args::Where) -> Result<(), Failure> {
    let place = Place::new(&typed.at)?;
    let schedule = place.schedule()?;
    let seen = place.attend(&schedule, &mut (), |attended| {
        attended.look().map_err(|error| stood(&error))
    })?;
    let stand = place.stand();
    if place.rig.is_simulated() {
        say(
            "the stand is simulated inside this program: it is a new one each time, and nothing on \
             it has been homed yet",
        );
    }
    let mut out = BufWriter::new(io::stdout().lock());
    match typed.format {
        Format::Table => table(stand, &schedule, &seen, &mut out),
        Format::Json => as_json(stand, &schedule, &seen, &mut out),
        Format::Csv => csv(stand, &schedule, &seen, &mut out),
    }
    .and_then(|()| out.flush())
    .map_err(|error| Failure::output(&error))
}

/// An axis of the stand, with what its board says where it has one.
struct Row<'a> {
    of: &'a str,
    way: &'static str,
    unit: panestep::stand::AxisUnit,
    board: Option<&'a str>,
    seen: Option<&'a AxisSeen>,
}

fn rows<'a>(
    stand: &'a Stand,
    schedule: &'a Schedule,
    seen: &'a Seen,
) -> impl Iterator<Item = Row<'a>> {
    let mut motors = seen.axes.iter();
    stand.axes.iter().map(move |axis| {
        let motor = match axis.drive {
            Drive::Motor(_) => motors.next(),
            Drive::Hand { .. } => None,
        };
        Row {
            of: stand.carrier_name(axis.of),
            way: axis.way.name(),
            unit: axis.way.unit(),
            board: motor.map(|motor| schedule.boards[motor.board].as_str()),
            seen: motor,
        }
    })
}

fn open(open: bool) -> &'static str {
    if open { "open" } else { "closed" }
}

fn yes(yes: bool) -> &'static str {
    if yes { "yes" } else { "no" }
}

fn on(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}

fn table(stand: &Stand, schedule: &Schedule, seen: &Seen, out: &mut impl Write) -> io::Result<()> {
    let mut cells = vec![
        [
            "level",
            "axis",
            "position",
            "steps",
            "homed",
            "home switch",
            "far switch",
            "drivers",
            "board",
        ]
        .map(str::to_owned),
    ];
    for row in rows(stand, schedule, seen) {
        cells.push(match row.seen {
            None => [row.of, row.way, "by hand", "", "", "", "", "", ""].map(str::to_owned),
            Some(axis) => [
                row.of.to_owned(),
                row.way.to_owned(),
                if axis.homed {
                    InUnit(axis.position, row.unit).to_string()
                } else {
                    "unknown".to_owned()
                },
                axis.steps.to_string(),
                yes(axis.homed).to_owned(),
                open(axis.home_open).to_owned(),
                open(axis.far_open).to_owned(),
                on(seen.boards[axis.board].status.drivers).to_owned(),
                row.board.unwrap_or_default().to_owned(),
            ],
        });
    }
    let mut widths = [0; 9];
    for row in &cells {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    for row in &cells {
        let mut line = String::new();
        for (column, (cell, width)) in row.iter().zip(widths).enumerate() {
            let pad = " ".repeat(width - cell.chars().count());
            // Numbers end below each other.
            let numbers = column == 2 || column == 3;
            if numbers {
                line.push_str(&pad);
            }
            line.push_str(cell);
            if !numbers {
                line.push_str(&pad);
            }
            line.push_str("  ");
        }
        writeln!(out, "{}", line.trim_end())?;
    }
    writeln!(out)?;
    for (place, board) in seen.boards.iter().enumerate() {
        let status = &board.status;
        let name = |axis: panestep_protocol::AxisIndex| axis_name(schedule, place, axis.0);
        write!(
            out,
            "board {}: stop circuit {}, drivers {}, {}",
            board.name,
            open(status.switches.stop),
            on(status.drivers),
            words::activity(status.activity, &name)
        )?;
        match stand.boards.get(place).and_then(|board| board.stop_tested) {
            Some(date) => writeln!(out, "; stop tested {date}")?,
            None if schedule.motors.iter().all(|axis| axis.board != place) => {
                writeln!(out, "; it moves nothing")?;
            }
            None => writeln!(out, "; stop not tested yet")?,
        }
        if let Some(halt) = &board.halt {
            writeln!(out, "  it has stopped: {halt}")?;
        }
    }
    Ok(())
}

fn axis_name(schedule: &Schedule, board: usize, channel: u8) -> String {
    let mut motors = schedule.motors.iter();
    motors
        .find(|axis| (axis.board, axis.channel) == (board, channel))
        .map_or_else(|| format!("axis {channel}"), |axis| axis.name())
}

fn as_json(
    stand: &Stand,
    schedule: &Schedule,
    seen: &Seen,
    out: &mut impl Write,
) -> io::Result<()> {
    let boards: Vec<Value> = seen
        .boards
        .iter()
        .enumerate()
        .map(|(place, board)| {
            let status = &board.status;
            let name = |axis: panestep_protocol::AxisIndex| axis_name(schedule, place, axis.0);
            let tested = stand.boards.get(place).and_then(|board| board.stop_tested);
            json!({
                "name": board.name,
                "stop": open(status.switches.stop),
                "drivers": status.drivers,
                "activity": words::activity(status.activity, &name),
                "halt": board.halt,
                "stop_tested": tested.map(|date| date.to_string()),
            })
        })
        .collect();
    let axes: Vec<Value> = rows(stand, schedule, seen)
        .map(|row| match row.seen {
            None => json!({ "of": row.of, "direction": row.way, "by_hand": true }),
            Some(axis) => json!({
                "of": row.of,
                "direction": row.way,
                "by_hand": false,
                "board": row.board,
                "position": axis.homed.then_some(axis.position),
                "unit": row.unit.sign(),
                "steps": axis.steps,
                "homed": axis.homed,
                "home_switch": open(axis.home_open),
                "far_switch": open(axis.far_open),
            }),
        })
        .collect();
    let document = json!({ "stand": stand.name, "boards": boards, "axes": axes });
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}

fn csv(stand: &Stand, schedule: &Schedule, seen: &Seen, out: &mut impl Write) -> io::Result<()> {
    let mut table = csv::Writer::from_writer(out);
    table.write_record([
        "of",
        "direction",
        "by_hand",
        "board",
        "position",
        "unit",
        "steps",
        "homed",
        "home_switch",
        "far_switch",
        "drivers",
        "stop",
        "halt",
    ])?;
    for row in rows(stand, schedule, seen) {
        let Some(axis) = row.seen else {
            let mut cells = [""; 13];
            (cells[0], cells[1], cells[2], cells[5]) = (row.of, row.way, "yes", row.unit.sign());
            table.write_record(cells)?;
            continue;
        };
        let board = &seen.boards[axis.board];
        let position = if axis.homed {
            format!("{:.6}", axis.position)
        } else {
            String::new()
        };
        table.write_record([
            row.of,
            row.way,
            "no",
            row.board.unwrap_or_default(),
            &position,
            row.unit.sign(),
            &axis.steps.to_string(),
            yes(axis.homed),
            open(axis.home_open),
            open(axis.far_open),
            on(board.status.drivers),
            open(board.status.switches.stop),
            board.halt.as_deref().unwrap_or_default(),
        ])?;
    }
    table.flush()
}
