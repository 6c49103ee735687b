//! Power screws: what it takes to raise a load, and whether the load runs back by itself.
//!
//! Formulas: Shigley's Mechanical Engineering Design, section 8-2, equations (8-1) to (8-6), with
//! the friction divided by the cosine of half the thread angle (8-5). For a trapezoidal thread this
//! is the same as Mott's equation (17-10), Machine Elements in Mechanical Design, 4th edition.
//!
//! What comes out is no better than the friction that goes in, and friction is never known well:
//! a dry nut may need more than twice the torque of a greasy one, and shaking lowers the friction that holds.
//! So ask for the raising torque with a high friction, and whether it holds with a low one.
//! Ball screws do not belong in here: they always run back.

use std::f64::consts::PI;

/// A screw's thread, as its nut feels it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thread {
    mean_diameter_mm: f64,
    lead_mm: f64,
    half_angle_deg: f64,
}

/// Half the angle between the flanks of a metric trapezoidal thread (ISO 2901: 30 degrees in all;
/// from memory).
const TRAPEZOIDAL_HALF_ANGLE_DEG: f64 = 15.0;

/// Half the angle between the flanks of a metric screw thread (ISO 68-1: 60 degrees in all; from
/// memory).
const METRIC_HALF_ANGLE_DEG: f64 = 30.0;

/// Pitches by which a metric thread's mean diameter is less than the outer one: `3/8 sqrt 3`
/// (ISO 724; from memory).
const METRIC_DEPTH: f64 = 0.649_519_052_838_329;

impl Thread {
    /// A thread of a mean (pitch) diameter and a lead, in millimetres, and half the angle between
    /// its flanks, in degrees: 0 for a square thread, 15 for a trapezoidal one.
    ///
    /// The lead is what one turn carries the nut: the pitch times the number of starts. `None`
    /// where a length is not above zero or the half angle is not in 0 to below 90.
    #[must_use]
    pub fn new(mean_diameter_mm: f64, lead_mm: f64, half_angle_deg: f64) -> Option<Self> {
        let length = |value: f64| value.is_finite() && value > 0.0;
        let sound =
            length(mean_diameter_mm) && length(lead_mm) && (0.0..90.0).contains(&half_angle_deg);
        sound.then_some(Self {
            mean_diameter_mm,
            lead_mm,
            half_angle_deg,
        })
    }

    /// A metric trapezoidal thread: "Tr 8 x 2" has the outer diameter 8 mm and the pitch 2 mm, and its
    /// mean diameter is half a pitch less than the outer one.
    ///
    /// `None` where that leaves no screw, or `starts` is 0.
    #[must_use]
    pub fn trapezoidal(diameter_mm: f64, pitch_mm: f64, starts: u8) -> Option<Self> {
        let lead_mm = pitch_mm * f64::from(starts);
        Self::new(
            diameter_mm - pitch_mm / 2.0,
            lead_mm,
            TRAPEZOIDAL_HALF_ANGLE_DEG,
        )
    }

    /// A metric screw thread with one start, such as "M 8 x 1.25": threaded rod.
    ///
    /// `None` where that leaves no screw.
    #[must_use]
    pub fn metric(diameter_mm: f64, pitch_mm: f64) -> Option<Self> {
        Self::new(
            diameter_mm - METRIC_DEPTH * pitch_mm,
            pitch_mm,
            METRIC_HALF_ANGLE_DEG,
        )
    }

    /// Diameter across the middle of the thread, in millimetres.
    #[must_use]
    pub fn mean_diameter_mm(&self) -> f64 {
        self.mean_diameter_mm
    }

    /// What one turn carries the nut, in millimetres.
    #[must_use]
    pub fn lead_mm(&self) -> f64 {
        self.lead_mm
    }

    /// The steepness of the thread: lead over circumference.
    #[must_use]
    pub fn lead_slope(&self) -> f64 {
        self.lead_mm / (PI * self.mean_diameter_mm)
    }

    /// The angle of the thread to the plane across the screw, in degrees.
    #[must_use]
    pub fn lead_angle_deg(&self) -> f64 {
        self.lead_slope().atan().to_degrees()
    }

    /// The least coefficient of friction that keeps a load from running back.
    #[must_use]
    pub fn least_holding_friction(&self) -> f64 {
        self.lead_slope() * self.half_angle_deg.to_radians().cos()
    }

    /// Whether the thread alone keeps a load from running back. An answer about a load at rest:
    /// shaking lowers the friction.
    #[must_use]
    pub fn holds(&self, friction: f64) -> bool {
        friction > self.least_holding_friction()
    }

    /// The torque that raises a load of `load_n` newtons, in newton metres.
    ///
    /// `None` where the thread jams: so much friction on so steep a thread that no torque raises
    /// anything.
    #[must_use]
    pub fn raising_torque_nm(&self, load_n: f64, friction: f64) -> Option<f64> {
        let (slope, friction) = (self.lead_slope(), self.flank_friction(friction));
        let denominator = 1.0 - friction * slope;
        (denominator > 0.0).then(|| self.arm_nm(load_n) * (slope + friction) / denominator)
    }

    /// The torque that lowers the same load, in newton metres. Where it is below zero, the load runs back
    /// by itself, and that is the torque which keeps it up.
    #[must_use]
    pub fn lowering_torque_nm(&self, load_n: f64, friction: f64) -> f64 {
        let (slope, friction) = (self.lead_slope(), self.flank_friction(friction));
        self.arm_nm(load_n) * (friction - slope) / (1.0 + friction * slope)
    }

    /// The part of the work put in that raises the load, without collar or bearings; 0 where the
    /// thread jams.
    #[must_use]
    pub fn efficiency(&self, friction: f64) -> f64 {
        self.raising_torque_nm(1.0, friction)
            .map_or(0.0, |torque_nm| {
                self.lead_mm / 1000.0 / (2.0 * PI * torque_nm)
            })
    }

    /// Friction along the thread: its flanks press harder than the load, being aslant.
    fn flank_friction(&self, friction: f64) -> f64 {
        friction / self.half_angle_deg.to_radians().cos()
    }

    fn arm_nm(&self, load_n: f64) -> f64 {
        load_n * self.mean_diameter_mm / 2000.0
    }
}

/// The torque that a plain thrust collar adds, in newton metres, whichever way the screw turns. A
/// ball bearing's is too small to matter.
#[must_use]
pub fn collar_torque_nm(load_n: f64, friction: f64, mean_diameter_mm: f64) -> f64 {
    load_n * friction * mean_diameter_mm / 2000.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, published: f64, within: f64) {
        assert!((value - published).abs() <= within, "{value} {published}");
    }

    /// Shigley, example 8-1: square thread, 32 mm, pitch 4 mm, two starts, friction 0.08 in thread
    /// and collar, collar 40 mm, 6.4 kN. Inputs seen in a public repository that names the example; the
    /// outputs 26.18 N m, 9.77 N m and 0.311 from memory.
    #[test]
    fn shigley_example_8_1() {
        let thread = Thread::new(30.0, 8.0, 0.0).unwrap();
        let collar = collar_torque_nm(6400.0, 0.08, 40.0);
        let raising = thread.raising_torque_nm(6400.0, 0.08).unwrap();
        near(raising, 15.94, 0.005);
        near(collar, 10.24, 0.005);
        near(raising + collar, 26.18, 0.005);
        near(
            thread.lowering_torque_nm(6400.0, 0.08) + collar,
            9.77,
            0.005,
        );
        near(
            6400.0 * 0.008 / (2.0 * PI * (raising + collar)),
            0.311,
            0.0005,
        );
    }

    /// The trap in the same example: its thread alone does not hold, only its collar does (our own
    /// arithmetic: 0.08 is below 0.0849).
    #[test]
    fn shigley_example_8_1_is_held_by_its_collar() {
        let thread = Thread::new(30.0, 8.0, 0.0).unwrap();
        near(thread.lead_slope(), 0.08488, 5e-6);
        near(thread.lowering_torque_nm(6400.0, 0.08), -0.466, 0.0005);
        assert!(!thread.holds(0.08) && thread.holds(0.085));
    }

    /// Mott, example problem 17-1 (page 703, seen): Acme thread, pitch diameter 1.3429 in, lead
    /// 0.25 in, 12 500 lb, friction 0.15, half angle 14.5 degrees. It prints 3.39 degrees, 1809 lb in
    /// (the lead angle's tangent rounded on the way; 1814.4 without) and 27.5 per cent.
    #[test]
    fn mott_example_17_1() {
        let thread = Thread::new(1.3429 * 25.4, 0.25 * 25.4, 14.5).unwrap();
        near(thread.lead_angle_deg(), 3.39, 0.005);
        let pound_n = 4.448_221_615;
        let raising = thread.raising_torque_nm(12_500.0 * pound_n, 0.15).unwrap();
        let pound_inches = raising / (pound_n * 0.0254);
        near(pound_inches / 1809.0, 1.0, 0.005);
        near(pound_inches, 1814.4, 0.05);
        near(thread.efficiency(0.15), 0.275, 0.001);
        assert!(thread.holds(0.15));
    }

    /// Trapezoidal thread 8 x 1.5: mean diameter 7.25 mm (tribology-abc.com, calculator e4_6, seen).
    #[test]
    fn a_trapezoidal_thread_by_its_name() {
        let thread = Thread::trapezoidal(8.0, 1.5, 1).unwrap();
        assert_eq!(thread.mean_diameter_mm(), 7.25);
        assert_eq!(Thread::trapezoidal(8.0, 2.0, 4).unwrap().lead_mm(), 8.0);
    }

    /// ISO 724, tables (from memory): M 8 x 1.25 has the pitch diameter 7.188 mm, M 10 x 1.5 9.026 mm.
    #[test]
    fn a_metric_thread_by_its_name() {
        near(
            Thread::metric(8.0, 1.25).unwrap().mean_diameter_mm(),
            7.188,
            0.0005,
        );
        near(
            Thread::metric(10.0, 1.5).unwrap().mean_diameter_mm(),
            9.026,
            0.0005,
        );
    }

    /// No screw that holds by its thread is better than half (Mott, chapter 17, seen): the limit
    /// of a square thread just held is (1 - slope²) / 2.
    #[test]
    fn a_thread_that_holds_wastes_half() {
        for lead_mm in [0.5, 1.5, 2.0, 4.0, 8.0, 16.0] {
            for half_angle_deg in [0.0, 15.0, 30.0] {
                let thread = Thread::new(7.0, lead_mm, half_angle_deg).unwrap();
                let friction = thread.least_holding_friction() * (1.0 + 1e-9);
                assert!(thread.holds(friction));
                assert!(thread.lowering_torque_nm(1.0, friction) > 0.0);
                assert!(thread.efficiency(friction) < 0.5);
            }
        }
    }

    #[test]
    fn what_is_no_screw() {
        assert_eq!(Thread::new(0.0, 2.0, 0.0), None);
        assert_eq!(Thread::new(7.0, f64::NAN, 0.0), None);
        assert_eq!(Thread::new(7.0, 2.0, 90.0), None);
        assert_eq!(Thread::trapezoidal(8.0, 2.0, 0), None);
        assert_eq!(Thread::trapezoidal(8.0, 16.0, 1), None);
        let steep = Thread::new(5.0, 40.0, 15.0).unwrap();
        assert_eq!(steep.raising_torque_nm(1.0, 0.5), None);
        assert_eq!(steep.efficiency(0.5), 0.0);
    }
}
