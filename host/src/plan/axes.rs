//! From positions to targets: steps for motors, divisions of the scale for hands.

use crate::plan::geometry::FramePose;
use crate::plan::refusals::{Fault, Refusals};
use crate::schedule::{HandAxis, MotorAxis};
use crate::stand::{Axis, Carrier, CarrierPose, Drive, LevelId, Motor, Stand, StandPose, Way};

/// Part of a step or a division by which a limit given in units may miss a whole one and still
/// count as that one.
const WHOLE: f64 = 1e-6;

/// One axis as a plan needs it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct PlannedAxis {
    pub(crate) of: Carrier,
    pub(crate) way: Way,
    /// Such as `reeds east`.
    pub(crate) name: String,
    pub(crate) travel: (f64, f64),
    pub(crate) setting: Setting,
}

/// In what an axis's targets are given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Setting {
    /// Whole steps, between the two, `take_up` of them for slack.
    Steps {
        per_unit: f64,
        least: i32,
        greatest: i32,
        take_up: i32,
    },
    /// Whole divisions of a scale.
    Scale { division: f64 },
}

/// Where an axis is to be set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Target {
    Steps(i32),
    Position(f64),
}

impl PlannedAxis {
    /// Where the axis must stand in a pose.
    pub(crate) fn position(&self, pose: &FramePose) -> f64 {
        match self.way {
            Way::Focus => pose.ring_degrees.unwrap_or(0.0),
            way => position(&pose.stand, self.of, way),
        }
    }

    /// The setting nearest to a position, or `None` where it lies beyond the travel. A position
    /// within the travel whose nearest setting lies beyond it takes the last one within.
    pub(crate) fn target(&self, position: f64) -> Option<Target> {
        match self.setting {
            Setting::Steps {
                per_unit,
                least,
                greatest,
                ..
            } => {
                let steps = (position * per_unit).round();
                if steps >= f64::from(least) && steps <= f64::from(greatest) {
                    return Some(Target::Steps(steps as i32));
                }
                self.within_travel(position).then(|| {
                    Target::Steps(if steps < f64::from(least) {
                        least
                    } else {
                        greatest
                    })
                })
            }
            Setting::Scale { division } => {
                let (least, greatest) = self.travel;
                // No minus before a zero: people read these.
                let nearest = (position / division).round() * division + 0.0;
                let slack = WHOLE * division;
                if nearest >= least - slack && nearest <= greatest + slack {
                    return Some(Target::Position(nearest));
                }
                self.within_travel(position).then(|| {
                    Target::Position(if nearest < least {
                        (least / division - WHOLE).ceil() * division
                    } else {
                        (greatest / division + WHOLE).floor() * division
                    })
                })
            }
        }
    }

    /// The position that a target stands for.
    pub(crate) fn reached(&self, target: Target) -> f64 {
        match (target, self.setting) {
            (Target::Steps(steps), Setting::Steps { per_unit, .. }) => f64::from(steps) / per_unit,
            (Target::Position(position), _) => position,
            (Target::Steps(steps), Setting::Scale { division }) => f64::from(steps) * division,
        }
    }

    fn within_travel(&self, position: f64) -> bool {
        position >= self.travel.0 && position <= self.travel.1
    }
}

/// Where a carrier stands in a pose, one way; 0 for focus.
pub(crate) fn position(pose: &StandPose, of: Carrier, way: Way) -> f64 {
    let carrier = match of {
        Carrier::Level(LevelId(level)) => &pose.levels[level],
        Carrier::Camera => &pose.camera,
    };
    match way {
        Way::East => carrier.east_mm,
        Way::North => carrier.north_mm,
        Way::Lift => carrier.lift_mm,
        Way::Turn => carrier.turn_degrees,
        Way::Focus => 0.0,
    }
}

/// Puts a carrier of a pose somewhere, one way; focus is ignored.
pub(crate) fn set_position(pose: &mut StandPose, of: Carrier, way: Way, to: f64) {
    let carrier: &mut CarrierPose = match of {
        Carrier::Level(LevelId(level)) => &mut pose.levels[level],
        Carrier::Camera => &mut pose.camera,
    };
    match way {
        Way::East => carrier.east_mm = to,
        Way::North => carrier.north_mm = to,
        Way::Lift => carrier.lift_mm = to,
        Way::Turn => carrier.turn_degrees = to,
        Way::Focus => {}
    }
}

/// The axes of a stand in its order, and what a take needs to know of them.
#[derive(Debug, Default)]
pub(crate) struct Axes {
    pub(crate) planned: Vec<PlannedAxis>,
    pub(crate) motors: Vec<MotorAxis>,
    pub(crate) hands: Vec<HandAxis>,
}

impl Axes {
    /// Places of the lifts among the motors, from the top: [`Schedule::lifts`].
    ///
    /// [`Schedule::lifts`]: crate::schedule::Schedule::lifts
    pub(crate) fn lifts(&self) -> Vec<usize> {
        // From the top: the camera, then the levels as the stand lists them.
        let mut lifts: Vec<(usize, usize)> = Vec::new();
        for (place, motor) in self.motors.iter().enumerate() {
            let planned = self.planned.iter().find(|axis| axis.name == motor.name());
            let depth = match planned.map(|axis| axis.of) {
                Some(Carrier::Level(LevelId(level))) => level + 1,
                Some(Carrier::Camera) | None => 0,
            };
            if motor.way == Way::Lift {
                lifts.push((depth, place));
            }
        }
        lifts.sort_by_key(|&(depth, _)| depth);
        lifts.into_iter().map(|(_, place)| place).collect()
    }

    /// Adds to `refusals` what is wrong with them.
    pub(crate) fn new(stand: &Stand, greatest_rate: u32, refusals: &mut Refusals) -> Self {
        let mut axes = Self::default();
        for axis in &stand.axes {
            let of = stand.carrier_name(axis.of).to_owned();
            let name = format!("{of} {}", axis.way.name());
            let added = match &axis.drive {
                Drive::Hand { scale, .. } => axes.add_hand(axis, of, name.clone(), *scale),
                Drive::Motor(motor) => {
                    axes.add_motor(stand, axis, motor, of, name.clone(), greatest_rate)
                }
            };
            if let Err(fault) = added {
                refusals.add(fault);
            }
        }
        axes
    }

    fn add_hand(&mut self, axis: &Axis, of: String, name: String, scale: f64) -> Result<(), Fault> {
        sound_axis(axis, &name)?;
        above_zero(&name, "the division of the scale", scale)?;
        self.hands.push(HandAxis {
            of,
            way: axis.way,
            unit: axis.way.unit(),
            scale,
            travel: axis.travel,
        });
        self.planned.push(PlannedAxis {
            of: axis.of,
            way: axis.way,
            name,
            travel: axis.travel,
            setting: Setting::Scale { division: scale },
        });
        Ok(())
    }

    fn add_motor(
        &mut self,
        stand: &Stand,
        axis: &Axis,
        motor: &Motor,
        of: String,
        name: String,
        greatest_rate: u32,
    ) -> Result<(), Fault> {
        sound_axis(axis, &name)?;
        let per_unit = motor.steps_per_unit;
        for (what, value) in [
            ("the number of steps to a unit", per_unit),
            ("the speed", motor.speed),
            ("the acceleration", motor.acceleration),
            ("the jerk", motor.jerk),
            ("the slow speed", motor.slow),
        ] {
            above_zero(&name, what, value)?;
        }
        if motor.board.0 >= stand.boards.len() {
            return Err(Fault::UnsoundAxis {
                axis: name,
                what: "its board is not one of the stand's".into(),
            });
        }
        let rate = motor.speed * per_unit;
        if !(rate >= 1.0 && rate <= f64::from(greatest_rate)) {
            return Err(Fault::StepRate {
                axis: name,
                steps_per_second: rate,
                greatest: greatest_rate,
            });
        }
        let steps = |what: &str, value: f64| {
            let steps = value * per_unit;
            if steps.abs() < 2_000_000_000.0 {
                return Ok(steps);
            }
            Err(Fault::UnsoundAxis {
                axis: name.clone(),
                what: format!("{what} is {steps:.0} steps, more than can be counted"),
            })
        };
        let least = (steps("the low end of its travel", axis.travel.0)? - WHOLE).ceil() as i32;
        let greatest = (steps("the high end of its travel", axis.travel.1)? + WHOLE).floor() as i32;
        if least > greatest {
            return Err(Fault::UnsoundAxis {
                axis: name,
                what: "not a single step lies within its travel".into(),
            });
        }
        let switch = steps("its home switch", motor.home.switch)?.round() as i32;
        let within = steps("the home switch's repeatability", motor.home.within)?;
        let backlash = steps("its backlash", axis.backlash)?;
        // A quarter more than the slack, and at least 8 steps: measured slack is never exact,
        // and the last approach needs some way of its own.
        let take_up = if backlash > 0.0 {
            (backlash * 1.25).max(backlash + 8.0).ceil() as i32
        } else {
            0
        };
        // Speeds in whole steps: never more than the axis may do, and never nothing.
        let whole = |value: f64| ((value * per_unit).floor().max(1.0)) as u32;
        self.motors.push(MotorAxis {
            of,
            way: axis.way,
            unit: axis.way.unit(),
            step_size: 1.0 / per_unit,
            step_pixels: 0.0,
            board: motor.board.0,
            channel: motor.channel,
            reversed: motor.reversed,
            speed: whole(motor.speed),
            acceleration: whole(motor.acceleration),
            jerk: whole(motor.jerk),
            slow: whole(motor.slow.min(motor.speed)),
            travel: (least, greatest),
            switch,
            // A switch that is asked to repeat within less than a step is asked for one step.
            within: (within.max(0.0).ceil() as i32).max(1),
            slack: backlash.max(0.0).round() as i32,
            take_up,
        });
        self.planned.push(PlannedAxis {
            of: axis.of,
            way: axis.way,
            name,
            travel: axis.travel,
            setting: Setting::Steps {
                per_unit,
                least,
                greatest,
                take_up,
            },
        });
        Ok(())
    }
}

fn sound_axis(axis: &Axis, name: &str) -> Result<(), Fault> {
    let what = if !(axis.travel.0 <= axis.travel.1
        && axis.travel.0.is_finite()
        && axis.travel.1.is_finite())
    {
        format!(
            "its travel from {} to {} is none",
            axis.travel.0, axis.travel.1
        )
    } else if !(axis.backlash >= 0.0 && axis.backlash.is_finite()) {
        format!("its backlash of {} is none", axis.backlash)
    } else if axis.way == Way::Focus && axis.of != Carrier::Camera {
        "only the camera can have a focus axis".into()
    } else {
        return Ok(());
    };
    Err(Fault::UnsoundAxis {
        axis: name.to_owned(),
        what,
    })
}

fn above_zero(axis: &str, what: &str, value: f64) -> Result<(), Fault> {
    if value > 0.0 && value.is_finite() {
        return Ok(());
    }
    Err(Fault::UnsoundAxis {
        axis: axis.to_owned(),
        what: format!("{what} has to be above zero, not {value}"),
    })
}
