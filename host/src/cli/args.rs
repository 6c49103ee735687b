//! What can be typed. Nothing in here touches the world.

use std::ffi::OsString;
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
    /// Say what can be told of a stand from its file: glass, light, focus, screws, steps, rest, and
    /// what is wrong with it. Opens no port.
    Check(Check),
    /// Work out where every pane must stand for every frame. Opens no port.
    Plan(Plan),
    /// Show what the lens will see: pictures, an animation, a strip, or what two frames do not have
    /// in common. Opens no port.
    View(View),
    /// Write what to print: the exposure sheet and the painter's sheet, as HTML and CSV. Opens no
    /// port.
    Sheet(Sheet),
    /// Draw how everything moves over the frames, and the stand from the side. Opens no port.
    Chart(Chart),
    /// Write a planned shot in open formats: curves as CSV or JSON, the scene as glTF 2.0. Opens no
    /// port.
    Export(Export),
    /// Photograph a shot, frame by frame.
    Shoot(Shoot),
    /// Make every move of a shot without exposing.
    Rehearse(Rehearse),
    /// Go on with a take where it stopped, or change what is in it.
    Resume(Resume),
    /// Show what became of every frame of a take. Opens no port.
    Record(Record),
    /// Show where every axis is, and how every switch and board stands. Moves nothing.
    Where(Where),
    /// Send axes to their home switches, so that their boards know where they are.
    Home(Home),
    /// Move an axis by a distance, to a position, or to where a frame of a shot wants it.
    Jog(Jog),
    /// Measure the stand with a dial indicator, a scale, a square or photographs, and put the
    /// results into its file.
    Measure(super::measure::args::Measure),
    /// First power-up: try every switch, the stop, and which way every motor turns.
    PowerUp(PowerUp),
    /// Offer a simulated stand on serial ports of its own, in real time.
    Simulate(Simulate),
}

#[derive(Debug, Args)]
#[command(
    after_help = "Exit codes: 0 sound; 1 something forbids shooting; 2 the file is wrong. A level that \
                  can fall when the power goes is a loud warning."
)]
pub(crate) struct Check {
    /// The stand file.
    pub(crate) stand: PathBuf,
    /// Show what is fine as well, with its numbers.
    #[arg(long)]
    pub(crate) all: bool,
    /// How to write it; JSON always holds everything.
    #[arg(long, value_enum, default_value_t = super::measure::args::Shape::Table)]
    pub(crate) format: super::measure::args::Shape,
}

#[derive(Debug, Args)]
pub(crate) struct Plan {
    /// The shot file.
    pub(crate) shot: PathBuf,
    /// How to write the targets.
    #[arg(long, value_enum, default_value_t = Format::Table)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(
    after_help = "The exposure sheet has a row for every exposure in the order in which they are made: \
                  what to set by hand, which way and how far, drawings, passes, remarks, a box to \
                  tick. The painter's sheet has for every level the painted scale, the size to paint \
                  and where the picture lies on it. Both print on A4 and on Letter; an exposure \
                  sheet whose columns do not fit side by side has several tables."
)]
pub(crate) struct Sheet {
    /// The shot file.
    pub(crate) shot: PathBuf,
    /// The folder to write into.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) out: PathBuf,
    /// Of the exposure sheet, these frames only, such as 12 or 12-15.
    #[arg(long, value_name = "FRAMES", value_parser = span)]
    pub(crate) frames: Option<Span>,
    /// Have the motors' positions on the exposure sheet too.
    #[arg(long)]
    pub(crate) motors: bool,
    /// How much more than is seen is to be painted on every side.
    #[arg(
        long,
        allow_hyphen_values = true,
        value_name = "LENGTH",
        default_value = "15 mm"
    )]
    pub(crate) margin: String,
    /// Replace what is there already, whoever wrote it.
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Chart {
    /// The shot file.
    pub(crate) shot: PathBuf,
    /// The folder to write into: a drawing for each level, and elevation.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) out: PathBuf,
    /// How to draw.
    #[arg(long, value_enum, default_value_t = ChartFormat::Svg)]
    pub(crate) format: ChartFormat,
    /// Replace what is there already, whoever wrote it.
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ChartFormat {
    /// Lines and words, for print.
    Svg,
    /// Pixels.
    Png,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Curves: for every frame each axis's position, speed and acceleration, a frame and a \
                  second of the shown film, and how far each level travels in the picture from the \
                  picture before. A picture that is held for several frames has one speed, that of \
                  the move by which it is reached.\n\n\
                  Scene: a camera and a textured plane for each painting, moving as planned, in \
                  metres, +y up, +x east, -z north; any viewer of glTF 2.0 plays it. Levels stand at \
                  their apparent heights, with the shift of the glass."
)]
pub(crate) struct Export {
    /// The shot file.
    pub(crate) shot: PathBuf,
    /// Write how every axis and level moves; the file's ending says how, .csv or .json.
    #[arg(long, value_name = "FILE")]
    pub(crate) curves: Option<PathBuf>,
    /// Write the scene: into a folder, or where the name ends in .glb or .gltf, into one file.
    #[arg(long, value_name = "FOLDER|FILE")]
    pub(crate) scene: Option<PathBuf>,
    /// Of the curves, these frames only, such as 12 or 12-15.
    #[arg(long, value_name = "FRAMES", value_parser = span, requires = "curves")]
    pub(crate) frames: Option<Span>,
    /// Replace what is there already, whoever wrote it.
    #[arg(long)]
    pub(crate) replace: bool,
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
#[command(
    after_help = "Levels stand where their motors and scales will really have them, to the step and the \
                  division; --exact shows where the story wants them. A level without art shows a \
                  test field: its name, and millimetres from its zero.\n\n\
                  Several passes are exposed one over another, as on film. Every lamp counts alike: \
                  only a pass's exposure time makes it lighter or darker.\n\n\
                  Examples:\n  \
                  panestep view shot.toml                                 the first frame\n  \
                  panestep view shot.toml --frames 10-40 --out pictures   a file for each frame\n  \
                  panestep view shot.toml --all --width 640 --out shot.gif\n  \
                  panestep view shot.toml --strip 8 --width 320\n  \
                  panestep view shot.toml --difference 12 13 --blur"
)]
pub(crate) struct View {
    /// The shot file.
    pub(crate) shot: PathBuf,
    /// Show these frames, such as 12 or 10-40 [default: the first]. May be given more than once.
    #[arg(long, value_name = "FRAMES", value_parser = span)]
    pub(crate) frames: Vec<Span>,
    /// Show all frames.
    #[arg(long, conflicts_with = "frames")]
    pub(crate) all: bool,
    /// Where to write: a folder for a file for each frame, or a name that ends in .png (one picture),
    /// .gif or .apng (an animation) [default: the folder NAME-view beside the shot file].
    #[arg(long, value_name = "PATH")]
    pub(crate) out: Option<PathBuf>,
    /// Write over what is there, also where it is no view.
    #[arg(long)]
    pub(crate) replace: bool,
    /// Width of the pictures [default: as many pixels as the stand's, in a strip at most 480].
    #[arg(long, value_name = "PIXELS")]
    pub(crate) width: Option<u32>,
    /// Show one pass alone, by its name or number [default: all, one over another].
    #[arg(long, value_name = "PASS")]
    pub(crate) pass: Option<String>,
    /// Show where the story wants every level, before steps and divisions; also where the plan is
    /// refused.
    #[arg(long)]
    pub(crate) exact: bool,
    /// Blur what is out of focus, as a thin lens does at the stand's f-number.
    #[arg(long)]
    pub(crate) blur: bool,
    /// Let the glass take its light: of every level the panes above it, of the ground all of them. Art
    /// that no glass covers is as bright as it is painted.
    #[arg(long)]
    pub(crate) light_loss: bool,
    /// Show a test field on every level, whether it has art or not.
    #[arg(long)]
    pub(crate) test_field: bool,
    /// Show what two frames do not have in common: grey where they are equal, orange where the first has
    /// more of what differs most (red, green or blue), blue where the second has.
    #[arg(
        long, value_names = ["FRAME", "FRAME"], num_args = 2, conflicts_with_all = ["frames", "all", "strip"],
        value_parser = clap::value_parser!(u32).range(1..)
    )]
    pub(crate) difference: Vec<u32>,
    /// Show so many of the frames in one picture, from the first to the last, each with its number
    /// under it.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u32).range(1..=60))]
    pub(crate) strip: Option<u32>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Where the shot has passes, --only takes those frames in all of them. A command of your own \
                  that takes the pictures ([shutter] in the stand file) is told the frame's number where \
                  it has {frame} in its words, the pass's where it has {pass}, and the exposure time in \
                  seconds where it has {exposure}."
)]
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
    /// Expose this pass only, by its name or number; all others are left out. With --only: of those
    /// frames.
    #[arg(long, value_name = "PASS")]
    pub(crate) pass: Option<String>,
    /// Step through it with keys: a frame forward or back, to any frame; expose where you stand.
    #[arg(long)]
    pub(crate) step: bool,
    #[command(flatten)]
    pub(crate) ports: Ports,
    #[command(flatten)]
    pub(crate) simulated: Simulated,
}

#[derive(Debug, Args)]
pub(crate) struct Rehearse {
    /// The shot file.
    pub(crate) shot: PathBuf,
    /// Step through it with keys: a frame forward or back, to any frame.
    #[arg(long)]
    pub(crate) step: bool,
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
    /// Expose these frames once more, such as 12 or 12-15, in all their passes or in --pass. May be
    /// given more than once.
    #[arg(long, value_name = "FRAMES", value_parser = span)]
    pub(crate) again: Vec<Span>,
    /// Make the last exposures once more: so many, or one. Each pass of a frame is an exposure of its
    /// own.
    #[arg(
        long, value_name = "COUNT", num_args = 0..=1, default_missing_value = "1",
        value_parser = clap::value_parser!(u32).range(1..)
    )]
    pub(crate) back: Option<u32>,
    /// Leave these frames out, such as 12 or 12-15, in all their passes or in --pass. May be given
    /// more than once.
    #[arg(long, value_name = "FRAMES", value_parser = span)]
    pub(crate) drop: Vec<Span>,
    /// The last answer about this frame was wrong: it means the other one.
    #[arg(long, value_name = "FRAME", value_parser = clap::value_parser!(u32).range(1..))]
    pub(crate) take_back: Option<u32>,
    /// The pass that --again, --drop and --take-back are about, by its name or number.
    #[arg(long, value_name = "PASS")]
    pub(crate) pass: Option<String>,
    /// Step through it with keys: a frame forward or back, to any frame; expose where you stand.
    #[arg(long)]
    pub(crate) step: bool,
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

/// A stand that somebody is at.
#[derive(Debug, Args)]
pub(crate) struct AtStand {
    /// The stand file [default: stand.toml].
    #[arg(long, value_name = "FILE")]
    pub(crate) stand: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) ports: Ports,
    /// Simulated stand: decides every chance event; the same number gives the same run.
    #[arg(long, value_name = "NUMBER", default_value_t = SEED)]
    pub(crate) seed: u64,
}

#[derive(Debug, Args)]
pub(crate) struct Where {
    /// How to write it.
    #[arg(long, value_enum, default_value_t = Format::Table)]
    pub(crate) format: Format,
    #[command(flatten)]
    pub(crate) at: AtStand,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A lift takes every other lift home with it, in an order in which none runs \
                        into another. Ctrl-C stops everything; an axis that had not come home by \
                        then is not homed."
)]
pub(crate) struct Home {
    /// The level, or camera; all of them where none is named.
    pub(crate) level: Option<String>,
    /// Its axis, such as east or lift; all of the level's where none is named.
    pub(crate) direction: Option<String>,
    #[command(flatten)]
    pub(crate) at: AtStand,
}

#[derive(Debug, Args)]
#[command(
    override_usage = "panestep jog [OPTIONS] LEVEL DIRECTION DISTANCE\n       \
                      panestep jog [OPTIONS] LEVEL DIRECTION to POSITION\n       \
                      panestep jog [OPTIONS] [LEVEL [DIRECTION]] to frame NUMBER --shot SHOT",
    after_help = "Examples:\n  \
                  panestep jog reeds east 2 mm          panestep jog reeds west 2 mm\n  \
                  panestep jog reeds lift 1/16 in       panestep jog reeds down 3 mm\n  \
                  panestep jog sky turn 5 deg           panestep jog reeds east to -12 mm\n  \
                  panestep jog to frame 12 --shot shot.toml\n\n\
                  Directions: east, west, north, south, up (or lift), down, counter-clockwise (or \
                  turn), clockwise; the lens's focus goes far (or focus) and near. Positions are \
                  counted east, north, up, counter-clockwise and to far from the axis's zero.\n\n\
                  An axis that is not homed goes slowly, and only by distances. Nothing leaves its \
                  travel, no level comes nearer to another than the stand's clearance, and none \
                  touches the lens. Where it is not known where a neighbour is, it may be anywhere on \
                  its travel: what could touch it there goes slowly, and only after a yes."
)]
pub(crate) struct Jog {
    /// What is to go where; see the examples.
    #[arg(required = true, value_name = "WORDS")]
    pub(crate) words: Vec<String>,
    /// The shot that the frame is of; its stand is the one that moves.
    #[arg(long, value_name = "SHOT")]
    pub(crate) shot: Option<PathBuf>,
    /// Home first what is not homed and has to be.
    #[arg(long)]
    pub(crate) home: bool,
    /// Go, slowly, without asking where a neighbour might be in the way: somebody has looked.
    #[arg(long)]
    pub(crate) anyway: bool,
    #[command(flatten)]
    pub(crate) at: AtStand,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Nothing is homed, and nothing moves farther than a millimetre or a degree, but \
                        for the stop test. A board that moves nothing needs no stop test, and gets \
                        no date. Take the glass out, and have one hand at the emergency \
                        stop. At the end the stand file's changes are shown, and written after a yes."
)]
pub(crate) struct PowerUp {
    #[command(flatten)]
    pub(crate) at: AtStand,
}

/// The command line, with a true minus sign before numbers: `-12` or `-1/16` is no option.
pub(crate) fn with_numbers(typed: impl Iterator<Item = OsString>) -> Vec<OsString> {
    let mut words: Vec<OsString> = typed.collect();
    if words.get(1).is_some_and(|command| command == "jog") {
        for word in words.iter_mut().skip(2) {
            let number = word.to_str().and_then(|text| text.strip_prefix('-'));
            if let Some(number) = number.filter(|text| {
                text.starts_with(|first: char| first.is_ascii_digit() || first == '.')
            }) {
                *word = format!("\u{2212}{number}").into();
            }
        }
    }
    words
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
#[command(
    after_help = "While it runs, what a hand does on the stand can be typed:\n  \
                  press stop, let go stop                   the stop button\n  \
                  press reeds east, let go reeds east       the home switch of that axis\n  \
                  pull out reeds east, put back reeds east  the wire to that switch\n  \
                  pull out board main, put back board main  the cable to a board\n  \
                  cut power, restore power                  the supply of the motors alone\n  \
                  look                                      where every carriage really is"
)]
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

pub(super) fn span(text: &str) -> Result<Span, String> {
    let number = |text: &str| text.trim().parse::<u32>().ok();
    let (first, last) = text.split_once('-').unwrap_or((text, text));
    number(first)
        .zip(number(last))
        .and_then(|(first, last)| Span::new(first, last))
        .ok_or_else(|| {
            "expected a frame or a span of frames, counted from 1, such as 12 or 12-15".to_owned()
        })
}
