//! Sessions and request numbers: nothing is carried out twice, whatever the line does.

mod bench;

use bench::{AXES, BOOT, Bench, RATE, fire, frame};
use panestep_protocol::{
    Activity, Answer, AxisIndex, Command, Hello, MAGIC, NudgeOrder, Refusal, RequestId, SessionId,
    Steps, ToBoard, VERSION, schema,
};

#[test]
fn an_introduction_changes_nothing() {
    let mut bench = Bench::new();
    let identity = bench.identity();
    assert_eq!((identity.magic, identity.version), (MAGIC, VERSION));
    assert_eq!((identity.schema, identity.nonce), (schema(), 9));
    assert_eq!(identity.name.as_str(), "bench");
    assert_eq!((identity.axes, identity.tick_rate), (AXES, RATE));
    assert_eq!((identity.boot, identity.session), (BOOT, SessionId(0)));
    assert_eq!(identity.mark, None);
    // Also in the middle of things, and to a host of another version.
    let mut bench = Bench::homed();
    let before = bench.status();
    let stranger = ToBoard::Hello(Hello {
        magic: MAGIC,
        version: VERSION + 1,
        schema: [0; 8],
        nonce: 1,
    });
    assert!(!bench.send(&frame(&stranger)).is_empty());
    assert_eq!(bench.status(), before);
    assert_eq!(bench.identity().session, SessionId(1));
    let other = ToBoard::Hello(Hello {
        magic: *b"BASS",
        version: VERSION,
        schema: schema(),
        nonce: 1,
    });
    assert!(bench.send(&frame(&other)).is_empty(), "not this protocol");
}

#[test]
fn a_session_is_opened_once_and_by_a_greater_number() {
    let mut bench = Bench::new();
    let none = Refusal::OtherSession(SessionId(0));
    assert_eq!(bench.ask(Command::Status), Err(none));
    bench.session = SessionId(0);
    assert_eq!(bench.ask(Command::Status), Err(none));
    assert_eq!(bench.ask(Command::Open { schema: schema() }), Err(none));
    bench.session = SessionId(5);
    assert_eq!(
        bench.ask(Command::Open { schema: [1; 8] }),
        Err(Refusal::OtherSchema)
    );
    assert_eq!(bench.identity().session, SessionId(0));
    bench.open();
    let five = Refusal::OtherSession(SessionId(5));
    assert_eq!(bench.refused(Command::Open { schema: schema() }), five);
    for session in [0, 4, 6] {
        bench.session = SessionId(session);
        assert_eq!(bench.ask(Command::Status), Err(five));
    }
    bench.session = SessionId(4);
    assert_eq!(bench.ask(Command::Open { schema: schema() }), Err(five));
    // A new host begins its numbers anew.
    (bench.session, bench.id) = (SessionId(6), 0);
    bench.open();
    bench.status();
}

#[test]
fn a_repeated_request_is_answered_by_the_same_bytes_and_carried_out_once() {
    let mut bench = Bench::homed();
    let at = bench.position(0);
    let (axis, from, by) = (AxisIndex(0), Steps(at), Steps(60));
    bench.id += 1;
    let request = bench.request(Command::Nudge(NudgeOrder { axis, from, by }));
    let bytes = frame(&ToBoard::Request(request));
    let first = bench.send(&bytes);
    assert!(!first.is_empty());
    for _ in 0..500 {
        bench.tick(3);
        assert_eq!(
            bench.send(&bytes),
            first,
            "the reply was lost: here it is again"
        );
    }
    assert_eq!(bench.position(0), at + 60);
    assert_eq!(bench.carriage(0), i64::from(at) + 60);
    // A refusal as well, though by now it could be done.
    let step = bench.move_to(&[(0, 0)]);
    bench.under(step.clone());
    bench.id += 1;
    let bytes = frame(&ToBoard::Request(bench.request(step)));
    let refused = bench.send(&bytes);
    assert!(!refused.is_empty());
    for _ in 0..9 {
        bench.tick(900);
        assert_eq!(bench.send(&bytes), refused);
    }
    assert_eq!(bench.position(0), 0);
}

#[test]
fn older_requests_are_stale() {
    let mut bench = Bench::shooting();
    bench.id += 1;
    let late = bench.request(Command::Fire(fire(1)));
    let last = RequestId(bench.id + 1);
    bench.status();
    assert_eq!(bench.exchange(&late).result, Err(Refusal::Stale(last)));
    bench.tick(500);
    assert_eq!(bench.fake().releases(), 0);
    assert_eq!(bench.status().activity, Activity::Idle);
}

#[test]
fn duplicated_frames_fire_once() {
    let mut bench = Bench::shooting();
    bench.id += 1;
    let bytes = frame(&ToBoard::Request(bench.request(Command::Fire(fire(1)))));
    let mut three = bytes.clone();
    three.extend(&bytes);
    three.extend(&bytes);
    let replies = bench.send(&three);
    let single = replies.len() / 3;
    assert_eq!(replies[..single], replies[single..2 * single]);
    assert_eq!(replies[..single], replies[2 * single..]);
    for _ in 0..50 {
        bench.tick(10);
        bench.send(&bytes);
    }
    assert_eq!(bench.fake().releases(), 1);
}

#[test]
fn a_host_that_does_not_read_blocks_nothing() {
    let mut bench = Bench::homed();
    let status = frame(&ToBoard::Request(bench.request(Command::Status)));
    for _ in 0..10_000 {
        bench.board.receive(&status);
    }
    bench.tick(10);
    let left = bench.send(&[]);
    assert!(left.len() < 1000, "{}", left.len());
    assert!(!bench.read(&left).is_empty(), "whole frames only");
    assert!(matches!(bench.ask(Command::Status), Ok(Answer::Status(_))));
}

#[test]
fn damaged_frames_are_counted() {
    let mut bench = Bench::homed();
    let before = bench.status().damaged;
    bench.id += 1;
    let mut bytes = frame(&ToBoard::Request(bench.request(Command::Halt)));
    bytes[3] ^= 1;
    assert!(bench.send(&bytes).is_empty());
    let status = bench.status();
    assert_eq!(status.damaged, before + 1);
    assert_eq!(status.halt, None);
}

#[test]
fn lamps_burn() {
    let mut bench = Bench::ready();
    bench.done(Command::Lamps { on: 0b101 });
    assert_eq!(bench.fake().lamps, 0b101);
}
