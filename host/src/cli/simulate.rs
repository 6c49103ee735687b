//! `panestep simulate`: a stand that is not there, for any program that can open a serial port.

use panestep::sim::{Fault, Options, SimulatedStand, SwitchFault, When, pty::Terminals};
use panestep::stand::{AxisId, BoardId, Drive, Stand, Way};
use panestep::units::InUnit;

use super::screen::say;
use super::typed::Typing;
use super::{Failure, args, interrupt, plan, rig};

/// Offers the stand until somebody stops it.
pub(crate) fn simulate(typed: &args::Simulate) -> Result<(), Failure> {
    let stand = panestep::file::read_stand(&typed.stand)
        .map_err(|problems| plan::file_failure(&problems))?;
    if stand.boards.is_empty() {
        return Err(Failure::wrong(format!(
            "{} has no board, so that there is nothing to simulate",
            stand.name
        ))
        .hint("a stand that is moved by hand needs no port: panestep shoot SHOT"));
    }
    let simulated = SimulatedStand::new(
        &stand,
        &Options {
            seed: typed.seed,
            ..Options::default()
        },
    );
    if let (Some(shot), Some(pictures)) = (&typed.shot, &typed.pictures) {
        let (of, shot) = plan::read(shot)?;
        if of != stand {
            return Err(
                Failure::wrong("the shot is for another stand than the one simulated")
                    .hint("name the stand file that the shot names"),
            );
        }
        std::fs::create_dir_all(pictures)
            .map_err(|error| Failure::could_not(format!("{}: {error}", pictures.display())))?;
        let scene = rig::scene(&stand, &shot)?;
        let folder = pictures.clone();
        // Nobody says here which frame is exposed, or what has been laid.
        let shutter = rig::shutter(
            &stand,
            scene,
            || (1, 0),
            move || rig::picture_of_camera(&folder),
        );
        rig::wire(&simulated, &shutter);
    }
    let mut terminals = Terminals::open(&simulated)
        .map_err(|error| Failure::could_not(format!("no pseudo-terminal: {error}")))?;
    for (board, path) in stand.boards.iter().zip(terminals.paths()) {
        say(&format!("board {} is at {}", board.name, path.display()));
    }
    let ports: Vec<String> = stand
        .boards
        .iter()
        .zip(terminals.paths())
        .map(|(board, path)| format!("--port {}={}", board.name, path.display()))
        .collect();
    say(&format!(
        "use it from another terminal: panestep shoot SHOT {}",
        ports.join(" ")
    ));
    say(
        "type here what a hand does on it: press stop, let go stop, press LEVEL DIRECTION, look, help; \
         Ctrl-C ends it",
    );
    let stop = interrupt::flag()?;
    let typing = Typing::new(&stop);
    terminals
        .run_with(&stop, 1.0, |simulated| {
            if let Some(line) = typing.line_by_now().filter(|line| !line.is_empty()) {
                for line in hand(&stand, simulated, &line) {
                    say(&line);
                }
            }
        })
        .map_err(|error| Failure::could_not(format!("the simulated stand broke off: {error}")))?;
    Ok(())
}

/// What can be typed while it runs.
const HANDS: [&str; 6] = [
    "press stop, let go stop: the stop button",
    "press LEVEL DIRECTION, let go LEVEL DIRECTION: that axis's home switch",
    "pull out LEVEL DIRECTION, put back LEVEL DIRECTION: the wire to that switch",
    "pull out board NAME, put back board NAME: the cable to a board",
    "cut power, restore power: the supply of the motors alone",
    "look: where every carriage really is",
];

/// Does what a hand does on the stand; what to say about it.
fn hand(stand: &Stand, simulated: &SimulatedStand, line: &str) -> Vec<String> {
    let words: Vec<&str> = line.split_whitespace().collect();
    let fault = match words[..] {
        ["look"] => return look(stand, simulated),
        ["help"] => return HANDS.map(str::to_owned).to_vec(),
        ["press", "stop"] => Some(Fault::StopPressed),
        ["let", "go", "stop"] => Some(Fault::StopReleased),
        ["cut", "power"] => Some(Fault::MotorPower { on: false }),
        ["restore", "power"] => Some(Fault::MotorPower { on: true }),
        ["pull", "out", "board", ref name @ ..] => {
            board(stand, name).map(|board| Fault::CableOut { board })
        }
        ["put", "back", "board", ref name @ ..] => {
            board(stand, name).map(|board| Fault::CableIn { board })
        }
        ["press", ref axis @ ..] | ["pull", "out", ref axis @ ..] => {
            switch(stand, axis, Some(SwitchFault::BrokenWire))
        }
        ["let", "go", ref axis @ ..] | ["put", "back", ref axis @ ..] => switch(stand, axis, None),
        _ => None,
    };
    if fault.is_some_and(|fault| simulated.inject(When::Now, fault)) {
        return vec![format!("done: {line}")];
    }
    let mut lines = vec![format!("{line:?} cannot be done; what can be typed:")];
    lines.extend(HANDS.map(|hand| format!("  {hand}")));
    lines
}

fn board(stand: &Stand, name: &[&str]) -> Option<BoardId> {
    let name = name.join(" ");
    let mut boards = stand.boards.iter();
    boards.position(|board| board.name == name).map(BoardId)
}

/// A hand on a home switch, or off it. A broken wire is to the board what a pressed switch is.
fn switch(stand: &Stand, axis: &[&str], fault: Option<SwitchFault>) -> Option<Fault> {
    let (direction, level) = axis.split_last()?;
    let (way, _) = Way::of_word(direction)?;
    let level = level.join(" ");
    let axis = stand.axes.iter().position(|axis| {
        axis.way == way
            && stand.carrier_name(axis.of) == level
            && matches!(axis.drive, Drive::Motor(_))
    })?;
    Some(Fault::HomeSwitch {
        axis: AxisId(axis),
        fault,
    })
}

fn look(stand: &Stand, simulated: &SimulatedStand) -> Vec<String> {
    let axes = stand.axes.iter().enumerate();
    axes.map(|(place, axis)| {
        let at = simulated.position(AxisId(place)).unwrap_or_default();
        format!(
            "{} {} is really at {}",
            stand.carrier_name(axis.of),
            axis.way.name(),
            InUnit(at, axis.way.unit())
        )
    })
    .collect()
}
