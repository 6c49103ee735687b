//! The exposure record: what became of every frame of a take, from its journal alone.

mod output;

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

pub use output::{JSON_VERSION, csv, json, table, to_the_second};

use crate::schedule::Chore;
use crate::take::journal::replay;
use crate::take::{Check, Entry, FrameState, JournalError, Standing, TakeState};

/// What a journal tells.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// Where the take stands, by the lines that are sound.
    pub state: TakeState,
    /// When the take began, as the journal has it (RFC 3339).
    pub begun: String,
    /// All frames, in the order in which they are exposed.
    pub rows: Vec<Row>,
    /// What is not sound about the journal.
    pub problem: Option<Problem>,
}

/// One frame, or where every frame gets several exposures, a frame in a pass.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Row {
    /// The frame.
    pub frame: u32,
    /// The pass, from 1, where there are several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pass: Option<usize>,
    /// The pass's name, where there are several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pass_name: Option<String>,
    /// `exposed`, `wanted`, `begun` (what became of it is not known yet) or `left out`.
    pub standing: &'static str,
    /// The slot of its last exposure; none where there is no exposure, or its slot is not known.
    pub slot: Option<u32>,
    /// How many exposures of it there are.
    pub exposures: u32,
    /// The file of its last picture, where it is known.
    pub picture: Option<String>,
    /// When its last exposure was written down (RFC 3339).
    pub at: Option<String>,
    /// What the home checks say of an exposed frame's pose: `in place`, `not checked yet`,
    /// `in doubt`, `kept in doubt` or `cannot be known`; empty where it is not exposed.
    pub check: &'static str,
    /// What else happened to it, in order.
    pub remarks: Vec<String>,
}

/// Why a journal is not shown to its end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Problem {
    /// Its last line is not whole.
    Torn {
        /// The line, from 1.
        line: u64,
    },
    /// A line within it is damaged or does not fit; nothing from there on is shown.
    Damaged {
        /// The line, from 1.
        line: u64,
        /// What is wrong.
        what: String,
    },
}

impl Problem {
    /// As a sentence.
    #[must_use]
    pub fn sentence(&self) -> String {
        match self {
            Self::Torn { line } => format!(
                "line {line} of the journal, the last, is not whole: it is being written just \
                 now, or the program or the machine stopped within it; nothing relies on it"
            ),
            Self::Damaged { line, what } => format!(
                "{what}. What stands before line {line} is shown; what came after it is not known"
            ),
        }
    }
}

#[derive(Deserialize)]
struct Stamped {
    at: String,
}

impl Record {
    /// Reads a journal: any bytes at all.
    ///
    /// # Errors
    /// That not even its first line is sound.
    pub fn read(bytes: &[u8]) -> Result<Self, JournalError> {
        let (replayed, problem) = match replay(bytes) {
            Ok(replayed) => {
                let line = replayed.state.lines + 1;
                let torn = replayed.sound < bytes.len();
                (replayed, torn.then_some(Problem::Torn { line }))
            }
            Err(
                error
                @ (JournalError::Damaged { line, .. } | JournalError::OutOfOrder { line, .. }),
            ) => {
                let what = error.to_string();
                let replayed = replay(before(bytes, line)).map_err(|_| error)?;
                (replayed, Some(Problem::Damaged { line, what }))
            }
            Err(error) => return Err(error),
        };
        let mut notes = Notes::default();
        let lines = bytes[..replayed.sound].split(|&byte| byte == b'\n');
        let mut begun = String::new();
        for (entry, line) in replayed.history.iter().zip(lines) {
            let at = serde_json::from_slice::<Stamped>(line)
                .map(|line| line.at)
                .unwrap_or_default();
            if let Entry::Begun { .. } = entry {
                begun = at;
            } else {
                notes.take(entry, at);
            }
        }
        let state = replayed.state;
        let rows = (1..=state.turns())
            .filter_map(|number| Some(notes.row(number, state.frame(number)?, &state)))
            .collect();
        Ok(Self {
            state,
            begun,
            rows,
            problem,
        })
    }

    /// All of it in a line or two.
    #[must_use]
    pub fn summary(&self) -> String {
        let state = &self.state;
        let count = |is: &dyn Fn(&Row) -> bool| self.rows.iter().filter(|row| is(row)).count();
        let exposed = count(&|row| row.standing == EXPOSED);
        let passes = state.order.passes();
        let mut parts = vec![if passes > 1 {
            format!(
                "{exposed} of {} exposures made ({} frames in {passes} passes)",
                state.turns(),
                state.order.frames()
            )
        } else {
            format!("{exposed} of {} frames exposed", state.turns())
        }];
        let mut some = |count: usize, what: &str| {
            if count > 0 {
                parts.push(format!("{count} {what}"));
            }
        };
        some(state.dropped() as usize, "left out");
        some(state.left() as usize, "still to be exposed");
        some(count(&|row| row.exposures > 1), "exposed more than once");
        some(count(&|row| row.check == IN_DOUBT), "in doubt");
        some(count(&|row| row.check == KEPT), "kept in doubt");
        if let Some(open) = state.open {
            parts.push(format!(
                "what became of frame {} is not known yet",
                state.turn(open.frame)
            ));
        }
        if state.finished {
            parts.push("finished".to_owned());
        }
        parts.join(", ")
    }
}

/// What stands before a line, counted from 1.
fn before(bytes: &[u8], line: u64) -> &[u8] {
    let lines = usize::try_from(line.saturating_sub(1)).unwrap_or(usize::MAX);
    let length = bytes
        .split_inclusive(|&byte| byte == b'\n')
        .take(lines)
        .map(<[u8]>::len)
        .sum();
    &bytes[..length]
}

const EXPOSED: &str = "exposed";
const IN_DOUBT: &str = "in doubt";
const KEPT: &str = "kept in doubt";

/// What the lines say of frames beyond where they stand.
#[derive(Default)]
struct Notes {
    /// The frame of every slot.
    frames: BTreeMap<u32, u32>,
    at: BTreeMap<u32, String>,
    remarks: BTreeMap<u32, Vec<String>>,
    /// Frames whose light is in doubt, and of which nobody has decided.
    doubted: BTreeSet<u32>,
}

impl Notes {
    /// Boards that may have left a frame dark.
    fn dark(&mut self, frame: u32, boards: &[String]) {
        for board in boards {
            let what = format!("{board} may have left it dark: it started anew, or did not answer");
            self.remark(frame, what);
            self.doubted.insert(frame);
        }
    }

    fn remark(&mut self, frame: u32, what: String) {
        self.remarks.entry(frame).or_default().push(what);
    }

    fn of_slot(&mut self, slot: u32, what: impl FnOnce(&mut Self, u32)) {
        if let Some(&frame) = self.frames.get(&slot) {
            what(self, frame);
        }
    }

    fn take(&mut self, entry: &Entry, at: String) {
        match entry {
            Entry::Intent { frame, slot, .. } => {
                self.frames.insert(*slot, *frame);
            }
            Entry::Done { slot, unlit, .. } => self.of_slot(*slot, |notes, frame| {
                notes.at.insert(frame, at);
                notes.dark(frame, unlit);
            }),
            Entry::Void { slot, attempt } => self.of_slot(*slot, |notes, frame| {
                notes.remark(frame, format!("try {attempt} did not fire"));
            }),
            Entry::Verdict {
                slot,
                exposed,
                known,
                others,
                unlit,
                ..
            } => self.of_slot(*slot, |notes, frame| {
                let said = if *exposed { "exposed" } else { "not exposed" };
                let mut what = format!("a person said: {said} ({known})");
                if !others.is_empty() {
                    what.push_str("; other pictures had come: ");
                    what.push_str(&others.join(", "));
                }
                notes.remark(frame, what);
                if *exposed {
                    notes.at.insert(frame, at);
                    notes.dark(frame, unlit);
                }
            }),
            Entry::TakenBack { slot, exposed, .. } => self.of_slot(*slot, |notes, frame| {
                let said = if *exposed { "exposed" } else { "not exposed" };
                notes.remark(frame, format!("a person took that back: {said} after all"));
                if *exposed {
                    notes.at.insert(frame, at);
                }
            }),
            Entry::Vouched { frame } => {
                self.remark(
                    *frame,
                    "a person said: exposed, of which the journal, an older copy, knew nothing"
                        .to_owned(),
                );
                self.at.insert(*frame, at);
            }
            Entry::Again { frames, why } => {
                for frame in frames.iter().flat_map(|span| span.frames()) {
                    self.remark(frame, format!("to be shot again ({why})"));
                    self.doubted.remove(&frame);
                }
            }
            Entry::Chosen { frame } => {
                self.remark(*frame, "taken out of its turn".to_owned());
            }
            Entry::Dropped { frames } => {
                for frame in frames.iter().flat_map(|span| span.frames()) {
                    self.remark(frame, "left out".to_owned());
                }
            }
            Entry::Suspect { drift, frames } => {
                let what = format!(
                    "{} was found off by {:+.3} {}, {:.1} pixels",
                    drift.axis, drift.amount, drift.unit, drift.pixels
                );
                for frame in frames.iter().flat_map(|span| span.frames()) {
                    self.remark(frame, what.clone());
                }
            }
            Entry::Reading {
                frame,
                axis,
                reading,
                scale,
            } => {
                let number = reading.to_string();
                let read = if scale.is_empty() { &number } else { scale };
                self.remark(*frame, format!("{axis} set by hand to {read}"));
            }
            Entry::Arranged { frame, done } => {
                let done: Vec<String> = done.iter().map(Chore::sentence).collect();
                self.remark(*frame, format!("by hand: {}", done.join(", ")));
            }
            Entry::Kept => {
                for frame in std::mem::take(&mut self.doubted) {
                    self.remark(frame, "its light was looked at, and it was kept".to_owned());
                }
            }
            Entry::Begun { .. }
            | Entry::Session { .. }
            | Entry::Homing { .. }
            | Entry::Homed { .. }
            | Entry::Checked { .. }
            | Entry::Found { .. }
            | Entry::Behind { .. }
            | Entry::Halted { .. }
            | Entry::Finished => {}
        }
    }

    fn row(&mut self, number: u32, of: &FrameState, state: &TakeState) -> Row {
        let turn = state.turn(number);
        let begun = state.open.is_some_and(|open| open.frame == number);
        let standing = match of.standing {
            Standing::Wanted if begun => "begun",
            Standing::Wanted => "wanted",
            Standing::Exposed => EXPOSED,
            Standing::Dropped => "left out",
        };
        let check = match (of.standing, of.check) {
            (Standing::Wanted | Standing::Dropped, _) => "",
            (Standing::Exposed, Check::Pending) => "not checked yet",
            (Standing::Exposed, Check::Passed) => "in place",
            (Standing::Exposed, Check::ByScale) => "by its scales",
            (Standing::Exposed, Check::Suspect) => IN_DOUBT,
            (Standing::Exposed, Check::Kept) => KEPT,
            (Standing::Exposed, Check::Unknown) => "cannot be known",
        };
        Row {
            frame: turn.frame,
            pass: turn.several.then_some(turn.pass + 1),
            pass_name: state.passes.get(turn.pass).cloned(),
            standing,
            slot: Some(of.slot).filter(|&slot| slot > 0),
            exposures: of.exposures,
            picture: of.picture.clone(),
            at: self.at.remove(&number).filter(|_| of.exposures > 0),
            check,
            remarks: self.remarks.remove(&number).unwrap_or_default(),
        }
    }
}
