//! The real program over a pseudo-terminal.
