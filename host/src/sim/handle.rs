//! The handle by which everybody else holds the simulated stand: its clock, its ports, its
//! camera, and what an onlooker can see.

use std::cell::RefCell;
use std::io;
use std::rc::Rc;
use std::time::Duration;

use super::Options;
use super::camera::TakenExposure;
use super::fault::{Fault, When};
use super::laws::{StepCount, Violation};
use super::onlook::{Happening, Onlooker};
use super::world::{Pause, World, nanoseconds};
use crate::link::{Clock, Port};
use crate::stand::{AxisId, BoardId, Stand, StandPose};

/// What happens to a finished exposure.
type Hook = Box<dyn FnMut(&StandPose, u32) -> io::Result<()>>;

/// A hook's error, kept.
type Failure = (io::ErrorKind, String);

/// A whole stand that exists only in here: the real firmware library against simulated motors,
/// screws, switches, camera and cables. A handle: clones are the same stand.
///
/// Time stands still except while somebody waits: in [`SimClock::sleep`], in
/// [`SimPort::receive`] or in [`pass`](Self::pass). All boards of the stand are simulated,
/// whatever port the stand file names for them.
#[derive(Clone)]
pub struct SimulatedStand {
    world: Rc<RefCell<World>>,
    hook: Rc<RefCell<Option<Hook>>>,
    failure: Rc<RefCell<Option<Failure>>>,
}

/// The simulated stand's clock.
#[derive(Clone)]
pub struct SimClock(SimulatedStand);

/// The host's end of the line to a simulated board. Closed by dropping it.
pub struct SimPort {
    stand: SimulatedStand,
    board: usize,
}

impl SimulatedStand {
    /// Builds it. The same stand, options and calls give the same run.
    #[must_use]
    pub fn new(stand: &Stand, options: &Options) -> Self {
        Self {
            world: Rc::new(RefCell::new(World::new(stand, options))),
            hook: Rc::default(),
            failure: Rc::default(),
        }
    }

    /// How many boards it has.
    #[must_use]
    pub fn boards(&self) -> usize {
        self.world.borrow().boards.len()
    }

    /// Its clock.
    #[must_use]
    pub fn clock(&self) -> SimClock {
        SimClock(self.clone())
    }

    /// Opens the port to a board.
    ///
    /// # Errors
    /// [`ResourceBusy`](io::ErrorKind::ResourceBusy) where it is open already, and
    /// [`NotFound`](io::ErrorKind::NotFound) where the cable is out or the stand has no such
    /// board; what [`SimClock::sleep`] gives for a killed host.
    pub fn port(&self, board: BoardId) -> io::Result<SimPort> {
        let mut world = self.world.borrow_mut();
        world.strike_asked();
        world.alive()?;
        let Some(&place) = world.ports.get(board.0) else {
            let what = format!("the stand has no board {}", board.0);
            return Err(io::Error::new(io::ErrorKind::NotFound, what));
        };
        let end = &mut world.boards[place];
        if end.open {
            let what = "its simulated port is open already";
            return Err(io::Error::new(io::ErrorKind::ResourceBusy, what));
        }
        if !end.cable {
            let what = "its simulated cable is not plugged in; plug it in";
            return Err(io::Error::new(io::ErrorKind::NotFound, what));
        }
        end.open = true;
        end.opening += 1;
        if end.opening_resets {
            let fault = Fault::OpeningResets { board, on: true };
            let mut mechanics = world.mechanics.borrow_mut();
            mechanics.tell(&Happening::Struck(&fault));
            drop(mechanics);
            world.reset(place, true, false);
        }
        Ok(SimPort {
            stand: self.clone(),
            board: place,
        })
    }

    /// Sets what happens to every finished exposure: `hook` is called as the shutter closes, with
    /// where everything was when half of the exposure had passed, and the exposure's number,
    /// counted from 1. It must not use this stand. Its first error is kept, and from then on
    /// every wait and every send fails with that error.
    pub fn on_exposure(&self, hook: impl FnMut(&StandPose, u32) -> io::Result<()> + 'static) {
        *self.hook.borrow_mut() = Some(Box::new(hook));
    }

    /// Sets who sees everything that happens, as it happens. What it returns strikes right after;
    /// it must not use this stand. Costs next to nothing where nobody looks on.
    pub fn on_happening(&self, onlooker: Onlooker) {
        self.world.borrow().mechanics.borrow_mut().onlooker = Some(onlooker);
    }

    /// Lets something go wrong, now or later; returns whether it can: where the stand has no such
    /// axis or board, or no such part there, nothing happens.
    pub fn inject(&self, when: When, fault: Fault) -> bool {
        self.world.borrow_mut().inject(when, fault)
    }

    /// Lets time pass without a host: also for one that has been killed.
    ///
    /// # Errors
    /// The hook's.
    pub fn pass(&self, time: Duration) -> io::Result<()> {
        self.wait(time, false, |_| false).map(drop)
    }

    /// A new host program starts after the last one has been killed. Its ports are closed.
    pub fn revive(&self) {
        let mut world = self.world.borrow_mut();
        world.killed = false;
        for board in &mut world.boards {
            board.close();
        }
    }

    /// A person turns the crank of a hand axis until its scale reads this. What they really do is
    /// seen in [`pose`](Self::pose); returns whether it is a hand axis.
    pub fn crank(&self, axis: AxisId, position: f64) -> bool {
        let world = self.world.borrow();
        let mut mechanics = world.mechanics.borrow_mut();
        mechanics.crank(axis, position)
    }

    /// A person sets the camera's own exposure time; it holds from the next press on.
    pub fn set_exposure(&self, time: Duration) {
        let world = self.world.borrow();
        world.mechanics.borrow_mut().camera.set_exposure(time);
    }

    /// Where everything really is.
    #[must_use]
    pub fn pose(&self) -> StandPose {
        self.world.borrow().mechanics.borrow().pose()
    }

    /// Where an axis's carriage really is, in its unit; `None` where the stand has no such axis.
    #[must_use]
    pub fn position(&self, axis: AxisId) -> Option<f64> {
        self.world.borrow().mechanics.borrow().position(axis)
    }

    /// What an axis's motor has received since the world began; `None` for a hand axis.
    #[must_use]
    pub fn count(&self, axis: AxisId) -> Option<StepCount> {
        self.world.borrow().mechanics.borrow().count(axis)
    }

    /// Every law that has been broken.
    #[must_use]
    pub fn violations(&self) -> Vec<Violation> {
        self.world.borrow().mechanics.borrow().violations.clone()
    }

    /// Every exposure that has been completed.
    #[must_use]
    pub fn exposures(&self) -> Vec<TakenExposure> {
        self.world.borrow().mechanics.borrow().camera.taken.clone()
    }

    /// How often the release line has closed, whatever the camera made of it.
    #[must_use]
    pub fn releases(&self) -> u32 {
        self.world.borrow().mechanics.borrow().releases
    }

    /// How often the camera has ignored its release, busy or on demand.
    #[must_use]
    pub fn ignored(&self) -> u32 {
        self.world.borrow().mechanics.borrow().camera.ignored
    }

    /// Whether a board's release line is closed.
    #[must_use]
    pub fn release_closed(&self, board: BoardId) -> bool {
        let world = self.world.borrow();
        let mechanics = world.mechanics.borrow();
        let line = mechanics.lines.get(board.0);
        line.is_some_and(|line| line.release)
    }

    /// Presses of the camera's release so far, those by hand included.
    #[must_use]
    pub fn presses(&self) -> u32 {
        self.world.borrow().mechanics.borrow().camera.presses
    }

    /// Whether the shutter is open.
    #[must_use]
    pub fn shutter_open(&self) -> bool {
        self.world.borrow().mechanics.borrow().camera.is_open()
    }

    /// Lamp outputs of a board, bit `n` for lamp `n`; 0 where the stand has no such board.
    #[must_use]
    pub fn lamps(&self, board: BoardId) -> u8 {
        let world = self.world.borrow();
        let mechanics = world.mechanics.borrow();
        mechanics.lines.get(board.0).map_or(0, |line| line.lamps)
    }

    /// Events so far: bytes sent and arrived, contacts opening and closing, the camera's doings,
    /// faults. Steps are not counted.
    #[must_use]
    pub fn events(&self) -> u64 {
        self.world.borrow().events
    }

    /// Ticks that have been carried out one by one, over all boards; those in which nothing could
    /// happen are not counted.
    #[must_use]
    pub fn ticks(&self) -> u64 {
        self.world.borrow().ticks
    }

    /// A hash over every pin edge and every byte, with their times.
    #[must_use]
    pub fn trace(&self) -> u64 {
        self.world.borrow().mechanics.borrow().trace.value()
    }

    fn wait(
        &self,
        time: Duration,
        attended: bool,
        done: impl Fn(&World) -> bool,
    ) -> io::Result<Pause> {
        self.failed()?;
        let until = {
            let world = self.world.borrow();
            if attended {
                world.alive()?;
            }
            if done(&world) {
                return Ok(Pause::Done);
            }
            world.now.saturating_add(nanoseconds(time))
        };
        loop {
            let pause = self.world.borrow_mut().advance(until, attended, &done);
            self.photograph()?;
            match pause? {
                Pause::Exposed => {}
                pause => {
                    if attended {
                        self.stay_suspended()?;
                    }
                    return Ok(pause);
                }
            }
        }
    }

    /// Where the computer has been suspended, the wait goes on without the host.
    fn stay_suspended(&self) -> io::Result<()> {
        let time = {
            let mut world = self.world.borrow_mut();
            let time = Duration::from_nanos(std::mem::take(&mut world.suspended));
            if !time.is_zero() {
                let fault = Fault::Suspend(time);
                let mut mechanics = world.mechanics.borrow_mut();
                mechanics.tell(&Happening::Struck(&fault));
            }
            time
        };
        if time.is_zero() {
            return Ok(());
        }
        self.wait(time, false, |_| false).map(drop)
    }

    /// Hands finished exposures over, with nothing of the world borrowed.
    fn photograph(&self) -> io::Result<()> {
        loop {
            let pose = {
                let mut world = self.world.borrow_mut();
                let Some(number) = world.exposed.pop_front() else {
                    return Ok(());
                };
                let mechanics = world.mechanics.borrow();
                let taken = &mechanics.camera.taken[number as usize - 1];
                (taken.pose.clone(), number)
            };
            if let Some(hook) = self.hook.borrow_mut().as_mut()
                && let Err(error) = hook(&pose.0, pose.1)
            {
                let failure = (error.kind(), error.to_string());
                self.failure.borrow_mut().get_or_insert(failure);
                return Err(error);
            }
        }
    }

    fn failed(&self) -> io::Result<()> {
        match &*self.failure.borrow() {
            Some((kind, what)) => Err(io::Error::new(*kind, what.clone())),
            None => Ok(()),
        }
    }
}

impl Clock for SimClock {
    fn now(&self) -> Duration {
        Duration::from_nanos(self.0.world.borrow().now)
    }

    /// # Errors
    /// A killed host's ([`HostKilled`](super::HostKilled) within), or the exposure hook's.
    fn sleep(&self, time: Duration) -> io::Result<()> {
        self.0.wait(time, true, |_| false).map(drop)
    }
}

fn unplugged() -> io::Error {
    io::Error::new(
        io::ErrorKind::BrokenPipe,
        "the simulated board has gone from the line",
    )
}

impl Port for SimPort {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.stand.failed()?;
        let mut world = self.stand.world.borrow_mut();
        world.alive()?;
        let now = world.now;
        let board = &mut world.boards[self.board];
        if board.broken {
            return Err(unplugged());
        }
        board.send(bytes, now);
        world.count_event();
        world.alive()
    }

    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize> {
        let place = self.board;
        self.stand.wait(time, true, |world| {
            let board = &world.boards[place];
            board.broken || !board.inbox.is_empty()
        })?;
        let mut world = self.stand.world.borrow_mut();
        let board = &mut world.boards[place];
        if board.broken {
            return Err(unplugged());
        }
        let count = board.inbox.len().min(buffer.len());
        for (place, byte) in buffer.iter_mut().zip(board.inbox.drain(..count)) {
            *place = byte;
        }
        Ok(count)
    }
}

impl Drop for SimPort {
    fn drop(&mut self) {
        // Dropped while the world is busy: only where a hook breaks its promise; leave it then.
        if let Ok(mut world) = self.stand.world.try_borrow_mut() {
            world.boards[self.board].close();
        }
    }
}
