//! The hardware notes' drawings are what the code draws, and can be read.

use std::collections::BTreeSet;
use std::path::PathBuf;

use panestep_tests::drawings::DRAWINGS;

fn folder() -> PathBuf {
    concat!(env!("CARGO_MANIFEST_DIR"), "/../hardware-notes/drawings").into()
}

#[test]
fn the_committed_drawings_are_what_the_code_draws() {
    for drawing in &DRAWINGS {
        let path = folder().join(drawing.name);
        let committed = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(
            committed == drawing.svg(),
            "{} is not what the code draws: cargo run -p panestep-tests --bin drawings",
            path.display()
        );
    }
}

#[test]
fn nothing_else_lies_beside_them() {
    let files = std::fs::read_dir(folder()).expect("the folder of drawings");
    let there: BTreeSet<_> = files
        .map(|file| {
            file.expect("a file")
                .file_name()
                .into_string()
                .expect("a plain name")
        })
        .collect();
    let drawn: BTreeSet<_> = DRAWINGS
        .iter()
        .map(|drawing| drawing.name.to_owned())
        .collect();
    assert_eq!(there, drawn);
}

#[test]
fn no_label_lies_on_another_on_a_line_or_over_the_edge() {
    for drawing in &DRAWINGS {
        assert_eq!(drawing.faults(), Vec::<String>::new(), "{}", drawing.name);
    }
}

/// An ordinary reader takes them for SVG, and they bring their own white paper.
#[test]
fn they_are_sound_files_on_white_paper() {
    for drawing in &DRAWINGS {
        let text = drawing.svg();
        let events: Vec<_> = svg::read(&text).expect("a reader").collect();
        let errors = events
            .iter()
            .filter(|event| matches!(event, svg::parser::Event::Error(_)));
        assert_eq!(errors.count(), 0, "{}", drawing.name);
        let first = events.iter().find_map(|event| match event {
            svg::parser::Event::Tag("rect", _, attributes) => attributes.get("fill").cloned(),
            _ => None,
        });
        assert_eq!(first.as_deref(), Some("#ffffff"), "{}", drawing.name);
        let [open, close] = ["<title>", "</title>"].map(|part| text.contains(part));
        assert!(open && close && text.contains("<desc>"), "{}", drawing.name);
    }
}

/// Whoever wires by a drawing wires these pins; the table says so too.
#[test]
fn the_drawings_name_the_boards_pins() {
    let labels: BTreeSet<_> = DRAWINGS
        .iter()
        .flat_map(|drawing| drawing.labels())
        .collect();
    for pin in [
        "GP2", "GP8", "GP14", "GP20", "GP21", "GP22", "GP26", "GP27", "GP28",
    ] {
        assert!(labels.contains(pin), "{pin} is in no drawing");
    }
}
