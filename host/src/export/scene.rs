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
//!   (`LINEAR`). Where pictures are held for several frames it has one at every picture, and nothing moves in
//!   between (`STEP`). Positions are the exact ones, before rounding to steps.
//! * Of a shot with passes it is the first pass: levels that are out in it are not in the scene.
//! * Planes come farthest first, and what cannot be seen through is `OPAQUE`, so that viewers that
//!   draw in the file's order and those that sort by distance agree. Paintings are shown as they
//!   are, without light (`KHR_materials_unlit`).

use std::io;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::texture::Texture;
use crate::plan::{FramePose, Plan};
use crate::shot::Shot;
use crate::stand::{LevelId, Stand};

/// Colour and opacity of a plane on which nothing is painted yet, linear light.
const UNPAINTED: [f64; 4] = [0.5, 0.5, 0.5, 0.35];

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

#[derive(Clone, Debug)]
pub(super) struct Image {
    pub(super) name: String,
    pub(super) texture: Texture,
}

/// What is put together.
#[derive(Default)]
struct Build {
    accessors: Vec<Value>,
    views: Vec<Value>,
    data: Vec<u8>,
    nodes: Vec<Value>,
    meshes: Vec<Value>,
    materials: Vec<Value>,
    textures: Vec<Value>,
    images: Vec<Image>,
    samplers: Vec<Value>,
    channels: Vec<Value>,
    notes: Vec<String>,
}

/// Where something is over the pictures: translations and rotations.
#[derive(Default)]
struct Path3 {
    places: Vec<[f32; 3]>,
    turns: Vec<[f32; 4]>,
}

impl Scene {
    /// Puts a scene together. `load` reads a painting, and says what is wrong with it where it cannot;
    /// `begun` hears every frame and may end the work.
    ///
    /// # Errors
    ///
    /// Those of `begun`.
    pub fn new(
        stand: &Stand,
        shot: &Shot,
        plan: &Plan,
        mut load: impl FnMut(&Path) -> Result<Texture, String>,
        mut begun: impl FnMut(u32) -> io::Result<()>,
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
            begun(frame)?;
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

        let times: Vec<f32> = pictures
            .iter()
            .map(|frame| (f64::from(frame - 1) / shot.rate) as f32)
            .collect();
        let way = if hold > 1 { "STEP" } else { "LINEAR" };
        let mut clock = None;

        let out = shot.passes.first().map_or(&[][..], |pass| &pass.without);
        let mut roots = Vec::new();
        // The farthest first.
        for (place, level) in stand.levels.iter().enumerate().rev() {
            if out.contains(&LevelId(place)) {
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

impl Build {
    /// Puts a node where it stands, or has it move.
    fn move_node(
        &mut self,
        node: usize,
        path: &Path3,
        times: &[f32],
        clock: &mut Option<usize>,
        way: &str,
    ) {
        if let Some(first) = path.places.first() {
            self.nodes[node]["translation"] = json!(first);
        }
        if let Some(first) = path.turns.first().filter(|it| **it != [0.0, 0.0, 0.0, 1.0]) {
            self.nodes[node]["rotation"] = json!(first);
        }
        if still(&path.places).is_none() {
            let input = *clock.get_or_insert_with(|| self.times(times));
            let output = self.accessor(&path.places, "VEC3", None);
            self.channel(node, "translation", input, output, way);
        }
        if still(&path.turns).is_none() {
            let input = *clock.get_or_insert_with(|| self.times(times));
            let output = self.accessor(&path.turns, "VEC4", None);
            self.channel(node, "rotation", input, output, way);
        }
    }

    /// Planes for everything that lies on a level in its turn; their nodes.
    fn paintings(
        &mut self,
        stand: &Stand,
        shot: &Shot,
        level: LevelId,
        load: &mut impl FnMut(&Path) -> Result<Texture, String>,
        begun: &mut impl FnMut(u32) -> io::Result<()>,
    ) -> io::Result<Vec<usize>> {
        // What lies on it from which frame on.
        let mut laid: Vec<(u32, Option<&Path>)> = Vec::new();
        for frame in 1..=shot.frames {
            begun(frame)?;
            let art = shot.art_at(level, frame);
            if laid.last().is_none_or(|(_, last)| *last != art) {
                laid.push((frame, art));
            }
        }
        let name = &stand.levels[level.0].name;
        let layer = &shot.layers[level.0];
        let mut arts: Vec<&Path> = Vec::new();
        for (_, art) in &laid {
            if let Some(art) = *art
                && !arts.contains(&art)
            {
                arts.push(art);
            }
        }
        let pane = &stand.levels[level.0].pane;
        if arts.is_empty() {
            self.notes.push(format!(
                "{name} has no art: it is a plain plane of the size of its pane"
            ));
            let material = self.unpainted(name);
            let mesh = self.plane(
                name,
                (pane.width_mm, pane.height_mm),
                (0.0, 0.0),
                material,
                false,
            );
            let node = self.nodes.len();
            self.nodes
                .push(json!({ "name": format!("{name}: no art"), "mesh": mesh }));
            return Ok(vec![node]);
        }
        let mut children = Vec::new();
        for art in arts {
            let title = format!(
                "{name}: {}",
                art.file_stem().unwrap_or_default().to_string_lossy()
            );
            let (size, material, textured) = match load(art) {
                Ok(texture) => {
                    let height = layer.art_width_mm * f64::from(texture.height)
                        / f64::from(texture.width.max(1));
                    (
                        (layer.art_width_mm, height),
                        self.painted(&title, texture),
                        true,
                    )
                }
                Err(problem) => {
                    self.notes.push(format!(
                        "{name} has a plain plane in place of {}: {problem}",
                        art.display()
                    ));
                    let height = layer.art_width_mm * pane.height_mm / pane.width_mm;
                    ((layer.art_width_mm, height), self.unpainted(&title), false)
                }
            };
            let mesh = self.plane(&title, size, layer.art_centre_mm, material, textured);
            let node = self.nodes.len();
            self.nodes.push(json!({ "name": title, "mesh": mesh }));
            children.push(node);
            if laid.len() > 1 {
                let mut times: Vec<f32> = Vec::new();
                let mut sizes: Vec<[f32; 3]> = Vec::new();
                for (frame, lies) in &laid {
                    let size = if *lies == Some(art) {
                        [1.0; 3]
                    } else {
                        [0.0; 3]
                    };
                    if sizes.last() != Some(&size) {
                        times.push((f64::from(frame - 1) / shot.rate) as f32);
                        sizes.push(size);
                    }
                }
                self.nodes[node]["scale"] = json!(sizes[0]);
                let input = self.times(&times);
                let output = self.accessor(&sizes, "VEC3", None);
                self.channel(node, "scale", input, output, "STEP");
            }
        }
        Ok(children)
    }

    fn unpainted(&mut self, name: &str) -> usize {
        self.materials.push(json!({
            "name": name,
            "alphaMode": "BLEND",
            "doubleSided": true,
            "pbrMetallicRoughness": {
                "baseColorFactor": UNPAINTED, "metallicFactor": 0.0, "roughnessFactor": 1.0,
            },
            "extensions": { "KHR_materials_unlit": {} },
        }));
        self.materials.len() - 1
    }

    fn painted(&mut self, name: &str, texture: Texture) -> usize {
        let alpha = if texture.alpha { "BLEND" } else { "OPAQUE" };
        self.textures
            .push(json!({ "name": name, "sampler": 0, "source": self.images.len() }));
        self.images.push(Image {
            name: name.to_owned(),
            texture,
        });
        self.materials.push(json!({
            "name": name,
            "alphaMode": alpha,
            "doubleSided": true,
            "pbrMetallicRoughness": {
                "baseColorTexture": { "index": self.textures.len() - 1 },
                "metallicFactor": 0.0, "roughnessFactor": 1.0,
            },
            "extensions": { "KHR_materials_unlit": {} },
        }));
        self.materials.len() - 1
    }

    /// A plane that faces up, in millimetres from the level's zero.
    fn plane(
        &mut self,
        name: &str,
        (width, height): (f64, f64),
        (east, north): (f64, f64),
        material: usize,
        textured: bool,
    ) -> usize {
        let corner = |x: f64, y: f64| {
            metres(east + x * width / 2.0, north + y * height / 2.0, 0.0).map(|it| it as f32)
        };
        // From the north-west, round by the south.
        let corners = [
            corner(-1.0, 1.0),
            corner(-1.0, -1.0),
            corner(1.0, -1.0),
            corner(1.0, 1.0),
        ];
        const ARRAY: u32 = 34962;
        let mut attributes = json!({
            "POSITION": self.accessor(&corners, "VEC3", Some(ARRAY)),
            "NORMAL": self.accessor(&[[0.0, 1.0, 0.0]; 4], "VEC3", Some(ARRAY)),
        });
        if textured {
            // The picture's first row is at its top.
            let at = [[0.0, 0.0], [0.0, 1.0], [1.0, 1.0], [1.0, 0.0]];
            attributes["TEXCOORD_0"] = self.accessor(&at, "VEC2", Some(ARRAY)).into();
        }
        let indices = self.indices(&[0, 1, 2, 0, 2, 3]);
        self.meshes.push(json!({
            "name": name,
            "primitives": [{
                "attributes": attributes, "indices": indices, "material": material,
            }],
        }));
        self.meshes.len() - 1
    }

    fn times(&mut self, times: &[f32]) -> usize {
        let times: Vec<[f32; 1]> = times.iter().map(|time| [*time]).collect();
        self.accessor(&times, "SCALAR", None)
    }

    fn channel(&mut self, node: usize, path: &str, input: usize, output: usize, way: &str) {
        self.channels.push(json!({
            "sampler": self.samplers.len(), "target": { "node": node, "path": path }
        }));
        self.samplers
            .push(json!({ "input": input, "output": output, "interpolation": way }));
    }

    /// Floating-point values with their least and greatest.
    fn accessor<const N: usize>(
        &mut self,
        values: &[[f32; N]],
        of: &str,
        target: Option<u32>,
    ) -> usize {
        let start = self.data.len();
        let (mut least, mut greatest) = ([f32::INFINITY; N], [f32::NEG_INFINITY; N]);
        for value in values {
            for (place, number) in value.iter().enumerate() {
                least[place] = least[place].min(*number);
                greatest[place] = greatest[place].max(*number);
                self.data.extend_from_slice(&number.to_le_bytes());
            }
        }
        self.view(start, target);
        self.accessors.push(json!({
            "bufferView": self.views.len() - 1,
            "componentType": 5126,
            "count": values.len(),
            "type": of,
            "min": least.as_slice(),
            "max": greatest.as_slice(),
        }));
        self.accessors.len() - 1
    }

    fn indices(&mut self, values: &[u16]) -> usize {
        let start = self.data.len();
        for value in values {
            self.data.extend_from_slice(&value.to_le_bytes());
        }
        self.view(start, Some(34963));
        self.accessors.push(json!({
            "bufferView": self.views.len() - 1,
            "componentType": 5123,
            "count": values.len(),
            "type": "SCALAR",
        }));
        self.accessors.len() - 1
    }

    /// A view of what has been added to the data, which is filled up to whole words.
    fn view(&mut self, start: usize, target: Option<u32>) {
        let mut view = json!({
            "buffer": 0, "byteOffset": start, "byteLength": self.data.len() - start
        });
        if let Some(target) = target {
            view["target"] = target.into();
        }
        self.views.push(view);
        while !self.data.len().is_multiple_of(4) {
            self.data.push(0);
        }
    }
}

/// What a scene's folder holds beside its document, in the order in which it is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Beside<'a> {
    /// The file's name.
    pub name: PathBuf,
    /// What is in it.
    pub bytes: &'a [u8],
}
