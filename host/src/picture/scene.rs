//! The photograph of a stand, from where its panes physically are.

use image::RgbImage;
use rayon::prelude::*;

use crate::optics;
use crate::picture::art::{Art, PictureError, Plane};
use crate::picture::light;
use crate::shot::Shot;
use crate::stand::{LevelId, Stand, StandPose};

/// Light of the plain ground behind all glass: the grey card of 18 % (common practice, no source).
const GROUND: f32 = 0.18;

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
            .for_each_init(
                || vec![[0.0_f32; 4]; columns as usize],
                |light, (row, out)| {
                    light.fill([GROUND * 65535.0; 4]);
                    for level in &levels {
                        level.lay_over(row, light);
                    }
                    for (out, light) in out.chunks_exact_mut(3).zip(light.iter()) {
                        for (out, light) in out.iter_mut().zip(light) {
                            // Saturates: what is brighter than white is white.
                            *out = values[usize::from((light + 0.5) as u16)];
                        }
                    }
                },
            );
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

    /// The light at a column of a row, between four pixels.
    #[inline]
    fn sample(&self, x: f64, u: f64, v: f64) -> [f32; 4] {
        // Not below -1 within `columns`, so that truncation is the floor.
        let u = (self.map.u[0] * x + u) as f32;
        let v = (self.map.v[0] * x + v) as f32;
        let (column, row) = (u as usize, v as usize);
        let (right, below) = (u - column as f32, v - row as f32);
        let at = row * self.plane.stride + column;
        let Some([a, b]) = self.plane.pixels.get(at..at + 2) else {
            return [0.0; 4];
        };
        let at = at + self.plane.stride;
        let Some([c, d]) = self.plane.pixels.get(at..at + 2) else {
            return [0.0; 4];
        };
        let [wa, wb, wc, wd] = [
            (1.0 - right) * (1.0 - below),
            right * (1.0 - below),
            (1.0 - right) * below,
            right * below,
        ];
        std::array::from_fn(|i| {
            f32::from(a[i]) * wa
                + f32::from(b[i]) * wb
                + f32::from(c[i]) * wc
                + f32::from(d[i]) * wd
        })
    }

    /// `u` and `v` at the start of a row, counted from the border.
    fn start(&self, row: usize) -> (f64, f64) {
        let row = row as f64;
        (
            self.map.u[1] * row + self.map.u[2] + 1.0,
            self.map.v[1] * row + self.map.v[2] + 1.0,
        )
    }
}

impl Seen<'_> {
    /// Lays a row of the level over what lies behind it. What a pane itself takes of the light,
    /// and the softness of what is out of focus, would go in here.
    fn lay_over(&self, row: usize, light: &mut [[f32; 4]]) {
        let (u, v) = self.fine.start(row);
        let columns = self.fine.columns(row, light.len());
        match &self.coarse {
            None => {
                for (x, light) in columns.clone().zip(&mut light[columns]) {
                    over(light, self.fine.sample(x as f64, u, v));
                }
            }
            Some((coarse, share)) => {
                let both = coarse.columns(row, light.len());
                let (coarse_u, coarse_v) = coarse.start(row);
                let all = if columns.is_empty() {
                    both.clone()
                } else if both.is_empty() {
                    columns.clone()
                } else {
                    columns.start.min(both.start)..columns.end.max(both.end)
                };
                for (x, light) in all.clone().zip(&mut light[all]) {
                    let at = x as f64;
                    let fine = if columns.contains(&x) {
                        self.fine.sample(at, u, v)
                    } else {
                        [0.0; 4]
                    };
                    let coarse = if both.contains(&x) {
                        coarse.sample(at, coarse_u, coarse_v)
                    } else {
                        [0.0; 4]
                    };
                    over(
                        light,
                        std::array::from_fn(|i| fine[i] + (coarse[i] - fine[i]) * share),
                    );
                }
            }
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
