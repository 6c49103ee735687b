//! Why a plan cannot be made: facts for people, each with its frames and numbers.

use std::fmt;

/// One thing that is wrong.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Fault {
    /// The shot does not fit the stand as such.
    #[error("{what}")]
    Unsound {
        /// What is wrong, as a sentence.
        what: String,
    },
    /// Focus is pulled, but nothing can turn the lens ring.
    #[error("the shot pulls focus, but the stand has no focus axis")]
    NoFocusAxis,
    /// The lens cannot focus on a level.
    #[error(
        "{level}: the lens cannot focus at {distance_mm:.3} mm, which is not beyond its focal \
         length of {focal_length_mm} mm"
    )]
    CannotFocus {
        /// The level.
        level: String,
        /// Its apparent distance.
        distance_mm: f64,
        /// The lens's.
        focal_length_mm: f64,
    },
    /// The lens ring's table does not reach the distance.
    #[error(
        "camera focus: the lens has to focus at {distance_mm:.3} mm, but the ring's table runs \
         from {least_mm} to {greatest_mm} mm"
    )]
    BeyondFocusTable {
        /// Distance to be focused on.
        distance_mm: f64,
        /// Least distance in the table.
        least_mm: f64,
        /// Greatest distance in the table.
        greatest_mm: f64,
    },
    /// An axis cannot be driven as described.
    #[error("{axis}: {what}")]
    UnsoundAxis {
        /// The axis.
        axis: String,
        /// What is wrong.
        what: String,
    },
    /// An axis would have to go faster than its board can send steps.
    #[error(
        "{axis}: {steps_per_second:.0} steps a second at full speed; a board sends between 1 and \
         {greatest} a second"
    )]
    StepRate {
        /// The axis.
        axis: String,
        /// Rate at the axis's greatest speed.
        steps_per_second: f64,
        /// Greatest rate, steps a second.
        greatest: u32,
    },
    /// A target lies beyond an axis's travel.
    #[error(
        "{axis} has to stand at {position:.4} {unit}, but its travel runs from {least} to {greatest} {unit}"
    )]
    BeyondTravel {
        /// The axis.
        axis: String,
        /// Where it would have to stand.
        position: f64,
        /// Least position.
        least: f64,
        /// Greatest position.
        greatest: f64,
        /// The axis's unit.
        unit: &'static str,
    },
    /// A target lies within the travel, but leaves no room below to take up the drive's slack.
    #[error(
        "{axis} has to stand at {position:.4} {unit} and go {take_up:.4} {unit} below it to take up backlash, but its travel begins at {least} {unit}"
    )]
    NoRoomForTakeUp {
        /// The axis.
        axis: String,
        /// Where it would have to stand.
        position: f64,
        /// How far below it has to go.
        take_up: f64,
        /// Least position.
        least: f64,
        /// The axis's unit.
        unit: &'static str,
    },
    /// Two levels' glass would come too close.
    #[error("{}; {clearance_mm} mm have to stay free", touching(upper, lower, *gap_mm))]
    Touch {
        /// The level nearer to the lens.
        upper: String,
        /// The level below it.
        lower: String,
        /// Free height left; below 0 where they would overlap.
        gap_mm: f64,
        /// Free height that has to stay.
        clearance_mm: f64,
    },
    /// The viewer would walk into or through a layer.
    #[error(
        "{level}: the viewer walks through this layer, which is {:.1} story mm behind by then",
        -distance_mm
    )]
    WalksThrough {
        /// The level.
        level: String,
        /// Story distance left; 0 or below.
        distance_mm: f64,
    },
    /// A level would stand at the lens or above it.
    #[error(
        "{level} would stand at the lens or above it: {:.3} mm above the entrance pupil",
        -gap_mm
    )]
    AboveLens {
        /// The level.
        level: String,
        /// Height of the lens above the level's glass; 0 or below.
        gap_mm: f64,
    },
    /// Something would have to move that has no axis for it.
    #[error(
        "{of} has to stand at {way} {amount:+.4} {unit}, but has no {way} axis: without it the \
         picture is {pixels:.2} pixels off"
    )]
    NoAxis {
        /// The level, or `camera`.
        of: String,
        /// The way.
        way: &'static str,
        /// How far from zero.
        amount: f64,
        /// The axis's unit.
        unit: &'static str,
        /// What it would cost in the picture.
        pixels: f64,
    },
    /// A position cannot be worked out at all.
    #[error("{axis}: no position can be worked out (the numbers in the shot are too large)")]
    NotFinite {
        /// The axis.
        axis: String,
    },
}

impl Fault {
    /// What can be done about it.
    #[must_use]
    pub fn advice(&self) -> &'static str {
        match self {
            Self::Unsound { .. } => "correct the file",
            Self::NoFocusAxis => "take the focus keys out of the shot, or fit a focus axis",
            Self::CannotFocus { .. } => {
                "focus on a level farther from the lens, or use a shorter focal length"
            }
            Self::BeyondFocusTable { .. } => {
                "measure the ring over more of its range, or focus on another level"
            }
            Self::UnsoundAxis { .. } => "correct the axis in the stand file",
            Self::StepRate { .. } => "lower the axis's speed, or use fewer microsteps",
            Self::BeyondTravel { .. } => {
                "shorten the move, set the layer farther away in the story, change the reference frame, or give the axis more travel"
            }
            Self::NoRoomForTakeUp { .. } => {
                "keep the move a little farther from the low end of the travel"
            }
            Self::Touch { .. } => {
                "space the levels farther apart on the stand, or shorten the move ahead"
            }
            Self::WalksThrough { .. } => {
                "stop the viewer before the layer, or set the layer farther away"
            }
            Self::AboveLens { .. } => "lower the level, or raise the lens",
            Self::NoAxis { .. } => "fit that axis, or take the move out of the shot",
            Self::NotFinite { .. } => "use smaller numbers",
        }
    }
}

/// What two levels would do.
fn touching(upper: &str, lower: &str, gap_mm: f64) -> String {
    if gap_mm > 0.0 {
        format!("{upper} would come within {gap_mm:.3} mm of {lower} below it")
    } else {
        format!(
            "{upper} would run into {lower} below it by {:.3} mm",
            -gap_mm
        )
    }
}

/// A fault, and at which frames.
#[derive(Clone, Debug, PartialEq)]
pub struct Refusal {
    /// The fault as it is at the first frame that has it.
    pub fault: Fault,
    /// The frames, or `None` where it concerns the whole shot.
    pub frames: Option<Span>,
}

/// Frames that share a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// The first frame.
    pub first: u32,
    /// The last frame.
    pub last: u32,
    /// How many in all; fewer than from first to last where there are sound ones in between.
    pub count: u32,
    /// The frame that is worst, and the fault as it is there.
    pub worst: (u32, Fault),
    /// How bad the worst is, beside others of its kind and subject.
    severity: f64,
}

/// Everything that is wrong: one [`Refusal`] for each kind and subject, so that a long shot does
/// not make a long list. Never empty when it is given as an error.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Refusals {
    list: Vec<Refusal>,
}

impl std::error::Error for Refusals {}

impl Refusals {
    /// One for each kind and subject, in the order in which they came up.
    #[must_use]
    pub fn list(&self) -> &[Refusal] {
        &self.list
    }

    /// Adds a fault of the whole shot.
    pub(crate) fn add(&mut self, fault: Fault) {
        self.list.push(Refusal {
            fault,
            frames: None,
        });
    }

    /// Adds a fault at `count` frames from `first`. `slot` is where the last fault of this kind
    /// and subject went; `severity` compares faults of one slot, the greater the worse. The fault
    /// itself is only made where it is the first or the worst: a long shot can have millions.
    pub(crate) fn add_at(
        &mut self,
        slot: &mut Option<usize>,
        first: u32,
        count: u32,
        severity: f64,
        fault: impl FnOnce() -> Fault,
    ) {
        let last = first.saturating_add(count - 1);
        let Some(span) = slot
            .and_then(|slot| self.list.get_mut(slot))
            .and_then(|refusal| refusal.frames.as_mut())
        else {
            *slot = Some(self.list.len());
            let fault = fault();
            self.list.push(Refusal {
                frames: Some(Span {
                    first,
                    last,
                    count,
                    worst: (first, fault.clone()),
                    severity,
                }),
                fault,
            });
            return;
        };
        span.last = last;
        span.count += count;
        if severity > span.severity {
            span.severity = severity;
            span.worst = (first, fault());
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
}

impl From<Fault> for Refusals {
    fn from(fault: Fault) -> Self {
        Self {
            list: vec![Refusal {
                fault,
                frames: None,
            }],
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Some(span) = &self.frames else {
            return write!(f, "{}", self.fault);
        };
        write!(f, "frame {}: {}", span.first, self.fault)?;
        if span.count > 1 {
            write!(
                f,
                "\n    at {} frames from {} to {}",
                span.count, span.first, span.last
            )?;
            let (frame, fault) = &span.worst;
            if *frame != span.first {
                write!(f, "; worst at frame {frame}: {fault}")?;
            }
        }
        Ok(())
    }
}

impl fmt::Display for Refusals {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, refusal) in self.list.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            write!(f, "{refusal}\n    {}", refusal.fault.advice())?;
        }
        Ok(())
    }
}
