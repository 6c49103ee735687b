//! Draws the hardware notes' drawings anew.

#![allow(clippy::print_stdout)]

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;
use panestep_tests::drawings::DRAWINGS;

/// Draws the hardware notes' drawings anew, and says which labels cannot be read.
#[derive(Parser)]
#[command(version, about)]
struct Arguments {
    /// Where to put them.
    #[arg(long, default_value = "hardware-notes/drawings")]
    folder: PathBuf,
}

fn main() -> ExitCode {
    let folder = Arguments::parse().folder;
    let mut code = ExitCode::SUCCESS;
    for drawing in &DRAWINGS {
        for fault in drawing.faults() {
            eprintln!("drawings: {}: {fault}", drawing.name);
            code = ExitCode::FAILURE;
        }
        let path = folder.join(drawing.name);
        if let Err(error) = std::fs::write(&path, drawing.svg()) {
            eprintln!("drawings: cannot write {}: {error}", path.display());
            return ExitCode::FAILURE;
        }
        println!("{}", path.display());
    }
    code
}
