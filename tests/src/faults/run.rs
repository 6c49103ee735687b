//! A take from its beginning to its end, over as many runs of the program as it takes.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::rc::Rc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use super::boundary::{Budget, Folder, Hang, JournalDisk, Operator, OwnCommand, Watched, Wires};
use super::director::{Director, Shared, inject, onlooker};
use super::kind::Kind;
use super::plan::{Moment, Mutant, Plan};
use super::trouble::{Trouble, Wish};
use panestep::link::{Clock, LinkError};
use panestep::schedule::Schedule;
use panestep::sim::SimulatedStand;
use panestep::take::journal::replay;
use panestep::take::{
    Disk, Edit, Entry, Journal, JournalError, Outcome, Span, Stage, TakeError, shoot,
};
use panestep_protocol::ShotId;

/// Something that must never be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// What sort of thing; stays the same while a plan is made smaller.
    pub kind: String,
    /// What exactly.
    pub what: String,
}

/// How a take went.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// What must never be, in the order found.
    pub findings: Vec<Finding>,
    /// Faults that really struck, by kind.
    pub struck: BTreeMap<Kind, u32>,
    /// Exposures that were made.
    pub exposures: u32,
    /// Runs of the program after the first.
    pub resumes: u32,
    /// Questions that the person was asked.
    pub questions: u32,
    /// How long it took at the stand.
    pub time: Duration,
    /// Hash of everything that happened.
    pub trace: u64,
    /// Events of the world, and operations of the journal's disk.
    pub moments: (u64, u64),
    /// What happened, to be read.
    pub story: Vec<String>,
}

/// Seconds between two runs.
const PAUSE: Duration = Duration::from_secs(1);
/// Runs without a new exposure after which the person looks at everything.
const PATIENCE: u32 = 3;

/// Carries a plan out.
#[must_use]
pub fn run(plan: &Plan) -> Report {
    Take::new(plan, false).run()
}

/// Carries a plan out and writes down what happens.
#[must_use]
pub fn tell(plan: &Plan) -> Report {
    Take::new(plan, true).run()
}

struct Take<'a> {
    plan: &'a Plan,
    sim: SimulatedStand,
    director: Shared,
    schedule: Rc<Schedule>,
    person: Operator,
    budget: Rc<Budget>,
    whole: Duration,
    laws_seen: usize,
}

/// How a run of the program ended.
enum Ended {
    Well(Outcome),
    Error(TakeError),
    Panic(String),
    Hang,
}

impl<'a> Take<'a> {
    fn new(plan: &'a Plan, story: bool) -> Self {
        let mut options = plan.build.options(plan.seed);
        options.same_boot = plan.mutant == Some(Mutant::SameBoot);
        let sim = SimulatedStand::new(&plan.build.stand(), &options);
        let director = Rc::new(RefCell::new(Director::new(plan, story)));
        sim.on_happening(onlooker(&director));
        let mut schedule = plan.build.schedule(plan.frames, plan.seed);
        if plan.mutant == Some(Mutant::ShortWindow) {
            schedule.exposure.window = Duration::from_millis(45);
        }
        if plan.mutant == Some(Mutant::CrossedLamps) {
            let outputs: Vec<_> = schedule.lamps.iter().rev().map(|it| it.output).collect();
            for (lamp, output) in schedule.lamps.iter_mut().zip(outputs) {
                lamp.output = output;
            }
        }
        if plan.mutant == Some(Mutant::LyingDisk) {
            director.borrow().disk.lie();
        }
        let schedule = Rc::new(schedule);
        Self {
            person: Operator {
                director: Rc::clone(&director),
                sim: sim.clone(),
                whole: plan.build.exposure(),
                schedule: Rc::clone(&schedule),
                mutant: plan.mutant,
                questions: 0,
                doubts: 0,
            },
            whole: plan.build.exposure(),
            plan,
            sim,
            director,
            schedule,
            budget: Rc::default(),
            laws_seen: 0,
        }
    }

    fn found(&self, kind: &str, what: String) {
        self.director.borrow_mut().ledger.found(kind, what);
    }

    fn disk(&self) -> JournalDisk {
        let disk = self.director.borrow().disk.clone();
        JournalDisk {
            director: Rc::clone(&self.director),
            sim: self.sim.clone(),
            disk,
            schedule: Rc::clone(&self.schedule),
        }
    }

    fn journal(&self) -> Result<Journal, JournalError> {
        let stamp =
            || -> panestep::take::journal::Stamp { Box::new(|| jiff::Timestamp::UNIX_EPOCH) };
        match Journal::resume(Box::new(self.disk()), stamp()) {
            // Nothing of the first line was safe: the take's folder would not be there yet.
            Err(JournalError::Empty) => {
                let mut disk = self.director.borrow().disk.clone();
                disk.cut(0)?;
                self.director.borrow_mut().ledger.lines.clear();
                Journal::begin(
                    Box::new(self.disk()),
                    stamp(),
                    &Entry::begun(&self.schedule, "art", "", ShotId(self.plan.seed | 1)),
                )
            }
            other => other,
        }
    }

    fn once(&mut self, edits: &[Edit]) -> Ended {
        let interrupt = Rc::clone(&self.director.borrow().interrupt);
        let result = catch_unwind(AssertUnwindSafe(|| {
            let mut journal = self.journal()?;
            let mut boards = Wires {
                director: Rc::clone(&self.director),
                sim: self.sim.clone(),
                budget: Rc::clone(&self.budget),
                mutant: self.plan.mutant,
            };
            let mut watch = ();
            let mut trigger = OwnCommand {
                director: Rc::clone(&self.director),
                sim: self.sim.clone(),
            };
            let mut folder = Folder {
                director: Rc::clone(&self.director),
                sim: self.sim.clone(),
            };
            let mut stage = Stage {
                boards: &mut boards,
                clock: Rc::new(Watched {
                    clock: self.sim.clock(),
                    budget: Rc::clone(&self.budget),
                }),
                person: &mut self.person,
                watch: &mut watch,
                trigger: &mut trigger,
                album: self.plan.build.pictures.then_some(&mut folder as _),
                interrupt: &interrupt,
            };
            shoot(&self.schedule, &mut journal, &mut stage, edits)
        }));
        match result {
            Ok(Ok(outcome)) => Ended::Well(outcome),
            Ok(Err(error)) => Ended::Error(error),
            Err(payload) if payload.is::<Hang>() => Ended::Hang,
            Err(payload) => Ended::Panic(
                payload
                    .downcast_ref::<String>()
                    .cloned()
                    .or_else(|| {
                        payload
                            .downcast_ref::<&str>()
                            .map(|text| (*text).to_owned())
                    })
                    .unwrap_or_default(),
            ),
        }
    }

    fn run(mut self) -> Report {
        let most = 3 * self.plan.faults.len() as u32 + 12;
        let mut resumes = 0;
        let mut idle = 0;
        let mut exposed = 0;
        let mut errors = Vec::new();
        loop {
            let faults = self.director.borrow_mut().cue(Moment::Run(resumes + 1));
            inject(&self.sim, faults);
            let now = self.sim.clock().now();
            self.director.borrow_mut().pass_to(now);
            self.director
                .borrow_mut()
                .note(|| format!("run {} begins", resumes + 1));
            if self.director.borrow().kept_aside.is_some() {
                self.director.borrow_mut().read_lines();
            }
            let edits = self.edits();
            for edit in &edits {
                if let Edit::Drop(span) = edit {
                    let mut director = self.director.borrow_mut();
                    director.ledger.asked_out.extend(span.frames());
                }
            }
            let before = self.director.borrow().ledger.lines.len();
            let ended = self.once(&edits);
            self.made(&edits, before);
            let now = self.sim.clock().now();
            self.director.borrow_mut().pass_to(now);
            self.check_laws();
            let died = self.director.borrow().dead.is_some();
            match ended {
                Ended::Well(Outcome::Finished) if !died && self.nothing_wanted() => {
                    self.director.borrow_mut().note(|| "finished".into());
                    break;
                }
                Ended::Hang => {
                    self.found("hang", "the take does not come to an end".into());
                    break;
                }
                Ended::Panic(what) => {
                    self.found("panic", what);
                    break;
                }
                Ended::Well(_) => {
                    self.director.borrow_mut().note(|| "interrupted".into());
                    self.director
                        .borrow()
                        .interrupt
                        .store(false, Ordering::Relaxed);
                }
                Ended::Error(error) => {
                    errors.push(error.to_string());
                    self.director
                        .borrow_mut()
                        .note(|| format!("run ended: {error}"));
                    if !died && !self.go_on(&error) {
                        break;
                    }
                    if !died {
                        self.mend(&error);
                    }
                }
            }
            let now = self.director.borrow().ledger.lines.len();
            let progress = {
                let director = self.director.borrow();
                director.ledger.pulses.len()
            };
            idle = if progress > exposed { 0 } else { idle + 1 };
            exposed = progress.max(exposed);
            if died {
                self.director.borrow_mut().crash();
            }
            if self.sim.pass(PAUSE).is_err() {
                break;
            }
            // Whatever happened in the pause: a new program, its ports closed.
            self.director.borrow_mut().crash();
            self.sim.revive();
            self.director
                .borrow()
                .interrupt
                .store(false, Ordering::Relaxed);
            if idle >= PATIENCE {
                self.mend_all();
            }
            resumes += 1;
            if resumes > most {
                self.director.borrow_mut().call_off();
                if resumes > most + 4 {
                    let last = errors.last().cloned().unwrap_or_default();
                    self.found(
                        "never ends",
                        format!("{resumes} resumes, {now} lines, and the take is not at its end; last: {last}"),
                    );
                    break;
                }
            }
        }
        self.report(resumes)
    }

    /// What the person wants changed at this run.
    fn edits(&self) -> Vec<Edit> {
        self.director.borrow_mut().forget_unwritten();
        let director = self.director.borrow();
        let wishes = director.wishes.iter().filter_map(|wish| match *wish {
            Wish::Again(first, last) => Span::new(first, last).map(Edit::Again),
            Wish::Back(count) => Some(Edit::Back(count)),
            Wish::Drop(first, last) => Span::new(first, last).map(Edit::Drop),
        });
        let back = director
            .take_back
            .iter()
            .map(|(frame, ..)| Edit::TakeBack(*frame));
        // One at a time: where one is refused, none is made.
        back.chain(wishes).take(1).collect()
    }

    /// Which of them were made: the journal says so.
    fn made(&self, edits: &[Edit], before: usize) {
        let mut director = self.director.borrow_mut();
        let lines = director.ledger.lines.get(before..).unwrap_or_default();
        for edit in edits {
            let made = lines.iter().any(|(_, entry)| match edit {
                Edit::Again(_) | Edit::Back(_) => {
                    matches!(entry, Entry::Again { why, .. } if why == "a person")
                }
                Edit::Drop(_) => matches!(entry, Entry::Dropped { .. }),
                Edit::TakeBack(_) => matches!(entry, Entry::TakenBack { .. }),
            });
            if !made {
                continue;
            }
            if let Edit::TakeBack(_) = edit {
                director.take_back.remove(0);
            } else {
                let wish = director.wishes.remove(0);
                director.effect(Trouble::Wants(wish).kind());
            }
            return;
        }
    }

    fn nothing_wanted(&self) -> bool {
        let director = self.director.borrow();
        director.wishes.is_empty() && director.take_back.is_empty()
    }

    fn report(mut self, resumes: u32) -> Report {
        self.settle();
        let mut director = self.director.borrow_mut();
        // A broken surrounding is meant to be found, and what comes of it too.
        Report {
            findings: std::mem::take(&mut director.ledger.findings),
            struck: std::mem::take(&mut director.struck),
            exposures: self.sim.exposures().len() as u32,
            resumes,
            questions: self.person.questions,
            time: self.sim.clock().now(),
            trace: self.sim.trace(),
            moments: director.moments(),
            story: director.story.take().unwrap_or_default(),
        }
    }

    fn check_laws(&mut self) {
        let violations = self.sim.violations();
        let mut named = std::collections::BTreeSet::new();
        for violation in &violations[self.laws_seen.min(violations.len())..] {
            let kind = format!("{:?}", violation.law);
            let kind = kind.split([' ', '{']).next().unwrap_or_default().to_owned();
            // One broken at every step need be told once.
            if !named.insert(kind.clone()) {
                continue;
            }
            self.found(
                &format!("law broken: {kind}"),
                format!("{:?} at {:?}", violation.law, violation.at),
            );
        }
        self.laws_seen = violations.len();
    }

    /// What is to hold at the end.
    fn settle(&mut self) {
        let finished = {
            let director = self.director.borrow();
            director
                .ledger
                .lines
                .last()
                .is_some_and(|(_, entry)| matches!(entry, Entry::Finished))
        };
        if finished {
            let exposures = self.sim.exposures();
            let evidence = self.plan.build.flash_contact || self.plan.build.pictures;
            self.director.borrow_mut().ledger.settle(
                &self.schedule,
                &exposures,
                self.whole,
                evidence,
            );
        }
        // Every prefix of the journal can be read; on a share of the seeds, as it takes long.
        if finished && self.plan.seed.is_multiple_of(16) {
            let bytes = self.director.borrow().disk.bytes();
            let ends: Vec<usize> = (1..=bytes.len())
                .filter(|end| bytes[end - 1] == b'\n' || end % 37 == 0)
                .collect();
            for end in ends {
                match replay(&bytes[..end]) {
                    Ok(_) | Err(JournalError::Empty) => {}
                    Err(error) => {
                        self.found("prefix unreadable", format!("{end} bytes: {error}"));
                        break;
                    }
                }
            }
        }
    }

    /// Whether the take can go on after an error. One that says that it cannot must have a reason
    /// that is in the catalogue of faults.
    fn go_on(&mut self, error: &TakeError) -> bool {
        if error.resumable() {
            return true;
        }
        match error {
            // A wish that cannot be: nothing was changed, and the person wishes for something else.
            TakeError::NoFrame { .. } | TakeError::NotSoFar { .. } | TakeError::NoAnswer { .. } => {
                let mut director = self.director.borrow_mut();
                if director.take_back.is_empty() {
                    if !director.wishes.is_empty() {
                        director.wishes.remove(0);
                    }
                } else {
                    director.take_back.remove(0);
                }
                true
            }
            // Row 25: the person finds the right journal again.
            TakeError::Journal(JournalError::Damaged { .. } | JournalError::OutOfOrder { .. }) => {
                if self.director.borrow_mut().put_back() {
                    self.director.borrow_mut().read_lines();
                    return true;
                }
                if self.director.borrow().ledger.rolled_back {
                    return false;
                }
                self.found(
                    "not resumable",
                    format!("{error}, and no journal was touched"),
                );
                false
            }
            _ => {
                self.found("not resumable", error.to_string());
                false
            }
        }
    }

    /// The person mends what the error names.
    fn mend(&mut self, error: &TakeError) {
        let lines = |error: &LinkError| {
            error.is_lost()
                || matches!(
                    error,
                    LinkError::NotABoard { .. } | LinkError::OtherBoard { .. }
                )
        };
        let (line, switches, motors, stop, disk) = match error {
            TakeError::Port { .. } | TakeError::Connect { .. } => {
                (true, false, false, false, false)
            }
            TakeError::Link(error) => (lines(error), false, false, false, false),
            TakeError::Halted { cause, .. } => (
                false,
                cause.contains("switch"),
                cause.contains("switch"),
                cause.contains("stop"),
                false,
            ),
            TakeError::Homing { .. } | TakeError::Switch { .. } => {
                (false, true, true, false, false)
            }
            TakeError::Counter { .. } | TakeError::NotReady { .. } => {
                (false, true, true, true, false)
            }
            TakeError::Refused { .. } => (false, true, false, true, false),
            TakeError::Journal(_) => (false, false, false, false, true),
            _ => (false, false, false, false, false),
        };
        self.mend_where(|trouble| match trouble {
            Trouble::Cable { .. }
            | Trouble::OtherBoard { .. }
            | Trouble::OtherDevice { .. }
            | Trouble::Swapped
            | Trouble::OpeningResets { .. } => line,
            Trouble::Home { .. } | Trouble::Far { .. } => switches,
            Trouble::MotorPower { .. } | Trouble::Driver { .. } | Trouble::WiresSwapped { .. } => {
                motors
            }
            Trouble::Stop => stop,
            Trouble::DiskFull { .. } => disk,
            _ => false,
        });
    }

    fn mend_all(&mut self) {
        self.mend_where(|_| true);
    }

    fn mend_where(&mut self, named: impl Fn(&Trouble) -> bool) {
        let wanted: Vec<Trouble> = {
            let director = self.director.borrow();
            director
                .active
                .iter()
                .copied()
                .filter(|trouble| named(trouble))
                .collect()
        };
        for trouble in wanted {
            let fault = self.director.borrow_mut().mend(trouble);
            inject(&self.sim, fault.into_iter().collect());
        }
    }
}
