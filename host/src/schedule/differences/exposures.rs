//! How the exposures of two schedules differ: lamps, passes, what lies on the glass.

use super::{Found, board_name};
use crate::schedule::{Laid, Lamp, Pass, Schedule};
use crate::shot::When;

/// Lamps, passes and drawings. The names of passes do not count.
pub(super) fn exposures(found: &mut Found, began: &Schedule, now: &Schedule) {
    lamps(found, began, now);
    let (old, new) = (began.all_passes(), now.all_passes());
    found.change("the number of passes", &old.len(), &new.len());
    for (place, (old, new)) in old.iter().zip(&*new).enumerate() {
        pass(found, place, (began, old), (now, new));
    }
    drawings(found, &began.laid, &now.laid);
}

fn lamps(found: &mut Found, began: &Schedule, now: &Schedule) {
    if began.lamps.len() != now.lamps.len() {
        let names = |lamps: &[Lamp]| listed(lamps.iter().map(|lamp| lamp.name.as_str()));
        let counted = |lamps: &[Lamp]| format!("{} ({})", lamps.len(), names(lamps));
        found.say("the lamps", &counted(&began.lamps), &counted(&now.lamps));
    }
    for (place, (old, new)) in began.lamps.iter().zip(&now.lamps).enumerate() {
        let what = |setting: &str| format!("lamp {}, {setting}", place + 1);
        let quoted = |name: &str| format!("`{name}`");
        found.change(&what("name"), &quoted(&old.name), &quoted(&new.name));
        if old.output != new.output {
            let switched = |schedule: &Schedule, lamp: &Lamp| match lamp.output {
                Some((board, output)) => {
                    format!("output {output} of {}", board_name(schedule, board))
                }
                None => "by hand".to_owned(),
            };
            found.say(
                &what("what switches it"),
                &switched(began, old),
                &switched(now, new),
            );
        }
        found.time(&what("time to warm up"), old.warm_up, new.warm_up);
    }
}

fn pass(
    found: &mut Found,
    place: usize,
    (began, old): (&Schedule, &Pass),
    (now, new): (&Schedule, &Pass),
) {
    let what = |setting: &str| format!("pass {}, {setting}", place + 1);
    if place > 0 {
        let when = |pass: &Pass| match pass.when {
            When::EachFrame => "at each frame",
            When::AfterRun => "after the run",
        };
        found.change(&what("when it is exposed"), &when(old), &when(new));
    }
    if old.lamps != new.lamps {
        // A lamp of another number may have the same name.
        let names = |schedule: &Schedule, pass: &Pass| {
            let name = |&lamp: &usize| match schedule.lamps.get(lamp) {
                Some(of) => format!("{} (lamp {})", of.name, lamp + 1),
                None => format!("lamp {}", lamp + 1),
            };
            let names: Vec<String> = pass.lamps.iter().map(name).collect();
            listed(names.iter().map(String::as_str))
        };
        found.say(
            &what("lamps that burn"),
            &names(began, old),
            &names(now, new),
        );
    }
    let without = |pass: &Pass| listed(pass.without.iter().map(String::as_str));
    if old.without != new.without {
        found.say(
            &what("levels that are taken out"),
            &without(old),
            &without(new),
        );
    }
    found.time(&what("exposure time"), old.exposure, new.exposure);
    found.time(
        &what("how long the release line is closed"),
        old.press,
        new.press,
    );
    found.time(
        &what("longest time that the shutter is open"),
        old.window,
        new.window,
    );
    let set = |pass: &Pass| {
        if pass.set_by_hand {
            "set by hand"
        } else {
            "not set by hand"
        }
    };
    found.change(&what("the camera's exposure time"), &set(old), &set(new));
}

/// What lies on each level, from the first frame on where that differs.
fn drawings(found: &mut Found, began: &[Laid], now: &[Laid]) {
    if began == now {
        return;
    }
    let first = began
        .iter()
        .zip(now)
        .position(|(old, new)| old != new)
        .unwrap_or(began.len().min(now.len()));
    let text = |laid: Option<&Laid>| match laid {
        Some(Laid { frame, on, drawing }) => {
            let what = match drawing {
                Some(drawing) => format!("`{drawing}` on {on}"),
                None => format!("nothing on {on}"),
            };
            format!("{what} from frame {frame} on")
        }
        None => "none".to_owned(),
    };
    let count = |all: &[Laid]| format!("{} in all", all.len());
    found.say(
        &format!("drawing {} that is laid", first + 1),
        &format!("{} ({})", text(began.get(first)), count(began)),
        &format!("{} ({})", text(now.get(first)), count(now)),
    );
}

fn listed<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let names: Vec<&str> = names.collect();
    if names.is_empty() {
        "none".to_owned()
    } else {
        names.join(", ")
    }
}
