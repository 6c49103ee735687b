use super::sheet::{At, Fill, Pen, Sheet};

pub(super) fn draw(sheet: &mut Sheet) {
    // Floor, post, top beam.
    sheet.line(Pen::Heavy, &[(60.0, 580.0), (840.0, 580.0)]);
    sheet.block(Pen::Outline, Fill::Metal, (470.0, 110.0), (26.0, 470.0));
    sheet.block(Pen::Outline, Fill::Metal, (390.0, 90.0), (340.0, 20.0));

    // Pulleys, ropes, counterweight in its shaft.
    for x in [454.0, 690.0] {
        sheet.circle(Pen::Outline, Fill::Paper, (x, 82.0), 14.0);
        sheet.circle(Pen::Thin, Fill::Ink, (x, 82.0), 3.0);
    }
    for radius in [15.5, 20.0] {
        let mut rope = vec![(454.0 - radius, 250.0)];
        for (middle, first) in [(454.0, 12_u8), (690.0, 18)] {
            rope.extend((first..=first + 6).map(|part| {
                let angle = f64::from(part) * std::f64::consts::PI / 12.0;
                (middle + radius * angle.cos(), 82.0 + radius * angle.sin())
            }));
        }
        rope.push((690.0 + radius, 330.0));
        sheet.line(Pen::Wire, &rope);
    }
    sheet.block(Pen::Outline, Fill::None, (670.0, 150.0), (76.0, 415.0));
    sheet.block(Pen::Outline, Fill::Metal, (684.0, 330.0), (48.0, 90.0));
    sheet.block(Pen::Outline, Fill::Ink, (684.0, 547.0), (48.0, 14.0));

    // Carriage on two runner blocks, its pane, held on all sides.
    for y in [258.0, 340.0] {
        sheet.block(Pen::Outline, Fill::Paper, (452.0, y), (18.0, 34.0));
    }
    sheet.shape(
        Pen::Outline,
        Fill::Shade,
        &[
            (452.0, 250.0),
            (452.0, 382.0),
            (424.0, 382.0),
            (380.0, 276.0),
            (140.0, 276.0),
            (140.0, 250.0),
        ],
    );
    sheet.block(Pen::Outline, Fill::Glass, (150.0, 240.0), (215.0, 10.0));
    for x in [140.0, 355.0] {
        sheet.block(Pen::Outline, Fill::Ink, (x, 234.0), (20.0, 5.0));
    }

    // Screw with its nut, coupling, brake, motor.
    sheet.block(Pen::Wire, Fill::Metal, (405.0, 122.0), (10.0, 332.0));
    sheet.block(Pen::Outline, Fill::Metal, (398.0, 300.0), (24.0, 22.0));
    sheet.block(Pen::Outline, Fill::Paper, (392.0, 454.0), (36.0, 18.0));
    sheet.block(Pen::Outline, Fill::Red, (384.0, 474.0), (52.0, 22.0));
    sheet.block(Pen::Outline, Fill::Paper, (378.0, 498.0), (64.0, 56.0));
    sheet.heading((410.0, 531.0), At::Middle, "M");
    sheet.line(Pen::Outline, &[(372.0, 554.0), (470.0, 554.0)]);

    // The block that goes under before a hand does.
    sheet.block(Pen::Dashed, Fill::Yellow, (190.0, 300.0), (60.0, 280.0));

    // Home switch, met by the carriage's cam before its buffer.
    sheet.block(Pen::Outline, Fill::Metal, (452.0, 350.0), (72.0, 9.0));
    sheet.circle(Pen::Wire, Fill::Paper, (513.0, 399.0), 5.0);
    sheet.block(Pen::Outline, Fill::Yellow, (500.0, 404.0), (26.0, 18.0));
    sheet.block(Pen::Outline, Fill::Ink, (440.0, 440.0), (30.0, 16.0));

    let left = [
        (
            236.0,
            150.0,
            (270.0, 240.0),
            "pane, soft packing at all four sides",
        ),
        (118.0, 215.0, (150.0, 235.0), "clamp"),
        (120.0, 330.0, (230.0, 276.0), "carriage"),
        (300.0, 380.0, (398.0, 311.0), "nut"),
        (330.0, 440.0, (405.0, 420.0), "screw"),
        (330.0, 490.0, (384.0, 485.0), "brake"),
    ];
    for (x, y, to, text) in left {
        let end = if text.starts_with("pane") {
            At::Middle
        } else {
            At::End
        };
        sheet.label((x, y), end, text);
        let from = match end {
            At::Middle => (x, y + 6.0),
            _ => (x + 5.0, y - 4.0),
        };
        sheet.leader(from, to);
    }
    sheet.notes(
        (180.0, 430.0),
        At::End,
        &["a block, before", "any hand goes", "under the level"],
    );

    let right = [
        (540.0, 140.0, (496.0, 150.0), "post and guide"),
        (540.0, 270.0, (470.0, 275.0), "runner blocks"),
        (540.0, 418.0, (526.0, 413.0), "home switch"),
        (540.0, 460.0, (470.0, 448.0), "buffer"),
        (540.0, 350.0, (524.0, 354.0), "cam"),
    ];
    for (x, y, to, text) in right {
        sheet.label((x, y), At::Start, text);
        sheet.leader((x - 5.0, y - 4.0), to);
    }
    sheet.label((760.0, 190.0), At::Start, "closed shaft");
    sheet.leader((755.0, 186.0), (746.0, 186.0));
    sheet.label((760.0, 300.0), At::Start, "two ropes");
    sheet.leader((755.0, 296.0), (709.0, 296.0));
    sheet.label((760.0, 370.0), At::Start, "counterweight");
    sheet.leader((755.0, 366.0), (732.0, 366.0));
    sheet.notes(
        (760.0, 388.0),
        At::Start,
        &["a little lighter", "than the level"],
    );
    sheet.label((760.0, 540.0), At::Start, "its own buffer");
    sheet.leader((755.0, 536.0), (732.0, 553.0));
    sheet.note(
        (20.0, 605.0),
        At::Start,
        "Each rope alone carries the whole counterweight with its full margin.",
    );
}
