//! A stand file of arbitrary text: a stand in which every value is finite and in its range, or
//! problems that can be shown; never a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;
use panestep::file::{Problems, read_stand_text};
use panestep::stand::{Drive, Stand};
use panestep_fuzz::{plant, short, words};

const DEMO: &str = include_str!("../../../../host/demo/stand.toml");

/// What the demonstration's stand has none of.
const MORE: &str = "
[[axis]]
of = \"skiffs\"
direction = \"north\"
hand = { scale = \"0.1 mm\" }
travel = [\"-1 cm\", \"1 3/16 in\"]
[[axis]]
of = \"camera\"
direction = \"focus\"
hand = { scale = \"1 deg\" }
travel = [\"0 deg\", \"90 deg\"]
table = [{ ring = \"0 deg\", distance = \"0.3 m\" }, { ring = \"90 deg\", distance = \"3 m\" }]
[[axis]]
of = \"skiffs\"
direction = \"turn\"
motor = { board = \"main\", channel = 6, steps = 200, microsteps = 16, per_turn = \"4 deg\", reversed = false }
travel = [\"-10 deg\", \"10 deg\"]
home = { switch = \"-12 deg\", within = \"0.02 deg\" }
speed = \"10 deg/s\"
acceleration = \"20 deg/s2\"
jerk = \"100 deg/s3\"
";

/// The other ways of firing the camera.
const BY_COMMAND: &str = "
[shutter]
command = [\"./photograph\", \"{frame}\"]
time_out = \"30 s\"
settle = \"600 ms\"
exposure = \"1/4 s\"
ready = \"0 s\"
";
const BY_HAND: &str = "
[shutter]
by_hand = true
settle = \"600 ms\"
exposure = \"500 ms\"
delay = \"0 s\"
ready = \"1 s\"
[pictures]
folder = \"arriving\"
within = \"20 s\"
[home_check]
every = 12
";

/// As long as `tests/run` lets an input be: a longer seed would be cut, and lie in no good file.
const LONGEST: usize = 2200;

/// Stand files from which the fuzzer sets out: the demonstration's with its own shutter, with more
/// axes, and with the other ways of firing.
fn seeds() -> Vec<Vec<u8>> {
    let demo = short(DEMO);
    let (axes, _) = demo
        .split_once("[shutter]")
        .expect("the demo has a shutter");
    let seeds = [
        demo.clone(),
        [&demo, MORE].concat(),
        [axes, BY_COMMAND].concat(),
        [axes, BY_HAND].concat(),
    ];
    for seed in &seeds {
        assert!(seed.len() <= LONGEST, "a seed of {} bytes", seed.len());
        match read_stand_text("seed", seed) {
            Ok(stand) => sound(&stand),
            Err(problems) => panic!("{}", problems.report(false)),
        }
    }
    seeds.map(String::into_bytes).into()
}

fuzz_target!(
    init: plant(
        &seeds(),
        &[DEMO, MORE, BY_COMMAND, BY_HAND]
            .into_iter()
            .flat_map(words)
            .collect()
    ),
    |data: &[u8]| {
        let Ok(text) = std::str::from_utf8(data) else {
            return;
        };
        match read_stand_text("stand.toml", text) {
            Ok(stand) => sound(&stand),
            Err(problems) => shown(&problems, data.len()),
        }
    }
);

fn shown(problems: &Problems, length: usize) {
    assert!(!problems.all().is_empty());
    for problem in problems.all() {
        let line = problem.to_string();
        assert!(!line.chars().any(char::is_control), "{line:?}");
        assert!(!problem.message().is_empty());
        if let Some((line, column)) = problem.place() {
            assert!(line >= 1 && column >= 1 && line + column <= length + 2);
        }
    }
    // Drawing all the lines is slow, and many are the same.
    if length % 16 == 0 {
        assert!(!problems.report(true).is_empty());
    }
}

fn sound(stand: &Stand) {
    let positive = |value: f64| value.is_finite() && value > 0.0;
    assert!(!stand.name.is_empty() && stand.clearance_mm.is_finite() && stand.clearance_mm >= 0.0);
    let lens = &stand.lens;
    assert!(positive(lens.focal_length_mm) && positive(lens.f_number) && positive(lens.height_mm));
    assert!(positive(lens.picture.width_mm) && positive(lens.picture.height_mm));
    assert!(lens.picture.columns > 0 && lens.picture.rows > 0);
    assert!(lens.focus.0 < stand.levels.len());
    for level in &stand.levels {
        let pane = &level.pane;
        assert!(!level.name.is_empty() && positive(level.height_mm));
        assert!(positive(pane.width_mm) && positive(pane.height_mm) && positive(pane.thickness_mm));
        assert!(pane.index.is_finite() && pane.index >= 1.0);
    }
    for axis in &stand.axes {
        let (least, greatest) = axis.travel;
        assert!(least.is_finite() && greatest.is_finite() && least < greatest);
        assert!(axis.backlash.is_finite() && axis.backlash >= 0.0);
        for (ring, distance) in &axis.focus_table {
            assert!(ring.is_finite() && positive(*distance));
        }
        assert!(axis.focus_table.is_sorted_by(|one, next| one.0 < next.0));
        match &axis.drive {
            Drive::Motor(motor) => {
                assert!(motor.board.0 < stand.boards.len());
                assert!(positive(motor.steps_per_unit) && positive(motor.speed));
                assert!(positive(motor.acceleration) && positive(motor.jerk));
                assert!(positive(motor.slow) && motor.slow <= motor.speed);
                let home = motor.home;
                assert!(home.switch.is_finite() && home.within.is_finite() && home.within >= 0.0);
                assert!(home.switch < least || home.switch > greatest);
            }
            Drive::Hand { scale, .. } => assert!(positive(*scale)),
        }
    }
}
