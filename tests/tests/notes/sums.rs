//! The formulas behind the hardware notes' figures, where the program has no use for them itself.
//! (The screws' are the program's own: `panestep::screw`.)

use std::f64::consts::PI;

/// Standard gravity, m/s² (exact by definition).
pub(crate) const GRAVITY: f64 = 9.80665;

/// Density of steel, kg/m³ (a usual value; from memory).
pub(crate) const STEEL: f64 = 7850.0;

/// Density of soda-lime glass, kg/m³ (EN 572-1; from memory).
pub(crate) const GLASS: f64 = 2500.0;

/// Resistance of copper, Ω mm²/m, at 20 °C (a usual value for wire; from memory).
pub(crate) const COPPER: f64 = 0.0175;

/// Step error of a common motor: part of a full step, not growing along the way (a maker's
/// glossary, MinebeaMitsumi, "Step Position Error"; seen).
pub(crate) const STEP_ERROR: f64 = 0.05;

pub(crate) fn steps_per_mm(steps: f64, microsteps: f64, turn_mm: f64) -> f64 {
    steps * microsteps / turn_mm
}

/// Part of the holding torque that one microstep adds.
pub(crate) fn incremental_torque(microsteps: f64) -> f64 {
    (PI / 2.0 / microsteps).sin()
}

/// Microsteps by which a motor lags behind a torque, part of its holding torque.
pub(crate) fn lag(torque: f64, microsteps: f64) -> f64 {
    torque.asin() / (PI / 2.0) * microsteps
}

/// Moment of inertia of a steel rod about its axis, kg m².
pub(crate) fn rod_inertia(diameter_mm: f64, length_mm: f64) -> f64 {
    PI / 32.0 * STEEL * length_mm / 1e3 * (diameter_mm / 1e3).powi(4)
}

/// Moment of inertia that a mass shows to the motor, kg m².
pub(crate) fn mass_inertia(mass_kg: f64, turn_mm: f64) -> f64 {
    mass_kg * (turn_mm / 1e3 / (2.0 * PI)).powi(2)
}

/// Peak current of a phase, A, by reference voltage and sense resistor.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Chopper {
    A4988,
    Drv8825,
    Tmc2209,
}

impl Chopper {
    pub(crate) fn peak(self, reference_v: f64, sense_ohm: f64) -> f64 {
        match self {
            Self::A4988 => reference_v / (8.0 * sense_ohm),
            Self::Drv8825 => reference_v / (5.0 * sense_ohm),
            // Full scale at 2.5 V; the peak is √2 times the RMS current that the sheet gives.
            Self::Tmc2209 => reference_v / 2.5 * 0.325 / (sense_ohm + 0.02),
        }
    }
}

/// How long a vibration takes to fall to a part of what it was, s: frequency in Hz.
pub(crate) fn settling(part: f64, damping: f64, natural_hz: f64) -> f64 {
    -part.ln() / (damping * 2.0 * PI * natural_hz)
}

/// The same, for the envelope of a step's answer, which begins above 1.
pub(crate) fn settling_of_step(part: f64, damping: f64, natural_rad: f64) -> f64 {
    -(part * (1.0 - damping * damping).sqrt()).ln() / (damping * natural_rad)
}
