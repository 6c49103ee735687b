//! A stand as it is: what the stand file means once it has been read and found sound.
//!
//! Lengths are in millimetres and angles in degrees, as the names of the fields say. Quantities of
//! an axis are in the axis's own unit ([`AxisUnit`]): millimetres for the ways that slide,
//! degrees for those that turn.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::screw::Thread;

/// A whole stand.
#[derive(Clone, Debug, PartialEq)]
pub struct Stand {
    /// What its builder calls it.
    pub name: String,
    /// Lens and picture.
    pub lens: Lens,
    /// Boards, in the file's order.
    pub boards: Vec<Board>,
    /// Levels, from the lens downwards.
    pub levels: Vec<Level>,
    /// Axes, in the file's order.
    pub axes: Vec<Axis>,
    /// Lamps, in the file's order.
    pub lamps: Vec<Lamp>,
    /// How the picture is taken.
    pub shutter: Shutter,
    /// The folder that the camera's pictures arrive in, where it is watched.
    pub arrival: Option<Arrival>,
    /// How many exposures are made between two home checks, each pass of a frame being one; 0 for a check at the end only.
    pub home_check: u32,
    /// Least free height between two levels' glass that a plan may leave, mm.
    pub clearance_mm: f64,
}

/// The lens and the picture behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct Lens {
    /// Focal length, mm.
    pub focal_length_mm: f64,
    /// Marked f-number.
    pub f_number: f64,
    /// The picture on the sensor or film.
    pub picture: Picture,
    /// Height of the entrance pupil above the bed with the camera's lift at zero, mm.
    pub height_mm: f64,
    /// The level that is in focus where no focus pull says otherwise.
    pub focus: LevelId,
    /// Diameter on the sensor up to which a blurred point counts as sharp, mm.
    pub circle_of_confusion_mm: f64,
    /// How the camera swings once it is pushed, where that has been measured.
    pub swing: Option<Swing>,
}

/// The picture on the sensor or film.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Picture {
    /// Width, east to west, mm.
    pub width_mm: f64,
    /// Height, north to south, mm.
    pub height_mm: f64,
    /// Width in pixels.
    pub columns: u32,
    /// Height in pixels.
    pub rows: u32,
}

/// Place of a level in [`Stand::levels`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LevelId(pub usize);

/// Place of a board in [`Stand::boards`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BoardId(pub usize);

/// Place of an axis in [`Stand::axes`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct AxisId(pub usize);

/// One pane and its carriage.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Its name.
    pub name: String,
    /// Height of the painted face above the bed, with the level's lift at zero, mm.
    pub height_mm: f64,
    /// The glass.
    pub pane: Pane,
    /// How it swings once it is pushed, where that has been measured.
    pub swing: Option<Swing>,
}

/// How a carriage swings and comes to rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Swing {
    /// Natural frequency, hertz.
    pub frequency_hz: f64,
    /// Damping ratio, above 0 and below 1.
    pub damping: f64,
}

/// A sheet of glass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pane {
    /// East to west, mm.
    pub width_mm: f64,
    /// North to south, mm.
    pub height_mm: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Refractive index.
    pub index: f64,
    /// The painted face.
    pub art: Face,
}

/// A face of a pane.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Face {
    /// The face toward the lens.
    Upper,
    /// The face toward the bed: the lens sees the art through the pane itself.
    Under,
}

/// A control board.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Board {
    /// Its name, which is also the one that the board itself answers to.
    pub name: String,
    /// Where it is reached.
    pub port: PortName,
    /// The day on which somebody has last seen the stop stop its motors.
    pub stop_tested: Option<jiff::civil::Date>,
}

/// Where a board is reached.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortName {
    /// A simulated board inside this program.
    Simulated,
    /// A serial port by its system name.
    Serial(String),
}

/// What an axis carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Carrier {
    /// A level.
    Level(LevelId),
    /// The camera.
    Camera,
}

/// Which way an axis goes when its position grows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum Way {
    /// To the right of the picture.
    East,
    /// To the top of the picture.
    North,
    /// Toward the lens; for the camera, away from the bed.
    Lift,
    /// Counter-clockwise as the lens sees it.
    Turn,
    /// The lens's ring; its table says which distance each position focuses on.
    Focus,
}

/// The unit of an axis's quantities.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum AxisUnit {
    /// Millimetres.
    Millimetre,
    /// Degrees.
    Degree,
}

/// One axis. Quantities are in the axis's unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// What it carries.
    pub of: Carrier,
    /// Which way.
    pub way: Way,
    /// What moves it.
    pub drive: Drive,
    /// Least and greatest position.
    pub travel: (f64, f64),
    /// Slack of the drive: how far it turns at a reversal before the carriage follows.
    pub backlash: f64,
    /// For [`Way::Focus`]: pairs of ring position (degrees, rising) and focused distance from the
    /// entrance pupil (mm); empty otherwise.
    pub focus_table: Vec<(f64, f64)>,
}

/// What moves an axis.
#[derive(Clone, Debug, PartialEq)]
pub enum Drive {
    /// A stepper motor.
    Motor(Motor),
    /// A person at a crank, by a scale.
    Hand {
        /// The scale's division.
        scale: f64,
        /// What a lift hangs on, where the file says it; without a motor's torque.
        screw: Option<Screw>,
    },
}

impl Drive {
    /// What a lift hangs on, where the file says it.
    #[must_use]
    pub const fn screw(&self) -> Option<&Screw> {
        match self {
            Self::Motor(Motor { screw, .. }) | Self::Hand { screw, .. } => screw.as_ref(),
        }
    }
}

/// A stepper motor on a board. Quantities are in the axis's unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Motor {
    /// The board.
    pub board: BoardId,
    /// The axis number on that board.
    pub channel: u8,
    /// Full steps of one turn.
    pub steps: u32,
    /// Steps that the driver makes of a full one.
    pub microsteps: u32,
    /// Steps (microsteps) that move the axis by one unit.
    pub steps_per_unit: f64,
    /// Whether the motor has to turn the other way round.
    pub reversed: bool,
    /// Greatest speed, units a second.
    pub speed: f64,
    /// Greatest acceleration, units a second squared.
    pub acceleration: f64,
    /// Greatest jerk, units a second cubed.
    pub jerk: f64,
    /// Speed that needs no ramp, used until homed and for the second approach to the switch.
    pub slow: f64,
    /// The home switch.
    pub home: Home,
    /// For a lift: the screw that it turns and what hangs on it, where the file says.
    pub screw: Option<Screw>,
}

impl Motor {
    /// How far one turn moves the axis, in its unit.
    #[must_use]
    pub fn per_turn(&self) -> f64 {
        f64::from(self.steps) * f64::from(self.microsteps) / self.steps_per_unit
    }
}

/// What turns a lift's motor's or crank's turning into lifting, and what hangs on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Screw {
    /// Screw, ball screw or belt.
    pub kind: ScrewKind,
    /// Mass that this motor or crank lifts, kg. Screws that one motor turns together share it, and need the
    /// same torque as one of them would alone.
    pub load_kg: f64,
    /// Turns of motor or crank for one turn of the screw.
    pub gear: f64,
    /// Holding torque of the motor, newton metres, where it is given; none of a crank.
    pub motor_torque_nm: Option<f64>,
    /// Torque of a brake on the screw that closes without power, newton metres, where there is one.
    pub brake_torque_nm: Option<f64>,
}

/// Screw, ball screw or belt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ScrewKind {
    /// A screw that slides in its nut.
    Sliding {
        /// The thread.
        thread: Thread,
        /// Least and greatest friction of nut on screw: the least decides whether it holds, the
        /// greatest what the motor has to turn.
        friction: (f64, f64),
        /// Mean diameter of a plain collar that bears the load, mm, where no ball bearing does.
        collar_mm: Option<f64>,
    },
    /// A ball screw or a belt: what hangs on it runs back.
    Rolling {
        /// What one turn carries the load, mm.
        lead_mm: f64,
        /// Part of the work put in that raises the load.
        efficiency: f64,
    },
}

impl ScrewKind {
    /// What one turn carries the load, mm.
    #[must_use]
    pub fn lead_mm(&self) -> f64 {
        match self {
            Self::Sliding { thread, .. } => thread.lead_mm(),
            Self::Rolling { lead_mm, .. } => *lead_mm,
        }
    }
}

/// A home switch. Quantities are in the axis's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Home {
    /// Position at which it trips; outside the travel.
    pub switch: f64,
    /// How far two findings of it may lie apart.
    pub within: f64,
}

/// A lamp that can be switched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lamp {
    /// Its name.
    pub name: String,
    /// What switches it.
    pub switched: LampSwitch,
    /// From switching it until its light is steady.
    pub warm_up: Duration,
}

/// What switches a lamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LampSwitch {
    /// A board's lamp output.
    Board {
        /// The board.
        board: BoardId,
        /// Its number among that board's lamp outputs, from 0.
        output: u8,
    },
    /// A person.
    Hand,
}

/// How the picture is taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Shutter {
    /// What makes it happen.
    pub release: Release,
    /// Rest between the last step and the exposure.
    pub settle: Duration,
    /// How long the shutter is open.
    pub exposure: Duration,
    /// Longest time from release to the opening of the shutter.
    pub delay: Duration,
    /// From the end of an exposure until the camera can take the next.
    pub ready: Duration,
    /// Whether the shutter is open for as long as a board closes the release line; else the camera
    /// times its exposures itself, or is told by a command.
    pub timed_by_release: bool,
}

/// What makes the camera expose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Release {
    /// A board's release line.
    Board {
        /// The board.
        board: BoardId,
        /// How long the half-press line is closed before the release line; zero for none.
        half_press: Duration,
        /// How long the release line is closed.
        press: Duration,
        /// Whether the camera's flash contact is wired to the board.
        flash_contact: bool,
    },
    /// A program of the user's own, which takes the picture and then ends with exit code 0.
    Command {
        /// The program and its arguments. `{frame}` in an argument stands for the frame's number.
        words: Vec<String>,
        /// Longest time that it may take.
        time_out: Duration,
    },
    /// A person's finger.
    Hand,
}

/// Where the camera's pictures arrive.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Arrival {
    /// The folder, as written in the stand file: relative to that file's own folder.
    pub folder: String,
    /// Longest time from the end of the exposure until its picture lies there, whole.
    pub within: Duration,
}

/// Where everything on the stand is, physically or by intent.
#[derive(Clone, Debug, PartialEq)]
pub struct StandPose {
    /// One for each level, in the stand's order.
    pub levels: Vec<CarrierPose>,
    /// The camera.
    pub camera: CarrierPose,
    /// Distance from the entrance pupil on which the lens is focused, apparent, mm.
    pub focus_mm: f64,
}

/// Where one carrier is, from the zeros of its axes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CarrierPose {
    /// To the east, mm.
    pub east_mm: f64,
    /// To the north, mm.
    pub north_mm: f64,
    /// Up, mm.
    pub lift_mm: f64,
    /// Counter-clockwise as the lens sees it, degrees.
    pub turn_degrees: f64,
}

impl Way {
    /// The unit of an axis that goes this way.
    #[must_use]
    pub const fn unit(self) -> AxisUnit {
        match self {
            Self::East | Self::North | Self::Lift => AxisUnit::Millimetre,
            Self::Turn | Self::Focus => AxisUnit::Degree,
        }
    }

    /// What people call going this way: with a growing position, and with a falling one.
    #[must_use]
    pub const fn directions(self) -> [&'static str; 2] {
        match self {
            Self::East => ["east", "west"],
            Self::North => ["north", "south"],
            Self::Lift => ["up", "down"],
            Self::Turn => ["counter-clockwise", "clockwise"],
            Self::Focus => ["toward far", "toward near"],
        }
    }

    /// What people call going by an amount with this sign.
    #[must_use]
    pub const fn toward(self, by: f64) -> &'static str {
        let [forth, back] = self.directions();
        if by < 0.0 { back } else { forth }
    }

    /// Its name in files and on the screen.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::East => "east",
            Self::North => "north",
            Self::Lift => "lift",
            Self::Turn => "turn",
            Self::Focus => "focus",
        }
    }

    /// What can be typed for going this way: for a growing position two words, for a falling one
    /// the last. They follow from [`Self::directions`] and [`Self::name`].
    #[must_use]
    pub fn words(self) -> [&'static str; 3] {
        let [forth, back] = self.directions().map(|words| {
            let last = words.rsplit(' ').next();
            last.unwrap_or(words)
        });
        [forth, self.name(), back]
    }

    /// The way of a direction's word, and whether it is the one on which positions fall.
    #[must_use]
    pub fn of_word(word: &str) -> Option<(Self, bool)> {
        let ways = [Self::East, Self::North, Self::Lift, Self::Turn, Self::Focus];
        ways.into_iter().find_map(|way| {
            let [forth, name, back] = way.words();
            match word {
                _ if word == forth || word == name => Some((way, false)),
                _ if word == back => Some((way, true)),
                _ => None,
            }
        })
    }
}

impl Picture {
    /// Pixels to a millimetre on the sensor (the finer of the two ways).
    #[must_use]
    pub fn pixels_per_mm(&self) -> f64 {
        (f64::from(self.columns) / self.width_mm).max(f64::from(self.rows) / self.height_mm)
    }

    /// Distance of a corner from the middle, mm on the sensor.
    #[must_use]
    pub fn corner_mm(&self) -> f64 {
        self.width_mm.hypot(self.height_mm) / 2.0
    }
}

impl AxisUnit {
    /// Its sign: `mm` or `deg`.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Degree => "deg",
        }
    }
}

impl Stand {
    /// The level or `camera`: the name of what an axis carries.
    #[must_use]
    pub fn carrier_name(&self, carrier: Carrier) -> &str {
        match carrier {
            Carrier::Level(LevelId(level)) => &self.levels[level].name,
            Carrier::Camera => "camera",
        }
    }

    /// The axis that moves a carrier a certain way, where there is one.
    #[must_use]
    pub fn axis(&self, of: Carrier, way: Way) -> Option<AxisId> {
        self.axes
            .iter()
            .position(|axis| axis.of == of && axis.way == way)
            .map(AxisId)
    }
}
