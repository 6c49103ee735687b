//! The shutter, and why a token is never fired twice.
//!
//! # The argument
//!
//! All that decides is here: for each take that the board remembers, `high`, the high-water mark
//! of its tokens, and `fired`, the last token accepted and what became of it.
//!
//! * A token is accepted only where it is greater than `high`, and accepting it raises `high` to
//!   it. Nothing ever lowers `high`: `Shutter::open_shot` and `Shutter::fence` only raise it.
//!   So no token is accepted twice while the board remembers the take, however often its message
//!   arrives, and whether early, late or after others.
//! * The line is closed only by `Shutter::tick`, only in the one `Exposure` that an accepted
//!   token began, and each exposure passes through the closing once: its phases only go forward,
//!   by their own timer.
//! * Once fenced off, a token is at or below `high`, and was not accepted before (else its fact is
//!   told): "never" is a fact that nothing can change.
//! * After a reset the memory is gone, but so is the boot id: what was meant for the old start is
//!   refused. The mark, written before the line closes, carries over the last token begun: tokens
//!   up to it are taken as spent, and what became of them as unknown.
//! * A board remembers the last [`SHOTS`] takes. Where it has had to forget one, it no longer
//!   vouches for a take that it does not know: it says "unknown" where it would have said "never".
//!
//! A stop before the release line closes calls the exposure off, for good: its token is spent, and
//! its fact is "never". After that the exposure ends on its own timer, whatever happens: the
//! lines are bounded, and a cut exposure would help nobody.

use heapless::Vec;
use panestep_protocol::{ExposureFact, FireOrder, Mark, Refusal, ShotId, Ticks, Token};

use crate::hardware::{CameraPort, MarkPort};

/// Takes that the board remembers.
pub const SHOTS: usize = 8;

/// Longest time that a line is closed or a window lasts, in seconds.
pub const LONGEST: u32 = 3600;

/// The last token before every exposure.
const FLOOR: Token = Token {
    slot: 0,
    attempt: u16::MAX,
};

/// What the board remembers of one take.
#[derive(Clone, Copy, Debug)]
struct Shot {
    shot: ShotId,
    /// Nothing is known of tokens up to this one.
    base: Token,
    /// Tokens up to this one are not accepted any more.
    high: Token,
    /// The last token accepted.
    fired: Option<(Token, ExposureFact)>,
    /// Whether the board may have known, and forgotten, this take before.
    doubtful: bool,
}

/// One exposure under way.
#[derive(Clone, Copy, Debug)]
struct Exposure {
    phase: Phase,
    /// Ticks left in this phase.
    left: u32,
    press: u32,
    window: u32,
    contacts: u8,
    /// Ticks that the shutter may still be open since the contact last closed: as long again as
    /// from the release. A camera that opens late, or twice, is waited for.
    open: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// Accepted; no line is closed yet.
    Accepted { half_press: u32 },
    /// The half-press line is closed.
    Half,
    /// The release line is closed.
    Press,
    /// The lines are open, the window has not passed.
    Window,
}

/// The camera's lines, the flash contact, and the memory of tokens.
#[derive(Debug)]
pub(crate) struct Shutter {
    /// Latest first: the first one is the open one.
    shots: Vec<Shot, SHOTS>,
    forgotten: bool,
    /// What the mark said at the start.
    mark: Option<Mark>,
    exposure: Option<Exposure>,
    /// Closings since the start.
    contacts: u32,
    /// Ticks that the contact must be open yet before another closing counts.
    locked: u32,
    /// Ticks that it must be open before another closing counts: contacts bounce.
    lock_out: u32,
    longest: u32,
}

impl Shutter {
    pub(crate) fn new(mark: Option<Mark>, tick_rate: u32) -> Self {
        let lock_out = (tick_rate / 200).max(1);
        Self {
            shots: Vec::new(),
            forgotten: false,
            mark,
            exposure: None,
            contacts: 0,
            // A contact that is closed from the start has not closed.
            locked: lock_out,
            lock_out,
            longest: tick_rate.saturating_mul(LONGEST),
        }
    }

    pub(crate) const fn is_exposing(&self) -> bool {
        self.exposure.is_some()
    }

    pub(crate) const fn contacts(&self) -> u32 {
        self.contacts
    }

    /// The open take's last token, and what is known of it.
    pub(crate) fn last(&self) -> Option<(Token, ExposureFact)> {
        self.shots.first().and_then(|shot| shot.fired)
    }

    /// Begins or goes on with a take. `false` where another one's exposure is under way.
    #[must_use]
    pub(crate) fn open_shot(&mut self, shot: ShotId, spent: Token) -> bool {
        let place = self.shots.iter().position(|known| known.shot == shot);
        if self.is_exposing() && place != Some(0) {
            return false;
        }
        let mut record = match place {
            Some(place) => self.shots.remove(place),
            None => {
                let marked = self.mark.filter(|mark| mark.shot == shot);
                let base = spent
                    .max(marked.map_or(FLOOR, |mark| mark.token))
                    .max(FLOOR);
                Shot {
                    shot,
                    base,
                    high: base,
                    fired: None,
                    doubtful: self.forgotten,
                }
            }
        };
        record.high = record.high.max(spent);
        if self.shots.is_full() {
            self.shots.pop();
            self.forgotten = true;
        }
        // There is room: one has just been taken out, or the vector was not full.
        self.shots.insert(0, record).is_ok()
    }

    /// Whether the token could be accepted, as far as tokens and times go.
    pub(crate) fn may_fire(&self, order: &FireOrder) -> Result<(), Refusal> {
        let open = self.shots.first().filter(|open| open.shot == order.shot);
        let open = open.ok_or(Refusal::NoShot)?;
        if order.token <= open.high {
            return Err(Refusal::Spent(open.high));
        }
        let times = [order.half_press, order.press, order.window];
        if order.press.0 == 0 || times.iter().any(|time| time.0 > self.longest) {
            return Err(Refusal::BadTime);
        }
        Ok(())
    }

    /// Accepts the token and returns the ticks until the exposure is over. The caller has made
    /// sure that nothing moves and that everything is in place.
    pub(crate) fn fire(
        &mut self,
        order: &FireOrder,
        marks: &mut impl MarkPort,
    ) -> Result<Ticks, Refusal> {
        self.may_fire(order)?;
        let open = self.shots.first_mut().ok_or(Refusal::NoShot)?;
        open.high = order.token;
        open.fired = Some((order.token, ExposureFact::Running));
        marks.set_mark(Mark {
            shot: order.shot,
            token: order.token,
        });
        self.exposure = Some(Exposure {
            phase: Phase::Accepted {
                half_press: order.half_press.0,
            },
            left: 1,
            press: order.press.0,
            window: order.window.0,
            contacts: 0,
            open: 0,
        });
        let after = order.press.0.max(order.window.0);
        Ok(Ticks(
            order.half_press.0.saturating_add(after).saturating_add(1),
        ))
    }

    /// Makes a token unfireable, then says what is known of it.
    pub(crate) fn fence(&mut self, shot: ShotId, token: Token) -> ExposureFact {
        let open = self.shots.first_mut().filter(|open| open.shot == shot);
        let Some(open) = open else {
            return ExposureFact::Unknown;
        };
        open.high = open.high.max(token);
        // Tokens are accepted in rising order: none after the last one accepted has been.
        match open.fired {
            Some((fired, fact)) if fired == token => fact,
            Some((fired, _)) if token < fired => ExposureFact::Unknown,
            _ if token <= open.base || open.doubtful => ExposureFact::Unknown,
            _ => ExposureFact::Never,
        }
    }

    /// Whether ticks at which the contact is open change anything.
    pub(crate) const fn is_counting(&self) -> bool {
        self.locked > 0 || self.exposure.is_some()
    }

    /// One tick. `stopped`: the stop circuit is open, or an axis is not where it should be.
    pub(crate) fn tick(&mut self, camera: &mut impl CameraPort, contact: bool, stopped: bool) {
        let closed = self.contact(contact);
        let Some(exposure) = &mut self.exposure else {
            return;
        };
        exposure.open = exposure.open.saturating_sub(1);
        if closed && matches!(exposure.phase, Phase::Press | Phase::Window) {
            exposure.contacts = exposure.contacts.saturating_add(1);
            exposure.open = exposure.window;
        }
        if stopped && matches!(exposure.phase, Phase::Accepted { .. } | Phase::Half) {
            if exposure.phase == Phase::Half {
                camera.half_press(false);
            }
            self.end(ExposureFact::Never);
            return;
        }
        exposure.left = exposure.left.saturating_sub(1);
        while exposure.left == 0 {
            if exposure.advance(camera) {
                let contacts = exposure.contacts;
                self.end(ExposureFact::Fired { contacts });
                return;
            }
        }
    }

    /// Ticks before the next one that does more than count.
    pub(crate) fn quiet(&self) -> u32 {
        self.exposure
            .map_or(u32::MAX, |exposure| exposure.left.saturating_sub(1))
    }

    /// Time goes by in which nothing happens.
    pub(crate) fn skip(&mut self, ticks: u32, contact: bool) {
        self.locked = if contact {
            self.lock_out
        } else {
            self.locked.saturating_sub(ticks)
        };
        if let Some(exposure) = &mut self.exposure {
            exposure.left = exposure.left.saturating_sub(ticks);
            exposure.open = exposure.open.saturating_sub(ticks);
        }
    }

    /// Whether the flash contact has just closed.
    fn contact(&mut self, contact: bool) -> bool {
        if !contact {
            self.locked = self.locked.saturating_sub(1);
            return false;
        }
        let closed = self.locked == 0;
        self.locked = self.lock_out;
        if closed {
            self.contacts = self.contacts.wrapping_add(1);
        }
        closed
    }

    fn end(&mut self, outcome: ExposureFact) {
        self.exposure = None;
        if let Some((_, fact)) = self.shots.first_mut().and_then(|shot| shot.fired.as_mut()) {
            *fact = outcome;
        }
    }
}

impl Exposure {
    /// Goes on to the next phase; whether there is none.
    fn advance(&mut self, camera: &mut impl CameraPort) -> bool {
        match self.phase {
            Phase::Accepted { half_press } => {
                if half_press > 0 {
                    camera.half_press(true);
                }
                (self.phase, self.left) = (Phase::Half, half_press);
                false
            }
            Phase::Half => {
                camera.release(true);
                (self.phase, self.left) = (Phase::Press, self.press);
                false
            }
            Phase::Press => {
                camera.release(false);
                camera.half_press(false);
                (self.phase, self.left) = (Phase::Window, self.window.saturating_sub(self.press));
                false
            }
            Phase::Window if self.open > 0 => {
                self.left = self.open;
                false
            }
            Phase::Window => true,
        }
    }
}
