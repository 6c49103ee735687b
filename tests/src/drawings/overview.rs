use super::sheet::{At, Fill, Pen, Sheet};

/// The demonstration stand's levels, from the lens downwards: name, height of the pane on the
/// sheet, half the pane's width, whether it has a lift, whether it moves sideways.
const LEVELS: [(&str, f64, f64, bool, bool); 5] = [
    ("reeds", 240.0, 110.0, true, true),
    ("skiffs", 310.0, 122.0, true, true),
    ("headland", 380.0, 138.0, false, true),
    ("clouds", 445.0, 160.0, false, true),
    ("sky", 510.0, 166.0, false, false),
];

pub(super) fn draw(sheet: &mut Sheet) {
    let (left, right, middle) = (200.0, 620.0, 410.0);

    // Bed, posts, beam.
    sheet.line(Pen::Heavy, &[(150.0, 560.0), (670.0, 560.0)]);
    for x in [180.0, 640.0] {
        sheet.line(Pen::Heavy, &[(x, 560.0), (x, 640.0)]);
    }
    for x in [left - 16.0, right] {
        sheet.block(Pen::Outline, Fill::Metal, (x, 84.0), (16.0, 474.0));
    }
    sheet.block(
        Pen::Outline,
        Fill::Metal,
        (left - 30.0, 66.0),
        (right - left + 60.0, 18.0),
    );

    // Camera and its axis.
    sheet.block(
        Pen::Outline,
        Fill::Metal,
        (middle - 36.0, 84.0),
        (72.0, 44.0),
    );
    sheet.block(
        Pen::Outline,
        Fill::Metal,
        (middle - 18.0, 128.0),
        (36.0, 26.0),
    );
    sheet.line(Pen::Dashed, &[(middle, 154.0), (middle, 556.0)]);
    sheet.label((middle, 111.0), At::Middle, "camera");

    for (name, y, half, lifts, moves) in LEVELS {
        // What carries it, between the posts.
        sheet.block(
            Pen::Outline,
            Fill::Shade,
            (left, y + 8.0),
            (right - left, 12.0),
        );
        sheet.block(
            Pen::Outline,
            Fill::Metal,
            (middle - half - 8.0, y + 1.0),
            (12.0, 7.0),
        );
        sheet.block(
            Pen::Outline,
            Fill::Metal,
            (middle + half - 4.0, y + 1.0),
            (12.0, 7.0),
        );
        sheet.block(
            Pen::Wire,
            Fill::Glass,
            (middle - half, y - 6.0),
            (2.0 * half, 7.0),
        );
        sheet.label((right - 8.0, y + 38.0), At::End, name);
        if moves {
            sheet.block(
                Pen::Outline,
                Fill::Paper,
                (right + 18.0, y + 3.0),
                (26.0, 22.0),
            );
            sheet.note((right + 31.0, y + 18.0), At::Middle, "M");
            sheet.block(Pen::Wire, Fill::Yellow, (left + 4.0, y + 24.0), (14.0, 9.0));
        }
        if lifts {
            sheet.line(
                Pen::Outline,
                &[(left - 32.0, y - 14.0), (left - 32.0, y + 26.0)],
            );
            sheet.block(
                Pen::Outline,
                Fill::Metal,
                (left - 38.0, y + 8.0),
                (12.0, 12.0),
            );
            sheet.block(
                Pen::Outline,
                Fill::Paper,
                (left - 45.0, y + 26.0),
                (26.0, 20.0),
            );
            sheet.note((left - 32.0, y + 41.0), At::Middle, "M");
        }
    }

    // Lamps from both sides, aslant.
    for (x, side) in [(86.0, 1.0), (734.0, -1.0)] {
        let y = 160.0;
        sheet.shape(
            Pen::Outline,
            Fill::Yellow,
            &[(x, y - 26.0), (x + 26.0, y), (x, y + 26.0), (x - 26.0, y)],
        );
        for along in [-7.0, 7.0] {
            let from = (x + side * (15.0 + along), y + 15.0 - along);
            sheet.line(Pen::Dashed, &[from, (from.0 + side * 30.0, from.1 + 30.0)]);
        }
        let back = x - side * 13.0;
        sheet.line(Pen::Outline, &[(back, y + 13.0), (back, y + 52.0)]);
    }
    sheet.label((30.0, 112.0), At::Start, "lamps, both sides");

    // Emergency stop at the bed.
    sheet.block(Pen::Outline, Fill::Yellow, (500.0, 572.0), (56.0, 40.0));
    sheet.circle(Pen::Outline, Fill::Red, (528.0, 592.0), 13.0);
    sheet.label(
        (470.0, 636.0),
        At::Middle,
        "emergency stop, in reach of everybody",
    );

    // Cabinet.
    sheet.block(Pen::Outline, Fill::Shade, (700.0, 330.0), (180.0, 226.0));
    sheet.heading((790.0, 354.0), At::Middle, "closed cabinet");
    sheet.notes(
        (714.0, 382.0),
        At::Start,
        &[
            "certified supply",
            "fuses",
            "contactor K1, start S2",
            "drivers",
            "board or boards",
        ],
    );
    sheet.line(Pen::Dashed, &[(700.0, 470.0), (880.0, 470.0)]);
    sheet.notes(
        (714.0, 494.0),
        At::Start,
        &[
            "lamp relays: earthed,",
            "apart, a licensed",
            "person's work",
        ],
    );
    sheet.line(Pen::Outline, &[(700.0, 540.0), (right + 16.0, 540.0)]);

    // Names.
    for (from, to, text) in [
        ((756.0, 66.0), (right + 8.0, 120.0), "post"),
        ((756.0, 222.0), (right + 44.0, 250.0), "motor, east"),
    ] {
        sheet.label(from, At::Start, text);
        sheet.leader((from.0 - 5.0, from.1 - 4.0), to);
    }
    sheet.label((middle + 24.0, 190.0), At::Start, "pane in its carriage");
    sheet.leader((middle + 70.0, 196.0), (middle + 70.0, 235.0));
    for (from, to, text) in [
        ((120.0, 250.0), (left - 32.0, 230.0), "lift screw"),
        ((120.0, 420.0), (left + 4.0, 408.0), "home switch"),
        ((120.0, 345.0), (left - 45.0, 348.0), "lift motor"),
    ] {
        sheet.label(from, At::End, text);
        sheet.leader((from.0 + 5.0, from.1 - 4.0), to);
    }

    // Ways.
    let (x, y) = (50.0, 560.0);
    for (to, label, end) in [
        ((x + 60.0, y), "east", (x + 66.0, y + 5.0)),
        ((x, y - 60.0), "lift", (x - 14.0, y - 68.0)),
    ] {
        sheet.line(Pen::Outline, &[(x, y), to]);
        sheet.arrow_head((x, y), to);
        sheet.label(end, At::Start, label);
    }
    sheet.circle(Pen::Outline, Fill::Paper, (x, y), 8.0);
    sheet.line(Pen::Wire, &[(x - 5.0, y - 5.0), (x + 5.0, y + 5.0)]);
    sheet.line(Pen::Wire, &[(x - 5.0, y + 5.0), (x + 5.0, y - 5.0)]);
    sheet.label((x - 16.0, y + 28.0), At::Start, "north: away");
}
