//! The frame loop.
//!
//! # Always from the same side
//!
//! An axis with slack ([`MotorAxis::take_up`]) comes to each target from smaller positions, having
//! gone up by at least its slack. Where it stands above the target, or its last way was down, it
//! first goes `take_up` below the target. A target without that much room above the travel's least
//! position is refused before anything moves: stopping short there would leave slack in the drive.
//!
//! # Interruption
//!
//! The flag is looked at between steps and while waiting. A move is brought to a controlled stop; an
//! exposure whose intent is written is finished and recorded first.
//!
//! [`MotorAxis::take_up`]: crate::schedule::MotorAxis::take_up

use std::rc::Rc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use panestep_protocol::MAX_AXES;

use super::error::TakeError;
use super::fingerprint::fingerprint;
use super::journal::{Entry, Journal};
use super::pace::Pace;
use super::people::HandRequest;
use super::people::{Person, Progress, Watch, judge};
use super::stage::{Crew, Interrupt};
use crate::link::{Clock, Port};
use crate::schedule::Schedule;

/// Where ports to the boards come from.
pub trait Boards {
    /// Opens the port to a board, by its place and name in the schedule. Opened anew after a lost
    /// link.
    ///
    /// # Errors
    /// Why it cannot be had, for the person.
    fn open(
        &mut self,
        board: usize,
        name: &str,
    ) -> Result<Box<dyn Port>, Box<dyn std::error::Error + Send + Sync>>;

    /// What the port to a board is called, for messages.
    fn port_name(&self, board: usize) -> String;
}

/// What a run works with.
pub struct Stage<'a> {
    /// The boards.
    pub boards: &'a mut dyn Boards,
    /// The time.
    pub clock: Rc<dyn Clock>,
    /// The person at the stand.
    pub person: &'a mut dyn Person,
    /// Who looks on.
    pub watch: &'a mut dyn Watch,
    /// Set by somebody else to stop the run.
    pub interrupt: &'a AtomicBool,
}

/// How a run ended that did not fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Every frame is done.
    Finished,
    /// A person stopped it; `next` is the frame to go on with.
    Interrupted {
        /// The frame.
        next: u32,
    },
}

/// Goes through every move of a schedule without an exposure. Nothing is recorded.
///
/// # Errors
/// What ended it.
pub fn rehearse(schedule: &Schedule, stage: &mut Stage<'_>) -> Result<Outcome, TakeError> {
    check(schedule)?;
    let mut crew = Crew::new(schedule, stage, None);
    let result = frames(&mut crew, 1);
    settle_result(&mut crew, result, 1)
}

/// Shoots a take from where its journal stands: from the first frame, or on from any other.
/// An exposure that the journal left open is settled first. Where an axis is not homed, or its
/// board has been reset, it is homed.
///
/// Whatever halted a board before counts as seen by the person who starts this run.
///
/// # Errors
/// What ended it. The journal says why.
pub fn shoot(
    schedule: &Schedule,
    journal: &mut Journal,
    stage: &mut Stage<'_>,
) -> Result<Outcome, TakeError> {
    check(schedule)?;
    let state = journal.state();
    let now = fingerprint(schedule);
    if state.schedule != now || state.frames != schedule.frames {
        return Err(TakeError::OtherSchedule {
            began: state.schedule,
            now,
        });
    }
    if state.finished {
        return Ok(Outcome::Finished);
    }
    let first = state.next_frame().unwrap_or(schedule.frames);
    let mut crew = Crew::new(schedule, stage, Some(journal));
    let result = frames(&mut crew, first);
    settle_result(&mut crew, result, first)
}

fn settle_result(
    crew: &mut Crew<'_, '_>,
    result: Result<(), Interrupt>,
    first: u32,
) -> Result<Outcome, TakeError> {
    match result {
        Ok(()) => {
            crew.record(&Entry::Finished)?;
            Ok(Outcome::Finished)
        }
        Err(Interrupt::Person) => {
            crew.record(&Entry::Halted {
                cause: "a person".into(),
            })?;
            Ok(Outcome::Interrupted {
                next: crew.next_frame().unwrap_or(first),
            })
        }
        Err(Interrupt::Error(error)) => {
            crew.still();
            // Only a note; where the disk itself failed, it stays out.
            if !matches!(error, TakeError::Journal(_)) {
                let _ = crew.record(&Entry::Halted {
                    cause: error.to_string(),
                });
            }
            Err(error)
        }
    }
}

fn frames(crew: &mut Crew<'_, '_>, first: u32) -> Result<(), Interrupt> {
    crew.connect_all()?;
    crew.settle_open_exposure()?;
    let first = crew.next_frame().unwrap_or(first);
    if crew.all_exposed() {
        return Ok(());
    }
    let schedule = crew.schedule;
    let mut pace = Pace::new(schedule, first, crew.tick_rate()?, crew.records())?;
    crew.prepare()?;
    let begun = crew.now();
    // Of this run: whoever comes back to a stand looks at every scale once.
    let mut readings = vec![None; schedule.hands.len()];
    for frame in first..=schedule.frames {
        crew.check_interrupt()?;
        // A void or a verdict "not exposed" brings the same frame again, from its pose on.
        let mut tries = 0;
        loop {
            crew.move_to(frame)?;
            hands(crew, frame, &mut readings)?;
            crew.settle(frame)?;
            if !crew.records() {
                break;
            }
            tries += 1;
            if crew.expose(frame, tries)? {
                break;
            }
        }
        let now = crew.now();
        crew.see(&Progress::Frame {
            frame,
            frames: schedule.frames,
            elapsed: now.saturating_sub(begun),
            left: pace.done(frame, now),
        });
    }
    Ok(())
}

fn hands(
    crew: &mut Crew<'_, '_>,
    frame: u32,
    readings: &mut [Option<f64>],
) -> Result<(), Interrupt> {
    let schedule = crew.schedule;
    let targets = schedule.hands_at(frame).ok_or(TakeError::Schedule(
        "a frame has no positions for its hand axes",
    ))?;
    for ((axis, &reading), last) in schedule.hands.iter().zip(targets).zip(readings) {
        // A person cannot set less than half a division.
        if last.is_some_and(|last| (last - reading).abs() <= axis.scale / 2.0) {
            continue;
        }
        let mut problem = None;
        let known = last.or_else(|| crew.last_reading(&axis.name()));
        loop {
            crew.check_interrupt()?;
            let request = HandRequest {
                frame,
                of: &axis.of,
                way: axis.way.name(),
                unit: axis.unit,
                reading,
                last: known,
                scale: axis.scale,
                problem,
            };
            let read = crew.person().set(&request).ok_or(Interrupt::Person)?;
            problem = judge(reading, read, axis.scale);
            if problem.is_none() {
                crew.record(&Entry::Reading {
                    frame,
                    axis: axis.name(),
                    reading: read,
                })?;
                *last = Some(read);
                break;
            }
        }
    }
    Ok(())
}

/// Refuses a schedule that cannot be carried out, before anything is connected.
fn check(schedule: &Schedule) -> Result<(), TakeError> {
    if schedule.frames == 0 {
        return Err(TakeError::Schedule("it has no frames"));
    }
    let boards = schedule.boards.len();
    if schedule
        .exposure
        .board()
        .is_some_and(|board| board >= boards)
        || schedule.motors.iter().any(|axis| axis.board >= boards)
    {
        return Err(TakeError::Schedule(
            "it names a board that it does not have",
        ));
    }
    let frames = schedule.frames as usize;
    if frames.checked_mul(schedule.motors.len()) != Some(schedule.motor_targets.len())
        || frames.checked_mul(schedule.hands.len()) != Some(schedule.hand_targets.len())
    {
        return Err(TakeError::Schedule(
            "it does not have one position for each axis and frame",
        ));
    }
    for (place, axis) in schedule.motors.iter().enumerate() {
        if schedule.motors[..place]
            .iter()
            .any(|other| (other.board, other.channel) == (axis.board, axis.channel))
        {
            return Err(TakeError::Schedule(
                "two axes are on one channel of a board",
            ));
        }
        if usize::from(axis.channel) >= MAX_AXES {
            return Err(TakeError::Schedule(
                "a channel is beyond what a board can have",
            ));
        }
        if axis.take_up < 0 {
            return Err(TakeError::Schedule("an axis's slack is negative"));
        }
        let floor = axis.travel.0;
        for frame in 1..=schedule.frames {
            let target = schedule.motors_at(frame).map_or(0, |row| row[place]);
            if !(axis.travel.0..=axis.travel.1).contains(&target) {
                return Err(TakeError::Schedule(
                    "a position lies outside its axis's travel",
                ));
            }
            if i64::from(target) - i64::from(axis.take_up) < i64::from(floor) {
                return Err(TakeError::NoRoom {
                    frame,
                    axis: axis.name(),
                    target,
                    room: target.saturating_sub(floor),
                    take_up: axis.take_up,
                });
            }
        }
    }
    Ok(())
}

/// How long a wait between two looks at a board is: the silence guard has to be fed, and a person
/// who interrupts wants to be heard.
pub(super) const LOOK: Duration = Duration::from_millis(100);
