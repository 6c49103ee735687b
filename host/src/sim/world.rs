//! The whole simulated stand, boards and mechanics, and the order in which things happen to it.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::io;
use std::rc::Rc;
use std::time::Duration;

use super::Options;
use super::agenda::{End, Event};
use super::board::{Board, Line};
use super::fault::{CrankSlip, Fault, HostKilled, When};
use super::mechanics::Mechanics;
use super::onlook::Happening;
use super::random::Random;
use crate::stand::{BoardId, Stand};

const SECOND: u64 = 1_000_000_000;

pub(super) fn nanoseconds(time: Duration) -> u64 {
    u64::try_from(time.as_nanos()).unwrap_or(u64::MAX)
}

/// Why the world stopped for a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Pause {
    /// What was waited for is there.
    Done,
    /// The time has come.
    Late,
    /// An exposure is complete: its picture is to be taken now.
    Exposed,
}

pub(super) struct World {
    pub(super) now: u64,
    pub(super) mechanics: Rc<RefCell<Mechanics>>,
    pub(super) boards: Vec<Board>,
    pub(super) killed: bool,
    /// Exposures that nobody has been told of yet.
    pub(super) exposed: VecDeque<u32>,
    /// Counts what happened: bytes sent and arrived, contacts, exposures, faults.
    pub(super) events: u64,
    /// Ticks that were carried out one by one.
    pub(super) ticks: u64,
    boot_time: u64,
    at_event: Vec<(u64, Fault)>,
    at_release: Vec<(u32, Fault)>,
    releases_seen: u32,
    /// How long the host's next wait lasts longer.
    pub(super) suspended: u64,
    /// The board that each port leads to.
    pub(super) ports: Vec<usize>,
}

impl World {
    pub(super) fn new(stand: &Stand, options: &Options) -> Self {
        let mut random = Random::new(options.seed);
        let mechanics = Mechanics::new(stand, options, Random::new(random.next()));
        let mechanics = Rc::new(RefCell::new(mechanics));
        let line = Line {
            latency: nanoseconds(options.latency),
            jitter: nanoseconds(options.jitter),
            byte: SECOND / u64::from(options.byte_rate.max(1)),
        };
        let boards = stand
            .boards
            .iter()
            .enumerate()
            .map(|(place, board)| {
                let random = Random::new(random.next());
                let rate = options.tick_rate;
                Board::new(
                    place,
                    &board.name,
                    rate,
                    line,
                    &mechanics,
                    random,
                    options.same_boot,
                )
            })
            .collect();
        Self {
            now: 0,
            mechanics,
            boards,
            killed: false,
            exposed: VecDeque::new(),
            events: 0,
            ticks: 0,
            boot_time: nanoseconds(options.boot_time),
            at_event: Vec::new(),
            at_release: Vec::new(),
            releases_seen: 0,
            suspended: 0,
            ports: (0..stand.boards.len()).collect(),
        }
    }

    /// An error where the host has been killed.
    pub(super) fn alive(&self) -> io::Result<()> {
        if self.killed {
            Err(io::Error::other(HostKilled))
        } else {
            Ok(())
        }
    }

    /// Lets time pass up to a moment, or until `done` says so. `done` is asked whenever something
    /// has reached the host.
    pub(super) fn advance(
        &mut self,
        until: u64,
        attended: bool,
        done: impl Fn(&Self) -> bool,
    ) -> io::Result<Pause> {
        self.strike_asked();
        loop {
            let next = self.mechanics.borrow().agenda.next_at();
            // The first board wins a tie: the order is arbitrary, but always the same.
            let (mut tick, mut board) = (u64::MAX, 0);
            for (place, candidate) in self.boards.iter().enumerate() {
                if candidate.due_at() < tick {
                    (tick, board) = (candidate.due_at(), place);
                }
            }
            let at = next.min(tick);
            if at > until {
                self.pass_to(until);
                return Ok(Pause::Late);
            }
            self.pass_to(at);
            if tick < next {
                self.ticks += 1;
                self.boards[board].tick();
                self.boards[board].transmit(at);
                self.strike_asked();
                if self.mechanics.borrow().releases != self.releases_seen {
                    self.released();
                }
            } else {
                self.happen();
            }
            if attended && self.killed {
                self.alive()?;
            }
            if tick >= next {
                if !self.exposed.is_empty() {
                    return Ok(Pause::Exposed);
                }
                if done(self) {
                    return Ok(Pause::Done);
                }
            }
        }
    }

    fn pass_to(&mut self, now: u64) {
        self.now = now;
        self.mechanics.borrow_mut().now = now;
    }

    /// Carries the next event of the agenda out.
    fn happen(&mut self) {
        let Some((_, event)) = self.mechanics.borrow_mut().agenda.take() else {
            return;
        };
        match event {
            Event::ToBoard {
                board,
                opening,
                bytes,
            } => {
                if self.boards[board].hears(opening) {
                    self.boards[board].receive(&bytes, self.now);
                }
            }
            Event::ToHost {
                board,
                opening,
                bytes,
            } => {
                if self.boards[board].opening == opening {
                    self.boards[board].arrive(&bytes, self.now);
                }
            }
            Event::SwitchEdge {
                axis,
                end,
                swing,
                tripped,
            } => self
                .mechanics
                .borrow_mut()
                .switch_edge(axis, end, swing, tripped),
            Event::Camera(event) => {
                let exposed = self.mechanics.borrow_mut().camera_event(event);
                self.exposed.extend(exposed);
            }
            Event::Sink => self.mechanics.borrow_mut().sink(),
            Event::Boot { board, boot } => {
                if self.boards[board].awaits(boot) {
                    self.boards[board].start(self.now);
                    let board = BoardId(board);
                    self.mechanics.borrow_mut().tell(&Happening::Up { board });
                }
            }
            Event::Fault(fault) => self.strike(fault),
        }
        self.wake_boards();
        self.count_event();
    }

    fn wake_boards(&mut self) {
        for (place, board) in self.boards.iter_mut().enumerate() {
            if self.mechanics.borrow().lines[place].changed {
                board.wake(self.now);
            }
        }
    }

    pub(super) fn count_event(&mut self) {
        self.events += 1;
        let events = self.events;
        let due = self.at_event.extract_if(.., |(at, _)| *at <= events);
        let due: Vec<Fault> = due.map(|(_, fault)| fault).collect();
        for fault in due {
            self.strike(fault);
        }
        self.strike_asked();
    }

    /// What the onlooker wants.
    pub(super) fn strike_asked(&mut self) {
        loop {
            let asked = std::mem::take(&mut self.mechanics.borrow_mut().asked);
            if asked.is_empty() {
                return;
            }
            for fault in asked {
                if self.can_strike(&fault) {
                    self.strike(fault);
                }
            }
        }
    }

    fn released(&mut self) {
        self.releases_seen = self.mechanics.borrow().releases;
        let seen = self.releases_seen;
        let due = self.at_release.extract_if(.., |(at, _)| *at <= seen);
        let due: Vec<Fault> = due.map(|(_, fault)| fault).collect();
        for fault in due {
            self.strike(fault);
        }
        self.count_event();
    }

    pub(super) fn inject(&mut self, when: When, fault: Fault) -> bool {
        if !self.can_strike(&fault) {
            return false;
        }
        match when {
            When::Now => {
                self.strike(fault);
                self.strike_asked();
            }
            When::At(time) => {
                let at = nanoseconds(time).max(self.now);
                let mut mechanics = self.mechanics.borrow_mut();
                mechanics.agenda.put(at, Event::Fault(fault));
            }
            When::Event(event) => self.at_event.push((event, fault)),
            When::Release(number) => self.at_release.push((number, fault)),
        }
        true
    }

    /// Whether the stand has what the fault is about.
    fn can_strike(&self, fault: &Fault) -> bool {
        let mut mechanics = self.mechanics.borrow_mut();
        match *fault {
            Fault::LoseSteps { axis, .. }
            | Fault::LoseOften { axis, .. }
            | Fault::SwapWires { axis }
            | Fault::Backlash { axis, .. }
            | Fault::Driver { axis, .. } => mechanics.drive_mut(axis).is_some(),
            Fault::HomeSwitch { axis, .. } | Fault::HomeSwitchMoved { axis, .. } => {
                mechanics.has_switch(axis, End::Home)
            }
            Fault::FarSwitch { axis, .. } => mechanics.has_switch(axis, End::Far),
            Fault::Crank(CrankSlip::Other(axis)) => mechanics.is_hand(axis),
            Fault::Reset { board, .. }
            | Fault::CableOut { board }
            | Fault::CableIn { board }
            | Fault::Stranger { board, .. }
            | Fault::OpeningResets { board, .. }
            | Fault::Noise { board, .. } => board.0 < self.boards.len(),
            Fault::Swapped { one, other } => one != other && one.0.max(other.0) < self.boards.len(),
            Fault::StopPressed
            | Fault::StopReleased
            | Fault::Camera(_)
            | Fault::Crank(_)
            | Fault::MotorPower { .. }
            | Fault::PowerCut { .. }
            | Fault::HandRelease
            | Fault::Suspend(_)
            | Fault::KillHost => true,
        }
    }

    fn strike(&mut self, fault: Fault) {
        // Others wait for their occasion.
        if !matches!(
            fault,
            Fault::LoseSteps { .. }
                | Fault::LoseOften { .. }
                | Fault::Camera(_)
                | Fault::Crank(_)
                | Fault::Noise { .. }
                | Fault::Suspend(_)
                | Fault::OpeningResets { .. }
        ) {
            let mut mechanics = self.mechanics.borrow_mut();
            mechanics.tell(&Happening::Struck(&fault));
        }
        {
            let mut mechanics = self.mechanics.borrow_mut();
            match fault {
                Fault::LoseSteps { axis, steps } => {
                    if let Some(drive) = mechanics.drive_mut(axis) {
                        drive.to_lose += steps;
                    }
                }
                Fault::LoseOften { axis, chance } => {
                    if let Some(drive) = mechanics.drive_mut(axis) {
                        drive.chance = chance;
                    }
                }
                Fault::SwapWires { axis } => {
                    if let Some(drive) = mechanics.drive_mut(axis) {
                        drive.positive_when_high = !drive.positive_when_high;
                        // Backing off a switch, it runs farther onto it.
                        drive.home.suspect = true;
                    }
                }
                Fault::HomeSwitch { axis, fault } => {
                    mechanics.set_switch_fault(axis.0, End::Home, fault);
                }
                Fault::FarSwitch { axis, fault } => {
                    mechanics.set_switch_fault(axis.0, End::Far, fault);
                }
                Fault::StopPressed => mechanics.set_stop(true),
                Fault::StopReleased => mechanics.set_stop(false),
                Fault::Camera(fault) => mechanics.camera.expect(fault),
                Fault::Crank(slip) => mechanics.slips.push_back(slip),
                Fault::Reset {
                    board: BoardId(board),
                    keep_mark,
                    drop_port,
                } => {
                    drop(mechanics);
                    self.reset(board, keep_mark, drop_port);
                }
                Fault::PowerCut { keep_mark } => {
                    drop(mechanics);
                    for board in 0..self.boards.len() {
                        self.reset(board, keep_mark, true);
                    }
                    self.killed = true;
                }
                Fault::HomeSwitchMoved { axis, by } => mechanics.shift_switch(axis.0, by),
                Fault::Backlash { axis, slack } => {
                    if let Some(drive) = mechanics.drive_mut(axis) {
                        drive.set_slack(slack);
                    }
                }
                Fault::MotorPower { on } => {
                    mechanics.motor_power = on;
                    mechanics.let_go();
                }
                Fault::Driver { axis, dead } => {
                    if let Some(drive) = mechanics.drive_mut(axis) {
                        drive.dead = dead;
                    }
                }
                Fault::HandRelease => mechanics.press_by_hand(),
                Fault::Suspend(time) => self.suspended += nanoseconds(time),
                Fault::Stranger {
                    board: BoardId(board),
                    stranger,
                } => {
                    drop(mechanics);
                    self.boards[board].cut();
                    self.boards[board].stranger = stranger;
                }
                Fault::Swapped {
                    one: BoardId(one),
                    other: BoardId(other),
                } => {
                    drop(mechanics);
                    self.boards[one].cut();
                    self.boards[other].cut();
                    self.ports.swap(one, other);
                }
                Fault::OpeningResets {
                    board: BoardId(board),
                    on,
                } => self.boards[board].opening_resets = on,
                Fault::CableOut {
                    board: BoardId(board),
                } => {
                    self.boards[board].cut();
                    self.boards[board].cable = false;
                }
                Fault::CableIn {
                    board: BoardId(board),
                } => self.boards[board].cable = true,
                Fault::Noise {
                    board: BoardId(board),
                    to_board,
                    damage,
                } => self.boards[board].expect_noise(to_board, damage),
                Fault::KillHost => self.killed = true,
            }
        }
        self.wake_boards();
    }

    /// A board restarts.
    pub(super) fn reset(&mut self, board: usize, keep_mark: bool, drop_port: bool) {
        if !keep_mark {
            self.mechanics.borrow_mut().lines[board].kept = None;
        }
        let boot = self.boards[board].reset();
        if drop_port {
            self.boards[board].cut();
        }
        let up = self.now + self.boot_time;
        let mut mechanics = self.mechanics.borrow_mut();
        mechanics.agenda.put(up, Event::Boot { board, boot });
    }
}
