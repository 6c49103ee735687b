//! The Pico's image in an emulator, with a modelled stand at its pins.
//!
//! Node runs it (`tests/emulated`), in lock-step with this process: emulated time passes only while
//! something here waits for the board. A host's computing takes no emulated time, so that a run is
//! the same every time.
//!
//! * [`process`]: node, and the lines of JSON to and from it.
//! * [`model`]: the stand at the pins, and what has been counted there.
//! * [`port`]: the board as a [`Port`](panestep::link::Port) and a
//!   [`Clock`](panestep::link::Clock) of the link.
//! * [`Talk`]: what the host asks for, read along on its way to the board.
//! * [`terminal`]: the board on a pseudo-terminal, for a program in real time.

pub mod model;
pub mod port;
pub mod process;
mod tap;
pub mod terminal;

use std::cell::RefCell;
use std::path::PathBuf;
use std::rc::Rc;
use std::time::Duration;

use serde_json::{Value, json};

pub use model::{
    AxisCounters, Camera, Counters, End, Findings, Load, Pulse, StandModel, Switch, Violation,
};
pub use port::{Emulated, EmulatedClock, EmulatedPort};
pub use process::BoardError;
pub use tap::Talk;
pub use terminal::Terminal;

use process::Process;
use tap::Tap;

/// How the host is connected.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Line {
    /// USB serial. A reset takes the port away, and it comes back by itself.
    #[default]
    Usb,
    /// UART, at the speed that the board sets. The port stays.
    Uart,
}

/// How a board is started.
#[derive(Clone, Debug)]
pub struct Options {
    /// The image, a UF2 file.
    pub image: PathBuf,
    /// For everything that is random on a chip.
    pub seed: u32,
    /// How the host is connected.
    pub line: Line,
    /// What is at the pins.
    pub stand: StandModel,
}

/// Why a chip starts anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Restart {
    /// A reset: memory keeps its contents.
    Reset,
    /// A power cut: memory holds anything afterwards.
    Power,
}

/// When something at the pins is to happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// Now.
    Now,
    /// When an axis has taken so many pulses from now.
    After {
        /// The axis.
        axis: u8,
        /// How many.
        pulses: u32,
    },
    /// The same, and a time more: at another place of the tick.
    Later {
        /// The axis.
        axis: u8,
        /// How many.
        pulses: u32,
        /// How much later.
        by: Duration,
    },
}

impl When {
    fn put(self, mut command: Value) -> Value {
        let (axis, pulses, by) = match self {
            Self::Now => return command,
            Self::After { axis, pulses } => (axis, pulses, 0),
            Self::Later { axis, pulses, by } => (axis, pulses, by.subsec_nanos()),
        };
        command["axis"] = axis.into();
        command["pulses"] = pulses.into();
        command["by"] = by.into();
        command
    }
}

/// An emulated board. Clones are the same board.
///
/// What goes to the board is read along. Each exposure that the host asks for permits one closing of
/// each of the camera's lines, and one exposure; what is beyond that must never be.
///
/// What must never be at its pins fails the test that it is in: where something has been found that
/// nobody has asked for by [`Board::findings`], dropping the board panics.
#[derive(Clone, Debug)]
pub struct Board(Rc<RefCell<Inner>>);

#[derive(Debug)]
struct Inner {
    process: Process,
    line: Line,
    now: Duration,
    starts: u32,
    violations: u64,
    trouble: u64,
    /// How many of both the test has asked for.
    judged: u64,
    /// Bytes that came for the host and wait to be read.
    heard: Vec<u8>,
    tap: Tap,
}

impl Board {
    /// Starts node and the image in it, at emulated time zero, with power just switched on.
    ///
    /// # Errors
    /// What is missing and how to install it; an image that cannot be loaded.
    pub fn start(options: &Options) -> Result<Self, BoardError> {
        let mut inner = Inner {
            process: Process::start()?,
            line: options.line,
            now: Duration::ZERO,
            starts: 0,
            violations: 0,
            trouble: 0,
            judged: 0,
            heard: Vec::new(),
            tap: Tap::default(),
        };
        inner.ask(&json!({
            "do": "start",
            "image": options.image,
            "seed": options.seed,
            "link": match options.line { Line::Usb => "usb", Line::Uart => "uart" },
            "stand": options.stand,
        }))?;
        Ok(Self(Rc::new(RefCell::new(inner))))
    }

    /// Emulated time since the start.
    #[must_use]
    pub fn now(&self) -> Duration {
        self.0.borrow().now
    }

    /// Lets emulated time pass.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn pass(&self, time: Duration) -> Result<(), BoardError> {
        let mut inner = self.0.borrow_mut();
        let until = inner.now + time;
        while inner.now < until {
            inner.run(until, false)?;
        }
        Ok(())
    }

    /// Changes the stand at the pins.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn set(&self, stand: &StandModel) -> Result<(), BoardError> {
        let mut command = serde_json::to_value(stand).map_err(BoardError::Json)?;
        command["do"] = "stand".into();
        self.ask(&command).map(drop)
    }

    /// Opens or closes the stop circuit.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn stop(&self, open: bool, when: When) -> Result<(), BoardError> {
        self.ask(&when.put(json!({"do": "stop", "open": open})))
            .map(drop)
    }

    /// Holds an axis's switch tripped, closed, or (`None`) lets it go by the carriage again. While
    /// it is held tripped, any pulse of the axis from the tick on that sees it is a violation.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn force(&self, switch: u8, tripped: Option<bool>, when: When) -> Result<(), BoardError> {
        let command = json!({"do": "force", "switch": switch, "tripped": tripped});
        self.ask(&when.put(command)).map(drop)
    }

    /// From now on, these axes (bit per axis) must not take a pulse with their switch tripped, from
    /// the tick on that sees it: where none of them looks for it.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn strict(&self, axes: u8) -> Result<(), BoardError> {
        self.ask(&json!({"do": "strict", "axes": axes})).map(drop)
    }

    /// Starts the chip anew.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn restart(&self, how: Restart, when: When) -> Result<(), BoardError> {
        let why = match how {
            Restart::Reset => "reset",
            Restart::Power => "power",
        };
        self.ask(&when.put(json!({"do": "reset", "why": why})))
            .map(drop)
    }

    /// The core takes no interrupt any more: what comes of it is the watchdog's business.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn starve(&self) -> Result<(), BoardError> {
        self.ask(&json!({"do": "starve"})).map(drop)
    }

    /// The core takes no interrupt for a while: something holds it up.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn hold(&self, time: Duration, when: When) -> Result<(), BoardError> {
        let nanos = time.as_nanos() as u64;
        self.ask(&when.put(json!({"do": "hold", "nanos": nanos})))
            .map(drop)
    }

    /// What has been counted at the pins.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn counters(&self) -> Result<Counters, BoardError> {
        process::read(self.ask(&json!({"do": "counters"}))?)
    }

    /// What must never be and has been found so far, and what the emulator had to say. Where the
    /// test asks for it, it is the test that judges it: dropping the board takes no notice of it any more.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn findings(&self) -> Result<Findings, BoardError> {
        let findings = process::read(self.ask(&json!({"do": "findings"}))?)?;
        let mut inner = self.0.borrow_mut();
        inner.judged = inner.violations + inner.trouble;
        Ok(findings)
    }

    /// What has gone between host and board since the last time that this was asked.
    pub fn talk(&self) -> Talk {
        std::mem::take(&mut self.0.borrow_mut().tap.talk)
    }

    /// From now on the package's own interpreter does every instruction, or (`false`) this project's
    /// translation does again.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn plain(&self, on: bool) -> Result<(), BoardError> {
        self.ask(&json!({"do": "plain", "on": on})).map(drop)
    }

    /// Lets some time pass and looks at the core's registers, flags and time at every so many
    /// nanoseconds: a number for each look, and one for what is in RAM at the end.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn trace(&self, time: Duration, every: Duration) -> Result<(Vec<u32>, u32), BoardError> {
        let nanos = |time: Duration| u64::try_from(time.as_nanos()).unwrap_or(u64::MAX);
        let until = nanos(self.now() + time);
        let answer = self.ask(&json!({"do": "trace", "until": until, "every": nanos(every)}))?;
        Ok((
            process::read(answer["states"].clone())?,
            process::read(answer["memory"].clone())?,
        ))
    }

    /// Keeps every pulse from now on for [`Board::pulses`], or none.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn log(&self, on: bool) -> Result<(), BoardError> {
        self.ask(&json!({"do": "log", "on": on})).map(drop)
    }

    /// The pulses since the last reading, in their order.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn pulses(&self) -> Result<Vec<Pulse>, BoardError> {
        model::pulses(&self.ask(&json!({"do": "pulses"}))?)
    }

    /// Begins to measure the load anew.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn measure(&self) -> Result<(), BoardError> {
        self.ask(&json!({"do": "measure"})).map(drop)
    }

    /// The interrupts' load since the start, and since [`Board::measure`].
    ///
    /// # Errors
    /// The emulation's end.
    pub fn load(&self) -> Result<(Load, Option<Load>), BoardError> {
        let answer = self.ask(&json!({"do": "load"}))?;
        Ok((
            process::read(answer["all"].clone())?,
            process::read(answer["window"].clone())?,
        ))
    }

    /// Lets some time pass with every instruction done twice, by this project's translation and by
    /// the package's interpreter. Returns how many were compared, and the differences as text.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn doubt(&self, time: Duration) -> Result<(u64, Vec<String>), BoardError> {
        self.doubted("doubt", || self.pass(time))
    }

    /// Has whole blocks of the translation compared in what `act` does, each a few times. Returns how
    /// often, and the differences as text.
    ///
    /// # Errors
    /// The emulation's end.
    pub fn doubt_blocks(
        &self,
        act: impl FnOnce() -> Result<(), BoardError>,
    ) -> Result<(u64, Vec<String>), BoardError> {
        self.doubted("blocks", act)
    }

    fn doubted(
        &self,
        what: &str,
        act: impl FnOnce() -> Result<(), BoardError>,
    ) -> Result<(u64, Vec<String>), BoardError> {
        self.ask(&json!({"do": what, "on": true}))?;
        act()?;
        let answer = self.ask(&json!({"do": what, "on": false}))?;
        let differences: Vec<Value> = process::read(answer["differences"].clone())?;
        Ok((
            process::read(answer["compared"].clone())?,
            differences.iter().map(Value::to_string).collect(),
        ))
    }

    fn ask(&self, command: &Value) -> Result<Value, BoardError> {
        self.0.borrow_mut().ask(command)
    }
}

impl Inner {
    fn ask(&mut self, command: &Value) -> Result<Value, BoardError> {
        let answer = self.process.ask(command)?;
        self.now = Duration::from_nanos(process::read(answer["now"].clone())?);
        self.violations = process::read(answer["violations"].clone())?;
        self.trouble = process::read(answer["trouble"].clone())?;
        self.starts = process::read(answer["starts"].clone())?;
        Ok(answer)
    }

    /// Runs until a time; with `wake`, until bytes have come for the host.
    fn run(&mut self, until: Duration, wake: bool) -> Result<(), BoardError> {
        let until = u64::try_from(until.as_nanos()).unwrap_or(u64::MAX);
        let answer = self.ask(&json!({"do": "run", "until": until, "wake": wake}))?;
        let bytes = answer["bytes"].as_str().unwrap_or_default();
        if !bytes.is_empty() {
            self.tap.heard(self.now);
        }
        self.heard.extend(process::unhex(bytes)?);
        if self.trouble > 0 && self.now.as_nanos() < u128::from(until) && self.heard.is_empty() {
            // Node has given up: the emulated program ran into a trap.
            let findings: Findings = process::read(self.ask(&json!({"do": "findings"}))?)?;
            return Err(BoardError::Trouble(findings.troubles));
        }
        Ok(())
    }

    fn send(&mut self, bytes: &[u8]) -> Result<(), BoardError> {
        // Nothing else permits the board to touch the camera.
        let exposures = self.tap.sent(bytes, self.now);
        if exposures > 0 {
            self.permit(exposures)?;
        }
        self.ask(&json!({"do": "send", "bytes": process::hex(bytes)}))
            .map(drop)
    }

    fn permit(&mut self, exposures: u32) -> Result<(), BoardError> {
        self.ask(&json!({"do": "permit", "exposures": exposures}))
            .map(drop)
    }
}

impl Drop for Inner {
    fn drop(&mut self) {
        if self.violations + self.trouble <= self.judged || std::thread::panicking() {
            return;
        }
        let findings = self.process.ask(&json!({"do": "findings"}));
        panic!("at the emulated board's pins: {findings:#?}");
    }
}
