//! What `panestep measure axis` shows: scale, slack, and the table of ISO 230-2's figures.

use panestep::measure::axis::{AxisResult, Going};
use panestep::measure::positioning::{Positioning, Target};
use panestep::stand::{AxisId, AxisUnit, Drive};
use panestep::units::InUnit;

use super::output::{figure, with_uncertainty};
use crate::cli::at_stand::Place;

/// Everything that a series says, as lines.
pub(super) fn told(
    place: &Place,
    id: AxisId,
    name: &str,
    result: &AxisResult,
    found: &Positioning,
) -> Vec<String> {
    let of = &place.stand().axes[id.0];
    let unit = of.way.unit();
    let sign = unit.sign();
    let mut out = vec![format!(
        "{name}: {} readings over {}",
        result.residuals.len(),
        InUnit(result.span, unit)
    )];
    out.push(String::new());
    out.push(format!(
        "scale       {}",
        with_uncertainty(result.scale, &format!("{sign} read per {sign} sent"), 6)
    ));
    for (what, straight) in [
        ("  forward", &result.forward),
        ("  backward", &result.backward),
    ] {
        if let Some(straight) = straight {
            let scatter = figure(straight.scatter, 4);
            out.push(format!(
                "{what:<12}{}; scatter {scatter} {sign}",
                with_uncertainty(straight.slope, "", 6).replace(" ,", ",")
            ));
        }
    }
    if let (Drive::Motor(motor), Some(turn)) = (&of.drive, place.file.per_turn(id)) {
        let size = result.scale.times(result.scale.value.signum());
        out.push(format!(
            "per turn    {}; the file has {turn} {sign}",
            with_uncertainty(size.times(turn), sign, 6)
        ));
        let steps = motor.steps_per_unit / size.value;
        let steps_off = size.uncertainty.map(|it| steps * it / size.value);
        out.push(format!(
            "            that is {steps:.4} steps per {sign}, standard uncertainty {}",
            figure(steps_off, 4)
        ));
    }
    out.push(format!(
        "            over these {} the file is off by {:+}",
        InUnit(result.span, unit),
        InUnit(result.off_over_travel, unit)
    ));
    if result.falling {
        out.push(
            "            the readings fall where the axis was sent forward: the scale counts the other \
             way, as a dial does whose plunger is pushed in; the figures are those of one that \
             counts this way. Where the level itself went the wrong way: power-up asks which way \
             it goes, and sees to `reversed`"
                .to_owned(),
        );
    }
    if let Some(slack) = result.backlash {
        out.push(format!("slack       {}", with_uncertainty(slack, sign, 4)));
    }
    out.push(String::new());
    out.extend(figures(found, unit));
    out
}

fn figures(found: &Positioning, unit: AxisUnit) -> Vec<String> {
    let sign = unit.sign();
    let mut out = vec![format!(
        "ISO 230-2, {sign} (deviation: reading less target; s: standard deviation)"
    )];
    out.push(format!(
        "{:>12} {:>10} {:>10} {:>10} {:>10} {:>9} {:>9} {:>9} {:>9} {:>9}",
        "target",
        "mean forw.",
        "mean back",
        "mean both",
        "reversal",
        "s forw.",
        "s back",
        "R forw.",
        "R back",
        "R"
    ));
    let cell = |target: &Target, going| target.cell(going).cloned();
    for target in &found.targets {
        let (up, down) = (cell(target, Going::Forward), cell(target, Going::Backward));
        out.push(format!(
            "{:>12.3} {:>10} {:>10} {:>10} {:>10} {:>9} {:>9} {:>9} {:>9} {:>9}",
            target.target,
            figure(up.as_ref().map(|it| it.mean), 4),
            figure(down.as_ref().map(|it| it.mean), 4),
            figure(target.mean, 4),
            figure(target.reversal, 4),
            figure(up.and_then(|it| it.deviation), 4),
            figure(down.and_then(|it| it.deviation), 4),
            figure(target.repeatability_forward, 4),
            figure(target.repeatability_backward, 4),
            figure(target.repeatability, 4),
        ));
    }
    out.push(String::new());
    out.push(format!(
        "{:<44} {:>10} {:>10} {:>10}",
        "", "both", "forward", "backward"
    ));
    for (what, both, up, down) in [
        (
            "accuracy A",
            found.accuracy,
            found.accuracy_forward,
            found.accuracy_backward,
        ),
        (
            "systematic deviation E",
            found.systematic,
            found.systematic_forward,
            found.systematic_backward,
        ),
        (
            "repeatability R",
            found.repeatability,
            found.repeatability_forward,
            found.repeatability_backward,
        ),
        (
            "mean bidirectional positional deviation M",
            found.mean_deviation,
            None,
            None,
        ),
        ("reversal error B", found.reversal, None, None),
        ("mean reversal error", found.mean_reversal, None, None),
    ] {
        let one_way = |value: Option<f64>| value.map_or(String::new(), |it| figure(Some(it), 4));
        out.push(format!(
            "{what:<44} {:>10} {:>10} {:>10}",
            figure(both, 4),
            one_way(up),
            one_way(down)
        ));
    }
    out
}
