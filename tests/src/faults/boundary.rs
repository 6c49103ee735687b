//! Disk, ports, clock and person as the take sees them.

use std::cell::Cell;
use std::error::Error;
use std::io;
use std::rc::Rc;
use std::time::Duration;

use panestep::link::{Clock, Port};
use panestep::schedule::{Schedule, Turn};
use panestep::sim::{HostKilled, SimClock, SimPort, SimulatedStand};
use panestep::stand::BoardId;
use panestep::take::album::{Album, Look};
use panestep::take::exposure::{Known, Released};
use panestep::take::people::{ReleaseOrder, Trigger};
use panestep::take::{
    Arrangement, Boards, Disk, Entry, HandRequest, Person, Question, SimulatedDisk, Span, Suspects,
};
use panestep_protocol::{
    Accumulator, Answer, Command, ExposureFact, FromBoard, MAX_FRAME, ToBoard, encode,
};

use super::director::{Shared, inject};
use super::kind::Kind;
use super::plan::Mutant;
use super::stand::{HAND, MOTORS, TIME_OUT};
use super::trouble::Trouble;

/// A take that asks its surroundings more often than this does not come to an end.
const CALLS: u64 = 3_000_000;
/// Nor does one that takes longer.
const LONGEST: Duration = Duration::from_secs(3 * 3600);

/// What a take that does not come to an end is ended with.
#[derive(Debug)]
pub struct Hang;

/// How often the surroundings have been asked.
#[derive(Default)]
pub struct Budget(Cell<u64>);

impl Budget {
    /// # Panics
    /// With [`Hang`], where it is spent.
    fn spend(&self, now: Duration) {
        self.0.set(self.0.get() + 1);
        if self.0.get() > CALLS || now > LONGEST {
            std::panic::panic_any(Hang);
        }
    }
}

/// The journal's disk.
pub struct JournalDisk {
    /// Who lets it fail.
    pub director: Shared,
    /// The stand.
    pub sim: SimulatedStand,
    /// The disk itself.
    pub disk: SimulatedDisk,
    /// What is to be exposed.
    pub schedule: Rc<Schedule>,
}

impl JournalDisk {
    fn alive(&self) -> io::Result<()> {
        match self.director.borrow().dead {
            Some(_) => Err(io::Error::other(HostKilled)),
            None => Ok(()),
        }
    }

    /// By how many steps the axes were off at the last exposure.
    fn off(&self) -> [f64; MOTORS] {
        let exposures = self.sim.exposures();
        exposures.last().map_or([0.0; MOTORS], |taken| {
            self.director.borrow().ledger.off(taken, &self.schedule)
        })
    }

    fn operation(&self) -> io::Result<()> {
        self.alive()?;
        let faults = self.director.borrow_mut().operation();
        inject(&self.sim, faults);
        self.alive()
    }

    fn failed<T>(&self, kind: Kind, result: io::Result<T>) -> io::Result<T> {
        if result.is_err() {
            self.director.borrow_mut().effect(kind);
        }
        result
    }
}

impl Disk for JournalDisk {
    fn read(&mut self) -> io::Result<Vec<u8>> {
        self.alive()?;
        self.disk.read()
    }

    fn reserve(&mut self, bytes: u64) -> io::Result<()> {
        self.alive()?;
        let result = self.disk.reserve(bytes);
        self.failed(Kind::DiskFull, result)
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        let entry = serde_json::from_slice::<Entry>(bytes).ok();
        let faults = self.director.borrow_mut().before_append(entry.as_ref());
        inject(&self.sim, faults);
        self.operation()?;
        if let Some(entry) = &entry {
            let off = match entry {
                Entry::Checked { .. } => self.off(),
                _ => [0.0; MOTORS],
            };
            self.director.borrow_mut().checks(entry, off);
        }
        let result = self.disk.append(bytes);
        self.failed(Kind::DiskFull, result)?;
        if let Some(entry) = entry {
            let mut director = self.director.borrow_mut();
            let end = self.disk.length();
            director.note(|| {
                let line = String::from_utf8_lossy(bytes);
                let line = line.trim_end();
                let from = line.find("\"kind\"").unwrap_or(0);
                let to = line.rfind(",\"sum\"").unwrap_or(line.len());
                format!("journal: {}", &line[from..to])
            });
            director.ledger.lines.push((end, entry));
        }
        let faults = self.director.borrow_mut().after_append();
        inject(&self.sim, faults);
        self.alive()
    }

    fn sync(&mut self) -> io::Result<()> {
        self.operation()?;
        let result = self.disk.sync();
        self.failed(Kind::SyncError, result)?;
        let faults = self.director.borrow_mut().after_sync();
        inject(&self.sim, faults);
        self.alive()
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.operation()?;
        let mut director = self.director.borrow_mut();
        let keep = length as usize;
        if director.ledger.lines.iter().any(|(end, _)| *end > keep) {
            director.ledger.found(
                "journal shortened",
                format!("whole lines cut off at {keep}"),
            );
            director.ledger.lines.retain(|(end, _)| *end <= keep);
        }
        drop(director);
        self.disk.cut(length)
    }
}

/// The way to the boards.
pub struct Wires {
    /// Who is told of orders to fire.
    pub director: Shared,
    /// The stand.
    pub sim: SimulatedStand,
    /// How often it may be used.
    pub budget: Rc<Budget>,
    /// What is wrong with it on purpose.
    pub mutant: Option<Mutant>,
}

struct Wire {
    port: SimPort,
    director: Shared,
    sim: SimulatedStand,
    budget: Rc<Budget>,
    sent: Accumulator<ToBoard>,
    fenced: bool,
    /// Where the line is forged: what has come, and what is passed on.
    forged: Option<(Accumulator<FromBoard>, Vec<u8>)>,
}

impl Boards for Wires {
    fn open(
        &mut self,
        board: usize,
        _: &str,
    ) -> Result<Box<dyn Port>, Box<dyn Error + Send + Sync>> {
        self.budget.spend(self.sim.clock().now());
        Ok(Box::new(Wire {
            port: self.sim.port(BoardId(board))?,
            director: Rc::clone(&self.director),
            sim: self.sim.clone(),
            budget: Rc::clone(&self.budget),
            sent: Accumulator::default(),
            fenced: false,
            forged: (self.mutant == Some(Mutant::ForgedFence))
                .then(|| (Accumulator::default(), Vec::new())),
        }))
    }

    fn port_name(&self, board: usize) -> String {
        format!("simulated {board}")
    }
}

impl Port for Wire {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.budget.spend(self.sim.clock().now());
        let mut fired = None;
        for &byte in bytes {
            if let Some(Ok(ToBoard::Request(request))) = self.sent.push(byte) {
                self.fenced = matches!(request.command, Command::Fence { .. });
                if let Command::Fire(order) = request.command {
                    fired = Some(order.token);
                }
            }
        }
        self.port.send(bytes)?;
        if let Some(token) = fired {
            let faults = self.director.borrow_mut().fired(token);
            inject(&self.sim, faults);
        }
        Ok(())
    }

    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize> {
        self.budget.spend(self.sim.clock().now());
        let count = self.port.receive(buffer, time)?;
        let Some((frames, passed)) = &mut self.forged else {
            return Ok(count);
        };
        for &byte in &buffer[..count] {
            let Some(Ok(mut message)) = frames.push(byte) else {
                continue;
            };
            if let FromBoard::Reply(reply) = &mut message
                && let Ok(Answer::Exposure(fact)) = &mut reply.result
                && self.fenced
                && matches!(fact, ExposureFact::Fired { .. })
            {
                *fact = ExposureFact::Never;
            }
            let mut frame = [0; MAX_FRAME];
            if let Ok(frame) = encode(&message, &mut frame) {
                passed.extend_from_slice(frame);
            }
        }
        let count = passed.len().min(buffer.len());
        for (place, byte) in buffer.iter_mut().zip(passed.drain(..count)) {
            *place = byte;
        }
        Ok(count)
    }
}

/// The clock.
pub struct Watched {
    /// The simulated one.
    pub clock: SimClock,
    /// How often it may be asked.
    pub budget: Rc<Budget>,
}

impl Clock for Watched {
    fn now(&self) -> Duration {
        let now = self.clock.now();
        self.budget.spend(now);
        now
    }

    fn sleep(&self, time: Duration) -> io::Result<()> {
        self.budget.spend(self.clock.now());
        self.clock.sleep(time)
    }
}

/// The person: answers by what really happened, and sometimes walks away.
pub struct Operator {
    /// Who knows.
    pub director: Shared,
    /// The stand.
    pub sim: SimulatedStand,
    /// How long a whole exposure is.
    pub whole: Duration,
    /// What is to be exposed.
    pub schedule: Rc<Schedule>,
    /// What is wrong with the person on purpose.
    pub mutant: Option<Mutant>,
    /// Questions so far.
    pub questions: u32,
    /// Questions about frames in doubt so far.
    pub doubts: u32,
}

/// How long a person takes over a question: the camera has come to rest by then.
const THOUGHT: Duration = Duration::from_secs(2);

impl Operator {
    /// Whether the person stays for this question.
    fn stays(&mut self) -> bool {
        self.questions += 1;
        let mut director = self.director.borrow_mut();
        if director.walks_away > 0 {
            director.walks_away -= 1;
            director.effect(Kind::WalksAway);
            director.note(|| "the person walks away".into());
            return false;
        }
        director.dead.is_none()
    }
}

impl Person for Operator {
    fn set(&mut self, request: &HandRequest<'_>) -> Option<f64> {
        if !self.stays() {
            return None;
        }
        self.sim.crank(HAND, request.reading);
        let read = self.sim.position(HAND)?;
        self.director
            .borrow_mut()
            .note(|| format!("asked to crank to {}, it reads {read}", request.reading));
        Some(read)
    }

    fn exposed(&mut self, question: &Question) -> Option<bool> {
        if !self.stays() {
            return None;
        }
        self.sim.pass(THOUGHT).ok()?;
        let mut director = self.director.borrow_mut();
        if director.dead.is_some() {
            return None;
        }
        let exposures = self.sim.exposures();
        let (whole, schedule) = (self.whole, &*self.schedule);
        let ledger = &director.ledger;
        // Asked of a frame of which the journal knows nothing, whatever token comes next.
        let of_frame = matches!(question.known, Known::MarkAhead | Known::Unaccounted);
        let truth = if of_frame {
            ledger.truth_of_frame(&exposures, question.turn.number, whole, schedule)
        } else {
            ledger.truth(&exposures, question.token, whole, schedule)
        };
        let mut answer = self.mutant == Some(Mutant::YesSayer) || truth;
        if director.wrong_answers > 0 && !of_frame {
            director.wrong_answers -= 1;
            director.effect(Kind::WrongAnswer);
            // Noticed at once: the run is ended, and the answer taken back at the next.
            director
                .interrupt
                .store(true, std::sync::atomic::Ordering::Relaxed);
            answer = !answer;
            director
                .take_back
                .push((question.turn.number, question.token, answer));
        }
        director.note(|| {
            let word = if answer { "yes" } else { "no" };
            format!(
                "asked whether frame {} is exposed ({:?}): {word}",
                question.turn, question.known
            )
        });
        Some(answer)
    }

    fn others(&mut self, frames: &[Span], most: u32) -> Option<Vec<u32>> {
        if !self.stays() {
            return None;
        }
        self.sim.pass(THOUGHT).ok()?;
        let mut director = self.director.borrow_mut();
        if director.dead.is_some() {
            return None;
        }
        let exposures = self.sim.exposures();
        let exposed: Vec<u32> = frames
            .iter()
            .flat_map(|span| span.frames())
            .filter(|&frame| {
                let (whole, schedule) = (self.whole, &*self.schedule);
                director
                    .ledger
                    .truth_of_frame(&exposures, frame, whole, schedule)
            })
            .collect();
        director.note(|| format!("asked which others are exposed, {most} at most: {exposed:?}"));
        Some(exposed)
    }

    fn arrange(&mut self, arrangement: &Arrangement<'_>) -> Option<()> {
        if !self.stays() {
            // Some have begun with it.
            if self.questions.is_multiple_of(2) {
                let mut director = self.director.borrow_mut();
                director.ledger.lies.arrange(&arrangement.chores[..1]);
            }
            return None;
        }
        self.sim.pass(THOUGHT).ok()?;
        let mut director = self.director.borrow_mut();
        if director.dead.is_some() {
            return None;
        }
        let turn = arrangement.turn;
        director.ledger.lies.arrange(arrangement.chores);
        director.note(|| format!("asked for frame {turn}: {:?}", arrangement.chores));
        Some(())
    }

    fn fire(&mut self, turn: Turn) -> Option<bool> {
        if !self.stays() {
            if self.director.borrow().dead.is_some() {
                return None;
            }
            // Some leave the release alone and say so; some press it and say nothing.
            if self.questions.is_multiple_of(2) {
                return Some(false);
            }
            fire_camera(&self.director, &self.sim);
            return None;
        }
        self.director
            .borrow_mut()
            .note(|| format!("asked to fire frame {turn}"));
        fire_camera(&self.director, &self.sim);
        Some(true)
    }

    fn again(&mut self, suspects: &Suspects) -> Option<bool> {
        if !self.stays() {
            return None;
        }
        // Whoever is told that an axis loses steps looks at its motor.
        let drives: Vec<Trouble> = {
            let director = self.director.borrow();
            let drives = director.active.iter().copied().filter(|trouble| {
                matches!(
                    trouble,
                    Trouble::StepsOften { .. }
                        | Trouble::MotorPower { .. }
                        | Trouble::Driver { .. }
                        | Trouble::WiresSwapped { .. }
                )
            });
            drives.collect()
        };
        for trouble in drives {
            let fault = self.director.borrow_mut().mend(trouble);
            inject(&self.sim, fault.into_iter().collect());
        }
        self.doubts += 1;
        let again = self.doubts < 3;
        self.director
            .borrow_mut()
            .note(|| format!("frames {:?} in doubt; again: {again}", suspects.frames));
        Some(again)
    }
}

/// The take's own command or finger fires the camera.
fn fire_camera(director: &Shared, sim: &SimulatedStand) {
    director.borrow_mut().triggering = true;
    inject(sim, vec![panestep::sim::Fault::HandRelease]);
    director.borrow_mut().triggering = false;
}

/// The user's own command.
pub struct OwnCommand {
    /// Who lets it fail.
    pub director: Shared,
    /// The stand.
    pub sim: SimulatedStand,
}

impl Trigger for OwnCommand {
    fn release(&mut self, _: &ReleaseOrder<'_>) -> Released {
        let trouble = self.director.borrow_mut().command.pop_front();
        if let Some(trouble) = &trouble {
            self.director.borrow_mut().effect(trouble.kind());
        }
        let (fires, time, how) = match trouble {
            Some(Trouble::CommandFails { code, fired }) => (
                fired,
                Duration::from_millis(50),
                Released::Failed(Some(code)),
            ),
            Some(Trouble::CommandTimesOut { fired }) => (fired, TIME_OUT, Released::TimedOut),
            _ => (true, Duration::from_millis(50), Released::Took),
        };
        // A command that has been started goes on, even where the program that did so dies.
        if self.sim.pass(Duration::from_millis(10)).is_err() {
            return Released::NotBegun;
        }
        if fires {
            fire_camera(&self.director, &self.sim);
        }
        match self.sim.pass(time) {
            Ok(()) => how,
            Err(_) => Released::Failed(None),
        }
    }

    fn why(&self) -> String {
        "it could not be started".into()
    }
}

/// The folder that pictures arrive in.
pub struct Folder {
    /// Who knows the pictures.
    pub director: Shared,
    /// The stand.
    pub sim: SimulatedStand,
}

/// How long a picture takes to be written.
const WRITTEN: Duration = Duration::from_millis(20);

impl Album for Folder {
    fn names(&mut self) -> io::Result<Vec<String>> {
        let now = self.sim.clock().now();
        let director = self.director.borrow();
        let there = director.pictures.iter().filter(|picture| picture.at <= now);
        Ok(there.map(|picture| picture.name.clone()).collect())
    }

    fn look(&mut self, name: &str) -> io::Result<Look> {
        let now = self.sim.clock().now();
        let director = self.director.borrow();
        let picture = director
            .pictures
            .iter()
            .find(|picture| picture.name == name);
        Ok(match picture {
            Some(picture)
                if picture.at + WRITTEN <= now || picture.name.starts_with("invented") =>
            {
                picture
                    .digest
                    .map_or(Look::Unreadable, |digest| Look::Whole {
                        digest,
                        bright: picture.bright,
                    })
            }
            _ => Look::Unreadable,
        })
    }
}
