//! Whatever arrives: no panic, no pulse that the laws forbid, no exposure beyond its token; and
//! skipping quiet ticks is the same as ticking through them.

mod bench;

use std::collections::BTreeSet;

use bench::{Bench, Fake, Line, SHOT, frame, home, settings};
use panestep_protocol::{
    AxisIndex, AxisTarget, BootId, Command, FireOrder, GuardSettings, NudgeOrder, Request,
    RequestId, SessionId, ShotId, Steps, Ticks, ToBoard, Token, schema,
};
use proptest::prelude::*;

/// Small, seeded, repeatable (G. Marsaglia, "Xorshift RNGs", J. Stat. Software 8(14), 2003).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, bound: u64) -> u64 {
        self.next() % bound
    }

    /// Often something sensible, sometimes an extreme, sometimes anything.
    fn number(&mut self, sensible: i64) -> i64 {
        match self.below(12) {
            0 => i64::from(i32::MIN),
            1 => i64::from(i32::MAX),
            2 => self.next() as i32 as i64,
            3 => 0,
            _ => self.below(2 * sensible.unsigned_abs() + 1) as i64 - sensible,
        }
    }

    fn count(&mut self, sensible: u32) -> u32 {
        match self.below(12) {
            0 => u32::MAX,
            1 => 0,
            2 => self.next() as u32,
            _ => 1 + self.below(u64::from(sensible)) as u32,
        }
    }

    fn steps(&mut self) -> Steps {
        Steps(self.number(2500) as i32)
    }

    fn axis(&mut self) -> AxisIndex {
        AxisIndex(if self.below(20) == 0 {
            self.next() as u8
        } else {
            self.below(3) as u8
        })
    }

    fn token(&mut self) -> Token {
        Token {
            slot: self.below(40) as u32,
            attempt: 1 + self.below(2) as u16,
        }
    }

    fn command(&mut self, bench: &Bench) -> Command {
        let axis = self.axis();
        let here = if self.below(8) == 0 {
            self.steps()
        } else {
            Steps(bench.position(usize::from(axis.0 % 3)))
        };
        match self.below(26) {
            0 => Command::Open { schema: schema() },
            1 => {
                let mut settings = settings(axis.0);
                settings.axis = axis;
                settings.speed = self.count(6000);
                settings.acceleration = self.count(60_000);
                settings.jerk = self.count(900_000);
                settings.slow = self.count(600);
                settings.reversed = self.below(2) == 0;
                (settings.least, settings.greatest) = (self.steps(), self.steps());
                Command::Configure(settings)
            }
            2 => Command::Configure(settings(axis.0)),
            3 => Command::Guard(GuardSettings {
                silence: Ticks(self.count(5000)),
                settle: Ticks(self.count(500)),
            }),
            4..=6 => Command::Drivers {
                on: self.below(8) != 0,
            },
            7 => {
                let mut order = home(axis.0);
                order.fast = self.count(3000);
                order.slow = self.count(500);
                order.search = self.count(5000);
                order.back_off = self.count(900);
                order.clear = self.count(100);
                order.edge = self.steps();
                if self.below(3) == 0 {
                    Command::Check(order)
                } else {
                    Command::Home(order)
                }
            }
            8..=10 => Command::Home(home(axis.0)),
            11..=13 => {
                let target = AxisTarget {
                    axis,
                    from: here,
                    to: self.steps(),
                };
                Command::Move {
                    targets: std::iter::repeat_n(target, self.below(3) as usize).collect(),
                }
            }
            14 | 15 => Command::Nudge(NudgeOrder {
                axis,
                from: here,
                by: self.steps(),
            }),
            16 => Command::Halt,
            17 | 18 => Command::Acknowledge,
            19 => Command::OpenShot {
                shot: if self.below(3) == 0 {
                    ShotId(self.below(12))
                } else {
                    SHOT
                },
                spent: if self.below(2) == 0 {
                    Token::default()
                } else {
                    self.token()
                },
            },
            20 | 21 => Command::Fire(FireOrder {
                shot: SHOT,
                token: self.token(),
                half_press: Ticks(self.count(30)),
                press: Ticks(self.count(100)),
                window: Ticks(self.count(200)),
            }),
            22 => Command::Fence {
                shot: SHOT,
                token: self.token(),
            },
            23 | 24 => Command::Check(home(axis.0)),
            _ => Command::Status,
        }
    }

    fn request(&mut self, bench: &mut Bench) -> Request {
        bench.id += 1;
        let command = self.command(bench);
        let mut request = bench.request(command);
        match self.below(30) {
            0 => request.boot = BootId(self.next()),
            1 => request.session = SessionId(self.next() as u32 & 7),
            2 => request.id = RequestId(self.below(u64::from(bench.id)) as u32),
            _ => {}
        }
        request
    }

    /// Something happens to the stand.
    fn happening(&mut self, fake: &mut Fake) {
        let axis = self.below(3) as usize;
        match self.below(40) {
            0 => fake.stop = true,
            1..=6 => fake.stop = false,
            7 => fake.carriages[axis].home.stuck = Some(self.below(2) == 0),
            8 => fake.carriages[axis].far.stuck = Some(self.below(2) == 0),
            9..=14 => {
                fake.carriages[axis].home.stuck = None;
                fake.carriages[axis].far.stuck = None;
            }
            15 => fake.carriages[axis].home.bounce = self.below(40) as u32,
            16..=20 => fake.contact = !fake.contact,
            _ => {}
        }
    }
}

#[test]
fn two_million_random_bytes_move_nothing() {
    let mut bench = Bench::homed();
    let before = bench.status();
    let pulses = bench.fake().count();
    let mut random = Random(0x5EED_0001);
    for _ in 0..31_250 {
        let bytes: Vec<u8> = (0..8).flat_map(|_| random.next().to_le_bytes()).collect();
        bench.send(&bytes);
        bench.tick(1);
    }
    bench.send(&[0]);
    let mut after = bench.status();
    assert!(
        after.damaged > before.damaged,
        "2 million bytes hold a few thousand frames"
    );
    assert_eq!(bench.fake().count(), pulses);
    (after.damaged, after.still) = (before.damaged, before.still);
    assert_eq!(after, before);
}

/// Whether a command leaves positions, guards and drivers alone.
fn shooting(command: &Command) -> bool {
    use Command::{Acknowledge, Fence, Fire, Halt, Move, OpenShot, Status};
    matches!(
        command,
        Fire(_) | Fence { .. } | OpenShot { .. } | Status | Move { .. } | Halt | Acknowledge
    )
}

/// The fake notes every pulse against the laws (stop, drivers, release line, direction set-up);
/// `Bench::tick` fails at the first one.
#[test]
fn arbitrary_commands_keep_the_laws() {
    let mut pulses = 0;
    let mut releases = 0;
    for seed in 1..=60 {
        let mut random = Random(0x9E37_79B9_7F4A_7C15_u64.wrapping_mul(seed));
        let mut bench = if seed % 2 == 0 {
            Bench::shooting()
        } else {
            Bench::ready()
        };
        let gentle = seed % 4 == 0;
        let mut last = Vec::new();
        for _ in 0..400 {
            let bytes = if random.below(6) == 0 {
                std::mem::take(&mut last)
            } else {
                let mut request = random.request(&mut bench);
                // Every fourth run leaves the stand alone, so that there are exposures.
                while gentle && !shooting(&request.command) {
                    request = random.request(&mut bench);
                }
                frame(&ToBoard::Request(request))
            };
            bench.send(&bytes);
            last = bytes;
            if !gentle {
                random.happening(bench.board.hardware_mut());
            }
            bench.tick(random.below(200) as u32);
            for axis in bench.board.core().status(0).homed.iter() {
                assert!(axis < 3, "seed {seed}");
            }
        }
        // Whatever was asked for, no token has been begun twice, and no line stays closed.
        let fake = bench.fake();
        let marked = fake.lines.iter().filter_map(|line| match line.1 {
            Line::Marked(token) => Some(token),
            _ => None,
        });
        let marked: Vec<Token> = marked.collect();
        let distinct: BTreeSet<Token> = marked.iter().copied().collect();
        assert_eq!(marked.len(), distinct.len(), "seed {seed}: {marked:?}");
        assert!(fake.releases() <= marked.len(), "seed {seed}");
        pulses += fake.count();
        releases += fake.releases();
    }
    assert!(
        pulses > 10_000 && releases > 10,
        "{pulses} pulses, {releases} releases"
    );
}

/// Everything that a host or a camera can see of the board.
fn seen(bench: &Bench) -> impl PartialEq + std::fmt::Debug {
    let fake = bench.board.hardware();
    (
        bench.board.core().status(0),
        bench.board.core().now(),
        fake.lines.clone(),
        fake.pulses.clone(),
        fake.last_pulse.clone(),
        bench.board.quiet(),
    )
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(48) })]

    /// One board ticks, its twin skips wherever it says that it is quiet.
    #[test]
    fn skipping_is_ticking(seed in 1..u64::MAX) {
        let mut random = Random(seed);
        let mut ticking = Bench::shooting();
        let mut skipping = Bench::shooting();
        let mut skipped = 0;
        for _ in 0..60 {
            let bytes = frame(&ToBoard::Request(random.request(&mut ticking)));
            prop_assert_eq!(ticking.send(&bytes), skipping.send(&bytes));
            let mut other = Random(random.0);
            random.happening(ticking.board.hardware_mut());
            other.happening(skipping.board.hardware_mut());
            let mut left = random.below(1500) as u32;
            ticking.tick(left);
            // A changed input is for a tick to see.
            let first = left.min(1);
            skipping.tick(first);
            left -= first;
            while left > 0 {
                // A chattering switch changes from tick to tick: no quiet to be had there.
                let chatters = skipping.board.hardware().chatters();
                let quiet = if chatters { 0 } else { skipping.board.quiet().min(left) };
                if quiet == 0 {
                    skipping.tick(1);
                    left -= 1;
                } else {
                    skipping.fake().now += u64::from(quiet);
                    skipping.board.skip(quiet);
                    skipped += quiet;
                    left -= quiet;
                }
            }
            prop_assert_eq!(seen(&ticking), seen(&skipping));
        }
        prop_assert!(skipped > 0);
    }
}

#[test]
fn the_bench_itself_notices_a_law_broken() {
    use panestep_firmware::hardware::StepPort;
    use panestep_protocol::AxisMask;
    let mut fake = Fake::new();
    fake.drivers = true;
    fake.step(AxisMask(1));
    assert!(fake.broken.is_empty());
    fake.now += 1;
    fake.directions(AxisMask(1));
    fake.now += 1;
    fake.step(AxisMask(1));
    fake.stop = true;
    fake.now += 100;
    fake.step(AxisMask(1));
    assert_eq!(fake.broken.len(), 3, "{:?}", fake.broken);
}
