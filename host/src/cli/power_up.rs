//! `panestep power-up`: the first power-up, one thing after another. Nothing is homed in it, and
//! nothing is written before a person has said yes to it.

mod stop;

use std::time::Duration;

use panestep::file::amend::Change;
use panestep::schedule::Schedule;
use panestep::sim::{Fault, SwitchFault, When};
use panestep::stand::{AxisId, BoardId, Drive};
use panestep::take::attended::{Input, Inputs, Press, Pressed};
use panestep::take::{Attended, BoardSeen, Seen, TakeError};
use panestep::units::InUnit;

use super::at_stand::{Place, Teller, at, stood};
use super::panel::Panel;
use super::rig::Rig;
use super::screen::say;
use super::{Failure, args};

/// Between two looks at the inputs.
const LOOK: Duration = Duration::from_millis(50);

/// Goes through the first power-up.
pub(crate) fn power_up(typed: &args::PowerUp) -> Result<(), Failure> {
    let place = Place::new(&typed.at)?;
    let schedule = place.motors()?;
    let mut round = Round {
        place: &place,
        schedule,
    };
    round.begin()?;
    round.switches_and_stops()?;
    let reversed = round.motors()?;
    round.write(&reversed)
}

/// One round of it.
struct Round<'p> {
    place: &'p Place,
    schedule: Schedule,
}

impl Round<'_> {
    fn begin(&self) -> Result<(), Failure> {
        say("First power-up. Before it begins:");
        say("  - the glass is out, the motors' currents are set low,");
        say("  - every carriage stands somewhere in the middle of its travel, on no switch,");
        say("  - the stop is let out, and one of your hands is at it.");
        say("Nothing is homed. Ctrl-C leaves at any time; nothing is written before the end.");
        if self.place.rig.is_simulated() {
            say(
                "The stand is simulated inside this program: it presses what you are asked to press.",
            );
        }
        self.enter("Enter when all that is so:")
    }

    /// Waits for Enter.
    fn enter(&self, what: &str) -> Result<(), Failure> {
        self.place.typing.forget();
        say(what);
        match self.place.typing.line() {
            Some(_) => Ok(()),
            None => Err(left()),
        }
    }

    fn yes_or_no(&self, question: &str) -> Result<bool, Failure> {
        self.place.typing.forget();
        self.place.desk().yes_or_no(question).ok_or_else(left)
    }

    /// Switches the motors on, after an Enter. Where the stop or a limit switch has halted a board,
    /// by now or while the Enter was waited for, that is told, and needs a yes of its own.
    fn set_out(&self, attended: &mut Attended<'_, '_>, question: &str) -> Result<(), Failure> {
        if look(attended)?.boards.iter().any(BoardSeen::wants_a_person) {
            self.place.typing.forget();
        } else {
            self.enter(question)?;
        }
        self.place.set_up(attended)
    }

    /// Every home switch, every stop, and what the stop does.
    fn switches_and_stops(&self) -> Result<(), Failure> {
        let mut teller = Teller::new(&self.schedule);
        self.place.attend(&self.schedule, &mut teller, |attended| {
            let mut panel = Panel::new(&self.schedule);
            self.all_closed(attended, &mut panel)?;
            for board in 0..self.schedule.boards.len() {
                say(&format!(
                    "board {}, its switches:",
                    self.schedule.boards[board]
                ));
                let inputs = Inputs::wired(&self.schedule);
                for input in inputs.into_iter().filter(|&input| board_of(input) == board) {
                    self.press(attended, &mut panel, input)?;
                }
            }
            for board in 0..self.schedule.boards.len() {
                self.stop_test(attended, &mut panel, board)?;
            }
            Ok(())
        })
    }

    /// Waits until every switch is closed.
    fn all_closed(
        &self,
        attended: &mut Attended<'_, '_>,
        panel: &mut Panel<'_>,
    ) -> Result<(), Failure> {
        let mut named = Vec::new();
        loop {
            let seen = look(attended)?;
            panel.show(&seen);
            let inputs = seen.inputs();
            let wired = Inputs::wired(&self.schedule);
            let open: Vec<Input> = wired
                .into_iter()
                .filter(|&input| inputs.is_open(input))
                .collect();
            if open.is_empty() {
                panel.leave();
                say("every switch is closed, as it should be while nobody presses it");
                return Ok(());
            }
            for input in open.iter().filter(|input| !named.contains(*input)) {
                panel.leave();
                say(&format!(
                    "{} is open: the carriage stands on it, somebody presses it, or its wire is \
                     broken or not connected. Waiting until it is closed; Ctrl-C leaves",
                    input.name(&self.schedule)
                ));
            }
            named = open;
            self.wait(attended, LOOK)?;
        }
    }

    /// Waits for a press of one input, and of no other.
    fn press(
        &self,
        attended: &mut Attended<'_, '_>,
        panel: &mut Panel<'_>,
        wanted: Input,
    ) -> Result<(), Failure> {
        let name = wanted.name(&self.schedule);
        // Before it is asked for: whatever changes from then on is an answer.
        let mut press = Press::new(wanted, &look(attended)?.inputs());
        say(&format!("press {name}, and let it go again"));
        if let Rig::Simulated(simulated) = &self.place.rig {
            self.enter("  Enter: it is pressed for you")?;
            let now = attended.now();
            let later = |milliseconds| When::At(now + Duration::from_millis(milliseconds));
            simulated.inject(later(300), self.hand(wanted, true));
            simulated.inject(later(900), self.hand(wanted, false));
        }
        let mut last = Pressed::Waiting;
        loop {
            self.wait(attended, LOOK)?;
            let seen = look(attended)?;
            panel.show(&seen);
            let now = press.see(&seen.inputs());
            if now == last {
                continue;
            }
            last = now;
            match now {
                Pressed::Waiting => {}
                Pressed::Open => {
                    panel.leave();
                    say("  it opens: let it go");
                }
                Pressed::Done => {
                    panel.leave();
                    say(&format!("  {name} opens and closes"));
                    return Ok(());
                }
                Pressed::Other(other) => {
                    panel.leave();
                    say(&format!(
                        "  {name} was asked for, but {} has changed: the wrong one was pressed, or \
                         the two wires are swapped. Let everything go, and press {name} again; or \
                         Ctrl-C, switch the power off, and mend the wires",
                        other.name(&self.schedule)
                    ));
                }
            }
        }
    }

    /// What a hand does to an input of the simulated stand.
    fn hand(&self, input: Input, press: bool) -> Fault {
        match input {
            Input::Stop { .. } if press => Fault::StopPressed,
            Input::Stop { .. } => Fault::StopReleased,
            Input::Home { board, channel } | Input::Far { board, channel } => {
                let mut axes = self.schedule.motors.iter();
                let axis = axes.position(|axis| (axis.board, axis.channel) == (board, channel));
                Fault::HomeSwitch {
                    axis: axis_id(self.place, axis.unwrap_or_default()),
                    fault: press.then_some(SwitchFault::BrokenWire),
                }
            }
        }
    }

    /// Moves every motor a little and asks whether it went the way it should. Returns which of them
    /// have to be turned round, with the value of `reversed`.
    fn motors(&mut self) -> Result<Vec<(usize, bool)>, Failure> {
        say(
            "Now every motor, one after another. Look which way its carriage goes; up is toward the \
             lens, and east, north and counter-clockwise are those of the picture.",
        );
        let mut changed = Vec::new();
        for axis in 0..self.schedule.motors.len() {
            if self.motor(axis)? {
                changed.push((axis, self.schedule.motors[axis].reversed));
            }
        }
        Ok(changed)
    }

    /// One motor; whether it has been turned round.
    fn motor(&mut self, axis: usize) -> Result<bool, Failure> {
        let mut turned = false;
        loop {
            let motor = &self.schedule.motors[axis];
            // A millimetre or a degree; less where the whole travel is short.
            let quarter = f64::from(motor.travel.0.abs_diff(motor.travel.1)) / 4.0;
            let unit = 1.0 / motor.step_size;
            let by = unit.min(quarter).round().clamp(1.0, 1e9) as i32;
            let toward = motor.way.toward(1.0);
            let name = motor.name();
            let before = self.really(axis);
            let of = motor.of.clone();
            say(&format!(
                "{of} goes {toward} by {}; look at it",
                at(motor, by)
            ));
            self.nudged(axis, by, Some("  Enter: it goes"))?;
            if let (Some(before), Some(now)) = (before, self.really(axis)) {
                let by = now - before;
                say(&format!(
                    "  (the simulated carriage has gone {} by {})",
                    motor.way.toward(by),
                    InUnit(by.abs(), motor.unit)
                ));
            }
            self.place.typing.forget();
            let answer = loop {
                say(&format!(
                    "  did it go {toward}? yes, no (the other way), still (it did not move) or again:"
                ));
                let line = self.place.typing.line().ok_or_else(left)?;
                match line.to_lowercase().as_str() {
                    answer @ ("yes" | "y" | "no" | "n" | "still" | "again") => {
                        break answer.to_owned();
                    }
                    _ => say("  please type yes, no, still or again"),
                }
            };
            // Back at once, with the motor as it was: whatever is tried again begins where this did.
            self.nudged(axis, -by, None)?;
            match answer.as_str() {
                "yes" | "y" => return Ok(turned),
                "no" | "n" if turned => {
                    return Err(Failure::could_not(format!(
                        "{name} went the wrong way with `reversed` either way: something else is \
                         wrong; nothing was written"
                    ))
                    .hint("see that it is this carriage that moved, and which way is meant"));
                }
                "no" | "n" => {
                    turned = true;
                    let motor = &mut self.schedule.motors[axis];
                    motor.reversed = !motor.reversed;
                    say(&format!(
                        "  then `reversed` of {name} has to be {}; once more, to see",
                        motor.reversed
                    ));
                }
                "still" => say(&format!(
                    "  see that the motors' supply is on (start has to be pressed after every \
                     stop), that the driver of channel {} of board {} is enabled, that the motor's \
                     four wires are right, and that nothing is stuck",
                    motor.channel, self.schedule.boards[motor.board]
                )),
                _ => {}
            }
        }
    }

    /// Moves an axis slowly, in a session of its own: its direction may have been turned round.
    /// After an Enter, where there is a question.
    fn nudged(&self, axis: usize, by: i32, question: Option<&str>) -> Result<(), Failure> {
        self.place.attend(&self.schedule, &mut (), |attended| {
            match question {
                Some(question) => self.set_out(attended, question)?,
                None => self.place.set_up(attended)?,
            }
            attended.nudge(axis, by).map_err(|error| stood(&error))
        })
    }

    /// Where a simulated carriage is.
    fn really(&self, axis: usize) -> Option<f64> {
        match &self.place.rig {
            Rig::Simulated(simulated) => simulated.position(axis_id(self.place, axis)),
            Rig::Serial(_) => None,
        }
    }

    /// Shows what is to be written, and writes it after a yes.
    fn write(&self, reversed: &[(usize, bool)]) -> Result<(), Failure> {
        let mut changes: Vec<Change> = reversed
            .iter()
            .map(|&(axis, value)| Change::Reversed {
                axis: axis_id(self.place, axis),
                value,
            })
            .collect();
        let date = jiff::ZonedDateTime::now().date();
        let boards = (0..self.schedule.boards.len()).filter(|&board| self.moves(board));
        changes.extend(boards.map(|board| Change::StopTested {
            board: BoardId(board),
            date,
        }));
        let amended = self
            .place
            .file
            .amend(&changes)
            .map_err(Failure::could_not)?;
        if amended.is_empty() {
            say("everything is as the stand file has it already");
            return Ok(());
        }
        say("the stand file's changes:");
        for line in amended.lines() {
            say(&line.to_string());
        }
        if self.place.rig.is_simulated() {
            say("the stand is simulated, and says nothing about a real one: nothing is written");
            return Ok(());
        }
        if !self.yes_or_no("write them? yes or no:")? {
            return Err(Failure::stopped("nothing was written"));
        }
        amended.save().map_err(Failure::could_not)?;
        say(&format!(
            "written into {}; the next is: panestep home",
            self.place.file.path().display()
        ));
        Ok(())
    }

    /// Whether a board has a motor that its stop could stop.
    fn moves(&self, board: usize) -> bool {
        self.schedule.motors.iter().any(|axis| axis.board == board)
    }

    fn wait(&self, attended: &mut Attended<'_, '_>, time: Duration) -> Result<(), Failure> {
        attended.wait(time).map_err(|error| match error {
            TakeError::Interrupted => left(),
            error => stood(&error),
        })
    }
}

fn left() -> Failure {
    Failure::stopped("the power-up was left: nothing moves, and nothing was written")
}

fn look(attended: &mut Attended<'_, '_>) -> Result<Seen, Failure> {
    attended.look().map_err(|error| stood(&error))
}

const fn board_of(input: Input) -> usize {
    match input {
        Input::Stop { board } | Input::Home { board, .. } | Input::Far { board, .. } => board,
    }
}

/// The place in the stand of a motor axis.
fn axis_id(place: &Place, motor: usize) -> AxisId {
    let axes = place.stand().axes.iter().enumerate();
    let mut motors = axes.filter(|(_, axis)| matches!(axis.drive, Drive::Motor(_)));
    AxisId(motors.nth(motor).map_or(usize::MAX, |(axis, _)| axis))
}
