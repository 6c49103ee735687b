//! The boards' inputs, one by one: which is open, and whether a person pressed the right one.

use panestep_protocol::MAX_AXES;

use super::Seen;
use crate::schedule::Schedule;

/// An input of a board, by the board's place in [`Schedule::boards`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Input {
    /// The stop circuit.
    Stop {
        /// The board.
        board: usize,
    },
    /// A home switch.
    Home {
        /// The board.
        board: usize,
        /// The axis's number on it.
        channel: u8,
    },
    /// The switch at an axis's other end.
    Far {
        /// The board.
        board: usize,
        /// The axis's number on it.
        channel: u8,
    },
}

/// Which inputs are open at a moment. Every switch is wired normally closed: open means pressed, or
/// a broken wire.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Inputs(Vec<(Input, bool)>);

/// A press of one input that is waited for: closed, then open, then closed, and no other changes
/// meanwhile.
#[derive(Clone, Debug)]
pub struct Press {
    wanted: Input,
    before: Inputs,
    opened: bool,
}

/// How far a press is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pressed {
    /// Not begun.
    Waiting,
    /// It is open: it has to close again.
    Open,
    /// It was open, and is closed again.
    Done,
    /// This one has changed instead. The press has to begin anew once it is as it was.
    Other(Input),
}

impl Input {
    /// What it is called.
    #[must_use]
    pub fn name(self, schedule: &Schedule) -> String {
        let axis = |board: usize, channel: u8| {
            let mut axes = schedule.motors.iter();
            axes.find(|axis| (axis.board, axis.channel) == (board, channel))
        };
        let board_name = |board: usize| schedule.boards.get(board).map_or("", String::as_str);
        match self {
            Self::Stop { board } => format!("the stop of board {}", board_name(board)),
            Self::Home { board, channel } => match axis(board, channel) {
                Some(axis) => format!("{}'s home switch", axis.name()),
                None => format!(
                    "home input {channel} of board {}, which no axis uses",
                    board_name(board)
                ),
            },
            Self::Far { board, channel } => match axis(board, channel) {
                Some(axis) => format!("the switch at {}'s other end", axis.name()),
                None => format!(
                    "far input {channel} of board {}, which no axis uses",
                    board_name(board)
                ),
            },
        }
    }

    const fn is_stop(self) -> bool {
        matches!(self, Self::Stop { .. })
    }
}

impl Inputs {
    pub(super) fn of(seen: &Seen) -> Self {
        let mut inputs = Vec::new();
        for (board, state) in seen.boards.iter().enumerate() {
            let switches = state.status.switches;
            inputs.push((Input::Stop { board }, switches.stop));
            for place in 0..MAX_AXES {
                let channel = place as u8;
                inputs.push((
                    Input::Home { board, channel },
                    switches.home.contains(place),
                ));
                inputs.push((Input::Far { board, channel }, switches.far.contains(place)));
            }
        }
        Self(inputs)
    }

    /// Whether an input is open; one that there is not is closed.
    #[must_use]
    pub fn is_open(&self, input: Input) -> bool {
        let mut known = self.0.iter();
        known
            .find(|(known, _)| *known == input)
            .is_some_and(|&(_, open)| open)
    }

    /// The home switches of a schedule's axes, and the stop of every board.
    #[must_use]
    pub fn wired(schedule: &Schedule) -> Vec<Input> {
        let mut wired = Vec::new();
        for board in 0..schedule.boards.len() {
            for axis in schedule.motors.iter().filter(|axis| axis.board == board) {
                let channel = axis.channel;
                wired.push(Input::Home { board, channel });
            }
            wired.push(Input::Stop { board });
        }
        wired
    }
}

impl Press {
    /// Waits for a press of `wanted`, which is closed `now`.
    #[must_use]
    pub fn new(wanted: Input, now: &Inputs) -> Self {
        Self {
            wanted,
            before: now.clone(),
            opened: false,
        }
    }

    /// Takes note of how the inputs are now.
    pub fn see(&mut self, now: &Inputs) -> Pressed {
        // One stop button opens the circuit of every board.
        let other = now.0.iter().find(|&&(input, open)| {
            input != self.wanted
                && !(input.is_stop() && self.wanted.is_stop())
                && open != self.before.is_open(input)
        });
        if let Some(&(input, _)) = other {
            self.opened = false;
            return Pressed::Other(input);
        }
        match (self.opened, now.is_open(self.wanted)) {
            (_, true) => {
                self.opened = true;
                Pressed::Open
            }
            (true, false) => Pressed::Done,
            (false, false) => Pressed::Waiting,
        }
    }
}
