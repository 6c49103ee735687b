//! The figures of `tuning.md`.

use std::f64::consts::PI;

use panestep::plan::times::DEFAULT_TICK_RATE;
use panestep_firmware::motion::{Leg, Limits, Path, plan};
use panestep_protocol::MAX_AXES;

use crate::sums::settling;
use crate::tables::{Sums, table};

const PAGE: &str = "tuning.md";

/// A mass on a damped spring.
#[derive(Clone, Copy, Debug)]
struct Spring {
    hertz: f64,
    damping: f64,
}

impl Spring {
    /// How long a whole move takes, s, and the swing that is left after its last pulse, mm: the
    /// spring's foot is carried along pulse by pulse, by the motion code of the boards. Small steps,
    /// semi-implicit.
    fn carried(self, steps: i32, step_mm: f64, acceleration: f64, jerk: f64) -> (f64, f64) {
        let limits = Limits {
            speed: DEFAULT_TICK_RATE,
            acceleration: (acceleration / step_mm).round() as u32,
            jerk: (jerk / step_mm).round() as u32,
        };
        let distance = steps.unsigned_abs();
        let profile = plan(&[Leg { distance, limits }], DEFAULT_TICK_RATE).expect("a move");
        let mut legs = [0; MAX_AXES];
        legs[0] = steps;
        let mut path = Path::default();
        assert!(path.begin(&legs, profile));
        let omega = 2.0 * PI * self.hertz;
        let tick = 1.0 / f64::from(DEFAULT_TICK_RATE);
        // Of the mass against its foot, and its speed in the room.
        let (mut stretch, mut speed) = (0.0, 0.0);
        let mut taken = 0;
        for _ in 0..profile.ticks() {
            if path.tick().contains(0) {
                taken += 1;
                stretch -= step_mm;
                // The damper is pulled along by the same way.
                speed += 2.0 * self.damping * omega * step_mm;
            }
            speed -= (omega * omega * stretch + 2.0 * self.damping * omega * speed) * tick;
            stretch += speed * tick;
        }
        assert_eq!(taken, steps, "the whole move");
        let damped = omega * (1.0 - self.damping * self.damping).sqrt();
        let swing = f64::hypot(stretch, (speed + self.damping * omega * stretch) / damped);
        (f64::from(profile.ticks()) * tick, swing)
    }
}

#[test]
fn jerk() {
    let mut sums = Sums::of(PAGE, "Jerk");
    let way = sums.given("the move", "mm");
    let step_mm = 1.0 / sums.given("steps a millimetre", "");
    let acceleration = sums.given("acceleration", "mm/s²");
    let hertz = sums.given("natural frequency", "Hz");
    let damping = sums.given("damping", "");
    let spring = Spring { hertz, damping };
    let pixel = sums.given("a pixel on this level", "µm");
    let may = sums.is("what may be left", "µm", pixel / 20.0);
    let steps = (way / step_mm).round() as i32;
    let mut waits = Vec::new();
    for (jerk, [takes, leaves, needs, both]) in [
        (
            "a high jerk",
            [
                "the move takes",
                "it leaves a swing of",
                "which needs a rest of",
                "move and rest",
            ],
        ),
        (
            "a low jerk",
            [
                "the move takes then",
                "it leaves then",
                "which needs then",
                "move and rest then",
            ],
        ),
    ] {
        let jerk = sums.given(jerk, "mm/s³");
        let (time, swing) = spring.carried(steps, step_mm, acceleration, jerk);
        sums.is(takes, "s", time);
        let swing = sums.is(leaves, "µm", 1e3 * swing);
        let wait = sums.is(needs, "s", settling(may / swing, damping, hertz));
        waits.push(sums.is(both, "s", time + wait));
    }
    sums.all();
    let saved = waits[0] - waits[1];
    assert!((1.75..2.5).contains(&saved), "two seconds a frame: {saved}");
}

#[test]
fn rest() {
    for row in table(PAGE, "Rest before the exposure").rows() {
        let frequency = row.figure("natural frequency", "Hz").value;
        let damping = row.figure("damping", "").value;
        for (column, part) in [("to 10 %", 0.1), ("to 2 %", 0.02), ("to 1 %", 0.01)] {
            row.says(column, "s", settling(part, damping, frequency));
        }
    }
}

/// An undamped spring that is carried along by two pushes of constant acceleration, there and back,
/// is left with 4 a / w² sin²(w T / 4), T being the whole time (any textbook on vibration: the sum of
/// three steps of the acceleration).
#[test]
fn a_move_with_hardly_any_limit_of_jerk_leaves_what_two_pushes_leave() {
    let (acceleration, hertz) = (60.0, 4.0);
    let spring = Spring {
        hertz,
        damping: 0.0,
    };
    let omega = 2.0 * PI * hertz;
    for way in [0.3, 0.5, 1.0] {
        // A thousandth of a millimetre a step: next to no staircase.
        let steps = (way * 1e3_f64).round() as i32;
        let (time, swing) = spring.carried(steps, 1e-3, acceleration, 4e4);
        let expected = 4.0 * acceleration / (omega * omega) * (omega * time / 4.0).sin().powi(2);
        assert!(
            (swing - expected).abs() < 0.03 * expected,
            "{way}: {swing} {expected}"
        );
    }
}
