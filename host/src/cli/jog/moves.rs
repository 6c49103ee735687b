//! The moves of a jog, and what speaks against them.

use panestep::plan::clearance::{self, LiftMove, Lifts, Touch};
use panestep::schedule::{MotorAxis, Schedule};
use panestep::stand::{Carrier, Way};
use panestep::take::{Attended, AxisSeen, Seen, TakeError};
use panestep::units::InUnit;

use super::Wish;
use crate::cli::Failure;
use crate::cli::at_stand::{Place, at, stood, told};
use crate::cli::home::homed;
use crate::cli::lifts;
use crate::cli::screen::say;

/// A stand while something is moved on it.
pub(super) struct Mover<'p, 'a, 's, 'r> {
    pub(super) place: &'p Place,
    pub(super) schedule: &'p Schedule,
    pub(super) attended: &'a mut Attended<'s, 'r>,
    /// Whether a person has looked that nothing is in the way that nobody knows of.
    pub(super) anyway: bool,
}

/// Where an axis is to go.
struct Goal {
    axis: usize,
    /// Its target by its board's count, steps.
    to: i32,
    /// A neighbour that might be in its way, as nobody knows where it is.
    doubt: Option<Touch>,
}

impl Mover<'_, '_, '_, '_> {
    pub(super) fn go(&mut self, wish: &Wish, home: bool) -> Result<(), Failure> {
        // Everything that speaks against it is said before a motor is even switched on.
        let seen = self.look()?;
        let needed: &[usize] = match wish {
            Wish::By(..) => &[],
            Wish::To(axis, _) => std::slice::from_ref(axis),
            Wish::Frame(axes, _) => axes,
        };
        let lost: Vec<usize> = needed
            .iter()
            .copied()
            .filter(|&axis| !seen.axes[axis].homed)
            .collect();
        let home = home && !lost.is_empty();
        if home {
            let after = self.once_home(&lost, &seen);
            self.goals(wish, &after)?;
        } else {
            let goals = self.goals(wish, &seen)?;
            self.consent(&goals)?;
        }
        self.place.set_up(self.attended)?;
        if home {
            homed(self.attended, &lost)?;
        }
        let seen = self.look()?;
        let goals = self.goals(wish, &seen)?;
        if home {
            // Homing has told where more of them are.
            self.consent(&goals)?;
        }
        match wish {
            Wish::By(axis, _) if !seen.axes[*axis].homed => self.nudge(&goals, &seen),
            _ => self.bring(wish, &goals, &seen),
        }
    }

    /// How everything will stand once axes are homed: about at their switches.
    fn once_home(&self, lost: &[usize], seen: &Seen) -> Seen {
        let mut after = seen.clone();
        for axis in self.attended.homes_with(lost) {
            let motor = self.axis(axis);
            after.axes[axis] = AxisSeen {
                steps: motor.switch,
                position: f64::from(motor.switch) * motor.step_size,
                homed: true,
                home_open: false,
                far_open: false,
                ..after.axes[axis]
            };
        }
        after
    }

    /// Asks about what might be in the way.
    fn consent(&mut self, goals: &[Goal]) -> Result<(), Failure> {
        let doubts: Vec<&Touch> = goals
            .iter()
            .filter_map(|goal| goal.doubt.as_ref())
            .collect();
        if doubts.is_empty() {
            return Ok(());
        }
        for touch in doubts {
            say(&format!(
                "nobody knows whether {} and {} stay clear of each other: one of them is not homed, \
                 or is moved by hand. Were it at the wrong end of its travel, they would be {} apart",
                touch.upper,
                touch.lower,
                InUnit(touch.gap_mm, panestep::stand::AxisUnit::Millimetre)
            ));
        }
        if self.anyway {
            return Ok(());
        }
        self.place.typing.forget();
        let answer = self.place.desk().yes_or_no(
            "  have you looked that there is room? It goes slowly. yes, or no to stop here:",
        );
        if answer == Some(true) {
            return Ok(());
        }
        Err(Failure::stopped("it was not moved").hint(
            "home both, or look, and say yes; where nobody can be asked, --anyway says that somebody \
             has looked",
        ))
    }

    fn look(&mut self) -> Result<Seen, Failure> {
        self.attended.look().map_err(|error| stood(&error))
    }

    fn axis(&self, place: usize) -> &MotorAxis {
        &self.schedule.motors[place]
    }

    /// A distance in whole steps.
    fn steps(&self, place: usize, amount: f64) -> Result<i32, Failure> {
        let axis = self.axis(place);
        let steps = (amount / axis.step_size).round();
        if steps.abs() >= f64::from(i32::MAX / 2) {
            return Err(Failure::wrong(format!(
                "that is {steps:.0} steps of {}: more than can be counted",
                axis.name()
            ))
            .hint("nothing was moved"));
        }
        Ok(steps as i32)
    }

    /// Where each axis is to end, as things stand, lifts first; everything that can be refused is.
    fn goals(&mut self, wish: &Wish, seen: &Seen) -> Result<Vec<Goal>, Failure> {
        let targets = match *wish {
            Wish::By(axis, by) => {
                let steps = self.steps(axis, by)?;
                if steps == 0 {
                    return Err(Failure::wrong(format!(
                        "that is less than half a step: one step of {} is {}",
                        self.axis(axis).name(),
                        at(self.axis(axis), 1)
                    ))
                    .hint("nothing was moved"));
                }
                let now = seen.axes[axis];
                let to = now.steps.saturating_add(steps);
                if !now.homed {
                    self.attended
                        .nudgeable(axis, steps)
                        .map_err(Failure::wrong)?;
                    let doubt = self.doubt_of_nudge(axis, steps, seen);
                    return Ok(vec![Goal { axis, to, doubt }]);
                }
                vec![(axis, to)]
            }
            Wish::To(axis, position) => vec![(axis, self.steps(axis, position)?)],
            Wish::Frame(ref axes, frame) => {
                let row = self.schedule.motors_at(frame).unwrap_or_default();
                axes.iter().map(|&axis| (axis, row[axis])).collect()
            }
        };
        for &(axis, steps) in &targets {
            if !seen.axes[axis].homed {
                let axis = self.axis(axis).name();
                return Err(stood(&TakeError::NotHomed { axis }));
            }
            self.attended
                .fits(axis, steps)
                .map_err(|error| self.does_not_fit(axis, seen, &error))?;
        }
        self.in_order(&targets, seen)
    }

    /// What was typed leads nowhere, with the way out where homing has left the axis beyond its
    /// travel.
    fn does_not_fit(&self, axis: usize, seen: &Seen, error: &TakeError) -> Failure {
        let failure = Failure::wrong(error);
        let motor = self.axis(axis);
        let now = seen.axes[axis].steps;
        let (least, greatest) = motor.travel;
        if (least..=greatest).contains(&now) {
            return failure;
        }
        let nearest = if now < least {
            least.saturating_add(motor.take_up)
        } else {
            greatest
        };
        failure.hint(format!(
            "it stands at {}, where homing has left it, just beyond its travel; the nearest that it \
             can go to: panestep jog {} {} to {}",
            at(motor, now),
            motor.of,
            motor.way.name(),
            within(motor, nearest)
        ))
    }

    /// The same targets, lifts first, in an order in which none comes too near another.
    fn in_order(&self, targets: &[(usize, i32)], seen: &Seen) -> Result<Vec<Goal>, Failure> {
        let lift = |&(axis, to): &(usize, i32)| self.lift(axis, seen.axes[axis].steps, to);
        let (lifts, others): (Vec<_>, Vec<_>) = targets
            .iter()
            .copied()
            .partition(|target| lift(target).is_some());
        let moves: Vec<LiftMove> = lifts.iter().filter_map(lift).collect();
        let stand = self.place.stand();
        let mut known = self.lifts(seen);
        let order = clearance::order(stand, &moves, &known).map_err(|touch| {
            Failure::wrong(touch).hint("it was not moved; move the other one out of its way first")
        })?;
        let mut goals = Vec::new();
        for place in order {
            let (axis, to) = lifts[place];
            let doubt = clearance::doubt(stand, &moves[place], &known);
            known.know(moves[place].of, moves[place].to_mm);
            goals.push(Goal { axis, to, doubt });
        }
        goals.extend(others.into_iter().map(|(axis, to)| Goal {
            axis,
            to,
            doubt: None,
        }));
        Ok(goals)
    }

    /// A lift's way from one count to another; none where the axis is no lift.
    fn lift(&self, axis: usize, from: i32, to: i32) -> Option<LiftMove> {
        let motor = self.axis(axis);
        let mm = |steps: i32| f64::from(steps) * motor.step_size;
        (motor.way == Way::Lift).then(|| LiftMove {
            of: self.carrier(axis),
            from_mm: mm(from),
            to_mm: mm(to),
            least_mm: mm(to.saturating_sub(motor.take_up)),
        })
    }

    /// What might be in the way of a lift that is itself not homed, and so anywhere on its travel.
    fn doubt_of_nudge(&self, axis: usize, by: i32, seen: &Seen) -> Option<Touch> {
        let (least, greatest) = self.axis(axis).travel;
        let lifts = self.lifts(seen);
        [greatest, least].into_iter().find_map(|from| {
            let lift = self.lift(axis, from, from.saturating_add(by))?;
            let lift = LiftMove {
                least_mm: lift.to_mm,
                ..lift
            };
            clearance::doubt(self.place.stand(), &lift, &lifts)
        })
    }

    /// The lifts, where they are known.
    fn lifts(&self, seen: &Seen) -> Lifts {
        lifts::known(self.place.stand(), self.schedule, seen)
    }

    /// What an axis carries.
    fn carrier(&self, axis: usize) -> Carrier {
        lifts::carrier(self.place.stand(), self.axis(axis))
    }

    /// One axis that is not homed, slowly.
    fn nudge(&mut self, goals: &[Goal], seen: &Seen) -> Result<(), Failure> {
        let [Goal { axis, to, .. }] = *goals else {
            return Ok(());
        };
        let motor = &self.schedule.motors[axis];
        let by = to.saturating_sub(seen.axes[axis].steps);
        say(&format!(
            "{} goes {} by {}, slowly: it is not homed, so that nobody knows from where",
            motor.of,
            motor.way.toward(f64::from(by)),
            at(motor, by.saturating_abs())
        ));
        say("  waiting until it stands; Ctrl-C stops it");
        self.attended
            .nudge(axis, by)
            .map_err(|error| stood(&error))?;
        say(&format!("{} stands", motor.name()));
        Ok(())
    }

    /// Homed axes to their targets: each lift on its own, and then the others side by side.
    fn bring(&mut self, wish: &Wish, goals: &[Goal], seen: &Seen) -> Result<(), Failure> {
        for goal in goals {
            let slowly = if goal.doubt.is_some() { ", slowly" } else { "" };
            let way = told(self.axis(goal.axis), seen.axes[goal.axis].steps, goal.to);
            say(&format!("{way}{slowly}"));
        }
        let lifts = goals
            .iter()
            .take_while(|goal| self.axis(goal.axis).way == Way::Lift)
            .count();
        let (lifts, others) = goals.split_at(lifts);
        let groups = lifts.chunks(1).chain(std::iter::once(others));
        for group in groups.filter(|group| !group.is_empty()) {
            let moving: Vec<String> = group
                .iter()
                .filter(|goal| seen.axes[goal.axis].steps != goal.to)
                .map(|goal| self.axis(goal.axis).name())
                .collect();
            if moving.is_empty() {
                continue;
            }
            say(&format!(
                "  waiting for {}; Ctrl-C stops everything",
                moving.join(", ")
            ));
            if let [goal @ Goal { doubt: Some(_), .. }] = group {
                self.slowly(goal, seen)?;
                continue;
            }
            let targets: Vec<(usize, i32)> =
                group.iter().map(|goal| (goal.axis, goal.to)).collect();
            self.attended
                .go_all_to(&targets)
                .map_err(|error| stood(&error))?;
        }
        let now = self.look()?;
        for &Goal { axis, .. } in goals {
            let motor = self.axis(axis);
            say(&format!(
                "{} is at {}",
                motor.name(),
                at(motor, now.axes[axis].steps)
            ));
        }
        for (hand, reading) in self.hands(wish) {
            say(&format!("{hand} is moved by hand: to {reading}"));
        }
        Ok(())
    }

    /// One homed axis, slowly, from below all the same.
    fn slowly(&mut self, goal: &Goal, seen: &Seen) -> Result<(), Failure> {
        let take_up = self.axis(goal.axis).take_up;
        let by = goal.to.saturating_sub(seen.axes[goal.axis].steps);
        let ways = if by >= take_up {
            [by, 0]
        } else {
            [by.saturating_sub(take_up), take_up]
        };
        for by in ways.into_iter().filter(|&by| by != 0) {
            self.attended
                .nudge(goal.axis, by)
                .map_err(|error| stood(&error))?;
        }
        Ok(())
    }

    /// What is still to be set by hand for a frame of which all was asked for.
    fn hands(&self, wish: &Wish) -> Vec<(String, InUnit)> {
        let Wish::Frame(axes, frame) = wish else {
            return Vec::new();
        };
        if axes.len() < self.schedule.motors.len() {
            return Vec::new();
        }
        let row = self.schedule.hands_at(*frame).unwrap_or_default();
        let hands = self.schedule.hands.iter().zip(row);
        hands
            .map(|(hand, &reading)| (hand.name(), InUnit(reading, hand.unit)))
            .collect()
    }
}

/// A position as it has to be typed so that it lies no lower than that many steps, and hardly higher.
fn within(axis: &MotorAxis, steps: i32) -> InUnit {
    let exact = f64::from(steps) * axis.step_size;
    let thousandths = if steps == axis.travel.1 {
        (exact * 1000.0 + 1e-6).floor()
    } else {
        (exact * 1000.0 - 1e-6).ceil()
    };
    InUnit(thousandths / 1000.0, axis.unit)
}
