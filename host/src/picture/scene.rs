//! The photograph of a stand, from where its panes physically are.

use std::path::Path;
use std::sync::Arc;

use image::RgbImage;
use rayon::prelude::*;

use crate::optics;
use crate::picture::art::{Art, PictureError};
use crate::picture::light;
use crate::picture::sampling::{BLOCK, Map, Row, Seen, Sheet, lay_all};
use crate::picture::shelf::{ROOM, Shelf};
use crate::shot::Shot;
use crate::stand::{LevelId, Stand, StandPose};

/// Light of the plain ground behind all glass: the grey card of 18 % (common practice, no source).
const GROUND: f32 = 0.18;

/// A stand with the paintings and drawings of a shot on its panes, ready to be photographed. Art is
/// loaded when it is first shown, and kept as long as all of it takes less than a gibibyte.
pub struct Scene {
    stand: Stand,
    shot: Shot,
    shelf: Shelf,
}

/// What lies on the levels at a frame, from the top; none on a bare pane.
type Hung = Vec<Option<Arc<Art>>>;

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
                    cels.drawings
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
        };
        scene.hung(1)?;
        progress(files.len(), files.len());
        Ok(scene)
    }

    /// What lies on the levels at a frame.
    fn hung(&self, frame: u32) -> Result<Hung, PictureError> {
        let paths: Vec<Option<&Path>> = (0..self.stand.levels.len())
            .map(|level| self.shot.art_at(LevelId(level), frame))
            .collect();
        self.shelf.take(&paths)
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
    /// upright as the viewfinder shows it, east on the right, north at the top. The drawings of that
    /// frame lie on the levels, and those that are taken out for the pass are not there. `size` is
    /// columns and rows; they share out the picture of the stand's lens, so that a smaller size shows
    /// the same at less detail.
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
    /// turns out to be broken now that it is loaded.
    pub fn photograph_of(
        &self,
        frame: u32,
        pass: usize,
        pose: &StandPose,
        size: (u32, u32),
    ) -> Result<RgbImage, PictureError> {
        let (columns, rows) = size;
        let share = self.share(pass)?;
        let hung = self.hung(frame)?;
        let without = &self.shot.passes[pass].without;
        let levels: Vec<Seen<'_>> = (0..hung.len())
            .rev()
            .filter(|level| !without.contains(&LevelId(*level)))
            .filter_map(|level| self.seen(level, hung[level].as_deref()?, pose, size))
            .collect();
        let mut picture = RgbImage::new(columns, rows);
        if columns == 0 || rows == 0 {
            return Ok(picture);
        }
        let values = light::values();
        picture
            .as_mut()
            .par_chunks_exact_mut(columns as usize * 3)
            .enumerate()
            .for_each(|(row, out)| {
                let mut rows: Vec<Row<'_>> = levels
                    .iter()
                    .map(|level| level.row(row, columns as usize))
                    .collect();
                for (block, out) in out.chunks_mut(3 * BLOCK).enumerate() {
                    let columns = block * BLOCK..block * BLOCK + out.len() / 3;
                    let mut light = [[GROUND * 65535.0; 4]; BLOCK];
                    lay_all(&mut rows, &columns, &mut light);
                    for (out, light) in out.chunks_exact_mut(3).zip(&light) {
                        for (out, light) in out.iter_mut().zip(light) {
                            // Saturates: what is brighter than white is white.
                            *out = values[usize::from((light * share + 0.5) as u16)];
                        }
                    }
                }
            });
        Ok(picture)
    }

    fn seen<'a>(
        &self,
        level: usize,
        art: &'a Art,
        pose: &StandPose,
        size: (u32, u32),
    ) -> Option<Seen<'a>> {
        let map = self.map(level, art, pose, size)?;
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
        Some(Seen {
            fine: sheet(fine),
            coarse: (share > 0.0 && fine + 1 < planes.len()).then(|| (sheet(fine + 1), share)),
        })
    }

    /// The similarity from picture pixels to the painting's: through the lens to the level's
    /// plane (thin lens: object distance `s`, image distance `v`, lengths as `s/v`), turned with
    /// the camera, moved and turned against the level.
    fn map(
        &self,
        level: usize,
        art: &Art,
        pose: &StandPose,
        (columns, rows): (u32, u32),
    ) -> Option<Map> {
        let lens = &self.stand.lens;
        let place = pose.levels.get(level)?;
        let distance_mm =
            optics::apparent_distance_mm(&self.stand, LevelId(level), &pose.camera, place);
        let image_mm = optics::image_distance_mm(lens.focal_length_mm, pose.focus_mm);
        let enlarged = distance_mm / image_mm;
        if !(distance_mm > 0.0 && image_mm > 0.0 && enlarged.is_finite() && enlarged > 0.0) {
            return None;
        }
        let plane = &art.planes[0];
        let layer = self.shot.layers.get(level)?;
        let pixels_per_mm = plane.width as f64 / layer.art_width_mm;
        // A picture pixel on the level, mm.
        let east = enlarged * lens.picture.width_mm / f64::from(columns);
        let north = -enlarged * lens.picture.height_mm / f64::from(rows);
        let (sin, cos) = pose.camera.turn_degrees.to_radians().sin_cos();
        let (level_sin, level_cos) = place.turn_degrees.to_radians().sin_cos();
        // On the painting, in its pixels: columns go east, rows go south.
        let on_art = |(x, y): (f64, f64)| {
            (
                (level_cos * x + level_sin * y) * pixels_per_mm,
                (level_sin * x - level_cos * y) * pixels_per_mm,
            )
        };
        let across = on_art((cos * east, sin * east));
        let down = on_art((-sin * north, cos * north));
        let axis = on_art((
            pose.camera.east_mm - place.east_mm,
            pose.camera.north_mm - place.north_mm,
        ));
        let centre = (
            plane.width as f64 / 2.0 - layer.art_centre_mm.0 * pixels_per_mm,
            plane.height as f64 / 2.0 + layer.art_centre_mm.1 * pixels_per_mm,
        );
        let (x, y) = (0.5 - f64::from(columns) / 2.0, 0.5 - f64::from(rows) / 2.0);
        Some(Map {
            u: [
                across.0,
                down.0,
                across.0 * x + down.0 * y + axis.0 + centre.0 - 0.5,
            ],
            v: [
                across.1,
                down.1,
                across.1 * x + down.1 * y + axis.1 + centre.1 - 0.5,
            ],
        })
    }
}
