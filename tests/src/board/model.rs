//! The stand at the pins, and what has been counted there. The emulation works it out by itself;
//! this only says what it is to be.

use std::collections::BTreeMap;
use std::time::Duration;

use panestep::schedule::{MotorAxis, Schedule};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::process::{BoardError, unhex};

/// A stand at the pins. What is not named stays as it is.
#[derive(Clone, Debug, Default, Serialize)]
#[serde(rename_all = "camelCase")]
pub struct StandModel {
    /// Axes, each by its number on the board.
    pub axes: Vec<Switch>,
    /// The camera.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub camera: Option<Camera>,
    /// Whether the stop circuit is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stop_open: Option<bool>,
}

/// Which end a home switch is at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum End {
    /// It trips at its place and below.
    Low,
    /// It trips at its place and above.
    High,
}

/// An axis, with its home switch. Places are in steps.
#[derive(Clone, Debug, Serialize)]
pub struct Switch {
    /// The axis's number on the board.
    pub axis: u8,
    /// Whether a step up needs the direction line low.
    pub reversed: bool,
    /// Which end the switch is at.
    pub end: End,
    /// Where it trips.
    pub trip: i64,
    /// How far off that place it closes again.
    pub hysteresis: u32,
    /// How it bounces when it trips or closes: times in nanoseconds for which it is in turn the
    /// other way and this way, before it stays.
    pub bounce: Vec<u64>,
    /// Where the carriage is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub position: Option<i64>,
}

/// A camera. Times are in nanoseconds.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Camera {
    /// From the closing of the release line until the shutter is open and the flash contact closes.
    pub delay: u64,
    /// How long the shutter is open.
    pub exposure: u64,
    /// How long the contact stays closed.
    pub contact: u64,
}

impl StandModel {
    /// The stand that a schedule is made for, on one board: every carriage `away` steps on the free
    /// side of its home switch, and a camera that keeps to the exposure's times.
    #[must_use]
    pub fn of(schedule: &Schedule, away: i64) -> Self {
        let delay = schedule.exposure.delay / 2;
        let exposure = schedule
            .exposure
            .window
            .saturating_sub(schedule.exposure.delay);
        Self {
            axes: schedule
                .motors
                .iter()
                .map(|motor| Switch::of(motor, away))
                .collect(),
            camera: Some(Camera {
                delay: nanos(delay),
                exposure: nanos(exposure),
                contact: nanos(exposure / 4),
            }),
            stop_open: Some(false),
        }
    }
}

impl Switch {
    /// The switch of a schedule's axis; the carriage is `away` steps on its free side.
    #[must_use]
    pub fn of(motor: &MotorAxis, away: i64) -> Self {
        let low = motor.switch < motor.travel.0;
        let trip = i64::from(motor.switch);
        Self {
            axis: motor.channel,
            reversed: motor.reversed,
            end: if low { End::Low } else { End::High },
            trip,
            hysteresis: 2,
            bounce: Vec::new(),
            position: Some(if low { trip + away } else { trip - away }),
        }
    }
}

fn nanos(time: Duration) -> u64 {
    u64::try_from(time.as_nanos()).unwrap_or(u64::MAX)
}

/// What has been counted at the pins since the start. Times are in emulated nanoseconds since then.
#[derive(Clone, Debug, Deserialize)]
pub struct Counters {
    /// The six axes.
    pub axes: Vec<AxisCounters>,
    /// Whether the board is on its port.
    pub ready: bool,
    /// Whether the drivers' enable line is on.
    pub drivers: bool,
    /// Whether the half-press line is closed.
    pub half: bool,
    /// How often it has been closed.
    pub half_presses: u32,
    /// Whether the release line is closed.
    pub release: bool,
    /// Whether the lamp burns.
    pub lamp: bool,
    /// Every closing of the release line.
    pub releases: Vec<Release>,
    /// Every exposure of the camera.
    pub exposures: Vec<Exposure>,
    /// Releases while the camera was busy.
    pub ignored: u32,
    /// Closings of the flash contact.
    pub contacts: u32,
    /// Ticks that were asked for.
    pub ticks: u64,
    /// Starts of the chip.
    pub starts: u32,
    /// Those at which the watchdog had not been fed.
    pub watchdogs: u32,
    /// Those that the program asked the watchdog for, as it does in a panic.
    pub forced: u32,
}

/// What has been counted of an axis.
#[derive(Clone, Debug, Deserialize)]
pub struct AxisCounters {
    /// Where the carriage is, in steps.
    pub position: i64,
    /// Pulses up.
    pub up: u64,
    /// Pulses down.
    pub down: u64,
    /// Whether its switch is tripped.
    pub tripped: bool,
    /// Steps that its carriage has gone beyond the place where its switch trips, at most.
    pub beyond: i64,
    /// Changes of its direction line.
    pub turns: u64,
    /// Shortest pulse.
    pub high: Option<f64>,
    /// Shortest time between two pulses.
    pub low: Option<f64>,
    /// Shortest time from a change of direction to a pulse.
    pub setup: Option<f64>,
    /// Shortest time from a pulse's beginning to a change of direction.
    pub hold: Option<f64>,
}

impl AxisCounters {
    /// Pulses up less those down.
    #[must_use]
    pub fn net(&self) -> i64 {
        self.up as i64 - self.down as i64
    }

    /// All pulses.
    #[must_use]
    pub fn all(&self) -> u64 {
        self.up + self.down
    }
}

/// A closing of the release line.
#[derive(Clone, Debug, Deserialize)]
pub struct Release {
    /// When it closed.
    pub closed: f64,
    /// When it opened again.
    pub opened: Option<f64>,
    /// Whether the half-press line was closed when it closed.
    pub half: bool,
}

/// An exposure of the camera.
#[derive(Clone, Debug, Deserialize)]
pub struct Exposure {
    /// When the shutter opened.
    pub opened: f64,
    /// When it closed.
    pub closed: Option<f64>,
    /// Where the carriages were, in steps.
    pub positions: Vec<i64>,
}

/// What must never be, and the emulator's own troubles.
#[derive(Clone, Debug, Default, Deserialize, PartialEq)]
pub struct Findings {
    /// What must never be: the first of them.
    #[serde(rename = "found")]
    pub violations: Vec<Violation>,
    /// What the emulator could not do, and traps of the program.
    pub troubles: Vec<String>,
    /// Bytes on the UART that found the board's queue full.
    pub overrun: u32,
}

/// Something that must never be.
#[derive(Clone, Debug, Deserialize, PartialEq)]
pub struct Violation {
    /// What.
    pub what: String,
    /// Of which axis; 255 where it is the camera's lines.
    pub axis: u8,
    /// When.
    pub at: f64,
    /// With what numbers: nanoseconds.
    pub numbers: BTreeMap<String, f64>,
}

/// A step pulse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    /// When it began, in emulated nanoseconds since the start.
    pub at: f64,
    /// The axis.
    pub axis: u8,
    /// Whether it is a step up.
    pub up: bool,
}

pub(super) fn pulses(answer: &Value) -> Result<Vec<Pulse>, BoardError> {
    let part = |name: &str| unhex(answer[name].as_str().unwrap_or_default());
    let times = part("times")?;
    let what = part("what")?;
    Ok(times
        .as_chunks::<8>()
        .0
        .iter()
        .zip(what)
        .map(|(time, what)| Pulse {
            at: f64::from_le_bytes(*time),
            axis: what & 7,
            up: what & 8 != 0,
        })
        .collect())
}

/// What the interrupts cost in some time. Numbers are cycles of 8 ns; those of taking an interrupt
/// and of returning from it are counted.
#[derive(Clone, Debug, Deserialize)]
pub struct Load {
    /// All cycles.
    pub cycles: f64,
    /// Those in which the core waited.
    pub idle: f64,
    /// Ticks that were asked for before the one before had been answered.
    pub overruns: u64,
    /// By the interrupt's number.
    pub handlers: BTreeMap<u8, Handler>,
}

/// What one interrupt cost.
#[derive(Clone, Debug, Deserialize)]
pub struct Handler {
    /// How often it ran.
    pub count: u64,
    /// Its cycles in all.
    pub cycles: f64,
    /// Those of its longest run.
    pub most: f64,
    /// Those of its shortest.
    pub least: f64,
    /// Longest time from a request until it ran.
    pub late: f64,
}

/// The interrupt that is the tick.
pub const TICK: u8 = 7;

impl Load {
    /// The tick's: mean cycles, and its share of all.
    #[must_use]
    pub fn tick(&self) -> Option<(f64, f64)> {
        let tick = self.handlers.get(&TICK)?;
        Some((tick.cycles / tick.count as f64, tick.cycles / self.cycles))
    }
}

impl Findings {
    /// Whether there is nothing.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.violations.is_empty() && self.troubles.is_empty() && self.overrun == 0
    }
}
