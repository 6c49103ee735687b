//! Swings: how long the stand has to rest before an exposure.

use std::f64::consts::TAU;

use super::{About, Aspect, Finding, Severity, Sight, axis_name, short};
use crate::measure::decay::settle_time;
use crate::shot::Strobing;
use crate::stand::{Axis, AxisId, Carrier, Drive, LevelId, Stand, Swing, Way};

/// Part of a pixel that a swing may still have when the shutter opens.
const LEFT_PX: f64 = 0.05;

const MOTOR: &str = "envelope of a damped swing, any textbook of vibrations; greatest swing after any move \
                     within the travel, by its speed, acceleration and jerk: our own arithmetic";
const HAND: &str = "envelope of a damped swing, any textbook of vibrations; a hand is taken to let the \
                    carriage swing by the whole way; a usual move is as long as one at which a panning \
                    picture begins to strobe (joshuanava.biz)";

pub(super) fn rest(stand: &Stand, sight: Option<&Sight>, found: &mut Vec<Finding>) {
    let Some(sight) = sight else {
        return;
    };
    let levels = stand.levels.iter().enumerate();
    let swings: Vec<(Carrier, Swing)> = levels
        .filter_map(|(at, level)| Some((Carrier::Level(LevelId(at)), level.swing?)))
        .chain(stand.lens.swing.map(|swing| (Carrier::Camera, swing)))
        .collect();
    for &(of, swing) in &swings {
        carrier(stand, sight, of, swing, found);
    }
    if stand.axes.iter().any(|axis| axis.way != Way::Focus) {
        unmeasured(stand, &swings, found);
    }
}

/// Names what moves and has not been measured; the camera always, which every move shakes.
fn unmeasured(stand: &Stand, swings: &[(Carrier, Swing)], found: &mut Vec<Finding>) {
    let moved = |of| {
        let mut axes = stand.axes.iter();
        of == Carrier::Camera || axes.any(|axis| axis.of == of && axis.way != Way::Focus)
    };
    let levels = (0..stand.levels.len()).map(|level| Carrier::Level(LevelId(level)));
    let names: Vec<&str> = levels
        .chain([Carrier::Camera])
        .filter(|&of| moved(of) && !swings.iter().any(|&(measured, _)| measured == of))
        .map(|of| match of {
            Carrier::Camera => "the camera",
            Carrier::Level(_) => stand.carrier_name(of),
        })
        .collect();
    let Some((last, others)) = names.split_last() else {
        return;
    };
    let listed = if others.is_empty() {
        (*last).to_owned()
    } else {
        format!("{} and {last}", others.join(", "))
    };
    let settle = stand.shutter.settle.as_secs_f64();
    found.push(
        Finding::new(
            Severity::WorthKnowing,
            About::Shutter,
            Aspect::Settle,
            format!(
                "nobody has measured how {listed} swing{}: whether a `settle` of {} s is long enough is not \
                 known there",
                if others.is_empty() { "s" } else { "" },
                short(settle)
            ),
        )
        .value(format!("{} s", short(settle)))
        .number("settle", settle, "s")
        .advice(
            "knock on every carriage, let `panestep measure decay` tell frequency and damping, and \
             write swing = { frequency = ..., damping = ... } into its [[level]]; the camera's under \
             [lens]",
        ),
    );
}

/// What a carriage may do after its axis has moved by so much, in pixels.
struct After<'a> {
    id: AxisId,
    axis: &'a Axis,
    move_by: f64,
    pixels: f64,
    /// The same after the whole way of the travel.
    whole_pixels: f64,
}

fn worst<'a>(stand: &'a Stand, sight: &Sight, of: Carrier, swing: Swing) -> Option<After<'a>> {
    let usual_px = f64::from(stand.lens.picture.columns) / Strobing::default().strobes_below;
    let axes = stand.axes.iter().enumerate();
    axes.filter(|(_, axis)| axis.of == of && axis.way != Way::Focus)
        .filter_map(|(place, axis)| {
            let (_, per_unit) = sight.moved_most(stand, of, axis.way)?;
            let span = axis.travel.1 - axis.travel.0;
            // What a motor leaves is bounded by how it moves, whatever the way.
            let move_by = match &axis.drive {
                Drive::Motor(_) => span,
                Drive::Hand { .. } => (usual_px / per_unit).min(span),
            };
            let pixels = greatest_swing(axis, swing, move_by) * per_unit;
            let whole_pixels = greatest_swing(axis, swing, span) * per_unit;
            (pixels.is_finite() && whole_pixels.is_finite()).then_some(After {
                id: AxisId(place),
                axis,
                move_by,
                pixels,
                whole_pixels,
            })
        })
        .max_by(|one, two| one.pixels.total_cmp(&two.pixels))
}

fn carrier(stand: &Stand, sight: &Sight, of: Carrier, swing: Swing, found: &mut Vec<Finding>) {
    let about = match of {
        Carrier::Level(level) => About::Level(level),
        Carrier::Camera => About::Lens,
    };
    let settle = stand.shutter.settle.as_secs_f64();
    let Some(after) = worst(stand, sight, of, swing) else {
        found.push(
            Finding::new(
                Severity::WorthKnowing,
                about,
                Aspect::Settle,
                format!(
                    "no axis moves {}: how far others make it swing, and whether a `settle` of {} s is long \
                     enough for it, cannot be told from its `swing`",
                    match of {
                        Carrier::Camera => "the camera",
                        Carrier::Level(_) => stand.carrier_name(of),
                    },
                    short(settle)
                ),
            )
            .number("frequency", swing.frequency_hz, "Hz")
            .number("damping", swing.damping, "")
            .number("settle", settle, "s")
            .advice("photograph one pose twice after long moves, and compare the pictures at full size"),
        );
        return;
    };
    let needed_after = |pixels| settle_time(swing.frequency_hz, swing.damping, pixels, LEFT_PX);
    let needed = needed_after(after.pixels);
    let needed_whole = needed_after(after.whole_pixels);
    let rate = swing.damping * TAU * swing.frequency_hz;
    let left = (after.pixels * (-rate * settle).exp()
        / (1.0 - swing.damping * swing.damping).sqrt())
    .min(after.pixels);
    let enough = needed <= settle;
    let by_hand = matches!(after.axis.drive, Drive::Hand { .. });
    let unit = after.axis.way.unit().sign();
    let name = axis_name(stand, after.id);
    let (asked, source) = if by_hand {
        (
            format!(
                "after {name} is cranked by {} {unit}, {} s of rest are needed until it swings by less than \
                 {LEFT_PX} px (it may begin with {} px); after a longer way more, {} s after the whole \
                 travel",
                short(after.move_by),
                short(needed),
                short(after.pixels),
                short(needed_whole)
            ),
            HAND,
        )
    } else {
        (
            format!(
                "after any move of {name}, {} s of rest are needed at most until it swings by less than \
                 {LEFT_PX} px (it begins with {} px at most)",
                short(needed),
                short(after.pixels)
            ),
            MOTOR,
        )
    };
    let raise = format!(
        "raise `settle` to {} s, {}stiffen the carriage",
        short((needed.max(needed_whole) * 100.0).ceil() / 100.0),
        if by_hand { "or " } else { "lower `jerk`, or " }
    );
    found.push(
        Finding::new(
            match left {
                _ if enough && needed_whole <= settle => Severity::Fine,
                _ if enough || left < 0.5 => Severity::WorthKnowing,
                _ => Severity::Warning,
            },
            about,
            Aspect::Settle,
            format!(
                "{asked}; `settle` is {} s{}",
                short(settle),
                if enough {
                    String::new()
                } else {
                    format!(", when up to {} px are left", short(left))
                }
            ),
        )
        .value(format!("{} s", short(needed)))
        .number("frequency", swing.frequency_hz, "Hz")
        .number("damping", swing.damping, "")
        .number("move", after.move_by, unit)
        .number("swing", after.pixels, "px")
        .number("left at the exposure", left, "px")
        .number("settle needed", needed, "s")
        .number("settle needed after the whole travel", needed_whole, "s")
        .number("settle", settle, "s")
        .source(source)
        .unless_fine(if enough {
            format!("wait longer after a long way, such as back to the first frame; or {raise}")
        } else {
            raise
        }),
    );
}

/// The most that a carriage can swing after a move from rest to rest, in the axis's unit.
///
/// What is left of an undamped swing after a move is the move's acceleration as heard at the
/// swing's frequency `w`, over `w`. Integrated by parts once, twice, three times, that is never more
/// than the way, than twice the greatest speed by `w`, than four times the greatest acceleration by
/// `w²`, and than eight times the jerk by `w³` (the ways that speed, acceleration and jerk go up and
/// down in a move of seven parts). Damping only lessens it. By hand nothing but the way is known.
fn greatest_swing(axis: &Axis, swing: Swing, way: f64) -> f64 {
    let Drive::Motor(motor) = &axis.drive else {
        return way;
    };
    let w = TAU * swing.frequency_hz;
    way.min(2.0 * motor.speed / w)
        .min(4.0 * motor.acceleration / (w * w))
        .min(8.0 * motor.jerk / (w * w * w))
}
