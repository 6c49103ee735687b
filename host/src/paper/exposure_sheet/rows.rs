//! The exposures in their order, with everything that stands in their rows.

use std::collections::HashMap;
use std::io;
use std::time::Duration;

use super::remarks::Remarks;
use super::{Wanted, seconds};
use crate::plan::Plan;
use crate::plan::output::decimals;
use crate::plan::survey::Survey;
use crate::schedule::{Lamp, Pass, Schedule, Turn};
use crate::shot::{Shot, When};
use crate::stand::{Stand, Way};

/// One row.
pub(super) struct Row {
    pub(super) number: u32,
    pub(super) turn: Turn,
    /// Of each column of settings: the setting, and how far it has gone since the row before.
    pub(super) settings: Vec<(f64, Option<f64>)>,
    /// For each level with drawings: what lies on it, and whether it did already.
    pub(super) drawings: Vec<(Option<String>, bool)>,
    pub(super) remarks: Vec<String>,
}

/// A column of settings.
pub(super) struct Setting<'a> {
    pub(super) of: &'a str,
    pub(super) way: Way,
    pub(super) unit: &'static str,
    pub(super) digits: usize,
    pub(super) hand: bool,
}

pub(super) struct Sheet<'a> {
    pub(super) schedule: &'a Schedule,
    pub(super) settings: Vec<Setting<'a>>,
    /// Levels on which drawings lie.
    pub(super) drawn: Vec<&'a str>,
    pub(super) laid: HashMap<(u32, &'a str), Option<&'a str>>,
    pub(super) remarks: Remarks,
    pub(super) wanted: &'a Wanted,
}

impl<'a> Sheet<'a> {
    pub(super) fn new(
        stand: &Stand,
        shot: &Shot,
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
                hand: true,
            })
            .collect();
        if wanted.motors {
            settings.extend(schedule.motors.iter().map(|motor| Setting {
                of: &motor.of,
                way: motor.way,
                unit: motor.unit.sign(),
                digits: 3,
                hand: false,
            }));
        }
        let mut drawn: Vec<&str> = Vec::new();
        for laid in &schedule.laid {
            if !drawn.contains(&&*laid.on) {
                drawn.push(&laid.on);
            }
        }
        let laid = schedule
            .laid
            .iter()
            .map(|laid| ((laid.frame, laid.on.as_str()), laid.drawing.as_deref()))
            .collect();
        Self {
            schedule,
            settings,
            drawn,
            laid,
            remarks: Remarks::new(stand, shot, plan, survey),
            wanted,
        }
    }

    fn settings_at(&self, frame: u32) -> Vec<f64> {
        let hands = self.schedule.hands_at(frame).unwrap_or_default();
        let mut values = hands.to_vec();
        if self.wanted.motors {
            let steps = self.schedule.motors_at(frame).unwrap_or_default();
            let sized = steps.iter().zip(&self.schedule.motors);
            values.extend(sized.map(|(steps, motor)| f64::from(*steps) * motor.step_size));
        }
        values
    }

    /// Every exposure in its order.
    pub(super) fn rows(&self, mut each: impl FnMut(&Row) -> io::Result<()>) -> io::Result<()> {
        let schedule = self.schedule;
        let mut before: Option<Vec<f64>> = None;
        let mut lying: HashMap<&str, Option<&str>> = HashMap::new();
        let mut last: Option<Turn> = None;
        for number in 1..=schedule.turns() {
            let Some(turn) = schedule.turn(number) else {
                break;
            };
            // What lies there has to be known from the first frame on.
            let new_run = last.is_some_and(|last| turn.frame < last.frame);
            if new_run {
                lying.clear();
            }
            let mut changed = false;
            if last.is_none_or(|last| last.frame != turn.frame) {
                for on in &self.drawn {
                    if let Some(drawing) = self.laid.get(&(turn.frame, *on)) {
                        lying.insert(on, *drawing);
                        changed = true;
                    }
                }
            }
            if !self.wanted.frames.contains(&turn.frame) {
                last = Some(turn);
                continue;
            }
            let settings = self.settings_at(turn.frame);
            let moved = settings
                .iter()
                .enumerate()
                .map(|(place, value)| (*value, before.as_ref().map(|before| value - before[place])))
                .collect();
            let first = before.is_none();
            let drawings = self
                .drawn
                .iter()
                .map(|on| {
                    let drawing = lying.get(on).copied().flatten().map(str::to_owned);
                    let new = changed && self.laid.contains_key(&(turn.frame, *on));
                    (drawing, !(new || first || new_run))
                })
                .collect();
            let pass_before = last.filter(|_| !first).map(|last| last.pass);
            let row = Row {
                number,
                turn,
                settings: moved,
                drawings,
                remarks: self.remarks_of(turn, pass_before, first || new_run),
            };
            each(&row)?;
            before = Some(settings);
            last = Some(turn);
        }
        Ok(())
    }

    /// `begins`: the row before belongs to an earlier run over the frames, or there is none.
    fn remarks_of(&self, turn: Turn, pass_before: Option<usize>, begins: bool) -> Vec<String> {
        let mut all = Vec::new();
        let passes = &self.schedule.passes;
        let pass = passes.get(turn.pass);
        if let Some(pass) = pass.filter(|_| pass_before != Some(turn.pass)) {
            let before = pass_before.and_then(|before| passes.get(before));
            // Where passes take turns at each frame, their column says it.
            if turn.several && begins {
                all.push(format!("pass {}: {}", turn.pass + 1, pass.name));
            }
            let out = |pass: &Pass, level: &String| pass.without.contains(level);
            for level in &pass.without {
                if before.is_none_or(|before| !out(before, level)) {
                    all.push(format!("take {level} out"));
                }
            }
            for level in before.iter().flat_map(|before| &before.without) {
                if !out(pass, level) {
                    all.push(format!("put {level} in"));
                }
            }
            all.extend(self.switched(pass, before));
            if let Some(time) = self.own_time(pass)
                && before.and_then(|before| self.own_time(before)) != Some(time)
            {
                all.push(format!("set the camera to {}", seconds(time)));
            }
        }
        // Once a frame, with its first pass in this run.
        let again = pass_before.is_some_and(|before| before < turn.pass)
            && pass.is_some_and(|pass| pass.when == When::EachFrame);
        if !again {
            all.extend(self.remarks.at(turn.frame).iter().cloned());
        }
        all
    }

    /// What the camera itself has to be set to: where a person has to set it for any pass, it has
    /// to be set back for the others too.
    fn own_time(&self, pass: &Pass) -> Option<Duration> {
        let ever = self.schedule.passes.iter().any(|pass| pass.set_by_hand);
        // Where the line is closed for as long as the shutter is to be open, the line tells.
        let by_line = !pass.set_by_hand && pass.press == pass.exposure;
        (ever && !by_line).then_some(pass.exposure)
    }

    /// Lamps that a person has to switch.
    fn switched(&self, pass: &Pass, before: Option<&Pass>) -> Vec<String> {
        let by_hand = |(_, lamp): &(usize, &Lamp)| lamp.output.is_none();
        let lamps = self.schedule.lamps.iter().enumerate().filter(by_hand);
        lamps
            .filter_map(|(place, lamp)| {
                let burns = pass.lamps.contains(&place);
                let burnt = before.map(|before| before.lamps.contains(&place));
                let switch = if burns { "on" } else { "off" };
                (burnt != Some(burns)).then(|| format!("lamp {} {switch}", lamp.name))
            })
            .collect()
    }
}
