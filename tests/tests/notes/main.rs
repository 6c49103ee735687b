//! Every figure of the hardware notes that is not given there is worked out again, from formulas that
//! are checked against published examples first.

mod drives;
mod power;
mod published;
mod sums;
mod tables;
mod tuning;
