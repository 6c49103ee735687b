//! What a plan refuses, what it reports, and that no numbers make it panic.

mod plan_support;

use panestep::plan::{Fault, Geometry, Plan, Refusals, times};
use panestep::shot::{Distance, FocusKey, Shift, ShiftTrack, Shot};
use panestep::stand::{Carrier, Drive, Face, LevelId, Stand, Way};
use plan_support::{ALL, four_levels, hand_axis, motor_axis, pane, stand, still_shot, track};
use proptest::prelude::*;

const STORY: [Distance; 4] = [
    Distance::At(3000.0),
    Distance::At(5200.0),
    Distance::At(14_000.0),
    Distance::Far,
];

fn refused(stand: &Stand, shot: &Shot) -> Refusals {
    Plan::new(stand, shot).expect_err("must be refused")
}

/// The only refusal, and its text.
fn only(stand: &Stand, shot: &Shot) -> (Fault, String) {
    let refusals = refused(stand, shot);
    assert_eq!(refusals.list().len(), 1, "{refusals}");
    (refusals.list()[0].fault.clone(), refusals.to_string())
}

#[test]
fn travel_names_frame_level_and_number_and_counts_frames() {
    let mut stand = stand(&four_levels(), &ALL, &[]);
    let mut shot = still_shot(96, &STORY);
    shot.viewer.east = track(&[(1, 0.0), (96, 950.0)]);
    stand.axes[0].travel = (-100.0, 100.0);
    let (fault, text) = only(&stand, &shot);
    let Fault::BeyondTravel {
        axis,
        position,
        greatest,
        ..
    } = fault
    else {
        panic!("{text}");
    };
    assert_eq!((axis.as_str(), greatest), ("reeds east", 100.0));
    // 0.15 mm of art a story mm: 450 mm apparent at 3000 mm. 10 story mm a frame.
    assert!(
        (position + 450.0 / 3000.0 * 670.0).abs() < 1e-9,
        "{position}"
    );
    assert!(
        text.contains("frame 68: reeds east has to stand at -100.5000 mm"),
        "{text}"
    );
    assert!(
        text.contains("at 29 frames from 68 to 96; worst at frame 96"),
        "{text}"
    );
}

#[test]
fn taking_up_slack_needs_room_below() {
    let mut stand = stand(&four_levels(), &ALL, &[]);
    stand.axes[0].travel = (0.0, 10.0);
    stand.axes[0].backlash = 0.05;
    let (fault, text) = only(&stand, &still_shot(3, &STORY));
    assert!(matches!(fault, Fault::NoRoomForTakeUp { .. }), "{text}");
    // 20 steps of slack; a quarter more would be 25, eight more are 28.
    assert!(text.contains("0.0700 mm below it"), "{text}");
}

#[test]
fn levels_may_not_touch_on_the_way_either() {
    let mut levels = four_levels();
    // 6 mm of glass under the upper one's face: 824 - 814 - 6 = 4 mm are free.
    levels[0].0 = 824.0;
    levels[1].0 = 814.0;
    levels[1].1.art = Face::Upper;
    let mut stand = stand(&levels, &ALL, &[]);
    let mut shot = still_shot(96, &STORY);
    let down = |frame: u32, lift: f64, level: usize| Shift {
        level: LevelId(level),
        way: Way::Lift,
        track: ShiftTrack::Keys(track(&[(frame - 1, 0.0), (frame, lift)])),
    };
    assert!(Plan::new(&stand, &shot).is_ok());
    shot.shifts = vec![down(40, -1.5, 0)];
    assert!(Plan::new(&stand, &shot).is_ok());
    shot.shifts = vec![down(40, -2.5, 0)];
    let (fault, text) = only(&stand, &shot);
    let Fault::Touch { gap_mm, .. } = fault else {
        panic!("{text}");
    };
    assert!((gap_mm - 1.5).abs() < 0.01, "{gap_mm}");
    assert!(
        text.starts_with("frame 40: reeds would come within"),
        "{text}"
    );

    // The dip that takes up slack counts, though the upper level comes to rest high enough: from
    // the switch, or in a take that is resumed, also where the level does not move at all.
    shot.shifts = vec![down(40, -1.5, 0)];
    stand.axes[2].backlash = 1.0;
    assert!(matches!(only(&stand, &shot).0, Fault::Touch { .. }));
    // 4 mm are free; the dip is a quarter more than the slack.
    shot.shifts.clear();
    stand.axes[2].backlash = 1.5;
    assert!(Plan::new(&stand, &shot).is_ok());
    stand.axes[2].backlash = 1.7;
    assert!(matches!(only(&stand, &shot).0, Fault::Touch { .. }));
    stand.axes[2].backlash = 0.0;
    // Deeper than there is room at all.
    shot.shifts = vec![down(40, -5.5, 0)];
    let text = only(&stand, &shot).1;
    assert!(
        text.starts_with("frame 40: reeds would run into boats below it by 1.500 mm; 2 mm have"),
        "{text}"
    );
    stand.axes[2].backlash = 0.0;

    // Both go down by 3 mm: in step on one board, but in any order on two.
    shot.shifts = vec![down(40, -3.0, 0), down(40, -3.0, 1)];
    assert!(matches!(only(&stand, &shot).0, Fault::Touch { .. }));
    let Drive::Motor(motor) = &mut stand.axes[6].drive else {
        panic!("a motor");
    };
    motor.board.0 = 0;
    assert!(Plan::new(&stand, &shot).is_ok());
}

#[test]
fn the_viewer_may_not_walk_through_a_layer() {
    let stand = stand(&four_levels(), &ALL, &[]);
    let mut shot = still_shot(41, &STORY);
    shot.viewer.ahead = track(&[(1, 0.0), (41, 4000.0)]);
    let refusals = refused(&stand, &shot);
    let text = refusals.to_string();
    assert!(
        text.contains("frame 31: reeds: the viewer walks through this layer"),
        "{text}"
    );
    assert!(text.contains("at 11 frames from 31 to 41"), "{text}");
}

#[test]
fn a_level_may_not_reach_the_lens() {
    let stand = stand(&four_levels(), &ALL, &[]);
    let mut shot = still_shot(2, &STORY);
    shot.shifts = vec![Shift {
        level: LevelId(0),
        way: Way::Lift,
        track: ShiftTrack::Keys(track(&[(1, 0.0), (2, 460.0)])),
    }];
    assert!(matches!(only(&stand, &shot).0, Fault::AboveLens { .. }));

    // 450 mm are free. The camera goes down by 460 mm and the level follows, but perhaps later.
    let mut stand = plan_support::stand(&four_levels(), &[Way::East], &[Way::Lift]);
    let lift = motor_axis(Carrier::Level(LevelId(0)), Way::Lift, 5, 7);
    stand.axes.push(lift);
    let mut shot = still_shot(2, &STORY);
    let down = |by: f64| vec![(Way::Lift, track(&[(1, 0.0), (2, by)]))];
    shot.camera = down(-300.0);
    assert!(Plan::new(&stand, &shot).is_ok());
    shot.camera = down(-460.0);
    let text = refused(&stand, &shot).to_string();
    assert!(
        text.contains("frame 2: reeds would stand at the lens or above it: 10.000 mm above"),
        "{text}"
    );
}

#[test]
fn lifts_go_home_in_an_order_in_which_none_goes_past_another() {
    // From the top: the second and the last have their switches above, the others below.
    let mut stand = stand(&four_levels(), &[Way::East, Way::Lift], &[]);
    for axis in &mut stand.axes {
        if let (Way::Lift, Carrier::Level(LevelId(level)), Drive::Motor(motor)) =
            (axis.way, axis.of, &mut axis.drive)
        {
            let beyond = 4.0;
            motor.home.switch = if level % 2 == 1 {
                axis.travel.1 + beyond
            } else {
                axis.travel.0 - beyond
            };
        }
    }
    let plan = Plan::new(&stand, &still_shot(2, &STORY)).expect("nothing moves");
    let schedule = plan.schedule();
    let names: Vec<String> = schedule
        .home_order()
        .iter()
        .map(|&place| schedule.motors[place].name())
        .collect();
    let level = |at: usize| format!("{} lift", stand.levels[at].name);
    // Down: the third, then the first. Up: the second, then the fourth.
    assert_eq!(names, [level(2), level(0), level(1), level(3)]);
    let down: Vec<usize> = (0..4).map(|at| schedule.lifts[at]).collect();
    let of = |at: usize| schedule.motors[down[at]].name();
    assert_eq!(
        [of(0), of(1), of(2), of(3)],
        [level(0), level(1), level(2), level(3)]
    );
}

#[test]
fn a_missing_axis_is_refused_where_it_shows_and_reported_where_not() {
    let stand = stand(&four_levels(), &[Way::East, Way::Lift], &[]);
    let mut shot = still_shot(10, &STORY);
    shot.viewer.north = track(&[(1, 0.0), (10, 30.0)]);
    let text = refused(&stand, &shot).to_string();
    assert!(text.contains("reeds has to stand at north -"), "{text}");
    assert!(text.contains("but has no north axis"), "{text}");
    assert!(!text.contains("hills has to stand"), "{text}");
    // 0.04 story mm at 3 m: 0.04 / 3000 x 53.45 mm x 6000/36 = 0.12 pixels.
    shot.viewer.north = track(&[(1, 0.0), (10, 0.04)]);
    let plan = Plan::new(&stand, &shot).expect("too small to show");
    let missing = &plan.report().missing;
    assert_eq!(
        (missing[0].of.as_str(), missing[0].direction),
        ("reeds", "north")
    );
    assert_eq!(missing[0].frame, 10);
    assert!(
        (missing[0].pixels - 0.119).abs() < 0.001,
        "{}",
        missing[0].pixels
    );
    // Roll without any turn axis.
    shot.viewer.roll = track(&[(1, 0.0), (10, 3.0)]);
    assert!(
        refused(&stand, &shot)
            .to_string()
            .contains("hills has to stand at turn -")
    );
}

/// `D` is the distance at the reference frame, and every lift is at zero there.
#[test]
fn ahead_counts_from_the_reference_frame() {
    let stand = stand(&four_levels(), &ALL, &[]);
    let mut shot = still_shot(96, &STORY);
    shot.viewer.ahead = track(&[(1, 0.0), (96, 950.0)]);
    shot.viewer.east = track(&[(1, 0.0), (96, 95.0)]);
    // 10 story mm ahead a frame: 500 before the reference frame at frame 1, 450 after it at 96.
    shot.reference_frame = 51;
    let geometry = Geometry::new(&stand, &shot).expect("sound");
    let reeds = |frame: u32| geometry.pose(frame).stand.levels[0];
    // a = 450 mm / 3000 story mm = 0.15; lift = s0 - a (D - Z) = a Z.
    assert!((reeds(51).lift_mm).abs() < 1e-12);
    assert!((reeds(1).lift_mm + 75.0).abs() < 1e-9);
    assert!((reeds(96).lift_mm - 67.5).abs() < 1e-9);
    // Sideways it is -a X, from the level's zero.
    assert!((reeds(51).east_mm + 7.5).abs() < 1e-9);
    assert!((reeds(96).east_mm + 14.25).abs() < 1e-9);
    // On threes the pictures begin at 1, 4, ..., 49, 52: frame 51 shows what 49 does.
    shot.hold = 3;
    let geometry = Geometry::new(&stand, &shot).expect("sound");
    for frame in [49, 50, 51] {
        assert!(geometry.pose(frame).stand.levels[0].lift_mm.abs() < 1e-12);
    }
    assert!((geometry.pose(52).stand.levels[0].lift_mm - 0.15 * 30.0).abs() < 1e-9);
}

/// A level's own moves are positive to the east, the north, the lens and counter-clockwise; one
/// that goes frame by frame begins after its first frame and rests after its last.
#[test]
fn own_moves_go_their_ways_and_keep_to_their_frames() {
    let stand = stand(&four_levels(), &ALL, &[]);
    let mut shot = still_shot(20, &STORY);
    shot.shifts = ALL
        .map(|way| Shift {
            level: LevelId(1),
            way,
            track: ShiftTrack::PerFrame {
                amount: 0.5,
                from: 10,
                to: 12,
            },
        })
        .to_vec();
    let geometry = Geometry::new(&stand, &shot).expect("sound");
    for (frame, frames) in [
        (1, 0.0),
        (10, 0.0),
        (11, 1.0),
        (12, 2.0),
        (13, 2.0),
        (20, 2.0),
    ] {
        let pose = geometry.pose(frame);
        let level = pose.stand.levels[1];
        let own = 0.5 * frames;
        assert!((level.lift_mm - own).abs() < 1e-9, "frame {frame}");
        assert!((level.turn_degrees - own).abs() < 1e-12);
        // Sideways in the layer's own directions, which its lift brings nearer by nothing: the
        // axes are set right for the distance that the lift gives.
        assert!((level.east_mm - own).abs() < 1e-9);
        assert!((level.north_mm - own).abs() < 1e-9);
        assert_eq!(pose.stand.levels[0], Default::default());
    }
}

/// Ten refusals as the person at the stand reads them: frame, level, number, and what to do.
#[test]
fn refusals_name_frame_level_number_and_cure() {
    let all = stand(&four_levels(), &ALL, &[]);
    let still = still_shot(3, &STORY);
    let text = |stand: &Stand, shot: &Shot| refused(stand, shot).to_string();
    let with = |change: &dyn Fn(&mut Stand, &mut Shot)| {
        let (mut stand, mut shot) = (all.clone(), still.clone());
        change(&mut stand, &mut shot);
        text(&stand, &shot)
    };
    let up = |level: usize, by: f64| Shift {
        level: LevelId(level),
        way: Way::Lift,
        track: ShiftTrack::Keys(track(&[(1, 0.0), (3, by)])),
    };
    let said = [
        with(&|_, shot| shot.viewer.ahead = track(&[(1, 0.0), (3, 3100.0)])),
        with(&|_, shot| shot.shifts.push(up(0, 470.0))),
        with(&|stand, shot| {
            stand.axes[0].travel = (-1.0, 1.0);
            shot.viewer.east = track(&[(1, 0.0), (3, 20.0)]);
        }),
        with(&|stand, shot| {
            stand.axes.remove(0);
            shot.viewer.east = track(&[(1, 0.0), (3, 20.0)]);
        }),
        with(&|stand, _| stand.lens.focal_length_mm = 800.0),
    ];
    for (said, expected) in said.iter().zip([
        "frame 3: reeds: the viewer walks through this layer, which is 100.0 story mm behind by then\n    stop the viewer",
        "frame 3: reeds would stand at the lens or above it: 20.000 mm above the entrance pupil\n    lower the level",
        "frame 3: reeds east has to stand at -3.0000 mm, but its travel runs from -1 to 1 mm\n    shorten the move",
        "frame 2: reeds has to stand at east -1.5000 mm, but has no east axis: without it the picture is",
        "boats: the lens cannot focus at 776.579 mm, which is not beyond its focal length of 800 mm",
    ]) {
        assert!(said.contains(expected), "`{expected}` is not in\n{said}");
    }
}

#[test]
fn levels_without_a_lift_share_the_error_and_it_is_reported() {
    let ways = [Way::East, Way::North];
    let fixed = stand(&four_levels(), &ways, &[]);
    let lifting = stand(&four_levels(), &ways, &[Way::Lift]);
    let mut shot = still_shot(96, &STORY);
    shot.viewer.ahead = track(&[(1, 0.0), (96, 300.0)]);
    let plan = Plan::new(&fixed, &shot).expect("sound");
    // The nearest layer should look 3000/2700 as near: it looks a tenth too small.
    let reeds = &plan.report().levels[0];
    assert!((reeds.size_error_percent + 10.0).abs() < 1e-9, "{reeds:?}");
    assert_eq!(reeds.size_error_frame, 96);
    // Radius of the corner of 6000 x 4000 pixels: 3605.55.
    assert!(
        (reeds.size_error_pixels + 360.555).abs() < 0.001,
        "{reeds:?}"
    );
    assert_eq!(plan.report().levels[3].size_error_percent, 0.0);

    let squares = |stand: &Stand| -> f64 {
        let geometry = Geometry::new(stand, &shot).expect("sound");
        let pose = geometry.pose(96);
        pose.levels
            .iter()
            .map(|level| level.size_error().powi(2))
            .sum()
    };
    assert!(squares(&lifting) < 0.8 * squares(&fixed));
    // The lens height runs smoothly: its second differences stay small.
    let geometry = Geometry::new(&lifting, &shot).expect("sound");
    let lift = |frame: u32| geometry.pose(frame).stand.camera.lift_mm;
    assert!(lift(96) < -5.0);
    for frame in 2..96 {
        let bend = lift(frame - 1) - 2.0 * lift(frame) + lift(frame + 1);
        assert!(bend.abs() < 0.01, "frame {frame}: {bend}");
    }
}

#[test]
fn focus_without_an_axis_is_refused_and_a_short_table_too() {
    let mut shot = still_shot(10, &STORY);
    shot.focus = vec![FocusKey {
        frame: 1,
        level: LevelId(3),
        fairing: 0,
    }];
    let text = refused(&stand(&four_levels(), &ALL, &[]), &shot).to_string();
    assert!(text.contains("no focus axis"), "{text}");
    let mut stand = stand(&four_levels(), &ALL, &[Way::Focus]);
    assert!(Plan::new(&stand, &shot).is_ok());
    let table = &mut stand.axes.last_mut().expect("an axis").focus_table;
    table.truncate(3);
    let text = refused(&stand, &shot).to_string();
    assert!(
        text.contains("the ring's table runs from 200 to 1200 mm"),
        "{text}"
    );
}

#[test]
fn held_pictures_take_the_position_of_their_first_frame() {
    let stand = stand(&four_levels(), &ALL, &[]);
    let mut shot = still_shot(5, &STORY);
    shot.hold = 2;
    shot.viewer.east = track(&[(1, 0.0), (5, 40.0)]);
    let plan = Plan::new(&stand, &shot).expect("sound");
    let east: Vec<i32> = (1..=5)
        .map(|frame| plan.schedule().motors_at(frame).expect("a frame")[0])
        .collect();
    // a = 450/3000; 10 story mm a frame; 400 steps a mm.
    assert_eq!(east, [0, 0, -1200, -1200, -2400]);
}

#[test]
fn no_rounding_carries_into_the_next_frame() {
    let stand = stand(&four_levels(), &ALL, &[]);
    let mut shot = still_shot(5000, &STORY);
    shot.shifts = vec![Shift {
        level: LevelId(3),
        way: Way::East,
        track: ShiftTrack::PerFrame {
            // 1/32 inch is 317.5 steps.
            amount: 25.4 / 32.0,
            from: 1,
            to: 5000,
        },
    }];
    let plan = Plan::new(&stand, &shot).expect("sound");
    for frame in [2_u32, 3, 4, 999, 4999, 5000] {
        let hills = plan.schedule().motors_at(frame).expect("a frame")[12];
        let exact = 317.5 * f64::from(frame - 1);
        assert!(
            (f64::from(hills) - exact).abs() <= 0.5,
            "{frame}: {hills} {exact}"
        );
    }
}

#[test]
fn hands_are_set_to_whole_divisions() {
    let mut stand = stand(&four_levels(), &ALL, &[]);
    stand.axes[0] = hand_axis(Carrier::Level(LevelId(0)), Way::East, 0.1);
    let mut shot = still_shot(4, &STORY);
    shot.viewer.east = track(&[(1, 0.0), (4, 6.0)]);
    let plan = Plan::new(&stand, &shot).expect("sound");
    let set: Vec<f64> = (1..=4)
        .map(|frame| plan.schedule().hands_at(frame).expect("a frame")[0])
        .collect();
    for (set, expected) in set.iter().zip([0.0, -0.3, -0.6, -0.9]) {
        assert!((set - expected).abs() < 1e-12, "{set}");
    }
    assert_eq!(plan.schedule().motors.len(), 15);
    assert_eq!(plan.schedule().hands[0].scale, 0.1);
}

#[test]
fn times_are_those_of_the_planner() {
    let mut stand = stand(&four_levels(), &ALL, &[]);
    let mut shot = still_shot(3, &STORY);
    // 2 mm up at frame 2, 2 mm down at frame 3, on the lowest level's east axis.
    shot.shifts = vec![Shift {
        level: LevelId(3),
        way: Way::East,
        track: ShiftTrack::Keys(track(&[(1, 0.0), (2, 2.0), (3, 0.0)])),
    }];
    let rate = times::DEFAULT_TICK_RATE;
    let plan = Plan::new(&stand, &shot).expect("sound");
    let without = times::times(plan.schedule(), rate).expect("possible");
    // Neither the acceleration nor the speed is reached: 4 (h / 2j)^(1/3) (rest-to-rest minimum
    // of a jerk-limited move, Biagiotti and Melchiorri, section 3.4; formula from memory).
    let one = 4.0 * (2.0_f64 / (2.0 * 400.0)).cbrt();
    let moving = without.moving.as_secs_f64();
    assert!(
        (moving - 2.0 * one).abs() < 0.001 * moving + 2.0 / f64::from(rate),
        "{moving} {one}"
    );
    assert_eq!(without.settling.as_millis(), 1800);
    // Three windows of 600 ms, each counted from a contact that may close 100 ms after the release.
    assert_eq!(without.exposing.as_millis(), 2100);
    // The camera's 1.2 s run while the levels move and settle: only what is left is waited for.
    let waiting = 2.0 * (1.2 - 0.6 - one);
    let readying = without.readying.as_secs_f64();
    assert!(
        waiting > 0.0 && (readying - waiting).abs() < 0.001 * moving + 2.0 / f64::from(rate),
        "{readying} {waiting}"
    );
    assert_eq!(
        without.total(),
        without.moving + without.settling + without.exposing + without.readying
    );
    // Slack costs on the way down only: a longer way and a second move.
    stand.axes[12].backlash = 0.05;
    let plan = Plan::new(&stand, &shot).expect("sound");
    let with = times::times(plan.schedule(), rate).expect("possible");
    let back = 4.0 * (0.07_f64 / (2.0 * 400.0)).cbrt();
    let longer = 4.0 * (2.07_f64 / (2.0 * 400.0)).cbrt();
    let expected = one + longer + back;
    let moving = with.moving.as_secs_f64();
    assert!(
        (moving - expected).abs() < 0.001 * expected + 3.0 / f64::from(rate),
        "{moving} {expected}"
    );
    assert_eq!(with.longest_move_frame, 3);
    // A slow clock cannot send the steps.
    assert!(matches!(
        Plan::at_tick_rate(&stand, &shot, 9_999)
            .expect_err("too slow")
            .list()[0]
            .fault,
        Fault::StepRate { .. }
    ));
}

/// Numbers of every size.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -1000.0..1000.0_f64,
        1 => any::<f64>(),
        1 => Just(0.0),
        1 => prop::sample::select(vec![
            f64::MAX, f64::MIN, f64::MIN_POSITIVE, f64::INFINITY, f64::NAN, 1e15, -1e15, 1e-15,
        ]),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_numbers_make_it_panic(
        numbers in prop::collection::vec(number(), 24),
        frames in prop_oneof![Just(0_u32), Just(1), 2_u32..80],
        hold in 0_u32..5,
        reference in 0_u32..90,
        keys in prop::collection::vec((any::<u32>(), number()), 0..4),
        per_frame in (any::<u32>(), any::<u32>()),
        camera in 0_usize..6,
        extreme in any::<bool>(),
    ) {
        let mut numbers = numbers.into_iter().cycle();
        let mut next = || numbers.next().unwrap_or_default();
        let mut levels = four_levels();
        let ways = [Way::East, Way::North, Way::Lift, Way::Focus, Way::Turn];
        if extreme {
            for (height, glass) in &mut levels {
                *height = next();
                *glass = pane(next(), next(), Face::Under);
            }
        }
        let mut stand = stand(&levels, &ALL[..camera.min(4)], &ways[..camera.min(5)]);
        if extreme {
            stand.axes.push(motor_axis(Carrier::Camera, Way::East, 99, 255));
            for axis in &mut stand.axes {
                axis.travel = (next(), next());
                axis.backlash = next();
                if let Drive::Motor(motor) = &mut axis.drive {
                    motor.steps_per_unit = next();
                    motor.speed = next();
                }
            }
            stand.clearance_mm = next();
            stand.lens.height_mm = next();
        }
        let mut shot = still_shot(frames, &STORY);
        shot.hold = hold;
        shot.reference_frame = reference;
        shot.layers[0].distance = Distance::At(next());
        let moves = |at: usize| {
            let keys: Vec<_> = keys.iter().map(|&(frame, value)| (frame % 100 + at as u32, value)).collect();
            track(&keys)
        };
        (shot.viewer.east, shot.viewer.ahead, shot.viewer.roll) = (moves(0), moves(1), moves(2));
        shot.camera = vec![(Way::Lift, moves(3)), (Way::North, moves(4))];
        shot.shifts = vec![Shift {
            level: LevelId(1),
            way: Way::Lift,
            track: ShiftTrack::PerFrame { amount: next(), from: per_frame.0, to: per_frame.1 },
        }];
        match Plan::new(&stand, &shot) {
            Ok(plan) => {
                prop_assert_eq!(
                    plan.schedule().motor_targets.len(),
                    frames as usize * plan.schedule().motors.len()
                );
                let _ = times::times(plan.schedule(), times::DEFAULT_TICK_RATE);
                for axis in &plan.report().axes {
                    prop_assert!(axis.least.is_finite() && axis.greatest.is_finite());
                }
            }
            Err(refusals) => {
                prop_assert!(!refusals.list().is_empty());
                prop_assert!(!refusals.to_string().is_empty());
            }
        }
    }
}

#[test]
fn many_frames_and_no_travel_are_plain_cases() {
    let mut stand = stand(&four_levels(), &ALL, &[]);
    for axis in &mut stand.axes {
        axis.travel = (0.0, 0.0);
    }
    let plan = Plan::new(&stand, &still_shot(100_000, &STORY)).expect("nothing moves");
    assert_eq!(plan.schedule().motor_targets.len(), 1_600_000);
    assert!(
        plan.schedule()
            .motor_targets
            .iter()
            .all(|&steps| steps == 0)
    );
    assert!(
        plan.report()
            .axes
            .iter()
            .all(|axis| axis.largest_move == 0.0)
    );
    assert!(Plan::new(&stand, &still_shot(1, &STORY)).is_ok());
    let text = refused(&stand, &still_shot(u32::MAX, &STORY)).to_string();
    assert!(text.contains("4294967295 frames"), "{text}");
}
