//! Log lines for a board's image: through defmt where the feature is on, nothing otherwise.

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
