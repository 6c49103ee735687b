//! The folder that the camera's pictures arrive in.

use std::collections::{BTreeMap, HashMap};
use std::fs;
use std::io::{self, Cursor, ErrorKind};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::time::{Duration, SystemTime};

use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};

use super::whole::{jpeg_has_its_end, png_has_its_end};
use crate::link::Clock;
use crate::take::{Album, Look};

/// Greatest number of dots of a picture that is looked at.
pub const MAX_PIXELS: u64 = 200_000_000;

/// Greatest width or height, dots.
const MAX_SIDE: u32 = 50_000;

/// Most memory that a decoder may take, bytes: 16 bits for each of three colours, and room to work.
const MEMORY: u64 = 2_000_000_000;

/// Largest file that is read.
const MAX_BYTES: u64 = 2_000_000_000;

static CRC: crc::Crc<u64> = crc::Crc::<u64>::new(&crc::CRC_64_XZ);

/// Kinds of picture that can be read, by the ending of their names, the one that is preferred
/// first.
const READABLE: [(&str, ImageFormat); 5] = [
    ("jpg", ImageFormat::Jpeg),
    ("jpeg", ImageFormat::Jpeg),
    ("png", ImageFormat::Png),
    ("tif", ImageFormat::Tiff),
    ("tiff", ImageFormat::Tiff),
];

/// Endings of files that are no pictures: still arriving, or notes that programs and systems put
/// beside them.
const NO_PICTURES: [&str; 7] = ["tmp", "part", "partial", "xmp", "thm", "db", "ini"];

/// The folder. Files of one stem, such as a raw file and a JPEG, are one picture, which is called
/// by the file that can be read.
pub struct PictureFolder {
    path: PathBuf,
    /// What a stem's picture was called before: it keeps its name for as long as it can.
    called: HashMap<String, String>,
    /// What the last look at a file found.
    seen: HashMap<String, Seen>,
    pause: Option<(Rc<dyn Clock>, Duration)>,
}

/// A file as it was at the last look.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Stamp {
    bytes: u64,
    changed: Option<SystemTime>,
}

struct Seen {
    stamp: Stamp,
    /// What it holds, where it has been read since.
    look: Option<Look>,
}

impl PictureFolder {
    /// A folder that is there.
    ///
    /// # Errors
    /// That it is not, or cannot be read.
    pub fn open(path: &Path) -> io::Result<Self> {
        let mut folder = Self {
            path: path.into(),
            called: HashMap::new(),
            seen: HashMap::new(),
            pause: None,
        };
        folder.names()?;
        Ok(folder)
    }

    /// Takes so long for every look at the folder, by this clock. Where the take's own clock does
    /// not wait for the world outside, a picture would never have the time to arrive.
    #[must_use]
    pub fn with_pause(mut self, clock: Rc<dyn Clock>, pause: Duration) -> Self {
        self.pause = Some((clock, pause));
        self
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }
}

impl Album for PictureFolder {
    fn names(&mut self) -> io::Result<Vec<String>> {
        if let Some((clock, pause)) = &self.pause {
            clock.sleep(*pause)?;
        }
        let mut stems: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for entry in fs::read_dir(&self.path)? {
            let entry = entry?;
            // One whose name is no text cannot be written into the journal.
            let name = entry.file_name().to_string_lossy().into_owned();
            if !may_be_a_picture(&name) {
                continue;
            }
            // It may have gone, or been given its real name, since the folder was read.
            let is_file = fs::metadata(entry.path()).is_ok_and(|file| file.is_file());
            if is_file {
                stems.entry(stem(&name).to_owned()).or_default().push(name);
            }
        }
        self.called.retain(|stem, _| stems.contains_key(stem));
        let mut names = Vec::with_capacity(stems.len());
        for (stem, files) in stems {
            let before = self
                .called
                .get(&stem)
                .filter(|name| files.contains(name) && format(name).is_some());
            let name = match before {
                Some(name) => name.clone(),
                None => best(files),
            };
            self.called.insert(stem, name.clone());
            names.push(name);
        }
        Ok(names)
    }

    fn look(&mut self, name: &str) -> io::Result<Look> {
        let Some(format) = format(name) else {
            return Ok(Look::Unreadable);
        };
        let path = self.path.join(name);
        let Some(stamp) = stamp(&path)? else {
            self.seen.remove(name);
            return Ok(Look::Unreadable);
        };
        match self.seen.get(name) {
            Some(seen) if seen.stamp == stamp => {
                if let Some(look) = seen.look {
                    return Ok(look);
                }
            }
            // Only a file that has not changed from one look to the next has come to rest.
            _ => {
                let look = None;
                self.seen.insert(name.to_owned(), Seen { stamp, look });
                return Ok(Look::Unreadable);
            }
        }
        let look = read(&path, format, stamp)?;
        let still = Some(stamp) == self::stamp(&path)?;
        let look = if still { look } else { Look::Unreadable };
        let seen = Seen {
            stamp,
            look: still.then_some(look),
        };
        self.seen.insert(name.to_owned(), seen);
        Ok(look)
    }
}

fn stamp(path: &Path) -> io::Result<Option<Stamp>> {
    match fs::metadata(path) {
        Ok(file) => Ok(Some(Stamp {
            bytes: file.len(),
            changed: file.modified().ok(),
        })),
        Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
        Err(error) => Err(error),
    }
}

/// Reads a picture's file.
fn read(path: &Path, format: ImageFormat, stamp: Stamp) -> io::Result<Look> {
    if stamp.bytes == 0 || stamp.bytes > MAX_BYTES {
        return Ok(Look::Unreadable);
    }
    let bytes = match fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Look::Unreadable),
        Err(error) => return Err(error),
    };
    let whole = match format {
        ImageFormat::Jpeg => jpeg_has_its_end(&bytes),
        ImageFormat::Png => png_has_its_end(&bytes),
        // A TIFF file that is cut short points beyond its end.
        _ => true,
    };
    if !whole {
        return Ok(Look::Unreadable);
    }
    Ok(decoded(&bytes, format).map_or(Look::Unreadable, |picture| seen_in(&picture)))
}

fn decoded(bytes: &[u8], format: ImageFormat) -> Option<DynamicImage> {
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE);
    limits.max_image_height = Some(MAX_SIDE);
    limits.max_alloc = Some(MEMORY);
    reader.limits(limits);
    let decoder = reader.into_decoder().ok()?;
    let (columns, rows) = decoder.dimensions();
    // The limit on memory is a decoder's best effort; this one is ours.
    if u64::from(columns) * u64::from(rows) > MAX_PIXELS || decoder.total_bytes() > MEMORY {
        return None;
    }
    DynamicImage::from_decoder(decoder).ok()
}

/// What tells a picture from another, and from a black one.
fn seen_in(picture: &DynamicImage) -> Look {
    let mut digest = CRC.digest();
    digest.update(&picture.width().to_le_bytes());
    digest.update(&picture.height().to_le_bytes());
    digest.update(picture.as_bytes());
    let mut levels = [0_u64; 256];
    let grey = picture.to_luma8();
    for &level in grey.as_raw() {
        levels[usize::from(level)] += 1;
    }
    let wanted = (grey.as_raw().len() as u64 / 1000).max(1);
    let mut count = 0;
    let bright = (0..=u8::MAX)
        .rev()
        .find(|&level| {
            count += levels[usize::from(level)];
            count >= wanted
        })
        .unwrap_or(0);
    Look::Whole {
        digest: digest.finalize(),
        bright,
    }
}

fn may_be_a_picture(name: &str) -> bool {
    !name.starts_with('.') && !NO_PICTURES.iter().any(|no| ends_in(name, no))
}

/// A name without its ending.
fn stem(name: &str) -> &str {
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

fn ends_in(name: &str, ending: &str) -> bool {
    name.rsplit_once('.')
        .is_some_and(|(_, its)| its.eq_ignore_ascii_case(ending))
}

fn rank(name: &str) -> usize {
    READABLE
        .iter()
        .position(|(ending, _)| ends_in(name, ending))
        .unwrap_or(READABLE.len())
}

fn format(name: &str) -> Option<ImageFormat> {
    READABLE.get(rank(name)).map(|&(_, format)| format)
}

/// The file that a picture is called by.
fn best(mut files: Vec<String>) -> String {
    files.sort_by(|a, b| (rank(a), a).cmp(&(rank(b), b)));
    files.swap_remove(0)
}
