//! What the planner has to say of single frames, and of the whole shot.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use crate::plan::Plan;
use crate::plan::strobing::Rule;
use crate::plan::survey::Survey;
use crate::shot::{FocusKey, Key, ShiftTrack, Shot};
use crate::stand::Stand;

/// Remarks.
#[derive(Default)]
pub(super) struct Remarks {
    /// Of single frames.
    frames: BTreeMap<u32, Vec<String>>,
    /// What holds for several frames, with the last of them.
    stretches: Vec<(RangeInclusive<u32>, String)>,
    /// Of all of them alike.
    pub(super) throughout: Vec<String>,
}

impl Remarks {
    pub(super) fn new(stand: &Stand, shot: &Shot, plan: &Plan, survey: &Survey) -> Self {
        let mut all = Self::default();
        for fast in &survey.fast {
            let what = match fast.rule {
                Rule::Crossing => "crosses the picture too fast",
                Rule::Jumps => "strobes",
                Rule::Smear => "jumps so far that it smears",
            };
            for span in &fast.frames {
                all.stretch(shot, span, &format!("{} {what}", fast.level));
            }
        }
        for level in &survey.coverage {
            for (what, spare) in [
                ("painting", level.painting_spare),
                ("pane", Some(level.pane_spare)),
            ] {
                if let Some(spare) = spare.filter(|spare| spare.mm < 0.0) {
                    all.say(
                        spare.frame,
                        format!(
                            "{}: the {what}'s {} edge is in the picture by {:.1} mm, the most of all",
                            level.level,
                            spare.side.name(),
                            -spare.mm
                        ),
                    );
                }
            }
        }
        for level in &survey.sharpness {
            for span in &level.soft {
                all.stretch(shot, span, &format!("{} is out of focus", level.level));
            }
        }
        for level in &plan.report().levels {
            if level.size_error_pixels.abs() >= 1.0 {
                all.say(
                    level.size_error_frame,
                    format!(
                        "{} is {:.1} px off in size, the most of all",
                        level.level,
                        level.size_error_pixels.abs()
                    ),
                );
            }
        }
        let tracks = [
            ("viewer east", &shot.viewer.east.keys),
            ("viewer north", &shot.viewer.north.keys),
            ("viewer ahead", &shot.viewer.ahead.keys),
            ("viewer roll", &shot.viewer.roll.keys),
        ];
        let mut say = |frame: u32, what: String| all.say(frame, what);
        for (name, keys) in tracks {
            fairings(name, keys, &mut say);
        }
        for (way, track) in &shot.camera {
            fairings(&format!("camera {}", way.name()), &track.keys, &mut say);
        }
        for shift in &shot.shifts {
            let name = format!("{} {}", stand.levels[shift.level.0].name, shift.way.name());
            match &shift.track {
                ShiftTrack::Keys(track) => fairings(&name, &track.keys, &mut say),
                ShiftTrack::PerFrame { from, to, .. } => {
                    say(*from, format!("{name} begins to shift"));
                    say(*to, format!("{name} shifts for the last time"));
                }
            }
        }
        for two in shot.focus.windows(2) {
            let [from, to] = two else { continue };
            if from.level != to.level {
                let level = |at: &FocusKey| &stand.levels[at.level.0].name;
                say(
                    from.frame,
                    format!("focus goes from {} to {}", level(from), level(to)),
                );
                say(to.frame, format!("focus is on {}", level(to)));
            }
        }
        all
    }

    /// What is to be said of a frame.
    pub(super) fn at(&self, frame: u32) -> &[String] {
        self.frames.get(&frame).map_or(&[], Vec::as_slice)
    }

    /// What holds at a frame, and did so before.
    pub(super) fn since(&self, frame: u32) -> impl Iterator<Item = String> {
        let begun =
            move |frames: &RangeInclusive<u32>| *frames.start() < frame && *frames.end() >= frame;
        let all = self
            .stretches
            .iter()
            .filter(move |(frames, _)| begun(frames));
        all.map(|(frames, what)| format!("{what} as before, up to frame {}", frames.end()))
    }

    fn say(&mut self, frame: u32, what: String) {
        let here = self.frames.entry(frame).or_default();
        if !here.contains(&what) {
            here.push(what);
        }
    }

    /// Said where a stretch begins; of all frames, said once for all.
    fn stretch(&mut self, shot: &Shot, frames: &RangeInclusive<u32>, what: &str) {
        let (first, last) = (*frames.start(), *frames.end());
        if first <= 1 && last >= shot.frames {
            self.throughout.push(what.to_owned());
        } else if first == last {
            self.say(first, format!("{what} here"));
        } else {
            self.say(first, format!("{what} from here to frame {last}"));
            self.stretches.push((frames.clone(), what.to_owned()));
        }
    }
}

/// Where a move gathers and loses speed.
fn fairings(name: &str, keys: &[Key], say: &mut impl FnMut(u32, String)) {
    for two in keys.windows(2) {
        let [from, to] = two else { continue };
        if from.value == to.value {
            continue;
        }
        if from.fairing > 0 {
            say(from.frame, format!("{name} gathers speed"));
            let full = from.frame.saturating_add(from.fairing).min(to.frame);
            say(full, format!("{name} at full speed"));
        }
        if to.fairing > 0 {
            let slows = to.frame.saturating_sub(to.fairing).max(from.frame);
            say(slows, format!("{name} slows down"));
            say(to.frame, format!("{name} at rest"));
        }
    }
}
