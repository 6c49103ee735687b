//! The planned scene as glTF 2.0 (Khronos Group, "glTF 2.0 Specification", also ISO/IEC 12113:2022).
//!
//! * Metres. `+x` is east, `+y` up, toward the lens, `-z` north. The bed is at `y = 0`. The camera looks
//!   straight down; its node turns with the camera.
//! * Every level is a node with a plane for its painting, and one for each of the drawings that lie
//!   on it in turn, of which all but one are scaled to nothing at any time. It stands at its *apparent*
//!   height, nearer than its glass by what the glass above it shifts it, so that a camera in
//!   plain air sees the picture that the lens sees.
//! * A lens whose focus is pulled pictures everything larger or smaller: its image distance `v`
//!   changes. A glTF camera's field of view is fixed. The scene's camera keeps that of the reference frame,
//!   `v0`, and every level stands at `v0/v` of its apparent distance from the lens instead, which
//!   gives the same picture. Where no focus is pulled that factor is 1.
//! * The animation has a key at every frame, at `(frame - 1) / rate` seconds, straight in between
//!   (`LINEAR`), and one at its end, so that the last picture is shown as long as the others. Where
//!   pictures are held for several frames it has one at every picture, and nothing moves in between
//!   (`STEP`). Positions are the exact ones, before rounding to steps.
//! * Of a shot with passes it is the first pass: levels that are out in it are not in the scene.
//! * Paintings are not kept in memory: each is read once to see what it is, and once more when it is
//!   written.
//! * Planes come farthest first, and what cannot be seen through is `OPAQUE`, so that viewers that
//!   draw in the file's order and those that sort by distance agree. Paintings are shown as they
//!   are, without light (`KHR_materials_unlit`).

mod build;

use std::io;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use self::build::Build;
use super::texture::{Kind, Texture};
use crate::plan::{FramePose, Plan};
use crate::shot::{Cels, Shot};
use crate::stand::{LevelId, Stand};

/// A scene, ready to be written.
#[derive(Clone, Debug)]
pub struct Scene {
    /// Everything but `buffers`, `bufferViews` and `images`.
    pub(super) document: Value,
    /// `bufferViews` into `data`.
    pub(super) views: Vec<Value>,
    /// Meshes and motion.
    pub(super) data: Vec<u8>,
    /// The paintings.
    pub(super) images: Vec<Image>,
    /// What is not in the scene as the shot has it, a sentence each.
    pub notes: Vec<String>,
}

/// A painting; its bytes are read anew when they are written.
#[derive(Clone, Debug)]
pub(super) struct Image {
    pub(super) name: String,
    pub(super) path: PathBuf,
    pub(super) kind: Kind,
    /// Whether its bytes are the file's.
    pub(super) own: bool,
    pub(super) length: usize,
    pub(super) fingerprint: u64,
}

/// What `begun` hears before a painting is read: it takes about as long as so many frames.
pub const PAINTING: u64 = 1000;

/// Most bytes that the paintings of a scene may have together: 4 GiB, as much as a `.glb` file holds.
pub const MOST_BYTES: u64 = 1 << 32;

/// Where something is over the pictures: translations and rotations.
#[derive(Default)]
struct Path3 {
    places: Vec<[f32; 3]>,
    turns: Vec<[f32; 4]>,
}

impl Path3 {
    /// The last place holds to the end.
    fn hold(&mut self) {
        self.places.extend(self.places.last().copied());
        self.turns.extend(self.turns.last().copied());
    }
}

/// Seconds until the last picture has been shown.
fn shown_until(shot: &Shot) -> f32 {
    (f64::from(shot.frames) / shot.rate) as f32
}

impl Scene {
    /// How much [`Self::new`] and the writing of what it makes let `begun` hear together, at most.
    #[must_use]
    pub fn work(shot: &Shot, plan: &Plan) -> u64 {
        let frames = u64::from(shot.frames);
        let shown = shot.layers.iter().filter(|it| !is_out(shot, it.level));
        let levels = shown.map(|layer| {
            let cels = shot.cels.iter().filter(|it| it.level == layer.level);
            let drawings = cels.flat_map(Cels::drawings);
            let drawings = drawings.filter_map(|it| it.art.as_deref());
            let mut arts: Vec<&Path> = drawings.chain(layer.art.as_deref()).collect();
            arts.sort_unstable();
            arts.dedup();
            // Each is read, and read again when it is written.
            frames + 2 * PAINTING * arts.len() as u64
        });
        frames.div_ceil(u64::from(plan.geometry().hold())) + levels.sum::<u64>()
    }

    /// Puts a scene together. `load` reads a painting, and says what is wrong with it where it cannot;
    /// `begun` hears 1 before every frame and [`PAINTING`] before every painting, and may end the work.
    ///
    /// # Errors
    ///
    /// Those of `begun`; paintings of more than [`MOST_BYTES`].
    pub fn new(
        stand: &Stand,
        shot: &Shot,
        plan: &Plan,
        mut load: impl FnMut(&Path) -> Result<Texture, String>,
        mut begun: impl FnMut(u64) -> io::Result<()>,
    ) -> io::Result<Self> {
        let geometry = plan.geometry();
        let hold = geometry.hold();
        let pictures: Vec<u32> = (1..=shot.frames).step_by(hold as usize).collect();
        let mut build = Build::default();

        let mut camera = Path3::default();
        let mut levels: Vec<Path3> = stand.levels.iter().map(|_| Path3::default()).collect();
        let (mut nearest, mut farthest) = (f64::INFINITY, 0.0_f64);
        let mut pose = geometry.blank();
        for &frame in &pictures {
            begun(1)?;
            geometry.pose_into(frame, &mut pose);
            camera.add(
                lens_place(stand, &pose),
                looking_down(pose.stand.camera.turn_degrees),
            );
            for (level, path) in levels.iter_mut().enumerate() {
                let (place, turn, distance) =
                    level_place(stand, &pose, geometry.reference_image_mm(), level);
                path.add(place, turn);
                nearest = nearest.min(distance);
                farthest = farthest.max(distance);
            }
        }

        let mut times: Vec<f32> = pictures
            .iter()
            .map(|frame| (f64::from(frame - 1) / shot.rate) as f32)
            .collect();
        // The last picture is seen for as long as the others: without a key at its end a viewer that
        // begins anew would not show it.
        if pictures.len() > 1 {
            times.push(shown_until(shot));
            for path in levels.iter_mut().chain([&mut camera]) {
                path.hold();
            }
        }
        let way = if hold > 1 { "STEP" } else { "LINEAR" };
        let mut clock = None;

        if let [first, _, ..] = shot.passes.as_slice() {
            build.notes.push(format!(
                "the scene shows the first of {} passes alone: {}",
                shot.passes.len(),
                first.name
            ));
        }
        let mut roots = Vec::new();
        // The farthest first.
        for (place, level) in stand.levels.iter().enumerate().rev() {
            if is_out(shot, LevelId(place)) {
                build.notes.push(format!(
                    "{} is not in the scene: it is out in the first pass",
                    level.name
                ));
                continue;
            }
            let node = build.nodes.len();
            build.nodes.push(json!({ "name": level.name }));
            build.move_node(node, &levels[place], &times, &mut clock, way);
            let children = build.paintings(stand, shot, LevelId(place), &mut load, &mut begun)?;
            if !children.is_empty() {
                build.nodes[node]["children"] = children.into();
            }
            roots.push(node);
        }
        if roots.is_empty() {
            build
                .notes
                .push("nothing is in the scene but the camera".to_owned());
        }
        let eye = build.nodes.len();
        build.nodes.push(json!({ "name": "camera", "camera": 0 }));
        build.move_node(eye, &camera, &times, &mut clock, way);
        roots.push(eye);

        let lens = &stand.lens;
        let mut document = json!({
            "asset": {
                "version": "2.0",
                "generator": concat!("Panestep ", env!("CARGO_PKG_VERSION")),
                "extras": {
                    "units": "metres",
                    "x": "east",
                    "y": "up, toward the lens; the bed is at 0",
                    "z": "south",
                    "heights": "apparent: with the shift of the glass",
                },
            },
            "scene": 0,
            "scenes": [{ "name": shot.name, "nodes": roots, "extras": {
                "frames": shot.frames, "rate": shot.rate, "hold": hold,
                "stand": stand.name,
            } }],
            "cameras": [{ "name": "camera", "type": "perspective", "perspective": {
                "aspectRatio": lens.picture.width_mm / lens.picture.height_mm,
                "yfov": field_of_view(lens.picture.height_mm, geometry.reference_image_mm()),
                "znear": nearest / 4.0,
                "zfar": farthest * 2.0,
            } }],
            "nodes": build.nodes,
            "accessors": build.accessors,
        });
        let lists = [
            ("meshes", build.meshes),
            ("materials", build.materials),
            ("textures", build.textures),
        ];
        // An empty list is not allowed anywhere.
        for (name, list) in lists {
            if !list.is_empty() {
                document[name] = list.into();
            }
        }
        if document.get("materials").is_some() {
            document["extensionsUsed"] = json!(["KHR_materials_unlit"]);
        }
        if document.get("textures").is_some() {
            // Smooth, with reductions; a painting ends at its edge.
            document["samplers"] = json!([{
                "magFilter": 9729, "minFilter": 9987, "wrapS": 33071, "wrapT": 33071
            }]);
        }
        if !build.channels.is_empty() {
            document["animations"] = json!([{
                "name": shot.name, "channels": build.channels, "samplers": build.samplers
            }]);
        }
        if document["accessors"].as_array().is_some_and(Vec::is_empty)
            && let Some(object) = document.as_object_mut()
        {
            object.remove("accessors");
        }
        Ok(Self {
            document,
            views: build.views,
            data: build.data,
            images: build.images,
            notes: build.notes,
        })
    }
}

/// Whether a level is out in the pass that a scene shows.
fn is_out(shot: &Shot, level: LevelId) -> bool {
    let first = shot.passes.first();
    first.is_some_and(|pass| pass.without.contains(&level))
}

/// The angle that a camera sees, radians.
fn field_of_view(height_mm: f64, image_mm: f64) -> f64 {
    2.0 * (height_mm / 2.0).atan2(image_mm)
}

/// Where the lens is, metres.
fn lens_place(stand: &Stand, pose: &FramePose) -> [f64; 3] {
    let camera = &pose.stand.camera;
    metres(
        camera.east_mm,
        camera.north_mm,
        stand.lens.height_mm + camera.lift_mm,
    )
}

/// Where a level's zero is, how it is turned, and its distance from the lens in metres.
fn level_place(
    stand: &Stand,
    pose: &FramePose,
    reference_image_mm: f64,
    level: usize,
) -> ([f64; 3], [f64; 4], f64) {
    let place = &pose.stand.levels[level];
    let distance_mm = pose.levels[level].distance_mm * reference_image_mm / pose.image_mm;
    let height_mm = stand.lens.height_mm + pose.stand.camera.lift_mm - distance_mm;
    let (sin, cos) = (place.turn_degrees.to_radians() / 2.0).sin_cos();
    (
        metres(place.east_mm, place.north_mm, height_mm),
        [0.0, sin, 0.0, cos],
        distance_mm / 1000.0,
    )
}

fn metres(east_mm: f64, north_mm: f64, up_mm: f64) -> [f64; 3] {
    // Adding zero turns a negative zero into a plain one.
    [east_mm, up_mm, -north_mm].map(|mm| mm / 1000.0 + 0.0)
}

/// A camera looks along its own `-z`, with `+y` at the top of the picture: down and north, by a
/// quarter turn about `x`; then turned about `y`.
fn looking_down(turn_degrees: f64) -> [f64; 4] {
    let half = std::f64::consts::FRAC_1_SQRT_2;
    let (sin, cos) = (turn_degrees.to_radians() / 2.0).sin_cos();
    [-half * cos, half * sin, half * sin, half * cos]
}

impl Path3 {
    fn add(&mut self, place: [f64; 3], turn: [f64; 4]) {
        self.places.push(place.map(|it| it as f32));
        self.turns.push(turn.map(|it| it as f32));
    }
}

/// The one value that all are, where they are all one.
fn still<T: Copy + PartialEq>(values: &[T]) -> Option<T> {
    let first = *values.first()?;
    values.iter().all(|value| *value == first).then_some(first)
}

/// What a scene's folder holds beside its document, in the order in which it is written.
#[derive(Clone, Debug)]
pub struct Beside<'a> {
    /// The file's name.
    pub name: PathBuf,
    /// A painting, or
    pub(super) image: Option<&'a Image>,
    /// what else is in it.
    pub(super) data: &'a [u8],
}
