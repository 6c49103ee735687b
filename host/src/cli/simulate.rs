//! `panestep simulate`: a stand that is not there, for any program that can open a serial port.

use panestep::sim::{Options, SimulatedStand, pty::Terminals};

use super::screen::say;
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
        let shutter = rig::shutter(&stand, scene, move || rig::picture_of_camera(&folder));
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
    say("Ctrl-C ends it");
    let stop = interrupt::flag()?;
    terminals
        .run(&stop, 1.0)
        .map_err(|error| Failure::could_not(format!("the simulated stand broke off: {error}")))?;
    Ok(())
}
