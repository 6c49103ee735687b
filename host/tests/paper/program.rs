//! The program: what it writes, what it leaves alone, what it refuses.

use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use rustix::process::{Pid, Signal, kill_process};

use super::{Coast, REEDS};

fn run(coast: &Coast, words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_panestep"))
        .args(words)
        .current_dir(coast.folder.path())
        .env("NO_COLOR", "1")
        .output()
        .expect("it runs")
}

fn says(output: &Output, code: i32, words: &[&str]) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(code), "{said}");
    for word in words {
        assert!(said.contains(word), "{word:?} in {said}");
    }
    assert!(output.stdout.is_empty());
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| {
            entry
                .expect("one")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

#[test]
fn everything_is_written_once_and_again() {
    let coast = Coast::new(9, "twos");
    for _ in 0..2 {
        says(
            &run(&coast, &["sheet", "shot.toml", "--out", "print"]),
            0,
            &["written: print/exposure-sheet.html"],
        );
        says(
            &run(&coast, &["chart", "shot.toml", "--out", "charts"]),
            0,
            &["elevation.svg"],
        );
        says(
            &run(&coast, &["export", "shot.toml", "--curves", "curves.csv"]),
            0,
            &["written: curves.csv"],
        );
        says(
            &run(&coast, &["export", "shot.toml", "--curves", "curves.json"]),
            0,
            &[],
        );
    }
    assert_eq!(
        names(&coast.path("print")),
        [
            "exposure-sheet.csv",
            "exposure-sheet.html",
            "painters-sheet.csv",
            "painters-sheet.html"
        ]
    );
    assert_eq!(names(&coast.path("charts")).len(), 5);
    for place in ["scene", "scene.glb", "scene.gltf"] {
        says(
            &run(&coast, &["export", "shot.toml", "--scene", place]),
            0,
            &["sky has no art"],
        );
        says(
            &run(&coast, &["export", "shot.toml", "--scene", place]),
            2,
            &["is there already", "--replace"],
        );
        says(
            &run(
                &coast,
                &["export", "shot.toml", "--scene", place, "--replace"],
            ),
            0,
            &[],
        );
    }
    let all = names(coast.folder.path()).concat() + &names(&coast.path("scene")).concat();
    assert!(!all.contains(".part"), "{all}");
    assert!(gltf::import(coast.path("scene/scene.gltf")).is_ok());
    for _ in 0..2 {
        says(
            &run(
                &coast,
                &["chart", "shot.toml", "--out", "png", "--format", "png"],
            ),
            0,
            &["elevation.png"],
        );
    }
    let picture = image::open(coast.path("png/elevation.png")).expect("a picture");
    assert_eq!((picture.width(), picture.height()), (2000, 1800));
}

#[test]
fn what_somebody_else_wrote_is_left_alone_and_nothing_is_written_beside_it() {
    let coast = Coast::new(4, "ones");
    fs::create_dir(coast.path("print")).expect("made");
    fs::write(coast.path("print/painters-sheet.html"), "mine").expect("written");
    fs::write(coast.path("curves.csv"), "mine").expect("written");
    says(
        &run(&coast, &["sheet", "shot.toml", "--out", "print"]),
        2,
        &["painters-sheet.html is there already"],
    );
    says(
        &run(&coast, &["export", "shot.toml", "--curves", "curves.csv"]),
        2,
        &["--replace"],
    );
    assert_eq!(names(&coast.path("print")), ["painters-sheet.html"]);
    for name in ["print/painters-sheet.html", "curves.csv"] {
        assert_eq!(fs::read_to_string(coast.path(name)).expect("read"), "mine");
    }
    fs::write(coast.path("file"), "mine").expect("written");
    says(
        &run(&coast, &["chart", "shot.toml", "--out", "file"]),
        2,
        &["is no folder"],
    );
}

#[test]
fn some_frames_of_a_sheet_and_what_an_older_scene_left() {
    let coast = Coast::new(6, "ones");
    let words = ["sheet", "shot.toml", "--out", "print", "--frames", "3-4"];
    says(&run(&coast, &words), 0, &["exposure-sheet.csv"]);
    let sheet = fs::read_to_string(coast.path("print/exposure-sheet.csv")).expect("read");
    // Two passes of two frames, and the head.
    assert_eq!(sheet.lines().count(), 5);
    fs::create_dir(coast.path("scene")).expect("made");
    for name in [
        "painting-001.png",
        "painting-077.png",
        "painting-1.png",
        "mine.png",
    ] {
        fs::write(coast.path("scene").join(name), "old").expect("written");
    }
    let words = ["export", "shot.toml", "--scene", "scene", "--replace"];
    let output = run(&coast, &words);
    says(&output, 0, &["painting-077.png is of an older scene"]);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(said.matches("older scene").count(), 1, "{said}");
    assert_ne!(
        fs::read(coast.path("scene/painting-001.png")).expect("read"),
        b"old"
    );
}

#[test]
fn a_png_that_is_no_chart_of_ours_is_left_alone() {
    let coast = Coast::new(4, "ones");
    fs::create_dir(coast.path("png")).expect("made");
    fs::copy(coast.path("gull-1.png"), coast.path("png/elevation.png")).expect("copied");
    let words = ["chart", "shot.toml", "--out", "png", "--format", "png"];
    says(&run(&coast, &words), 2, &["elevation.png is there already"]);
    assert_eq!(names(&coast.path("png")), ["elevation.png"]);
}

#[test]
fn what_cannot_be_is_refused_before_anything_is_written() {
    let coast = Coast::new(4, "ones");
    for (words, said) in [
        (vec!["export", "shot.toml"], "--curves FILE.csv"),
        (
            vec!["export", "shot.toml", "--curves", "curves.txt"],
            ".csv or .json",
        ),
        (
            vec![
                "export",
                "shot.toml",
                "--curves",
                "c.csv",
                "--frames",
                "5-9",
            ],
            "the shot has 4 frames",
        ),
        (
            vec!["export", "shot.toml", "--scene", "s", "--frames", "1-2"],
            "--curves",
        ),
        (
            vec!["sheet", "shot.toml", "--out", "print", "--margin", "much"],
            "--margin",
        ),
        (
            vec!["sheet", "shot.toml", "--out", "print", "--margin", "-2 mm"],
            "--margin",
        ),
        (
            vec!["chart", "no-shot.toml", "--out", "charts"],
            "no-shot.toml",
        ),
    ] {
        says(&run(&coast, &words), 2, &[said]);
    }
    let left = names(coast.folder.path());
    assert_eq!(left.len(), 6, "{left:?}");
    says(
        &run(
            &coast,
            &["export", "shot.toml", "--curves", "no/such/c.csv"],
        ),
        1,
        &["cannot be written"],
    );
}

/// Whether a file is being written in here, or in a folder in here.
fn half_written(folder: &Path) -> bool {
    let Ok(entries) = fs::read_dir(folder) else {
        return false;
    };
    entries.flatten().any(|entry| {
        entry.file_name().to_string_lossy().ends_with(".part")
            || entry.path().is_dir() && half_written(&entry.path())
    })
}

/// Starts the program, has it asked to stop once it is writing, and says how it ended. Should a
/// quick machine have finished before it was asked, it is given another go at once; what it left
/// behind is checked whichever way it ended. Asked `times` times, it ends on the spot.
fn stopped(coast: &Coast, words: &[&str], place: &str, times: u32) {
    let before = names(coast.folder.path());
    for _ in 0..20 {
        let mut child = Command::new(env!("CARGO_BIN_EXE_panestep"))
            .args(words)
            .current_dir(coast.folder.path())
            .stderr(Stdio::null())
            .spawn()
            .expect("it runs");
        let status = loop {
            if half_written(coast.folder.path()) {
                let pid = Pid::from_child(&child);
                for _ in 0..times {
                    kill_process(pid, Signal::INT).expect("it is asked");
                    // Signals that wait together are one.
                    std::thread::sleep(Duration::from_millis(1));
                }
                break child.wait().expect("it ends");
            }
            if let Some(status) = child.try_wait().expect("known") {
                break status;
            }
            std::thread::sleep(Duration::from_millis(1));
        };
        assert!(!half_written(coast.folder.path()), "{words:?}");
        match status.code() {
            Some(3) => {
                assert_eq!(names(coast.folder.path()), before, "{words:?}");
                return;
            }
            Some(0) => {
                let path = coast.path(place);
                let gone = if path.is_dir() {
                    fs::remove_dir_all(path)
                } else {
                    fs::remove_file(path)
                };
                gone.expect("there is what was asked for");
            }
            other => panic!("{words:?}: {other:?}"),
        }
    }
    panic!("{words:?} was never stopped");
}

#[test]
fn asked_to_stop_it_leaves_neither_a_half_file_nor_a_folder() {
    let coast = Coast::new(20_000, "ones");
    for (words, place) in [
        (
            &["export", "shot.toml", "--curves", "curves.json"][..],
            "curves.json",
        ),
        (&["sheet", "shot.toml", "--out", "print/coast"], "print"),
    ] {
        for times in [1, 2] {
            stopped(&coast, words, place, times);
        }
    }
}

#[test]
fn asked_to_stop_a_scene_of_many_drawings_leaves_nothing() {
    const MANY: u32 = 120;
    let coast = Coast::new(MANY, "ones");
    let mut list = Vec::new();
    for number in 0..MANY {
        let picture = image::RgbImage::from_fn(160, 120, |x, y| {
            let grain = (x * 7919 + y * 104_729 + number * 31) ^ (x * y);
            image::Rgb([grain as u8, (grain >> 3) as u8, number as u8])
        });
        let name = format!("drawing-{number}.png");
        picture.save(coast.path(&name)).expect("written");
        list.push(format!("\"{name}\""));
    }
    let text = fs::read_to_string(coast.path("shot.toml")).expect("read");
    let text = text.replace("\"gull-1.png\", \"gull-2.png\", \"bare\"", &list.join(", "));
    let text = text.replace("to = 6\ncycle = true\n", &format!("to = {MANY}\n"));
    assert!(text.contains("drawing-119.png"));
    fs::write(coast.path("shot.toml"), text).expect("written");
    for place in ["scene", "scene.glb", "scene.gltf"] {
        let words = ["export", "shot.toml", "--scene", place];
        for times in [1, 2] {
            stopped(&coast, &words, place, times);
        }
    }
}

#[test]
fn art_that_is_not_there_stops_neither_sheets_nor_charts_nor_a_scene() {
    let coast = Coast::new(5, "ones");
    fs::remove_file(coast.path("gull-2.png")).expect("removed");
    fs::remove_file(coast.path("reeds & <rushes>.png")).expect("removed");
    says(
        &run(&coast, &["sheet", "shot.toml", "--out", "print"]),
        0,
        &["painters-sheet.html"],
    );
    says(
        &run(&coast, &["chart", "shot.toml", "--out", "charts"]),
        0,
        &["elevation.svg"],
    );
    says(
        &run(&coast, &["export", "shot.toml", "--scene", "scene.glb"]),
        0,
        &[
            "gulls has a plain plane in place of",
            "gull-2.png",
            &format!("{REEDS} has a plain plane in place of"),
            "sky has no art",
        ],
    );
    assert!(gltf::import(coast.path("scene.glb")).is_ok());
}

/// Keys that begin late, end early and follow one another at once, pictures that are held for three
/// frames of which the last has fewer.
#[test]
fn keys_in_odd_places_are_drawn_printed_and_exported() {
    let coast = Coast::new(11, "ones");
    let path = coast.path("shot.toml");
    let text = fs::read_to_string(&path).expect("read");
    let start = text.find("[viewer]").expect("moves");
    let moves = r#"[viewer]
keys = [{ frame = 4, east = "0 m", ahead = "0 m" }, { frame = 5, east = "0.05 m" },
        { frame = 6, ahead = "0.1 m" }, { frame = 9, east = "0.02 m" }]
[focus]
keys = [{ frame = 2, level = "gulls" }, { frame = 3, level = "gulls" }]
"#;
    let text = format!("{}{moves}", &text[..start]);
    fs::write(
        &path,
        text.replace("exposures = \"ones\"", "exposures = \"threes\""),
    )
    .expect("written");
    for (words, said) in [
        (
            &["sheet", "shot.toml", "--out", "print"][..],
            "exposure-sheet.csv",
        ),
        (&["chart", "shot.toml", "--out", "charts"], "elevation.svg"),
        (
            &["export", "shot.toml", "--scene", "scene.glb"],
            "scene.glb",
        ),
        (
            &["export", "shot.toml", "--curves", "curves.csv"],
            "curves.csv",
        ),
    ] {
        says(&run(&coast, words), 0, &[said]);
    }
    let mut sheet = csv::Reader::from_path(coast.path("print/exposure-sheet.csv")).expect("CSV");
    let frames: Vec<String> = sheet
        .records()
        .map(|record| record.expect("a row")[1].to_owned())
        .collect();
    let expected: Vec<String> = (1..=11)
        .flat_map(|frame| [frame, frame])
        .map(|frame: u32| frame.to_string())
        .collect();
    assert_eq!(frames, expected);
    let (document, buffers, _) = gltf::import(coast.path("scene.glb")).expect("a scene");
    let animation = document.animations().next().expect("one");
    // A key at every picture of what moves: frames 1, 4, 7, 10; and where the last has been shown, at
    // the end of frame 11.
    let moves: Vec<Vec<f32>> = animation
        .channels()
        .filter(|channel| channel.target().property() == gltf::animation::Property::Translation)
        .map(|channel| {
            let reader = channel.reader(|buffer| Some(&buffers[buffer.index()]));
            reader.read_inputs().expect("times").collect()
        })
        .collect();
    assert!(!moves.is_empty());
    for times in moves {
        assert_eq!(times.len(), 5);
        for (time, frame) in times.iter().zip([1.0_f32, 4.0, 7.0, 10.0, 12.0]) {
            assert!((time - (frame - 1.0) / 24.0).abs() < 1e-6, "{times:?}");
        }
    }
}
