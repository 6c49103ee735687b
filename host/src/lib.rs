//! Panestep plans, drives, verifies and records shots on a home-built multi-level animation stand.
//!
//! Data flows one way: [`mod@file`] reads a [`stand`] and a [`shot`]; [`plan`] works out where every
//! pane must stand and makes a [`schedule`]; [`take`] works through it over a [`link`] to the
//! boards, and to the user's own [`camera`] where no board fires it or its pictures are watched.
//! [`sim`] is a stand behind the same byte stream, [`picture`] is what its camera
//! sees, and [`record`] what a take's journal tells afterwards.

pub mod audit;
pub mod camera;
pub mod export;
pub mod file;
pub mod link;
pub mod measure;
pub mod optics;
pub mod paper;
pub mod picture;
pub mod plan;
pub mod record;
pub mod schedule;
pub mod screw;
pub mod shot;
pub mod sim;
pub mod stand;
pub mod take;
pub mod units;
