//! Log lines, through defmt where the feature is on. Never at a tick: see [`lock`](crate::lock).

#[cfg(feature = "defmt")]
use defmt_rtt as _;

#[cfg(feature = "defmt")]
defmt::timestamp!("{=u32:us}", {
    // SAFETY: the address is that of the block's registers; the low word can be read at any time.
    unsafe { &*rp2040_hal::pac::TIMER::ptr() }
        .timerawl()
        .read()
        .bits()
});

/// One line of the normal course of things.
macro_rules! info {
    ($text:literal $(, $value:expr)* $(,)?) => {{
        #[cfg(feature = "defmt")]
        defmt::info!($text $(, $value)*);
        #[cfg(not(feature = "defmt"))]
        { $( let _ = &$value; )* }
    }};
}

/// One line about something that ought not to happen.
macro_rules! warning {
    ($text:literal $(, $value:expr)* $(,)?) => {{
        #[cfg(feature = "defmt")]
        defmt::warn!($text $(, $value)*);
        #[cfg(not(feature = "defmt"))]
        { $( let _ = &$value; )* }
    }};
}

pub(crate) use {info, warning};
