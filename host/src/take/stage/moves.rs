//! Moves, and the certainty that everything is in its place and at rest.

use std::time::Duration;

use panestep_protocol::{
    Activity, Answer, AxisIndex, AxisTarget, Command, Refusal, Status, Steps, Ticks,
};

use super::{Crew, Interrupt};
use crate::link::{Link, LinkError, words};
use crate::schedule::Turn;
use crate::take::error::TakeError;
use crate::take::people::{Passage, Progress};
use crate::take::run::LOOK;

/// Longest that an axis may take to come to rest beyond what was announced.
const PATIENCE: Duration = Duration::from_secs(30);

impl Crew<'_, '_> {
    /// Waits until nothing moves on a board, whatever it did before this run.
    pub(super) fn rest(&mut self, board: usize) -> Result<Status, TakeError> {
        let begun = self.now();
        loop {
            let status = self.link(board)?.status()?;
            if status.activity == Activity::Idle {
                return Ok(status);
            }
            let waited = self.now().saturating_sub(begun);
            if waited > PATIENCE {
                return Err(TakeError::Restless {
                    board: self.schedule.boards[board].clone(),
                    waited,
                });
            }
            self.sleep(LOOK)?;
        }
    }

    /// Waits a little; a person who interrupts brings everything to rest first.
    pub(super) fn wait(&mut self, time: Duration) -> Result<(), Interrupt> {
        self.sleep(time)?;
        if self.check_interrupt().is_err() {
            self.halt_all()?;
            return Err(Interrupt::Person);
        }
        Ok(())
    }

    /// Brings every board to a controlled stop. One that cannot be reached keeps none of the others
    /// from it; its own silence guard stops it.
    pub(super) fn halt_all(&mut self) -> Result<(), TakeError> {
        let mut result = Ok(());
        for board in self.boards() {
            result = result.and(self.ask(board, Command::Halt).map(drop));
        }
        for board in self.boards() {
            result = result.and_then(|()| self.rest(board).map(drop));
        }
        result
    }

    /// After an error: what still moves on any board is brought to rest, as far as it can be
    /// reached.
    pub(in crate::take) fn still(&mut self) {
        for board in self.boards() {
            // Nothing better can be done about a board that does not answer now.
            let Ok(status) = self.link(board).map(Link::status) else {
                continue;
            };
            let moves = |activity| matches!(activity, Activity::Moving | Activity::Homing(_));
            if status.is_ok_and(|status| moves(status.activity)) {
                let _ = self.ask(board, Command::Halt);
            }
        }
    }

    /// A board's status; where the board has halted, the others are brought to rest too.
    pub(super) fn look(&mut self, board: usize) -> Result<Status, Interrupt> {
        let status = self.link(board)?.status()?;
        if let Some(halt) = status.halt {
            // The halt is what the person has to hear of, whatever else goes wrong now.
            let _ = self.halt_all();
            return Err(self.halted(board, halt).into());
        }
        Ok(status)
    }

    /// Brings every motor axis to a frame's position from below, and sees that it is there.
    pub(in crate::take) fn move_to(&mut self, turn: Turn) -> Result<(), Interrupt> {
        self.check_interrupt()?;
        self.see(&Progress::Moving { turn });
        let schedule = self.schedule;
        let targets = schedule
            .motors_at(turn.frame)
            .ok_or(TakeError::Schedule("a frame has no positions"))?;
        let all = self.places();
        // The plan has seen to it that from a frame to its neighbour no level touches another, however
        // the boards keep time. Any farther, also back to the first frame for the next passes, lifts
        // on several boards go one after another.
        let next = self
            .pose
            .take()
            .is_some_and(|at| at.abs_diff(turn.frame) <= 1);
        if !next && !schedule.lifts_keep_pace() {
            for lift in schedule.lift_order(&self.positions()?, targets) {
                self.check_interrupt()?;
                self.bring(&[lift], targets)?;
            }
        }
        self.bring(&all, targets)?;
        self.confirm(Some(turn), &all, targets)?;
        self.pose = Some(turn.frame);
        self.see(&Progress::Arrived { turn });
        Ok(())
    }

    /// Tells from where to where every axis goes to a frame's pose.
    pub(in crate::take) fn tell_passages(&mut self, turn: Turn) -> Result<(), Interrupt> {
        let schedule = self.schedule;
        let targets = schedule
            .motors_at(turn.frame)
            .ok_or(TakeError::Schedule("a frame has no positions"))?;
        let at = self.positions()?;
        let axes = schedule.motors.iter().zip(at).zip(targets);
        let passages: Vec<Passage<'_>> = axes
            .map(|((axis, from), &to)| Passage { axis, from, to })
            .collect();
        self.see(&Progress::SettingOut {
            turn,
            passages: &passages,
        });
        Ok(())
    }

    /// Every motor axis.
    pub(in crate::take) fn places(&self) -> Vec<usize> {
        (0..self.schedule.motors.len()).collect()
    }

    /// Brings axes to their targets from below, side by side; the others stay where they are.
    /// `targets` has one for every axis.
    pub(super) fn bring(&mut self, places: &[usize], targets: &[i32]) -> Result<(), Interrupt> {
        let at = self.positions()?;
        let (mut via, mut end) = (at.clone(), at.clone());
        for &place in places {
            let axis = &self.schedule.motors[place];
            let (from, to) = (at[place], targets[place]);
            let gained = i64::from(to) - i64::from(from);
            let direct = axis.take_up == 0
                || gained >= i64::from(axis.take_up)
                || (self.seated[place] && gained >= 0);
            via[place] = if direct { to } else { to - axis.take_up };
            end[place] = to;
            self.seated[place] = false;
        }
        // An axis that needs no detour arrives with the first of the two.
        self.go(&at, &via)?;
        self.go(&via, &end)?;
        for &place in places {
            self.seated[place] = true;
        }
        Ok(())
    }

    pub(super) fn positions(&mut self) -> Result<Vec<i32>, Interrupt> {
        let mut statuses = Vec::new();
        for board in self.boards() {
            statuses.push(self.look(board)?);
        }
        self.schedule
            .motors
            .iter()
            .map(|axis| {
                statuses[axis.board]
                    .positions
                    .get(usize::from(axis.channel))
                    .map(|steps| steps.0)
                    .ok_or_else(|| {
                        self.refused(axis.board, Refusal::NoAxis(AxisIndex(axis.channel)))
                            .into()
                    })
            })
            .collect()
    }

    /// One move on each board that has something to move, side by side, until all are at rest.
    pub(super) fn go(&mut self, from: &[i32], to: &[i32]) -> Result<(), Interrupt> {
        let mut end = self.now();
        let mut moving = Vec::new();
        for board in self.boards() {
            let targets = self
                .schedule
                .motors
                .iter()
                .enumerate()
                .filter(|(place, axis)| axis.board == board && from[*place] != to[*place])
                .map(|(place, axis)| AxisTarget {
                    axis: AxisIndex(axis.channel),
                    from: Steps(from[place]),
                    to: Steps(to[place]),
                })
                .collect::<Vec<_>>();
            if targets.is_empty() {
                continue;
            }
            let targets = targets.into_iter().collect();
            match self.ask(board, Command::Move { targets }) {
                Ok(Answer::Under { way }) => {
                    end = end.max(self.now() + self.link(board)?.time(way));
                }
                Ok(_) => {}
                Err(error) => {
                    // Those that have begun must not go on alone.
                    let _ = self.halt_all();
                    return Err(error.into());
                }
            }
            moving.push(board);
        }
        self.until_rest(moving, end)
    }

    /// Waits until these boards are at rest, which they should be at `end`.
    pub(super) fn until_rest(
        &mut self,
        mut moving: Vec<usize>,
        end: Duration,
    ) -> Result<(), Interrupt> {
        while !moving.is_empty() {
            let now = self.now();
            self.see(&Progress::UnderWay {
                left: end.saturating_sub(now),
            });
            if now > end + PATIENCE {
                return Err(TakeError::Restless {
                    board: self.schedule.boards[moving[0]].clone(),
                    waited: PATIENCE,
                }
                .into());
            }
            let tick = Duration::from_millis(1);
            self.wait(end.saturating_sub(now).clamp(tick, LOOK))?;
            let mut still = Vec::new();
            // A stop that one board alone has seen is one for all of them.
            for board in self.boards() {
                let idle = self.look(board)?.activity == Activity::Idle;
                if !idle && moving.contains(&board) {
                    still.push(board);
                }
            }
            moving = still;
        }
        Ok(())
    }

    /// Of these axes: counters equal targets, positions are trusted, no switch is tripped inside the
    /// travel. `turn` is for messages.
    pub(super) fn confirm(
        &mut self,
        turn: Option<Turn>,
        places: &[usize],
        targets: &[i32],
    ) -> Result<(), Interrupt> {
        for board in self.boards() {
            let status = self.look(board)?;
            for &place in places {
                let (axis, expected) = (&self.schedule.motors[place], targets[place]);
                if axis.board != board {
                    continue;
                }
                let channel = usize::from(axis.channel);
                let counted = status.positions.get(channel).map_or(i32::MIN, |at| at.0);
                if counted != expected {
                    return Err(TakeError::Counter {
                        turn,
                        axis: axis.name(),
                        expected,
                        counted,
                    }
                    .into());
                }
                for (which, tripped) in
                    [("home", status.switches.home), ("far", status.switches.far)]
                {
                    if tripped.contains(channel) {
                        return Err(TakeError::Switch {
                            turn,
                            axis: axis.name(),
                            which,
                        }
                        .into());
                    }
                }
                if !status.homed.contains(channel) {
                    return Err(TakeError::NotReady {
                        turn,
                        board: self.schedule.boards[board].clone(),
                        what: format!("the position of {} is not trusted any more", axis.name()),
                    }
                    .into());
                }
            }
            if status.activity != Activity::Idle || !status.drivers {
                let what = if status.drivers {
                    words::activity(status.activity, &|axis| self.axis_name(board, axis))
                } else {
                    "its motor drivers are off".into()
                };
                return Err(TakeError::NotReady {
                    turn,
                    board: self.schedule.boards[board].clone(),
                    what,
                }
                .into());
            }
        }
        Ok(())
    }

    /// Whether every board has held every axis in its place since the intent: nothing moves without
    /// being told to, so that it is enough if it is so now, and no board has been reset since.
    pub(super) fn is_steady(&mut self, turn: Turn) -> Result<bool, Interrupt> {
        let targets = self
            .schedule
            .motors_at(turn.frame)
            .ok_or(TakeError::Schedule("a frame has no positions"))?;
        for board in self.boards() {
            let status = match self.link(board)?.status() {
                Ok(status) => status,
                Err(LinkError::Reset { .. }) => return Ok(false),
                Err(error) => return Err(TakeError::from(error).into()),
            };
            let boot = self.link(board)?.boot();
            let name = &self.schedule.boards[board];
            let mut axes = self.schedule.motors.iter().zip(targets);
            let held = axes.all(|(axis, &target)| {
                let channel = usize::from(axis.channel);
                axis.board != board
                    || (status.homed.contains(channel)
                        && status.positions.get(channel) == Some(&Steps(target)))
            });
            let same = self.state().is_none_or(|state| state.posed(name, boot));
            if !(held && same && status.drivers) {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// Waits until the camera is ready, the lamps' light is steady and every board has been still for
    /// long enough, and then looks again whether all is in place.
    pub(in crate::take) fn settle(&mut self, turn: Turn) -> Result<(), Interrupt> {
        let settle = self.schedule.exposure.settle;
        loop {
            let mut missing = self.ready.max(self.steady).saturating_sub(self.now());
            if let Some(touched) = self.touched {
                missing = missing.max((touched + settle).saturating_sub(self.now()));
            }
            for board in self.boards() {
                let still = self.look(board)?.still;
                let link = self.link(board)?;
                let needed = link.ticks(settle)?;
                if still < needed {
                    let short = Ticks((needed.0 - still.0).saturating_add(1));
                    missing = missing.max(link.time(short));
                }
            }
            if missing.is_zero() {
                break;
            }
            self.see(&Progress::Resting { left: missing });
            // The answer's way counts too; a little more makes one wait enough.
            self.wait((missing + Duration::from_micros(100)).min(LOOK))?;
        }
        let targets = self
            .schedule
            .motors_at(turn.frame)
            .ok_or(TakeError::Schedule("a frame has no positions"))?;
        self.confirm(Some(turn), &self.places(), targets)
    }
}
