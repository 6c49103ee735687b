//! `panestep home`: every axis, or some, to its home switch.

use panestep::take::Attended;

use super::at_stand::{Place, Teller, at, stood};
use super::screen::{clock_time, say};
use super::{Failure, args};

/// Homes what was named, and whatever has to go home with it.
pub(crate) fn home(typed: &args::Home) -> Result<(), Failure> {
    let place = Place::new(&typed.at)?;
    let schedule = place.motors()?;
    let axes = place.axes(
        &schedule,
        typed.level.as_deref(),
        typed.direction.as_deref(),
    )?;
    place.rig.stop_is_tested(place.stand(), place.file.path())?;
    let mut teller = Teller::new(&schedule);
    place.attend(&schedule, &mut teller, |attended| {
        place.set_up(attended)?;
        homed(attended, &axes)
    })
}

/// Homes axes, saying what goes home, how long it may take, and what was found.
pub(crate) fn homed(attended: &mut Attended<'_, '_>, axes: &[usize]) -> Result<(), Failure> {
    let schedule = attended.schedule();
    let all = attended.homes_with(axes);
    let names = |places: &[usize]| -> String {
        let names: Vec<String> = places
            .iter()
            .map(|&place| schedule.motors[place].name())
            .collect();
        names.join(", ")
    };
    let seen = attended.look().map_err(|error| stood(&error))?;
    let about = all
        .iter()
        .map(|&place| {
            let known = seen.axes[place];
            Attended::homing_time(&schedule.motors[place], known.homed.then_some(known.steps))
        })
        .sum();
    say(&format!(
        "going home: {}; {} at most",
        names(&all),
        clock_time(about)
    ));
    let along: Vec<usize> = all
        .iter()
        .copied()
        .filter(|place| !axes.contains(place))
        .collect();
    if !along.is_empty() {
        say(&format!(
            "  ({} too, so that no lift runs into another)",
            names(&along)
        ));
    }
    let begun = attended.now();
    let found = attended.home(axes).map_err(|error| stood(&error))?;
    for (place, off) in found {
        let axis = &schedule.motors[place];
        if seen.axes[place].homed {
            say(&format!(
                "{}: its switch was {} from where it was counted",
                axis.name(),
                at(axis, off)
            ));
        }
    }
    let now = attended.look().map_err(|error| stood(&error))?;
    for &place in &all {
        let axis = &schedule.motors[place];
        say(&format!(
            "{} is at {}",
            axis.name(),
            at(axis, now.axes[place].steps)
        ));
    }
    say(&format!(
        "home, after {}",
        clock_time(attended.now().saturating_sub(begun))
    ));
    Ok(())
}
