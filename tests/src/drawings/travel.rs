use super::sheet::{At, Fill, Pen, Sheet};

pub(super) fn draw(sheet: &mut Sheet) {
    sheet.notes(
        (20.0, 54.0),
        At::Start,
        &["The mark on the carriage tells where it stands. All lengths are for that mark."],
    );
    let (rail, deck) = (170.0, 118.0);

    // Rail, buffers, carriage with its pane and its cam.
    sheet.block(Pen::Outline, Fill::Metal, (50.0, rail), (800.0, 14.0));
    for left in [50.0, 820.0] {
        sheet.block(Pen::Outline, Fill::Ink, (left, deck), (30.0, rail - deck));
    }
    let mark = 470.0;
    sheet.block(
        Pen::Outline,
        Fill::Shade,
        (mark - 60.0, deck),
        (120.0, rail - deck),
    );
    sheet.block(
        Pen::Outline,
        Fill::Glass,
        (mark - 130.0, deck - 16.0),
        (260.0, 10.0),
    );
    sheet.block(
        Pen::Outline,
        Fill::Metal,
        (mark - 60.0, rail + 14.0),
        (120.0, 9.0),
    );
    sheet.label((mark, deck + 26.0), At::Middle, "carriage");
    sheet.label((mark, deck - 26.0), At::Middle, "pane");
    sheet.label((mark + 72.0, rail + 40.0), At::Start, "cam");
    sheet.line(
        Pen::Thin,
        &[(mark + 68.0, rail + 35.0), (mark + 50.0, rail + 19.0)],
    );
    for (x, end, text) in [(50.0, At::Start, "buffer"), (850.0, At::End, "buffer")] {
        sheet.label((x, deck - 10.0), end, text);
    }

    // Switches: rollers in the cam's way.
    for (x, name, align) in [
        (115.0, "home switch", At::Start),
        (785.0, "far switch", At::End),
    ] {
        sheet.circle(Pen::Wire, Fill::Paper, (x, rail + 28.0), 5.0);
        sheet.block(
            Pen::Outline,
            Fill::Yellow,
            (x - 16.0, rail + 34.0),
            (32.0, 18.0),
        );
        let label = if x < 400.0 { x + 24.0 } else { x - 24.0 };
        sheet.label((label, rail + 48.0), align, name);
    }

    // What the mark may do.
    let scale = 290.0;
    let marks = [140.0, 185.0, 235.0, 665.0, 715.0, 760.0];
    for (number, x) in (1..).zip(marks) {
        sheet.line(Pen::Thin, &[(x, scale - 28.0), (x, scale + 8.0)]);
        sheet.heading((x, scale + 24.0), At::Middle, &format!("{number}"));
    }
    sheet.line(Pen::Outline, &[(140.0, scale), (760.0, scale)]);
    sheet.line(Pen::Dashed, &[(mark, rail + 26.0), (mark, scale - 30.0)]);
    sheet.shape(
        Pen::Wire,
        Fill::Red,
        &[
            (mark - 7.0, scale - 16.0),
            (mark + 7.0, scale - 16.0),
            (mark, scale - 2.0),
        ],
    );
    sheet.dimension((235.0, scale - 22.0), (mark - 12.0, scale - 22.0));
    sheet.dimension((665.0, scale - 22.0), (mark + 12.0, scale - 22.0));
    sheet.heading((345.0, scale - 30.0), At::Middle, "travel");
    sheet.note((595.0, scale - 30.0), At::Middle, "where plans may go");
    sheet.notes(
        (20.0, scale + 50.0),
        At::Start,
        &[
            "1: the carriage meets its buffer",
            "2: the home switch trips: home.switch",
            "3: travel begins",
        ],
    );
    sheet.notes(
        (480.0, scale + 50.0),
        At::Start,
        &[
            "4: travel ends",
            "5: the far switch trips, where one is fitted",
            "6: the carriage meets its buffer",
        ],
    );
    sheet.note(
        (20.0, scale + 106.0),
        At::Start,
        "From 2 to 1, and from 5 to 6, the switch stays tripped: one that is passed and springs back says \"clear\".",
    );
}
