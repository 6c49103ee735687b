//! Setting the boards up, and homing.

use panestep_protocol::{
    Activity, AxisIndex, AxisSettings, Command, GuardSettings, HomingFault, RequestId, Steps, Token,
};

use super::{Crew, Interrupt};
use crate::link::session::SILENCE;
use crate::schedule::MotorAxis;
use crate::take::error::TakeError;
use crate::take::journal::Entry;
use crate::take::people::Progress;
use crate::take::run::LOOK;

impl Crew<'_, '_> {
    /// Sets every board up, switches the drivers on, and homes every axis whose place its board
    /// does not vouch for. A rehearsal and the first run of a take home all of them.
    pub(in crate::take) fn prepare(&mut self) -> Result<(), Interrupt> {
        let fresh = self.journal.as_ref().is_none_or(|journal| {
            journal.state().next
                == Token {
                    slot: 1,
                    attempt: 1,
                }
        });
        let mut queues = Vec::new();
        let mut counted = vec![false; self.schedule.motors.len()];
        for board in self.boards() {
            self.check_interrupt()?;
            // What an earlier run left moving comes to rest first.
            if self.link(board)?.status()?.activity == Activity::Moving {
                self.ask(board, Command::Halt)?;
            }
            let status = self.rest(board)?;
            if status.halt.is_some() {
                self.ask(board, Command::Acknowledge)?;
            }
            let link = self.link(board)?;
            let silence = link.ticks(SILENCE)?;
            let settle = self.schedule.exposure.settle;
            let settle = self.link(board)?.ticks(settle)?;
            self.ask(board, Command::Guard(GuardSettings { silence, settle }))?;
            let mut queue: Vec<usize> = Vec::new();
            for (place, axis) in self.schedule.motors.iter().enumerate() {
                if axis.board != board {
                    continue;
                }
                self.ask(
                    board,
                    Command::Configure(AxisSettings {
                        axis: AxisIndex(axis.channel),
                        speed: axis.speed,
                        acceleration: axis.acceleration,
                        jerk: axis.jerk,
                        slow: axis.slow,
                        reversed: axis.reversed,
                        least: Steps(axis.travel.0),
                        greatest: Steps(axis.travel.1),
                        home: axis.toward(),
                    }),
                )?;
                queue.push(place);
            }
            self.ask(board, Command::Drivers { on: true })?;
            let homed = self.link(board)?.status()?.homed;
            for &place in &queue {
                counted[place] = homed.contains(usize::from(self.schedule.motors[place].channel));
            }
            if !fresh {
                queue.retain(|&place| {
                    !homed.contains(usize::from(self.schedule.motors[place].channel))
                });
            }
            queue.reverse();
            queues.push(queue);
        }
        self.home(queues, &counted)?;
        self.open_shot()?;
        Ok(())
    }

    /// Homes axes, one after another on each board, the boards side by side. Those that are
    /// `counted` have been homed since their board's start: where the switch is by that count says
    /// whether steps have been lost since.
    fn home(&mut self, mut queues: Vec<Vec<usize>>, counted: &[bool]) -> Result<(), Interrupt> {
        let mut under_way: Vec<Option<(usize, RequestId)>> = vec![None; queues.len()];
        loop {
            let mut busy = false;
            for board in self.boards() {
                if let Some((place, request)) = under_way[board] {
                    // Why a homing failed says more than the halt that may come with it.
                    let status = self.link(board)?.status()?;
                    if matches!(status.activity, Activity::Homing(_)) {
                        // Its report may still be an earlier session's of the same number.
                        busy = true;
                        continue;
                    }
                    let axis: &MotorAxis = &self.schedule.motors[place];
                    let report = status.homing.filter(|report| report.request == request);
                    let interrupted =
                        report.is_none_or(|report| report.result == Err(HomingFault::Interrupted));
                    if let Some(halt) = status.halt.filter(|_| interrupted) {
                        let _ = self.halt_all();
                        return Err(self.halted(board, halt).into());
                    }
                    let Some(report) = report else {
                        busy = true;
                        continue;
                    };
                    under_way[board] = None;
                    let found = match report.result {
                        Ok(found) => found,
                        Err(fault) => {
                            // The axes of other boards do not go on alone.
                            let _ = self.halt_all();
                            return Err(TakeError::Homing {
                                axis: axis.name(),
                                fault,
                            }
                            .into());
                        }
                    };
                    let off = counted[place]
                        .then(|| found.was.0.saturating_sub(axis.home_order().edge.0));
                    self.record(&Entry::Homed {
                        axis: axis.name(),
                        was: found.was.0,
                        off,
                    })?;
                    // A count says nothing finer than a step.
                    let within = axis.within.max(1);
                    if let Some(off) = off.filter(|off| off.unsigned_abs() > within.unsigned_abs())
                    {
                        self.see(&Progress::Drifted {
                            axis: &axis.name(),
                            off: f64::from(off) * axis.step_size,
                            within: f64::from(within) * axis.step_size,
                            unit: axis.unit,
                        });
                    }
                    self.see(&Progress::Homed { axis: &axis.name() });
                }
                if let Some(place) = queues[board].pop() {
                    let axis = &self.schedule.motors[place];
                    self.see(&Progress::Homing { axis: &axis.name() });
                    self.ask(board, Command::Home(axis.home_order()))?;
                    under_way[board] = Some((place, self.link(board)?.last_request()));
                    busy = true;
                }
            }
            if !busy {
                return Ok(());
            }
            self.wait(LOOK)?;
        }
    }
}
