//! What a take has to know of the exposures of a shot: how, with which lamps, levels and drawings.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use crate::schedule::{EXPOSURE_WORD, Exposure, Laid, Lamp, Pass, Release};
use crate::shot::Shot;
use crate::stand::{self, LampSwitch, LevelId, Stand};

/// The stand's lamps.
pub(super) fn lamps(stand: &Stand) -> Vec<Lamp> {
    let lamp = |lamp: &stand::Lamp| Lamp {
        name: lamp.name.clone(),
        output: match lamp.switched {
            LampSwitch::Board { board, output } => Some((board.0, output)),
            LampSwitch::Hand => None,
        },
        warm_up: lamp.warm_up,
    };
    stand.lamps.iter().map(lamp).collect()
}

/// The passes of a shot.
pub(super) fn passes(stand: &Stand, shot: &Shot) -> Vec<Pass> {
    let shutter = &stand.shutter;
    let (own_press, told) = match &shutter.release {
        stand::Release::Board { press, .. } => (*press, shutter.timed_by_release),
        // The program itself is told nothing.
        stand::Release::Command { words, .. } => (
            Duration::ZERO,
            words
                .iter()
                .skip(1)
                .any(|word| word.contains(EXPOSURE_WORD)),
        ),
        stand::Release::Hand => (Duration::ZERO, false),
    };
    let time = |pass: &crate::shot::Pass| pass.exposure.unwrap_or(shutter.exposure);
    // Where a person sets the camera for one pass, somebody has to set it for the others too.
    let set_by_hand = !told
        && shot
            .passes
            .iter()
            .any(|pass| time(pass) != shutter.exposure);
    shot.passes
        .iter()
        .map(|pass| {
            let exposure = time(pass);
            let press = if shutter.timed_by_release {
                exposure
            } else {
                pass.press.unwrap_or(own_press)
            };
            Pass {
                name: pass.name.clone(),
                when: pass.when,
                lamps: pass.lamps.clone(),
                without: pass
                    .without
                    .iter()
                    .map(|&LevelId(level)| stand.levels[level].name.clone())
                    .collect(),
                exposure,
                press,
                // The line may be held longer than the shutter is open.
                window: shutter.delay.saturating_add(exposure).max(press),
                set_by_hand,
            }
        })
        .collect()
}

/// The drawings that lie on levels, from which frame on. For a level on which no drawing ever lies
/// nothing is said.
pub(super) fn laid(stand: &Stand, shot: &Shot) -> Vec<Laid> {
    let mut all = Vec::new();
    for (place, level) in stand.levels.iter().enumerate() {
        let id = LevelId(place);
        if !shot.cels.iter().any(|cels| cels.level == id) {
            continue;
        }
        let mut every: Vec<&Path> = shot
            .cels
            .iter()
            .filter(|cels| cels.level == id)
            .flat_map(|cels| cels.drawings())
            .filter_map(|drawing| drawing.art.as_deref())
            .chain(shot.layers[place].art.as_deref())
            .collect();
        every.sort_unstable();
        every.dedup();
        let mut names: BTreeMap<&Path, String> = BTreeMap::new();
        for &art in &every {
            names.insert(art, name_of(art, &every));
        }
        let mut before = None;
        for frame in 1..=shot.frames {
            let art = shot.art_at(id, frame);
            if before != Some(art) {
                all.push(Laid {
                    frame,
                    on: level.name.clone(),
                    drawing: art.and_then(|art| names.get(art).cloned()),
                });
                before = Some(art);
            }
        }
    }
    all.sort_by_key(|laid| laid.frame);
    all
}

/// What a drawing is called: its file's name, without folder and ending, and with as much of its
/// folder as tells it from the other drawings of its level.
fn name_of(art: &Path, all: &[&Path]) -> String {
    let text = |path: &Path| path.to_string_lossy().into_owned();
    let mut name = PathBuf::from(art.file_stem().unwrap_or_default());
    let others: Vec<&Path> = all.iter().copied().filter(|other| *other != art).collect();
    let tail = |path: &Path, parts: usize| {
        let parent: Vec<_> = path
            .parent()
            .into_iter()
            .flat_map(Path::components)
            .collect();
        let mut tail: PathBuf = parent[parent.len().saturating_sub(parts)..]
            .iter()
            .collect();
        tail.push(path.file_stem().unwrap_or_default());
        tail
    };
    let depth = art.components().count();
    for parts in 0..depth {
        name = tail(art, parts);
        if others.iter().all(|other| tail(other, parts) != name) {
            return text(&name);
        }
    }
    // The same to the last folder: they differ in their ending.
    name.set_file_name(art.file_name().unwrap_or_default());
    text(&name)
}

/// How the stand exposes.
pub(super) fn exposure(stand: &Stand) -> Exposure {
    let shutter = &stand.shutter;
    let mut window = shutter.delay.saturating_add(shutter.exposure);
    let release = match &shutter.release {
        stand::Release::Board {
            board,
            half_press,
            press,
            flash_contact,
        } => {
            // The line may be held longer than the shutter is open.
            window = window.max(*press);
            Release::Board {
                board: board.0,
                half_press: *half_press,
                press: *press,
                flash_contact: *flash_contact,
            }
        }
        stand::Release::Command { words, time_out } => Release::Command {
            words: words.clone(),
            time_out: *time_out,
        },
        stand::Release::Hand => Release::Hand,
    };
    Exposure {
        release,
        settle: shutter.settle,
        delay: shutter.delay,
        window,
        ready: shutter.ready,
        arrival: stand.arrival.as_ref().map(|arrival| arrival.within),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drawings_of_one_name_are_told_apart() {
        let all = [
            "work/art/headland.png",
            "work/art/night/headland.png",
            "work/art/night/gull.png",
            "work/art/night/gull.tif",
            "work/art/wave.png",
        ]
        .map(Path::new);
        let names = all.map(|art| name_of(art, &all));
        assert_eq!(
            names,
            [
                "art/headland",
                "night/headland",
                "work/art/night/gull.png",
                "work/art/night/gull.tif",
                "wave"
            ]
        );
    }
}
