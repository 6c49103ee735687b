//! The scene, read by the crate `gltf`, moved and projected by matrices of the test's own.

use std::io::BufWriter;
use std::path::Path;

use gltf::animation::Interpolation;
use gltf::animation::util::ReadOutputs;
use nalgebra::{
    Isometry3, Matrix4, Perspective3, Point3, Quaternion, Translation3, UnitQuaternion,
};
use panestep::export::scene::{Beside, PAINTING, Scene};
use panestep::export::texture;
use panestep::plan::Plan;
use panestep::plan::project::stand_point;
use panestep::shot::Shot;
use panestep::stand::{LevelId, Stand};

use super::{Coast, REEDS, demo};

/// A scene as it was read.
struct Seen {
    document: gltf::Document,
    buffers: Vec<gltf::buffer::Data>,
    images: Vec<gltf::image::Data>,
}

/// A node's place, turn and size.
#[derive(Clone, Copy)]
struct Pose {
    place: [f32; 3],
    turn: [f32; 4],
    size: [f32; 3],
}

fn made(stand: &Stand, shot: &Shot, plan: &Plan) -> Scene {
    Scene::new(stand, shot, plan, texture::load, |_| Ok(())).expect("made")
}

fn read(path: &Path) -> Seen {
    let (document, buffers, images) = gltf::import(path).expect("a sound scene");
    Seen {
        document,
        buffers,
        images,
    }
}

fn glb(scene: &Scene) -> Seen {
    let mut bytes = Vec::new();
    scene.glb(&mut bytes, |_| Ok(())).expect("written");
    let (document, buffers, images) = gltf::import_slice(&bytes).expect("a sound scene");
    Seen {
        document,
        buffers,
        images,
    }
}

impl Seen {
    /// A node at a time, seconds.
    fn pose(&self, node: &gltf::Node<'_>, time: f64) -> Pose {
        let (place, turn, size) = node.transform().decomposed();
        let mut pose = Pose { place, turn, size };
        for channel in self
            .document
            .animations()
            .flat_map(|it| it.channels().collect::<Vec<_>>())
        {
            if channel.target().node().index() != node.index() {
                continue;
            }
            let reader = channel.reader(|buffer| Some(&self.buffers[buffer.index()]));
            let times: Vec<f32> = reader.read_inputs().expect("times").collect();
            assert!(times.is_sorted_by(|a, b| a < b), "times rise");
            let at = times
                .partition_point(|it| f64::from(*it) <= time + 1e-6)
                .max(1)
                - 1;
            let next = (at + 1).min(times.len() - 1);
            let part = match channel.sampler().interpolation() {
                Interpolation::Step => 0.0,
                Interpolation::Linear if next > at => {
                    ((time as f32 - times[at]) / (times[next] - times[at])).max(0.0)
                }
                _ => 0.0,
            };
            let between = |a: f32, b: f32| a + (b - a) * part;
            match reader.read_outputs().expect("values") {
                ReadOutputs::Translations(values) => {
                    let values: Vec<_> = values.collect();
                    pose.place = std::array::from_fn(|i| between(values[at][i], values[next][i]));
                }
                ReadOutputs::Rotations(values) => {
                    let values: Vec<_> = values.into_f32().collect();
                    pose.turn = std::array::from_fn(|i| between(values[at][i], values[next][i]));
                }
                ReadOutputs::Scales(values) => {
                    let values: Vec<_> = values.collect();
                    pose.size = std::array::from_fn(|i| between(values[at][i], values[next][i]));
                }
                ReadOutputs::MorphTargetWeights(_) => panic!("there are none"),
            }
        }
        pose
    }

    fn node(&self, name: &str) -> gltf::Node<'_> {
        let mut nodes = self
            .document
            .nodes()
            .filter(|node| node.name() == Some(name));
        let node = nodes.next().unwrap_or_else(|| panic!("a node {name}"));
        assert!(nodes.next().is_none(), "one node {name}");
        node
    }

    /// From the scene's metres to the picture's pixels.
    fn camera(&self, time: f64, (columns, rows): (f64, f64)) -> impl Fn(Point3<f64>) -> (f64, f64) {
        let node = self.node("camera");
        let pose = self.pose(&node, time);
        let camera = node.camera().expect("a camera");
        let gltf::camera::Projection::Perspective(lens) = camera.projection() else {
            panic!("perspective");
        };
        let project = Perspective3::new(
            f64::from(lens.aspect_ratio().expect("given")),
            f64::from(lens.yfov()),
            f64::from(lens.znear()),
            f64::from(lens.zfar().expect("given")),
        );
        let view = isometry(&pose).inverse();
        move |point| {
            let seen = project.project_point(&(view * point));
            assert!(seen.z.abs() <= 1.0, "between the clipping planes");
            ((seen.x + 1.0) / 2.0 * columns, (1.0 - seen.y) / 2.0 * rows)
        }
    }

    /// Corners of a plane, in its level's metres.
    fn corners(&self, node: &gltf::Node<'_>) -> Vec<Point3<f64>> {
        let primitive = node
            .mesh()
            .expect("a mesh")
            .primitives()
            .next()
            .expect("one");
        let reader = primitive.reader(|buffer| Some(&self.buffers[buffer.index()]));
        let positions = reader.read_positions().expect("positions");
        positions
            .map(|at| Point3::from(at.map(f64::from)))
            .collect()
    }
}

fn isometry(pose: &Pose) -> Isometry3<f64> {
    let [x, y, z] = pose.place.map(f64::from);
    let [i, j, k, w] = pose.turn.map(f64::from);
    Isometry3::from_parts(
        Translation3::new(x, y, z),
        UnitQuaternion::from_quaternion(Quaternion::new(w, i, j, k)),
    )
}

/// Every corner of every plane of every level, at frames, where the planner's own projection has it.
fn agrees(seen: &Seen, stand: &Stand, shot: &Shot, plan: &Plan, frames: &[u32]) {
    let picture = &stand.lens.picture;
    let size = (f64::from(picture.columns), f64::from(picture.rows));
    for &frame in frames {
        let time = f64::from(frame - 1) / shot.rate;
        let camera = seen.camera(time, size);
        let pose = plan.geometry().pose(frame);
        for (place, level) in stand.levels.iter().enumerate() {
            let node = seen.node(&level.name);
            let stands = seen.pose(&node, time);
            let world: Matrix4<f64> = isometry(&stands).to_homogeneous();
            let layer = &shot.layers[place];
            let bare = layer.art.is_none();
            let (east, north) = if bare {
                (0.0, 0.0)
            } else {
                layer.art_centre_mm
            };
            // All that lies on a level is of one shape in these shots.
            let shape = layer.art.as_ref().map_or(1.0, |art| {
                let (columns, rows) = image::image_dimensions(art).expect("a picture");
                f64::from(rows) / f64::from(columns)
            });
            for child in node.children() {
                let corners = seen.corners(&child);
                let (wide, tall) = if bare {
                    (level.pane.width_mm, level.pane.height_mm)
                } else {
                    (layer.art_width_mm, layer.art_width_mm * shape)
                };
                let signs = [(-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0), (1.0, 1.0)];
                assert_eq!(corners.len(), 4);
                for (corner, (x, y)) in corners.iter().zip(signs) {
                    let point = (east + x * wide / 2.0, north + y * tall / 2.0);
                    let expected =
                        stand_point(stand, &pose.stand, pose.image_mm, LevelId(place), point)
                            .expect("below the lens");
                    let found = camera(world.transform_point(corner));
                    let apart = (found.0 - expected.0).hypot(found.1 - expected.1);
                    assert!(
                        apart < 0.05,
                        "frame {frame}, {}: {found:?} {expected:?}",
                        level.name
                    );
                }
            }
        }
    }
}

#[test]
fn the_demonstration_is_projected_as_planned() {
    let (stand, shot, plan) = demo();
    let seen = glb(&made(&stand, &shot, &plan));
    agrees(&seen, &stand, &shot, &plan, &[1, 2, 17, 60, 119, 120]);
}

#[test]
fn roll_lens_height_glass_under_art_and_focus_pull_are_projected_as_planned() {
    let coast = Coast::new(24, "ones");
    let (stand, shot, plan) = coast.planned();
    let pose = plan.geometry().pose(24);
    let pulled = pose.image_mm / plan.geometry().reference_image_mm();
    assert!((pulled - 1.0).abs() > 1e-3, "focus is pulled: {pulled}");
    assert!(
        pose.stand.camera.turn_degrees.abs() > 7.0,
        "the camera rolls"
    );
    let seen = glb(&made(&stand, &shot, &plan));
    agrees(&seen, &stand, &shot, &plan, &[1, 2, 3, 11, 23, 24]);
}

#[test]
fn what_is_held_stands_still_and_jumps() {
    let coast = Coast::new(24, "twos");
    let (stand, shot, plan) = coast.planned();
    let seen = glb(&made(&stand, &shot, &plan));
    let animation = seen.document.animations().next().expect("one");
    assert!(
        animation
            .samplers()
            .all(|it| it.interpolation() == Interpolation::Step)
    );
    agrees(&seen, &stand, &shot, &plan, &[1, 2, 3, 4, 12, 23, 24]);
    // Also between two frames of one picture.
    let node = seen.node(REEDS);
    let (one, two) = (seen.pose(&node, 2.0 / 24.0), seen.pose(&node, 3.9 / 24.0));
    assert_eq!(one.place, two.place);
}

#[test]
fn drawings_are_shown_and_hidden_as_they_lie() {
    let coast = Coast::new(9, "ones");
    let (stand, shot, plan) = coast.planned();
    let seen = glb(&made(&stand, &shot, &plan));
    assert_eq!(seen.node("gulls").children().count(), 3);
    // Three drawings cycle up to frame 6, the third a bare pane; then the level's own painting.
    for (frame, lies) in [
        (1, "gull-1"),
        (2, "gull-2"),
        (3, ""),
        (4, "gull-1"),
        (6, ""),
        (7, "gulls"),
        (9, "gulls"),
    ] {
        let time = f64::from(frame - 1) / shot.rate;
        let mut shown = Vec::new();
        for child in seen.node("gulls").children() {
            let name = child.name().expect("a name").to_owned();
            let expected = if name == format!("gulls: {lies}") {
                [1.0; 3]
            } else {
                [0.0; 3]
            };
            assert_eq!(
                seen.pose(&child, time).size,
                expected,
                "frame {frame}, {name}"
            );
            if expected == [1.0; 3] {
                shown.push(name);
            }
        }
        assert_eq!(shown.len(), usize::from(!lies.is_empty()), "{shown:?}");
    }
}

#[test]
fn textures_are_the_art_as_it_is_and_blending_is_in_order() {
    let coast = Coast::new(9, "ones");
    let (stand, shot, plan) = coast.planned();
    let scene = made(&stand, &shot, &plan);
    let folder = coast.path("scene");
    std::fs::create_dir(&folder).expect("made");
    for file in scene.beside() {
        let mut out = std::fs::File::create(folder.join(&file.name)).expect("made");
        file.write(&mut out).expect("written");
    }
    let path = folder.join(panestep::export::DOCUMENT);
    let mut out = BufWriter::new(std::fs::File::create(&path).expect("made"));
    scene.document(&mut out).expect("written");
    drop(out);
    let seen = read(&path);
    assert_eq!(seen.images.len(), 4);
    assert!(
        seen.images
            .iter()
            .all(|it| (it.width, it.height) == (50, 40))
    );
    let own = std::fs::read(coast.path("gull-1.png")).expect("read");
    let bytes = |file: &Beside<'_>| {
        let mut bytes = Vec::new();
        file.write(&mut bytes).expect("written");
        bytes
    };
    assert!(scene.beside().iter().any(|file| bytes(file) == own));

    let roots: Vec<_> = seen
        .document
        .default_scene()
        .expect("one")
        .nodes()
        .collect();
    let names: Vec<_> = roots
        .iter()
        .map(|node| node.name().expect("a name"))
        .collect();
    assert_eq!(
        names,
        ["sky", "gulls", REEDS, "camera"],
        "the farthest first"
    );
    let mode = |name: &str| {
        let node = seen.node(name);
        let mesh = node.mesh().expect("a mesh");
        mesh.primitives()
            .next()
            .expect("one")
            .material()
            .alpha_mode()
    };
    assert_eq!(mode("gulls: gulls"), gltf::material::AlphaMode::Opaque);
    assert_eq!(mode("gulls: gull-1"), gltf::material::AlphaMode::Blend);
    // The sky has no art: a plain plane, and a sentence about it; and one about the second pass.
    assert_eq!(scene.notes.len(), 2);
    assert!(
        scene.notes[0].contains("first of 2 passes alone: dawn"),
        "{:?}",
        scene.notes
    );
    assert!(scene.notes[1].contains("sky"), "{:?}", scene.notes);

    let mut text = Vec::new();
    scene.gltf(&mut text, |_| Ok(())).expect("written");
    // From a file: of bytes alone the reader takes no pictures in the text.
    let path = coast.path("whole.gltf");
    std::fs::write(&path, &text).expect("written");
    let (document, _, images) = gltf::import(&path).expect("a sound scene");
    assert_eq!(images.len(), 4);
    assert_eq!(document.nodes().count(), seen.document.nodes().count());
}

#[test]
fn missing_and_broken_art_is_a_plain_plane_and_said() {
    let coast = Coast::new(4, "ones");
    std::fs::remove_file(coast.path("gull-2.png")).expect("removed");
    std::fs::write(coast.path("gull-1.png"), "no picture").expect("written");
    let (stand, shot, plan) = coast.planned();
    let scene = made(&stand, &shot, &plan);
    let seen = glb(&scene);
    // The reeds; and the gulls' own painting lies on no frame.
    assert_eq!(seen.images.len(), 1);
    assert_eq!(scene.notes.len(), 4, "{:?}", scene.notes);
    for name in ["gull-1", "gull-2"] {
        let note = scene.notes.iter().find(|note| note.contains(name));
        assert!(note.is_some(), "{:?}", scene.notes);
        let node = seen.node(&format!("gulls: {name}"));
        assert_eq!(seen.corners(&node).len(), 4);
    }
}

#[test]
fn one_frame_is_a_scene_that_stands_still() {
    let coast = Coast::new(1, "ones");
    let (stand, shot, plan) = coast.planned();
    let seen = glb(&made(&stand, &shot, &plan));
    assert_eq!(seen.document.animations().count(), 0);
    agrees(&seen, &stand, &shot, &plan, &[1]);
}

#[test]
fn levels_that_are_out_in_the_first_pass_are_not_in_the_scene() {
    let coast = Coast::new(3, "ones");
    let (stand, mut shot, plan) = coast.planned();
    shot.passes.swap(0, 1);
    let scene = made(&stand, &shot, &plan);
    let seen = glb(&scene);
    assert!(seen.document.nodes().all(|node| node.name() != Some(REEDS)));
    assert!(scene.notes.iter().any(|note| note.contains(REEDS)));
}

/// glTF 2.0, 4.4.3.3: a chunk of nothing should be omitted.
#[test]
fn a_scene_of_a_camera_alone_has_no_empty_chunk_and_says_so() {
    let coast = Coast::new(1, "ones");
    let (stand, mut shot, plan) = coast.planned();
    shot.passes[0].without = (0..stand.levels.len()).map(LevelId).collect();
    let scene = made(&stand, &shot, &plan);
    let mut bytes = Vec::new();
    scene.glb(&mut bytes, |_| Ok(())).expect("written");
    let text = u32::from_le_bytes(bytes[12..16].try_into().expect("a length")) as usize;
    assert_eq!(bytes.len(), 12 + 8 + text);
    let (document, _, _) = gltf::import_slice(&bytes).expect("a sound scene");
    assert_eq!(document.nodes().count(), 1);
    let last = scene.notes.last().expect("a note");
    assert!(last.contains("but the camera"), "{last}");
}

#[test]
fn paintings_are_asked_for_one_by_one_and_the_work_can_end_at_each() {
    let coast = Coast::new(9, "ones");
    let (stand, shot, plan) = coast.planned();
    let mut heard = Vec::new();
    let scene = Scene::new(&stand, &shot, &plan, texture::load, |much| {
        heard.push(much);
        Ok(())
    })
    .expect("made");
    // Frames: of the move, and of each of three levels; reeds, gulls and two drawings are read.
    assert_eq!(heard.iter().filter(|it| **it == PAINTING).count(), 4);
    assert_eq!(heard.iter().filter(|it| **it == 1).count(), 9 * (1 + 3));
    let mut written = 0;
    for both in 0..2 {
        let begun = |much: u64| {
            written += much;
            Ok(())
        };
        let done = match both {
            0 => scene.glb(&mut std::io::sink(), begun),
            _ => scene.gltf(&mut std::io::sink(), begun),
        };
        done.expect("written");
    }
    assert_eq!(written, 2 * 4 * PAINTING);
    let all = heard.iter().sum::<u64>() + written / 2;
    assert_eq!(Scene::work(&shot, &plan), all);
    // Asked to stop at the third painting.
    for both in 0..2 {
        let mut left = 2;
        let begun = |_: u64| {
            left -= 1;
            if left < 0 {
                Err(std::io::Error::other("stopped"))
            } else {
                Ok(())
            }
        };
        let stopped = match both {
            0 => scene.glb(&mut std::io::sink(), begun),
            _ => scene.gltf(&mut std::io::sink(), begun),
        };
        let error = stopped.expect_err("stopped");
        assert!(error.to_string().contains("stopped"), "{error}");
        assert_eq!(left, -1);
    }
    // A painting that is another by then is not mixed in.
    std::fs::copy(coast.path("gull-1.png"), coast.path("gulls.jpg")).expect("copied");
    let error = scene
        .glb(&mut std::io::sink(), |_| Ok(()))
        .expect_err("changed");
    assert!(
        error.to_string().contains("gulls.jpg has changed"),
        "{error}"
    );
}
