//! The real program over a pseudo-terminal, in real time.
//!
//! Emulated time waits for the program, but the program's own time-outs are real. A machine that
//! stalls, or emulates too slowly, can make it lose its board. Then, and only then, it is called
//! once more, to go on with the take, as a person would do it; what counts is at the pins, where it
//! must come out the same.

use std::fs;
use std::io::BufRead;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::Duration;

use panestep::plan::Plan;
use panestep_tests::board::{Board, Line, Options, StandModel, Terminal};

use crate::rig::{AWAY, NAME, assert_clean, demo_folder, image, sure};

const FRAMES: usize = 24;

/// Longest that the program may run, in emulated time; it takes less than a minute.
const LIMIT: Duration = Duration::from_secs(240);

/// How often the program may be called where the machine stalls.
const CALLS: u32 = 5;

/// A program that does not outlive its test.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

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

/// The program: named by `PANESTEP_PROGRAM`, or built here.
fn program() -> PathBuf {
    if let Some(program) = std::env::var_os("PANESTEP_PROGRAM") {
        return program.into();
    }
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["build", "--package", "panestep", "--bin", "panestep"])
        .arg("--message-format=json-render-diagnostics")
        .arg("--manifest-path")
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.toml"))
        .stderr(Stdio::inherit())
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "cargo: {}", output.status);
    output
        .stdout
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(&line.ok()?).ok())
        .filter_map(|message| message["executable"].as_str().map(PathBuf::from))
        .last()
        .expect("cargo says where it is")
}

/// The demonstration, with ways of a few millimetres, in fewer frames: real time is long.
fn files() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("board-program");
    // What an earlier run left.
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder for the test");
    let read =
        |name: &str| fs::read_to_string(demo_folder().join(name)).expect("the demonstration");
    let stand: String = read("stand.toml")
        .replace("name = \"main\"", &format!("name = \"{NAME}\""))
        .replace("board = \"main\"", &format!("board = \"{NAME}\""))
        .replace(
            "port = \"simulated\"",
            "port = \"simulated\"\nstop_tested = \"2026-03-01\"",
        )
        .replace("60 mm/s2", "300 mm/s2")
        .replace("150 mm/s3", "3000 mm/s3")
        .lines()
        .map(|line| {
            let short = match line.split(" =").next() {
                Some("travel") => "travel = [\"-8 mm\", \"8 mm\"]",
                Some("home") => "home = { switch = \"-10 mm\", within = \"0.02 mm\" }",
                Some("settle") => "settle = \"50 ms\"",
                Some("ready") => "ready = \"50 ms\"",
                _ => line,
            };
            format!("{short}\n")
        })
        .collect();
    let shot: String = read("shot.toml")
        .replace("frames = 120", &format!("frames = {FRAMES}"))
        .replace(
            "frame = 120, east = \"0.8 m\", ahead = \"0.9 m\", fairing = 24",
            &format!("frame = {FRAMES}, east = \"4 mm\", ahead = \"5 mm\""),
        )
        .replace(", fairing = 24", "");
    fs::write(folder.join("stand.toml"), stand).expect("the stand is written");
    fs::write(folder.join("shot.toml"), shot).expect("the shot is written");
    std::os::unix::fs::symlink(
        demo_folder().canonicalize().expect("there").join("art"),
        folder.join("art"),
    )
    .expect("the art is at hand");
    folder
}

#[test]
fn the_program_shoots_on_the_image() {
    let program = program();
    let folder = files();
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
