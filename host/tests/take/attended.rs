//! Work at the stand without a take, on the simulated stand's own clock.

use std::cell::Cell;
use std::rc::Rc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use panestep::schedule::Schedule;
use panestep::sim::{Fault, Options, SimulatedStand, SwitchFault, When};
use panestep::stand::AxisId;
use panestep::take::attended::{Input, Inputs, Press, Pressed};
use panestep::take::{Attended, Ending, Progress, Stage, TakeError};
use panestep::{plan, stand};
use panestep_protocol::Halt;

use super::rig::{MAIN, Ports, STEPS_PER_MM, stand};

const EAST: usize = 0;
const LIFT: usize = 1;
const SKY: usize = 2;

struct Desk {
    sim: SimulatedStand,
    schedule: Schedule,
    interrupt: AtomicBool,
}

impl Desk {
    fn new() -> Self {
        let stand: stand::Stand = stand();
        Self {
            sim: SimulatedStand::new(&stand, &Options::default()),
            schedule: plan::standing(&stand).expect("sound axes"),
            interrupt: AtomicBool::new(false),
        }
    }

    fn attend<T>(&self, work: impl FnOnce(&mut Attended<'_, '_>) -> T) -> T {
        self.watched(|_| (), work)
    }

    fn watched<T>(
        &self,
        mut watch: impl FnMut(&Progress<'_>),
        work: impl FnOnce(&mut Attended<'_, '_>) -> T,
    ) -> T {
        let mut stage = Stage {
            boards: &mut Ports(self.sim.clone()),
            clock: Rc::new(self.sim.clock()),
            person: &mut (),
            watch: &mut watch,
            trigger: &mut (),
            album: None,
            interrupt: &self.interrupt,
        };
        work(&mut Attended::connect(&self.schedule, &mut stage).expect("the boards answer"))
    }

    fn carriage(&self, axis: usize) -> f64 {
        self.sim.position(AxisId(axis)).expect("an axis")
    }

    fn at(&self, axis: usize, mm: f64) {
        let off = (self.carriage(axis) - mm).abs();
        assert!(off <= 1.5 / STEPS_PER_MM, "axis {axis} is off by {off} mm");
    }

    fn lawful(&self) {
        assert!(
            self.sim.violations().is_empty(),
            "{:?}",
            self.sim.violations()
        );
    }
}

fn mm(mm: f64) -> i32 {
    (mm * STEPS_PER_MM).round() as i32
}

#[test]
fn looking_changes_nothing() {
    let desk = Desk::new();
    let seen = desk.attend(|at| at.look().expect("it answers"));
    assert_eq!(seen.boards.len(), 2);
    assert_eq!(seen.axes.len(), 3);
    for board in &seen.boards {
        assert!(!board.status.drivers && board.halt.is_none());
        assert!(board.status.configured.is_empty());
    }
    assert!(seen.axes.iter().all(|axis| !axis.homed && !axis.home_open));
    assert!((0..3).all(|axis| desk.sim.count(AxisId(axis)).expect("a motor").positive == 0));
}

#[test]
fn before_it_is_homed_an_axis_goes_slowly_and_never_to_a_position() {
    let desk = Desk::new();
    let start = desk.carriage(EAST);
    desk.attend(|at| {
        let error = at.nudge(EAST, mm(1.0)).unwrap_err();
        assert!(matches!(error, TakeError::Refused { .. }), "{error}");
        at.set_up(false).expect("nothing has halted");
        let begun = at.now();
        at.nudge(EAST, mm(2.0)).expect("it moves");
        // 2 mm at 2 mm/s, where it might go at 25.
        assert!(at.now() - begun >= Duration::from_millis(950));
        at.nudge(EAST, mm(-2.0)).expect("it moves");
        for (by, fits) in [(20.0, true), (20.1, false), (-20.1, false)] {
            let result = at.nudgeable(EAST, mm(by));
            assert_eq!(result.is_ok(), fits, "{by} mm: {result:?}");
        }
        let before = at.look().expect("it answers");
        let error = at.nudge(EAST, mm(20.1)).unwrap_err();
        assert!(matches!(error, TakeError::TooFar { .. }), "{error}");
        assert!(
            error.to_string().contains("its whole travel of 20.000 mm"),
            "{error}"
        );
        for error in [
            at.go_to(EAST, mm(1.0)).unwrap_err(),
            at.go_straight_to(EAST, mm(1.0)).unwrap_err(),
            at.check(EAST).unwrap_err(),
        ] {
            assert!(matches!(error, TakeError::NotHomed { .. }), "{error}");
            assert!(error.to_string().contains("reeds east"), "{error}");
        }
        assert_eq!(at.look().expect("it answers").axes, before.axes);
    });
    // But for the slack.
    assert!((desk.carriage(EAST) - start).abs() < 0.06);
    desk.lawful();
}

#[test]
fn a_homed_axis_comes_from_below_and_stays_in_its_travel() {
    let desk = Desk::new();
    desk.attend(|at| {
        at.set_up(false).expect("nothing has halted");
        at.home(&[EAST]).expect("it finds its switch");
        for to in [5.0, -3.0, -3.5, 2.0, -9.9] {
            at.go_to(EAST, mm(to)).expect("within its travel");
            desk.at(EAST, to);
        }
        // The straight way down leaves the slack: the carriage stays behind.
        at.go_to(EAST, mm(5.0)).expect("within its travel");
        at.go_straight_to(EAST, mm(0.0)).expect("within its travel");
        let behind = desk.carriage(EAST);
        assert!((behind - 0.05).abs() < 1.5 / STEPS_PER_MM, "{behind}");
        let before = at.look().expect("it answers").axes[EAST];
        for to in [10.1, -10.1] {
            let error = at.go_to(EAST, mm(to)).unwrap_err();
            assert!(matches!(error, TakeError::OutsideTravel { .. }), "{error}");
            let error = at.nudge(EAST, mm(to) - before.steps).unwrap_err();
            assert!(matches!(error, TakeError::OutsideTravel { .. }), "{error}");
        }
        // No room below to take the slack up.
        let error = at.go_to(EAST, mm(-10.0)).unwrap_err();
        assert!(
            matches!(error, TakeError::NoRoom { turn: None, .. }),
            "{error}"
        );
        assert_eq!(at.look().expect("it answers").axes[EAST], before);
        let error = at.go_to(7, 0).unwrap_err();
        assert!(matches!(error, TakeError::Schedule(_)), "{error}");
    });
    desk.lawful();
}

#[test]
fn homing_is_remembered_over_sessions_and_a_check_says_what_a_switch_is_off() {
    let desk = Desk::new();
    desk.attend(|at| {
        at.set_up(false).expect("nothing has halted");
        at.home(&[EAST, SKY]).expect("they find their switches");
    });
    desk.attend(|at| {
        let seen = at.look().expect("it answers");
        let homed: Vec<bool> = seen.axes.iter().map(|axis| axis.homed).collect();
        assert_eq!(homed, [true, false, true]);
        at.set_up(false).expect("nothing has halted");
        assert!(at.look().expect("it answers").axes[EAST].homed);
        assert!(at.check(EAST).expect("homed").abs() <= 1);
        let moved = Fault::HomeSwitchMoved {
            axis: AxisId(EAST),
            by: 0.5,
        };
        assert!(desk.sim.inject(When::Now, moved));
        let off = at.check(EAST).expect("homed");
        assert!((f64::from(off) / STEPS_PER_MM - 0.5).abs() < 0.01, "{off}");
        // The count is as it was.
        at.go_to(EAST, 0).expect("within its travel");
        desk.at(EAST, 0.0);
    });
    desk.lawful();
}

#[test]
fn a_lift_takes_the_other_lifts_home() {
    let desk = Desk::new();
    let mut schedule = desk.schedule.clone();
    schedule.lifts = vec![LIFT, SKY];
    let desk = Desk { schedule, ..desk };
    let mut order = Vec::new();
    desk.watched(
        |progress| {
            if let Progress::Homing { axis, .. } = progress {
                order.push((*axis).to_owned());
            }
        },
        |at| {
            assert_eq!(at.homes_with(&[LIFT]), [LIFT, SKY]);
            assert_eq!(at.homes_with(&[EAST]), [EAST]);
            at.set_up(false).expect("nothing has halted");
            at.home(&[LIFT]).expect("they find their switches");
        },
    );
    assert_eq!(order, ["sky east", "reeds lift"]);
}

#[test]
fn the_stop_ends_a_move_and_a_person_has_to_see_it() {
    let desk = Desk::new();
    desk.attend(|at| {
        at.set_up(false).expect("nothing has halted");
        let soon = When::At(at.now() + Duration::from_millis(500));
        assert!(desk.sim.inject(soon, Fault::StopPressed));
        let error = at.nudge(EAST, mm(8.0)).unwrap_err();
        assert!(matches!(error, TakeError::Halted { .. }), "{error}");
        assert_eq!(error.ending(), Ending::Stopped);
        let seen = at.look().expect("it answers, halted or not");
        let steps = seen.axes[EAST].steps;
        assert!(steps > 0 && steps < mm(2.0), "{steps}");
        for board in &seen.boards {
            assert_eq!(board.status.halt, Some(Halt::Stop));
            assert!(board.wants_a_person() && board.halt.is_some());
        }
        // Seen or not, while it is pressed nothing goes on.
        assert!(matches!(at.set_up(false), Err(TakeError::Halted { .. })));
        assert!(matches!(at.set_up(true), Err(TakeError::Halted { .. })));
        assert!(desk.sim.inject(When::Now, Fault::StopReleased));
        at.wait(Duration::from_secs(1)).expect("nobody interrupts");
        assert_eq!(at.look().expect("it answers").axes[EAST].steps, steps);
        assert!(matches!(at.set_up(false), Err(TakeError::Halted { .. })));
        at.set_up(true).expect("a person has seen it");
        at.nudge(EAST, mm(1.0)).expect("it moves");
    });
    desk.lawful();
}

#[test]
fn an_interrupt_ends_a_move_by_a_controlled_stop_and_keeps_the_count() {
    let desk = Desk::new();
    let (looks, flag) = (Cell::new(0), &desk.interrupt);
    let watch = |progress: &Progress<'_>| {
        if matches!(progress, Progress::UnderWay { .. }) {
            looks.set(looks.get() + 1);
            if looks.get() == 4 {
                flag.store(true, Ordering::Relaxed);
            }
        }
    };
    desk.attend(|at| {
        at.set_up(false).expect("nothing has halted");
        at.home(&[EAST]).expect("it finds its switch");
    });
    desk.watched(watch, |at| {
        at.set_up(false).expect("nothing has halted");
        let error = at.go_to(EAST, mm(9.0)).unwrap_err();
        assert!(matches!(error, TakeError::Interrupted), "{error}");
        assert_eq!(error.ending(), Ending::Stopped);
        desk.interrupt.store(false, Ordering::Relaxed);
        let axis = at.look().expect("it answers").axes[EAST];
        assert!(axis.homed && axis.steps < mm(9.0), "{axis:?}");
        // What the program asked for itself wants nobody.
        at.set_up(false).expect("it goes on");
        at.go_to(EAST, mm(9.0)).expect("within its travel");
    });
    desk.at(EAST, 9.0);
    desk.lawful();
}

#[test]
fn a_board_that_is_pulled_is_named_and_the_other_comes_to_rest() {
    let desk = Desk::new();
    desk.attend(|at| {
        at.set_up(false).expect("nothing has halted");
        let soon = When::At(at.now() + Duration::from_millis(700));
        assert!(desk.sim.inject(soon, Fault::CableOut { board: MAIN }));
        let error = at.nudge(EAST, mm(8.0)).unwrap_err();
        assert!(error.to_string().contains("\"main\""), "{error}");
        assert_eq!(error.ending(), Ending::CouldNot);
    });
    // The board's own guard against silence has stopped it.
    desk.sim.pass(Duration::from_secs(5)).expect("time passes");
    let stood = desk.carriage(EAST);
    desk.sim.pass(Duration::from_secs(5)).expect("time passes");
    assert!(
        (desk.carriage(EAST) - stood).abs() < 1e-9 && stood < 4.0,
        "{stood}"
    );
    desk.lawful();
}

#[test]
fn out_of_a_switch_the_way_is_a_nudge() {
    let desk = Desk::new();
    desk.attend(|at| {
        at.set_up(false).expect("nothing has halted");
        at.home(&[EAST]).expect("it finds its switch");
        let broken = |fault| Fault::HomeSwitch {
            axis: AxisId(EAST),
            fault,
        };
        assert!(
            desk.sim
                .inject(When::Now, broken(Some(SwitchFault::BrokenWire)))
        );
        at.wait(Duration::from_millis(100))
            .expect("nobody interrupts");
        let seen = at.look().expect("it answers").axes[EAST];
        assert!(seen.home_open && !seen.homed, "{seen:?}");
        assert!(matches!(at.go_to(EAST, 0), Err(TakeError::NotHomed { .. })));
        // Its home switch is at the lower end: only up leads away from it.
        assert!(matches!(
            at.nudge(EAST, -40),
            Err(TakeError::Refused { .. })
        ));
        at.nudge(EAST, mm(3.0)).expect("away from it");
        assert!(desk.sim.inject(When::Now, broken(None)));
    });
    desk.lawful();
}

/// The inputs as a person presses them.
#[test]
fn a_press_is_of_one_switch_and_no_other() {
    let desk = Desk::new();
    let press = |axis: usize, on: bool| {
        let fault = on.then_some(SwitchFault::BrokenWire);
        let axis = AxisId(axis);
        assert!(
            desk.sim
                .inject(When::Now, Fault::HomeSwitch { axis, fault })
        );
        desk.sim
            .pass(Duration::from_millis(100))
            .expect("time passes");
    };
    desk.attend(|at| {
        let mut inputs = || at.look().expect("it answers").inputs();
        let wired = Inputs::wired(&desk.schedule);
        assert_eq!(wired.len(), 5);
        let wanted = wired[0];
        assert_eq!(wanted.name(&desk.schedule), "reeds east's home switch");
        assert!(wired.iter().all(|&input| !inputs().is_open(input)));

        let mut waited = Press::new(wanted, &inputs());
        assert_eq!(waited.see(&inputs()), Pressed::Waiting);
        // Another one, and then both: named, and neither counts.
        press(1, true);
        let other = Input::Home {
            board: 0,
            channel: 1,
        };
        assert_eq!(waited.see(&inputs()), Pressed::Other(other));
        press(0, true);
        assert_eq!(waited.see(&inputs()), Pressed::Other(other));
        press(0, false);
        press(1, false);
        assert_eq!(waited.see(&inputs()), Pressed::Waiting);
        press(0, true);
        assert_eq!(waited.see(&inputs()), Pressed::Open);
        assert_eq!(waited.see(&inputs()), Pressed::Open);
        press(0, false);
        assert_eq!(waited.see(&inputs()), Pressed::Done);

        // The stop is one button for all boards, and no switch's.
        let stop = Input::Stop { board: 0 };
        let (mut home, mut waited) = (Press::new(wanted, &inputs()), Press::new(stop, &inputs()));
        assert!(desk.sim.inject(When::Now, Fault::StopPressed));
        assert_eq!(home.see(&inputs()), Pressed::Other(stop));
        assert_eq!(waited.see(&inputs()), Pressed::Open);
        assert!(desk.sim.inject(When::Now, Fault::StopReleased));
        assert_eq!(waited.see(&inputs()), Pressed::Done);
    });
}
