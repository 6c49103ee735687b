//! Looking for a home switch.
//!
//! Fast up to the switch, back off slowly until it opens, slowly up to it again: the step at
//! which it trips there is the edge, and the counter is set by it. Then off the switch again.
//!
//! Contacts bounce. Wherever a reading decides something, the axis first stops, at the very tick,
//! and waits until the switch has read the same for `Search::steady` ticks; only then is the
//! reading believed. Where it was a passing one, the search goes on with what is left of it. The
//! edge is therefore always the step of the first reading of a switch that then stayed tripped.
//!
//! An axis that stands on its home switch begins with backing off. One that stands on the switch
//! at the other end first leaves that one, slowly: were its motor wired the wrong way round, it
//! would otherwise run into the end at full speed.
//!
//! A check goes the same way and looks as closely, but the counter stays as it is: it says where
//! the edge is by the count, and whether that is where it ought to be is for the host to judge.

use panestep_protocol::answer::HomeFound;
use panestep_protocol::{AxisIndex, HomeOrder, HomingFault, RequestId, Steps};

use crate::motion::Profile;

/// An order, and the profiles for its parts, planned beforehand.
#[derive(Clone, Copy, Debug)]
pub struct HomePlan {
    /// The order.
    pub order: HomeOrder,
    /// The request that asked for it.
    pub request: RequestId,
    /// Whether the counter is kept: a check.
    pub keep: bool,
    /// Over [`HomeOrder::search`], ramped.
    pub fast: Profile,
    /// Over [`HomeOrder::back_off`], slow.
    pub off: Profile,
    /// Over [`HomePlan::approach`], slow.
    pub on: Profile,
    /// Over [`HomeOrder::clear`], slow.
    pub clear: Profile,
}

impl HomePlan {
    /// Length of the slow approach at the most: back over the back-off, and as much again for the
    /// slack of the drive.
    #[must_use]
    pub const fn approach(order: &HomeOrder) -> u32 {
        order.back_off.saturating_mul(2)
    }
}

/// Which part of the search is under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// Off the switch at the other end, toward home.
    LeaveFar,
    /// Fast toward home until the switch trips.
    Fast,
    /// Slowly away until it opens.
    BackOff,
    /// Slowly toward home until it trips.
    Approach,
    /// Slowly away until it opens.
    Leave,
    /// Slowly away from the opening.
    Clear,
}

/// What goes on within a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// About to move.
    Begin,
    /// Moving, looking out.
    Seek,
    /// Coming to rest, or at rest: for how long the reading has been the same, and for how long
    /// it has been waited for in all.
    Settle { same: u32, all: u32 },
}

/// What the axis is to do at this tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Act {
    /// Nothing new.
    Nothing,
    /// Come to a controlled stop.
    Brake,
    /// Stop at once.
    Halt,
    /// The counter is to be set so that this place is the order's edge.
    Edge,
    /// Over and done.
    Found(HomeFound),
    /// Over; stop at once where it still moves.
    Failed(HomingFault),
}

/// What the axis has to go by at this tick.
#[derive(Clone, Copy, Debug)]
pub(crate) struct View {
    /// Whether the axis's home switch is tripped, and the one at the other end.
    pub(crate) home: bool,
    pub(crate) far: bool,
    /// Whether it moves.
    pub(crate) moving: bool,
}

/// One search under way.
#[derive(Debug)]
pub(crate) struct Search {
    plan: HomePlan,
    phase: Phase,
    stage: Stage,
    /// The way that the axis is to go next, before it has set out: see [`Search::wanted`].
    wanted: Option<(i32, Profile)>,
    /// Where this part of the search began.
    start: i32,
    /// The reading at the last tick.
    last: bool,
    /// Where it tripped on the slow approach, by the counter before and by the counter since;
    /// the opening, less the edge.
    was: i32,
    edge: i32,
    opened: i32,
    /// Ticks for which a reading must stay the same to be believed, and longest wait for that.
    steady: u32,
    patience: u32,
}

impl Search {
    pub(crate) fn new(plan: HomePlan, home: bool, far: bool, tick_rate: u32) -> Self {
        let phase = match (home, far) {
            (true, _) => Phase::BackOff,
            (false, true) => Phase::LeaveFar,
            (false, false) => Phase::Fast,
        };
        Self {
            plan,
            phase,
            stage: Stage::Begin,
            wanted: None,
            start: 0,
            last: false,
            was: 0,
            edge: 0,
            opened: 0,
            // Small switches bounce for some 2 ms, seldom for more than 6 (J. Ganssle, "A Guide
            // to Debouncing"; from memory).
            steady: (tick_rate / 100).max(2),
            patience: tick_rate.max(4),
        }
    }

    pub(crate) const fn axis(&self) -> AxisIndex {
        self.plan.order.axis
    }

    pub(crate) const fn plan(&self) -> &HomePlan {
        &self.plan
    }

    /// The way to go, at rest, that the search waits for, and its profile: steps away from the home
    /// switch where positive, toward it where negative. A path is begun with a division, for which a
    /// tick has no time; so somebody else begins it, whenever they come round to it.
    pub(crate) const fn wanted(&self) -> Option<(i32, Profile)> {
        self.wanted
    }

    /// The axis has set out on the way that was wanted.
    pub(crate) const fn set_out(&mut self) {
        self.wanted = None;
    }

    /// One tick, before the axis moves on.
    /// `position` is asked for the axis's counter, at few ticks: it is not to be had for nothing.
    pub(crate) fn tick(&mut self, view: View, position: impl FnOnce() -> i32) -> Act {
        if self.wanted.is_some() {
            return Act::Nothing;
        }
        // Toward home the other end's switch must not come first.
        if view.far && view.moving && matches!(self.phase, Phase::Fast | Phase::Approach) {
            return Act::Failed(HomingFault::OtherEnd);
        }
        if view.home && self.phase == Phase::LeaveFar {
            return Act::Failed(HomingFault::NeverOpens);
        }
        match self.stage {
            Stage::Begin => self.begin(position()),
            Stage::Seek => self.seek(view),
            Stage::Settle { same, all } => self.settle(view, position, same, all),
        }
    }

    /// The length of this part, its profile, and the fault where it ends without a finding.
    const fn part(&self) -> (u32, Profile, HomingFault) {
        let (plan, order) = (&self.plan, &self.plan.order);
        match self.phase {
            Phase::LeaveFar => (order.back_off, plan.off, HomingFault::OtherEnd),
            Phase::Fast => (order.search, plan.fast, HomingFault::NotFound),
            Phase::BackOff | Phase::Leave => (order.back_off, plan.off, HomingFault::NeverOpens),
            Phase::Approach => (HomePlan::approach(order), plan.on, HomingFault::NotFound),
            Phase::Clear => (order.clear, plan.clear, HomingFault::NeverOpens),
        }
    }

    /// The reading that this part looks at, and the one that it looks for.
    const fn reading(&self, view: View) -> (bool, bool) {
        match self.phase {
            Phase::LeaveFar => (view.far, false),
            Phase::Fast | Phase::Approach => (view.home, true),
            Phase::BackOff | Phase::Leave | Phase::Clear => (view.home, false),
        }
    }

    const fn toward_home(&self) -> bool {
        matches!(self.phase, Phase::LeaveFar | Phase::Fast | Phase::Approach)
    }

    fn begin(&mut self, position: i32) -> Act {
        self.start = position;
        let (length, _, _) = self.part();
        self.go(length)
    }

    /// Goes on for so many steps. The profile was planned for the whole part; over a shorter way
    /// it is as long and so much gentler.
    fn go(&mut self, length: u32) -> Act {
        let (_, profile, fault) = self.part();
        let Ok(way) = i32::try_from(length) else {
            return Act::Failed(fault);
        };
        self.stage = Stage::Seek;
        let way = if self.toward_home() {
            way.wrapping_neg()
        } else {
            way
        };
        self.wanted = Some((way, profile));
        Act::Nothing
    }

    fn seek(&mut self, view: View) -> Act {
        let (reading, sought) = self.reading(view);
        if self.phase == Phase::Clear {
            if view.moving {
                return Act::Nothing;
            }
            return Act::Found(HomeFound {
                was: Steps(self.was),
                opened: Steps(self.opened),
            });
        }
        if reading == sought {
            self.last = reading;
            self.stage = Stage::Settle { same: 0, all: 0 };
            return if self.phase == Phase::Fast {
                Act::Brake
            } else {
                Act::Halt
            };
        }
        if view.moving {
            return Act::Nothing;
        }
        // The last step may be what trips the switch: give it the time to.
        self.last = reading;
        self.stage = Stage::Settle { same: 0, all: 0 };
        Act::Nothing
    }

    fn settle(&mut self, view: View, position: impl FnOnce() -> i32, same: u32, all: u32) -> Act {
        let (reading, sought) = self.reading(view);
        if view.moving {
            // Still braking: what counts is how it reads at rest.
            self.last = reading;
            return Act::Nothing;
        }
        let same = if reading == self.last {
            same.saturating_add(1)
        } else {
            0
        };
        let all = all.saturating_add(1);
        self.last = reading;
        let (length, _, fault) = self.part();
        if all > self.patience {
            return Act::Failed(fault);
        }
        if same < self.steady {
            self.stage = Stage::Settle { same, all };
            return Act::Nothing;
        }
        let position = position();
        if reading == sought {
            return self.next(position);
        }
        let gone = position.wrapping_sub(self.start).unsigned_abs();
        match length.saturating_sub(gone) {
            0 => Act::Failed(fault),
            left => self.go(left),
        }
    }

    /// The part has found what it looked for.
    fn next(&mut self, position: i32) -> Act {
        self.stage = Stage::Begin;
        match self.phase {
            Phase::LeaveFar => self.phase = Phase::Fast,
            Phase::Fast => self.phase = Phase::BackOff,
            Phase::BackOff => self.phase = Phase::Approach,
            Phase::Approach => {
                self.was = position;
                self.phase = Phase::Leave;
                if self.plan.keep {
                    self.edge = position;
                } else {
                    self.edge = self.plan.order.edge.0;
                    return Act::Edge;
                }
            }
            Phase::Leave => {
                self.opened = position.wrapping_sub(self.edge);
                self.phase = Phase::Clear;
            }
            Phase::Clear => {}
        }
        Act::Nothing
    }
}
