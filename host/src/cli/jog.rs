//! `panestep jog`: an axis by a distance, to a position; axes to a frame.

mod moves;

use panestep::schedule::Schedule;
use panestep::units;

use self::moves::Mover;
use super::at_stand::{Place, Teller};
use super::{Failure, args, plan};

/// What was asked for.
enum Wish {
    /// An axis by so many units, with their sign.
    By(usize, f64),
    /// An axis to a position.
    To(usize, f64),
    /// Axes to where a frame wants them.
    Frame(Vec<usize>, u32),
}

/// Moves what was named.
pub(crate) fn jog(typed: &args::Jog) -> Result<(), Failure> {
    let words: Vec<&str> = typed.words.iter().map(String::as_str).collect();
    let frame = frame_words(&words)?;
    match (&typed.shot, frame) {
        (None, Some(_)) => {
            return Err(Failure::wrong("which shot is the frame of?")
                .hint("nothing was moved; name it with --shot SHOT"));
        }
        (Some(_), None) => {
            return Err(Failure::wrong("--shot goes with `to frame NUMBER` only")
                .hint("nothing was moved; such as: panestep jog to frame 12 --shot SHOT"));
        }
        _ => {}
    }
    let place = match &typed.shot {
        None => Place::new(&typed.at)?,
        Some(shot) => Place::of_shot(&typed.at, shot)?,
    };
    let (schedule, wish) = match (&typed.shot, frame) {
        (Some(path), Some((level, direction, frame))) => {
            let (stand, shot) = plan::read(path)?;
            let schedule = plan::planned(path, &stand, &shot)?.into_schedule();
            if frame == 0 || frame > schedule.frames {
                return Err(Failure::wrong(format!(
                    "there is no frame {frame}: {} has {}",
                    shot.name, schedule.frames
                ))
                .hint("nothing was moved"));
            }
            let axes = place.axes(&schedule, level, direction)?;
            (schedule, Wish::Frame(axes, frame))
        }
        _ => {
            let schedule = place.motors()?;
            let wish = axis_words(&place, &schedule, &words)?;
            (schedule, wish)
        }
    };
    if typed.home {
        place.rig.stop_is_tested(place.stand(), place.file.path())?;
    }
    let mut teller = Teller::new(&schedule);
    place.attend(&schedule, &mut teller, |attended| {
        Mover {
            place: &place,
            schedule: &schedule,
            attended,
            anyway: typed.anyway,
        }
        .go(&wish, typed.home)
    })
}

/// `[LEVEL [DIRECTION]] to frame NUMBER`, where it is that.
type FrameWords<'w> = Option<(Option<&'w str>, Option<&'w str>, u32)>;

fn frame_words<'w>(words: &[&'w str]) -> Result<FrameWords<'w>, Failure> {
    let (named, number) = match words {
        [named @ .., "to", "frame", number] => (named, *number),
        [.., "frame"] | [.., "frame", _] => {
            return Err(not_understood(words));
        }
        _ => return Ok(None),
    };
    let number = number.parse().map_err(|_| {
        Failure::wrong(format!("{number:?} is no frame's number")).hint("nothing was moved")
    })?;
    match *named {
        [] => Ok(Some((None, None, number))),
        [level] => Ok(Some((Some(level), None, number))),
        [level, direction] => Ok(Some((Some(level), Some(direction), number))),
        _ => Err(not_understood(words)),
    }
}

fn axis_words(place: &Place, schedule: &Schedule, words: &[&str]) -> Result<Wish, Failure> {
    let (level, direction, to, amount) = match words {
        [level, direction, "to", amount @ ..] => (*level, *direction, true, amount),
        [level, direction, amount @ ..] => (*level, *direction, false, amount),
        _ => return Err(not_understood(words)),
    };
    // What is moved comes first: whoever names a level wrongly has not yet thought of its unit.
    let axes = place.axes(schedule, Some(level), Some(direction))?;
    let axis = axes[0];
    let motor = &schedule.motors[axis];
    let (way, back) = place.way(level, direction)?;
    if amount.is_empty() {
        return Err(
            Failure::wrong(format!("how far is {level} to go {direction}?"))
                .hint("nothing was moved; such as: 2 mm, 1/16 in, 5 deg, or to -12 mm"),
        );
    }
    let value = units::reading_in(&amount.join(" "), way.unit(), None)
        .map_err(|error| Failure::wrong(error).hint("nothing was moved"))?;
    if to && back {
        let [forth, _, _] = way.words();
        return Err(Failure::wrong(format!(
            "a position counts {forth}, so that `{direction} to` could mean two places"
        ))
        .hint(format!(
            "nothing was moved; say `{level} {} to` with a minus sign where it is {direction} of zero",
            motor.way.name()
        )));
    }
    Ok(if to {
        Wish::To(axis, value)
    } else {
        Wish::By(axis, if back { -value } else { value })
    })
}

fn not_understood(words: &[&str]) -> Failure {
    Failure::wrong(format!("{:?} is not understood", words.join(" "))).hint(
        "nothing was moved; a level, a direction and a distance are wanted, such as `reeds east 2 \
         mm`, `reeds east to -12 mm` or `to frame 12 --shot SHOT`; panestep jog --help says more",
    )
}
