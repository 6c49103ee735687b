//! Ctrl-C: asked once, the program finishes what it is at; asked twice, it ends at once.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use signal_hook::flag;

use super::Failure;

/// A flag that is set when somebody asks the program to end. A second time ends it on the spot;
/// the boards then come to a controlled stop by themselves.
pub(crate) fn flag() -> Result<Arc<AtomicBool>, Failure> {
    let asked = Arc::new(AtomicBool::new(false));
    for signal in [SIGINT, SIGTERM, SIGHUP] {
        flag::register_conditional_shutdown(signal, 3, Arc::clone(&asked))
            .and_then(|_| flag::register(signal, Arc::clone(&asked)))
            .map_err(|error| Failure::could_not(format!("Ctrl-C cannot be caught: {error}")))?;
    }
    Ok(asked)
}
