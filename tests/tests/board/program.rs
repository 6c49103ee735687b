//! The real program over a pseudo-terminal, in real time.
//!
//! Emulated time waits for the program, but the program's own time-outs are real. A machine that
//! stalls, or emulates too slowly, can make it lose its board. Then, and only then, it is called
//! once more, to go on with the take, as a person would do it; what counts is at the pins, where it
//! must come out the same.

use std::process::{Command, ExitStatus, Stdio};

use panestep::plan::Plan;
use panestep_tests::board::{Board, Line, Options, StandModel, Terminal};

use crate::desk::{FRAMES, LIMIT, Running, files, program};
use crate::rig::{AWAY, NAME, assert_clean, image, sure};

/// How often the program may be called where the machine stalls.
const CALLS: u32 = 5;

/// Runs the program to its end.
fn run(command: &mut Command, board: &Board, terminal: &mut Terminal) -> ExitStatus {
    let child = command.stdin(Stdio::null()).spawn();
    let mut running = Running(child.expect("the program starts"));
    let until = board.now() + LIMIT;
    loop {
        if let Some(status) = running.0.try_wait().expect("a child") {
            return status;
        }
        sure(terminal.step());
        assert!(board.now() < until, "it runs and runs: {LIMIT:?}");
    }
}

#[test]
fn the_program_shoots_on_the_image() {
    let program = program();
    let folder = files("board-program");
    let shot_file = folder.join("shot.toml");
    let (stand, shot) = panestep::file::read_shot(&shot_file).expect("sound");
    let plan = Plan::new(&stand, &shot).expect("possible");
    let schedule = plan.schedule();
    let board = sure(Board::start(&Options {
        image: image(),
        seed: 12,
        line: Line::Usb,
        stand: StandModel::of(schedule, AWAY),
    }));
    drop(board.port().expect("it comes to its port"));
    let mut terminal = Terminal::open(&board).expect("a pseudo-terminal");
    let take = folder.join("take");
    let port = format!("{NAME}={}", terminal.path().display());
    for call in 1.. {
        let mut command = Command::new(&program);
        if take.join("journal.jsonl").exists() {
            command.arg("resume").arg(&take);
        } else {
            command
                .arg("shoot")
                .arg(&shot_file)
                .arg("--take")
                .arg(&take);
        }
        let status = run(command.arg("--port").arg(&port), &board, &mut terminal);
        if status.success() {
            break;
        }
        // Its own failure, or the machine's: could not go on, or the silent board has stopped.
        let lost = matches!(status.code(), Some(1 | 3)) && terminal.was_late();
        assert!(lost && call < CALLS, "call {call}: {status}");
    }
    let counters = board.counters().expect("the board");
    assert_eq!(counters.releases.len(), FRAMES);
    assert_eq!(counters.exposures.len(), FRAMES);
    assert_eq!(counters.starts, 1);
    for (frame, exposure) in (1..).zip(&counters.exposures) {
        let targets = schedule.motors_at(frame).expect("a frame");
        for (motor, &target) in schedule.motors.iter().zip(targets) {
            let at = exposure.positions[usize::from(motor.channel)] - i64::from(motor.slack);
            assert_eq!(at, i64::from(target), "frame {frame}: {}", motor.name());
        }
    }
    assert_clean(&board);
}
