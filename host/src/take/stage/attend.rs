//! What a person at the stand asks for, without a take.

use panestep_protocol::{Answer, AxisIndex, Command, Halt, NudgeOrder, Status, Steps};

use super::homing::Search;
use super::{Crew, Interrupt};
use crate::take::error::TakeError;

impl Crew<'_, '_> {
    /// Every board's status, halted or not.
    pub(in crate::take) fn statuses(&mut self) -> Result<Vec<Status>, TakeError> {
        let mut statuses = Vec::new();
        for board in self.boards() {
            statuses.push(self.link(board)?.status()?);
        }
        Ok(statuses)
    }

    /// Why a board has halted, with the axes' names.
    pub(in crate::take) fn halt_sentence(&self, board: usize, halt: Halt) -> String {
        crate::link::words::halt(halt, &|axis| self.axis_name(board, axis))
    }

    /// Sets every board up and switches the drivers on. A board that the stop or a limit switch
    /// has halted is let go only where a person has `seen` why.
    pub(in crate::take) fn set_up_all(&mut self, seen: bool) -> Result<(), Interrupt> {
        for (board, status) in self.statuses()?.iter().enumerate() {
            if let Some(halt @ (Halt::Stop | Halt::Limit { .. })) = status.halt
                && !seen
            {
                return Err(self.halted(board, halt).into());
            }
        }
        for board in self.boards() {
            self.check_interrupt()?;
            self.set_up(board)?;
        }
        Ok(())
    }

    /// Homes axes; by how many steps each one's switch was off by the count before.
    pub(in crate::take) fn home_these(
        &mut self,
        places: &[usize],
    ) -> Result<Vec<(usize, i32)>, Interrupt> {
        for &place in places {
            self.seated[place] = false;
        }
        self.search(places, Search::Home(&[]))
    }

    /// By how many steps each axis's switch is off by the count, which is kept.
    pub(in crate::take) fn check_these(
        &mut self,
        places: &[usize],
    ) -> Result<Vec<(usize, i32)>, Interrupt> {
        self.compare(places)
    }

    /// Moves one axis slowly by a distance, homed or not.
    pub(in crate::take) fn nudge(&mut self, place: usize, by: i32) -> Result<(), Interrupt> {
        let axis = &self.schedule.motors[place];
        let from = self.positions()?[place];
        self.pose = None;
        let seated = by >= axis.take_up || (self.seated[place] && by >= 0);
        self.seated[place] = false;
        let order = NudgeOrder {
            axis: AxisIndex(axis.channel),
            from: Steps(from),
            by: Steps(by),
        };
        let end = match self.ask(axis.board, Command::Nudge(order))? {
            Answer::Under { way } => self.now() + self.link(axis.board)?.time(way),
            _ => self.now(),
        };
        self.until_rest(vec![axis.board], end)?;
        self.seated[place] = seated;
        Ok(())
    }

    /// Brings homed axes to positions from below, and sees that they are there.
    pub(in crate::take) fn bring_these(
        &mut self,
        targets: &[(usize, i32)],
    ) -> Result<(), Interrupt> {
        let (places, all) = self.with_the_others(targets)?;
        self.bring(&places, &all)?;
        self.confirm(None, &places, &all)
    }

    /// Brings homed axes to positions by the straight way, and sees that they are there: what
    /// slack there is stays on the side that they come from.
    pub(in crate::take) fn go_straight(
        &mut self,
        targets: &[(usize, i32)],
    ) -> Result<(), Interrupt> {
        let (places, all) = self.with_the_others(targets)?;
        let at = self.positions()?;
        let mut seated = Vec::new();
        for &place in &places {
            let gained = i64::from(all[place]) - i64::from(at[place]);
            let axis = &self.schedule.motors[place];
            let far = gained >= i64::from(axis.take_up);
            seated.push(far || (self.seated[place] && gained >= 0));
            self.seated[place] = false;
        }
        self.go(&at, &all)?;
        for (&place, seated) in places.iter().zip(seated) {
            self.seated[place] = seated;
        }
        self.confirm(None, &places, &all)
    }

    /// A position for every axis: the target, or where it is.
    fn with_the_others(
        &mut self,
        targets: &[(usize, i32)],
    ) -> Result<(Vec<usize>, Vec<i32>), Interrupt> {
        self.pose = None;
        let mut all = self.positions()?;
        for &(place, target) in targets {
            all[place] = target;
        }
        Ok((targets.iter().map(|&(place, _)| place).collect(), all))
    }

    /// Waits; a person who interrupts brings everything to rest first.
    pub(in crate::take) fn pause(&mut self, time: std::time::Duration) -> Result<(), Interrupt> {
        self.wait(time)
    }
}
