//! What the fuzz targets share: seeds and dictionaries, which are made afresh from the project's
//! own files and types before every run, so that they cannot go stale; and frames around any bytes.

use std::collections::BTreeSet;
use std::path::Path;

use panestep_protocol::encode;
use serde::ser::{Serialize, SerializeTuple, Serializer};

/// The variable that names the folder that a target writes its seeds to before it begins. Its
/// dictionary lies beside it, with `.dict` behind the name.
pub const SEEDS: &str = "PANESTEP_SEEDS";

/// Writes a target's seeds and its dictionary to where [`SEEDS`] says; nowhere without it.
///
/// # Panics
/// Where they cannot be written: a target without its seeds would look sound and find nothing.
pub fn plant(seeds: &[Vec<u8>], words: &BTreeSet<Vec<u8>>) {
    let Some(folder) = std::env::var_os(SEEDS) else {
        return;
    };
    let folder = Path::new(&folder);
    std::fs::create_dir_all(folder).expect("a folder for the seeds");
    for (at, seed) in seeds.iter().enumerate() {
        std::fs::write(folder.join(format!("{at:03}")), seed).expect("a seed");
    }
    let mut lines = String::new();
    for word in words.iter().filter(|word| !word.is_empty()) {
        lines.push('"');
        for byte in word {
            lines.push_str(&format!("\\x{byte:02x}"));
        }
        lines.push_str("\"\n");
    }
    std::fs::write(folder.with_extension("dict"), lines).expect("a dictionary");
}

/// The words of a text: runs of letters, digits and what holds them together, and whole lines.
#[must_use]
pub fn words(text: &str) -> BTreeSet<Vec<u8>> {
    let lines = text.lines().map(str::trim);
    let lines = lines.filter(|line| !line.starts_with('#'));
    let mut words = BTreeSet::new();
    for line in lines {
        let apart = |c: char| !(c.is_alphanumeric() || matches!(c, '_' | '-' | '.'));
        words.extend(line.split(apart).map(|word| word.as_bytes().to_vec()));
        if line.len() < 60 {
            words.insert(format!("{line}\n").into_bytes());
        }
    }
    words
}

/// A TOML file without its comments, and with two tables of each list of tables: quick to read,
/// and a fuzzer learns no more from the rest.
#[must_use]
pub fn short(text: &str) -> String {
    let lines = text.lines().filter(|line| !line.starts_with('#'));
    let mut heads = Vec::new();
    let mut kept = String::new();
    let mut keep = true;
    for line in lines.filter(|line| !line.is_empty()) {
        if line.starts_with('[') {
            heads.push(line);
            keep = heads.iter().filter(|head| **head == line).count() <= 2;
        }
        if keep {
            kept.push_str(line);
            kept.push('\n');
        }
    }
    kept
}

/// Bytes that serialise as themselves.
struct Raw<'a>(&'a [u8]);

impl Serialize for Raw<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut tuple = serializer.serialize_tuple(self.0.len())?;
        for byte in self.0 {
            tuple.serialize_element(byte)?;
        }
        tuple.end()
    }
}

/// A sound frame around any bytes, its closing zero included.
///
/// # Panics
/// Never: the buffer grows with the bytes.
#[must_use]
pub fn frame(body: &[u8]) -> Vec<u8> {
    let mut buffer = vec![0; body.len() + body.len() / 254 + 16];
    encode(&Raw(body), &mut buffer)
        .expect("there is room")
        .to_vec()
}

/// Cuts pieces off some bytes, for a target that reads its input bit by bit.
#[derive(Clone, Copy, Debug)]
pub struct Pieces<'a>(pub &'a [u8]);

impl<'a> Pieces<'a> {
    /// The next byte, 0 behind the last.
    pub fn byte(&mut self) -> u8 {
        self.bytes(1).first().copied().unwrap_or(0)
    }

    /// So many bytes, or as many as are left.
    pub fn bytes(&mut self, count: usize) -> &'a [u8] {
        let (piece, rest) = self.0.split_at(count.min(self.0.len()));
        self.0 = rest;
        piece
    }

    /// Whether nothing is left.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
