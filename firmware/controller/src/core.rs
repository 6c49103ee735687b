//! Everything that happens at a tick, and everything that must not be changed in the middle of
//! one. On a board [`Core::tick`] runs in the timer's interrupt.
//!
//! A tick goes in this order, and the order is the guards' argument:
//!
//! 1. The inputs are read. With the stop circuit open nothing steps any more, from this very tick
//!    on. An axis that runs into a switch, outside a homing that looks for it, does not step at
//!    this tick either; nor does one whose switch at the other end trips while it moves. The tick
//!    after the last step still counts: that step may have been the one that trips it.
//! 2. The host's silence.
//! 3. Homing looks at the inputs: the axis stops at the step at which its switch tripped.
//! 4. Motion: direction lines, pulses, counters.
//! 5. The shutter. It and motion exclude each other: neither begins while the other is under way.
//!
//! Nothing here divides, with one exception: a homing that begins a part of its way, at rest,
//! divides once for its one axis. Moves and nudges are handed over as paths begun elsewhere.

use heapless::Vec;
use panestep_protocol::{
    Activity, AxisIndex, AxisMask, AxisSettings, AxisTarget, ExposureFact, FireOrder,
    GuardSettings, Halt, HomingFault, HomingReport, MAX_AXES, Mark, NudgeOrder, Refusal, ShotId,
    Status, Steps, Switches, Ticks, Token, Toward,
};

use crate::controller::Setup;
use crate::drive::Drive;
use crate::guard::{self, Guard};
use crate::hardware::Hardware;
use crate::homing::{Act, HomePlan, Search, View};
use crate::log;
use crate::motion::Path;
use crate::shutter::Shutter;

/// Longest silence that may be asked for, in seconds.
pub const LONGEST_SILENCE: u32 = 60;

/// What the motors are doing.
#[derive(Debug)]
enum Task {
    Idle,
    Moving,
    /// Where a homing is given up, its axis may still brake on the switch that it looked for.
    Stopping {
        expecting: Option<usize>,
    },
    Homing(Search),
}

/// The part of a board that its timer drives.
#[derive(Debug)]
pub struct Core<H> {
    hardware: H,
    axes: usize,
    tick_rate: u32,
    now: u32,
    settings: [Option<AxisSettings>; MAX_AXES],
    homed: AxisMask,
    drivers: bool,
    switches: Switches,
    task: Task,
    drive: Drive,
    guard: Guard,
    shutter: Shutter,
    homing: Option<HomingReport>,
    /// Ticks since something moved last; stays at the greatest value.
    still: u32,
    /// Axes whose home switch is at the positive end, and those with a reversed direction line.
    home_above: AxisMask,
    reversed: AxisMask,
    /// The switches as they were when the axes set out.
    leaving: Switches,
    /// Something moved at the last tick, and not in search of a switch.
    moved: bool,
    /// No tick has read the inputs yet.
    unread: bool,
}

impl<H: Hardware> Core<H> {
    /// A board that has just started: drivers off, lines open, nothing known.
    pub fn new(mut hardware: H, setup: &Setup<'_>) -> Self {
        hardware.half_press(false);
        hardware.release(false);
        hardware.drivers(false);
        hardware.directions(AxisMask::NONE);
        hardware.lamps(0);
        let mark = hardware.mark();
        let tick_rate = setup.tick_rate.max(1);
        log::info!("start {} with {} axes", setup.boot, setup.axes);
        Self {
            hardware,
            axes: usize::from(setup.axes).min(MAX_AXES),
            tick_rate,
            now: 0,
            settings: [None; MAX_AXES],
            homed: AxisMask::NONE,
            drivers: false,
            switches: Switches::default(),
            task: Task::Idle,
            drive: Drive::new(setup.direction_setup.0),
            guard: Guard::new(tick_rate),
            shutter: Shutter::new(mark, tick_rate),
            homing: None,
            still: 0,
            home_above: AxisMask::NONE,
            reversed: AxisMask::NONE,
            leaving: Switches::default(),
            moved: false,
            unread: true,
        }
    }

    /// One tick.
    pub fn tick(&mut self) {
        self.now = self.now.wrapping_add(1);
        self.unread = false;
        let switches = self.read();
        self.switches = switches;
        let silent = self.guard.listen(1);
        if switches.stop {
            self.stop();
        } else if self.moved || self.drive.is_moving() {
            self.collide(switches);
        }
        if silent && matches!(self.task, Task::Moving | Task::Homing(_)) {
            self.controlled_stop(Halt::Silence);
        }
        if matches!(self.task, Task::Homing(_)) {
            self.home_tick(switches);
        }
        let moving = self.drive.is_moving();
        // An axis that has looked for its home switch may well have come to rest on it.
        self.moved = moving && self.expecting().is_none();
        self.drive.tick(&mut self.hardware);
        if !self.drive.is_moving() && matches!(self.task, Task::Moving | Task::Stopping { .. }) {
            self.task = Task::Idle;
        }
        self.still = if moving {
            0
        } else {
            self.still.saturating_add(1)
        };
        let lost = matches!(self.guard.halt, Some(Halt::Stop | Halt::Limit { .. }));
        self.shutter
            .tick(&mut self.hardware, switches.contact, lost);
    }

    /// How many ticks from here would do nothing but count time, provided that no input changes
    /// and nothing is asked of the board.
    #[must_use]
    pub fn quiet(&self) -> u32 {
        // The last step may have moved a switch: that is for a tick to see.
        if self.unread || self.still == 0 || !matches!(self.task, Task::Idle) {
            return 0;
        }
        self.shutter.quiet()
    }

    /// Does what so many ticks would do. No more than [`Core::quiet`] of them are skipped; the
    /// rest, if any, is ticked through.
    pub fn skip(&mut self, ticks: u32) {
        let mut left = ticks;
        while left > 0 {
            let quiet = self.quiet().min(left);
            if quiet == 0 {
                self.tick();
                left = left.saturating_sub(1);
                continue;
            }
            self.now = self.now.wrapping_add(quiet);
            self.guard.listen(quiet);
            self.drive.skip(quiet);
            self.still = self.still.saturating_add(quiet);
            self.shutter.skip(quiet, self.switches.contact);
            left = left.saturating_sub(quiet);
        }
    }

    /// The hardware.
    pub const fn hardware(&self) -> &H {
        &self.hardware
    }

    /// The hardware. What is changed behind the core's back takes effect at the next tick.
    pub const fn hardware_mut(&mut self) -> &mut H {
        &mut self.hardware
    }

    /// Ticks since the start; wraps round.
    #[must_use]
    pub const fn now(&self) -> Ticks {
        Ticks(self.now)
    }

    /// What it is doing.
    #[must_use]
    pub fn activity(&self) -> Activity {
        match &self.task {
            Task::Moving => Activity::Moving,
            Task::Stopping { .. } => Activity::Stopping,
            Task::Homing(search) => Activity::Homing(search.plan().order.axis),
            Task::Idle if self.shutter.is_exposing() => Activity::Exposing,
            Task::Idle => Activity::Idle,
        }
    }

    /// How things stand; `damaged`: frames dropped, which the core knows nothing of.
    #[must_use]
    pub fn status(&self, damaged: u32) -> Status {
        let mut positions = Vec::new();
        for axis in 0..self.axes {
            // There are no more axes than places.
            let _ = positions.push(Steps(self.drive.position(axis)));
        }
        Status {
            activity: self.activity(),
            positions,
            configured: self.configured(),
            homed: self.homed,
            drivers: self.drivers,
            switches: self.switches,
            halt: self.guard.halt,
            homing: self.homing,
            still: Ticks(self.still),
            exposure: self.shutter.last(),
            contacts: self.shutter.contacts(),
            damaged,
        }
    }

    /// How an axis has been set up.
    ///
    /// # Errors
    /// There is no such axis, or it has not been set up.
    pub fn settings(&self, axis: AxisIndex) -> Result<AxisSettings, Refusal> {
        let index = self.index(axis)?;
        self.settings
            .get(index)
            .copied()
            .flatten()
            .ok_or(Refusal::NotConfigured(axis))
    }

    /// What the mark that survives a reset says.
    pub(crate) fn mark(&mut self) -> Option<Mark> {
        self.hardware.mark()
    }

    /// A sound message of this session has arrived.
    pub(crate) const fn heard(&mut self) {
        self.guard.heard();
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
            self.settings(target.axis)?;
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
            let settings = self.settings(target.axis)?;
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
        let settings = self.settings(order.axis)?;
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

    /// Whether this axis could be homed now.
    pub(crate) fn may_home(&self, axis: AxisIndex) -> Result<(), Refusal> {
        self.settings(axis)?;
        let index = self.index(axis)?;
        self.ready()?;
        if self.switches.home.contains(index) && self.switches.far.contains(index) {
            // No axis is at both ends: a wire is broken.
            return Err(Refusal::SwitchTripped(axis));
        }
        Ok(())
    }

    /// Begins a homing, if it still can.
    pub(crate) fn begin_homing(&mut self, plan: HomePlan) -> Result<(), Refusal> {
        let axis = plan.order.axis;
        self.may_home(axis)?;
        let index = self.index(axis)?;
        self.homed.remove(index);
        self.leaving = self.switches;
        self.task = Task::Homing(Search::new(
            plan,
            self.switches.home.contains(index),
            self.switches.far.contains(index),
            self.tick_rate,
        ));
        Ok(())
    }

    /// The host asks for a halt.
    pub(crate) fn ask_halt(&mut self) {
        self.controlled_stop(Halt::Asked);
    }

    /// A person has seen why the board halted.
    pub(crate) fn acknowledge(&mut self) -> Result<(), Refusal> {
        if matches!(self.task, Task::Stopping { .. }) {
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
        let configured = self.configured();
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
        log::info!("exposure {} begins", order.token);
        Ok(way)
    }

    pub(crate) fn fence(&mut self, shot: ShotId, token: Token) -> ExposureFact {
        self.shutter.fence(shot, token)
    }

    pub(crate) fn lamps(&mut self, on: u8) {
        self.hardware.lamps(on);
    }

    fn read(&mut self) -> Switches {
        let present = AxisMask::first(self.axes).0;
        Switches {
            stop: self.hardware.stop(),
            home: AxisMask(self.hardware.home().0 & present),
            far: AxisMask(self.hardware.far().0 & present),
            contact: self.hardware.contact(),
        }
    }

    fn index(&self, axis: AxisIndex) -> Result<usize, Refusal> {
        axis.index()
            .filter(|&index| index < self.axes)
            .ok_or(Refusal::NoAxis(axis))
    }

    fn configured(&self) -> AxisMask {
        let mut configured = AxisMask::NONE;
        for (axis, settings) in self.settings.iter().enumerate() {
            if settings.is_some() {
                configured.insert(axis);
            }
        }
        configured
    }

    fn idle(&self) -> Result<(), Refusal> {
        match self.activity() {
            Activity::Idle => Ok(()),
            activity => Err(Refusal::Busy(activity)),
        }
    }

    /// Nothing is under way, nothing has halted it, the motors hold.
    fn ready(&self) -> Result<(), Refusal> {
        self.idle()?;
        if let Some(halt) = self.guard.halt {
            return Err(Refusal::Halted(halt));
        }
        if !self.drivers {
            return Err(Refusal::DriversOff);
        }
        Ok(())
    }

    fn there(&self, axis: AxisIndex, from: Steps) -> Result<(), Refusal> {
        let at = Steps(self.drive.position(self.index(axis)?));
        if at == from {
            Ok(())
        } else {
            Err(Refusal::NotThere { axis, at })
        }
    }

    /// The switch at the end that this way leads to is not tripped.
    fn open_ahead(&self, axis: AxisIndex, way: i32) -> Result<(), Refusal> {
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

    /// None of the axis's switches is tripped. Within its travel none may be; out of a tripped one
    /// the way is slow, by a nudge.
    fn clear_of_switches(&self, axis: AxisIndex) -> Result<(), Refusal> {
        let index = self.index(axis)?;
        if self.switches.home.contains(index) || self.switches.far.contains(index) {
            return Err(Refusal::SwitchTripped(axis));
        }
        Ok(())
    }

    fn begin(&mut self, path: &Path) -> Result<Ticks, Refusal> {
        // Not reached: nothing moves, that has been made sure of.
        let busy = Refusal::Busy(Activity::Moving);
        let way = self.drive.begin(path, self.reversed).ok_or(busy)?;
        self.leaving = self.switches;
        if self.drive.is_moving() {
            self.task = Task::Moving;
        }
        Ok(Ticks(way))
    }

    /// The stop circuit is open. The drivers stay on: a level that can fall must not be let go.
    fn stop(&mut self) {
        self.drive.halt();
        self.interrupt();
        self.task = Task::Idle;
        self.homed = AxisMask::NONE;
        if self.guard.halt != Some(Halt::Stop) {
            log::warning!("stop circuit open");
        }
        self.guard.latch(Halt::Stop);
    }

    /// Axes that run into a switch stop here and now, the others come to a controlled stop.
    fn collide(&mut self, mut switches: Switches) {
        if let Some(axis) = self.expecting() {
            switches.home.remove(axis);
        }
        let (rising, falling) = self.drive.ways();
        let ahead = guard::collisions((rising, falling), switches, self.home_above);
        let behind = if matches!(self.task, Task::Homing(_)) {
            // The search itself knows what that means.
            AxisMask::NONE
        } else {
            let ways = (rising, falling);
            guard::tripped_behind(ways, switches, self.leaving, self.home_above)
        };
        let hit = AxisMask(ahead.0 | behind.0);
        if hit.is_empty() {
            return;
        }
        let above = AxisMask((ahead.0 & rising.0) | (behind.0 & !ahead.0 & falling.0));
        for axis in hit.iter() {
            self.drive.drop_axis(axis);
            self.homed.remove(axis);
            let halt = guard::limit(axis, above);
            log::warning!("halt: {}", halt);
            self.guard.latch(halt);
        }
        self.interrupt();
        self.drive.brake();
        self.task = Task::Stopping { expecting: None };
    }

    /// The axis that may run onto its home switch.
    fn expecting(&self) -> Option<usize> {
        match &self.task {
            Task::Homing(search) => Some(usize::from(search.plan().order.axis.0)),
            Task::Stopping { expecting } => *expecting,
            Task::Idle | Task::Moving => None,
        }
    }

    /// Whatever moves comes to a controlled stop; afterwards its place is still known.
    fn controlled_stop(&mut self, halt: Halt) {
        log::warning!("halt: {}", halt);
        self.guard.latch(halt);
        self.interrupt();
        let expecting = self.expecting();
        self.drive.brake();
        self.task = if self.drive.is_moving() {
            Task::Stopping { expecting }
        } else {
            Task::Idle
        };
    }

    /// A homing under way ends without an outcome.
    fn interrupt(&mut self) {
        if let Task::Homing(search) = &self.task {
            let plan = *search.plan();
            self.report(&plan, Err(HomingFault::Interrupted));
        }
    }

    fn report(
        &mut self,
        plan: &HomePlan,
        result: Result<panestep_protocol::answer::HomeFound, HomingFault>,
    ) {
        let report = HomingReport {
            request: plan.request,
            axis: plan.order.axis,
            result,
        };
        log::info!("homing: {}", report);
        self.homing = Some(report);
    }

    fn home_tick(&mut self, switches: Switches) {
        let Task::Homing(search) = &mut self.task else {
            return;
        };
        let axis = usize::from(search.plan().order.axis.0);
        let act = search.tick(View {
            home: switches.home.contains(axis),
            far: switches.far.contains(axis),
            moving: self.drive.is_moving(),
            position: self.drive.position(axis),
        });
        // At nearly every tick there is nothing, and the plan need not be copied.
        if act == Act::Nothing {
            return;
        }
        let plan = *search.plan();
        match act {
            Act::Nothing => {}
            Act::Begin(away, profile) => {
                let way = if self.home_above.contains(axis) {
                    away.wrapping_neg()
                } else {
                    away
                };
                let mut steps = [0; MAX_AXES];
                if let Some(place) = steps.get_mut(axis) {
                    *place = way;
                }
                let mut path = Path::idle();
                if !path.begin(&steps, profile) || self.drive.begin(&path, self.reversed).is_none()
                {
                    // Not reached: each way is one that its profile was planned for.
                    self.fail(&plan, HomingFault::Interrupted);
                }
            }
            Act::Brake => self.drive.brake(),
            Act::Halt => self.drive.halt(),
            Act::Edge => self.drive.set_position(axis, plan.order.edge.0),
            Act::Found(found) => {
                self.homed.insert(axis);
                self.report(&plan, Ok(found));
                self.task = Task::Idle;
            }
            Act::Failed(fault) => self.fail(&plan, fault),
        }
    }

    fn fail(&mut self, plan: &HomePlan, fault: HomingFault) {
        self.drive.halt();
        self.report(plan, Err(fault));
        self.task = Task::Idle;
        if fault == HomingFault::OtherEnd {
            let axis = usize::from(plan.order.axis.0);
            // The other end is above where home is not.
            let far_above = AxisMask(!self.home_above.0);
            self.guard.latch(guard::limit(axis, far_above));
        }
    }
}
