//! A board's refusals, halts and homing faults as sentences for the person at the stand. The
//! caller says what an axis is called: the link knows only its number.

use panestep_protocol::{Activity, AxisIndex, AxisMask, Halt, HomingFault, Refusal, Toward};

/// How to call an axis.
pub type Name<'a> = &'a dyn Fn(AxisIndex) -> String;

/// Why a request was refused.
#[must_use]
pub fn refusal(refusal: &Refusal, name: Name<'_>) -> String {
    match refusal {
        Refusal::OtherBoot(_) => "it has been reset in between".into(),
        Refusal::OtherSession(_) => "another program has begun to talk to it; only one can".into(),
        Refusal::Stale(id) => format!("the request is older than its last, number {}", id.0),
        Refusal::OtherSchema => "its messages have another shape than this program's".into(),
        Refusal::NoAxis(axis) => format!("it has no axis number {}", axis.0),
        Refusal::NotConfigured(axis) => format!("{} has not been set up", name(*axis)),
        Refusal::BadValue(axis) => format!(
            "a setting of {} is zero or beyond what the board can do",
            name(*axis)
        ),
        Refusal::TooFast(axis) => format!(
            "{} would need more than one step a tick; lower its speed or its microsteps",
            name(*axis)
        ),
        Refusal::TooLong => "the move would last longer than it can count".into(),
        Refusal::Busy(activity) => format!("it is still {}", self::activity(*activity, name)),
        Refusal::Halted(cause) => halt(*cause, name),
        Refusal::DriversOff => "the motor drivers are off".into(),
        Refusal::NotHomed(axes) => format!("not homed: {}", names(*axes, name)),
        Refusal::OutsideTravel(axis) => {
            format!("the target of {} lies outside its travel", name(*axis))
        }
        Refusal::NotThere { axis, at } => format!(
            "{} is not where this program believes it is, but at step {}",
            name(*axis),
            at.0
        ),
        Refusal::SwitchTripped(axis) => format!(
            "a switch of {} is tripped (or its wire is broken), and the move does not lead away from it",
            name(*axis)
        ),
        Refusal::NotSettled { wait } => {
            format!(
                "it has not been still for long enough: {} ticks are missing",
                wait.0
            )
        }
        Refusal::NoShot => "no take is open on it".into(),
        Refusal::BadTime => "a time is zero or longer than the board allows".into(),
        Refusal::Spent(token) => format!(
            "the permission for exposure {} (try {}) has been used up already",
            token.slot, token.attempt
        ),
    }
}

/// What a board is doing.
#[must_use]
pub fn activity(activity: Activity, name: Name<'_>) -> String {
    match activity {
        Activity::Idle => "idle".into(),
        Activity::Moving => "moving".into(),
        Activity::Homing(axis) => format!("homing {}", name(axis)),
        Activity::Stopping => "coming to a stop".into(),
        Activity::Exposing => "exposing".into(),
    }
}

/// Why a board has halted, and what to do.
#[must_use]
pub fn halt(halt: Halt, name: Name<'_>) -> String {
    match halt {
        Halt::Stop => "the stop circuit is or was open, by the button or by a broken wire: see that all is well, close it, then go on; every axis will be homed again".into(),
        Halt::Limit { axis, toward } => format!(
            "{} ran into the switch at its {} end (or the wire to that switch is broken)",
            name(axis),
            end(toward)
        ),
        Halt::Silence => "it heard nothing from this program while something moved, and came to a stop".into(),
        Halt::Asked => "it was asked to stop".into(),
    }
}

/// Why homing failed, and what to check.
#[must_use]
pub fn homing(fault: HomingFault) -> &'static str {
    match fault {
        HomingFault::NotFound => {
            "no home switch within the whole travel; check that the motor turns, that the switch and its wiring work, and that the stand file gives the right steps and lead"
        }
        HomingFault::NeverOpens => {
            "the home switch did not open on backing off; check for a broken wire or a switch that sticks"
        }
        HomingFault::OtherEnd => {
            "the switch at the other end came first: the motor runs the wrong way round; set `reversed` the other way, or swap one of its coils"
        }
        HomingFault::Interrupted => "stopped before the home switch was found",
    }
}

const fn end(toward: Toward) -> &'static str {
    match toward {
        Toward::Negative => "negative",
        Toward::Positive => "positive",
    }
}

fn names(axes: AxisMask, name: Name<'_>) -> String {
    let names: Vec<String> = (0..u8::MAX)
        .filter(|&axis| axes.contains(usize::from(axis)))
        .map(|axis| name(AxisIndex(axis)))
        .collect();
    names.join(", ")
}
