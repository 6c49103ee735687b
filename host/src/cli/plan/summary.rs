//! What to know about a plan before shooting it, in words.

use std::ops::RangeInclusive;
use std::time::Duration;

use panestep::optics::depth::exposure_factor;
use panestep::optics::glass_shift_mm;
use panestep::optics::light::stops;
use panestep::plan::Plan;
use panestep::plan::coverage::{LevelCoverage, Spare};
use panestep::plan::report::TOLERATED_PIXELS;
use panestep::plan::strobing::{Fast, Limits, Rule};
use panestep::plan::survey::Survey;
use panestep::plan::times::Times;
use panestep::schedule::{Pass, Schedule};
use panestep::shot::{Pass as ShotPass, Shot, When};
use panestep::stand::{LevelId, Stand};
use panestep::units::Scale;

use super::Looked;

use crate::cli::screen::{clock_time, frames, say, say_wrapped};

/// Travel in pixels below which a level stands still, and errors that are not worth a line.
const NOTHING_PX: f64 = 0.05;

/// The shot, its time, and what to look out for.
pub(crate) fn summary(stand: &Stand, shot: &Shot, plan: &Plan, times: &Times, looked: &Looked) {
    figures(stand, shot, plan, times);
    look_out(stand, shot, plan, looked);
}

/// The shot, its exposures and its time.
pub(crate) fn figures(stand: &Stand, shot: &Shot, plan: &Plan, times: &Times) {
    let shown = Duration::from_secs_f64(f64::from(shot.frames) / shot.rate);
    say(&format!(
        "{}: {}, {} when shown at {} frames a second",
        shot.name,
        frames(shot.frames as usize),
        if shown < Duration::from_secs(60) {
            format!("{:.2} s", shown.as_secs_f64())
        } else {
            clock_time(shown)
        },
        shot.rate
    ));
    if let Some(line) = close_up(stand, plan) {
        say(&line);
    }
    let schedule = plan.schedule();
    exposures(schedule);
    time(schedule, times);
}

/// How much longer than for something far away, where that is worth a line: what a light meter knows
/// nothing of.
fn close_up(stand: &Stand, plan: &Plan) -> Option<String> {
    let image_mm = plan.geometry().pose(1).image_mm;
    let factor = exposure_factor(image_mm / stand.lens.focal_length_mm - 1.0);
    (factor >= 1.05).then(|| {
        format!(
            "focused as close as at frame 1, the lens needs {factor:.2} times the exposure ({:+.2} stops) \
             that it needs for what is far away; `check` tells how much light the glass takes",
            stops(factor)
        )
    })
}

/// What can be shot, but should be known before.
pub(crate) fn look_out(stand: &Stand, shot: &Shot, plan: &Plan, looked: &Looked) {
    let mut all: Vec<String> = Vec::new();
    for level in &plan.report().levels {
        if level.size_error_pixels.abs() >= NOTHING_PX {
            all.push(format!(
                "{}: its size is off by up to {:+.2} %, {:.1} px at the corner (frame {})",
                level.level,
                level.size_error_percent,
                level.size_error_pixels.abs(),
                level.size_error_frame
            ));
        }
    }
    for missing in &plan.report().missing {
        all.push(format!(
            "{} has no {} axis: up to {:.2} px are left over (frame {})",
            missing.of, missing.direction, missing.pixels, missing.frame
        ));
    }
    for axis in &plan.report().axes {
        if axis.rounding_pixels >= TOLERATED_PIXELS {
            all.push(format!(
                "{} {}: its steps or divisions are coarse, up to {:.2} px in the picture",
                axis.of, axis.direction, axis.rounding_pixels
            ));
        }
    }
    all.extend(warnings(stand, shot, plan, &looked.survey));
    for warning in looked.art.iter().chain(&all) {
        say_wrapped("look out: ", warning);
    }
}

/// The passes and drawings, where the shot has any.
fn exposures(schedule: &Schedule) {
    if schedule.passes.len() > 1 {
        say(&format!(
            "{} exposures in {} passes:",
            schedule.turns(),
            schedule.passes.len()
        ));
        for (place, pass) in schedule.passes.iter().enumerate() {
            say(&format!("  {}. {}", place + 1, pass_line(schedule, pass)));
        }
    } else if let Some(pass) = schedule
        .passes
        .first()
        .filter(|pass| !pass.without.is_empty() || pass.lamps.len() < schedule.lamps.len())
    {
        say(&format!("one pass: {}", pass_line(schedule, pass)));
    }
    // The first entry of a level is what lies there at frame 1.
    let mut levels: Vec<&str> = Vec::new();
    let mut changes = 0;
    for laid in &schedule.laid {
        if levels.contains(&&*laid.on) {
            changes += 1;
        } else {
            levels.push(&laid.on);
        }
    }
    if !levels.is_empty() {
        let times = match changes {
            0 => "they do not change",
            1 => "they change once",
            _ => &format!("they change {changes} times"),
        };
        say(&format!("drawings lie on {}; {times}", listed(&levels)));
    }
}

fn pass_line(schedule: &Schedule, pass: &Pass) -> String {
    let lamps: Vec<&str> = pass
        .lamps
        .iter()
        .filter_map(|&lamp| schedule.lamps.get(lamp))
        .map(|lamp| &*lamp.name)
        .collect();
    let name = if pass.name.is_empty() {
        "all frames"
    } else {
        &pass.name
    };
    let mut line = format!("{name}: open {:.2} s", pass.exposure.as_secs_f64());
    if pass.when == When::AfterRun {
        line.push_str(", after the run of those before it");
    }
    if !schedule.lamps.is_empty() {
        line.push_str(&match lamps.len() {
            0 => ", no lamp burns".to_owned(),
            1 => format!(", lamp {} burns", lamps[0]),
            _ => format!(", lamps {} burn", listed(&lamps)),
        });
    }
    if !pass.without.is_empty() {
        let levels: Vec<&str> = pass.without.iter().map(String::as_str).collect();
        line.push_str(&format!(", without {}", listed(&levels)));
    }
    if pass.set_by_hand {
        line.push_str(", a person sets the camera to that");
    }
    line
}

fn time(schedule: &Schedule, times: &Times) {
    let mut still = format!(
        "settling {}, exposing {}, camera getting ready {}",
        clock_time(times.settling),
        clock_time(times.exposing),
        clock_time(times.readying),
    );
    if !times.lighting.is_zero() {
        let warm_up = clock_time(times.lighting);
        still.push_str(&format!(", lamps warming up {warm_up}"));
    }
    if schedule.motors.is_empty() {
        say(&format!(
            "time to shoot: {} ({still})",
            clock_time(times.total())
        ));
    } else {
        say(&format!(
            "time to shoot: {} (moving {}, {still}){}",
            clock_time(times.total()),
            clock_time(times.moving),
            if times.longest_move.is_zero() {
                String::new()
            } else {
                format!(
                    "; longest move {:.2} s, to frame {}",
                    times.longest_move.as_secs_f64(),
                    times.longest_move_frame
                )
            },
        ));
        let every = schedule.home_check;
        let checks = if every == 0 {
            1
        } else {
            schedule.turns().div_ceil(every)
        };
        say(&format!("home checks: {checks}, not in that time"));
    }
    if !times.way_back.is_zero() {
        say(&format!(
            "of that, back to the first frame for passes after the run: {}",
            clock_time(times.way_back)
        ));
    }
    if times.arrangements > 0 {
        say(&format!(
            "stops for a hand to lay drawings, take levels out or put them back, switch lamps or set \
             the camera: {}, not in that time",
            times.arrangements
        ));
    }
    if times.hand_settings > 0 {
        say(&format!(
            "settings by hand: {}, not in that time",
            times.hand_settings
        ));
    }
}

/// What the planner has to say of passes, moves, edges and focus.
fn warnings(stand: &Stand, shot: &Shot, plan: &Plan, survey: &Survey) -> Vec<String> {
    let mut all = Vec::new();
    all.extend(
        shot.passes
            .iter()
            .filter_map(|pass| out_of_register(stand, plan, pass)),
    );
    let limits = Limits::new(&shot.strobing, stand.lens.picture.columns, shot.rate);
    for fast in &survey.fast {
        all.push(too_fast(shot, &limits, fast));
    }
    for level in &survey.coverage {
        if let Some(short) = level.painting_spare.filter(|spare| spare.mm < 0.0) {
            let mut line = edge(&level.level, "its painting ends", &short);
            let others: Vec<String> = level
                .short_sides()
                .filter(|(side, _)| *side != short.side)
                .map(|(side, mm)| format!("{} by {mm:.1} mm", side.name()))
                .collect();
            if !others.is_empty() {
                line.push_str(&format!("; elsewhere too short {}", others.join(", ")));
            }
            let (east, north) = level.needs.centre_mm();
            line.push_str(&format!(
                "; {:.1} x {:.1} mm of the level are in the picture, about {}: see `art_width` and `art_centre`",
                level.needs.width_mm(),
                level.needs.height_mm(),
                place(east, north),
            ));
            all.push(line);
        }
        if level.pane_spare.mm < 0.0 {
            all.push(edge(&level.level, "its pane ends", &level.pane_spare));
        }
    }
    if let Some(line) = soft(stand, survey) {
        all.push(line);
    }
    all
}

/// What a pass does not register with the others, because panes are out of it: whatever lies below
/// is seen through less glass.
fn out_of_register(stand: &Stand, plan: &Plan, pass: &ShotPass) -> Option<String> {
    let pose = plan.geometry().pose(1);
    let corner_px = plan.geometry().corner_mm() * plan.geometry().pixels_per_mm();
    let farther = |level: usize| -> f64 {
        let above = pass.without.iter().filter(|out| out.0 < level);
        above
            .map(|out| glass_shift_mm(&stand.levels[out.0].pane))
            .sum()
    };
    let worst = (0..stand.levels.len())
        .filter(|&level| !pass.without.contains(&LevelId(level)))
        .map(|level| {
            let distance_mm = pose.levels[level].distance_mm;
            let farther_mm = farther(level);
            let pixels = corner_px * farther_mm / (distance_mm + farther_mm);
            (level, farther_mm, pixels)
        })
        .max_by(|one, two| one.2.total_cmp(&two.2))
        .filter(|&(_, _, pixels)| pixels >= NOTHING_PX)?;
    let (level, farther_mm, pixels) = worst;
    let names: Vec<&str> = pass
        .without
        .iter()
        .map(|out| &*stand.levels[out.0].name)
        .collect();
    Some(format!(
        "pass {} is without {}: seen through less glass, what lies below appears farther away, {} by {farther_mm:.2} mm, and is up to {pixels:.1} px off the other passes at the picture's corner; a clean pane of the same glass in its place keeps them together",
        pass.name,
        listed(&names),
        stand.levels[level].name,
    ))
}

/// The levels that are softer than the circle of confusion, in one line: mostly it is all but one.
fn soft(stand: &Stand, survey: &Survey) -> Option<String> {
    let levels: Vec<_> = survey
        .sharpness
        .iter()
        .filter(|level| !level.soft.is_empty())
        .collect();
    let worst = levels
        .iter()
        .max_by(|one, two| one.blur_pixels.total_cmp(&two.blur_pixels))?;
    let each: Vec<String> = levels
        .iter()
        .map(|level| {
            format!(
                "{} at {} (up to {:.1} px, frame {})",
                level.level,
                spans(&level.soft),
                level.blur_pixels,
                level.frame
            )
        })
        .collect();
    let far = worst
        .far_mm
        .map_or("infinity".to_owned(), |far| format!("{far:.0} mm"));
    Some(format!(
        "softer than the circle of confusion of {:.3} mm: {}; at frame {} the lens is sharp from {:.0} mm to {far}",
        stand.lens.circle_of_confusion_mm,
        each.join(", "),
        worst.frame,
        worst.near_mm,
    ))
}

fn too_fast(shot: &Shot, limits: &Limits, fast: &Fast) -> String {
    let Fast {
        level,
        pixels,
        worst_frame,
        limit_pixels,
        ..
    } = fast;
    let at = spans(&fast.frames);
    match fast.rule {
        Rule::Crossing => {
            let time = limits
                .crossing_time(&shot.strobing, *pixels)
                .unwrap_or_default()
                .as_secs_f64();
            format!(
                "{level} goes up to {pixels:.1} px a frame at {at}, most to frame {worst_frame}: it would cross the picture in {time:.1} s, and a pan should take {:.1} s or more ({limit_pixels:.1} px a frame)",
                shot.strobing.crossing.as_secs_f64(),
            )
        }
        Rule::Jumps => format!(
            "{level} jumps up to {pixels:.1} px from picture to picture at {at}, most to frame {worst_frame}: from {limit_pixels:.1} px on (the picture's width in {:.0} pictures) a move strobes",
            shot.strobing.strobes_below,
        ),
        Rule::Smear => format!(
            "{level} jumps up to {pixels:.1} px from picture to picture at {at}, most to frame {worst_frame}: from {limit_pixels:.1} px on (the picture's width in {:.0} pictures) the eye sees no move but a smear, if it is painted as one; what is sharp only jumps",
            shot.strobing.smears_below,
        ),
    }
}

fn edge(level: &str, what: &str, spare: &Spare) -> String {
    format!(
        "{level}: {what} {:.1} mm ({:.1} px) inside the picture, on the {} side at frame {}",
        -spare.mm,
        -spare.pixels,
        spare.side.name(),
        spare.frame,
    )
}

/// Every level and every axis, for `plan` itself.
pub(crate) fn details(shot: &Shot, plan: &Plan, survey: &Survey) {
    let report = plan.report();
    for (place, level) in report.levels.iter().enumerate() {
        let travel = survey.edge_travel.get(place).copied().unwrap_or_default();
        say(
            &if level.travel_pixels < NOTHING_PX && travel.pixels < NOTHING_PX {
                format!("{}: stands still in the picture", level.level)
            } else {
                format!(
                    "{}: goes up to {:.1} px from picture to picture at its middle (to frame {}), {:.1} px where it is fastest (to frame {})",
                    level.level,
                    level.travel_pixels,
                    level.travel_frame,
                    travel.pixels,
                    travel.frame.max(1)
                )
            },
        );
        if let Some(coverage) = survey.coverage.get(place) {
            say(&format!("    {}", fills(coverage)));
        }
        if let Some(sharp) = survey.sharpness.get(place) {
            say(&format!(
                "    a point of it is up to {:.1} px wide (frame {})",
                sharp.blur_pixels, sharp.frame
            ));
        }
    }
    for axis in &report.axes {
        // Readings as the table above has them: a scale in inches in inches.
        let scale = plan
            .schedule()
            .hands
            .iter()
            .find(|hand| hand.of == axis.of && hand.way.name() == axis.direction)
            .map(|hand| Scale::of(hand.scale, hand.unit));
        let unit = axis.unit;
        let ends = [axis.least + 0.0, axis.greatest + 0.0].map(|value| match scale {
            Some(scale) => scale.words(value),
            None => format!("{value:.3}"),
        });
        let mut line = format!(
            "{} {}: from {} to {} {}",
            axis.of,
            axis.direction,
            ends[0],
            ends[1],
            scale.map_or(unit, Scale::sign),
        );
        if axis.largest_move > 0.0 {
            let held = f64::from(shot.hold);
            line.push_str(&format!(
                ", up to {:.3} {unit} a picture (to frame {}; {:.2} {unit}/s when shown)",
                axis.largest_move,
                axis.largest_move_frame,
                axis.largest_move * shot.rate / held,
            ));
        }
        if axis.largest_change > 0.0 {
            line.push_str(&format!(
                ", gaining or losing up to {:.4} {unit} from one picture to the next (frame {})",
                axis.largest_change, axis.largest_change_frame,
            ));
        }
        if axis.step_pixels > 0.0 {
            line.push_str(&format!(
                "; one step or division beside it is {:.3} px{}",
                axis.step_pixels,
                if axis.unit == "deg" && axis.direction == "focus" {
                    " of blur"
                } else {
                    ""
                }
            ));
        }
        say(&line);
    }
}

/// What a level has to have in the picture, and by how much it has more.
fn fills(coverage: &LevelCoverage) -> String {
    let needs = &coverage.needs;
    let (east, north) = coverage.needs.centre_mm();
    let mut text = format!(
        "{:.1} x {:.1} mm of it are in the picture over all frames, about {}",
        needs.width_mm(),
        needs.height_mm(),
        place(east, north),
    );
    if let Some(spare) = coverage
        .painting_spare
        .filter(|spare| spare.mm >= 0.0 && spare.mm.is_finite())
    {
        text.push_str(&format!(
            ", and the painting reaches {:.1} mm farther or more ({}, frame {})",
            spare.mm,
            spare.side.name(),
            spare.frame
        ));
    }
    text
}

/// A place on a level, from its zero.
fn place(east_mm: f64, north_mm: f64) -> String {
    let along = |mm: f64, words: [&str; 2]| {
        let word = words[usize::from(mm < 0.0)];
        (mm.abs() >= 0.05).then(|| format!("{:.1} mm {word}", mm.abs()))
    };
    match (
        along(east_mm, ["east", "west"]),
        along(north_mm, ["north", "south"]),
    ) {
        (Some(east), Some(north)) => format!("{east} and {north} of its zero"),
        (Some(one), None) | (None, Some(one)) => format!("{one} of its zero"),
        (None, None) => "its zero".to_owned(),
    }
}

/// Stretches of frames, the first few of them.
fn spans(frames: &[RangeInclusive<u32>]) -> String {
    const MOST: usize = 6;
    let mut named: Vec<String> = frames
        .iter()
        .take(MOST)
        .map(|span| {
            if span.start() == span.end() {
                span.start().to_string()
            } else {
                format!("{}-{}", span.start(), span.end())
            }
        })
        .collect();
    if frames.len() > MOST {
        named.push(format!("{} more stretches", frames.len() - MOST));
    }
    let one = frames.len() == 1 && frames[0].start() == frames[0].end();
    format!("frame{} {}", if one { "" } else { "s" }, named.join(", "))
}

/// Names as people list them.
fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}
