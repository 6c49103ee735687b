//! Home switches found.

use panestep_tests::board::Line;

use crate::rig::{ACCELERATION, JERK, SPEED, Session, demo};

/// Steps that a carriage needs to come to a stop from the speed at which a switch is looked for: the
/// mean of that speed and none, for the times of the two boxes of a ramp that reaches its highest
/// acceleration.
fn braking() -> f64 {
    let [speed, acceleration, jerk] = [SPEED / 2, ACCELERATION, JERK].map(f64::from);
    assert!(acceleration * acceleration / jerk <= speed);
    speed / 2.0 * (speed / acceleration + acceleration / jerk)
}

/// All six, one of them reversed, with switches that bounce and have hysteresis.
#[test]
fn all_six_axes_find_their_home_switches() {
    let (_, plan) = demo();
    let schedule = plan.schedule();
    let mut session = Session::open(schedule, Line::Usb, 1);
    let mut stand = panestep_tests::board::StandModel::of(schedule, 300);
    for axis in &mut stand.axes {
        // Open, closed, open, closed, and then it stays, within half a millisecond.
        axis.bounce = vec![120_000, 90_000, 130_000, 100_000];
    }
    session.board.set(&stand).expect("the board");
    for motor in &schedule.motors {
        session.home(motor.channel);
    }
    let status = session.rest();
    let counters = session.counters();
    for motor in &schedule.motors {
        let axis = usize::from(motor.channel);
        let place = counters.axes[axis].position - i64::from(motor.switch);
        // Where the switch tripped on the slow approach counts as zero.
        assert_eq!(
            i64::from(status.positions[axis].0),
            place,
            "{}",
            motor.name()
        );
        assert!(place > 0, "{}", motor.name());
        assert!(!counters.axes[axis].tripped, "{}", motor.name());
        // Beyond the switch it goes no farther than it needs to brake, and what it covers while the
        // switch bounces (0.44 ms).
        let beyond = counters.axes[axis].beyond;
        assert!(
            beyond > 0 && beyond as f64 <= braking() + 2.0,
            "{beyond} steps"
        );
    }
    session.assert_clean();
}
