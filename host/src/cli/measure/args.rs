//! What can be typed behind `panestep measure`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use crate::cli::args::AtStand;

#[derive(Debug, Args)]
#[command(
    after_help = "Readings are typed when asked for, or come from a table: --readings FILE, or - for \
                  the standard input. A table's first line names its columns; a quantity has its \
                  unit in the column's head (`reading mm`) or with every value. What is to change in \
                  the stand file is shown, and written with --write, or after a yes on a terminal; \
                  everything else in the file stays as it is."
)]
pub(crate) struct Measure {
    /// What to measure.
    #[command(subcommand)]
    pub(crate) what: What,
}

#[derive(Debug, Subcommand)]
pub(crate) enum What {
    /// How far an axis really goes and how much slack it has, with all figures of ISO 230-2.
    Axis(Axis),
    /// How closely an axis finds its home switch again.
    Home(Home),
    /// How square an axis travels, with a dial indicator along a square.
    Square(Square),
    /// Focal length, entrance pupil and levels' distances, from how large known lengths appear.
    Lens(Lens),
    /// How quickly a level comes to rest, from how its swing dies away.
    Decay(Decay),
}

/// How to write the results.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Shape {
    /// For reading.
    Table,
    /// One document.
    Json,
}

#[derive(Debug, Args)]
pub(crate) struct Common {
    /// Readings that have been taken already; - reads them from the standard input.
    #[arg(long, value_name = "FILE")]
    pub(crate) readings: Option<PathBuf>,
    /// Readings that lie away from the others stay in.
    #[arg(long)]
    pub(crate) keep_outliers: bool,
    /// How to write the results.
    #[arg(long, value_enum, default_value_t = Shape::Table)]
    pub(crate) format: Shape,
    /// Write the changes into the stand file without asking.
    #[arg(long)]
    pub(crate) write: bool,
    #[command(flatten)]
    pub(crate) at: AtStand,
}

/// A series for which an axis is sent to places.
#[derive(Debug, Args)]
pub(crate) struct Guided {
    /// Keep the readings in this file as they are typed; it must not be there yet.
    #[arg(long, value_name = "FILE", conflicts_with = "readings")]
    pub(crate) save: Option<PathBuf>,
    /// So many targets [default: five for each metre, and at least five].
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(2..=200))]
    pub(crate) targets: Option<u16>,
    /// The first target, such as "-4 mm"; without it the whole travel is used.
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true)]
    pub(crate) from: Option<String>,
    /// The last target.
    #[arg(long, value_name = "POSITION", allow_hyphen_values = true)]
    pub(crate) to: Option<String>,
    /// The unit of readings that are typed without one [default: mm or deg].
    #[arg(long, value_name = "UNIT")]
    pub(crate) unit: Option<String>,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A table of readings has the columns `target` (where the axis was sent), `going` \
                  (which way it arrived: east, west, forward, backward ...), `reading`, and, if you \
                  like, `run`, and `per_turn` (what the stand file had then, so that no table is \
                  written twice). For example:\n\n    \
                  run,going,target mm,reading mm,per_turn mm\n    \
                  1,east,-10,0.02,8\n    1,east,0,10.05,8\n    1,west,0,10.11,8\n\nSet up a dial indicator or a scale along the travel; a reading counts \
                  from wherever its own zero is."
)]
pub(crate) struct Axis {
    /// The level, or camera.
    pub(crate) level: String,
    /// The axis, such as east or lift.
    pub(crate) direction: String,
    /// So many runs each way.
    #[arg(long, value_name = "COUNT", default_value_t = 5,
          value_parser = clap::value_parser!(u16).range(1..=100))]
    pub(crate) runs: u16,
    /// Draw deviations against targets, as SVG; the file must not be there yet.
    #[arg(long, value_name = "FILE")]
    pub(crate) plot: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) guided: Guided,
    /// Simulated stand: what a turn of this axis's motor really moves, whatever the file says.
    #[arg(long, value_name = "LENGTH")]
    pub(crate) true_per_turn: Option<String>,
    /// Simulated stand: the slack that this axis really has.
    #[arg(long, value_name = "LENGTH")]
    pub(crate) true_backlash: Option<String>,
    #[command(flatten)]
    pub(crate) common: Common,
}

#[derive(Debug, Args)]
#[command(
    after_help = "The board looks for the switch so many times and compares it with its count. A \
                  table of readings has the column `found`: where it was found each time."
)]
pub(crate) struct Home {
    /// The level, or camera.
    pub(crate) level: String,
    /// The axis, such as east or lift.
    pub(crate) direction: String,
    /// So many findings.
    #[arg(long, value_name = "COUNT", default_value_t = 10,
          value_parser = clap::value_parser!(u16).range(3..=1000))]
    pub(crate) times: u16,
    /// Keep the findings in this file as they are made; it must not be there yet.
    #[arg(long, value_name = "FILE", conflicts_with = "readings")]
    pub(crate) save: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) common: Common,
}

#[derive(Debug, Args)]
#[command(
    after_help = "Fix the dial indicator to the level, its tip on a square or straight-edge that lies \
                  the way the level should go. A table of readings has the columns `position` and \
                  `reading`."
)]
pub(crate) struct Square {
    /// The level, or camera.
    pub(crate) level: String,
    /// The axis, such as east or lift.
    pub(crate) direction: String,
    /// The direction in which the level has to move, across its travel, for the reading to grow.
    #[arg(long, value_name = "DIRECTION")]
    pub(crate) grows: String,
    #[command(flatten)]
    pub(crate) guided: Guided,
    #[command(flatten)]
    pub(crate) common: Common,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A table of readings has the columns `level`, `lift` (the level's own; 0 where it is \
                  missing), `camera` (the camera's lift, likewise), and either `width` (how much of a \
                  ruler on the level the whole picture shows from east to west) or `length` and \
                  `pixels` (how many a known length fills, of the columns that the stand file gives \
                  the picture).\n\n\
                  With the focus left alone, the readings tell the image distance and the distances; \
                  the focal length follows only from the focused level's own distance, so that it has \
                  to be read too. One level at least has to be read at two lifts, as far apart as can \
                  be. Heights above the bed are told from those levels whose heights are known: by \
                  --known, or else of the first level in the table."
)]
pub(crate) struct Lens {
    /// The lens was focused on this level [default: the stand file's focus].
    #[arg(long, value_name = "LEVEL", conflicts_with = "refocused")]
    pub(crate) focused: Option<String>,
    /// The focused level's lift while it was focused on, such as "-5 mm".
    #[arg(
        long,
        value_name = "LENGTH",
        allow_hyphen_values = true,
        conflicts_with = "refocused"
    )]
    pub(crate) focused_lift: Option<String>,
    /// The lens was focused anew for every reading, on what was read.
    #[arg(long)]
    pub(crate) refocused: bool,
    /// This level's height in the stand file is true. May be given more than once.
    #[arg(long, value_name = "LEVEL")]
    pub(crate) known: Vec<String>,
    #[command(flatten)]
    pub(crate) common: Common,
}

#[derive(Debug, Args)]
#[command(
    after_help = "A table of readings has the columns `time` and `amplitude`: the swing's turning \
                  points one after another, from rest, those to the other side negative, or those of \
                  one side alone; or `time` and `reading`: a whole trace, from before the push until \
                  it hangs still, with at least ten readings for each swing. Let the swing come from \
                  an ordinary stop at full speed, not from a tap: what has to die away is what \
                  the stand's own moves leave."
)]
pub(crate) struct Decay {
    /// The swing that no longer matters, from rest to one side.
    #[arg(long, value_name = "LENGTH", default_value = "0.01 mm")]
    pub(crate) below: String,
    #[command(flatten)]
    pub(crate) common: Common,
}
