//! The checks that every frame has to pass, and what is gathered on the way.

use crate::plan::axes::{PlannedAxis, Setting, Target, position};
use crate::plan::geometry::{FramePose, Geometry};
use crate::plan::refusals::{Fault, Refusals};
use crate::plan::report::{AxisReport, LevelReport, MissingAxis, Report, TOLERATED_PIXELS};
use crate::stand::{Carrier, CarrierPose, Drive, Face, LevelId, Pane, Stand, StandPose, Way};

/// Goes through the shot picture by picture. Its size does not grow with the frames.
pub(crate) struct Checks {
    refusals: Refusals,
    report: Report,
    axes: Vec<AxisSlots>,
    levels: Vec<LevelSlots>,
    /// The camera's lift at the picture before, and the slack that it takes up, mm.
    camera: (f64, f64),
    missing: Vec<Missing>,
    f_number: f64,
    frame: u32,
    held: u32,
    first: bool,
}

/// Where the refusals of an axis have gone.
#[derive(Default)]
struct AxisSlots {
    not_finite: Option<usize>,
    beyond: Option<usize>,
    take_up: Option<usize>,
    before: f64,
    /// How far it went to the picture before, from the second picture on.
    went: Option<f64>,
}

#[derive(Default)]
struct LevelSlots {
    walks_through: Option<usize>,
    not_finite: Option<usize>,
    above_lens: Option<usize>,
    touches_below: Option<usize>,
    /// Lift at the picture before.
    lift_before: f64,
    /// Slack that the lift takes up, mm.
    take_up: f64,
    /// Whether this level's lift and the next one's go in step: the same board moves both, or at
    /// least one of them does not move.
    in_step_with_next: bool,
    /// Where the middle was in the picture before, mm.
    place: (f64, f64),
}

/// A way that a carrier has no axis for.
struct Missing {
    of: Carrier,
    way: Way,
    refusal: Option<usize>,
    pixels: f64,
    frame: u32,
}

impl Checks {
    pub(crate) fn new(stand: &Stand, axes: &[PlannedAxis]) -> Self {
        let report = Report {
            levels: stand
                .levels
                .iter()
                .map(|level| LevelReport {
                    level: level.name.clone(),
                    size_error_frame: 1,
                    travel_frame: 1,
                    ..LevelReport::default()
                })
                .collect(),
            axes: axes
                .iter()
                .map(|axis| AxisReport {
                    of: stand.carrier_name(axis.of).to_owned(),
                    direction: axis.way.name(),
                    unit: axis.way.unit().sign(),
                    least: f64::INFINITY,
                    greatest: f64::NEG_INFINITY,
                    largest_move_frame: 1,
                    largest_change_frame: 1,
                    ..AxisReport::default()
                })
                .collect(),
            missing: Vec::new(),
        };
        let carriers = (0..stand.levels.len())
            .map(|level| Carrier::Level(LevelId(level)))
            .chain([Carrier::Camera]);
        let missing = carriers
            .flat_map(|of| {
                [Way::East, Way::North, Way::Lift, Way::Turn].map(|way| Missing {
                    of,
                    way,
                    refusal: None,
                    pixels: 0.0,
                    frame: 1,
                })
            })
            .filter(|missing| stand.axis(missing.of, missing.way).is_none())
            .collect();
        Self {
            refusals: Refusals::default(),
            report,
            axes: axes.iter().map(|_| AxisSlots::default()).collect(),
            levels: level_slots(stand, axes),
            camera: (0.0, take_up_mm(stand, axes, Carrier::Camera)),
            missing,
            f_number: stand.lens.f_number,
            frame: 1,
            held: 1,
            first: true,
        }
    }

    /// Begins a picture that is held for `held` frames from `frame`.
    pub(crate) fn begin(&mut self, frame: u32, held: u32) {
        self.first = frame == 1;
        self.frame = frame;
        self.held = held;
    }

    /// Whether every level can be where the story wants it; where not, nothing else about the
    /// frame can be said.
    pub(crate) fn levels(&mut self, stand: &Stand, pose: &FramePose) -> bool {
        let mut sound = true;
        for ((slots, view), level) in self.levels.iter_mut().zip(&pose.levels).zip(&stand.levels) {
            let name = || level.name.clone();
            if view.story_mm <= 0.0 {
                sound = false;
                self.refusals.add_at(
                    &mut slots.walks_through,
                    self.frame,
                    self.held,
                    -view.story_mm,
                    || Fault::WalksThrough {
                        level: name(),
                        distance_mm: view.story_mm,
                    },
                );
            } else if !view.wanted_mm.is_finite() || !view.distance_mm.is_finite() {
                sound = false;
                self.refusals
                    .add_at(&mut slots.not_finite, self.frame, self.held, 0.0, || {
                        Fault::NotFinite { axis: name() }
                    });
            } else if view.wanted_mm <= 0.0 || view.distance_mm <= 0.0 {
                sound = false;
                self.refusals.add_at(
                    &mut slots.above_lens,
                    self.frame,
                    self.held,
                    -view.wanted_mm.min(view.distance_mm),
                    || Fault::AboveLens {
                        level: name(),
                        gap_mm: view.wanted_mm.min(view.distance_mm),
                    },
                );
            }
        }
        sound
    }

    /// The target of an axis that must stand at a position.
    pub(crate) fn axis(
        &mut self,
        index: usize,
        axis: &PlannedAxis,
        position: f64,
        geometry: &Geometry,
        pose: &FramePose,
    ) -> Target {
        let slots = &mut self.axes[index];
        let (frame, held) = (self.frame, self.held);
        let nowhere = match axis.setting {
            Setting::Steps { .. } => Target::Steps(0),
            Setting::Scale { .. } => Target::Position(0.0),
        };
        if !position.is_finite() {
            self.refusals
                .add_at(&mut slots.not_finite, frame, held, 0.0, || {
                    match geometry.ring_reach() {
                        Some((least_mm, greatest_mm)) if axis.way == Way::Focus => {
                            Fault::BeyondFocusTable {
                                distance_mm: pose.stand.focus_mm,
                                least_mm,
                                greatest_mm,
                            }
                        }
                        _ => Fault::NotFinite {
                            axis: axis.name.clone(),
                        },
                    }
                });
            return nowhere;
        }
        let Some(target) = axis.target(position) else {
            self.refusals.add_at(
                &mut slots.beyond,
                frame,
                held,
                (axis.travel.0 - position).max(position - axis.travel.1),
                || Fault::BeyondTravel {
                    axis: axis.name.clone(),
                    position,
                    least: axis.travel.0,
                    greatest: axis.travel.1,
                    unit: axis.way.unit().sign(),
                },
            );
            return nowhere;
        };
        if let (
            Setting::Steps {
                per_unit,
                least,
                take_up,
                ..
            },
            Target::Steps(steps),
        ) = (axis.setting, target)
        {
            // Asked of every frame, not only of those that the shot reaches from above: a take
            // that is resumed may come to any frame from anywhere.
            if i64::from(steps) - i64::from(take_up) < i64::from(least) {
                self.refusals.add_at(
                    &mut slots.take_up,
                    frame,
                    held,
                    axis.travel.0 - position,
                    || Fault::NoRoomForTakeUp {
                        axis: axis.name.clone(),
                        position,
                        take_up: f64::from(take_up) / per_unit,
                        least: axis.travel.0,
                        unit: axis.way.unit().sign(),
                    },
                );
            }
        }
        let reached = axis.reached(target);
        let report = &mut self.report.axes[index];
        report.least = report.least.min(reached);
        report.greatest = report.greatest.max(reached);
        let goes = reached - slots.before;
        if !self.first {
            if goes.abs() > report.largest_move {
                report.largest_move = goes.abs();
                report.largest_move_frame = frame;
            }
            let change = slots.went.map_or(0.0, |went| (goes - went).abs());
            if change > report.largest_change {
                report.largest_change = change;
                report.largest_change_frame = frame;
            }
            slots.went = Some(goes);
        }
        slots.before = reached;
        let pixels_per_unit = geometry.pixels_per_unit(pose, axis.of, axis.way);
        let pixels = (reached - position).abs() * pixels_per_unit;
        report.rounding_pixels = report.rounding_pixels.max(pixels);
        let smallest = match axis.setting {
            Setting::Steps { per_unit, .. } => 1.0 / per_unit,
            Setting::Scale { division } => division,
        };
        let costs = match axis.way {
            Way::Focus => geometry.ring_error_pixels(pose, smallest, self.f_number),
            _ => smallest * pixels_per_unit,
        };
        report.step_pixels = report.step_pixels.max(costs);
        target
    }

    /// Moves that need an axis which is not there. A lift that is missing shows as a size error,
    /// which is reported; only a lift that the shot asks for by itself is refused.
    pub(crate) fn missing(&mut self, stand: &Stand, geometry: &Geometry, pose: &FramePose) {
        for missing in &mut self.missing {
            let amount = match (missing.of, missing.way) {
                (Carrier::Level(LevelId(level)), Way::Lift) => pose.levels[level].own_lift_mm,
                (of, way) => position(&pose.stand, of, way),
            };
            if amount == 0.0 {
                continue;
            }
            let pixels = amount.abs() * geometry.pixels_per_unit(pose, missing.of, missing.way);
            if pixels <= TOLERATED_PIXELS {
                if pixels > missing.pixels {
                    missing.pixels = pixels;
                    missing.frame = self.frame;
                }
                continue;
            }
            self.refusals
                .add_at(&mut missing.refusal, self.frame, self.held, pixels, || {
                    Fault::NoAxis {
                        of: stand.carrier_name(missing.of).to_owned(),
                        way: missing.way.name(),
                        amount,
                        unit: missing.way.unit().sign(),
                        pixels,
                    }
                });
        }
    }

    /// Whether glass would touch glass or the lens, here or on the way here.
    ///
    /// All axes of one board's move start and end together and have gone the same part of their
    /// way at every moment. The height between two levels therefore runs straight from the one
    /// picture to the next and is least at one of the two ends, or where the upper level dips to
    /// take up its slack. Levels on different boards, and those moved by hand, may arrive in any
    /// order: there the upper one is taken at its lowest and the lower one at its highest.
    pub(crate) fn heights(&mut self, stand: &Stand, reached: &StandPose) {
        let (frame, held) = (self.frame, self.held);
        let camera = reached.camera.lift_mm;
        let camera_before = if self.first { camera } else { self.camera.0 };
        // Nothing is gained by cutting it fine here: the lens counts at its lowest and the level
        // at its highest, whichever of them comes first.
        let lens_mm = stand.lens.height_mm + camera.min(camera_before) - self.camera.1;
        self.camera.0 = camera;
        let mut above: Option<(usize, f64, f64)> = None;
        for (index, (level, pose)) in stand.levels.iter().zip(&reached.levels).enumerate() {
            let (under, upper) = body(&level.pane);
            let lift = pose.lift_mm;
            let before = if self.first {
                lift
            } else {
                self.levels[index].lift_before
            };
            let top = level.height_mm + upper;
            let gap_mm = lens_mm - (top + before.max(lift));
            if gap_mm <= 0.0 {
                let slots = &mut self.levels[index];
                self.refusals
                    .add_at(&mut slots.above_lens, frame, held, -gap_mm, || {
                        Fault::AboveLens {
                            level: level.name.clone(),
                            gap_mm,
                        }
                    });
            }
            if let Some((upper_index, bottom_before, bottom)) = above {
                let slots = &mut self.levels[upper_index];
                // Asked of every picture, as the room for it is: from the home switch, or in a
                // take that is resumed, the level may come to any of them from above.
                let dip = slots.take_up;
                let gap_mm = if slots.in_step_with_next {
                    (bottom_before - (top + before)).min(bottom - dip - (top + lift))
                } else {
                    bottom_before.min(bottom - dip) - (top + before.max(lift))
                };
                // Rounding of the sums must not refuse a stand built to the clearance itself.
                if gap_mm < stand.clearance_mm - 1e-9 {
                    self.refusals
                        .add_at(&mut slots.touches_below, frame, held, -gap_mm, || {
                            Fault::Touch {
                                upper: stand.levels[upper_index].name.clone(),
                                lower: level.name.clone(),
                                gap_mm,
                                clearance_mm: stand.clearance_mm,
                            }
                        });
                }
            }
            let bottom = level.height_mm + under;
            above = Some((index, bottom + before, bottom + lift));
            self.levels[index].lift_before = lift;
        }
    }

    /// What the picture shows of the plan: sizes that are off, and how far things go.
    pub(crate) fn picture(&mut self, geometry: &Geometry, pose: &FramePose) {
        let pixels_per_mm = geometry.pixels_per_mm();
        let camera = &pose.stand.camera;
        let (sin, cos) = camera.turn_degrees.to_radians().sin_cos();
        for (index, (view, place)) in pose.levels.iter().zip(&pose.stand.levels).enumerate() {
            let report = &mut self.report.levels[index];
            let error = view.size_error();
            if error.abs() * 100.0 > report.size_error_percent.abs() {
                report.size_error_percent = error * 100.0;
                report.size_error_pixels = error * geometry.corner_mm() * pixels_per_mm;
                report.size_error_frame = self.frame;
            }
            let scale = pose.image_mm / view.distance_mm;
            let (x, y) = offset(place, camera);
            let here = (scale * (cos * x + sin * y), scale * (cos * y - sin * x));
            let slots = &mut self.levels[index];
            let step = (here.0 - slots.place.0).hypot(here.1 - slots.place.1) * pixels_per_mm;
            if !self.first && step > report.travel_pixels {
                report.travel_pixels = step;
                report.travel_frame = self.frame;
            }
            slots.place = here;
        }
    }

    /// The report, or everything that speaks against the plan.
    pub(crate) fn finish(mut self) -> Result<Report, Refusals> {
        if !self.refusals.is_empty() {
            return Err(self.refusals);
        }
        self.report.missing = self
            .missing
            .iter()
            .filter(|missing| missing.pixels > 0.0)
            .map(|missing| MissingAxis {
                of: match missing.of {
                    Carrier::Level(LevelId(level)) => self.report.levels[level].level.clone(),
                    Carrier::Camera => "camera".to_owned(),
                },
                direction: missing.way.name(),
                pixels: missing.pixels,
                frame: missing.frame,
            })
            .collect();
        Ok(self.report)
    }
}

fn offset(place: &CarrierPose, camera: &CarrierPose) -> (f64, f64) {
    (
        place.east_mm - camera.east_mm,
        place.north_mm - camera.north_mm,
    )
}

/// Lowest and highest of a pane's glass, from its painted face, mm.
pub(super) fn body(pane: &Pane) -> (f64, f64) {
    match pane.art {
        Face::Upper => (-pane.thickness_mm, 0.0),
        Face::Under => (0.0, pane.thickness_mm),
    }
}

/// How far a carrier's lift dips to take up its drive's slack, mm.
fn take_up_mm(stand: &Stand, axes: &[PlannedAxis], of: Carrier) -> f64 {
    stand
        .axis(of, Way::Lift)
        .map_or(0.0, |axis| match axes[axis.0].setting {
            Setting::Steps {
                per_unit, take_up, ..
            } => f64::from(take_up) / per_unit,
            Setting::Scale { .. } => stand.axes[axis.0].backlash,
        })
}

fn level_slots(stand: &Stand, axes: &[PlannedAxis]) -> Vec<LevelSlots> {
    let lift = |level: usize| stand.axis(Carrier::Level(LevelId(level)), Way::Lift);
    let board = |level: usize| {
        lift(level).map(|axis| match &stand.axes[axis.0].drive {
            Drive::Motor(motor) => Some(motor.board),
            Drive::Hand { .. } => None,
        })
    };
    (0..stand.levels.len())
        .map(|level| LevelSlots {
            take_up: take_up_mm(stand, axes, Carrier::Level(LevelId(level))),
            in_step_with_next: match (board(level), board(level + 1)) {
                (Some(this), Some(next)) => this.is_some() && this == next,
                _ => true,
            },
            ..LevelSlots::default()
        })
        .collect()
}
