//! What a shot file says of its exposures: drawings that lie on levels, passes, and from where on a
//! move strobes.

use std::path::Path;
use std::time::Duration;

use super::reader::Table;
use super::shot::level;
use crate::schedule::MAX_FRAMES;
use crate::shot::{Cels, Drawing, Pass, Strobing, When};
use crate::stand::{LevelId, Release, Stand};

/// The word for a pane on which nothing lies.
const BARE: &str = "bare";

/// Longest name of a pass, characters.
const MAX_NAME: usize = 40;

/// Most passes of a shot.
const MAX_PASSES: usize = 16;

/// What a list of drawings looks like.
const DRAWINGS: &str = "[\"art/wave-1.png\", \"art/wave-2.png\"]";

/// The stretches of drawings, in the file's order.
pub(super) fn cels(file: &Table<'_>, stand: &Stand, folder: &Path, last: u32) -> Option<Vec<Cels>> {
    let mut all: Vec<Option<Cels>> = Vec::new();
    for table in file.tables("cels") {
        let cels = stretch(&table, stand, folder, last);
        if let Some(cels) = &cels {
            let other = all.iter().flatten().find(|other: &&Cels| {
                other.level == cels.level && other.from <= cels.to && cels.from <= other.to
            });
            if let Some(other) = other {
                table.note(
                    table.span(),
                    format!("frames {} to {}", cels.from, cels.to),
                    format!(
                        "drawings lie on `{}` already from frame {} to frame {}",
                        stand.levels[cels.level.0].name, other.from, other.to
                    ),
                    "let each stretch of a level begin after the one before it has ended: `from`, `to`",
                );
            }
        }
        all.push(cels);
    }
    all.into_iter().collect()
}

fn stretch(table: &Table<'_>, stand: &Stand, folder: &Path, last: u32) -> Option<Cels> {
    let level = level(table, stand).map(|at| at.value);
    let from = table.whole_or("from", 1, last, 1);
    let to = table.whole_or("to", 1, last, last);
    let cycle = table.flag("cycle", Some(false));
    let names = table.texts("drawings", DRAWINGS);
    let holds = holds(table, names.as_ref().map(Vec::len));
    let (from, to) = (from?, to?);
    if from > to {
        table.note(
            table.place_of("to"),
            format!("earlier than {from}"),
            format!("the drawings lie from frame {from} to frame {to}, which is before it"),
            "let `from` be the earlier frame",
        );
        return None;
    }
    let drawings = names?
        .into_iter()
        .zip(holds?)
        .map(|(name, hold)| Drawing {
            art: (name != BARE).then(|| folder.join(name)),
            hold,
        })
        .collect();
    Some(Cels::new(level?, from, to, drawings, cycle?))
}

/// For how many frames each of so many drawings lies: on ones, twos and so on, one number for all,
/// or a number for each.
fn holds(table: &Table<'_>, drawings: Option<usize>) -> Option<Vec<u32>> {
    let count = drawings.unwrap_or(1);
    match (table.has("exposures"), table.has("hold")) {
        (true, true) => {
            table.note(
                table.place_of("hold"),
                "there is `exposures` as well",
                "both `exposures` and `hold` say how long each drawing lies",
                "keep one of them",
            );
            None
        }
        (true, false) => {
            let words = [("ones", 1), ("twos", 2), ("threes", 3), ("fours", 4)];
            let hold = table.word("exposures", &words)?;
            Some(vec![hold; count])
        }
        (false, false) => Some(vec![1; count]),
        (false, true) if table.is_list("hold") => {
            let list = table.list("hold");
            let holds: Option<Vec<u32>> = list
                .iter()
                .map(|value| Some(table.as_whole(value, "hold", 1, MAX_FRAMES)?.value))
                .collect();
            if list.len() != count && drawings.is_some() {
                table.note(
                    table.place_of("hold"),
                    format!("{} numbers, {count} drawings", list.len()),
                    format!(
                        "`hold` has {} numbers, but there are {count} drawings",
                        list.len()
                    ),
                    "write a number of frames for each drawing, or one number for all",
                );
                return None;
            }
            holds
        }
        (false, true) => table
            .whole("hold", 1, MAX_FRAMES)
            .map(|at| vec![at.value; count]),
    }
}

/// The passes; one without a name where the file has none.
pub(super) fn passes(file: &Table<'_>, stand: &Stand, frames: Option<u32>) -> Option<Vec<Pass>> {
    if !file.has("pass") {
        return Some(vec![Pass::only(stand.lamps.len())]);
    }
    let tables = file.tables("pass");
    if tables.is_empty() {
        file.note(
            file.place_of("pass"),
            "no pass is in here",
            "there is no pass in `pass`, but every frame needs one exposure",
            "write [[pass]] with its name, or take `pass` out: then every frame is exposed once",
        );
        return None;
    }
    let mut names: Vec<&str> = Vec::new();
    let mut all: Vec<Option<Pass>> = Vec::new();
    for (place, table) in tables.iter().enumerate() {
        let name = table.name_at("name", MAX_NAME);
        if let Some(name) = &name {
            if names.contains(&name.value) {
                table.note(
                    name.span.clone(),
                    "the second pass of this name",
                    format!("there are two passes called `{}`", name.value),
                    "give each a name of its own",
                );
            }
            names.push(name.value);
        }
        let pass = pass(table, stand, place == 0);
        all.push(name.zip(pass).map(|(name, pass)| Pass {
            name: name.value.to_owned(),
            ..pass
        }));
    }
    if all.len() > MAX_PASSES {
        file.note(
            file.place_of("pass"),
            format!("{} passes", all.len()),
            format!(
                "the shot has {} passes; at most {MAX_PASSES} are exposed",
                all.len()
            ),
            "take some out",
        );
    }
    let exposures = frames.map(|frames| u64::from(frames) * all.len() as u64);
    if exposures.is_some_and(|exposures| exposures > u64::from(MAX_FRAMES)) {
        file.note(
            file.place_of("frames"),
            format!("{} exposures in all", exposures.unwrap_or(0)),
            format!("the frames in all their passes are more than {MAX_FRAMES} exposures"),
            "make two shots of it",
        );
    }
    all.into_iter().collect()
}

fn pass(table: &Table<'_>, stand: &Stand, first: bool) -> Option<Pass> {
    let when = if table.has("when") {
        table.word(
            "when",
            &[
                ("at each frame", When::EachFrame),
                ("after the run", When::AfterRun),
            ],
        )
    } else {
        Some(When::EachFrame)
    };
    if first && when == Some(When::AfterRun) {
        table.note(
            table.place_of("when"),
            "no pass is before it",
            "the first pass cannot come after the run of those before it",
            "take the line out",
        );
    }
    let lamps = if table.has("lamps") {
        let known = || stand.lamps.iter().map(|lamp| lamp.name.as_str());
        members(table, "lamps", known)
    } else {
        Some((0..stand.lamps.len()).collect())
    };
    let known = || stand.levels.iter().map(|level| level.name.as_str());
    let without = members(table, "without", known);
    let exposure = time(table, "exposure");
    let press = time(table, "press");
    if table.has("press") && stand.shutter.timed_by_release {
        table.note(
            table.place_of("press"),
            "the release line times the exposure",
            "`press` says how long the release line is closed, but on this stand that is as long as `exposure`",
            "take the line out; `exposure` says it",
        );
    }
    if let (Release::Command { time_out, .. }, Some(Some(exposure))) =
        (&stand.shutter.release, exposure)
        && exposure >= *time_out
    {
        table.note(
            table.place_of("exposure"),
            format!("the command may take {time_out:?}"),
            format!(
                "the command exposes for {exposure:?}, but the stand ends it after {time_out:?}"
            ),
            "raise `time_out` under the stand's [shutter]",
        );
    }
    if table.has("press") && !matches!(stand.shutter.release, Release::Board { .. }) {
        table.note(
            table.place_of("press"),
            "no board closes a release line",
            "`press` says how long a board closes the release line, but on this stand no board fires the camera",
            "take the line out",
        );
    }
    Some(Pass {
        name: String::new(),
        when: when?,
        lamps: lamps?,
        without: without?.into_iter().map(LevelId).collect(),
        exposure: exposure?,
        press: press?,
    })
}

/// A time that need not be there.
fn time(table: &Table<'_>, key: &'static str) -> Option<Option<Duration>> {
    if table.has(key) {
        table.time(key, true).map(Some)
    } else {
        Some(None)
    }
}

/// Places of the names in a list among those known, rising, each once; none where the key is not
/// there.
fn members<'n, I: Iterator<Item = &'n str> + Clone>(
    table: &Table<'_>,
    key: &'static str,
    known: impl Fn() -> I,
) -> Option<Vec<usize>> {
    let mut places = Vec::new();
    let mut sound = true;
    for value in table.list(key) {
        let Some(name) = table.as_text(value, key) else {
            sound = false;
            continue;
        };
        match known().position(|other| other == name.value) {
            Some(place) if places.contains(&place) => {
                table.note(
                    name.span.clone(),
                    "the second time",
                    format!("`{}` is in `{key}` twice", name.value),
                    "take one out",
                );
            }
            Some(place) => places.push(place),
            None if known().next().is_none() => {
                table.note(
                    name.span.clone(),
                    "there is none",
                    format!("`{key}` names `{}`, but the stand has none", name.value),
                    "add it to the stand, such as a lamp as [[lamp]] with its name",
                );
                sound = false;
            }
            None => {
                table.unknown(&name, &format!("an entry of `{key}`"), known());
                sound = false;
            }
        }
    }
    places.sort_unstable();
    sound.then_some(places)
}

/// From where on a move strobes.
pub(super) fn strobing(file: &Table<'_>) -> Option<Strobing> {
    let rules = Strobing::default();
    if !file.has("strobing") {
        return Some(rules);
    }
    let table = file.table("strobing")?;
    let crossing = time(&table, "crossing");
    let number = |key: &'static str, default: f64| {
        if table.has(key) {
            table.number(key, 0.0, 1e6).map(|at| at.value)
        } else {
            Some(default)
        }
    };
    let strobes_below = number("strobes_below", rules.strobes_below);
    let smears_below = number("smears_below", rules.smears_below);
    let (strobes_below, smears_below) = (strobes_below?, smears_below?);
    if smears_below > strobes_below {
        table.note(
            table.place_of("smears_below"),
            format!("more than {strobes_below}"),
            format!(
                "a smear crosses the picture in fewer frames than a move that strobes, but {smears_below} is more than {strobes_below}"
            ),
            "let `smears_below` be the smaller one",
        );
    }
    Some(Strobing {
        crossing: crossing?.unwrap_or(rules.crossing),
        strobes_below,
        smears_below,
    })
}
