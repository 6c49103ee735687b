//! Two passes on the demonstration's stand, with drawings, a level that is taken out, a lamp by a
//! board and one by hand: what the person at the terminal is asked, and what comes of it.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::rc::Rc;

use image::{Rgb, RgbImage};
use support::seat::Seat;
use tempfile::TempDir;

mod support;

/// Green, blue, both, green: what lies on the skiffs' level at each frame.
const DRAWN: [[u8; 3]; 3] = [[0, 90, 0], [0, 0, 90], [0, 90, 90]];

/// The demonstration's stand with a small picture and two lamps, and four frames of its shot with
/// plain paintings of our own: the reeds hide everything below them.
fn demo() -> Rc<TempDir> {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo");
    let read = |name: &str| fs::read_to_string(demo.join(name)).expect("the demonstration's file");
    let stand = read("stand.toml").replace("pixels = [1920, 1080]", "pixels = [96, 54]");
    let stand = stand.replace("name = \"front\"", "name = \"key\"");
    let stand = stand.replace("warm_up = \"500 ms\"", "warm_up = \"2 s\"");
    let lamps = "\n[[lamp]]\nname = \"rim\"\nby_hand = true\n";
    let shot = read("shot.toml")
        .replace("frames = 120", "frames = 4")
        .replace("frame = 120", "frame = 4")
        .replace("fairing = 24", "fairing = 1");
    let passes = "\n[[cels]]\nlevel = \"skiffs\"\nfrom = 2\nto = 3\n\
                  drawings = [\"art/wave-1.png\", \"art/wave-2.png\"]\n\
                  \n[[pass]]\nname = \"key light\"\nlamps = [\"key\"]\n\
                  \n[[pass]]\nname = \"rim\"\nwhen = \"after the run\"\nlamps = [\"rim\"]\n\
                  exposure = \"1 s\"\nwithout = [\"reeds\"]\n";
    fs::write(folder.path().join("stand.toml"), stand + lamps).expect("written");
    fs::write(folder.path().join("shot.toml"), shot + passes).expect("written");
    fs::create_dir(folder.path().join("art")).expect("made");
    let colours = [
        ("reeds", [90, 0, 0]),
        ("skiffs", DRAWN[0]),
        ("wave-1", DRAWN[1]),
        ("wave-2", DRAWN[2]),
        ("headland", [9; 3]),
        ("clouds", [9; 3]),
        ("sky", [9; 3]),
    ];
    for (name, colour) in colours {
        RgbImage::from_pixel(64, 48, Rgb(colour))
            .save(folder.path().join(format!("art/{name}.png")))
            .expect("painted");
    }
    Rc::new(folder)
}

fn run(folder: &TempDir, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_panestep"))
        .args(words)
        .current_dir(folder.path())
        .output()
        .expect("it runs")
}

/// Waits for the question about an exposure, with this in it, and answers.
fn answer(seat: &mut Seat, frame: &str, chores: &[&str], answer: &str) {
    seat.read_up_to(&format!("frame {frame}: before it is exposed"));
    let asked = seat.read_between("or type stop:");
    for chore in chores {
        assert!(
            asked.contains(chore),
            "frame {frame}: no {chore:?} in {asked}"
        );
    }
    let lines = asked
        .lines()
        .filter(|line| line.trim().contains(": "))
        .count();
    assert_eq!(lines, chores.len(), "frame {frame}: {asked}");
    seat.type_line(answer);
}

const KEY_LIGHT: [&str; 4] = [
    "lamp rim: off",
    "camera: set its exposure time to 0.5 s",
    "reeds: the pane is in its place",
    "skiffs: lay skiffs",
];

/// The colour in the middle of a picture.
fn middle(folder: &TempDir, name: &str) -> [u8; 3] {
    let path = folder.path().join("take/pictures").join(name);
    let picture = image::open(&path).unwrap_or_else(|error| panic!("{name}: {error}"));
    picture.to_rgb8().get_pixel(48, 27).0
}

#[test]
fn two_passes_with_drawings_are_asked_for_stopped_gone_on_with_and_shot_again() {
    let folder = demo();
    let mut seat = Seat::at(&folder, &["shoot", "shot.toml", "--take", "take"]);
    seat.read_up_to("8 exposures in 2 passes");
    seat.read_up_to("back to the first frame for passes after the run");
    seat.read_up_to("switch lamps or set the camera: 8, not in that time");
    answer(&mut seat, "1 in pass 1 (key light)", &KEY_LIGHT, "");
    let wave_1 = ["skiffs: lay wave-1"];
    answer(&mut seat, "2 in pass 1 (key light)", &wave_1, "");
    let wave_2 = ["skiffs: lay wave-2"];
    answer(&mut seat, "3 in pass 1 (key light)", &wave_2, "");
    let skiffs = ["skiffs: lay skiffs"];
    answer(&mut seat, "4 in pass 1 (key light)", &skiffs, "");
    let rim = [
        "lamp rim: switch it on",
        "camera: set its exposure time to 1 s",
        "reeds: take the pane out",
    ];
    answer(&mut seat, "1 in pass 2 (rim)", &rim, "stop");
    seat.read_up_to("stopped before frame 1 in pass 2; everything stands still");
    assert_eq!(seat.code(), Some(3));

    let mut seat = Seat::at(&folder, &["resume", "take"]);
    seat.read_up_to("going on with frame 1 in pass 2, of the shot's 4");
    let first = [
        "lamp rim: on",
        "camera: set its exposure time to 1 s",
        "reeds: the pane is out",
        "skiffs: lay skiffs",
    ];
    answer(&mut seat, "1 in pass 2 (rim)", &first, "");
    answer(&mut seat, "2 in pass 2 (rim)", &wave_1, "");
    answer(&mut seat, "3 in pass 2 (rim)", &wave_2, "");
    answer(&mut seat, "4 in pass 2 (rim)", &skiffs, "");
    seat.read_up_to("8 exposures made, of 4 frames in 2 passes, each exactly once");
    seat.read_up_to("animation.gif");
    assert_eq!(seat.code(), Some(0));
    for (frame, drawn) in (1..).zip([DRAWN[0], DRAWN[1], DRAWN[2], DRAWN[0]]) {
        let [red, green, blue] = middle(&folder, &format!("frame-000{frame}-pass-1.png"));
        assert!(
            red > 60 && green < 30 && blue < 30,
            "frame {frame}: the reeds hide all"
        );
        // Twice the light of the stand's own exposure time.
        let seen = middle(&folder, &format!("frame-000{frame}-pass-2.png"));
        for (seen, drawn) in seen.into_iter().zip(drawn) {
            let right = if drawn == 0 {
                seen < 30
            } else {
                seen > 105 && seen < 145
            };
            assert!(right, "frame {frame}: {seen} where {drawn} is drawn");
        }
    }
    assert!(folder.path().join("take/animation.gif").exists());

    let wrong = run(
        &folder,
        &["resume", "take", "--again", "2", "--pass", "moon"],
    );
    let said = String::from_utf8_lossy(&wrong.stderr).into_owned();
    assert_eq!(wrong.status.code(), Some(2), "{said}");
    assert!(
        said.contains("its passes are: 1 key light, 2 rim"),
        "{said}"
    );

    let again = ["resume", "take", "--again", "2", "--pass", "rim"];
    let mut seat = Seat::at(&folder, &again);
    seat.read_up_to("frame 2 in pass 2: to be shot again");
    let first = [first[0], first[1], first[2], wave_1[0]];
    answer(&mut seat, "2 in pass 2 (rim)", &first, "");
    seat.read_up_to("8 exposures made, of 4 frames in 2 passes, 1 of them more than once");
    assert_eq!(seat.code(), Some(0));
    let blue = middle(&folder, "frame-0002-pass-2-2.png");
    assert!(blue[2] > 105 && blue[1] < 30, "{blue:?}");

    let record = run(&folder, &["record", "take", "--format", "csv"]);
    let rows = String::from_utf8_lossy(&record.stdout).into_owned();
    let row = |begins: &str| {
        let row = rows.lines().find(|row| row.starts_with(begins));
        row.unwrap_or_else(|| panic!("no {begins} in {rows}"))
            .to_owned()
    };
    assert!(
        rows.starts_with("frame,pass,pass_name,standing,slot,exposures,"),
        "{rows}"
    );
    assert!(row("1,2,rim,exposed,").contains("reeds taken out"));
    assert!(row("2,2,rim,exposed,9,2,").contains("to be shot again (a person)"));
    assert!(row("3,1,key light,exposed,3,1,").contains("wave-2 laid on skiffs"));
    assert_eq!(rows.lines().count(), 9);
    let said = String::from_utf8_lossy(&record.stderr).into_owned();
    assert!(
        said.contains("8 of 8 exposures made (4 frames in 2 passes)"),
        "{said}"
    );
}

/// A rehearsal of moves lays nothing and takes nothing out.
#[test]
fn a_rehearsal_of_passes_asks_for_nothing() {
    let folder = demo();
    let output = run(&folder, &["rehearse", "shot.toml"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{said}");
    let end = "rehearsed 4 frames and the way back to the first, nothing was exposed";
    assert!(said.contains(end), "{said}");
}

/// Frames and passes that are not wanted are left out.
#[test]
fn a_single_pass_of_some_frames_can_be_shot() {
    let folder = demo();
    let words = [
        "shoot",
        "shot.toml",
        "--take",
        "take",
        "--only",
        "2-3",
        "--pass",
        "2",
    ];
    let mut seat = Seat::at(&folder, &words);
    let first = [
        "lamp rim: on",
        "camera: set its exposure time to 1 s",
        "reeds: the pane is out",
        "skiffs: lay wave-1",
    ];
    answer(&mut seat, "2 in pass 2 (rim)", &first, "");
    answer(&mut seat, "3 in pass 2 (rim)", &["skiffs: lay wave-2"], "");
    seat.read_up_to("2 exposures made, of 4 frames in 2 passes, 6 left out, each exactly once");
    assert_eq!(seat.code(), Some(0));
    assert_eq!(
        support::of_kind(&folder.path().join("take"), "intent", "frame"),
        [6, 7]
    );
}
