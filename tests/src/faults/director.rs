//! Lets the faults of a plan strike at their moments, and keeps account of those that did.

use std::cell::RefCell;
use std::collections::{BTreeMap, VecDeque};
use std::rc::Rc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use panestep::sim::{Fault, Happening, Onlooker, SimulatedStand, When};
use panestep::stand::BoardId;
use panestep::take::{Entry, SimulatedDisk};
use panestep_protocol::Token;

use super::kind::Kind;
use super::ledger::Ledger;
use super::plan::{Moment, Mutant, Plan};
use super::stand::{CAMERA, MOTORS};
use super::trouble::{Blemish, Trouble, Unsynced, Wish};

/// Everything about one take that happens behind its back.
pub struct Director {
    plan: Plan,
    /// Which faults have not struck yet.
    pending: Vec<bool>,
    /// Least moment of the clock at which anything is due.
    due: Duration,
    /// What comes back by itself.
    back: Vec<(Duration, Trouble)>,
    /// The journal's disk.
    pub disk: SimulatedDisk,
    /// Set by Ctrl-C.
    pub interrupt: Rc<AtomicBool>,
    /// What really happened.
    pub ledger: Ledger,
    counts: BTreeMap<Count, u32>,
    events: u64,
    operations: u64,
    /// The order to fire is out, and nothing has come back.
    unanswered: bool,
    /// The kind of entry that was appended last.
    appended: Option<Count>,
    armed: BTreeMap<Kind, u32>,
    /// Faults that really struck.
    pub struck: BTreeMap<Kind, u32>,
    /// What waits to be mended.
    pub active: Vec<Trouble>,
    /// The host is dead, and this is what its disk will keep.
    pub dead: Option<Unsynced>,
    /// Questions that the person walks away from.
    pub walks_away: u32,
    by_hand: Vec<u32>,
    /// The camera is being fired by the take's own command or finger.
    pub triggering: bool,
    blemishes: VecDeque<Blemish>,
    /// How the command fails the next times.
    pub command: VecDeque<Trouble>,
    /// Wrong answers to be given.
    pub wrong_answers: u32,
    /// Wishes for the next run.
    pub wishes: Vec<Wish>,
    /// Wrong answers that are to be taken back: the frame, the token, and what was said.
    pub take_back: Vec<(u32, Token, bool)>,
    /// Pictures in the folder, and on their way to it.
    pub pictures: Vec<Arrived>,
    /// The journal that was taken away, and how many pulses there had been.
    pub kept_aside: Option<(Vec<u8>, usize)>,
    /// What happened, to be read; where somebody wants to.
    pub story: Option<Vec<String>>,
    now: Duration,
}

/// A picture.
#[derive(Clone, Debug)]
pub struct Arrived {
    /// Its file.
    pub name: String,
    /// When it begins to be there.
    pub at: Duration,
    /// A digest of its dots; nothing where it cannot be read.
    pub digest: Option<u64>,
    /// Its brightness.
    pub bright: u8,
}

/// From the end of an exposure until its picture begins to be there.
const ON_ITS_WAY: Duration = Duration::from_millis(30);

/// What moments are counted by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Count {
    Intent,
    Done,
    Fired,
    Pressed,
    Opened,
    Exposed,
}

/// A director that several hold.
pub type Shared = Rc<RefCell<Director>>;

impl Director {
    /// For one take.
    #[must_use]
    pub fn new(plan: &Plan, story: bool) -> Self {
        let mut director = Self {
            pending: vec![true; plan.faults.len()],
            plan: plan.clone(),
            due: Duration::ZERO,
            back: Vec::new(),
            disk: SimulatedDisk::default(),
            interrupt: Rc::default(),
            ledger: Ledger::default(),
            counts: BTreeMap::new(),
            events: 0,
            operations: 0,
            unanswered: false,
            appended: None,
            armed: BTreeMap::new(),
            struck: BTreeMap::new(),
            active: Vec::new(),
            dead: None,
            walks_away: 0,
            by_hand: Vec::new(),
            triggering: false,
            blemishes: VecDeque::new(),
            command: VecDeque::new(),
            wrong_answers: 0,
            wishes: Vec::new(),
            take_back: Vec::new(),
            pictures: Vec::new(),
            kept_aside: None,
            story: story.then(Vec::new),
            now: Duration::ZERO,
        };
        director.find_due();
        director
    }

    /// Adds a line to the story.
    pub fn note(&mut self, line: impl FnOnce() -> String) {
        let now = self.now;
        if let Some(story) = &mut self.story {
            story.push(format!("{:9.4} s  {}", now.as_secs_f64(), line()));
        }
    }

    /// So late it is.
    pub fn pass_to(&mut self, now: Duration) {
        self.now = now;
    }

    /// Whether everything that was planned has struck.
    #[must_use]
    pub fn spent(&self) -> bool {
        !self.pending.contains(&true)
    }

    /// Lets nothing more strike: moments that never came will not come.
    pub fn call_off(&mut self) {
        self.pending.fill(false);
        self.find_due();
    }

    /// Events and disk operations so far.
    #[must_use]
    pub const fn moments(&self) -> (u64, u64) {
        (self.events, self.operations)
    }

    fn find_due(&mut self) {
        let planned = self.plan.faults.iter().zip(&self.pending);
        let planned = planned.filter_map(|(fault, pending)| match fault.when {
            Moment::Millisecond(at) if *pending => Some(Duration::from_millis(at)),
            _ => None,
        });
        let back = self.back.iter().map(|(at, _)| *at);
        self.due = planned.chain(back).min().unwrap_or(Duration::MAX);
    }

    fn count(&mut self, what: Count) -> u32 {
        let count = self.counts.entry(what).or_default();
        *count += 1;
        *count
    }

    fn last(&self, what: Count) -> u32 {
        self.counts.get(&what).copied().unwrap_or(0)
    }

    /// A moment has come: what strikes the stand is returned, the rest is done.
    pub fn cue(&mut self, moment: Moment) -> Vec<Fault> {
        let mut faults = Vec::new();
        for place in 0..self.pending.len() {
            if self.pending[place] && self.plan.faults[place].when == moment {
                self.pending[place] = false;
                let what = self.plan.faults[place].what;
                faults.extend(self.strike(what));
            }
        }
        faults
    }

    /// What is due by the clock.
    fn on_time(&mut self) -> Vec<Fault> {
        let now = self.now;
        if now < self.due {
            return Vec::new();
        }
        let mut faults = Vec::new();
        for place in 0..self.pending.len() {
            if let Moment::Millisecond(at) = self.plan.faults[place].when
                && self.pending[place]
                && Duration::from_millis(at) <= now
            {
                self.pending[place] = false;
                let what = self.plan.faults[place].what;
                faults.extend(self.strike(what));
            }
        }
        let due: Vec<_> = self.back.extract_if(.., |(at, _)| *at <= now).collect();
        for (_, trouble) in due {
            faults.extend(self.mend(trouble));
        }
        self.find_due();
        faults
    }

    fn strike(&mut self, what: Trouble) -> Option<Fault> {
        self.note(|| format!("FAULT  {}: {what:?}", what.kind().words()));
        *self.armed.entry(what.kind()).or_default() += 1;
        match what {
            Trouble::DiskFull { room } => {
                self.disk.hold(Some(self.disk.length() + room));
                self.active.push(what);
            }
            Trouble::SyncError => self.disk.fail_sync(),
            Trouble::Older { lines } => self.roll_back(lines),
            Trouble::Damaged { at } => self.damage(at),
            Trouble::Interrupt => {
                self.interrupt.store(true, Ordering::Relaxed);
                self.effect(Kind::Interrupt);
            }
            Trouble::WalksAway => self.walks_away += 1,
            Trouble::WrongAnswer => self.wrong_answers += 1,
            Trouble::Picture(blemish) => self.blemishes.push_back(blemish),
            Trouble::CommandFails { .. } | Trouble::CommandTimesOut { .. } => {
                self.command.push_back(what);
            }
            Trouble::Wants(wish) => self.wishes.push(wish),
            Trouble::Kill { unsynced } | Trouble::PowerCut { unsynced, .. } => {
                self.dead = Some(unsynced);
            }
            Trouble::Cable { back, .. } | Trouble::MotorPower { back } => {
                self.active.push(what);
                if let Some(back) = back {
                    self.back
                        .push((self.now + Duration::from_millis(back), what));
                    self.find_due();
                }
            }
            _ if what.mended_by().is_some() => {
                // Swapped twice is not swapped.
                if what.mended_by() == what.fault()
                    && let Some(place) = self.active.iter().position(|other| *other == what)
                {
                    self.active.remove(place);
                } else {
                    self.active.push(what);
                }
            }
            _ => {}
        }
        what.fault()
    }

    /// An exposure is over: its picture sets out.
    fn picture(&mut self, number: u32) {
        if !self.plan.build.pictures || self.plan.mutant == Some(Mutant::InventedPicture) {
            return;
        }
        let mut picture = Arrived {
            name: format!("picture-{number:04}"),
            at: self.now + ON_ITS_WAY,
            digest: Some(u64::from(number)),
            bright: 200,
        };
        if let Some(blemish) = self.blemishes.pop_front() {
            self.effect(Trouble::Picture(blemish).kind());
            match blemish {
                Blemish::Missing => return,
                Blemish::Twice => self.pictures.push(Arrived {
                    name: format!("picture-{number:04}-b"),
                    ..picture.clone()
                }),
                Blemish::Black => picture.bright = 3,
                Blemish::Copy => picture.digest = Some(u64::from(number.saturating_sub(1))),
                Blemish::Unreadable => picture.digest = None,
                Blemish::Late(time) => {
                    picture.at += super::stand::ARRIVAL + Duration::from_millis(time);
                }
            }
        }
        self.pictures.push(picture);
    }

    /// A folder that invents a picture for every order to fire.
    fn invent(&mut self) {
        if self.plan.mutant == Some(Mutant::InventedPicture) && self.plan.build.pictures {
            let number = self.pictures.len() as u64;
            self.pictures.push(Arrived {
                name: format!("invented-{number:04}"),
                at: self.now,
                digest: Some(u64::MAX - number),
                bright: 200,
            });
        }
    }

    /// Mends something that is wrong now; returns how, where it is the stand's.
    pub fn mend(&mut self, what: Trouble) -> Option<Fault> {
        let place = self.active.iter().position(|other| *other == what)?;
        self.active.remove(place);
        self.back.retain(|(_, other)| *other != what);
        self.note(|| format!("mended {}", what.kind().words()));
        if let Trouble::DiskFull { .. } = what {
            self.disk.hold(None);
        }
        // One of two that mend alike is enough.
        what.mended_by()
    }

    /// A fault has had its effect.
    pub fn effect(&mut self, kind: Kind) {
        if let Some(armed) = self.armed.get_mut(&kind)
            && *armed > 0
        {
            *armed -= 1;
            *self.struck.entry(kind).or_default() += 1;
        }
    }

    fn roll_back(&mut self, lines: usize) {
        let keep = self.ledger.lines.len().saturating_sub(lines);
        let Some(&(end, _)) = keep
            .checked_sub(1)
            .and_then(|last| self.ledger.lines.get(last))
        else {
            return;
        };
        if self.kept_aside.is_some() {
            return;
        }
        let bytes = self.disk.bytes();
        self.disk.replace(bytes[..end].to_vec());
        self.kept_aside = Some((bytes, self.ledger.pulses.len()));
        self.ledger.rolled_back = true;
        self.effect(Kind::OlderJournal);
    }

    fn damage(&mut self, at: usize) {
        // The last line's damage is a torn line's: that is another fault.
        let lines = &self.ledger.lines;
        let Some(&(end, _)) = lines
            .len()
            .checked_sub(2)
            .and_then(|place| lines.get(place))
        else {
            return;
        };
        if self.kept_aside.is_some() {
            return;
        }
        let bytes = self.disk.bytes();
        let mut damaged = bytes.clone();
        let place = end * at / 1000;
        damaged[place] ^= 1 << (at % 8);
        self.disk.replace(damaged);
        self.kept_aside = Some((bytes, self.ledger.pulses.len()));
        self.effect(Kind::JournalDamaged);
    }

    /// The person finds the right journal again; returns whether there was one.
    pub fn put_back(&mut self) -> bool {
        let Some((bytes, pulses)) = self.kept_aside.take() else {
            return false;
        };
        self.note(|| "the right journal is put back".into());
        self.disk.replace(bytes);
        // Nothing was exposed meanwhile: what the right one says is still so.
        if self.ledger.pulses.len() == pulses {
            self.ledger.rolled_back = false;
        }
        true
    }

    /// An answer that was never written down need not be taken back.
    pub fn forget_unwritten(&mut self) {
        let lines = &self.ledger.lines;
        self.take_back.retain(|(_, token, said)| {
            lines.iter().any(|(_, entry)| {
                matches!(entry, Entry::Verdict { slot, attempt, exposed, .. }
                    if (*slot, *attempt) == (token.slot, token.attempt) && exposed == said)
            })
        });
    }

    /// The journal's lines are what the disk holds now.
    pub fn read_lines(&mut self) {
        let bytes = self.disk.bytes();
        let mut end = 0;
        self.ledger.lines.clear();
        for line in bytes.split_inclusive(|byte| *byte == b'\n') {
            end += line.len();
            if let Ok(entry) = serde_json::from_slice::<Entry>(line)
                && line.ends_with(b"\n")
            {
                self.ledger.lines.push((end, entry));
            }
        }
    }

    /// The computer has gone down and comes up again.
    pub fn crash(&mut self) {
        let Some(unsynced) = self.dead.take() else {
            return;
        };
        let length = self.disk.length();
        self.disk.crash(match unsynced {
            Unsynced::Kept => panestep::take::Unsynced::Kept,
            Unsynced::Lost => panestep::take::Unsynced::Lost,
            Unsynced::Torn(bytes) => panestep::take::Unsynced::Torn(bytes),
        });
        if self.disk.length() < length {
            *self.struck.entry(Kind::UnsyncedLost).or_default() += 1;
        }
        let kept = self.disk.length();
        self.ledger.lines.retain(|(end, _)| *end <= kept);
        self.note(|| format!("the computer is up again: {kept} of {length} bytes are there"));
    }

    // What the boundaries report.

    /// One more operation of the disk.
    pub(super) fn operation(&mut self) -> Vec<Fault> {
        self.operations += 1;
        self.cue(Moment::Operation(self.operations))
    }

    pub(super) fn before_append(&mut self, entry: Option<&Entry>) -> Vec<Fault> {
        self.appended = match entry {
            Some(Entry::Intent { .. }) => Some(Count::Intent),
            Some(Entry::Done { .. }) => Some(Count::Done),
            _ => None,
        };
        match self.appended {
            Some(Count::Intent) => {
                let n = self.count(Count::Intent);
                self.cue(Moment::IntentComes(n))
            }
            Some(Count::Done) => {
                let n = self.count(Count::Done);
                self.cue(Moment::DoneComes(n))
            }
            _ => Vec::new(),
        }
    }

    pub(super) fn checks(&mut self, entry: &Entry, off: [f64; MOTORS]) {
        let by_hand = std::mem::take(&mut self.by_hand);
        let evidence = self.plan.build.flash_contact || self.plan.build.pictures;
        self.ledger.written(entry, evidence, &by_hand, off);
        self.by_hand = by_hand;
    }

    pub(super) fn after_append(&mut self) -> Vec<Fault> {
        match self.appended {
            Some(Count::Intent) => self.cue(Moment::IntentAppended(self.last(Count::Intent))),
            Some(Count::Done) => self.cue(Moment::DoneAppended(self.last(Count::Done))),
            _ => Vec::new(),
        }
    }

    pub(super) fn after_sync(&mut self) -> Vec<Fault> {
        match self.appended.take() {
            Some(Count::Intent) => self.cue(Moment::IntentSynced(self.last(Count::Intent))),
            Some(Count::Done) => self.cue(Moment::DoneSynced(self.last(Count::Done))),
            _ => Vec::new(),
        }
    }

    /// The order to fire has been sent.
    pub(super) fn fired(&mut self, token: Token) -> Vec<Fault> {
        self.note(|| format!("sent the order to fire {token:?}"));
        let safe = self.disk.safe();
        self.ledger.ordered(token, safe);
        self.unanswered = true;
        self.invent();
        let n = self.count(Count::Fired);
        self.cue(Moment::Fired(n))
    }

    fn see(&mut self, at: Duration, happening: &Happening<'_>) -> Vec<Fault> {
        self.now = at;
        if let Happening::Step { axis, made, .. } = *happening {
            if !made && let Some(lost) = self.ledger.lost.get_mut(axis.0) {
                *lost += 1;
            }
            return self.on_time();
        }
        self.events += 1;
        let mut faults = self.on_time();
        faults.extend(self.cue(Moment::Event(self.events)));
        match *happening {
            Happening::Release { board, closed } if board.0 == CAMERA => {
                self.note(|| format!("the release {}", if closed { "closes" } else { "opens" }));
                if closed {
                    let safe = self.disk.safe();
                    self.ledger.pressed(at, safe);
                    let n = self.count(Count::Pressed);
                    faults.extend(self.cue(Moment::Pressed(n)));
                }
            }
            Happening::HandRelease => {
                if std::mem::take(&mut self.triggering) {
                    self.note(|| "the camera is fired".into());
                    let safe = self.disk.safe();
                    self.ledger.pressed(at, safe);
                    let n = self.count(Count::Pressed);
                    faults.extend(self.cue(Moment::Pressed(n)));
                } else {
                    self.ledger.presses += 1;
                    self.by_hand.push(self.ledger.presses);
                    self.note(|| "a hand presses the camera's release".into());
                }
            }
            Happening::Shutter { open, number } => {
                self.note(|| {
                    let does = if open { "opens" } else { "closes" };
                    format!("the shutter {does}, exposure {number}")
                });
                let moment = if open {
                    let press = self.ledger.presses;
                    self.ledger.opened.insert(press);
                    Moment::Opened(self.count(Count::Opened))
                } else {
                    self.picture(number);
                    Moment::Exposed(self.count(Count::Exposed))
                };
                faults.extend(self.cue(moment));
            }
            Happening::Sent {
                board: BoardId(CAMERA),
                to_board: false,
                ..
            } if self.unanswered => {
                self.unanswered = false;
                faults.extend(self.cue(Moment::Answered(self.last(Count::Fired))));
            }
            Happening::Down { board } => {
                self.note(|| format!("board {} is reset", board.0));
                let (opened, exposed) = (self.last(Count::Opened), self.last(Count::Exposed));
                if board.0 == CAMERA && self.plan.build.press_times && opened > exposed {
                    *self.struck.entry(Kind::ExposureCut).or_default() += 1;
                }
            }
            Happening::Up { board } => self.note(|| format!("board {} is up again", board.0)),
            Happening::Stop { open } => {
                self.note(|| format!("stop is {}", if open { "pressed" } else { "pulled out" }));
            }
            Happening::Drivers { board, on } => {
                self.note(|| {
                    format!(
                        "drivers of board {} {}",
                        board.0,
                        if on { "on" } else { "off" }
                    )
                });
            }
            Happening::Struck(fault) => {
                if let Some(kind) = Kind::of(fault) {
                    self.effect(kind);
                }
                self.ledger.struck(fault, at);
            }
            _ => {}
        }
        faults
    }
}

/// An onlooker through whom the director sees everything.
#[must_use]
pub fn onlooker(director: &Shared) -> Onlooker {
    let director = Rc::clone(director);
    Box::new(move |at, happening| director.borrow_mut().see(at, happening))
}

/// Lets faults strike now.
pub fn inject(sim: &SimulatedStand, faults: Vec<Fault>) {
    for fault in faults {
        sim.inject(When::Now, fault);
    }
}
