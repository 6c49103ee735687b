//! The camera: a press of the release opens the shutter after a while, closes it again, and the
//! flash contact closes once in between.

use std::collections::VecDeque;
use std::time::Duration;

use super::agenda::{Agenda, CameraEvent, Event};
use super::fault::CameraFault;
use super::random::Random;
use crate::stand::{Release, Shutter, StandPose};

/// How long the flash contact stays closed, ns: a few milliseconds are common practice (no
/// source).
const CONTACT: u64 = 3_000_000;

/// Pause between the two exposures of a camera that fires twice, ns.
const AGAIN: u64 = 40_000_000;

/// One closing of the shutter, as it was.
#[derive(Clone, Debug, PartialEq)]
pub struct TakenExposure {
    /// Counted from 1.
    pub number: u32,
    /// When the shutter opened.
    pub opened: Duration,
    /// When it closed.
    pub closed: Duration,
    /// Where everything was when half of it had passed.
    pub pose: StandPose,
    /// Whether anything moved while it was open.
    pub blurred: bool,
    /// Lamp outputs of every board as it opened, bit `n` for lamp `n`.
    pub lamps: Vec<u8>,
    /// When any of them had been switched last, before or while it was open.
    pub switched: Duration,
    /// The press that it followed, counted from 1, those by hand included.
    pub press: u32,
    /// Whether that press was by hand, at the camera itself.
    pub by_hand: bool,
}

/// The shutter while it is open.
#[derive(Clone, Debug)]
struct Open {
    at: u64,
    pose: Option<StandPose>,
    blurred: bool,
    lamps: Vec<u8>,
    /// Nobody could know that it is open: opened by hand, or late.
    unawares: bool,
}

#[derive(Clone, Debug)]
pub(super) struct Camera {
    delay: u64,
    exposure: u64,
    ready: u64,
    /// Whether its contact is wired to the board.
    wired: bool,
    /// Deaf to the release until then.
    busy_until: u64,
    open: Option<Open>,
    /// When a lamp was switched last.
    switched: u64,
    contact: bool,
    /// What it does with the next presses.
    faults: VecDeque<CameraFault>,
    /// Whether the exposure under way closes the contact.
    closes_contact: bool,
    /// Whether the press times the exposure.
    press_times: bool,
    /// A press that times its exposure: when the shutter opens, and how long after the release.
    held: Option<(u64, u64)>,
    unawares: bool,
    answered: u32,
    by_hand: bool,
    /// Presses answered and not.
    pub(super) presses: u32,
    pub(super) ignored: u32,
    pub(super) taken: Vec<TakenExposure>,
}

fn nanoseconds(time: Duration) -> u64 {
    u64::try_from(time.as_nanos()).unwrap_or(u64::MAX / 4)
}

impl Camera {
    pub(super) fn new(shutter: &Shutter, press_times: bool) -> Self {
        Self {
            delay: nanoseconds(shutter.delay),
            exposure: nanoseconds(shutter.exposure),
            ready: nanoseconds(shutter.ready),
            wired: matches!(
                shutter.release,
                Release::Board {
                    flash_contact: true,
                    ..
                }
            ),
            busy_until: 0,
            open: None,
            switched: 0,
            contact: false,
            faults: VecDeque::new(),
            closes_contact: true,
            press_times,
            held: None,
            unawares: false,
            answered: 0,
            by_hand: false,
            presses: 0,
            ignored: 0,
            taken: Vec::new(),
        }
    }

    /// A person sets its exposure time.
    pub(super) fn set_exposure(&mut self, time: Duration) {
        self.exposure = nanoseconds(time);
    }

    /// A lamp has been switched.
    pub(super) const fn relit(&mut self, now: u64) {
        self.switched = now;
    }

    /// What the board reads at its contact input.
    pub(super) const fn contact(&self) -> bool {
        self.contact && self.wired
    }

    pub(super) const fn is_open(&self) -> bool {
        self.open.is_some()
    }

    pub(super) fn expect(&mut self, fault: CameraFault) {
        self.faults.push_back(fault);
    }

    /// The release has been pressed; returns what it did about it that it should not have.
    pub(super) fn press(
        &mut self,
        now: u64,
        by_hand: bool,
        random: &mut Random,
        agenda: &mut Agenda,
    ) -> Option<CameraFault> {
        self.presses += 1;
        if now < self.busy_until {
            self.ignored += 1;
            return None;
        }
        let fault = if by_hand {
            None
        } else {
            self.faults.pop_front()
        };
        if fault == Some(CameraFault::Ignores) {
            self.ignored += 1;
            return fault;
        }
        let delay = match fault {
            Some(CameraFault::Late(delay)) => nanoseconds(delay),
            _ => random.part(self.delay, 0.4, 1.0),
        };
        self.closes_contact = fault != Some(CameraFault::NoContact);
        self.unawares = by_hand || matches!(fault, Some(CameraFault::Late(_)));
        self.answered = self.presses;
        self.by_hand = by_hand;
        if self.press_times && !by_hand {
            self.held = Some((now + delay, delay));
            self.opens(now + delay, agenda);
            // Deaf until it is let go.
            self.busy_until = u64::MAX;
            return fault;
        }
        let mut closes = self.plan(now + delay, agenda);
        if fault == Some(CameraFault::FiresTwice) {
            closes = self.plan(closes + AGAIN, agenda);
        }
        self.busy_until = closes + random.part(self.ready, 0.5, 1.0);
        fault
    }

    /// The release has been let go.
    pub(super) fn let_go(&mut self, now: u64, random: &mut Random, agenda: &mut Agenda) {
        let Some((opens, delay)) = self.held.take() else {
            return;
        };
        // A shutter takes a moment to run.
        let closes = (now + delay).max(opens + 1_000_000);
        agenda.put(closes, Event::Camera(CameraEvent::Close));
        self.busy_until = closes + random.part(self.ready, 0.5, 1.0);
    }

    fn opens(&self, opens: u64, agenda: &mut Agenda) {
        agenda.put(opens, Event::Camera(CameraEvent::Open));
        agenda.put(
            opens + CONTACT.min(self.exposure),
            Event::Camera(CameraEvent::ContactOpens),
        );
        agenda.put(
            opens + self.exposure / 2,
            Event::Camera(CameraEvent::Middle),
        );
    }

    fn plan(&self, opens: u64, agenda: &mut Agenda) -> u64 {
        let closes = opens + self.exposure;
        self.opens(opens, agenda);
        agenda.put(closes, Event::Camera(CameraEvent::Close));
        closes
    }

    /// Something moves; returns whether it is the first thing to spoil the exposure under way, and
    /// should have known of it.
    pub(super) fn shaken(&mut self) -> bool {
        self.open
            .as_mut()
            .is_some_and(|open| !std::mem::replace(&mut open.blurred, true) && !open.unawares)
    }

    /// Carries an event out; returns the number of an exposure that is complete.
    pub(super) fn happen(
        &mut self,
        event: CameraEvent,
        now: u64,
        pose: StandPose,
        lamps: impl FnOnce() -> Vec<u8>,
    ) -> Option<u32> {
        match event {
            CameraEvent::Open => {
                self.open = Some(Open {
                    at: now,
                    pose: None,
                    blurred: false,
                    lamps: lamps(),
                    unawares: self.unawares,
                });
                self.contact = self.closes_contact;
            }
            CameraEvent::ContactOpens => self.contact = false,
            CameraEvent::Middle => {
                if let Some(open) = &mut self.open {
                    open.pose = Some(pose);
                }
            }
            CameraEvent::Close => {
                let open = self.open.take()?;
                let number = self.taken.len() as u32 + 1;
                self.taken.push(TakenExposure {
                    number,
                    opened: Duration::from_nanos(open.at),
                    closed: Duration::from_nanos(now),
                    pose: open.pose.unwrap_or(pose),
                    blurred: open.blurred,
                    lamps: open.lamps,
                    switched: Duration::from_nanos(self.switched),
                    press: self.answered,
                    by_hand: self.by_hand,
                });
                return Some(number);
            }
        }
        None
    }
}
