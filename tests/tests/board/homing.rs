//! Home switches found.

use panestep_tests::board::Line;

use crate::rig::{Session, demo};

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
    }
    session.assert_clean();
}
