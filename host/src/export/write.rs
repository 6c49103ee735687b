//! A scene as files: one `.glb`, one `.gltf` with everything in it, or a folder.

use std::io::{self, Write};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use base64::write::EncoderWriter;
use serde_json::{Value, json};

use super::scene::{Beside, Scene};

/// The document's name in a folder.
pub const DOCUMENT: &str = "scene.gltf";
/// The name of meshes and motion in a folder.
const DATA: &str = "scene.bin";

impl Scene {
    /// Writes it as one binary file (glTF 2.0, 4 "GLB File Format Specification").
    ///
    /// # Errors
    ///
    /// Those of the writer; a scene of 4 GiB or more, which such a file cannot hold.
    pub fn glb(&self, out: &mut impl Write) -> io::Result<()> {
        let mut document = self.document.clone();
        let mut views = self.views.clone();
        let mut length = self.data.len();
        let mut images = Vec::new();
        for image in &self.images {
            let bytes = image.texture.bytes.len();
            images.push(json!({
                "name": image.name,
                "mimeType": image.texture.kind.mime(),
                "bufferView": views.len(),
            }));
            views.push(json!({ "buffer": 0, "byteOffset": length, "byteLength": bytes }));
            length += bytes.next_multiple_of(4);
        }
        fill(
            &mut document,
            views,
            images,
            json!({ "byteLength": length }),
        );
        let mut text = serde_json::to_vec(&document)?;
        while !text.len().is_multiple_of(4) {
            text.push(b' ');
        }
        let whole = 12 + 8 + text.len() + 8 + length;
        let word = |value: usize| {
            u32::try_from(value).map(u32::to_le_bytes).map_err(|_| {
                io::Error::other(
                    "the scene has 4 GiB or more, which one .glb file cannot hold: write a folder",
                )
            })
        };
        out.write_all(b"glTF")?;
        out.write_all(&2_u32.to_le_bytes())?;
        out.write_all(&word(whole)?)?;
        out.write_all(&word(text.len())?)?;
        out.write_all(b"JSON")?;
        out.write_all(&text)?;
        out.write_all(&word(length)?)?;
        out.write_all(b"BIN\0")?;
        out.write_all(&self.data)?;
        for image in &self.images {
            let bytes = &image.texture.bytes;
            out.write_all(bytes)?;
            out.write_all(&[0; 3][..bytes.len().next_multiple_of(4) - bytes.len()])?;
        }
        Ok(())
    }

    /// Writes it as one text file with everything in it.
    ///
    /// # Errors
    ///
    /// Those of the writer.
    pub fn gltf(&self, out: &mut impl Write) -> io::Result<()> {
        let images = self.images.iter().map(|image| {
            let kind = image.texture.kind.mime();
            let bytes = STANDARD.encode(&image.texture.bytes);
            json!({ "name": image.name, "uri": format!("data:{kind};base64,{bytes}") })
        });
        let mut document = self.document.clone();
        let mut data = EncoderWriter::new(Vec::new(), &STANDARD);
        data.write_all(&self.data)?;
        let data = String::from_utf8_lossy(&data.finish()?).into_owned();
        let buffer = json!({
            "byteLength": self.data.len(),
            "uri": format!("data:application/octet-stream;base64,{data}"),
        });
        fill(&mut document, self.views.clone(), images.collect(), buffer);
        serde_json::to_writer(&mut *out, &document)?;
        writeln!(out)
    }

    /// Writes the document of a folder; [`Self::beside`] lies beside it.
    ///
    /// # Errors
    ///
    /// Those of the writer.
    pub fn document(&self, out: &mut impl Write) -> io::Result<()> {
        let images = self
            .images
            .iter()
            .enumerate()
            .map(|(place, image)| json!({ "name": image.name, "uri": self.file_name(place) }));
        let mut document = self.document.clone();
        let buffer = json!({ "byteLength": self.data.len(), "uri": DATA });
        fill(&mut document, self.views.clone(), images.collect(), buffer);
        serde_json::to_writer_pretty(&mut *out, &document)?;
        writeln!(out)
    }

    /// The files beside a folder's document.
    #[must_use]
    pub fn beside(&self) -> Vec<Beside<'_>> {
        let mut files: Vec<Beside<'_>> = self
            .images
            .iter()
            .enumerate()
            .map(|(place, image)| Beside {
                name: self.file_name(place).into(),
                bytes: &image.texture.bytes,
            })
            .collect();
        if !self.data.is_empty() {
            files.push(Beside {
                name: DATA.into(),
                bytes: &self.data,
            });
        }
        files
    }

    /// Plain letters alone, whatever the levels are called.
    fn file_name(&self, place: usize) -> String {
        let kind = self.images[place].texture.kind;
        format!("painting-{:03}.{}", place + 1, kind.ending())
    }
}

fn fill(document: &mut Value, views: Vec<Value>, images: Vec<Value>, buffer: Value) {
    if !images.is_empty() {
        document["images"] = images.into();
    }
    if !views.is_empty() {
        document["bufferViews"] = views.into();
        document["buffers"] = json!([buffer]);
    }
}
