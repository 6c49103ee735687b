//! `panestep plan`, and the reading and planning that other commands begin with.

use std::io::{self, BufWriter, Write};
use std::path::Path;
use std::time::Duration;

use panestep::plan::times::{self, Times};
use panestep::plan::{Plan, output};
use panestep::shot::Shot;
use panestep::stand::Stand;

use super::Failure;
use super::args::{self, Format};
use super::screen::{self, clock_time, say};

/// Reads a shot and its stand.
pub(crate) fn read(shot: &Path) -> Result<(Stand, Shot), Failure> {
    panestep::file::read_shot(shot).map_err(|problems| file_failure(&problems))
}

/// What is wrong with a file, with its lines.
pub(crate) fn file_failure(problems: &panestep::file::Problems) -> Failure {
    let count = problems.all().len();
    let things = if count == 1 {
        "one thing is"
    } else {
        &format!("{count} things are")
    };
    Failure::wrong(format!(
        "{things} wrong, nothing was done\n\n{}",
        problems.report(screen::colour())
    ))
}

/// Plans a shot, or says everything that speaks against it.
pub(crate) fn planned(path: &Path, stand: &Stand, shot: &Shot) -> Result<Plan, Failure> {
    Plan::new(stand, shot).map_err(|refusals| {
        Failure::wrong(format!(
            "{} cannot be shot on {}; nothing was moved\n\n{refusals}",
            path.display(),
            stand.name,
        ))
    })
}

/// Writes the targets to standard output, and what to know about them to standard error.
pub(crate) fn plan(typed: &args::Plan) -> Result<(), Failure> {
    let (stand, shot) = read(&typed.shot)?;
    let plan = planned(&typed.shot, &stand, &shot)?;
    let mut out = BufWriter::new(io::stdout().lock());
    match typed.format {
        Format::Table => output::table(&plan, 1..=shot.frames, screen::width(), &mut out),
        Format::Json => output::json(&plan, &mut out),
        Format::Csv => output::csv(&plan, &mut out),
    }
    .and_then(|()| out.flush())
    .map_err(|error| Failure::output(&error))?;
    if typed.format == Format::Table {
        let times =
            times::times(plan.schedule(), times::DEFAULT_TICK_RATE).map_err(Failure::wrong)?;
        summary(&shot, &plan, &times);
    }
    Ok(())
}

/// What to know about a plan before shooting it.
pub(crate) fn summary(shot: &Shot, plan: &Plan, times: &Times) {
    let shown = Duration::from_secs_f64(f64::from(shot.frames) / shot.rate);
    say(&format!(
        "{}: {} frames, {:.1} s when shown at {} frames a second",
        shot.name,
        shot.frames,
        shown.as_secs_f64(),
        shot.rate
    ));
    let schedule = plan.schedule();
    let still = format!(
        "settling {}, exposing {}, camera getting ready {}",
        clock_time(times.settling),
        clock_time(times.exposing),
        clock_time(times.readying),
    );
    if schedule.motors.is_empty() {
        say(&format!(
            "time to shoot: {} ({still})",
            clock_time(times.total())
        ));
    } else {
        say(&format!(
            "time to shoot: {} (moving {}, {still}); longest move {:.2} s, to frame {}",
            clock_time(times.total()),
            clock_time(times.moving),
            times.longest_move.as_secs_f64(),
            times.longest_move_frame,
        ));
        let every = schedule.home_check;
        let checks = if every == 0 {
            1
        } else {
            schedule.frames.div_ceil(every)
        };
        say(&format!("home checks: {checks}, not in that time"));
    }
    if times.hand_settings > 0 {
        say(&format!(
            "settings by hand: {}, not in that time",
            times.hand_settings
        ));
    }
    for level in &plan.report().levels {
        let mut line = if level.travel_pixels < 0.05 {
            format!("{}: stands still in the picture", level.level)
        } else {
            format!(
                "{}: moves up to {:.1} px between pictures (to frame {})",
                level.level, level.travel_pixels, level.travel_frame
            )
        };
        if level.size_error_pixels.abs() >= 0.05 {
            line.push_str(&format!(
                "; its size is off by up to {:+.2} %, {:.1} px at the corner (frame {})",
                level.size_error_percent,
                level.size_error_pixels.abs(),
                level.size_error_frame
            ));
        }
        say(&line);
    }
    for missing in &plan.report().missing {
        say(&format!(
            "{} has no {} axis: up to {:.2} px are left over (frame {})",
            missing.of, missing.direction, missing.pixels, missing.frame
        ));
    }
}
