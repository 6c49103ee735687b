//! The photograph of a stand, from where its panes physically are.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use image::RgbImage;

use crate::optics::{self, depth, light};
use crate::picture::art::{Art, PictureError};
use crate::picture::blur::Blur;
use crate::picture::exposing::{Exposed, Shown, expose};
use crate::picture::field;
use crate::picture::sampling::{Map, Seen, Sheet};
use crate::picture::shelf::{ROOM, Shelf};
use crate::plan::imaging::Imaging;
use crate::shot::Shot;
use crate::stand::{Face, LevelId, Stand, StandPose};

/// Light of the plain ground behind all glass: the grey card of 18 % (common practice, no source).
const GROUND: f32 = 0.18;

/// A stand with the paintings and drawings of a shot on its panes, ready to be photographed. Art is
/// loaded when it is first shown, and kept as long as all of it takes less than a gibibyte.
pub struct Scene {
    stand: Stand,
    shot: Shot,
    shelf: Shelf,
    /// A test field for each level that shows one instead of its art.
    fields: Vec<Option<Arc<Art>>>,
    /// Set once somebody has asked to stop.
    stop: Arc<AtomicBool>,
}

/// How a picture of a scene is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// Columns and rows. They share out the picture of the stand's lens, so that a smaller size shows
    /// the same at less detail.
    pub size: (u32, u32),
    /// Whether what is out of focus is blurred, by [`depth::blur_mm`]. The lens is perfect
    /// otherwise: without diffraction.
    pub blur: bool,
    /// Whether the glass takes light, by [`light::pile_transmittance`]: of every level the panes
    /// above it, and its own where it is painted on the under side; of the ground all panes. Nothing
    /// is made up for: art that no pane covers is as bright as it is painted.
    pub light_loss: bool,
}

impl Look {
    /// Everything sharp, through glass that takes no light.
    #[must_use]
    pub const fn plain(size: (u32, u32)) -> Self {
        Self {
            size,
            blur: false,
            light_loss: false,
        }
    }
}

/// What lies on a level.
struct Lying {
    art: Arc<Art>,
    width_mm: f64,
    centre_mm: (f64, f64),
}

impl Scene {
    /// Makes sure that every file of art that the shot may show is a whole picture and not too
    /// large, and loads what the first frame shows. `progress` hears how many files of how many
    /// are done.
    ///
    /// # Errors
    /// Art that is missing, is not a picture or is too large, named with its layer; a shot that
    /// does not fit the stand.
    pub fn load(
        stand: &Stand,
        shot: &Shot,
        mut progress: impl FnMut(usize, usize),
    ) -> Result<Self, PictureError> {
        let in_order = |(place, layer): (usize, &crate::shot::Layer)| layer.level == LevelId(place);
        if shot.layers.len() != stand.levels.len() || !shot.layers.iter().enumerate().all(in_order)
        {
            return Err(PictureError::Layers {
                layers: shot.layers.len(),
                levels: stand.levels.len(),
            });
        }
        let mut files: Vec<(LevelId, &Path)> = Vec::new();
        for layer in &shot.layers {
            let drawings = shot
                .cels
                .iter()
                .filter(|cels| cels.level == layer.level)
                .flat_map(|cels| {
                    cels.drawings()
                        .iter()
                        .filter_map(|drawing| drawing.art.as_deref())
                });
            let before = files.len();
            files.extend(
                layer
                    .art
                    .as_deref()
                    .into_iter()
                    .chain(drawings)
                    .map(|path| (layer.level, path)),
            );
            let width_mm = layer.art_width_mm;
            if files.len() > before && !(width_mm > 0.0 && width_mm.is_finite()) {
                return Err(PictureError::NoWidth {
                    layer: stand.levels[layer.level.0].name.clone(),
                    width_mm,
                });
            }
        }
        let mut shelf = Shelf::new(ROOM);
        for (done, (level, path)) in files.iter().enumerate() {
            progress(done, files.len());
            shelf.add(&stand.levels[level.0].name, path)?;
        }
        let scene = Self {
            stand: stand.clone(),
            shot: shot.clone(),
            shelf,
            fields: vec![None; stand.levels.len()],
            stop: Arc::default(),
        };
        scene.lying(1)?;
        progress(files.len(), files.len());
        Ok(scene)
    }

    /// The same with a test field on every level for which the shot has neither art nor drawings.
    #[must_use]
    pub fn with_test_fields(mut self) -> Self {
        for (index, layer) in self.shot.layers.iter().enumerate() {
            let drawn = self.shot.cels.iter().any(|cels| cels.level == layer.level);
            if layer.art.is_none() && !drawn {
                self.fields[index] = Some(Arc::new(field::paint(&self.stand, layer.level)));
            }
        }
        self
    }

    /// A scene of test fields alone: no art is looked at.
    ///
    /// # Errors
    /// A shot that does not fit the stand.
    pub fn of_test_fields(stand: &Stand, shot: &Shot) -> Result<Self, PictureError> {
        let mut bare = shot.clone();
        bare.cels.clear();
        for layer in &mut bare.layers {
            layer.art = None;
        }
        Ok(Self::load(stand, &bare, |_, _| {})?.with_test_fields())
    }

    /// The same, giving a picture up as soon as this is set.
    #[must_use]
    pub fn stopped_by(mut self, stop: Arc<AtomicBool>) -> Self {
        self.stop = stop;
        self
    }

    /// The levels that show a test field.
    pub fn test_fields(&self) -> impl Iterator<Item = LevelId> {
        let fields = self.fields.iter().enumerate();
        fields.filter_map(|(level, field)| field.as_ref().map(|_| LevelId(level)))
    }

    /// What lies on the levels at a frame.
    fn lying(&self, frame: u32) -> Result<Vec<Option<Lying>>, PictureError> {
        let paths: Vec<Option<&Path>> = (0..self.stand.levels.len())
            .map(|level| self.shot.art_at(LevelId(level), frame))
            .collect();
        let art = self.shelf.take(&paths)?;
        let lying = |(level, art): (usize, Option<Arc<Art>>)| match &self.fields[level] {
            Some(field) => Some(Lying {
                art: Arc::clone(field),
                width_mm: self.stand.levels[level].pane.width_mm,
                centre_mm: (0.0, 0.0),
            }),
            None => Some(Lying {
                art: art?,
                width_mm: self.shot.layers[level].art_width_mm,
                centre_mm: self.shot.layers[level].art_centre_mm,
            }),
        };
        Ok(art.into_iter().enumerate().map(lying).collect())
    }

    /// How much light a pass gives, of what the stand's own exposure time gives.
    fn share(&self, pass: usize) -> Result<f32, PictureError> {
        let own = self.stand.shutter.exposure.as_secs_f64();
        match self.shot.passes.get(pass) {
            None => Err(PictureError::NoPass {
                pass: pass + 1,
                passes: self.shot.passes.len(),
            }),
            Some(pass) => Ok(match pass.exposure {
                Some(exposure) if own > 0.0 => (exposure.as_secs_f64() / own) as f32,
                _ => 1.0,
            }),
        }
    }

    /// The photograph of a frame in a pass (its place in the shot's list), with the stand in a pose:
    /// [`Self::photograph`] of that pass alone, plain.
    ///
    /// # Errors
    /// As [`Self::photograph`].
    pub fn photograph_of(
        &self,
        frame: u32,
        pass: usize,
        pose: &StandPose,
        size: (u32, u32),
    ) -> Result<RgbImage, PictureError> {
        self.photograph(frame, &[pass], pose, &Look::plain(size))
    }

    /// The photograph of a frame in some passes (their places in the shot's list), one exposed over
    /// another as on film, with the stand in a pose: upright as the viewfinder shows it, east on the
    /// right, north at the top. The drawings of that frame lie on the levels, and those that are taken
    /// out for a pass are not there in it: their glass neither shifts nor dims what is below.
    ///
    /// Every lamp lights all levels alike: only the exposure time tells one pass's light from
    /// another's. As long as the stand's own exposure, white paint is white; what gets more light
    /// than that is white too.
    ///
    /// A level that is not below the lens is not seen. Where the lens forms no picture (focused
    /// within its focal length), all that is seen is the ground.
    ///
    /// # Errors
    /// A pass that the shot does not have; art that has become unreadable since it was checked, or
    /// turns out to be broken now that it is loaded; [`PictureError::Interrupted`] once what
    /// [`Self::stopped_by`] was given is set.
    pub fn photograph(
        &self,
        frame: u32,
        passes: &[usize],
        pose: &StandPose,
        look: &Look,
    ) -> Result<RgbImage, PictureError> {
        let lying = self.lying(frame)?;
        let exposures: Vec<Exposed<'_>> = passes
            .iter()
            .map(|&pass| self.exposed(pass, &lying, pose, look))
            .collect::<Result<_, _>>()?;
        expose(&exposures, look.size, &self.stop).ok_or(PictureError::Interrupted)
    }

    fn exposed<'a>(
        &self,
        pass: usize,
        lying: &'a [Option<Lying>],
        pose: &StandPose,
        look: &Look,
    ) -> Result<Exposed<'a>, PictureError> {
        let share = self.share(pass)?;
        let without = &self.shot.passes[pass].without;
        let there = |level: usize| !without.contains(&LevelId(level));
        let through = |level: usize| {
            if look.light_loss {
                self.through_glass(LevelId(level), pass) as f32
            } else {
                1.0
            }
        };
        // A pane that is out shifts nothing either.
        let stand = optics::with_levels_out(&self.stand, without);
        let levels = (0..lying.len())
            .rev()
            .filter(|level| there(*level))
            .filter_map(|level| {
                let lying = lying[level].as_ref()?;
                let mut map = map(&stand, level, lying, pose, look.size)?;
                let blur = blur(&stand, level, pose, look);
                if let Some(blur) = &blur {
                    map = map.coarser(blur.step).with_margin(blur.margin());
                }
                Some(Shown {
                    seen: seen(&lying.art, &map, through(level)),
                    blur,
                })
            })
            .collect();
        Ok(Exposed {
            levels,
            ground: GROUND * 65535.0 * through(lying.len()),
            share,
        })
    }

    /// Diameter of the disc that a point of a level is blurred to in a pass, in pixels of a picture with
    /// so many columns. None where there is no such level or pass.
    #[must_use]
    pub fn blur_px(
        &self,
        level: LevelId,
        pass: usize,
        pose: &StandPose,
        columns: u32,
    ) -> Option<f64> {
        self.stand.levels.get(level.0)?;
        let stand = optics::with_levels_out(&self.stand, &self.shot.passes.get(pass)?.without);
        blur_px(&stand, level, pose, columns)
    }

    /// The part of a level's light that the glass before it lets through in a pass: the panes above it,
    /// and its own where it is painted on the under side. Past the last level, that of the ground.
    #[must_use]
    pub fn through_glass(&self, LevelId(level): LevelId, pass: usize) -> f64 {
        let without = self.shot.passes.get(pass).map(|pass| &pass.without[..]);
        let there = |pane: usize| !without.unwrap_or_default().contains(&LevelId(pane));
        let own = self.stand.levels.get(level).map(|level| level.pane.art);
        let before = level.min(self.stand.levels.len()) + usize::from(own == Some(Face::Under));
        let panes = (0..before).filter(|pane| there(*pane));
        light::pile_transmittance(panes.map(|pane| self.stand.levels[pane].pane.index))
    }
}

/// What a point of a level is blurred to.
fn blur(stand: &Stand, level: usize, pose: &StandPose, look: &Look) -> Option<Blur> {
    let columns = f64::from(look.size.0);
    let diameter_px = look
        .blur
        .then(|| blur_px(stand, LevelId(level), pose, look.size.0))?;
    // Wider than the picture it is as good as even.
    Blur::new(diameter_px?.min(columns))
}

fn blur_px(stand: &Stand, level: LevelId, pose: &StandPose, columns: u32) -> Option<f64> {
    let lens = &stand.lens;
    let place = pose.levels.get(level.0)?;
    let distance_mm = optics::apparent_distance_mm(stand, level, &pose.camera, place);
    let blur_mm = depth::blur_mm(
        lens.focal_length_mm,
        lens.f_number,
        pose.focus_mm,
        distance_mm,
    );
    Some(blur_mm * f64::from(columns) / lens.picture.width_mm)
}

/// A level in the picture, of which so much light gets through.
fn seen<'a>(art: &'a Art, map: &Map, gain: f32) -> Seen<'a> {
    // Art pixels to a picture pixel, the coarser way.
    let scale = map.u[0].hypot(map.v[0]).max(map.u[1].hypot(map.v[1]));
    let planes = &art.planes;
    // Four neighbours suffice up to 2^(1/4) art pixels a picture pixel. From there the next
    // reduction fades in until it is reached, and so on: nothing jumps as a level moves.
    let octave = scale.log2().clamp(0.0, (planes.len() - 1) as f64);
    let fine = octave.floor();
    let share = ((octave - fine - 0.25) / 0.75).max(0.0) as f32;
    let sheet = |index: usize| Sheet {
        plane: &planes[index],
        map: map.reduced(index),
    };
    let fine = fine as usize;
    Seen {
        gain,
        fine: sheet(fine),
        coarse: (share > 0.0 && fine + 1 < planes.len()).then(|| (sheet(fine + 1), share)),
    }
}

/// From the picture's pixels to the painting's: by what the plan reckons with, [`Imaging`], from the
/// picture to the level and on to the painting that lies there.
fn map(
    stand: &Stand,
    level: usize,
    lying: &Lying,
    pose: &StandPose,
    (columns, rows): (u32, u32),
) -> Option<Map> {
    let lens = &stand.lens;
    let image_mm = optics::image_distance_mm(lens.focal_length_mm, pose.focus_mm);
    if !(image_mm > 0.0 && image_mm.is_finite()) {
        return None;
    }
    let imaging = Imaging::new(stand, pose, image_mm, LevelId(level))?;
    let plane = &lying.art.planes[0];
    let pixels_per_mm = plane.width as f64 / lying.width_mm;
    // A pixel of this picture in those of the stand's.
    let (across, down) = (
        f64::from(lens.picture.columns) / f64::from(columns),
        f64::from(lens.picture.rows) / f64::from(rows),
    );
    // Counted from the painting's first pixel; its columns go east, its rows south.
    let on_art = |column: f64, row: f64| {
        let (east, north) = imaging.point(((column + 0.5) * across, (row + 0.5) * down));
        (
            (east - lying.centre_mm.0) * pixels_per_mm + plane.width as f64 / 2.0 - 0.5,
            (lying.centre_mm.1 - north) * pixels_per_mm + plane.height as f64 / 2.0 - 0.5,
        )
    };
    // A similarity: three points tell it. Far apart, so that nothing is lost in their differences.
    let (far_right, far_down) = (f64::from(columns), f64::from(rows));
    let (start, right, below) = (
        on_art(0.0, 0.0),
        on_art(far_right, 0.0),
        on_art(0.0, far_down),
    );
    let map = Map {
        u: [
            (right.0 - start.0) / far_right,
            (below.0 - start.0) / far_down,
            start.0,
        ],
        v: [
            (right.1 - start.1) / far_right,
            (below.1 - start.1) / far_down,
            start.1,
        ],
    };
    let all = map.u.iter().chain(&map.v);
    all.copied().all(f64::is_finite).then_some(map)
}
