//! What the service may ask of the core between two ticks: every order with what speaks against
//! it. A refused order changes nothing.

use panestep_protocol::{
    Activity, AxisIndex, AxisMask, AxisSettings, AxisTarget, ExposureFact, FireOrder,
    GuardSettings, Halt, HomingFault, MAX_AXES, Mark, NudgeOrder, Refusal, ShotId, Steps, Ticks,
    Token, Toward,
};

use super::{Core, LONGEST_SILENCE, Task};
use crate::guard;
use crate::hardware::Hardware;
use crate::homing::{HomePlan, Search};
use crate::log;
use crate::motion::{Path, Profile};

impl<H: Hardware> Core<H> {
    /// What the mark that survives a reset says.
    pub(crate) fn mark(&mut self) -> Option<Mark> {
        self.hardware.mark()
    }

    /// A sound message of this session has arrived.
    pub(crate) const fn heard(&mut self) {
        self.guard.heard(self.now);
    }

    pub(crate) fn configure(&mut self, settings: AxisSettings) -> Result<(), Refusal> {
        let axis = settings.axis;
        let index = self.index(axis)?;
        self.idle()?;
        let span = settings.greatest.0.checked_sub(settings.least.0);
        let limits = [settings.acceleration, settings.jerk, settings.slow];
        if limits.contains(&0) || settings.slow > settings.speed || span.is_none_or(|span| span < 0)
        {
            return Err(Refusal::BadValue(axis));
        }
        if settings.speed > self.tick_rate {
            return Err(Refusal::TooFast(axis));
        }
        let Some(place) = self.settings.get_mut(index) else {
            return Err(Refusal::NoAxis(axis));
        };
        let known = place.replace(settings);
        self.configured.insert(index);
        // A host that comes back sets up anew what it finds: that alone loses no position.
        if known
            .is_none_or(|known| (known.reversed, known.home) != (settings.reversed, settings.home))
        {
            self.homed.remove(index);
        }
        self.home_above.remove(index);
        if settings.home == Toward::Positive {
            self.home_above.insert(index);
        }
        self.reversed.remove(index);
        if settings.reversed {
            self.reversed.insert(index);
        }
        Ok(())
    }

    pub(crate) fn guards(&mut self, settings: GuardSettings) -> Result<(), Refusal> {
        self.idle()?;
        if settings.silence.0 > self.tick_rate.saturating_mul(LONGEST_SILENCE) {
            return Err(Refusal::BadTime);
        }
        self.guard.settings = settings;
        Ok(())
    }

    pub(crate) fn switch_drivers(&mut self, on: bool) -> Result<(), Refusal> {
        self.idle()?;
        if on && let Some(Halt::Stop) = self.guard.halt {
            return Err(Refusal::Halted(Halt::Stop));
        }
        if !on {
            self.homed = AxisMask::NONE;
        }
        if on != self.drivers {
            self.drivers = on;
            self.hardware.drivers(on);
            // A motor that is switched on jumps to its nearest full step.
            self.still = 0;
        }
        Ok(())
    }

    /// Whether this move could begin now.
    pub(crate) fn may_move(&self, targets: &[AxisTarget]) -> Result<[i32; MAX_AXES], Refusal> {
        let mut steps = [0; MAX_AXES];
        let mut named = AxisMask::NONE;
        for target in targets {
            let index = self.index(target.axis)?;
            self.known(target.axis)?;
            if named.contains(index) {
                return Err(Refusal::BadValue(target.axis));
            }
            named.insert(index);
        }
        self.ready()?;
        let lost = AxisMask(named.0 & !self.homed.0);
        if !lost.is_empty() {
            return Err(Refusal::NotHomed(lost));
        }
        for target in targets {
            let settings = self.known(target.axis)?;
            self.there(target.axis, target.from)?;
            if target.to < settings.least || target.to > settings.greatest {
                return Err(Refusal::OutsideTravel(target.axis));
            }
            let way = target.to.0.checked_sub(target.from.0);
            let way = way.ok_or(Refusal::BadValue(target.axis))?;
            if way != 0 {
                self.clear_of_switches(target.axis)?;
            }
            if let Some(place) = steps.get_mut(self.index(target.axis)?) {
                *place = way;
            }
        }
        Ok(steps)
    }

    /// Begins a move, if it still can; the ticks until rest. `path`: begun over the steps that
    /// [`Core::may_move`] gave for these targets.
    pub(crate) fn begin_move(
        &mut self,
        targets: &[AxisTarget],
        path: &Path,
    ) -> Result<Ticks, Refusal> {
        self.may_move(targets)?;
        self.begin(path)
    }

    /// Whether this nudge could begin now.
    pub(crate) fn may_nudge(&self, order: &NudgeOrder) -> Result<[i32; MAX_AXES], Refusal> {
        let settings = self.known(order.axis)?;
        let index = self.index(order.axis)?;
        self.ready()?;
        self.there(order.axis, order.from)?;
        let to = order.from.0.checked_add(order.by.0);
        let to = to.ok_or(Refusal::OutsideTravel(order.axis))?;
        let travel = settings.least.0..=settings.greatest.0;
        if self.homed.contains(index) && !travel.contains(&to) {
            return Err(Refusal::OutsideTravel(order.axis));
        }
        self.open_ahead(order.axis, order.by.0)?;
        let mut steps = [0; MAX_AXES];
        if let Some(place) = steps.get_mut(index) {
            *place = order.by.0;
        }
        Ok(steps)
    }

    /// Begins a nudge, if it still can; the ticks until rest. `path`: begun over the steps that
    /// [`Core::may_nudge`] gave for this order.
    pub(crate) fn begin_nudge(
        &mut self,
        order: &NudgeOrder,
        path: &Path,
    ) -> Result<Ticks, Refusal> {
        self.may_nudge(order)?;
        self.begin(path)
    }

    /// Whether this axis could be homed now, or checked where it is to `keep` its count.
    pub(crate) fn may_home(&self, axis: AxisIndex, keep: bool) -> Result<(), Refusal> {
        self.known(axis)?;
        let index = self.index(axis)?;
        self.ready()?;
        if keep && !self.homed.contains(index) {
            let mut lost = AxisMask::NONE;
            lost.insert(index);
            return Err(Refusal::NotHomed(lost));
        }
        if self.switches.home.contains(index) && self.switches.far.contains(index) {
            // No axis is at both ends: a wire is broken.
            return Err(Refusal::SwitchTripped(axis));
        }
        Ok(())
    }

    /// Begins a homing or a check, if it still can. Until it has found the switch the axis is not
    /// homed: a check that is cut short leaves a count that nothing has confirmed.
    pub(crate) fn begin_homing(&mut self, plan: HomePlan) -> Result<(), Refusal> {
        let axis = plan.order.axis;
        self.may_home(axis, plan.keep)?;
        let index = self.index(axis)?;
        self.homed.remove(index);
        self.leaving = self.switches;
        self.search = Some(Search::new(
            plan,
            self.switches.home.contains(index),
            self.switches.far.contains(index),
            self.tick_rate,
        ));
        self.expected = AxisMask::NONE;
        self.expected.insert(index);
        self.task = Task::Homing;
        Ok(())
    }

    /// The steps that a homing waits to be set out on, and their profile.
    pub(crate) fn wanted(&self) -> Option<([i32; MAX_AXES], Profile)> {
        if self.task != Task::Homing {
            return None;
        }
        let search = self.search.as_ref()?;
        let (away, profile) = search.wanted()?;
        let axis = usize::from(search.axis().0);
        let mut steps = [0; MAX_AXES];
        *steps.get_mut(axis)? = if self.home_above.contains(axis) {
            away.wrapping_neg()
        } else {
            away
        };
        Some((steps, profile))
    }

    /// Sets a homing out on a path of the steps that it waits for.
    pub(crate) fn set_out(&mut self, path: &Path) {
        // The homing may be over meanwhile.
        if self.wanted().is_none() {
            return;
        }
        let begun = self.drive.begin(path, self.reversed).is_some();
        if let Some(search) = &mut self.search {
            search.set_out();
            if !begun {
                // Not reached: a homing that waits is at rest.
                let plan = *search.plan();
                self.fail(&plan, HomingFault::Interrupted);
            }
        }
    }

    /// The host asks for a halt.
    pub(crate) fn ask_halt(&mut self) {
        self.controlled_stop(Halt::Asked);
    }

    /// A person has seen why the board halted.
    pub(crate) fn acknowledge(&mut self) -> Result<(), Refusal> {
        if self.task == Task::Stopping {
            return Err(Refusal::Busy(Activity::Stopping));
        }
        if self.switches.stop {
            return Err(Refusal::Halted(Halt::Stop));
        }
        self.guard.halt = None;
        Ok(())
    }

    pub(crate) fn open_shot(&mut self, shot: ShotId, spent: Token) -> Result<(), Refusal> {
        if self.shutter.open_shot(shot, spent) {
            Ok(())
        } else {
            Err(Refusal::Busy(Activity::Exposing))
        }
    }

    pub(crate) fn fire(&mut self, order: &FireOrder) -> Result<Ticks, Refusal> {
        self.shutter.may_fire(order)?;
        self.idle()?;
        if let Some(halt) = self.guard.halt {
            return Err(Refusal::Halted(halt));
        }
        let configured = self.configured;
        if !configured.is_empty() && !self.drivers {
            return Err(Refusal::DriversOff);
        }
        let lost = AxisMask(configured.0 & !self.homed.0);
        if !lost.is_empty() {
            return Err(Refusal::NotHomed(lost));
        }
        let wait = self.guard.settings.settle.0.saturating_sub(self.still);
        if wait > 0 {
            return Err(Refusal::NotSettled { wait: Ticks(wait) });
        }
        let way = self.shutter.fire(order, &mut self.hardware)?;
        self.counting = true;
        log::info!("exposure {} begins", order.token);
        Ok(way)
    }

    pub(crate) fn fence(&mut self, shot: ShotId, token: Token) -> ExposureFact {
        self.shutter.fence(shot, token)
    }

    pub(crate) fn lamps(&mut self, on: u8) {
        self.hardware.lamps(on);
    }

    pub(super) fn index(&self, axis: AxisIndex) -> Result<usize, Refusal> {
        axis.index()
            .filter(|&index| index < self.axes)
            .ok_or(Refusal::NoAxis(axis))
    }

    pub(super) fn idle(&self) -> Result<(), Refusal> {
        match self.activity() {
            Activity::Idle => Ok(()),
            activity => Err(Refusal::Busy(activity)),
        }
    }

    /// Nothing is under way, nothing has halted it, the motors hold.
    pub(super) fn ready(&self) -> Result<(), Refusal> {
        self.idle()?;
        if let Some(halt) = self.guard.halt {
            return Err(Refusal::Halted(halt));
        }
        if !self.drivers {
            return Err(Refusal::DriversOff);
        }
        Ok(())
    }

    pub(super) fn there(&self, axis: AxisIndex, from: Steps) -> Result<(), Refusal> {
        let at = self.position(axis)?;
        if at == from {
            Ok(())
        } else {
            Err(Refusal::NotThere { axis, at })
        }
    }

    /// The switch at the end that this way leads to is not tripped.
    pub(super) fn open_ahead(&self, axis: AxisIndex, way: i32) -> Result<(), Refusal> {
        let one = AxisMask(
            AxisMask::first(self.index(axis)?.saturating_add(1)).0
                & !AxisMask::first(self.index(axis)?).0,
        );
        let ways = match way {
            0 => return Ok(()),
            1.. => (one, AxisMask::NONE),
            _ => (AxisMask::NONE, one),
        };
        if guard::collisions(ways, self.switches, self.home_above).is_empty() {
            Ok(())
        } else {
            Err(Refusal::SwitchTripped(axis))
        }
    }

    /// Where an axis stands by its count.
    pub(crate) fn position(&self, axis: AxisIndex) -> Result<Steps, Refusal> {
        Ok(Steps(self.drive.position(self.index(axis)?)))
    }

    /// None of the axis's switches is tripped. Within its travel none may be; out of a tripped one
    /// the way is slow, by a nudge.
    pub(super) fn clear_of_switches(&self, axis: AxisIndex) -> Result<(), Refusal> {
        let index = self.index(axis)?;
        if self.switches.home.contains(index) || self.switches.far.contains(index) {
            return Err(Refusal::SwitchTripped(axis));
        }
        Ok(())
    }

    pub(super) fn begin(&mut self, path: &Path) -> Result<Ticks, Refusal> {
        // Not reached: nothing moves, that has been made sure of.
        let busy = Refusal::Busy(Activity::Moving);
        let way = self.drive.begin(path, self.reversed).ok_or(busy)?;
        self.leaving = self.switches;
        if self.drive.is_moving() {
            self.task = Task::Moving;
        }
        Ok(Ticks(way))
    }
}
