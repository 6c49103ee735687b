//! A small stand, a three-frame schedule, a person who answers as told, and a bench to shoot on.

use std::error::Error;
use std::rc::Rc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use panestep::link::Port;
use panestep::schedule::{Chore, Exposure, HandAxis, MotorAxis, Release, Schedule, Turn};
use panestep::sim::{Fault, Options, SimulatedStand};
use panestep::stand::{
    self, Axis, AxisUnit, Board, BoardId, Carrier, Drive, Face, Home, Lens, Level, LevelId, Motor,
    Pane, Picture, PortName, Shutter, Stand, Way,
};
use panestep::take::journal::{Stamp, replay};
use panestep::take::{
    Arrangement, Boards, Disk, Edit, Entry, HandProblem, HandRequest, Journal, JournalError,
    Outcome, Person, Progress, Question, SimulatedDisk, Span, Stage, Suspects, TakeError, Watch,
    shoot,
};
use panestep_protocol::ShotId;

pub(crate) const STEPS_PER_MM: f64 = 400.0;
pub(crate) const FRAMES: u32 = 3;
pub(crate) const MAIN: BoardId = BoardId(0);
pub(crate) const SHOT: ShotId = ShotId(0x5107);

pub(crate) fn slide(of: usize, way: Way, board: usize, channel: u8, low: bool) -> Axis {
    Axis {
        of: Carrier::Level(LevelId(of)),
        way,
        drive: Drive::Motor(Motor {
            screw: None,
            board: BoardId(board),
            channel,
            steps: 200,
            microsteps: 16,
            steps_per_unit: STEPS_PER_MM,
            reversed: channel == 1,
            speed: 25.0,
            acceleration: 60.0,
            jerk: 400.0,
            slow: 2.0,
            home: Home {
                switch: if low { -14.0 } else { 14.0 },
                within: 0.02,
            },
        }),
        travel: (-10.0, 10.0),
        backlash: 0.05,
        focus_table: Vec::new(),
    }
}

/// Two levels, three motors on two boards, one hand axis.
pub(crate) fn stand() -> Stand {
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
    let mut north = slide(1, Way::North, 0, 7, true);
    north.drive = Drive::Hand {
        scale: 0.1,
        screw: None,
    };
    Stand {
        name: "test stand".to_owned(),
        lens: Lens {
            focal_length_mm: 50.0,
            f_number: 8.0,
            picture: Picture {
                width_mm: 36.0,
                height_mm: 24.0,
                columns: 600,
                rows: 400,
            },
            height_mm: 1600.0,
            focus: LevelId(0),
            circle_of_confusion_mm: 0.03,
            swing: None,
        },
        boards: vec![board("main"), board("lower")],
        levels: vec![level("reeds", 1200.0), level("sky", 600.0)],
        axes: vec![
            slide(0, Way::East, 0, 0, true),
            slide(0, Way::Lift, 0, 1, false),
            slide(1, Way::East, 1, 0, true),
            north,
        ],
        lamps: Vec::new(),
        shutter: Shutter {
            release: stand::Release::Board {
                board: MAIN,
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

pub(crate) fn schedule(hand: bool) -> Schedule {
    let stand = stand();
    let steps = |mm: f64| (mm * STEPS_PER_MM).round() as i32;
    let motors = stand
        .axes
        .iter()
        .filter_map(|axis| {
            let Drive::Motor(motor) = &axis.drive else {
                return None;
            };
            Some(MotorAxis {
                of: stand.carrier_name(axis.of).to_owned(),
                way: axis.way,
                unit: AxisUnit::Millimetre,
                step_size: 1.0 / STEPS_PER_MM,
                step_pixels: 0.05,
                board: motor.board.0,
                channel: motor.channel,
                reversed: motor.reversed,
                speed: steps(motor.speed) as u32,
                acceleration: steps(motor.acceleration) as u32,
                jerk: steps(motor.jerk) as u32,
                slow: steps(motor.slow) as u32,
                travel: (steps(axis.travel.0), steps(axis.travel.1)),
                switch: steps(motor.home.switch),
                within: steps(motor.home.within),
                slack: steps(axis.backlash),
                take_up: steps(axis.backlash * 2.0),
            })
        })
        .collect();
    let hands = if hand {
        vec![HandAxis {
            of: "sky".into(),
            way: Way::North,
            unit: AxisUnit::Millimetre,
            scale: 0.1,
            travel: (-100.0, 100.0),
        }]
    } else {
        Vec::new()
    };
    Schedule {
        name: "three frames".into(),
        boards: vec!["main".into(), "lower".into()],
        motors,
        lifts: vec![1],
        hand_targets: if hand {
            vec![1.0, 1.0, -2.0]
        } else {
            Vec::new()
        },
        hands,
        frames: FRAMES,
        // East up and down, lift up, sky held and then down.
        motor_targets: vec![0, 400, -800, 130, 401, -800, -70, 402, -850],
        exposure: Exposure {
            release: Release::Board {
                board: 0,
                half_press: Duration::from_millis(50),
                press: Duration::from_millis(150),
                flash_contact: true,
            },
            settle: Duration::from_millis(300),
            delay: Duration::from_millis(100),
            window: Duration::from_millis(600),
            ready: Duration::from_millis(400),
            arrival: None,
        },
        lamps: Vec::new(),
        passes: Vec::new(),
        laid: Vec::new(),
        home_check: 0,
    }
}

pub(crate) struct Ports(pub(crate) SimulatedStand);

impl Boards for Ports {
    fn open(
        &mut self,
        board: usize,
        _: &str,
    ) -> Result<Box<dyn Port>, Box<dyn Error + Send + Sync>> {
        Ok(Box::new(self.0.port(BoardId(board))?))
    }

    fn port_name(&self, _: usize) -> String {
        "simulated".into()
    }
}

#[derive(Default)]
pub(crate) struct Operator {
    pub(crate) verdicts: Vec<Option<bool>>,
    pub(crate) asked: Vec<Question>,
    pub(crate) others: Vec<Option<Vec<u32>>>,
    pub(crate) asked_others: Vec<(Vec<Span>, u32)>,
    pub(crate) again: Vec<Option<bool>>,
    pub(crate) doubts: Vec<Suspects>,
    pub(crate) readings: Vec<f64>,
    pub(crate) problems: Vec<Option<HandProblem>>,
    /// What was to be done by hand, before which exposure, and whether it was all of it.
    pub(crate) arranged: Vec<(Turn, Vec<Chore>, bool)>,
    /// The time that the person, asked for something to be done, says nothing; counted from 1.
    pub(crate) leaves_at: usize,
}

/// The exposure of a frame, where every frame gets one.
pub(crate) fn frame(frame: u32) -> Turn {
    Turn {
        number: frame,
        frame,
        pass: 0,
        several: false,
    }
}

impl Person for Operator {
    fn set(&mut self, request: &HandRequest<'_>) -> Option<f64> {
        self.problems.push(request.problem.clone());
        if self.readings.is_empty() {
            Some(request.reading)
        } else {
            Some(self.readings.remove(0))
        }
    }

    fn exposed(&mut self, question: &Question) -> Option<bool> {
        self.asked.push(question.clone());
        if self.verdicts.is_empty() {
            None
        } else {
            self.verdicts.remove(0)
        }
    }

    fn others(&mut self, frames: &[Span], most: u32) -> Option<Vec<u32>> {
        self.asked_others.push((frames.to_vec(), most));
        if self.others.is_empty() {
            None
        } else {
            self.others.remove(0)
        }
    }

    fn fire(&mut self, _: Turn) -> Option<bool> {
        None
    }

    fn arrange(&mut self, arrangement: &Arrangement<'_>) -> Option<()> {
        let chores = arrangement.chores.to_vec();
        self.arranged
            .push((arrangement.turn, chores, arrangement.first));
        (self.arranged.len() != self.leaves_at).then_some(())
    }

    fn again(&mut self, suspects: &Suspects) -> Option<bool> {
        self.doubts.push(suspects.clone());
        if self.again.is_empty() {
            None
        } else {
            self.again.remove(0)
        }
    }
}

pub(crate) struct Bench {
    pub(crate) sim: SimulatedStand,
    pub(crate) disk: SimulatedDisk,
    pub(crate) schedule: Schedule,
    pub(crate) person: Operator,
    pub(crate) interrupt: AtomicBool,
}

/// The first entry of a take of a schedule.
pub(crate) fn begun(schedule: &Schedule, shot: ShotId) -> Entry {
    Entry::begun(schedule, "art", "", shot)
}

/// The main board starts anew, and its mark survives.
pub(crate) fn reset() -> Fault {
    Fault::Reset {
        board: MAIN,
        keep_mark: true,
        drop_port: false,
    }
}

pub(crate) fn stamp() -> Stamp {
    Box::new(|| jiff::Timestamp::UNIX_EPOCH)
}

impl Bench {
    pub(crate) fn new() -> Self {
        Self::with(schedule(false))
    }

    pub(crate) fn with(schedule: Schedule) -> Self {
        Self {
            sim: SimulatedStand::new(&stand(), &Options::default()),
            disk: SimulatedDisk::default(),
            schedule,
            person: Operator::default(),
            interrupt: AtomicBool::new(false),
        }
    }

    /// Goes on with the journal on the disk, or begins one.
    pub(crate) fn journal(&self) -> Result<Journal, JournalError> {
        match Journal::resume(Box::new(self.disk.clone()), stamp()) {
            // Nothing of the first line was safe: the take's folder would not be there yet.
            Err(JournalError::Empty) => {
                if !self.disk.bytes().is_empty() {
                    self.disk.clone().cut(0)?;
                }
                let begun = begun(&self.schedule, SHOT);
                Journal::begin(Box::new(self.disk.clone()), stamp(), &begun)
            }
            other => other,
        }
    }

    pub(crate) fn shoot(&mut self) -> Result<Outcome, TakeError> {
        self.shoot_watched(|_, _| ())
    }

    pub(crate) fn shoot_watched(
        &mut self,
        watch: impl FnMut(&Progress<'_>, &SimulatedStand),
    ) -> Result<Outcome, TakeError> {
        self.shoot_edited(&[], watch)
    }

    pub(crate) fn shoot_edited(
        &mut self,
        edits: &[Edit],
        mut watch: impl FnMut(&Progress<'_>, &SimulatedStand),
    ) -> Result<Outcome, TakeError> {
        let mut journal = self.journal()?;
        let sim = self.sim.clone();
        let mut watch = |progress: &Progress<'_>| watch(progress, &sim);
        self.on_stage(&mut watch, None, |schedule, stage| {
            shoot(schedule, &mut journal, stage, edits)
        })
    }

    /// Does something with the bench's stand and person; `interrupt` is another flag than its own.
    pub(crate) fn on_stage<T>(
        &mut self,
        watch: &mut dyn Watch,
        interrupt: Option<&AtomicBool>,
        what: impl FnOnce(&Schedule, &mut Stage<'_>) -> T,
    ) -> T {
        let mut stage = Stage {
            boards: &mut Ports(self.sim.clone()),
            clock: Rc::new(self.sim.clock()),
            person: &mut self.person,
            watch,
            trigger: &mut (),
            album: None,
            interrupt: interrupt.unwrap_or(&self.interrupt),
        };
        what(&self.schedule, &mut stage)
    }

    pub(crate) fn entries(&self) -> Vec<Entry> {
        replay(&self.disk.bytes()).unwrap().history
    }

    /// Every frame exposed exactly once, in its place, nothing moved meanwhile, no law broken.
    pub(crate) fn assert_exact(&self, context: &str) {
        assert_eq!(self.sim.releases(), FRAMES, "{context}");
        assert_eq!(self.sim.exposures().len(), FRAMES as usize, "{context}");
        self.assert_last_exposures(context);
    }

    /// The last exposure of every frame in its place, nothing moved meanwhile, no law broken. Each
    /// slot that the journal has closed as exposed is one exposure of the camera.
    pub(crate) fn assert_last_exposures(&self, context: &str) {
        let exposures = self.sim.exposures();
        let (mut frames, mut open) = (Vec::new(), 0);
        for entry in self.entries() {
            match entry {
                Entry::Intent { frame, .. } => open = frame,
                Entry::Done { .. } | Entry::Verdict { exposed: true, .. } => frames.push(open),
                _ => {}
            }
        }
        assert_eq!(frames.len(), exposures.len(), "{context}: {frames:?}");
        for frame in 1..=FRAMES {
            let last = frames.iter().rposition(|&of| of == frame);
            let exposure = &exposures[last.expect("every frame is exposed")];
            assert!(!exposure.blurred, "{context}, frame {frame}");
            let targets = self.schedule.motors_at(frame).unwrap();
            let pose = [
                exposure.pose.levels[0].east_mm,
                exposure.pose.levels[0].lift_mm,
                exposure.pose.levels[1].east_mm,
            ];
            for (is, target) in pose.iter().zip(targets) {
                let off = is - f64::from(*target) / STEPS_PER_MM;
                // The targets are whole steps, and so is the slack, which has been taken up from
                // below. What is left is where the home switch trips between two steps of the slow
                // approach: it is found at the later one. Its hysteresis has no part in it, as only
                // the tripping counts.
                assert!(
                    off.abs() <= 1.0 / STEPS_PER_MM + 1e-6,
                    "{context}, frame {frame}: off by {off} mm"
                );
            }
        }
        assert!(
            self.sim.violations().is_empty(),
            "{context}: {:?}",
            self.sim.violations()
        );
        assert_eq!(self.entries().last(), Some(&Entry::Finished), "{context}");
    }
}

pub(crate) fn sim_now(sim: &SimulatedStand) -> Duration {
    use panestep::link::Clock;
    sim.clock().now()
}
