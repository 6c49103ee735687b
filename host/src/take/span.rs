//! Spans of frames.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::schedule::Order;

/// Frames from one to another, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "(u32, u32)", into = "(u32, u32)")]
pub struct Span {
    first: u32,
    last: u32,
}

impl Span {
    /// From one frame to another; none where the first is 0 or lies after the last.
    #[must_use]
    pub const fn new(first: u32, last: u32) -> Option<Self> {
        if first == 0 || first > last {
            None
        } else {
            Some(Self { first, last })
        }
    }

    /// The first frame.
    #[must_use]
    pub const fn first(self) -> u32 {
        self.first
    }

    /// The last frame.
    #[must_use]
    pub const fn last(self) -> u32 {
        self.last
    }

    /// All of them.
    pub fn frames(self) -> std::ops::RangeInclusive<u32> {
        self.first..=self.last
    }

    /// The fewest spans that hold these frames, in rising order, and no others.
    #[must_use]
    pub fn of(frames: impl IntoIterator<Item = u32>) -> Vec<Self> {
        let mut spans: Vec<Self> = Vec::new();
        for frame in frames {
            match spans.last_mut() {
                Some(span) if span.last.checked_add(1) == Some(frame) => span.last = frame,
                _ => spans.extend(Self::new(frame, frame)),
            }
        }
        spans
    }
}

/// Exposures by their numbers as frames of the shot: pass by pass, by its place, the frames, in
/// rising order. Numbers that there are not are left out.
#[must_use]
pub fn by_pass(order: &Order, numbers: &[Span]) -> Vec<(usize, Vec<Span>)> {
    let mut passes: BTreeMap<usize, BTreeSet<u32>> = BTreeMap::new();
    let there = |span: &Span| span.first..=span.last.min(order.turns());
    for turn in numbers
        .iter()
        .flat_map(there)
        .filter_map(|number| order.turn(number))
    {
        passes.entry(turn.pass).or_default().insert(turn.frame);
    }
    passes
        .into_iter()
        .map(|(pass, frames)| (pass, Span::of(frames)))
        .collect()
}

/// The exposures of frames of the shot, by their numbers, in all passes or in one.
#[must_use]
pub fn numbers_of(order: &Order, frames: &[Span], pass: Option<usize>) -> Vec<Span> {
    let passes = pass.map_or(0..order.passes(), |pass| pass..pass + 1);
    let mut numbers = BTreeSet::new();
    let there = |span: &Span| span.first..=span.last.min(order.frames());
    for frame in frames.iter().flat_map(there) {
        numbers.extend(
            passes
                .clone()
                .filter_map(|pass| order.number_of(frame, pass)),
        );
    }
    Span::of(numbers)
}

impl TryFrom<(u32, u32)> for Span {
    type Error = &'static str;

    fn try_from((first, last): (u32, u32)) -> Result<Self, Self::Error> {
        Self::new(first, last).ok_or("not a span of frames")
    }
}

impl From<Span> for (u32, u32) {
    fn from(span: Span) -> Self {
        (span.first, span.last)
    }
}

impl std::fmt::Display for Span {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.first == self.last {
            write!(f, "{}", self.first)
        } else {
            write!(f, "{}-{}", self.first, self.last)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::When;

    fn spans(numbers: &[u32]) -> Vec<Span> {
        Span::of(numbers.iter().copied())
    }

    /// Three frames: two passes at each frame, a third after the run.
    #[test]
    fn exposures_and_frames_of_passes_are_told_apart() {
        let order = Order::new(3, [When::EachFrame, When::EachFrame, When::AfterRun]);
        // 1: frame 1 pass 0, 2: frame 1 pass 1, 3: frame 2 pass 0, ..., 7 to 9: pass 2.
        let all = spans(&(1..=9).collect::<Vec<_>>());
        let whole = spans(&[1, 2, 3]);
        let each = [(0, whole.clone()), (1, whole.clone()), (2, whole)];
        assert_eq!(by_pass(&order, &all), each);
        let some = by_pass(&order, &spans(&[2, 3, 8]));
        let expected = [(0, spans(&[2])), (1, spans(&[1])), (2, spans(&[2]))];
        assert_eq!(some, expected);
        // Beyond the last there is none.
        assert_eq!(by_pass(&order, &spans(&[10, 11])), []);

        assert_eq!(numbers_of(&order, &spans(&[2]), None), spans(&[3, 4, 8]));
        assert_eq!(numbers_of(&order, &spans(&[2, 3]), Some(1)), spans(&[4, 6]));
        assert_eq!(
            numbers_of(&order, &spans(&[1, 2, 3]), Some(2)),
            spans(&[7, 8, 9])
        );
        assert_eq!(numbers_of(&order, &spans(&[4]), None), []);
        assert_eq!(numbers_of(&order, &spans(&[1]), Some(3)), []);
    }
}
