//! A scene as files: one `.glb`, one `.gltf` with everything in it, or a folder.

use std::cell::RefCell;
use std::io::{self, Write};

use base64::display::Base64Display;
use base64::engine::general_purpose::STANDARD;
use serde::ser::{Error, Serialize, SerializeMap, Serializer};
use serde_json::{Value, json};

use super::scene::{Beside, Image, PAINTING, Scene};
use super::texture;

/// The document's name in a folder.
pub const DOCUMENT: &str = "scene.gltf";
/// The name of meshes and motion in a folder.
const DATA: &str = "scene.bin";

/// An image with its bytes in its text; they are read when they are written.
struct Within<'a, F>(&'a Image, &'a RefCell<F>);

impl<F: FnMut(u64) -> io::Result<()>> Serialize for Within<'_, F> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        (self.1.borrow_mut())(PAINTING).map_err(S::Error::custom)?;
        let bytes = self.0.bytes().map_err(S::Error::custom)?;
        let mut map = serializer.serialize_map(Some(2))?;
        map.serialize_entry("name", &self.0.name)?;
        map.serialize_entry("uri", &Uri(self.0.kind.mime(), &bytes))?;
        map.end()
    }
}

/// Bytes in a text (RFC 2397).
struct Uri<'a>(&'a str, &'a [u8]);

impl Serialize for Uri<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let bytes = Base64Display::new(self.1, &STANDARD);
        serializer.collect_str(&format_args!("data:{};base64,{bytes}", self.0))
    }
}

/// A whole scene in one text.
#[derive(serde::Serialize)]
#[serde(bound = "")]
struct Whole<'a, F: FnMut(u64) -> io::Result<()>> {
    #[serde(flatten)]
    document: &'a Value,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    images: Vec<Within<'a, F>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    buffers: Vec<Buffer<'a>>,
}

#[derive(serde::Serialize)]
struct Buffer<'a> {
    #[serde(rename = "byteLength")]
    length: usize,
    uri: Uri<'a>,
}

impl Image {
    fn bytes(&self) -> io::Result<Vec<u8>> {
        texture::again(&self.path, self.own, self.fingerprint)
    }
}

impl Scene {
    /// Writes it as one binary file (glTF 2.0, 4 "GLB File Format Specification"). `begun` hears
    /// [`PAINTING`] before every painting, and may end the work.
    ///
    /// # Errors
    ///
    /// Those of the writer and of `begun`; a painting that has changed since; a scene of 4 GiB or more,
    /// which such a file cannot hold.
    pub fn glb(
        &self,
        out: &mut impl Write,
        mut begun: impl FnMut(u64) -> io::Result<()>,
    ) -> io::Result<()> {
        let mut document = self.document.clone();
        let mut views = self.views.clone();
        let mut length = self.data.len();
        let mut images = Vec::new();
        for image in &self.images {
            let bytes = image.length;
            images.push(json!({
                "name": image.name,
                "mimeType": image.kind.mime(),
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
        // A chunk of nothing is left out (glTF 2.0, 4.4.3.3).
        let binary = if length > 0 { 8 + length } else { 0 };
        let whole = 12 + 8 + text.len() + binary;
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
        if length > 0 {
            out.write_all(&word(length)?)?;
            out.write_all(b"BIN\0")?;
            out.write_all(&self.data)?;
        }
        for image in &self.images {
            begun(PAINTING)?;
            let bytes = image.bytes()?;
            out.write_all(&bytes)?;
            out.write_all(&[0; 3][..bytes.len().next_multiple_of(4) - bytes.len()])?;
        }
        Ok(())
    }

    /// Writes it as one text file with everything in it. `begun` as for [`Self::glb`].
    ///
    /// # Errors
    ///
    /// Those of the writer and of `begun`; a painting that has changed since.
    pub fn gltf(
        &self,
        out: &mut impl Write,
        begun: impl FnMut(u64) -> io::Result<()>,
    ) -> io::Result<()> {
        let begun = RefCell::new(begun);
        let mut document = self.document.clone();
        if !self.views.is_empty() {
            document["bufferViews"] = self.views.clone().into();
        }
        let buffer = Buffer {
            length: self.data.len(),
            uri: Uri("application/octet-stream", &self.data),
        };
        let whole = Whole {
            document: &document,
            images: self.images.iter().map(|it| Within(it, &begun)).collect(),
            buffers: (!self.views.is_empty())
                .then_some(buffer)
                .into_iter()
                .collect(),
        };
        serde_json::to_writer(&mut *out, &whole)?;
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
        let images = self.images.iter().enumerate();
        let mut files: Vec<Beside<'_>> = images
            .map(|(place, image)| Beside {
                name: self.file_name(place).into(),
                image: Some(image),
                data: &[],
            })
            .collect();
        if !self.data.is_empty() {
            files.push(Beside {
                name: DATA.into(),
                image: None,
                data: &self.data,
            });
        }
        files
    }

    /// Plain letters alone, whatever the levels are called.
    fn file_name(&self, place: usize) -> String {
        let kind = self.images[place].kind;
        format!("painting-{:03}.{}", place + 1, kind.ending())
    }
}

/// Whether a file has the name of a scene's painting.
#[must_use]
pub fn is_painting(name: &str) -> bool {
    let rest = name.strip_prefix("painting-");
    let number = rest.and_then(|it| it.strip_suffix(".png").or_else(|| it.strip_suffix(".jpg")));
    number.is_some_and(|it| it.len() >= 3 && it.bytes().all(|byte| byte.is_ascii_digit()))
}

impl Beside<'_> {
    /// Writes what is in it.
    ///
    /// # Errors
    ///
    /// Those of the writer; a painting that has changed since.
    pub fn write(&self, out: &mut impl Write) -> io::Result<()> {
        match self.image {
            Some(image) => out.write_all(&image.bytes()?),
            None => out.write_all(self.data),
        }
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
