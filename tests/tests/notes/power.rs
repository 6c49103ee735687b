//! The figures of `wiring.md` and `power.md`.

use std::f64::consts::PI;

use crate::sums::{COPPER, Chopper};
use crate::tables::{Sums, table};

const WIRING: &str = "wiring.md";
const PAGE: &str = "power.md";

/// A slow fuse is bound to blow only at so many times its rating (IEC 60127-2, time-lag; from memory).
const BLOWS: f64 = 2.1;

/// The current that the example's drivers are set to, A: 70 per cent of 1.5 A.
const PEAK: f64 = 0.7 * 1.5;

#[test]
fn reference_voltages() {
    for row in table(WIRING, "A driver's current").rows() {
        let chopper = match row.text("driver") {
            "A4988" => Chopper::A4988,
            "DRV8825" => Chopper::Drv8825,
            "TMC2209" => Chopper::Tmc2209,
            other => panic!("{other}?"),
        };
        let sense = row.figure("sense resistor", "Ω").value;
        let reference = PEAK / chopper.peak(1.0, sense);
        row.says("reference", "V", reference);
    }
}

#[test]
fn resistors() {
    for row in table(WIRING, "Resistors and currents").rows() {
        let volts = row.figure("across the resistor", "V").value;
        let ohms = match row.text("resistor").rsplit_once(' ') {
            Some((number, "kΩ")) => 1e3 * number.parse::<f64>().expect("a number"),
            Some((number, "Ω")) => number.parse().expect("a number"),
            _ => panic!("no resistor: {}", row.text("resistor")),
        };
        row.says("current", "mA", volts / ohms * 1e3);
        row.says("heat", "mW", volts * volts / ohms * 1e3);
    }
}

#[test]
fn a_supply() {
    let mut sums = Sums::of(PAGE, "How much supply");
    let motors = sums.given("motors", "");
    let peak = sums.given("peak current of a phase", "A");
    assert!((peak - PEAK).abs() < 1e-9);
    let resistance = sums.given("resistance of a phase", "Ω");
    let copper = sums.is("heat in a motor's copper", "W", peak * peak * resistance);
    let torque = sums.given("torque that is used", "N m");
    let turns = sums.given("turns a second", "");
    let work = sums.is("work of a motor", "W", 2.0 * PI * torque * turns);
    let driver = sums.given("heat of a driver", "W");
    let one = sums.is("one motor with its driver", "W", copper + work + driver);
    let motors = sums.is("all of them at once", "W", motors * one);
    let rest = sums.given("two brakes", "W") + sums.given("contactor and relays", "W");
    let all = sums.is("in all", "W", motors + rest);
    sums.is("current at 24 V", "A", all / 24.0);
    let asked = sums.is("supply to ask for", "W", 1.5 * all);
    let rows = table(PAGE, "Fuses and wires");
    let fuse = rows
        .rows()
        .find(|row| row.text("where").starts_with("all drivers"))
        .map(|row| row.figure("fuse", "A, slow").value);
    let fuse = fuse.expect("the fuse of all");
    let blow = sums.is(
        "current into a short circuit, to blow the fuse of all",
        "A",
        BLOWS * fuse,
    );
    let supply = sums.given("the supply's current", "A");
    assert!(supply >= blow && 24.0 * supply >= asked, "{supply} A");
    sums.all();
}

/// Fuses are the next of the series that the text names, above what is asked for.
#[test]
fn fuses() {
    let series = [
        0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3,
    ];
    let table = table(PAGE, "Fuses and wires");
    assert_eq!(table.rows().count(), 3);
    for row in table.rows() {
        let current = row.figure("greatest current", "A").value;
        let times = row.figure("times", "").value;
        row.says("at least", "A", current * times);
        let next = series.iter().find(|fuse| **fuse >= current * times);
        let next = *next.expect("a fuse");
        row.says("fuse", "A, slow", next);
        row.says("the supply must give", "A", BLOWS * next);
    }
}

#[test]
fn a_wire() {
    let mut sums = Sums::of(PAGE, "What a wire drops");
    assert_eq!(sums.given("copper", "Ω mm²/m"), COPPER);
    let length = sums.given("there and back", "m");
    let section = sums.given("cross-section", "mm²");
    let resistance = sums.is("resistance", "Ω", COPPER * length / section);
    sums.is("drop at 4 A", "V", 4.0 * resistance);
    sums.all();
}
