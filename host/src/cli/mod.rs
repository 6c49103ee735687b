//! The program's words: what was typed, what is said, exit codes. No knowledge of the stand.

mod args;
mod arrange;
mod at_stand;
mod check;
mod edits;
mod export;
mod failure;
mod hands;
mod home;
mod interrupt;
mod job;
mod jog;
mod large;
mod lifts;
mod measure;
mod muster;
mod onlooker;
mod outside;
mod panel;
mod people;
mod plan;
mod power_up;
mod record;
mod rig;
mod screen;
mod sheet;
mod simulate;
mod staged;
mod step;
mod take;
mod typed;
mod view;
mod whereabouts;

use std::process::ExitCode;

use clap::Parser;

use failure::Failure;

/// Runs the program.
pub(crate) fn main() -> ExitCode {
    let typed = args::Typed::parse_from(args::with_numbers(std::env::args_os()));
    let result = match &typed.command {
        args::Command::Check(typed) => check::check(typed),
        args::Command::Plan(typed) => plan::plan(typed),
        args::Command::View(typed) => view::view(typed),
        args::Command::Sheet(typed) => sheet::sheet(typed),
        args::Command::Chart(typed) => sheet::chart(typed),
        args::Command::Export(typed) => export::export(typed),
        args::Command::Shoot(typed) => take::shoot(typed),
        args::Command::Rehearse(typed) => take::rehearse(typed),
        args::Command::Resume(typed) => take::resume(typed),
        args::Command::Record(typed) => record::record(typed),
        args::Command::Where(typed) => whereabouts::whereabouts(typed),
        args::Command::Home(typed) => home::home(typed),
        args::Command::Jog(typed) => jog::jog(typed),
        args::Command::Measure(typed) => measure::measure(typed),
        args::Command::PowerUp(typed) => power_up::power_up(typed),
        args::Command::Simulate(typed) => simulate::simulate(typed),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => failure.report(),
    }
}
