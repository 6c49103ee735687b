//! The lens by itself, and the light through all panes.

use super::{About, Aspect, Finding, Severity, Sight, in_stops, short};
use crate::optics::depth::{
    GREEN_MM, airy_diameter_mm, blur_mm, effective_f_number, exposure_factor, hyperfocal_mm,
    sharpest_f_number, together_mm,
};
use crate::optics::light::{pile_transmittance, stops};
use crate::optics::magnification;
use crate::stand::{LevelId, Stand};

/// Stops from which on a difference of light is worth a word: a click of a lens.
pub(super) const CLICK: f64 = 1.0 / 3.0;

/// Pixels of blur from which on something that counts as sharp does not look it at full size.
const NOT_SHARP_PX: f64 = 3.0;

/// F-numbers that most lenses do not go beyond (common practice, no source).
const OPEN: f64 = 1.4;
const CLOSED: f64 = 22.0;

pub(super) const THIN_LENS: &str =
    "thin lens, any optics handbook; pupil magnification of 1 assumed";
pub(super) const EXPOSURE: &str = "N(1 + m) and (1 + m)²: US Army SS0512; Brown, Cinematography: Theory and \
                        Practice, p. 282; pupil magnification of 1 assumed";
const AIRY: &str = "2.44 λ N at 550 nm: Imaging Resource Guide, section 2.4";
const ADDED: &str = "blur and diffraction added as squares: a convention (photomacrography.net, topic \
                     23751); Hansma, View camera focusing in practice, 1996 (from memory)";
pub(super) const GLASS: &str = "Fresnel; Stokes 1862 (formula from memory): bare clean glass, all reflections \
                                between the panes, seen straight on";

pub(super) fn lens(stand: &Stand, sight: Option<&Sight>, found: &mut Vec<Finding>) {
    let Some(sight) = sight else {
        found.push(
            Finding::new(
                Severity::Forbids,
                About::Lens,
                Aspect::FocalLength,
                format!(
                    "the lens cannot focus on {}, which is not beyond its focal length of {} mm",
                    stand
                        .levels
                        .get(stand.lens.focus.0)
                        .map_or("its own level", |level| &level.name),
                    short(stand.lens.focal_length_mm)
                ),
            )
            .value(format!("{} mm", short(stand.lens.focal_length_mm)))
            .number("focal length", stand.lens.focal_length_mm, "mm")
            .source(THIN_LENS)
            .advice("lower the level, or raise the lens; check `height` and `focal_length`"),
        );
        return;
    };
    exposure(stand, sight, found);
    sharpness(stand, sight, found);
    whole_pile(stand, found);
    super::levels::levels(stand, sight, found);
}

fn exposure(stand: &Stand, sight: &Sight, found: &mut Vec<Finding>) {
    let lens = &stand.lens;
    let magnified = magnification(lens.focal_length_mm, sight.focus_mm);
    let effective = effective_f_number(lens.f_number, magnified);
    let factor = exposure_factor(magnified);
    let severity = if stops(factor) >= CLICK {
        Severity::WorthKnowing
    } else {
        Severity::Fine
    };
    found.push(
        Finding::new(
            severity,
            About::Lens,
            Aspect::Exposure,
            format!(
                "the effective f-number, focused on {}, is f/{}: expose {} times as long ({}) as a meter \
                 beside the camera says",
                stand.levels[lens.focus.0].name,
                short(effective),
                short(factor),
                in_stops(factor)
            ),
        )
        .value(format!("f/{}", short(effective)))
        .number("effective f-number", effective, "")
        .number("exposure factor", factor, "")
        .number("exposure", stops(factor), "stops")
        .number("magnification", magnified, "")
        .source(EXPOSURE)
        .unless_fine("a meter in the camera sees this by itself; one beside it does not"),
    );
}

fn sharpness(stand: &Stand, sight: &Sight, found: &mut Vec<Finding>) {
    let lens = &stand.lens;
    let per_mm = lens.picture.pixels_per_mm();
    let magnified = magnification(lens.focal_length_mm, sight.focus_mm);
    let airy = |f_number| airy_diameter_mm(effective_f_number(f_number, magnified), GREEN_MM);
    let now = airy(lens.f_number);
    found.push(
        Finding::new(
            if now * per_mm > NOT_SHARP_PX {
                Severity::WorthKnowing
            } else {
                Severity::Fine
            },
            About::Lens,
            Aspect::Diffraction,
            format!(
                "diffraction at f/{} blurs every level by {} px ({} mm on the sensor)",
                short(lens.f_number),
                short(now * per_mm),
                short(now)
            ),
        )
        .value(format!("{} px", short(now * per_mm)))
        .number("diffraction", now * per_mm, "px")
        .number("diffraction on the sensor", now, "mm")
        .source(AIRY)
        .unless_fine("open the lens for more detail in the level in focus"),
    );
    let circle = lens.circle_of_confusion_mm;
    let hyperfocal = hyperfocal_mm(lens.focal_length_mm, lens.f_number, circle);
    found.push(
        Finding::new(
            if circle * per_mm > NOT_SHARP_PX {
                Severity::WorthKnowing
            } else {
                Severity::Fine
            },
            About::Lens,
            Aspect::CircleOfConfusion,
            format!(
                "a blur of {} px ({} mm on the sensor) counts as sharp; the hyperfocal distance is {} m",
                short(circle * per_mm),
                short(circle),
                short(hyperfocal / 1000.0)
            ),
        )
        .value(format!("{} px", short(circle * per_mm)))
        .number("circle of confusion", circle * per_mm, "px")
        .number("circle of confusion on the sensor", circle, "mm")
        .number("hyperfocal distance", hyperfocal, "mm")
        .source("the stand file, or the picture's diagonal/1500 (toolsforfilm.com)")
        .unless_fine(
            "that is sharp enough for a print seen whole, not at full size: write a smaller \
             `circle_of_confusion` under [lens] if the picture is looked at closely",
        ),
    );
    let distances: Vec<f64> = (0..stand.levels.len())
        .map(|level| sight.distance_mm(stand, LevelId(level)))
        .collect();
    let blur = |f_number: f64, distance| {
        together_mm(
            blur_mm(lens.focal_length_mm, f_number, sight.focus_mm, distance),
            airy(f_number),
        )
    };
    let worst = (0..distances.len()).max_by(|&one, &two| {
        blur(lens.f_number, distances[one]).total_cmp(&blur(lens.f_number, distances[two]))
    });
    let best = sharpest_f_number(
        lens.focal_length_mm,
        sight.focus_mm,
        distances.iter().copied(),
        GREEN_MM,
    );
    if let (Some(worst), Some(best)) = (worst, best) {
        let [at_now, at_best] =
            [lens.f_number, best].map(|f_number| blur(f_number, distances[worst]) * per_mm);
        let off = 2.0 * stops(best / lens.f_number);
        let name = &stand.levels[worst].name;
        found.push(
            Finding::new(
                if off.abs() <= 1.0 {
                    Severity::Fine
                } else {
                    Severity::WorthKnowing
                },
                About::Lens,
                Aspect::SharpestFNumber,
                format!(
                    "at f/{} the least sharp level, {name}, is sharpest: {} px of blur and diffraction \
                     there, {} px at f/{} as it is",
                    short(best),
                    short(at_best),
                    short(at_now),
                    short(lens.f_number)
                ),
            )
            .value(format!("f/{}", short(best)))
            .number("sharpest f-number", best, "")
            .number("blur there", at_best, "px")
            .number("blur as it is", at_now, "px")
            .source(ADDED)
            .unless_fine(format!(
                "{} the lens toward f/{} if {name} is to be as sharp as it can be{}; leave it if \
                 softness in depth is wanted",
                if off > 0.0 { "close" } else { "open" },
                short(best),
                beyond_most_lenses(best)
            )),
        );
    }
}

/// What to say of an f-number that hardly a lens has (common practice, no source).
fn beyond_most_lenses(f_number: f64) -> &'static str {
    match f_number {
        _ if f_number > CLOSED => {
            ", as far as it goes: few lenses close beyond f/22 (common practice, no source)"
        }
        _ if f_number < OPEN => {
            ", as far as it goes: few lenses open beyond f/1.4 (common practice, no source)"
        }
        _ => "",
    }
}

fn whole_pile(stand: &Stand, found: &mut Vec<Finding>) {
    let through = pile_transmittance(stand.levels.iter().map(|level| level.pane.index));
    let panes = stand.levels.len();
    found.push(
        Finding::new(
            Severity::Fine,
            About::Lens,
            Aspect::Light,
            format!(
                "the {panes} pane{} together let{} {} % of the light through ({})",
                if panes == 1 { "" } else { "s" },
                if panes == 1 { "s" } else { "" },
                short(through * 100.0),
                in_stops(through)
            ),
        )
        .value(in_stops(through))
        .number("transmittance of all panes", through, "")
        .number("light through all panes", stops(through), "stops")
        .source(GLASS),
    );
}
