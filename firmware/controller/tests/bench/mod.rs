//! A board on the bench: the controller over made-up hardware that keeps to the laws of the thing
//! (carriages with switches at their ends, drivers that want their direction line early), and
//! scripts of bytes in and pulses out, with time by hand.
#![allow(dead_code, reason = "each suite uses its part of it")]
#![allow(unreachable_pub, reason = "a module of each suite")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use panestep_firmware::hardware::{CameraPort, LampPort, MarkPort, StepPort, SwitchPort};
use panestep_firmware::{Controller, Setup};
use panestep_protocol::{
    Accumulator, Answer, AxisIndex, AxisMask, AxisSettings, AxisTarget, BootId, Command, FireOrder,
    FromBoard, GuardSettings, Hello, HomeOrder, Identity, MAGIC, MAX_FRAME, Mark, Refusal, Reply,
    Request, RequestId, SessionId, ShotId, Status, Steps, Ticks, ToBoard, Token, Toward, VERSION,
    encode, schema,
};

/// Ticks a second, axes, and the drivers' direction set-up on this bench.
pub const RATE: u32 = 10_000;
pub const AXES: u8 = 3;
pub const SETUP: u32 = 4;
pub const BOOT: BootId = BootId(0xB007);
pub const SHOT: ShotId = ShotId(77);

/// One switch: closed circuit until the carriage is beyond `at`; opens its contact again only
/// `hysteresis` steps before it; chatters after each change.
#[derive(Clone, Debug)]
pub struct Switch {
    pub at: i64,
    pub above: bool,
    pub hysteresis: i64,
    pub stuck: Option<bool>,
    /// Readings for which it chatters after a change.
    pub bounce: u32,
    tripped: bool,
    chatter: u32,
}

impl Switch {
    pub fn new(at: i64, above: bool) -> Self {
        Self {
            at,
            above,
            hysteresis: 3,
            stuck: None,
            bounce: 0,
            tripped: false,
            chatter: 0,
        }
    }

    fn read(&mut self, carriage: i64) -> bool {
        if let Some(stuck) = self.stuck {
            return stuck;
        }
        let beyond = if self.above {
            carriage - self.at
        } else {
            self.at - carriage
        };
        let tripped = if self.tripped {
            beyond > -self.hysteresis
        } else {
            beyond >= 0
        };
        if tripped != self.tripped {
            self.tripped = tripped;
            self.chatter = self.bounce;
        } else if self.chatter > 0 {
            self.chatter -= 1;
            // Five readings the new way, three the old way, and so on.
            let wrong = self.chatter > 0 && (self.bounce.wrapping_sub(self.chatter)) % 8 >= 5;
            return self.tripped ^ wrong;
        }
        self.tripped
    }
}

#[derive(Clone, Debug)]
pub struct Carriage {
    /// Where it really is, in steps.
    pub at: i64,
    /// Whether its motor turns the other way round.
    pub miswired: bool,
    pub home: Switch,
    pub far: Switch,
}

/// What happened at the camera's lines, with the tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    Half(bool),
    Release(bool),
    Marked(Token),
}

#[derive(Clone, Debug)]
pub struct Fake {
    pub now: u64,
    pub carriages: Vec<Carriage>,
    pub high: AxisMask,
    pub drivers: bool,
    pub stop: bool,
    pub contact: bool,
    pub lamps: u8,
    pub mark: Option<Mark>,
    pub lines: Vec<(u64, Line)>,
    /// Pulses per axis, and the tick of the last one on each.
    pub pulses: Vec<u64>,
    pub last_pulse: Vec<Option<u64>>,
    last_turn: Vec<Option<u64>>,
    /// Laws broken.
    pub broken: Vec<String>,
}

impl Fake {
    pub fn new() -> Self {
        let carriage = Carriage {
            at: 500,
            miswired: false,
            home: Switch::new(-1000, false),
            far: Switch::new(3000, true),
        };
        Self {
            now: 0,
            carriages: vec![carriage; usize::from(AXES)],
            high: AxisMask::NONE,
            drivers: false,
            stop: false,
            contact: false,
            lamps: 0,
            mark: None,
            lines: Vec::new(),
            pulses: vec![0; usize::from(AXES)],
            last_pulse: vec![None; usize::from(AXES)],
            last_turn: vec![None; usize::from(AXES)],
            broken: Vec::new(),
        }
    }

    pub fn count(&self) -> u64 {
        self.pulses.iter().sum()
    }

    /// Whether some switch has not come to rest yet.
    pub fn chatters(&self) -> bool {
        let chatters = |switch: &Switch| switch.chatter > 0;
        let mut carriages = self.carriages.iter();
        carriages.any(|carriage| chatters(&carriage.home) || chatters(&carriage.far))
    }

    pub fn releases(&self) -> usize {
        let closed = |line: &&(u64, Line)| line.1 == Line::Release(true);
        self.lines.iter().filter(closed).count()
    }
}

impl StepPort for Fake {
    fn directions(&mut self, high: AxisMask) {
        for axis in AxisMask(high.0 ^ self.high.0).iter() {
            if axis >= self.pulses.len() {
                self.broken.push(format!("direction of axis {axis}"));
                continue;
            }
            if let Some(last) = self.last_pulse[axis]
                && self.now - last < u64::from(SETUP)
            {
                self.broken
                    .push(format!("axis {axis} turned at {} after {last}", self.now));
            }
            self.last_turn[axis] = Some(self.now);
        }
        self.high = high;
    }

    fn step(&mut self, axes: AxisMask) {
        for axis in axes.iter() {
            if axis >= self.pulses.len() {
                self.broken.push(format!("step of axis {axis}"));
                continue;
            }
            if let Some(turn) = self.last_turn[axis]
                && self.now - turn < u64::from(SETUP)
            {
                self.broken
                    .push(format!("axis {axis} stepped at {} after {turn}", self.now));
            }
            if self.stop {
                self.broken.push(format!("step under stop at {}", self.now));
            }
            if !self.drivers {
                self.broken
                    .push(format!("step without drivers at {}", self.now));
            }
            if self
                .lines
                .last()
                .is_some_and(|line| line.1 == Line::Release(true))
            {
                self.broken
                    .push(format!("step under release at {}", self.now));
            }
            if self.last_pulse[axis] == Some(self.now) {
                self.broken.push(format!("two steps at {}", self.now));
            }
            self.last_pulse[axis] = Some(self.now);
            self.pulses[axis] += 1;
            let carriage = &mut self.carriages[axis];
            if self.high.contains(axis) == carriage.miswired {
                carriage.at -= 1;
            } else {
                carriage.at += 1;
            }
        }
    }

    fn drivers(&mut self, on: bool) {
        self.drivers = on;
    }
}

impl SwitchPort for Fake {
    fn home(&mut self) -> AxisMask {
        let mut tripped = AxisMask::NONE;
        for (axis, carriage) in self.carriages.iter_mut().enumerate() {
            if carriage.home.read(carriage.at) {
                tripped.insert(axis);
            }
        }
        tripped
    }

    fn far(&mut self) -> AxisMask {
        let mut tripped = AxisMask::NONE;
        for (axis, carriage) in self.carriages.iter_mut().enumerate() {
            if carriage.far.read(carriage.at) {
                tripped.insert(axis);
            }
        }
        tripped
    }

    fn stop(&mut self) -> bool {
        self.stop
    }
}

impl CameraPort for Fake {
    fn half_press(&mut self, closed: bool) {
        self.lines.push((self.now, Line::Half(closed)));
    }

    fn release(&mut self, closed: bool) {
        self.lines.push((self.now, Line::Release(closed)));
    }

    fn contact(&mut self) -> bool {
        self.contact
    }
}

impl LampPort for Fake {
    fn lamps(&mut self, on: u8) {
        self.lamps = on;
    }
}

impl MarkPort for Fake {
    fn mark(&mut self) -> Option<Mark> {
        self.mark
    }

    fn set_mark(&mut self, mark: Mark) {
        self.mark = Some(mark);
        self.lines.push((self.now, Line::Marked(mark.token)));
    }
}

/// The controller, and a host that talks to it.
pub struct Bench {
    pub board: Controller<Fake>,
    pub session: SessionId,
    pub id: u32,
    incoming: Accumulator<FromBoard>,
}

pub fn frame(message: &ToBoard) -> Vec<u8> {
    encode(message, &mut [0; MAX_FRAME]).unwrap().to_vec()
}

impl Bench {
    /// Just switched on; one tick has passed.
    pub fn over(hardware: Fake) -> Self {
        let setup = Setup {
            name: "bench",
            axes: AXES,
            tick_rate: RATE,
            boot: BOOT,
            direction_setup: Ticks(SETUP),
        };
        let mut bench = Self {
            board: Controller::new(hardware, &setup),
            session: SessionId(1),
            id: 0,
            incoming: Accumulator::default(),
        };
        bench.board.hardware_mut().lines.clear();
        bench.tick(1);
        bench
    }

    pub fn new() -> Self {
        Self::over(Fake::new())
    }

    /// A session is open, the axes are set up, the drivers are on.
    pub fn ready() -> Self {
        Self::ready_over(Fake::new())
    }

    pub fn ready_over(hardware: Fake) -> Self {
        let mut bench = Self::over(hardware);
        bench.open();
        for axis in 0..AXES {
            bench.done(Command::Configure(settings(axis)));
        }
        bench.done(Command::Guard(GUARD));
        bench.done(Command::Drivers { on: true });
        bench
    }

    /// As [`Bench::ready`], every axis homed, and rested.
    pub fn homed() -> Self {
        let mut bench = Self::ready();
        for axis in 0..AXES {
            bench.done(Command::Home(home(axis)));
            bench.rest();
            assert!(bench.status().homed.contains(usize::from(axis)));
        }
        bench.tick(GUARD.settle.0 + 1);
        bench
    }

    /// As [`Bench::homed`], with a take open.
    pub fn shooting() -> Self {
        let mut bench = Self::homed();
        let spent = Token::default();
        bench.done(Command::OpenShot { shot: SHOT, spent });
        bench
    }

    pub fn fake(&mut self) -> &mut Fake {
        self.board.hardware_mut()
    }

    pub fn tick(&mut self, ticks: u32) {
        for _ in 0..ticks {
            self.board.hardware_mut().now += 1;
            self.board.tick();
        }
        assert_eq!(self.board.hardware().broken, Vec::<String>::new());
    }

    pub fn send(&mut self, bytes: &[u8]) -> Vec<u8> {
        self.board.receive(bytes);
        let mut out = vec![0; 4 * MAX_FRAME];
        let count = self.board.transmit(&mut out);
        out.truncate(count);
        out
    }

    pub fn read(&mut self, bytes: &[u8]) -> Vec<FromBoard> {
        let read = |&byte| self.incoming.push(byte).map(Result::unwrap);
        bytes.iter().filter_map(read).collect()
    }

    pub fn request(&self, command: Command) -> Request {
        Request {
            boot: BOOT,
            session: self.session,
            id: RequestId(self.id),
            command,
        }
    }

    /// Sends a request as it is, and reads its reply.
    pub fn exchange(&mut self, request: &Request) -> Reply {
        let bytes = self.send(&frame(&ToBoard::Request(request.clone())));
        match self.read(&bytes).as_slice() {
            [FromBoard::Reply(reply)] => {
                assert_eq!((reply.session, reply.id), (request.session, request.id));
                assert_eq!(reply.boot, BOOT);
                reply.clone()
            }
            other => panic!("{other:?}"),
        }
    }

    pub fn ask(&mut self, command: Command) -> Result<Answer, Refusal> {
        self.id += 1;
        let request = self.request(command);
        self.exchange(&request).result
    }

    pub fn done(&mut self, command: Command) {
        assert_eq!(self.ask(command.clone()), Ok(Answer::Done), "{command:?}");
    }

    pub fn refused(&mut self, command: Command) -> Refusal {
        let before = self.status();
        let lines = self.board.hardware().lines.clone();
        let refusal = self.ask(command).unwrap_err();
        assert_eq!(self.status(), before, "a refusal changes nothing");
        assert_eq!(self.board.hardware().lines, lines);
        refusal
    }

    pub fn under(&mut self, command: Command) -> u32 {
        match self.ask(command.clone()) {
            Ok(Answer::Under { way }) => way.0,
            other => panic!("{command:?}: {other:?}"),
        }
    }

    pub fn open(&mut self) {
        self.done(Command::Open { schema: schema() });
    }

    pub fn status(&mut self) -> Status {
        match self.ask(Command::Status) {
            Ok(Answer::Status(status)) => status,
            other => panic!("{other:?}"),
        }
    }

    pub fn identity(&mut self) -> Identity {
        let hello = ToBoard::Hello(Hello {
            magic: MAGIC,
            version: VERSION,
            schema: schema(),
            nonce: 9,
        });
        let bytes = self.send(&frame(&hello));
        match self.read(&bytes).as_slice() {
            [FromBoard::Identity(identity)] => identity.clone(),
            other => panic!("{other:?}"),
        }
    }

    /// Ticks until nothing moves, the host saying something often enough; how many.
    pub fn rest(&mut self) -> u32 {
        use panestep_protocol::Activity;
        for tick in 0..10_000_000 {
            if tick % 500 == 0 {
                let _ = self.status();
            }
            if matches!(
                self.board.core().activity(),
                Activity::Idle | Activity::Exposing
            ) {
                return tick;
            }
            self.tick(1);
        }
        panic!("never at rest");
    }

    pub fn position(&self, axis: usize) -> i32 {
        self.board.core().status(0).positions[axis].0
    }

    /// Where a carriage really is.
    pub fn carriage(&self, axis: usize) -> i64 {
        self.board.hardware().carriages[axis].at
    }

    pub fn move_to(&self, targets: &[(u8, i32)]) -> Command {
        let target = |&(axis, to): &(u8, i32)| AxisTarget {
            axis: AxisIndex(axis),
            from: Steps(self.position(usize::from(axis))),
            to: Steps(to),
        };
        Command::Move {
            targets: targets.iter().map(target).collect(),
        }
    }
}

pub const GUARD: GuardSettings = GuardSettings {
    silence: Ticks(1000),
    settle: Ticks(600),
};

pub fn settings(axis: u8) -> AxisSettings {
    AxisSettings {
        axis: AxisIndex(axis),
        speed: 4000,
        acceleration: 20_000,
        jerk: 200_000,
        slow: 500,
        reversed: false,
        least: Steps(-900),
        greatest: Steps(2900),
        home: Toward::Negative,
    }
}

pub fn home(axis: u8) -> HomeOrder {
    HomeOrder {
        axis: AxisIndex(axis),
        fast: 2000,
        slow: 400,
        search: 4500,
        back_off: 800,
        clear: 50,
        edge: Steps(-1000),
    }
}

pub fn token(slot: u32) -> Token {
    Token { slot, attempt: 1 }
}

pub fn fire(slot: u32) -> FireOrder {
    FireOrder {
        shot: SHOT,
        token: token(slot),
        half_press: Ticks(20),
        press: Ticks(100),
        window: Ticks(400),
    }
}
