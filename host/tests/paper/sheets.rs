//! The sheets, read back as HTML and CSV.

use panestep::paper::exposure_sheet::{self, Wanted};
use panestep::paper::painters_sheet;
use panestep::plan::coverage::Painted;
use panestep::plan::survey::{Survey, survey};
use panestep::plan::{Plan, imaging::Imaging};
use panestep::shot::{Distance, Shot};
use panestep::stand::{LevelId, Stand};
use scraper::{ElementRef, Html, Selector};

use super::{Coast, REEDS, demo, near};

fn looked_at(stand: &Stand, shot: &Shot, plan: &Plan) -> Survey {
    let art = shot.layers.iter().map(|layer| {
        let (columns, rows) = image::image_dimensions(layer.art.as_ref()?).ok()?;
        Some(Painted {
            columns,
            rows,
            to_edge: [true; 4],
        })
    });
    let art: Vec<_> = art.collect();
    survey(stand, shot, plan, &art, |_| {})
}

fn select<'a>(page: &'a Html, what: &str) -> Vec<ElementRef<'a>> {
    let selector = Selector::parse(what).expect("a selector");
    page.select(&selector).collect()
}

fn words(element: ElementRef<'_>) -> String {
    element.text().collect::<String>().trim().to_owned()
}

/// Cells of the rows of a page's table.
fn rows(page: &Html) -> Vec<Vec<String>> {
    let cell = Selector::parse("td").expect("a selector");
    select(page, "tbody tr:not(.note)")
        .into_iter()
        .map(|row| row.select(&cell).map(words).collect())
        .collect()
}

struct Sheets {
    page: Html,
    csv: Vec<csv::StringRecord>,
    head: csv::StringRecord,
}

fn sheets(coast: &Coast, wanted: &Wanted) -> (Stand, Shot, Plan, Sheets) {
    let (stand, shot, plan) = coast.planned();
    let survey = looked_at(&stand, &shot, &plan);
    let (mut html, mut text) = (Vec::new(), Vec::new());
    exposure_sheet::html(&stand, &shot, &plan, &survey, wanted, &mut html, |_| Ok(()))
        .expect("written");
    exposure_sheet::csv(&stand, &shot, &plan, &survey, wanted, &mut text, |_| Ok(()))
        .expect("written");
    let html = String::from_utf8(html).expect("text");
    let page = Html::parse_document(&html);
    assert!(page.errors.is_empty(), "{:?}", page.errors);
    assert!(
        !html.contains("<script") && !html.contains("http"),
        "needs nothing else"
    );
    let mut reader = csv::Reader::from_reader(text.as_slice());
    let head = reader.headers().expect("a head").clone();
    let csv = reader.records().collect::<Result<_, _>>().expect("CSV");
    (stand, shot, plan, Sheets { page, csv, head })
}

fn all(frames: u32) -> Wanted {
    Wanted {
        frames: 1..=frames,
        motors: false,
    }
}

#[test]
fn there_is_a_row_for_every_exposure_in_its_order_with_every_scale() {
    let coast = Coast::new(10, "ones");
    let (_, _, plan, sheets) = sheets(&coast, &all(10));
    let schedule = plan.schedule();
    let rows = rows(&sheets.page);
    assert_eq!(rows.len(), 20);
    assert_eq!(sheets.csv.len(), 20);
    let heads = select(&sheets.page, "thead th").len();
    // Box, frame, pass, one level with drawings, two for each axis.
    assert_eq!(heads, 4 + 2 * schedule.hands.len());
    assert_eq!(select(&sheets.page, "tbody .box").len(), 20);
    let column = |name: &str| {
        let place = sheets.head.iter().position(|head| head == name);
        place.unwrap_or_else(|| panic!("a column {name} in {:?}", sheets.head))
    };
    let mut before: Option<Vec<f64>> = None;
    for (number, (row, record)) in (1..).zip(rows.iter().zip(&sheets.csv)) {
        let turn = schedule.turn(number).expect("one");
        assert_eq!(row.len(), heads);
        assert_eq!(row[1], turn.frame.to_string());
        assert_eq!(record[column("exposure")], number.to_string());
        assert_eq!(record[column("frame")], turn.frame.to_string());
        assert_eq!(&record[column("pass")], ["dawn", "glow"][turn.pass]);
        assert_eq!(&record[column("lamps")], ["dawn", "glow"][turn.pass]);
        assert_eq!(&record[column("exposure_seconds")], ["0.5", "2"][turn.pass]);
        let set = schedule.hands_at(turn.frame).expect("settings");
        for (place, (hand, set)) in schedule.hands.iter().zip(set).enumerate() {
            let shown = &row[4 + 2 * place];
            near(shown.parse().expect("a number"), *set, 1e-9, shown);
            let unit = hand.unit.sign();
            let (of, way) = (&hand.of, hand.way.name());
            let kept = &record[column(&format!("{of} {way} {unit}"))];
            near(kept.parse().expect("a number"), *set, 1e-9, kept);
            let told = &row[5 + 2 * place];
            let by = &record[column(&format!("{of} {way} by {unit}"))];
            match &before {
                None => assert_eq!((told.as_str(), by), ("", "")),
                Some(before) => {
                    let gone = set - before[place];
                    near(by.parse().expect("a number"), gone, 1e-9, by);
                    if gone.abs() < hand.scale / 2.0 {
                        assert_eq!(told, "\u{b7}");
                    } else {
                        assert!(told.starts_with(hand.way.toward(gone)), "{told} {gone}");
                        let far = told.rsplit(' ').next().expect("a number");
                        near(far.parse().expect("a number"), gone.abs(), 1e-9, told);
                    }
                }
            }
        }
        before = Some(set.to_vec());
    }
}

#[test]
fn drawings_passes_and_fairings_are_spoken_of_where_they_change() {
    let coast = Coast::new(10, "ones");
    let (.., sheets) = sheets(&coast, &all(10));
    let rows = rows(&sheets.page);
    // Two rows a frame. Three drawings cycle to frame 6, then the painting lies.
    let drawings: Vec<&str> = rows.iter().step_by(2).map(|row| row[3].as_str()).collect();
    let held = "\u{2502}";
    let expected = [
        "gull-1", "gull-2", "bare", "gull-1", "gull-2", "bare", "gulls", held, held, held,
    ];
    assert_eq!(drawings, expected);
    assert!(rows.iter().skip(1).step_by(2).all(|row| row[3] == held));
    // Remarks stand above the row that they belong to.
    let mut remarks = vec![String::new(); rows.len()];
    let mut row = 0;
    for element in select(&sheets.page, "tbody tr") {
        if element.value().attr("class") == Some("note") {
            remarks[row] = words(element);
        } else {
            row += 1;
        }
    }
    for (remark, record) in remarks.iter().zip(&sheets.csv) {
        let frame = format!("frame {}: ", &record[1]);
        assert_eq!(remark.trim_start_matches(&frame), &record[6]);
    }
    assert!(remarks[0].contains("pass 1 begins: dawn"), "{}", remarks[0]);
    assert!(
        remarks[0].contains("viewer ahead gathers speed"),
        "{}",
        remarks[0]
    );
    assert!(
        remarks[1].contains(&format!("take {REEDS} out")),
        "{}",
        remarks[1]
    );
    assert!(
        remarks[0].contains(&format!("see that {REEDS} is in")),
        "{}",
        remarks[0]
    );
    // A person switches both lamps, and sets the camera back as well.
    for (row, words) in [
        (0, "lamp dawn on"),
        (0, "lamp glow off"),
        (0, "set the camera to 0.5 s"),
        (1, "lamp dawn off"),
        (1, "lamp glow on"),
        (2, "lamp dawn on"),
        (2, "set the camera to 0.5 s"),
    ] {
        assert!(remarks[row].contains(words), "{words}: {}", remarks[row]);
    }
    assert!(
        remarks[1].contains("set the camera to 2 s"),
        "{}",
        remarks[1]
    );
    assert!(
        remarks[2].contains(&format!("put {REEDS} in")),
        "{}",
        remarks[2]
    );
    assert!(
        remarks[4].contains("viewer ahead at full speed"),
        "{}",
        remarks[4]
    );
    let title = words(select(&sheets.page, "h1")[0]);
    assert_eq!(title, "Dawn, <first> & last: exposure sheet");
}

#[test]
fn some_frames_begin_with_what_lies_there() {
    let coast = Coast::new(10, "ones");
    let wanted = Wanted {
        frames: 8..=9,
        motors: false,
    };
    let (.., sheets) = sheets(&coast, &wanted);
    let rows = rows(&sheets.page);
    assert_eq!(rows.len(), 4);
    assert_eq!((rows[0][1].as_str(), rows[0][3].as_str()), ("8", "gulls"));
    assert_eq!(rows[0][5], "", "there is no row before");
}

#[test]
fn the_head_has_the_footage_and_motors_come_on_request() {
    let (stand, shot, plan) = demo();
    let survey = looked_at(&stand, &shot, &plan);
    let wanted = Wanted {
        frames: 1..=120,
        motors: true,
    };
    let mut html = Vec::new();
    exposure_sheet::html(
        &stand,
        &shot,
        &plan,
        &survey,
        &wanted,
        &mut html,
        |_| Ok(()),
    )
    .expect("written");
    let page = Html::parse_document(&String::from_utf8(html).expect("text"));
    let terms = words(select(&page, "dl")[0]);
    // 120 frames of 16 to a foot (liquisearch.com, "35 mm film").
    assert!(
        terms.contains("5.00 s") && terms.contains("7 ft 8 fr"),
        "{terms}"
    );
    let rows = rows(&page);
    assert_eq!(rows.len(), 120);
    let schedule = plan.schedule();
    let last = schedule.motors_at(120).expect("targets");
    for (place, motor) in schedule.motors.iter().enumerate() {
        let shown: f64 = rows[119][2 + 2 * place].parse().expect("a number");
        near(
            shown,
            f64::from(last[place]) * motor.step_size,
            5e-4,
            motor.name(),
        );
    }
}

/// By similar triangles with the formulas of the plan: the layer's size on the glass is `s0 / D`.
#[test]
fn the_painter_is_told_scale_size_and_scan() {
    let (stand, shot, plan) = demo();
    let survey = looked_at(&stand, &shot, &plan);
    let tasks =
        painters_sheet::tasks(&stand, &shot, &plan, &survey, 10.0, |_| Ok(())).expect("worked out");
    for (place, task) in tasks.iter().enumerate() {
        let id = LevelId(place);
        let zero = Default::default();
        let s0 = panestep::optics::apparent_distance_mm(&stand, id, &zero, &zero);
        match shot.layers[place].distance {
            Distance::At(distance) => {
                near(task.scale.expect("a scale"), distance / s0, 1e-9, place);
            }
            Distance::Far => assert_eq!(task.scale, None),
        }
        // Every corner of the picture, at every frame, lies 10 mm or more within; and somewhere
        // no more.
        let mut spare = f64::INFINITY;
        let mut finest = 0.0_f64;
        for frame in 1..=shot.frames {
            let pose = plan.geometry().pose(frame);
            let imaging = Imaging::new(&stand, &pose.stand, pose.image_mm, id).expect("below");
            finest = finest.max(imaging.pixels_per_mm());
            for (x, y) in imaging.filling() {
                let paint = &task.paint;
                spare = spare
                    .min(x - paint.west_mm)
                    .min(paint.east_mm - x)
                    .min(y - paint.south_mm)
                    .min(paint.north_mm - y);
            }
        }
        near(spare, 10.0, 1e-9, &task.level);
        let (columns, _) = task.scan();
        let wide = columns as f64 / task.paint.width_mm();
        assert!(wide >= finest && wide < finest * 1.01, "{wide} {finest}");
    }
    let (mut html, mut text) = (Vec::new(), Vec::new());
    painters_sheet::html(&stand, &shot, &survey, &tasks, 10.0, &mut html).expect("written");
    painters_sheet::csv(&shot, &tasks, 10.0, &mut text).expect("written");
    let page = Html::parse_document(&String::from_utf8(html).expect("text"));
    assert_eq!(select(&page, "section").len(), 5);
    assert_eq!(select(&page, "section svg").len(), 5);
    assert_eq!(words(select(&page, "section h2")[4]), "sky");
    let mut reader = csv::Reader::from_reader(text.as_slice());
    let records: Vec<_> = reader.records().collect::<Result<_, _>>().expect("CSV");
    assert_eq!(records.len(), 5);
    assert_eq!((&records[4][1], &records[4][10]), ("", "sky"));
    near(
        records[0][3].parse().expect("a number"),
        tasks[0].paint.width_mm(),
        1e-3,
        "wide",
    );
}

#[test]
fn names_come_out_as_they_are_and_one_frame_has_a_sheet() {
    let coast = Coast::new(1, "ones");
    let (stand, shot, plan, sheets) = sheets(&coast, &all(1));
    assert_eq!(rows(&sheets.page).len(), 2);
    let head: Vec<String> = select(&sheets.page, "thead th")
        .into_iter()
        .map(words)
        .collect();
    assert!(head.iter().any(|it| it.starts_with(REEDS)), "{head:?}");
    let survey = looked_at(&stand, &shot, &plan);
    let tasks =
        painters_sheet::tasks(&stand, &shot, &plan, &survey, 15.0, |_| Ok(())).expect("worked out");
    let mut html = Vec::new();
    painters_sheet::html(&stand, &shot, &survey, &tasks, 15.0, &mut html).expect("written");
    let page = Html::parse_document(&String::from_utf8(html).expect("text"));
    assert!(page.errors.is_empty(), "{:?}", page.errors);
    assert_eq!(words(select(&page, "section h2")[0]), REEDS);
}
