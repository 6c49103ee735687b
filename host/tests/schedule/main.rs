//! What is said of two schedules that differ, and the copy of one in a take's folder.

use std::time::Duration;

use panestep::schedule::{Exposure, HandAxis, MotorAxis, Release, Schedule, differences};
use panestep::stand::{AxisUnit, Way};
use panestep::take::journal::Stamp;
use panestep::take::{Files, Folder, FolderError, fingerprint};
use panestep_protocol::ShotId;
use proptest::prelude::*;

use passes::with_passes;

mod passes;

fn motor(of: &str, way: Way, channel: u8) -> MotorAxis {
    MotorAxis {
        of: of.into(),
        way,
        unit: way.unit(),
        step_size: 0.0025,
        step_pixels: 0.05,
        board: 0,
        channel,
        reversed: false,
        speed: 10_000,
        acceleration: 24_000,
        jerk: 160_000,
        slow: 400,
        travel: (-40_000, 40_000),
        switch: -41_600,
        within: 8,
        slack: 20,
        take_up: 40,
    }
}

fn hand(of: &str, way: Way) -> HandAxis {
    HandAxis {
        of: of.into(),
        way,
        unit: way.unit(),
        scale: 0.1,
        travel: (-100.0, 100.0),
    }
}

fn schedule() -> Schedule {
    Schedule {
        name: "low water".into(),
        boards: vec!["main".into(), "left".into()],
        motors: vec![motor("reeds", Way::East, 0), motor("quay", Way::Turn, 1)],
        lifts: Vec::new(),
        hands: vec![hand("sky", Way::North)],
        frames: 4,
        motor_targets: vec![0, 0, 4000, 10, 4400, 20, 4800, 30],
        hand_targets: vec![0.0, 1.5, 3.0, 4.5],
        exposure: Exposure {
            release: Release::Board {
                board: 0,
                half_press: Duration::ZERO,
                press: Duration::from_millis(150),
                flash_contact: true,
            },
            settle: Duration::from_millis(600),
            delay: Duration::from_millis(100),
            window: Duration::from_millis(620),
            ready: Duration::from_millis(1200),
            arrival: None,
        },
        lamps: Vec::new(),
        passes: Vec::new(),
        laid: Vec::new(),
        home_check: 0,
    }
}

/// What is said where this alone has changed.
fn said(change: impl FnOnce(&mut Schedule)) -> Vec<String> {
    let began = schedule();
    let mut now = began.clone();
    change(&mut now);
    differences(&began, &now)
}

#[test]
fn each_difference_is_a_sentence_with_what_was_and_what_is() {
    let one = |change: &dyn Fn(&mut Schedule), expected: &str| {
        assert_eq!(said(change), [expected]);
    };
    one(
        &|now| now.motor_targets[4] = 4600,
        "reeds east, position at frame 3: 11.000 mm (4400 steps) when the take began, 11.500 mm \
         (4600 steps) now; 1 of 4 frames differ, frame 3 the most, by 0.500 mm (200 steps)",
    );
    one(
        &|now| {
            for frame in 1..4 {
                now.motor_targets[2 * frame + 1] -= [0, 1, 30, 4][frame];
            }
        },
        "quay turn, position at frame 2: 0.025 deg (10 steps) when the take began, 0.022 deg (9 \
         steps) now; 3 of 4 frames differ, frame 3 the most, by 0.075 deg (30 steps)",
    );
    one(
        &|now| now.hand_targets[1] = 1.75,
        "sky north, position at frame 2: 1.500 mm when the take began, 1.750 mm now; 1 of 4 \
         frames differ, frame 2 the most, by 0.250 mm",
    );
    one(
        &|now| now.motors[0].speed = 12_000,
        "reeds east, greatest speed: 25.000 mm/s (10000 steps/s) when the take began, 30.000 mm/s \
         (12000 steps/s) now",
    );
    one(
        &|now| now.motors[1].reversed = true,
        "quay turn, direction of the motor: not reversed when the take began, reversed now",
    );
    one(
        &|now| now.motors[1].board = 1,
        "quay turn, board: `main` (board 1) when the take began, `left` (board 2) now",
    );
    one(
        &|now| now.motors[0].travel.0 = -36_000,
        "reeds east, least position: -100.000 mm (-40000 steps) when the take began, -90.000 mm \
         (-36000 steps) now",
    );
    // Where three digits would not show it, there are as many as it takes.
    one(
        &|now| now.motors[0].step_size = 0.002_500_1,
        "reeds east, size of a step: 0.0025 mm when the take began, 0.0025001 mm now",
    );
    one(
        &|now| now.hands[0].scale = 0.5,
        "sky north, division of the scale: 0.100 mm when the take began, 0.500 mm now",
    );
    one(
        &|now| now.exposure.settle = Duration::from_micros(1_500_500),
        "rest before an exposure: 600 ms when the take began, 1.5005 s now",
    );
    one(
        &|now| now.exposure.arrival = Some(Duration::from_secs(20)),
        "longest time until a picture has arrived: not watched for when the take began, 20 s now",
    );
    one(
        &|now| now.home_check = 24,
        "home checks: only at the end when the take began, every 24 frames now",
    );
    one(
        &|now| now.boards[1] = "right".into(),
        "name of board 2: `left` when the take began, `right` now",
    );
    one(
        &|now| drop(now.boards.pop()),
        "the boards: \"main\" \"left\" when the take began, \"main\" now",
    );
    let words = |words: &[&str]| Release::Command {
        words: words.iter().map(|&word| word.into()).collect(),
        time_out: Duration::from_secs(30),
    };
    one(
        &|now| now.exposure.release = words(&["./photograph", "{frame}"]),
        "what fires the camera: the release line of `main` (board 1) when the take began, the \
         command \"./photograph\" \"{frame}\" now",
    );
    one(
        &|now| now.exposure.release = Release::Hand,
        "what fires the camera: the release line of `main` (board 1) when the take began, a \
         finger on the release now",
    );
}

#[test]
fn axes_that_are_gone_or_new_or_moved_by_something_else() {
    let without_quay = |now: &mut Schedule| {
        now.motors.pop();
        now.motor_targets = vec![0, 4000, 4400, 4800];
    };
    assert_eq!(
        said(without_quay),
        ["quay turn: moved by a motor when the take began, not there now"]
    );
    let by_hand = |now: &mut Schedule| {
        without_quay(now);
        now.hands.push(hand("quay", Way::Turn));
        now.hand_targets = vec![0.0, 0.0, 1.5, 0.0, 3.0, 0.0, 4.5, 0.0];
    };
    assert_eq!(
        said(by_hand),
        ["quay turn: moved by a motor when the take began, moved by hand now"]
    );
    let (mut began, now) = (schedule(), schedule());
    without_quay(&mut began);
    assert_eq!(
        differences(&began, &now),
        ["quay turn: not there when the take began, moved by a motor now"]
    );
    // The same axes, listed the other way round.
    let turned = |now: &mut Schedule| {
        now.motors.reverse();
        for frame in now.motor_targets.chunks_mut(2) {
            frame.reverse();
        }
    };
    assert_eq!(
        said(turned),
        [
            "order of the axes moved by motors: reeds east, quay turn when the take began, quay \
          turn, reeds east now"
        ]
    );
}

#[test]
fn the_weightiest_comes_first() {
    let all = said(|now| {
        now.home_check = 5;
        now.motors[0].jerk += 1;
        now.exposure.ready = Duration::from_secs(2);
        now.motor_targets[1] = 7;
        now.frames = 5;
        now.motor_targets.extend([5000, 40]);
        now.hand_targets.push(6.0);
    });
    let begins = [
        "the number of frames: 4 when the take began, 5 now",
        "quay turn, position at frame 1: 0.000 deg (0 steps) when the take began, 0.018 deg",
        "time from an exposure until the camera can take the next: 1.2 s",
        "reeds east, greatest jerk: 400.000 mm/s\u{b3} (160000 steps/s\u{b3})",
        "home checks",
    ];
    assert_eq!(all.len(), begins.len(), "{all:#?}");
    for (sentence, begin) in all.iter().zip(begins) {
        assert!(sentence.starts_with(begin), "{sentence}");
    }
}

fn any_motor() -> impl Strategy<Value = MotorAxis> {
    let way = prop::sample::select(vec![Way::East, Way::North, Way::Lift, Way::Turn]);
    let of = prop::sample::select(vec!["reeds", "quay", "sky", "camera"]);
    (
        (of, way, 0..2_usize, 0..8_u8),
        any::<bool>(),
        (1..90_000_u32, 1..900_i32),
    )
        .prop_map(
            |((of, way, board, channel), reversed, (speed, slack))| MotorAxis {
                board,
                reversed,
                speed,
                slack,
                ..motor(of, way, channel)
            },
        )
}

fn any_hand() -> impl Strategy<Value = HandAxis> {
    let way = prop::sample::select(vec![Way::East, Way::North, Way::Lift]);
    let of = prop::sample::select(vec!["reeds", "quay", "sky"]);
    (of, way).prop_map(|(of, way)| hand(of, way))
}

fn any_release() -> impl Strategy<Value = Release> {
    let time = || (0..5000_u64).prop_map(Duration::from_millis);
    let word = prop::sample::select(vec!["a", "a b", "{frame}", "b"]);
    prop_oneof![
        (0..2_usize, time(), time(), any::<bool>()).prop_map(
            |(board, half_press, press, flash_contact)| Release::Board {
                board,
                half_press,
                press,
                flash_contact,
            }
        ),
        (prop::collection::vec(word, 1..4), time()).prop_map(|(words, time_out)| {
            Release::Command {
                words: words.into_iter().map(str::to_owned).collect(),
                time_out,
            }
        }),
        Just(Release::Hand),
    ]
}

fn any_schedule() -> impl Strategy<Value = Schedule> {
    (
        prop::sample::select(vec![0_usize, 1, 2, 3, 4]),
        prop::collection::vec(any_motor(), 0..4),
        prop::collection::vec(any_hand(), 0..3),
        1..6_u32,
        any_release(),
        any::<u64>(),
    )
        .prop_map(|(more, motors, hands, frames, release, seed)| {
            let count = |axes: usize| axes * frames as usize;
            let mut schedule = schedule();
            schedule.motor_targets = (0..count(motors.len()))
                .map(|at| (seed.rotate_left(at as u32) & 0xfff) as i32)
                .collect();
            schedule.hand_targets = (0..count(hands.len()))
                .map(|at| f64::from(seed.rotate_left(at as u32) as u16) * 0.1)
                .collect();
            (schedule.motors, schedule.hands, schedule.frames) = (motors, hands, frames);
            schedule.exposure.release = release;
            let with = with_passes();
            if more > 1 {
                schedule.lamps = with.lamps;
            }
            // A pass that the exposure alone makes, but for the press, or several.
            if more > 0 {
                schedule.passes = with.passes[..1 + usize::from(more > 2)].to_vec();
                for pass in &mut schedule.passes {
                    pass.lamps.retain(|_| more > 1);
                }
            }
            if more > 3 {
                schedule.laid = with.laid;
            }
            schedule
        })
}

/// Changes one thing that the fingerprint covers; whether there was such a thing to change.
fn change(schedule: &mut Schedule, which: usize, at: usize, by: u32) -> bool {
    let by_i32 = i32::try_from(by).expect("small");
    let time = Duration::from_nanos(u64::from(by));
    let motors = schedule.motors.len();
    let hands = schedule.hands.len();
    match which {
        // Settings of one motor axis.
        0..=16 if motors > 0 => {
            let axis = &mut schedule.motors[at % motors];
            match which {
                0 => axis.of.push('s'),
                1 => {
                    axis.way = if axis.way == Way::East {
                        Way::Focus
                    } else {
                        Way::East
                    }
                }
                2 => axis.step_size = f64::from_bits(axis.step_size.to_bits() + u64::from(by)),
                3 => axis.board += by as usize,
                4 => axis.channel = axis.channel.wrapping_add(1),
                5 => axis.reversed = !axis.reversed,
                6 => axis.speed += by,
                7 => axis.acceleration += by,
                8 => axis.jerk += by,
                9 => axis.slow += by,
                10 => axis.travel.0 -= by_i32,
                11 => axis.travel.1 += by_i32,
                12 => axis.switch -= by_i32,
                13 => axis.within += by_i32,
                14 => axis.slack += by_i32,
                15 => axis.take_up += by_i32,
                _ => drop(schedule.motors.remove(at % motors)),
            }
        }
        17 if !schedule.motor_targets.is_empty() => {
            let place = at % schedule.motor_targets.len();
            schedule.motor_targets[place] += by_i32;
        }
        18..=20 if hands > 0 => {
            let axis = &mut schedule.hands[at % hands];
            match which {
                18 => axis.of.push('s'),
                19 => axis.scale = f64::from_bits(axis.scale.to_bits() + u64::from(by)),
                _ => {
                    axis.way = if axis.way == Way::East {
                        Way::Turn
                    } else {
                        Way::East
                    }
                }
            }
        }
        21 if !schedule.hand_targets.is_empty() => {
            let place = at % schedule.hand_targets.len();
            let bits = schedule.hand_targets[place].to_bits();
            schedule.hand_targets[place] = f64::from_bits(bits + u64::from(by));
        }
        22 => schedule.frames += by,
        23 => schedule.boards[at % 2].push('s'),
        24 => schedule.boards.push("more".into()),
        25 => schedule.boards.reverse(),
        26 => schedule.exposure.settle += time,
        27 => schedule.exposure.window += time,
        28 => schedule.exposure.ready += time,
        29 => schedule.exposure.arrival = Some(time),
        30 => schedule.home_check += by,
        31 => match &mut schedule.exposure.release {
            Release::Board { board, .. } => *board += by as usize,
            Release::Command { words, .. } => words[0].push(' '),
            Release::Hand => schedule.exposure.release = any_command(time),
        },
        32 => match &mut schedule.exposure.release {
            Release::Board { half_press, .. } => *half_press += time,
            Release::Command { time_out, .. } => *time_out += time,
            Release::Hand => return false,
        },
        33 => match &mut schedule.exposure.release {
            Release::Board { press, .. } => *press += time,
            Release::Command { words, .. } => words.push(String::new()),
            Release::Hand => return false,
        },
        34 => match &mut schedule.exposure.release {
            Release::Board { flash_contact, .. } => *flash_contact = !*flash_contact,
            _ => schedule.exposure.release = Release::Hand,
        },
        _ => return false,
    }
    true
}

fn any_command(time_out: Duration) -> Release {
    Release::Command {
        words: vec!["a".into()],
        time_out,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(2000) })]

    /// Something is said if and only if the fingerprint is another one, and each sentence says what
    /// was and what is.
    #[test]
    fn any_change_that_counts_is_said(
        began in any_schedule(),
        which in 0..35_usize,
        at in any::<usize>(),
        by in 1..5000_u32,
    ) {
        prop_assert_eq!(differences(&began, &began.clone()), Vec::<String>::new());
        let mut now = began.clone();
        if !change(&mut now, which, at, by) {
            return Ok(());
        }
        // An axis's unit, a step's pixels and the shot's name change nothing that is done.
        prop_assert_eq!(fingerprint(&began) == fingerprint(&now), now == began);
        for (one, other) in [(&began, &now), (&now, &began)] {
            let all = differences(one, other);
            prop_assert_eq!(all.is_empty(), now == began, "{:?}", all);
            for sentence in all {
                prop_assert!(sentence.contains(" when the take began, "), "{}", sentence);
                prop_assert!(sentence.contains(" now"), "{}", sentence);
            }
        }
    }

    #[test]
    fn any_two_schedules_differ_as_their_fingerprints_do(
        began in any_schedule(),
        now in any_schedule(),
    ) {
        let agree = fingerprint(&began) == fingerprint(&now);
        prop_assert_eq!(differences(&began, &now).is_empty(), agree);
    }

    #[test]
    fn what_changes_nothing_that_is_done_is_not_said(began in any_schedule(), factor in 0.1..9.0_f64) {
        let mut now = began.clone();
        now.name.push_str(", once more");
        for axis in &mut now.motors {
            axis.step_pixels *= factor;
            axis.unit = AxisUnit::Degree;
        }
        prop_assert_eq!(fingerprint(&began), fingerprint(&now));
        prop_assert_eq!(differences(&began, &now), Vec::<String>::new());
    }

    /// Every bit of every number, also of those that no short decimal gives.
    #[test]
    fn a_folders_copy_is_exact(
        mut began in any_schedule(),
        bits in prop::collection::vec(any::<u64>(), 24),
    ) {
        let finite = |bits: u64| Some(f64::from_bits(bits)).filter(|number| number.is_finite());
        let mut numbers = bits.into_iter().filter_map(finite).cycle();
        let mut next = || numbers.next().unwrap_or(0.1);
        began.hand_targets.iter_mut().for_each(|target| *target = next());
        for axis in &mut began.motors {
            (axis.step_size, axis.step_pixels, axis.board) = (next(), next(), 0);
        }
        if let Release::Board { board, .. } = &mut began.exposure.release {
            *board = 0;
        }
        let text = serde_json::to_string(&began).unwrap();
        let read: Schedule = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(fingerprint(&read), fingerprint(&began));
        for (one, other) in read.motors.iter().zip(&began.motors) {
            prop_assert_eq!(one.step_pixels.to_bits(), other.step_pixels.to_bits());
        }
        prop_assert_eq!(&read.name, &began.name);
    }
}

fn make(path: &std::path::Path, schedule: &Schedule) -> Folder {
    let files = Files {
        stand: "stand",
        shot: "shot",
        art: "art".as_ref(),
        base: "".as_ref(),
    };
    let stamp: Stamp = Box::new(|| jiff::Timestamp::UNIX_EPOCH);
    Folder::create(path, &files, schedule, ShotId(7), stamp)
        .unwrap()
        .0
}

#[test]
fn a_takes_folder_keeps_the_schedule_that_it_began_with() {
    let place = tempfile::tempdir().unwrap();
    let mut began = schedule();
    // Numbers whose shortest decimals need all their digits to come back the same.
    began.hand_targets = vec![0.1 + 0.2, 1.0 / 3.0, -0.0, 5e-324];
    began.motors[0].step_size = 25.4 / 7.0;
    let folder = make(&place.path().join("take"), &began);
    let read = folder.schedule().unwrap();
    assert_eq!(read, began);
    assert_eq!(fingerprint(&read), fingerprint(&began));
    assert_eq!(differences(&read, &began), Vec::<String>::new());
}

#[test]
fn a_copy_that_is_missing_or_damaged_is_named() {
    let place = tempfile::tempdir().unwrap();
    let folder = make(&place.path().join("take"), &schedule());
    let path = folder.path().join("schedule.json");
    let text = std::fs::read_to_string(&path).unwrap();
    let refused = |content: &str| {
        std::fs::write(&path, content).unwrap();
        let error = folder.schedule().unwrap_err();
        assert!(
            matches!(error, FolderError::DamagedSchedule { .. }),
            "{error:?}"
        );
        let said = error.to_string();
        assert!(said.contains("schedule.json is damaged"), "{said}");
        said
    };
    assert!(refused("").contains("line 1 column 0"));
    refused(&text[..text.len() - 1]);
    refused(&text.replace("\"frames\":4", "\"frames\":\"four\""));
    refused("[]");
    let torn = |from: &str, to: &str| {
        assert!(text.contains(from), "{from} in {text}");
        let said = refused(&text.replacen(from, to, 1));
        assert!(said.contains("do not fit together"), "{said}");
    };
    torn("\"frames\":4", "\"frames\":5");
    torn("\"frames\":4", "\"frames\":4294967295");
    torn("[0,0,4000,", "[0,4000,");
    torn("\"board\":0", "\"board\":2");
    torn("[0.0,1.5,", "[1.5,");
    torn("\"boards\":[\"main\",\"left\"]", "\"boards\":[]");
    std::fs::remove_file(&path).unwrap();
    let error = folder.schedule().unwrap_err();
    assert!(matches!(error, FolderError::NoSchedule { .. }), "{error:?}");
    assert!(
        error.to_string().contains("schedule.json is missing"),
        "{error}"
    );
    std::fs::create_dir(&path).unwrap();
    let error = folder.schedule().unwrap_err();
    assert!(matches!(error, FolderError::Io { .. }), "{error:?}");
}
