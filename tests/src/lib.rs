//! Whole-system tests, reference checks and benches; in here, what several of them share.

#[cfg(feature = "emulator")]
pub mod board;
pub mod drawings;
pub mod faults;
pub mod image;

use std::error::Error;

use panestep::link::Port;
use panestep::schedule::Turn;
use panestep::sim::SimulatedStand;
use panestep::stand::BoardId;
use panestep::take::{Arrangement, Boards, HandRequest, Person, Question, Span, Suspects};

/// The ports of a simulated stand.
pub struct Ports(pub SimulatedStand);

impl Boards for Ports {
    fn open(
        &mut self,
        board: usize,
        _: &str,
    ) -> Result<Box<dyn Port>, Box<dyn Error + Send + Sync>> {
        Ok(Box::new(self.0.port(BoardId(board))?))
    }

    fn port_name(&self, _: usize) -> String {
        "simulated".into()
    }
}

/// For a stand without hand axes, where nothing goes wrong.
pub struct Nobody;

impl Person for Nobody {
    /// # Panics
    /// Always: nobody was to be asked.
    fn set(&mut self, request: &HandRequest<'_>) -> Option<f64> {
        panic!("asked to set {} {}", request.of, request.way.name());
    }

    /// # Panics
    /// Always: nobody was to be asked.
    fn exposed(&mut self, question: &Question) -> Option<bool> {
        panic!("asked about frame {}", question.turn);
    }

    /// # Panics
    /// Always: nobody was to be asked.
    fn others(&mut self, frames: &[Span], _: u32) -> Option<Vec<u32>> {
        panic!("asked about frames {frames:?}");
    }

    /// # Panics
    /// Always: nobody was to be asked.
    fn fire(&mut self, turn: Turn) -> Option<bool> {
        panic!("asked to fire for frame {turn}");
    }

    /// # Panics
    /// Always: nobody was to be asked.
    fn arrange(&mut self, arrangement: &Arrangement<'_>) -> Option<()> {
        panic!("asked for {:?}", arrangement.chores);
    }

    /// # Panics
    /// Always: nobody was to be asked.
    fn again(&mut self, suspects: &Suspects) -> Option<bool> {
        panic!("asked about {suspects:?}");
    }
}
