//! A shot as it is meant: what the shot file means once it has been read and found sound.

use std::path::PathBuf;

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
