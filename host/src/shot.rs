//! A shot as it is meant: what the shot file means once it has been read and found sound.

use std::path::{Path, PathBuf};
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::stand::{LevelId, Way};

/// A whole shot.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// What it is called.
    pub name: String,
    /// How many frames, at least 1. Frames count from 1.
    pub frames: u32,
    /// Frames a second when it is shown.
    pub rate: f64,
    /// How many frames hold one position: 1 on ones, 2 on twos. Every frame is exposed.
    pub hold: u32,
    /// What is painted on each level; exactly one for each level of the stand, in its order.
    pub layers: Vec<Layer>,
    /// The viewer's travel through the story: east, north, ahead in story millimetres, roll in
    /// degrees. A positive roll is the viewer's own turn counter-clockwise: the world then turns
    /// clockwise in the picture. Ahead counts from the reference frame, the others from the
    /// levels' zeros.
    pub viewer: Viewer,
    /// Levels' own moves, added to the perspective.
    pub shifts: Vec<Shift>,
    /// The camera's own moves on the stand, by way; a lift that is not given is solved for.
    pub camera: Vec<(Way, Track)>,
    /// Focused level over the frames, as a track of apparent distances is worked out from it;
    /// empty where the stand's focus level stays in focus.
    pub focus: Vec<FocusKey>,
    /// Frame at which every layer has its painted size: lifts are at zero there.
    pub reference_frame: u32,
    /// Drawings that lie on a level for some frames in place of its layer's art; no two stretches
    /// of one level share a frame.
    pub cels: Vec<Cels>,
    /// The exposures that every frame gets, in their order; at least one.
    pub passes: Vec<Pass>,
    /// From where on a move is said to strobe.
    pub strobing: Strobing,
}

/// What is painted on a level.
#[derive(Clone, Debug, PartialEq)]
pub struct Layer {
    /// The level.
    pub level: LevelId,
    /// Where it is in the story.
    pub distance: Distance,
    /// The picture of it, absolute or relative to the working folder; none for a bare pane.
    pub art: Option<PathBuf>,
    /// Width of the painting on the glass, mm; its height follows from the picture's shape.
    pub art_width_mm: f64,
    /// Centre of the painting, east and north of the level's zero, mm.
    pub art_centre_mm: (f64, f64),
}

/// Drawings that lie on a level, one after another. Each has the size and place of the level's
/// painting: they are registered to one another.
#[derive(Clone, Debug, PartialEq)]
pub struct Cels {
    /// The level.
    pub level: LevelId,
    /// First frame of the stretch.
    pub from: u32,
    /// Last frame of the stretch.
    pub to: u32,
    /// Whether they begin anew after the last; else it holds to the end of the stretch.
    pub cycle: bool,
    drawings: Vec<Drawing>,
    /// Frames from the stretch's first to the end of each drawing, in the first round.
    ends: Vec<u64>,
}

/// One drawing of a stretch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drawing {
    /// The picture of it, absolute or relative to the working folder; none for a bare pane.
    pub art: Option<PathBuf>,
    /// For how many frames it lies, at least 1.
    pub hold: u32,
}

/// One of the exposures of every frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// Its name; empty where the shot names no passes.
    pub name: String,
    /// When it is exposed.
    pub when: When,
    /// Places of the lamps that burn, in the stand's list.
    pub lamps: Vec<usize>,
    /// Levels that are taken out for it.
    pub without: Vec<LevelId>,
    /// How long the shutter is open, where that is not the stand's own.
    pub exposure: Option<Duration>,
    /// How long a board closes the release line, where that is not the stand's own.
    pub press: Option<Duration>,
}

/// When a pass is exposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum When {
    /// At every frame, after the pass before it and before the next frame.
    EachFrame,
    /// Once every frame has had the passes before it: a run through the frames of its own.
    AfterRun,
}

/// From where on a move across the picture is said to strobe. Both limits are rules of the trade,
/// see [`crate::plan::strobing`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Strobing {
    /// Least time in which something may cross the picture's width, when shown.
    pub crossing: Duration,
    /// Frames to cross the picture's width: with fewer it strobes.
    pub strobes_below: f64,
    /// With fewer than these it is a smear, which does not strobe.
    pub smears_below: f64,
}

impl Default for Strobing {
    fn default() -> Self {
        Self {
            crossing: Duration::from_secs(7),
            strobes_below: 120.0,
            smears_below: 48.0,
        }
    }
}

/// Where a layer is in the story.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Distance {
    /// So far from the viewer at the reference frame, story mm.
    At(f64),
    /// So far that it keeps its size and place.
    Far,
}

/// The viewer's travel, one track for each way of moving; all zero where a track is empty.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Viewer {
    /// East, story mm.
    pub east: Track,
    /// North, story mm.
    pub north: Track,
    /// Ahead, story mm.
    pub ahead: Track,
    /// Roll, degrees.
    pub roll: Track,
}

/// A value over the frames: keys in rising order of frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Track {
    /// The keys.
    pub keys: Vec<Key>,
}

/// A value at a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Key {
    /// The frame, from 1.
    pub frame: u32,
    /// The value.
    pub value: f64,
    /// Frames over which the move gathers speed after this key, or loses it before it; at a key
    /// in between, both: the move comes to rest there. 0: no rest.
    pub fairing: u32,
}

/// A level's own move.
#[derive(Clone, Debug, PartialEq)]
pub struct Shift {
    /// The level.
    pub level: LevelId,
    /// Which way its position grows.
    pub way: Way,
    /// How far from where the perspective puts it, mm on the stand or degrees.
    pub track: ShiftTrack,
}

/// How a level's own move is given.
#[derive(Clone, Debug, PartialEq)]
pub enum ShiftTrack {
    /// So much more at every frame from the first to the last given.
    PerFrame {
        /// Axis units a frame, with its sign.
        amount: f64,
        /// First frame that is displaced from the one before it is the one after this.
        from: u32,
        /// Last frame that is displaced from the one before it.
        to: u32,
    },
    /// By keys.
    Keys(Track),
}

/// What is in focus at a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FocusKey {
    /// The frame, from 1.
    pub frame: u32,
    /// The level that is in focus there.
    pub level: LevelId,
    /// As [`Key::fairing`].
    pub fairing: u32,
}

impl Pass {
    /// The only exposure of every frame of a shot that names no passes: all the stand's lamps burn.
    #[must_use]
    pub fn only(lamps: usize) -> Self {
        Self {
            name: String::new(),
            when: When::EachFrame,
            lamps: (0..lamps).collect(),
            without: Vec::new(),
            exposure: None,
            press: None,
        }
    }
}

impl Cels {
    /// Drawings, at least one, on a level from a frame to another.
    #[must_use]
    pub fn new(level: LevelId, from: u32, to: u32, drawings: Vec<Drawing>, cycle: bool) -> Self {
        let ends = drawings
            .iter()
            .scan(0_u64, |end, drawing| {
                *end += u64::from(drawing.hold);
                Some(*end)
            })
            .collect();
        Self {
            level,
            from,
            to,
            cycle,
            drawings,
            ends,
        }
    }

    /// The drawings, in their order.
    #[must_use]
    pub fn drawings(&self) -> &[Drawing] {
        &self.drawings
    }

    /// The drawing that lies on the level at a frame, and the first frame of those that it is held
    /// for now; `None` outside of the stretch.
    #[must_use]
    pub fn drawing(&self, frame: u32) -> Option<(&Drawing, u32)> {
        if frame < self.from || frame > self.to {
            return None;
        }
        let since = u64::from(frame - self.from);
        let round = *self.ends.last()?;
        let before = if self.cycle && round > 0 {
            since / round * round
        } else {
            0
        };
        let place = self.ends.partition_point(|end| before + end <= since);
        let place = place.min(self.drawings.len() - 1);
        let begun = before + place.checked_sub(1).map_or(0, |place| self.ends[place]);
        Some((&self.drawings[place], self.from + begun as u32))
    }
}

impl Shot {
    /// The art that lies on a level at a frame: a drawing where one does, else the layer's own;
    /// none on a bare pane. That a level is taken out for a pass does not matter here.
    #[must_use]
    pub fn art_at(&self, level: LevelId, frame: u32) -> Option<&Path> {
        let drawn = self
            .cels
            .iter()
            .filter(|cels| cels.level == level)
            .find_map(|cels| cels.drawing(frame));
        match drawn {
            Some((drawing, _)) => drawing.art.as_deref(),
            None => self.layers.get(level.0)?.art.as_deref(),
        }
    }
}
