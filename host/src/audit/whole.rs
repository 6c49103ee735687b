//! What concerns several things: channels, boards, lamps, the exposure, levels that could touch.

use super::{About, Aspect, FILE, Finding, PRACTICE, Severity, axis_name, short};
use crate::plan::clearance::{self, LiftMove, Lifts, Touch};
use crate::plan::{self, Fault};
use crate::schedule::Schedule;
use crate::stand::{
    AxisId, BoardId, Carrier, Drive, LampSwitch, LevelId, Motor, PortName, Release, Stand, Way,
};

const GLASS: &str = "heights, thicknesses and travels of the stand file";

pub(super) fn whole(stand: &Stand, found: &mut Vec<Finding>) {
    channels(stand, found);
    let schedule = match plan::standing(stand) {
        Ok(schedule) => Some(schedule),
        Err(refusals) => {
            for refusal in refusals.list() {
                // A speed that no board can send is found with its axis.
                if !matches!(refusal.fault, Fault::StepRate { .. }) {
                    found.push(
                        Finding::new(
                            Severity::Forbids,
                            About::Stand,
                            Aspect::Plan,
                            refusal.fault.to_string(),
                        )
                        .advice(refusal.fault.advice()),
                    );
                }
            }
            None
        }
    };
    let at_rest = clearance::at_rest(stand);
    for touch in &at_rest {
        found.push(
            touching(
                Severity::Forbids,
                Aspect::TouchAtRest,
                touch,
                "with every lift at its zero",
            )
            .advice("check the heights and thicknesses, and the order of the levels in the file"),
        );
    }
    let way_home = match &schedule {
        Some(schedule) if on_the_way_home(stand, schedule, found) => WayHome::Touches,
        Some(_) => WayHome::Clear,
        None => WayHome::Unknown,
    };
    within_travel(stand, &at_rest, way_home, found);
}

/// What is known of the lifts' way to their home switches.
#[derive(Clone, Copy, PartialEq, Eq)]
enum WayHome {
    Clear,
    Touches,
    /// Without a schedule there is no order in which they go.
    Unknown,
}

/// Two that come too near each other; `when` begins the sentence.
fn touching(severity: Severity, aspect: Aspect, touch: &Touch, when: &str) -> Finding {
    Finding::new(
        severity,
        About::Stand,
        aspect,
        match (&touch.upper, &touch.lower) {
            (upper, lower) if touch.gap_mm < 0.0 => format!(
                "{when}, {upper} and {lower} would overlap by {} mm",
                short(-touch.gap_mm)
            ),
            (upper, lower) if touch.gap_mm == 0.0 => {
                format!("{when}, {upper} and {lower} would touch")
            }
            (upper, lower) => format!(
                "{when}, only {} mm would be left between {upper} and {lower}, where {} mm have to stay \
                 free",
                short(touch.gap_mm),
                short(touch.clearance_mm)
            ),
        },
    )
    .value(format!("{} mm", short(touch.gap_mm)))
    .number("gap", touch.gap_mm, "mm")
    .number("clearance", touch.clearance_mm, "mm")
    .source(GLASS)
}

/// Two motors on one channel, two lamps on one output.
fn channels(stand: &Stand, found: &mut Vec<Finding>) {
    let motors: Vec<(usize, &Motor)> = stand
        .axes
        .iter()
        .enumerate()
        .filter_map(|(at, axis)| match &axis.drive {
            Drive::Motor(motor) => Some((at, motor)),
            Drive::Hand { .. } => None,
        })
        .collect();
    for (place, (at, motor)) in motors.iter().enumerate() {
        let shared = motors[..place]
            .iter()
            .find(|(_, other)| (other.board, other.channel) == (motor.board, motor.channel));
        if let Some((other, _)) = shared {
            found.push(
                Finding::new(
                    Severity::Forbids,
                    About::Axis(AxisId(*at)),
                    Aspect::SharedChannel,
                    format!(
                        "channel {} drives both {} and {}, which would move at once",
                        motor.channel,
                        axis_name(stand, AxisId(*other)),
                        axis_name(stand, AxisId(*at))
                    ),
                )
                .value(motor.channel.to_string())
                .number("channel", f64::from(motor.channel), "")
                .advice("give every motor a channel of its own"),
            );
        }
    }
    for (place, lamp) in stand.lamps.iter().enumerate() {
        let LampSwitch::Board { output, .. } = lamp.switched else {
            continue;
        };
        let shared = stand.lamps[..place]
            .iter()
            .find(|other| other.switched == lamp.switched);
        if let Some(other) = shared {
            found.push(
                Finding::new(
                    Severity::Forbids,
                    About::Lamp(place),
                    Aspect::SharedLamp,
                    format!(
                        "output {output} switches both {} and {}, which would burn at once",
                        other.name, lamp.name
                    ),
                )
                .value(output.to_string())
                .number("output", f64::from(output), "")
                .advice("give every lamp an output of its own"),
            );
        }
    }
}

/// Lifts go to their home switches one after another. Says whether any two touch, or could.
fn on_the_way_home(stand: &Stand, schedule: &Schedule, found: &mut Vec<Finding>) -> bool {
    // The schedule's motors are the stand's, in the same order.
    let axes: Vec<usize> = (0..stand.axes.len())
        .filter(|&at| matches!(stand.axes[at].drive, Drive::Motor(_)))
        .collect();
    let mut from_zero = Lifts::of(stand);
    from_zero.know(Carrier::Camera, 0.0);
    for level in 0..stand.levels.len() {
        from_zero.know(Carrier::Level(LevelId(level)), 0.0);
    }
    let mut from_anywhere = Lifts::of(stand);
    let mut touches = false;
    for place in schedule.home_order() {
        let Some(axis) = axes.get(place).map(|&at| &stand.axes[at]) else {
            continue;
        };
        let Drive::Motor(motor) = &axis.drive else {
            continue;
        };
        let switch = motor.home.switch;
        let name = stand.carrier_name(axis.of);
        let way = |from_mm: f64| LiftMove {
            of: axis.of,
            from_mm,
            to_mm: switch,
            least_mm: from_mm.min(switch),
        };
        let far_end = if switch < axis.travel.0 {
            axis.travel.1
        } else {
            axis.travel.0
        };
        let certain = clearance::clear(stand, &way(0.0), &from_zero).err();
        let possible = clearance::doubt(stand, &way(far_end), &from_anywhere);
        if let Some(touch) = certain {
            found.push(
                touching(
                    Severity::Forbids,
                    Aspect::TouchGoingHome,
                    &touch,
                    &format!(
                        "when {name} goes from zero to its home switch at {} mm",
                        short(switch)
                    ),
                )
                .number("switch", switch, "mm")
                .advice("move the home switch, or put it at the other end of the travel"),
            );
            touches = true;
        } else if let Some(touch) = possible {
            found.push(
                touching(
                    Severity::Warning,
                    Aspect::TouchGoingHome,
                    &touch,
                    &format!(
                        "when {name} goes to its home switch at {} mm while the other one stands where \
                         its travel brings it nearest",
                        short(switch)
                    ),
                )
                .number("switch", switch, "mm")
                .advice(
                    "after a power cut nobody knows where they are: look before homing, or put both home \
                     switches at the same end",
                ),
            );
            touches = true;
        }
        from_zero.know(axis.of, switch);
        from_anywhere.know(axis.of, switch);
    }
    touches
}

fn within_travel(stand: &Stand, at_rest: &[Touch], way_home: WayHome, found: &mut Vec<Finding>) {
    let touches = clearance::within_travel(stand);
    match way_home {
        WayHome::Clear if touches.is_empty() && stand.levels.len() > 1 => found.push(
            Finding::new(
                Severity::Fine,
                About::Stand,
                Aspect::TouchWithinTravel,
                "wherever the lifts stand, and on their way to their home switches, no level comes too \
                 near another or the lens",
            )
            .source(GLASS),
        ),
        WayHome::Unknown => found.push(
            Finding::new(
                Severity::WorthKnowing,
                About::Stand,
                Aspect::TouchGoingHome,
                "whether levels touch on the way to their home switches has not been looked at: no moves \
                 can be planned for this stand as it is",
            )
            .source(GLASS)
            .advice("mend what forbids shooting, and check again"),
        ),
        WayHome::Clear | WayHome::Touches => {}
    }
    for (touch, upper_mm, lower_mm) in &touches {
        if at_rest.iter().any(|other| other.lower == touch.lower) {
            continue;
        }
        found.push(
            touching(
                if touch.gap_mm < 0.0 {
                    Severity::Warning
                } else {
                    Severity::WorthKnowing
                },
                Aspect::TouchWithinTravel,
                touch,
                &format!(
                    "where their travels bring them nearest (lifts of {} and {} mm)",
                    short(*upper_mm),
                    short(*lower_mm)
                ),
            )
            .number("upper lift", *upper_mm, "mm")
            .number("lower lift", *lower_mm, "mm")
            .advice(
                "a plan refuses such a frame, and jog such a move; nothing else keeps them apart: set hard \
                 stops if they can be turned by hand",
            ),
        );
    }
}

fn board_name(stand: &Stand, BoardId(board): BoardId) -> String {
    let known = stand.boards.get(board);
    known.map_or_else(
        || "a board that is not there".to_owned(),
        |board| format!("board {}", board.name),
    )
}

/// Boards, lamps and the exposure.
pub(super) fn boards(stand: &Stand, found: &mut Vec<Finding>) {
    for (place, board) in stand.boards.iter().enumerate() {
        let id = BoardId(place);
        let motors = stand
            .axes
            .iter()
            .filter(|axis| matches!(&axis.drive, Drive::Motor(motor) if motor.board == id))
            .count();
        let lamps = stand
            .lamps
            .iter()
            .filter(|lamp| matches!(lamp.switched, LampSwitch::Board { board, .. } if board == id))
            .count();
        let fires = matches!(stand.shutter.release, Release::Board { board, .. } if board == id);
        let used = motors > 0 || lamps > 0 || fires;
        found.push(
            Finding::new(
                if used {
                    Severity::Fine
                } else {
                    Severity::WorthKnowing
                },
                About::Board(id),
                Aspect::Board,
                if used {
                    format!(
                        "board {} drives {motors} motor{}, {lamps} lamp{}{}",
                        board.name,
                        if motors == 1 { "" } else { "s" },
                        if lamps == 1 { "" } else { "s" },
                        if fires {
                            ", and the camera's release"
                        } else {
                            ""
                        }
                    )
                } else {
                    format!("board {} drives nothing", board.name)
                },
            )
            .value(motors.to_string())
            .number("motors", motors as f64, "")
            .number("lamps", lamps as f64, "")
            .unless_fine("nothing in this file uses the board: take it out, or give it something"),
        );
        if motors > 0 && board.stop_tested.is_none() && board.port != PortName::Simulated {
            found.push(
                Finding::new(
                    Severity::Warning,
                    About::Board(id),
                    Aspect::StopTest,
                    format!(
                        "nobody has seen yet that the stop stops what board {} moves; nothing is homed \
                         before",
                        board.name
                    ),
                )
                .source(PRACTICE)
                .advice("`panestep power-up` goes through it with you, and writes `stop_tested`"),
            );
        }
    }
    for (place, lamp) in stand.lamps.iter().enumerate() {
        let warm_up = lamp.warm_up.as_secs_f64();
        found.push(
            Finding::new(
                Severity::Fine,
                About::Lamp(place),
                Aspect::Lamp,
                format!(
                    "lamp {} takes {} s to warm up; {} switches it",
                    lamp.name,
                    short(warm_up),
                    match lamp.switched {
                        LampSwitch::Board { board, output } =>
                            format!("output {output} of {}", board_name(stand, board)),
                        LampSwitch::Hand => "a person".to_owned(),
                    }
                ),
            )
            .value(format!("{} s", short(warm_up)))
            .number("warm-up", warm_up, "s"),
        );
        if let LampSwitch::Board { board, output } = lamp.switched
            && output > 0
        {
            found.push(
                Finding::new(
                    Severity::Warning,
                    About::Lamp(place),
                    Aspect::LampOutput,
                    format!(
                        "lamp {} hangs on output {output} of {}, but a Pico with Panestep's image has output 0 \
                         alone: it drops any other without a word, the lamp would never burn, and every \
                         exposure made for it would be dark",
                        lamp.name,
                        board_name(stand, board)
                    ),
                )
                .number("output", f64::from(output), "")
                .source("the Pico image's pins (hardware notes)")
                .advice(
                    "put the lamp on output 0, give it a board of its own, or write by_hand = true; with \
                     another board, switch it once and look at it before the take",
                ),
            );
        }
    }
    exposure(stand, found);
}

fn exposure(stand: &Stand, found: &mut Vec<Finding>) {
    let (proven, says) = match &stand.shutter.release {
        Release::Board {
            flash_contact: true,
            ..
        } => (
            true,
            "every exposure is proven by the camera's flash contact",
        ),
        _ if stand.arrival.is_some() => (true, "every exposure is proven by its picture's arrival"),
        Release::Board { .. } => (
            false,
            "the board closes the release, but nothing proves that the camera exposed",
        ),
        Release::Command { .. } => (
            true,
            "every exposure is proven by its command's ending with exit code 0",
        ),
        Release::Hand => (true, "a person says of every exposure that it was made"),
    };
    found.push(
        Finding::new(
            if proven {
                Severity::Fine
            } else {
                Severity::WorthKnowing
            },
            About::Shutter,
            Aspect::Proof,
            says,
        )
        .unless_fine(
            "wire the flash contact and write flash_contact = true, or let [pictures] watch the folder \
             that they arrive in",
        ),
    );
    let any_motor = stand
        .axes
        .iter()
        .any(|axis| matches!(axis.drive, Drive::Motor(_)) && axis.way != Way::Focus);
    if any_motor {
        let every = stand.home_check;
        found.push(
            Finding::new(
                if every == 0 {
                    Severity::WorthKnowing
                } else {
                    Severity::Fine
                },
                About::Shutter,
                Aspect::HomeCheck,
                if every == 0 {
                    "the home switches are looked for at the end of a take only: a lost step costs all \
                     of it".to_owned()
                } else {
                    format!(
                        "the home switches are looked for again after {every} exposures (each pass of a \
                         frame is one): a lost step costs so many at most"
                    )
                },
            )
            .value(if every == 0 {
                String::new()
            } else {
                every.to_string()
            })
            .number("exposures", f64::from(every), "")
            .source(FILE)
            .unless_fine("write [home_check] with every = 40 or so"),
        );
    }
}
