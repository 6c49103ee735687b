//! The figures of `drives.md` and `frame-and-glass.md`.

use std::f64::consts::PI;

use panestep::screw::Thread;

use crate::sums::{
    GLASS, GRAVITY, STEP_ERROR, incremental_torque, lag, mass_inertia, rod_inertia, steps_per_mm,
};
use crate::tables::{Sums, table};

const PAGE: &str = "drives.md";
const FRAME: &str = "frame-and-glass.md";

/// The friction to raise with, and that to hold with, as the text says.
const HIGH: f64 = 0.20;
const LOW: f64 = 0.08;

/// kg m² in a g cm².
const G_CM2: f64 = 1e-7;

/// The worked level's mass and weight.
fn level() -> (f64, f64) {
    let mut sums = Sums::of(PAGE, "The load");
    let mass = sums.given("pane", "kg") + sums.given("carriage", "kg");
    let mass = sums.is("moving mass", "kg", mass);
    let weight = sums.is("weight", "N", mass * GRAVITY);
    sums.all();
    (mass, weight)
}

/// "Tr 8 x 4 (P 2)": outer diameter, lead and, where it has several starts, pitch.
fn thread(name: &str) -> Thread {
    let numbers: Vec<f64> = name
        .split([' ', '(', ')', 'x', 'P'])
        .filter_map(|part| part.parse().ok())
        .collect();
    let (diameter, lead) = (numbers[0], numbers[1]);
    let pitch = numbers.get(2).copied().unwrap_or(lead);
    let starts = (1..=8_u8).find(|starts| f64::from(*starts) * pitch == lead);
    let starts = starts.unwrap_or_else(|| panic!("{name}: a lead of whole starts"));
    Thread::trapezoidal(diameter, pitch, starts).expect("a screw")
}

#[test]
fn screws() {
    let (_, weight) = level();
    for row in table(PAGE, "Screws that can run back").rows() {
        let thread = thread(row.text("screw"));
        row.says("mean diameter", "mm", thread.mean_diameter_mm());
        row.says("lead", "mm", thread.lead_mm());
        row.says("tan(lead angle)", "", thread.lead_slope());
        row.says("lead angle", "°", thread.lead_angle_deg());
        row.says("holds above friction", "", thread.least_holding_friction());
        let raising = thread.raising_torque_nm(weight, HIGH).expect("it raises");
        row.says("to raise, at 0.20", "N m", raising);
        let lowering = thread.lowering_torque_nm(weight, LOW);
        row.says("to lower, at 0.08", "N m", lowering);
        let printed = row.figure("to lower, at 0.08", "N m").value;
        assert_eq!(printed < 0.0, !thread.holds(LOW), "{}", row.text("screw"));
        row.says("efficiency at 0.20", "%", 100.0 * thread.efficiency(HIGH));
    }
}

#[test]
fn the_lifts_motor() {
    let (mass, weight) = level();
    let screw = thread("Tr 10 x 2");
    let mut sums = Sums::of(PAGE, "The lift's motor");
    sums.is("weight", "N", weight);
    let raise = screw.raising_torque_nm(weight, HIGH).expect("it raises");
    let raise = sums.is("to raise, at friction 0.20", "N m", raise);
    let bearings = sums.given("bearings and seals", "N m");
    let acceleration = sums.given("acceleration", "mm/s²");
    let shaft = 2.0 * PI * acceleration / screw.lead_mm();
    let shaft = sums.is("acceleration of the motor's shaft", "rad/s²", shaft);
    let inertia = [
        sums.given("rotor's inertia", "g cm²") * G_CM2,
        sums.is("screw's inertia", "g cm²", rod_inertia(10.0, 300.0) / G_CM2) * G_CM2,
        sums.is(
            "level's inertia at the shaft",
            "g cm²",
            mass_inertia(mass, screw.lead_mm()) / G_CM2,
        ) * G_CM2,
    ];
    let inertia: f64 = inertia.iter().sum();
    let accelerate = sums.is("to accelerate", "N m", inertia * shaft);
    let needed = sums.is("torque needed", "N m", raise + bearings + accelerate);
    sums.is("torque to ask for", "N m", 2.0 * needed);
    let speed = sums.given("speed", "mm/s");
    sums.is("full steps a second", "", 200.0 * speed / screw.lead_mm());
    let holding = sums.given("holding torque of a motor", "N m");
    sums.is("its reserve at rest", "", holding / needed);
    sums.all();
}

#[test]
fn a_ball_screw() {
    let (_, weight) = level();
    let mut sums = Sums::of(PAGE, "The same level on a ball screw");
    sums.is("weight", "N", weight);
    let lead = sums.given("lead", "mm") / 1e3;
    let efficiency = sums.given("efficiency, both ways", "%") / 100.0;
    let turn = weight * lead / (2.0 * PI);
    sums.is("to raise", "N m", turn / efficiency);
    let back = sums.is("runs back with", "N m", turn * efficiency);
    sums.is("brake to ask for", "N m", 2.0 * back);
    sums.all();
}

#[test]
fn a_sideways_axis() {
    let mut sums = Sums::of(PAGE, "A sideways axis");
    let mass = sums.given("moving mass", "kg");
    let friction = sums.given("friction of the guides", "");
    let rolling = sums.is("rolling", "N", mass * GRAVITY * friction);
    let seals = sums.given("seals", "N");
    let slope = sums.given("slope of the guides", "mm/m") / 1e3;
    let slope = sums.is("slope's pull", "N", mass * GRAVITY * slope);
    let acceleration = sums.given("acceleration", "mm/s²") / 1e3;
    let accelerate = sums.is("to accelerate", "N", mass * acceleration);
    let force = sums.is("force", "N", rolling + seals + slope + accelerate);
    let screw = thread("Tr 8 x 8 (P 2)");
    let torque = screw.raising_torque_nm(force, HIGH).expect("it moves");
    sums.is("torque at the screw, friction 0.20", "N m", torque);
    let turn = sums.is("one turn of a belt's pulley", "mm", 20.0 * 2.0) / 1e3;
    sums.is("torque at the pulley", "N m", force * turn / (2.0 * PI));
    sums.all();
}

#[test]
fn steps() {
    for row in table(PAGE, "Steps and their errors").rows() {
        let steps = row.figure("steps of a turn", "").value;
        let microsteps = row.figure("microsteps", "").value;
        let turn = row.figure("one turn", "mm").value;
        let per_mm = steps_per_mm(steps, microsteps, turn);
        row.says("steps per mm", "", per_mm);
        row.says("one microstep", "µm", 1e3 / per_mm);
        row.says("step error, 5 %", "µm", STEP_ERROR * turn / steps * 1e3);
        row.says("full steps a second at 10 mm/s", "", 10.0 / turn * steps);
    }
}

#[test]
fn microsteps() {
    let table = table(PAGE, "What a microstep is worth");
    assert_eq!(table.rows().count(), 9);
    for row in table.rows() {
        let microsteps = row.figure("microsteps", "").value;
        let torque = incremental_torque(microsteps);
        row.says("torque of one", "%", 100.0 * torque);
        row.says("of 0.40 N m", "N m", 0.40 * torque);
        row.says("lags behind 0.05 N m by", "", lag(0.05 / 0.40, microsteps));
    }
}

#[test]
fn glass() {
    for row in table(FRAME, "What glass weighs").rows() {
        let [width, depth, thickness] =
            ["width", "depth", "thickness"].map(|column| row.figure(column, "mm").value / 1e3);
        let mass = width * depth * thickness * GLASS;
        row.says("mass", "kg", mass);
        row.says("weight", "N", mass * GRAVITY);
    }
}

#[test]
fn a_counterweight() {
    let (mass, _) = level();
    let mut sums = Sums::of(FRAME, "A counterweight");
    assert_eq!(sums.given("level", "kg"), mass);
    let counter = sums.given("counterweight", "kg");
    let rest = sums.is("rests on the nut", "N", (mass - counter) * GRAVITY);
    sums.is("has to be accelerated", "kg", mass + counter);
    let runs_back = |load| -thread("Tr 8 x 8 (P 2)").lowering_torque_nm(load, LOW);
    sums.is(
        "runs back with, without it",
        "N m",
        runs_back(mass * GRAVITY),
    );
    sums.is("runs back with, with it", "N m", runs_back(rest));
    sums.all();
}

#[test]
fn a_gas_spring() {
    let (mass, _) = level();
    let mut sums = Sums::of(FRAME, "A gas spring");
    assert_eq!(sums.given("level", "kg"), mass);
    let weight = sums.is("weight", "N", mass * GRAVITY);
    let ratio = sums.given("greatest to least force", "");
    let stroke = sums.given("its stroke", "mm");
    let travel = sums.given("travel that is used", "mm");
    let change = weight * (ratio - 1.0) * travel / stroke;
    let change = sums.is("force changes along it by", "N", change);
    sums.is("as if the level changed by", "kg", change / GRAVITY);
    let warmer = sums.given("the room gets warmer by", "K");
    let part = warmer / 293.15;
    sums.is("force grows by", "%", 100.0 * part);
    sums.is("which is", "N", weight * part);
    sums.all();
}
