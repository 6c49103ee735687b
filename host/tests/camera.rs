//! The user's own camera: real commands, real picture files.

use std::cell::RefCell;
use std::fs;
use std::io::Cursor;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::rc::Rc;
use std::sync::{PoisonError, RwLock};
use std::time::{Duration, Instant};

use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use panestep::camera::{PictureFolder, Told, UserCommand};
use panestep::link::SystemClock;
use panestep::schedule::Turn;
use panestep::take::album::BLACK;
use panestep::take::exposure::Released;
use panestep::take::{Album, Look, ReleaseOrder, Trigger};
use tempfile::TempDir;

fn folder() -> TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

fn scene(shade: u8) -> RgbImage {
    RgbImage::from_fn(160, 90, |x, y| {
        Rgb([(x + y) as u8, shade, (x * y % 97) as u8])
    })
}

fn encoded(picture: &RgbImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    DynamicImage::ImageRgb8(picture.clone())
        .write_to(&mut bytes, format)
        .expect("it is encoded");
    bytes.into_inner()
}

/// What is seen of a file once it has come to rest: the second look.
fn looked(album: &mut PictureFolder, name: &str) -> Look {
    let first = album.look(name).expect("the folder can be read");
    assert_eq!(first, Look::Unreadable, "{name} was trusted at first sight");
    album.look(name).expect("the folder can be read")
}

const KINDS: [(&str, ImageFormat); 4] = [
    ("a.jpg", ImageFormat::Jpeg),
    ("b.JPEG", ImageFormat::Jpeg),
    ("c.Png", ImageFormat::Png),
    ("d.tif", ImageFormat::Tiff),
];

#[test]
fn pictures_of_every_kind_are_whole_and_told_apart() {
    let there = folder();
    let mut album = PictureFolder::open(there.path()).expect("it is there");
    let mut digests = Vec::new();
    for (name, format) in KINDS {
        fs::write(there.path().join(name), encoded(&scene(80), format)).expect("written");
        let Look::Whole { digest, bright } = looked(&mut album, name) else {
            panic!("{name} is not read");
        };
        assert!(bright > BLACK, "{name} {bright}");
        digests.push(digest);
    }
    // The two that lose nothing show the same dots; the JPEG ones the same as each other.
    assert_eq!(digests[0], digests[1]);
    assert_eq!(digests[2], digests[3]);
    assert_ne!(digests[0], digests[2]);
    // One level in one dot makes another picture.
    let mut other = scene(80);
    other.get_pixel_mut(20, 30)[1] += 1;
    let bytes = encoded(&other, ImageFormat::Png);
    fs::write(there.path().join("e.png"), bytes).expect("written");
    let Look::Whole { digest, .. } = looked(&mut album, "e.png") else {
        panic!("not read");
    };
    assert_ne!(digest, digests[2]);
    assert_eq!(album.names().expect("readable").len(), 5);
}

/// CRC-64/XZ of the dots, from the catalogue of parametrised CRC algorithms: its check value is
/// that of the nine digits. Here over a grey picture's size and dots, computed bit by bit.
#[test]
fn the_digest_is_the_published_crc_over_size_and_dots() {
    fn crc(bytes: &[u8]) -> u64 {
        let mut value = u64::MAX;
        for &byte in bytes {
            value ^= u64::from(byte);
            for _ in 0..8 {
                value = (value >> 1) ^ (0xC96C_5795_D787_0F42 * (value & 1));
            }
        }
        !value
    }
    assert_eq!(crc(b"123456789"), 0x995D_C9BB_DF19_39FA);
    let there = folder();
    let picture = scene(7);
    fs::write(
        there.path().join("a.png"),
        encoded(&picture, ImageFormat::Png),
    )
    .expect("written");
    let mut album = PictureFolder::open(there.path()).expect("it is there");
    let mut bytes = Vec::from(160_u32.to_le_bytes());
    bytes.extend(90_u32.to_le_bytes());
    bytes.extend(picture.as_raw());
    let look = looked(&mut album, "a.png");
    assert!(
        matches!(look, Look::Whole { digest, .. } if digest == crc(&bytes)),
        "{look:?}"
    );
}

#[test]
fn a_file_cut_short_is_not_read_wherever_it_is_cut() {
    for (name, format) in KINDS {
        let bytes = encoded(&scene(80), format);
        let there = folder();
        let mut album = PictureFolder::open(there.path()).expect("it is there");
        for tenth in 0..10 {
            let length = bytes.len() * tenth / 10;
            fs::write(there.path().join(name), &bytes[..length]).expect("written");
            let look = looked(&mut album, name);
            assert_eq!(look, Look::Unreadable, "{name} cut to {length}");
        }
        let length = bytes.len() - 1;
        fs::write(there.path().join(name), &bytes[..length]).expect("written");
        assert_eq!(looked(&mut album, name), Look::Unreadable, "{name}");
        // The rest arrives.
        fs::write(there.path().join(name), &bytes).expect("written");
        assert!(matches!(looked(&mut album, name), Look::Whole { .. }));
    }
}

#[test]
fn a_file_that_still_grows_is_not_read_although_it_could_be() {
    let there = folder();
    let mut album = PictureFolder::open(there.path()).expect("it is there");
    let path = there.path().join("a.jpg");
    let mut bytes = encoded(&scene(80), ImageFormat::Jpeg);
    for _ in 0..4 {
        // A trailer that grows: readable at every moment, but never at rest.
        bytes.push(0);
        fs::write(&path, &bytes).expect("written");
        assert_eq!(album.look("a.jpg").expect("readable"), Look::Unreadable);
    }
    assert!(matches!(
        album.look("a.jpg").expect("readable"),
        Look::Whole { .. }
    ));
    fs::remove_file(&path).expect("removed");
    assert_eq!(
        album.look("a.jpg").expect("gone is no error"),
        Look::Unreadable
    );
}

#[test]
fn black_is_told_from_dark() {
    let there = folder();
    let mut album = PictureFolder::open(there.path()).expect("it is there");
    let mut bright = |name: &str, picture: &RgbImage| {
        fs::write(there.path().join(name), encoded(picture, ImageFormat::Png)).expect("written");
        match looked(&mut album, name) {
            Look::Whole { bright, .. } => bright,
            Look::Unreadable => panic!("{name} is not read"),
        }
    };
    let mut picture = RgbImage::from_pixel(100, 100, Rgb([3, 3, 3]));
    assert_eq!(bright("a.png", &picture), 3);
    // A dot in a thousand: ten of ten thousand count, nine hot ones do not.
    for at in 0..9 {
        picture.put_pixel(at * 7, at, Rgb([255; 3]));
    }
    assert_eq!(bright("b.png", &picture), 3);
    picture.put_pixel(99, 99, Rgb([200; 3]));
    assert_eq!(bright("c.png", &picture), 200);
}

#[test]
fn files_of_one_stem_are_one_picture_and_some_are_none() {
    let there = folder();
    let write =
        |name: &str, bytes: &[u8]| fs::write(there.path().join(name), bytes).expect("written");
    let mut album = PictureFolder::open(there.path()).expect("it is there");
    for name in [".hidden.jpg", "a.jpg.tmp", "b.part", "c.xmp", "Thumbs.db"] {
        write(name, b"none");
    }
    fs::create_dir(there.path().join("folder.jpg")).expect("a folder");
    assert!(album.names().expect("readable").is_empty());

    // The raw file comes first; it cannot be read, so it may still be arriving.
    write("shot 1.RAW", b"raw");
    assert_eq!(album.names().expect("readable"), ["shot 1.RAW"]);
    assert_eq!(looked(&mut album, "shot 1.RAW"), Look::Unreadable);
    write("shot 1.jpg", &encoded(&scene(9), ImageFormat::Jpeg));
    assert_eq!(album.names().expect("readable"), ["shot 1.jpg"]);
    // It keeps its name when another readable one comes.
    write("shot 2.tif", &encoded(&scene(9), ImageFormat::Tiff));
    assert_eq!(
        album.names().expect("readable"),
        ["shot 1.jpg", "shot 2.tif"]
    );
    write("shot 2.jpg", &encoded(&scene(9), ImageFormat::Jpeg));
    write("shot 2.RAW", b"raw");
    assert_eq!(
        album.names().expect("readable"),
        ["shot 1.jpg", "shot 2.tif"]
    );
}

#[test]
fn a_folder_that_is_not_there_is_an_error() {
    let there = folder();
    let error = PictureFolder::open(&there.path().join("none")).err();
    assert_eq!(
        error.map(|error| error.kind()),
        Some(std::io::ErrorKind::NotFound)
    );
}

/// A PNG file of a few bytes that says it is enormous (PNG specification, 11.2.2: IHDR holds width
/// and height).
#[test]
fn a_picture_that_claims_to_be_enormous_is_not_decoded() {
    let there = folder();
    let mut album = PictureFolder::open(there.path()).expect("it is there");
    for (columns, rows) in [
        (40_000_u32, 40_000_u32),
        (2_000_000_000, 1),
        (20_000, 10_001),
    ] {
        let mut bytes = encoded(&scene(80), ImageFormat::Png);
        bytes[16..20].copy_from_slice(&columns.to_be_bytes());
        bytes[20..24].copy_from_slice(&rows.to_be_bytes());
        let sum = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&bytes[12..29]);
        bytes[29..33].copy_from_slice(&sum.to_be_bytes());
        // A name each: a folder that has seen one may know it again by its name and size.
        let name = format!("bomb-{columns}-{rows}.png");
        fs::write(there.path().join(&name), bytes).expect("written");
        let begun = Instant::now();
        assert_eq!(looked(&mut album, &name), Look::Unreadable);
        assert!(
            begun.elapsed() < Duration::from_secs(20),
            "{columns} x {rows}"
        );
    }
}

/// A script cannot be run while it is open for writing anywhere, and a program that another test
/// starts just then has it open for a moment: nothing is written while anything is started.
static SCRIPTS: RwLock<()> = RwLock::new(());

/// A command of the test's own, and what was told of it.
struct Stand {
    folder: TempDir,
    told: Rc<RefCell<Vec<Told>>>,
    command: UserCommand,
}

impl Stand {
    fn new(script: &str) -> Self {
        let folder = folder();
        let path = folder.path().join("photograph");
        let _writing = SCRIPTS.write().unwrap_or_else(PoisonError::into_inner);
        fs::write(&path, format!("#!/bin/sh\n{script}\n")).expect("written");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).expect("may be run");
        let told = Rc::new(RefCell::new(Vec::new()));
        let hears = Rc::clone(&told);
        let command = UserCommand::new(folder.path(), Rc::new(SystemClock::new()), move |what| {
            hears.borrow_mut().push(what.clone());
        });
        Self {
            folder,
            told,
            command,
        }
    }

    fn release(&mut self, words: &[&str], time_out: Duration) -> Released {
        let words: Vec<String> = words.iter().map(|&word| word.into()).collect();
        let _running = SCRIPTS.read().unwrap_or_else(PoisonError::into_inner);
        self.command.release(&ReleaseOrder {
            turn: Turn {
                number: 24,
                frame: 12,
                pass: 1,
                several: true,
            },
            exposure: Duration::from_millis(2500),
            words: &words,
            time_out,
        })
    }
}

const LONG: Duration = Duration::from_secs(100);

#[test]
fn a_command_runs_in_the_stands_folder_without_a_shell() {
    let mut stand = Stand::new("pwd >where; printf '%s|' \"$@\" >words");
    let words = [
        "./photograph",
        "{frame}",
        "a-{frame}-{pass}.jpg",
        "{exposure}",
        "$HOME; exit 3 *",
    ];
    assert_eq!(stand.release(&words, LONG), Released::Took);
    let read = |name: &str| fs::read_to_string(stand.folder.path().join(name)).expect("written");
    assert_eq!(read("words"), "12|a-12-2.jpg|2.5|$HOME; exit 3 *|");
    let here = stand.folder.path().canonicalize().expect("it is there");
    assert_eq!(Path::new(read("where").trim()), here);
    assert!(stand.told.borrow().is_empty());
}

#[test]
fn a_command_that_fails_is_told_of_with_its_last_words() {
    let mut stand = Stand::new("seq 1 1000 >&2; echo 'no camera found' >&2; exit 7");
    assert_eq!(
        stand.release(&["./photograph"], LONG),
        Released::Failed(Some(7))
    );
    let why = stand.command.why();
    assert_eq!(*stand.told.borrow(), [Told::Failed(why.clone())]);
    for part in ["./photograph", "exit code 7", "1000", "no camera found"] {
        assert!(why.contains(part), "{part:?} is missing in {why}");
    }
    assert!(why.lines().count() < 12, "{why}");

    let mut stand = Stand::new("kill -9 $$");
    assert_eq!(
        stand.release(&["./photograph"], LONG),
        Released::Failed(None)
    );
}

#[test]
fn a_command_that_cannot_be_started_has_certainly_not_begun() {
    let mut stand = Stand::new("");
    let plain = stand.folder.path().join("plain");
    fs::write(plain, "no program").expect("written");
    for (words, part) in [
        (&["./none"][..], "there is no ./none"),
        (&["no-such-program-anywhere"], "search path"),
        (&["./plain"], "chmod"),
        (&[], "no program"),
    ] {
        assert_eq!(stand.release(words, LONG), Released::NotBegun);
        let why = stand.command.why();
        assert!(why.contains(part), "{part:?} is missing in {why}");
    }
}

/// It ignores being asked to end, and so does what it has started.
#[test]
fn a_command_that_hangs_is_ended_with_all_that_it_started() {
    let mut stand =
        Stand::new("trap '' TERM; echo 'still here' >&2; sleep 300 & echo $! >child; wait");
    let begun = Instant::now();
    let how = stand.release(&["./photograph"], Duration::from_millis(1700));
    assert_eq!(how, Released::TimedOut);
    assert!(begun.elapsed() < Duration::from_secs(60));
    let told = stand.told.borrow();
    assert!(
        matches!(&told[..], [Told::Waiting(what), Told::Failed(why)]
            if what.contains("frame 12") && why.contains("1.7 s") && why.contains("still here")),
        "{told:?}"
    );
    let child = fs::read_to_string(stand.folder.path().join("child")).expect("written");
    let gone = || {
        // Ended, or ended and not yet waited for by whoever inherited it.
        fs::read_to_string(format!("/proc/{}/stat", child.trim()))
            .map_or(true, |text| text.contains(") Z "))
    };
    while !gone() {
        assert!(begun.elapsed() < Duration::from_secs(60), "its child lives");
        std::thread::sleep(Duration::from_millis(10));
    }
}

/// What it leaves running may hold its standard error open: that is not waited for.
#[test]
fn a_command_that_leaves_something_running_has_ended_all_the_same() {
    let mut stand = Stand::new("sleep 20 & echo $! >child; exit 1");
    let begun = Instant::now();
    assert_eq!(
        stand.release(&["./photograph"], LONG),
        Released::Failed(Some(1))
    );
    assert!(begun.elapsed() < Duration::from_secs(15));
    let child = fs::read_to_string(stand.folder.path().join("child")).expect("written");
    let id = child.trim().parse().expect("a number");
    let id = rustix::process::Pid::from_raw(id).expect("an id");
    let _ = rustix::process::kill_process(id, rustix::process::Signal::KILL);
}

/// A TIFF file that has its directory before its dots (TIFF 6.0, section 2), as many programs
/// write it: the last bytes that arrive are dots.
#[test]
fn a_tiff_file_without_its_last_dots_is_not_read() {
    let (columns, rows) = (40_u32, 30_u32);
    let fields = [
        (256_u16, columns),        // width
        (257, rows),               // length
        (258, 8),                  // bits of a sample
        (259, 1),                  // not compressed
        (262, 1),                  // black is zero
        (273, 8 + 2 + 9 * 12 + 4), // where the strip begins
        (277, 1),                  // samples of a dot
        (278, rows),               // rows of a strip
        (279, columns * rows),
    ];
    let mut bytes = b"II*\0\x08\0\0\0\x09\0".to_vec();
    for (tag, value) in fields {
        bytes.extend(tag.to_le_bytes());
        // One LONG.
        bytes.extend([4, 0, 1, 0, 0, 0]);
        bytes.extend(value.to_le_bytes());
    }
    bytes.extend([0; 4]);
    bytes.extend((0..columns * rows).map(|dot| (dot % 251) as u8));

    let there = folder();
    let mut album = PictureFolder::open(there.path()).expect("it is there");
    let path = there.path().join("a.tif");
    for missing in [1, 40, 600, 1199, 1200] {
        fs::write(&path, &bytes[..bytes.len() - missing]).expect("written");
        let look = looked(&mut album, "a.tif");
        assert_eq!(look, Look::Unreadable, "{missing} missing");
    }
    fs::write(&path, &bytes).expect("written");
    assert!(matches!(looked(&mut album, "a.tif"), Look::Whole { .. }));
}
