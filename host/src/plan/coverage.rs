//! Whether paintings and panes fill the picture in every frame, and how large they have to be.
//!
//! Places on a level are in millimetres from its zero, east and north with the level unturned. A
//! pane is taken to lie with its middle at its level's zero.

use serde::Serialize;

use crate::plan::imaging::Imaging;
use crate::shot::{Layer, Shot};
use crate::stand::{LevelId, Stand};

/// A rectangle on a level, mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Extent {
    /// Its west side.
    pub west_mm: f64,
    /// Its east side.
    pub east_mm: f64,
    /// Its south side.
    pub south_mm: f64,
    /// Its north side.
    pub north_mm: f64,
}

/// A side of a rectangle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The left one in the picture.
    West,
    /// The right one.
    East,
    /// The lower one.
    South,
    /// The upper one.
    North,
}

/// How a level fills the picture over a shot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LevelCoverage {
    /// The level's name.
    pub level: String,
    /// What of the level is in the picture at one frame or another.
    pub needs: Extent,
    /// What of it fills the picture at the first frame: the points at the picture's corners,
    /// north-west, north-east, south-east, south-west, mm.
    pub first: [(f64, f64); 4],
    /// The same at the last frame.
    pub last: [(f64, f64); 4],
    /// Where the painting lies; none on a bare pane. Its height is known where its file's is.
    pub painting: Option<Extent>,
    /// How far the painting reaches beyond the picture where it does so least. Edges at which
    /// nothing is painted do not count, except on the farthest level that has a painting.
    pub painting_spare: Option<Spare>,
    /// By how much the painting ends inside the picture where it does so most, at its west, east,
    /// south and north side, mm; zero where it does not.
    pub painting_short_mm: [f64; 4],
    /// How far the pane does.
    pub pane_spare: Spare,
}

/// How far something reaches beyond the picture where it does so least.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Spare {
    /// By how much, mm on the level; below 0 where its edge is in the picture.
    pub mm: f64,
    /// The same in the picture's pixels.
    pub pixels: f64,
    /// At which of its sides.
    pub side: Side,
    /// The frame.
    pub frame: u32,
}

impl Extent {
    const NONE: Self = Self {
        west_mm: f64::INFINITY,
        east_mm: f64::NEG_INFINITY,
        south_mm: f64::INFINITY,
        north_mm: f64::NEG_INFINITY,
    };

    /// A rectangle about a centre.
    #[must_use]
    pub fn about(centre_mm: (f64, f64), width_mm: f64, height_mm: f64) -> Self {
        Self {
            west_mm: centre_mm.0 - width_mm / 2.0,
            east_mm: centre_mm.0 + width_mm / 2.0,
            south_mm: centre_mm.1 - height_mm / 2.0,
            north_mm: centre_mm.1 + height_mm / 2.0,
        }
    }

    /// East to west, mm.
    #[must_use]
    pub fn width_mm(&self) -> f64 {
        self.east_mm - self.west_mm
    }

    /// North to south, mm.
    #[must_use]
    pub fn height_mm(&self) -> f64 {
        self.north_mm - self.south_mm
    }

    /// Its middle, east and north, mm.
    #[must_use]
    pub fn centre_mm(&self) -> (f64, f64) {
        (
            f64::midpoint(self.west_mm, self.east_mm),
            f64::midpoint(self.south_mm, self.north_mm),
        )
    }

    /// The same with so much more on every side, mm.
    #[must_use]
    pub fn with_margin(&self, margin_mm: f64) -> Self {
        Self {
            west_mm: self.west_mm - margin_mm,
            east_mm: self.east_mm + margin_mm,
            south_mm: self.south_mm - margin_mm,
            north_mm: self.north_mm + margin_mm,
        }
    }

    fn take_in(&mut self, (x, y): (f64, f64)) {
        self.west_mm = self.west_mm.min(x);
        self.east_mm = self.east_mm.max(x);
        self.south_mm = self.south_mm.min(y);
        self.north_mm = self.north_mm.max(y);
    }

    /// By how much it ends inside another at its west, east, south and north side, mm; zero where it
    /// does not, and at edges that do not count.
    fn short_of(&self, other: &Self, counts: [bool; 4]) -> [f64; 4] {
        let mut short = [
            self.west_mm - other.west_mm,
            other.east_mm - self.east_mm,
            self.south_mm - other.south_mm,
            other.north_mm - self.north_mm,
        ];
        for (short, counts) in short.iter_mut().zip(counts) {
            *short = if counts { short.max(0.0) } else { 0.0 };
        }
        short
    }

    /// The side at which it reaches least beyond a point, of those that count (west, east, south,
    /// north), and by how much, mm.
    fn spare(&self, (x, y): (f64, f64), counts: [bool; 4]) -> Option<(f64, Side)> {
        [
            (x - self.west_mm, Side::West),
            (self.east_mm - x, Side::East),
            (y - self.south_mm, Side::South),
            (self.north_mm - y, Side::North),
        ]
        .into_iter()
        .zip(counts)
        .filter_map(|(side, counts)| counts.then_some(side))
        .min_by(|one, two| one.0.total_cmp(&two.0))
    }
}

impl LevelCoverage {
    /// The sides at which the painting ends inside the picture, and by how much at most, mm.
    pub fn short_sides(&self) -> impl Iterator<Item = (Side, f64)> {
        [Side::West, Side::East, Side::South, Side::North]
            .into_iter()
            .zip(self.painting_short_mm)
            .filter(|(_, mm)| *mm > 0.0)
    }
}

impl Side {
    /// Its word.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::West => "west",
            Self::East => "east",
            Self::South => "south",
            Self::North => "north",
        }
    }
}

/// What a file of art says of its painting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Painted {
    /// Columns of its picture.
    pub columns: u32,
    /// Rows of its picture.
    pub rows: u32,
    /// Whether something is painted right up to its west, east, south and north edge: where the
    /// edge is clear, nobody sees it end.
    pub to_edge: [bool; 4],
}

/// Where a layer's painting lies on its level. Where nothing is known of its picture, the painting
/// is taken to be as high as it likes.
#[must_use]
pub fn painting(layer: &Layer, painted: Option<Painted>) -> Extent {
    let height_mm = painted.map_or(f64::INFINITY, |painted| {
        layer.art_width_mm * f64::from(painted.rows) / f64::from(painted.columns.max(1))
    });
    Extent::about(layer.art_centre_mm, layer.art_width_mm, height_mm)
}

/// Gathers how levels fill the picture, frame by frame. Its size does not grow with the frames.
#[derive(Clone, Debug)]
pub(crate) struct Coverage {
    levels: Vec<LevelCoverage>,
    panes: Vec<Extent>,
    /// The edges that count of every level's painting.
    edges: Vec<[bool; 4]>,
    /// What of every level is in the picture while anything lies on it.
    shown: Vec<Extent>,
}

impl Coverage {
    /// `art` is what is known of every layer's painting.
    pub(crate) fn new(stand: &Stand, shot: &Shot, art: &[Option<Painted>]) -> Self {
        let nothing = Spare {
            mm: f64::INFINITY,
            pixels: f64::INFINITY,
            side: Side::West,
            frame: 1,
        };
        let has_art = |level: LevelId, layer: &Layer| {
            let drawn = shot.cels.iter().filter(|cels| cels.level == level);
            layer.art.is_some()
                || drawn
                    .flat_map(|cels| cels.drawings())
                    .any(|drawing| drawing.art.is_some())
        };
        let painted = |(place, layer): &(usize, &Layer)| has_art(LevelId(*place), layer);
        let farthest = shot.layers.iter().enumerate().rfind(painted);
        let farthest = farthest.map(|(place, _)| place);
        let mut edges = Vec::new();
        let levels = shot
            .layers
            .iter()
            .enumerate()
            .map(|(place, layer)| {
                let level = LevelId(place);
                let known = art.get(place).copied().flatten();
                let painting = has_art(level, layer).then(|| painting(layer, known));
                edges.push(match known {
                    Some(painted) if Some(place) != farthest => painted.to_edge,
                    _ => [true; 4],
                });
                LevelCoverage {
                    level: stand.levels[place].name.clone(),
                    needs: Extent::NONE,
                    first: [(f64::NAN, f64::NAN); 4],
                    last: [(f64::NAN, f64::NAN); 4],
                    painting,
                    painting_spare: painting.map(|_| nothing),
                    painting_short_mm: [0.0; 4],
                    pane_spare: nothing,
                }
            })
            .collect();
        let panes = stand
            .levels
            .iter()
            .map(|level| Extent::about((0.0, 0.0), level.pane.width_mm, level.pane.height_mm));
        Self {
            levels,
            panes: panes.collect(),
            edges,
            shown: vec![Extent::NONE; stand.levels.len()],
        }
    }

    /// Takes a level's part of a frame in. `shown`: whether anything lies on it.
    pub(crate) fn look(&mut self, frame: u32, level: usize, imaging: &Imaging, shown: bool) {
        let coverage = &mut self.levels[level];
        let points = imaging.filling();
        if frame == 1 {
            coverage.first = points;
        }
        coverage.last = points;
        let least = |spare: &mut Spare, extent: &Extent, counts: [bool; 4]| {
            for point in points {
                if let Some((mm, side)) = extent.spare(point, counts)
                    && mm < spare.mm
                {
                    *spare = Spare {
                        mm,
                        pixels: mm * imaging.pixels_per_mm(),
                        side,
                        frame,
                    };
                }
            }
        };
        if let (Some(spare), Some(extent), true) =
            (&mut coverage.painting_spare, &coverage.painting, shown)
        {
            least(spare, extent, self.edges[level]);
        }
        least(&mut coverage.pane_spare, &self.panes[level], [true; 4]);
        for point in points {
            coverage.needs.take_in(point);
            if shown {
                self.shown[level].take_in(point);
            }
        }
    }

    pub(crate) fn finish(mut self) -> Vec<LevelCoverage> {
        for (place, level) in self.levels.iter_mut().enumerate() {
            if let Some(painting) = &level.painting {
                level.painting_short_mm = painting.short_of(&self.shown[place], self.edges[place]);
            }
        }
        self.levels
    }
}
