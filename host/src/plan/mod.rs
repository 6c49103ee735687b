//! Where every axis must stand at every frame: a pure function of a stand and a shot.
//!
//! * [`curve`]: values over the frames.
//! * [`curves`]: how everything moves over them.
//! * [`geometry`]: where everything must stand at a frame.
//! * [`Plan`]: targets for every axis, checked from the first frame to the last, or [`Refusals`].
//! * [`clearance`]: whether levels would touch in a move that no plan has checked.
//! * [`times`]: how long it all takes.
//! * [`survey`]: what it will look like: [`coverage`], [`strobing`], [`sharpness`].
//! * [`imaging`]: from a level's plane to the picture and back.
//! * [`output`]: the plan as a table, as CSV and as JSON.
//! * [`project`]: what the lens sees of a stand, and what the story would look like.
//!
//! Targets are absolute: `steps = round(position x steps per unit)` for a motor, the nearest
//! division of the scale for an axis moved by hand. No frame's rounding carries into the next.

mod axes;
mod check;
pub mod clearance;
pub mod coverage;
pub mod curve;
pub mod curves;
mod exposures;
pub mod geometry;
pub mod imaging;
mod lens;
pub mod output;
pub mod project;
pub mod refusals;
pub mod report;
pub mod sharpness;
mod sound;
pub mod strobing;
pub mod survey;
pub mod times;

use axes::{Axes, PlannedAxis, Target, set_position};
use check::Checks;
use exposures::exposure;
pub use geometry::{FramePose, Geometry, LevelView};
pub use refusals::{Fault, Refusal, Refusals};
pub use report::Report;

use crate::schedule::Schedule;
use crate::shot::Shot;
use crate::stand::{self, Carrier, Stand, StandPose};

/// A sound plan.
#[derive(Clone, Debug)]
pub struct Plan {
    geometry: Geometry,
    axes: Vec<PlannedAxis>,
    report: Report,
    schedule: Schedule,
    rate: f64,
}

impl Plan {
    /// Plans a shot on a stand whose boards run at [`times::DEFAULT_TICK_RATE`].
    ///
    /// # Errors
    ///
    /// Everything that speaks against it, see [`Fault`].
    pub fn new(stand: &Stand, shot: &Shot) -> Result<Self, Refusals> {
        Self::at_tick_rate(stand, shot, times::DEFAULT_TICK_RATE)
    }

    /// As [`Self::new`], for boards that send at most `tick_rate` steps a second.
    ///
    /// # Errors
    ///
    /// As [`Self::new`].
    pub fn at_tick_rate(stand: &Stand, shot: &Shot, tick_rate: u32) -> Result<Self, Refusals> {
        let geometry = Geometry::new(stand, shot)?;
        let mut refusals = Refusals::default();
        let axes = Axes::new(stand, tick_rate, &mut refusals);
        if let stand::Release::Board { board, .. } = stand.shutter.release
            && board.0 >= stand.boards.len()
        {
            refusals.add(Fault::Unsound {
                what: "the shutter's board is not one of the stand's".into(),
            });
        }
        if !refusals.is_empty() {
            return Err(refusals);
        }
        let frames = shot.frames as usize;
        let mut motor_targets = Vec::with_capacity(frames * axes.motors.len());
        let mut hand_targets = Vec::with_capacity(frames * axes.hands.len());
        let mut checks = Checks::new(stand, &axes.planned);

        let mut pose = geometry.blank();
        // Where everything stands when every axis is on its target.
        let mut reached: StandPose = pose.stand.clone();
        reached.camera = Default::default();
        reached.levels.fill(Default::default());
        let mut targets = vec![Target::Steps(0); axes.planned.len()];
        let mut frame = 1;
        while frame <= shot.frames {
            let held = shot.hold.min(shot.frames - frame + 1);
            geometry.pose_into(frame, &mut pose);
            checks.begin(frame, held);
            if checks.levels(stand, &pose) {
                for (index, axis) in axes.planned.iter().enumerate() {
                    let position = axis.position(&pose);
                    targets[index] = checks.axis(index, axis, position, &geometry, &pose);
                    set_position(
                        &mut reached,
                        axis.of,
                        axis.way,
                        axis.reached(targets[index]),
                    );
                }
                checks.missing(stand, &geometry, &pose);
                checks.heights(stand, &reached);
                checks.picture(&geometry, &pose);
            }
            for _ in 0..held {
                for target in &targets {
                    match *target {
                        Target::Steps(steps) => motor_targets.push(steps),
                        Target::Position(position) => hand_targets.push(position),
                    }
                }
            }
            frame += held;
        }
        let report = checks.finish()?;
        let lifts = axes.lifts();
        let first = geometry.pose(1);
        let mut motors = axes.motors;
        for motor in &mut motors {
            let of = axes
                .planned
                .iter()
                .find(|axis| axis.name == motor.name())
                .map_or(Carrier::Camera, |axis| axis.of);
            motor.step_pixels = geometry.pixels_per_unit(&first, of, motor.way) * motor.step_size;
        }
        Ok(Self {
            geometry,
            report,
            schedule: Schedule {
                name: shot.name.clone(),
                boards: board_names(stand),
                motors,
                lifts,
                hands: axes.hands,
                frames: shot.frames,
                motor_targets,
                hand_targets,
                exposure: exposure(stand),
                lamps: exposures::lamps(stand),
                passes: exposures::passes(stand, shot),
                laid: exposures::laid(stand, shot),
                home_check: stand.home_check,
            },
            axes: axes.planned,
            rate: shot.rate,
        })
    }

    /// What a take carries out.
    #[must_use]
    pub fn schedule(&self) -> &Schedule {
        &self.schedule
    }

    /// What a take carries out, without a copy of the targets.
    #[must_use]
    pub fn into_schedule(self) -> Schedule {
        self.schedule
    }

    /// Where everything must stand, before it is rounded to steps and divisions.
    #[must_use]
    pub fn geometry(&self) -> &Geometry {
        &self.geometry
    }

    /// What is left over and what to look out for.
    #[must_use]
    pub fn report(&self) -> &Report {
        &self.report
    }

    /// Where the stand is at a frame when every axis is on its target: motors on their steps,
    /// hands on their divisions. `None` beyond the shot's ends.
    #[must_use]
    pub fn stepped(&self, frame: u32) -> Option<StandPose> {
        let mut motors = self.schedule.motors_at(frame)?.iter();
        let mut hands = self.schedule.hands_at(frame)?.iter();
        let exact = self.geometry.pose(frame).stand;
        let mut pose = StandPose {
            levels: vec![Default::default(); exact.levels.len()],
            camera: Default::default(),
            focus_mm: exact.focus_mm,
        };
        for axis in &self.axes {
            let target = match axis.setting {
                axes::Setting::Steps { .. } => Target::Steps(*motors.next()?),
                axes::Setting::Scale { .. } => Target::Position(*hands.next()?),
            };
            set_position(&mut pose, axis.of, axis.way, axis.reached(target));
        }
        Some(pose)
    }
}

/// A schedule without a frame, to work at the stand with: its boards and axes.
///
/// # Errors
///
/// Everything that is wrong with the axes, see [`Fault`].
pub fn standing(stand: &Stand) -> Result<Schedule, Refusals> {
    let mut refusals = Refusals::default();
    let axes = Axes::new(stand, times::DEFAULT_TICK_RATE, &mut refusals);
    if !refusals.is_empty() {
        return Err(refusals);
    }
    Ok(Schedule {
        name: stand.name.clone(),
        boards: board_names(stand),
        lifts: axes.lifts(),
        motors: axes.motors,
        hands: axes.hands,
        frames: 0,
        motor_targets: Vec::new(),
        hand_targets: Vec::new(),
        exposure: exposure(stand),
        lamps: exposures::lamps(stand),
        passes: Vec::new(),
        laid: Vec::new(),
        home_check: stand.home_check,
    })
}

fn board_names(stand: &Stand) -> Vec<String> {
    let boards = stand.boards.iter();
    boards.map(|board| board.name.clone()).collect()
}
