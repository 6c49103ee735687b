//! The pin table: which line sits on which pin. Here and nowhere else; the hardware notes quote it,
//! and a test compares them.
//!
//! Step, direction and switch pins each lie side by side, in the order of the axes, so that one
//! access to a port serves all of them.

/// Axes that the board drives.
pub const AXES: u8 = 6;

/// What a pin is at the start, and stays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wiring {
    /// Output, low at the start.
    Low,
    /// Output, high at the start.
    High,
    /// Input with a pull-up.
    PulledUp,
    /// Output of the state machine that makes the pulses, low at the start.
    Pulses,
    /// Output of the UART.
    UartOut,
    /// Input of the UART, with a pull-up.
    UartIn,
}

/// One line, or one for each axis side by side.
#[derive(Clone, Copy, Debug)]
pub struct Line {
    /// What it is called in the hardware notes.
    #[allow(dead_code, reason = "for the test that compares the notes")]
    pub name: &'static str,
    /// Its first pin, as in "GP2".
    pub first: u8,
    /// How many pins it has: one, or one for each axis.
    pub count: u8,
    /// What it is.
    pub wiring: Wiring,
}

impl Line {
    const fn new(name: &'static str, first: u8, count: u8, wiring: Wiring) -> Self {
        Self {
            name,
            first,
            count,
            wiring,
        }
    }

    /// Its pins, in a port's word.
    pub const fn mask(&self) -> u32 {
        ((1 << self.count) - 1) << self.first
    }
}

/// UART to the host, out.
pub const UART_OUT: Line = Line::new("UART out", 0, 1, Wiring::UartOut);
/// UART to the host, in.
pub const UART_IN: Line = Line::new("UART in", 1, 1, Wiring::UartIn);
/// Step outputs, active high.
pub const STEP: Line = Line::new("step", 2, AXES, Wiring::Pulses);
/// Direction outputs.
pub const DIRECTION: Line = Line::new("direction", 8, AXES, Wiring::Low);
/// Home switches, normally closed to ground: high is tripped.
pub const HOME: Line = Line::new("home switch", 14, AXES, Wiring::PulledUp);
/// The drivers' common enable: low is on.
pub const ENABLE: Line = Line::new("enable", 20, 1, Wiring::High);
/// Stop circuit, normally closed to ground: high is a stop.
pub const STOP: Line = Line::new("stop", 21, 1, Wiring::PulledUp);
/// Half-press output, active high.
pub const HALF_PRESS: Line = Line::new("half-press", 22, 1, Wiring::Low);
/// The Pico's own lamp: burns while the motor drivers are on.
pub const LED: Line = Line::new("the Pico's LED", 25, 1, Wiring::Low);
/// Release output, active high.
pub const RELEASE: Line = Line::new("release", 26, 1, Wiring::Low);
/// Flash contact, closing to ground: low is closed.
pub const CONTACT: Line = Line::new("flash contact", 27, 1, Wiring::PulledUp);
/// Lamp output, active high.
pub const LAMP: Line = Line::new("lamp", 28, 1, Wiring::Low);

/// All of them, by their pins.
pub const TABLE: [Line; 12] = [
    UART_OUT, UART_IN, STEP, DIRECTION, HOME, ENABLE, STOP, HALF_PRESS, LED, RELEASE, CONTACT, LAMP,
];

// No pin is used twice.
const _: () = {
    let mut taken = 0;
    let mut at = 0;
    while at < TABLE.len() {
        let mask = TABLE[at].mask();
        assert!(taken & mask == 0);
        taken |= mask;
        at += 1;
    }
};
