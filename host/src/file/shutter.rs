//! What a stand file says of the camera: what fires it, where its pictures arrive, and how often
//! the axes' homes are checked between them.

use std::time::Duration;

use super::reader::{At, Table};
use super::stand::{Names, named};
use crate::stand::{Arrival, BoardId, Release, Shutter};

/// From release to the opening of the shutter where the file says nothing: longer than most
/// cameras take (common practice, no source).
const DELAY: Duration = Duration::from_millis(200);

/// Most frames between two home checks.
const MOST_FRAMES: u32 = 100_000;

/// The ways of firing: the key that names each, and what it is.
const WAYS: [(&str, &str); 3] = [
    ("board", "a board's release line"),
    ("command", "a command"),
    ("by_hand", "a person"),
];

/// Keys that go with one way of firing alone: the key, its way, and what it says.
const FITTING: [(&str, &str, &str); 5] = [
    (
        "half_press",
        "board",
        "how long a board half-presses the release",
    ),
    ("press", "board", "how long a board closes the release line"),
    (
        "flash_contact",
        "board",
        "whether the flash contact is wired to a board",
    ),
    (
        "timed_by",
        "board",
        "whether a board's release line times the exposure",
    ),
    ("time_out", "command", "how long a command may take"),
];

pub(super) fn shutter(table: &Table<'_>, boards: &Names<'_>) -> Option<Shutter> {
    let settle = table.time("settle", false);
    let exposure = table.time("exposure", true);
    let timed_by_release = if table.has("timed_by") {
        table.word("timed_by", &[("camera", false), ("release", true)])
    } else {
        Some(false)
    };
    // Where it times the exposure, the line need not be given a time of its own.
    let by_line = exposure.filter(|_| timed_by_release == Some(true));
    let release = release(table, boards, exposure, by_line);
    let delay = if table.has("delay") {
        table.time("delay", false)
    } else {
        Some(DELAY)
    };
    let ready = table.time("ready", false);
    Some(Shutter {
        release: release?,
        settle: settle?,
        exposure: exposure?,
        delay: delay?,
        ready: ready?,
        timed_by_release: timed_by_release?,
    })
}

/// What fires the camera: exactly one of the ways, with its own keys and none of another's.
fn release(
    table: &Table<'_>,
    boards: &Names<'_>,
    exposure: Option<Duration>,
    by_line: Option<Duration>,
) -> Option<Release> {
    let named_ways: Vec<(&str, &str)> = WAYS.into_iter().filter(|way| table.has(way.0)).collect();
    let present: Vec<_> = FITTING.into_iter().filter(|key| table.has(key.0)).collect();
    match named_ways[..] {
        [] => {
            table.note(
                table.span(),
                "no `board`, `command` or `by_hand` in here",
                "`shutter` does not say what fires the camera",
                "add `board = ...` for a board's release line, `command = [...]` for a program \
                 of your own, or `by_hand = true` for a finger on the release",
            );
            None
        }
        [(way, who)] => {
            for (key, goes_with, says) in present {
                if goes_with != way {
                    table.note(
                        table.place_of(key),
                        format!("does not go with `{way}`"),
                        format!("`{key}` says {says}, but here {who} fires the camera"),
                        format!("take the line out, or put `{goes_with}` in place of `{way}`"),
                    );
                }
            }
            match way {
                "board" => by_board(table, boards, by_line),
                "command" => by_command(table, exposure),
                _ => by_hand(table),
            }
        }
        [(first, _), .., (last, _)] => {
            let list: Vec<_> = named_ways
                .iter()
                .map(|way| format!("`{}`", way.0))
                .collect();
            table.note(
                table.place_of(last),
                format!("there is `{first}` as well"),
                format!(
                    "`shutter` has {}, but only one of them can fire the camera",
                    list.join(" and ")
                ),
                "keep the one that does, with its own keys, and take the others out",
            );
            None
        }
    }
}

fn by_board(table: &Table<'_>, boards: &Names<'_>, by_line: Option<Duration>) -> Option<Release> {
    let board = table
        .text_at("board")
        .and_then(|name| named(table, "`board`", &name, boards));
    let half_press = table.time_or_zero("half_press");
    let press = match by_line {
        Some(exposure) if !table.has("press") => Some(exposure),
        _ => table.time("press", true),
    };
    if let (Some(press), Some(exposure)) = (press, by_line)
        && press != exposure
    {
        table.note(
            table.place_of("press"),
            format!("not the {exposure:?} of `exposure`"),
            format!(
                "the release line is closed for {press:?} and times the exposure, which is {exposure:?}"
            ),
            "take `press` out: it is as long as `exposure`; or let `timed_by` be \"camera\"",
        );
    }
    let flash_contact = table.flag("flash_contact", None);
    Some(Release::Board {
        board: BoardId(board?),
        half_press: half_press?,
        press: press?,
        flash_contact: flash_contact?,
    })
}

fn by_command(table: &Table<'_>, exposure: Option<Duration>) -> Option<Release> {
    let words = table.texts("command", "[\"./photograph\", \"{frame}\"]");
    let time_out = table.time("time_out", true);
    if let (Some(time_out), Some(exposure)) = (time_out, exposure)
        && exposure >= time_out
    {
        table.note(
            table.place_of("time_out"),
            "the exposure alone takes as long",
            format!("the command may take {time_out:?}, but exposes for {exposure:?}"),
            "give it time for the exposure and for all that it does besides",
        );
    }
    Some(Release::Command {
        words: words?.into_iter().map(str::to_owned).collect(),
        time_out: time_out?,
    })
}

fn by_hand(table: &Table<'_>) -> Option<Release> {
    if table.flag("by_hand", None)? {
        return Some(Release::Hand);
    }
    table.note(
        table.place_of("by_hand"),
        "then what does?",
        "`by_hand` is false, and nothing else here says what fires the camera",
        "put `board = ...` or `command = [...]` in its place, or make it `true`",
    );
    None
}

/// The folder that pictures arrive in, where there is one.
pub(super) fn arrival(file: &Table<'_>) -> Option<Option<Arrival>> {
    if !file.has("pictures") {
        return Some(None);
    }
    let table = file.table("pictures")?;
    let folder = table.text_at("folder");
    let within = table.time("within", true);
    Some(Some(Arrival {
        folder: folder?.value.to_owned(),
        within: within?,
    }))
}

/// How many exposures are made between two home checks; 0 without the table.
pub(super) fn home_check(file: &Table<'_>) -> Option<u32> {
    if !file.has("home_check") {
        return Some(0);
    }
    let table = file.table("home_check")?;
    table
        .whole("every", 1, MOST_FRAMES)
        .map(|At { value, .. }| value)
}
