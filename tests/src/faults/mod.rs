//! Takes on a simulated stand to which things happen: drawn from a seed, the same every time.
//!
//! The take logic, the link and the firmware library are the real ones. The disk, the camera, the
//! mechanics, the cables and the person are simulated, and everything happens on a virtual clock.
//!
//! * [`kind`]: what can go wrong, in plain words.
//! * [`trouble`], [`plan`], [`draw`]: what goes wrong in a take and when; drawn from a seed, or read
//!   from JSON.
//! * [`stand`]: a small stand that shoots fast.
//! * [`ledger`]: what really happened, and what must never have.
//! * [`director`]: lets the faults of a plan strike at their moments.
//! * [`boundary`]: disk, ports, clock and person as the take sees them.
//! * [`mod@run`]: a take from its beginning to its end, over as many runs as it takes.
//! * [`shrink`]: a failing plan made as small as it gets.
//! * [`swarm`], [`sweep`]: many of them.

pub mod boundary;
pub mod director;
pub mod draw;
pub mod kind;
pub mod ledger;
pub mod plan;
pub mod run;
pub mod shrink;
pub mod stand;
pub mod swarm;
pub mod sweep;
pub mod trouble;

pub use kind::Kind;
pub use plan::{Moment, Mutant, Plan, PlannedFault};
pub use run::{Finding, Report, run, tell};
pub use trouble::Trouble;
