//! What can be typed. Nothing in here touches the world.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use panestep::take::Span;

/// The seed where none is given.
pub(crate) const SEED: u64 = 1;

/// Plans, drives, verifies and records shots on a home-built multi-level animation stand.
#[derive(Debug, Parser)]
#[command(
    name = "panestep",
    version,
    after_help = "Exit codes: 0 done; 1 it could not; 2 the command line or a file is wrong; \
                  3 stopped by a guard or by a person, resumable.\n\
                  Data goes to standard output, talk to standard error."
)]
pub(crate) struct Typed {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Work out where every pane must stand for every frame. Opens no port.
    Plan(Plan),
    /// Photograph a shot, frame by frame.
    Shoot(Shoot),
    /// Make every move of a shot without exposing.
    Rehearse(Rehearse),
    /// Go on with a take where it stopped, or change what is in it.
    Resume(Resume),
    /// Show what became of every frame of a take. Opens no port.
    Record(Record),
    /// Offer a simulated stand on serial ports of its own, in real time.
    Simulate(Simulate),
}

#[derive(Debug, Args)]
pub(crate) struct Plan {
    /// The shot file.
    pub(crate) shot: PathBuf,
    /// How to write the targets.
    #[arg(long, value_enum, default_value_t = Format::Table)]
    pub(crate) format: Format,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For reading.
    Table,
    /// One document, with the frames one to a line.
    Json,
    /// Plain lines for a spreadsheet.
    Csv,
}

#[derive(Debug, Args)]
pub(crate) struct Shoot {
    /// The shot file.
    pub(crate) shot: PathBuf,
    /// The folder to make for the take [default: takes/NAME-NUMBER beside the shot file].
    #[arg(long, value_name = "FOLDER")]
    pub(crate) take: Option<PathBuf>,
    /// Expose these frames only, such as 12 or 12-15; all others are left out. May be given more
    /// than once.
    #[arg(long, value_name = "FRAMES", value_parser = span)]
    pub(crate) only: Vec<Span>,
    #[command(flatten)]
    pub(crate) ports: Ports,
    #[command(flatten)]
    pub(crate) simulated: Simulated,
}

#[derive(Debug, Args)]
pub(crate) struct Rehearse {
    /// The shot file.
    pub(crate) shot: PathBuf,
    #[command(flatten)]
    pub(crate) ports: Ports,
    #[command(flatten)]
    pub(crate) simulated: Simulated,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Changes are made in the order again, back, drop, take-back, whatever order they \
                  are typed in. Each is written into the journal; what there was stays in the \
                  history."
)]
pub(crate) struct Resume {
    /// The take's folder.
    pub(crate) take: PathBuf,
    /// Expose these frames once more, such as 12 or 12-15. May be given more than once.
    #[arg(long, value_name = "FRAMES", value_parser = span)]
    pub(crate) again: Vec<Span>,
    /// Expose the frames that were exposed last once more: so many, or one.
    #[arg(
        long, value_name = "COUNT", num_args = 0..=1, default_missing_value = "1",
        value_parser = clap::value_parser!(u32).range(1..)
    )]
    pub(crate) back: Option<u32>,
    /// Leave these frames out, such as 12 or 12-15. May be given more than once.
    #[arg(long, value_name = "FRAMES", value_parser = span)]
    pub(crate) drop: Vec<Span>,
    /// The last answer about this frame was wrong: it means the other one.
    #[arg(long, value_name = "FRAME", value_parser = clap::value_parser!(u32).range(1..))]
    pub(crate) take_back: Option<u32>,
    #[command(flatten)]
    pub(crate) ports: Ports,
    #[command(flatten)]
    pub(crate) simulated: Simulated,
}

#[derive(Debug, Args)]
pub(crate) struct Record {
    /// The take's folder.
    pub(crate) take: PathBuf,
    /// How to write it.
    #[arg(long, value_enum, default_value_t = Format::Table)]
    pub(crate) format: Format,
}

/// Where the boards are.
#[derive(Debug, Args)]
pub(crate) struct Ports {
    /// Reach a board at this port instead of the stand file's, such as main=/dev/ttyACM0.
    #[arg(long = "port", value_name = "BOARD=PORT", value_parser = board_and_port)]
    pub(crate) ports: Vec<(String, String)>,
}

/// What a simulated stand does.
#[derive(Debug, Args)]
pub(crate) struct Simulated {
    /// Simulated stand: decides every chance event; the same number gives the same run.
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    pub(crate) seed: u64,
    /// Simulated stand: its camera takes no pictures.
    #[arg(long)]
    pub(crate) without_pictures: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Simulate {
    /// The stand file.
    pub(crate) stand: PathBuf,
    /// Photograph this shot's art into --pictures whenever the camera is fired.
    #[arg(long, value_name = "SHOT", requires = "pictures")]
    pub(crate) shot: Option<PathBuf>,
    /// The folder for the simulated camera's pictures.
    #[arg(long, value_name = "FOLDER", requires = "shot")]
    pub(crate) pictures: Option<PathBuf>,
    /// Decides every chance event.
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    pub(crate) seed: u64,
}

fn board_and_port(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((board, port)) if !board.is_empty() && !port.is_empty() => {
            Ok((board.to_owned(), port.to_owned()))
        }
        _ => Err("expected a board's name, '=' and a port, such as main=/dev/ttyACM0".to_owned()),
    }
}

fn span(text: &str) -> Result<Span, String> {
    let number = |text: &str| text.trim().parse::<u32>().ok();
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    number(first)
        .zip(number(last))
        .and_then(|(first, last)| Span::new(first, last))
        .ok_or_else(|| {
            "expected a frame or a span of frames, counted from 1, such as 12 or 12-15".to_owned()
        })
}
