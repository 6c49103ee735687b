//! What the main loop and the tick share, and critical sections.
//!
//! There are two threads of execution: the main loop, and the tick's interrupt, the only one that
//! is enabled. They share the [`Core`] behind [`CORE`] and, each with one of them writing alone, the count
//! of ticks and the state machine's flags; nothing else. A critical section, as the
//! USB stack and the log take them for hundreds of cycles, therefore need not hold off the tick, and
//! here it does not: it would make pulses late. The price is that the tick must not enter one; it
//! neither talks nor logs.

use core::cell::UnsafeCell;
use core::mem::MaybeUninit;

use cortex_m::peripheral::SCB;
use critical_section::RawRestoreState;
use panestep_firmware::core::Core;
use panestep_firmware::service::Access;

use crate::board::Board;

/// The core. The main loop comes at it through a [`MainAccess`], the tick through [`in_tick`].
static CORE: Shared = Shared(UnsafeCell::new(MaybeUninit::uninit()));

struct Shared(UnsafeCell<MaybeUninit<Core<Board>>>);

// SAFETY: of the two that come at it, the tick cannot be interrupted by the main loop, and the main
// loop holds the tick off meanwhile (or has not enabled it yet).
unsafe impl Sync for Shared {}

/// The main loop's way to the core.
#[derive(Debug)]
pub struct MainAccess(());

impl MainAccess {
    /// Puts the core in its place.
    ///
    /// # Safety
    /// Once, from the main loop, before the tick's interrupt is enabled.
    pub unsafe fn new(core: Core<Board>) -> Self {
        // SAFETY: nobody else has come at it yet.
        unsafe { (*CORE.0.get()).write(core) };
        Self(())
    }
}

impl Access for MainAccess {
    type Hardware = Board;

    #[inline]
    fn with<R>(&mut self, work: impl FnOnce(&mut Core<Board>) -> R) -> R {
        cortex_m::interrupt::disable();
        // SAFETY: there is a core, since there is a `MainAccess`, of which there is one, borrowed;
        // and no tick comes in between.
        let result = work(unsafe { (*CORE.0.get()).assume_init_mut() });
        // SAFETY: they were on: nothing else switches them off, and this is never nested, since
        // `work` has no access.
        unsafe { cortex_m::interrupt::enable() };
        result
    }
}

/// The tick's way to the core.
///
/// # Safety
/// From the tick's interrupt only.
#[inline(always)]
pub unsafe fn in_tick(work: impl FnOnce(&mut Core<Board>)) {
    // SAFETY: the interrupt is enabled after the core has been put in its place, and only while
    // the main loop is not at it.
    work(unsafe { (*CORE.0.get()).assume_init_mut() });
}

struct MainLoopOnly;

critical_section::set_impl!(MainLoopOnly);

// SAFETY: all critical sections are entered by the main loop, which has no rival but the tick, and
// the tick enters none; should it ever, the board stops with a panic instead.
unsafe impl critical_section::Impl for MainLoopOnly {
    unsafe fn acquire() -> RawRestoreState {
        assert!(
            SCB::vect_active() == cortex_m::peripheral::scb::VectActive::ThreadMode,
            "a critical section in an interrupt"
        );
    }

    unsafe fn release(_: RawRestoreState) {}
}
