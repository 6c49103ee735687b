//! The page on both files, `host/FILES.md`: it has every key that the readers know and no other, and its
//! examples are sound.

use std::collections::BTreeSet;

use super::*;

const PAGE: &str = include_str!("../../FILES.md");
const DEMO_STAND: &str = include_str!("../../demo/stand.toml");
const DEMO_SHOT: &str = include_str!("../../demo/shot.toml");
const BY_HAND_STAND: &str = include_str!("../../demo/by-hand-stand.toml");

/// A key so unlike all others that the readers answer with those that they know.
const STRAY: &str = "zzzzzzzzzzzz";

/// Keys, each behind the place where it may stand: `axis.motor channel`.
type Keys = BTreeSet<String>;

/// The page's parts on the stand file and on the shot file.
fn parts() -> [&'static str; 2] {
    let (stand, shot) = PAGE
        .split_once("\n## The shot file\n")
        .expect("a part on the shot file");
    let (_, stand) = stand
        .split_once("\n## The stand file\n")
        .expect("a part on the stand file");
    [stand, shot]
}

/// What stands in back quotes.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

/// The keys in the first columns of a part's tables; the head of the column names the place, or
/// several with `or` between them.
fn documented(part: &str) -> Keys {
    let mut keys = Keys::new();
    let mut places = Vec::new();
    let mut lines = part.lines().peekable();
    while let Some(line) = lines.next() {
        let Some((cell, _)) = line
            .strip_prefix("| ")
            .and_then(|line| line.split_once(" |"))
        else {
            continue;
        };
        if lines.peek().is_some_and(|next| next.starts_with("|---")) {
            let place = |place| {
                let words = quoted(place).map(|word| word.trim_matches(['[', ']']));
                words.collect::<Vec<_>>().join(".")
            };
            places = cell.split(" or ").map(place).collect();
        } else {
            for place in &places {
                keys.extend(quoted(cell).map(|key| format!("{place} {key}")));
            }
        }
    }
    keys
}

/// A part's examples, in their order.
fn examples(part: &str) -> Vec<&str> {
    let examples: Vec<_> = part
        .split("```toml\n")
        .skip(1)
        .map(|rest| rest.split_once("```").expect("an example ends").0)
        .collect();
    assert!(!examples.is_empty(), "a part of the page has no example");
    examples
}

/// A file with an example put behind it, as the page says: a `[heading]` takes the place of the file's
/// own.
fn with(file: &str, example: &str) -> String {
    let mut text = file.to_owned();
    let single = |line: &&str| line.starts_with('[') && !line.starts_with("[[");
    for heading in example.lines().filter(single) {
        if let Some(begin) = text.find(&format!("\n{heading}\n")) {
            let body = begin + 1 + heading.len();
            let end = text[body..].find("\n[").map_or(text.len(), |at| body + at);
            text.replace_range(begin..end, "");
        }
    }
    text + "\n" + example
}

/// The demonstration's file with all of a part's examples, read after each of them; and those that
/// are whole files.
fn with_all<'p>(
    demo: &str,
    part: &'p str,
    read: impl Fn(&str) -> Result<(), Problems>,
) -> (String, Vec<&'p str>) {
    let sound = |text: &str, example: &str| {
        if let Err(problems) = read(text) {
            panic!("an example of FILES.md is refused:\n{example}\n{problems}");
        }
    };
    let mut text = demo.to_owned();
    let mut whole = Vec::new();
    for example in examples(part) {
        if example.starts_with("name = ") {
            whole.push(example);
        } else {
            text = with(&text, example);
            sound(&text, example);
        }
    }
    (text, whole)
}

/// Every table of a file by its place, and the file with a stray key in that table.
fn strays(text: &str) -> Vec<(String, String)> {
    let put = |at: usize, what: &str| format!("{}{what}{}", &text[..at], &text[at..]);
    let line_of = format!("{STRAY} = 1\n");
    let mut all = vec![(String::new(), put(0, &line_of))];
    let (mut heading, mut key, mut begin) = ("", "", 0_usize);
    for line in text.split_inclusive('\n') {
        let end = begin + line.len();
        if line.starts_with('[') {
            heading = line.trim().trim_matches(['[', ']']);
            all.push((heading.to_owned(), put(end, &line_of)));
        } else if !line.trim_start().starts_with('#') {
            // A table that opens its line is one of the list begun before.
            if let Some((name, _)) = line.split_once(" = ")
                && !name.contains('{')
            {
                key = name;
            }
            for (at, _) in line.match_indices("{ ") {
                let stray = put(begin + at + 1, &format!(" {STRAY} = 1,"));
                all.push((format!("{heading}.{key}"), stray));
            }
        }
        begin = end;
    }
    all
}

/// The keys that a reader knows in each table of a sound file, as it lists them beside a stray one.
fn known(text: &str, read: impl Fn(&str) -> Result<(), Problems>) -> Keys {
    let mut keys = Keys::new();
    for (place, stray) in strays(text) {
        let problems = read(&stray).expect_err("a stray key is refused");
        let list = problems
            .all()
            .iter()
            .find(|problem| problem.message().contains(STRAY))
            .and_then(|problem| problem.advice().strip_prefix("known here: "))
            .unwrap_or_else(|| panic!("no keys are listed in `{place}`:\n{problems}"));
        keys.extend(list.split(", ").map(|key| format!("{place} {key}")));
    }
    keys
}

#[track_caller]
fn same(page: &Keys, readers: &Keys) {
    let missing: Vec<_> = readers.difference(page).collect();
    let strange: Vec<_> = page.difference(readers).collect();
    assert!(
        missing.is_empty() && strange.is_empty(),
        "not in host/FILES.md: {missing:?}; in it, but not known to the reader: {strange:?}"
    );
}

fn reads_stand(text: &str) -> Result<(), Problems> {
    read_stand_text("stand.toml", text).map(drop)
}

fn reads_shot(text: &str, stand: &Stand) -> Result<(), Problems> {
    read_shot_text("shot.toml", text, stand, Path::new("")).map(drop)
}

#[test]
fn the_page_has_every_key_of_the_stand_file() {
    let [part, _] = parts();
    let (all, whole) = with_all(DEMO_STAND, part, reads_stand);
    let mut keys = known(&all, reads_stand);
    for text in whole.into_iter().chain([BY_HAND_STAND]) {
        keys.extend(known(text, reads_stand));
    }
    same(&documented(part), &keys);
    // What nothing but the page shows is there.
    let Stand { axes, levels, .. } = read_stand_text("stand.toml", &all).expect("read before");
    assert!(axes.iter().any(|axis| axis.way == Way::Turn));
    assert!(axes.iter().any(|axis| !axis.focus_table.is_empty()));
    let by_hand = |drive: &Drive| matches!(drive, Drive::Hand { .. });
    assert!(axes.iter().any(|axis| by_hand(&axis.drive)));
    assert!(levels.iter().any(|level| level.pane.art == Face::Under));
}

#[test]
fn the_page_has_every_key_of_the_shot_file() {
    let [stand_part, part] = parts();
    let (stand, _) = with_all(DEMO_STAND, stand_part, reads_stand);
    let stand = read_stand_text("stand.toml", &stand).expect("read before");
    let read = |text: &str| reads_shot(text, &stand);
    let (all, whole) = with_all(DEMO_SHOT, part, read);
    let mut keys = known(&all, read);
    // A whole shot names the demonstration's own stand.
    let demo = read_stand_text("stand.toml", DEMO_STAND).expect("the demonstration");
    for text in whole {
        keys.extend(known(text, |text: &str| reads_shot(text, &demo)));
    }
    same(&documented(part), &keys);
    let shot = read_shot_text("shot.toml", &all, &stand, Path::new("")).expect("read before");
    assert!(!shot.focus.is_empty() && !shot.camera.is_empty());
    assert!(shot.shifts.iter().any(|shift| shift.way == Way::Turn));
    assert!(!shot.cels.is_empty() && shot.passes.len() > 1);
}
