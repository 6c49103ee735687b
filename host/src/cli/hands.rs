//! Axes moved by hand: what the person at the crank reads on the screen.

use panestep::take::{HandProblem, HandRequest};
use panestep::units::{self, Scale};

use super::large;
use super::people::Desk;
use super::rig;
use super::screen::say;

/// Asks for one axis to be set, and for its reading; none to stop.
pub(super) fn ask(desk: &mut Desk<'_>, request: &HandRequest<'_>) -> Option<f64> {
    let HandRequest { turn, of, way, .. } = *request;
    // An Enter too many would end the take.
    desk.forget();
    if let Some(problem) = &request.problem {
        say(&format!("  {}", wrong(request, problem)));
    }
    match request.in_place_of {
        Some(axis) if request.problem.is_none() => say(&format!(
            "frame {turn}: {of} may have been moved in place of {axis}: {}",
            look(request)
        )),
        _ => {
            large::show(&headline(request));
            say(&format!("frame {turn}: {}", order(request)));
        }
    }
    loop {
        say("  its reading now, or stop:");
        let typed = desk.line()?;
        if typed.eq_ignore_ascii_case("stop") {
            return None;
        }
        if typed.is_empty() {
            say("  type what its scale reads, or stop to stop here");
            continue;
        }
        let sign = scale(request).sign();
        match units::reading_in(&typed, request.unit, Some(sign)) {
            Ok(read) => {
                let (stand, rig) = desk.at();
                if let Some(axis) = rig::hand_axis(stand, of, way) {
                    rig.crank(axis, read);
                }
                return Some(read);
            }
            Err(error) => say(&format!(
                "  not a reading: {error}; a number alone counts as {sign}"
            )),
        }
    }
}

/// What has to be seen from the crank: which level, which way, how far.
fn headline(request: &HandRequest<'_>) -> [String; 2] {
    let scale = scale(request);
    match (request.by(), request.toward()) {
        (Some(by), Some(toward)) => [
            format!("{} {toward}", request.of),
            scale.with_unit(by.abs()),
        ],
        _ => [
            format!("{} {}", request.of, request.way.name()),
            format!("at {}", scale.with_unit(request.reading)),
        ],
    }
}

/// The same as a sentence, with the reading that it has to have afterwards.
fn order(request: &HandRequest<'_>) -> String {
    let scale = scale(request);
    let of = request.of;
    let way = request.way.name();
    let reads = format!(
        "until its {way} scale reads {} (within {})",
        scale.with_unit(request.reading),
        scale.half_division()
    );
    match (request.by(), request.toward()) {
        (Some(by), Some(toward)) => {
            format!(
                "move {of} {toward} by {}, {reads}",
                scale.with_unit(by.abs())
            )
        }
        (Some(_), None) => look(request),
        (None, _) => format!("move {of} {reads}"),
    }
}

fn look(request: &HandRequest<'_>) -> String {
    format!(
        "see that the {} scale of {} reads {}",
        request.way.name(),
        request.of,
        scale(request).with_unit(request.reading)
    )
}

/// How readings of its scale are written.
fn scale(request: &HandRequest<'_>) -> Scale {
    Scale::of(request.scale, request.unit)
}

/// What is wrong with a reading, and what has probably happened.
fn wrong(request: &HandRequest<'_>, problem: &HandProblem) -> String {
    let of = request.of;
    let scale = scale(request);
    let unit = scale.sign();
    let words = |value: f64| scale.with_unit(value);
    let what = match *problem {
        HandProblem::NotANumber => format!("that is not a reading; type the number in {unit}"),
        HandProblem::Mirrored { read } => format!(
            "{} is on the wrong side of zero: {of} has gone the wrong way",
            words(read)
        ),
        HandProblem::WrongWay { read, gone } => format!(
            "{}: {of} has gone the wrong way, {} away from where it should go",
            words(read),
            words(gone)
        ),
        HandProblem::Unmoved { read } if request.in_place_of.is_none() => format!(
            "{} is where it stood before: {of} has not moved yet. If a crank has been \
             turned, it was another level's; their scales are asked for next",
            words(read)
        ),
        HandProblem::Unmoved { read } => format!("{}: {of} has not moved", words(read)),
        HandProblem::Short { read, missing } => format!(
            "{}: {of} has not gone far enough, {} are missing",
            words(read),
            words(missing)
        ),
        HandProblem::Double { read } => {
            format!("{}: {of} has gone twice as far as it should", words(read))
        }
        HandProblem::Another { read, ref axis } => format!(
            "{} is what the scale of {axis} would read: has that been moved, or read, in \
             place of {of} {}?",
            words(read),
            request.way.name()
        ),
        HandProblem::OtherUnit { read, unit: other } => {
            // As it was typed, but for what the way there and back has rounded.
            let typed = (read / scale.unit_size() * 1e6).round() / 1e6;
            format!(
                "{typed} {unit} is not where it should be, but {typed} {other} would be: if you read \
                 {other}, type the unit too"
            )
        }
        HandProblem::BeyondTravel { read } => {
            let (least, greatest) = request.travel;
            format!(
                "{} is beyond its travel, from {} to {}: is it the right scale, and the right unit?",
                words(read),
                words(least),
                words(greatest)
            )
        }
        HandProblem::Off { read, by } => {
            let side = if by > 0.0 { "too high" } else { "too low" };
            format!("{} is {} {side}", words(read), words(by.abs()))
        }
    };
    match (request.in_place_of, problem.read()) {
        (Some(axis), Some(read)) => format!(
            "{what}. It was moved in place of {axis}: move it back {}",
            back(request, read)
        ),
        _ => what,
    }
}

fn back(request: &HandRequest<'_>, read: f64) -> String {
    let by = request.reading - read;
    format!(
        "{} by {}",
        request.way.toward(by),
        scale(request).with_unit(by.abs())
    )
}
