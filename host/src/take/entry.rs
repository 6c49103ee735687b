//! What a journal's lines say.
//!
//! Where an entry speaks of a frame and every frame gets several exposures, it means one of those:
//! its number in the order in which they are made ([`Order`](crate::schedule::Order)), which the
//! first line settles. Where every frame gets one, that is the frame's number.

use std::collections::BTreeMap;

use panestep_protocol::ShotId;
use serde::{Deserialize, Serialize};

use super::fingerprint::fingerprint;
use super::span::Span;
use super::state::Drift;
use crate::schedule::{Chore, Schedule};
use crate::shot::When;

/// What happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(
    tag = "kind",
    rename_all = "kebab-case",
    rename_all_fields = "kebab-case"
)]
pub enum Entry {
    /// The take began. The first line.
    Begun {
        /// The shot's name.
        name: String,
        /// How many frames.
        frames: u32,
        /// The exposures that every frame gets, in their order; empty where it gets one.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        passes: Vec<PassBegun>,
        /// The folder that the shot's art lies relative to.
        art: String,
        /// The folder that the stand's command and its pictures' folder lie relative to.
        #[serde(default)]
        base: String,
        /// The schedule's fingerprint.
        schedule: Hex,
        /// The take's number for the boards.
        shot: Hex,
    },
    /// A session with a board began.
    Session {
        /// The board.
        board: String,
        /// Its start.
        boot: Hex,
        /// The session's number in that start.
        number: u32,
    },
    /// An axis is about to be homed: what was counted before is lost with it, unless the outcome
    /// follows.
    Homing {
        /// The axis, such as `reeds east`.
        axis: String,
    },
    /// An axis was homed.
    Homed {
        /// The axis, such as `reeds east`.
        axis: String,
        /// Its board's start.
        boot: Hex,
        /// Where its switch tripped by the count before, steps.
        was: i32,
        /// By how much the count had gone wrong since this take's homing before, steps; nothing
        /// where there was none in this start of the board.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        off: Option<i32>,
    },
    /// A home check has found every axis where it was counted.
    Checked {
        /// By how much each axis was off, steps: within what its switch may differ. Empty where
        /// there is no motor.
        off: BTreeMap<String, i32>,
    },
    /// An axis was found elsewhere: these frames may have been exposed out of their poses.
    Suspect {
        /// The axis, and by how much.
        drift: Drift,
        /// All that were exposed since it was last known to be right.
        frames: Vec<Span>,
    },
    /// A person keeps the frames that are in doubt as they are.
    Kept,
    /// Frames are to be exposed once more; what there is of them stays in the history.
    Again {
        /// The frames.
        frames: Vec<Span>,
        /// Who wants it, and why.
        why: String,
    },
    /// Frames are left out: a person wants it.
    Dropped {
        /// The frames.
        frames: Vec<Span>,
    },
    /// Pictures that lie in their folder and belong to no exposure of this take.
    Found {
        /// Their files.
        pictures: Vec<String>,
    },
    /// A person has set an axis moved by hand, and read its scale.
    Reading {
        /// The frame that it was set for.
        frame: u32,
        /// The axis, such as `sky north`.
        axis: String,
        /// The reading that was accepted, in the axis's unit.
        reading: f64,
        /// The same as it is written on the scale, with its unit, such as `-1 5/32 in`; empty in older
        /// journals.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        scale: String,
    },
    /// A person has done what a hand has to do before an exposure, beside setting axes.
    Arranged {
        /// The exposure.
        frame: u32,
        /// What.
        done: Vec<Chore>,
    },
    /// Everything is in place for a frame, and the board is about to be told to expose it.
    Intent {
        /// The frame.
        frame: u32,
        /// The slot.
        slot: u32,
        /// The try.
        attempt: u16,
        /// The camera board's start; nothing where no board fires.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        boot: Option<Hex>,
    },
    /// The slot is exposed.
    Done {
        /// The slot.
        slot: u32,
        /// The try.
        attempt: u16,
        /// How often the flash contact closed.
        contacts: u8,
        /// Its picture, where they are watched.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        picture: Option<Picture>,
        /// Boards whose lamps were to burn for it, and which have started anew since its intent or
        /// cannot say that they have not: it may have been exposed in less light, or in none.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        unlit: Vec<String>,
    },
    /// The token was never fired.
    Void {
        /// The slot.
        slot: u32,
        /// The try.
        attempt: u16,
    },
    /// A person said whether the slot has been exposed.
    Verdict {
        /// The slot.
        slot: u32,
        /// The try.
        attempt: u16,
        /// What the person said.
        exposed: bool,
        /// What was known when the person was asked.
        known: String,
        /// Its picture, where exactly one had come.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        picture: Option<Picture>,
        /// Other pictures that had come.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        others: Vec<String>,
        /// Where it is exposed: boards whose lamps were to burn for it, and which have started anew since
        /// its intent or cannot say that they have not. It may have been exposed in less light, or in
        /// none.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        unlit: Vec<String>,
    },
    /// A person was mistaken about a slot.
    TakenBack {
        /// The slot.
        slot: u32,
        /// The try.
        attempt: u16,
        /// Whether it has been exposed after all.
        exposed: bool,
    },
    /// The board has fired further than this journal, an older copy, knows: its tokens are spent.
    Behind {
        /// The board.
        board: String,
        /// The last slot that it began.
        slot: u32,
        /// The try.
        attempt: u16,
    },
    /// A person says that a frame is exposed, of which this journal, an older copy, knows nothing.
    Vouched {
        /// The frame.
        frame: u32,
    },
    /// A person wants this frame, one that is still to be exposed, to be the next.
    Chosen {
        /// The frame.
        frame: u32,
    },
    /// The run ended before the last frame.
    Halted {
        /// Why.
        cause: String,
    },
    /// Every frame is exposed or left out.
    Finished,
}

impl Entry {
    /// The first line of a new take's journal. `art` and `base` are the folders that the shot's art
    /// and the stand's command and pictures lie relative to.
    #[must_use]
    pub fn begun(schedule: &Schedule, art: &str, base: &str, shot: ShotId) -> Self {
        Self::Begun {
            name: schedule.name.clone(),
            frames: schedule.frames,
            passes: match schedule.passes.as_slice() {
                [] | [_] => Vec::new(),
                passes => passes
                    .iter()
                    .map(|pass| PassBegun {
                        name: pass.name.clone(),
                        when: pass.when,
                    })
                    .collect(),
            },
            art: art.to_owned(),
            base: base.to_owned(),
            schedule: Hex(fingerprint(schedule)),
            shot: Hex(shot.0),
        }
    }
}

/// One of the exposures that every frame gets.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PassBegun {
    /// Its name.
    pub name: String,
    /// When it is exposed.
    pub when: When,
}

/// A picture in the folder that the camera's pictures arrive in.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Picture {
    /// Its file's name.
    pub file: String,
    /// A digest of its dots: a copy has the same.
    pub digest: Hex,
}

/// A 64-bit number that is written in hexadecimal: not every JSON reader keeps that many digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Hex(pub u64);

impl From<Hex> for String {
    fn from(hex: Hex) -> Self {
        format!("{:016x}", hex.0)
    }
}

impl TryFrom<String> for Hex {
    type Error = std::num::ParseIntError;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        u64::from_str_radix(&text, 16).map(Self)
    }
}
