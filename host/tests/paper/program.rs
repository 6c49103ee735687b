//! The program: what it writes, what it leaves alone, what it refuses.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use super::Coast;

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
    says(
        &run(
            &coast,
            &["chart", "shot.toml", "--out", "png", "--format", "png"],
        ),
        0,
        &["elevation.png"],
    );
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
