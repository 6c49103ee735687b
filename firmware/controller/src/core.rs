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
//! Nothing here divides: moves, nudges and the parts of a homing are handed over as paths begun
//! elsewhere.

mod orders;
mod reactions;

use heapless::Vec;
use panestep_protocol::{
    Activity, AxisIndex, AxisMask, AxisSettings, Halt, HomingReport, MAX_AXES, Refusal, Status,
    Steps, Switches, Ticks,
};

use crate::controller::Setup;
use crate::drive::Drive;
use crate::guard::Guard;
use crate::hardware::Hardware;
use crate::homing::Search;
use crate::log;
use crate::shutter::Shutter;

/// Longest silence that may be asked for, in seconds.
pub const LONGEST_SILENCE: u32 = 60;

/// What the motors are doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Task {
    Idle,
    Moving,
    Stopping,
    /// `Core::search` is under way.
    Homing,
}

/// The part of a board that its timer drives.
// What a tick needs comes first: the processor reaches the beginning of a structure more cheaply.
#[derive(Debug)]
#[repr(C)]
pub struct Core<H> {
    now: u32,
    /// Ticks since something moved last; stays at the greatest value.
    still: u32,
    task: Task,
    /// Something moved at the last tick, and not in search of a switch.
    moved: bool,
    /// The axes that there are.
    present: AxisMask,
    /// The axis that may run onto its home switch: it looks for it. Where its homing is given up, it
    /// may still brake on it.
    expected: AxisMask,
    switches: Switches,
    /// Whether the shutter has to be told of a tick at which the contact is open, and the drive of one
    /// at which nothing moves. Both are told all the more often where this is in doubt.
    counting: bool,
    holding: bool,
    guard: Guard,
    drive: Drive,
    shutter: Shutter,
    search: Option<Search>,
    axes: usize,
    tick_rate: u32,
    settings: [Option<AxisSettings>; MAX_AXES],
    configured: AxisMask,
    homed: AxisMask,
    drivers: bool,
    homing: Option<HomingReport>,
    /// Axes whose home switch is at the positive end, and those with a reversed direction line.
    home_above: AxisMask,
    reversed: AxisMask,
    /// The switches as they were when the axes set out.
    leaving: Switches,
    hardware: H,
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
        let axes = usize::from(setup.axes).min(MAX_AXES);
        Self {
            now: 0,
            still: 0,
            task: Task::Idle,
            moved: false,
            present: AxisMask::first(axes),
            expected: AxisMask::NONE,
            switches: Switches::default(),
            counting: true,
            holding: true,
            guard: Guard::new(tick_rate),
            drive: Drive::new(setup.direction_setup.0),
            shutter: Shutter::new(mark, tick_rate),
            search: None,
            axes,
            tick_rate,
            settings: [None; MAX_AXES],
            configured: AxisMask::NONE,
            homed: AxisMask::NONE,
            drivers: false,
            homing: None,
            home_above: AxisMask::NONE,
            reversed: AxisMask::NONE,
            leaving: Switches::default(),
            hardware,
        }
    }

    /// One tick.
    pub fn tick(&mut self) {
        self.now = self.now.wrapping_add(1);
        let switches = self.read();
        self.switches = switches;
        if self.task == Task::Idle && !self.moved {
            if switches.stop {
                self.stop();
            }
            if self.holding {
                self.drive.skip(1);
                self.holding = self.drive.is_holding();
            }
            self.still = self.still.saturating_add(1);
        } else {
            self.motion_tick(switches);
        }
        if self.counting || switches.contact {
            self.shutter_tick(switches.contact);
        }
    }

    /// A tick at which something moves, or is about to, or did at the last one.
    #[inline(always)]
    fn motion_tick(&mut self, switches: Switches) {
        if switches.stop {
            self.stop();
        } else if (switches.home.0 | switches.far.0) & self.drive.axes().0 != 0
            && (self.moved || self.drive.is_moving())
        {
            self.collide(switches);
        }
        if self.guard.is_silent(self.now) && matches!(self.task, Task::Moving | Task::Homing) {
            self.controlled_stop(Halt::Silence);
        }
        if self.task == Task::Homing {
            self.home_tick(switches);
        }
        if self.drive.is_moving() {
            self.still = 0;
            // An axis that has looked for its home switch may well have come to rest on it.
            self.moved = self.expected.is_empty();
            self.drive.tick(&mut self.hardware);
        } else {
            self.still = self.still.saturating_add(1);
            self.moved = false;
            self.drive.skip(1);
        }
        if !self.drive.is_moving() && self.task != Task::Homing {
            self.task = Task::Idle;
            self.expected = AxisMask::NONE;
            self.holding = true;
        }
    }

    /// A tick at which the flash contact is closed or an exposure under way.
    #[inline(never)]
    fn shutter_tick(&mut self, contact: bool) {
        let lost = matches!(self.guard.halt, Some(Halt::Stop | Halt::Limit { .. }));
        self.shutter.tick(&mut self.hardware, contact, lost);
        self.counting = self.shutter.is_counting();
    }

    /// How many ticks from here would do nothing but count time, provided that no input changes
    /// and nothing is asked of the board.
    #[must_use]
    pub fn quiet(&self) -> u32 {
        // The last step may have moved a switch: that is for a tick to see. Nor has any tick read the
        // switches yet where none has counted.
        if self.still == 0 || self.task != Task::Idle {
            return 0;
        }
        self.shutter.quiet()
    }

    /// Does what so many ticks would do: no more than [`Core::quiet`] of them.
    pub(crate) fn skip(&mut self, ticks: u32) {
        self.now = self.now.wrapping_add(ticks);
        self.drive.skip(ticks);
        self.still = self.still.saturating_add(ticks);
        self.shutter.skip(ticks, self.switches.contact);
        self.counting = self.shutter.is_counting();
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
        match self.task {
            Task::Moving => Activity::Moving,
            Task::Stopping => Activity::Stopping,
            Task::Homing => {
                Activity::Homing(self.search.as_ref().map_or(AxisIndex(0), Search::axis))
            }
            Task::Idle if self.shutter.is_exposing() => Activity::Exposing,
            Task::Idle => Activity::Idle,
        }
    }

    /// How things stand; `damaged`: frames dropped, which the core knows nothing of.
    #[must_use]
    pub fn status(&self, damaged: u32) -> Status {
        let mut status = self.state(damaged);
        for position in self.positions().into_iter().take(self.axes) {
            // There are no more axes than places.
            let _ = status.positions.push(position);
        }
        status
    }

    /// Where every axis stands.
    pub(crate) fn positions(&self) -> [Steps; MAX_AXES] {
        let mut positions = [Steps(0); MAX_AXES];
        for (axis, place) in positions.iter_mut().enumerate().take(self.axes) {
            *place = Steps(self.drive.position(axis));
        }
        positions
    }

    /// How things stand, but for the positions.
    pub(crate) fn state(&self, damaged: u32) -> Status {
        Status {
            activity: self.activity(),
            positions: Vec::new(),
            configured: self.configured,
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
        self.known(axis).copied()
    }

    /// As [`Core::settings`], where they are.
    fn known(&self, axis: AxisIndex) -> Result<&AxisSettings, Refusal> {
        let settings = self.settings.get(self.index(axis)?);
        settings
            .and_then(Option::as_ref)
            .ok_or(Refusal::NotConfigured(axis))
    }

    #[inline(always)]
    fn read(&mut self) -> Switches {
        let present = self.present.0;
        Switches {
            stop: self.hardware.stop(),
            home: AxisMask(self.hardware.home().0 & present),
            far: AxisMask(self.hardware.far().0 & present),
            contact: self.hardware.contact(),
        }
    }
}
