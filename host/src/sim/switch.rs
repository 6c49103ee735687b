//! A limit switch: trips where the carriage reaches it, opens again a little farther back, and
//! its contact bounces.

use super::fault::SwitchFault;

/// Which side of the axis a switch guards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    /// Trips at its place and below it.
    Low,
    /// Trips at its place and above it.
    High,
}

/// A switch, wired normally closed.
#[derive(Clone, Debug)]
pub(super) struct Switch {
    place: f64,
    side: Side,
    hysteresis: f64,
    /// Whether the lever is pressed.
    pressed: bool,
    /// Whether the circuit is open, the bouncing of the contact included.
    open: bool,
    /// Counts presses and releases of the lever.
    swing: u32,
    fault: Option<SwitchFault>,
    /// Whether it has ever been other than it was built.
    pub(super) suspect: bool,
}

impl Switch {
    pub(super) fn new(place: f64, side: Side, hysteresis: f64, carriage: f64) -> Self {
        let mut switch = Self {
            place,
            side,
            hysteresis,
            pressed: false,
            open: false,
            swing: 0,
            fault: None,
            suspect: false,
        };
        switch.pressed = switch.depth(carriage) >= 0.0;
        switch.open = switch.pressed;
        switch
    }

    /// How far the carriage is beyond the place where the switch trips.
    fn depth(&self, carriage: f64) -> f64 {
        match self.side {
            Side::Low => self.place - carriage,
            Side::High => carriage - self.place,
        }
    }

    /// Follows the carriage; returns whether the lever has just gone over.
    pub(super) fn follow(&mut self, carriage: f64) -> bool {
        let depth = self.depth(carriage);
        let pressed = if self.pressed {
            depth > -self.hysteresis
        } else {
            depth >= 0.0
        };
        let swung = pressed != self.pressed;
        if swung {
            self.pressed = pressed;
            self.swing = self.swing.wrapping_add(1);
        }
        swung
    }

    pub(super) const fn pressed(&self) -> bool {
        self.pressed
    }

    pub(super) const fn swing(&self) -> u32 {
        self.swing
    }

    /// An edge of the contact; one that belongs to an earlier swing is void.
    pub(super) const fn edge(&mut self, swing: u32, open: bool) {
        if swing == self.swing {
            self.open = open;
        }
    }

    pub(super) const fn set_fault(&mut self, fault: Option<SwitchFault>) {
        self.fault = fault;
        self.suspect = true;
    }

    /// Its bracket slips.
    pub(super) fn shift(&mut self, by: f64) {
        self.place += by;
        self.suspect = true;
    }

    pub(super) const fn side(&self) -> Side {
        self.side
    }

    /// What the board reads.
    pub(super) const fn tripped(&self) -> bool {
        match self.fault {
            Some(SwitchFault::BrokenWire) => true,
            Some(SwitchFault::Stuck) => false,
            None => self.open,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Side, Switch};

    #[test]
    fn trips_at_its_place_and_opens_a_hysteresis_farther_back() {
        for (side, sign) in [(Side::Low, -1.0), (Side::High, 1.0)] {
            let mut switch = Switch::new(sign * 10.0, side, 0.5, 0.0);
            assert!(!switch.follow(sign * 9.99));
            assert!(switch.follow(sign * 10.0));
            assert!(switch.pressed());
            assert!(!switch.follow(sign * 9.6));
            assert!(switch.follow(sign * 9.5));
            assert!(!switch.pressed());
            assert!(!switch.follow(sign * 9.9));
        }
    }
}
