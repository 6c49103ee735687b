//! What the planner warns of on a level: in words, and when, as bars over the frames' axis.

use std::ops::RangeInclusive;

use super::super::draw::{At, Drawing, PALE, Pen};
use super::{LEFT, RIGHT, WIDTH, triangle};
use crate::plan::strobing::Rule;
use crate::plan::survey::Survey;

/// How tall a bar is, with the room below it.
const ROW: f64 = 20.0;
/// Above the bars: their title.
const HEAD: f64 = 24.0;

/// Something to look out for.
pub(super) struct Warning {
    /// A whole sentence.
    pub(super) words: String,
    /// A word or two, beside its bar.
    short: String,
    /// When.
    frames: Vec<RangeInclusive<u32>>,
    /// The frame at which it is worst.
    worst: u32,
}

/// Everything that is to be said of a level.
pub(super) fn warnings(survey: &Survey, level: usize, name: &str) -> Vec<Warning> {
    let mut all = Vec::new();
    for fast in survey.fast.iter().filter(|fast| fast.level == name) {
        let (what, short, of) = match fast.rule {
            Rule::Crossing => ("crosses the picture too fast", "too fast", "a frame"),
            Rule::Jumps => ("strobes", "strobes", "a picture"),
            Rule::Smear => ("jumps so far that it smears", "smears", "a picture"),
        };
        all.push(Warning {
            words: format!(
                "{what} at {}; fastest at {}: {:.1} px {of}, limit {:.1} px",
                listed(&fast.frames),
                fast.worst_frame,
                fast.pixels,
                fast.limit_pixels,
            ),
            short: short.into(),
            frames: fast.frames.clone(),
            worst: fast.worst_frame,
        });
    }
    if let Some(sharpness) = survey.sharpness.get(level).filter(|it| !it.soft.is_empty()) {
        let far = sharpness
            .far_mm
            .map_or("infinity".into(), |far| format!("{far:.0} mm"));
        all.push(Warning {
            words: format!(
                "soft at {}; most at {}: a point is {:.1} px wide; it is {:.0} mm from the lens, \
                 sharp is {:.0} mm to {far}",
                listed(&sharpness.soft),
                sharpness.frame,
                sharpness.blur_pixels,
                sharpness.distance_mm,
                sharpness.near_mm,
            ),
            short: "soft".into(),
            frames: sharpness.soft.clone(),
            worst: sharpness.frame,
        });
    }
    if let Some(coverage) = survey.coverage.get(level) {
        for (what, short, spare) in [
            ("painting", "art", coverage.painting_spare),
            ("pane", "pane", Some(coverage.pane_spare)),
        ] {
            if let Some(spare) = spare.filter(|spare| spare.mm < 0.0) {
                all.push(Warning {
                    words: format!(
                        "the {what}'s {} edge is in the picture; most at frame {}: {:.1} mm ({:.0} px)",
                        spare.side.name(),
                        spare.frame,
                        -spare.mm,
                        -spare.pixels,
                    ),
                    // As long as the margin allows.
                    short: format!("{short} ends"),
                    frames: Vec::new(),
                    worst: spare.frame,
                });
            }
        }
    }
    all
}

/// Stretches of frames in words.
fn listed(spans: &[RangeInclusive<u32>]) -> String {
    const MANY: usize = 4;
    let one = |span: &RangeInclusive<u32>| {
        if span.start() == span.end() {
            span.start().to_string()
        } else {
            format!("{} to {}", span.start(), span.end())
        }
    };
    let first: Vec<String> = spans.iter().take(MANY).map(one).collect();
    let frames = match spans {
        [span] if span.start() == span.end() => "frame",
        _ => "frames",
    };
    match spans.len().saturating_sub(MANY) {
        0 => format!("{frames} {}", first.join(", ")),
        more => format!("{frames} {} and {more} more stretches", first.join(", ")),
    }
}

/// How tall their bars are together.
pub(super) fn height(warnings: &[Warning]) -> f64 {
    if warnings.is_empty() {
        0.0
    } else {
        HEAD + ROW * warnings.len() as f64
    }
}

/// Draws their bars; `x` is where the middle of a frame lies.
pub(super) fn draw(warnings: &[Warning], drawing: &mut Drawing, top: f64, x: impl Fn(f64) -> f64) {
    if warnings.is_empty() {
        return;
    }
    let title = "to look out for: when (grey), when most (black)";
    drawing.text((LEFT, top), 13.0, At::Start, title);
    for (place, warning) in warnings.iter().enumerate() {
        let y = top + 9.0 + ROW * place as f64;
        drawing.text((LEFT - 8.0, y + 11.0), 12.0, At::End, &warning.short);
        for span in &warning.frames {
            let from = x(f64::from(*span.start()) - 0.5);
            let to = x(f64::from(*span.end()) + 0.5);
            drawing.area((from, y), (to - from, ROW - 6.0), PALE);
        }
        let pen = Pen::solid(0.5).grey();
        let below = y + ROW - 6.0;
        drawing.line((LEFT, below), (WIDTH - RIGHT, below), pen);
        triangle(drawing, (x(f64::from(warning.worst)), y + 2.0));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stretches_are_listed_and_many_are_counted() {
        assert_eq!(listed(&[7..=7]), "frame 7");
        assert_eq!(listed(&[1..=3, 9..=9]), "frames 1 to 3, 9");
        let many: Vec<_> = (1..=6).map(|start| 10 * start..=10 * start + 1).collect();
        assert_eq!(
            listed(&many),
            "frames 10 to 11, 20 to 21, 30 to 31, 40 to 41 and 2 more stretches"
        );
    }
}
