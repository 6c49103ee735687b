//! From the demonstration's two files to its plan: numbers worked out by hand from the geometry
//! (`s`, `D`, `a`, `X`, `Z` as in `panestep::plan::geometry`).

use std::path::Path;

use panestep::file;
use panestep::plan::Plan;
use panestep::stand::{Carrier, LevelId, Way};

/// Position of an axis in steps at a frame.
struct Planned {
    stand: panestep::stand::Stand,
    plan: Plan,
}

impl Planned {
    fn steps(&self, frame: u32, level: usize, way: Way) -> i32 {
        let axis = self
            .stand
            .axis(Carrier::Level(LevelId(level)), way)
            .expect("the demonstration's axis");
        // All of its axes have motors.
        self.plan.schedule().motors_at(frame).expect("a frame")[axis.0]
    }
}

fn planned() -> Planned {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host/demo/shot.toml");
    let (stand, shot) = file::read_shot(demo).unwrap_or_else(|problems| panic!("{problems}"));
    let plan = Plan::new(&stand, &shot).unwrap_or_else(|refusals| panic!("{refusals}"));
    Planned { stand, plan }
}

#[test]
fn the_demonstrations_positions_are_those_worked_out_by_hand() {
    let demo = planned();
    let geometry = demo.plan.geometry();
    // Each pane of 6 mm with index 1.52 makes what is below it appear nearer by
    // 6 (1 - 1/1.52) = 2.0526316 mm; the art is on the upper faces. The lens is at 1400 mm.
    let glass = 6.0 * (1.0 - 1.0 / 1.52);
    for (level, apparent, story) in [
        (0, 1400.0 - 880.0, 4_000.0),
        (1, 1400.0 - 680.0 - glass, 20_000.0),
        (2, 1400.0 - 500.0 - 2.0 * glass, 150_000.0),
        (3, 1400.0 - 360.0 - 3.0 * glass, 4_000_000.0),
    ] {
        let size = geometry.painted_size(LevelId(level));
        assert!((size - apparent / story).abs() < 1e-15, "level {level}");
    }
    assert_eq!(geometry.painted_size(LevelId(4)), 0.0, "the sky is far");

    // Frame 1: nothing has moved.
    for (level, way) in [
        (0, Way::East),
        (0, Way::Lift),
        (1, Way::East),
        (1, Way::Lift),
        (2, Way::East),
        (3, Way::East),
    ] {
        assert_eq!(demo.steps(1, level, way), 0);
    }

    // Frame 120: X = 800, Z = 900 story mm. Screws of 8 mm sideways: 400 steps a mm; of 5 mm for
    // lifts: 640 steps a mm.
    // Reeds: a = 520/4000 = 0.13. East -0.13 x 800 = -104 mm; lift 0.13 x 900 = 117 mm.
    assert_eq!(demo.steps(120, 0, Way::East), -41_600);
    assert_eq!(demo.steps(120, 0, Way::Lift), 74_880);
    // Skiffs: a = 717.9473684/20000 = 0.0358973684. East -28.7178947 mm = -11487.16 steps; lift
    // 32.3076316 mm = 20676.88 steps.
    assert_eq!(demo.steps(120, 1, Way::East), -11_487);
    assert_eq!(demo.steps(120, 1, Way::Lift), 20_677);
    // Headland, no lift: it stays at s0 = 895.8947368 mm, where it should be at s0 (D - Z)/D. East
    // -s0 X/(D - Z) = -895.8947368 x 800/149100 = -4.8069470 mm = -1922.78 steps.
    assert_eq!(demo.steps(120, 2, Way::East), -1_923);
    // Clouds, no lift: s0 = 1033.8421053 mm, a X = 0.2067684 mm, and their own move of
    // 119 x 0.25 = 29.75 mm; (29.75 - 0.2067684) x 4000000/3999100 = 29.5498805 mm =
    // 11819.95 steps.
    assert_eq!(demo.steps(120, 3, Way::East), 11_820);

    // Frame 25, at the end of the first fairing: 24 frames at half the speed on the average,
    // of 119 - 24 = 95 frames' worth in all. X = 800 x 12/95 = 101.0526316, Z = 113.6842105 mm.
    // Reeds: -13.1368421 mm = -5254.74 steps; 14.7789474 mm = 9458.53 steps.
    assert_eq!(demo.steps(25, 0, Way::East), -5_255);
    assert_eq!(demo.steps(25, 0, Way::Lift), 9_459);
    // And as far from the end at frame 96: X = 698.9473684: -90.8631579 mm = -36345.26 steps.
    assert_eq!(demo.steps(96, 0, Way::East), -36_345);
}

#[test]
fn the_demonstration_reports_the_headlands_missing_lift() {
    let demo = planned();
    let report = demo.plan.report();
    // It should grow by D/(D - Z) but does not: s/s0 - 1 = -Z/D = -900/150000 = -0.6 %. The
    // corner of 1920 x 1080 pixels is 1101.45 pixels from the middle: 6.61 of them.
    let headland = &report.levels[2];
    assert_eq!(headland.level, "headland");
    assert!((headland.size_error_percent + 0.6).abs() < 1e-9);
    assert!((headland.size_error_pixels + 0.006 * 960.0_f64.hypot(540.0)).abs() < 1e-6);
    assert_eq!(headland.size_error_frame, 120);
    for level in [0, 1, 4] {
        assert!(report.levels[level].size_error_percent.abs() < 1e-9);
    }
}
