//! The exposures in their order, with everything that stands in their rows.

use std::collections::HashMap;
use std::io;

use super::remarks::Remarks;
use super::{Wanted, seconds};
use crate::plan::Plan;
use crate::plan::survey::Survey;
use crate::schedule::{Arranged, Chore, Schedule, Turn};
use crate::shot::Shot;
use crate::stand::{Stand, Way};
use crate::units::{Scale, decimals};

/// One row.
pub(super) struct Row {
    pub(super) turn: Turn,
    /// Of each column of settings: the setting, and how far it has gone since the row before.
    pub(super) settings: Vec<(f64, Option<f64>)>,
    /// For each level with drawings: what lies on it.
    pub(super) drawings: Vec<Lies>,
    pub(super) remarks: Vec<String>,
}

/// A drawing, or none for a bare pane.
pub(super) enum Lies {
    /// It has to be laid.
    New(Option<String>),
    /// It lies there.
    Still(Option<String>),
    /// The level is out.
    Out,
}

/// A column of settings.
pub(super) struct Setting<'a> {
    pub(super) of: &'a str,
    pub(super) way: Way,
    /// The unit of the table for programs.
    pub(super) unit: &'static str,
    pub(super) digits: usize,
    /// As a person reads it.
    pub(super) scale: Scale,
    pub(super) hand: bool,
}

pub(super) struct Sheet<'a> {
    /// The shot's name.
    pub(super) shot: &'a str,
    pub(super) schedule: &'a Schedule,
    pub(super) settings: Vec<Setting<'a>>,
    /// Levels on which drawings lie.
    pub(super) drawn: Vec<&'a str>,
    pub(super) remarks: Remarks,
    pub(super) wanted: &'a Wanted,
}

impl<'a> Sheet<'a> {
    pub(super) fn new(
        stand: &Stand,
        shot: &'a Shot,
        plan: &'a Plan,
        survey: &Survey,
        wanted: &'a Wanted,
    ) -> Self {
        let schedule = plan.schedule();
        let mut settings: Vec<Setting<'_>> = schedule
            .hands
            .iter()
            .map(|hand| Setting {
                of: &hand.of,
                way: hand.way,
                unit: hand.unit.sign(),
                digits: decimals(hand.scale),
                scale: Scale::of(hand.scale, hand.unit),
                hand: true,
            })
            .collect();
        if wanted.motors {
            settings.extend(schedule.motors.iter().map(|motor| Setting {
                of: &motor.of,
                way: motor.way,
                unit: motor.unit.sign(),
                digits: 3,
                scale: Scale::of_motor(motor.unit),
                hand: false,
            }));
        }
        let mut drawn: Vec<&str> = Vec::new();
        for laid in &schedule.laid {
            if !drawn.contains(&&*laid.on) {
                drawn.push(&laid.on);
            }
        }
        Self {
            shot: &shot.name,
            schedule,
            settings,
            drawn,
            remarks: Remarks::new(stand, shot, plan, survey),
            wanted,
        }
    }

    pub(super) fn settings_at(&self, frame: u32) -> Vec<f64> {
        let hands = self.schedule.hands_at(frame).unwrap_or_default();
        let mut values = hands.to_vec();
        if self.wanted.motors {
            let steps = self.schedule.motors_at(frame).unwrap_or_default();
            let sized = steps.iter().zip(&self.schedule.motors);
            values.extend(sized.map(|(steps, motor)| f64::from(*steps) * motor.step_size));
        }
        values
    }

    /// Every exposure in its order. What a person has to do by hand is what a take asks for.
    pub(super) fn rows(&self, mut each: impl FnMut(&Row) -> io::Result<()>) -> io::Result<()> {
        let schedule = self.schedule;
        let mut arranged = Arranged::new(schedule);
        let mut lying: HashMap<String, Option<String>> = HashMap::new();
        let mut before: Option<(Turn, Vec<f64>)> = None;
        // What there is to say of a frame is said once, not anew in a later run through the frames.
        let mut again = false;
        for number in 1..=schedule.turns() {
            let Some(turn) = schedule.turn(number) else {
                break;
            };
            if !self.wanted.frames.contains(&turn.frame) {
                continue;
            }
            let first = arranged.is_first();
            let chores = arranged.chores(schedule, turn);
            arranged.done(&chores);
            let mut remarks = self.begins(turn, before.as_ref().map(|(last, _)| *last));
            let mut new: Vec<&str> = Vec::new();
            for chore in &chores {
                match chore {
                    Chore::Lay { level, drawing } => {
                        lying.insert(level.clone(), Some(drawing.clone()));
                        new.push(level);
                    }
                    Chore::Clear { level } => {
                        lying.insert(level.clone(), None);
                        new.push(level);
                    }
                    Chore::TakeOut { level } => remarks.push(format!("take {level} out")),
                    Chore::PutBack { level } if first => {
                        remarks.push(format!("see that {level} is in"));
                    }
                    Chore::PutBack { level } => remarks.push(format!("put {level} in")),
                    Chore::Lamp { lamp, on } => {
                        let on = if *on { "on" } else { "off" };
                        remarks.push(format!("lamp {lamp} {on}"));
                    }
                    Chore::Exposure { time } => {
                        remarks.push(format!("set the camera to {}", seconds(*time)));
                    }
                }
            }
            let last = before.as_ref().map(|(last, _)| *last);
            again |= last.is_some_and(|last| turn.frame < last.frame);
            if last.is_none() {
                remarks.extend(self.remarks.since(turn.frame));
            }
            if !again && last.is_none_or(|last| last.frame != turn.frame) {
                remarks.extend(self.remarks.at(turn.frame).iter().cloned());
            }
            let settings = self.settings_at(turn.frame);
            let moved = settings.iter().enumerate().map(|(place, value)| {
                let by = before.as_ref().map(|(_, before)| value - before[place]);
                (*value, by)
            });
            let out = schedule.passes.get(turn.pass).map(|pass| &pass.without);
            let drawings = self.drawn.iter().map(|on| {
                let drawing = lying.get(*on).cloned().flatten();
                if out.is_some_and(|out| out.iter().any(|level| level == on)) {
                    Lies::Out
                } else if new.contains(on) {
                    Lies::New(drawing)
                } else {
                    Lies::Still(drawing)
                }
            });
            let row = Row {
                turn,
                settings: moved.collect(),
                drawings: drawings.collect(),
                remarks,
            };
            each(&row)?;
            before = Some((turn, settings));
        }
        Ok(())
    }

    /// Which pass begins here; where passes take turns at each frame, their column says it.
    fn begins(&self, turn: Turn, before: Option<Turn>) -> Vec<String> {
        let begins = before.is_none_or(|before| turn.frame < before.frame);
        let pass = self.schedule.passes.get(turn.pass);
        let pass = pass.filter(|_| turn.several && begins);
        pass.map(|pass| format!("pass {} begins: {}", turn.pass + 1, pass.name))
            .into_iter()
            .collect()
    }
}
