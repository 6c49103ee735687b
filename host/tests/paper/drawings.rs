//! The drawings, read back as SVG.

use panestep::paper::chart::charts;
use panestep::paper::elevation::elevation;
use panestep::paper::raster::raster;
use panestep::plan::Plan;
use panestep::plan::survey::survey;
use panestep::shot::Shot;
use panestep::stand::{LevelId, Stand};
use resvg::usvg::{Node, Options, Tree, fontdb};
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
    let survey = survey(stand, shot, plan, &[], |_| true).expect("nobody stops it");
    let charts = charts(stand, shot, plan, &survey, |_| Ok(())).expect("drawn");
    charts
        .into_iter()
        .map(|chart| (chart.name, chart.svg))
        .collect()
}

/// Every line and every word lies within the drawing, words as wide as the type in which a PNG has
/// them.
fn within(svg: &str) {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(dejavu::sans::regular().to_vec());
    let options = Options {
        font_family: "DejaVu Sans".into(),
        fontdb: std::sync::Arc::new(fonts),
        ..Options::default()
    };
    // Text of the family `sans-serif`, whose font this is.
    let svg = svg.replace("sans-serif", "DejaVu Sans");
    let tree = Tree::from_str(&svg, &options).expect("SVG");
    let (width, height) = (tree.size().width(), tree.size().height());
    let mut seen = (0, 0);
    let mut look = vec![tree.root()];
    while let Some(group) = look.pop() {
        for node in group.children() {
            match node {
                Node::Group(group) => {
                    look.push(group);
                    continue;
                }
                Node::Text(_) => seen.0 += 1,
                _ => seen.1 += 1,
            }
            let is = node.abs_bounding_box();
            let inside = is.left() >= -0.1
                && is.top() >= -0.1
                && is.right() <= width + 0.1
                && is.bottom() <= height + 0.1;
            assert!(
                inside,
                "{is:?} of {width} x {height}: {}",
                match node {
                    Node::Text(text) => {
                        let words = text.chunks().iter().map(|chunk| chunk.text());
                        words.collect::<Vec<_>>().concat()
                    }
                    _ => "a line".to_owned(),
                }
            );
        }
    }
    assert!(seen.0 > 5 && seen.1 > 5, "{seen:?}");
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
    within(&charts[0].1);
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
    let survey = survey(&stand, &shot, &plan, &[], |_| true).expect("nobody stops it");
    let charts = charts(&stand, &shot, &plan, &survey, |_| Ok(())).expect("drawn");
    let document = Document::parse(&charts[0].svg).expect("SVG");
    within(&charts[0].svg);
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
    within(&charts[0].1);
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
            within(svg);
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
    let svg = elevation(&stand, &shot, &plan);
    let document = Document::parse(&svg).expect("SVG");
    within(&svg);
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

/// Short lenses see wide, stands can have many levels, and names can be long.
#[test]
fn the_elevation_stays_within_its_drawing() {
    let (mut stand, mut shot, _) = demo();
    shot.viewer = panestep::shot::Viewer::default();
    shot.shifts.clear();
    shot.focus.clear();
    shot.cels.clear();
    shot.frames = 1;
    stand.name = "a stand of more than common length ".repeat(6);
    for focal_length_mm in [14.0, 24.0, 200.0] {
        stand.lens.focal_length_mm = focal_length_mm;
        let plan = Plan::new(&stand, &shot).unwrap_or_else(|refusals| panic!("{refusals}"));
        within(&elevation(&stand, &shot, &plan));
    }
    // Forty more panes, one below another.
    stand.axes.clear();
    stand.clearance_mm = 1.0;
    let (level, layer) = (stand.levels[0].clone(), shot.layers[4].clone());
    let from = stand.levels.len();
    for number in 0..40 {
        let mut level = level.clone();
        level.name = format!("reeds of the {number}th row, seen from far away");
        level.height_mm = 230.0 - 5.0 * f64::from(number);
        level.pane.thickness_mm = 2.0;
        let mut layer = layer.clone();
        layer.level = LevelId(stand.levels.len());
        stand.levels.push(level);
        shot.layers.push(layer);
    }
    let plan = Plan::new(&stand, &shot).unwrap_or_else(|refusals| panic!("{refusals}"));
    let svg = elevation(&stand, &shot, &plan);
    within(&svg);
    let document = Document::parse(&svg).expect("SVG");
    let words: Vec<f64> = document
        .descendants()
        .filter(|node| node.has_tag_name("text"))
        .filter(|node| node.text().is_some_and(|text| text.contains("th row")))
        .map(|node| node.attribute("y").expect("a place"))
        .map(|y| y.parse().expect("a number"))
        .collect();
    assert_eq!(words.len(), stand.levels.len() - from);
    assert!(
        words.windows(2).all(|two| two[1] - two[0] >= 17.9),
        "{words:?}"
    );
}

#[test]
fn what_stands_still_is_not_blown_up() {
    let (stand, mut shot, _) = demo();
    shot.frames = 24;
    shot.viewer = panestep::shot::Viewer::default();
    shot.shifts.clear();
    let plan = Plan::new(&stand, &shot).expect("sound");
    for (name, svg) in drawn(&stand, &shot, &plan) {
        let document = Document::parse(&svg).expect("SVG");
        // The finest step of the demonstration's axes is 1/400 mm.
        let fine = texts(&document).into_iter().find(|text| {
            text.parse::<f64>().is_ok() && text.split_once('.').is_some_and(|it| it.1.len() > 4)
        });
        assert_eq!(fine, None, "{name}");
    }
}
