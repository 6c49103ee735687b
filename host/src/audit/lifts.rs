//! Lifts: what their screws take, and whether they hold their load without power.
//!
//! What a screw has to hold is asked with its least friction, what its motor has to turn with its
//! greatest: see [`crate::screw`].

use std::f64::consts::PI;

use super::{About, Aspect, Finding, Severity, axis_name, short};
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
const TWICE: &str = "holding torque against the torque that raises, at rest: what a gear loses and what \
                     speeding up takes are left out; twice what is needed: common practice, no source";
const STANDS_UNDER: &str = "block it from below before anybody reaches under it";

pub(super) fn lifts(stand: &Stand, found: &mut Vec<Finding>) {
    for (place, axis) in stand.axes.iter().enumerate() {
        if axis.way != Way::Lift {
            continue;
        }
        let lift = Lift {
            stand,
            axis,
            id: AxisId(place),
        };
        let Some(screw) = axis.drive.screw() else {
            unknown(&lift, found);
            continue;
        };
        let torques = Torques::of(screw);
        if let Drive::Motor(motor) = &axis.drive {
            lead(&lift, motor, screw, found);
        }
        raising(&lift, screw, &torques, found);
        holding(&lift, screw, &torques, found);
        motor_torque(&lift, screw, &torques, found);
        glass(&lift, screw, found);
    }
}

/// An axis that lifts.
struct Lift<'a> {
    stand: &'a Stand,
    axis: &'a Axis,
    id: AxisId,
}

impl Lift<'_> {
    /// What it carries.
    fn carried(&self) -> &str {
        match self.axis.of {
            Carrier::Camera => "the camera",
            Carrier::Level(LevelId(level)) => &self.stand.levels[level].name,
        }
    }

    fn name(&self) -> String {
        axis_name(self.stand, self.id)
    }

    fn about(&self) -> About {
        About::Axis(self.id)
    }

    /// When it is the screw alone that holds, and what is missing then.
    fn let_go(&self) -> (&'static str, &'static str) {
        match self.axis.drive {
            Drive::Motor(_) => ("when the power goes", "power"),
            Drive::Hand { .. } => ("when the hand lets go", "a hand"),
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

fn unknown(lift: &Lift<'_>, found: &mut Vec<Finding>) {
    found.push(
        Finding::new(
            Severity::Warning,
            lift.about(),
            Aspect::Holding,
            format!(
                "NOBODY KNOWS whether {} falls {}: the file does not say what screw carries it",
                lift.carried(),
                lift.let_go().0
            ),
        )
        .source(SCREW)
        .advice(
            "write such as screw = { thread = \"Tr 10 x 2\", load = \"6.5 kg\" } into this [[axis]] \
             (or ball_screw = ..., belt = ...); until then take it that it falls",
        ),
    );
}

fn lead(lift: &Lift<'_>, motor: &Motor, screw: &Screw, found: &mut Vec<Finding>) {
    let name = lift.name();
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
            lift.about(),
            Aspect::Lead,
            if same {
                format!(
                    "a turn of the motor of {name} carries it {} mm by `per_turn`, as the screw's lead says",
                    short(per_turn)
                )
            } else {
                format!(
                    "a turn of the motor of {name} carries it {} mm by `per_turn`, but the screw's lead of \
                     {} mm and its gear give {} mm: every distance would be wrong by {} %",
                    short(per_turn),
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
        .source("lead = pitch x starts: Shigley, Mechanical Engineering Design, section 8-1 (from \
                 memory)")
        .unless_fine(
            "count starts and teeth again; the lead is what one turn of the screw carries; measure it \
             with `panestep measure axis`",
        ),
    );
}

fn raising(lift: &Lift<'_>, screw: &Screw, torques: &Torques, found: &mut Vec<Finding>) {
    let Some(raise) = torques.raise else {
        found.push(
            Finding::new(
                Severity::Forbids,
                lift.about(),
                Aspect::Raising,
                format!(
                    "the screw of {} jams: so much friction on so steep a thread that no torque raises \
                     anything",
                    lift.name()
                ),
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
            lift.about(),
            Aspect::Raising,
            format!(
                "{} N m at the screw of {} raise its {} kg, {how}; efficiency {} %",
                short(raise),
                lift.name(),
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

fn holding(lift: &Lift<'_>, screw: &Screw, torques: &Torques, found: &mut Vec<Finding>) {
    let name = lift.carried();
    let (when, without) = lift.let_go();
    let to_hold = torques.to_hold();
    let finding = |severity, says: String| {
        let mut finding = Finding::new(severity, lift.about(), Aspect::Holding, says)
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
        found.push(holds_by_itself(lift, &finding, &thread, least));
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
                    "the brake's {} N m hold {name} without {without}, against {} N m by which it would run \
                     back",
                    short(brake),
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
            format!("{name} FALLS {when}: a ball screw or a belt always runs back")
        }
        ScrewKind::Sliding { collar_mm, .. } => {
            if torques.lower > 0.0 && collar_mm.is_some() {
                format!(
                    "{name} CAN FALL {when}: its thread runs back, nothing but the friction of \
                     its collar holds it"
                )
            } else if torques.lower_at_most > 0.0 {
                format!("{name} CAN FALL {when}: greased and shaken, its screw runs back")
            } else {
                format!("{name} FALLS {when}: its screw is too steep to hold")
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
                "{what}; it takes {} N m at the screw to hold {} kg{brake}",
                short(to_hold),
                short(screw.load_kg)
            ),
        )
        .value(format!("{} N m", short(to_hold)))
        .advice(format!(
            "{STANDS_UNDER}; fit a brake of {} N m at the screw that closes without {without} (and write it \
             as `brake`), a counterweight, or a screw of finer lead",
            short(RESERVE * to_hold)
        )),
    );
}

fn holds_by_itself(
    lift: &Lift<'_>,
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
            "the screw of {} holds its load without {} above a friction of {}; it has {} at least{}",
            lift.name(),
            lift.let_go().1,
            short(needed),
            short(least),
            if sure { "" } else { ", which is little more" }
        ),
    )
    .value(short(needed))
    .unless_fine(format!(
        "shaking lowers friction: try it, loaded and blocked from below, without {}; {STANDS_UNDER}",
        lift.let_go().1
    ))
}

fn motor_torque(lift: &Lift<'_>, screw: &Screw, torques: &Torques, found: &mut Vec<Finding>) {
    let name = lift.name();
    let (Some(motor), Some(raise)) = (screw.motor_torque_nm, torques.raise) else {
        return;
    };
    let needed = raise / screw.gear;
    let at_least = torques.raise_at_least.unwrap_or(raise) / screw.gear;
    let times = motor / needed;
    let (severity, says) = if motor < at_least {
        (
            Severity::Forbids,
            "cannot raise its load even with the least friction",
        )
    } else if times < 1.0 {
        (
            Severity::Warning,
            "cannot raise its load with the greatest friction",
        )
    } else if times < RESERVE {
        (
            Severity::WorthKnowing,
            "can raise its load, with little reserve",
        )
    } else {
        (Severity::Fine, "can raise its load")
    };
    found.push(
        Finding::new(
            severity,
            lift.about(),
            Aspect::MotorTorque,
            format!(
                "the motor of {name} {says}: it holds {} N m at rest, {} N m are needed; it has less when it \
                 turns",
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
fn glass(lift: &Lift<'_>, screw: &Screw, found: &mut Vec<Finding>) {
    let Carrier::Level(LevelId(level)) = lift.axis.of else {
        return;
    };
    let pane = &lift.stand.levels[level].pane;
    let glass = pane.width_mm * pane.height_mm * pane.thickness_mm * 1e-9 * GLASS;
    let light = screw.load_kg < glass;
    found.push(
        Finding::new(
            if light {
                Severity::WorthKnowing
            } else {
                Severity::Fine
            },
            lift.about(),
            Aspect::Load,
            format!(
                "the pane of {} alone weighs {} kg, {} the load of {} kg",
                lift.carried(),
                short(glass),
                if light { "more than" } else { "within" },
                short(screw.load_kg)
            ),
        )
        .value(format!("{} kg", short(glass)))
        .number("pane", glass, "kg")
        .number("load", screw.load_kg, "kg")
        .source("2500 kg/m³, window glass (EN 572-1, from memory)")
        .unless_fine(
            "`load` is all that this motor or crank lifts: pane, carriage, clamps, cables; less a counterweight",
        ),
    );
}
