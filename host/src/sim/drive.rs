//! One motor and its screw: step pulses in, a carriage that moves out.

use super::switch::Switch;

/// Pulses over which a speed is measured.
pub(super) const WINDOW: usize = 16;

/// What a pulse did.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pulse {
    /// The motor made its step.
    Made,
    /// It did not.
    Lost,
    /// The carriage stands at a mechanical end: the motor could not.
    Blocked,
}

/// A motor, its screw and its carriage. Positions are in the axis's unit, from its true zero.
#[derive(Clone, Debug)]
pub(super) struct Drive {
    /// Steps for one unit of travel.
    pub(super) steps_per_unit: f64,
    /// Whether the motor turns toward greater positions while its direction line is high.
    pub(super) positive_when_high: bool,
    /// Slack between screw and carriage.
    pub(super) backlash: f64,
    /// Mechanical ends.
    pub(super) ends: (f64, f64),
    pub(super) home: Switch,
    pub(super) far: Option<Switch>,
    /// Whether the screw runs back under the load when the motor lets go.
    pub(super) runs_back: bool,

    /// Where the screw stood when the motor had made no step yet.
    pub(super) origin: f64,
    /// Steps the motor has made, with their sign.
    pub(super) turned: i64,
    /// Where the carriage is: up to the backlash behind the screw's leading flank.
    pub(super) carriage: f64,
    /// The direction line.
    pub(super) line_high: bool,
    /// Pulses received with the line low and high.
    pub(super) pulses: [u64; 2],
    /// Pulses that made no step, for whatever reason.
    pub(super) lost: u64,
    /// Pulses still to be lost.
    pub(super) to_lose: u32,
    /// Probability of losing a pulse.
    pub(super) chance: f64,
    /// Whether its driver makes no steps at all.
    pub(super) dead: bool,
    /// Since when pulses have come without a long pause.
    pub(super) running_since: u64,
    /// Upper bounds of the time and of the steps in which it comes to rest.
    pub(super) stop_time: u64,
    pub(super) stop_steps: u32,
    /// Since when a switch has read as tripped without a break, home and far; and the pulses
    /// toward the home one since.
    pub(super) tripped_since: [Option<u64>; 2],
    pub(super) into_home: u32,

    pub(super) last_pulse: Option<u64>,
    pub(super) last_turn: Option<u64>,
    /// When the last pulses came, oldest at `oldest`.
    pub(super) history: [u64; WINDOW],
    pub(super) oldest: usize,
    /// Least time in which so many pulses may come, ns.
    pub(super) least_span: u64,
}

impl Drive {
    pub(super) fn screw(&self) -> f64 {
        self.origin + self.turned as f64 / self.steps_per_unit
    }

    /// Turns the screw by one step, unless something is in the way.
    pub(super) fn pulse(&mut self, lose: bool) -> Pulse {
        self.pulses[usize::from(self.line_high)] += 1;
        if lose {
            self.lost += 1;
            return Pulse::Lost;
        }
        let step = if self.line_high == self.positive_when_high {
            1
        } else {
            -1
        };
        self.turned += step;
        let screw = self.screw();
        let carriage = self.pushed(screw);
        if carriage < self.ends.0 || carriage > self.ends.1 {
            self.turned -= step;
            self.lost += 1;
            return Pulse::Blocked;
        }
        self.carriage = carriage;
        Pulse::Made
    }

    /// The slack becomes another. The carriage stays where it is; where the screw is farther from it
    /// than that, it is the screw that comes along.
    pub(super) fn set_slack(&mut self, slack: f64) {
        self.backlash = slack.max(0.0);
        let ahead = self.carriage - self.screw() - self.backlash;
        self.origin += ahead.max(0.0);
    }

    /// Notes when a pulse came; returns the time in which the last [`WINDOW`] of them came.
    pub(super) const fn span(&mut self, now: u64) -> u64 {
        let first = std::mem::replace(&mut self.history[self.oldest], now);
        self.oldest = (self.oldest + 1) % WINDOW;
        now.saturating_sub(first)
    }

    /// Where the carriage is when the screw is here: it lags by up to the backlash when it is
    /// driven downward, and not at all when it is driven upward, so that a position reached from
    /// below is the screw's.
    fn pushed(&self, screw: f64) -> f64 {
        self.carriage.clamp(screw, screw + self.backlash)
    }

    /// Lets the carriage run back by a distance, the motor turning with it; returns whether it
    /// moved.
    pub(super) fn sink(&mut self, distance: f64) -> bool {
        let lowest = self.ends.0.max(self.carriage - distance);
        if lowest >= self.carriage {
            return false;
        }
        self.origin -= self.carriage - lowest;
        self.carriage = lowest;
        true
    }
}
