//! Where the boards of a command are: on serial ports, or in a simulated stand. Nothing behind
//! this can tell them apart.

use std::error::Error;
use std::io;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::time::Duration;

use panestep::link::{Clock, Port, SerialPort, SystemClock};
use panestep::picture::{self, Scene};
use panestep::schedule::Schedule;
use panestep::shot::Shot;
use panestep::sim::{Options, SimulatedStand};
use panestep::stand::{Axis, AxisId, BoardId, Drive, PortName, Stand, StandPose, Way};
use panestep::take::Boards;

use super::screen::Progress;
use super::{Failure, args};

/// The boards of a stand.
pub(crate) enum Rig {
    /// On serial ports, in the stand's order; none where everything is moved by hand.
    Serial(Vec<String>),
    /// Simulated, with virtual time.
    Simulated(SimulatedStand),
}

impl Rig {
    /// Finds out where the boards are; opens nothing. `past` is how much has happened to the take
    /// before: a simulated stand is another one each time, as boards that have been off are.
    pub(crate) fn new(
        stand: &Stand,
        ports: &args::Ports,
        simulated: &args::Simulated,
        past: u64,
    ) -> Result<Self, Failure> {
        for (board, _) in &ports.ports {
            if !stand.boards.iter().any(|known| known.name == *board) {
                let names: Vec<&str> = stand
                    .boards
                    .iter()
                    .map(|board| board.name.as_str())
                    .collect();
                return Err(Failure::wrong(format!(
                    "--port {board}=...: {} has no board {board:?}",
                    stand.name
                ))
                .hint(if names.is_empty() {
                    "it has no boards at all".to_owned()
                } else {
                    format!("its boards are: {}", names.join(", "))
                }));
            }
        }
        let at = |name: &str, port: &PortName| {
            let typed = ports.ports.iter().rev().find(|(board, _)| board == name);
            match (typed, port) {
                (Some((_, port)), _) => Some(port.clone()).filter(|port| port != "simulated"),
                (None, PortName::Serial(port)) => Some(port.clone()),
                (None, PortName::Simulated) => None,
            }
        };
        let serial: Vec<Option<String>> = stand
            .boards
            .iter()
            .map(|board| at(&board.name, &board.port))
            .collect();
        let real = serial.iter().flatten().count();
        if real == 0 && !serial.is_empty() {
            let options = Options {
                seed: simulated.seed.wrapping_add(past << 32),
                ..Options::default()
            };
            return Ok(Self::Simulated(SimulatedStand::new(stand, &options)));
        }
        if real < serial.len() {
            let missing: Vec<&str> = stand
                .boards
                .iter()
                .zip(&serial)
                .filter(|(_, port)| port.is_none())
                .map(|(board, _)| board.name.as_str())
                .collect();
            return Err(Failure::wrong(format!(
                "a stand is either simulated or real, but only some of {}'s boards are simulated: {}",
                stand.name,
                missing.join(", ")
            ))
            .hint("give each of them its port with --port BOARD=PORT or in the stand file"));
        }
        Ok(Self::Serial(serial.into_iter().flatten().collect()))
    }

    /// With a simulated camera that holds its shutter open for as long as its release is pressed, where
    /// that is how a pass is exposed. The other arguments are those of [`Self::new`].
    pub(crate) fn for_passes(
        self,
        schedule: &Schedule,
        stand: &Stand,
        simulated: &args::Simulated,
        past: u64,
    ) -> Self {
        let by_line = schedule.exposure.board().is_some()
            && schedule
                .passes
                .iter()
                .any(|pass| pass.press == pass.exposure && !pass.set_by_hand);
        if !(by_line && self.is_simulated()) {
            return self;
        }
        let options = Options {
            seed: simulated.seed.wrapping_add(past << 32),
            press_times: true,
            ..Options::default()
        };
        Self::Simulated(SimulatedStand::new(stand, &options))
    }

    /// The clock that goes with the boards.
    pub(crate) fn clock(&self) -> Rc<dyn Clock> {
        match self {
            Self::Serial(_) => Rc::new(SystemClock::default()),
            Self::Simulated(stand) => Rc::new(stand.clock()),
        }
    }

    /// Sees that the stop of every real board that moves something has been tested: nothing looks for
    /// a home switch before. `file` is the stand's.
    pub(crate) fn stop_is_tested(&self, stand: &Stand, file: &Path) -> Result<(), Failure> {
        let moves = |board: usize| {
            let its = |axis: &Axis| matches!(&axis.drive, Drive::Motor(motor) if motor.board == BoardId(board));
            stand.axes.iter().any(its)
        };
        let untested: Vec<&str> = stand
            .boards
            .iter()
            .enumerate()
            .filter(|&(place, board)| board.stop_tested.is_none() && moves(place))
            .map(|(_, board)| board.name.as_str())
            .collect();
        if self.is_simulated() || untested.is_empty() {
            return Ok(());
        }
        let mut command = format!("panestep power-up --stand {}", super::take::quoted(file));
        if let Self::Serial(ports) = self {
            for (board, port) in stand.boards.iter().zip(ports) {
                if board.port != PortName::Serial(port.clone()) {
                    let port = format!("{}={port}", board.name);
                    command.push_str(&format!(
                        " --port {}",
                        super::take::quoted(Path::new(&port))
                    ));
                }
            }
        }
        Err(Failure::wrong(format!(
            "nobody has seen yet that the stop stops what board {} moves: its [[board]] in the \
             stand file has no `stop_tested`, and nothing is homed before",
            untested.join(", and board ")
        ))
        .hint(format!(
            "nothing was moved. This goes through the first power-up with you, and writes it: {command}"
        )))
    }

    /// A person at the stand has set a hand axis; a simulated stand's carriage goes there.
    pub(crate) fn crank(&self, axis: AxisId, reading: f64) {
        if let Self::Simulated(stand) = self {
            stand.crank(axis, reading);
        }
    }

    /// A person at the stand has set the camera's exposure time; a simulated camera has it then.
    pub(crate) fn set_exposure(&self, time: Duration) {
        if let Self::Simulated(stand) = self {
            stand.set_exposure(time);
        }
    }

    /// A simulated stand that is not quite as its file says: how many times as far as by the file an
    /// axis goes with each step, and its slack.
    pub(crate) fn be(
        &mut self,
        stand: &Stand,
        seed: u64,
        axis: AxisId,
        scale: Option<f64>,
        slack: Option<f64>,
    ) {
        let options = Options {
            seed,
            scales: scale.map(|scale| (axis, scale)).into_iter().collect(),
            slacks: slack.map(|slack| (axis, slack)).into_iter().collect(),
            ..Options::default()
        };
        if self.is_simulated() {
            *self = Self::Simulated(SimulatedStand::new(stand, &options));
        }
    }

    /// Where a simulated stand's axis really is, as a perfect dial would read it; none on a real one.
    pub(crate) fn dial(&self, axis: AxisId) -> Option<f64> {
        match self {
            Self::Simulated(stand) => stand.position(axis),
            Self::Serial(_) => None,
        }
    }

    /// Whether the boards are simulated.
    pub(crate) fn is_simulated(&self) -> bool {
        matches!(self, Self::Simulated(_))
    }
}

impl Boards for &Rig {
    fn open(
        &mut self,
        board: usize,
        name: &str,
    ) -> Result<Box<dyn Port>, Box<dyn Error + Send + Sync>> {
        match self {
            Rig::Serial(ports) => {
                let port = ports
                    .get(board)
                    .ok_or_else(|| format!("board {name:?} has no port"))?;
                Ok(Box::new(SerialPort::open(port)?))
            }
            Rig::Simulated(stand) => Ok(Box::new(stand.port(BoardId(board))?)),
        }
    }

    fn port_name(&self, board: usize) -> String {
        match self {
            Rig::Serial(ports) => ports.get(board).cloned().unwrap_or_default(),
            Rig::Simulated(_) => "simulated".to_owned(),
        }
    }
}

/// The place in the stand of a hand axis that moves a carrier a certain way.
pub(crate) fn hand_axis(stand: &Stand, carrier: &str, way: Way) -> Option<AxisId> {
    stand
        .axes
        .iter()
        .position(|axis| {
            matches!(axis.drive, Drive::Hand { .. })
                && axis.way == way
                && stand.carrier_name(axis.of) == carrier
        })
        .map(AxisId)
}

/// Loads a shot's art.
pub(crate) fn scene(stand: &Stand, shot: &Shot) -> Result<Scene, Failure> {
    let mut progress = Progress::new("loading the art", shot.layers.len() as u64);
    let scene = Scene::load(stand, shot, |done, files| {
        progress.of(done as u64, files as u64, "")
    })
    .map_err(|error| Failure::wrong(error).hint("nothing was moved"));
    progress.done();
    scene
}

/// A simulated camera: photographs the stand as it is.
pub(crate) type Shutter = Rc<dyn Fn(&StandPose) -> io::Result<()>>;

/// A simulated camera for a scene; `what` tells the frame whose drawings lie on the levels and the
/// pass that they are lit and taken out for, by its place; `file` gives each photograph's file.
pub(crate) fn shutter(
    stand: &Stand,
    scene: Scene,
    what: impl Fn() -> (u32, usize) + 'static,
    file: impl Fn() -> io::Result<PathBuf> + 'static,
) -> Shutter {
    let size = (stand.lens.picture.columns, stand.lens.picture.rows);
    Rc::new(move |pose| {
        let file = file()?;
        let (frame, pass) = what();
        let mut picture = scene
            .photograph_of(frame, pass, pose, size)
            .map_err(io::Error::other)?;
        picture::add_noise(&mut picture, number_of(&file));
        picture::write_png(&picture, &file).map_err(io::Error::other)
    })
}

/// Lets the simulated stand's release fire a simulated camera.
pub(crate) fn wire(simulated: &SimulatedStand, shutter: &Shutter) {
    let shutter = Rc::clone(shutter);
    simulated.on_exposure(move |pose, _| shutter(pose));
}

/// A number that follows from a photograph's name: no two of a take have the same noise, and the
/// same run has the same files.
fn number_of(file: &Path) -> u64 {
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    // FNV-1a (draft-eastlake-fnv).
    name.bytes().fold(0xCBF2_9CE4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3)
    })
}

/// A frame's picture in a take's folder: no picture is ever overwritten, later exposures of the
/// frame have their number in their name.
pub(crate) fn picture_of_frame(folder: &Path, frame: u32, pass: Option<usize>) -> PathBuf {
    // The rows that are asked for do not end.
    (1..)
        .map(|exposure| folder.join(picture::exposure_name(frame, pass, exposure)))
        .find(|path| path.symlink_metadata().is_err())
        .unwrap_or_default()
}

/// The next picture on a camera's card, which knows no frames and counts on.
pub(crate) fn picture_of_camera(folder: &Path) -> io::Result<PathBuf> {
    let mut last = 0;
    for entry in std::fs::read_dir(folder)? {
        let name = entry?.file_name();
        let number = name
            .to_str()
            .and_then(|name| name.strip_prefix("picture-")?.split('.').next())
            .and_then(|digits| digits.parse::<u32>().ok());
        last = last.max(number.unwrap_or(0));
    }
    Ok(folder.join(format!("picture-{:05}.png", last.saturating_add(1))))
}
