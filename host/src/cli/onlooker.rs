//! What a run tells the person who looks on, on the terminal.

use std::cell::Cell;
use std::rc::Rc;

use panestep::schedule::{Order, Schedule, Turn};
use panestep::take::span::by_pass;
use panestep::take::{self, Drift, Span, Watch};

use super::at_stand::told;
use super::screen::{self, say};

/// Shows a run's progress.
pub(crate) struct Onlooker {
    /// None where a person steps: every move and every frame has its own lines.
    progress: Option<screen::Progress>,
    /// The frame that is being exposed, for a simulated camera to name its picture after.
    frame: Rc<Cell<Option<Turn>>>,
    order: Order,
    first: bool,
    starting: bool,
}

impl Onlooker {
    pub(crate) fn new(
        what: &'static str,
        schedule: &Schedule,
        turns: u32,
        frame: Rc<Cell<Option<Turn>>>,
    ) -> Self {
        let progress = screen::Progress::new(what, u64::from(turns));
        Self {
            progress: Some(progress),
            frame,
            order: schedule.order(),
            first: true,
            // Where nothing but hands moves anything, what is asked says more.
            starting: !schedule.motors.is_empty(),
        }
    }

    /// So many of so many frames are done already.
    pub(crate) fn gone_on_with(mut self, done: u32, frames: u32) -> Self {
        if let Some(progress) = &mut self.progress {
            progress.of(u64::from(done), u64::from(frames), "");
        }
        self
    }

    /// For a person who steps through a shot.
    pub(crate) fn of_steps(schedule: &Schedule, frame: Rc<Cell<Option<Turn>>>) -> Self {
        Self {
            progress: None,
            frame,
            order: schedule.order(),
            first: true,
            starting: false,
        }
    }

    /// Takes the bar away.
    pub(crate) fn done(self) {
        if let Some(progress) = self.progress {
            progress.done();
        }
    }
}

impl Watch for Onlooker {
    fn see(&mut self, progress: &take::Progress<'_>) {
        match *progress {
            take::Progress::Connected { board } => {
                say(&format!("board {board} answers"));
            }
            take::Progress::Homing {
                axis,
                number: (number, all),
            } => {
                say(&format!("homing {axis} ({number} of {all})"));
            }
            take::Progress::Checking {
                axis,
                number: (number, all),
            } => {
                say(&format!("home check of {axis} ({number} of {all})"));
            }
            take::Progress::Checked { frames: 0 } => say("every axis is where it is counted"),
            take::Progress::Checked { frames } => say(&format!(
                "every axis is where it is counted; {} checked",
                screen::frames(frames)
            )),
            // Where frames are in doubt, the question about them says why.
            take::Progress::Doubted { drift, frames: [] } => say(&doubt(drift, "")),
            take::Progress::Unchecked { axis, frames } => say(&format!(
                "warning: {axis} has lost its count, so that whether it was in its place for \
                 {} cannot be checked any more",
                listed(&self.order, frames)
            )),
            take::Progress::Unlit { board, turn } => say(&unlit(board, &format!("frame {turn}"))),
            take::Progress::LampsWait { left } => say(&format!(
                "the lamps burn on for {}, until the shutter has certainly closed",
                screen::about(left)
            )),
            take::Progress::Changed { what, frames } => {
                say(&format!("{}: {what}", listed(&self.order, frames)));
            }
            take::Progress::Strangers { pictures } => say(&format!(
                "in the pictures' folder there lie already, of no exposure of this take: {}",
                pictures.join(", ")
            )),
            take::Progress::Exposing { turn } => {
                self.frame.set(Some(turn));
                if self.progress.is_none() {
                    say(&format!("exposing frame {turn}"));
                }
            }
            take::Progress::SettingOut { turn, passages } => setting_out(turn, passages),
            take::Progress::UnderWay { left } if self.progress.is_none() => {
                let left = screen::about(left);
                screen::passing(&format!("  waiting for them to arrive, {left}"));
            }
            take::Progress::Resting { left } if self.progress.is_none() => {
                let left = screen::about(left);
                screen::passing(&format!("  waiting for everything to come to rest, {left}"));
            }
            take::Progress::Frame { turn, picture, .. } if self.progress.is_none() => {
                let picture = picture.map_or(String::new(), |file| format!(", picture {file}"));
                say(&format!("frame {turn} is exposed{picture}"));
            }
            take::Progress::Frame {
                done,
                turns,
                elapsed,
                left,
                ..
            } => {
                // The first frame's time says nothing yet about the others'.
                let message = if std::mem::take(&mut self.first) {
                    String::new()
                } else {
                    format!(
                        "{} gone, about {} left",
                        screen::clock_time(elapsed),
                        screen::clock_time(left)
                    )
                };
                if let Some(progress) = &mut self.progress {
                    progress.of(u64::from(done), u64::from(turns), &message);
                }
            }
            take::Progress::Moving { turn } if std::mem::take(&mut self.starting) => {
                say(&format!(
                    "every axis knows where it is; moving to frame {turn}"
                ));
            }
            take::Progress::Doubted { .. }
            | take::Progress::Homed { .. }
            | take::Progress::UnderWay { .. }
            | take::Progress::Resting { .. }
            | take::Progress::Moving { .. }
            | take::Progress::Arrived { .. } => {}
        }
    }
}

/// Which level goes which way and how far, for a person who steps.
fn setting_out(turn: Turn, passages: &[take::Passage<'_>]) {
    let stays = |passage: &&take::Passage<'_>| passage.from == passage.to;
    say(&format!("to frame {turn}:"));
    for passage in passages.iter().filter(|passage| !stays(passage)) {
        say(&format!(
            "  {}",
            told(passage.axis, passage.from, passage.to)
        ));
    }
    let staying = passages.iter().filter(stays);
    let staying: Vec<String> = staying.map(|passage| passage.axis.name()).collect();
    if !staying.is_empty() {
        say(&format!("  in place already: {}", staying.join(", ")));
    }
}

/// Exposures, by their numbers, as a person says them: frames, with the passes where there are
/// several.
pub(crate) fn listed(order: &Order, numbers: &[Span]) -> String {
    if order.passes() < 2 {
        return frames_of(numbers);
    }
    let passes = by_pass(order, numbers);
    let alike = passes.windows(2).all(|pair| pair[0].1 == pair[1].1);
    match passes.first() {
        Some((_, frames)) if alike && passes.len() == order.passes() => {
            format!("{} in all passes", frames_of(frames))
        }
        _ => {
            let parts: Vec<String> = passes
                .iter()
                .map(|(pass, frames)| format!("{} in pass {}", frames_of(frames), pass + 1))
                .collect();
            parts.join("; ")
        }
    }
}

/// Frames as a person says them.
pub(crate) fn frames_of(frames: &[Span]) -> String {
    let one = matches!(frames, [span] if span.first() == span.last());
    let spans: Vec<String> = frames.iter().map(Span::to_string).collect();
    format!(
        "{} {}",
        if one { "frame" } else { "frames" },
        spans.join(", ")
    )
}

/// What a home check has found, as a sentence.
pub(super) fn doubt(drift: &Drift, frames: &str) -> String {
    let what = format!(
        "warning: {} is {:+.3} {} from where it is counted, up to {:.1} pixels in the picture: \
         it has lost steps, was moved while its motor was off, or its switch is not exact",
        drift.axis, drift.amount, drift.unit, drift.pixels
    );
    if frames.is_empty() {
        what
    } else {
        format!("{what}; {frames} may have been exposed out of place")
    }
}

/// Why a frame may have been exposed in the dark, as a sentence.
pub(super) fn unlit(board: &str, frame: &str) -> String {
    format!(
        "warning: {board} had started anew, or did not answer, when {frame} had just been exposed: its \
         lamps may have gone out meanwhile. See to its power and its cable, and look at the picture; \
         if there is none to look at, shoot it again"
    )
}
