//! `panestep power-up`: the first power-up, one thing after another. Nothing is homed in it, and
//! nothing is written before a person has said yes to it.

use std::time::Duration;

use panestep::file::amend::Change;
use panestep::schedule::Schedule;
use panestep::sim::{Fault, SwitchFault, When};
use panestep::stand::{AxisId, BoardId, Drive};
use panestep::take::attended::{Input, Inputs, Press, Pressed};
use panestep::take::{Attended, Seen, TakeError};
use panestep::units::InUnit;
use panestep_protocol::Halt;

use super::at_stand::{Place, Teller, at, stood};
use super::panel::Panel;
use super::rig::Rig;
use super::screen::say;
use super::{Failure, args};

/// Between two looks at the inputs.
const LOOK: Duration = Duration::from_millis(50);

/// How long everything has to stay where it is after a stop.
const STILL: Duration = Duration::from_secs(1);

/// How long one way of the axis to and fro may last while the stop is waited for.
const LEG: Duration = Duration::from_secs(10);

/// How many of them.
const LEGS: u32 = 6;

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

    /// An axis moves, the person presses the stop: it has to stop, and to stay where it is.
    fn stop_test(
        &self,
        attended: &mut Attended<'_, '_>,
        panel: &mut Panel<'_>,
        board: usize,
    ) -> Result<(), Failure> {
        let name = &self.schedule.boards[board];
        let mut axes = self.schedule.motors.iter();
        let Some(axis) = axes.position(|axis| axis.board == board) else {
            say(&format!(
                "board {name} moves nothing: there is nothing to stop"
            ));
            return Ok(());
        };
        let motor = &self.schedule.motors[axis];
        say(&format!(
            "stop test of board {name}: its motors are switched on now, and {} goes slowly to and \
             fro. Press the stop while it goes, and keep it pressed",
            motor.name()
        ));
        self.enter("  Enter: it sets out")?;
        attended.set_up(true).map_err(|error| stood(&error))?;
        if let Rig::Simulated(simulated) = &self.place.rig {
            say("  (the simulated hand presses the stop after a second)");
            simulated.inject(When::At(attended.now() + STILL), Fault::StopPressed);
        }
        self.to_and_fro(attended, axis)?;
        let halted = look(attended)?;
        for state in &halted.boards {
            if state.status.halt != Some(Halt::Stop) {
                return Err(Failure::stopped(format!(
                    "board {} has not noticed the stop: its stop circuit is not part of the others'",
                    state.name
                ))
                .hint(REFUSED));
            }
        }
        say("  it has stopped");
        self.unmoved(attended, &halted, "although the stop is pressed")?;
        if self.place.rig.is_simulated() {
            say("  (the simulated stop cuts no power; on a real stand look, and do not guess)");
        }
        let power = self.yes_or_no(
            "  have the motors lost their power too: are they off without any software, so that they \
             let themselves be turned by hand? Do not reach under a lift that can drop. yes or no:",
        )?;
        if !power {
            return Err(Failure::stopped(
                "the stop does not cut the motors' power; nothing was written",
            )
            .hint(
                "wire the stop so that it breaks the supply of the motors' drivers, beside the \
                 board's input: hardware-notes say how. Then begin anew",
            ));
        }
        say("  now let the stop out again");
        if let Rig::Simulated(simulated) = &self.place.rig {
            self.enter("  Enter: it is let out for you")?;
            simulated.inject(When::Now, Fault::StopReleased);
        }
        loop {
            let seen = look(attended)?;
            panel.show(&seen);
            if !seen.boards.iter().any(|board| board.status.switches.stop) {
                break;
            }
            self.wait(attended, LOOK)?;
        }
        panel.leave();
        self.unmoved(attended, &halted, "although only the stop was let out")?;
        say(&format!(
            "  the stop stops board {name}; letting it out starts nothing"
        ));
        Ok(())
    }

    /// To and fro until the stop ends it.
    fn to_and_fro(&self, attended: &mut Attended<'_, '_>, axis: usize) -> Result<(), Failure> {
        let motor = &self.schedule.motors[axis];
        let quarter = motor.travel.0.abs_diff(motor.travel.1) / 4;
        let slowly = u64::from(motor.slow) * LEG.as_secs();
        let leg = u64::from(quarter).min(slowly).max(1);
        let leg = i32::try_from(leg).unwrap_or(i32::MAX);
        for number in 0..LEGS {
            let by = if number % 2 == 0 { leg } else { -leg };
            match attended.nudge(axis, by) {
                Ok(()) => {}
                Err(error @ TakeError::Halted { .. }) => {
                    let seen = look(attended)?;
                    let stopped = seen.boards[motor.board].status.halt == Some(Halt::Stop);
                    return if stopped { Ok(()) } else { Err(stood(&error)) };
                }
                Err(error) => return Err(stood(&error)),
            }
        }
        Err(Failure::stopped(
            "the stop was not pressed in all that time, or pressing it stops nothing",
        )
        .hint(REFUSED))
    }

    /// Sees that nothing moves for a while.
    fn unmoved(
        &self,
        attended: &mut Attended<'_, '_>,
        before: &Seen,
        although: &str,
    ) -> Result<(), Failure> {
        self.wait(attended, STILL)?;
        let now = look(attended)?;
        let moved = before
            .axes
            .iter()
            .zip(&now.axes)
            .find(|(before, now)| before.steps != now.steps)
            .map(|(axis, _)| self.schedule.motors[axis.place].name());
        let busy = now.boards.iter().find(|board| board.is_busy());
        match (moved, busy) {
            (Some(axis), _) => Err(Failure::stopped(format!("{axis} has moved {although}"))
                .hint("switch the power off; the board or its firmware is faulty")),
            (None, Some(board)) => Err(Failure::stopped(format!(
                "board {} is at work {although}",
                board.name
            ))
            .hint("switch the power off; the board or its firmware is faulty")),
            (None, None) => Ok(()),
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
            self.enter(&format!(
                "{} goes {toward} by {}: Enter when you look at it",
                motor.of,
                at(motor, by)
            ))?;
            let before = self.really(axis);
            self.nudged(axis, by)?;
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
            match answer.as_str() {
                "yes" | "y" => {
                    self.nudged(axis, -by)?;
                    return Ok(turned);
                }
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
                    "  see that the motors' supply is on and the driver of channel {} of board {} \
                     is enabled, that the motor's four wires are right, and that nothing is stuck",
                    motor.channel, self.schedule.boards[motor.board]
                )),
                _ => {}
            }
        }
    }

    /// Moves an axis slowly, in a session of its own: its direction may have been turned round.
    fn nudged(&self, axis: usize, by: i32) -> Result<(), Failure> {
        self.place.attend(&self.schedule, &mut (), |attended| {
            attended.set_up(true).map_err(|error| stood(&error))?;
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
        let boards = 0..self.schedule.boards.len();
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

    fn wait(&self, attended: &mut Attended<'_, '_>, time: Duration) -> Result<(), Failure> {
        attended.wait(time).map_err(|error| match error {
            TakeError::Interrupted => left(),
            error => stood(&error),
        })
    }
}

const REFUSED: &str = "nothing was written, and nothing is homed before the stop test is passed";

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
