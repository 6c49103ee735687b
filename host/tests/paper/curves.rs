//! Position, speed, acceleration and travel, as CSV and as JSON.

use std::collections::HashMap;
use std::convert::Infallible;

use panestep::plan::Plan;
use panestep::plan::curves::{Curves, Sample, output};
use panestep::shot::{Distance, Key, Layer, Shift, ShiftTrack, Shot, Track};
use panestep::stand::{LevelId, Stand, Way};

use super::{Coast, demo, near};

fn samples(stand: &Stand, plan: &Plan) -> Vec<Sample> {
    let mut all = Vec::new();
    let curves = Curves::new(stand, plan);
    let Ok(()) = curves.go(1..=u32::MAX, |sample| {
        all.push(sample.clone());
        Ok::<(), Infallible>(())
    });
    all
}

/// The demonstration's clouds alone, moved by a track, and every layer far.
fn drifting(frames: u32, hold: u32, track: ShiftTrack) -> (Stand, Plan, usize) {
    let (stand, shot, _) = demo();
    let clouds = LevelId(3);
    let layers = shot.layers.iter().map(|layer| Layer {
        distance: Distance::Far,
        ..layer.clone()
    });
    let shot = Shot {
        frames,
        hold,
        layers: layers.collect(),
        viewer: Default::default(),
        shifts: vec![Shift {
            level: clouds,
            way: Way::East,
            track,
        }],
        ..shot
    };
    let plan = Plan::new(&stand, &shot).expect("sound");
    (stand, plan, 5)
}

/// red.com/red-101/camera-panning-speed (seen): a picture's width in no less than seven seconds; at 24
/// frames a second that is W/168 a frame (the division is ours), here 1920/168 = 11.4286 pixels.
#[test]
fn a_pan_at_the_seven_second_rule_travels_so_many_pixels_on_ones_and_on_twos() {
    let (_, _, plan) = demo();
    let pose = plan.geometry().pose(1);
    let pixel = pose.levels[3].distance_mm / pose.image_mm * 36.0 / 1920.0;
    let amount = 1920.0 / 168.0 * pixel;
    for (hold, jump) in [(1, 11.428_571), (2, 22.857_143)] {
        let track = ShiftTrack::PerFrame {
            amount,
            from: 1,
            to: 24,
        };
        let (stand, plan, axis) = drifting(13, hold, track);
        let all = samples(&stand, &plan);
        assert_eq!(all.len(), 13);
        for sample in &all {
            let frame = sample.frame;
            near(sample.seconds, f64::from(frame - 1) / 24.0, 1e-12, frame);
            assert_eq!(sample.picture, frame - (frame - 1) % hold);
            let Some(levels) = &sample.levels else {
                assert!(frame <= hold && sample.axes[axis].speed.is_none());
                continue;
            };
            // On twos neither nothing nor double: the speed of the move.
            near(
                sample.axes[axis].speed.expect("a speed"),
                amount,
                1e-9,
                frame,
            );
            near(levels[3].centre_px, jump, 1e-5, frame);
            near(levels[3].edge_px, jump, 1e-5, frame);
            assert_eq!(levels[4].centre_px, 0.0);
        }
    }
}

/// Free fall in words of a track: at frame `f` the way `a (f - 1)²/2` has the acceleration `a` and the
/// speed `a (f - 3/2)` of the move that ends there.
#[test]
fn a_constant_acceleration_is_exact() {
    let keys = (1..=30).map(|frame| Key {
        frame,
        value: 0.02 * f64::from(frame - 1).powi(2),
        fairing: 0,
    });
    let track = ShiftTrack::Keys(Track {
        keys: keys.collect(),
    });
    let (stand, plan, axis) = drifting(30, 1, track);
    let all = samples(&stand, &plan);
    for sample in &all[1..29] {
        let motion = sample.axes[axis];
        let speed = 0.04 * (f64::from(sample.frame) - 1.5);
        near(motion.speed.expect("a speed"), speed, 1e-9, sample.frame);
        near(motion.acceleration.expect("one"), 0.04, 1e-9, sample.frame);
    }
    assert_eq!(all[0].axes[axis].acceleration, None);
    assert_eq!(all[29].axes[axis].acceleration, None);
}

#[test]
fn speeds_add_up_to_the_way_and_the_edge_is_no_slower_than_the_middle() {
    let coast = Coast::new(23, "twos");
    let (stand, _, plan) = coast.planned();
    let all = samples(&stand, &plan);
    for axis in 0..stand.axes.len() {
        let way: f64 = all.iter().filter_map(|it| it.axes[axis].speed).sum();
        // The last picture is held for one frame alone.
        let last = all[22].axes[axis];
        let rest = last.speed.expect("a speed");
        let expected = last.position - all[0].axes[axis].position;
        near(way + rest, expected, 1e-9, axis);
    }
    for travel in all.iter().filter_map(|it| it.levels.as_ref()).flatten() {
        assert!(travel.edge_px >= travel.centre_px - 1e-9, "{travel:?}");
    }
    let reeds = all[12].levels.as_ref().expect("not the first")[0];
    assert!(
        reeds.edge_px > reeds.centre_px + 1.0,
        "it comes nearer: {reeds:?}"
    );
}

#[test]
fn csv_and_json_say_what_the_curves_are() {
    let coast = Coast::new(12, "twos");
    let (stand, shot, plan) = coast.planned();
    let curves = Curves::new(&stand, &plan);
    let all = samples(&stand, &plan);
    let (mut csv, mut json) = (Vec::new(), Vec::new());
    output::csv(&curves, 1..=12, &mut csv, |_| Ok(())).expect("written");
    output::json(&curves, 1..=12, &mut json, |_| Ok(())).expect("written");

    let document: serde_json::Value = serde_json::from_slice(&json).expect("JSON");
    assert_eq!(document["name"], shot.name.as_str());
    assert_eq!(document["hold"], 2);
    let lines = document["samples"].as_array().expect("a list");
    assert_eq!(lines.len(), 12);
    let mut reader = csv::Reader::from_reader(csv.as_slice());
    let rows: Vec<HashMap<String, String>> =
        reader.deserialize().collect::<Result<_, _>>().expect("CSV");
    let per_frame = stand.axes.len() + stand.levels.len();
    assert_eq!(rows.len(), 12 * per_frame);
    for (row, at) in rows.iter().zip(0..) {
        let (sample, place) = (&all[at / per_frame], at % per_frame);
        let line = &lines[at / per_frame];
        let number = |column: &str| row[column].parse::<f64>().ok();
        assert_eq!(row["frame"], sample.frame.to_string());
        assert_eq!(row["picture"], sample.picture.to_string());
        if let Some(axis) = stand.axes.get(place) {
            let motion = sample.axes[place];
            assert_eq!(row["of"], stand.carrier_name(axis.of));
            assert_eq!(row["direction"], axis.way.name());
            near(number("position").expect("one"), motion.position, 1e-9, at);
            for (column, value) in [
                ("speed_per_frame", motion.speed),
                ("speed_per_second", motion.speed.map(|it| it * 24.0)),
                ("acceleration_per_frame2", motion.acceleration),
                (
                    "acceleration_per_second2",
                    motion.acceleration.map(|it| it * 576.0),
                ),
            ] {
                assert_eq!(number(column).is_some(), value.is_some(), "{at} {column}");
                if let Some(value) = value {
                    near(number(column).expect("one"), value, 1e-9, column);
                    near(
                        line[column][place].as_f64().expect("one"),
                        value,
                        1e-12,
                        column,
                    );
                }
            }
        } else {
            let level = place - stand.axes.len();
            assert_eq!(row["of"], stand.levels[level].name);
            let travel = sample.levels.as_ref().map(|levels| levels[level]);
            assert_eq!(number("travel_edge").is_some(), travel.is_some());
            if let Some(travel) = travel {
                near(
                    number("travel_edge").expect("one"),
                    travel.edge_px,
                    1e-8,
                    at,
                );
                near(
                    line["travel_centre"][level].as_f64().expect("one"),
                    travel.centre_px,
                    1e-9,
                    at,
                );
            }
        }
    }
}

#[test]
fn some_frames_are_the_same_as_in_the_whole_and_one_frame_has_no_speed() {
    let coast = Coast::new(12, "twos");
    let (stand, _, plan) = coast.planned();
    let all = samples(&stand, &plan);
    let mut part = Vec::new();
    let Ok(()) = Curves::new(&stand, &plan).go(4..=9, |sample| {
        part.push(sample.clone());
        Ok::<(), Infallible>(())
    });
    assert_eq!(part, all[3..9]);
    let coast = Coast::new(1, "ones");
    let (stand, _, plan) = coast.planned();
    let one = samples(&stand, &plan);
    assert_eq!(one.len(), 1);
    assert!(one[0].levels.is_none() && one[0].axes.iter().all(|it| it.speed.is_none()));
}
