//! Lens, levels in depth, glass.

use super::{About, Aspect, FILE, Finding, PRACTICE, Severity, Sight, in_stops, short};
use crate::optics::depth::{
    GREEN_MM, airy_diameter_mm, blur_mm, close_up_depth_mm, depth_of_field, effective_f_number,
    exposure_factor, hyperfocal_mm, sharpest_f_number, together_mm,
};
use crate::optics::light::{pane_transmittance, pile_transmittance, stops};
use crate::optics::{apparent_distance_mm, image_distance_mm, magnification};
use crate::stand::{AxisId, Carrier, CarrierPose, Face, LevelId, Stand, Way};

/// Stops from which on a difference of light is worth a word: a click of a lens.
const CLICK: f64 = 1.0 / 3.0;

/// Pixels of blur from which on something that counts as sharp does not look it at full size.
const NOT_SHARP_PX: f64 = 3.0;

const THIN_LENS: &str = "thin lens, any optics handbook; pupil magnification of 1 assumed";
const EXPOSURE: &str = "N(1 + m) and (1 + m)²: US Army SS0512; Brown, Cinematography: Theory and \
                        Practice, p. 282; pupil magnification of 1 assumed";
const AIRY: &str = "2.44 λ N at 550 nm: Imaging Resource Guide, section 2.4";
const DEPTH: &str = "exact thin lens, hyperfocal distance f²/(Nc) + f: any optics handbook";
const ADDED: &str = "blur and diffraction added as squares: a convention (photomacrography.net, topic \
                     23751); Hansma, View camera focusing in practice, 1996";
const GLASS: &str = "Fresnel, Stokes 1862: bare clean glass, all reflections between the panes, \
                     seen straight on";

pub(super) fn lens(stand: &Stand, sight: Option<&Sight>, found: &mut Vec<Finding>) {
    let Some(sight) = sight else {
        found.push(
            Finding::new(
                Severity::Forbids,
                About::Lens,
                Aspect::FocalLength,
                "the lens cannot focus on its own level, which is not beyond its focal length",
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
    for level in (0..stand.levels.len()).map(LevelId) {
        if too_near(stand, sight, level, found) {
            continue;
        }
        seen(stand, sight, level, found);
        depth(stand, sight, level, found);
        light(stand, level, found);
        edge(stand, sight, level, found);
        ring(stand, sight, level, found);
    }
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
                "effective f-number, focused on {}; expose {} times as long ({}) as a meter beside the \
                 camera says",
                stand.levels[lens.focus.0].name,
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
                "diffraction at f/{}: {} mm on the sensor, for every level",
                short(lens.f_number),
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
                "what counts as sharp: {} mm on the sensor; hyperfocal distance {} m",
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
                    "where the least sharp level, {name}, is sharpest: {} px of blur and diffraction \
                     there, {} px at f/{}",
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
                "{} the lens toward f/{} if {name} is to be as sharp as it can be; leave it if \
                 softness in depth is wanted",
                if off > 0.0 { "close" } else { "open" },
                short(best)
            )),
        );
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
                "light through all {panes} pane{}: {} % gets through",
                if panes == 1 { "" } else { "s" },
                short(through * 100.0)
            ),
        )
        .value(in_stops(through))
        .number("transmittance of all panes", through, "")
        .number("light through all panes", stops(through), "stops")
        .source(GLASS),
    );
}

/// A level that the lens can form no picture of; nothing else can be said of it.
fn too_near(stand: &Stand, sight: &Sight, level: LevelId, found: &mut Vec<Finding>) -> bool {
    let focal_length_mm = stand.lens.focal_length_mm;
    let distance_mm = sight.distance_mm(stand, level);
    let near = |severity, distance_mm: f64, says: String| {
        Finding::new(severity, About::Level(level), Aspect::FocalLength, says)
            .value(format!("{} mm", short(distance_mm)))
            .number("distance", distance_mm, "mm")
            .number("focal length", focal_length_mm, "mm")
            .source(THIN_LENS)
    };
    if distance_mm <= focal_length_mm {
        found.push(
            near(
                Severity::Forbids,
                distance_mm,
                format!(
                    "from the lens, which is not beyond the focal length of {} mm: no picture is formed",
                    short(focal_length_mm)
                ),
            )
            .advice("lower the level, or raise the lens; check `height` and `focal_length`"),
        );
        return true;
    }
    // As near as the lifts let them come.
    let lift = |of| {
        let axis = stand.axis(of, Way::Lift);
        axis.map_or((0.0, 0.0), |AxisId(axis)| stand.axes[axis].travel)
    };
    let raised = CarrierPose {
        lift_mm: lift(Carrier::Level(level)).1,
        ..CarrierPose::default()
    };
    let lowered = CarrierPose {
        lift_mm: lift(Carrier::Camera).0,
        ..CarrierPose::default()
    };
    let nearest = apparent_distance_mm(stand, level, &lowered, &raised);
    if nearest <= focal_length_mm {
        found.push(
            near(
                Severity::WorthKnowing,
                nearest,
                format!(
                    "from the lens where the lifts bring it nearest, within the focal length of {} mm: \
                     no picture is formed there",
                    short(focal_length_mm)
                ),
            )
            .advice("a plan refuses such a frame; shorten the lift's `travel` if it is never wanted"),
        );
    }
    false
}

fn seen(stand: &Stand, sight: &Sight, level: LevelId, found: &mut Vec<Finding>) {
    let lens = &stand.lens;
    let distance_mm = sight.distance_mm(stand, level);
    let magnified = sight.magnification(stand, level);
    // Were the lens focused on this level instead.
    let own = magnification(lens.focal_length_mm, distance_mm);
    let factor = exposure_factor(own);
    found.push(
        Finding::new(
            Severity::Fine,
            About::Level(level),
            Aspect::Magnification,
            format!(
                "from the lens, magnification {}: the picture shows {} x {} mm of it; focused on, it \
                 would be f/{} and {} times the exposure",
                short(magnified),
                short(lens.picture.width_mm / magnified),
                short(lens.picture.height_mm / magnified),
                short(effective_f_number(lens.f_number, own)),
                short(factor),
            ),
        )
        .value(format!("{} mm", short(distance_mm)))
        .number("distance", distance_mm, "mm")
        .number("magnification", magnified, "")
        .number("picture width", lens.picture.width_mm / magnified, "mm")
        .number("picture height", lens.picture.height_mm / magnified, "mm")
        .number("magnification when focused on", own, "")
        .number(
            "effective f-number when focused on",
            effective_f_number(lens.f_number, own),
            "",
        )
        .number("exposure factor when focused on", factor, "")
        .source(EXPOSURE),
    );
}

fn depth(stand: &Stand, sight: &Sight, level: LevelId, found: &mut Vec<Finding>) {
    let lens = &stand.lens;
    let (focal, f_number, circle) = (
        lens.focal_length_mm,
        lens.f_number,
        lens.circle_of_confusion_mm,
    );
    let per_mm = lens.picture.pixels_per_mm();
    let distance_mm = sight.distance_mm(stand, level);
    let depth = depth_of_field(focal, f_number, circle, sight.focus_mm);
    let own = depth_of_field(focal, f_number, circle, distance_mm);
    let own_magnified = magnification(focal, distance_mm);
    let blur = blur_mm(focal, f_number, sight.focus_mm, distance_mm);
    let airy = airy_diameter_mm(
        effective_f_number(f_number, magnification(focal, sight.focus_mm)),
        GREEN_MM,
    );
    let total = together_mm(blur, airy);
    let reached = depth.reaches(distance_mm);
    // Within a tenth of life size the approximation for close work agrees; beyond it means nothing.
    let close_up =
        (own_magnified > 0.1).then(|| close_up_depth_mm(f_number, circle, own_magnified));
    let mut finding = Finding::new(
        if reached {
            Severity::Fine
        } else {
            Severity::WorthKnowing
        },
        About::Level(level),
        Aspect::DepthOfField,
        format!(
            "{}: the lens, focused at {} mm, is sharp from {} to {} mm; {} px with diffraction",
            if reached {
                "of blur, within the depth of field"
            } else {
                "of blur, beyond the depth of field"
            },
            short(sight.focus_mm),
            short(depth.near_mm),
            short(depth.far_mm),
            short(total * per_mm),
        ),
    )
    .value(format!("{} px", short(blur * per_mm)))
    .number("distance", distance_mm, "mm")
    .number("near", depth.near_mm, "mm")
    .number("far", depth.far_mm, "mm")
    .number("blur", blur * per_mm, "px")
    .number("blur on the sensor", blur, "mm")
    .number("diffraction", airy * per_mm, "px")
    .number("blur with diffraction", total * per_mm, "px")
    .number("near when focused on", own.near_mm, "mm")
    .number("far when focused on", own.far_mm, "mm")
    .source(DEPTH)
    .unless_fine(
        "fine if it is meant to be soft; else focus between the levels, or close the lens",
    );
    if let Some(close_up) = close_up {
        finding = finding.number("close-up depth when focused on", close_up, "mm");
    }
    found.push(finding);
}

/// Panes between the lens and a level's art.
fn light(stand: &Stand, level: LevelId, found: &mut Vec<Finding>) {
    let own = &stand.levels[level.0].pane;
    let above = stand.levels[..level.0].iter().map(|level| level.pane.index);
    let through_own = (own.art == Face::Under).then_some(own.index);
    let panes = above.chain(through_own);
    let count = panes.clone().count();
    let through = pile_transmittance(panes);
    let pane = pane_transmittance(own.index);
    let lost = -stops(through);
    found.push(
        Finding::new(
            if lost >= CLICK {
                Severity::WorthKnowing
            } else {
                Severity::Fine
            },
            About::Level(level),
            Aspect::Light,
            format!(
                "light from it to the lens through {count} pane{}; its own pane {} {}",
                if count == 1 { "" } else { "s" },
                if own.art == Face::Under {
                    "is one of them and takes"
                } else {
                    "takes from those below"
                },
                in_stops(pane),
            ),
        )
        .value(in_stops(through))
        .number("panes", count as f64, "")
        .number("transmittance", through, "")
        .number("light", stops(through), "stops")
        .number("light through its own pane", stops(pane), "stops")
        .source(GLASS)
        .unless_fine("light this level more than those above it, or paint it lighter by as much"),
    );
}

/// Whether the pane's edge comes into the picture at the ends of the level's and the camera's travel.
fn edge(stand: &Stand, sight: &Sight, level: LevelId, found: &mut Vec<Finding>) {
    let pane = &stand.levels[level.0].pane;
    let picture = &stand.lens.picture;
    let magnified = sight.magnification(stand, level);
    for (way, pane_mm, picture_mm, across) in [
        (Way::East, pane.width_mm, picture.width_mm, "wide"),
        (Way::North, pane.height_mm, picture.height_mm, "high"),
    ] {
        let seen_mm = picture_mm / magnified;
        let spare = (pane_mm - seen_mm) / 2.0;
        // The farthest from the middle that level and camera get to, away from each other.
        let travel = |of| {
            let axis = stand.axis(of, way);
            axis.map_or((0.0, 0.0), |AxisId(axis)| stand.axes[axis].travel)
        };
        let (own, camera) = (travel(Carrier::Level(level)), travel(Carrier::Camera));
        let farthest = (own.1 - camera.0).max(camera.1 - own.0);
        let (severity, says, advice) = if spare < 0.0 {
            (
                Severity::Warning,
                format!(
                    "the pane is {} mm {across}, the picture {} mm: its edges are seen at its zero",
                    short(pane_mm),
                    short(seen_mm)
                ),
                Some("take a larger pane, or bring the level nearer to the lens".to_owned()),
            )
        } else if farthest > spare + 1e-9 {
            (
                Severity::WorthKnowing,
                format!(
                    "from zero until an edge of the pane comes into the picture; the axes go up to {} mm",
                    short(farthest)
                ),
                Some(format!(
                    "keep within it, or take a pane {} mm {across}",
                    short((seen_mm + 2.0 * farthest).ceil())
                )),
            )
        } else {
            (
                Severity::Fine,
                format!(
                    "from zero until an edge of the pane comes into the picture, {} and {}",
                    way.words()[0],
                    way.words()[2]
                ),
                None,
            )
        };
        let mut finding = Finding::new(severity, About::Level(level), Aspect::PaneEdge, says)
            .value(format!("{} mm", short(spare)))
            .number("pane", pane_mm, "mm")
            .number("picture", seen_mm, "mm")
            .number("spare", spare, "mm")
            .number("farthest", farthest, "mm")
            .source(FILE);
        finding.advice = advice;
        found.push(finding);
    }
}

/// Whether the lens's ring, where a motor or a person turns it, reaches a level.
fn ring(stand: &Stand, sight: &Sight, level: LevelId, found: &mut Vec<Finding>) {
    let Some(AxisId(axis)) = stand.axis(Carrier::Camera, Way::Focus) else {
        return;
    };
    let table = &stand.axes[axis].focus_table;
    let (Some(&(_, least)), Some(&(_, greatest))) = (table.first(), table.last()) else {
        return;
    };
    let distance_mm = sight.distance_mm(stand, level);
    let reached = (least..=greatest).contains(&distance_mm);
    found.push(
        Finding::new(
            if reached {
                Severity::Fine
            } else {
                Severity::WorthKnowing
            },
            About::Level(level),
            Aspect::FocusTable,
            format!(
                "{} the focus axis's table, which goes from {} to {} mm",
                if reached { "within" } else { "beyond" },
                short(least),
                short(greatest)
            ),
        )
        .value(format!("{} mm", short(distance_mm)))
        .number("distance", distance_mm, "mm")
        .number(
            "image distance",
            image_distance_mm(stand.lens.focal_length_mm, distance_mm),
            "mm",
        )
        .source(PRACTICE)
        .unless_fine("focus cannot be pulled to this level; measure more rows of the table"),
    );
}
