//! The demonstration's stand at the emulated board's pins, takes on it, and a bare session.

use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use panestep::link::session::SILENCE;
use panestep::link::{Clock, Link, Port};
use panestep::plan::Plan;
use panestep::schedule::Schedule;
use panestep::stand::{Release, Stand};
use panestep::take::{
    Boards, Edit, Entry, Journal, Outcome, Progress, SimulatedDisk, Stage, TakeError, shoot,
};
use panestep_protocol::{
    Activity, Answer, AxisIndex, AxisSettings, AxisTarget, Command, GuardSettings, HomeOrder,
    ShotId, Status, Steps, Toward,
};
use panestep_tests::Nobody;
use panestep_tests::board::{Board, Counters, Emulated, EmulatedClock, Line, Options, StandModel};

/// What the image calls itself where nothing else is asked for, and the demonstration its board.
pub(crate) const NAME: &str = "main";

/// Steps between the carriages and their home switches when a test begins.
pub(crate) const AWAY: i64 = 700;

/// What went well. An error is told in its own words, which say what to install.
pub(crate) fn sure<T, E: std::fmt::Display>(result: Result<T, E>) -> T {
    result.unwrap_or_else(|error| panic!("{error}"))
}

/// The image, a UF2 file: built here, or what `PANESTEP_IMAGE` names.
pub(crate) fn image() -> PathBuf {
    match std::env::var_os("PANESTEP_IMAGE") {
        Some(image) => image.into(),
        None => sure(panestep_tests::image::build()).uf2,
    }
}

pub(crate) fn demo_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../host/demo")
}

/// The demonstration's plan, on its stand with a quicker camera and a board called as the image is.
pub(crate) fn demo() -> (Stand, Plan) {
    let (mut stand, shot) =
        panestep::file::read_shot(demo_folder().join("shot.toml")).expect("the demonstration");
    NAME.clone_into(&mut stand.boards[0].name);
    let shutter = &mut stand.shutter;
    shutter.settle = Duration::from_millis(50);
    shutter.exposure = Duration::from_millis(60);
    shutter.delay = Duration::from_millis(20);
    shutter.ready = Duration::from_millis(50);
    if let Release::Board {
        half_press, press, ..
    } = &mut shutter.release
    {
        *half_press = Duration::from_millis(20);
        *press = Duration::from_millis(30);
    }
    stand.home_check = 0;
    let plan = Plan::new(&stand, &shot).expect("the demonstration can be planned");
    (stand, plan)
}

/// The demonstration's motors, in a few frames of which each is a little farther from the home
/// switches: the ways are short, and some go back.
pub(crate) fn short(axes: &[usize], frames: u32) -> Schedule {
    let (_, plan) = demo();
    let mut schedule = plan.schedule().clone();
    schedule.motors = axes
        .iter()
        .map(|&axis| schedule.motors[axis].clone())
        .collect();
    schedule.lifts.clear();
    schedule.frames = frames;
    schedule.motor_targets = (1..=frames as i32)
        .flat_map(|frame| {
            schedule
                .motors
                .iter()
                .enumerate()
                .map(move |(place, motor)| {
                    // 61 up, or, for every second axis, 61 up and 37 down by turns.
                    let way = if place % 2 == 0 {
                        61 * frame
                    } else {
                        12 * frame + if frame % 2 == 0 { 49 } else { 0 }
                    };
                    motor.travel.0 + 50 + way
                })
        })
        .collect();
    schedule
}

/// A board with a stand for a schedule at its pins.
pub(crate) fn board(schedule: &Schedule, line: Line, seed: u32) -> Board {
    sure(Board::start(&Options {
        image: image(),
        seed,
        line,
        stand: StandModel::of(schedule, AWAY),
    }))
}

/// Takes of a schedule on an emulated board.
pub(crate) struct Bench {
    pub(crate) board: Board,
    pub(crate) schedule: Schedule,
    disk: SimulatedDisk,
}

impl Bench {
    pub(crate) fn new(schedule: Schedule, line: Line, seed: u32) -> Self {
        Self {
            board: board(&schedule, line, seed),
            schedule,
            disk: SimulatedDisk::default(),
        }
    }

    /// Begins the take, or goes on with it.
    pub(crate) fn shoot(
        &mut self,
        boards: &mut dyn Boards,
        edits: &[Edit],
        mut watch: impl FnMut(&Progress<'_>),
    ) -> Result<Outcome, TakeError> {
        let stamp = || -> panestep::take::journal::Stamp { Box::new(Default::default) };
        let disk = Box::new(self.disk.clone());
        let mut journal = if self.disk.bytes().is_empty() {
            let begun = Entry::begun(&self.schedule, "art", "", ShotId(0x5107));
            Journal::begin(disk, stamp(), &begun).expect("a disk in memory")
        } else {
            Journal::resume(disk, stamp()).expect("a sound journal")
        };
        // A switch may be tripped while it is looked for, and only then: the axes' own.
        let channels: Vec<(String, u8)> = (self.schedule.motors.iter())
            .map(|motor| (motor.name(), motor.channel))
            .collect();
        let channel_of = move |name: &str| {
            let found = channels.iter().find(|(motor, _)| motor == name);
            found.expect("an axis of the schedule").1
        };
        let board = self.board.clone();
        let mut watch = |progress: &Progress<'_>| {
            let strict = match progress {
                Progress::Homing { axis, .. } | Progress::Checking { axis, .. } => {
                    Some(0x3f & !(1 << channel_of(axis)))
                }
                Progress::Moving { .. } => Some(0x3f),
                _ => None,
            };
            if let Some(axes) = strict {
                board.strict(axes).expect("the board");
            }
            watch(progress);
        };
        shoot(
            &self.schedule,
            &mut journal,
            &mut Stage {
                boards,
                clock: Rc::new(EmulatedClock(self.board.clone())),
                person: &mut Nobody,
                watch: &mut watch,
                trigger: &mut (),
                album: None,
                interrupt: &AtomicBool::new(false),
            },
            edits,
        )
    }

    pub(crate) fn boards(&self) -> Emulated {
        Emulated(self.board.clone())
    }

    /// One exposure for each of these frames, each in its place to the step, and nothing at the
    /// pins that must never be there.
    pub(crate) fn assert_exact(&self, frames: u32) {
        let counters = self.board.counters().expect("the board");
        assert_eq!(counters.releases.len(), frames as usize);
        assert_eq!(counters.exposures.len(), frames as usize);
        assert_eq!(counters.contacts, frames);
        assert_eq!(counters.ignored, 0, "fired at a busy camera");
        for (frame, exposure) in (1..).zip(&counters.exposures) {
            let targets = self.schedule.motors_at(frame).expect("a frame");
            for (motor, &target) in self.schedule.motors.iter().zip(targets) {
                // The switch's place is counted as if the drive had its slack, which this stand
                // has not.
                let at = exposure.positions[usize::from(motor.channel)];
                assert_eq!(
                    at - i64::from(motor.slack),
                    i64::from(target),
                    "frame {frame}: {}",
                    motor.name()
                );
            }
        }
        self.assert_clean();
    }

    pub(crate) fn assert_clean(&self) {
        assert_clean(&self.board);
    }
}

pub(crate) fn assert_clean(board: &Board) {
    let findings = board.findings().expect("the board");
    assert!(findings.is_clean(), "{findings:#?}");
}

/// A session with the board, with axes set up to be quick.
pub(crate) struct Session {
    pub(crate) board: Board,
    pub(crate) link: Link,
}

pub(crate) const SPEED: u32 = 8000;
pub(crate) const ACCELERATION: u32 = 60_000;
pub(crate) const JERK: u32 = 1_000_000;
const SLOW: u32 = 2000;

/// Upper bound of the time of a controlled stop.
pub(crate) const BRAKING: Duration = Duration::from_millis(200);

impl Session {
    /// Greets the board, sets its guards and the demonstration's axes up and switches the drivers
    /// on.
    pub(crate) fn open(schedule: &Schedule, line: Line, seed: u32) -> Self {
        let board = board(schedule, line, seed);
        let port: Box<dyn Port> = Box::new(board.port().expect("the board's port"));
        let clock: Rc<dyn Clock> = Rc::new(EmulatedClock(board.clone()));
        let link = Link::connect(port, clock, NAME).expect("a session");
        let mut session = Self { board, link };
        session.set_up(schedule);
        session
    }

    pub(crate) fn again(board: &Board) -> Self {
        let port: Box<dyn Port> = Box::new(board.port().expect("the board's port"));
        let clock: Rc<dyn Clock> = Rc::new(EmulatedClock(board.clone()));
        let link = Link::connect(port, clock, NAME).expect("a session");
        Self {
            board: board.clone(),
            link,
        }
    }

    pub(crate) fn set_up(&mut self, schedule: &Schedule) {
        let silence = self.link.ticks(SILENCE).expect("short");
        let settle = self.link.ticks(Duration::from_millis(20)).expect("short");
        self.done(Command::Guard(GuardSettings { silence, settle }));
        for motor in &schedule.motors {
            self.done(Command::Configure(AxisSettings {
                axis: AxisIndex(motor.channel),
                speed: SPEED,
                acceleration: ACCELERATION,
                jerk: JERK,
                slow: SLOW,
                reversed: motor.reversed,
                least: Steps(-100_000),
                greatest: Steps(100_000),
                home: Toward::Negative,
            }));
        }
        self.done(Command::Drivers { on: true });
    }

    pub(crate) fn done(&mut self, command: Command) {
        assert_eq!(self.link.ask(command).expect("taken"), Answer::Done);
    }

    /// Homes an axis: its switch is at zero.
    pub(crate) fn home(&mut self, axis: u8) {
        // Its switch is looked for; nobody else's is.
        self.strict(0x3f & !(1 << axis));
        self.done(Command::Home(HomeOrder {
            axis: AxisIndex(axis),
            fast: SPEED / 2,
            slow: SLOW,
            search: 20_000,
            back_off: 2000,
            clear: 200,
            edge: Steps(0),
        }));
        let status = self.rest();
        self.strict(0x3f);
        let report = status.homing.expect("a report");
        assert_eq!(report.axis, AxisIndex(axis));
        report.result.expect("found");
        assert!(status.homed.contains(usize::from(axis)));
    }

    fn strict(&self, axes: u8) {
        self.board.strict(axes).expect("the board");
    }

    /// Waits until nothing moves.
    pub(crate) fn rest(&mut self) -> Status {
        loop {
            let status = self.link.status().expect("the board");
            if matches!(status.activity, Activity::Idle) {
                return status;
            }
            self.board
                .pass(Duration::from_millis(20))
                .expect("the board");
        }
    }

    /// Begins a move.
    pub(crate) fn go(&mut self, ways: &[(u8, i32)]) {
        let at = self.link.status().expect("the board").positions;
        let targets = ways
            .iter()
            .map(|&(axis, to)| AxisTarget {
                axis: AxisIndex(axis),
                from: at[usize::from(axis)],
                to: Steps(to),
            })
            .collect();
        let answer = self.link.ask(Command::Move { targets }).expect("taken");
        assert!(matches!(answer, Answer::Under { .. }), "{answer:?}");
    }

    pub(crate) fn counters(&self) -> Counters {
        self.board.counters().expect("the board")
    }

    pub(crate) fn assert_clean(&self) {
        assert_clean(&self.board);
    }
}
