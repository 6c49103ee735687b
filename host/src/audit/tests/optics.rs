//! Lens, depth, light.

use super::*;

/// slideplayer.com/5823246 (seen): 50 mm, circle of 0.001 in, marked f-numbers, feet, without the
/// focal length itself.
#[test]
fn hyperfocal_table() {
    for (f_number, feet) in [
        (1.4, 230.7),
        (2.0, 161.5),
        (2.8, 115.3),
        (5.6, 57.7),
        (11.0, 29.4),
        (32.0, 10.1),
    ] {
        let stand = handbook(50.0, f_number, 0.0254, 1000.0);
        let found = one(&stand, About::Lens, Aspect::CircleOfConfusion);
        near(
            (number(&found, "hyperfocal distance") - 50.0) / 304.8,
            feet,
            0.051,
        );
    }
}

/// Encyclopedia article "Hyperfocal distance" (a mirror seen): 50 mm at f/8 with 0.03 mm: 10 467 mm;
/// focused there, sharp from 5233 mm on.
#[test]
fn depth_of_field_at_the_hyperfocal_distance() {
    let stand = handbook(50.0, 8.0, 0.03, 10_467.0);
    let found = one(&stand, LEVEL, Aspect::DepthOfField);
    near(number(&found, "near"), 5233.0, 1.0);
    near(number(&found, "near when focused on"), 5233.0, 1.0);
    assert!(number(&found, "far") > 1e8, "{found:?}");
    assert_eq!(number(&found, "blur"), 0.0);
}

/// photomacrography.net, topic 35788 (seen): 0.018 mm, fivefold, f/2.8 and f/4: 0.0242, 0.0346 mm.
#[test]
fn close_up_depth() {
    for (f_number, depth_mm) in [(2.8, 0.0242), (4.0, 0.0346)] {
        let stand = handbook(50.0, f_number, 0.018, 50.0 * 1.2);
        let found = one(&stand, LEVEL, Aspect::DepthOfField);
        near(
            number(&found, "close-up depth when focused on"),
            depth_mm,
            5e-5,
        );
        let exact = number(&found, "far when focused on") - number(&found, "near when focused on");
        near(exact, depth_mm, 5e-5);
    }
}

/// Life size at f/8: f/16, four times the exposure, 2 stops (tools.gera.services, seen); 80 mm at
/// half size: 2.25 (Langford, seen).
#[test]
fn exposure_factors() {
    let life_size = handbook(100.0, 8.0, 0.03, 200.0);
    let found = one(&life_size, About::Lens, Aspect::Exposure);
    near(number(&found, "effective f-number"), 16.0, 1e-9);
    near(number(&found, "exposure factor"), 4.0, 1e-9);
    near(number(&found, "exposure"), 2.0, 1e-9);
    assert_eq!(found.severity, Severity::WorthKnowing);
    assert!(found.source.contains("pupil magnification of 1"));
    let half = handbook(80.0, 16.0, 0.03, 240.0);
    let found = one(&half, LEVEL, Aspect::Magnification);
    near(number(&found, "magnification"), 0.5, 1e-9);
    near(
        number(&found, "exposure factor when focused on"),
        2.25,
        1e-9,
    );
    let far = handbook(50.0, 8.0, 0.03, 5000.0);
    assert_eq!(bad(&far, About::Lens, Aspect::Exposure), Severity::Fine);
}

/// codingace.net (seen): 5.37 µm at 550 nm and f/4.
#[test]
fn diffraction() {
    let stand = handbook(50.0, 4.0, 0.03, 1e7);
    let found = one(&stand, About::Lens, Aspect::Diffraction);
    near(
        number(&found, "diffraction on the sensor") * 1000.0,
        5.37,
        0.005,
    );
    assert_eq!(found.severity, Severity::Fine);
    let closed = handbook(50.0, 64.0, 0.03, 1e7);
    assert_eq!(
        bad(&closed, About::Lens, Aspect::Diffraction),
        Severity::WorthKnowing
    );
}

/// Panes of n = 1.52: our own arithmetic by Stokes' formula (from memory), nothing that he printed;
/// `optics::light` checks it pane by pane.
#[test]
fn a_pile_of_panes() {
    let by_formula = [0.9183, 0.8490, 0.7894, 0.7376, 0.6922, 0.6520];
    let mut stand = stand();
    let mut pane = stand.levels[0].clone();
    stand.axes.clear();
    stand.levels.clear();
    stand.lens.focus = LevelId(0);
    for at in 0..6 {
        pane.height_mm = 1000.0 - 100.0 * f64::from(at);
        stand.levels.push(pane.clone());
    }
    let found = one(&stand, About::Lens, Aspect::Light);
    near(number(&found, "transmittance of all panes"), 0.6520, 5e-5);
    for level in 1..6 {
        let found = one(&stand, About::Level(LevelId(level)), Aspect::Light);
        assert_eq!(number(&found, "panes"), level as f64);
        near(number(&found, "transmittance"), by_formula[level - 1], 5e-5);
        // A third of a stop is a click of a lens: three panes take it.
        assert_eq!(found.severity == Severity::Fine, level < 3, "{found:?}");
    }
    // Painted on the under side, the art is seen through its own pane too.
    stand.levels[0].pane.art = Face::Under;
    let found = one(&stand, LEVEL, Aspect::Light);
    near(number(&found, "transmittance"), 0.9183, 5e-5);
    near(number(&found, "light through its own pane"), -0.1230, 5e-4);
}

#[test]
fn a_circle_that_is_not_sharp_at_full_size() {
    let mut stand = stand();
    let circle = |stand: &Stand| bad(stand, About::Lens, Aspect::CircleOfConfusion);
    assert_eq!(circle(&stand), Severity::WorthKnowing);
    stand.lens.circle_of_confusion_mm = 0.01;
    assert_eq!(circle(&stand), Severity::Fine);
}

#[test]
fn the_f_number_at_which_the_worst_level_is_sharpest() {
    let mut stand = stand();
    let found = one(&stand, About::Lens, Aspect::SharpestFNumber);
    assert_eq!(found.severity, Severity::WorthKnowing);
    assert!(number(&found, "blur there") < number(&found, "blur as it is"));
    stand.lens.f_number = number(&found, "sharpest f-number");
    let found = one(&stand, About::Lens, Aspect::SharpestFNumber);
    assert_eq!(found.severity, Severity::Fine);
    // Where the worst is sharpest, blur and diffraction are equal.
    let worst = one(&stand, LEVEL, Aspect::DepthOfField);
    near(number(&worst, "blur"), number(&worst, "diffraction"), 1e-6);
    // Hardly a lens closes as far as a level near the focus and much depth ask for.
    let far = handbook(50.0, 8.0, 0.03, 700.0);
    let mut near_focus = far.clone();
    near_focus.levels.push(far.levels[0].clone());
    near_focus.levels[1].height_mm = 8.25;
    near_focus.levels[1].pane.thickness_mm = 0.1;
    for (stand, words) in [
        (&near_focus, "few lenses open"),
        (&self::stand(), "few lenses close"),
    ] {
        let found = one(stand, About::Lens, Aspect::SharpestFNumber);
        let advice = found.advice.expect("advice");
        assert!(advice.contains(words), "{advice}");
    }
    // All in focus: no f-number is the best.
    let flat = handbook(50.0, 8.0, 0.03, 700.0);
    assert!(all(&flat, About::Lens, Aspect::SharpestFNumber).is_empty());
}

#[test]
fn depth_of_field_that_does_not_reach_a_level() {
    let stand = stand();
    let depth = |level| bad(&stand, About::Level(LevelId(level)), Aspect::DepthOfField);
    assert_eq!(depth(0), Severity::WorthKnowing);
    assert_eq!(depth(1), Severity::Fine);
}

#[test]
fn a_level_within_the_focal_length() {
    let mut stand = stand();
    assert!(all(&stand, LEVEL, Aspect::FocalLength).is_empty());
    // By its lift only.
    let mut lifted = with_lift(0, None).0;
    lifted.axes.last_mut().expect("the lift").travel = (-10.0, 360.0);
    assert_eq!(
        bad(&lifted, LEVEL, Aspect::FocalLength),
        Severity::WorthKnowing
    );
    stand.levels[0].height_mm = 1560.0;
    assert_eq!(bad(&stand, LEVEL, Aspect::FocalLength), Severity::Forbids);
    assert!(all(&stand, LEVEL, Aspect::DepthOfField).is_empty());
    // The level in focus itself: nothing can be told of what the lens sees.
    stand.lens.focus = LevelId(0);
    assert_eq!(
        bad(&stand, About::Lens, Aspect::FocalLength),
        Severity::Forbids
    );
}

#[test]
fn edges_of_panes_in_the_picture() {
    let mut stand = stand();
    let edges = |stand: &Stand| -> Vec<Severity> {
        let found = all(stand, LEVEL, Aspect::PaneEdge);
        found.iter().map(|found| found.severity).collect()
    };
    assert_eq!(edges(&stand), [Severity::Fine; 2]);
    // Sideways it is clear; the camera lifted shows more of it, and so does the level lowered.
    let spare = number(&all(&stand, LEVEL, Aspect::PaneEdge)[0], "spare");
    let mut higher = stand.clone();
    higher.axes[2].travel = (-100.0, 900.0);
    let seen = all(&higher, LEVEL, Aspect::PaneEdge);
    assert!(number(&seen[0], "spare") < spare - 1.0, "{seen:?}");
    assert_eq!(seen[0].severity, Severity::WorthKnowing);
    let mut lowered = with_lift(0, None).0;
    lowered.axes.last_mut().expect("the lift").travel = (-300.0, 10.0);
    let seen = all(&lowered, LEVEL, Aspect::PaneEdge);
    assert!(number(&seen[0], "spare") < spare - 1.0, "{seen:?}");
    assert!(seen[0].says.contains("and unturned"), "{seen:?}");
    stand.axes[0].travel = (-300.0, 120.0);
    assert_eq!(edges(&stand), [Severity::WorthKnowing, Severity::Fine]);
    stand.levels[0].pane.height_mm = 100.0;
    assert_eq!(edges(&stand), [Severity::WorthKnowing, Severity::Warning]);
}

#[test]
fn a_level_beyond_the_rings_table() {
    let mut stand = stand();
    let sky = About::Level(LevelId(2));
    assert_eq!(bad(&stand, sky, Aspect::FocusTable), Severity::Fine);
    stand.axes[3].focus_table.pop();
    assert_eq!(bad(&stand, sky, Aspect::FocusTable), Severity::WorthKnowing);
    stand.axes.remove(3);
    assert!(all(&stand, sky, Aspect::FocusTable).is_empty());
}
