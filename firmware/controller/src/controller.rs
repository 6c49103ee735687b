//! The whole of a board's behaviour in one piece, for a host or for a board with one loop.

use panestep_protocol::{BootId, Ticks};

use crate::core::Core;
use crate::hardware::Hardware;
use crate::service::Service;

/// What a board is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Setup<'a> {
    /// Its name; longer than [`MAX_NAME`](panestep_protocol::MAX_NAME) bytes, it is cut.
    pub name: &'a str,
    /// How many axes it drives, at most [`MAX_AXES`](panestep_protocol::MAX_AXES).
    pub axes: u8,
    /// Ticks a second.
    pub tick_rate: u32,
    /// Drawn afresh at every start.
    pub boot: BootId,
    /// Least time between a change of a direction line and a pulse, either way round, that the
    /// motor drivers ask for.
    pub direction_setup: Ticks,
}

/// [`Core`] and [`Service`] together.
#[derive(Debug)]
pub struct Controller<H> {
    core: Core<H>,
    service: Service,
}

impl<H: Hardware> Controller<H> {
    /// A board that has just started.
    pub fn new(hardware: H, setup: &Setup<'_>) -> Self {
        Self {
            core: Core::new(hardware, setup),
            service: Service::new(setup),
        }
    }

    /// One tick, and what it leaves to the main loop.
    pub fn tick(&mut self) {
        self.core.tick();
        self.service.work(&mut self.core);
    }

    /// Bytes from the host.
    pub fn receive(&mut self, bytes: &[u8]) {
        self.service.receive(&mut self.core, bytes);
    }

    /// Bytes for the host; how many have been put into the buffer.
    pub fn transmit(&mut self, buffer: &mut [u8]) -> usize {
        self.service.transmit(buffer)
    }

    /// How many ticks from here would do nothing but count time, provided that no input changes
    /// and no byte arrives.
    #[must_use]
    pub fn quiet(&self) -> u32 {
        self.core.quiet()
    }

    /// Does exactly what so many ticks would do, provided that no input changes meanwhile; fast
    /// for as many as [`Controller::quiet`] tells.
    pub fn skip(&mut self, ticks: u32) {
        let mut left = ticks;
        while left > 0 {
            let quiet = self.core.quiet().min(left);
            if quiet == 0 {
                self.tick();
                left = left.saturating_sub(1);
            } else {
                self.core.skip(quiet);
                left = left.saturating_sub(quiet);
            }
        }
    }

    /// The hardware.
    pub const fn hardware(&self) -> &H {
        self.core.hardware()
    }

    /// The hardware. A changed input is seen at the next [`Controller::tick`].
    pub const fn hardware_mut(&mut self) -> &mut H {
        self.core.hardware_mut()
    }

    /// The part that the timer drives.
    pub const fn core(&self) -> &Core<H> {
        &self.core
    }
}
