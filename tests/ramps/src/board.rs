//! The whole tick of the firmware, and how long the service keeps it waiting.

use panestep_firmware::Setup;
use panestep_firmware::core::Core;
use panestep_firmware::service::{Access, Service};
use panestep_protocol::{
    Accumulator, Activity, Answer, AxisIndex, AxisMask, AxisSettings, AxisTarget, BootId, Command,
    FireOrder, FromBoard, GuardSettings, HomeOrder, MAX_FRAME, NudgeOrder, Refusal, Reply, Request,
    RequestId, SessionId, ShotId, Steps, Ticks, ToBoard, Token, Toward, encode, schema,
};

use crate::chip;
use crate::ports::{Ports, RESTING, tripped};

/// Ticks a second.
const RATE: u32 = 200_000;
const AXES: u8 = 6;
const BOOT: BootId = BootId(1);
const SHOT: ShotId = ShotId(1);
/// Ticks that are measured where nothing changes from one to the next.
const BATCH: u32 = 300;

/// The core, as the service gets at it: in a critical section, whose length counts.
struct Locked {
    core: Core<Ports>,
    measured: bool,
}

impl Access for Locked {
    type Hardware = Ports;

    #[inline(never)]
    fn with<R>(&mut self, work: impl FnOnce(&mut Core<Ports>) -> R) -> R {
        if self.measured {
            chip::measure(|| work(&mut self.core))
        } else {
            work(&mut self.core)
        }
    }
}

struct Board {
    locked: Locked,
    service: Service,
    incoming: Accumulator<FromBoard>,
    id: u32,
}

impl Board {
    fn new() -> Self {
        let setup = Setup {
            name: "measured",
            axes: AXES,
            tick_rate: RATE,
            boot: BOOT,
            direction_setup: Ticks(1),
        };
        chip::set_pins(RESTING);
        Self {
            locked: Locked {
                core: Core::new(Ports::default(), &setup),
                measured: false,
            },
            service: Service::new(&setup),
            incoming: Accumulator::default(),
            id: 0,
        }
    }

    fn tick(&mut self) {
        self.locked.core.tick();
        self.service.work(&mut self.locked);
    }

    #[inline(never)]
    fn measured_tick(&mut self) {
        chip::measure(|| self.locked.core.tick());
        self.service.work(&mut self.locked);
    }

    fn ask(&mut self, command: Command) -> Result<Answer, Refusal> {
        self.id += 1;
        let request = ToBoard::Request(Request {
            boot: BOOT,
            session: SessionId(1),
            id: RequestId(self.id),
            command,
        });
        let mut buffer = [0; MAX_FRAME];
        let Ok(frame) = encode(&request, &mut buffer) else {
            chip::fail(line!())
        };
        self.service.receive(&mut self.locked, frame);
        let count = self.service.transmit(&mut buffer);
        for &byte in buffer.iter().take(count) {
            if let Some(Ok(FromBoard::Reply(Reply { result, .. }))) = self.incoming.push(byte) {
                return result;
            }
        }
        chip::fail(line!())
    }

    fn must(&mut self, command: Command) {
        if self.ask(command).is_err() {
            chip::fail(line!());
        }
    }

    /// Whether the motors or the shutter are at it.
    fn busy(&self) -> bool {
        self.locked.core.activity() != Activity::Idle
    }

    /// Six axes that have been set up, with the drivers on.
    fn ready() -> Self {
        let mut board = Self::new();
        board.tick();
        board.must(Command::Open { schema: schema() });
        for axis in (0..AXES).map(AxisIndex) {
            board.must(Command::Configure(AxisSettings {
                axis,
                speed: RATE,
                acceleration: 40 * RATE,
                jerk: 20_000 * RATE,
                slow: RATE / 10,
                reversed: false,
                least: Steps(-10_000_000),
                greatest: Steps(10_000_000),
                home: Toward::Negative,
            }));
        }
        board.must(Command::Guard(GuardSettings {
            silence: Ticks(60 * RATE),
            settle: Ticks(0),
        }));
        board.must(Command::Drivers { on: true });
        board
    }

    /// Homes one axis: its switch is tripped below zero.
    fn home(&mut self, axis: u8, order: HomeOrder, mut tick: impl FnMut(&mut Self)) {
        self.must(Command::Home(order));
        let mut at = 300_i32;
        while self.busy() {
            let mut home = AxisMask::NONE;
            if at < 0 {
                home.insert(usize::from(axis));
            }
            chip::set_pins(tripped(home));
            let ports = self.locked.core.hardware_mut();
            ports.stepped = AxisMask::NONE;
            tick(self);
            let ports = self.locked.core.hardware();
            if ports.stepped.contains(usize::from(axis)) {
                at += if ports.high.contains(usize::from(axis)) {
                    1
                } else {
                    -1
                };
            }
        }
        chip::set_pins(RESTING);
    }

    /// On until nothing is going on.
    fn settle(&mut self) {
        while self.busy() {
            self.tick();
        }
    }

    /// Where the first axes would go, by so many steps each.
    fn targets(&mut self, distances: &[i32]) -> Command {
        let Ok(Answer::Status(status)) = self.ask(Command::Status) else {
            chip::fail(line!())
        };
        let places = status.positions.iter().zip(distances).enumerate();
        let targets = places.map(|(axis, (&from, by))| AxisTarget {
            axis: AxisIndex(axis as u8),
            from,
            to: Steps(from.0 + by),
        });
        Command::Move {
            targets: targets.collect(),
        }
    }

    fn travel(&mut self, distances: &[i32]) {
        let command = self.targets(distances);
        self.must(command);
    }

    fn batch(&mut self, name: &'static str) {
        chip::case("tick", name);
        for _ in 0..BATCH {
            self.measured_tick();
        }
    }
}

fn order(axis: u8) -> HomeOrder {
    HomeOrder {
        axis: AxisIndex(axis),
        fast: RATE / 10,
        slow: RATE / 20,
        search: 1000,
        back_off: 300,
        clear: 10,
        edge: Steps(-1),
    }
}

fn fire(slot: u32, press: u32) -> Command {
    Command::Fire(FireOrder {
        shot: SHOT,
        token: Token { slot, attempt: 1 },
        half_press: Ticks(3),
        press: Ticks(press),
        window: Ticks(press),
    })
}

/// Distances of moves in which every axis steps at every tick of the cruise, and in which each has
/// another speed.
const EVEN: [i32; 6] = [20_000, -20_000, 20_000, 20_000, -20_000, 20_000];
const MIXED: [i32; 6] = [20_000, -16_000, 12_000, 8_000, -4_000, 2_000];

/// Ticks until the longest axis steps at every tick.
const RAMP: u32 = 8_000;

/// All of it.
pub(crate) fn board() {
    let mut board = Board::ready();
    chip::case("tick", "a whole homing");
    board.home(0, order(0), Board::measured_tick);
    for axis in 1..AXES {
        board.home(axis, order(axis), Board::tick);
    }
    let Ok(Answer::Status(status)) = board.ask(Command::Status) else {
        chip::fail(line!())
    };
    if status.homed != AxisMask::first(AXES.into()) {
        chip::fail(line!());
    }
    board.batch("at rest");
    chip::due(0);

    board.must(Command::OpenShot {
        shot: SHOT,
        spent: Token::default(),
    });
    board.must(fire(1, 1000));
    for _ in 0..10 {
        board.tick();
    }
    board.batch("exposing");
    chip::due(0);

    board.settle();

    chip::case("tick", "a whole exposure");
    board.must(fire(2, 100));
    while board.busy() {
        board.measured_tick();
    }
    chip::due(0);

    for (name, distances, each) in [
        ("1 axis, a step a tick", &EVEN[..1], BATCH),
        ("6 axes, a step a tick each", &EVEN[..], 6 * BATCH),
    ] {
        board.travel(distances);
        for _ in 0..RAMP {
            board.tick();
        }
        board.batch(name);
        chip::due(each);
        board.settle();
    }
    for (name, distances) in [
        ("1 axis, rest to rest", &EVEN[..1]),
        ("6 axes alike, rest to rest", &EVEN[..]),
        ("6 axes, 1 to 1/10 step a tick", &MIXED[..]),
    ] {
        board.travel(distances);
        chip::case("tick", name);
        while board.busy() {
            board.measured_tick();
        }
        chip::due(distances.iter().map(|by| by.unsigned_abs()).sum());
    }

    board.travel(&EVEN);
    for _ in 0..RAMP {
        board.tick();
    }
    board.must(Command::Halt);
    chip::case("tick", "6 axes, a controlled stop");
    while board.busy() {
        board.measured_tick();
    }
    board.must(Command::Acknowledge);
    asking(board);
}

/// What can be asked: how long no tick can come in.
fn asking(mut board: Board) {
    let there = board.targets(&EVEN);
    let settings = AxisSettings {
        axis: AxisIndex(5),
        speed: RATE,
        acceleration: 40 * RATE,
        jerk: 20_000 * RATE,
        slow: RATE / 10,
        reversed: false,
        least: Steps(-10_000_000),
        greatest: Steps(10_000_000),
        home: Toward::Negative,
    };
    let nudge = |board: &mut Board, by| {
        let Ok(Answer::Status(status)) = board.ask(Command::Status) else {
            chip::fail(line!())
        };
        Command::Nudge(NudgeOrder {
            axis: AxisIndex(5),
            from: status.positions[5],
            by: Steps(by),
        })
    };
    let a_nudge = nudge(&mut board, 5);
    board.asked("at rest, move", there.clone(), true);
    for _ in 0..RAMP {
        board.tick();
    }
    let shot = SHOT;
    let spent = Token::default();
    let token = Token {
        slot: 1,
        attempt: 1,
    };
    board.asked("in a move, status", Command::Status, true);
    board.asked("in a move, configure", Command::Configure(settings), false);
    let guards = GuardSettings {
        silence: Ticks(60 * RATE),
        settle: Ticks(0),
    };
    board.asked("in a move, guard", Command::Guard(guards), false);
    board.asked("in a move, drivers", Command::Drivers { on: false }, false);
    board.asked("in a move, home", Command::Home(order(5)), false);
    board.asked("in a move, check", Command::Check(order(5)), false);
    board.asked("in a move, move", there, false);
    board.asked("in a move, nudge", a_nudge, false);
    board.asked("in a move, acknowledge", Command::Acknowledge, true);
    board.asked(
        "in a move, open shot",
        Command::OpenShot { shot, spent },
        true,
    );
    board.asked("in a move, fire", fire(3, 100), false);
    board.asked("in a move, fence", Command::Fence { shot, token }, true);
    board.asked("in a move, lamps", Command::Lamps { on: 1 }, true);
    board.asked("in a move, halt", Command::Halt, true);
    board.settle();
    board.asked("at rest, status", Command::Status, true);
    board.asked("at rest, acknowledge", Command::Acknowledge, true);
    board.asked("at rest, configure", Command::Configure(settings), true);
    let by = nudge(&mut board, 5);
    board.asked("at rest, nudge", by, true);
    board.settle();
    board.asked("at rest, fire", fire(3, 100), true);
    board.settle();
    board.asked("at rest, home", Command::Home(order(5)), true);
    board.must(Command::Halt);
    board.settle();
    // More takes than the board remembers.
    for other in 2..12 {
        board.asked(
            "at rest, open another shot",
            Command::OpenShot {
                shot: ShotId(other),
                spent,
            },
            true,
        );
    }
    board.asked(
        "at rest, open an older shot",
        Command::OpenShot {
            shot: ShotId(5),
            spent,
        },
        true,
    );
}

impl Board {
    fn asked(&mut self, name: &'static str, command: Command, granted: bool) {
        chip::case("asked", name);
        self.locked.measured = true;
        let answer = self.ask(command);
        self.locked.measured = false;
        if answer.is_ok() != granted {
            chip::fail(line!());
        }
        // As on a board, where ticks go on.
        for _ in 0..3 {
            self.tick();
        }
    }
}
