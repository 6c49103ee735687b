//! What a take carries out: steps for every frame, without a word of why.
//!
//! The plan makes it, the take works through it. Nothing in here knows the stand's geometry; the
//! size of a step is there only so that messages can speak of millimetres.

mod arrange;
mod differences;
mod passes;

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::stand::{AxisUnit, Way};

pub use arrange::{Arranged, Chore};
pub use differences::differences;
pub use passes::{Laid, Lamp, Order, Pass, Turn};

/// Most frames of a schedule.
pub const MAX_FRAMES: u32 = 1_000_000;

/// What in a command's words stands for the frame's number.
pub const FRAME_WORD: &str = "{frame}";

/// What in a command's words stands for the pass's number, from 1.
pub const PASS_WORD: &str = "{pass}";

/// What in a command's words stands for the exposure time in seconds, such as `0.5`.
pub const EXPOSURE_WORD: &str = "{exposure}";

/// Everything that a take needs to know.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Schedule {
    /// The shot's name.
    pub name: String,
    /// Boards, in the stand's order.
    pub boards: Vec<String>,
    /// Axes moved by motors, in the stand's order.
    pub motors: Vec<MotorAxis>,
    /// Places of the lifts in `motors`, as they lie one below another, from the top.
    #[serde(default)]
    pub lifts: Vec<usize>,
    /// Axes moved by hand, in the stand's order.
    pub hands: Vec<HandAxis>,
    /// How many frames; each has as many exposures as there are passes.
    pub frames: u32,
    /// Position of every motor axis at every frame, in steps from its zero: frame by frame, the
    /// axes within a frame in the order of `motors`.
    pub motor_targets: Vec<i32>,
    /// Position of every hand axis at every frame, in the axis's unit, laid out likewise.
    pub hand_targets: Vec<f64>,
    /// How to expose.
    pub exposure: Exposure,
    /// Lamps, in the stand's order.
    #[serde(default)]
    pub lamps: Vec<Lamp>,
    /// The exposures that every frame gets, in their order. None is one exposure with all lamps
    /// burning, all levels in.
    #[serde(default)]
    pub passes: Vec<Pass>,
    /// The drawings that lie on levels, from which frame on: in rising order of frame. A level of
    /// which nothing is said keeps its painting.
    #[serde(default)]
    pub laid: Vec<Laid>,
    /// How many exposures are made between two home checks; 0 for a check at the end only.
    pub home_check: u32,
}

/// One axis moved by a motor. Speeds and distances are in steps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct MotorAxis {
    /// What it carries, such as `reeds`.
    pub of: String,
    /// Which way it goes, such as east.
    pub way: Way,
    /// The unit of its positions for messages.
    pub unit: AxisUnit,
    /// One step, in that unit.
    pub step_size: f64,
    /// How far one step moves the picture, in its pixels, where it moves it most.
    pub step_pixels: f64,
    /// Place of its board in [`Schedule::boards`].
    pub board: usize,
    /// Its number on that board.
    pub channel: u8,
    /// Whether a positive step needs the direction line low.
    pub reversed: bool,
    /// Greatest speed, steps a second.
    pub speed: u32,
    /// Greatest acceleration, steps a second squared.
    pub acceleration: u32,
    /// Greatest jerk, steps a second cubed.
    pub jerk: u32,
    /// Speed that needs no ramp, steps a second.
    pub slow: u32,
    /// Least and greatest position, steps.
    pub travel: (i32, i32),
    /// Position at which the home switch trips, steps.
    pub switch: i32,
    /// How far two findings of the home switch may lie apart, steps.
    pub within: i32,
    /// Slack of the drive: how far it turns at a reversal before the carriage follows, steps.
    pub slack: i32,
    /// How far to go beyond a target and come back, so that the last approach is always toward
    /// greater positions, steps; 0 where the drive has no slack.
    pub take_up: i32,
}

/// One axis moved by hand.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HandAxis {
    /// What it carries, such as `sky`.
    pub of: String,
    /// Which way it goes, such as north.
    pub way: Way,
    /// The unit of its scale.
    pub unit: AxisUnit,
    /// The scale's division, in that unit.
    pub scale: f64,
    /// The least and the greatest position that it can have, in that unit.
    pub travel: (f64, f64),
}

/// How to expose.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    /// What makes it happen.
    pub release: Release,
    /// Rest between the last step and the exposure.
    pub settle: Duration,
    /// Longest time from the release to the opening of the shutter.
    #[serde(default)]
    pub delay: Duration,
    /// From the closing of the release line until the shutter has certainly closed.
    pub window: Duration,
    /// From then until the camera can take the next.
    pub ready: Duration,
    /// Longest time from the end of an exposure until its picture has arrived, where the folder
    /// that it arrives in is watched.
    pub arrival: Option<Duration>,
}

/// What makes the camera expose.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Release {
    /// A board's release line.
    Board {
        /// Place of the board in [`Schedule::boards`].
        board: usize,
        /// How long the half-press line is closed before the release line.
        half_press: Duration,
        /// How long the release line is closed.
        press: Duration,
        /// Whether the flash contact is wired: each exposure must close it exactly once.
        flash_contact: bool,
    },
    /// A program of the user's own.
    Command {
        /// The program and its arguments; `{frame}` stands for the frame's number, `{pass}` for the
        /// pass's, `{exposure}` for the exposure time in seconds.
        words: Vec<String>,
        /// Longest time that it may take.
        time_out: Duration,
    },
    /// A person's finger.
    Hand,
}

impl Exposure {
    /// Place of the camera's board in [`Schedule::boards`], where a board fires it.
    #[must_use]
    pub const fn board(&self) -> Option<usize> {
        match self.release {
            Release::Board { board, .. } => Some(board),
            Release::Command { .. } | Release::Hand => None,
        }
    }

    /// Whether a command is told how long to expose.
    #[must_use]
    pub fn tells_time(&self) -> bool {
        match &self.release {
            Release::Command { words, .. } => words.iter().any(|word| word.contains(EXPOSURE_WORD)),
            Release::Board { .. } | Release::Hand => false,
        }
    }

    /// Whether each exposure must close a flash contact exactly once.
    #[must_use]
    pub const fn flash_contact(&self) -> bool {
        matches!(
            self.release,
            Release::Board {
                flash_contact: true,
                ..
            }
        )
    }
}

impl MotorAxis {
    /// Its name for messages, such as `reeds east`.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{} {}", self.of, self.way.name())
    }
}

impl HandAxis {
    /// Its name for messages, such as `sky north`.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{} {}", self.of, self.way.name())
    }
}

impl Schedule {
    /// The motor axes' targets at a frame, counted from 1, or `None` beyond the ends.
    #[must_use]
    pub fn motors_at(&self, frame: u32) -> Option<&[i32]> {
        row(&self.motor_targets, self.motors.len(), self.frames, frame)
    }

    /// Whether its parts fit together: a position for every axis at every frame, and every board
    /// that is spoken of.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        let entries = |axes: usize| axes.checked_mul(usize::try_from(self.frames).ok()?);
        let known = |board: usize| board < self.boards.len();
        Some(self.motor_targets.len()) == entries(self.motors.len())
            && Some(self.hand_targets.len()) == entries(self.hands.len())
            && self.motors.iter().all(|axis| known(axis.board))
            && self.exposure.board().is_none_or(known)
            && self
                .lamps
                .iter()
                .all(|lamp| lamp.output.is_none_or(|(board, _)| known(board)))
            && self.passes.iter().all(|pass| {
                let mut lamps = pass.lamps.iter();
                lamps.all(|&lamp| lamp < self.lamps.len())
            })
    }

    /// Places of the lifts in `motors`, in the order in which they go to their home switches, one
    /// after another: those that go down from the lowest, then those that go up from the highest,
    /// so that none goes past another that has not gone yet.
    #[must_use]
    pub fn home_order(&self) -> Vec<usize> {
        let goes_down = |place: &usize| {
            let motor = &self.motors[*place];
            motor.switch < motor.travel.0
        };
        let (mut order, up): (Vec<usize>, Vec<usize>) =
            self.lifts.iter().copied().partition(goes_down);
        order.reverse();
        order.extend(up);
        order
    }

    /// Places of the lifts in `motors`, in the order in which they can go from one pose to another,
    /// one after another: in both poses none touches another, so that none does on the way where
    /// those that go up go first, from the top, and then those that go down, from the bottom.
    /// (Whichever of two neighbours is to go away from the other, or ahead of it, goes first.)
    #[must_use]
    pub fn lift_order(&self, from: &[i32], to: &[i32]) -> Vec<usize> {
        let goes_up = |place: &usize| to[*place] > from[*place];
        let (mut order, mut down): (Vec<usize>, Vec<usize>) =
            self.lifts.iter().copied().partition(goes_up);
        down.reverse();
        order.append(&mut down);
        order
    }

    /// Whether one board moves all the lifts: what it moves at the same time keeps pace, so that two
    /// levels that are clear of each other before and after are so in between.
    #[must_use]
    pub fn lifts_keep_pace(&self) -> bool {
        let mut boards = self.lifts.iter().map(|&place| self.motors[place].board);
        boards
            .next()
            .is_none_or(|first| boards.all(|board| board == first))
    }

    /// The hand axes' targets at a frame, counted from 1, or `None` beyond the ends.
    #[must_use]
    pub fn hands_at(&self, frame: u32) -> Option<&[f64]> {
        row(&self.hand_targets, self.hands.len(), self.frames, frame)
    }
}

fn row<T>(table: &[T], width: usize, frames: u32, frame: u32) -> Option<&[T]> {
    let index = usize::try_from(frame.checked_sub(1)?).ok()?;
    if frame > frames {
        return None;
    }
    table.get(index * width..(index + 1) * width)
}
