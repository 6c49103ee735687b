//! Setting the boards up, and homing.

use panestep_protocol::{
    Activity, AxisIndex, AxisSettings, Command, GuardSettings, HomingFault, RequestId, Steps, Token,
};

use super::{Crew, Interrupt};
use crate::link::session::SILENCE;
use crate::schedule::MotorAxis;
use crate::take::error::TakeError;
use crate::take::journal::{Entry, Hex};
use crate::take::people::Progress;
use crate::take::run::LOOK;
use crate::take::span::Span;

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
        let mut places = Vec::new();
        let mut counted = vec![false; self.schedule.motors.len()];
        for board in self.boards() {
            self.check_interrupt()?;
            self.set_up(board)?;
            let status = self.link(board)?.status()?;
            let boot = self.link(board)?.boot();
            for (place, axis) in self.schedule.motors.iter().enumerate() {
                if axis.board != board {
                    continue;
                }
                let channel = usize::from(axis.channel);
                // An axis that rests on a switch is not where it is counted, whatever its board
                // thinks: inside its travel there is none.
                let switches = status.switches;
                let astray = switches.home.contains(channel) || switches.far.contains(channel);
                let homed = status.homed.contains(channel) && !astray;
                // A count goes on after a stop too: what the switch says by it is worth knowing.
                // It is this take's only where this take has homed the axis, and seen it done.
                let ours = self.state().map(|state| state.counted(&axis.name(), boot));
                let unchecked = self
                    .state()
                    .is_some_and(|state| state.unchecked().len() > 0);
                counted[place] = match ours {
                    Some(ours) if unchecked => ours,
                    Some(ours) => homed || ours,
                    None => homed,
                };
                if fresh || !homed || ours == Some(false) {
                    places.push(place);
                }
            }
        }
        self.with_lifts(&mut places);
        self.home(&places, &counted)?;
        self.open_shot()?;
        Ok(())
    }

    /// Sets a board up and switches its drivers on. Whatever halted it counts as seen.
    pub(super) fn set_up(&mut self, board: usize) -> Result<(), TakeError> {
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
        for axis in &self.schedule.motors {
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
        }
        self.ask(board, Command::Drivers { on: true })?;
        Ok(())
    }

    /// A lift that goes home past others: those go first, wherever they are.
    pub(in crate::take) fn with_lifts(&self, places: &mut Vec<usize>) {
        let lifts = &self.schedule.lifts;
        if places.iter().any(|place| lifts.contains(place)) {
            places.extend(lifts);
        }
        places.sort_unstable();
        places.dedup();
    }

    /// Homes axes. Those that are `counted` have been homed since their board's start: where the
    /// switch is by that count says whether steps have been lost since.
    pub(super) fn home(&mut self, places: &[usize], counted: &[bool]) -> Result<(), Interrupt> {
        self.search(places, Search::Home(counted)).map(drop)
    }

    /// Axes in groups that go to their switches one group after another: each lift on its own, in
    /// an order in which none runs into another, and then what only slides or turns. (That home
    /// poses themselves are clear of each other is the stand's builder's business.)
    pub(super) fn groups(&self, places: &[usize]) -> Vec<Vec<usize>> {
        let lifts = self.schedule.home_order();
        let mut groups: Vec<Vec<usize>> = lifts
            .iter()
            .filter(|lift| places.contains(lift))
            .map(|&lift| vec![lift])
            .collect();
        let rest: Vec<usize> = places
            .iter()
            .copied()
            .filter(|place| !lifts.contains(place))
            .collect();
        if !rest.is_empty() {
            groups.push(rest);
        }
        groups
    }

    /// Sends axes to their home switches, group after group. Returns for each by how many steps
    /// the switch was off, by the count.
    pub(super) fn search(
        &mut self,
        places: &[usize],
        search: Search<'_>,
    ) -> Result<Vec<(usize, i32)>, Interrupt> {
        let mut found = Vec::new();
        for group in self.groups(places) {
            let before = (found.len(), places.len());
            found.extend(self.search_together(&group, search, before)?);
        }
        Ok(found)
    }

    /// Sends axes to their home switches, one after another on each board, the boards side by
    /// side. `before`: how many have been there already, of how many in all.
    pub(super) fn search_together(
        &mut self,
        places: &[usize],
        search: Search<'_>,
        before: (usize, usize),
    ) -> Result<Vec<(usize, i32)>, Interrupt> {
        self.pose = None;
        let mut queues: Vec<Vec<usize>> = vec![Vec::new(); self.schedule.boards.len()];
        for &place in places.iter().rev() {
            queues[self.schedule.motors[place].board].push(place);
        }
        let mut under_way: Vec<Option<(usize, RequestId)>> = vec![None; queues.len()];
        let mut all_found = Vec::new();
        let (mut begun, all) = before;
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
                    let off = found.was.0.saturating_sub(axis.home_order().edge.0);
                    all_found.push((place, off));
                    if let Search::Home(counted) = search {
                        let counted = counted.get(place).copied().unwrap_or(false);
                        self.homed(place, found.was.0, counted.then_some(off))?;
                    }
                }
                if let Some(place) = queues[board].pop() {
                    let axis = &self.schedule.motors[place];
                    begun += 1;
                    let number = (begun, all);
                    let name = axis.name();
                    let command = match search {
                        Search::Home(_) => {
                            self.see(&Progress::Homing {
                                axis: &name,
                                number,
                            });
                            self.record(&Entry::Homing { axis: name })?;
                            Command::Home(axis.home_order())
                        }
                        Search::Check => {
                            self.see(&Progress::Checking {
                                axis: &name,
                                number,
                            });
                            Command::Check(axis.home_order())
                        }
                    };
                    self.ask(board, command)?;
                    under_way[board] = Some((place, self.link(board)?.last_request()));
                    busy = true;
                }
            }
            if !busy {
                return Ok(all_found);
            }
            self.wait(LOOK)?;
        }
    }

    /// An axis has been homed: what had been counted before is doubted first, where it was wrong.
    fn homed(&mut self, place: usize, was: i32, off: Option<i32>) -> Result<(), TakeError> {
        let axis: &MotorAxis = &self.schedule.motors[place];
        let boot = Hex(self.link(axis.board)?.boot().0);
        if let Some(drift) = off.and_then(|steps| axis.drift(steps)) {
            self.doubt(drift)?;
        }
        if off.is_none()
            && let Some(state) = self.state()
            && state.unchecked().len() > 0
        {
            let frames = Span::of(state.unchecked());
            self.see(&Progress::Unchecked {
                axis: &axis.name(),
                frames: &frames,
            });
        }
        self.record(&Entry::Homed {
            axis: axis.name(),
            boot,
            was,
            off,
        })?;
        self.see(&Progress::Homed { axis: &axis.name() });
        Ok(())
    }
}

/// What axes go to their home switches for.
#[derive(Clone, Copy)]
pub(super) enum Search<'a> {
    /// To count from there; which of them have been counted before.
    Home(&'a [bool]),
    /// To see whether they are where they are counted.
    Check,
}
