//! A take: one run of a shot, frame by frame, with everything written down.
//!
//! * [`exposure`]: exactly once, as a pure transition function.
//! * [`journal`], [`disk`], [`folder`], [`mod@fingerprint`]: the take's memory.
//! * [`run`], [`pace`], [`people`]: the frame loop, its time left, whom it asks and tells.
//! * [`error`]: what ends a run.

pub mod disk;
pub mod error;
pub mod exposure;
pub mod fingerprint;
pub mod folder;
pub mod journal;
pub mod pace;
pub mod people;
pub mod run;
mod stage;

pub use disk::{Disk, FileDisk, SimulatedDisk, Unsynced};
pub use error::{Ending, TakeError};
pub use fingerprint::fingerprint;
pub use folder::{Folder, FolderError};
pub use journal::{Entry, Journal, JournalError, TakeState};
pub use people::{HandProblem, HandRequest, Person, Progress, Question, Watch};
pub use run::{Boards, Outcome, Stage, rehearse, shoot};
