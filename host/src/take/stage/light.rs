//! Lamps that boards switch, and what a hand has to do before an exposure.
//!
//! # Lamps
//!
//! Before every exposure each board is told which of its lamps burn, wherever that is not known to
//! be so: after a change of pass, after a reset, in every new session. All that the pass does not
//! name are off. When a run ends, in whatever way, all go out, as far as the boards can be reached,
//! and not before a shutter that may be open has certainly closed.
//!
//! A board keeps its lamps as they are at a stop and when its host falls silent. That is on purpose:
//! nothing that moves depends on a lamp, and whoever has just pressed the stop wants to see. So a
//! program that is killed leaves them burning until the next run, or until their power is cut; a
//! lamp that must not burn unattended needs a switch of its own.
//!
//! A board that starts anew has its lamps out. Where one whose lamps burn for an exposure does so
//! before its outcome is recorded, or does not answer then, the frame is in doubt: what burnt in it
//! is not known, and a person looks at the picture.
//!
//! # Arms and glass
//!
//! Nothing moves from the moment the question is asked until it has been answered: every axis is in
//! its place and at rest by then, and its motor holds it. Afterwards everything settles anew, and
//! every count and switch is looked at again. An arm can push a carriage all the same, further than
//! its motor holds, and no count shows that: only a home switch does. Laying a drawing presses on
//! the glass; taking a pane out or putting it back pulls at its carriage. So where glass is handled
//! once for a run through the frames, a home check comes before it, so that what was exposed until
//! then is judged by itself, and another right after, before the first exposure. Where the passes of
//! each frame differ in what is taken out, a check at each of them would take longer than the
//! shot: there, as with drawings, the shot's own home checks find what an arm has done, and put
//! every frame since the last one in doubt.

use std::time::Duration;

use panestep_protocol::Command;

use super::{Crew, Interrupt};
use crate::schedule::{Chore, Release, Schedule, Turn};
use crate::take::journal::Entry;
use crate::take::people::{Arrangement, Progress};

/// Which lamps of a board burn for an exposure, a bit for each output; nothing where it has none.
fn burning(schedule: &Schedule, board: usize, turn: Turn) -> Option<u8> {
    let passes = schedule.all_passes();
    let pass = passes.get(turn.pass);
    let mut wanted = None;
    for (place, lamp) in schedule.lamps.iter().enumerate() {
        if let Some((of, output)) = lamp.output
            && of == board
        {
            let on = pass.is_some_and(|pass| pass.lamps.contains(&place));
            let bit = u8::from(on).checked_shl(output.into()).unwrap_or(0);
            wanted = Some(wanted.unwrap_or(0) | bit);
        }
    }
    wanted
}

impl Crew<'_, '_> {
    /// Lets the lamps burn that an exposure wants, and no others. Those that were switched have to
    /// be waited for where something is exposed.
    pub(in crate::take) fn light(&mut self, turn: Turn) -> Result<(), Interrupt> {
        let schedule = self.schedule;
        if schedule.lamps.is_empty() {
            return Ok(());
        }
        for board in self.boards() {
            let Some(wanted) = burning(schedule, board, turn) else {
                continue;
            };
            let before = self.lit[board];
            if before == Some(wanted) {
                continue;
            }
            self.lit[board] = None;
            self.ask(board, Command::Lamps { on: wanted })?;
            self.lit[board] = Some(wanted);
            let switched = before.map_or(u8::MAX, |before| before ^ wanted);
            let warm_up = schedule
                .lamps
                .iter()
                .filter(|lamp| {
                    lamp.output.is_some_and(|(of, output)| {
                        let bit = 1_u8.checked_shl(output.into()).unwrap_or(0);
                        of == board && switched & bit != 0
                    })
                })
                .map(|lamp| lamp.warm_up)
                .max();
            if self.journal.is_some() {
                let steady = self.now().saturating_add(warm_up.unwrap_or_default());
                self.steady = self.steady.max(steady);
            }
        }
        Ok(())
    }

    /// At a run's end: all lamps go out, as far as their boards can be reached. Where a shutter may
    /// be open, it closes first: that exposure may count.
    pub(in crate::take) fn darken(&mut self) {
        let lamps = &self.schedule.lamps;
        let boards: Vec<usize> = self
            .boards()
            .filter(|&board| {
                let its = |output: Option<(usize, u8)>| output.is_some_and(|(of, _)| of == board);
                lamps.iter().any(|lamp| its(lamp.output)) && self.lit[board] != Some(0)
            })
            .filter(|&board| self.links[board].is_some())
            .collect();
        if boards.is_empty() {
            return;
        }
        if let Some(open) = self.state().and_then(|state| state.open) {
            let window = self.schedule.window(open.frame);
            let closed = self.released.saturating_add(self.until_closed(window));
            let left = closed.saturating_sub(self.now());
            if !left.is_zero() {
                self.see(&Progress::LampsWait { left });
            }
            if self.sleep(left).is_err() {
                return;
            }
        }
        for board in boards {
            self.lit[board] = None;
            // Nothing better can be done about a board that does not answer now.
            if self.ask(board, Command::Lamps { on: 0 }).is_ok() {
                self.lit[board] = Some(0);
            }
        }
    }

    /// Before an exposure that counts is recorded: the boards whose lamps were to burn for it, and
    /// which have started anew since its intent or do not answer. They may have left it dark: it is in
    /// doubt from the same entry on, and a person decides.
    pub(super) fn unlit(&mut self, turn: Turn) -> Vec<String> {
        let schedule = self.schedule;
        let mut unlit = Vec::new();
        for board in self.boards() {
            if burning(schedule, board, turn).unwrap_or(0) == 0 {
                continue;
            }
            let name = &schedule.boards[board];
            let asked = self.link(board).and_then(|link| {
                link.status()?;
                Ok(link.boot())
            });
            let posed = |boot| self.state().is_none_or(|state| state.posed(name, boot));
            if asked.as_ref().is_ok_and(|&boot| posed(boot)) {
                continue;
            }
            self.gone = self.gone.take().or(asked.err());
            self.see(&Progress::Unlit { board: name, turn });
            unlit.push(name.clone());
        }
        unlit
    }

    /// Longest time from the release until the exposure under way is over.
    fn until_closed(&self, window: Duration) -> Duration {
        let (half_press, late) = match self.schedule.exposure.release {
            // A contact begins the window anew.
            Release::Board {
                half_press,
                flash_contact: true,
                ..
            } => (half_press, window),
            Release::Board { half_press, .. } => (half_press, Duration::ZERO),
            Release::Command { .. } | Release::Hand => (Duration::ZERO, Duration::ZERO),
        };
        half_press.saturating_add(late).saturating_add(window)
    }

    /// Whether panes are about to be handled for an exposure, and not at every frame: a home check
    /// comes before it, and one after.
    pub(in crate::take) fn glass_is_due(&self, turn: Turn) -> bool {
        self.is_checked_after(turn, &self.arranged.chores(self.schedule, turn))
    }

    fn is_checked_after(&self, turn: Turn, chores: &[Chore]) -> bool {
        let at_each = self.schedule.handles_glass_at_each_frame(turn);
        chores.iter().any(Chore::is_of_glass)
            && !self.schedule.motors.is_empty()
            && (self.arranged.is_first() || !at_each)
    }

    /// Has everything done that a hand has to do before an exposure. `false` where panes were handled
    /// and every axis has been looked for at its home switch since: the pose has to be made anew.
    pub(in crate::take) fn arrange(&mut self, turn: Turn) -> Result<bool, Interrupt> {
        let chores = self.arranged.chores(self.schedule, turn);
        if chores.is_empty() || self.journal.is_none() {
            return Ok(true);
        }
        self.check_interrupt()?;
        let pass = self.schedule.passes.get(turn.pass);
        let first = self.arranged.is_first();
        let arrangement = Arrangement {
            turn,
            pass: pass.map_or("", |pass| &pass.name),
            chores: &chores,
            first,
        };
        self.stage
            .person
            .arrange(&arrangement)
            .ok_or(Interrupt::Person)?;
        self.touched();
        self.record(&Entry::Arranged {
            frame: turn.number,
            done: chores.clone(),
        })?;
        let checked = self.is_checked_after(turn, &chores);
        self.arranged.done(&chores);
        // A lamp that has just been switched by hand has to warm up too.
        let now = self.now();
        for lamp in &self.schedule.lamps {
            let switched = chores.iter().any(|chore| chore.is_of_lamp(&lamp.name));
            if switched {
                self.steady = self.steady.max(now.saturating_add(lamp.warm_up));
            }
        }
        if checked {
            self.check_after_glass()?;
        }
        Ok(!checked)
    }
}
