//! The laws that the pins of a board must not break, and what was counted at them.

use std::time::Duration;

use crate::stand::{AxisId, BoardId};

/// Least time between a change of a direction line and a pulse, before it or after, ns. Five
/// microseconds satisfy the common step/direction drivers' data sheets (from memory; the
/// quickest ask for far less), and are well below a tick.
pub(super) const DIRECTION_SETUP: u64 = 5_000;

/// Least time between two pulses of one motor, ns: the same data sheets' 2.5 us high and 2.5 us
/// low.
pub(super) const PULSE_INTERVAL: u64 = 5_000;

/// A law that was broken: whatever the controller believed, this is what its pins did.
#[derive(Clone, Debug, PartialEq)]
pub struct Violation {
    /// When.
    pub at: Duration,
    /// What.
    pub law: Law,
}

/// The laws that no controller may break.
#[derive(Clone, Debug, PartialEq)]
pub enum Law {
    /// A direction line changed too near to a pulse, before it or after, for the driver to see
    /// which came first.
    DirectionSetup {
        /// The axis.
        axis: AxisId,
    },
    /// Two pulses came nearer to each other than a driver can tell apart.
    PulseInterval {
        /// The axis.
        axis: AxisId,
    },
    /// Pulses came faster than the stand file allows the axis to go, over sixteen of them.
    Speed {
        /// The axis.
        axis: AxisId,
        /// Between two pulses, on average.
        interval: Duration,
    },
    /// A pulse while the motor drivers were off.
    DriversOff {
        /// The axis.
        axis: AxisId,
    },
    /// A pulse on a channel that no motor is connected to.
    NoMotor {
        /// The board.
        board: BoardId,
        /// The channel.
        channel: u8,
    },
    /// Something moved while the shutter was open.
    MovedWhileOpen {
        /// The axis that was the first to.
        axis: AxisId,
        /// The exposure.
        number: u32,
    },
    /// The release line closed before everything had been still for the settling time.
    NotSettled {
        /// How long it had been still.
        still: Duration,
    },
    /// A pulse after the stop circuit had been open for more than a tick.
    AfterStop {
        /// The axis.
        axis: AxisId,
    },
    /// A pulse toward a switch after the tick at which it read as tripped; toward a home switch,
    /// which a homing runs onto, after more of them than it takes to stop.
    TowardTripped {
        /// The axis.
        axis: AxisId,
    },
    /// A carriage was driven against a mechanical end although both its switches are as they were
    /// built.
    AgainstEnd {
        /// The axis.
        axis: AxisId,
    },
    /// An axis went on for longer than it takes to stop after a switch had tripped in the way of
    /// another axis of its board.
    WentOnAlone {
        /// The axis.
        axis: AxisId,
        /// The one that was stopped.
        stopped: AxisId,
    },
    /// An axis went on for longer than it takes to stop after the host had been silent for as long
    /// as is allowed.
    WentOnUnheard {
        /// The axis.
        axis: AxisId,
    },
    /// The release line was closed for longer than the stand file asks.
    ReleaseTooLong {
        /// For how long.
        lasted: Duration,
    },
}

/// What one axis's motor has received and done, counted at its pins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StepCount {
    /// Pulses received with the direction that the stand file calls positive.
    pub positive: u64,
    /// Pulses received with the other one.
    pub negative: u64,
    /// Pulses that made no step: lost on demand, against a mechanical end, or with the drivers
    /// off.
    pub lost: u64,
}

impl StepCount {
    /// Positive less negative pulses.
    #[must_use]
    pub const fn net(self) -> i64 {
        self.positive as i64 - self.negative as i64
    }
}

/// A pause after which a motor's next pulse begins a new run, ns: longer than before the second
/// pulse of an ordinary ramp.
pub(super) const PAUSE: u64 = 50_000_000;

/// What is added to the time in which an axis stops, ns: a move's axes stop together, along a
/// path that is as gentle as the gentlest of them.
pub(super) const STOP_MARGIN: u64 = 100_000_000;

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::{DIRECTION_SETUP, Law};
    use crate::sim::Options;
    use crate::sim::mechanics::Mechanics;
    use crate::sim::random::Random;
    use crate::stand::{
        Axis, AxisId, Board, BoardId, Carrier, Drive, Face, Home, Lens, Level, LevelId, Motor,
        Pane, Picture, PortName, Release, Shutter, Stand, Way,
    };

    /// One level that goes east, 100 steps/mm, at most 10 mm/s.
    fn mechanics() -> Mechanics {
        let stand = Stand {
            name: String::new(),
            lens: Lens {
                focal_length_mm: 50.0,
                f_number: 8.0,
                picture: Picture {
                    width_mm: 36.0,
                    height_mm: 24.0,
                    columns: 6000,
                    rows: 4000,
                },
                height_mm: 1000.0,
                focus: LevelId(0),
                circle_of_confusion_mm: 0.03,
                swing: None,
            },
            boards: vec![Board {
                name: "main".to_owned(),
                port: PortName::Simulated,
                stop_tested: None,
            }],
            levels: vec![Level {
                name: "reeds".to_owned(),
                height_mm: 500.0,
                pane: Pane {
                    width_mm: 700.0,
                    height_mm: 500.0,
                    thickness_mm: 6.0,
                    index: 1.5,
                    art: Face::Upper,
                },
                swing: None,
            }],
            axes: vec![Axis {
                of: Carrier::Level(LevelId(0)),
                way: Way::East,
                drive: Drive::Motor(Motor {
                    board: BoardId(0),
                    channel: 2,
                    steps: 200,
                    microsteps: 16,
                    steps_per_unit: 100.0,
                    reversed: false,
                    speed: 10.0,
                    acceleration: 60.0,
                    jerk: 400.0,
                    slow: 2.0,
                    home: Home {
                        switch: -11.0,
                        within: 0.02,
                    },
                    screw: None,
                }),
                travel: (-10.0, 10.0),
                backlash: 0.05,
                focus_table: Vec::new(),
            }],
            lamps: Vec::new(),
            shutter: Shutter {
                release: Release::Board {
                    board: BoardId(0),
                    half_press: Duration::ZERO,
                    press: Duration::from_millis(100),
                    flash_contact: true,
                },
                settle: Duration::from_millis(100),
                exposure: Duration::from_millis(100),
                delay: Duration::ZERO,
                ready: Duration::ZERO,
                timed_by_release: false,
            },
            arrival: None,
            home_check: 0,
            clearance_mm: 10.0,
        };
        let mut mechanics = Mechanics::new(&stand, &Options::default(), Random::new(1));
        mechanics.now = 1_000_000;
        mechanics
    }

    const EAST: AxisId = AxisId(0);
    const LINE: u8 = 1 << 2;

    fn laws(mechanics: &Mechanics) -> Vec<Law> {
        let broken = mechanics.violations.iter();
        broken.map(|violation| violation.law.clone()).collect()
    }

    #[test]
    fn a_turn_keeps_clear_of_pulses_on_both_sides() {
        for (before, after, broken) in [
            (DIRECTION_SETUP, DIRECTION_SETUP, 0),
            (DIRECTION_SETUP - 1, DIRECTION_SETUP, 1),
            (DIRECTION_SETUP, DIRECTION_SETUP - 1, 1),
        ] {
            let mut mechanics = mechanics();
            mechanics.drivers(0, true);
            mechanics.step(0, LINE);
            mechanics.now += before;
            mechanics.directions(0, LINE);
            mechanics.now += after;
            mechanics.step(0, LINE);
            let expected = vec![Law::DirectionSetup { axis: EAST }; broken];
            assert_eq!(laws(&mechanics), expected, "{before} ns, {after} ns");
        }
    }

    #[test]
    fn pulses_have_a_motor_that_is_on_and_can_follow() {
        let mut mechanics = mechanics();
        mechanics.step(0, LINE);
        assert_eq!(laws(&mechanics), [Law::DriversOff { axis: EAST }]);
        mechanics.drivers(0, true);
        mechanics.now += 1000;
        mechanics.step(0, LINE);
        assert_eq!(laws(&mechanics)[1..], [Law::PulseInterval { axis: EAST }]);
        mechanics.step(0, 1);
        let nobody = Law::NoMotor {
            board: BoardId(0),
            channel: 0,
        };
        assert_eq!(laws(&mechanics)[2..], [nobody]);
        // 1000 steps a second are allowed: one a millisecond.
        for (interval, too_fast) in [(1_000_000, false), (900_000, true)] {
            mechanics.violations.clear();
            mechanics.now += 1_000_000_000;
            for _ in 0..40 {
                mechanics.now += interval;
                mechanics.step(0, LINE);
            }
            assert_eq!(!laws(&mechanics).is_empty(), too_fast, "{interval} ns");
        }
        mechanics.now += 1_000_000_000;
        mechanics.set_stop(true);
        mechanics.violations.clear();
        mechanics.now += 1_000_000;
        mechanics.step(0, LINE);
        // Nor has anybody been heard for as long as all that.
        let unheard = Law::WentOnUnheard { axis: EAST };
        assert_eq!(laws(&mechanics), [Law::AfterStop { axis: EAST }, unheard]);
    }
}
