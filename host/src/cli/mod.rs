//! The program's words: what was typed, what is said, exit codes. No knowledge of the stand.

mod args;
mod failure;
mod hands;
mod interrupt;
mod job;
mod large;
mod outside;
mod people;
mod plan;
mod record;
mod rig;
mod screen;
mod simulate;
mod take;

use std::process::ExitCode;

use clap::Parser;

use failure::Failure;

/// Runs the program.
pub(crate) fn main() -> ExitCode {
    let typed = args::Typed::parse();
    let result = match &typed.command {
        args::Command::Plan(typed) => plan::plan(typed),
        args::Command::Shoot(typed) => take::shoot(typed),
        args::Command::Rehearse(typed) => take::rehearse(typed),
        args::Command::Resume(typed) => take::resume(typed),
        args::Command::Record(typed) => record::record(typed),
        args::Command::Simulate(typed) => simulate::simulate(typed),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => failure.report(),
    }
}
