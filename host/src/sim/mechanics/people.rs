//! What faults and people do to the stand, and what there is to see of it.

use super::{Body, Mechanics};
use crate::optics;
use crate::sim::agenda::{End, Mark};
use crate::sim::drive::Drive;
use crate::sim::fault::{CrankSlip, Fault, SwitchFault};
use crate::sim::laws::StepCount;
use crate::sim::onlook::Happening;
use crate::stand::{AxisId, Carrier, CarrierPose, StandPose, Way};

impl Mechanics {
    // What faults and people do.

    pub(in crate::sim) fn set_stop(&mut self, open: bool) {
        if self.stop == open {
            return;
        }
        self.stop = open;
        self.stopped_at = self.now;
        self.trace.note(self.now, Mark::Stop, 0, u64::from(open));
        self.tell(&Happening::Stop { open });
        for line in &mut self.lines {
            line.changed = true;
        }
    }

    pub(in crate::sim) fn set_switch_fault(
        &mut self,
        axis: usize,
        end: End,
        fault: Option<SwitchFault>,
    ) {
        if let Some((switch, board)) = self.switch(axis, end) {
            switch.set_fault(fault);
            self.read_switches(board);
        }
    }

    /// A home switch's bracket slips: the lever follows at once.
    pub(in crate::sim) fn shift_switch(&mut self, axis: usize, by: f64) {
        let Some(Body::Motor { drive, board, .. }) = self.bodies.get_mut(axis) else {
            return;
        };
        let board = *board;
        drive.home.shift(by);
        let carriage = drive.carriage;
        if drive.home.follow(carriage) {
            let (pressed, swing) = (drive.home.pressed(), drive.home.swing());
            drive.home.edge(swing, pressed);
            self.read_switches(board);
        }
    }

    pub(in crate::sim) fn has_switch(&mut self, axis: AxisId, end: End) -> bool {
        self.switch(axis.0, end).is_some()
    }

    pub(in crate::sim) fn is_hand(&self, axis: AxisId) -> bool {
        matches!(self.bodies.get(axis.0), Some(Body::Hand(_)))
    }

    pub(in crate::sim) fn drive_mut(&mut self, axis: AxisId) -> Option<&mut Drive> {
        match self.bodies.get_mut(axis.0)? {
            Body::Motor { drive, .. } => Some(drive),
            Body::Hand(_) => None,
        }
    }

    /// A person turns a crank until its scale should read this.
    pub(in crate::sim) fn crank(&mut self, axis: AxisId, position: f64) -> bool {
        let Some(Body::Hand(at)) = self.bodies.get(axis.0) else {
            return false;
        };
        let by = position - at;
        let slip = self.slips.pop_front();
        if let Some(slip) = slip {
            self.tell(&Happening::Struck(&Fault::Crank(slip)));
        }
        let (axis, by) = match slip {
            None => (axis, by),
            Some(CrankSlip::WrongWay) => (axis, -by),
            Some(CrankSlip::Short(part)) => (axis, by * part),
            Some(CrankSlip::Double) => (axis, 2.0 * by),
            Some(CrankSlip::Nothing) => (axis, 0.0),
            Some(CrankSlip::Other(other)) => (other, by),
        };
        let limits = self.stand.axes[axis.0].travel;
        match self.bodies.get_mut(axis.0) {
            Some(Body::Hand(at)) => *at = (*at + by).clamp(limits.0, limits.1),
            _ => return false,
        }
        if by != 0.0 {
            self.moved(axis.0, true);
        }
        true
    }

    // What there is to see.

    pub(in crate::sim) fn position(&self, axis: AxisId) -> Option<f64> {
        Some(match self.bodies.get(axis.0)? {
            Body::Motor { drive, .. } => drive.carriage,
            Body::Hand(position) => *position,
        })
    }

    pub(in crate::sim) fn count(&self, axis: AxisId) -> Option<StepCount> {
        match self.bodies.get(axis.0)? {
            Body::Motor {
                drive, reversed, ..
            } => Some(StepCount {
                positive: drive.pulses[usize::from(!reversed)],
                negative: drive.pulses[usize::from(*reversed)],
                lost: drive.lost,
            }),
            Body::Hand(_) => None,
        }
    }

    pub(in crate::sim) fn pose(&self) -> StandPose {
        let mut levels = vec![CarrierPose::default(); self.stand.levels.len()];
        let mut camera = CarrierPose::default();
        let mut focus_mm = None;
        for (index, axis) in self.stand.axes.iter().enumerate() {
            let position = self.position(AxisId(index)).unwrap_or_default();
            let carrier = match axis.of {
                Carrier::Level(level) => &mut levels[level.0],
                Carrier::Camera => &mut camera,
            };
            match axis.way {
                Way::East => carrier.east_mm = position,
                Way::North => carrier.north_mm = position,
                Way::Lift => carrier.lift_mm = position,
                Way::Turn => carrier.turn_degrees = position,
                Way::Focus => focus_mm = focused_at(&axis.focus_table, position),
            }
        }
        StandPose {
            levels,
            camera,
            focus_mm: focus_mm.unwrap_or_else(|| optics::zero_pose(&self.stand).focus_mm),
        }
    }
}

/// The distance that the lens is focused on with its ring here: along straight lines between the
/// measured pairs, and along the outermost ones beyond them.
fn focused_at(table: &[(f64, f64)], ring: f64) -> Option<f64> {
    let last = table.len().checked_sub(2)?;
    let after = table.partition_point(|&(at, _)| at <= ring);
    let from = after.saturating_sub(1).min(last);
    let ((ring0, distance0), (ring1, distance1)) = (table[from], table[from + 1]);
    Some(distance0 + (distance1 - distance0) * (ring - ring0) / (ring1 - ring0))
}
