//! What a person types of frames, and the exposures that it comes to.

use std::collections::BTreeSet;

use panestep::schedule::Order;
use panestep::shot::Shot;
use panestep::take::span::numbers_of;
use panestep::take::{Edit, Span, TakeState};

use super::{Failure, args};

/// Everything but the frames, and the pass, that are wanted.
pub(super) fn left_out(
    only: &[Span],
    pass: Option<usize>,
    order: &Order,
) -> Result<Vec<Edit>, Failure> {
    let only = within("--only", only, order.frames())?;
    let every = Span::new(1, order.frames());
    let frames = match (only, pass) {
        ([], None) => return Ok(Vec::new()),
        ([], Some(_)) => every.as_slice(),
        (only, _) => only,
    };
    let wanted: BTreeSet<u32> = numbers_of(order, frames, pass)
        .iter()
        .flat_map(|span| span.frames())
        .collect();
    let rest = (1..=order.turns()).filter(|number| !wanted.contains(number));
    Ok(Span::of(rest).into_iter().map(Edit::Drop).collect())
}

/// The names of a shot's passes; none where it names none.
pub(super) fn pass_names(shot: &Shot) -> Vec<String> {
    let names = shot.passes.iter().map(|pass| pass.name.clone());
    names.filter(|name| !name.is_empty()).collect()
}

/// The place of a pass that was typed by its name or its number.
pub(super) fn pass_named(typed: Option<&str>, names: &[String]) -> Result<Option<usize>, Failure> {
    let Some(typed) = typed else {
        return Ok(None);
    };
    let numbered = || {
        let number: usize = typed.parse().ok()?;
        number.checked_sub(1).filter(|place| *place < names.len())
    };
    let by_name = names.iter().position(|name| name == typed);
    if let Some(place) = by_name.or_else(numbered) {
        return Ok(Some(place));
    }
    let failure = Failure::wrong(format!("--pass {typed}: the shot has no such pass"));
    Err(failure.hint(if names.is_empty() {
        "nothing was moved or changed; it names no passes: every frame is exposed once".to_owned()
    } else {
        let numbered = names.iter().zip(1..);
        let names: Vec<String> = numbered
            .map(|(name, number)| format!("{number} {name}"))
            .collect();
        format!(
            "nothing was moved or changed; its passes are: {}",
            names.join(", ")
        )
    }))
}

/// Spans that were typed, where all their frames are there.
fn within<'a>(option: &str, spans: &'a [Span], frames: u32) -> Result<&'a [Span], Failure> {
    match spans.iter().find(|span| span.last() > frames) {
        Some(span) => Err(Failure::wrong(format!(
            "{option} {span}: there is no frame {}, the shot has {frames}",
            span.last()
        ))
        .hint("nothing was moved or changed")),
        None => Ok(spans),
    }
}

/// What is typed are frames of the shot; what is changed are their exposures, in all passes or in
/// one.
pub(super) fn edits(
    typed: &args::Resume,
    state: &TakeState,
    names: &[String],
) -> Result<Vec<Edit>, Failure> {
    let order = &state.order;
    let pass = pass_named(typed.pass.as_deref(), names)?;
    if pass.is_some()
        && typed.again.is_empty()
        && typed.drop.is_empty()
        && typed.take_back.is_none()
    {
        return Err(Failure::wrong(
            "--pass says which pass --again, --drop or --take-back is about, and none of them is here",
        )
        .hint("nothing was moved or changed"));
    }
    let again = within("--again", &typed.again, order.frames())?;
    let drop = within("--drop", &typed.drop, order.frames())?;
    let again = numbers_of(order, again, pass).into_iter();
    let mut edits: Vec<Edit> = again.map(Edit::Again).collect();
    edits.extend(typed.back.map(Edit::Back));
    let drop = numbers_of(order, drop, pass).into_iter();
    edits.extend(drop.map(Edit::Drop));
    if let Some(frame) = typed.take_back {
        edits.push(Edit::TakeBack(answered(state, frame, pass)?));
    }
    Ok(edits)
}

/// The exposure whose last answer is to be taken back: that of the pass, or of the only pass of which
/// anything was answered.
fn answered(state: &TakeState, frame: u32, pass: Option<usize>) -> Result<u32, Failure> {
    let order = &state.order;
    within(
        "--take-back",
        Span::new(frame, frame).as_slice(),
        order.frames(),
    )?;
    let passes = pass.map_or(0..order.passes(), |pass| pass..pass + 1);
    let numbers: Vec<u32> = passes
        .filter_map(|pass| order.number_of(frame, pass))
        .collect();
    let said = |number: &&u32| state.verdict(**number).is_some();
    let answers: Vec<u32> = numbers.iter().filter(said).copied().collect();
    match (answers.as_slice(), numbers.first()) {
        ([one], _) => Ok(*one),
        // That there is no answer is said where it is looked for.
        ([], Some(first)) => Ok(*first),
        _ => {
            let passes: Vec<String> = answers
                .iter()
                .map(|&number| (state.turn(number).pass + 1).to_string())
                .collect();
            Err(Failure::wrong(format!(
                "--take-back {frame}: there are answers about that frame in passes {}",
                passes.join(" and ")
            ))
            .hint("nothing was moved or changed; name one of them with --pass"))
        }
    }
}
