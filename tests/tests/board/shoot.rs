//! Takes through the library's own frame loop.

use std::cell::RefCell;
use std::error::Error;
use std::io;
use std::time::Duration;

use panestep::link::Port;
use panestep::take::{Boards, Edit, Outcome, Progress, Span};
use panestep_tests::board::{AxisCounters, Emulated, Line};

use crate::rig::{Bench, demo, short};

/// The demonstration's frames that are shot.
const FRAMES: u32 = 24;

#[test]
fn the_demonstration_comes_out_of_the_pins_step_by_step() {
    let (_, plan) = demo();
    let schedule = plan.schedule().clone();
    let mut bench = Bench::new(schedule, Line::Usb, 1);
    let board = bench.board.clone();
    let counted: RefCell<Vec<Vec<AxisCounters>>> = RefCell::default();
    let rest = Span::new(FRAMES + 1, bench.schedule.frames).expect("frames are left");
    let outcome = bench
        .shoot(&mut bench.boards(), &[Edit::Drop(rest)], |progress| {
            if let Progress::Exposing { .. } = progress {
                let counters = board.counters().expect("the board");
                counted.borrow_mut().push(counters.axes);
            }
        })
        .expect("nothing goes wrong");
    assert_eq!(outcome, Outcome::Finished);
    let counted = counted.into_inner();
    assert_eq!(counted.len(), FRAMES as usize);
    let schedule = &bench.schedule;
    for frame in 2..=FRAMES {
        let from = schedule.motors_at(frame - 1).expect("a frame");
        let to = schedule.motors_at(frame).expect("a frame");
        let (before, now) = (&counted[frame as usize - 2], &counted[frame as usize - 1]);
        for (place, motor) in schedule.motors.iter().enumerate() {
            let axis = usize::from(motor.channel);
            let way = i64::from(to[place]) - i64::from(from[place]);
            let name = motor.name();
            let net = now[axis].net() - before[axis].net();
            assert_eq!(net, way, "frame {frame}: {name}");
            // Down is gone with a detour by the slack, so that it arrives from below.
            let detour = if way < 0 {
                2 * i64::from(motor.take_up)
            } else {
                0
            };
            let all = now[axis].all() - before[axis].all();
            assert_eq!(all as i64, way.abs() + detour, "frame {frame}: {name}");
        }
    }
    // Every axis has moved, or this has shown little.
    for motor in &schedule.motors {
        let axis = usize::from(motor.channel);
        let last = counted[FRAMES as usize - 1][axis].all();
        assert!(last > counted[0][axis].all(), "{}", motor.name());
    }
    bench.assert_exact(FRAMES);
}

#[test]
fn a_take_over_the_uart() {
    let frames = 2;
    let mut bench = Bench::new(short(&[2], frames), Line::Uart, 9);
    let outcome = bench.shoot(&mut bench.boards(), &[], |_| ());
    assert_eq!(outcome.expect("nothing goes wrong"), Outcome::Finished);
    bench.assert_exact(frames);
    assert_eq!(bench.board.findings().expect("the board").overrun, 0);
}

/// A line that flips, loses and adds bytes, both ways.
struct NoisyPort {
    port: Box<dyn Port>,
    state: u64,
    damaged: std::rc::Rc<std::cell::Cell<u32>>,
}

impl NoisyPort {
    /// A number below `below`: a linear congruential generator (Knuth's MMIX constants).
    fn draw(&mut self, below: u64) -> u64 {
        self.state = self
            .state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.state >> 33) % below
    }

    /// One byte in 150 is damaged.
    fn damage(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut damaged = Vec::new();
        for &byte in bytes {
            let kind = self.draw(450);
            if kind < 3 {
                self.damaged.set(self.damaged.get() + 1);
            }
            match kind {
                0 => damaged.push(byte ^ (1 << self.draw(8))),
                1 => {}
                2 => damaged.extend([byte, self.draw(256) as u8]),
                _ => damaged.push(byte),
            }
        }
        damaged
    }
}

impl Port for NoisyPort {
    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        let bytes = self.damage(bytes);
        self.port.send(&bytes)
    }

    fn receive(&mut self, buffer: &mut [u8], time: Duration) -> io::Result<usize> {
        // An added byte must find room.
        let half = buffer.len() / 2;
        let count = self.port.receive(&mut buffer[..half], time)?;
        let bytes = self.damage(&buffer[..count]);
        buffer[..bytes.len()].copy_from_slice(&bytes);
        Ok(bytes.len())
    }
}

struct NoisyBoards {
    boards: Emulated,
    seed: u64,
    damaged: std::rc::Rc<std::cell::Cell<u32>>,
}

impl Boards for NoisyBoards {
    fn open(
        &mut self,
        board: usize,
        name: &str,
    ) -> Result<Box<dyn Port>, Box<dyn Error + Send + Sync>> {
        Ok(Box::new(NoisyPort {
            port: self.boards.open(board, name)?,
            state: self.seed,
            damaged: self.damaged.clone(),
        }))
    }

    fn port_name(&self, _: usize) -> String {
        "noisy".into()
    }
}

#[test]
fn noise_on_the_line_changes_no_step_and_no_exposure() {
    let frames = 3;
    let mut bench = Bench::new(short(&[0, 4], frames), Line::Usb, 10);
    let damaged = std::rc::Rc::new(std::cell::Cell::new(0));
    let mut boards = NoisyBoards {
        boards: bench.boards(),
        seed: 10,
        damaged: damaged.clone(),
    };
    let outcome = bench.shoot(&mut boards, &[], |_| ());
    assert_eq!(
        outcome.expect("every damaged frame is sent again"),
        Outcome::Finished
    );
    assert!(damaged.get() > 20, "{} bytes were damaged", damaged.get());
    bench.assert_exact(frames);
}
