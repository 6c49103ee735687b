//! The formulas against published examples.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use crate::sums::{
    Chopper, STEP_ERROR, incremental_torque, lag, mass_inertia, rod_inertia, settling,
    settling_of_step, steps_per_mm,
};

fn near(value: f64, published: f64, within: f64) {
    assert!((value - published).abs() <= within, "{value} {published}");
}

/// "Stepper Motor Technical Note: Microstepping Myths and Realities", table 1 (seen).
#[test]
fn torque_of_a_microstep() {
    let table = [
        (1.0, 100.00),
        (2.0, 70.71),
        (4.0, 38.27),
        (8.0, 19.51),
        (16.0, 9.80),
        (32.0, 4.91),
        (64.0, 2.45),
        (128.0, 1.23),
        (256.0, 0.61),
    ];
    for (microsteps, percent) in table {
        near(100.0 * incremental_torque(microsteps), percent, 0.005);
        // By definition: one microstep is the lag behind its own torque.
        near(lag(incremental_torque(microsteps), microsteps), 1.0, 1e-9);
    }
}

/// Steps of a millimetre: calculatorfriend.com/steps-per-mm-calculator (8 and 2 mm lead, belts of
/// 20 and 16 teeth), circuitist.com (2 mm lead, 8 microsteps), reprap.org/forum 14,677333 (8 mm lead
/// behind 32 teeth on 20), a forum's thread (0.9 degrees, 12 mm); all seen.
#[test]
fn steps_of_a_millimetre() {
    let table = [
        (200.0, 16.0, 8.0, 400.0),
        (200.0, 16.0, 2.0, 1600.0),
        (200.0, 8.0, 2.0, 800.0),
        (200.0, 16.0, 2.0 * 20.0, 80.0),
        (200.0, 16.0, 2.0 * 16.0, 100.0),
        (200.0, 16.0, 8.0 * 32.0 / 20.0, 250.0),
        (400.0, 16.0, 12.0, 533.33),
    ];
    for (steps, microsteps, turn_mm, per_mm) in table {
        near(steps_per_mm(steps, microsteps, turn_mm), per_mm, 0.005);
    }
}

/// 5 per cent of a step of 1.8 and of 0.9 degrees is 0.09 and 0.045 degrees (MinebeaMitsumi, glossary,
/// "Step Position Error"; seen).
#[test]
fn step_error() {
    near(STEP_ERROR * 1.8, 0.09, 1e-9);
    near(STEP_ERROR * 0.9, 0.045, 1e-9);
}

/// TMC2209 data sheet, revision 1.03, chapter 8, table of sense resistors: RMS current at 2.5 V
/// (seen). The table's rows from 0.1 Ω to 1 Ω.
#[test]
fn tmc2209_current() {
    let table = [
        (1.00, 0.23),
        (0.82, 0.27),
        (0.75, 0.30),
        (0.68, 0.33),
        (0.50, 0.44),
        (0.39, 0.56),
        (0.33, 0.66),
        (0.27, 0.79),
        (0.22, 0.96),
        (0.18, 1.15),
        (0.15, 1.35),
        (0.12, 1.64),
        (0.10, 1.92),
    ];
    for (sense, rms) in table {
        let worked_out = Chopper::Tmc2209.peak(2.5, sense) * FRAC_1_SQRT_2;
        near(worked_out, rms, 0.0051);
    }
}

/// DRV8825 data sheet, SLVSA73C, "Current Regulation": 2.5 V and 0.25 Ω give 2 A (seen); a later
/// revision: 1.25 V and 0.2 Ω give 1.25 A (seen where it is quoted).
#[test]
fn drv8825_current() {
    near(Chopper::Drv8825.peak(2.5, 0.25), 2.0, 1e-9);
    near(Chopper::Drv8825.peak(1.25, 0.2), 1.25, 1e-9);
}

/// A4988: table of reference voltages by current at hexaxes.com, "A4988 Stepper Driver" (seen); the
/// data sheet's own equation is from memory.
#[test]
fn a4988_current() {
    let table = [
        (0.05, 0.50, 0.20),
        (0.05, 1.20, 0.48),
        (0.068, 0.50, 0.27),
        (0.068, 1.00, 0.54),
        (0.068, 1.20, 0.65),
        (0.10, 1.00, 0.80),
        (0.10, 1.20, 0.96),
    ];
    for (sense, current, volts) in table {
        near(current / Chopper::A4988.peak(1.0, sense), volts, 0.005);
    }
}

/// Settling within 2 per cent with damping 0.5 at 10 rad/s: 0.7824 s by logarithm, 0.8 s by the
/// rule 4 / (damping x frequency) (theprimecalculator.com, seen). By the envelope it is a little more.
#[test]
fn settling_times() {
    near(settling(0.02, 0.5, 10.0 / (2.0 * PI)), 0.7824, 5e-5);
    near(settling(0.02, 0.5, 10.0 / (2.0 * PI)), 0.8, 0.02);
    let envelope = settling_of_step(0.02, 0.5, 10.0);
    assert!(envelope > 0.7824 && envelope < 0.83, "{envelope}");
    // Ogata, Modern Control Engineering, example 5-1: 0.6, 5 rad/s; 1.33 s and 1 s by the rules for 2
    // and 5 per cent (inputs seen, results from memory).
    near(settling(0.02, 0.6, 5.0 / (2.0 * PI)), 1.33, 0.04);
    near(settling(0.05, 0.6, 5.0 / (2.0 * PI)), 1.0, 0.005);
}

/// A rod's inertia is half its mass times its radius squared, a mass's that at the radius lead / 2 pi:
/// the same formulas by another way.
#[test]
fn inertias() {
    let mass = 7850.0 * PI * 0.005_f64.powi(2) * 0.3;
    near(
        rod_inertia(10.0, 300.0),
        mass * 0.005_f64.powi(2) / 2.0,
        1e-12,
    );
    near(mass_inertia(6.5, 2.0 * PI * 1000.0), 6.5, 1e-9);
}
