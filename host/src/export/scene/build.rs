//! Nodes, planes and motion of a scene, as they are put together.

use std::io;
use std::path::Path;

use serde_json::{Value, json};

use super::{Image, MOST_BYTES, PAINTING, Path3, metres, shown_until, still};
use crate::export::texture::Texture;
use crate::shot::Shot;
use crate::stand::{LevelId, Stand};

/// Colour and opacity of a plane on which nothing is painted yet, linear light.
const UNPAINTED: [f64; 4] = [0.5, 0.5, 0.5, 0.35];

/// What is put together.
#[derive(Default)]
pub(super) struct Build {
    pub(super) accessors: Vec<Value>,
    pub(super) views: Vec<Value>,
    pub(super) data: Vec<u8>,
    pub(super) nodes: Vec<Value>,
    pub(super) meshes: Vec<Value>,
    pub(super) materials: Vec<Value>,
    pub(super) textures: Vec<Value>,
    pub(super) images: Vec<Image>,
    /// Bytes of all of them.
    bytes: u64,
    pub(super) samplers: Vec<Value>,
    pub(super) channels: Vec<Value>,
    pub(super) notes: Vec<String>,
}

impl Build {
    /// Puts a node where it stands, or has it move.
    pub(super) fn move_node(
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
    pub(super) fn paintings(
        &mut self,
        stand: &Stand,
        shot: &Shot,
        level: LevelId,
        load: &mut impl FnMut(&Path) -> Result<Texture, String>,
        begun: &mut impl FnMut(u64) -> io::Result<()>,
    ) -> io::Result<Vec<usize>> {
        // What lies on it from which frame on.
        let mut laid: Vec<(u32, Option<&Path>)> = Vec::new();
        for frame in 1..=shot.frames {
            begun(1)?;
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
            begun(PAINTING)?;
            let (size, material, textured) = match load(art) {
                Ok(texture) => {
                    let height = layer.art_width_mm * f64::from(texture.height)
                        / f64::from(texture.width.max(1));
                    (
                        (layer.art_width_mm, height),
                        self.painted(&title, art, &texture)?,
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
                if let Some(&last) = sizes.last().filter(|_| sizes.len() > 1) {
                    times.push(shown_until(shot));
                    sizes.push(last);
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

    fn painted(&mut self, name: &str, path: &Path, texture: &Texture) -> io::Result<usize> {
        self.bytes += texture.bytes.len() as u64;
        if self.bytes > MOST_BYTES {
            return Err(io::Error::other(format!(
                "its paintings have more than {} GiB together: make them smaller, or the shot shorter",
                MOST_BYTES >> 30
            )));
        }
        let alpha = if texture.alpha { "BLEND" } else { "OPAQUE" };
        self.textures
            .push(json!({ "name": name, "sampler": 0, "source": self.images.len() }));
        self.images.push(Image {
            name: name.to_owned(),
            path: path.to_owned(),
            kind: texture.kind,
            own: texture.own,
            length: texture.bytes.len(),
            fingerprint: texture.fingerprint(),
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
        Ok(self.materials.len() - 1)
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
