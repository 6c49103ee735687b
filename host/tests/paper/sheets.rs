//! The sheets, read back as HTML and CSV.

use panestep::paper::exposure_sheet::{ExposureSheet, Wanted};
use panestep::paper::painters_sheet;
use panestep::plan::coverage::Painted;
use panestep::plan::survey::{Survey, survey};
use panestep::plan::{Plan, imaging::Imaging};
use panestep::shot::{Distance, Shot};
use panestep::stand::{Axis, Carrier, Drive, LevelId, Stand, Way};
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
    survey(stand, shot, plan, &art, |_| true).expect("nobody stops it")
}

fn select<'a>(page: &'a Html, what: &str) -> Vec<ElementRef<'a>> {
    let selector = Selector::parse(what).expect("a selector");
    page.select(&selector).collect()
}

fn words(element: ElementRef<'_>) -> String {
    element.text().collect::<String>().trim().to_owned()
}

/// What stands on a page's tables, side by side again: each exposure's cells by their heading.
struct Grid {
    heads: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Grid {
    fn new(page: &Html) -> Self {
        let [head, cell, line] = ["thead tr:last-child th", "td", "tbody tr:not(.note)"]
            .map(|what| Selector::parse(what).expect("a selector"));
        let mut grid = Self {
            heads: Vec::new(),
            rows: Vec::new(),
        };
        for table in select(page, "table") {
            // What is over two columns is of the first; the second says by how much.
            let mut heads: Vec<String> = Vec::new();
            for head in table.select(&head) {
                heads.push(words(head));
                if head.value().attr("colspan") == Some("2") {
                    heads.push("by".into());
                }
            }
            let rows: Vec<Vec<String>> = table
                .select(&line)
                .map(|row| row.select(&cell).map(words).collect())
                .collect();
            assert!(rows.iter().all(|row| row.len() == heads.len()), "{heads:?}");
            // Each has the box, the frame and the pass.
            let known = heads.iter().take(3).filter(|it| grid.heads.contains(it));
            let known = known.count();
            grid.heads.extend_from_slice(&heads[known..]);
            if grid.rows.is_empty() {
                grid.rows = rows;
                continue;
            }
            assert_eq!(grid.rows.len(), rows.len());
            for (whole, row) in grid.rows.iter_mut().zip(rows) {
                assert_eq!(whole[..known], row[..known]);
                whole.extend_from_slice(&row[known..]);
            }
        }
        grid
    }

    /// Where a heading's column is; there is one alone.
    fn column(&self, head: &str) -> usize {
        let all = self.heads.iter().enumerate();
        let places: Vec<usize> = all.filter(|it| it.1 == head).map(|it| it.0).collect();
        assert_eq!(places.len(), 1, "{head} in {:?}", self.heads);
        places[0]
    }
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
    let sheet = ExposureSheet::new(&stand, &shot, &plan, &survey, wanted);
    let (mut rows, mut lines) = (0, 0);
    let count = |so_far: &mut u64| {
        *so_far += 1;
        Ok(())
    };
    sheet
        .html(&mut html, |_| count(&mut rows))
        .expect("written");
    sheet
        .csv(&mut text, |_| count(&mut lines))
        .expect("written");
    assert_eq!(sheet.rows(), (rows, lines));
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
    let Grid { rows, heads } = &Grid::new(&sheets.page);
    let grid = Grid::new(&sheets.page);
    assert_eq!(rows.len(), 20);
    assert_eq!(sheets.csv.len(), 20);
    // Box, frame, pass, one level with drawings, two for each axis.
    assert_eq!(heads.len(), 4 + 2 * schedule.hands.len());
    let tables = select(&sheets.page, "table").len();
    assert_eq!(select(&sheets.page, "tbody .box").len(), 20 * tables);
    let column = |name: &str| {
        let place = sheets.head.iter().position(|head| head == name);
        place.unwrap_or_else(|| panic!("a column {name} in {:?}", sheets.head))
    };
    let mut before: Option<Vec<f64>> = None;
    for (number, (row, record)) in (1..).zip(rows.iter().zip(&sheets.csv)) {
        let turn = schedule.turn(number).expect("one");
        assert_eq!(row.len(), heads.len());
        assert_eq!(row[1], turn.frame.to_string());
        assert_eq!(record[column("exposure")], number.to_string());
        assert_eq!(record[column("frame")], turn.frame.to_string());
        assert_eq!(&record[column("pass")], ["dawn", "glow"][turn.pass]);
        assert_eq!(&record[column("lamps")], ["dawn", "glow"][turn.pass]);
        assert_eq!(&record[column("exposure_seconds")], ["0.5", "2"][turn.pass]);
        let set = schedule.hands_at(turn.frame).expect("settings");
        for (place, (hand, set)) in schedule.hands.iter().zip(set).enumerate() {
            let unit = hand.unit.sign();
            let (of, way) = (&hand.of, hand.way.name());
            let at = grid.column(&format!("{of}{way}, {unit}"));
            let shown = &row[at];
            near(shown.parse().expect("a number"), *set, 1e-9, shown);
            let kept = &record[column(&format!("{of} {way} {unit}"))];
            near(kept.parse().expect("a number"), *set, 1e-9, kept);
            assert_eq!(heads[at + 1], "by");
            let told = &row[at + 1];
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
    let grid = Grid::new(&sheets.page);
    let (rows, gulls) = (&grid.rows, grid.column("gullsdrawing"));
    // Two rows a frame. Three drawings cycle to frame 6, then the painting lies.
    let drawings = rows.iter().step_by(2);
    let drawings: Vec<&str> = drawings.map(|row| row[gulls].as_str()).collect();
    let held = "\u{2502}";
    let expected = [
        "gull-1", "gull-2", "bare", "gull-1", "gull-2", "bare", "gulls", held, held, held,
    ];
    assert_eq!(drawings, expected);
    assert!(rows.iter().skip(1).step_by(2).all(|row| row[gulls] == held));
    // Remarks stand above the row that they belong to.
    let mut remarks = vec![String::new(); rows.len()];
    let mut row = 0;
    // On the first table alone.
    for element in select(&sheets.page, "table:first-of-type tbody tr") {
        if element.value().attr("class") == Some("note") {
            remarks[row] = words(element);
        } else {
            row += 1;
        }
    }
    assert_eq!(row, rows.len());
    let notes = select(&sheets.page, "tr.note").len();
    assert_eq!(notes, remarks.iter().filter(|it| !it.is_empty()).count());
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
    let grid = Grid::new(&sheets.page);
    let row = &grid.rows[0];
    assert_eq!(grid.rows.len(), 4);
    assert_eq!(
        (row[1].as_str(), row[grid.column("gullsdrawing")].as_str()),
        ("8", "gulls")
    );
    let set = grid.column("gullseast, mm");
    assert_eq!(row[set + 1], "", "there is no row before");
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
    ExposureSheet::new(&stand, &shot, &plan, &survey, &wanted)
        .html(&mut html, |_| Ok(()))
        .expect("written");
    let page = Html::parse_document(&String::from_utf8(html).expect("text"));
    let terms = words(select(&page, "dl")[0]);
    // 120 frames of 16 to a foot (liquisearch.com, "35 mm film").
    assert!(
        terms.contains("5.00 s") && terms.contains("7 ft 8 fr"),
        "{terms}"
    );
    let grid = Grid::new(&page);
    assert_eq!(grid.rows.len(), 120);
    let schedule = plan.schedule();
    let last = schedule.motors_at(120).expect("targets");
    for (place, motor) in schedule.motors.iter().enumerate() {
        let (of, way, unit) = (&motor.of, motor.way.name(), motor.unit.sign());
        let at = grid.column(&format!("{of}{way}, {unit}motor"));
        let shown: f64 = grid.rows[119][at].parse().expect("a number");
        near(
            shown,
            f64::from(last[place]) * motor.step_size,
            5e-4,
            motor.name(),
        );
    }
}

/// Paper: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in; 12 mm are left at each side.
#[test]
fn every_table_fits_on_a4_and_on_letter_however_many_axes_there_are() {
    let (upright, lying) = (210.0 - 24.0, 11.0 * 25.4 - 24.0);
    let (mut stand, mut shot, _) = demo();
    let motors = stand.axes.clone();
    for motors_too in [false, true] {
        let mut many = Vec::new();
        for hands in 0..=20 {
            stand.axes.clear();
            if motors_too {
                stand.axes.extend_from_slice(&motors);
            }
            let ways = [Way::East, Way::North, Way::Lift, Way::Turn];
            let free = (0..stand.levels.len())
                .flat_map(|level| ways.map(|way| (Carrier::Level(LevelId(level)), way)));
            let free: Vec<_> = free
                .filter(|(of, way)| stand.axis(*of, *way).is_none())
                .collect();
            for (of, way) in free.into_iter().take(hands) {
                stand.axes.push(Axis {
                    of,
                    way,
                    drive: Drive::Hand {
                        scale: 0.05,
                        screw: None,
                    },
                    travel: (-90.0, 90.0),
                    backlash: 0.0,
                    focus_table: Vec::new(),
                });
            }
            shot.frames = 3;
            shot.viewer = panestep::shot::Viewer::default();
            shot.shifts.clear();
            let plan = Plan::new(&stand, &shot).expect("sound");
            let wanted = Wanted {
                frames: 1..=3,
                motors: motors_too,
            };
            let survey = looked_at(&stand, &shot, &plan);
            let mut html = Vec::new();
            ExposureSheet::new(&stand, &shot, &plan, &survey, &wanted)
                .html(&mut html, |_| Ok(()))
                .expect("written");
            let html = String::from_utf8(html).expect("text");
            let room = match html.contains("@page { size: landscape; }") {
                true => lying,
                false => upright,
            };
            let page = Html::parse_document(&html);
            let tables = select(&page, "table");
            let [col, head] = ["col", "thead tr:last-child th"]
                .map(|what| Selector::parse(what).expect("a selector"));
            for table in &tables {
                let widths: Vec<f64> = table
                    .select(&col)
                    .map(|col| col.value().attr("style").expect("a width"))
                    .map(|style| style.strip_prefix("width: ").expect("a width"))
                    .map(|width| width.strip_suffix("mm").expect("mm"))
                    .map(|width| width.parse().expect("a number"))
                    .collect();
                assert!(widths.iter().sum::<f64>() <= room + 1.0, "{widths:?}");
                let over =
                    |head: ElementRef<'_>| usize::from(head.value().attr("colspan").is_some());
                let heads: usize = table.select(&head).map(|head| 1 + over(head)).sum();
                assert_eq!(widths.len(), heads);
                // A number of seven characters, bold, 10 points: 17 mm in a wide type.
                assert!(widths.len() <= 2 + 1 + 2 * 7, "{} columns", widths.len());
            }
            // Each axis is on one of them.
            let grid = Grid::new(&page);
            let schedule = plan.schedule();
            for hand in &schedule.hands {
                let (of, way, unit) = (&hand.of, hand.way.name(), hand.unit.sign());
                grid.column(&format!("{of}{way}, {unit}"));
            }
            assert_eq!(grid.rows.len(), 3);
            many.push(tables.len());
        }
        assert!(many.is_sorted() && many[20] > 2, "{many:?}");
        assert!(motors_too || many[4] == 1, "{many:?}");
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
    assert_eq!(Grid::new(&sheets.page).rows.len(), 2);
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

/// A wide shot on a stand of the demonstration's size with 200 million pixels.
#[test]
fn the_painter_is_told_of_the_under_face_and_of_scans_that_are_too_large() {
    let coast = Coast::new(6, "ones");
    let (mut stand, shot, plan) = coast.planned();
    let page = |stand: &Stand| {
        let survey = looked_at(stand, &shot, &plan);
        let tasks = painters_sheet::tasks(stand, &shot, &plan, &survey, 15.0, |_| Ok(()))
            .expect("worked out");
        let mut html = Vec::new();
        painters_sheet::html(stand, &shot, &survey, &tasks, 15.0, &mut html).expect("written");
        String::from_utf8(html).expect("text")
    };
    let html = page(&stand);
    assert_eq!(
        html.matches("east is at your left").count(),
        1,
        "the gulls alone"
    );
    assert!(!html.contains("scan it coarser"));
    stand.lens.picture.columns *= 10;
    stand.lens.picture.rows *= 10;
    assert_eq!(page(&stand).matches("scan it coarser").count(), 3);
}

#[test]
fn a_stretch_that_began_before_is_told_of_and_a_frame_once_in_all_its_runs() {
    let coast = Coast::new(10, "ones");
    let path = coast.path("shot.toml");
    let text = std::fs::read_to_string(&path).expect("read");
    let text = text.replace(
        "name = \"glow\"\n",
        "name = \"glow\"\nwhen = \"after the run\"\n",
    );
    std::fs::write(&path, text).expect("written");
    let (stand, shot, plan) = coast.planned();
    let mut survey = looked_at(&stand, &shot, &plan);
    for level in &mut survey.sharpness {
        level.soft.clear();
    }
    survey.sharpness[0].soft = vec![3..=8];
    for (frames, first, later) in [
        (1..=10, "from here to frame 8", true),
        (5..=9, "as before, up to frame 8", false),
    ] {
        let wanted = Wanted {
            frames: frames.clone(),
            motors: false,
        };
        let mut text = Vec::new();
        ExposureSheet::new(&stand, &shot, &plan, &survey, &wanted)
            .csv(&mut text, |_| Ok(()))
            .expect("written");
        let text = String::from_utf8(text).expect("text");
        let said = format!("is out of focus {first}");
        assert_eq!(text.matches(&said).count(), 1, "{text}");
        assert_eq!(text.matches("is out of focus").count(), 1, "{text}");
        assert_eq!(
            text.matches("viewer ahead gathers speed").count(),
            usize::from(later)
        );
    }
}

/// After ten rows a drawing that stays is named again, so that it stands on every page.
#[test]
fn a_drawing_that_stays_is_named_now_and_then() {
    let coast = Coast::new(30, "ones");
    let (.., sheets) = sheets(&coast, &all(30));
    let grid = Grid::new(&sheets.page);
    let gulls = grid.column("gullsdrawing");
    let held = grid.rows.iter().map(|row| row[gulls].as_str());
    // It lies from frame 7 on, the 13th row.
    let held: Vec<&str> = held.skip(12).collect();
    assert_eq!(held[0], "gulls");
    for (place, row) in held.iter().enumerate().skip(1) {
        let expected = match place % 10 {
            0 => "\u{2502} gulls",
            _ => "\u{2502}",
        };
        assert_eq!(*row, expected, "{place}");
    }
}
