//! One take, what goes wrong in it and when: drawn from a seed, or read from JSON.

use serde::{Deserialize, Serialize};

use super::stand::Build;
use super::trouble::Trouble;

/// A take and its faults.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Plan {
    /// Everything that chance decides in the simulation follows from it.
    pub seed: u64,
    /// How many frames.
    pub frames: u32,
    /// What the stand is like.
    pub build: Build,
    /// What goes wrong.
    pub faults: Vec<PlannedFault>,
    /// What is broken on purpose in the take's surroundings, to see that it is found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mutant: Option<Mutant>,
}

/// Something that goes wrong at its moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct PlannedFault {
    /// When.
    pub when: Moment,
    /// What.
    pub what: Trouble,
}

/// When something goes wrong. Numbers count from 1, over the whole take.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Moment {
    /// With whatever happens first from so many milliseconds on.
    Millisecond(u64),
    /// With so many events of the world; steps are not counted.
    Event(u64),
    /// At so many operations of the journal's disk.
    Operation(u64),
    /// Before the n-th intent is appended.
    IntentComes(u32),
    /// When it has been appended and not yet synced.
    IntentAppended(u32),
    /// When it has been synced.
    IntentSynced(u32),
    /// When the order to fire has been sent for the n-th time.
    Fired(u32),
    /// When the release closes for the n-th time.
    Pressed(u32),
    /// When the shutter opens for the n-th time.
    Opened(u32),
    /// When it closes for the n-th time.
    Exposed(u32),
    /// When the board's first answer to the n-th order to fire sets out.
    Answered(u32),
    /// Before the n-th proof of an exposure is appended.
    DoneComes(u32),
    /// When it has been appended and not yet synced.
    DoneAppended(u32),
    /// When it has been synced.
    DoneSynced(u32),
    /// Before the n-th run of the program.
    Run(u32),
}
/// What is broken on purpose in the take's surroundings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Mutant {
    /// A disk that says it has synced, and has not.
    LyingDisk,
    /// Boards that draw the same boot id at every start.
    SameBoot,
    /// A line on which every "fired" that answers a fence reads as "never".
    ForgedFence,
    /// A schedule that takes the exposure for over before it is.
    ShortWindow,
    /// A person who always says that the frame has been exposed.
    YesSayer,
    /// A folder in which a picture comes for every order to fire, and for no exposure.
    InventedPicture,
    /// Lamps that are wired to one another's outputs.
    CrossedLamps,
}

impl Mutant {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::LyingDisk,
        Self::SameBoot,
        Self::ForgedFence,
        Self::ShortWindow,
        Self::YesSayer,
        Self::InventedPicture,
        Self::CrossedLamps,
    ];
}
