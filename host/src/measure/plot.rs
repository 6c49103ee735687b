//! Plots.


