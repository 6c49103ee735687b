use super::pin;
use super::pins::STOP;
use super::sheet::{At, Fill, Pen, Sheet};
use super::symbols::Run;

pub(super) fn draw(sheet: &mut Sheet) {
    // The circuit that holds the contactor.
    sheet.heading((150.0, 68.0), At::Middle, "holds the contactor");
    sheet.terminal((150.0, 88.0));
    sheet.label((164.0, 92.0), At::Start, "+ 24 V");
    sheet.line(Pen::Wire, &[(150.0, 91.5), (150.0, 100.0)]);
    let after = sheet.fuse((150.0, 100.0), Run::Down);
    sheet.note((168.0, 124.0), At::Start, "fuse");
    sheet.line(Pen::Wire, &[after, (150.0, 160.0)]);
    let after = sheet.closed_contact((150.0, 160.0), Run::Down, Pen::Wire);
    sheet.line(Pen::Wire, &[after, (150.0, 240.0)]);
    sheet.positive_opening((180.0, 204.0));
    sheet.note((136.0, 204.0), At::End, "S1, first");
    let start = sheet.open_contact((150.0, 240.0), Run::Down, Pen::Wire);
    sheet.line(Pen::Wire, &[(150.0, 232.0), (220.0, 232.0), (220.0, 240.0)]);
    sheet.joint((150.0, 232.0));
    let hold = sheet.open_contact((220.0, 240.0), Run::Down, Pen::Wire);
    sheet.line(Pen::Wire, &[start, (150.0, 320.0)]);
    sheet.line(Pen::Wire, &[hold, (220.0, 290.0), (150.0, 290.0)]);
    sheet.joint((150.0, 290.0));
    sheet.button((70.0, 260.0), 139.0);
    sheet.note((70.0, 238.0), At::Middle, "S2, start");
    sheet.note((230.0, 264.0), At::Start, "K1");
    let foot = sheet.coil((150.0, 320.0));
    sheet.note((124.0, 344.0), At::End, "K1");
    let across = sheet.suppressor((220.0, 320.0));
    sheet.line(Pen::Wire, &[(150.0, 310.0), (220.0, 310.0), (220.0, 320.0)]);
    sheet.joint((150.0, 310.0));
    sheet.line(Pen::Wire, &[across, (220.0, 370.0), (150.0, 370.0)]);
    sheet.joint((150.0, 370.0));
    sheet.line(Pen::Wire, &[foot, (150.0, 380.0)]);
    sheet.zero((150.0, 380.0));
    sheet.notes(
        (240.0, 334.0),
        At::Start,
        &["quenches: the", "part that K1's", "maker names"],
    );
    sheet.notes(
        (30.0, 430.0),
        At::Start,
        &[
            "Letting S1 out closes its contacts,",
            "but K1 stays off until somebody",
            "presses S2. A lost supply drops K1",
            "too: nothing starts when it returns.",
        ],
    );

    // The mushroom switch acts on both.
    sheet.mushroom((60.0, 178.0), 405.0);
    sheet.notes(
        (58.0, 122.0),
        At::Middle,
        &["S1: red on", "yellow, latches"],
    );

    // What the board sees.
    sheet.heading((450.0, 68.0), At::Middle, "tells the board");
    sheet.line(
        Pen::Wire,
        &[
            (400.0, 160.0),
            (400.0, 100.0),
            (500.0, 100.0),
            (500.0, 450.0),
        ],
    );
    let mut at = sheet.closed_contact((400.0, 160.0), Run::Down, Pen::Wire);
    sheet.positive_opening((430.0, 204.0));
    sheet.note((386.0, 204.0), At::End, "S1, second");
    for row in [225.0, 295.0] {
        sheet.line(Pen::Wire, &[at, (400.0, row)]);
        at = sheet.closed_contact((400.0, row), Run::Down, Pen::Wire);
        sheet.positive_opening((430.0, row + 24.0));
    }
    sheet.note((386.0, 248.0), At::End, "far switch, axis 0");
    sheet.note((386.0, 318.0), At::End, "axis 1, ...");
    sheet.line(Pen::Wire, &[at, (400.0, 370.0)]);
    sheet.block(Pen::Outline, Fill::Paper, (340.0, 370.0), (120.0, 40.0));
    sheet.notes((400.0, 387.0), At::Middle, &["as at the home", "switch"]);
    for x in [366.0, 424.0] {
        sheet.line(Pen::Wire, &[(x, 410.0), (x, 450.0)]);
    }
    sheet.block(Pen::Outline, Fill::Shade, (340.0, 450.0), (200.0, 80.0));
    sheet.heading((366.0, 468.0), At::Middle, "3.3 V");
    sheet.heading((424.0, 468.0), At::Middle, &pin(&STOP, 0));
    sheet.heading((500.0, 468.0), At::Middle, "GND");
    sheet.label((440.0, 500.0), At::Middle, "board");
    sheet.note((440.0, 518.0), At::Middle, "open: stop");

    // The motors' supply.
    sheet.heading((730.0, 68.0), At::Middle, "feeds the motors");
    sheet.block(Pen::Outline, Fill::Shade, (620.0, 84.0), (220.0, 66.0));
    sheet.label((730.0, 108.0), At::Middle, "certified supply");
    sheet.note((674.0, 142.0), At::Middle, "+ 24 V");
    sheet.note((790.0, 142.0), At::Middle, "0 V");
    sheet.line(Pen::Power, &[(674.0, 150.0), (674.0, 170.0)]);
    let after = sheet.fuse((674.0, 170.0), Run::Down);
    sheet.note((692.0, 194.0), At::Start, "fuse");
    sheet.line(Pen::Power, &[after, (674.0, 230.0)]);
    let after = sheet.open_contact((674.0, 230.0), Run::Down, Pen::Power);
    sheet.note((652.0, 254.0), At::End, "K1");
    sheet.note((690.0, 254.0), At::Start, "rated for DC");
    sheet.line(Pen::Power, &[after, (674.0, 330.0)]);
    sheet.line(Pen::Power, &[(790.0, 150.0), (790.0, 330.0)]);
    sheet.block(Pen::Outline, Fill::Shade, (620.0, 330.0), (220.0, 60.0));
    sheet.label((730.0, 356.0), At::Middle, "drivers and motors");
    sheet.note((730.0, 376.0), At::Middle, "and brakes, closed at rest");
    sheet.notes(
        (590.0, 430.0),
        At::Start,
        &[
            "No board and no software in this path.",
            "K1's coil circuit is fed before K1,",
            "through a fuse of its own.",
            "Two contactors in series, watched by a",
            "certified safety relay, where your",
            "assessment asks for it.",
        ],
    );
}
