//! Home checks: whether every axis is where it is counted.

use std::collections::BTreeMap;

use panestep_protocol::Toward;

use super::homing::Search;
use super::{Crew, Interrupt};
use crate::schedule::MotorAxis;
use crate::take::journal::Entry;
use crate::take::people::Progress;
use crate::take::state::Drift;

impl MotorAxis {
    /// How far an axis was found from where it was counted, where that is more than its switch may
    /// differ from one finding to the next. A count says nothing finer than a step.
    pub(super) fn drift(&self, steps: i32) -> Option<Drift> {
        (steps.unsigned_abs() > self.within.max(1).unsigned_abs()).then(|| Drift {
            axis: self.name(),
            steps,
            amount: f64::from(steps) * self.step_size,
            unit: self.unit.sign().to_owned(),
            pixels: f64::from(steps).abs() * self.step_pixels,
        })
    }
}

impl Crew<'_, '_> {
    pub(in crate::take) fn home_check_is_due(&self) -> bool {
        let every = self.schedule.home_check as usize;
        every > 0
            && self
                .state()
                .is_some_and(|state| state.unchecked().len() >= every)
    }

    /// Sends every axis to its home switch and compares. Where no frame has been exposed since the
    /// last time, there is nothing to be learnt.
    pub(in crate::take) fn home_check(&mut self) -> Result<(), Interrupt> {
        let frames = match self.state() {
            Some(state) => match state.unchecked().len() {
                0 => return Ok(()),
                frames => frames,
            },
            // A rehearsal, which exposes none.
            None => 0,
        };
        let motors = &self.schedule.motors;
        let found = self.compare(&self.places())?;
        let off: BTreeMap<String, i32> = found
            .iter()
            .map(|&(place, steps)| (motors[place].name(), steps))
            .collect();
        let drifted = self.drifted(&found);
        if self.home_again(drifted)? {
            return self.decide_suspects();
        }
        self.record(&Entry::Checked { off })?;
        // Where nothing but hands moves anything, there has been nothing to look for.
        if !motors.is_empty() {
            self.see(&Progress::Checked { frames });
        }
        Ok(())
    }

    /// After panes have been handled: sends every axis to its home switch and compares, whatever has
    /// been exposed before. One that an arm has pushed is homed afresh.
    pub(super) fn check_after_glass(&mut self) -> Result<(), Interrupt> {
        let found = self.compare(&self.places())?;
        let drifted = self.drifted(&found);
        if self.home_again(drifted)? {
            return self.decide_suspects();
        }
        self.see(&Progress::Checked { frames: 0 });
        Ok(())
    }

    /// Those that were found farther from where they were counted than their switches may differ.
    fn drifted(&self, found: &[(usize, i32)]) -> Vec<(usize, Drift)> {
        let motors = &self.schedule.motors;
        found
            .iter()
            .filter_map(|&(place, steps)| Some((place, motors[place].drift(steps)?)))
            .collect()
    }

    /// Doubts what was exposed with axes that have drifted, and homes them; whether there are any.
    fn home_again(&mut self, drifted: Vec<(usize, Drift)>) -> Result<bool, Interrupt> {
        let mut places = Vec::new();
        for (place, drift) in drifted {
            self.doubt(drift)?;
            places.push(place);
        }
        if places.is_empty() {
            return Ok(false);
        }
        self.home(&places, &[])?;
        Ok(true)
    }

    /// Sends homed axes to their home switches, group after group. Returns for each by how many
    /// steps the switch was off, by the count, which stays as it is.
    pub(super) fn compare(&mut self, places: &[usize]) -> Result<Vec<(usize, i32)>, Interrupt> {
        let motors = &self.schedule.motors;
        let mut found = Vec::new();
        for group in self.groups(places) {
            // Fast to the ends next to their switches.
            let at = self.positions()?;
            let mut ends = at.clone();
            for &place in &group {
                let axis = &motors[place];
                self.seated[place] = false;
                ends[place] = match axis.toward() {
                    Toward::Negative => axis.travel.0,
                    Toward::Positive => axis.travel.1,
                };
            }
            self.pose = None;
            self.go(&at, &ends)?;
            let before = (found.len(), places.len());
            found.extend(self.search_together(&group, Search::Check, before)?);
        }
        Ok(found)
    }
}
