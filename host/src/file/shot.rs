//! What a shot file means on a given stand.

use std::path::Path;

use super::exposures::{cels, passes, strobing};
use super::reader::{At, Table};
use crate::schedule::MAX_FRAMES;
use crate::shot::{Distance, FocusKey, Key, Layer, Shift, ShiftTrack, Shot, Track, Viewer};
use crate::stand::{AxisUnit, Carrier, LevelId, Stand, Way};

/// Longest name of a shot, characters.
const MAX_NAME: usize = 80;

const MM: AxisUnit = AxisUnit::Millimetre;
const DEGREES: AxisUnit = AxisUnit::Degree;

/// The words for a level's own move: the way and the sign.
const DIRECTIONS: [(&str, (Way, f64)); 7] = [
    ("east", (Way::East, 1.0)),
    ("west", (Way::East, -1.0)),
    ("north", (Way::North, 1.0)),
    ("south", (Way::North, -1.0)),
    ("up", (Way::Lift, 1.0)),
    ("down", (Way::Lift, -1.0)),
    ("turn", (Way::Turn, 1.0)),
];

/// Reads every key before it gives up on any, so that all that is wrong is named at once.
///
/// `places` are those of the stand's levels in its own file, for messages, where they are known.
pub(super) fn shot(
    file: &Table<'_>,
    stand: &Stand,
    folder: &Path,
    places: &[String],
) -> Option<Shot> {
    let name = file.name_at("name", MAX_NAME);
    file.text("stand");
    let frames = file.whole("frames", 1, MAX_FRAMES).map(|at| at.value);
    let rate = file.number("rate", 0.0, 1000.0);
    let hold = file.word(
        "exposures",
        &[("ones", 1), ("twos", 2), ("threes", 3), ("fours", 4)],
    );
    // Where the length is unknown, later frames cannot be told to be wrong.
    let last = frames.unwrap_or(MAX_FRAMES);
    let reference_frame = file.whole_or("reference_frame", 1, last, 1);
    let layers = layers(file, stand, folder, places);
    let viewer = if file.has("viewer") {
        file.table("viewer").and_then(|table| viewer(&table, last))
    } else {
        Some(Viewer::default())
    };
    let shifts: Option<Vec<Shift>> = file
        .tables("shift")
        .iter()
        .map(|table| shift(table, stand, last))
        .collect();
    let camera = if file.has("camera") {
        file.table("camera")
            .and_then(|table| camera(&table, stand, last))
    } else {
        Some(Vec::new())
    };
    let focus = if file.has("focus") {
        file.table("focus")
            .and_then(|table| focus(&table, stand, last))
    } else {
        Some(Vec::new())
    };
    let cels = cels(file, stand, folder, last);
    let passes = passes(file, stand, frames);
    let strobing = strobing(file);
    Some(Shot {
        name: name?.value.to_owned(),
        frames: frames?,
        rate: rate?.value,
        hold: hold?,
        layers: layers?,
        viewer: viewer?,
        shifts: shifts?,
        camera: camera?,
        focus: focus?,
        reference_frame: reference_frame?,
        cels: cels?,
        passes: passes?,
        strobing: strobing?,
    })
}

pub(super) fn level(table: &Table<'_>, stand: &Stand) -> Option<At<LevelId>> {
    let name = table.text_at("level")?;
    let found = stand
        .levels
        .iter()
        .position(|level| level.name == name.value);
    if found.is_none() {
        table.unknown(
            &name,
            "`level`",
            stand.levels.iter().map(|level| level.name.as_str()),
        );
    }
    Some(At {
        value: LevelId(found?),
        span: name.span,
    })
}

fn layers(file: &Table<'_>, stand: &Stand, folder: &Path, places: &[String]) -> Option<Vec<Layer>> {
    let mut layers: Vec<Option<Layer>> = stand.levels.iter().map(|_| None).collect();
    let mut seen = vec![false; stand.levels.len()];
    let mut sound = true;
    let mut end = file.place_of("stand");
    for table in file.tables("layer") {
        end = table.span();
        let id = level(&table, stand);
        if let Some(At {
            value: LevelId(at),
            span,
        }) = &id
            && std::mem::replace(&mut seen[*at], true)
        {
            table.note(
                span.clone(),
                "the second layer on it",
                format!("a second layer is on level `{}`", stand.levels[*at].name),
                "put exactly one layer on every level",
            );
        }
        // An unknown level may be a known one misspelt: that one is not missing as well.
        sound &= id.is_some();
        let layer = layer(&table, id.as_ref().map(|at| at.value), stand, folder);
        if let (Some(LevelId(at)), Some(layer)) = (id.map(|at| at.value), layer) {
            layers[at] = Some(layer);
        }
    }
    if sound {
        let missing = stand.levels.iter().enumerate().zip(&seen);
        for ((at, level), _) in missing.filter(|(_, seen)| !**seen) {
            let place = places
                .get(at)
                .map_or(String::new(), |at| format!(" ({at})"));
            file.note(
                end.clone(),
                format!("no layer for `{}` up to here", level.name),
                format!(
                    "the stand has a level `{}`{place}, but the shot has no layer for it",
                    level.name
                ),
                format!(
                    "add a [[layer]] with level = \"{}\"; without `art` its pane is bare",
                    level.name
                ),
            );
        }
    }
    layers.into_iter().collect()
}

fn layer(table: &Table<'_>, level: Option<LevelId>, stand: &Stand, folder: &Path) -> Option<Layer> {
    let distance = table
        .size_or("distance", "far")
        .map(|at| at.map_or(Distance::Far, |at| Distance::At(at.value)));
    let art = if table.has("art") {
        Some(table.text("art"))
    } else {
        None
    };
    let width = table.has("art_width").then(|| table.size("art_width", MM));
    let centre = table.has("art_centre").then(|| {
        let [east, north] = table.pair("art_centre")?;
        let east = table.as_length(east, "art_centre");
        let north = table.as_length(north, "art_centre");
        Some((east?.value, north?.value))
    });
    let level = level?;
    Some(Layer {
        level,
        distance: distance?,
        art: match art {
            Some(art) => Some(folder.join(art?)),
            None => None,
        },
        art_width_mm: match width {
            Some(width) => width?.value,
            None => stand.levels[level.0].pane.width_mm,
        },
        art_centre_mm: centre.unwrap_or(Some((0.0, 0.0)))?,
    })
}

/// Reads the list `keys`: frames that rise, a value here and there, fairings that leave each
/// other room. One track for each of `values`, of the keys that state it.
fn tracks<const N: usize>(
    table: &Table<'_>,
    last: u32,
    values: [(&'static str, AxisUnit); N],
) -> Option<[Track; N]> {
    let mut tracks: [Vec<(Key, std::ops::Range<usize>)>; N] = std::array::from_fn(|_| Vec::new());
    let mut before = 0;
    let mut sound = true;
    let keys = table.tables("keys");
    if keys.is_empty() {
        table.note(
            table.span(),
            "no key is in here",
            "there is no key in `keys`",
            "write keys = [{ frame = 1, ... }, ...], or take the table out",
        );
        return None;
    }
    for key in keys {
        let frame = rising(&key, last, &mut before);
        let fairing = key.whole_or("fairing", 0, last, 0);
        sound &= frame.is_some() && fairing.is_some();
        let mut stated = 0;
        for ((name, unit), track) in values.into_iter().zip(&mut tracks) {
            if !key.has(name) {
                continue;
            }
            stated += 1;
            match (key.place(name, unit), frame, fairing) {
                (Some(value), Some(frame), Some(fairing)) => {
                    track.push((
                        Key {
                            frame,
                            value: value.value,
                            fairing,
                        },
                        key.span(),
                    ));
                }
                _ => sound = false,
            }
        }
        if stated == 0 {
            let names = values.map(|(name, _)| format!("`{name}`")).join(", ");
            key.note(
                key.span(),
                "a frame, but no value",
                format!("this key states no value: at least one of {names} is wanted"),
                "add one or take the key out",
            );
        }
    }
    for ((name, _), track) in values.into_iter().zip(&tracks) {
        for two in track.windows(2) {
            let ((one, _), (two, span)) = (&two[0], &two[1]);
            room(
                table,
                name,
                (one.frame, one.fairing),
                (two.frame, two.fairing),
                span,
            );
        }
    }
    sound.then(|| {
        tracks.map(|track| Track {
            keys: track.into_iter().map(|(key, _)| key).collect(),
        })
    })
}

/// A key's frame, which is beyond the one before it.
fn rising(key: &Table<'_>, last: u32, before: &mut u32) -> Option<u32> {
    let frame = key.whole("frame", 1, last)?;
    if frame.value <= *before {
        key.note(frame.span, format!("not after {before}"), format!("the key at frame {} comes after one at frame {before}, but frames must rise from key to key", frame.value), "sort the keys by frame; one key for each frame");
        return None;
    }
    *before = frame.value;
    Some(frame.value)
}

/// The frames over which a move gathers speed and those over which it loses it do not overlap.
fn room(
    table: &Table<'_>,
    name: &str,
    one: (u32, u32),
    two: (u32, u32),
    span: &std::ops::Range<usize>,
) {
    let between = two.0 - one.0;
    let fairings = u64::from(one.1) + u64::from(two.1);
    if fairings > u64::from(between) {
        table.note(
            span.clone(), format!("{fairings} frames of fairing, {between} frames from key to key"),
            format!("`{name}` has fairings of {} and {} frames between the keys at frames {} and {}, but only {between} frames lie between them", one.1, two.1, one.0, two.0),
            format!("shorten them to {between} frames together"),
        );
    }
}

fn viewer(table: &Table<'_>, last: u32) -> Option<Viewer> {
    let values = [
        ("east", MM),
        ("north", MM),
        ("ahead", MM),
        ("roll", DEGREES),
    ];
    let [east, north, ahead, roll] = tracks(table, last, values)?;
    Some(Viewer {
        east,
        north,
        ahead,
        roll,
    })
}

fn camera(table: &Table<'_>, stand: &Stand, last: u32) -> Option<Vec<(Way, Track)>> {
    let ways = [Way::East, Way::North, Way::Lift, Way::Turn];
    let tracks = tracks(table, last, ways.map(|way| (way.name(), way.unit())))?;
    let tracks: Vec<_> = ways
        .into_iter()
        .zip(tracks)
        .filter(|(_, track)| !track.keys.is_empty())
        .collect();
    for (way, _) in &tracks {
        axis(table, "keys", stand, Carrier::Camera, *way);
    }
    Some(tracks)
}

/// Notes where the stand has no axis for a move.
fn axis(table: &Table<'_>, key: &str, stand: &Stand, of: Carrier, way: Way) {
    if stand.axis(of, way).is_none() {
        let (of, way) = (stand.carrier_name(of), way.name());
        table.note(
            table.place_of(key), "no axis moves it this way",
            format!("this moves `{of}` along `{way}`, but the stand has no such axis"),
            format!("add an [[axis]] with of = \"{of}\" and direction = \"{way}\" to the stand, or take the move out"),
        );
    }
}

fn shift(table: &Table<'_>, stand: &Stand, last: u32) -> Option<Shift> {
    let level = level(table, stand).map(|at| at.value);
    let Some((way, sign)) = table.word("direction", &DIRECTIONS) else {
        // Without its direction the unit of its size is unknown.
        table.leave_rest();
        return None;
    };
    if let Some(level) = level {
        axis(table, "direction", stand, Carrier::Level(level), way);
    }
    let unit = way.unit();
    let track = match (table.has("per_frame"), table.has("keys")) {
        (true, false) => {
            let amount = table.place("per_frame", unit);
            let from = table.whole_or("from", 1, last, 1);
            let to = table.whole_or("to", 1, last, last);
            let (amount, from, to) = (amount?, from?, to?);
            if from > to {
                table.note(
                    table.place_of("to"),
                    format!("earlier than {from}"),
                    format!("the move is from frame {from} to frame {to}, which is before it"),
                    "let `from` be the earlier frame",
                );
            }
            ShiftTrack::PerFrame {
                amount: sign * amount.value,
                from,
                to,
            }
        }
        (false, true) => {
            let [mut track] = tracks(table, last, [("by", unit)])?;
            for key in &mut track.keys {
                key.value *= sign;
            }
            ShiftTrack::Keys(track)
        }
        (both, _) => {
            let found = if both { "both" } else { "neither" };
            table.note(table.span(), format!("{found} is here"), format!("the shift has {found} of `per_frame` and `keys`, but exactly one is wanted"), "say how far it goes: per_frame = \"1/32 in\" or keys = [{ frame = 1, by = \"0 mm\" }, ...]");
            table.leave_rest();
            return None;
        }
    };
    Some(Shift {
        level: level?,
        way,
        track,
    })
}

fn focus(table: &Table<'_>, stand: &Stand, last: u32) -> Option<Vec<FocusKey>> {
    axis(table, "keys", stand, Carrier::Camera, Way::Focus);
    let mut before = 0;
    let keys: Vec<_> = table
        .tables("keys")
        .iter()
        .map(|key| {
            let frame = rising(key, last, &mut before);
            let level = level(key, stand).map(|at| at.value);
            let fairing = key.whole_or("fairing", 0, last, 0);
            Some((
                FocusKey {
                    frame: frame?,
                    level: level?,
                    fairing: fairing?,
                },
                key.span(),
            ))
        })
        .collect();
    if keys.is_empty() {
        table.note(
            table.span(),
            "no key is in here",
            "there is no key in `keys`",
            "write keys = [{ frame = 1, level = ... }, ...], or take the table out",
        );
    }
    let keys: Vec<_> = keys.into_iter().collect::<Option<_>>()?;
    for two in keys.windows(2) {
        let ((one, _), (two, span)) = (&two[0], &two[1]);
        room(
            table,
            "focus",
            (one.frame, one.fairing),
            (two.frame, two.fairing),
            span,
        );
    }
    Some(keys.into_iter().map(|(key, _)| key).collect())
}
