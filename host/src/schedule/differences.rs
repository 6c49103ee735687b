//! How two schedules differ, in sentences for a person: why a take cannot go on with the files as
//! they are now.

mod exposures;

use std::fmt::Display;
use std::time::Duration;

use super::{Exposure, HandAxis, MotorAxis, Release, Schedule};
use crate::stand::AxisUnit;

/// What a schedule says otherwise than the one that a take began with: a sentence for each
/// difference, the weightiest first, each with what it was and what it is now. Lengths and angles
/// are in the axis's unit, with the steps beside them.
///
/// The list is empty if and only if the take's [fingerprint](crate::take::fingerprint()) of both
/// is the same: the shot's name, the passes' names, the unit of an axis and how far a step moves the
/// picture do not count, for they change nothing that is done.
#[must_use]
pub fn differences(began: &Schedule, now: &Schedule) -> Vec<String> {
    let mut found = Found::default();
    found.change("the number of frames", &began.frames, &now.frames);
    let motors = pairs(&began.motors, &now.motors, MotorAxis::name);
    let hands = pairs(&began.hands, &now.hands, HandAxis::name);
    members(&mut found, &motors, &hands);
    for (name, places) in &motors {
        if let &(Some(old), Some(new)) = places {
            motor_positions(&mut found, name, (began, old), (now, new));
        }
    }
    for (name, places) in &hands {
        if let &(Some(old), Some(new)) = places {
            hand_positions(&mut found, name, (began, old), (now, new));
        }
    }
    exposure(&mut found, began, now);
    if !(began.is_plain() && now.is_plain()) {
        exposures::exposures(&mut found, began, now);
    }
    for (name, places) in &motors {
        if let &(Some(old), Some(new)) = places {
            motor_settings(&mut found, name, (began, old), (now, new));
        }
    }
    for (name, places) in &hands {
        if let &(Some(old), Some(new)) = places {
            let (old, new) = (&began.hands[old], &now.hands[new]);
            let what = format!("{name}, division of the scale");
            found.size(&what, (old.scale, old.unit), (new.scale, new.unit), "");
        }
    }
    order(&mut found, "the axes moved by motors", &motors);
    order(&mut found, "the axes moved by hand", &hands);
    boards(&mut found, &began.boards, &now.boards);
    found.change(
        "home checks",
        &home_check(began.home_check),
        &home_check(now.home_check),
    );
    // Only tables of positions that do not fit their frames get here with nothing said.
    let bits = |targets: &[f64]| targets.iter().map(|at| at.to_bits()).collect::<Vec<_>>();
    if found.0.is_empty()
        && (began.motor_targets != now.motor_targets
            || bits(&began.hand_targets) != bits(&now.hand_targets))
    {
        found.0.push(format!(
            "the tables of positions do not fit the frames: {} entries when the take began, {} now",
            began.motor_targets.len() + began.hand_targets.len(),
            now.motor_targets.len() + now.hand_targets.len()
        ));
    }
    found.0
}

#[derive(Default)]
struct Found(Vec<String>);

impl Found {
    fn say(&mut self, what: &str, old: &dyn Display, new: &dyn Display) {
        self.0
            .push(format!("{what}: {old} when the take began, {new} now"));
    }

    fn change<T: PartialEq + Display>(&mut self, what: &str, old: &T, new: &T) {
        if old != new {
            self.say(what, old, new);
        }
    }

    fn time(&mut self, what: &str, old: Duration, new: Duration) {
        self.change(what, &time(old), &time(new));
    }

    /// An axis that stands elsewhere: the first frame with what it was and is there; how many
    /// frames differ, of how many, and at which it is farthest off, by how much.
    fn elsewhere(
        &mut self,
        name: &str,
        first: u32,
        [was, is]: [String; 2],
        [count, frames, farthest]: [u32; 3],
        off: &str,
    ) {
        self.0.push(format!(
            "{name}, position at frame {first}: {was} when the take began, {is} now; {count} of \
             {frames} frames differ, frame {farthest} the most, by {off}"
        ));
    }

    /// A size in an axis's unit, per `per`. The fingerprint is over every bit, so is this.
    fn size(&mut self, what: &str, old: (f64, AxisUnit), new: (f64, AxisUnit), per: &str) {
        if old.0.to_bits() != new.0.to_bits() {
            let (old_text, new_text) = apart(old, new);
            self.say(what, &(old_text + per), &(new_text + per));
        }
    }

    /// A number of steps, with what it comes to in the axis's unit, per `per`.
    fn steps(
        &mut self,
        what: &str,
        (old, old_axis): (i64, &MotorAxis),
        (new, new_axis): (i64, &MotorAxis),
        per: &str,
    ) {
        if old != new {
            self.say(what, &steps(old, old_axis, per), &steps(new, new_axis, per));
        }
    }
}

/// An axis's name, and its place then and now.
type Pair = (String, (Option<usize>, Option<usize>));

/// Finds the axes of the same name in both.
fn pairs<T>(began: &[T], now: &[T], name: impl Fn(&T) -> String) -> Vec<Pair> {
    let labels = |axes: &[T]| {
        let mut labels: Vec<String> = Vec::new();
        for axis in axes {
            let name = name(axis);
            let mut label = name.clone();
            let mut count = 1;
            // No sound plan moves the same thing the same way twice.
            while labels.contains(&label) {
                count += 1;
                label = format!("{name} ({count})");
            }
            labels.push(label);
        }
        labels
    };
    let (old, new) = (labels(began), labels(now));
    let gone = |(at, name): (usize, &String)| {
        let place = new.iter().position(|other| other == name);
        (name.clone(), (Some(at), place))
    };
    let mut pairs: Vec<Pair> = old.iter().enumerate().map(gone).collect();
    for (at, name) in new.iter().enumerate() {
        if !old.contains(name) {
            pairs.push((name.clone(), (None, Some(at))));
        }
    }
    pairs
}

/// Axes that are gone, new, or moved by something else.
fn members(found: &mut Found, motors: &[Pair], hands: &[Pair]) {
    let lists = [(motors, "moved by a motor"), (hands, "moved by hand")];
    let how = |name: &str, is: &dyn Fn(&Pair) -> bool| {
        let in_it = |list: &[Pair]| list.iter().any(|pair| pair.0 == name && is(pair));
        let list = lists.into_iter().find(|list| in_it(list.0));
        list.map_or("not there", |list| list.1)
    };
    let mut said: Vec<&str> = Vec::new();
    for (name, places) in motors.iter().chain(hands) {
        if matches!(places, (Some(_), Some(_))) || said.contains(&name.as_str()) {
            continue;
        }
        said.push(name);
        let old = how(name, &|pair| pair.1.0.is_some());
        let new = how(name, &|pair| pair.1.1.is_some());
        // One of two axes of the same name, which no sound plan has.
        let number = if old == new {
            ", another of this name"
        } else {
            ""
        };
        found.say(&format!("{name}{number}"), &old, &new);
    }
}

/// The same axes in another order: each frame's positions are laid out by it.
fn order(found: &mut Found, what: &str, pairs: &[Pair]) {
    let kept: Vec<_> = pairs
        .iter()
        .filter_map(|(name, places)| Some((name, places.0?, places.1?)))
        .collect();
    if kept.is_sorted_by_key(|&(_, _, new)| new) {
        return;
    }
    let names = |by: &dyn Fn(&(&String, usize, usize)) -> usize| {
        let mut sorted = kept.clone();
        sorted.sort_by_key(by);
        let names: Vec<_> = sorted.iter().map(|(name, ..)| name.as_str()).collect();
        names.join(", ")
    };
    found.say(
        &format!("order of {what}"),
        &names(&|axis| axis.1),
        &names(&|axis| axis.2),
    );
}

/// At how many frames an axis stands elsewhere, the first of them, and the one at which it is
/// farthest off.
struct Elsewhere<T> {
    count: u32,
    first: (u32, T, T),
    most: (u32, T, T),
}

fn elsewhere<T: Copy>(
    frames: u32,
    at: impl Fn(u32) -> Option<(T, T)>,
    differ: impl Fn(T, T) -> bool,
    farther: impl Fn((T, T), (T, T)) -> bool,
) -> Option<Elsewhere<T>> {
    let mut seen: Option<Elsewhere<T>> = None;
    for frame in 1..=frames {
        let Some((old, new)) = at(frame) else {
            continue;
        };
        if !differ(old, new) {
            continue;
        }
        let here = (frame, old, new);
        match &mut seen {
            None => {
                seen = Some(Elsewhere {
                    count: 1,
                    first: here,
                    most: here,
                });
            }
            Some(seen) => {
                seen.count += 1;
                if farther((old, new), (seen.most.1, seen.most.2)) {
                    seen.most = here;
                }
            }
        }
    }
    seen
}

fn motor_positions(
    found: &mut Found,
    name: &str,
    (began, old): (&Schedule, usize),
    (now, new): (&Schedule, usize),
) {
    let off = |(old, new): (i32, i32)| i64::from(new).abs_diff(i64::from(old));
    let Some(seen) = elsewhere(
        began.frames.min(now.frames),
        |frame| Some((began.motors_at(frame)?[old], now.motors_at(frame)?[new])),
        |old, new| old != new,
        |here, most| off(here) > off(most),
    ) else {
        return;
    };
    let (old, new) = (&began.motors[old], &now.motors[new]);
    let (frame, was, is) = seen.first;
    let (was, is) = (steps(was.into(), old, ""), steps(is.into(), new, ""));
    let most = i64::try_from(off((seen.most.1, seen.most.2))).unwrap_or(i64::MAX);
    let frames = began.frames.min(now.frames);
    found.elsewhere(
        name,
        frame,
        [was, is],
        [seen.count, frames, seen.most.0],
        &steps(most, new, ""),
    );
}

fn hand_positions(
    found: &mut Found,
    name: &str,
    (began, old): (&Schedule, usize),
    (now, new): (&Schedule, usize),
) {
    let off = |(old, new): (f64, f64)| (new - old).abs();
    let Some(seen) = elsewhere(
        began.frames.min(now.frames),
        |frame| Some((began.hands_at(frame)?[old], now.hands_at(frame)?[new])),
        |old, new| old.to_bits() != new.to_bits(),
        |here, most| off(here) > off(most),
    ) else {
        return;
    };
    let (old, new) = (&began.hands[old], &now.hands[new]);
    let (frame, was, is) = seen.first;
    let (was, is) = apart((was, old.unit), (is, new.unit));
    let most = size(off((seen.most.1, seen.most.2)), new.unit);
    let frames = began.frames.min(now.frames);
    found.elsewhere(
        name,
        frame,
        [was, is],
        [seen.count, frames, seen.most.0],
        &most,
    );
}

fn exposure(found: &mut Found, began: &Schedule, now: &Schedule) {
    let (old, new): (&Exposure, &Exposure) = (&began.exposure, &now.exposure);
    match (&old.release, &new.release) {
        (
            Release::Board {
                board,
                half_press,
                press,
                flash_contact,
            },
            Release::Board {
                board: new_board,
                half_press: new_half_press,
                press: new_press,
                flash_contact: new_flash_contact,
            },
        ) => {
            if board != new_board {
                found.say(
                    "the board that fires the camera",
                    &board_name(began, *board),
                    &board_name(now, *new_board),
                );
            }
            found.time(
                "half-press before the release",
                *half_press,
                *new_half_press,
            );
            found.time("how long the release line is closed", *press, *new_press);
            let wired = |wired: bool| if wired { "wired" } else { "not wired" };
            found.change(
                "the flash contact",
                &wired(*flash_contact),
                &wired(*new_flash_contact),
            );
        }
        (
            Release::Command { words, time_out },
            Release::Command {
                words: new_words,
                time_out: new_time_out,
            },
        ) => {
            found.change(
                "the command that fires the camera",
                &quoted(words),
                &quoted(new_words),
            );
            found.time("how long that command may take", *time_out, *new_time_out);
        }
        (Release::Hand, Release::Hand) => {}
        (one, other) => found.say(
            "what fires the camera",
            &firing(began, one),
            &firing(now, other),
        ),
    }
    found.time("rest before an exposure", old.settle, new.settle);
    found.time(
        "longest time that the shutter is open",
        old.window,
        new.window,
    );
    found.time(
        "time from an exposure until the camera can take the next",
        old.ready,
        new.ready,
    );
    let wait = |arrival: Option<Duration>| match arrival {
        Some(within) => time(within),
        None => "not watched for".into(),
    };
    found.change(
        "longest time until a picture has arrived",
        &wait(old.arrival),
        &wait(new.arrival),
    );
}

fn motor_settings(
    found: &mut Found,
    name: &str,
    (began, old): (&Schedule, usize),
    (now, new): (&Schedule, usize),
) {
    let (old, new) = (&began.motors[old], &now.motors[new]);
    let what = |setting: &str| format!("{name}, {setting}");
    found.size(
        &what("size of a step"),
        (old.step_size, old.unit),
        (new.step_size, new.unit),
        "",
    );
    let direction = |reversed: bool| if reversed { "reversed" } else { "not reversed" };
    found.change(
        &what("direction of the motor"),
        &direction(old.reversed),
        &direction(new.reversed),
    );
    for (setting, per, was, is) in [
        (
            "least position",
            "",
            old.travel.0.into(),
            new.travel.0.into(),
        ),
        (
            "greatest position",
            "",
            old.travel.1.into(),
            new.travel.1.into(),
        ),
        ("home switch", "", old.switch.into(), new.switch.into()),
        (
            "how far two findings of the home switch may lie apart",
            "",
            old.within.into(),
            new.within.into(),
        ),
        ("slack of the drive", "", old.slack.into(), new.slack.into()),
        (
            "way to take the slack up",
            "",
            old.take_up.into(),
            new.take_up.into(),
        ),
        (
            "greatest speed",
            "/s",
            i64::from(old.speed),
            i64::from(new.speed),
        ),
        (
            "greatest acceleration",
            "/s\u{b2}",
            old.acceleration.into(),
            new.acceleration.into(),
        ),
        (
            "greatest jerk",
            "/s\u{b3}",
            old.jerk.into(),
            new.jerk.into(),
        ),
        ("slow speed", "/s", old.slow.into(), new.slow.into()),
    ] {
        found.steps(&what(setting), (was, old), (is, new), per);
    }
    if old.board != new.board {
        found.say(
            &what("board"),
            &board_name(began, old.board),
            &board_name(now, new.board),
        );
    }
    found.change(&what("channel on its board"), &old.channel, &new.channel);
}

fn boards(found: &mut Found, began: &[String], now: &[String]) {
    if began.len() == now.len() {
        for (at, (old, new)) in began.iter().zip(now).enumerate() {
            let quoted = |name: &str| format!("`{name}`");
            found.change(
                &format!("name of board {}", at + 1),
                &quoted(old),
                &quoted(new),
            );
        }
    } else {
        found.say("the boards", &quoted(began), &quoted(now));
    }
}

fn board_name(schedule: &Schedule, board: usize) -> String {
    let number = board.saturating_add(1);
    match schedule.boards.get(board) {
        Some(name) => format!("`{name}` (board {number})"),
        None => format!("board {number}"),
    }
}

fn firing(schedule: &Schedule, release: &Release) -> String {
    match release {
        Release::Board { board, .. } => {
            format!("the release line of {}", board_name(schedule, *board))
        }
        Release::Command { words, .. } => format!("the command {}", quoted(words)),
        Release::Hand => "a finger on the release".into(),
    }
}

/// Words of a command or names, so that it can be seen where each ends.
fn quoted(words: &[String]) -> String {
    let words: Vec<String> = words.iter().map(|word| format!("{word:?}")).collect();
    words.join(" ")
}

fn home_check(every: u32) -> String {
    match every {
        0 => "only at the end".into(),
        1 => "after every frame".into(),
        every => format!("every {every} frames"),
    }
}

/// A time, exactly.
fn time(time: Duration) -> String {
    let text = format!("{time:?}");
    let number = text.trim_end_matches(|c: char| !c.is_ascii_digit());
    format!("{number} {}", &text[number.len()..])
}

fn steps(count: i64, axis: &MotorAxis, per: &str) -> String {
    let size = size(count as f64 * axis.step_size, axis.unit);
    let noun = if count.abs() == 1 { "step" } else { "steps" };
    format!("{size}{per} ({count} {noun}{per})")
}

fn size(value: f64, unit: AxisUnit) -> String {
    format!("{value:.3} {}", unit.sign())
}

/// Two sizes that differ, with as many digits as it takes to see it.
fn apart((old, old_unit): (f64, AxisUnit), (new, new_unit): (f64, AxisUnit)) -> (String, String) {
    let short = (size(old, old_unit), size(new, new_unit));
    if short.0 != short.1 {
        return short;
    }
    (
        format!("{old} {}", old_unit.sign()),
        format!("{new} {}", new_unit.sign()),
    )
}
