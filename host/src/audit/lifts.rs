//! Lifts: what their screws take, and whether they hold their load without power.
//!
//! What a screw has to hold is asked with its least friction, what its motor has to turn with its
//! greatest: see [`crate::screw`].

use std::f64::consts::PI;

use super::{About, Aspect, Finding, PRACTICE, Severity, short};
use crate::screw::{Thread, collar_torque_nm};
use crate::stand::{Axis, AxisId, Carrier, Drive, LevelId, Motor, Screw, ScrewKind, Stand, Way};

/// Standard gravity, m/s² (the value of 1901, exact by definition).
const GRAVITY: f64 = 9.806_65;

/// Density of window glass, kg/m³ (EN 572-1; from memory).
const GLASS: f64 = 2500.0;

/// Part by which what one turn carries may differ from the lead and still be that thread's: screws
/// and measurements are better than that by far.
const SAME_LEAD: f64 = 0.02;

/// Part of the least friction that a thread may need to hold; beyond it, shaking decides.
const EDGE: f64 = 0.9;

/// Times the torque needed that are asked of a motor and a brake.
const RESERVE: f64 = 2.0;

const SCREW: &str = "Shigley, Mechanical Engineering Design, section 8-2, (8-1) to (8-6)";
const ROLLING: &str = "F l/(2π e): Shigley, Mechanical Engineering Design, section 8-2, (8-4)";
const TWICE: &str = "twice what is needed: common practice, no source";
const STANDS_UNDER: &str = "block it from below before anybody reaches under it";

pub(super) fn lifts(stand: &Stand, found: &mut Vec<Finding>) {
    for (place, axis) in stand.axes.iter().enumerate() {
        let (Way::Lift, Drive::Motor(motor)) = (axis.way, &axis.drive) else {
            continue;
        };
        let id = AxisId(place);
        match &motor.screw {
            None => unknown(stand, axis, id, found),
            Some(screw) => {
                lead(motor, screw, id, found);
                let torques = Torques::of(screw);
                raising(screw, &torques, id, found);
                holding(stand, axis, screw, &torques, id, found);
                motor_torque(screw, &torques, id, found);
                glass(stand, axis, screw, id, found);
            }
        }
    }
}

/// Torques at the screw, newton metres.
struct Torques {
    load_n: f64,
    /// To raise, with the greatest and the least friction; none where it jams.
    raise: Option<f64>,
    raise_at_least: Option<f64>,
    /// To lower, with the least friction; below zero where it runs back. Of the thread alone, and
    /// with its collar.
    thread_lower: f64,
    lower: f64,
    /// To lower with the greatest friction.
    lower_at_most: f64,
}

impl Torques {
    fn of(screw: &Screw) -> Self {
        let load_n = screw.load_kg * GRAVITY;
        match screw.kind {
            ScrewKind::Sliding {
                thread,
                friction: (least, greatest),
                collar_mm,
            } => {
                let collar = |friction| {
                    collar_mm.map_or(0.0, |diameter| collar_torque_nm(load_n, friction, diameter))
                };
                let raise =
                    |friction| Some(thread.raising_torque_nm(load_n, friction)? + collar(friction));
                let thread_lower = thread.lowering_torque_nm(load_n, least);
                Self {
                    load_n,
                    raise: raise(greatest),
                    raise_at_least: raise(least),
                    thread_lower,
                    lower: thread_lower + collar(least),
                    lower_at_most: thread.lowering_torque_nm(load_n, greatest) + collar(greatest),
                }
            }
            ScrewKind::Rolling {
                lead_mm,
                efficiency,
            } => {
                let free = load_n * lead_mm / 1000.0 / (2.0 * PI);
                Self {
                    load_n,
                    raise: Some(free / efficiency),
                    raise_at_least: Some(free / efficiency),
                    thread_lower: -free * efficiency,
                    lower: -free * efficiency,
                    lower_at_most: -free * efficiency,
                }
            }
        }
    }

    /// What has to hold the load where it runs back.
    fn to_hold(&self) -> f64 {
        (-self.thread_lower).max(0.0)
    }
}

fn source(screw: &Screw) -> &'static str {
    match screw.kind {
        ScrewKind::Sliding { .. } => SCREW,
        ScrewKind::Rolling { .. } => ROLLING,
    }
}

fn carried<'a>(stand: &'a Stand, axis: &Axis) -> &'a str {
    match axis.of {
        Carrier::Camera => "the camera",
        Carrier::Level(LevelId(level)) => &stand.levels[level].name,
    }
}

fn unknown(stand: &Stand, axis: &Axis, id: AxisId, found: &mut Vec<Finding>) {
    found.push(
        Finding::new(
            Severity::WorthKnowing,
            About::Axis(id),
            Aspect::Holding,
            format!(
                "the file does not say what screw carries {}, so that nobody knows whether it falls \
                 when the power goes",
                carried(stand, axis)
            ),
        )
        .source(SCREW)
        .advice(
            "write such as screw = { thread = \"Tr 10 x 2\", load = \"6.5 kg\" } into this [[axis]] \
             (or ball_screw = ..., belt = ...); until then take it that it falls",
        ),
    );
}

fn lead(motor: &Motor, screw: &Screw, id: AxisId, found: &mut Vec<Finding>) {
    let per_turn = motor.per_turn();
    let expected = screw.kind.lead_mm() / screw.gear;
    let off = per_turn / expected - 1.0;
    let same = off.abs() <= SAME_LEAD;
    found.push(
        Finding::new(
            if same {
                Severity::Fine
            } else {
                Severity::Warning
            },
            About::Axis(id),
            Aspect::Lead,
            if same {
                "a turn of the motor by `per_turn`, as the screw's lead says".to_owned()
            } else {
                format!(
                    "a turn of the motor by `per_turn`, but the screw's lead of {} mm and its gear give \
                     {} mm: every distance would be wrong by {} %",
                    short(screw.kind.lead_mm()),
                    short(expected),
                    short((off * 100.0).abs())
                )
            },
        )
        .value(format!("{} mm", short(per_turn)))
        .number("per turn", per_turn, "mm")
        .number("lead", screw.kind.lead_mm(), "mm")
        .number("by the lead", expected, "mm")
        .source("lead = pitch x starts: Shigley, Mechanical Engineering Design, section 8-1")
        .unless_fine(
            "count starts and teeth again; the lead is what one turn of the screw carries; measure it \
             with `panestep measure axis`",
        ),
    );
}

fn raising(screw: &Screw, torques: &Torques, id: AxisId, found: &mut Vec<Finding>) {
    let Some(raise) = torques.raise else {
        found.push(
            Finding::new(
                Severity::Forbids,
                About::Axis(id),
                Aspect::Raising,
                "the screw jams: so much friction on so steep a thread that no torque raises anything",
            )
            .number("load", screw.load_kg, "kg")
            .source(SCREW)
            .advice("check `thread` and `friction`; take a finer lead"),
        );
        return;
    };
    let efficiency = torques.load_n * screw.kind.lead_mm() / 1000.0 / (2.0 * PI * raise);
    let how = match screw.kind {
        ScrewKind::Sliding {
            friction: (_, greatest),
            ..
        } => format!("at friction {}, the greatest", short(greatest)),
        ScrewKind::Rolling { .. } => "without slack and seals".to_owned(),
    };
    found.push(
        Finding::new(
            Severity::Fine,
            About::Axis(id),
            Aspect::Raising,
            format!(
                "to raise {} kg, {how}; efficiency {} %",
                short(screw.load_kg),
                short(efficiency * 100.0)
            ),
        )
        .value(format!("{} N m", short(raise)))
        .number("load", screw.load_kg, "kg")
        .number("weight", torques.load_n, "N")
        .number("raising torque", raise, "N m")
        .number("efficiency", efficiency, "")
        .source(source(screw)),
    );
}

fn holding(
    stand: &Stand,
    axis: &Axis,
    screw: &Screw,
    torques: &Torques,
    id: AxisId,
    found: &mut Vec<Finding>,
) {
    let name = carried(stand, axis);
    let to_hold = torques.to_hold();
    let finding = |severity, says: String| {
        let mut finding = Finding::new(severity, About::Axis(id), Aspect::Holding, says)
            .number("lowering torque", torques.lower, "N m")
            .number("lowering torque of the thread", torques.thread_lower, "N m")
            .number("holding torque", to_hold, "N m")
            .source(source(screw));
        if let ScrewKind::Sliding {
            thread,
            friction: (least, _),
            ..
        } = screw.kind
        {
            finding = finding
                .number("lead angle", thread.lead_angle_deg(), "deg")
                .number(
                    "least friction that holds",
                    thread.least_holding_friction(),
                    "",
                )
                .number("least friction", least, "");
        }
        finding
    };
    let holds = match screw.kind {
        ScrewKind::Sliding {
            thread,
            friction: (least, _),
            ..
        } => thread.holds(least).then_some((thread, least)),
        ScrewKind::Rolling { .. } => None,
    };
    if let Some((thread, least)) = holds {
        found.push(holds_by_itself(&finding, &thread, least));
        return;
    }
    if let Some(brake) = screw.brake_torque_nm
        && brake >= to_hold
    {
        let sure = brake >= RESERVE * to_hold;
        found.push(
            finding(
                if sure {
                    Severity::Fine
                } else {
                    Severity::WorthKnowing
                },
                format!(
                    "of the brake hold {name} without power, against {} N m by which it would run back",
                    short(to_hold)
                ),
            )
            .value(format!("{} N m", short(brake)))
            .number("brake", brake, "N m")
            .unless_fine("a brake of twice what it has to hold is asked for (common practice, no source)"),
        );
        return;
    }
    let what = match screw.kind {
        ScrewKind::Rolling { .. } => {
            format!("{name} FALLS when the power goes: this always runs back")
        }
        ScrewKind::Sliding { collar_mm, .. } => {
            if torques.lower > 0.0 && collar_mm.is_some() {
                format!(
                    "{name} CAN FALL when the power goes: its thread runs back, nothing but the friction of \
                     its collar holds it"
                )
            } else if torques.lower_at_most > 0.0 {
                format!(
                    "{name} CAN FALL when the power goes: greased and shaken, its screw runs back"
                )
            } else {
                format!("{name} FALLS when the power goes: its screw is too steep to hold")
            }
        }
    };
    let brake = screw.brake_torque_nm.map_or(String::new(), |brake| {
        format!("; the brake's {} N m are not enough", short(brake))
    });
    found.push(
        finding(
            Severity::Warning,
            format!(
                "{what}; so much torque at the screw has to hold {} kg{brake}",
                short(screw.load_kg)
            ),
        )
        .value(format!("{} N m", short(to_hold)))
        .advice(format!(
            "{STANDS_UNDER}; fit a brake of {} N m at the screw that closes without power (and write it \
             as `brake`), a counterweight, or a screw of finer lead",
            short(RESERVE * to_hold)
        )),
    );
}

fn holds_by_itself(
    finding: &impl Fn(Severity, String) -> Finding,
    thread: &Thread,
    least: f64,
) -> Finding {
    let needed = thread.least_holding_friction();
    let sure = needed <= EDGE * least;
    finding(
        if sure {
            Severity::Fine
        } else {
            Severity::WorthKnowing
        },
        format!(
            "is the friction above which the screw holds its load without power; it has {} at least{}",
            short(least),
            if sure { "" } else { ", which is little more" }
        ),
    )
    .value(short(needed))
    .unless_fine(format!(
        "shaking lowers friction: try it, loaded and blocked from below, with the power off; {STANDS_UNDER}"
    ))
}

fn motor_torque(screw: &Screw, torques: &Torques, id: AxisId, found: &mut Vec<Finding>) {
    let (Some(motor), Some(raise)) = (screw.motor_torque_nm, torques.raise) else {
        return;
    };
    let needed = raise / screw.gear;
    let at_least = torques.raise_at_least.unwrap_or(raise) / screw.gear;
    let times = motor / needed;
    let (severity, says) = if motor < at_least {
        (
            Severity::Forbids,
            "the motor cannot raise its load even with the least friction",
        )
    } else if times < 1.0 {
        (
            Severity::Warning,
            "the motor cannot raise its load with the greatest friction",
        )
    } else if times < RESERVE {
        (
            Severity::WorthKnowing,
            "the torque needed is in the motor's holding torque, with little reserve",
        )
    } else {
        (
            Severity::Fine,
            "the torque needed to raise is in the motor's holding torque",
        )
    };
    found.push(
        Finding::new(
            severity,
            About::Axis(id),
            Aspect::MotorTorque,
            format!(
                "{says}: {} N m against {} N m at the motor; it has less when it turns",
                short(motor),
                short(needed)
            ),
        )
        .value(format!("{} times", short(times)))
        .number("motor's holding torque", motor, "N m")
        .number("needed at the motor", needed, "N m")
        .number("reserve", times, "")
        .source(TWICE)
        .unless_fine("take a stronger motor, a finer lead, a gear or a counterweight"),
    );
}

/// The load against what the level's own glass weighs.
fn glass(stand: &Stand, axis: &Axis, screw: &Screw, id: AxisId, found: &mut Vec<Finding>) {
    let Carrier::Level(LevelId(level)) = axis.of else {
        return;
    };
    let pane = &stand.levels[level].pane;
    let glass = pane.width_mm * pane.height_mm * pane.thickness_mm * 1e-9 * GLASS;
    let light = screw.load_kg < glass;
    found.push(
        Finding::new(
            if light {
                Severity::WorthKnowing
            } else {
                Severity::Fine
            },
            About::Axis(id),
            Aspect::Load,
            format!(
                "the pane alone weighs, {} the load of {} kg",
                if light { "more than" } else { "within" },
                short(screw.load_kg)
            ),
        )
        .value(format!("{} kg", short(glass)))
        .number("pane", glass, "kg")
        .number("load", screw.load_kg, "kg")
        .source(if light {
            PRACTICE
        } else {
            "2500 kg/m³, window glass (EN 572-1)"
        })
        .unless_fine(
            "`load` is all that this motor lifts: pane, carriage, clamps, cables; less a counterweight",
        ),
    );
}
