//! A motor axis as its board is told of it.

use panestep_protocol::{AxisIndex, HomeOrder, Steps, Toward};

use crate::schedule::MotorAxis;

impl MotorAxis {
    /// Which end its home switch is at.
    pub(super) fn toward(&self) -> Toward {
        if self.switch < self.travel.0 {
            Toward::Negative
        } else {
            Toward::Positive
        }
    }

    /// Steps between the switch and the travel.
    fn gap(&self) -> u32 {
        match self.toward() {
            Toward::Negative => self.travel.0.abs_diff(self.switch),
            Toward::Positive => self.switch.abs_diff(self.travel.1),
        }
    }

    /// How to find its switch. The fast approach is slow enough to stop within the room between
    /// switch and travel, as there is about as much behind the switch on a stand that is built
    /// well; the back-off covers that stop, the slack both ways and the room itself.
    pub(in crate::take) fn home_order(&self) -> HomeOrder {
        let gap = self.gap().max(1);
        let mut fast = self.speed;
        while fast > self.slow && self.stop(fast) > u64::from(gap) {
            fast = (fast - fast / 8 - 1).max(self.slow);
        }
        let stop = u32::try_from(self.stop(fast)).unwrap_or(u32::MAX);
        let slack = self.take_up.unsigned_abs();
        let far_end = match self.toward() {
            Toward::Negative => self.travel.1,
            Toward::Positive => self.travel.0,
        };
        let span = far_end.abs_diff(self.switch);
        // Counts are to say where the carriage is when it has come from below. A switch at the
        // lower end is met from above, with the drive's slack on the other side.
        let edge = match self.toward() {
            Toward::Negative => self.switch.saturating_sub(self.slack),
            Toward::Positive => self.switch,
        };
        HomeOrder {
            axis: AxisIndex(self.channel),
            fast,
            slow: self.slow.min(fast),
            search: span
                .saturating_add(span / 10)
                .saturating_add(gap)
                .saturating_add(slack),
            back_off: gap
                .saturating_add(stop)
                .saturating_add(slack.saturating_mul(2)),
            clear: (gap / 2).max(1),
            edge: Steps(edge),
        }
    }

    /// Upper bound of the steps from a speed to rest: half the speed times the time, which is at
    /// most `v/a + a/j` or `2 sqrt(v/j)`, whichever shape the ramp has.
    fn stop(&self, speed: u32) -> u64 {
        let speed = f64::from(speed);
        let acceleration = f64::from(self.acceleration.max(1));
        let jerk = f64::from(self.jerk.max(1));
        let time = (speed / acceleration + acceleration / jerk).max(2.0 * (speed / jerk).sqrt());
        (speed * time / 2.0).ceil() as u64
    }
}
