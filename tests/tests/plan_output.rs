//! The plan as table, CSV and JSON.

mod plan_support;

use std::io::{self, Write};

use panestep::plan::survey::{Survey, survey};
use panestep::plan::{Plan, output};
use panestep::shot::{Distance, Shot};
use panestep::stand::{Carrier, LevelId, Stand, Way};
use plan_support::{four_levels, hand_axis, stand, still_shot, track};

/// Two frames; the nearest level slides east by motor and north by hand.
fn parts() -> (Stand, Shot) {
    let mut stand = stand(&four_levels()[..2], &[Way::East, Way::North], &[]);
    stand.axes[1] = hand_axis(Carrier::Level(LevelId(0)), Way::North, 0.5);
    stand.levels[1].name = "quay, outer".into();
    let mut shot = still_shot(2, &[Distance::At(3000.0), Distance::Far]);
    shot.viewer.east = track(&[(1, 0.0), (2, 10.0)]);
    shot.viewer.north = track(&[(1, 0.0), (2, -10.0)]);
    (stand, shot)
}

fn plan() -> Plan {
    let (stand, shot) = parts();
    Plan::new(&stand, &shot).expect("sound")
}

fn surveyed() -> Survey {
    let (stand, shot) = parts();
    survey(&stand, &shot, &plan(), &[], |_| true).expect("nobody stops it")
}

fn written(write: impl FnOnce(&mut Vec<u8>) -> io::Result<()>) -> String {
    let mut bytes = Vec::new();
    write(&mut bytes).expect("memory takes everything");
    String::from_utf8(bytes).expect("text")
}

#[test]
fn csv_has_a_line_for_each_frame_and_axis() {
    // 10 story mm at 450/3000: 1.5 mm; 600 steps.
    assert_eq!(
        written(|out| output::csv(&plan(), out)),
        "frame,of,direction,position,unit,steps\n\
         1,reeds,east,0.000000,mm,0\n\
         1,reeds,north,0.000000,mm,\n\
         1,\"quay, outer\",east,0.000000,mm,0\n\
         1,\"quay, outer\",north,0.000000,mm,0\n\
         2,reeds,east,-1.500000,mm,-600\n\
         2,reeds,north,1.500000,mm,\n\
         2,\"quay, outer\",east,0.000000,mm,0\n\
         2,\"quay, outer\",north,0.000000,mm,0\n"
    );
}

#[test]
fn the_table_fits_the_width_and_keeps_to_its_frames() {
    let wide = written(|out| output::table(&plan(), 1..=u32::MAX, 120, out));
    let lines: Vec<&str> = wide.lines().collect();
    assert_eq!(lines.len(), 5, "{wide}");
    assert!(lines[1].contains("north by hand"), "{wide}");
    assert!(
        lines[4].contains("-1.500") && lines[4].contains("1.5"),
        "{wide}"
    );
    for width in [1, 20, 40] {
        let narrow = written(|out| output::table(&plan(), 2..=2, width, out));
        // One column is printed even where it is wider than the width.
        let widest = narrow.lines().map(str::len).max().expect("lines");
        assert!(widest <= width.max(6 + 2 + 13), "{narrow}");
        assert!(
            narrow
                .lines()
                .all(|line| !line.trim_start().starts_with("1 ")),
            "{narrow}"
        );
        assert_eq!(narrow.matches("-1.500").count(), 1, "{narrow}");
    }
}

#[test]
fn json_is_versioned_and_complete() {
    let text = written(|out| output::json(&plan(), &surveyed(), out));
    let json: serde_json::Value = serde_json::from_str(&text).expect("valid JSON");
    assert_eq!(json["panestep_plan"], output::JSON_VERSION);
    assert_eq!(json["frames"], 2);
    assert_eq!(json["axes"][0]["steps_per_unit"], 400.0);
    assert_eq!(json["axes"][1]["driven_by"], "hand");
    assert_eq!(json["positions"][1]["frame"], 2);
    assert_eq!(json["positions"][1]["set"][0], -600);
    assert_eq!(json["positions"][1]["set"][1], 1.5);
    assert_eq!(json["positions"][1]["position"][0], -1.5);
    assert_eq!(json["report"]["levels"][0]["level"], "reeds");
    // (10, 10) story mm at 3000: sqrt(2) 10 / 3000 of the image distance, 6000 pixels to 36 mm. The
    // lens is focused on the second level: s = 1600 - 820 - 6 (1 - 1/1.52) - 4 (1 - 1/1.52) mm.
    let focused = 780.0 - 10.0 * (1.0 - 1.0 / 1.52);
    let image = 1.0 / (1.0 / 50.0 - 1.0 / focused);
    let expected = 2.0_f64.sqrt() * 10.0 / 3000.0 * image * 6000.0 / 36.0;
    let travel = json["report"]["levels"][0]["travel_pixels"]
        .as_f64()
        .expect("a number");
    assert!((travel - expected).abs() < 1e-9, "{travel} {expected}");
}

/// A reader that goes away after some bytes.
struct Closing(usize);

impl Write for Closing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.0 == 0 {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        let taken = bytes.len().min(self.0);
        self.0 -= taken;
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_reader_that_goes_away_is_told_as_such() {
    let plan = plan();
    for bytes in [0, 5, 60] {
        let kinds = [
            output::csv(&plan, &mut Closing(bytes)),
            output::json(&plan, &surveyed(), &mut Closing(bytes)),
            output::table(&plan, 1..=2, 80, &mut Closing(bytes)),
        ]
        .map(|result| result.expect_err("closed").kind());
        assert_eq!(kinds, [io::ErrorKind::BrokenPipe; 3]);
    }
}
