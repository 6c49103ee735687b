//! Swings: how long the stand has to rest before an exposure.

use std::f64::consts::TAU;

use super::{About, Aspect, Finding, Severity, Sight, short};
use crate::measure::decay::settle_time;
use crate::stand::{Axis, Carrier, Drive, LevelId, Stand, Swing, Way};

/// Part of a pixel that a swing may still have when the shutter opens.
const LEFT_PX: f64 = 0.05;

/// Pictures in which the largest reasonable move crosses the picture's width: faster, and it
/// strobes (0.1 in a frame on a field of 12 in: drawn-animation practice, joshuanava.biz, seen).
const PICTURES: f64 = 120.0;

const SOURCE: &str = "envelope of a damped swing, any textbook of vibrations; greatest swing after a \
                      move by its speed, acceleration and jerk: our own arithmetic; largest move 1/120 of \
                      the picture's width, where panning begins to strobe (joshuanava.biz)";

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
    if swings.is_empty() && stand.axes.iter().any(|axis| axis.way != Way::Focus) {
        found.push(
            Finding::new(
                Severity::WorthKnowing,
                About::Shutter,
                Aspect::Settle,
                "of rest before an exposure; nobody has measured whether that is enough",
            )
            .value(format!("{} s", short(stand.shutter.settle.as_secs_f64())))
            .number("settle", stand.shutter.settle.as_secs_f64(), "s")
            .source(SOURCE)
            .advice(
                "knock on every carriage, let `panestep measure decay` tell frequency and damping, and \
                 write swing = { frequency = ..., damping = ... } into its [[level]]; the camera's under \
                 [lens]",
            ),
        );
    }
}

fn carrier(stand: &Stand, sight: &Sight, of: Carrier, swing: Swing, found: &mut Vec<Finding>) {
    let about = match of {
        Carrier::Level(level) => About::Level(level),
        Carrier::Camera => About::Lens,
    };
    let moves = stand.axes.iter().filter(|axis| axis.of == of);
    let worst = moves
        .filter_map(|axis| {
            let (_, per_unit) = sight.moved_most(stand, of, axis.way)?;
            let span = axis.travel.1 - axis.travel.0;
            let largest = f64::from(stand.lens.picture.columns) / PICTURES / per_unit;
            let move_by = largest.min(span);
            let swings_px = greatest_swing(axis, swing, move_by) * per_unit;
            swings_px.is_finite().then_some((axis, move_by, swings_px))
        })
        .max_by(|(_, _, one), (_, _, two)| one.total_cmp(two));
    let Some((axis, move_by, pixels)) = worst else {
        return;
    };
    let needed = settle_time(swing.frequency_hz, swing.damping, pixels, LEFT_PX);
    let settle = stand.shutter.settle.as_secs_f64();
    let rate = swing.damping * TAU * swing.frequency_hz;
    let left = (pixels * (-rate * settle).exp() / (1.0 - swing.damping * swing.damping).sqrt())
        .min(pixels);
    let enough = needed <= settle;
    let unit = axis.way.unit().sign();
    found.push(
        Finding::new(
            match left {
                _ if enough => Severity::Fine,
                _ if left < 0.5 => Severity::WorthKnowing,
                _ => Severity::Warning,
            },
            about,
            Aspect::Settle,
            format!(
                "of rest needed at most after a move of {} {unit} {} (swing at most {} px, down to {} px); \
                 `settle` is {} s{}",
                short(move_by),
                axis.way.name(),
                short(pixels),
                LEFT_PX,
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
        .number("move", move_by, unit)
        .number("swing", pixels, "px")
        .number("left at the exposure", left, "px")
        .number("settle needed", needed, "s")
        .number("settle", settle, "s")
        .source(SOURCE)
        .unless_fine(format!(
            "raise `settle` to {} s, lower `jerk`, or stiffen the carriage",
            short((needed * 100.0).ceil() / 100.0)
        )),
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
    if axis.way == Way::Focus {
        return f64::NAN;
    }
    let w = TAU * swing.frequency_hz;
    way.min(2.0 * motor.speed / w)
        .min(4.0 * motor.acceleration / (w * w))
        .min(8.0 * motor.jerk / (w * w * w))
}
