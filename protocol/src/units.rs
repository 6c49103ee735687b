//! Numbers with a meaning: a step is not a tick, a frame is neither.

use postcard::experimental::max_size::MaxSize;
use postcard_schema::Schema;
use serde::{Deserialize, Serialize};

use crate::MAX_AXES;

macro_rules! number {
    ($(#[$doc:meta])* $name:ident($inner:ty)) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash,
            Serialize, Deserialize, MaxSize, Schema,
        )]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub struct $name(pub $inner);
    };
}

number! {
    /// Position or distance of one axis in motor steps (microsteps, as the driver counts them).
    /// Positions count from the axis's zero, positive toward its positive end.
    Steps(i32)
}
number! {
    /// Duration in ticks of the board's clock; the board's [`Identity`](crate::Identity) gives
    /// their rate in hertz.
    Ticks(u32)
}
number! {
    /// Number of an axis on its board, from 0.
    AxisIndex(u8)
}
number! {
    /// A set of axes of one board, bit `n` for axis `n`.
    AxisMask(u8)
}
number! {
    /// Drawn afresh at every start of a board. A different one means that the board has been
    /// reset in between: nothing it was told or had counted before still holds.
    BootId(u64)
}
number! {
    /// One host's spell of talking to a board. Each new one is greater than the last.
    SessionId(u32)
}
number! {
    /// Number of a request within its session, rising by one.
    RequestId(u32)
}
number! {
    /// Names one take to the board, drawn at random by the host. Tokens belong to it.
    ShotId(u64)
}

/// Permission for one closing of the shutter. Never fired twice.
///
/// Ordered by slot, then attempt.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    PartialOrd,
    Ord,
    Hash,
    Serialize,
    Deserialize,
    MaxSize,
    Schema,
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Token {
    /// Which intended exposure of the take, from 1. Slot 0 comes before every exposure.
    pub slot: u32,
    /// Which try at it, from 1.
    pub attempt: u16,
}

impl AxisIndex {
    /// The axis's place in a table of axes, or `None` where no board can have that many.
    #[must_use]
    pub fn index(self) -> Option<usize> {
        let index = usize::from(self.0);
        (index < MAX_AXES).then_some(index)
    }
}

impl AxisMask {
    /// No axis.
    pub const NONE: Self = Self(0);

    /// The first `count` axes (all of them where `count` is greater than a board can have).
    #[must_use]
    pub const fn first(count: usize) -> Self {
        if count >= 8 {
            Self(u8::MAX)
        } else {
            Self((1 << count) - 1)
        }
    }

    /// Whether the axis is in the set.
    #[must_use]
    pub const fn contains(self, axis: usize) -> bool {
        axis < MAX_AXES && self.0 & (1 << axis) != 0
    }

    /// Puts the axis into the set; an axis no board can have is ignored.
    pub const fn insert(&mut self, axis: usize) {
        if axis < MAX_AXES {
            self.0 |= 1 << axis;
        }
    }

    /// Takes the axis out of the set.
    pub const fn remove(&mut self, axis: usize) {
        if axis < MAX_AXES {
            self.0 &= !(1 << axis);
        }
    }

    /// Whether no axis is in the set.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The axes in the set, lowest first.
    pub fn iter(self) -> impl Iterator<Item = usize> {
        (0..MAX_AXES).filter(move |&axis| self.contains(axis))
    }
}
