//! Where everything must stand at a frame, so that the picture is the story's.
//!
//! Let `s` be a level's apparent distance from the lens's entrance pupil, `s0` the same with every
//! axis at its zero, `D` the layer's story distance at the reference frame, `(X, Y, Z)` the
//! viewer's travel (`Z` counted from the reference frame), `v` the lens's image distance and `v0`
//! that of the reference frame, `c` the camera's place and `R` a counter-clockwise turn. Then
//!
//! ```text
//! a       = s0 / D                       painted size: mm of art per story mm
//! s(t)    = a (D - Z(t)) v(t)/v0         far layer: s0 v(t)/v0, and a = 0
//! lift    = s0 + L(t) - s(t)
//! turn    = camera turn - roll(t)
//! (east, north) = c + R(turn) (-a X(t), -a Y(t))
//! ```
//!
//! which is similarity of triangles: a point at story distance `d` and offset `x` is pictured at
//! `v0 x / d`, a point of the art at `v (a x) / s`.
//!
//! A level's own move counts in the layer's own directions: it is turned together with the layer,
//! so that the picture is the same whether the camera or the levels carry out a roll. Its lift is
//! in millimetres of height.
//!
//! Where levels have no lift and the camera has one that is not keyed, the lens height leaves the
//! least sum over those levels of the squared picture error at the picture's corner. Sideways
//! moves are scaled to the distance that results, so that only the size is off.

use crate::optics;
use crate::plan::curve::Curve;
use crate::plan::lens::best_lift;
use crate::plan::refusals::{Fault, Refusals};
use crate::plan::sound::unsound;
use crate::shot::{Distance, Key, ShiftTrack, Shot, Track};
use crate::stand::{AxisId, Carrier, CarrierPose, LevelId, Picture, Stand, StandPose, Way};

/// Where everything must stand, for any frame of a shot.
#[derive(Clone, Debug, PartialEq)]
pub struct Geometry {
    frames: u32,
    hold: u32,
    levels: Vec<Level>,
    viewer: Viewer,
    camera: CameraMoves,
    focal_length_mm: f64,
    picture: Picture,
    /// Focused distance where it is pulled.
    pull: Option<Curve>,
    /// Focused distance with every axis at its zero.
    focus_mm: f64,
    /// Image distance at the reference frame.
    image_mm: f64,
    /// Pairs of ring position and focused distance.
    ring: Option<Vec<(f64, f64)>>,
}

#[derive(Clone, Debug, PartialEq)]
struct Level {
    /// Apparent distance with every axis at its zero.
    zero_mm: f64,
    distance: Distance,
    has_lift: bool,
    shifts: Vec<(Way, Shifted)>,
}

#[derive(Clone, Debug, PartialEq)]
enum Shifted {
    PerFrame { amount: f64, from: f64, to: f64 },
    Keys(Curve),
}

#[derive(Clone, Debug, PartialEq)]
struct Viewer {
    east: Curve,
    north: Curve,
    ahead: Curve,
    roll: Curve,
    /// `ahead` at the reference frame.
    ahead_before: f64,
}

#[derive(Clone, Debug, PartialEq)]
struct CameraMoves {
    east: Curve,
    north: Curve,
    turn: Curve,
    /// Keyed lift.
    lift: Option<Curve>,
    /// Whether the lens height is to be solved for.
    solves: bool,
    /// Whether the camera carries out the viewer's roll.
    rolls: bool,
}

/// Everything about one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct FramePose {
    /// Where everything must stand. An axis that the stand does not have would have to stand
    /// there all the same; [`Plan`](crate::plan::Plan) refuses that where it shows.
    pub stand: StandPose,
    /// Position of the lens ring, degrees, where the stand has a focus axis. Not a number where
    /// its table does not reach.
    pub ring_degrees: Option<f64>,
    /// Image distance of the lens, mm.
    pub image_mm: f64,
    /// One for each level, in the stand's order.
    pub levels: Vec<LevelView>,
}

/// How the lens sees a level at a frame.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LevelView {
    /// Apparent distance at which the art looks right, mm; not above 0 where the viewer has
    /// walked through the layer.
    pub wanted_mm: f64,
    /// Apparent distance that it has, mm.
    pub distance_mm: f64,
    /// Height that the level's own move asks for, mm.
    pub own_lift_mm: f64,
    /// Story distance from the viewer to the layer, mm; infinite for a far layer.
    pub story_mm: f64,
}

impl LevelView {
    /// How much too large the layer looks, as a part of its size: 0.01 is one percent too large.
    #[must_use]
    pub fn size_error(&self) -> f64 {
        self.wanted_mm / self.distance_mm - 1.0
    }
}

impl Geometry {
    /// The geometry of a shot on a stand.
    ///
    /// # Errors
    ///
    /// Where the shot does not fit the stand as such: not one layer for each level, levels that
    /// are not there, focus keys without a focus axis, a lens that cannot focus on its level.
    pub fn new(stand: &Stand, shot: &Shot) -> Result<Self, Refusals> {
        unsound(stand, shot)?;
        let ring = stand
            .axis(Carrier::Camera, Way::Focus)
            .map(|AxisId(axis)| stand.axes[axis].focus_table.clone());
        if ring.is_none() && !shot.focus.is_empty() {
            return Err(Fault::NoFocusAxis.into());
        }
        let zero = optics::zero_pose(stand);
        let image_mm = optics::image_distance_mm(stand.lens.focal_length_mm, zero.focus_mm);
        if !(zero.focus_mm > stand.lens.focal_length_mm && image_mm.is_finite()) {
            return Err(Fault::CannotFocus {
                level: stand.levels[stand.lens.focus.0].name.clone(),
                distance_mm: zero.focus_mm,
                focal_length_mm: stand.lens.focal_length_mm,
            }
            .into());
        }
        let mut geometry = Self {
            frames: shot.frames,
            hold: shot.hold,
            levels: levels(stand, shot),
            viewer: Viewer::new(shot),
            camera: CameraMoves::new(stand, shot),
            focal_length_mm: stand.lens.focal_length_mm,
            picture: stand.lens.picture,
            pull: None,
            focus_mm: zero.focus_mm,
            image_mm,
            ring,
        };
        if !shot.focus.is_empty() {
            geometry.pull_focus(shot);
            let image_mm = geometry.image_mm;
            if !(image_mm.is_finite() && image_mm > 0.0) {
                let LevelId(level) = shot.focus[0].level;
                return Err(Fault::CannotFocus {
                    level: stand.levels[level].name.clone(),
                    distance_mm: geometry.focus_at(f64::from(shot.reference_frame)),
                    focal_length_mm: geometry.focal_length_mm,
                }
                .into());
            }
        }
        Ok(geometry)
    }

    /// How many frames the shot has.
    #[must_use]
    pub fn frames(&self) -> u32 {
        self.frames
    }

    /// How many frames hold one position.
    #[must_use]
    pub fn hold(&self) -> u32 {
        self.hold
    }

    /// The picture that the lens makes.
    #[must_use]
    pub fn picture(&self) -> &Picture {
        &self.picture
    }

    /// The first frame of those that hold this one's position.
    #[must_use]
    pub fn held(&self, frame: u32) -> u32 {
        let before = frame.max(1) - 1;
        before - before % self.hold + 1
    }

    /// Image distance of the lens at the reference frame, mm: the story's picture is taken with
    /// it throughout.
    #[must_use]
    pub fn reference_image_mm(&self) -> f64 {
        self.image_mm
    }

    /// Painted size of a level's layer: mm of art per story mm; 0 for a far layer. Not a number
    /// where there is no such level.
    #[must_use]
    pub fn painted_size(&self, LevelId(level): LevelId) -> f64 {
        self.levels.get(level).map_or(f64::NAN, Level::scale)
    }

    /// The viewer at a frame: travel east, north and ahead since the reference frame in story mm,
    /// and roll in degrees.
    #[must_use]
    pub fn viewer(&self, frame: u32) -> [f64; 4] {
        let frame = f64::from(self.held(frame));
        [
            self.viewer.east.value(frame),
            self.viewer.north.value(frame),
            self.viewer.ahead.value(frame) - self.viewer.ahead_before,
            self.viewer.roll.value(frame),
        ]
    }

    /// What the shot asks of a level itself at a frame, in the layer's own directions.
    #[must_use]
    pub fn own_move(&self, frame: u32, LevelId(level): LevelId) -> Option<CarrierPose> {
        let frame = f64::from(self.held(frame));
        let level = self.levels.get(level)?;
        Some(CarrierPose {
            east_mm: level.own(Way::East, frame),
            north_mm: level.own(Way::North, frame),
            lift_mm: level.own(Way::Lift, frame),
            turn_degrees: level.own(Way::Turn, frame),
        })
    }

    /// Where everything must stand at a frame, counted from 1.
    #[must_use]
    pub fn pose(&self, frame: u32) -> FramePose {
        let mut pose = self.blank();
        self.pose_into(frame, &mut pose);
        pose
    }

    /// A pose to be filled in by [`Self::pose_into`].
    #[must_use]
    pub fn blank(&self) -> FramePose {
        FramePose {
            stand: StandPose {
                levels: vec![CarrierPose::default(); self.levels.len()],
                camera: CarrierPose::default(),
                focus_mm: self.focus_mm,
            },
            ring_degrees: None,
            image_mm: self.image_mm,
            levels: vec![LevelView::default(); self.levels.len()],
        }
    }

    /// As [`Self::pose`], into a pose that is there already: nothing is allocated.
    pub fn pose_into(&self, frame: u32, pose: &mut FramePose) {
        let [east, north, ahead, roll] = self.viewer(frame);
        let frame = f64::from(self.held(frame));
        let focus_mm = self.focus_at(frame);
        pose.stand.focus_mm = focus_mm;
        pose.image_mm = match self.pull {
            Some(_) => optics::image_distance_mm(self.focal_length_mm, focus_mm),
            None => self.image_mm,
        };
        pose.ring_degrees = self
            .ring
            .as_ref()
            .map(|table| optics::ring_position(table, focus_mm).unwrap_or(f64::NAN));
        self.view(
            frame,
            ahead,
            pose.image_mm / self.image_mm,
            &mut pose.levels,
        );

        let lift = self.lens_lift(frame, &pose.levels);
        let camera = CarrierPose {
            east_mm: self.camera.east.value(frame),
            north_mm: self.camera.north.value(frame),
            lift_mm: lift,
            turn_degrees: self.camera.turn.value(frame)
                + if self.camera.rolls { roll } else { 0.0 },
        };
        pose.stand.camera = camera;

        let turn = camera.turn_degrees - roll;
        let (sin, cos) = turn.to_radians().sin_cos();
        for ((level, view), place) in self
            .levels
            .iter()
            .zip(&mut pose.levels)
            .zip(&mut pose.stand.levels)
        {
            view.distance_mm = if level.has_lift {
                view.wanted_mm
            } else {
                level.zero_mm + lift
            };
            // Exactly 1 where the level stands where it should.
            let correction = view.distance_mm / view.wanted_mm;
            let scale = level.scale();
            let x = (level.own(Way::East, frame) - scale * east) * correction;
            let y = (level.own(Way::North, frame) - scale * north) * correction;
            *place = CarrierPose {
                east_mm: camera.east_mm + cos * x - sin * y,
                north_mm: camera.north_mm + sin * x + cos * y,
                lift_mm: if level.has_lift {
                    level.zero_mm + lift - view.wanted_mm
                } else {
                    0.0
                },
                turn_degrees: turn + level.own(Way::Turn, frame),
            };
        }
    }

    /// Radius of the picture's corner from its centre, mm on the sensor.
    #[must_use]
    pub fn corner_mm(&self) -> f64 {
        self.picture.corner_mm()
    }

    /// Pixels to a millimetre on the sensor (the finer of the two ways).
    #[must_use]
    pub fn pixels_per_mm(&self) -> f64 {
        self.picture.pixels_per_mm()
    }

    /// How far the picture of a carrier's layer moves, in pixels, for one unit of a move: at the
    /// picture's corner for lifts and turns. For the camera, the layer that moves most. 0 for
    /// focus.
    #[must_use]
    pub fn pixels_per_unit(&self, pose: &FramePose, of: Carrier, way: Way) -> f64 {
        let distance_mm = match of {
            Carrier::Level(LevelId(level)) => pose
                .levels
                .get(level)
                .map_or(f64::NAN, |view| view.distance_mm),
            Carrier::Camera => pose
                .levels
                .iter()
                .fold(f64::INFINITY, |least, view| least.min(view.distance_mm)),
        };
        optics::pixels_per_unit(&self.picture, pose.image_mm, distance_mm, way)
    }

    /// Blur in pixels of what is in focus in a pose, once the lens ring stands so many degrees
    /// beside its place; 0 where there is no ring.
    pub(crate) fn ring_error_pixels(&self, pose: &FramePose, degrees: f64, f_number: f64) -> f64 {
        let (Some(table), Some(ring)) = (&self.ring, pose.ring_degrees) else {
            return 0.0;
        };
        [ring - degrees, ring + degrees]
            .into_iter()
            .filter_map(|ring| optics::focused_distance_mm(table, ring))
            .map(|focused| {
                let wanted = pose.stand.focus_mm;
                let blur = optics::depth::blur_mm(self.focal_length_mm, f_number, focused, wanted);
                blur * self.pixels_per_mm()
            })
            .fold(0.0, f64::max)
    }

    /// Least and greatest distance that the lens ring's table reaches, mm, where there is one.
    pub(crate) fn ring_reach(&self) -> Option<(f64, f64)> {
        let table = self.ring.as_ref()?;
        Some(table.iter().fold(
            (f64::INFINITY, f64::NEG_INFINITY),
            |(least, greatest), &(_, distance)| (least.min(distance), greatest.max(distance)),
        ))
    }

    /// What the levels' distances should be; `magnified` is `v/v0`.
    fn view(&self, frame: f64, ahead: f64, magnified: f64, views: &mut [LevelView]) {
        for (level, view) in self.levels.iter().zip(views) {
            let own_lift_mm = level.own(Way::Lift, frame);
            let (story_mm, distance_mm) = match level.distance {
                Distance::At(distance) => (distance - ahead, level.scale() * (distance - ahead)),
                Distance::Far => (f64::INFINITY, level.zero_mm),
            };
            *view = LevelView {
                wanted_mm: distance_mm * magnified - own_lift_mm,
                distance_mm: level.zero_mm,
                own_lift_mm,
                story_mm,
            };
        }
    }

    fn lens_lift(&self, frame: f64, views: &[LevelView]) -> f64 {
        if let Some(lift) = &self.camera.lift {
            return lift.value(frame);
        }
        if !self.camera.solves {
            return 0.0;
        }
        let pairs = self
            .levels
            .iter()
            .zip(views)
            .filter(|(level, _)| !level.has_lift)
            .map(|(level, view)| (view.wanted_mm, level.zero_mm));
        best_lift(pairs)
    }

    fn focus_at(&self, frame: f64) -> f64 {
        self.pull
            .as_ref()
            .map_or(self.focus_mm, |pull| pull.value(frame))
    }

    /// Works out the focused distance at every focus key. A key's distance is that of its level
    /// at its frame, which itself follows the image distance there: both are brought into
    /// agreement, and then with the image distance at the reference frame.
    fn pull_focus(&mut self, shot: &Shot) {
        let mut views = vec![LevelView::default(); self.levels.len()];
        for _ in 0..50 {
            let keys = shot
                .focus
                .iter()
                .map(|key| Key {
                    frame: key.frame,
                    value: self.focus_distance(self.held(key.frame), key.level, &mut views),
                    fairing: key.fairing,
                })
                .collect();
            let pull = Curve::new(&Track { keys });
            let reference = f64::from(self.held(shot.reference_frame));
            let image_mm = optics::image_distance_mm(self.focal_length_mm, pull.value(reference));
            let settled = (image_mm - self.image_mm).abs() <= 1e-13 * image_mm.abs();
            self.pull = Some(pull);
            self.image_mm = image_mm;
            if settled || !image_mm.is_finite() {
                break;
            }
        }
    }

    /// Apparent distance of a level at a frame with the lens focused on it.
    fn focus_distance(&self, frame: u32, LevelId(level): LevelId, views: &mut [LevelView]) -> f64 {
        let ahead = self.viewer(frame)[2];
        let frame = f64::from(frame);
        let mut image_mm = self.image_mm;
        let mut distance_mm = self.levels[level].zero_mm;
        for _ in 0..60 {
            self.view(frame, ahead, image_mm / self.image_mm, views);
            distance_mm = if self.levels[level].has_lift {
                views[level].wanted_mm
            } else {
                self.levels[level].zero_mm + self.lens_lift(frame, views)
            };
            let focused = optics::image_distance_mm(self.focal_length_mm, distance_mm);
            // Newton's step: by the thin-lens equation the focused image distance falls by the
            // magnification for every part by which the image distance grows.
            let step = (focused - image_mm) / (1.0 + focused / distance_mm);
            image_mm += step;
            if step.abs() <= 1e-14 * image_mm.abs() || !step.is_finite() {
                break;
            }
        }
        distance_mm
    }
}

impl Level {
    fn scale(&self) -> f64 {
        match self.distance {
            Distance::At(distance) => self.zero_mm / distance,
            Distance::Far => 0.0,
        }
    }

    /// The level's own move.
    fn own(&self, way: Way, frame: f64) -> f64 {
        self.shifts
            .iter()
            .filter(|(of, _)| *of == way)
            .map(|(_, shifted)| match shifted {
                Shifted::PerFrame { amount, from, to } => amount * (frame.min(*to) - from).max(0.0),
                Shifted::Keys(curve) => curve.value(frame),
            })
            .sum()
    }
}

impl Viewer {
    fn new(shot: &Shot) -> Self {
        let ahead = Curve::new(&shot.viewer.ahead);
        let before = shot.reference_frame.max(1) - 1;
        let reference = before - before % shot.hold + 1;
        Self {
            east: Curve::new(&shot.viewer.east),
            north: Curve::new(&shot.viewer.north),
            roll: Curve::new(&shot.viewer.roll),
            ahead_before: ahead.value(f64::from(reference)),
            ahead,
        }
    }
}

impl CameraMoves {
    fn new(stand: &Stand, shot: &Shot) -> Self {
        let keyed = |way: Way| {
            shot.camera
                .iter()
                .find(|(of, track)| *of == way && !track.keys.is_empty())
                .map(|(_, track)| Curve::new(track))
        };
        let has = |way: Way| stand.axis(Carrier::Camera, way).is_some();
        let still = || Curve::constant(0.0);
        Self {
            east: keyed(Way::East).unwrap_or_else(still),
            north: keyed(Way::North).unwrap_or_else(still),
            turn: keyed(Way::Turn).unwrap_or_else(still),
            lift: keyed(Way::Lift),
            solves: has(Way::Lift),
            rolls: has(Way::Turn),
        }
    }
}

fn levels(stand: &Stand, shot: &Shot) -> Vec<Level> {
    let zero = CarrierPose::default();
    (0..stand.levels.len())
        .map(LevelId)
        .zip(&shot.layers)
        .map(|(id, layer)| Level {
            zero_mm: optics::apparent_distance_mm(stand, id, &zero, &zero),
            distance: layer.distance,
            has_lift: stand.axis(Carrier::Level(id), Way::Lift).is_some(),
            shifts: shot
                .shifts
                .iter()
                .filter(|shift| shift.level == id)
                .map(|shift| {
                    let shifted = match &shift.track {
                        ShiftTrack::PerFrame { amount, from, to } => Shifted::PerFrame {
                            amount: *amount,
                            from: f64::from(*from),
                            to: f64::from(*to),
                        },
                        ShiftTrack::Keys(track) => Shifted::Keys(Curve::new(track)),
                    };
                    (shift.way, shifted)
                })
                .collect(),
        })
        .collect()
}
