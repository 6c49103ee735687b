//! What a take asks and tells a person, on the terminal.

use std::cell::Cell;
use std::collections::BTreeSet;
use std::rc::Rc;

use panestep::schedule::{Chore, Order, Schedule, Turn};
use panestep::stand::Stand;
use panestep::take::exposure::Known;
use panestep::take::span::by_pass;
use panestep::take::{Arrangement, HandRequest, Person, Question, Span, Suspects};

use super::args::span;
use super::arrange;
use super::hands;
use super::onlooker::{doubt, frames_of, listed, unlit};
use super::rig::{Rig, Shutter};
use super::screen::{self, aside, say};
use super::typed::Typing;

/// The person at the terminal.
pub(crate) struct Desk<'a> {
    stand: &'a Stand,
    rig: &'a Rig,
    typing: Rc<Typing>,
    /// A simulated camera under the person's finger.
    shutter: Option<Shutter>,
    /// How to go on with the take, where there is one.
    resume: String,
    order: Order,
    /// What the person said last that the stand is arranged for: a simulated camera sees that.
    arranged: Rc<Cell<Option<Turn>>>,
}

impl<'a> Desk<'a> {
    pub(crate) fn new(stand: &'a Stand, rig: &'a Rig, typing: &Rc<Typing>) -> Self {
        Self {
            stand,
            rig,
            typing: Rc::clone(typing),
            shutter: None,
            resume: String::new(),
            order: Order::new(0, []),
            arranged: Rc::default(),
        }
    }

    /// Asks about the frames of this.
    pub(crate) fn with_frames_of(mut self, schedule: &Schedule) -> Self {
        self.order = schedule.order();
        self
    }

    /// Keeps in here what the person has arranged the stand for.
    pub(crate) fn with_arranged(mut self, arranged: Rc<Cell<Option<Turn>>>) -> Self {
        self.arranged = arranged;
        self
    }

    /// Photographs by this where a finger presses a simulated camera's release.
    pub(crate) fn with_shutter(mut self, shutter: Option<Shutter>) -> Self {
        self.shutter = shutter;
        self
    }

    /// Says this where it has to say how to go on.
    pub(crate) fn with_resume(mut self, resume: &str) -> Self {
        resume.clone_into(&mut self.resume);
        self
    }

    /// The stand that the person is at, and where its boards are.
    pub(super) fn at(&self) -> (&'a Stand, &'a Rig) {
        (self.stand, self.rig)
    }

    /// The next line typed; none at the end of the input or after Ctrl-C.
    pub(super) fn line(&self) -> Option<String> {
        self.typing.line()
    }

    /// Passes over what has been typed before a question.
    pub(super) fn forget(&self) {
        self.typing.forget();
    }
}

impl Desk<'_> {
    /// A question that is answered with yes or no; none to stop.
    pub(super) fn yes_or_no(&mut self, question: &str) -> Option<bool> {
        loop {
            say(question);
            match self.line()?.to_lowercase().as_str() {
                "yes" | "y" => return Some(true),
                "no" | "n" => return Some(false),
                "" => return None,
                _ => say("  please type yes or no"),
            }
        }
    }

    fn ask_exposed(&mut self, question: &Question) -> Option<bool> {
        self.typing.forget();
        let Question { turn, .. } = *question;
        say(&format!("frame {turn}: {}", question.known.sentence()));
        match (&self.stand.arrival, question.pictures.as_slice()) {
            (None, _) => {}
            (Some(arrival), []) => say(&format!("  no new picture lies in {}", arrival.folder)),
            (Some(arrival), pictures) => say(&format!(
                "  new in {}: {}",
                arrival.folder,
                pictures.join(", ")
            )),
        }
        // Frames of which the journal knows nothing may be several: each has its own picture.
        let unknown = matches!(question.known, Known::MarkAhead | Known::Unaccounted);
        let look = if unknown {
            "Look for its picture."
        } else {
            "Look at the camera's last picture."
        };
        let answer = self.yes_or_no(&format!(
            "  has frame {turn} been exposed, once and whole? {look} yes, no (it is exposed anew), \
             or nothing to stop here:"
        ))?;
        if !self.resume.is_empty() {
            let way = match (unknown, answer) {
                (false, _) => "--take-back",
                (true, true) => "--again",
                (true, false) => "--drop",
            };
            let pass = if turn.several {
                format!(" --pass {}", turn.pass + 1)
            } else {
                String::new()
            };
            say(&format!(
                "  noted; should that turn out to be wrong: {} {way} {}{pass}",
                self.resume, turn.frame
            ));
        }
        Some(answer)
    }

    /// Asks pass by pass: what is typed are frames.
    fn ask_others(&mut self, numbers: &[Span], most: u32) -> Option<Vec<u32>> {
        self.typing.forget();
        let order = self.order.clone();
        let mut all = Vec::new();
        for (pass, frames) in by_pass(&order, numbers) {
            let left = most.saturating_sub(u32::try_from(all.len()).unwrap_or(u32::MAX));
            if left == 0 {
                break;
            }
            let exposed = self.ask_others_of(&order, pass, &frames, left)?;
            let number = |frame| order.number_of(frame, pass);
            all.extend(exposed.into_iter().filter_map(number));
        }
        Some(all)
    }

    fn ask_others_of(
        &mut self,
        order: &Order,
        pass: usize,
        frames: &[Span],
        most: u32,
    ) -> Option<Vec<u32>> {
        let at_most = screen::frames(most as usize);
        let mut which = frames_of(frames);
        if order.passes() > 1 {
            which.push_str(&format!(" in pass {}", pass + 1));
        }
        loop {
            say(&format!(
                "  have others been exposed already, out of their order? {at_most} at most, of \
                 {which}. Their numbers, such as 7 or 12-15, 20; Enter for none, no to stop here:"
            ));
            let line = self.line()?;
            if line.eq_ignore_ascii_case("no") {
                return None;
            }
            match exposed_of(&line, frames, most) {
                Ok(exposed) => return Some(exposed),
                Err(problem) => say(&format!("  {problem}")),
            }
        }
    }

    fn ask_finger(&mut self, turn: Turn) -> Option<bool> {
        self.typing.forget();
        say(&format!(
            "frame {turn}: everything is in place and still. Press the camera's release once, and \
             press Enter here when the exposure is over; or leave the release alone and type no to \
             stop:"
        ));
        loop {
            match self.line()?.to_lowercase().as_str() {
                "" => break,
                "no" | "n" => return Some(false),
                _ => say("  just Enter where it has been pressed, or no where it has not:"),
            }
        }
        if let (Rig::Simulated(simulated), Some(shutter)) = (self.rig, &self.shutter)
            && let Err(error) = shutter(&simulated.pose())
        {
            say(&format!(
                "  the simulated camera's picture is lost: {error}"
            ));
        }
        Some(true)
    }

    fn ask_again(&mut self, suspects: &Suspects) -> Option<bool> {
        for drift in &suspects.drifts {
            say(&doubt(drift, &listed(&self.order, &suspects.frames)));
        }
        for (board, frame) in &suspects.unlit {
            let turn = self.order.turn(*frame);
            let turn = turn.map_or_else(|| frame.to_string(), |turn| turn.to_string());
            say(&unlit(board, &format!("frame {turn}")));
        }
        self.yes_or_no(&format!(
            "  shoot {} again? yes, no (they are kept as they are), or nothing to stop here:",
            listed(&self.order, &suspects.frames)
        ))
    }
}

impl Person for Desk<'_> {
    fn set(&mut self, request: &HandRequest<'_>) -> Option<f64> {
        aside(|| hands::ask(self, request))
    }

    fn exposed(&mut self, question: &Question) -> Option<bool> {
        aside(|| self.ask_exposed(question))
    }

    fn others(&mut self, frames: &[Span], most: u32) -> Option<Vec<u32>> {
        aside(|| self.ask_others(frames, most))
    }

    fn fire(&mut self, turn: Turn) -> Option<bool> {
        aside(|| self.ask_finger(turn))
    }

    fn arrange(&mut self, arrangement: &Arrangement<'_>) -> Option<()> {
        aside(|| arrange::ask(self, arrangement))?;
        for chore in arrangement.chores {
            if let Chore::Exposure { time } = chore {
                self.rig.set_exposure(*time);
            }
        }
        self.arranged.set(Some(arrangement.turn));
        Some(())
    }

    fn again(&mut self, suspects: &Suspects) -> Option<bool> {
        aside(|| self.ask_again(suspects))
    }
}

/// Frames that a person names, all of them of those that were asked about.
fn exposed_of(line: &str, frames: &[Span], most: u32) -> Result<Vec<u32>, String> {
    let mut named = BTreeSet::new();
    for word in line.split([',', ' ']).filter(|word| !word.is_empty()) {
        let span = span(word).map_err(|problem| format!("{word}: {problem}"))?;
        for frame in span.frames() {
            let asked = |span: &Span| span.frames().contains(&frame);
            if !frames.iter().any(asked) {
                return Err(format!("frame {frame} is none of {}", frames_of(frames)));
            }
            named.insert(frame);
        }
    }
    if named.len() > most as usize {
        return Err(format!(
            "those are {}, and there can be {most} at most",
            screen::frames(named.len())
        ));
    }
    Ok(named.into_iter().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_that_are_named_are_of_those_that_were_asked_about() {
        let frames = Span::of([3, 4, 5, 9]);
        assert_eq!(exposed_of("", &frames, 2), Ok(vec![]));
        assert_eq!(exposed_of("9, 4-5", &frames, 3), Ok(vec![4, 5, 9]));
        assert_eq!(exposed_of("4 4,4", &frames, 1), Ok(vec![4]));
        for (line, most, word) in [
            ("6", 3, "frame 6 is none of"),
            ("3-9999999", 3, "frame 6 is none of"),
            ("3-5", 2, "3 frames"),
            ("three", 3, "three"),
            ("5-3", 3, "5-3"),
        ] {
            let said = exposed_of(line, &frames, most).expect_err(line);
            assert!(said.contains(word), "{line}: {said}");
        }
    }
}
