//! A take: one run of a shot, frame by frame, with everything written down.
//!
//! * [`exposure`]: exactly once, as a pure transition function.
//! * [`journal`], [`state`], [`mod@frame`], [`span`], [`disk`], [`folder`], [`mod@fingerprint`]: the take's memory.
//! * [`album`]: the pictures that arrive.
//! * [`run`], [`step`], [`pace`], [`people`], [`hands`]: the frame loop, its time left, whom it asks and tells.
//! * [`attended`]: the same boards under a person\'s hands, without a take.
//! * [`error`]: what ends a run.

pub mod album;
pub mod attended;
pub mod disk;
mod entry;
pub mod error;
pub mod exposure;
pub mod fingerprint;
pub mod folder;
pub mod frame;
pub mod hands;
pub mod journal;
pub mod pace;
pub mod people;
pub mod run;
pub mod span;
mod stage;
pub mod state;
pub mod step;

pub use album::{Album, Look};
pub use attended::{Attended, AxisSeen, BoardSeen, Seen};
pub use disk::{Disk, FileDisk, SimulatedDisk, Unsynced};
pub use error::{Ending, TakeError};
pub use fingerprint::fingerprint;
pub use folder::{Files, Folder, FolderError};
pub use hands::{HandProblem, HandRequest};
pub use journal::{Entry, Journal, JournalError, Picture};
pub use people::{Arrangement, Passage, Person, Progress, Question, ReleaseOrder, Trigger, Watch};
pub use run::{Boards, Edit, Outcome, Stage, rehearse, shoot};
pub use span::Span;
pub use state::{Check, Drift, FrameState, Standing, Suspects, TakeState};
pub use step::{Steps, Stood, Wish, rehearse_by_steps, shoot_by_steps};
