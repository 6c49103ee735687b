//! The drawings, read back as SVG.

use panestep::paper::chart::charts;
use panestep::paper::elevation::elevation;
use panestep::paper::raster::raster;
use panestep::plan::Plan;
use panestep::plan::survey::survey;
use panestep::shot::Shot;
use panestep::stand::Stand;
use roxmltree::Document;

use super::{Coast, REEDS, demo};

fn texts(document: &Document<'_>) -> Vec<String> {
    let nodes = document
        .descendants()
        .filter(|node| node.has_tag_name("text"));
    nodes
        .map(|node| node.text().unwrap_or_default().trim().to_owned())
        .collect()
}

fn drawn(stand: &Stand, shot: &Shot, plan: &Plan) -> Vec<(String, String)> {
    let survey = survey(stand, shot, plan, &[], |_| {});
    let charts = charts(stand, shot, plan, &survey, |_| Ok(())).expect("drawn");
    charts
        .into_iter()
        .map(|chart| (chart.name, chart.svg))
        .collect()
}

/// Every coordinate lies within the drawing.
fn within(document: &Document<'_>) {
    let root = document.root_element();
    let side = |name: &str| {
        root.attribute(name)
            .and_then(|it| it.parse::<f64>().ok())
            .expect("a size")
    };
    let (width, height) = (side("width"), side("height"));
    let number = |text: &str| text.parse::<f64>().expect("a number");
    for node in document.descendants() {
        for (name, most) in [
            ("x", width),
            ("x1", width),
            ("x2", width),
            ("y", height),
            ("y1", height),
            ("y2", height),
        ] {
            if let Some(at) = node.attribute(name).map(number) {
                assert!(
                    (0.0..=most).contains(&at),
                    "{name} {at} of {most}: {node:?}"
                );
            }
        }
        if let Some(points) = node.attribute("points") {
            for point in points.split(' ') {
                let (x, y) = point.split_once(',').expect("a point");
                assert!((-0.1..=width + 0.1).contains(&number(x)), "{points}");
                assert!((-0.1..=height + 0.1).contains(&number(y)), "{points}");
            }
        }
    }
}

#[test]
fn a_chart_has_a_panel_for_each_curve_with_its_limits() {
    let (stand, shot, plan) = demo();
    let charts = drawn(&stand, &shot, &plan);
    let names: Vec<&str> = charts.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(
        names,
        [
            "01-reeds",
            "02-skiffs",
            "03-headland",
            "04-clouds",
            "05-sky"
        ]
    );
    let document = Document::parse(&charts[0].1).expect("SVG");
    within(&document);
    let texts = texts(&document);
    for title in [
        "east: position",
        "east: speed",
        "lift: position",
        "lift: speed",
        "travel in the picture",
    ] {
        assert!(
            texts.iter().any(|text| text.starts_with(title)),
            "{title} in {texts:?}"
        );
    }
    assert!(
        texts.iter().any(|text| text == "greatest, 15 mm"),
        "{texts:?}"
    );
    // Curves: position and speed of two axes, travel of middle and edge. The position has a point
    // for each of 120 frames.
    let paths: Vec<_> = document
        .descendants()
        .filter(|node| node.has_tag_name("path"))
        .collect();
    assert_eq!(paths.len(), 6);
    let points = |place: usize| {
        paths[place]
            .attribute("d")
            .expect("points")
            .matches(['M', 'L'])
            .count()
    };
    assert_eq!(points(0), 240);
    assert_eq!(points(1), 238, "the first frame has no speed");
}

#[test]
fn what_to_look_out_for_is_said_and_marked_over_the_frames() {
    let (mut stand, shot, _) = demo();
    // The nearest pane is too small for the picture.
    stand.levels[0].pane.width_mm = 300.0;
    let plan = Plan::new(&stand, &shot).expect("sound");
    let survey = survey(&stand, &shot, &plan, &[], |_| {});
    let charts = charts(&stand, &shot, &plan, &survey, |_| Ok(())).expect("drawn");
    let document = Document::parse(&charts[0].svg).expect("SVG");
    within(&document);
    let texts = texts(&document);
    assert!(texts.iter().any(|text| text == "soft"), "{texts:?}");
    assert!(texts.iter().any(|text| text == "pane ends"), "{texts:?}");
    let spare = survey.coverage[0].pane_spare;
    assert!(spare.mm < 0.0);
    let said = format!(
        "the pane's {} edge is in the picture; most at frame {}: {:.1} mm",
        spare.side.name(),
        spare.frame,
        -spare.mm
    );
    assert!(texts.iter().any(|text| text.starts_with(&said)), "{said}");
    // A bar for each stretch: 120 frames share 900 px from 78 on. No move is too fast here.
    assert!(survey.fast.is_empty());
    let number = |node: roxmltree::Node<'_, '_>, name: &str| {
        let value = node.attribute(name).expect("a number");
        value.parse::<f64>().expect("a number")
    };
    let bars: Vec<(f64, f64)> = document
        .descendants()
        .filter(|node| node.has_tag_name("rect") && node.attribute("fill") == Some("#dcdcdc"))
        .map(|node| (number(node, "x"), number(node, "width")))
        .collect();
    let soft = &survey.sharpness[0].soft;
    assert!(!soft.is_empty());
    assert_eq!(bars.len(), soft.len());
    for ((from, wide), span) in bars.iter().zip(soft) {
        let frames = f64::from(span.end() - span.start() + 1);
        let before = f64::from(span.start() - 1);
        assert!((from - (78.0 + before * 7.5)).abs() < 0.02, "{from}");
        assert!((wide - frames * 7.5).abs() < 0.02, "{wide}");
    }
    // Nothing is said where there is nothing to say.
    let (stand, mut shot, _) = demo();
    shot.frames = 1;
    shot.viewer = panestep::shot::Viewer::default();
    shot.shifts.clear();
    let plan = Plan::new(&stand, &shot).expect("sound");
    let charts = drawn(&stand, &shot, &plan);
    let focused = charts
        .iter()
        .find(|(name, _)| name.ends_with("skiffs"))
        .expect("the level in focus");
    assert!(!focused.1.contains("to look out for"));
}

#[test]
fn a_hundred_thousand_frames_make_no_larger_a_drawing() {
    let (stand, mut shot, _) = demo();
    shot.frames = 100_000;
    shot.shifts.clear();
    let plan = Plan::new(&stand, &shot).expect("sound");
    let charts = drawn(&stand, &shot, &plan);
    assert!(charts.iter().all(|(_, svg)| svg.len() < 400_000));
    within(&Document::parse(&charts[0].1).expect("SVG"));
}

#[test]
fn charts_of_one_frame_of_twos_and_of_odd_names_are_sound_and_not_blank() {
    for (frames, exposures) in [(1, "ones"), (9, "twos")] {
        let coast = Coast::new(frames, exposures);
        let (stand, shot, plan) = coast.planned();
        let charts = drawn(&stand, &shot, &plan);
        assert_eq!(charts.len(), 4);
        assert_eq!(charts[1].0, "02-reeds-rushes-near");
        for (name, svg) in &charts {
            let document = Document::parse(svg).expect("SVG");
            within(&document);
            let picture = raster(svg, 1.0).expect("a picture");
            let dark = picture.pixels().filter(|it| it.0[0] < 80).count();
            assert!(dark > 1500, "{name}: {dark}");
            assert_eq!(picture.width(), 1000);
        }
        let title = format!("Dawn, <first> & last: {REEDS}");
        let document = Document::parse(&charts[1].1).expect("SVG");
        assert!(texts(&document).contains(&title));
    }
}

#[test]
fn the_elevation_is_to_scale() {
    let (stand, shot, plan) = demo();
    let svg = elevation(&stand, &shot, &plan).expect("drawn");
    let document = Document::parse(&svg).expect("SVG");
    within(&document);
    // Panes are the only areas of their shade; the first corner is the north-west one.
    let number = |text: &str| text.parse::<f64>().expect("a number");
    let panes: Vec<[(f64, f64); 2]> = document
        .descendants()
        .filter(|node| node.attribute("fill") == Some("#f4f4f4"))
        .map(|node| {
            let points: Vec<(f64, f64)> = node
                .attribute("points")
                .expect("points")
                .split(' ')
                .map(|point| point.split_once(',').expect("a point"))
                .map(|(x, y)| (number(x), number(y)))
                .collect();
            [points[0], points[2]]
        })
        .collect();
    assert_eq!(panes.len(), 5);
    let scale = (panes[4][0].1 - panes[0][0].1) / (880.0 - 240.0);
    let pose = plan.geometry().pose(1).stand;
    for ((pane, level), place) in panes.iter().zip(&stand.levels).zip(&pose.levels) {
        let wide = pane[1].0 - pane[0].0;
        assert!((wide - level.pane.width_mm * scale).abs() < 0.05, "{wide}");
        let thick = pane[1].1 - pane[0].1;
        assert!(
            (thick - level.pane.thickness_mm * scale).abs() < 0.05,
            "{thick}"
        );
        let below = pane[0].1 - panes[0][0].1;
        assert!((below - (880.0 - level.height_mm - place.lift_mm) * scale).abs() < 0.05);
    }
    // The picture's edge on the reeds: half a picture's width over the image distance, times how
    // far they are; there is no glass above them.
    let path = document
        .descendants()
        .filter(|node| node.has_tag_name("path"))
        .nth(1);
    let points = path
        .and_then(|path| path.attribute("d").map(str::to_owned))
        .expect("a ray");
    let second = points.split('L').nth(1).expect("a point");
    let (x, _) = second.split_once(' ').expect("two numbers");
    let image_mm = plan.geometry().reference_image_mm();
    let aside = (1400.0 - 880.0) * 18.0 / image_mm * scale;
    assert!((number(x) - 500.0 - aside).abs() < 0.05, "{x} {aside}");
    let texts = texts(&document);
    assert!(
        texts.iter().any(|text| text == "clouds, 360.0 mm"),
        "{texts:?}"
    );
    let picture = raster(&svg, 2.0).expect("a picture");
    assert_eq!(picture.dimensions(), (2000, 1800));
}
