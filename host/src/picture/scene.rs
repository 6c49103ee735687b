//! The photograph of a stand, from where its panes physically are.

use std::ops::Range;

use image::RgbImage;
use rayon::prelude::*;

use crate::optics;
use crate::picture::art::{Art, Cover, PictureError, Plane};
use crate::picture::light;
use crate::shot::Shot;
use crate::stand::{LevelId, Stand, StandPose};

/// Light of the plain ground behind all glass: the grey card of 18 % (common practice, no source).
const GROUND: f32 = 0.18;

/// Columns of a row that are decided on together: what is hidden or clear there is not computed.
const BLOCK: usize = 16;

/// A stand with the paintings on its panes, ready to be photographed.
pub struct Scene {
    stand: Stand,
    paintings: Vec<Option<Painting>>,
}

struct Painting {
    art: Art,
    width_mm: f64,
    centre_mm: (f64, f64),
}

/// From the picture's pixels to a plane's, with half-pixel centres: `u = u[0] x + u[1] y + u[2]`.
#[derive(Clone, Copy, Debug)]
struct Map {
    u: [f64; 3],
    v: [f64; 3],
}

/// One pass over the picture: a plane, the map to it, and how much of the light it gets.
struct Sheet<'a> {
    plane: &'a Plane,
    map: Map,
}

/// One level as the picture shows it: a plane, and the next smaller one with its share.
struct Seen<'a> {
    fine: Sheet<'a>,
    coarse: Option<(Sheet<'a>, f32)>,
}

/// A row of the picture on a plane, counted from the border: `u = u[0] x + u[1]`.
struct Line<'a> {
    plane: &'a Plane,
    u: [f64; 2],
    v: [f64; 2],
    /// Columns whose samples touch the plane.
    columns: Range<usize>,
}

/// One level in a row of the picture.
struct Row<'a> {
    fine: Line<'a>,
    coarse: Option<(Line<'a>, f32)>,
    /// What it covers of the block that is being worked on.
    cover: Cover,
}

/// Light of a block's columns.
type Block = [[f32; 4]; BLOCK];

impl Scene {
    /// Loads the art of every layer. `progress` hears how many layers of how many are loaded.
    ///
    /// # Errors
    /// Art that is missing, is not a picture or is too large, named with its layer; a shot that
    /// does not fit the stand.
    pub fn load(
        stand: &Stand,
        shot: &Shot,
        mut progress: impl FnMut(usize, usize),
    ) -> Result<Self, PictureError> {
        if shot.layers.len() != stand.levels.len() {
            return Err(PictureError::Layers {
                layers: shot.layers.len(),
                levels: stand.levels.len(),
            });
        }
        let mut paintings: Vec<_> = stand.levels.iter().map(|_| None).collect();
        for (loaded, layer) in shot.layers.iter().enumerate() {
            progress(loaded, shot.layers.len());
            let LevelId(level) = layer.level;
            let (Some(name), Some(place)) = (stand.levels.get(level), paintings.get_mut(level))
            else {
                return Err(PictureError::Layers {
                    layers: shot.layers.len(),
                    levels: stand.levels.len(),
                });
            };
            let Some(path) = &layer.art else { continue };
            let width_mm = layer.art_width_mm;
            if !(width_mm > 0.0 && width_mm.is_finite()) {
                return Err(PictureError::NoWidth {
                    layer: name.name.clone(),
                    width_mm,
                });
            }
            *place = Some(Painting {
                art: Art::load(&name.name, path)?,
                width_mm,
                centre_mm: layer.art_centre_mm,
            });
        }
        progress(shot.layers.len(), shot.layers.len());
        Ok(Self {
            stand: stand.clone(),
            paintings,
        })
    }

    /// The photograph of the stand in a pose, upright as the viewfinder shows it: east on the
    /// right, north at the top. `size` is columns and rows; they share out the picture of the
    /// stand's lens, so that a smaller size shows the same at less detail.
    ///
    /// A level that is not below the lens is not seen. Where the lens forms no picture (focused
    /// within its focal length), all that is seen is the ground.
    #[must_use]
    pub fn photograph(&self, pose: &StandPose, size: (u32, u32)) -> RgbImage {
        let (columns, rows) = size;
        let levels: Vec<Seen<'_>> = (0..self.paintings.len())
            .rev()
            .filter_map(|level| self.seen(level, pose, size))
            .collect();
        let mut picture = RgbImage::new(columns, rows);
        if columns == 0 || rows == 0 {
            return picture;
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
                            *out = values[usize::from((light + 0.5) as u16)];
                        }
                    }
                }
            });
        picture
    }

    fn seen(&self, level: usize, pose: &StandPose, size: (u32, u32)) -> Option<Seen<'_>> {
        let painting = self.paintings[level].as_ref()?;
        let map = self.map(level, painting, pose, size)?;
        // Art pixels to a picture pixel, the coarser way.
        let scale = map.u[0].hypot(map.v[0]).max(map.u[1].hypot(map.v[1]));
        let planes = &painting.art.planes;
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
        painting: &Painting,
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
        let plane = &painting.art.planes[0];
        let pixels_per_mm = plane.width as f64 / painting.width_mm;
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
            plane.width as f64 / 2.0 - painting.centre_mm.0 * pixels_per_mm,
            plane.height as f64 / 2.0 + painting.centre_mm.1 * pixels_per_mm,
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

impl Map {
    /// The same to a plane reduced so many times by two.
    fn reduced(&self, times: usize) -> Self {
        let part = 0.5_f64.powi(times as i32);
        let reduce = |[x, y, start]: [f64; 3]| [x * part, y * part, (start + 0.5) * part - 0.5];
        Self {
            u: reduce(self.u),
            v: reduce(self.v),
        }
    }
}

impl Sheet<'_> {
    /// Columns of a row whose samples touch the plane.
    fn columns(&self, row: usize, columns: usize) -> std::ops::Range<usize> {
        let (mut first, mut last) = (0.0, columns as f64 - 1.0);
        let along = [
            (self.map.u, self.plane.width),
            (self.map.v, self.plane.height),
        ];
        for ([step, down, start], size) in along {
            let at = start + down * row as f64;
            // -1 < at + step x < size, with room for rounding on the inner side.
            let (least, most) = (-1.0 + 1e-3, size as f64 - 1e-3);
            if step.abs() < 1e-12 {
                if !(least..=most).contains(&at) {
                    return 0..0;
                }
                continue;
            }
            let (a, b) = ((least - at) / step, (most - at) / step);
            first = f64::max(first, a.min(b));
            last = f64::min(last, a.max(b));
        }
        if first > last {
            return 0..0;
        }
        first.ceil() as usize..last.floor() as usize + 1
    }

    /// A row of the picture.
    fn line(&self, row: usize, columns: usize) -> Line<'_> {
        let along = |[step, down, start]: [f64; 3]| [step, down * row as f64 + start + 1.0];
        Line {
            plane: self.plane,
            u: along(self.map.u),
            v: along(self.map.v),
            columns: self.columns(row, columns),
        }
    }
}

impl Seen<'_> {
    /// A row of the picture.
    fn row(&self, row: usize, columns: usize) -> Row<'_> {
        Row {
            fine: self.fine.line(row, columns),
            coarse: self
                .coarse
                .as_ref()
                .map(|(sheet, share)| (sheet.line(row, columns), *share)),
            cover: Cover::Part,
        }
    }
}

impl Line<'_> {
    fn cover(&self, columns: &Range<usize>) -> Cover {
        let span = |[step, start]: [f64; 2]| {
            let (a, b) = (
                start + step * columns.start as f64,
                start + step * (columns.end - 1) as f64,
            );
            // With room for rounding.
            [a.min(b) - 1e-3, a.max(b) + 1e-3]
        };
        self.plane.cover(span(self.u), span(self.v))
    }

    /// The light at some columns, between four pixels each. Where there is none, `shade` is not
    /// called.
    #[inline]
    fn samples(&self, columns: &Range<usize>, mut shade: impl FnMut(usize, [f32; 4])) {
        let first = columns.start.max(self.columns.start);
        let last = columns.end.min(self.columns.end);
        let stride = self.plane.stride;
        // 32 bits before the point and 32 behind it: exact to 2^-32 pixels a step.
        let fixed = |value: f64| (value * 4_294_967_296.0) as i64;
        let (mut u, mut v) = (
            fixed(self.u[1] + self.u[0] * first as f64),
            fixed(self.v[1] + self.v[0] * first as f64),
        );
        let (step_u, step_v) = (fixed(self.u[0]), fixed(self.v[0]));
        let part = |value: i64| ((value as u32) >> 8) as i32 as f32 * (1.0 / 16_777_216.0);
        for x in first..last {
            let at = ((v >> 32) as usize)
                .wrapping_mul(stride)
                .wrapping_add((u >> 32) as usize);
            let (right, below) = (part(u), part(v));
            u = u.wrapping_add(step_u);
            v = v.wrapping_add(step_v);
            let Some(four) = self
                .plane
                .pixels
                .get(at..)
                .and_then(|rest| rest.get(..stride + 2))
            else {
                continue;
            };
            let [a, b, c, d] = [four[0], four[1], four[stride], four[stride + 1]]
                .map(|pixel| pixel.map(f32::from));
            let d_part = right * below;
            let [b_part, c_part] = [right - d_part, below - d_part];
            let a_part = 1.0 - right - c_part;
            shade(
                x - columns.start,
                std::array::from_fn(|i| {
                    a[i] * a_part + b[i] * b_part + c[i] * c_part + d[i] * d_part
                }),
            );
        }
    }
}

impl Row<'_> {
    /// What the level covers of some columns.
    fn look(&self, columns: &Range<usize>) -> Cover {
        let fine = self.fine.cover(columns);
        match &self.coarse {
            Some((coarse, _)) if coarse.cover(columns) != fine => Cover::Part,
            _ => fine,
        }
    }

    /// Lays some columns of the level over what lies behind them. What a pane itself takes of the
    /// light, and the softness of what is out of focus, would go in here.
    fn lay_over(&self, columns: &Range<usize>, light: &mut Block) {
        match &self.coarse {
            None => self
                .fine
                .samples(columns, |x, sample| over(&mut light[x], sample)),
            Some((coarse, share)) => {
                let mut both: Block = [[0.0; 4]; BLOCK];
                self.fine.samples(columns, |x, sample| {
                    both[x] = sample.map(|value| value * (1.0 - share));
                });
                coarse.samples(columns, |x, sample| {
                    for (both, value) in both[x].iter_mut().zip(sample) {
                        *both += value * share;
                    }
                });
                for (light, sample) in light.iter_mut().zip(both) {
                    over(light, sample);
                }
            }
        }
    }
}

/// Some columns of a row, levels from the farthest to the nearest: from the nearest one that hides
/// all behind it on.
fn lay_all(levels: &mut [Row<'_>], columns: &Range<usize>, light: &mut Block) {
    let mut first = 0;
    for (index, level) in levels.iter_mut().enumerate().rev() {
        level.cover = level.look(columns);
        if level.cover == Cover::Full {
            first = index;
            break;
        }
    }
    for level in &levels[first..] {
        if level.cover != Cover::Clear {
            level.lay_over(columns, light);
        }
    }
}

/// Weighted light over light (T. Porter, T. Duff, Computer Graphics 18(3), 1984).
#[inline]
fn over(behind: &mut [f32; 4], [red, green, blue, opacity]: [f32; 4]) {
    let through = 1.0 - opacity * (1.0 / 65535.0);
    let before = [red, green, blue, opacity];
    for (behind, before) in behind.iter_mut().zip(before) {
        *behind = before + *behind * through;
    }
}
