//! A small stand with short ways and short times, so that a take is over in a few thousand ticks.

use std::time::Duration;

use panestep::schedule::{self, Exposure, HandAxis, Laid, MotorAxis, Pass, Schedule};
use panestep::shot::When;
use panestep::sim::{Options, Random};
use panestep::stand::{
    Axis, AxisId, AxisUnit, Board, BoardId, Carrier, Drive, Face, Home, Lens, Level, LevelId,
    Motor, Pane, Picture, PortName, Release, Shutter, Stand, Way,
};
use serde::{Deserialize, Serialize};

/// Steps for a millimetre.
pub const STEPS_PER_MM: f64 = 100.0;
/// The camera's board.
pub const CAMERA: usize = 0;
/// Motor axes, in the stand's order.
pub const MOTORS: usize = 3;
/// The hand axis, where there is one.
pub const HAND: AxisId = AxisId(MOTORS);
const PRESS: Duration = Duration::from_millis(40);
const EXPOSURE: Duration = Duration::from_millis(50);
const DELAY: Duration = Duration::from_millis(20);
/// From the closing of the release until the shutter has certainly closed, even where the camera
/// exposes twice: a second contact has to fall within it.
pub const WINDOW: Duration = Duration::from_millis(130);

/// What a stand is like.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Build {
    /// One board or two.
    pub boards: usize,
    /// Whether the lower level is also moved by hand.
    pub hand: bool,
    /// Whether the flash contact is wired.
    pub flash_contact: bool,
    /// Whether the press times the exposure.
    pub press_times: bool,
    /// Whether the level that lifts sinks when its motor lets go.
    pub runs_back: bool,
    /// Whether there are switches at the far ends.
    pub far_switches: bool,
    /// What fires the camera.
    #[serde(default)]
    pub fire: Fire,
    /// Whether pictures arrive in a folder that is watched.
    #[serde(default)]
    pub pictures: bool,
    /// How many frames there are between two home checks; 0 for one at the end.
    #[serde(default)]
    pub home_check: u32,
    /// How often each frame is exposed, and in which light.
    #[serde(default)]
    pub passes: Passes,
}

/// The exposures that every frame gets.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Passes {
    /// One, without lamps.
    #[default]
    One,
    /// Two, the second before the next frame. Lamps are switched, and a drawing is laid for each
    /// frame.
    EachFrame,
    /// Two, the second when all frames have had the first; for it a level is taken out.
    AfterRun,
}

/// From switching a lamp until its light is steady.
pub const WARM_UP: Duration = Duration::from_millis(120);

/// The level that drawings lie on.
pub const DRAWN: &str = "sky";
/// The level that is taken out.
pub const OUT: &str = "reeds";

/// The drawing of a frame.
#[must_use]
pub fn drawing(frame: u32) -> String {
    format!("gull-{}", frame.div_ceil(2))
}

/// The lamps that burn on a board in a pass of so many boards: one on the first board in the first
/// pass, another on the last board in the second.
#[must_use]
pub fn burning(boards: usize, board: usize, pass: usize) -> u8 {
    match pass {
        0 if board == 0 => 0b01,
        1 if board + 1 == boards => 0b10,
        _ => 0,
    }
}

/// What fires the camera.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fire {
    /// A board.
    #[default]
    Board,
    /// A command.
    Command,
    /// A finger.
    Hand,
}

/// Longest time until a picture has arrived.
pub const ARRIVAL: Duration = Duration::from_millis(300);
/// Longest time that the command may take.
pub const TIME_OUT: Duration = Duration::from_secs(2);

/// Of how many axes the switch is at the lower end, and so on, is always the same.
fn slide(of: usize, way: Way, board: usize, channel: u8, low: bool) -> Axis {
    Axis {
        of: Carrier::Level(LevelId(of)),
        way,
        drive: Drive::Motor(Motor {
            board: BoardId(board),
            channel,
            steps: 200,
            microsteps: 16,
            steps_per_unit: STEPS_PER_MM,
            reversed: channel == 1,
            speed: 8.0,
            acceleration: 100.0,
            jerk: 2000.0,
            slow: 3.0,
            home: Home {
                switch: if low { -1.9 } else { 1.9 },
                within: 0.02,
            },
            screw: None,
        }),
        travel: (-1.5, 1.5),
        backlash: 0.05,
        focus_table: Vec::new(),
    }
}

impl Build {
    /// The stand.
    #[must_use]
    pub fn stand(&self) -> Stand {
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
        let second = self.boards - 1;
        let mut axes = vec![
            slide(0, Way::East, 0, 0, true),
            slide(0, Way::Lift, 0, 1, false),
            slide(1, Way::East, second, 2, true),
        ];
        if self.hand {
            axes.push(Axis {
                drive: Drive::Hand {
                    scale: 0.1,
                    screw: None,
                },
                ..slide(1, Way::North, 0, 7, true)
            });
        }
        Stand {
            name: "small stand".to_owned(),
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
            boards: ["main", "lower"][..self.boards]
                .iter()
                .map(|name| Board {
                    name: (*name).to_owned(),
                    port: PortName::Simulated,
                    stop_tested: None,
                })
                .collect(),
            levels: vec![level("reeds", 1200.0), level("sky", 600.0)],
            axes,
            lamps: Vec::new(),
            shutter: Shutter {
                release: match self.fire {
                    Fire::Board => Release::Board {
                        board: BoardId(CAMERA),
                        half_press: Duration::from_millis(20),
                        press: PRESS,
                        flash_contact: self.flash_contact,
                    },
                    Fire::Command => Release::Command {
                        words: vec!["fire".into()],
                        time_out: TIME_OUT,
                    },
                    Fire::Hand => Release::Hand,
                },
                settle: Duration::from_millis(50),
                exposure: self.exposure(),
                delay: DELAY,
                ready: Duration::from_millis(50),
                timed_by_release: false,
            },
            arrival: None,
            home_check: self.home_check,
            clearance_mm: 10.0,
        }
    }

    /// How long the shutter is to be open.
    #[must_use]
    pub const fn exposure(&self) -> Duration {
        if self.press_times { PRESS } else { EXPOSURE }
    }

    /// What to shoot, with positions that follow from a seed.
    #[must_use]
    pub fn schedule(&self, frames: u32, seed: u64) -> Schedule {
        let stand = self.stand();
        let steps = |mm: f64| (mm * STEPS_PER_MM).round() as i32;
        let motors: Vec<MotorAxis> = stand
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
                    step_pixels: 0.2,
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
        let mut random = Random::new(seed ^ 0x5EED);
        let motor_targets = (0..frames as usize * motors.len())
            .map(|_| random.between(-100.0, 140.0).round() as i32)
            .collect();
        let lifts: Vec<usize> = (0..motors.len())
            .filter(|&place| motors[place].way == Way::Lift)
            .collect();
        let hand_targets = (0..if self.hand { frames } else { 0 })
            .map(|frame| f64::from(frame / 2) * 0.3)
            .collect();
        Schedule {
            name: "a few frames".into(),
            boards: stand
                .boards
                .iter()
                .map(|board| board.name.clone())
                .collect(),
            lifts,
            motors,
            hands: if self.hand {
                vec![HandAxis {
                    of: "sky".into(),
                    way: Way::North,
                    unit: AxisUnit::Millimetre,
                    scale: 0.1,
                    travel: (-100.0, 100.0),
                }]
            } else {
                Vec::new()
            },
            frames,
            motor_targets,
            hand_targets,
            exposure: Exposure {
                release: match self.fire {
                    Fire::Board => schedule::Release::Board {
                        board: CAMERA,
                        half_press: Duration::from_millis(20),
                        press: PRESS,
                        flash_contact: self.flash_contact,
                    },
                    Fire::Command => schedule::Release::Command {
                        words: vec!["fire".into()],
                        time_out: TIME_OUT,
                    },
                    Fire::Hand => schedule::Release::Hand,
                },
                settle: Duration::from_millis(50),
                delay: Duration::from_millis(100),
                window: WINDOW,
                ready: Duration::from_millis(50),
                arrival: self.pictures.then_some(ARRIVAL),
            },
            lamps: self.lamps(),
            passes: self.exposures(),
            laid: if self.passes == Passes::One {
                Vec::new()
            } else {
                (1..=frames)
                    .map(|frame| Laid {
                        frame,
                        on: DRAWN.into(),
                        drawing: Some(drawing(frame)),
                    })
                    .collect()
            },
            home_check: self.home_check,
        }
    }

    fn lamps(&self) -> Vec<schedule::Lamp> {
        let lamp = |name: &str, board, output| schedule::Lamp {
            name: name.into(),
            output: Some((board, output)),
            warm_up: WARM_UP,
        };
        match self.passes {
            Passes::One => Vec::new(),
            _ => vec![lamp("day", 0, 0), lamp("dusk", self.boards - 1, 1)],
        }
    }

    fn exposures(&self) -> Vec<Pass> {
        let pass = |name: &str, when, lamp| Pass {
            name: name.into(),
            when,
            lamps: vec![lamp],
            without: Vec::new(),
            exposure: self.exposure(),
            press: PRESS,
            window: WINDOW,
            set_by_hand: false,
        };
        let first = pass("day", When::EachFrame, 0);
        match self.passes {
            Passes::One => Vec::new(),
            Passes::EachFrame => vec![first, pass("dusk", When::EachFrame, 1)],
            Passes::AfterRun => {
                let mut second = pass("dusk", When::AfterRun, 1);
                second.without.push(OUT.into());
                vec![first, second]
            }
        }
    }

    /// How its simulation is built.
    #[must_use]
    pub fn options(&self, seed: u64) -> Options {
        Options {
            seed,
            tick_rate: 5000,
            boot_time: Duration::from_millis(200),
            hysteresis: 0.05,
            overtravel: 0.7,
            far_switches: self.far_switches,
            runs_back: if self.runs_back {
                vec![AxisId(1)]
            } else {
                Vec::new()
            },
            press_times: self.press_times,
            ..Options::default()
        }
    }
}
