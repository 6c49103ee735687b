//! Ctrl-C: asked once, the program finishes what it is at; asked twice, it ends at once. However it
//! ends, the terminal is given back as it was.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use rustix::termios::{OptionalActions, Termios, tcsetattr};
use signal_hook::consts::{SIGHUP, SIGINT, SIGQUIT, SIGTERM};
use signal_hook::iterator::Signals;
use signal_hook::low_level;

use super::Failure;

/// How the terminal was before single keys were read from it; none while it is so.
pub(super) static BEFORE: Mutex<Option<Termios>> = Mutex::new(None);

/// The flag, once somebody has wanted it.
static ASKED: Mutex<Option<Arc<AtomicBool>>> = Mutex::new(None);

/// The flag that is set when somebody asks the program to end; one for the whole program, so that what
/// was asked between two pieces of work is heard by the second. A second time, by whichever signal,
/// ends it on the spot, as SIGQUIT does the first time; the boards then come to a controlled stop by
/// themselves.
pub(crate) fn flag() -> Result<Arc<AtomicBool>, Failure> {
    let mut known = ASKED.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(asked) = &*known {
        return Ok(Arc::clone(asked));
    }
    let asked = Arc::new(AtomicBool::new(false));
    let failed = |error| Failure::could_not(format!("Ctrl-C cannot be caught: {error}"));
    let mut signals = Signals::new([SIGINT, SIGTERM, SIGHUP, SIGQUIT]).map_err(failed)?;
    let flag = Arc::clone(&asked);
    // A thread of its own, since a signal's handler may do next to nothing.
    let listen = move || {
        for signal in signals.forever() {
            if signal != SIGQUIT && !flag.swap(true, Ordering::Relaxed) {
                continue;
            }
            // Held to the end, so that nobody changes the terminal any more.
            let before = BEFORE.lock().unwrap_or_else(PoisonError::into_inner);
            if let Some(before) = &*before {
                // A terminal that has gone away needs nothing put back.
                let _ = tcsetattr(std::io::stdin(), OptionalActions::Now, before);
            }
            // Held as well: nothing more is written.
            let _none = super::staged::take_away();
            if signal == SIGQUIT {
                let _ = low_level::emulate_default_handler(signal);
            }
            low_level::exit(3);
        }
    };
    std::thread::Builder::new()
        .name("signals".into())
        .spawn(listen)
        .map_err(failed)?;
    *known = Some(Arc::clone(&asked));
    Ok(asked)
}
