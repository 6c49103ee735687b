//! The figures of `tuning.md`.

use crate::sums::{faded, settling, swing};
use crate::tables::{Sums, table};

const PAGE: &str = "tuning.md";

#[test]
fn jerk() {
    let mut sums = Sums::of(PAGE, "Jerk");
    let acceleration = sums.given("acceleration", "mm/s²");
    let jerk = sums.given("jerk", "mm/s³");
    let fade = sums.is("the acceleration fades in", "s", acceleration / jerk);
    let frequency = sums.given("natural frequency", "Hz");
    let damping = sums.given("damping", "");
    let ended = 1e3 * swing(acceleration, frequency);
    let ended = sums.is("swing, if it ended at once", "µm", ended);
    let part = sums.is(
        "with this jerk at most this part",
        "",
        faded(frequency, fade),
    );
    let left = sums.is("which is", "µm", ended * part);
    let pixel = sums.given("a pixel on this level", "µm");
    let may = sums.is("what may be left", "µm", pixel / 20.0);
    let wait = |swing: f64| settling(may / swing, damping, frequency);
    sums.is("wait, if it ended at once", "s", wait(ended));
    sums.is("wait, with this jerk", "s", wait(left));
    sums.all();
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

/// What a fading acceleration leaves, beside a mass on a spring that is carried along: the frame
/// accelerates evenly, then the acceleration fades evenly to nothing. Small steps, semi-implicit.
#[test]
fn a_fading_acceleration_leaves_no_more_than_it_says() {
    let (acceleration, frequency) = (60.0, 4.0);
    let omega = 2.0 * std::f64::consts::PI * frequency;
    for fade in [0.05, 0.2, 0.33, 0.4, 0.7] {
        // At rest within the accelerating frame: the spring is drawn by a/ω².
        let (mut place, mut speed) = (-acceleration / (omega * omega), 0.0);
        let step = 1e-5;
        let mut time = 0.0;
        let mut greatest: f64 = 0.0;
        while time < fade + 1.0 {
            let frame = acceleration * f64::max(1.0 - time / fade, 0.0);
            speed += (-omega * omega * place - frame) * step;
            place += speed * step;
            time += step;
            if time > fade {
                greatest = greatest.max(f64::abs(place));
            }
        }
        let said = swing(acceleration, frequency) * faded(frequency, fade);
        assert!(greatest <= said * 1.001, "{fade}: {greatest} {said}");
    }
}
