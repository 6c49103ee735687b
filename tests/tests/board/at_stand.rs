//! The real program's first power-up, and what a person does at the stand after it, on the image: in
//! real time, like `program`, and begun anew where the machine stalls.

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

use panestep::plan::Plan;
use panestep::schedule::{MotorAxis, Schedule};
use panestep::stand::Drive;
use panestep_tests::board::{Board, Line, Options, StandModel, Terminal, When};

use crate::desk::{Desk, Ended, files, program};
use crate::rig::{AWAY, NAME, assert_clean, image, sure};

/// How often it may be begun where the machine stalls.
const TRIES: u32 = 5;

/// Steps that have come out of an axis's pins so far, those up less those down, as its motor is
/// wired.
fn steps(board: &Board, motor: &MotorAxis) -> i64 {
    let counters = board.counters().expect("the board");
    counters.axes[usize::from(motor.channel)].position
}

/// Reads that the stop has halted the board, up to the question whether it may move again.
fn moves_again(desk: &mut Desk<'_>) -> Result<(), Ended> {
    desk.read_up_to("board main has stopped")?;
    desk.read_up_to("may the motors be switched on again?")
}

/// Goes through `power-up` as a person at the stand would.
fn power_up(desk: &mut Desk<'_>, board: &Board, schedule: &Schedule) -> Result<(), Ended> {
    desk.read_up_to("Enter when all that is so:")?;
    desk.type_line("");
    for motor in &schedule.motors {
        desk.read_up_to(&format!("press {}'s home switch", motor.name()))?;
        desk.wait(Duration::from_millis(200));
        sure(board.force(motor.channel, Some(true), When::Now));
        desk.read_up_to("it opens: let it go")?;
        sure(board.force(motor.channel, None, When::Now));
        desk.read_up_to("home switch opens and closes")?;
    }
    desk.read_up_to("press the stop of board main")?;
    sure(board.stop(true, When::Now));
    desk.read_up_to("it opens: let it go")?;
    sure(board.stop(false, When::Now));

    // The stop test: nothing moves once it has been seen, and nothing by letting it out.
    let first = &schedule.motors[0];
    moves_again(desk)?;
    let before = steps(board, first);
    desk.type_line("yes");
    while steps(board, first) == before {
        desk.wait(Duration::from_millis(20));
    }
    desk.wait(Duration::from_millis(200));
    sure(board.stop(true, When::Now));
    desk.wait(Duration::from_millis(1));
    let stopped = steps(board, first);
    assert_ne!(stopped, before, "it was to move when the stop was pressed");
    desk.read_up_to("it has stopped")?;
    for question in ["have you seen", "have the motors lost their power"] {
        desk.read_up_to(question)?;
        desk.read_up_to("yes or no:")?;
        desk.type_line("yes");
    }
    desk.read_up_to("now let the stop out again")?;
    sure(board.stop(false, When::Now));
    desk.read_up_to("Enter when it has been pressed")?;
    desk.type_line("");
    desk.read_up_to("letting it out starts nothing")?;
    assert_eq!(steps(board, first), stopped);

    // The stop's halt is told once more before the first motor moves, and no more after that.
    let mut halted = true;
    for motor in &schedule.motors {
        let millimetre = (1.0 / motor.step_size).round() as i64;
        let mut turned = false;
        loop {
            desk.read_up_to("look at it")?;
            let answer = if std::mem::take(&mut halted) {
                moves_again(desk)?;
                "yes"
            } else {
                desk.read_up_to("Enter: it goes")?;
                ""
            };
            let before = steps(board, motor);
            desk.type_line(answer);
            desk.read_up_to("did it go")?;
            let gone = steps(board, motor) - before;
            assert_eq!(gone.abs(), millimetre, "{}", motor.name());
            if gone > 0 {
                break;
            }
            // The one that the stand file has the wrong way round.
            assert!(!turned && motor.reversed, "{}", motor.name());
            turned = true;
            desk.type_line("no");
        }
        assert_eq!(turned, motor.reversed, "{}", motor.name());
        desk.type_line("yes");
    }
    desk.read_up_to("write them? yes or no:")?;
    desk.type_line("yes");
    desk.read_up_to("panestep home")
}

/// A stand file with the first line that begins so as it was before.
fn put_back(now: &str, before: &str, beginning: &str) -> String {
    let line = |text: &str| {
        let mut lines = text.lines();
        let line = lines.find(|line| line.starts_with(beginning));
        line.expect("such a line").to_owned()
    };
    now.replacen(&line(now), &line(before), 1)
}

/// Runs a command to its end.
fn run(
    words: &[&str],
    program: &Path,
    folder: &Path,
    board: &Board,
    terminal: &mut Terminal,
) -> Result<(), Ended> {
    let mut command = Command::new(program);
    command.args(words).current_dir(folder);
    let mut desk = Desk::new(&mut command, board, terminal);
    // Nothing that it could say: it ends.
    match desk.read_up_to("\0") {
        Err(ended) if ended.status.success() => Ok(()),
        Err(ended) => Err(ended),
        Ok(()) => panic!("it says a NUL"),
    }
}

#[test]
fn a_person_powers_it_up_homes_it_and_moves_it() {
    let program = program();
    let folder = files("board-at-stand");
    let (stand, shot) = panestep::file::read_shot(folder.join("shot.toml")).expect("sound");
    let plan = Plan::new(&stand, &shot).expect("possible");
    let schedule = plan.schedule();
    let path = folder.join("stand.toml");
    // As it is before the first power-up: no stop has been tested, and nobody knows which motor
    // runs the wrong way round.
    let sound = fs::read_to_string(&path).expect("the stand");
    let untried: String = sound
        .lines()
        .filter(|line| !line.starts_with("stop_tested"))
        .map(|line| line.replace("reversed = true", "reversed = false") + "\n")
        .collect();
    assert_ne!(untried, sound);

    for call in 1.. {
        fs::write(&path, &untried).expect("written");
        let board = sure(Board::start(&Options {
            image: image(),
            seed: 31 + call,
            line: Line::Usb,
            stand: StandModel::of(schedule, AWAY),
        }));
        drop(board.port().expect("it comes to its port"));
        let mut terminal = Terminal::open(&board).expect("a pseudo-terminal");
        let port = format!("{NAME}={}", terminal.path().display());
        let mut all = || -> Result<(), Ended> {
            // Nothing is homed before.
            let refused = run(
                &["home", "--port", &port],
                &program,
                &folder,
                &board,
                &mut terminal,
            );
            match refused {
                Err(ended) if ended.status.code() == Some(2) => {
                    assert!(ended.said.contains("power-up"), "{}", ended.said);
                }
                other => panic!("it homes without a stop test: {other:?}"),
            }
            for motor in &schedule.motors {
                assert_eq!(steps(&board, motor), i64::from(motor.switch) + AWAY);
            }
            let mut command = Command::new(&program);
            command
                .args(["power-up", "--port", &port])
                .current_dir(&folder);
            power_up(
                &mut Desk::new(&mut command, &board, &mut terminal),
                &board,
                schedule,
            )?;
            let mut call = |words: &[&str]| {
                let words: Vec<&str> = words.iter().copied().chain(["--port", &port]).collect();
                run(&words, &program, &folder, &board, &mut terminal)
            };
            call(&["home"])?;
            let reeds = &schedule.motors[0];
            let home = steps(&board, reeds);
            call(&["jog", "reeds", "east", "3", "mm"])?;
            assert_eq!(steps(&board, reeds) - home, 1200, "3200 steps for 8 mm");
            call(&["jog", "to", "frame", "5", "--shot", "shot.toml"])?;
            let targets = schedule.motors_at(5).expect("a frame");
            for (motor, &target) in schedule.motors.iter().zip(targets) {
                let at = steps(&board, motor) - i64::from(motor.slack);
                assert_eq!(at, i64::from(target), "{}", motor.name());
            }
            // A dial shows what comes out of the pins, a thousandth more of it.
            let words = [
                "measure",
                "axis",
                "reeds",
                "east",
                "--runs",
                "2",
                "--targets",
                "3",
                "--from",
                "-5 mm",
                "--to",
                "5 mm",
                "--write",
                "--port",
                &port,
            ];
            let mut command = Command::new(&program);
            command.args(words).current_dir(&folder);
            let mut desk = Desk::new(&mut command, &board, &mut terminal);
            for _ in 0..2 * 2 * 3 {
                desk.read_up_to("The reading:")?;
                let at = steps(&board, reeds) as f64 * reeds.step_size;
                desk.type_line(&format!("{:.4}", at * 1.001));
            }
            desk.read_up_to("written into")?;
            Ok(())
        };
        match all() {
            Ok(()) => {
                assert_clean(&board);
                break;
            }
            Err(ended) => {
                let lost = matches!(ended.status.code(), Some(1 | 3)) && terminal.was_late();
                assert!(lost && call < TRIES, "call {call}: {ended:?}");
            }
        }
    }
    // Only what was found out has been written, such as the lead of the reeds' screw.
    let now = fs::read_to_string(&path).expect("the stand");
    let measured = panestep::file::read_stand_text("stand.toml", &now).expect("sound");
    let Drive::Motor(motor) = &measured.axes[0].drive else {
        panic!("the reeds' motor");
    };
    let per_turn = 3200.0 / motor.steps_per_unit;
    assert!((per_turn - 8.008).abs() < 0.0005, "{per_turn} mm a turn");
    let now = put_back(&now, &sound, "motor = ");
    assert_eq!(now.matches("reversed = true").count(), 1);
    let tested = |line: &&str| line.starts_with("stop_tested");
    assert_eq!(now.lines().filter(tested).count(), 1);
    let rest: Vec<&str> = now.lines().filter(|line| !tested(line)).collect();
    let before: Vec<&str> = sound.lines().filter(|line| !tested(line)).collect();
    assert_eq!(rest, before);
}
