//! What a hand has to do before an exposure, beside setting axes: drawings to lay and to take off,
//! levels to take out and to put back, lamps to switch, the camera's exposure time to set.
//!
//! Nothing on the stand tells whether it has been done: a person's word is all there is, and it is
//! written down. Only what differs from the exposure before is asked for; when a run begins, when
//! nobody can know how the stand was left, all of it is, once.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use serde::{Deserialize, Serialize};

use super::{Pass, Schedule, Turn};

/// One thing that a hand has to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(
    tag = "what",
    rename_all = "kebab-case",
    rename_all_fields = "kebab-case"
)]
pub enum Chore {
    /// A drawing is to lie on a level.
    Lay {
        /// The level.
        level: String,
        /// The drawing, by its file's name without folder and ending.
        drawing: String,
    },
    /// Nothing is to lie on a level.
    Clear {
        /// The level.
        level: String,
    },
    /// A level's pane is to be taken out.
    TakeOut {
        /// The level.
        level: String,
    },
    /// A level's pane is to be in its place.
    PutBack {
        /// The level.
        level: String,
    },
    /// A lamp that no board switches is to burn, or not to.
    Lamp {
        /// The lamp.
        lamp: String,
        /// Whether it is to burn.
        on: bool,
    },
    /// The camera's own exposure time is to be set.
    Exposure {
        /// To this.
        time: Duration,
    },
}

impl Chore {
    /// Whether a pane is handled.
    #[must_use]
    pub const fn is_of_glass(&self) -> bool {
        matches!(self, Self::TakeOut { .. } | Self::PutBack { .. })
    }

    /// Whether this lamp is switched.
    #[must_use]
    pub fn is_of_lamp(&self, name: &str) -> bool {
        matches!(self, Self::Lamp { lamp, .. } if lamp == name)
    }

    /// What has been done, as the record has it.
    #[must_use]
    pub fn sentence(&self) -> String {
        match self {
            Self::Lay { level, drawing } => format!("{drawing} laid on {level}"),
            Self::Clear { level } => format!("nothing on {level}"),
            Self::TakeOut { level } => format!("{level} taken out"),
            Self::PutBack { level } => format!("{level} in its place"),
            Self::Lamp { lamp, on: true } => format!("lamp {lamp} on"),
            Self::Lamp { lamp, on: false } => format!("lamp {lamp} off"),
            Self::Exposure { time } => {
                format!("the camera set to {} s", time.as_secs_f64())
            }
        }
    }
}

/// How the stand is arranged, as far as a person has said so in this run.
#[derive(Clone, Debug, Default)]
pub struct Arranged {
    /// Of each level on which drawings lie: places in [`Schedule::laid`], in rising order of frame.
    drawings: BTreeMap<String, Vec<usize>>,
    /// Whether a person has been asked.
    asked: bool,
    /// What lies on each level; none for nothing.
    laid: BTreeMap<String, Option<String>>,
    /// Whether each level is out.
    out: BTreeMap<String, bool>,
    /// Whether each lamp burns.
    lamps: BTreeMap<String, bool>,
    /// The camera's own exposure time.
    time: Option<Duration>,
}

impl Arranged {
    /// Nobody has said anything yet.
    #[must_use]
    pub fn new(schedule: &Schedule) -> Self {
        let mut drawings: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (place, laid) in schedule.laid.iter().enumerate() {
            drawings.entry(laid.on.clone()).or_default().push(place);
        }
        for places in drawings.values_mut() {
            places.sort_by_key(|&place| schedule.laid[place].frame);
        }
        Self {
            drawings,
            ..Self::default()
        }
    }

    /// Whether a person has not been asked yet in this run.
    #[must_use]
    pub const fn is_first(&self) -> bool {
        !self.asked
    }

    /// What has to be done for an exposure: first what leaves the stand, then what comes onto it.
    #[must_use]
    pub fn chores(&self, schedule: &Schedule, turn: Turn) -> Vec<Chore> {
        let Some(pass) = schedule.passes.get(turn.pass) else {
            // Nothing but drawings can be wanted.
            return self.drawings(schedule, turn, &[]);
        };
        let mut chores = Vec::new();
        for lamp in schedule.lamps.iter().enumerate() {
            let (place, lamp) = lamp;
            let on = pass.lamps.contains(&place);
            if lamp.output.is_none() && self.lamps.get(&lamp.name) != Some(&on) {
                chores.push(Chore::Lamp {
                    lamp: lamp.name.clone(),
                    on,
                });
            }
        }
        if let Some(time) = own_time(schedule, pass).filter(|&time| self.time != Some(time)) {
            chores.push(Chore::Exposure { time });
        }
        let handled: BTreeSet<&String> = schedule
            .passes
            .iter()
            .flat_map(|pass| &pass.without)
            .collect();
        let differs = |level: &String| {
            let out = pass.without.contains(level);
            (self.out.get(level) != Some(&out)).then_some(out)
        };
        let mut back = Vec::new();
        for level in handled {
            let level = level.clone();
            match differs(&level) {
                Some(true) => chores.push(Chore::TakeOut { level }),
                Some(false) => back.push(Chore::PutBack { level }),
                None => {}
            }
        }
        chores.append(&mut back);
        chores.append(&mut self.drawings(schedule, turn, &pass.without));
        chores
    }

    /// What has to be laid; nothing is laid on a level that is out.
    fn drawings(&self, schedule: &Schedule, turn: Turn, without: &[String]) -> Vec<Chore> {
        self.drawings
            .iter()
            .filter(|(level, _)| !without.contains(level))
            .filter_map(|(level, places)| {
                let begun = |&place: &usize| schedule.laid[place].frame <= turn.frame;
                let last = places.partition_point(begun).checked_sub(1)?;
                Some((level, &schedule.laid[places[last]].drawing))
            })
            .filter(|&(level, drawing)| self.laid.get(level) != Some(drawing))
            .map(|(level, drawing)| match drawing {
                Some(drawing) => Chore::Lay {
                    level: level.clone(),
                    drawing: drawing.clone(),
                },
                None => Chore::Clear {
                    level: level.clone(),
                },
            })
            .collect()
    }

    /// A person has done this.
    pub fn done(&mut self, chores: &[Chore]) {
        self.asked = true;
        for chore in chores {
            match chore.clone() {
                Chore::Lay { level, drawing } => {
                    self.laid.insert(level, Some(drawing));
                }
                Chore::Clear { level } => {
                    self.laid.insert(level, None);
                }
                Chore::TakeOut { level } => {
                    self.out.insert(level, true);
                }
                Chore::PutBack { level } => {
                    self.out.insert(level, false);
                }
                Chore::Lamp { lamp, on } => {
                    self.lamps.insert(lamp, on);
                }
                Chore::Exposure { time } => self.time = Some(time),
            }
        }
    }
}

/// The exposure time that the camera itself has to be set to for a pass: where a person has to set
/// it for any, it has to be set back for the others too.
fn own_time(schedule: &Schedule, pass: &Pass) -> Option<Duration> {
    let ever = schedule.passes.iter().any(|pass| pass.set_by_hand);
    // Where the line is closed for as long as the shutter is to be open, the line tells.
    let by_line = !pass.set_by_hand && pass.press == pass.exposure;
    (ever && !by_line).then_some(pass.exposure)
}

impl Schedule {
    /// Whether the passes that are exposed together with this one at each frame differ in what is
    /// taken out: then panes are handled at each frame.
    #[must_use]
    pub fn handles_glass_at_each_frame(&self, turn: Turn) -> bool {
        let order = self.order();
        let mut runs = order.runs().iter();
        let Some(run) = runs.find(|run| run.contains(&turn.pass)) else {
            return false;
        };
        let passes = self.passes.get(run.clone()).unwrap_or_default();
        passes.iter().any(|pass| pass.without != passes[0].without)
    }

    /// How often a person has to do something by hand beside setting axes, for all exposures in their
    /// order, the first time included.
    #[must_use]
    pub fn arrangements(&self) -> u64 {
        let order = self.order();
        let mut arranged = Arranged::new(self);
        let mut count = 0;
        for turn in (1..=order.turns()).filter_map(|number| order.turn(number)) {
            let chores = arranged.chores(self, turn);
            if !chores.is_empty() {
                count += 1;
                arranged.done(&chores);
            }
        }
        count
    }
}
