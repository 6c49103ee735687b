//! What a lift's motor or crank turns and what hangs on it: a screw, a ball screw or a belt.

use super::reader::{At, Table};
use crate::screw::Thread;
use crate::stand::{AxisUnit, Screw, ScrewKind};
use crate::units::Millimetres;

const MM: AxisUnit = AxisUnit::Millimetre;

/// Friction of nut on screw where the file says nothing: greased steel on bronze or plastic (from
/// memory; the hardware notes reckon with the same).
const FRICTION: (f64, f64) = (0.08, 0.20);

/// Part of the work put in that a ball screw or a belt gives back where the file says nothing (a
/// usual value; from memory).
const EFFICIENCY: f64 = 0.9;

/// Part of a trapezoidal thread's diameter that its pitch never exceeds: the coarsest of ISO 2904
/// is 8 on 22 (from memory). More is a lead that was taken for the pitch.
const COARSEST: f64 = 0.4;

/// Coarse pitches of metric threads by their outer diameters, mm: what a rod that is sold as "M 8"
/// has (ISO 261; from memory).
const COARSE: [(f64, f64); 17] = [
    (3.0, 0.5),
    (3.5, 0.6),
    (4.0, 0.7),
    (5.0, 0.8),
    (6.0, 1.0),
    (8.0, 1.25),
    (10.0, 1.5),
    (12.0, 1.75),
    (14.0, 2.0),
    (16.0, 2.0),
    (18.0, 2.5),
    (20.0, 2.5),
    (22.0, 2.5),
    (24.0, 3.0),
    (27.0, 3.0),
    (30.0, 3.5),
    (36.0, 4.0),
];

/// The screw of an axis, where there is one; `None` where what is written is nothing of the kind.
pub(super) fn screw(axis: &Table<'_>, lifts: bool, has_motor: bool) -> Option<Option<Screw>> {
    let kinds = ["screw", "ball_screw", "belt"];
    let mut there = kinds.into_iter().filter(|key| axis.has(key));
    let Some(key) = there.next() else {
        return Some(None);
    };
    if let Some(second) = there.next() {
        axis.note(
            axis.place_of(second),
            "the second of them",
            format!("the axis has both `{key}` and `{second}`, but only one of them is turned"),
            "take one of them out",
        );
        return None;
    }
    let table = axis.table(key)?;
    if !lifts {
        axis.note(
            axis.place_of(key),
            "nothing hangs on this axis",
            format!("`{key}` is written at an axis that is no lift"),
            "it is about what a lift carries: take it out here",
        );
    }
    let kind = match key {
        "screw" => sliding(&table),
        "ball_screw" => rolling(&table, "lead"),
        _ => rolling(&table, "turn"),
    };
    let load = table.mass("load");
    let gear = if table.has("gear") {
        table.number("gear", 0.0, 1000.0).map(|at| at.value)
    } else {
        Some(1.0)
    };
    let torque = |key| {
        if table.has(key) {
            table.torque(key).map(|at| Some(at.value))
        } else {
            Some(None)
        }
    };
    let (motor_torque, brake) = (torque("motor_torque"), torque("brake"));
    if !has_motor && table.has("motor_torque") {
        table.note(
            table.place_of("motor_torque"),
            "no motor",
            "`motor_torque` is written at an axis that is moved by hand",
            "it is a motor's holding torque: take it out here",
        );
    }
    Some(Some(Screw {
        kind: kind?,
        load_kg: load?.value,
        gear: gear?,
        motor_torque_nm: motor_torque?,
        brake_torque_nm: brake?,
    }))
}

fn rolling(table: &Table<'_>, lead: &'static str) -> Option<ScrewKind> {
    let lead = table.size(lead, MM);
    let efficiency = if table.has("efficiency") {
        table.number("efficiency", 0.0, 1.0).map(|at| at.value)
    } else {
        Some(EFFICIENCY)
    };
    Some(ScrewKind::Rolling {
        lead_mm: lead?.value,
        efficiency: efficiency?,
    })
}

fn sliding(table: &Table<'_>) -> Option<ScrewKind> {
    let thread = if table.has("thread") {
        by_name(table)
    } else {
        by_sizes(table)
    };
    let friction = friction(table);
    let collar = if table.has("collar") {
        table.size("collar", MM).map(|at| Some(at.value))
    } else {
        Some(None)
    };
    Some(ScrewKind::Sliding {
        thread: thread?,
        friction: friction?,
        collar_mm: collar?,
    })
}

fn friction(table: &Table<'_>) -> Option<(f64, f64)> {
    if !table.has("friction") {
        return Some(FRICTION);
    }
    let [least, greatest] = table.pair("friction")?;
    let least = table.as_number(least, "friction", 0.0, 1.0);
    let greatest = table.as_number(greatest, "friction", 0.0, 1.0);
    let (least, greatest) = (least?, greatest?);
    if least.value > greatest.value {
        table.note(
            least.span.start..greatest.span.end,
            "the wrong way round",
            format!(
                "`friction` goes from {} down to {}",
                least.value, greatest.value
            ),
            "write the least friction first, then the greatest",
        );
        return None;
    }
    Some((least.value, greatest.value))
}

/// A thread by its mean diameter, its lead and the angle between its flanks.
fn by_sizes(table: &Table<'_>) -> Option<Thread> {
    if !table.has("mean_diameter") && !table.has("lead") {
        table.note(
            table.span(),
            "no thread in here",
            "the screw does not say what thread it has",
            "write thread = \"Tr 10 x 2\", or mean_diameter = ..., lead = ..., thread_angle = ...",
        );
        return None;
    }
    let diameter = table.size("mean_diameter", MM);
    let lead = table.size("lead", MM);
    let angle = if table.has("thread_angle") {
        table.place("thread_angle", AxisUnit::Degree)
    } else {
        // A square thread.
        Some(At {
            value: 0.0,
            span: table.span(),
        })
    };
    let (diameter, lead, angle) = (diameter?, lead?, angle?);
    let thread = Thread::new(diameter.value, lead.value, angle.value / 2.0);
    if thread.is_none() {
        table.note(
            angle.span,
            "no angle of a thread",
            format!(
                "`thread_angle` is {} deg, but from 0 to below 180 deg is wanted",
                angle.value
            ),
            "it is the angle between the two flanks: 0 deg for a square thread, 29 deg or 30 deg \
             for a trapezoidal one, 60 deg for threaded rod",
        );
    }
    thread
}

/// A thread by its name, such as "Tr 10 x 2 LH", "Tr 8 x 8 (P 2)", "M 8 x 1" or "M 8".
fn by_name(table: &Table<'_>) -> Option<Thread> {
    let name = table.text_at("thread")?;
    let starts = if table.has("starts") {
        Some(table.whole("starts", 1, 16)?)
    } else {
        None
    };
    let Some(designation) = Designation::parse(name.value) else {
        table.note(
            name.span,
            "no thread known here",
            format!(
                "`thread` is `{}`, which is no thread known here",
                name.value
            ),
            "write \"Tr 10 x 2\" (diameter x pitch, mm; LH behind it for left-hand), \
             \"Tr 8 x 8 (P 2)\" for several starts (diameter x lead, pitch), or \"M 8 x 1\"; \"M 8\" \
             alone has its coarse pitch, from M 3 to M 36; any other thread by mean_diameter, lead and \
             thread_angle",
        );
        return None;
    };
    let Designation {
        trapezoidal,
        diameter_mm,
        second_mm,
        pitch_mm,
    } = designation;
    // Without a pitch of its own the second number is the pitch.
    let pitch = pitch_mm.unwrap_or(second_mm);
    let whole = (second_mm / pitch).round();
    let named = pitch_mm.map(|_| whole);
    let fits = (second_mm - whole * pitch).abs() < 1e-6 && (1.0..=16.0).contains(&whole);
    let agree = match (named, &starts) {
        (Some(named), Some(starts)) => named == f64::from(starts.value),
        _ => true,
    };
    let count = named.unwrap_or(starts.as_ref().map_or(1.0, |at| f64::from(at.value)));
    if !fits || !agree {
        table.note(
            starts.map_or(name.span, |at| at.span),
            "does not go with the rest",
            format!(
                "`{}` has a lead of {} and a pitch of {}, which is not that number of starts",
                name.value,
                Millimetres(second_mm),
                Millimetres(pitch)
            ),
            "the lead is the pitch times the number of starts",
        );
        return None;
    }
    if trapezoidal && pitch > COARSEST * diameter_mm {
        table.note(
            name.span,
            "too coarse to be its pitch",
            format!(
                "`{}` would have a pitch of {} on {}, which no trapezoidal thread has",
                name.value,
                Millimetres(pitch),
                Millimetres(diameter_mm)
            ),
            format!(
                "if {} is what one turn carries, the thread has several starts: write the pitch too, \
                 such as \"Tr 8 x 8 (P 2)\"",
                Millimetres(second_mm)
            ),
        );
        return None;
    }
    if !trapezoidal && count > 1.0 {
        table.note(
            name.span,
            "several starts",
            format!("`{}` is threaded rod, which has one start", name.value),
            "write any other thread by mean_diameter, lead and thread_angle",
        );
        return None;
    }
    let thread = if trapezoidal {
        Thread::trapezoidal(diameter_mm, pitch, count as u8)
    } else {
        Thread::metric(diameter_mm, pitch)
    };
    if thread.is_none() {
        table.note(
            name.span,
            "leaves no screw",
            format!("the thread `{}` leaves nothing of its screw", name.value),
            "check diameter and pitch",
        );
    }
    thread
}

/// A thread's name, taken apart.
struct Designation {
    trapezoidal: bool,
    diameter_mm: f64,
    /// Pitch, or lead where a pitch comes behind it.
    second_mm: f64,
    pitch_mm: Option<f64>,
}

impl Designation {
    fn parse(name: &str) -> Option<Self> {
        let plain: String = name
            .to_lowercase()
            .replace('\u{d7}', "x")
            .replace(',', ".")
            .chars()
            .filter(|c| !c.is_whitespace() && !matches!(c, '(' | ')'))
            .collect();
        let (trapezoidal, sizes) = match plain.strip_prefix("tr") {
            Some(sizes) => (true, sizes),
            None => (false, plain.strip_prefix('m')?),
        };
        // A left-hand thread holds and lifts like a right-hand one.
        let sizes = sizes.strip_suffix("lh").unwrap_or(sizes);
        let size = |text: &str| {
            let digits = text.bytes().all(|b| b.is_ascii_digit() || b == b'.');
            let value: f64 = text.parse().ok().filter(|_| digits)?;
            (value > 0.0 && value < 10_000.0).then_some(value)
        };
        let Some((diameter, rest)) = sizes.split_once('x') else {
            let diameter_mm = size(sizes).filter(|_| !trapezoidal)?;
            let mut coarse = COARSE.iter().filter(|(of, _)| *of == diameter_mm);
            return Some(Self {
                trapezoidal,
                diameter_mm,
                second_mm: coarse.next()?.1,
                pitch_mm: None,
            });
        };
        let (second, pitch) = match rest.split_once('p') {
            Some((second, pitch)) => (second, Some(pitch)),
            None => (rest, None),
        };
        Some(Self {
            trapezoidal,
            diameter_mm: size(diameter)?,
            second_mm: size(second)?,
            pitch_mm: match pitch {
                Some(pitch) => Some(size(pitch)?),
                None => None,
            },
        })
    }
}
