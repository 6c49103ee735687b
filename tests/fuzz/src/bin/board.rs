//! A whole board that is told arbitrary things, in frames sound and unsound, with ticks and
//! mishaps in between. The bench's hardware notes every pulse against the laws (stop, drivers,
//! release line, direction set-up), and `Bench::tick` fails at the first one; here are the laws
//! that go over more than one tick.
#![no_main]

#[path = "../../../../firmware/controller/tests/bench/mod.rs"]
mod bench;

use std::collections::BTreeSet;

use bench::{AXES, Bench, GUARD, Line, RATE, fire, frame as framed, home, settings};
use libfuzzer_sys::fuzz_target;
use panestep_fuzz::{Pieces, frame, plant};
use panestep_protocol::{
    Activity, AxisIndex, Command, HomeOrder, MAX_FRAME, MAX_MESSAGE, NudgeOrder, ShotId, Steps,
    ToBoard, Token, schema,
};

/// Ticks that one input may take in all.
const LONGEST: u32 = 2500;

/// What one input's first byte of a piece says to do with it.
const BYTES: u8 = 0;
const FRAME: u8 = 1;
const REQUEST: u8 = 2;
const TICKS: u8 = 3;
const SKIP: u8 = 4;
const HAPPENING: u8 = 5;
const REPEAT: u8 = 6;
const KINDS: u8 = 7;

/// A bench, the ticks that it has left, and each axis's pulses so far and its last one.
struct Watched {
    bench: Bench,
    left: u32,
    steps: [(u64, Option<u64>); AXES as usize],
}

fuzz_target!(
    init: plant(&seeds(), &BTreeSet::new()),
    |data: &[u8]| {
        let mut pieces = Pieces(data);
        let bench = match pieces.byte() % 4 {
            0 => Bench::new(),
            1 => Bench::ready(),
            _ => shooting(),
        };
        let steps = [(0, None); AXES as usize];
        let mut watched = Watched { bench, left: LONGEST, steps };
        let mut last = Vec::new();
        while !pieces.is_empty() && watched.left > 0 {
            match pieces.byte() % KINDS {
                BYTES => {
                    let count = usize::from(pieces.byte());
                    watched.bench.send(pieces.bytes(count));
                    last.clear();
                }
                FRAME => {
                    let count = usize::from(pieces.byte());
                    watched.bench.send(&frame(pieces.bytes(count)));
                    last.clear();
                }
                REQUEST => {
                    // A command, in the numbered request that a host would make of it.
                    let Ok((command, rest)) = postcard::take_from_bytes::<Command>(pieces.0) else {
                        continue;
                    };
                    pieces.0 = rest;
                    // Whatever came before is over with a zero.
                    watched.bench.send(&[0]);
                    watched.bench.id += 1;
                    last = framed(&ToBoard::Request(watched.bench.request(command)));
                    let answer = watched.bench.send(&last);
                    assert!(!watched.bench.read(&answer).is_empty());
                }
                // A repeated request is answered again and not carried out again.
                REPEAT => {
                    let before = seen(&watched.bench);
                    watched.bench.send(&last);
                    assert_eq!(seen(&watched.bench), before);
                }
                TICKS => watched.tick(u32::from(pieces.byte()) + 1),
                SKIP => watched.skip(u32::from(pieces.byte()) * 16),
                _ => happening(&mut watched.bench, pieces.byte()),
            }
        }
        watched.exposures();
    }
);

/// As `Bench::shooting`, but sooner: every input begins with it.
fn shooting() -> Bench {
    let mut bench = Bench::ready();
    for axis in 0..AXES {
        // Close to its switch, so that it is homed in no time.
        bench.fake().carriages[usize::from(axis)].at = -990;
        bench.done(Command::Home(HomeOrder {
            clear: 5,
            ..home(axis)
        }));
        bench.rest();
    }
    bench.tick(GUARD.settle.0 + 1);
    bench.done(Command::OpenShot {
        shot: bench::SHOT,
        spent: Token::default(),
    });
    bench
}

/// What a command changes; the clock and the host's silence apart.
fn seen(bench: &Bench) -> (panestep_protocol::Status, usize) {
    (
        bench.board.core().status(0),
        bench.board.hardware().lines.len(),
    )
}

fn happening(bench: &mut Bench, what: u8) {
    let fake = bench.fake();
    let carriage = &mut fake.carriages[usize::from(what >> 4) % usize::from(AXES)];
    match what & 0x0F {
        0 => fake.stop = true,
        1 => fake.stop = false,
        2 => carriage.home.stuck = Some(true),
        3 => carriage.home.stuck = Some(false),
        4 => carriage.far.stuck = Some(true),
        5 => carriage.far.stuck = Some(false),
        6 => {
            carriage.home.stuck = None;
            carriage.far.stuck = None;
        }
        7 => carriage.home.bounce = 12,
        8 => carriage.miswired = !carriage.miswired,
        _ => fake.contact = !fake.contact,
    }
}

impl Watched {
    fn tick(&mut self, ticks: u32) {
        for _ in 0..ticks.min(self.left) {
            let before = self.bench.board.core().status(0);
            self.bench.tick(1);
            self.check(&before);
        }
        self.left -= ticks.min(self.left);
    }

    /// Skips where the board says that it is quiet, as a simulation does.
    fn skip(&mut self, ticks: u32) {
        let quiet = self.bench.board.quiet().min(ticks);
        let fake = self.bench.fake();
        if quiet == 0 || fake.chatters() {
            return self.tick(1);
        }
        fake.now += u64::from(quiet);
        let pulses = fake.count();
        self.bench.board.skip(quiet);
        assert_eq!(self.bench.fake().count(), pulses, "a pulse while quiet");
    }

    fn check(&mut self, before: &panestep_protocol::Status) {
        let (core, fake) = (self.bench.board.core(), self.bench.board.hardware());
        for axis in 0..usize::from(AXES) {
            let (count, last) = &mut self.steps[axis];
            if fake.pulses[axis] == *count {
                continue;
            }
            // Two pulses of an axis that has no home are no closer together than its slow speed
            // allows, unless it is looking for its home or braking from that.
            let number = AxisIndex(axis as u8);
            let settings = core.settings(number).expect("it moves, so it is set up");
            let free = before.homed.contains(axis)
                || matches!(before.activity, Activity::Homing(_) | Activity::Stopping);
            // A nudge may begin as soon as the last has ended.
            if before.activity == Activity::Idle {
                *last = None;
            }
            if let Some(last) = *last
                && !free
                && before.activity == Activity::Moving
            {
                let apart = (fake.now - last) * u64::from(settings.slow);
                assert!(
                    apart + u64::from(settings.slow) > u64::from(RATE),
                    "axis {axis}, not homed: {} ticks apart at {} steps a second",
                    fake.now - last,
                    settings.slow
                );
            }
            *count = fake.pulses[axis];
            *last = Some(fake.now);
        }
    }

    /// No token is begun twice, and nothing is exposed without a mark.
    fn exposures(&self) {
        let fake = self.bench.board.hardware();
        let marks = fake.lines.iter().filter_map(|line| match line.1 {
            Line::Marked(token) => Some(token),
            _ => None,
        });
        let marks: Vec<Token> = marks.collect();
        let distinct: BTreeSet<Token> = marks.iter().copied().collect();
        assert_eq!(marks.len(), distinct.len(), "{marks:?}");
        assert!(fake.releases() <= marks.len());
    }
}

fn seeds() -> Vec<Vec<u8>> {
    let command = |command: Command| {
        let mut buffer = [0; MAX_MESSAGE];
        let written = postcard::to_slice(&command, &mut buffer).expect("it fits");
        [&[REQUEST], &*written].concat()
    };
    let ticks = |count: u8| vec![TICKS, count];
    let nudge = |by| {
        command(Command::Nudge(NudgeOrder {
            axis: AxisIndex(0),
            from: Steps(0),
            by: Steps(by),
        }))
    };
    let at = |axis| Steps(shooting().position(axis));
    let travel = |to| {
        let target = |axis: u8| panestep_protocol::AxisTarget {
            axis: AxisIndex(axis),
            from: at(usize::from(axis)),
            to: Steps(to),
        };
        command(Command::Move {
            targets: (0..AXES).map(target).collect(),
        })
    };
    let open = command(Command::Open { schema: schema() });
    let drivers = command(Command::Drivers { on: true });
    let take = command(Command::OpenShot {
        shot: ShotId(9),
        spent: Token {
            slot: 1,
            attempt: 1,
        },
    });
    let fence = command(Command::Fence {
        shot: bench::SHOT,
        token: bench::token(1),
    });
    let start = [
        vec![0],
        open,
        command(Command::Configure(settings(0))),
        command(Command::Guard(GUARD)),
        drivers,
    ];
    vec![
        [start.concat(), nudge(40), ticks(255), ticks(255)].concat(),
        [
            start.concat(),
            command(Command::Home(home(0))),
            ticks(255),
            ticks(200),
        ]
        .concat(),
        [
            vec![1],
            nudge(-30),
            ticks(100),
            command(Command::Halt),
            ticks(99),
        ]
        .concat(),
        [
            vec![2],
            command(Command::Fire(fire(1))),
            ticks(99),
            vec![HAPPENING, 9],
            ticks(255),
        ]
        .concat(),
        [
            vec![2],
            travel(-850),
            ticks(200),
            vec![HAPPENING, 0],
            ticks(50),
            vec![HAPPENING, 1],
        ]
        .concat(),
        [
            vec![2],
            travel(-800),
            ticks(255),
            vec![REPEAT, SKIP, 99],
            ticks(255),
        ]
        .concat(),
        [
            vec![2],
            command(Command::Fire(fire(1))),
            vec![SKIP, 80],
            fence,
            take,
        ]
        .concat(),
        [
            vec![1, FRAME, 5, 1, 2, 3, 4, 5],
            vec![BYTES, 3, 7, 7, 0],
            vec![MAX_FRAME as u8],
        ]
        .concat(),
        [
            vec![2],
            command(Command::Acknowledge),
            command(Command::Lamps { on: 3 }),
        ]
        .concat(),
        [vec![2], command(Command::Status), vec![REPEAT, REPEAT]].concat(),
    ]
}
