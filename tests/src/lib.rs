//! Whole-system tests, reference checks and benches.
