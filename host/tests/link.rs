//! The link against a scripted peer: every way in which it can fail to be our board, and replies
//! that are lost, doubled, late or damaged.

use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::io;
use std::rc::Rc;
use std::time::Duration;

use panestep::link::{Clock, Link, LinkError, Port, PortError, SerialPort, session, ticks};
use panestep_protocol::{
    Accumulator, Answer, BootId, Command, FromBoard, Identity, MAGIC, MAX_FRAME, Refusal, Reply,
    SessionId, Ticks, ToBoard, VERSION, encode, schema,
};

#[derive(Clone, Default)]
struct ByHand(Rc<Cell<Duration>>);

impl Clock for ByHand {
    fn now(&self) -> Duration {
        self.0.get()
    }

    fn sleep(&self, time: Duration) -> io::Result<()> {
        self.0.set(self.0.get() + time);
        Ok(())
    }
}

/// What a message does to the peer: bytes to send back, now.
type Script = Box<dyn FnMut(&ToBoard) -> Vec<Vec<u8>>>;

struct Peer {
    clock: ByHand,
    heard: Rc<RefCell<Vec<ToBoard>>>,
    frames: Accumulator<ToBoard>,
    waiting: VecDeque<u8>,
    script: Script,
}

impl Port for Peer {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        for &byte in bytes {
            if let Some(Ok(message)) = self.frames.push(byte) {
                self.waiting
                    .extend((self.script)(&message).into_iter().flatten());
                self.heard.borrow_mut().push(message);
            }
        }
        Ok(())
    }

    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize> {
        if self.waiting.is_empty() {
            self.clock.sleep(time)?;
            return Ok(0);
        }
        let count = buffer.len().min(self.waiting.len());
        for place in &mut buffer[..count] {
            *place = self.waiting.pop_front().unwrap_or_default();
        }
        Ok(count)
    }
}

fn frame(message: &FromBoard) -> Vec<u8> {
    encode(message, &mut [0; MAX_FRAME]).unwrap().to_vec()
}

const BOOT: BootId = BootId(7);

fn identity(nonce: u32) -> Identity {
    Identity {
        magic: MAGIC,
        version: VERSION,
        schema: schema(),
        nonce,
        name: "main".try_into().unwrap(),
        axes: 2,
        tick_rate: 40_000,
        boot: BOOT,
        session: SessionId(4),
        mark: None,
    }
}

fn answer(message: &ToBoard, result: Result<Answer, Refusal>) -> Vec<u8> {
    match message {
        ToBoard::Hello(hello) => frame(&FromBoard::Identity(identity(hello.nonce))),
        ToBoard::Request(request) => frame(&FromBoard::Reply(Reply {
            boot: BOOT,
            session: request.session,
            id: request.id,
            at: Ticks(0),
            result,
        })),
    }
}

type Heard = Rc<RefCell<Vec<ToBoard>>>;

fn connect(script: Script) -> (Result<Link, LinkError>, Heard) {
    let clock = ByHand::default();
    let heard = Heard::default();
    let peer = Peer {
        clock: clock.clone(),
        heard: heard.clone(),
        frames: Accumulator::default(),
        waiting: VecDeque::new(),
        script,
    };
    (Link::connect(Box::new(peer), Rc::new(clock), "main"), heard)
}

/// Connecting fails, says so in words, and nothing but greetings was ever sent.
fn refused(script: Script, words: &[&str]) -> LinkError {
    let (link, heard) = connect(script);
    let error = link.unwrap_err();
    for word in words {
        assert!(error.to_string().contains(word), "{error}");
    }
    assert!(
        heard
            .borrow()
            .iter()
            .all(|message| matches!(message, ToBoard::Hello(_))),
        "something else than a greeting was sent"
    );
    error
}

fn greeting(change: impl Fn(&mut Identity) + 'static) -> Script {
    Box::new(move |message| match message {
        ToBoard::Hello(hello) => {
            let mut identity = identity(hello.nonce);
            change(&mut identity);
            vec![frame(&FromBoard::Identity(identity))]
        }
        ToBoard::Request(_) => Vec::new(),
    })
}

#[test]
fn a_sound_board_gets_the_session_after_its_last() {
    let (link, heard) = connect(Box::new(|message| vec![answer(message, Ok(Answer::Done))]));
    let link = link.unwrap();
    assert_eq!(link.boot(), BOOT);
    let heard = heard.borrow();
    assert!(matches!(heard[0], ToBoard::Hello(_)));
    match &heard[1] {
        ToBoard::Request(request) => {
            assert_eq!(request.session, SessionId(5));
            assert_eq!(request.command, Command::Open { schema: schema() });
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn silence_is_no_answer() {
    let error = refused(Box::new(|_| Vec::new()), &["main", "does not answer"]);
    match error {
        LinkError::NoAnswer { tries, waited, .. } => {
            assert_eq!(tries, session::GREETINGS);
            assert_eq!(waited, session::ANSWER * session::GREETINGS);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn garbage_is_no_board() {
    let error = refused(
        Box::new(|_| vec![b"\r\nlogin: \0ok\0".to_vec()]),
        &["main", "not a Panestep board"],
    );
    assert!(matches!(error, LinkError::NotABoard { .. }), "{error:?}");
}

#[test]
fn another_magic_is_no_board() {
    let error = refused(
        greeting(|identity| identity.magic = *b"ELSE"),
        &["not a Panestep board"],
    );
    assert!(matches!(error, LinkError::NotABoard { .. }), "{error:?}");
}

#[test]
fn another_version_gives_both_numbers_and_the_cure() {
    let theirs = VERSION + 41;
    let error = refused(
        greeting(move |identity| identity.version = theirs),
        &[&theirs.to_string(), &VERSION.to_string(), "firmware"],
    );
    assert!(matches!(error, LinkError::Version { .. }), "{error:?}");
}

#[test]
fn another_schema_is_refused() {
    let error = refused(
        greeting(|identity| identity.schema[0] ^= 1),
        &["another shape"],
    );
    assert!(matches!(error, LinkError::Schema { .. }), "{error:?}");
}

#[test]
fn another_board_is_refused_by_name() {
    let error = refused(
        greeting(|identity| identity.name = "lower".try_into().unwrap()),
        &["main", "lower"],
    );
    assert!(matches!(error, LinkError::OtherBoard { .. }), "{error:?}");
}

#[test]
fn a_stale_greeting_is_not_believed() {
    let error = refused(
        greeting(|identity| identity.nonce ^= 1),
        &["not a Panestep board"],
    );
    assert!(matches!(error, LinkError::NotABoard { .. }), "{error:?}");
}

#[test]
fn lost_doubled_damaged_and_foreign_replies_are_borne() {
    let mut count = 0;
    let (link, heard) = connect(Box::new(move |message| {
        let good = answer(message, Ok(Answer::Done));
        let ToBoard::Request(request) = message else {
            return vec![good];
        };
        count += 1;
        let mut damaged = good.clone();
        damaged[2] ^= 4;
        let foreign = frame(&FromBoard::Reply(Reply {
            boot: BOOT,
            session: SessionId(request.session.0 + 1),
            id: request.id,
            at: Ticks(0),
            result: Err(Refusal::NoShot),
        }));
        match count % 4 {
            0 => vec![good.clone(), good],
            1 => vec![damaged],
            2 => vec![foreign],
            _ => Vec::new(),
        }
    }));
    let mut link = link.unwrap();
    for _ in 0..10 {
        assert_eq!(link.ask(Command::Halt).unwrap(), Answer::Done);
    }
    // Every repeat carried the same bytes, and the numbers rise by one.
    let heard = heard.borrow();
    let requests: Vec<_> = heard
        .iter()
        .filter_map(|message| match message {
            ToBoard::Request(request) => Some(request),
            ToBoard::Hello(_) => None,
        })
        .collect();
    assert!(requests.len() > 30, "{}", requests.len());
    for pair in requests.windows(2) {
        assert!(pair[0] == pair[1] || pair[0].id.0 + 1 == pair[1].id.0);
    }
}

#[test]
fn a_reset_is_noticed_and_confirmed() {
    let now = BootId(8);
    let mut requests = 0;
    let (link, _) = connect(Box::new(move |message| {
        if let ToBoard::Request(_) = message {
            requests += 1;
        }
        if requests < 2 {
            return vec![answer(message, Ok(Answer::Done))];
        }
        vec![match message {
            ToBoard::Hello(hello) => frame(&FromBoard::Identity(Identity {
                boot: now,
                ..identity(hello.nonce)
            })),
            ToBoard::Request(request) => frame(&FromBoard::Reply(Reply {
                boot: now,
                session: request.session,
                id: request.id,
                at: Ticks(0),
                result: Err(Refusal::OtherBoot(now)),
            })),
        }]
    }));
    match link.unwrap().ask(Command::Status).unwrap_err() {
        LinkError::Reset {
            was, now: found, ..
        } => assert_eq!((was, found), (BOOT, now)),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_late_frame_of_an_earlier_start_is_no_reset() {
    let mut sent = false;
    let (link, _) = connect(Box::new(move |message| {
        let good = answer(message, Ok(Answer::Done));
        match message {
            ToBoard::Request(request) if request.id.0 == 2 && !sent => {
                sent = true;
                vec![frame(&FromBoard::Reply(Reply {
                    boot: BootId(6),
                    session: request.session,
                    id: request.id,
                    at: Ticks(0),
                    result: Ok(Answer::Exposure(panestep_protocol::ExposureFact::Never)),
                }))]
            }
            _ => vec![good],
        }
    }));
    assert_eq!(link.unwrap().ask(Command::Halt).unwrap(), Answer::Done);
}

#[test]
fn a_board_that_falls_silent_is_given_up_after_bounded_tries() {
    let (link, heard) = connect(Box::new(|message| match message {
        ToBoard::Request(request) if request.id.0 > 1 => Vec::new(),
        _ => vec![answer(message, Ok(Answer::Done))],
    }));
    let error = link.unwrap().ask(Command::Status).unwrap_err();
    assert!(error.is_lost(), "{error:?}");
    let repeats = heard
        .borrow()
        .iter()
        .filter(|message| matches!(message, ToBoard::Request(request) if request.id.0 == 2))
        .count();
    assert_eq!(repeats, session::TRIES as usize);
}

#[test]
fn refusals_are_sentences() {
    let (link, _) = connect(Box::new(|message| {
        let refuse = matches!(message, ToBoard::Request(request) if request.id.0 > 1);
        let result = if refuse {
            Err(Refusal::OutsideTravel(panestep_protocol::AxisIndex(3)))
        } else {
            Ok(Answer::Done)
        };
        vec![answer(message, result)]
    }));
    let error = link.unwrap().ask(Command::Halt).unwrap_err();
    assert_eq!(
        error.to_string(),
        "board \"main\" refuses: the target of axis 3 lies outside its travel"
    );
}

#[test]
fn times_round_up_to_whole_ticks_and_are_checked() {
    assert_eq!(ticks(Duration::from_nanos(1), 40_000), Some(Ticks(1)));
    assert_eq!(ticks(Duration::from_micros(25), 40_000), Some(Ticks(1)));
    assert_eq!(ticks(Duration::from_micros(26), 40_000), Some(Ticks(2)));
    assert_eq!(ticks(Duration::MAX, 40_000), None);
    assert_eq!(ticks(Duration::from_secs(107_375), 40_000), None);
}

#[test]
fn a_missing_port_is_named_with_those_there_are() {
    let error = SerialPort::open("/dev/no-such-port").unwrap_err();
    assert!(matches!(error, PortError::Missing { .. }), "{error:?}");
    assert!(error.to_string().contains("/dev/no-such-port"), "{error}");
}

#[cfg(unix)]
#[test]
fn a_terminal_carries_bytes_is_held_alone_and_is_lost_with_its_other_end() {
    use serialport::SerialPort as _;
    use std::io::{Read, Write};

    let (mut far, near) = serialport::TTYPort::pair().unwrap();
    let name = near.name().unwrap();
    // Only the far end stays: the program opens the near one by its name.
    drop(near);
    let mut port = SerialPort::open(&name).unwrap();
    let busy = SerialPort::open(&name).unwrap_err();
    assert!(matches!(busy, PortError::Busy { .. }), "{busy:?}");

    let bytes: Vec<u8> = (0..=255).collect();
    port.send(&bytes).unwrap();
    let mut there = vec![0; 256];
    far.read_exact(&mut there).unwrap();
    assert_eq!(there, bytes);
    far.write_all(&bytes).unwrap();
    let mut back = Vec::new();
    while back.len() < 256 {
        let mut buffer = [0; 64];
        let read = port.receive(&mut buffer, Duration::from_secs(5)).unwrap();
        assert!(read > 0);
        back.extend_from_slice(&buffer[..read]);
    }
    assert_eq!(back, bytes);
    assert_eq!(
        port.receive(&mut [0; 8], Duration::from_millis(5)).unwrap(),
        0
    );
    drop(far);
    assert!(
        port.receive(&mut [0; 8], Duration::from_millis(5)).is_err(),
        "a lost port has to be an error, not silence"
    );
}
