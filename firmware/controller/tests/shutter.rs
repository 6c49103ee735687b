//! Exposures: once for each token, and nothing else.

mod bench;

use bench::{BOOT, Bench, Fake, GUARD, Line, RATE, SHOT, fire, token};
use panestep_protocol::{
    Activity, Answer, AxisMask, Command, ExposureFact, Halt, Mark, Refusal, ShotId, Ticks, Token,
};

fn fence(slot: u32) -> Command {
    Command::Fence {
        shot: SHOT,
        token: token(slot),
    }
}

fn open(spent: Token) -> Command {
    Command::OpenShot { shot: SHOT, spent }
}

const fn fact(fact: ExposureFact) -> Result<Answer, Refusal> {
    Ok(Answer::Exposure(fact))
}

#[test]
fn the_lines_keep_their_times_and_the_mark_comes_first() {
    let mut bench = Bench::shooting();
    let start = bench.fake().now;
    let way = bench.under(Command::Fire(fire(1)));
    assert_eq!(bench.status().activity, Activity::Exposing);
    assert_eq!(
        bench.status().exposure,
        Some((token(1), ExposureFact::Running))
    );
    bench.tick(way - 1);
    assert_eq!(bench.board.core().activity(), Activity::Exposing);
    bench.tick(1);
    assert_eq!(bench.board.core().activity(), Activity::Idle);
    assert_eq!(way, 1 + 20 + 400);
    let expected = [
        (start, Line::Marked(token(1))),
        (start + 1, Line::Half(true)),
        (start + 21, Line::Release(true)),
        (start + 121, Line::Release(false)),
        (start + 121, Line::Half(false)),
    ];
    assert_eq!(bench.fake().lines, expected);
    let outcome = ExposureFact::Fired { contacts: 0 };
    assert_eq!(bench.status().exposure, Some((token(1), outcome)));
    assert_eq!(
        bench.identity().mark,
        Some(Mark {
            shot: SHOT,
            token: token(1)
        })
    );
}

#[test]
fn contacts_are_counted_in_the_window_by_first_edges() {
    // (ticks after the release line closes, closed?), and how many that makes.
    type Script = &'static [(u32, bool)];
    let cases: [(Script, u8, u32); 7] = [
        (&[], 0, 0),
        (&[(30, true), (60, false)], 1, 1),
        // Chatter at the closing and at the opening.
        (
            &[
                (30, true),
                (32, false),
                (33, true),
                (90, false),
                (91, true),
                (92, false),
            ],
            1,
            1,
        ),
        // Two exposures.
        (&[(30, true), (60, false), (200, true), (230, false)], 2, 2),
        // Still closed when the window ends.
        (&[(350, true)], 1, 1),
        // Another exposure late in the first one's own window.
        (
            &[(350, true), (380, false), (740, true), (770, false)],
            2,
            2,
        ),
        // Too late.
        (&[(402, true), (420, false)], 0, 1),
    ];
    for (script, counted, in_all) in cases {
        let mut bench = Bench::shooting();
        bench.under(Command::Fire(fire(1)));
        bench.tick(21);
        for tick in 1..1200 {
            if let Some(&(_, closed)) = script.iter().find(|change| change.0 == tick) {
                bench.fake().contact = closed;
            }
            bench.tick(1);
        }
        let outcome = ExposureFact::Fired { contacts: counted };
        assert_eq!(
            bench.status().exposure,
            Some((token(1), outcome)),
            "{script:?}"
        );
        assert_eq!(bench.status().contacts, in_all);
    }
}

#[test]
fn a_camera_that_opens_late_is_waited_for_as_long_as_one_that_opens_at_once() {
    let mut bench = Bench::shooting();
    bench.under(Command::Fire(fire(1)));
    bench.tick(21);
    bench.tick(349);
    bench.fake().contact = true;
    // The window of 400 ticks ends, and begins anew with the contact.
    bench.tick(400);
    assert_eq!(
        bench.status().exposure,
        Some((token(1), ExposureFact::Running))
    );
    bench.tick(2);
    let fired = ExposureFact::Fired { contacts: 1 };
    assert_eq!(bench.status().exposure, Some((token(1), fired)));
}

#[test]
fn every_reason_not_to_fire() {
    let none = Token::default();
    let mut bench = Bench::ready();
    let command = Command::Fire(fire(1));
    assert_eq!(bench.refused(command.clone()), Refusal::NoShot);
    bench.done(open(none));
    bench.done(Command::Drivers { on: false });
    assert_eq!(bench.refused(command.clone()), Refusal::DriversOff);
    bench.done(Command::Drivers { on: true });
    assert_eq!(
        bench.refused(command.clone()),
        Refusal::NotHomed(AxisMask(0b111))
    );
    let mut other = fire(1);
    other.shot = ShotId(1);
    assert_eq!(bench.refused(Command::Fire(other)), Refusal::NoShot);

    let mut bench = Bench::shooting();
    let step = bench.move_to(&[(0, -900)]);
    bench.under(step);
    assert_eq!(
        bench.refused(command.clone()),
        Refusal::Busy(Activity::Moving)
    );
    bench.rest();
    let Refusal::NotSettled { wait } = bench.refused(command.clone()) else {
        panic!("not settled");
    };
    assert_eq!(wait, GUARD.settle);
    bench.tick(wait.0 - 1);
    let wait = Ticks(1);
    assert_eq!(bench.refused(command.clone()), Refusal::NotSettled { wait });
    bench.done(Command::Halt);
    assert_eq!(bench.refused(command.clone()), Refusal::Halted(Halt::Asked));
    bench.done(Command::Acknowledge);
    bench.tick(1);
    for spoil in [
        |order: &mut panestep_protocol::FireOrder| order.press = Ticks(0),
        |order: &mut panestep_protocol::FireOrder| order.press = Ticks(u32::MAX),
        |order: &mut panestep_protocol::FireOrder| order.half_press = Ticks(u32::MAX),
        |order: &mut panestep_protocol::FireOrder| order.window = Ticks(3600 * RATE + 1),
    ] {
        let mut order = fire(1);
        spoil(&mut order);
        assert_eq!(bench.refused(Command::Fire(order)), Refusal::BadTime);
    }
    for early in [
        Token::default(),
        Token {
            slot: 0,
            attempt: 7,
        },
    ] {
        let mut order = fire(1);
        order.token = early;
        assert!(matches!(
            bench.refused(Command::Fire(order)),
            Refusal::Spent(_)
        ));
    }
    assert_eq!(bench.fake().releases(), 0);
    bench.under(command);
    assert_eq!(
        bench.refused(Command::Fire(fire(2))),
        Refusal::Busy(Activity::Exposing)
    );
    let other = Command::OpenShot {
        shot: ShotId(1),
        spent: none,
    };
    assert_eq!(bench.refused(other), Refusal::Busy(Activity::Exposing));
    let step = bench.move_to(&[(0, -890)]);
    assert_eq!(bench.refused(step), Refusal::Busy(Activity::Exposing));
}

#[test]
fn a_token_is_fired_once() {
    let mut bench = Bench::shooting();
    bench.under(Command::Fire(fire(3)));
    for _ in 0..60 {
        assert_eq!(
            bench.refused(Command::Fire(fire(3))),
            Refusal::Spent(token(3))
        );
        assert_eq!(
            bench.refused(Command::Fire(fire(2))),
            Refusal::Spent(token(3))
        );
        bench.tick(10);
        // The host comes back with an older journal: that lowers nothing.
        bench.done(open(token(1)));
    }
    assert_eq!(bench.fake().releases(), 1);
    assert_eq!(
        bench.ask(fence(3)),
        fact(ExposureFact::Fired { contacts: 0 })
    );
    bench.under(Command::Fire(fire(4)));
    bench.tick(500);
    assert_eq!(bench.fake().releases(), 2);
}

#[test]
fn a_fence_in_every_state() {
    let mut bench = Bench::homed();
    assert_eq!(
        bench.ask(fence(1)),
        fact(ExposureFact::Unknown),
        "no take is open"
    );
    bench.done(open(token(4)));
    assert_eq!(
        bench.ask(fence(4)),
        fact(ExposureFact::Unknown),
        "closed before"
    );
    assert_eq!(bench.ask(fence(5)), fact(ExposureFact::Never));
    assert_eq!(bench.ask(fence(5)), fact(ExposureFact::Never), "for good");
    assert_eq!(
        bench.refused(Command::Fire(fire(5))),
        Refusal::Spent(token(5))
    );
    let again = Token {
        slot: 5,
        attempt: 2,
    };
    let mut order = fire(5);
    order.token = again;
    bench.under(Command::Fire(order));
    let command = Command::Fence {
        shot: SHOT,
        token: again,
    };
    assert_eq!(bench.ask(command.clone()), fact(ExposureFact::Running));
    assert_eq!(
        bench.ask(fence(6)),
        fact(ExposureFact::Never),
        "a later one, meanwhile"
    );
    bench.tick(60);
    assert_eq!(bench.ask(command.clone()), fact(ExposureFact::Running));
    bench.tick(500);
    assert_eq!(
        bench.ask(command),
        fact(ExposureFact::Fired { contacts: 0 })
    );
    assert_eq!(
        bench.ask(fence(5)),
        fact(ExposureFact::Unknown),
        "no longer remembered"
    );
    assert_eq!(bench.ask(fence(6)), fact(ExposureFact::Never));
    let other = Command::Fence {
        shot: ShotId(5),
        token: token(9),
    };
    assert_eq!(bench.ask(other), fact(ExposureFact::Unknown));
    assert_eq!(bench.fake().releases(), 1);
}

#[test]
fn another_take_in_between_is_not_forgotten() {
    let mut bench = Bench::shooting();
    bench.under(Command::Fire(fire(1)));
    bench.tick(500);
    let spent = Token::default();
    bench.done(Command::OpenShot {
        shot: ShotId(5),
        spent,
    });
    assert_eq!(
        bench.status().exposure,
        None,
        "the other take's token is not this one's"
    );
    bench.done(open(spent));
    assert_eq!(
        bench.refused(Command::Fire(fire(1))),
        Refusal::Spent(token(1))
    );
    assert_eq!(
        bench.ask(fence(1)),
        fact(ExposureFact::Fired { contacts: 0 })
    );
    // Too many takes: what is forgotten is not vouched for.
    for shot in 100..108 {
        bench.done(Command::OpenShot {
            shot: ShotId(shot),
            spent,
        });
    }
    bench.done(open(spent));
    assert_eq!(bench.ask(fence(1)), fact(ExposureFact::Unknown));
}

#[test]
fn the_mark_outlasts_a_reset() {
    let mut fake = Fake::new();
    fake.mark = Some(Mark {
        shot: SHOT,
        token: token(7),
    });
    let mut bench = Bench::ready_over(fake);
    bench.done(open(token(6)));
    assert_eq!(
        bench.refused(Command::Fire(fire(7))),
        Refusal::Spent(token(7))
    );
    assert_eq!(bench.ask(fence(7)), fact(ExposureFact::Unknown));
    assert_eq!(bench.ask(fence(8)), fact(ExposureFact::Never));
}

#[test]
fn a_silent_host_changes_nothing_for_the_shutter() {
    let mut bench = Bench::shooting();
    let mut order = fire(1);
    (order.press, order.window) = (Ticks(5000), Ticks(5000));
    bench.under(Command::Fire(order));
    bench.tick(5100);
    let status = bench.status();
    assert_eq!(
        status.exposure,
        Some((token(1), ExposureFact::Fired { contacts: 0 }))
    );
    assert_eq!(status.halt, None);
    let closed = bench
        .fake()
        .lines
        .iter()
        .filter(|line| line.1 == Line::Release(false));
    assert_eq!(closed.count(), 1);
}

#[test]
fn a_stop_before_the_release_calls_it_off_and_after_it_lets_it_end() {
    for ticks in (0..420).step_by(3) {
        let mut bench = Bench::shooting();
        bench.under(Command::Fire(fire(1)));
        bench.tick(ticks);
        bench.fake().stop = true;
        bench.tick(1);
        bench.fake().stop = false;
        bench.tick(600);
        let status = bench.status();
        assert_eq!(status.halt, Some(Halt::Stop));
        assert_eq!(status.activity, Activity::Idle);
        let released = bench.fake().releases();
        let expected = match released {
            0 => ExposureFact::Never,
            _ => ExposureFact::Fired { contacts: 0 },
        };
        assert_eq!(status.exposure, Some((token(1), expected)));
        assert_eq!(released, usize::from(ticks >= 21), "{ticks}");
        let last = |of: fn(bool) -> Line| {
            let lines = bench.board.hardware().lines.iter().rev();
            lines
                .map(|line| line.1)
                .find(|&line| line == of(true) || line == of(false))
        };
        assert_ne!(last(Line::Half), Some(Line::Half(true)), "let go");
        assert_ne!(last(Line::Release), Some(Line::Release(true)), "let go");
        assert_eq!(bench.ask(fence(1)), fact(expected));
        assert_eq!(
            bench.refused(Command::Fire(fire(1))),
            Refusal::Spent(token(1))
        );
    }
}

#[test]
fn a_late_fire_of_another_start_is_refused() {
    let mut bench = Bench::shooting();
    bench.id += 1;
    let mut request = bench.request(Command::Fire(fire(1)));
    request.boot.0 += 1;
    assert_eq!(
        bench.exchange(&request).result,
        Err(Refusal::OtherBoot(BOOT))
    );
    bench.tick(500);
    assert_eq!(bench.fake().releases(), 0);
}
