//! A run's grip on the boards.
//!
//! * `attend`: what a person at the stand asks for, without a take.
//! * `axis`: how to home an axis.
//! * `changes`: frames shot again, left out, in doubt; the journal behind its board.
//! * `check`: home checks.
//! * `homing`: set-up and homing of all of them.
//! * `light`: lamps, and what a hand has to do before an exposure.
//! * `moves`: moves, and whether everything is in place and at rest.
//! * `pictures`: those that arrive.
//! * `shutter`: one exposure.

mod attend;
mod axis;
mod changes;
mod check;
mod homing;
mod light;
mod moves;
mod pictures;
mod shutter;

use std::sync::atomic::Ordering;
use std::time::Duration;

use panestep_protocol::{Answer, AxisIndex, Command, Halt, Refusal};

use super::error::TakeError;
use super::journal::{Entry, Hex, Journal, Picture};
use super::people::{Person, Progress};
use super::run::Stage;
use super::state::{Standing, TakeState};
use crate::link::{Link, LinkError, words};
use crate::plan::times::DEFAULT_TICK_RATE;
use crate::schedule::{Arranged, MotorAxis, Order, Schedule, Turn};

/// Why a run does not go on.
pub(super) enum Interrupt {
    /// A person wants it.
    Person,
    /// Something went wrong.
    Error(TakeError),
}

impl Interrupt {
    /// As an error, where there is no take to go on with.
    pub(super) fn ended(self) -> TakeError {
        match self {
            Self::Person => TakeError::Interrupted,
            Self::Error(error) => error,
        }
    }
}

impl<E: Into<TakeError>> From<E> for Interrupt {
    fn from(error: E) -> Self {
        Self::Error(error.into())
    }
}

/// The boards and people of a run.
pub(super) struct Crew<'s, 'r> {
    pub(super) schedule: &'r Schedule,
    order: Order,
    stage: &'r mut Stage<'s>,
    journal: Option<&'r mut Journal>,
    links: Vec<Option<Link>>,
    /// Of each motor axis: whether it has come up to where it stands by at least its slack.
    seated: Vec<bool>,
    /// The frame in whose pose everything stands, where it does.
    pose: Option<u32>,
    /// Of each board: the lamps that burn, where it is known.
    lit: Vec<Option<u8>>,
    /// When the lamps' light is steady.
    steady: Duration,
    /// What a person has laid, taken out and switched.
    arranged: Arranged,
    /// From the closing of the release until the shutter has closed, for the exposure under way.
    window: Duration,
    /// When the exposure under way was released, or a run began that found one open.
    released: Duration,
    /// When the camera can take the next.
    ready: Duration,
    /// How often the flash contact had closed when the last exposure was over.
    contacts: Option<u32>,
    /// When a person last set an axis by hand.
    touched: Option<Duration>,
    refused: Option<Refusal>,
    /// What is wrong with a board whose lamps were to burn for the exposure under way.
    gone: Option<TakeError>,
    /// Whether the exposure was under way when the board was last asked.
    running: bool,
    /// Whether the person left the release alone when asked for a finger on it.
    left_alone: bool,
    /// Whether a command could not be started.
    unbegun: bool,
    /// The pictures that have come since the intent, and the one that counts.
    arrived: Vec<String>,
    picture: Option<Picture>,
}

impl<'s, 'r> Crew<'s, 'r> {
    pub(super) fn new(
        schedule: &'r Schedule,
        stage: &'r mut Stage<'s>,
        journal: Option<&'r mut Journal>,
    ) -> Self {
        Self {
            links: schedule.boards.iter().map(|_| None).collect(),
            seated: vec![false; schedule.motors.len()],
            pose: None,
            lit: vec![None; schedule.boards.len()],
            steady: Duration::ZERO,
            arranged: Arranged::new(schedule),
            window: schedule.exposure.window,
            released: stage.clock.now(),
            order: schedule.order(),
            schedule,
            stage,
            journal,
            ready: Duration::ZERO,
            contacts: None,
            touched: None,
            refused: None,
            gone: None,
            running: false,
            left_alone: false,
            unbegun: false,
            arrived: Vec::new(),
            picture: None,
        }
    }

    pub(super) fn now(&self) -> Duration {
        self.stage.clock.now()
    }

    pub(super) fn see(&mut self, progress: &Progress<'_>) {
        self.stage.watch.see(progress);
    }

    pub(super) fn person(&mut self) -> &mut dyn Person {
        self.stage.person
    }

    /// The exposure to make next.
    pub(super) fn next_frame(&self) -> Option<Turn> {
        let state = self.state()?;
        state.next_frame().map(|number| state.turn(number))
    }

    /// The exposure of a number.
    pub(super) fn turn(&self, number: u32) -> Result<Turn, TakeError> {
        self.order
            .turn(number)
            .ok_or(TakeError::Schedule("it has no exposure of such a number"))
    }

    pub(super) const fn order(&self) -> &Order {
        &self.order
    }

    fn state(&self) -> Option<&TakeState> {
        self.journal.as_ref().map(|journal| journal.state())
    }

    /// What has become of a frame, where there is a journal.
    pub(super) fn standing(&self, turn: Turn) -> Option<Standing> {
        let state = self.state()?;
        state.frame(turn.number).map(|frame| frame.standing)
    }

    pub(super) fn wanted(&self) -> Vec<u32> {
        self.state()
            .map(|state| state.wanted().collect())
            .unwrap_or_default()
    }

    /// Whether every frame is exposed or left out, looked over, and decided upon.
    pub(super) fn nothing_left(&self) -> bool {
        self.state().is_none_or(|state| {
            state.left() == 0 && state.suspects().is_none() && state.unchecked().len() == 0
        })
    }

    /// Whether an intent is on disk whose outcome is not.
    pub(super) fn has_open_exposure(&self) -> bool {
        self.state().is_some_and(|state| state.open.is_some())
    }

    pub(super) fn finished(&self) -> bool {
        self.state().is_none_or(|state| state.finished)
    }

    /// A person has just had a hand on the stand: it has to come to rest.
    pub(super) fn touched(&mut self) {
        self.touched = Some(self.now());
    }

    /// Tells that a frame is done.
    pub(super) fn frame_done(&mut self, turn: Turn, elapsed: Duration, left: Duration) {
        let Some(state) = self.journal.as_ref().map(|journal| journal.state()) else {
            return;
        };
        let dropped = state.dropped();
        let turns = state.turns() - dropped;
        self.stage.watch.see(&Progress::Frame {
            turn,
            done: turns - state.left(),
            turns,
            picture: state
                .frame(turn.number)
                .and_then(|frame| frame.picture.as_deref()),
            elapsed,
            left,
        });
    }

    pub(super) fn record(&mut self, entry: &Entry) -> Result<(), TakeError> {
        match &mut self.journal {
            Some(journal) => Ok(journal.record(entry)?),
            None => Ok(()),
        }
    }

    pub(super) fn check_interrupt(&self) -> Result<(), Interrupt> {
        if self.stage.interrupt.load(Ordering::Relaxed) {
            Err(Interrupt::Person)
        } else {
            Ok(())
        }
    }

    /// The last reading of an axis moved by hand that the journal knows of.
    pub(super) fn last_reading(&self, axis: &str) -> Option<f64> {
        let journal = self.journal.as_ref()?;
        journal.state().readings.get(axis).copied()
    }

    /// Ticks a second of the slowest board; the usual one's where there is no board at all.
    pub(super) fn tick_rate(&mut self) -> Result<u32, TakeError> {
        let mut slowest = None;
        for board in self.boards() {
            let rate = self.link(board)?.identity().tick_rate;
            slowest = Some(slowest.map_or(rate, |slowest: u32| slowest.min(rate)));
        }
        Ok(slowest.unwrap_or(DEFAULT_TICK_RATE))
    }

    fn sleep(&self, time: Duration) -> Result<(), TakeError> {
        self.stage.clock.sleep(time).map_err(TakeError::Clock)
    }

    fn boards(&self) -> std::ops::Range<usize> {
        0..self.schedule.boards.len()
    }

    fn link(&mut self, board: usize) -> Result<&mut Link, TakeError> {
        self.links
            .get_mut(board)
            .and_then(Option::as_mut)
            .ok_or(TakeError::Schedule(
                "it names a board that it does not have",
            ))
    }

    /// The name of an axis of a board.
    fn axis_name(&self, board: usize, axis: AxisIndex) -> String {
        self.schedule
            .motors
            .iter()
            .find(|motor| motor.board == board && motor.channel == axis.0)
            .map_or_else(|| format!("axis {}", axis.0), MotorAxis::name)
    }

    fn ask(&mut self, board: usize, command: Command) -> Result<Answer, TakeError> {
        match self.link(board)?.ask(command) {
            Err(LinkError::Refused { refusal, .. }) => Err(self.refused(board, refusal)),
            other => Ok(other?),
        }
    }

    fn refused(&self, board: usize, refusal: Refusal) -> TakeError {
        let name = |axis| self.axis_name(board, axis);
        let board = self.schedule.boards[board].clone();
        match refusal {
            Refusal::Halted(halt) => TakeError::Halted {
                board,
                cause: words::halt(halt, &name),
            },
            _ => TakeError::Refused {
                board,
                what: words::refusal(&refusal, &name),
            },
        }
    }

    fn halted(&self, board: usize, halt: Halt) -> TakeError {
        self.refused(board, Refusal::Halted(halt))
    }

    fn connect(&mut self, board: usize) -> Result<(), TakeError> {
        // The old port has to be let go before it can be had again.
        self.links[board] = None;
        // Somebody else may have had the board since, or it may have been reset.
        self.lit[board] = None;
        let name = &self.schedule.boards[board];
        let port = self
            .stage
            .boards
            .open(board, name)
            .map_err(|source| TakeError::Port {
                board: name.clone(),
                source,
            })?;
        let link = Link::connect(port, self.stage.clock.clone(), name).map_err(|source| {
            TakeError::Connect {
                port: self.stage.boards.port_name(board),
                source,
            }
        })?;
        let boot = Hex(link.boot().0);
        let number = link.session().0;
        self.links[board] = Some(link);
        self.record(&Entry::Session {
            board: name.clone(),
            boot,
            number,
        })?;
        self.stage.watch.see(&Progress::Connected { board: name });
        Ok(())
    }

    pub(super) fn connect_all(&mut self) -> Result<(), Interrupt> {
        for board in self.boards() {
            self.check_interrupt()?;
            self.connect(board)?;
        }
        Ok(())
    }
}
