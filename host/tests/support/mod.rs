//! Small stands and shots for the tests of the program.

#![allow(dead_code, reason = "each test takes what it needs")]

pub(crate) mod seat;

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use image::{Rgb, RgbImage};

/// What fires the camera, as lines of the stand file.
pub(crate) const BOARD: &str = "board = \"main\"\npress = \"50 ms\"\nflash_contact = true";
pub(crate) const COMMAND: &str = "command = [\"./photograph\", \"{frame}\"]\ntime_out = \"60 s\"";
pub(crate) const HAND: &str = "by_hand = true";

/// Pictures that arrive in `card`.
pub(crate) const CARD: &str = "[pictures]\nfolder = \"card\"\nwithin = \"2 s\"";

/// Writes `stand.toml`, a stand of one quick motor, and `shot.toml`, a shot for it.
pub(crate) fn write(folder: &Path, fired: &str, more: &str, frames: u32) {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data");
    let read = |name: &str| fs::read_to_string(data.join(name)).expect("the test's file");
    let stand = read("hand.stand.toml");
    // Without the level that is set by hand.
    let axis = stand.rfind("[[axis]]").expect("the hand axis");
    let stand = stand[..axis]
        .replace("\"60 mm/s2\"", "\"400 mm/s2\"")
        .replace("\"400 mm/s3\"", "\"6000 mm/s3\"");
    let times = "settle = \"20 ms\"\nexposure = \"50 ms\"\nready = \"50 ms\"";
    let stand = format!("{stand}[shutter]\n{fired}\n{times}\n\n{more}\n");
    let shot = read("hand.shot.toml");
    let shot = shot[..shot.find("[[shift]]").expect("the hand axis's move")]
        .replace("hand.stand.toml", "stand.toml")
        .replace("frames = 2", &format!("frames = {frames}"))
        .replace("frame = 2", &format!("frame = {frames}"));
    fs::write(folder.join("stand.toml"), stand).expect("the stand is written");
    fs::write(folder.join("shot.toml"), shot).expect("the shot is written");
}

/// Writes `photograph`, a command of the test's own.
pub(crate) fn script(folder: &Path, lines: &str) {
    let path = folder.join("photograph");
    fs::write(&path, format!("#!/bin/sh\n{lines}\n")).expect("written");
    fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).expect("may be run");
}

/// Writes a picture; of different shades they differ, and shade 0 is black.
pub(crate) fn picture(path: &Path, shade: u8) {
    RgbImage::from_fn(24, 16, |x, _| {
        Rgb([shade, shade, if shade == 0 { 0 } else { 8 * x as u8 }])
    })
    .save(path)
    .expect("the picture is written");
}

/// The journal's entries.
pub(crate) fn journal(take: &Path) -> Vec<serde_json::Value> {
    fs::read_to_string(take.join("journal.jsonl"))
        .unwrap_or_default()
        .lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect()
}

/// A field of every entry of a kind.
pub(crate) fn of_kind(take: &Path, kind: &str, field: &str) -> Vec<serde_json::Value> {
    journal(take)
        .into_iter()
        .filter(|entry| entry["kind"] == kind)
        .map(|entry| entry[field].clone())
        .collect()
}
