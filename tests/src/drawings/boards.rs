use super::pin;
use super::pins::{DIRECTION, ENABLE, STEP, STOP};
use super::sheet::{At, Fill, Pen, Sheet};
use super::symbols::Run;

pub(super) fn draw(sheet: &mut Sheet) {
    // The loop.
    let bus = 110.0;
    sheet.terminal((36.0, bus));
    sheet.label((22.0, bus - 14.0), At::Start, "+ 24 V");
    sheet.line(Pen::Wire, &[(39.5, bus), (56.0, bus)]);
    let mut at = sheet.fuse((56.0, bus), Run::Right);
    sheet.note((76.0, bus + 26.0), At::Middle, "fuse");
    for (x, name) in [
        (122.0, "S1, second"),
        (212.0, "far switch"),
        (302.0, "far switch"),
    ] {
        sheet.line(Pen::Wire, &[at, (x, bus)]);
        at = sheet.closed_contact((x, bus), Run::Right, Pen::Wire);
        sheet.note((x + 20.0, bus + 26.0), At::Middle, name);
    }
    sheet.line(Pen::Wire, &[at, (812.0, bus)]);
    sheet.note(
        (580.0, bus - 12.0),
        At::Middle,
        "one loop: open anywhere is a stop for all boards",
    );

    // A board on either side of the computer.
    for (left, name, axes) in [
        (390.0, "main", "axes of the upper levels"),
        (690.0, "lower", "axes of the lower levels"),
    ] {
        let lamp = left + 122.0;
        let foot = sheet.resistor((lamp, bus), Run::Down);
        if name == "main" {
            sheet.joint((lamp, bus));
        }
        sheet.note((lamp + 14.0, bus + 24.0), At::Start, "4.7 kΩ");
        let [plus, minus, collector, emitter] = sheet.isolator((lamp - 78.0, 170.0), true);
        sheet.line(Pen::Wire, &[foot, plus]);
        sheet.line(Pen::Wire, &[minus, (minus.0, 240.0)]);
        sheet.zero((minus.0, 240.0));
        let (stop, ground) = (left + 34.0, left + 84.0);
        sheet.line(
            Pen::Wire,
            &[
                collector,
                (collector.0, 160.0),
                (stop, 160.0),
                (stop, 300.0),
            ],
        );
        sheet.line(
            Pen::Wire,
            &[
                emitter,
                (emitter.0, 260.0),
                (ground, 260.0),
                (ground, 300.0),
            ],
        );
        sheet.block(Pen::Outline, Fill::Shade, (left, 300.0), (180.0, 100.0));
        sheet.heading((stop, 318.0), At::Middle, &pin(&STOP, 0));
        sheet.heading((ground, 318.0), At::Middle, "GND");
        sheet.heading(
            (left + 90.0, 346.0),
            At::Middle,
            &format!("board \"{name}\""),
        );
        sheet.note((left + 90.0, 364.0), At::Middle, "image made with");
        sheet.note((left + 90.0, 380.0), At::Middle, &format!("--board {name}"));

        // Its drivers.
        sheet.line(Pen::Outline, &[(left + 90.0, 400.0), (left + 90.0, 470.0)]);
        let lines = [
            format!(
                "{} to {}",
                pin(&STEP, 0),
                pin(&DIRECTION, DIRECTION.count - 1)
            ),
            pin(&ENABLE, 0),
        ];
        sheet.notes((left + 98.0, 430.0), At::Start, &[&lines[0], &lines[1]]);
        sheet.block(Pen::Outline, Fill::Shade, (left, 470.0), (180.0, 50.0));
        sheet.label((left + 90.0, 491.0), At::Middle, "its drivers");
        sheet.note((left + 90.0, 510.0), At::Middle, axes);
        let top = sheet.fuse((left + 90.0, 530.0), Run::Down);
        sheet.line(Pen::Power, &[(left + 90.0, 520.0), (left + 90.0, 530.0)]);
        sheet.line(Pen::Power, &[top, (left + 90.0, 580.0)]);
        sheet.note((left + 108.0, 554.0), At::Start, "fuse");
    }
    sheet.line(Pen::Power, &[(330.0, 580.0), (780.0, 580.0)]);
    sheet.joint((480.0, 580.0));
    sheet.open_contact((290.0, 580.0), Run::Right, Pen::Power);
    sheet.line(Pen::Power, &[(230.0, 580.0), (290.0, 580.0)]);
    sheet.note((310.0, 560.0), At::Middle, "K1");
    sheet.block(Pen::Outline, Fill::Shade, (60.0, 555.0), (170.0, 50.0));
    sheet.label((145.0, 585.0), At::Middle, "certified supply");

    sheet.block(Pen::Outline, Fill::Paper, (586.0, 320.0), (88.0, 60.0));
    sheet.label((630.0, 345.0), At::Middle, "computer");
    sheet.note((630.0, 366.0), At::Middle, "USB");
    sheet.line(Pen::Outline, &[(570.0, 350.0), (586.0, 350.0)]);
    sheet.line(Pen::Outline, &[(674.0, 350.0), (690.0, 350.0)]);

    sheet.notes(
        (30.0, 200.0),
        At::Start,
        &[
            "Closed loop: every isolator's lamp burns,",
            "every board's stop input is low, all well.",
            "",
            "S1 pressed, a far switch met, a wire or the",
            "fuse gone: every board stops at its next",
            "tick, with no word between them.",
            "",
            "One board's isolator or resistor gone: that",
            "board stops, and the program with it.",
            "",
            "S1's first contact drops K1, and with it",
            "the motors of all boards: see the drawing",
            "of the emergency stop.",
            "",
            "Each stop input also has 10 kΩ to its own",
            "board's 3.3 V. The boards' grounds meet in",
            "the supply: an isolator in each USB cable",
            "keeps the computer out of that loop.",
        ],
    );
}
