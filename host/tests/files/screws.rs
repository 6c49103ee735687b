//! What hangs on a lift, and how things swing.

use panestep::file::read_stand_text;
use panestep::stand::{Drive, LevelId, Screw, ScrewKind, Swing};

use super::{STAND, changed, stand_refused};

/// A lift with a screw, behind the file's last axis.
fn with(screw: &str) -> String {
    let lift = format!(
        "[[axis]]\nof = \"quay\"\ndirection = \"lift\"\nmotor = {{ board = \"main\", channel = 5, steps = 200, microsteps = 16, per_turn = \"2 mm\" }}\ntravel = [\"-5 mm\", \"50 mm\"]\nspeed = \"5 mm/s\"\nacceleration = \"20 mm/s2\"\njerk = \"60 mm/s3\"\nhome = {{ switch = \"-8 mm\", within = \"0.02 mm\" }}\n{screw}\n\n[shutter]"
    );
    changed(STAND, "[shutter]", &lift)
}

#[track_caller]
fn screw(text: &str) -> Screw {
    let stand =
        read_stand_text("stand.toml", &with(text)).unwrap_or_else(|problems| panic!("{problems}"));
    let Drive::Motor(motor) = &stand.axes[5].drive else {
        panic!("a motor is wanted");
    };
    motor.screw.expect("a screw")
}

#[track_caller]
fn thread(text: &str) -> (f64, f64) {
    let ScrewKind::Sliding { thread, .. } = screw(text).kind else {
        panic!("a sliding screw is wanted");
    };
    (thread.mean_diameter_mm(), thread.lead_mm())
}

#[track_caller]
fn refused(text: &str, words: &str) {
    let problems = read_stand_text("stand.toml", &with(text)).expect_err("should be refused");
    let said = problems.to_string();
    assert!(said.contains(words), "{words:?} is not said in {said}");
}

#[test]
fn threads_by_their_names_and_sizes() {
    let named = |name: &str| {
        thread(&format!(
            "screw = {{ thread = \"{name}\", load = \"3 kg\" }}"
        ))
    };
    assert_eq!(named("Tr 8 x 1.5"), (7.25, 1.5));
    assert_eq!(named("Tr8x2"), (7.0, 2.0));
    assert_eq!(named("TR 8 \u{d7} 8 (P 2)"), (7.0, 8.0));
    assert_eq!(named("Tr 8x8 P2"), (7.0, 8.0));
    let (mean, lead) = named("M 8 x 1.25");
    assert!((mean - 7.188).abs() < 0.0005 && lead == 1.25);
    // As rod is sold: the coarse pitch. Left-hand threads and commas are read too.
    assert_eq!(named("M8"), (mean, lead));
    assert_eq!(named("M 12").1, 1.75);
    assert_eq!(named("Tr 10 x 2 LH"), (9.0, 2.0));
    assert_eq!(named("Tr 8 x 1,5"), (7.25, 1.5));
    assert_eq!(
        thread("screw = { thread = \"Tr 8 x 2\", starts = 4, load = \"3 kg\" }"),
        (7.0, 8.0)
    );
    assert_eq!(
        thread(
            "screw = { mean_diameter = \"30 mm\", lead = \"8 mm\", thread_angle = \"29 deg\", load = \"3 kg\" }"
        ),
        (30.0, 8.0)
    );
}

#[test]
fn everything_else_that_a_lift_hangs_on() {
    let plain = screw("screw = { thread = \"Tr 10 x 2\", load = \"7 lb\" }");
    assert!((plain.load_kg - 3.175_146_59).abs() < 1e-9);
    assert_eq!((plain.gear, plain.motor_torque_nm), (1.0, None));
    let ScrewKind::Sliding {
        friction,
        collar_mm,
        ..
    } = plain.kind
    else {
        panic!("a sliding screw is wanted");
    };
    assert_eq!((friction, collar_mm), ((0.08, 0.20), None));
    let full = screw(
        "screw = { thread = \"Tr 10 x 2\", load = \"3200 g\", friction = [0.1, 0.3], collar = \"20 mm\", gear = 2, motor_torque = \"57 oz in\", brake = \"20 N cm\" }",
    );
    assert_eq!((full.load_kg, full.gear), (3.2, 2.0));
    assert!((full.motor_torque_nm.expect("given") - 0.4025).abs() < 1e-4);
    assert_eq!(full.brake_torque_nm, Some(0.2));
    let rolling = |text: &str| screw(text).kind;
    assert_eq!(
        rolling("ball_screw = { lead = \"5 mm\", load = \"3 kg\" }"),
        ScrewKind::Rolling {
            lead_mm: 5.0,
            efficiency: 0.9
        }
    );
    assert_eq!(
        rolling("belt = { turn = \"40 mm\", load = \"3 kg\", efficiency = 0.8 }"),
        ScrewKind::Rolling {
            lead_mm: 40.0,
            efficiency: 0.8
        }
    );
}

#[test]
fn screws_that_are_none() {
    for (text, words) in [
        ("screw = { load = \"3 kg\" }", "what thread"),
        ("screw = { thread = \"Tr 10 x 2\" }", "`load`"),
        (
            "screw = { thread = \"Tr 10 x 2\", load = \"-3 kg\" }",
            "more than zero",
        ),
        (
            "screw = { thread = \"Tr 10 x 2\", load = \"3 mm\" }",
            "a mass is wanted",
        ),
        (
            "screw = { thread = \"Tr 10 x 2\", load = \"3 kg\", brake = \"3 kg\" }",
            "a torque is wanted",
        ),
        (
            "screw = { thread = \"T 10 - 2\", load = \"3 kg\" }",
            "no thread known",
        ),
        (
            "screw = { thread = \"M 7.3\", load = \"3 kg\" }",
            "no thread known",
        ),
        (
            "screw = { thread = \"Tr 10\", load = \"3 kg\" }",
            "no thread known",
        ),
        (
            "screw = { thread = \"Tr 8 x 8\", load = \"3 kg\" }",
            "no trapezoidal thread has",
        ),
        (
            "screw = { thread = \"Tr 8 x 7 (P 2)\", load = \"3 kg\" }",
            "number of starts",
        ),
        (
            "screw = { thread = \"Tr 8 x 8 (P 2)\", starts = 2, load = \"3 kg\" }",
            "number of starts",
        ),
        (
            "screw = { thread = \"M 8 x 1.25\", starts = 2, load = \"3 kg\" }",
            "one start",
        ),
        (
            "screw = { thread = \"M 1 x 2\", load = \"3 kg\" }",
            "leaves nothing",
        ),
        (
            "screw = { mean_diameter = \"7 mm\", lead = \"2 mm\", thread_angle = \"200 deg\", load = \"3 kg\" }",
            "below 180",
        ),
        (
            "screw = { thread = \"Tr 10 x 2\", load = \"3 kg\", friction = [0.3, 0.1] }",
            "down to",
        ),
        (
            "screw = { thread = \"Tr 10 x 2\", load = \"3 kg\", friction = 0.1 }",
            "exactly two",
        ),
        (
            "screw = { thread = \"Tr 10 x 2\", load = \"3 kg\", pitch = \"2 mm\" }",
            "no key `pitch`",
        ),
        (
            "screw = { thread = \"Tr 10 x 2\", load = \"3 kg\" }\nbelt = { turn = \"40 mm\", load = \"3 kg\" }",
            "both",
        ),
        (
            "ball_screw = { lead = \"5 mm\", load = \"3 kg\", efficiency = 1.2 }",
            "efficiency",
        ),
    ] {
        refused(text, words);
    }
    stand_refused(
        "backlash = \"0.05 mm\"",
        "screw = { thread = \"Tr 10 x 2\", load = \"3 kg\" }",
        &["no lift"],
    );
}

#[test]
fn swings_of_levels_and_of_the_camera() {
    let level = changed(
        STAND,
        "height = \"1200 mm\"",
        "height = \"1200 mm\"\nswing = { frequency = \"4.2 Hz\", damping = 0.03 }",
    );
    let text = changed(
        &level,
        "f_number = 8.0",
        "f_number = 8.0\nswing = { frequency = \"11 Hz\", damping = 0.05 }",
    );
    let stand = read_stand_text("stand.toml", &text).unwrap_or_else(|it| panic!("{it}"));
    let swing = |frequency_hz, damping| {
        Some(Swing {
            frequency_hz,
            damping,
        })
    };
    assert_eq!(stand.levels[LevelId(0).0].swing, swing(4.2, 0.03));
    assert_eq!(stand.levels[1].swing, None);
    assert_eq!(stand.lens.swing, swing(11.0, 0.05));
    for (bad, words) in [
        (
            "{ frequency = \"4.2 s\", damping = 0.03 }",
            "a frequency is wanted",
        ),
        ("{ frequency = \"0 Hz\", damping = 0.03 }", "more than zero"),
        ("{ frequency = \"4.2 Hz\", damping = 1.5 }", "damping"),
        ("{ frequency = \"4.2 Hz\" }", "`damping`"),
    ] {
        let to = format!("height = \"1200 mm\"\nswing = {bad}");
        let text = changed(STAND, "height = \"1200 mm\"", &to);
        let said = read_stand_text("stand.toml", &text)
            .expect_err("should be refused")
            .to_string();
        assert!(said.contains(words), "{words:?} is not said in {said}");
    }
}

/// A crank's lift has a screw like a motor's, but no motor.
#[test]
fn a_lift_by_hand() {
    let lift = |screw: &str| {
        changed(
            STAND,
            "[shutter]",
            &format!(
                "[[axis]]\nof = \"quay\"\ndirection = \"lift\"\nhand = {{ scale = \"0.5 mm\" }}\ntravel = [\"-5 mm\", \"50 mm\"]\nscrew = {{ thread = \"Tr 8 x 8 (P 2)\", load = \"3 kg\"{screw} }}\n\n[shutter]"
            ),
        )
    };
    let stand =
        read_stand_text("stand.toml", &lift("")).unwrap_or_else(|problems| panic!("{problems}"));
    let screw = stand.axes[5].drive.screw().expect("a screw");
    assert_eq!((screw.load_kg, screw.kind.lead_mm()), (3.0, 8.0));
    let problems = read_stand_text("stand.toml", &lift(", motor_torque = \"1 N m\""))
        .expect_err("should be refused");
    assert!(problems.to_string().contains("moved by hand"), "{problems}");
}
