//! What really happened, and what must never have.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use panestep::schedule::{Chore, Schedule, Turn};
use panestep::sim::{Fault, TakenExposure};
use panestep::take::Entry;
use panestep_protocol::Token;

use super::run::Finding;
use super::stand::{MOTORS, OUT, STEPS_PER_MM, WARM_UP, WINDOW, burning, drawing};

/// How far an exposure may lie beside its pose: where the home switch trips between two steps,
/// it is found at the later one.
const TOLERANCE: f64 = 1.0 / STEPS_PER_MM + 1e-6;

/// Steps by which an axis may be off although a home check passes: what its switch may differ, and
/// a step each for where it tripped between two of them then and now.
const WITHIN: f64 = 4.0;

/// Steps from which on a person sees in a picture that something is not in its place.
const PLAIN: f64 = 60.0;

/// The motor axes' names.
const NAMES: [&str; MOTORS] = ["reeds east", "reeds lift", "sky east"];

/// A closing of the release line.
#[derive(Clone, Debug)]
pub struct Pulse {
    /// The token of the intent that was open.
    pub token: Token,
    /// Its frame: the number of its exposure.
    pub frame: u32,
    /// Which press of the release it was, those by hand included.
    pub press: u32,
    /// When.
    pub at: Duration,
    /// What lay there.
    pub lies: Lies,
}

/// What really lies on the glass, and what is out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Lies {
    drawing: Option<String>,
    out: bool,
}

impl Lies {
    /// A person does this.
    pub(super) fn arrange(&mut self, chores: &[Chore]) {
        for chore in chores {
            match chore {
                Chore::Lay { drawing, .. } => self.drawing = Some(drawing.clone()),
                Chore::Clear { .. } => self.drawing = None,
                Chore::TakeOut { .. } => self.out = true,
                Chore::PutBack { .. } => self.out = false,
                Chore::Lamp { .. } | Chore::Exposure { .. } => {}
            }
        }
    }

    /// What is to lie there for an exposure.
    fn wanted(schedule: &Schedule, turn: Turn) -> Self {
        let out = schedule.passes.get(turn.pass);
        Self {
            drawing: (!schedule.laid.is_empty()).then(|| drawing(turn.frame)),
            out: out.is_some_and(|pass| pass.without.iter().any(|level| level == OUT)),
        }
    }
}

/// What really happened.
#[derive(Default)]
pub struct Ledger {
    /// The journal's lines, and where each ends.
    pub lines: Vec<(usize, Entry)>,
    /// What lies on the glass now.
    pub lies: Lies,
    /// Pulses, in order.
    pub pulses: Vec<Pulse>,
    /// Presses of the release, those by hand included.
    pub presses: u32,
    /// Presses at whose exposure the shutter has opened.
    pub opened: BTreeSet<u32>,
    /// Motor axes, and last the hand axis, that may be elsewhere than counted, and since when.
    pub astray: BTreeMap<usize, Duration>,
    /// How many steps each motor has lost, either way, up to now and up to when a frame was exposed
    /// last.
    pub lost: [u64; MOTORS],
    exposed_lost: [u64; MOTORS],
    /// Since when a motor may hold nothing: its supply or its driver was gone.
    loose: Option<Duration>,
    /// Frames that the person ever asked to leave out.
    pub asked_out: BTreeSet<u32>,
    /// An older journal is in place: nothing it says need be so.
    pub rolled_back: bool,
    /// Axes of which more is wrong than steps that were lost.
    unclear: BTreeSet<usize>,
    /// What was found.
    pub findings: Vec<Finding>,
}

fn token(slot: u32, attempt: u16) -> Token {
    Token { slot, attempt }
}

/// A frame that is closed under a slot while it stands exposed under another.
fn twice(frame: u32, old: Option<(Token, bool)>, slot: u32) -> Option<(&'static str, String)> {
    let (old, _) = old.filter(|(old, _)| old.slot != slot)?;
    Some((
        "exposed twice",
        format!("frame {frame}: closed under slot {slot} while it stands exposed by {old:?}"),
    ))
}

impl Ledger {
    pub(super) fn found(&mut self, kind: &str, what: String) {
        self.findings.push(Finding {
            kind: kind.to_owned(),
            what,
        });
    }

    /// The intent that is open in the first so many bytes of the journal.
    fn open(&self, safe: usize) -> Option<(u32, Token)> {
        let mut sound = self.lines.iter().rev().filter(|(end, _)| *end <= safe);
        sound.find_map(|(_, entry)| match *entry {
            Entry::Intent {
                frame,
                slot,
                attempt,
                ..
            } => Some(Some((frame, token(slot, attempt)))),
            Entry::Done { .. } | Entry::Void { .. } | Entry::Verdict { .. } => Some(None),
            _ => None,
        })?
    }

    /// The order to fire is on the wire.
    pub(super) fn ordered(&mut self, fired: Token, safe: usize) {
        if !self.rolled_back && self.open(safe).map(|open| open.1) != Some(fired) {
            self.found(
                "fired without an intent",
                format!(
                    "the order to fire {fired:?} was sent, and no such intent was safe on disk"
                ),
            );
        }
    }

    /// The release has closed.
    pub(super) fn pressed(&mut self, at: Duration, safe: usize) {
        self.presses += 1;
        let Some((frame, token)) = self.open(safe) else {
            if !self.rolled_back {
                self.found(
                    "released without an intent",
                    format!("the release closed at {at:?} with no open intent safe on disk"),
                );
            }
            return;
        };
        self.pulses.push(Pulse {
            token,
            frame,
            press: self.presses,
            at,
            lies: self.lies.clone(),
        });
        let pulses = self
            .pulses
            .iter()
            .filter(|pulse| pulse.token.slot == token.slot)
            .count();
        let refused = self
            .lines
            .iter()
            .filter(|(_, entry)| {
                matches!(entry, Entry::Verdict { slot, exposed: false, .. } if *slot == token.slot)
            })
            .count();
        if pulses > 1 + refused && !self.rolled_back {
            self.found(
                "exposed twice",
                format!("frame {frame}: pulse {pulses} of slot {}, after {refused} verdicts that it is not exposed", token.slot),
            );
        }
    }

    /// By how many steps every motor axis was off at an exposure.
    #[must_use]
    pub fn off(&self, taken: &TakenExposure, schedule: &Schedule) -> [f64; MOTORS] {
        let pulse = self.pulses.iter().find(|pulse| pulse.press == taken.press);
        let pulse = pulse.filter(|_| !taken.blurred);
        let turn = pulse.and_then(|pulse| schedule.turn(pulse.frame));
        let Some(targets) = turn.and_then(|turn| schedule.motors_at(turn.frame)) else {
            return [0.0; MOTORS];
        };
        let pose = [
            taken.pose.levels[0].east_mm,
            taken.pose.levels[0].lift_mm,
            taken.pose.levels[1].east_mm,
        ];
        std::array::from_fn(|axis| pose[axis] * STEPS_PER_MM - f64::from(targets[axis]))
    }

    /// An entry is about to be appended; `off`: by how much the axes were off at the last exposure.
    pub(super) fn written(
        &mut self,
        entry: &Entry,
        evidence: bool,
        by_hand: &[u32],
        off: [f64; MOTORS],
    ) {
        if self.rolled_back {
            return;
        }
        match *entry {
            Entry::Checked { .. } => {
                for (axis, name) in NAMES.iter().enumerate() {
                    // What was lost since may have made good what was lost before.
                    let same = self.exposed_lost[axis] == self.lost[axis];
                    let steps = off[axis];
                    if same && steps.abs() > WITHIN && !self.unclear.contains(&axis) {
                        self.found(
                            "check passed",
                            format!("the last frame was exposed with {name} {steps:.1} steps off, and a home check passed"),
                        );
                    }
                }
            }
            Entry::Intent { slot, .. } => {
                if let Some((_, open)) = self.open(usize::MAX) {
                    self.found(
                        "intent over an open one",
                        format!("intent for slot {slot} while {open:?} is open"),
                    );
                }
            }
            Entry::Done { slot, attempt, .. } => {
                self.exposed_lost = self.lost;
                let done = token(slot, attempt);
                let mut pulses = self.pulses.iter().filter(|pulse| pulse.token == done);
                let opened = pulses.clone().any(|pulse| {
                    self.opened.contains(&pulse.press)
                        || by_hand.iter().any(|press| press.abs_diff(pulse.press) <= 1)
                });
                if pulses.next().is_none() {
                    self.found(
                        "done without a pulse",
                        format!("{done:?} is written as done, and was never fired"),
                    );
                } else if evidence && !opened {
                    self.found(
                        "done without an exposure",
                        format!("{done:?} is written as done, and the shutter never opened"),
                    );
                }
            }
            Entry::Void { slot, attempt } => {
                let void = token(slot, attempt);
                if self.pulses.iter().any(|pulse| pulse.token == void) {
                    self.found(
                        "void of an exposure",
                        format!("{void:?} is written as never fired, and was"),
                    );
                }
            }
            _ => {}
        }
    }

    /// A fault has struck: which axes it may lead astray.
    pub(super) fn struck(&mut self, fault: &Fault, at: Duration) {
        let axes = match fault {
            Fault::LoseSteps { axis, .. }
            | Fault::LoseOften { axis, .. }
            | Fault::SwapWires { axis }
            | Fault::HomeSwitch { axis, .. }
            | Fault::FarSwitch { axis, .. }
            | Fault::HomeSwitchMoved { axis, .. }
            | Fault::Backlash { axis, .. }
            | Fault::Driver { axis, .. } => axis.0..axis.0 + 1,
            Fault::MotorPower { .. } => 0..MOTORS,
            _ => return,
        };
        if let Fault::MotorPower { .. } | Fault::Driver { .. } = fault {
            self.loose.get_or_insert(at);
        }
        for axis in axes {
            if !matches!(
                fault,
                Fault::LoseSteps { .. } | Fault::LoseOften { .. } | Fault::Driver { .. }
            ) {
                self.unclear.insert(axis);
            }
            self.astray.entry(axis).or_insert(at);
        }
    }

    /// What was wrong with an exposure's light, or with what lay there; nothing where there are no
    /// passes.
    fn unlike(&self, taken: &TakenExposure, schedule: &Schedule) -> Option<String> {
        let pulse = self
            .pulses
            .iter()
            .find(|pulse| pulse.press == taken.press)?;
        let turn = schedule.turn(pulse.frame)?;
        if schedule.passes.is_empty() {
            return None;
        }
        let boards = schedule.boards.len();
        let wanted: Vec<u8> = (0..boards)
            .map(|board| burning(boards, board, turn.pass))
            .collect();
        if taken.lamps != wanted || taken.switched + WARM_UP > taken.opened {
            return Some(format!(
                "lamps {:?} instead of {wanted:?}, switched at {:?}, opened at {:?}",
                taken.lamps, taken.switched, taken.opened
            ));
        }
        let lies = Lies::wanted(schedule, turn);
        (pulse.lies != lies).then(|| format!("{:?} instead of {lies:?}", pulse.lies))
    }

    /// Whether an exposure was by one of a token's pulses.
    fn of(&self, taken: &TakenExposure, token: Token) -> bool {
        let mut pulses = self.pulses.iter().filter(|pulse| pulse.token == token);
        pulses.any(|pulse| pulse.press == taken.press)
    }

    /// What a person would find who looks at the camera and at the picture: whether an attempt has
    /// exposed its frame once, whole, nothing moved, and nothing was plainly out of its place.
    #[must_use]
    pub fn truth(
        &self,
        exposures: &[TakenExposure],
        token: Token,
        whole: Duration,
        schedule: &Schedule,
    ) -> bool {
        let mut of = exposures.iter().filter(|taken| self.of(taken, token));
        match (of.next(), of.next()) {
            (Some(taken), None) => {
                let off = self.off(taken, schedule);
                !taken.blurred
                    && self.unlike(taken, schedule).is_none()
                    && taken.closed - taken.opened >= whole.mul_f64(0.8)
                    && off.iter().all(|steps| steps.abs() <= PLAIN)
            }
            _ => false,
        }
    }

    /// What a person would find who looks for pictures of a frame of which the journal knows no
    /// outcome.
    #[must_use]
    pub fn truth_of_frame(
        &self,
        exposures: &[TakenExposure],
        frame: u32,
        whole: Duration,
        schedule: &Schedule,
    ) -> bool {
        let tokens: BTreeSet<Token> = self
            .pulses
            .iter()
            .filter(|pulse| pulse.frame == frame)
            .map(|pulse| pulse.token)
            .filter(|of| {
                !self.lines.iter().any(|(_, entry)| match *entry {
                    Entry::Done { slot, attempt, .. }
                    | Entry::Void { slot, attempt }
                    | Entry::Verdict { slot, attempt, .. } => token(slot, attempt) == *of,
                    _ => false,
                })
            })
            .collect();
        tokens
            .iter()
            .any(|token| self.truth(exposures, *token, whole, schedule))
    }

    /// At the end: every frame exposed exactly once, in its pose.
    pub(super) fn settle(
        &mut self,
        schedule: &Schedule,
        exposures: &[TakenExposure],
        whole: Duration,
        evidence: bool,
    ) {
        if self.rolled_back {
            return;
        }
        let mut closed: BTreeMap<u32, (Token, bool)> = BTreeMap::new();
        let mut frames: BTreeMap<u32, u32> = BTreeMap::new();
        let mut dropped: BTreeSet<u32> = BTreeSet::new();
        let mut findings = Vec::new();
        for (_, entry) in &self.lines {
            match *entry {
                Entry::Intent { frame, slot, .. } => {
                    frames.insert(slot, frame);
                }
                Entry::Again {
                    frames: ref spans, ..
                } => {
                    for frame in spans.iter().flat_map(|span| span.frames()) {
                        closed.remove(&frame);
                        dropped.remove(&frame);
                    }
                }
                Entry::Dropped { frames: ref spans } => {
                    for frame in spans.iter().flat_map(|span| span.frames()) {
                        if !self.asked_out.contains(&frame) {
                            findings.push((
                                "left out unasked",
                                format!("frame {frame} is left out, and nobody asked for it"),
                            ));
                        }
                        dropped.insert(frame);
                    }
                }
                Entry::TakenBack {
                    slot,
                    attempt,
                    exposed,
                } => {
                    let frame = frames.get(&slot).copied().unwrap_or(0);
                    let said = token(slot, attempt);
                    // The person's word, also about a frame that stands exposed.
                    if exposed {
                        closed.insert(frame, (said, true));
                    } else if closed.get(&frame).is_some_and(|(token, _)| *token == said) {
                        closed.remove(&frame);
                    }
                }
                Entry::Done { slot, attempt, .. } => {
                    let frame = frames.get(&slot).copied().unwrap_or(0);
                    let old = closed.insert(frame, (token(slot, attempt), false));
                    findings.extend(twice(frame, old, slot));
                }
                Entry::Verdict {
                    slot,
                    attempt,
                    exposed: true,
                    ..
                } => {
                    let frame = frames.get(&slot).copied().unwrap_or(0);
                    let old = closed.insert(frame, (token(slot, attempt), true));
                    findings.extend(twice(frame, old, slot));
                }
                _ => {}
            }
        }
        for frame in (1..=schedule.turns()).filter(|frame| !dropped.contains(frame)) {
            let Some(&(token, _)) = closed.get(&frame) else {
                findings.push((
                    "frame skipped",
                    format!("frame {frame}: nothing says that it is exposed"),
                ));
                continue;
            };
            let of: Vec<&TakenExposure> = exposures
                .iter()
                .filter(|taken| self.of(taken, token))
                .collect();
            // A hand that was quicker: the camera was busy when the release closed.
            let own = !of.is_empty();
            let taken = of.first().copied().or_else(|| {
                let at = self.pulses.iter().find(|pulse| pulse.token == token)?.at;
                exposures.iter().find(|taken| {
                    taken.by_hand && taken.opened + WINDOW >= at && taken.opened <= at + WINDOW
                })
            });
            let Some(taken) = taken else {
                findings.push((
                    "frame skipped",
                    format!("frame {frame}: {token:?} counts as exposed, and no exposure was"),
                ));
                continue;
            };
            if of.len() > 1 && evidence {
                findings.push((
                    "exposed twice",
                    format!("frame {frame}: {token:?} has {} exposures", of.len()),
                ));
            }
            if taken.closed - taken.opened < whole.mul_f64(0.8) {
                findings.push((
                    "exposed in part",
                    format!(
                        "frame {frame}: exposed for {:?} of {whole:?}",
                        taken.closed - taken.opened
                    ),
                ));
            }
            if !own {
                continue;
            }
            // A motor without supply, or whose driver is dead, holds nothing: its level may sink, and
            // nobody senses it.
            let held = self.loose.is_none_or(|at| at >= taken.closed);
            if taken.blurred && held {
                findings.push(("blurred", format!("frame {frame}: moved while exposed")));
            }
            for (axis, steps) in self.off(taken, schedule).into_iter().enumerate() {
                let off = steps / STEPS_PER_MM;
                let excused = self.astray.get(&axis).is_some_and(|at| *at < taken.closed);
                if off.abs() > TOLERANCE && !excused {
                    findings.push((
                        "out of its pose",
                        format!("frame {frame}: axis {axis} off by {off:.4} mm"),
                    ));
                }
            }
            if let Some(what) = self.unlike(taken, schedule) {
                findings.push(("in another light", format!("frame {frame}: {what}")));
            }
            let turn = schedule.turn(frame);
            if let Some(hands) = turn.and_then(|turn| schedule.hands_at(turn.frame))
                && let Some(reading) = hands.first()
            {
                let off = taken.pose.levels[1].north_mm - reading;
                if off.abs() > 0.1 + 1e-9 {
                    findings.push((
                        "out of its pose",
                        format!("frame {frame}: the hand axis off by {off:.4} mm"),
                    ));
                }
            }
        }
        for (kind, what) in findings {
            self.found(kind, what);
        }
    }
}
