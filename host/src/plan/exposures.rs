//! What a take has to know of the exposures of a shot: how, with which lamps, levels and drawings.

use std::path::Path;
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
        stand::Release::Board { press, .. } => (*press, false),
        stand::Release::Command { words, .. } => (
            Duration::ZERO,
            words.iter().any(|word| word.contains(EXPOSURE_WORD)),
        ),
        stand::Release::Hand => (Duration::ZERO, false),
    };
    shot.passes
        .iter()
        .map(|pass| {
            let exposure = pass.exposure.unwrap_or(shutter.exposure);
            let press = pass.press.unwrap_or(own_press);
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
                // A line that is closed for as long as the shutter is to be open opens it for
                // that long; any other time the camera keeps for itself.
                set_by_hand: exposure != shutter.exposure && !told && press != exposure,
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
        let mut before = None;
        for frame in 1..=shot.frames {
            let art = shot.art_at(id, frame);
            if before != Some(art) {
                all.push(Laid {
                    frame,
                    on: level.name.clone(),
                    drawing: art.map(name_of),
                });
                before = Some(art);
            }
        }
    }
    all.sort_by_key(|laid| laid.frame);
    all
}

/// What a drawing is called: its file's name, without folder and ending.
fn name_of(art: &Path) -> String {
    art.file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
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
