//! Stands and shots for the planning tests, built without files.
#![allow(dead_code, reason = "each test file uses a part of it")]

use std::time::Duration;

use panestep::shot::{Distance, Key, Layer, Shot, Track, Viewer};
use panestep::stand::{
    Axis, Board, BoardId, Carrier, Drive, Face, Home, Lens, Level, LevelId, Motor, Pane, Picture,
    PortName, Release, Shutter, Stand, Way,
};

/// Ways that a carrier of full freedom has.
pub(crate) const ALL: [Way; 4] = [Way::East, Way::North, Way::Lift, Way::Turn];

pub(crate) fn motor_axis(of: Carrier, way: Way, board: usize, channel: u8) -> Axis {
    Axis {
        of,
        way,
        drive: Drive::Motor(Motor {
            board: BoardId(board),
            channel,
            steps: 200,
            microsteps: 16,
            steps_per_unit: 400.0,
            reversed: false,
            speed: 25.0,
            acceleration: 60.0,
            jerk: 400.0,
            slow: 1.0,
            home: Home {
                switch: -100_004.0,
                within: 0.02,
            },
            screw: None,
        }),
        travel: (-100_000.0, 100_000.0),
        backlash: 0.0,
        focus_table: Vec::new(),
    }
}

pub(crate) fn hand_axis(of: Carrier, way: Way, scale: f64) -> Axis {
    Axis {
        drive: Drive::Hand { scale, screw: None },
        ..motor_axis(of, way, 0, 0)
    }
}

pub(crate) fn pane(thickness_mm: f64, index: f64, art: Face) -> Pane {
    Pane {
        width_mm: 700.0,
        height_mm: 500.0,
        thickness_mm,
        index,
        art,
    }
}

/// A stand of levels at heights, each with axes of the given ways.
pub(crate) fn stand(levels: &[(f64, Pane)], ways: &[Way], camera: &[Way]) -> Stand {
    let names = ["reeds", "boats", "quay", "hills"];
    let mut axes = Vec::new();
    for level in 0..levels.len() {
        for (channel, &way) in ways.iter().enumerate() {
            axes.push(motor_axis(
                Carrier::Level(LevelId(level)),
                way,
                level % 16,
                u8::try_from(channel).unwrap_or(0),
            ));
        }
    }
    for (channel, &way) in camera.iter().enumerate() {
        let mut axis = motor_axis(
            Carrier::Camera,
            way,
            0,
            u8::try_from(channel).unwrap_or(0) + 4,
        );
        if way == Way::Focus {
            axis.focus_table = vec![
                (0.0, 200.0),
                (90.0, 600.0),
                (150.0, 1200.0),
                (200.0, 9000.0),
            ];
        }
        axes.push(axis);
    }
    Stand {
        name: "Bench".into(),
        lens: Lens {
            circle_of_confusion_mm: 0.03,
            swing: None,
            focal_length_mm: 50.0,
            f_number: 8.0,
            picture: Picture {
                width_mm: 36.0,
                height_mm: 24.0,
                columns: 6000,
                rows: 4000,
            },
            height_mm: 1600.0,
            focus: LevelId(levels.len() / 2 - usize::from(levels.len() == 4)),
        },
        boards: (0..16)
            .map(|board| Board {
                name: format!("board {board}"),
                port: PortName::Simulated,
                stop_tested: None,
            })
            .collect(),
        levels: levels
            .iter()
            .enumerate()
            .map(|(index, &(height_mm, pane))| Level {
                swing: None,
                name: names
                    .get(index)
                    .map_or_else(|| format!("level {index}"), |&name| name.to_owned()),
                height_mm,
                pane,
            })
            .collect(),
        axes,
        lamps: Vec::new(),
        shutter: Shutter {
            release: Release::Board {
                board: BoardId(0),
                half_press: Duration::ZERO,
                press: Duration::from_millis(150),
                flash_contact: true,
            },
            settle: Duration::from_millis(600),
            exposure: Duration::from_millis(500),
            delay: Duration::from_millis(100),
            ready: Duration::from_millis(1200),
            timed_by_release: false,
        },
        arrival: None,
        home_check: 0,
        clearance_mm: 2.0,
    }
}

/// Four levels of different glass; the same ones as in `reference/project.py`.
pub(crate) fn four_levels() -> [(f64, Pane); 4] {
    [
        (1150.0, pane(6.0, 1.52, Face::Upper)),
        (820.0, pane(4.0, 1.52, Face::Under)),
        (450.0, pane(10.0, 1.6, Face::Upper)),
        (60.0, pane(3.0, 1.5, Face::Under)),
    ]
}

/// A shot in which nothing moves.
pub(crate) fn still_shot(frames: u32, distances: &[Distance]) -> Shot {
    Shot {
        name: "Test".into(),
        frames,
        rate: 24.0,
        hold: 1,
        layers: distances
            .iter()
            .enumerate()
            .map(|(level, &distance)| Layer {
                level: LevelId(level),
                distance,
                art: None,
                art_width_mm: 700.0,
                art_centre_mm: (0.0, 0.0),
            })
            .collect(),
        viewer: Viewer::default(),
        shifts: Vec::new(),
        camera: Vec::new(),
        focus: Vec::new(),
        reference_frame: 1,
        cels: Vec::new(),
        passes: vec![panestep::shot::Pass::only(0)],
        strobing: panestep::shot::Strobing::default(),
    }
}

/// A track through keys of frame and value without fairings.
pub(crate) fn track(keys: &[(u32, f64)]) -> Track {
    Track {
        keys: keys
            .iter()
            .map(|&(frame, value)| Key {
                frame,
                value,
                fairing: 0,
            })
            .collect(),
    }
}
