//! What a step does: a screw turns, a carriage moves, switches follow; and the laws that it may
//! break.

use std::time::Duration;

use panestep_protocol::MAX_AXES;

use super::{Body, Mechanics};
use crate::sim::agenda::{End, Event, Mark};
use crate::sim::drive::{Pulse, WINDOW};
use crate::sim::fault::Fault;
use crate::sim::laws::{DIRECTION_SETUP, Law, PAUSE, PULSE_INTERVAL};
use crate::sim::onlook::Happening;
use crate::sim::switch::{Side, Switch};
use crate::stand::{AxisId, BoardId};

impl Mechanics {
    pub(in crate::sim) fn step(&mut self, board: usize, channels: u8) {
        if channels == 0 {
            return;
        }
        self.trace
            .note(self.now, Mark::Step, board, u64::from(channels));
        let mut left = channels;
        while left != 0 {
            let channel = left.trailing_zeros() as usize;
            left &= left - 1;
            match self.lines[board].wiring[channel] {
                Some(axis) => self.pulse(board, axis),
                None => self.violated(Law::NoMotor {
                    board: BoardId(board),
                    channel: channel as u8,
                }),
            }
        }
    }

    pub(super) fn pulse(&mut self, board: usize, axis: usize) {
        let now = self.now;
        let powered = self.motor_power;
        let Body::Motor {
            drive, reversed, ..
        } = &mut self.bodies[axis]
        else {
            return;
        };
        let positive = drive.line_high != *reversed;
        let since = drive.last_pulse.replace(now).map(|last| now - last);
        if since.is_none_or(|since| since > PAUSE) {
            drive.running_since = now;
        }
        let turned_just_now = drive
            .last_turn
            .is_some_and(|turn| now - turn < DIRECTION_SETUP);
        let span = drive.span(now);
        let too_fast = now > span && span < drive.least_span;
        let energised = self.lines[board].drivers;
        let mut struck = None;
        let id = AxisId(axis);
        let lose = if !energised || !powered || drive.dead {
            true
        } else if drive.to_lose > 0 {
            drive.to_lose -= 1;
            struck = Some(Fault::LoseSteps { axis: id, steps: 1 });
            true
        } else if self.random.chance(drive.chance) {
            let chance = drive.chance;
            struck = Some(Fault::LoseOften { axis: id, chance });
            true
        } else {
            false
        };
        let toward = |switch: &Switch| (switch.side() == Side::High) == positive;
        let [home_since, far_since] = drive.tripped_since;
        let read = |since: Option<u64>| {
            since.is_some_and(|since| now > since + self.tick + self.tick / 100)
        };
        let mut into_switch = read(far_since) && drive.far.as_ref().is_some_and(toward);
        if read(home_since) && toward(&drive.home) {
            drive.into_home += 1;
            into_switch |= drive.into_home > drive.stop_steps;
        }
        let outcome = drive.pulse(lose);
        let sound = !drive.home.suspect && drive.far.as_ref().is_some_and(|far| !far.suspect);
        let (running_since, stop_time) = (drive.running_since, drive.stop_time);
        let line = &self.lines[board];
        let stopped = line
            .limit
            .filter(|&(at, who)| who != axis && running_since < at && now > at + stop_time);
        let unheard = now
            > line
                .heard
                .saturating_add(self.silence)
                .saturating_add(stop_time);

        if turned_just_now {
            self.violated(Law::DirectionSetup { axis: AxisId(axis) });
        }
        if since.is_some_and(|since| since < PULSE_INTERVAL) {
            self.violated(Law::PulseInterval { axis: AxisId(axis) });
        }
        if too_fast {
            self.violated(Law::Speed {
                axis: AxisId(axis),
                interval: Duration::from_nanos(span / WINDOW as u64),
            });
        }
        if !energised {
            self.violated(Law::DriversOff { axis: AxisId(axis) });
        }
        if self.stop && now > self.stopped_at.saturating_add(self.tick) {
            self.violated(Law::AfterStop { axis: AxisId(axis) });
        }
        if into_switch {
            self.violated(Law::TowardTripped { axis: id });
        }
        if outcome == Pulse::Blocked && sound {
            self.violated(Law::AgainstEnd { axis: id });
        }
        if let Some((_, stopped)) = stopped {
            let stopped = AxisId(stopped);
            self.violated(Law::WentOnAlone { axis: id, stopped });
        }
        if unheard {
            self.violated(Law::WentOnUnheard { axis: id });
        }
        if self.onlooker.is_some() {
            self.tell(&Happening::Step {
                axis: id,
                positive,
                made: outcome == Pulse::Made,
            });
            if let Some(fault) = struck {
                self.tell(&Happening::Struck(&fault));
            }
        }
        if outcome == Pulse::Made {
            self.moved(axis, true);
        }
    }

    /// A carriage has moved, because somebody wanted it to or by itself: switches follow, pictures
    /// blur.
    pub(super) fn moved(&mut self, axis: usize, wanted: bool) {
        if wanted {
            self.last_motion = self.now;
        }
        if self.camera.shaken() && wanted {
            let number = self.camera.taken.len() as u32 + 1;
            self.violated(Law::MovedWhileOpen {
                axis: AxisId(axis),
                number,
            });
        }
        let Body::Motor { drive, board, .. } = &mut self.bodies[axis] else {
            return;
        };
        let board = *board;
        let carriage = drive.carriage;
        let home = drive.home.follow(carriage);
        let far = drive
            .far
            .as_mut()
            .is_some_and(|switch| switch.follow(carriage));
        if home {
            self.bounces(axis, End::Home);
        }
        if far {
            self.bounces(axis, End::Far);
        }
        if home || far {
            self.read_switches(board);
        }
    }

    pub(super) fn switch(&mut self, axis: usize, end: End) -> Option<(&mut Switch, usize)> {
        match self.bodies.get_mut(axis)? {
            Body::Motor { drive, board, .. } => match end {
                End::Home => Some((&mut drive.home, *board)),
                End::Far => drive.far.as_mut().map(|switch| (switch, *board)),
            },
            Body::Hand(_) => None,
        }
    }

    /// A lever has gone over: the contact follows at once, then bounces for a while.
    pub(super) fn bounces(&mut self, axis: usize, end: End) {
        let now = self.now;
        let Some((switch, _)) = self.switch(axis, end) else {
            return;
        };
        let (open, swing) = (switch.pressed(), switch.swing());
        switch.edge(swing, open);
        if self.bounce == 0 {
            return;
        }
        let pairs = 1 + self.random.next() % 3;
        let mut at = now;
        for _ in 0..pairs {
            for tripped in [!open, open] {
                at += 1 + self.random.part(self.bounce / (2 * pairs), 0.2, 1.0);
                self.agenda.put(
                    at,
                    Event::SwitchEdge {
                        axis,
                        end,
                        swing,
                        tripped,
                    },
                );
            }
        }
    }

    /// Works out afresh what a board reads at its switch inputs.
    pub(super) fn read_switches(&mut self, board: usize) {
        let (mut home, mut far) = (0, 0);
        for channel in 0..MAX_AXES {
            match self.lines[board].wiring[channel].map(|axis| &self.bodies[axis]) {
                Some(Body::Motor { drive, .. }) => {
                    home |= u8::from(drive.home.tripped()) << channel;
                    let at_far = drive.far.as_ref().is_some_and(Switch::tripped);
                    far |= u8::from(at_far) << channel;
                }
                _ => home |= 1 << channel,
            }
        }
        let now = self.now;
        let mut limit = None;
        for (end, bits) in [home, far].into_iter().enumerate() {
            let line = &self.lines[board];
            let changed = bits ^ if end == 0 { line.home } else { line.far };
            for channel in (0..MAX_AXES).filter(|channel| changed & (1 << channel) != 0) {
                let Some(axis) = line.wiring[channel] else {
                    continue;
                };
                let Body::Motor { drive, .. } = &mut self.bodies[axis] else {
                    continue;
                };
                let tripped = bits & (1 << channel) != 0;
                drive.tripped_since[end] = tripped.then_some(now);
                if end == 0 && tripped {
                    drive.into_home = 0;
                }
                // A motor that has just been moving was stopped by this.
                if tripped && drive.last_pulse.is_some_and(|last| now - last < PAUSE) {
                    limit = Some((now, axis));
                }
            }
        }
        let line = &mut self.lines[board];
        line.limit = limit.or(line.limit);
        if line.home != home {
            line.home = home;
            line.changed = true;
            self.trace
                .note(self.now, Mark::Home, board, u64::from(home));
        }
        if line.far != far {
            line.far = far;
            line.changed = true;
            self.trace.note(self.now, Mark::Far, board, u64::from(far));
        }
    }
}
