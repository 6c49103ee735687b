//! Axes moved by hand: what the person at the crank reads on the screen.

use panestep::take::{HandProblem, HandRequest};
use panestep::units;

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
        match units::reading(&typed, request.unit) {
            Ok(read) => {
                let (stand, rig) = desk.at();
                if let Some(axis) = rig::hand_axis(stand, of, way) {
                    rig.crank(axis, read);
                }
                return Some(read);
            }
            Err(error) => say(&format!(
                "  not a reading: {error}; a number alone counts as {}",
                request.unit.sign()
            )),
        }
    }
}

/// What has to be seen from the crank: which level, which way, how far.
fn headline(request: &HandRequest<'_>) -> [String; 2] {
    let unit = request.unit.sign();
    match (request.by(), request.toward()) {
        (Some(by), Some(toward)) => [
            format!("{} {toward}", request.of),
            format!("{} {unit}", amount(request, by.abs())),
        ],
        _ => [
            format!("{} {}", request.of, request.way.name()),
            format!("at {} {unit}", amount(request, request.reading)),
        ],
    }
}

/// The same as a sentence, with the reading that it has to have afterwards.
fn order(request: &HandRequest<'_>) -> String {
    let HandRequest { of, reading, .. } = *request;
    let unit = request.unit.sign();
    let way = request.way.name();
    let within = request.scale / 2.0;
    match (request.by(), request.toward()) {
        (Some(by), Some(toward)) => format!(
            "move {of} {toward} by {:.3} {unit}, until its {way} scale reads {reading:.3} {unit} \
             (within {within} {unit})",
            by.abs()
        ),
        (Some(_), None) => look(request),
        (None, _) => format!(
            "move {of} until its {way} scale reads {reading:.3} {unit} (within {within} {unit})"
        ),
    }
}

fn look(request: &HandRequest<'_>) -> String {
    format!(
        "see that the {} scale of {} reads {:.3} {}",
        request.way.name(),
        request.of,
        request.reading,
        request.unit.sign()
    )
}

/// An amount with the decimals that its scale's division has, three at the most.
fn amount(request: &HandRequest<'_>, amount: f64) -> String {
    let decimals = (0..3).find(|&decimals| {
        let fine = request.scale * 10_f64.powi(decimals);
        (fine - fine.round()).abs() < 1e-9 * fine
    });
    // No minus before a zero.
    format!("{:.1$}", amount + 0.0, decimals.unwrap_or(3) as usize)
}

/// What is wrong with a reading, and what has probably happened.
fn wrong(request: &HandRequest<'_>, problem: &HandProblem) -> String {
    let of = request.of;
    let unit = request.unit.sign();
    let what = match *problem {
        HandProblem::NotANumber => format!("that is not a reading; type the number in {unit}"),
        HandProblem::Mirrored { read } => {
            format!("{read} {unit} is on the wrong side of zero: {of} has gone the wrong way")
        }
        HandProblem::WrongWay { read, gone } => format!(
            "{read} {unit}: {of} has gone the wrong way, {gone:.3} {unit} away from where it should go"
        ),
        HandProblem::Unmoved { read } if request.in_place_of.is_none() => format!(
            "{read} {unit} is where it stood before: {of} has not moved yet. If a crank has been \
             turned, it was another level's; their scales are asked for next"
        ),
        HandProblem::Unmoved { read } => format!("{read} {unit}: {of} has not moved"),
        HandProblem::Short { read, missing } => {
            format!("{read} {unit}: {of} has not gone far enough, {missing:.3} {unit} are missing")
        }
        HandProblem::Double { read } => {
            format!("{read} {unit}: {of} has gone twice as far as it should")
        }
        HandProblem::Another { read, ref axis } => format!(
            "{read} {unit} is what the scale of {axis} would read: has that been moved, or read, in \
             place of {of} {}?",
            request.way.name()
        ),
        HandProblem::OtherUnit { read, unit: other } => format!(
            "{read} {unit} is not where it should be, but {read} {other} would be: if you read \
             {other}, type the unit too"
        ),
        HandProblem::BeyondTravel { read } => {
            let (least, greatest) = request.travel;
            format!(
                "{read} {unit} is beyond its travel, from {least} to {greatest} {unit}: is it the \
                 right scale, and the right unit?"
            )
        }
        HandProblem::Off { read, by } => {
            let side = if by > 0.0 { "too high" } else { "too low" };
            format!("{read} {unit} is {:.3} {unit} {side}", by.abs())
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
        "{} by {:.3} {}",
        request.way.toward(by),
        by.abs(),
        request.unit.sign()
    )
}
