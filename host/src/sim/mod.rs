//! A stand behind the same byte stream as a real one, with a clock of its own.
//!
//! The firmware library runs for real; everything it touches is made up here, and shares no code
//! with it: [`SimulatedStand::count`] tells the pulses that arrived at the motors, and
//! [`SimulatedStand::violations`] the laws that the pins have broken, whatever the controller
//! believes.
//!
//! * `world`: what happens next, to boards and mechanics alike.
//! * `board`, `pins`: the firmware library, its ticks, its line to the host.
//! * `laws`: what the pins must not do.
//! * `mechanics`: motors and screws (`drive`), switches (`switch`), the camera (`camera`), people.
//! * [`fault`]: what can be made to go wrong. `onlook`: who sees all of it.
//! * [`pty`]: the same stand on pseudo-terminals, for any program to talk to.

mod agenda;
mod board;
mod camera;
mod drive;
pub mod fault;
mod handle;
mod laws;
mod mechanics;
mod onlook;
mod pins;
#[cfg(unix)]
pub mod pty;
mod random;
mod switch;
mod world;

use std::time::Duration;

use crate::stand::AxisId;

pub use camera::TakenExposure;
pub use fault::{CameraFault, CrankSlip, Damage, Fault, HostKilled, Stranger, SwitchFault, When};
pub use handle::{SimClock, SimPort, SimulatedStand};
pub use laws::{Law, StepCount, Violation};
pub use onlook::{Happening, Onlooker};
pub use random::Random;

/// How a simulated stand is built. `Options::default()` is a sound one.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// Everything that chance decides follows from it.
    pub seed: u64,
    /// Ticks a second of every board, at most 100 000.
    pub tick_rate: u32,
    /// How long bytes are under way at least, each way.
    pub latency: Duration,
    /// How much longer they can be.
    pub jitter: Duration,
    /// Bytes a second that a line carries.
    pub byte_rate: u32,
    /// From a reset until the board is up again.
    pub boot_time: Duration,
    /// How far back a switch opens again, axis units.
    pub hysteresis: f64,
    /// How long a switch's contact bounces at most.
    pub bounce: Duration,
    /// From the switches to the mechanical ends, axis units.
    pub overtravel: f64,
    /// Whether the boards have switches at the far ends too: as far beyond the travel as the home
    /// switches are at their own end.
    pub far_switches: bool,
    /// Axes whose motor is wired the wrong way round from the start.
    pub swapped_wires: Vec<AxisId>,
    /// Axes on which a step goes so many times as far as the stand file says.
    pub scales: Vec<(AxisId, f64)>,
    /// Axes with another slack than the stand file says, axis units.
    pub slacks: Vec<(AxisId, f64)>,
    /// Axes that sink to their lower end while their motors are off.
    pub runs_back: Vec<AxisId>,
    /// Whether the shutter is open for as long as the release is pressed, instead of for its own
    /// time.
    pub press_times: bool,
    /// Longest silence of the host after which a board has to begin to stop: the law's limit.
    pub silence: Duration,
    /// Boards that draw the same boot id at every start. No sound board does; it is here to prove
    /// that a test would notice.
    pub same_boot: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            seed: 1,
            tick_rate: 20_000,
            latency: Duration::from_micros(500),
            jitter: Duration::from_micros(500),
            byte_rate: 100_000,
            boot_time: Duration::from_millis(300),
            hysteresis: 0.2,
            bounce: Duration::from_micros(1500),
            overtravel: 10.0,
            far_switches: true,
            swapped_wires: Vec::new(),
            scales: Vec::new(),
            slacks: Vec::new(),
            runs_back: Vec::new(),
            press_times: false,
            silence: crate::link::session::SILENCE,
            same_boot: false,
        }
    }
}
