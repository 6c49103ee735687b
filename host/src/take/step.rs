//! Through a shot step by step, as a person wants it: forward, back, to any frame, exposing or not.
//!
//! Every move, every reading of a hand axis and every exposure is that of a run, and so are the
//! rules about exposing exactly once. Only the order is the person's: a frame that is exposed before
//! others is [`Entry::Chosen`], one that is exposed once more is [`Entry::Again`].

use std::time::Duration;

use super::error::TakeError;
use super::hands::Hands;
use super::journal::{Entry, Journal};
use super::run::{Edit, Outcome, Stage, check, check_take, close, expose, open, settle_result};
use super::span::Span;
use super::stage::{Crew, Interrupt};
use super::state::Standing;
use crate::schedule::{Schedule, Turn};

/// Who steps.
pub trait Steps {
    /// What comes next. `None` where there is nobody any more who could say: a rehearsal counts as
    /// stopped then, and a take is left as by [`Wish::Leave`].
    fn next(&mut self, stood: &Stood) -> Option<Wish>;
}

/// Where a person who steps through a shot stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stood {
    /// The frame whose pose the stand is in; none before the first step.
    pub turn: Option<Turn>,
    /// How many frames there are.
    pub frames: u32,
    /// What has become of that frame; none in a rehearsal.
    pub standing: Option<Standing>,
    /// Whether frames can be exposed: it is no rehearsal.
    pub shooting: bool,
    /// The next frame from here on that is still to be exposed, or else the first of all; before the
    /// first step the one that the take would go on with.
    pub next: Option<Turn>,
    /// How many exposures are still to be made.
    pub left: u32,
}

/// What a person who steps wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wish {
    /// To go to a frame's pose, by the number of one of its exposures, which is then the one that can
    /// be made. A number that there is not is passed over.
    Go(u32),
    /// To expose the frame that the stand is at. One that is exposed already, or left out, is
    /// passed over.
    Expose,
    /// The same, also where it is exposed already or left out: the person has been asked.
    ExposeAgain,
    /// To leave. A rehearsal in which anything has moved sees first whether every axis is where it
    /// is counted; a take does where no frame is left.
    Leave,
}

/// Steps through the moves of a schedule without an exposure. Nothing is recorded.
///
/// # Errors
/// What ended it.
pub fn rehearse_by_steps(
    schedule: &Schedule,
    stage: &mut Stage<'_>,
    steps: &mut dyn Steps,
) -> Result<Outcome, TakeError> {
    check(schedule)?;
    let mut crew = Crew::new(schedule, stage, None);
    let result = crew
        .connect_all()
        .and_then(|()| walk(&mut crew, steps, false));
    settle_result(&mut crew, result)
}

/// Steps through a take from where its journal stands, as [`shoot`](super::shoot) goes through it
/// by itself. Also through one that is finished: a frame can be exposed again.
///
/// # Errors
/// What ended it. The journal says why.
pub fn shoot_by_steps(
    schedule: &Schedule,
    journal: &mut Journal,
    stage: &mut Stage<'_>,
    edits: &[Edit],
    steps: &mut dyn Steps,
) -> Result<Outcome, TakeError> {
    check_take(schedule, journal, stage, edits)?;
    let mut crew = Crew::new(schedule, stage, Some(journal));
    let result = open(&mut crew, edits).and_then(|()| walk(&mut crew, steps, true));
    settle_result(&mut crew, result)
}

fn walk(crew: &mut Crew<'_, '_>, steps: &mut dyn Steps, shooting: bool) -> Result<(), Interrupt> {
    crew.prepare()?;
    crew.decide_suspects()?;
    let frames = crew.schedule.frames;
    let mut hands = Hands::new(crew.schedule);
    let begun = crew.now();
    let mut at: Option<Turn> = None;
    loop {
        crew.check_interrupt()?;
        let wanted = crew.wanted();
        let from_here = wanted
            .iter()
            .find(|&&number| at.is_none_or(|at| number >= at.number));
        let stood = Stood {
            turn: at,
            frames,
            standing: at.and_then(|turn| crew.standing(turn)),
            shooting,
            next: match at {
                None => crew.next_frame(),
                Some(_) => from_here
                    .or(wanted.first())
                    .and_then(|&number| crew.order().turn(number)),
            },
            left: u32::try_from(wanted.len()).unwrap_or(u32::MAX),
        };
        let wish = steps.next(&stood);
        crew.check_interrupt()?;
        match (wish, at) {
            (Some(Wish::Go(number)), _) if crew.order().turn(number).is_some() => {
                let turn = crew.turn(number)?;
                crew.tell_passages(turn)?;
                crew.move_to(turn)?;
                hands.set(crew, turn)?;
                crew.light(turn)?;
                crew.settle(turn)?;
                at = Some(turn);
            }
            (Some(wish @ (Wish::Expose | Wish::ExposeAgain)), Some(turn)) if shooting => {
                if !choose(crew, turn, wish == Wish::ExposeAgain)? {
                    continue;
                }
                if crew.home_check_is_due() || crew.glass_is_due(turn) {
                    crew.home_check()?;
                    choose(crew, turn, true)?;
                }
                if !expose(crew, turn, &mut hands)? {
                    continue;
                }
                let elapsed = crew.now().saturating_sub(begun);
                crew.frame_done(turn, elapsed, Duration::ZERO);
            }
            (Some(Wish::Leave) | None, _) => {
                if !shooting {
                    wish.ok_or(Interrupt::Person)?;
                    if at.is_some() {
                        crew.home_check()?;
                    }
                    return Ok(());
                }
                if crew.next_frame().is_some() {
                    return Err(Interrupt::Person);
                }
                close(crew)?;
                at = None;
                if crew.nothing_left() {
                    return Ok(());
                }
            }
            (Some(_), _) => {}
        }
    }
}

/// Makes a frame the next one; `false` where it is not to be exposed and nobody has said `again`.
fn choose(crew: &mut Crew<'_, '_>, turn: Turn, again: bool) -> Result<bool, Interrupt> {
    if crew.standing(turn) != Some(Standing::Wanted) {
        if !again {
            return Ok(false);
        }
        crew.record(&Entry::Again {
            frames: Span::of([turn.number]),
            why: "a person".into(),
        })?;
    }
    if crew.next_frame() != Some(turn) {
        crew.record(&Entry::Chosen { frame: turn.number })?;
    }
    Ok(true)
}
