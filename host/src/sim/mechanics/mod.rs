//! Everything on the stand that is not a board: motors, screws, carriages, switches, the stop
//! button, the camera, the people at the cranks. It knows pins, never messages, and holds the
//! laws that no controller may break.

mod people;
mod pulse;

use std::collections::VecDeque;
use std::time::Duration;

use panestep_protocol::{MAX_AXES, Mark as KeptMark};

use crate::sim::Options;
use crate::sim::agenda::{Agenda, CameraEvent, End, Event, Mark, Trace};
use crate::sim::camera::Camera;
use crate::sim::drive::{Drive, WINDOW};
use crate::sim::fault::{CrankSlip, Fault};
use crate::sim::laws::{DIRECTION_SETUP, Law, STOP_MARGIN, Violation};
use crate::sim::onlook::{Happening, Onlooker};
use crate::sim::random::Random;
use crate::sim::switch::{Side, Switch};
use crate::stand::{self, AxisId, BoardId, Stand};

/// How far a carriage sinks in one go when its motor lets go, axis units, and how often.
const SINK: f64 = 0.05;
const SINK_EVERY: u64 = 2_000_000;

/// What carries an axis.
enum Body {
    Motor {
        drive: Box<Drive>,
        board: usize,
        /// Whether the stand file says that positive steps need the line low.
        reversed: bool,
    },
    Hand(f64),
}

/// One board's lines as the stand sees them.
#[derive(Default)]
pub(super) struct Lines {
    /// Axis on each channel.
    pub(super) wiring: [Option<usize>; MAX_AXES],
    pub(super) directions: u8,
    pub(super) drivers: bool,
    pub(super) half_press: bool,
    pub(super) release: bool,
    pub(super) lamps: u8,
    /// Channels whose home and far switches read as tripped.
    pub(super) home: u8,
    pub(super) far: u8,
    /// The mark that survives a reset.
    pub(super) kept: Option<KeptMark>,
    /// When the release line closed.
    release_closed: u64,
    /// A switch that tripped on an axis that was moving, and when.
    limit: Option<(u64, usize)>,
    /// When bytes reached the board last.
    pub(super) heard: u64,
    /// An input has changed since the board last looked.
    pub(super) changed: bool,
}

/// The world without its boards.
pub(super) struct Mechanics {
    pub(super) now: u64,
    pub(super) agenda: Agenda,
    pub(super) trace: Trace,
    pub(super) random: Random,
    pub(super) lines: Vec<Lines>,
    pub(super) camera: Camera,
    pub(super) violations: Vec<Violation>,
    pub(super) stop: bool,
    /// Times that the release line has closed.
    pub(super) releases: u32,
    pub(super) slips: VecDeque<CrankSlip>,
    /// Whether the motors have their supply.
    pub(super) motor_power: bool,
    pub(super) onlooker: Option<Onlooker>,
    /// What the onlooker wants to strike now.
    pub(super) asked: Vec<Fault>,
    silence: u64,
    longest_press: u64,
    stand: Stand,
    bodies: Vec<Body>,
    /// The board whose release line fires the camera.
    camera_board: Option<usize>,
    settle: u64,
    bounce: u64,
    tick: u64,
    stopped_at: u64,
    last_motion: u64,
    sinking: bool,
}

/// Switch on the far side of an axis, as far beyond the travel as the home switch is on its own.
fn far_place(axis: &stand::Axis, home: f64) -> (f64, Side, Side) {
    let (least, greatest) = axis.travel;
    if home <= (least + greatest) / 2.0 {
        (greatest + (least - home), Side::High, Side::Low)
    } else {
        (least - (home - greatest), Side::Low, Side::High)
    }
}

/// Upper bound of the time in which an axis comes to rest, ns: from its greatest speed, whichever
/// shape its ramp has, and in the midst of speeding up, which has to end first.
fn stop_time(motor: &stand::Motor) -> u64 {
    let ramp = motor.speed / motor.acceleration + 2.0 * motor.acceleration / motor.jerk;
    let time = ramp.max(3.0 * (motor.speed / motor.jerk).sqrt());
    (time * 1e9) as u64 + STOP_MARGIN
}

impl Mechanics {
    pub(super) fn new(stand: &Stand, options: &Options, mut random: Random) -> Self {
        let tick = 1_000_000_000 / u64::from(options.tick_rate);
        let mut lines: Vec<Lines> = stand
            .boards
            .iter()
            .map(|_| Lines {
                // What nothing is connected to reads as an open circuit.
                home: u8::MAX,
                ..Lines::default()
            })
            .collect();
        let mut bodies = Vec::with_capacity(stand.axes.len());
        for (index, axis) in stand.axes.iter().enumerate() {
            let id = AxisId(index);
            let motor = match &axis.drive {
                stand::Drive::Hand { .. } => {
                    bodies.push(Body::Hand(0.0));
                    continue;
                }
                stand::Drive::Motor(motor) => motor,
            };
            let (least, greatest) = axis.travel;
            let span = greatest - least;
            let start = random.between(least + 0.1 * span, greatest - 0.1 * span);
            let (far, far_side, home_side) = far_place(axis, motor.home.switch);
            let (low, high) = (motor.home.switch.min(far), motor.home.switch.max(far));
            let known = |truths: &[(AxisId, f64)]| {
                truths
                    .iter()
                    .find(|truth| truth.0 == id)
                    .map(|truth| truth.1)
            };
            let backlash = known(&options.slacks).unwrap_or(axis.backlash);
            // Whole steps of the screw need not fall on the axis's zero.
            let drive = Drive {
                steps_per_unit: motor.steps_per_unit / known(&options.scales).unwrap_or(1.0),
                positive_when_high: motor.reversed == options.swapped_wires.contains(&id),
                backlash,
                ends: (low - options.overtravel, high + options.overtravel),
                home: Switch::new(motor.home.switch, home_side, options.hysteresis, start),
                far: options
                    .far_switches
                    .then(|| Switch::new(far, far_side, options.hysteresis, start)),
                runs_back: options.runs_back.contains(&id),
                origin: start - random.fraction() * backlash,
                turned: 0,
                carriage: start,
                line_high: false,
                pulses: [0; 2],
                lost: 0,
                to_lose: 0,
                chance: 0.0,
                dead: false,
                running_since: 0,
                stop_time: stop_time(motor),
                stop_steps: (motor.speed * stop_time(motor) as f64 / 1e9 * motor.steps_per_unit)
                    .ceil() as u32,
                tripped_since: [None; 2],
                into_home: 0,
                last_pulse: None,
                last_turn: None,
                history: [0; WINDOW],
                oldest: 0,
                // Pulses fall on ticks: one may be early by a tick against another.
                least_span: ((WINDOW as f64 * 1e9 / (motor.speed * motor.steps_per_unit)) as u64)
                    .saturating_sub(tick + tick / 100),
            };
            let line = &mut lines[motor.board.0];
            line.wiring[usize::from(motor.channel)] = Some(index);
            bodies.push(Body::Motor {
                drive: Box::new(drive),
                board: motor.board.0,
                reversed: motor.reversed,
            });
        }
        let mut mechanics = Self {
            now: 0,
            agenda: Agenda::default(),
            trace: Trace::default(),
            random,
            lines,
            camera: Camera::new(&stand.shutter, options.press_times),
            violations: Vec::new(),
            stop: false,
            releases: 0,
            slips: VecDeque::new(),
            motor_power: true,
            onlooker: None,
            asked: Vec::new(),
            silence: options.silence.as_nanos() as u64,
            longest_press: match stand.shutter.release {
                stand::Release::Board { press, .. } => press.as_nanos() as u64,
                stand::Release::Command { .. } | stand::Release::Hand => u64::MAX / 4,
            },
            bodies,
            camera_board: match stand.shutter.release {
                stand::Release::Board { board, .. } => Some(board.0),
                stand::Release::Command { .. } | stand::Release::Hand => None,
            },
            settle: stand.shutter.settle.as_nanos() as u64,
            bounce: options.bounce.as_nanos() as u64,
            tick,
            stopped_at: u64::MAX,
            last_motion: 0,
            sinking: false,
            stand: stand.clone(),
        };
        for board in 0..mechanics.lines.len() {
            mechanics.read_switches(board);
        }
        mechanics.let_go();
        mechanics
    }

    /// Lets the onlooker, where there is one, know.
    pub(super) fn tell(&mut self, happening: &Happening<'_>) {
        if let Some(onlooker) = &mut self.onlooker {
            let wanted = onlooker(Duration::from_nanos(self.now), happening);
            self.asked.extend(wanted);
        }
    }

    fn violated(&mut self, law: Law) {
        self.violations.push(Violation {
            at: Duration::from_nanos(self.now),
            law,
        });
    }

    // What a board's outputs do.

    pub(super) fn directions(&mut self, board: usize, high: u8) {
        let changed = self.lines[board].directions ^ high;
        if changed == 0 {
            return;
        }
        self.lines[board].directions = high;
        let energised = self.lines[board].drivers;
        self.trace
            .note(self.now, Mark::Directions, board, u64::from(high));
        for channel in (0..MAX_AXES).filter(|channel| changed & (1 << channel) != 0) {
            let Some(axis) = self.lines[board].wiring[channel] else {
                continue;
            };
            let Body::Motor { drive, .. } = &mut self.bodies[axis] else {
                continue;
            };
            drive.line_high = high & (1 << channel) != 0;
            drive.last_turn = Some(self.now);
            if energised
                && drive
                    .last_pulse
                    .is_some_and(|pulse| self.now - pulse < DIRECTION_SETUP)
            {
                self.violated(Law::DirectionSetup { axis: AxisId(axis) });
            }
        }
    }

    pub(super) fn drivers(&mut self, board: usize, on: bool) {
        if self.lines[board].drivers != on {
            self.lines[board].drivers = on;
            self.trace
                .note(self.now, Mark::Drivers, board, u64::from(on));
            let board = BoardId(board);
            self.tell(&Happening::Drivers { board, on });
            self.let_go();
        }
    }

    pub(super) fn half_press(&mut self, board: usize, closed: bool) {
        if self.lines[board].half_press != closed {
            self.lines[board].half_press = closed;
            self.trace
                .note(self.now, Mark::HalfPress, board, u64::from(closed));
        }
    }

    pub(super) fn release(&mut self, board: usize, closed: bool) {
        if self.lines[board].release == closed {
            return;
        }
        self.lines[board].release = closed;
        self.trace
            .note(self.now, Mark::Release, board, u64::from(closed));
        let id = BoardId(board);
        self.tell(&Happening::Release { board: id, closed });
        if Some(board) != self.camera_board {
            return;
        }
        if !closed {
            let lasted = self.now - self.lines[board].release_closed;
            if lasted > self.longest_press + 2 * self.tick {
                self.violated(Law::ReleaseTooLong {
                    lasted: Duration::from_nanos(lasted),
                });
            }
            self.camera
                .let_go(self.now, &mut self.random, &mut self.agenda);
            return;
        }
        self.lines[board].release_closed = self.now;
        self.releases += 1;
        let still = self.now - self.last_motion;
        // The board counts its rest in whole ticks from the tick of the last step.
        if self.last_motion > 0 && still + 2 * self.tick < self.settle {
            self.violated(Law::NotSettled {
                still: Duration::from_nanos(still),
            });
        }
        let fault = self
            .camera
            .press(self.now, false, &mut self.random, &mut self.agenda);
        if let Some(fault) = fault {
            self.tell(&Happening::Struck(&Fault::Camera(fault)));
        }
    }

    /// Somebody presses the camera's own release.
    pub(super) fn press_by_hand(&mut self) {
        self.tell(&Happening::HandRelease);
        self.camera
            .press(self.now, true, &mut self.random, &mut self.agenda);
    }

    pub(super) fn lamps(&mut self, board: usize, on: u8) {
        if self.lines[board].lamps != on {
            self.lines[board].lamps = on;
            self.camera.relit(self.now);
            self.trace.note(self.now, Mark::Lamps, board, u64::from(on));
        }
    }

    pub(super) fn keep(&mut self, board: usize, mark: KeptMark) {
        self.lines[board].kept = Some(mark);
        let value = u64::from(mark.token.slot) << 16 | u64::from(mark.token.attempt);
        self.trace.note(self.now, Mark::Kept, board, value);
    }

    pub(super) fn contact(&self, board: usize) -> bool {
        Some(board) == self.camera_board && self.camera.contact()
    }

    /// All outputs of a board in reset fall to rest.
    pub(super) fn outputs_off(&mut self, board: usize) {
        self.release(board, false);
        self.half_press(board, false);
        self.lamps(board, 0);
        // The drivers first: a line that falls after that means nothing to them.
        self.drivers(board, false);
        self.directions(board, 0);
    }

    // What happens by itself.

    pub(super) fn switch_edge(&mut self, axis: usize, end: End, swing: u32, tripped: bool) {
        if let Some((switch, board)) = self.switch(axis, end) {
            switch.edge(swing, tripped);
            self.read_switches(board);
        }
    }

    /// Returns the number of an exposure that is complete.
    pub(super) fn camera_event(&mut self, event: CameraEvent) -> Option<u32> {
        let before = self.camera.contact();
        let pose = self.pose();
        let lines = &self.lines;
        let lamps = || lines.iter().map(|line| line.lamps).collect();
        let done = self.camera.happen(event, self.now, pose, lamps);
        match event {
            CameraEvent::Open => self.tell(&Happening::Shutter {
                open: true,
                number: self.camera.taken.len() as u32 + 1,
            }),
            CameraEvent::Close => self.tell(&Happening::Shutter {
                open: false,
                number: self.camera.taken.len() as u32,
            }),
            CameraEvent::ContactOpens | CameraEvent::Middle => {}
        }
        if let Some(board) = self.camera_board
            && self.camera.contact() != before
        {
            self.lines[board].changed = true;
            self.trace
                .note(self.now, Mark::Contact, board, u64::from(!before));
        }
        done
    }

    /// Starts the sinking of whatever its motor does not hold.
    pub(super) fn let_go(&mut self) {
        if !self.sinking && (0..self.bodies.len()).any(|axis| self.is_loose(axis)) {
            self.sinking = true;
            self.agenda.put(self.now + SINK_EVERY, Event::Sink);
        }
    }

    fn is_loose(&self, axis: usize) -> bool {
        match &self.bodies[axis] {
            Body::Motor { drive, board, .. } => {
                drive.runs_back && !(self.lines[*board].drivers && self.motor_power)
            }
            Body::Hand(_) => false,
        }
    }

    pub(super) fn sink(&mut self) {
        self.sinking = false;
        for axis in 0..self.bodies.len() {
            if !self.is_loose(axis) {
                continue;
            }
            if let Body::Motor { drive, .. } = &mut self.bodies[axis]
                && drive.sink(SINK)
            {
                self.moved(axis, false);
                self.sinking = true;
            }
        }
        if self.sinking {
            self.agenda.put(self.now + SINK_EVERY, Event::Sink);
        }
    }
}
