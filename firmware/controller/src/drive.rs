//! From a path to pulses: direction lines ahead of them, counters behind them.

use panestep_protocol::{AxisMask, MAX_AXES};

use crate::hardware::StepPort;
use crate::motion::Path;

/// What the next tick of a move is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// The direction lines are to be changed, as soon as the last pulse is long enough ago.
    Turn,
    /// The direction lines are set; this many ticks are left before the first pulse may come.
    Lead(u32),
    /// Pulses.
    Run,
}

/// Runs one move at a time and counts its steps.
#[derive(Debug)]
pub(crate) struct Drive {
    stage: Stage,
    path: Path,
    /// Axes under way, and those of them whose counter rises.
    axes: AxisMask,
    positive: AxisMask,
    /// The direction lines as they are, and as the move needs them: high where the bit is set.
    lines: AxisMask,
    wanted: AxisMask,
    /// Without the steps of the path: it counts them itself.
    positions: [i32; MAX_AXES],
    /// Ticks that a direction line must wait yet after the last pulse on any axis, and a pulse after
    /// the last change of a direction line; while pulses come, the latter is 0.
    hold_turn: u32,
    hold_step: u32,
    /// Ticks between a change of a direction line and a pulse, either way round.
    setup: u32,
}

impl Drive {
    pub(crate) const fn new(setup: u32) -> Self {
        Self {
            path: Path::idle(),
            stage: Stage::Run,
            axes: AxisMask::NONE,
            positive: AxisMask::NONE,
            lines: AxisMask::NONE,
            wanted: AxisMask::NONE,
            positions: [0; MAX_AXES],
            hold_turn: 0,
            // The lines were set at the start.
            hold_step: setup,
            setup,
        }
    }

    /// Takes over a path that has just begun and returns the ticks until it is over, or `None` where
    /// another one is under way. `reversed`: axes whose line is low when their counter rises.
    pub(crate) fn begin(&mut self, path: &Path, reversed: AxisMask) -> Option<u32> {
        if self.path.is_moving() {
            return None;
        }
        for axis in 0..MAX_AXES {
            self.settle(axis);
        }
        self.path.take_over(path);
        self.axes = self.path.axes();
        self.positive = self.path.directions();
        let high = self.positive.0 ^ reversed.0;
        self.wanted = AxisMask((self.lines.0 & !self.axes.0) | (high & self.axes.0));
        let way = self.path.ticks_left().unwrap_or(0);
        let lead = if self.axes.is_empty() {
            self.stage = Stage::Run;
            0
        } else if self.wanted == self.lines {
            // A move cut short before its first pulse may have changed them just now.
            let lead = self.hold_step.saturating_sub(1);
            self.stage = Stage::Lead(lead.saturating_add(1));
            lead
        } else {
            self.stage = Stage::Turn;
            // The lines change at the first tick at the earliest.
            let wait = self.hold_turn.saturating_sub(1);
            wait.saturating_add(self.setup)
        };
        Some(lead.saturating_add(way))
    }

    /// One tick: sends the pulses that are due.
    #[inline]
    pub(crate) fn tick(&mut self, port: &mut impl StepPort) {
        if !self.path.is_moving() {
            self.skip(1);
            return;
        }
        if self.stage != Stage::Run && !self.leads(port) {
            return;
        }
        let stepping = self.path.tick();
        if stepping.is_empty() {
            self.hold_turn = self.hold_turn.saturating_sub(1);
        } else {
            port.step(stepping);
            self.hold_turn = self.setup;
        }
    }

    /// Before the first pulse: whether it may come at this tick.
    #[inline(never)]
    fn leads(&mut self, port: &mut impl StepPort) -> bool {
        self.skip(1);
        if self.stage == Stage::Turn {
            if self.hold_turn > 0 {
                return false;
            }
            port.directions(self.wanted);
            self.lines = self.wanted;
            self.hold_step = self.setup;
            self.stage = Stage::Lead(self.setup.saturating_add(1));
        }
        if let Stage::Lead(left) = self.stage {
            let left = left.saturating_sub(1);
            if left > 0 {
                self.stage = Stage::Lead(left);
                return false;
            }
            self.stage = Stage::Run;
        }
        true
    }

    /// Whether time that goes by without a pulse changes anything.
    pub(crate) const fn is_holding(&self) -> bool {
        self.hold_turn > 0 || self.hold_step > 0
    }

    /// Time goes by without a pulse.
    #[inline]
    pub(crate) const fn skip(&mut self, ticks: u32) {
        self.hold_turn = self.hold_turn.saturating_sub(ticks);
        self.hold_step = self.hold_step.saturating_sub(ticks);
    }

    /// A controlled stop; at once where no pulse has been sent yet.
    pub(crate) fn brake(&mut self) {
        if self.stage == Stage::Run {
            self.path.brake();
        } else {
            self.path.halt();
        }
    }

    /// Not a pulse more.
    pub(crate) fn halt(&mut self) {
        self.path.halt();
    }

    /// Not a pulse more on this axis.
    pub(crate) fn drop_axis(&mut self, axis: usize) {
        self.settle(axis);
        self.path.drop_axis(axis);
        self.axes.remove(axis);
    }

    pub(crate) const fn is_moving(&self) -> bool {
        self.path.is_moving()
    }

    /// Axes of the move under way, or else of the last one.
    pub(crate) const fn axes(&self) -> AxisMask {
        self.axes
    }

    /// Axes of the move under way, or else of the last one, whose counters rise, and those whose
    /// counters fall.
    pub(crate) const fn ways(&self) -> (AxisMask, AxisMask) {
        let rising = self.axes.0 & self.positive.0;
        (AxisMask(rising), AxisMask(self.axes.0 & !rising))
    }

    /// Where an axis stands. One that has not been homed may be nudged round and round.
    #[inline]
    pub(crate) fn position(&self, axis: usize) -> i32 {
        let position = self.positions.get(axis).copied().unwrap_or(0);
        position.wrapping_add(self.path.taken(axis))
    }

    pub(crate) fn set_position(&mut self, axis: usize, position: i32) {
        let by = position.wrapping_sub(self.position(axis));
        if let Some(place) = self.positions.get_mut(axis) {
            *place = place.wrapping_add(by);
        }
    }

    /// Before the path forgets what an axis has gone: enters it.
    fn settle(&mut self, axis: usize) {
        let position = self.position(axis);
        if let Some(place) = self.positions.get_mut(axis) {
            *place = position;
        }
    }
}
