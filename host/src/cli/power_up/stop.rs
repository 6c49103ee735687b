//! The stop test: an axis moves, the stop is pressed, and a person says what has come of it.

use std::time::Duration;

use panestep::sim::{Fault, When};
use panestep::stand::Way;
use panestep::take::{Attended, Seen, TakeError};
use panestep_protocol::Halt;

use super::{LOOK, Panel, Rig, Round, look};
use crate::cli::Failure;
use crate::cli::at_stand::stood;
use crate::cli::screen::say;

/// How long everything has to stay where it is after a stop.
const STILL: Duration = Duration::from_secs(1);

/// How long one way of the axis to and fro may last while the stop is waited for.
const LEG: Duration = Duration::from_secs(10);

/// How many of them.
const LEGS: u32 = 6;

const REFUSED: &str = "nothing was written, and nothing is homed before the stop test is passed";

impl Round<'_> {
    /// An axis moves, the person presses the stop: it has to stop, and to stay where it is.
    pub(super) fn stop_test(
        &self,
        attended: &mut Attended<'_, '_>,
        panel: &mut Panel<'_>,
        board: usize,
    ) -> Result<(), Failure> {
        let name = &self.schedule.boards[board];
        let Some(axis) = self.tried(board) else {
            say(&format!(
                "board {name} moves nothing: there is nothing to stop"
            ));
            return Ok(());
        };
        let motor = &self.schedule.motors[axis];
        say(&format!(
            "stop test of board {name}: its motors are switched on now, and {} goes slowly to and \
             fro. See that it moves, then press the stop while it goes, and keep it pressed",
            motor.name()
        ));
        if motor.way == Way::Lift {
            say(
                "  This board has nothing but lifts, and the stop takes the motor's power: block the \
                 carriage from below, so that it cannot drop farther than it goes",
            );
        }
        self.set_out(attended, "  Enter: it sets out")?;
        if let Rig::Simulated(simulated) = &self.place.rig {
            say("  (the simulated hand presses the stop after a second)");
            simulated.inject(When::At(attended.now() + STILL), Fault::StopPressed);
        }
        self.to_and_fro(attended, axis)?;
        let halted = look(attended)?;
        for (board, state) in halted.boards.iter().enumerate() {
            if self.moves(board) && state.status.halt != Some(Halt::Stop) {
                return Err(Failure::stopped(format!(
                    "board {} has not noticed the stop: its stop circuit is not part of the others'",
                    state.name
                ))
                .hint(REFUSED));
            }
        }
        say("  it has stopped");
        self.unmoved(attended, &halted, "although the stop is pressed")?;
        // A motor without power stands still whatever the stop does.
        let moved = self.yes_or_no(&format!(
            "  have you seen {} move up to then, and stop when you pressed it? yes or no:",
            motor.name()
        ))?;
        if !moved {
            return Err(Failure::stopped(format!(
                "nobody has seen the stop of board {name} stop anything; nothing was written"
            ))
            .hint(
                "where it did not move: see that the motors' supply is on (start has to be pressed \
                 after every stop) and that the motor is connected. Where it went on: see that the \
                 stop's contacts go to this board's input. Then begin anew",
            ));
        }
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
        self.enter(
            "  press start, so that the motors have power again; Enter when it has been pressed:",
        )?;
        self.unmoved(attended, &halted, "although only start was pressed")?;
        say(&format!(
            "  the stop stops board {name}; letting it out starts nothing"
        ));
        Ok(())
    }

    /// The axis of a board that its stop is tried with: one that cannot drop, where there is one.
    fn tried(&self, board: usize) -> Option<usize> {
        let motors = &self.schedule.motors;
        let its = || (0..motors.len()).filter(|&axis| motors[axis].board == board);
        its()
            .find(|&axis| motors[axis].way != Way::Lift)
            .or_else(|| its().next())
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
}
