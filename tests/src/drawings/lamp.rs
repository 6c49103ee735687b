use super::pin;
use super::pins::LAMP;
use super::sheet::{At, Fill, Pen, Sheet};
use super::symbols::Run;

pub(super) fn draw(sheet: &mut Sheet) {
    sheet.block(Pen::Outline, Fill::Shade, (30.0, 80.0), (120.0, 290.0));
    sheet.heading((90.0, 104.0), At::Middle, "board");
    sheet.heading((142.0, 225.0), At::End, &pin(&LAMP, 0));
    sheet.note((40.0, 225.0), At::Start, "lamp");
    sheet.heading((142.0, 325.0), At::End, "GND");

    let after = sheet.resistor((170.0, 220.0), Run::Right);
    sheet.line(Pen::Wire, &[(150.0, 220.0), (170.0, 220.0)]);
    sheet.note((190.0, 206.0), At::Middle, "1 kΩ");
    sheet.line(Pen::Wire, &[after, (230.0, 220.0)]);
    let [collector, emitter] = sheet.transistor((230.0, 220.0));
    sheet.line(Pen::Wire, &[emitter, (260.0, 320.0), (150.0, 320.0)]);

    // The relay's input and its contact, in one closed enclosure.
    sheet.block(Pen::Heavy, Fill::None, (370.0, 74.0), (300.0, 300.0));
    sheet.label((520.0, 100.0), At::Middle, "closed earthed enclosure");
    sheet.block(Pen::Outline, Fill::Shade, (390.0, 120.0), (220.0, 130.0));
    sheet.label((500.0, 142.0), At::Middle, "certified relay");
    let foot = sheet.coil((430.0, 165.0));
    sheet.line(
        Pen::Wire,
        &[
            foot,
            (430.0, 232.0),
            (300.0, 232.0),
            (300.0, 190.0),
            collector,
        ],
    );
    sheet.line(
        Pen::Wire,
        &[
            (430.0, 165.0),
            (430.0, 155.0),
            (300.0, 155.0),
            (300.0, 130.0),
        ],
    );
    let across = sheet.diode_against((335.0, 155.0), Run::Down);
    sheet.line(Pen::Wire, &[across, (335.0, 232.0)]);
    sheet.joint((335.0, 155.0));
    sheet.joint((335.0, 232.0));
    sheet.terminal((300.0, 126.0));
    sheet.label((300.0, 112.0), At::Middle, "+ 24 V");
    sheet.notes((180.0, 82.0), At::Start, &["extra-low voltage only"]);
    sheet.line(Pen::Dashed, &[(448.0, 185.0), (556.0, 185.0)]);

    // Mains.
    let live = 570.0;
    sheet.open_contact((live, 165.0), Run::Down, Pen::Power);
    sheet.line(
        Pen::Power,
        &[(live, 205.0), (live, 300.0), (740.0, 300.0), (740.0, 264.0)],
    );
    sheet.line(
        Pen::Power,
        &[
            (live, 165.0),
            (live, 155.0),
            (640.0, 155.0),
            (640.0, 120.0),
            (820.0, 120.0),
        ],
    );
    sheet.line(
        Pen::Power,
        &[(740.0, 232.0), (740.0, 160.0), (820.0, 160.0)],
    );
    sheet.lamp((740.0, 248.0));
    for (y, name) in [(120.0, "L"), (160.0, "N")] {
        sheet.terminal((820.0, y));
        sheet.heading((832.0, y + 5.0), At::Start, name);
    }
    sheet.block(Pen::Outline, Fill::None, (710.0, 216.0), (62.0, 64.0));
    sheet.line(Pen::Wire, &[(772.0, 248.0), (800.0, 248.0), (800.0, 330.0)]);
    sheet.earth((800.0, 330.0));
    sheet.line(Pen::Wire, &[(670.0, 350.0), (690.0, 350.0)]);
    sheet.earth((690.0, 350.0));
    sheet.note((786.0, 222.0), At::Start, "earthed");
    sheet.note((786.0, 238.0), At::Start, "housing");
    sheet.notes(
        (690.0, 76.0),
        At::Start,
        &["fused, behind a residual-", "current device"],
    );
    sheet.notes(
        (30.0, 402.0),
        At::Start,
        &[
            "Left of the relay's contact: extra-low voltage, this page. Right of it: mains, for somebody licensed for it",
            "where you live. The two never share a cable, a duct or a board.",
        ],
    );
}
