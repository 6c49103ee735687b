//! What a tick does about an open stop circuit, a tripped switch, a silent host, and a homing under
//! way. None of it is logged here: that would take longer than a tick.

use panestep_protocol::{AxisMask, Halt, HomingFault, HomingReport, Switches};

use super::{Core, Task};
use crate::guard;
use crate::hardware::Hardware;
use crate::homing::{Act, HomePlan, View};

impl<H: Hardware> Core<H> {
    /// The stop circuit is open. The drivers stay on: a level that can fall must not be let go.
    #[inline(never)]
    pub(super) fn stop(&mut self) {
        self.drive.halt();
        self.interrupt();
        self.rest();
        self.homed = AxisMask::NONE;
        self.guard.latch(Halt::Stop);
    }

    /// Axes that run into a switch stop here and now, the others come to a controlled stop.
    #[inline(never)]
    pub(super) fn collide(&mut self, mut switches: Switches) {
        switches.home.0 &= !self.expected.0;
        let (rising, falling) = self.drive.ways();
        let ahead = guard::collisions((rising, falling), switches, self.home_above);
        let behind = if self.task == Task::Homing {
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
            self.guard.latch(guard::limit(axis, above));
        }
        self.interrupt();
        self.drive.brake();
        self.task = Task::Stopping;
        self.expected = AxisMask::NONE;
    }

    /// Nothing is under way any more.
    fn rest(&mut self) {
        self.task = Task::Idle;
        self.expected = AxisMask::NONE;
        // A direction line may have been changed just now.
        self.holding = true;
    }

    /// Whatever moves comes to a controlled stop; afterwards its place is still known.
    #[inline(never)]
    pub(super) fn controlled_stop(&mut self, halt: Halt) {
        self.guard.latch(halt);
        self.interrupt();
        self.drive.brake();
        if self.drive.is_moving() {
            self.task = Task::Stopping;
        } else {
            self.rest();
        }
    }

    /// A homing under way ends without an outcome.
    #[inline(never)]
    pub(super) fn interrupt(&mut self) {
        if self.task == Task::Homing
            && let Some(search) = &self.search
        {
            let plan = *search.plan();
            self.report(&plan, Err(HomingFault::Interrupted));
        }
    }

    pub(super) fn report(
        &mut self,
        plan: &HomePlan,
        result: Result<panestep_protocol::HomeFound, HomingFault>,
    ) {
        self.homing = Some(HomingReport {
            request: plan.request,
            axis: plan.order.axis,
            result,
        });
    }

    #[inline(never)]
    pub(super) fn home_tick(&mut self, switches: Switches) {
        let Some(search) = &mut self.search else {
            return;
        };
        let axis = usize::from(search.axis().0);
        let drive = &self.drive;
        let view = View {
            home: switches.home.contains(axis),
            far: switches.far.contains(axis),
            moving: drive.is_moving(),
        };
        match search.tick(view, || drive.position(axis)) {
            Act::Nothing => {}
            Act::Brake => self.drive.brake(),
            Act::Halt => self.drive.halt(),
            Act::Edge => {
                let edge = search.plan().order.edge.0;
                self.drive.set_position(axis, edge);
            }
            Act::Found(found) => {
                let plan = *search.plan();
                self.homed.insert(axis);
                self.report(&plan, Ok(found));
                self.rest();
            }
            Act::Failed(fault) => {
                let plan = *search.plan();
                self.fail(&plan, fault);
            }
        }
    }

    pub(super) fn fail(&mut self, plan: &HomePlan, fault: HomingFault) {
        self.drive.halt();
        self.report(plan, Err(fault));
        self.rest();
        if fault == HomingFault::OtherEnd {
            let axis = usize::from(plan.order.axis.0);
            // The other end is above where home is not.
            let far_above = AxisMask(!self.home_above.0);
            self.guard.latch(guard::limit(axis, far_above));
        }
    }
}
