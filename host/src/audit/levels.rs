//! What the lens makes of every level: depth, light, edges.

use super::glance::seen_through;
use super::lens::{CLICK, EXPOSURE, GLASS, THIN_LENS};
use super::{About, Aspect, FILE, Finding, Severity, Sight, in_stops, short};
use crate::optics::depth::{
    GREEN_MM, airy_diameter_mm, blur_mm, close_up_depth_mm, depth_of_field, effective_f_number,
    exposure_factor, together_mm,
};
use crate::optics::light::{pane_transmittance, stops};
use crate::optics::{apparent_distance_mm, image_distance_mm, magnification};
use crate::stand::{AxisId, Carrier, CarrierPose, Face, Level, LevelId, Stand, Way};

const DEPTH: &str = "exact thin lens, hyperfocal distance f²/(Nc) + f: any optics handbook";

pub(super) fn levels(stand: &Stand, sight: &Sight, found: &mut Vec<Finding>) {
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

/// A level that the lens can form no picture of; nothing else can be said of it.
fn too_near(stand: &Stand, sight: &Sight, level: LevelId, found: &mut Vec<Finding>) -> bool {
    let focal_length_mm = stand.lens.focal_length_mm;
    let name = &stand.levels[level.0].name;
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
                    "{name} is {} mm from the lens, not beyond the focal length of {} mm: no picture of it \
                     is formed",
                    short(distance_mm),
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
                    "{name} comes to {} mm from the lens where the lifts bring it nearest; within the focal \
                     length of {} mm no picture of it is formed",
                    short(nearest),
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
                "{} is {} mm from the lens and pictured at {} times its size: the picture shows {} x {} mm \
                 of it; focused on it, the lens would be at f/{} and need {} times the exposure",
                stand.levels[level.0].name,
                short(distance_mm),
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
            "{} is blurred by {} px, {} the depth of field: the lens, focused at {} mm, is sharp from \
             {} to {} mm; with diffraction the blur is {} px",
            stand.levels[level.0].name,
            short(blur * per_mm),
            if reached { "within" } else { "beyond" },
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
    let (count, through) = seen_through(stand, level);
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
                "the light from {} goes through {count} pane{} to the lens ({}){}; its own pane {} {}",
                stand.levels[level.0].name,
                if count == 1 { "" } else { "s" },
                in_stops(through),
                if count == 0 {
                    ""
                } else {
                    "; that of lamps above them comes down through them first, and loses as much again, or \
                     more at a slant"
                },
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
        .number("light from lamps above", 2.0 * stops(through), "stops")
        .number("light through its own pane", stops(pane), "stops")
        .source(GLASS)
        .unless_fine("light this level more than those above it, or paint it lighter: by as much where its lamps are \
             below those panes, by twice as much where they shine down through them"),
    );
}

/// Whether the pane's edge comes into the picture at the ends of the level's and the camera's travels:
/// sideways, and with the lifts where the lens sees most of the level. Turns are left out, and so is what
/// a pull of focus does to the size.
fn edge(stand: &Stand, sight: &Sight, level: LevelId, found: &mut Vec<Finding>) {
    let Level { name, pane, .. } = &stand.levels[level.0];
    let picture = &stand.lens.picture;
    let travel = |of, way| {
        let axis = stand.axis(of, way);
        axis.map_or((0.0, 0.0), |AxisId(axis)| stand.axes[axis].travel)
    };
    let this = Carrier::Level(level);
    let lifted = |lift_mm| CarrierPose {
        lift_mm,
        ..CarrierPose::default()
    };
    let raised = lifted(travel(Carrier::Camera, Way::Lift).1);
    let lowered = lifted(travel(this, Way::Lift).0);
    let farthest_mm = apparent_distance_mm(stand, level, &raised, &lowered);
    let lifts = farthest_mm > sight.distance_mm(stand, level) + 1e-9;
    let turns = [this, Carrier::Camera]
        .iter()
        .any(|&of| stand.axis(of, Way::Turn).is_some());
    let holds_for = match (lifts, turns) {
        (true, true) => ", with the lifts where they show most of it, and unturned",
        (true, false) => ", with the lifts where they show most of it",
        (false, true) => ", unturned",
        (false, false) => "",
    };
    for (way, pane_mm, picture_mm, across) in [
        (Way::East, pane.width_mm, picture.width_mm, "wide"),
        (Way::North, pane.height_mm, picture.height_mm, "high"),
    ] {
        let at_zero_mm = picture_mm / sight.magnification(stand, level);
        let seen_mm = picture_mm * farthest_mm / sight.image_mm;
        let spare = (pane_mm - seen_mm) / 2.0;
        // The farthest from the middle that level and camera get to, away from each other.
        let (own, camera) = (travel(this, way), travel(Carrier::Camera, way));
        let farthest = (own.1 - camera.0).max(camera.1 - own.0);
        let ends = format!("{} and {}", way.words()[0], way.words()[2]);
        let larger = || {
            format!(
                "keep within it, or take a pane {} mm {across}",
                short((seen_mm + 2.0 * farthest).ceil())
            )
        };
        let (severity, says, advice) = if pane_mm < at_zero_mm {
            (
                Severity::Warning,
                format!(
                    "the pane of {name} is {} mm {across}, the picture shows {} mm: its edges are seen with \
                     everything at its zero",
                    short(pane_mm),
                    short(at_zero_mm)
                ),
                Some("take a larger pane, or bring the level nearer to the lens".to_owned()),
            )
        } else if spare < 0.0 {
            (
                Severity::WorthKnowing,
                format!(
                    "the pane of {name} is {} mm {across}, the picture shows up to {} mm{holds_for}: its edges \
                     are seen there",
                    short(pane_mm),
                    short(seen_mm)
                ),
                Some(larger()),
            )
        } else if farthest > spare + 1e-9 {
            (
                Severity::WorthKnowing,
                format!(
                    "{ends}, an edge of the pane of {name} comes into the picture {} mm from zero{holds_for}; \
                     the axes go up to {} mm",
                    short(spare),
                    short(farthest)
                ),
                Some(larger()),
            )
        } else {
            (
                Severity::Fine,
                format!(
                    "{ends}, the edges of the pane of {name} stay out of the picture up to {} mm from \
                     zero{holds_for}; the axes go up to {} mm",
                    short(spare),
                    short(farthest)
                ),
                None,
            )
        };
        let mut finding = Finding::new(severity, About::Level(level), Aspect::PaneEdge, says)
            .value(format!("{} mm", short(spare)))
            .number("pane", pane_mm, "mm")
            .number("picture", at_zero_mm, "mm")
            .number("picture at most", seen_mm, "mm")
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
                "{}, {} mm from the lens, is {} the focus axis's table, which goes from {} to {} mm",
                stand.levels[level.0].name,
                short(distance_mm),
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
        .source(FILE)
        .unless_fine("focus cannot be pulled to this level; measure more rows of the table"),
    );
}
