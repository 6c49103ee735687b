//! A simulated board: the firmware library, its clock and its end of the line.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;

use panestep_firmware::controller::{Controller, Setup};
use panestep_protocol::{
    Accumulator, BootId, FromBoard, Identity, MAGIC, MAX_AXES, MAX_FRAME, SessionId, ToBoard,
    VERSION, encode, schema,
};

use super::agenda::{Event, Mark};
use super::fault::{Damage, Fault, Stranger};
use super::laws::DIRECTION_SETUP;
use super::mechanics::Mechanics;
use super::onlook::Happening;
use super::pins::Pins;
use super::random::Random;
use super::world::nanoseconds;
use crate::stand::BoardId;

/// Most bytes that travel in one piece, as in a packet of full-speed USB.
const PIECE: usize = 64;

const SECOND: u64 = 1_000_000_000;

/// How bytes travel.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    pub(super) latency: u64,
    pub(super) jitter: u64,
    /// For one byte.
    pub(super) byte: u64,
}

/// One way of the line.
#[derive(Default)]
struct Lane {
    /// When the last byte under way arrives.
    busy_until: u64,
    damage: VecDeque<Damage>,
}

pub(super) struct Board {
    place: usize,
    name: String,
    tick_rate: u32,
    mechanics: Rc<RefCell<Mechanics>>,
    /// None while it is in reset.
    controller: Option<Controller<Pins>>,
    /// Which start it is.
    boot: u32,
    boot_at: u64,
    /// Ticks done since its start.
    ticks: u64,
    /// Number of the next tick that matters, and when it comes.
    due: u64,
    due_at: u64,
    line: Line,
    to_board: Lane,
    to_host: Lane,
    random: Random,
    /// Whether the host has its port open.
    pub(super) open: bool,
    /// Counts openings and closings: bytes of an earlier one never arrive.
    pub(super) opening: u32,
    /// An opening that has ended, whose last bytes had left the host already.
    lingering: Option<u32>,
    pub(super) cable: bool,
    /// The port that is open no longer leads anywhere.
    pub(super) broken: bool,
    /// What has arrived at the host.
    pub(super) inbox: VecDeque<u8>,
    /// What is on its port instead of it.
    pub(super) stranger: Option<Stranger>,
    overheard: Accumulator<ToBoard>,
    /// Whether the opening of its port resets it.
    pub(super) opening_resets: bool,
    /// Where it draws the same boot id at every start: that one.
    same_boot: Option<BootId>,
}

impl Board {
    pub(super) fn new(
        place: usize,
        name: &str,
        tick_rate: u32,
        line: Line,
        mechanics: &Rc<RefCell<Mechanics>>,
        random: Random,
        same_boot: bool,
    ) -> Self {
        let mut board = Self {
            place,
            name: name.to_owned(),
            tick_rate,
            mechanics: Rc::clone(mechanics),
            controller: None,
            boot: 0,
            boot_at: 0,
            ticks: 0,
            due: 1,
            due_at: 0,
            line,
            to_board: Lane::default(),
            to_host: Lane::default(),
            random,
            open: false,
            opening: 0,
            lingering: None,
            cable: true,
            broken: false,
            inbox: VecDeque::new(),
            stranger: None,
            overheard: Accumulator::default(),
            opening_resets: false,
            same_boot: None,
        };
        if same_boot {
            board.same_boot = Some(BootId(board.random.next()));
        }
        board.start(0);
        board
    }

    /// Power is on: the firmware begins.
    pub(super) fn start(&mut self, now: u64) {
        let pins = Pins {
            board: self.place,
            mechanics: Rc::clone(&self.mechanics),
        };
        let setup = Setup {
            name: &self.name,
            axes: MAX_AXES as u8,
            tick_rate: self.tick_rate,
            boot: self.same_boot.unwrap_or_else(|| BootId(self.random.next())),
            direction_setup: panestep_protocol::Ticks(
                (DIRECTION_SETUP * u64::from(self.tick_rate)).div_ceil(SECOND) as u32,
            ),
        };
        self.controller = Some(Controller::new(pins, &setup));
        self.boot_at = now;
        self.ticks = 0;
        self.set_due(1);
    }

    /// The firmware ends; returns which start will be the next.
    pub(super) fn reset(&mut self) -> u32 {
        self.controller = None;
        self.due_at = u64::MAX;
        self.boot += 1;
        let mut mechanics = self.mechanics.borrow_mut();
        mechanics.outputs_off(self.place);
        let board = BoardId(self.place);
        mechanics.tell(&Happening::Down { board });
        self.boot
    }

    /// Whether this is the start that is being waited for.
    pub(super) fn awaits(&self, boot: u32) -> bool {
        self.controller.is_none() && self.boot == boot
    }

    fn set_due(&mut self, tick: u64) {
        self.due = tick;
        self.due_at = self.boot_at + self.tick_time(tick);
    }

    /// From the start until a tick.
    fn tick_time(&self, tick: u64) -> u64 {
        let rate = u64::from(self.tick_rate);
        tick / rate * SECOND + tick % rate * SECOND / rate
    }

    /// The first tick at or after a moment.
    fn tick_at(&self, now: u64) -> u64 {
        let rate = u64::from(self.tick_rate);
        let since = now - self.boot_at;
        let mut tick = since / SECOND * rate + since % SECOND * rate / SECOND;
        while self.tick_time(tick) < since {
            tick += 1;
        }
        tick
    }

    /// When its next tick that matters comes.
    pub(super) const fn due_at(&self) -> u64 {
        self.due_at
    }

    /// Does the tick that is due.
    pub(super) fn tick(&mut self) {
        let Some(controller) = &mut self.controller else {
            return;
        };
        let idle = self.due - 1 - self.ticks;
        if idle > 0 {
            skip(controller, idle);
        }
        self.ticks = self.due;
        {
            let mut mechanics = self.mechanics.borrow_mut();
            mechanics.now = self.due_at;
            mechanics.lines[self.place].changed = false;
        }
        controller.tick();
        let quiet = if self.mechanics.borrow().lines[self.place].changed {
            0
        } else {
            u64::from(controller.quiet())
        };
        self.set_due(self.ticks + 1 + quiet);
    }

    /// An input has changed: the board must look at its next tick.
    pub(super) fn wake(&mut self, now: u64) {
        if self.controller.is_some() {
            let next = self.tick_at(now).max(self.ticks + 1);
            if next < self.due {
                self.set_due(next);
            }
        }
    }

    /// Bytes arrive.
    pub(super) fn receive(&mut self, bytes: &[u8], now: u64) {
        let next = self.tick_at(now).max(self.ticks + 1);
        let Some(controller) = &mut self.controller else {
            return;
        };
        let idle = next - 1 - self.ticks;
        if idle > 0 {
            skip(controller, idle);
            self.ticks += idle;
        }
        {
            let mut mechanics = self.mechanics.borrow_mut();
            mechanics
                .trace
                .note_bytes(now, Mark::ToBoard, self.place, bytes);
            mechanics.lines[self.place].heard = now;
            mechanics.tell(&Happening::Arrived {
                board: BoardId(self.place),
                to_board: true,
                bytes,
            });
        }
        controller.receive(bytes);
        self.set_due(next);
        self.transmit(now);
    }

    /// What the board has to say starts on its way.
    pub(super) fn transmit(&mut self, now: u64) {
        let mut buffer = [0; 256];
        while let Some(controller) = &mut self.controller {
            let count = controller.transmit(&mut buffer);
            if count == 0 {
                break;
            }
            self.post(&buffer[..count], now, false);
        }
    }

    /// The host's bytes start on their way.
    pub(super) fn send(&mut self, bytes: &[u8], now: u64) {
        match self.stranger.clone() {
            None => self.post(bytes, now, true),
            Some(Stranger::Babbler) => {
                let count = 1 + self.random.next() as usize % 2 * bytes.len();
                let garbage: Vec<u8> = (0..count).map(|_| self.random.next() as u8).collect();
                self.post(&garbage, now, false);
            }
            Some(Stranger::Named(name)) => {
                for &byte in bytes {
                    if let Some(Ok(ToBoard::Hello(hello))) = self.overheard.push(byte) {
                        self.introduce(&name, hello.nonce, now);
                    }
                }
            }
        }
    }

    /// Another board answers a greeting in place of this one.
    fn introduce(&mut self, name: &str, nonce: u32, now: u64) {
        let identity = FromBoard::Identity(Identity {
            magic: MAGIC,
            version: VERSION,
            schema: schema(),
            nonce,
            name: name.try_into().unwrap_or_default(),
            axes: MAX_AXES as u8,
            tick_rate: self.tick_rate,
            boot: BootId(1),
            session: SessionId(0),
            mark: None,
        });
        let mut buffer = [0; MAX_FRAME];
        if let Ok(frame) = encode(&identity, &mut buffer) {
            self.post(frame, now, false);
        }
    }

    fn post(&mut self, bytes: &[u8], now: u64, to_board: bool) {
        if !self.open || self.broken {
            return;
        }
        self.mechanics.borrow_mut().tell(&Happening::Sent {
            board: BoardId(self.place),
            to_board,
            bytes,
        });
        for piece in bytes.chunks(PIECE) {
            let mut delay = self.line.latency + self.random.part(self.line.jitter, 0.0, 1.0);
            let lane = if to_board {
                &mut self.to_board
            } else {
                &mut self.to_host
            };
            let damage = lane.damage.pop_front();
            let mut overtaken = false;
            if let Some(damage) = &damage {
                self.mechanics
                    .borrow_mut()
                    .tell(&Happening::Struck(&Fault::Noise {
                        board: BoardId(self.place),
                        to_board,
                        damage: damage.clone(),
                    }));
                if let Damage::Late(late) = damage {
                    delay += nanoseconds(*late);
                    overtaken = true;
                }
            }
            let copies = damaged(piece, damage, &mut self.random);
            for bytes in copies {
                let at = lane.busy_until.max(now + delay) + self.line.byte * bytes.len() as u64;
                if !overtaken {
                    lane.busy_until = at;
                }
                let (board, opening) = (self.place, self.opening);
                let event = if to_board {
                    Event::ToBoard {
                        board,
                        opening,
                        bytes,
                    }
                } else {
                    Event::ToHost {
                        board,
                        opening,
                        bytes,
                    }
                };
                self.mechanics.borrow_mut().agenda.put(at, event);
            }
        }
    }

    pub(super) fn expect_noise(&mut self, to_board: bool, damage: Damage) {
        let lane = if to_board {
            &mut self.to_board
        } else {
            &mut self.to_host
        };
        lane.damage.push_back(damage);
    }

    /// Bytes reach the host's buffer.
    pub(super) fn arrive(&mut self, bytes: &[u8], now: u64) {
        let mut mechanics = self.mechanics.borrow_mut();
        mechanics
            .trace
            .note_bytes(now, Mark::ToHost, self.place, bytes);
        mechanics.tell(&Happening::Arrived {
            board: BoardId(self.place),
            to_board: false,
            bytes,
        });
        drop(mechanics);
        self.inbox.extend(bytes);
    }

    /// The line is dead from here on, until the port is opened afresh.
    pub(super) fn cut(&mut self) {
        self.broken = self.open;
        self.opening += 1;
        self.lingering = None;
        self.inbox.clear();
    }

    /// The host closes its port. Bytes on their way to it are lost; those on their way to the
    /// board may or may not have left the host already: the seed decides.
    pub(super) fn close(&mut self) {
        if self.open && !self.broken && self.random.chance(0.5) {
            self.lingering = Some(self.opening);
        }
        self.open = false;
        self.broken = false;
        self.opening += 1;
        self.inbox.clear();
    }

    /// Whether bytes that were sent under an opening still reach the board.
    pub(super) fn hears(&self, opening: u32) -> bool {
        self.controller.is_some() && (self.opening == opening || self.lingering == Some(opening))
    }
}

/// Lets the firmware count ticks in which nothing happens.
fn skip(controller: &mut Controller<Pins>, mut ticks: u64) {
    while ticks > 0 {
        let part = u32::try_from(ticks).unwrap_or(u32::MAX);
        controller.skip(part);
        ticks -= u64::from(part);
    }
}

/// What arrives of a piece.
fn damaged(piece: &[u8], damage: Option<Damage>, random: &mut Random) -> Vec<Vec<u8>> {
    let whole = piece.to_vec();
    match damage {
        None | Some(Damage::Late(_)) => vec![whole],
        Some(Damage::Lost) => Vec::new(),
        Some(Damage::Twice) => vec![whole.clone(), whole],
        Some(Damage::After(before)) => vec![before, whole],
        Some(Damage::Short) => vec![whole[..whole.len().div_ceil(2)].to_vec()],
        Some(Damage::Merged) => vec![whole[..whole.len().saturating_sub(1)].to_vec()],
        Some(Damage::Flood(count)) => {
            let garbage = (0..count).map(|_| random.next() as u8).collect();
            vec![garbage, whole]
        }
        Some(Damage::Flipped) => {
            let bit = random.next() as usize % (8 * whole.len().max(1));
            let mut flipped = whole;
            if let Some(byte) = flipped.get_mut(bit / 8) {
                *byte ^= 1 << (bit % 8);
            }
            vec![flipped]
        }
    }
}
