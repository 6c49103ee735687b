//! Work at the stand without a take: look, home, move an axis, compare it with its switch.
//!
//! Everything is carried out by the crew of a run, so that a move at the stand is the same as one of
//! a take: slack is taken up from below, nothing leaves its travel, a person who interrupts brings
//! everything to a controlled stop. Before an axis is homed it moves slowly, by distances only, and
//! never farther than its whole travel is long.

mod inputs;

use std::time::Duration;

use panestep_protocol::{Activity, Halt, Status};

pub use inputs::{Input, Inputs, Press, Pressed};

use super::error::TakeError;
use super::run::{Stage, check_parts};
use super::stage::{Crew, Interrupt};
use crate::schedule::{MotorAxis, Schedule};

/// The boards of a stand under a person's hands. Axes are named by their place in
/// [`Schedule::motors`]; a place that there is not is refused as [`TakeError::Schedule`].
pub struct Attended<'s, 'r> {
    crew: Crew<'s, 'r>,
}

/// How everything stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The boards, in the schedule's order.
    pub boards: Vec<BoardSeen>,
    /// The motor axes, in the schedule's order.
    pub axes: Vec<AxisSeen>,
}

/// How a board stands.
#[derive(Clone, Debug, PartialEq)]
pub struct BoardSeen {
    /// Its name.
    pub name: String,
    /// Everything it says.
    pub status: Status,
    /// Why it has halted, as a sentence.
    pub halt: Option<String>,
}

/// How an axis stands, as its board counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxisSeen {
    /// Its place in [`Schedule::motors`].
    pub place: usize,
    /// Its board's place in [`Schedule::boards`].
    pub board: usize,
    /// Steps counted from its zero; meaningful where it is homed, and as distances in any case.
    pub steps: i32,
    /// The same in the axis's unit.
    pub position: f64,
    /// Whether its position is trusted: it is homed, and rests on none of its switches.
    pub homed: bool,
    /// Whether its home switch is open, or the wire to it.
    pub home_open: bool,
    /// Whether the switch at its other end is open; `false` where the board has no input for it.
    pub far_open: bool,
}

impl Seen {
    /// Every input of every board.
    #[must_use]
    pub fn inputs(&self) -> Inputs {
        Inputs::of(self)
    }
}

impl BoardSeen {
    /// Whether a person has to see why it has halted before it may move again.
    #[must_use]
    pub fn wants_a_person(&self) -> bool {
        matches!(self.status.halt, Some(Halt::Stop | Halt::Limit { .. }))
    }

    /// Whether anything is under way on it.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        self.status.activity != Activity::Idle
    }
}

impl<'s, 'r> Attended<'s, 'r> {
    /// Begins a session with every board; changes nothing on any of them.
    ///
    /// # Errors
    /// A schedule that does not hold together; a port or a board that cannot be had, is another
    /// than it should be or speaks another protocol; an interrupt.
    pub fn connect(schedule: &'r Schedule, stage: &'r mut Stage<'s>) -> Result<Self, TakeError> {
        check_parts(schedule)?;
        let mut crew = Crew::new(schedule, stage, None);
        crew.connect_all().map_err(Interrupt::ended)?;
        Ok(Self { crew })
    }

    /// What it works from.
    #[must_use]
    pub fn schedule(&self) -> &'r Schedule {
        self.crew.schedule
    }

    /// The axis of that place.
    ///
    /// # Errors
    /// That there is none.
    pub fn axis(&self, place: usize) -> Result<&'r MotorAxis, TakeError> {
        self.crew
            .schedule
            .motors
            .get(place)
            .ok_or(TakeError::Schedule("it has no such axis"))
    }

    /// By the clock of the boards.
    #[must_use]
    pub fn now(&self) -> Duration {
        self.crew.now()
    }

    /// Waits; an interrupt brings everything to rest and ends the wait.
    ///
    /// # Errors
    /// The interrupt, or what ends the clock's wait.
    pub fn wait(&mut self, time: Duration) -> Result<(), TakeError> {
        let waited = self.crew.pause(time);
        self.done(waited)
    }

    /// Asks every board how it stands, halted or not.
    ///
    /// # Errors
    /// A board that does not answer any more, or has been reset.
    pub fn look(&mut self) -> Result<Seen, TakeError> {
        let statuses = self.crew.statuses()?;
        let schedule = self.crew.schedule;
        let axes = schedule.motors.iter().enumerate().map(|(place, axis)| {
            let status = &statuses[axis.board];
            let channel = usize::from(axis.channel);
            let steps = status.positions.get(channel).map_or(0, |steps| steps.0);
            let home_open = status.switches.home.contains(channel);
            let far_open = status.switches.far.contains(channel);
            AxisSeen {
                place,
                board: axis.board,
                steps,
                position: f64::from(steps) * axis.step_size,
                homed: status.homed.contains(channel) && !home_open && !far_open,
                home_open,
                far_open,
            }
        });
        let axes = axes.collect();
        let boards = statuses
            .into_iter()
            .enumerate()
            .map(|(board, status)| BoardSeen {
                name: schedule.boards[board].clone(),
                halt: status.halt.map(|halt| self.crew.halt_sentence(board, halt)),
                status,
            });
        Ok(Seen {
            boards: boards.collect(),
            axes,
        })
    }

    /// Sets every board up: guards, axes, drivers on. Axes that are homed stay so. A board that the
    /// stop or a limit switch has halted is let go only where a person has `seen` why; one that the
    /// program itself, or its silence, has brought to a stop is let go in any case.
    ///
    /// # Errors
    /// [`TakeError::Halted`] where nobody has seen why, or the stop circuit is still open; what a
    /// board refuses.
    pub fn set_up(&mut self, seen: bool) -> Result<(), TakeError> {
        let result = self.crew.set_up_all(seen);
        self.done(result)
    }

    /// Those axes that go home where these are to: a lift takes every other lift with it, so that
    /// none runs into another. In the schedule's order.
    #[must_use]
    pub fn homes_with(&self, places: &[usize]) -> Vec<usize> {
        let mut places = places.to_vec();
        self.crew.with_lifts(&mut places);
        places
    }

    /// Homes axes and whatever has to go home with them, in an order in which no lift runs into
    /// another. Returns by how many steps each one's switch was off by the count that it had before:
    /// it means something where the axis was homed.
    ///
    /// # Errors
    /// A switch that is not found, a guard, an interrupt; a board that is not set up.
    pub fn home(&mut self, places: &[usize]) -> Result<Vec<(usize, i32)>, TakeError> {
        for &place in places {
            self.axis(place)?;
        }
        let places = self.homes_with(places);
        let result = self.crew.home_these(&places);
        self.done(result)
    }

    /// How long the homing of an axis may take, from a position where that is known: the time of
    /// the way there and of the slow search around the switch. An estimate, on the long side.
    #[must_use]
    pub fn homing_time(axis: &MotorAxis, from: Option<i32>) -> Duration {
        let order = axis.home_order();
        let way = from.map_or(order.search, |at| at.abs_diff(axis.switch));
        // Off the switch, to it again, and off it once more.
        let slowly = 3 * u64::from(order.back_off) + u64::from(order.clear);
        let speed = |steps_a_second: u32| f64::from(steps_a_second.max(1));
        let ramps = 2.0 * speed(order.fast) / speed(axis.acceleration)
            + 2.0 * speed(axis.acceleration) / speed(axis.jerk);
        Duration::try_from_secs_f64(
            f64::from(way) / speed(order.fast) + slowly as f64 / speed(order.slow) + ramps,
        )
        .unwrap_or(Duration::MAX)
    }

    /// Sends a homed axis to its home switch and compares; the count stays as it is. Returns by how
    /// many steps the switch was off.
    ///
    /// # Errors
    /// [`TakeError::NotHomed`]; as [`Self::home`].
    pub fn check(&mut self, place: usize) -> Result<i32, TakeError> {
        self.is_homed(place)?;
        let found = self.crew.check_these(&[place]);
        let found = self.done(found)?;
        found
            .first()
            .map(|&(_, off)| off)
            .ok_or(TakeError::Schedule("it has no such axis"))
    }

    /// Moves one axis slowly by so many steps, homed or not. Away from a tripped switch is allowed,
    /// farther onto it is not.
    ///
    /// # Errors
    /// [`TakeError::TooFar`] where it is not homed and this is more than its whole travel,
    /// [`TakeError::OutsideTravel`] where it is homed and would leave its travel: nothing has moved
    /// then. What a guard, a person or the board says.
    pub fn nudge(&mut self, place: usize, by: i32) -> Result<(), TakeError> {
        self.nudgeable(place, by)?;
        let moved = self.crew.nudge(place, by);
        self.done(moved)
    }

    /// Whether an axis could be nudged by so many steps, as things stand.
    ///
    /// # Errors
    /// As [`Self::nudge`], before anything moves.
    pub fn nudgeable(&mut self, place: usize, by: i32) -> Result<(), TakeError> {
        let axis = self.axis(place)?;
        let seen = self.look()?.axes[place];
        if seen.homed {
            self.within(axis, i64::from(seen.steps) + i64::from(by))?;
        } else {
            let travel = axis.travel.0.abs_diff(axis.travel.1);
            if by.unsigned_abs() > travel {
                return Err(TakeError::TooFar {
                    axis: axis.name(),
                    by: f64::from(by) * axis.step_size,
                    travel: f64::from(travel) * axis.step_size,
                    unit: axis.unit,
                });
            }
        }
        Ok(())
    }

    /// Brings a homed axis to a position, in steps, from below: slack is taken up.
    ///
    /// # Errors
    /// [`TakeError::NotHomed`], [`TakeError::OutsideTravel`], and [`TakeError::NoRoom`] where there
    /// is no room below the position to take the slack up: nothing has moved then. What a guard, a
    /// person or the board says.
    pub fn go_to(&mut self, place: usize, steps: i32) -> Result<(), TakeError> {
        self.go_all_to(&[(place, steps)])
    }

    /// As [`Self::go_to`], with several axes side by side.
    ///
    /// # Errors
    /// As [`Self::go_to`].
    pub fn go_all_to(&mut self, targets: &[(usize, i32)]) -> Result<(), TakeError> {
        for &(place, steps) in targets {
            self.reachable(place, steps)?;
        }
        let moved = self.crew.bring_these(targets);
        self.done(moved)
    }

    /// Brings a homed axis to a position by the straight way, from whichever side: slack is not
    /// taken up. For measuring it.
    ///
    /// # Errors
    /// As [`Self::go_to`], but for the room.
    pub fn go_straight_to(&mut self, place: usize, steps: i32) -> Result<(), TakeError> {
        let axis = self.axis(place)?;
        self.is_homed(place)?;
        self.within(axis, i64::from(steps))?;
        let moved = self.crew.go_straight(&[(place, steps)]);
        self.done(moved)
    }

    /// Whether an axis could be sent to a position, in steps, as things stand.
    ///
    /// # Errors
    /// As [`Self::go_to`].
    pub fn reachable(&mut self, place: usize, steps: i32) -> Result<(), TakeError> {
        self.is_homed(place)?;
        self.fits(place, steps)
    }

    /// Whether a position, in steps, is one that an axis could be sent to once it is homed.
    ///
    /// # Errors
    /// [`TakeError::OutsideTravel`], [`TakeError::NoRoom`].
    pub fn fits(&self, place: usize, steps: i32) -> Result<(), TakeError> {
        let axis = self.axis(place)?;
        self.within(axis, i64::from(steps))?;
        let room = i64::from(steps) - i64::from(axis.travel.0);
        if room < i64::from(axis.take_up) {
            return Err(TakeError::NoRoom {
                turn: None,
                axis: axis.name(),
                target: steps,
                room: i32::try_from(room).unwrap_or(0),
                take_up: axis.take_up,
            });
        }
        Ok(())
    }

    fn is_homed(&mut self, place: usize) -> Result<(), TakeError> {
        let axis = self.axis(place)?;
        if self.look()?.axes[place].homed {
            return Ok(());
        }
        Err(TakeError::NotHomed { axis: axis.name() })
    }

    fn within(&self, axis: &MotorAxis, steps: i64) -> Result<(), TakeError> {
        let (least, greatest) = axis.travel;
        if (i64::from(least)..=i64::from(greatest)).contains(&steps) {
            return Ok(());
        }
        Err(TakeError::OutsideTravel {
            axis: axis.name(),
            target: steps as f64 * axis.step_size,
            travel: (
                f64::from(least) * axis.step_size,
                f64::from(greatest) * axis.step_size,
            ),
            unit: axis.unit,
        })
    }

    /// After an error nothing may go on moving, as far as it can be reached.
    fn done<T>(&mut self, result: Result<T, Interrupt>) -> Result<T, TakeError> {
        result.map_err(|interrupt| {
            if matches!(interrupt, Interrupt::Error(_)) {
                self.crew.still();
            }
            interrupt.ended()
        })
    }
}
