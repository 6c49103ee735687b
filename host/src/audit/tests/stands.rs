//! Steps, travels, switches, channels, levels that touch, boards and the exposure.

use super::*;

const REEDS_EAST: AxisId = AxisId(0);
const SKY_NORTH: AxisId = AxisId(4);

/// calculatorfriend.com, circuitist.com (seen): 200 steps, 16 microsteps, a lead of 8 mm: 400 steps a
/// mm; of 2 mm: 1600. 300 rpm of 200 steps is 1000 full steps a second (Austin, 2005, seen).
#[test]
fn steps_per_unit_and_turns_a_second() {
    let mut stand = stand();
    for (per_turn, steps) in [(8.0, 400.0), (2.0, 1600.0)] {
        *motor_of(&mut stand, REEDS_EAST) = motor(0, per_turn);
        let found = one(&stand, About::Axis(REEDS_EAST), Aspect::Step);
        near(number(&found, "steps per unit"), steps, 1e-9);
    }
    let east = motor_of(&mut stand, REEDS_EAST);
    east.speed = 5.0 * east.per_turn();
    let found = one(&stand, About::Axis(REEDS_EAST), Aspect::Speed);
    near(number(&found, "full steps"), 1000.0, 1e-9);
    near(number(&found, "turns") * 60.0, 300.0, 1e-9);
}

/// By the geometry: a step's way on the level, by the magnification and the pixels of a millimetre.
#[test]
fn one_step_in_the_picture_at_every_level() {
    let mut stand = stand();
    let step = |stand: &Stand| one(stand, About::Axis(REEDS_EAST), Aspect::Step);
    let seen = one(&stand, LEVEL, Aspect::Magnification);
    let expected = 0.0025 * 6000.0 / 36.0 * number(&seen, "magnification");
    near(
        number(&step(&stand), "in the picture of reeds"),
        expected,
        1e-9,
    );
    assert_eq!(step(&stand).severity, Severity::Fine);
    motor_of(&mut stand, REEDS_EAST).steps_per_unit = 40.0;
    assert_eq!(step(&stand).severity, Severity::WorthKnowing);
    motor_of(&mut stand, REEDS_EAST).steps_per_unit = 10.0;
    assert_eq!(step(&stand).severity, Severity::Warning);
    // The camera moves every level, the nearest most.
    stand.axes[0].of = Carrier::Camera;
    let found = step(&stand);
    let levels = ["reeds", "quay", "sky"];
    let pixels = levels.map(|name| number(&found, &format!("in the picture of {name}")));
    assert!(pixels[0] > pixels[1] && pixels[1] > pixels[2], "{found:?}");
    // A scale is read by a person; a coarse one is no fault of the stand.
    let scale = |stand: &Stand| bad(stand, About::Axis(SKY_NORTH), Aspect::Step);
    stand.axes[SKY_NORTH.0].drive = Drive::Hand {
        scale: 10.0,
        screw: None,
    };
    assert_eq!(scale(&stand), Severity::WorthKnowing);
    stand.axes[SKY_NORTH.0].drive = Drive::Hand {
        scale: 0.05,
        screw: None,
    };
    assert_eq!(scale(&stand), Severity::Fine);
}

#[test]
fn a_coarse_step_of_the_lens_ring() {
    let mut stand = stand();
    let ring = AxisId(3);
    let step = |stand: &Stand| bad(stand, About::Axis(ring), Aspect::Step);
    assert_eq!(step(&stand), Severity::Fine);
    motor_of(&mut stand, ring).steps_per_unit = 0.2;
    assert_eq!(step(&stand), Severity::WorthKnowing);
}

#[test]
fn travel_against_the_picture() {
    let mut stand = stand();
    let travel = |stand: &Stand| one(stand, About::Axis(REEDS_EAST), Aspect::Travel);
    let found = travel(&stand);
    let seen = one(&stand, LEVEL, Aspect::Magnification);
    near(
        number(&found, "travel against the picture"),
        240.0 / number(&seen, "picture width"),
        1e-12,
    );
    assert_eq!(found.severity, Severity::Fine);
    stand.axes[0].travel = (-1.0, 1.0);
    assert_eq!(travel(&stand).severity, Severity::WorthKnowing);
    // The camera's lift: how the sizes change. 340 mm apparent, 100 mm either way, by the distances.
    let found = one(&stand, About::Axis(AxisId(2)), Aspect::Travel);
    assert!(number(&found, "smallest") < 1.0 && number(&found, "largest") > 1.0);
    // Down to the lens there is no size.
    stand.axes[2].travel = (-600.0, 100.0);
    let found = one(&stand, About::Axis(AxisId(2)), Aspect::Travel);
    assert!(
        found.numbers.iter().all(|it| it.name != "largest"),
        "{found:?}"
    );
    assert!(found.says.contains("it has no picture"), "{found:?}");
}

#[test]
fn a_motor_that_is_asked_for_too_many_steps() {
    let mut stand = stand();
    let speed = |stand: &Stand| bad(stand, About::Axis(REEDS_EAST), Aspect::Speed);
    assert_eq!(speed(&stand), Severity::Fine);
    motor_of(&mut stand, REEDS_EAST).speed = 45.0;
    assert_eq!(speed(&stand), Severity::WorthKnowing);
    assert!(!audit(&stand).forbids());
    // 20 000 steps a second are 50 mm/s.
    motor_of(&mut stand, REEDS_EAST).speed = 50.1;
    assert_eq!(speed(&stand), Severity::Forbids);
    // Said once, not again as something that the planner refuses; and without a plan nobody says that
    // the way home is free.
    assert_eq!(audit(&stand).count(Severity::Forbids), 1);
    assert!(all(&stand, About::Stand, Aspect::TouchWithinTravel).is_empty());
    assert_eq!(
        bad(&stand, About::Stand, Aspect::TouchGoingHome),
        Severity::WorthKnowing
    );
    // Less than a step a second is refused by every plan too.
    motor_of(&mut stand, REEDS_EAST).speed = 0.6 * 0.0025;
    assert_eq!(speed(&stand), Severity::Forbids);
}

#[test]
fn home_switches_inside_too_near_and_too_far() {
    let mut stand = stand();
    let switch = |stand: &Stand| bad(stand, About::Axis(REEDS_EAST), Aspect::HomeSwitch);
    let mut at = |place: f64| {
        motor_of(&mut stand, REEDS_EAST).home.switch = place;
        switch(&stand)
    };
    assert_eq!(at(-124.0), Severity::Fine);
    assert_eq!(at(124.0), Severity::Fine);
    assert_eq!(at(-120.05), Severity::Warning);
    assert_eq!(at(-400.0), Severity::Warning);
    assert_eq!(at(-100.0), Severity::Forbids);
    assert_eq!(at(120.0), Severity::Forbids);
    assert!(audit(&stand).forbids());
}

#[test]
fn a_home_switch_that_may_be_off_by_pixels() {
    let mut stand = stand();
    let within = |stand: &Stand| bad(stand, About::Axis(REEDS_EAST), Aspect::HomeWithin);
    assert_eq!(within(&stand), Severity::Fine);
    motor_of(&mut stand, REEDS_EAST).home.within = 0.5;
    assert_eq!(within(&stand), Severity::WorthKnowing);
}

#[test]
fn two_motors_on_a_channel_and_two_lamps_on_an_output() {
    let mut stand = stand();
    let shared = |stand: &Stand, about, aspect| all(stand, about, aspect).len();
    let turn = About::Axis(AxisId(1));
    assert_eq!(shared(&stand, turn, Aspect::SharedChannel), 0);
    motor_of(&mut stand, AxisId(1)).channel = 0;
    assert_eq!(bad(&stand, turn, Aspect::SharedChannel), Severity::Forbids);

    let lamp = |name: &str, output| Lamp {
        name: name.to_owned(),
        switched: LampSwitch::Board {
            board: BoardId(0),
            output,
        },
        warm_up: Duration::from_secs(2),
    };
    stand.lamps = vec![lamp("dawn", 0), lamp("glow", 1)];
    assert_eq!(shared(&stand, About::Lamp(1), Aspect::SharedLamp), 0);
    assert_eq!(bad(&stand, About::Lamp(1), Aspect::Lamp), Severity::Fine);
    // The Pico's image has output 0 alone.
    assert_eq!(shared(&stand, About::Lamp(0), Aspect::LampOutput), 0);
    assert_eq!(
        bad(&stand, About::Lamp(1), Aspect::LampOutput),
        Severity::Warning
    );
    stand.lamps[1] = lamp("glow", 0);
    assert_eq!(
        bad(&stand, About::Lamp(1), Aspect::SharedLamp),
        Severity::Forbids
    );
}

#[test]
fn what_the_planner_refuses_is_found() {
    let mut stand = stand();
    assert!(all(&stand, About::Stand, Aspect::Plan).is_empty());
    stand.axes[0].backlash = f64::NAN;
    assert_eq!(bad(&stand, About::Stand, Aspect::Plan), Severity::Forbids);
}

/// Reeds' glass lies from 1194 mm on; quay's reaches up to 806.35 mm.
#[test]
fn levels_that_touch_at_rest_and_within_their_travels() {
    let aspect = |stand: &Stand, aspect| {
        let found = all(stand, About::Stand, aspect);
        found.first().map(|found| found.severity)
    };
    let mut plain = stand();
    assert_eq!(aspect(&plain, Aspect::TouchAtRest), None);
    assert_eq!(
        aspect(&plain, Aspect::TouchWithinTravel),
        Some(Severity::Fine)
    );
    plain.levels[1].height_mm = 1184.0;
    assert_eq!(aspect(&plain, Aspect::TouchAtRest), Some(Severity::Forbids));
    assert!(audit(&plain).forbids());

    let (mut lifted, lift) = with_lift(1, None);
    lifted.axes[lift.0].travel = (-10.0, 400.0);
    let found = one(&lifted, About::Stand, Aspect::TouchWithinTravel);
    assert_eq!(found.severity, Severity::Warning);
    assert!(
        found
            .says
            .contains("reeds and quay would overlap by 12.4 mm"),
        "{found:?}"
    );
    near(number(&found, "gap"), 1194.0 - 806.35 - 400.0, 1e-9);
    assert_eq!(number(&found, "lower lift"), 400.0);
    lifted.axes[lift.0].travel = (-10.0, 387.0);
    assert_eq!(
        aspect(&lifted, Aspect::TouchWithinTravel),
        Some(Severity::WorthKnowing)
    );
    lifted.axes[lift.0].travel = (-10.0, 400.0);
    assert_eq!(aspect(&lifted, Aspect::TouchGoingHome), None);
}

#[test]
fn levels_that_touch_on_the_way_to_their_home_switches() {
    // Up into reeds.
    let (mut stand, lift) = with_lift(1, None);
    stand.axes[lift.0].travel = (-10.0, 380.0);
    motor_of(&mut stand, lift).home.switch = 384.0;
    let found = one(&stand, About::Stand, Aspect::TouchGoingHome);
    assert_eq!(found.severity, Severity::Forbids);
    assert!(found.says.contains("quay goes from zero"), "{found:?}");

    // Reeds goes down first, to a switch that is clear of quay at zero, but not wherever quay may be.
    let (mut stand, lift) = with_lift(0, None);
    stand.axes[lift.0].travel = (-200.0, 10.0);
    motor_of(&mut stand, lift).home.switch = -204.0;
    let place = AxisId(stand.axes.len());
    let quay = Motor {
        home: Home {
            switch: 184.0,
            within: 0.02,
        },
        ..motor(11, 2.0)
    };
    stand.axes.push(axis(
        Carrier::Level(LevelId(1)),
        Way::Lift,
        Drive::Motor(quay),
    ));
    stand.axes[place.0].travel = (-10.0, 100.0);
    let going = |stand: &Stand| all(stand, About::Stand, Aspect::TouchGoingHome);
    // 387.65 mm of air less 204 down leave room for a quay at 100, and for its way up to 184 none.
    let found = going(&stand);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].severity, Severity::Forbids);
    motor_of(&mut stand, place).home.switch = 110.0;
    assert_eq!(going(&stand), []);
    stand.axes[place.0].travel = (-10.0, 250.0);
    motor_of(&mut stand, place).home.switch = -14.0;
    // The lower goes first now, out of the way.
    assert_eq!(going(&stand), []);
    motor_of(&mut stand, place).home.switch = 254.0;
    motor_of(&mut stand, lift).home.switch = -204.0;
    let found = going(&stand);
    assert!(
        found
            .iter()
            .any(|found| found.severity == Severity::Warning && found.says.contains("reeds goes")),
        "{found:?}"
    );
}

#[test]
fn boards_without_a_stop_test_or_a_use() {
    let mut stand = stand();
    let main = About::Board(BoardId(0));
    assert!(all(&stand, main, Aspect::StopTest).is_empty());
    stand.boards[0].port = PortName::Serial("/dev/ttyACM0".to_owned());
    assert_eq!(bad(&stand, main, Aspect::StopTest), Severity::Warning);
    stand.boards[0].stop_tested = Some(jiff::civil::date(2026, 11, 26));
    assert!(all(&stand, main, Aspect::StopTest).is_empty());
    assert_eq!(bad(&stand, main, Aspect::Board), Severity::Fine);
    stand.boards.push(Board {
        name: "spare".to_owned(),
        port: PortName::Simulated,
        stop_tested: None,
    });
    let spare = About::Board(BoardId(1));
    assert_eq!(bad(&stand, spare, Aspect::Board), Severity::WorthKnowing);
}

#[test]
fn exposures_that_nothing_proves_and_home_checks() {
    let mut stand = stand();
    let proof = |stand: &Stand| bad(stand, About::Shutter, Aspect::Proof);
    let check = |stand: &Stand| bad(stand, About::Shutter, Aspect::HomeCheck);
    assert_eq!(proof(&stand), Severity::Fine);
    if let Release::Board { flash_contact, .. } = &mut stand.shutter.release {
        *flash_contact = false;
    }
    assert_eq!(proof(&stand), Severity::WorthKnowing);
    stand.shutter.release = Release::Hand;
    assert_eq!(proof(&stand), Severity::Fine);
    stand.home_check = 40;
    assert_eq!(check(&stand), Severity::Fine);
    stand.home_check = 0;
    assert_eq!(check(&stand), Severity::WorthKnowing);
}

/// Nothing is not a number, and nothing panics, whatever a stand in memory holds.
#[test]
fn stands_that_cannot_be_are_audited_all_the_same() {
    for stand in [
        Stand {
            levels: Vec::new(),
            axes: Vec::new(),
            ..stand()
        },
        Stand {
            boards: Vec::new(),
            ..stand()
        },
        {
            let mut stand = stand();
            stand.lens.height_mm = f64::NAN;
            stand
        },
        {
            let mut stand = stand();
            stand.lens.focus = LevelId(9);
            stand
        },
    ] {
        assert!(audit(&stand).forbids());
    }
}

/// What is told at a glance is what the findings tell.
#[test]
fn levels_at_a_glance() {
    let mut stand = stand();
    stand.axes.push(axis(
        Carrier::Level(LevelId(2)),
        Way::East,
        Drive::Hand {
            scale: 0.5,
            screw: None,
        },
    ));
    let levels = audit(&stand).levels;
    let names: Vec<&str> = levels.iter().map(|it| it.level.as_str()).collect();
    assert_eq!(names, ["reeds", "quay", "sky"]);
    for (place, glance) in levels.iter().enumerate() {
        let about = About::Level(LevelId(place));
        let seen = one(&stand, about, Aspect::Magnification);
        assert_eq!(number(&seen, "distance"), glance.distance_mm);
        assert_eq!(number(&seen, "magnification"), glance.magnification);
        let depth = one(&stand, about, Aspect::DepthOfField);
        assert_eq!(number(&depth, "blur"), glance.blur_px);
        let light = one(&stand, about, Aspect::Light);
        assert_eq!(number(&light, "light"), glance.light_stops);
    }
    assert_eq!(levels[1].step, None);
    let coarse = levels[2].step.as_ref().expect("sky's axes");
    let east = one(&stand, About::Axis(AxisId(5)), Aspect::Step);
    assert_eq!(coarse.way, "east");
    assert_eq!(number(&east, "in the picture of sky"), coarse.pixels);
    // A level that the lens forms no picture of has no numbers.
    stand.levels[0].height_mm = 1560.0;
    assert_eq!(audit(&stand).levels.len(), 2);
}

/// Every sentence stands by itself: it names what it is about.
#[test]
fn sentences_name_what_they_are_about() {
    for stand in [stand(), with_lift(1, None).0] {
        for finding in audit(&stand).findings {
            let name = match finding.about {
                About::Level(level) => stand.levels[level.0].name.clone(),
                About::Axis(AxisId(axis)) => stand.carrier_name(stand.axes[axis].of).to_owned(),
                About::Board(board) => stand.boards[board.0].name.clone(),
                About::Lamp(lamp) => stand.lamps[lamp].name.clone(),
                About::Stand | About::Lens | About::Shutter => continue,
            };
            assert!(finding.says.contains(&name), "{finding:?}");
        }
    }
}

/// The demonstration's stand is sound, and its lifts hold.
#[test]
fn the_demonstration_is_sound() {
    let text = include_str!("../../../demo/stand.toml");
    let stand = crate::file::read_stand_text("stand.toml", text).expect("sound");
    let audit = audit(&stand);
    assert_eq!(audit.count(Severity::Forbids), 0);
    assert_eq!(audit.count(Severity::Warning), 0);
    let holding = audit
        .findings
        .iter()
        .filter(|found| found.aspect == Aspect::Holding && found.severity == Severity::Fine);
    assert_eq!(holding.count(), 2);
    let settle = audit
        .findings
        .iter()
        .filter(|found| found.aspect == Aspect::Settle && found.severity == Severity::Fine);
    assert_eq!(settle.count(), 4);
}
