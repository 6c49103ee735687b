//! The frame loop.
//!
//! # Always from the same side
//!
//! An axis with slack ([`MotorAxis::take_up`]) comes to each target from smaller positions, having
//! gone up by at least its slack. Where it stands above the target, or its last way was down, it
//! first goes `take_up` below the target. A target without that much room above the travel's least
//! position is refused before anything moves: stopping short there would leave slack in the drive.
//!
//! # Home checks
//!
//! A count says where an axis should be, not where it is. After every so many exposures, and at
//! the end, each axis goes to its home switch and it is compared with the count. The check keeps
//! the count where the two agree within what the switch may differ: a picture must not jump
//! because a switch was found a hair earlier. Where they do not, every frame since the last check
//! is in doubt, the axis is homed afresh, and a person decides.
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

use super::album::Album;
use super::error::TakeError;
use super::fingerprint::fingerprint;
use super::hands::Hands;
use super::journal::{Entry, Journal};
use super::pace::Pace;
use super::people::{Person, Progress, Trigger, Watch};
use super::span::Span;
use super::stage::{Crew, Interrupt};
use super::state::TakeState;
use crate::link::{Clock, Port};
use crate::schedule::{Schedule, Turn};

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
    /// What fires the camera where the schedule names a command.
    pub trigger: &'a mut dyn Trigger,
    /// The folder that the pictures arrive in, where the schedule wants it watched.
    pub album: Option<&'a mut dyn Album>,
    /// Set by somebody else to stop the run.
    pub interrupt: &'a AtomicBool,
}

/// How a run ended that did not fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Every frame is done.
    Finished,
    /// A person stopped it.
    Interrupted {
        /// The frame to go on with, where one is left.
        next: Option<Turn>,
    },
}

/// A change of what is to be exposed, wanted by a person. Frames are exposures to make, by their
/// numbers, see [`TakeState::order`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edit {
    /// Expose frames once more.
    Again(Span),
    /// Expose the frames that were exposed last once more: so many.
    Back(u32),
    /// Leave frames out.
    Drop(Span),
    /// The last answer about a frame was wrong.
    TakeBack(u32),
}

/// Goes through every move of a schedule without an exposure, and sees at the end whether every
/// axis is where it is counted. Nothing is recorded.
///
/// # Errors
/// What ended it.
pub fn rehearse(schedule: &Schedule, stage: &mut Stage<'_>) -> Result<Outcome, TakeError> {
    check(schedule)?;
    let mut crew = Crew::new(schedule, stage, None);
    let result = rehearsal(&mut crew);
    settle_result(&mut crew, result)
}

/// Shoots a take from where its journal stands: every frame that is still wanted, in rising order.
/// The edits are made first; where the journal left an exposure open, that is settled before. Where
/// an axis is not homed, or its board has been reset, it is homed. Edits are made as often as they
/// are asked for: a second [`Edit::Again`] exposes once more, a second [`Edit::TakeBack`] is the
/// first answer again.
///
/// Whatever halted a board before counts as seen by the person who starts this run.
///
/// # Errors
/// What ended it. The journal says why.
pub fn shoot(
    schedule: &Schedule,
    journal: &mut Journal,
    stage: &mut Stage<'_>,
    edits: &[Edit],
) -> Result<Outcome, TakeError> {
    check_take(schedule, journal, stage, edits)?;
    if journal.state().finished && edits.is_empty() {
        return Ok(Outcome::Finished);
    }
    let mut crew = Crew::new(schedule, stage, Some(journal));
    let result = frames(&mut crew, edits);
    settle_result(&mut crew, result)
}

/// Refuses a take that cannot go on with this schedule, or not with these changes, before anything
/// is connected.
pub(super) fn check_take(
    schedule: &Schedule,
    journal: &Journal,
    stage: &Stage<'_>,
    edits: &[Edit],
) -> Result<(), TakeError> {
    check(schedule)?;
    if schedule.exposure.arrival.is_some() && stage.album.is_none() {
        return Err(TakeError::Schedule(
            "pictures are to be watched, but their folder is not at hand",
        ));
    }
    let state = journal.state();
    check_edits(state, edits)?;
    let now = fingerprint(schedule);
    if state.schedule != now || state.order != schedule.order() {
        return Err(TakeError::OtherSchedule {
            began: state.schedule,
            now,
        });
    }
    Ok(())
}

impl Edit {
    /// The entry that it comes to, as things stand.
    pub(super) fn entry(self, state: &TakeState) -> Result<Entry, TakeError> {
        let there = |frame: u32| {
            if frame == 0 || frame > state.turns() {
                let frames = state.turns();
                return Err(TakeError::NoFrame { frame, frames });
            }
            Ok(())
        };
        let again = |frames| Entry::Again {
            frames,
            why: "a person".into(),
        };
        Ok(match self {
            Self::Again(span) => {
                there(span.last())?;
                again(vec![span])
            }
            Self::Back(count) => {
                let mut frames = state.last_exposed(count as usize);
                let exposed = frames.len();
                if count == 0 || exposed < count as usize {
                    return Err(TakeError::NotSoFar { count, exposed });
                }
                frames.sort_unstable();
                again(Span::of(frames))
            }
            Self::Drop(span) => {
                there(span.last())?;
                Entry::Dropped { frames: vec![span] }
            }
            Self::TakeBack(frame) => {
                there(frame)?;
                // What is still open is asked first: that answer is not the one that was meant.
                let open = state.open.is_some_and(|open| open.frame == frame);
                let (token, exposed) =
                    state
                        .verdict(frame)
                        .filter(|_| !open)
                        .ok_or_else(|| TakeError::NoAnswer {
                            turn: state.turn(frame),
                        })?;
                Entry::TakenBack {
                    slot: token.slot,
                    attempt: token.attempt,
                    exposed: !exposed,
                }
            }
        })
    }
}

/// Whether every edit can be made, one after another, so that none is made where another cannot.
fn check_edits(state: &TakeState, edits: &[Edit]) -> Result<(), TakeError> {
    if edits.is_empty() {
        return Ok(());
    }
    let mut after = state.clone();
    for edit in edits {
        let entry = edit.entry(&after)?;
        // While an exposure is open nothing can be changed yet: what follows is looked at alone.
        if after.open.is_none() {
            after.follow(&entry).map_err(TakeError::Schedule)?;
        }
    }
    Ok(())
}

pub(super) fn settle_result(
    crew: &mut Crew<'_, '_>,
    result: Result<(), Interrupt>,
) -> Result<Outcome, TakeError> {
    let outcome = outcome(crew, result);
    crew.darken();
    outcome
}

fn outcome(crew: &mut Crew<'_, '_>, result: Result<(), Interrupt>) -> Result<Outcome, TakeError> {
    match result {
        Ok(()) => {
            if !crew.finished() {
                crew.record(&Entry::Finished)?;
            }
            Ok(Outcome::Finished)
        }
        Err(Interrupt::Person) => {
            crew.record(&Entry::Halted {
                cause: "a person".into(),
            })?;
            Ok(Outcome::Interrupted {
                next: crew.next_frame(),
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

fn rehearsal(crew: &mut Crew<'_, '_>) -> Result<(), Interrupt> {
    crew.connect_all()?;
    let schedule = crew.schedule;
    let rehearsed = rehearsed(schedule);
    let turns = u32::try_from(rehearsed.len()).unwrap_or(u32::MAX);
    let numbers = rehearsed.iter().copied();
    let mut pace = Pace::new(schedule, numbers, crew.tick_rate()?, false)?;
    crew.prepare()?;
    let begun = crew.now();
    let mut hands = Hands::new(schedule);
    for (number, done) in rehearsed.into_iter().zip(1..) {
        let turn = crew.turn(number)?;
        crew.check_interrupt()?;
        crew.move_to(turn)?;
        hands.set(crew, turn)?;
        crew.light(turn)?;
        crew.settle(turn)?;
        let now = crew.now();
        crew.see(&Progress::Frame {
            turn,
            done,
            turns,
            picture: None,
            elapsed: now.saturating_sub(begun),
            left: pace.done(now),
        });
    }
    crew.home_check()
}

/// What a rehearsal goes through: every frame once, in the light of the first pass, and for every
/// run through the frames that follows the way back to the first frame, in that run's light. Its
/// other moves are those of the run before. Nothing has to be laid or taken out for a rehearsal of
/// moves.
#[must_use]
pub fn rehearsed(schedule: &Schedule) -> Vec<u32> {
    let order = schedule.order();
    let frames = (1..=schedule.frames).filter_map(|frame| order.number_of(frame, 0));
    let later = order.runs().iter().skip(1);
    let back = later.filter_map(|run| order.number_of(1, run.start));
    frames.chain(back).collect()
}

/// Before anything moves: sessions, changes, and whatever is still to be settled.
pub(super) fn open(crew: &mut Crew<'_, '_>, edits: &[Edit]) -> Result<(), Interrupt> {
    // Wishes are written down before anything can come in between.
    let at_once = !crew.has_open_exposure();
    if at_once {
        crew.edit(edits)?;
    }
    crew.connect_all()?;
    crew.catch_up_with_board()?;
    crew.settle_open_exposure()?;
    if !at_once {
        crew.edit(edits)?;
    }
    crew.account_for_pictures()?;
    crew.decide_suspects()
}

/// After the last frame: home check, and whether the camera has done what nobody asked for.
pub(super) fn close(crew: &mut Crew<'_, '_>) -> Result<(), Interrupt> {
    crew.home_check()?;
    crew.refuse_strangers()?;
    crew.refuse_stray_contacts()
}

fn frames(crew: &mut Crew<'_, '_>, edits: &[Edit]) -> Result<(), Interrupt> {
    open(crew, edits)?;
    if crew.nothing_left() {
        return Ok(());
    }
    let schedule = crew.schedule;
    let tick_rate = crew.tick_rate()?;
    crew.prepare()?;
    crew.decide_suspects()?;
    let begun = crew.now();
    // Of this run: whoever comes back to a stand looks at every scale once.
    let mut hands = Hands::new(schedule);
    loop {
        let mut pace = Pace::new(schedule, crew.wanted().into_iter(), tick_rate, true)?;
        while let Some(turn) = crew.next_frame() {
            crew.check_interrupt()?;
            if crew.home_check_is_due() || crew.glass_is_due(turn) {
                crew.home_check()?;
                if crew.next_frame() != Some(turn) {
                    // Frames in doubt are shot again first: another way, another time left.
                    break;
                }
            }
            if !expose(crew, turn, &mut hands)? {
                break;
            }
            let now = crew.now();
            let left = pace.done(now);
            crew.frame_done(turn, now.saturating_sub(begun), left);
        }
        if crew.next_frame().is_none() {
            close(crew)?;
        }
        if crew.nothing_left() {
            return Ok(());
        }
    }
}

/// Brings one frame to its exposure. A void or a verdict "not exposed" brings it again, from its
/// pose on. `false` where another frame has to come first: a home check in between has put it in
/// doubt.
pub(super) fn expose(
    crew: &mut Crew<'_, '_>,
    turn: Turn,
    hands: &mut Hands,
) -> Result<bool, Interrupt> {
    let mut tries = 0;
    loop {
        crew.move_to(turn)?;
        hands.set(crew, turn)?;
        crew.light(turn)?;
        if !crew.arrange(turn)? {
            if crew.next_frame() != Some(turn) {
                return Ok(false);
            }
            continue;
        }
        crew.settle(turn)?;
        tries += 1;
        if crew.expose(turn, tries)? {
            return Ok(true);
        }
    }
}

/// Refuses a schedule that cannot be carried out, before anything is connected.
pub(super) fn check(schedule: &Schedule) -> Result<(), TakeError> {
    if schedule.frames == 0 {
        return Err(TakeError::Schedule("it has no frames"));
    }
    check_parts(schedule)
}

/// As [`check`], also where there are no frames.
pub(super) fn check_parts(schedule: &Schedule) -> Result<(), TakeError> {
    let boards = schedule.boards.len();
    if schedule
        .exposure
        .board()
        .is_some_and(|board| board >= boards)
        || schedule.motors.iter().any(|axis| axis.board >= boards)
        || schedule
            .lamps
            .iter()
            .any(|lamp| lamp.output.is_some_and(|(board, _)| board >= boards))
    {
        return Err(TakeError::Schedule(
            "it names a board that it does not have",
        ));
    }
    if schedule
        .passes
        .iter()
        .flat_map(|pass| &pass.lamps)
        .any(|&lamp| lamp >= schedule.lamps.len())
    {
        return Err(TakeError::Schedule("a pass names a lamp that is not there"));
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
                    turn: schedule
                        .number_of(frame, 0)
                        .and_then(|number| schedule.turn(number)),
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
