//! What a tick of the firmware costs: at rest, exposing, and with one and six axes on their way.
//!
//! A desk computer's nanoseconds say little about a board. Beside them stands how many turns of an
//! empty counting loop would fit into the same time, which is much the same on every machine. The
//! pulses are counted and compared with what the move must give, so that no figure stands for a
//! tick that did nothing.
//!
//! Run with `cargo bench -p panestep-tests --bench tick`.
#![allow(clippy::print_stdout, reason = "a bench prints its figures")]

use std::hint::black_box;
use std::time::{Duration, Instant};

use panestep_firmware::hardware::{CameraPort, LampPort, MarkPort, StepPort, SwitchPort};
use panestep_firmware::{Controller, Setup};
use panestep_protocol::{
    Accumulator, Answer, AxisIndex, AxisMask, AxisSettings, AxisTarget, BootId, Command, FireOrder,
    FromBoard, GuardSettings, HomeOrder, MAX_FRAME, Mark, Reply, Request, RequestId, SessionId,
    ShotId, Steps, Ticks, ToBoard, Token, Toward, encode, schema,
};

/// Ticks a second, as on a board.
const RATE: u32 = 100_000;
const AXES: u8 = 6;
const BOOT: BootId = BootId(1);
/// Ticks of one measurement; the quickest of several counts.
const BATCH: u32 = 100_000;
const BATCHES: u32 = 7;

/// As little as hardware can be. While `tracking`, home switches that trip below zero.
#[derive(Default)]
struct Bare {
    tracking: bool,
    at: [i32; AXES as usize],
    high: AxisMask,
    pulses: u64,
}

impl StepPort for Bare {
    fn directions(&mut self, high: AxisMask) {
        self.high = high;
    }

    fn step(&mut self, axes: AxisMask) {
        self.pulses += u64::from(black_box(axes.0).count_ones());
        if self.tracking {
            for axis in axes.iter() {
                self.at[axis] += if self.high.contains(axis) { 1 } else { -1 };
            }
        }
    }

    fn drivers(&mut self, _on: bool) {}
}

impl SwitchPort for Bare {
    fn home(&mut self) -> AxisMask {
        let mut tripped = AxisMask::NONE;
        if self.tracking {
            for (axis, &at) in self.at.iter().enumerate() {
                if at < 0 {
                    tripped.insert(axis);
                }
            }
        }
        black_box(tripped)
    }

    fn far(&mut self) -> AxisMask {
        black_box(AxisMask::NONE)
    }

    fn stop(&mut self) -> bool {
        black_box(false)
    }
}

impl CameraPort for Bare {
    fn half_press(&mut self, _closed: bool) {}

    fn release(&mut self, _closed: bool) {}

    fn contact(&mut self) -> bool {
        black_box(false)
    }
}

impl LampPort for Bare {
    fn lamps(&mut self, _on: u8) {}
}

impl MarkPort for Bare {
    fn mark(&mut self) -> Option<Mark> {
        None
    }

    fn set_mark(&mut self, _mark: Mark) {}
}

struct Bench {
    board: Controller<Bare>,
    id: u32,
}

impl Bench {
    fn ask(&mut self, command: Command) -> Answer {
        self.id += 1;
        let request = ToBoard::Request(Request {
            boot: BOOT,
            session: SessionId(1),
            id: RequestId(self.id),
            command: command.clone(),
        });
        let mut buffer = [0; MAX_FRAME];
        self.board
            .receive(encode(&request, &mut buffer).expect("room for a message"));
        let count = self.board.transmit(&mut buffer);
        let mut incoming = Accumulator::<FromBoard>::default();
        let read = |&byte: &u8| incoming.push(byte);
        match buffer[..count].iter().find_map(read) {
            Some(Ok(FromBoard::Reply(Reply {
                result: Ok(answer), ..
            }))) => answer,
            other => panic!("{command:?}: {other:?}"),
        }
    }

    /// Six axes, homed, at 0.
    fn homed() -> Self {
        let setup = Setup {
            name: "bench",
            axes: AXES,
            tick_rate: RATE,
            boot: BOOT,
            direction_setup: Ticks(1),
        };
        let hardware = Bare {
            tracking: true,
            ..Bare::default()
        };
        let mut bench = Self {
            board: Controller::new(hardware, &setup),
            id: 0,
        };
        bench.ask(Command::Open { schema: schema() });
        for axis in (0..AXES).map(AxisIndex) {
            bench.ask(Command::Configure(AxisSettings {
                axis,
                speed: RATE,
                acceleration: 10 * RATE,
                jerk: 200 * RATE,
                slow: RATE / 10,
                reversed: false,
                least: Steps(0),
                greatest: Steps(2_000_000),
                home: Toward::Negative,
            }));
        }
        bench.ask(Command::Guard(GuardSettings {
            silence: Ticks(60 * RATE),
            settle: Ticks(0),
        }));
        bench.ask(Command::Drivers { on: true });
        for axis in (0..AXES).map(AxisIndex) {
            bench.ask(Command::Home(HomeOrder {
                axis,
                fast: RATE / 10,
                slow: RATE / 10,
                search: 1000,
                back_off: 1000,
                clear: 10,
                edge: Steps(-1),
            }));
            bench.settle();
        }
        bench.board.hardware_mut().tracking = false;
        bench
    }

    /// Ticks until nothing is going on.
    fn settle(&mut self) {
        use panestep_protocol::Activity;
        while self.board.core().activity() != Activity::Idle {
            self.board.tick();
        }
    }

    /// Sends the first axes off, by so many steps each, and lets them come to full speed.
    fn travel(&mut self, distances: &[i32]) {
        let Answer::Status(status) = self.ask(Command::Status) else {
            panic!("no status");
        };
        let targets = distances.iter().enumerate().map(|(axis, by)| AxisTarget {
            axis: AxisIndex(axis as u8),
            from: status.positions[axis],
            to: Steps(status.positions[axis].0 + by),
        });
        let targets = targets.collect();
        self.ask(Command::Move { targets });
        for _ in 0..BATCH {
            self.board.tick();
        }
    }

    /// Time of one tick, in nanoseconds, and pulses per tick.
    fn measure(&mut self) -> (f64, f64) {
        let before = self.board.hardware().pulses;
        let time = quickest(|| {
            for _ in 0..BATCH {
                self.board.tick();
            }
        });
        let pulses = self.board.hardware().pulses - before;
        let ticks = f64::from(BATCH * BATCHES);
        (nanoseconds(time), pulses as f64 / ticks)
    }
}

fn quickest(mut work: impl FnMut()) -> Duration {
    let mut time = || {
        let start = Instant::now();
        work();
        start.elapsed()
    };
    (0..BATCHES).map(|_| time()).min().unwrap_or_default()
}

fn nanoseconds(batch: Duration) -> f64 {
    batch.as_secs_f64() * 1e9 / f64::from(BATCH)
}

fn main() {
    let empty = nanoseconds(quickest(|| {
        for turn in 0..BATCH {
            black_box(turn);
        }
    }));
    println!("one tick of the firmware, on this machine");
    println!("  an empty loop's turn          {empty:>7.2} ns");
    let print = |what: &str, (time, pulses): (f64, f64), due: f64| {
        assert!(
            (pulses - due).abs() < 1e-3,
            "{what}: {pulses} pulses a tick"
        );
        let turns = time / empty;
        println!("  {what:<29} {time:>7.2} ns  {turns:>6.1} turns  {pulses:.1} pulses");
    };

    let mut bench = Bench::homed();
    print("at rest", bench.measure(), 0.0);
    let shot = ShotId(1);
    let spent = Token::default();
    bench.ask(Command::OpenShot { shot, spent });
    bench.ask(Command::Fire(FireOrder {
        shot,
        token: Token {
            slot: 1,
            attempt: 1,
        },
        half_press: Ticks(0),
        press: Ticks(10 * RATE),
        window: Ticks(10 * RATE),
    }));
    print("exposing", bench.measure(), 0.0);

    for (what, distances) in [
        ("1 axis, a step a tick", &[1_500_000; 1][..]),
        ("6 axes, a step a tick each", &[1_500_000; 6]),
        (
            "6 axes, 1 to 1/10 step a tick",
            &[1_500_000, 1_200_000, 900_000, 600_000, 300_000, 150_000],
        ),
    ] {
        let mut bench = Bench::homed();
        bench.travel(distances);
        // At full speed the longest axis makes a step at every tick, the others their share.
        let due = distances.iter().map(|&by| f64::from(by) / 1.5e6).sum();
        print(what, bench.measure(), due);
    }
}
