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
use crate::schedule::Schedule;

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
    pub frame: Option<u32>,
    /// How many frames there are.
    pub frames: u32,
    /// What has become of that frame; none in a rehearsal.
    pub standing: Option<Standing>,
    /// Whether frames can be exposed: it is no rehearsal.
    pub shooting: bool,
    /// The next frame from here on that is still to be exposed, or else the first of all; before the
    /// first step the one that the take would go on with.
    pub next: Option<u32>,
    /// How many frames are still to be exposed.
    pub left: u32,
}

/// What a person who steps wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wish {
    /// To go to a frame's pose. A frame that there is not is passed over.
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
    let mut at: Option<u32> = None;
    loop {
        crew.check_interrupt()?;
        let wanted = crew.wanted();
        let from_here = wanted
            .iter()
            .find(|&&frame| at.is_none_or(|at| frame >= at));
        let stood = Stood {
            frame: at,
            frames,
            standing: at.and_then(|frame| crew.standing(frame)),
            shooting,
            next: match at {
                None => crew.next_frame(),
                Some(_) => from_here.or(wanted.first()).copied(),
            },
            left: u32::try_from(wanted.len()).unwrap_or(u32::MAX),
        };
        let wish = steps.next(&stood);
        crew.check_interrupt()?;
        match (wish, at) {
            (Some(Wish::Go(frame)), _) if (1..=frames).contains(&frame) => {
                crew.tell_passages(frame)?;
                crew.move_to(frame)?;
                hands.set(crew, frame)?;
                crew.settle(frame)?;
                at = Some(frame);
            }
            (Some(wish @ (Wish::Expose | Wish::ExposeAgain)), Some(frame)) if shooting => {
                if !choose(crew, frame, wish == Wish::ExposeAgain)? {
                    continue;
                }
                if crew.home_check_is_due() {
                    crew.home_check()?;
                    choose(crew, frame, true)?;
                }
                expose(crew, frame, &mut hands)?;
                let elapsed = crew.now().saturating_sub(begun);
                crew.frame_done(frame, elapsed, Duration::ZERO);
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
fn choose(crew: &mut Crew<'_, '_>, frame: u32, again: bool) -> Result<bool, Interrupt> {
    if crew.standing(frame) != Some(Standing::Wanted) {
        if !again {
            return Ok(false);
        }
        crew.record(&Entry::Again {
            frames: Span::of([frame]),
            why: "a person".into(),
        })?;
    }
    if crew.next_frame() != Some(frame) {
        crew.record(&Entry::Chosen { frame })?;
    }
    Ok(true)
}
