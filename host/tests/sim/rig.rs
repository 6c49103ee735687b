//! A stand to simulate, and a bare driver: one request, one answer, no more cleverness than that.

use std::io;
use std::time::Duration;

use panestep::link::{Clock, Port};
use panestep::sim::{Options, SimClock, SimPort, SimulatedStand};
use panestep::stand::{
    Axis, AxisId, Board, BoardId, Carrier, Drive, Face, Home, Lens, Level, LevelId, Motor, Pane,
    Picture, PortName, Release, Shutter, Stand, Way,
};
use panestep_protocol as wire;
use panestep_protocol::{
    Accumulator, Activity, Answer, AxisIndex, AxisSettings, AxisTarget, Command, ExposureFact,
    FireOrder, FromBoard, GuardSettings, Hello, HomeOrder, HomingReport, Identity, Refusal,
    Request, RequestId, SessionId, ShotId, Status, Steps, Ticks, ToBoard, Token, Toward,
};

/// A 200-step motor in sixteenths of a step on an 8 mm screw: 400 steps/mm.
pub(crate) const STEPS_PER_MM: f64 = 400.0;

pub(crate) const REEDS_EAST: AxisId = AxisId(0);
pub(crate) const REEDS_LIFT: AxisId = AxisId(2);
pub(crate) const CAMERA_FOCUS: AxisId = AxisId(5);
pub(crate) const SKY_NORTH: AxisId = AxisId(6);

pub(crate) const MAIN: BoardId = BoardId(0);

fn slide(of: Carrier, way: Way, board: usize, channel: u8, reversed: bool, low: bool) -> Axis {
    Axis {
        of,
        way,
        drive: Drive::Motor(Motor {
            screw: None,
            board: BoardId(board),
            channel,
            steps: 200,
            microsteps: 16,
            steps_per_unit: STEPS_PER_MM,
            reversed,
            speed: 25.0,
            acceleration: 60.0,
            jerk: 400.0,
            slow: 2.0,
            home: Home {
                switch: if low { -64.0 } else { 64.0 },
                within: 0.02,
            },
        }),
        travel: (-60.0, 60.0),
        backlash: 0.05,
        focus_table: Vec::new(),
    }
}

/// Two levels, six motors (some reversed, some with the switch at the upper end), one hand axis.
/// With `two_boards`, the upper level is on one board, the rest on another.
pub(crate) fn stand(two_boards: bool) -> Stand {
    let reeds = Carrier::Level(LevelId(0));
    let sky = Carrier::Level(LevelId(1));
    let second = usize::from(two_boards);
    let channel = |n: u8| if two_boards { n - 3 } else { n };
    let mut focus = slide(Carrier::Camera, Way::Focus, second, channel(5), false, true);
    focus.backlash = 0.0;
    focus.focus_table = vec![(-60.0, 500.0), (0.0, 800.0), (60.0, 1400.0)];
    let mut north = slide(sky, Way::North, 0, 7, false, true);
    north.drive = Drive::Hand {
        scale: 0.1,
        screw: None,
    };
    let level = |name: &str, height_mm| Level {
        name: name.to_owned(),
        height_mm,
        pane: Pane {
            width_mm: 700.0,
            height_mm: 500.0,
            thickness_mm: 6.0,
            index: 1.52,
            art: Face::Upper,
        },
        swing: None,
    };
    let board = |name: &str| Board {
        name: name.to_owned(),
        port: PortName::Simulated,
        stop_tested: None,
    };
    let mut boards = vec![board("main")];
    if two_boards {
        boards.push(board("lower"));
    }
    Stand {
        name: "test stand".to_owned(),
        lens: Lens {
            focal_length_mm: 50.0,
            f_number: 8.0,
            picture: Picture {
                width_mm: 36.0,
                height_mm: 24.0,
                columns: 6000,
                rows: 4000,
            },
            height_mm: 1600.0,
            focus: LevelId(0),
            circle_of_confusion_mm: 0.03,
            swing: None,
        },
        boards,
        levels: vec![level("reeds", 1200.0), level("sky", 600.0)],
        axes: vec![
            slide(reeds, Way::East, 0, 0, false, true),
            slide(reeds, Way::North, 0, 1, true, true),
            slide(reeds, Way::Lift, 0, 2, false, false),
            slide(sky, Way::East, second, channel(3), true, false),
            slide(sky, Way::Turn, second, channel(4), false, true),
            focus,
            north,
        ],
        lamps: Vec::new(),
        shutter: Shutter {
            release: Release::Board {
                board: BoardId(0),
                half_press: Duration::from_millis(50),
                press: Duration::from_millis(150),
                flash_contact: true,
            },
            settle: Duration::from_millis(300),
            exposure: Duration::from_millis(500),
            delay: Duration::from_millis(100),
            ready: Duration::from_millis(400),
            timed_by_release: false,
        },
        arrival: None,
        home_check: 0,
        clearance_mm: 10.0,
    }
}

pub(crate) fn motor(stand: &Stand, axis: AxisId) -> &Motor {
    match &stand.axes[axis.0].drive {
        Drive::Motor(motor) => motor,
        Drive::Hand { .. } => panic!("axis {} is moved by hand", axis.0),
    }
}

/// Every motor axis of a board.
pub(crate) fn motors_of(stand: &Stand, board: BoardId) -> Vec<AxisId> {
    (0..stand.axes.len())
        .map(AxisId)
        .filter(
            |axis| matches!(&stand.axes[axis.0].drive, Drive::Motor(motor) if motor.board == board),
        )
        .collect()
}

pub(crate) struct Driver {
    pub(crate) stand: Stand,
    pub(crate) port: Box<dyn Port>,
    pub(crate) clock: Box<dyn Clock>,
    pub(crate) identity: Identity,
    session: SessionId,
    id: RequestId,
    heard: Accumulator<FromBoard>,
}

const PATIENCE: Duration = Duration::from_millis(50);

impl Driver {
    /// Opens the board's port, shakes hands, opens a session.
    pub(crate) fn connect(
        stand: &Stand,
        port: Box<dyn Port>,
        clock: Box<dyn Clock>,
    ) -> io::Result<Self> {
        let mut driver = Self {
            stand: stand.clone(),
            port,
            clock,
            identity: Identity {
                magic: wire::MAGIC,
                version: 0,
                schema: [0; 8],
                nonce: 0,
                name: Default::default(),
                axes: 0,
                tick_rate: 0,
                boot: wire::BootId(0),
                session: SessionId(0),
                mark: None,
            },
            session: SessionId(0),
            id: RequestId(0),
            heard: Accumulator::default(),
        };
        let hello = ToBoard::Hello(Hello {
            magic: wire::MAGIC,
            version: wire::VERSION,
            schema: wire::schema(),
            nonce: 77,
        });
        driver.identity = driver.exchange(&hello, |heard| match heard {
            FromBoard::Identity(identity) if identity.nonce == 77 => Some(identity),
            _ => None,
        })?;
        driver.session = SessionId(driver.identity.session.0 + 1);
        driver.ask(Command::Open {
            schema: wire::schema(),
        });
        Ok(driver)
    }

    pub(crate) fn simulated(
        stand: &Stand,
        simulated: &SimulatedStand,
        board: BoardId,
    ) -> io::Result<Self> {
        let port: SimPort = simulated.port(board)?;
        let clock: SimClock = simulated.clock();
        Self::connect(stand, Box::new(port), Box::new(clock))
    }

    /// Sends and waits; repeats until an answer comes that is to the point.
    fn exchange<T>(
        &mut self,
        message: &ToBoard,
        mut choose: impl FnMut(FromBoard) -> Option<T>,
    ) -> io::Result<T> {
        let mut buffer = [0; wire::MAX_FRAME];
        let bytes = wire::encode(message, &mut buffer).expect("the buffer is large enough");
        for _ in 0..20 {
            self.port.send(bytes)?;
            let until = self.clock.now() + PATIENCE;
            loop {
                let left = until.saturating_sub(self.clock.now());
                if left.is_zero() {
                    break;
                }
                let mut received = [0; 100];
                let count = self.port.receive(&mut received, left)?;
                for &byte in &received[..count] {
                    if let Some(Ok(heard)) = self.heard.push(byte)
                        && let Some(found) = choose(heard)
                    {
                        return Ok(found);
                    }
                }
            }
        }
        Err(io::Error::new(
            io::ErrorKind::TimedOut,
            "the board is silent",
        ))
    }

    pub(crate) fn try_ask(&mut self, command: Command) -> io::Result<Result<Answer, Refusal>> {
        self.id.0 += 1;
        let request = Request {
            boot: self.identity.boot,
            session: self.session,
            id: self.id,
            command,
        };
        let (session, id) = (self.session, self.id);
        self.exchange(&ToBoard::Request(request), |heard| match heard {
            FromBoard::Reply(reply) if reply.session == session && reply.id == id => {
                Some(reply.result)
            }
            _ => None,
        })
    }

    #[track_caller]
    pub(crate) fn ask(&mut self, command: Command) -> Answer {
        let what = format!("{command:?}");
        match self.try_ask(command) {
            Ok(Ok(answer)) => answer,
            other => panic!("{what}: {other:?}"),
        }
    }

    #[track_caller]
    pub(crate) fn status(&mut self) -> Status {
        match self.ask(Command::Status) {
            Answer::Status(status) => status,
            other => panic!("{other:?} is no status"),
        }
    }

    pub(crate) fn ticks(&self, time: Duration) -> Ticks {
        Ticks((time.as_secs_f64() * f64::from(self.identity.tick_rate)).round() as u32)
    }

    fn index(&self, axis: AxisId) -> AxisIndex {
        AxisIndex(motor(&self.stand, axis).channel)
    }

    /// Sets up guards and axes, and switches the drivers on.
    #[track_caller]
    pub(crate) fn set_up(&mut self, axes: &[AxisId]) {
        let guard = GuardSettings {
            silence: self.ticks(Duration::from_millis(500)),
            settle: self.ticks(self.stand.shutter.settle),
        };
        self.ask(Command::Guard(guard));
        for &axis in axes {
            let motor = motor(&self.stand, axis).clone();
            let steps = |units: f64| (units * motor.steps_per_unit).round();
            let (least, greatest) = self.stand.axes[axis.0].travel;
            self.ask(Command::Configure(AxisSettings {
                axis: AxisIndex(motor.channel),
                speed: steps(motor.speed) as u32,
                acceleration: steps(motor.acceleration) as u32,
                jerk: steps(motor.jerk) as u32,
                slow: steps(motor.slow) as u32,
                reversed: motor.reversed,
                least: Steps(steps(least) as i32),
                greatest: Steps(steps(greatest) as i32),
                home: if motor.home.switch < 0.0 {
                    Toward::Negative
                } else {
                    Toward::Positive
                },
            }));
        }
        self.ask(Command::Drivers { on: true });
    }

    /// What counts as the step at which the switch trips: driven downward, the carriage is its
    /// backlash ahead of where it would be when driven upward, and positions are meant as reached
    /// from below.
    pub(crate) fn edge(&self, axis: AxisId) -> i32 {
        let motor = motor(&self.stand, axis);
        let slack = if motor.home.switch < 0.0 {
            self.stand.axes[axis.0].backlash
        } else {
            0.0
        };
        ((motor.home.switch - slack) * motor.steps_per_unit).round() as i32
    }

    #[track_caller]
    pub(crate) fn home(&mut self, axis: AxisId) -> HomingReport {
        let (motor, edge) = (motor(&self.stand, axis).clone(), self.edge(axis));
        let steps = |units: f64| (units * motor.steps_per_unit) as u32;
        self.ask(Command::Home(HomeOrder {
            axis: AxisIndex(motor.channel),
            fast: steps(10.0),
            slow: steps(motor.slow),
            search: steps(150.0),
            back_off: steps(5.0),
            clear: steps(1.0),
            edge: Steps(edge),
        }));
        let request = self.id;
        let status = self.rest();
        let report = status.homing.expect("a homing has ended");
        assert_eq!((report.request, report.axis), (request, self.index(axis)));
        report
    }

    /// Waits until the board is idle.
    #[track_caller]
    pub(crate) fn rest(&mut self) -> Status {
        for _ in 0..20_000 {
            let status = self.status();
            if status.activity == Activity::Idle {
                return status;
            }
            self.clock
                .sleep(Duration::from_millis(40))
                .expect("the host lives");
        }
        panic!("the board does not come to rest");
    }

    #[track_caller]
    pub(crate) fn start_move(&mut self, targets: &[(AxisId, i32)]) {
        let status = self.status();
        let targets = targets
            .iter()
            .map(|&(axis, to)| AxisTarget {
                axis: self.index(axis),
                from: status.positions[usize::from(self.index(axis).0)],
                to: Steps(to),
            })
            .collect();
        self.ask(Command::Move { targets });
    }

    /// Moves there from below, and waits for rest.
    #[track_caller]
    pub(crate) fn move_to(&mut self, targets: &[(AxisId, i32)]) -> Status {
        let take_up = (0.2 * STEPS_PER_MM) as i32;
        let status = self.status();
        let beyond: Vec<_> = targets
            .iter()
            .filter(|&&(axis, to)| status.positions[usize::from(self.index(axis).0)].0 > to)
            .map(|&(axis, to)| (axis, to - take_up))
            .collect();
        if !beyond.is_empty() {
            self.start_move(&beyond);
            self.rest();
        }
        self.start_move(targets);
        self.rest()
    }

    #[track_caller]
    pub(crate) fn position(&mut self, axis: AxisId) -> i32 {
        let channel = usize::from(self.index(axis).0);
        self.status().positions[channel].0
    }

    pub(crate) fn open_shot(&mut self, shot: u64) {
        self.ask(Command::OpenShot {
            shot: ShotId(shot),
            spent: Token::default(),
        });
    }

    pub(crate) fn fire_order(&self, shot: u64, slot: u32) -> Command {
        let shutter = &self.stand.shutter;
        let Release::Board {
            half_press, press, ..
        } = shutter.release
        else {
            panic!("a board fires the camera of this stand");
        };
        Command::Fire(FireOrder {
            shot: ShotId(shot),
            token: Token { slot, attempt: 1 },
            half_press: self.ticks(half_press),
            press: self.ticks(press),
            window: self.ticks(shutter.delay + shutter.exposure + Duration::from_millis(20)),
        })
    }

    /// Fires once everything has settled, and waits until the window has passed and the camera
    /// is ready again.
    #[track_caller]
    pub(crate) fn fire(&mut self, shot: u64, slot: u32) -> ExposureFact {
        self.clock
            .sleep(self.stand.shutter.settle)
            .expect("the host lives");
        let order = self.fire_order(shot, slot);
        self.ask(order);
        let status = self.rest();
        let (token, fact) = status.exposure.expect("a token has been accepted");
        assert_eq!(token, Token { slot, attempt: 1 });
        self.clock
            .sleep(self.stand.shutter.ready)
            .expect("the host lives");
        fact
    }
}

/// A stand with one board, connected, every motor set up, and homed where asked.
#[track_caller]
pub(crate) fn ready(options: &Options, homed: &[AxisId]) -> (SimulatedStand, Driver) {
    begun(options, &motors_of(&stand(false), MAIN), homed)
}

/// The same with only these axes set up: a board does not fire while one is not homed.
#[track_caller]
pub(crate) fn ready_to_fire(options: &Options, homed: &[AxisId]) -> (SimulatedStand, Driver) {
    begun(options, homed, homed)
}

#[track_caller]
fn begun(options: &Options, axes: &[AxisId], homed: &[AxisId]) -> (SimulatedStand, Driver) {
    let stand = stand(false);
    let simulated = SimulatedStand::new(&stand, options);
    let mut driver = Driver::simulated(&stand, &simulated, MAIN).expect("the board answers");
    driver.set_up(axes);
    for &axis in homed {
        let report = driver.home(axis);
        assert!(report.result.is_ok(), "axis {}: {report:?}", axis.0);
    }
    (simulated, driver)
}

/// What a count means, in the axis's unit.
pub(crate) fn units(steps: i32) -> f64 {
    f64::from(steps) / STEPS_PER_MM
}
