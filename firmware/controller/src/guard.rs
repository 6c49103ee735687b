//! What the board watches for on its own: which switches an axis runs into, how long the host has
//! been silent, and why it has halted.

use panestep_protocol::{AxisIndex, AxisMask, GuardSettings, Halt, Switches, Ticks, Toward};

/// The guards' memory.
#[derive(Debug)]
pub(crate) struct Guard {
    pub(crate) settings: GuardSettings,
    /// Why it refuses to move, until acknowledged.
    pub(crate) halt: Option<Halt>,
    /// The tick of the last sound message of this session.
    heard: u32,
}

impl Guard {
    /// Until the host sets them: half a second of silence, one second of rest.
    pub(crate) const fn new(tick_rate: u32) -> Self {
        Self {
            settings: GuardSettings {
                silence: Ticks(tick_rate / 2),
                settle: Ticks(tick_rate),
            },
            halt: None,
            heard: 0,
        }
    }

    pub(crate) const fn heard(&mut self, now: u32) {
        self.heard = now;
    }

    /// Whether the host has been silent for too long, where something moves. Nothing sets out but by
    /// a message, and nothing moves on for long after the last one: so long the ticks do not wrap round.
    pub(crate) const fn is_silent(&self, now: u32) -> bool {
        now.wrapping_sub(self.heard) > self.settings.silence.0
    }

    /// Latches a cause. A graver one takes the place of a lesser one; of two as grave, the first
    /// stays: it is the one that the person must hear of.
    pub(crate) fn latch(&mut self, cause: Halt) {
        if self
            .halt
            .is_none_or(|known| gravity(cause) > gravity(known))
        {
            self.halt = Some(cause);
        }
    }
}

/// How much of what the board knew is lost with a halt.
const fn gravity(halt: Halt) -> u8 {
    match halt {
        Halt::Asked | Halt::Silence => 0,
        Halt::Limit { .. } => 1,
        Halt::Stop => 2,
    }
}

/// The axes that run into a tripped switch at the end that they go to: those whose home switch it
/// is, and those whose switch at the other end. A switch that is tripped at the end that an axis
/// leaves is the way out. `home_above`: axes whose home switch is at the positive end.
pub(crate) const fn collisions(
    (rising, falling): (AxisMask, AxisMask),
    switches: Switches,
    home_above: AxisMask,
) -> AxisMask {
    let to_home = (rising.0 & home_above.0) | (falling.0 & !home_above.0);
    let to_far = (rising.0 & !home_above.0) | (falling.0 & home_above.0);
    AxisMask((to_home & switches.home.0) | (to_far & switches.far.0))
}

/// The axes whose switch at the end that they leave has tripped on the way. `leaving`: the switches
/// as they were when the axes set out; what was tripped then may chatter until it is left.
///
/// A switch that trips behind an axis means that its motor runs the wrong way round, or that the
/// wire has broken.
pub(crate) const fn tripped_behind(
    (rising, falling): (AxisMask, AxisMask),
    switches: Switches,
    leaving: Switches,
    home_above: AxisMask,
) -> AxisMask {
    let new = Switches {
        home: AxisMask(switches.home.0 & !leaving.home.0),
        far: AxisMask(switches.far.0 & !leaving.far.0),
        ..switches
    };
    // What is behind an axis is ahead of one that goes the other way.
    collisions((falling, rising), new, home_above)
}

/// The halt of an axis that ran into a switch at its positive end where it is in `above`, else at
/// its negative end.
pub(crate) const fn limit(axis: usize, above: AxisMask) -> Halt {
    Halt::Limit {
        // A set has no more than eight axes.
        axis: AxisIndex(axis as u8),
        toward: if above.contains(axis) {
            Toward::Positive
        } else {
            Toward::Negative
        },
    }
}
