//! What can be told of a stand from its file alone: numbers, where each comes from, and what to do.
//!
//! * `lens`: exposure, diffraction, the sharpest f-number, the light that the glass takes.
//! * `levels`: each level's size, depth of field, light and edges.
//! * `glance`: the few numbers of each that are wanted first.
//! * `drives`: steps, speeds, travels, switches.
//! * `lifts`: screws: what they take, and whether they hold.
//! * `rest`: swings, and the rest that they ask for.
//! * `whole`: what concerns several things: channels, boards, levels that could touch.
//!
//! Some of what forbids shooting never comes from a file: the reader refuses it first, with line and
//! column, and the program ends with 2 instead of 1. Those are two motors on one channel, two lamps on one
//! output, a home switch within the travel, glass that touches at rest, and a level that reaches the lens
//! or its focal length at rest.
//! They are looked for here too because a stand can be made in memory, and would go unaudited.
//!
//! Pure; opens nothing. What a shot makes of the stand is the plan's business.
//!
//! **What forbids shooting** is what would spoil every take or break something while it runs: glass that
//! touches on its way home, a motor that cannot lift its level, a channel that drives two axes. A
//! level that can *fall* does not: the motors hold it as long as they have current, the program
//! never switches them off by itself, and whether a screw holds hangs on a friction that nobody knows
//! well. To refuse would only teach people to write a friction that pleases. It is a warning
//! instead, the loudest there is: about what a power cut or the emergency stop would do to hands.

mod drives;
mod glance;
mod lens;
mod levels;
mod lifts;
mod rest;
mod whole;

pub use glance::{Glance, Step};

use serde::Serialize;

use crate::optics;
use crate::stand::{AxisId, BoardId, Carrier, LevelId, Stand, StandPose, Way};

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// As it should be.
    Fine,
    /// Nothing wrong, but something to know.
    WorthKnowing,
    /// Dangerous, or likely to spoil pictures.
    Warning,
    /// Every take would be spoilt, or something broken.
    Forbids,
}

/// What a finding is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum About {
    /// The stand as a whole.
    Stand,
    /// Lens and picture.
    Lens,
    /// A level.
    Level(LevelId),
    /// An axis.
    Axis(AxisId),
    /// A board.
    Board(BoardId),
    /// A lamp, by its place in the stand.
    Lamp(usize),
    /// How the picture is taken.
    Shutter,
}

/// What was looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Aspect {
    /// The effective f-number and the exposure close up.
    Exposure,
    /// The blur by diffraction.
    Diffraction,
    /// The blur that counts as sharp.
    CircleOfConfusion,
    /// The f-number at which the worst level is sharpest.
    SharpestFNumber,
    /// How near a level comes to the focal length.
    FocalLength,
    /// Distance, magnification, what of a level the picture shows.
    Magnification,
    /// Depth of field and blur of a level.
    DepthOfField,
    /// Light lost in the glass.
    Light,
    /// Whether the pane's edge comes into the picture.
    PaneEdge,
    /// Whether the lens's ring can focus on a level.
    FocusTable,
    /// One step, or one division of the scale, in the picture.
    Step,
    /// Travel against the picture.
    Travel,
    /// Steps and turns a second.
    Speed,
    /// Where the home switch is.
    HomeSwitch,
    /// How far the home switch may be off.
    HomeWithin,
    /// What one turn carries, against the screw's lead.
    Lead,
    /// What it takes to raise a load.
    Raising,
    /// Whether a load is held without power.
    Holding,
    /// The motor's torque against the load.
    MotorTorque,
    /// The load against the glass.
    Load,
    /// The rest before an exposure against the swing.
    Settle,
    /// A channel that drives two motors.
    SharedChannel,
    /// A lamp output that switches two lamps.
    SharedLamp,
    /// Something that the planner refuses.
    Plan,
    /// Whether the stop has been seen to stop a board.
    StopTest,
    /// Whether a board is used at all.
    Board,
    /// Whether exposures are proven.
    Proof,
    /// How often the home switches are looked for.
    HomeCheck,
    /// Levels' glass at rest.
    TouchAtRest,
    /// Levels' glass on the way to the home switches.
    TouchGoingHome,
    /// Levels' glass within the travels.
    TouchWithinTravel,
    /// A lamp.
    Lamp,
    /// Whether a board has the output that a lamp hangs on.
    LampOutput,
}

/// A number of a finding.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Number {
    /// What it is.
    pub name: String,
    /// Its value; infinity is `null` in JSON.
    pub value: f64,
    /// Its unit; empty for a ratio or a count.
    pub unit: &'static str,
}

/// One thing that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// How bad it is.
    pub severity: Severity,
    /// What it is about.
    pub about: About,
    /// What was looked at.
    pub aspect: Aspect,
    /// The most important number, as people read it; empty where there is none.
    pub value: String,
    /// What it says: a whole sentence that stands by itself and names what it is about, without its
    /// first capital and full stop.
    pub says: String,
    /// All its numbers.
    pub numbers: Vec<Number>,
    /// Where formula or limit come from.
    pub source: &'static str,
    /// What to do, where there is something.
    pub advice: Option<String>,
}

/// All that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Audit {
    /// In the stand's order: the whole, the lens, levels, axes, boards, lamps, shutter.
    pub findings: Vec<Finding>,
    /// The numbers of every level at a glance, from the top; none of a level without a picture.
    pub levels: Vec<Glance>,
}

/// A limit that people keep to, without a publication.
const PRACTICE: &str = "common practice, no source";

/// What follows from the file and nothing else.
const FILE: &str = "the stand file's own numbers";

/// Goes through everything.
#[must_use]
pub fn audit(stand: &Stand) -> Audit {
    let mut found = Vec::new();
    whole::whole(stand, &mut found);
    let sight = Sight::of(stand);
    lens::lens(stand, sight.as_ref(), &mut found);
    drives::drives(stand, sight.as_ref(), &mut found);
    lifts::lifts(stand, &mut found);
    rest::rest(stand, sight.as_ref(), &mut found);
    whole::boards(stand, &mut found);
    Audit {
        findings: found,
        levels: sight.map_or_else(Vec::new, |sight| glance::glance(stand, &sight)),
    }
}

impl Audit {
    /// Whether there is something that forbids shooting.
    #[must_use]
    pub fn forbids(&self) -> bool {
        self.count(Severity::Forbids) > 0
    }

    /// How many findings are that bad, no better and no worse.
    #[must_use]
    pub fn count(&self, severity: Severity) -> usize {
        let findings = self.findings.iter();
        findings.filter(|it| it.severity == severity).count()
    }
}

impl Finding {
    fn new(severity: Severity, about: About, aspect: Aspect, says: impl Into<String>) -> Self {
        Self {
            severity,
            about,
            aspect,
            value: String::new(),
            says: says.into(),
            numbers: Vec::new(),
            source: FILE,
            advice: None,
        }
    }

    fn value(mut self, value: impl Into<String>) -> Self {
        self.value = value.into();
        self
    }

    fn number(mut self, name: impl Into<String>, value: f64, unit: &'static str) -> Self {
        self.numbers.push(Number {
            name: name.into(),
            value,
            unit,
        });
        self
    }

    fn source(mut self, source: &'static str) -> Self {
        self.source = source;
        self
    }

    fn advice(mut self, advice: impl Into<String>) -> Self {
        self.advice = Some(advice.into());
        self
    }

    /// What to do, said only where there is something the matter.
    fn unless_fine(self, advice: impl Into<String>) -> Self {
        if self.severity == Severity::Fine {
            self
        } else {
            self.advice(advice)
        }
    }
}

/// What the lens sees, every axis at its zero; none where it can form no picture of its focus.
struct Sight {
    pose: StandPose,
    /// Distance that the lens is focused on, mm.
    focus_mm: f64,
    /// Image distance of that, mm.
    image_mm: f64,
}

impl Sight {
    fn of(stand: &Stand) -> Option<Self> {
        stand.levels.get(stand.lens.focus.0)?;
        let pose = optics::zero_pose(stand);
        let focus_mm = pose.focus_mm;
        let image_mm = optics::image_distance_mm(stand.lens.focal_length_mm, focus_mm);
        let sound = focus_mm > stand.lens.focal_length_mm && image_mm.is_finite();
        sound.then_some(Self {
            pose,
            focus_mm,
            image_mm,
        })
    }

    /// Apparent distance of a level, mm.
    fn distance_mm(&self, stand: &Stand, level: LevelId) -> f64 {
        optics::apparent_distance_mm(stand, level, &self.pose.camera, &self.pose.levels[level.0])
    }

    /// Magnification of a level in the picture, focused as the stand says.
    fn magnification(&self, stand: &Stand, level: LevelId) -> f64 {
        self.image_mm / self.distance_mm(stand, level)
    }

    /// Pixels that one unit of an axis moves the picture of a level.
    fn pixels_per_unit(&self, stand: &Stand, level: LevelId, way: Way) -> f64 {
        let distance_mm = self.distance_mm(stand, level);
        optics::pixels_per_unit(&stand.lens.picture, self.image_mm, distance_mm, way)
    }

    /// Levels that an axis moves in the picture: its own, or all of them for the camera's.
    fn moved(&self, stand: &Stand, of: Carrier) -> Vec<LevelId> {
        match of {
            Carrier::Level(level) => vec![level],
            Carrier::Camera => (0..stand.levels.len()).map(LevelId).collect(),
        }
    }

    /// The level that an axis moves most, and by how many pixels a unit.
    fn moved_most(&self, stand: &Stand, of: Carrier, way: Way) -> Option<(LevelId, f64)> {
        self.moved(stand, of)
            .into_iter()
            .map(|level| (level, self.pixels_per_unit(stand, level, way)))
            .max_by(|(_, one), (_, two)| one.total_cmp(two))
    }
}

/// An axis as people call it.
fn axis_name(stand: &Stand, AxisId(axis): AxisId) -> String {
    let axis = &stand.axes[axis];
    format!("{} {}", stand.carrier_name(axis.of), axis.way.name())
}

/// A number as people read it: three digits that count.
fn short(value: f64) -> String {
    if value.is_nan() {
        return "unknown".to_owned();
    }
    if value.is_infinite() {
        return "infinity".to_owned();
    }
    let size = value.abs();
    let places = match size {
        _ if size >= 100.0 => 0,
        _ if size >= 10.0 => 1,
        _ if size >= 1.0 => 2,
        _ if size >= 0.1 => 3,
        _ if size >= 0.01 => 4,
        _ if size > 0.0 => 5,
        _ => 0,
    };
    let text = format!("{value:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A ratio of light in stops, with its sign.
fn in_stops(ratio: f64) -> String {
    let stops = optics::light::stops(ratio);
    let places = format!("{stops:+.2}");
    let zero = places == "-0.00" || places == "+0.00";
    format!("{} stops", if zero { "0" } else { &places })
}

#[cfg(test)]
mod tests;
