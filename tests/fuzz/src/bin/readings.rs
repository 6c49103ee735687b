//! A table of readings of arbitrary text: what is measured from it is finite, and a stand file that
//! is changed by it means the stand with just these values; never a panic.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use panestep::file::amend::{Change, StandFile};
use panestep::measure::axis::{AxisReading, Going, analyse, strays};
use panestep::measure::decay::{Peak, decay, peaks, settle};
use panestep::measure::home::repeatability;
use panestep::measure::lens::{FieldReading, Focus, solve};
use panestep::measure::plot;
use panestep::measure::positioning::positioning;
use panestep::measure::square::squareness;
use panestep::measure::table::{Column, Row, Want, read};
use panestep::stand::{AxisId, AxisUnit, LevelId};
use panestep_fuzz::{plant, words};

const MM: AxisUnit = AxisUnit::Millimetre;

static STAND: LazyLock<StandFile> = LazyLock::new(|| {
    let text = include_str!("../../../../host/demo/stand.toml").to_owned();
    StandFile::of_text("stand.toml", text).expect("the demonstration is sound")
});

/// Tables from which the fuzzer sets out; the first byte says what is measured.
const SEEDS: [&str; 4] = [
    "atarget mm,going,reading mm,run\n0,forward,0.01,1\n10,forward,10.02,1\n20,forward,20.01,1\n\
     0,backward,0.06,1\n10,backward,10.07,2\n20,backward,20.08,2\n",
    "sposition;reading mm\n0 mm;0.01\n1/2 in;0.02\n-50 mm;-0.04\n",
    "dtime ms\tvalue um\n0\t100\n50\t-80\n100\t64\n150\t-51\n200\t41\n",
    "llevel,lift mm,pixels,length\nreeds,0,1000,200 mm\nreeds,100,1240,200 mm\nskiffs,0,800,200 mm\n\
     skiffs,60,870,200 mm\n",
];

fuzz_target!(
    init: plant(
        &SEEDS.map(|seed| seed.as_bytes().to_vec()),
        &SEEDS.into_iter().flat_map(words).collect()
    ),
    |data: &[u8]| {
        let Some((&what, data)) = data.split_first() else {
            return;
        };
        let Ok(text) = std::str::from_utf8(data) else {
            return;
        };
        match what {
            b's' => square(text),
            b'd' => swing(text),
            b'l' => lens(text),
            _ => axis(text),
        }
    }
);

/// The rows of a table, or nothing where it is refused, in words that can be shown.
fn rows(text: &str, columns: &[(&'static str, Want, bool)]) -> Vec<Row> {
    let columns: Vec<Column> = columns
        .iter()
        .map(|&(name, want, needed)| Column { name, want, needed })
        .collect();
    match read("readings.csv", text, &columns, 2) {
        Ok(rows) => {
            assert!(rows.len() >= 2);
            rows
        }
        Err(error) => {
            assert!(!error.problems.is_empty());
            assert!(!error.to_string().is_empty());
            Vec::new()
        }
    }
}

fn number(row: &Row, name: &str) -> f64 {
    let number = row.number(name).unwrap_or_default();
    assert!(number.is_finite(), "{name}: {number}");
    number
}

/// What is written into the stand file is this change and nothing else, or it is refused.
fn written(changes: &[Change]) {
    if let Ok(amended) = STAND.amend(changes) {
        let again = StandFile::of_text("stand.toml", amended.text().to_owned());
        assert_eq!(again.expect("it is sound").stand(), amended.stand());
    }
}

fn axis(text: &str) {
    let columns = [
        ("target", Want::Place(MM), true),
        ("going", Want::Word, true),
        ("reading", Want::Place(MM), true),
        ("run", Want::Number, false),
    ];
    let readings: Vec<AxisReading> = rows(text, &columns)
        .iter()
        .map(|row| AxisReading {
            line: row.line,
            target: number(row, "target"),
            going: match row.word("going") {
                Some("forward") => Going::Forward,
                _ => Going::Backward,
            },
            run: number(row, "run") as u32,
            reading: number(row, "reading"),
        })
        .collect();
    if readings.is_empty() {
        return;
    }
    for stray in strays(&readings) {
        assert!(stray.place < readings.len() && stray.by.is_finite());
    }
    let figures = positioning(&readings);
    assert!(!figures.targets.is_empty());
    // Drawing is slow, and many drawings are the same.
    if text.len() % 16 == 0 {
        let _ = plot::svg(&figures, "reeds east", MM);
    }
    let axis = AxisId(0);
    if let Ok(found) = analyse(&readings) {
        let scale = found.scale.value;
        assert!(scale.is_finite() && found.span.is_finite());
        let mut changes = vec![Change::PerTurn {
            axis,
            value: 8.0 * scale,
        }];
        changes.extend(found.backlash.map(|slack| Change::Backlash {
            axis,
            value: slack.value,
        }));
        written(&changes);
    }
    let findings: Vec<f64> = readings.iter().map(|reading| reading.reading).collect();
    if let Ok(found) = repeatability(&findings, 0.0025) {
        assert!(found.within.is_finite() && found.within > 0.0);
        written(&[Change::HomeWithin {
            axis,
            value: found.within,
        }]);
    }
}

fn square(text: &str) {
    let columns = [
        ("position", Want::Place(MM), true),
        ("reading", Want::Place(MM), true),
    ];
    let rows = rows(text, &columns);
    let of = |name| rows.iter().map(|row| number(row, name)).collect::<Vec<_>>();
    if let Ok(found) = squareness(&of("position"), &of("reading")) {
        assert!(found.per_metre.value.is_finite());
        assert!(found.degrees.value.abs() <= 90.0);
    }
}

fn swing(text: &str) {
    let columns = [("time", Want::Time, true), ("value", Want::Place(MM), true)];
    let rows = rows(text, &columns);
    let trace: Vec<(usize, f64, f64)> = rows
        .iter()
        .map(|row| (row.line, number(row, "time"), number(row, "value")))
        .collect();
    let as_read = trace.iter().map(|&(line, time, amplitude)| Peak {
        time,
        amplitude,
        line,
    });
    for peaks in [as_read.collect(), peaks(&trace)] {
        if let Ok(found) = decay(&peaks) {
            assert!(found.frequency.value > 0.0 && found.damping.value.abs() <= 1.0);
            if let Some(time) = settle(&found, 0.001) {
                written(&[Change::Settle { time }]);
            }
        }
    }
}

fn lens(text: &str) {
    let columns = [
        ("level", Want::Word, true),
        ("lift", Want::Place(MM), false),
        ("pixels", Want::Number, true),
        ("length", Want::Place(MM), true),
    ];
    let stand = STAND.stand();
    let readings: Vec<FieldReading> = rows(text, &columns)
        .iter()
        // A solution's work grows with the cube of its unknowns, and quickly with its readings.
        .take(12)
        .filter_map(|row| {
            let name = row.word("level")?;
            let level = stand.levels.iter().position(|level| level.name == name)?;
            let length_mm = number(row, "length");
            (length_mm > 0.0).then(|| FieldReading {
                line: row.line,
                level: LevelId(level),
                lift_mm: number(row, "lift"),
                camera_lift_mm: 0.0,
                length_mm,
                pixels: number(row, "pixels"),
            })
        })
        .collect();
    let Some(first) = readings.first() else {
        return;
    };
    let fixed = Focus::Fixed {
        level: first.level,
        lift_mm: 0.0,
        camera_lift_mm: 0.0,
    };
    for focus in [fixed, Focus::EachTime] {
        if let Ok(found) = solve(stand, &readings, focus, &[]) {
            assert!(found.focal_length.value.is_finite() && found.height.value.is_finite());
            let mut changes = vec![
                Change::FocalLength {
                    mm: found.focal_length.value,
                },
                Change::LensHeight {
                    mm: found.height.value,
                },
            ];
            changes.extend(found.levels.iter().map(|of| Change::LevelHeight {
                level: LevelId(of.level),
                mm: of.height.value,
            }));
            written(&changes);
        }
    }
}
