use super::pin;
use super::pins::{DIRECTION, ENABLE, HOME, STEP};
use super::sheet::{At, Fill, Pen, Sheet};
use super::symbols::Run;

pub(super) fn draw(sheet: &mut Sheet) {
    sheet.note(
        (20.0, 52.0),
        At::Start,
        "Axis 0; the others are the same on their own pins. Enable and the supplies are common to all.",
    );

    // The board.
    sheet.block(Pen::Outline, Fill::Shade, (30.0, 80.0), (150.0, 470.0));
    sheet.heading((105.0, 104.0), At::Middle, "board");
    let lines = [
        (140.0, pin(&STEP, 0), "step"),
        (180.0, pin(&DIRECTION, 0), "direction"),
        (220.0, pin(&ENABLE, 0), "enable"),
        (300.0, "GND".into(), ""),
        (370.0, "3.3 V".into(), ""),
        (470.0, pin(&HOME, 0), "home switch"),
        (530.0, "GND".into(), ""),
    ];
    for (y, pin, name) in &lines {
        sheet.heading((172.0, y + 5.0), At::End, pin);
        sheet.note((40.0, y + 5.0), At::Start, name);
    }

    // The driver.
    sheet.block(Pen::Outline, Fill::Shade, (420.0, 110.0), (190.0, 220.0));
    sheet.heading((515.0, 134.0), At::Middle, "driver");
    for (y, name) in [
        (140.0, "step"),
        (180.0, "direction"),
        (220.0, "enable"),
        (260.0, "logic +"),
        (300.0, "logic 0"),
    ] {
        sheet.note((428.0, y + 4.0), At::Start, name);
    }
    for (y, name) in [
        (150.0, "A1"),
        (180.0, "A2"),
        (210.0, "B1"),
        (240.0, "B2"),
        (274.0, "motor +"),
        (304.0, "motor 0"),
    ] {
        sheet.note((602.0, y + 4.0), At::End, name);
    }
    for y in [140.0, 180.0, 220.0, 300.0] {
        sheet.line(Pen::Wire, &[(180.0, y), (420.0, y)]);
    }

    // Enable's own resistor, to what feeds the driver's logic.
    sheet.line(Pen::Wire, &[(420.0, 260.0), (270.0, 260.0)]);
    let below = sheet.resistor((340.0, 220.0), Run::Down);
    sheet.joint((340.0, 220.0));
    sheet.joint(below);
    sheet.terminal((270.0, 260.0));
    sheet.note((354.0, 245.0), At::Start, "4.7 kΩ");
    sheet.notes((192.0, 248.0), At::Start, &["logic +,", "3.3 V only"]);

    // Motor.
    for (y, far) in [
        (150.0, 150.0),
        (180.0, 180.0),
        (210.0, 210.0),
        (240.0, 240.0),
    ] {
        sheet.line(Pen::Power, &[(610.0, y), (770.0, far)]);
    }
    sheet.block(Pen::Outline, Fill::Paper, (770.0, 135.0), (100.0, 120.0));
    sheet.motor((820.0, 195.0));
    sheet.notes((690.0, 112.0), At::Middle, &["twisted pairs,", "shielded"]);
    sheet.note((820.0, 275.0), At::Middle, "2-phase motor");

    // Its supply.
    let plus = 274.0;
    sheet.line(
        Pen::Power,
        &[(610.0, plus), (640.0, plus), (640.0, 400.0), (700.0, 400.0)],
    );
    let after = sheet.fuse((700.0, 400.0), Run::Right);
    sheet.line(Pen::Power, &[after, (800.0, 400.0)]);
    sheet.line(
        Pen::Power,
        &[
            (610.0, 304.0),
            (624.0, 304.0),
            (624.0, 470.0),
            (800.0, 470.0),
        ],
    );
    sheet.line(Pen::Wire, &[(670.0, 400.0), (670.0, 415.0)]);
    let end = sheet.capacitor((670.0, 415.0), Run::Down);
    sheet.line(Pen::Wire, &[end, (670.0, 470.0)]);
    sheet.joint((670.0, 400.0));
    sheet.joint((670.0, 470.0));
    sheet.note((686.0, 438.0), At::Start, "large, close to the driver");
    sheet.note((720.0, 386.0), At::Middle, "fuse");
    for (y, name) in [(400.0, "+ 24 V"), (470.0, "0 V")] {
        sheet.terminal((800.0, y));
        sheet.label((812.0, y + 5.0), At::Start, name);
    }
    sheet.notes(
        (800.0, 500.0),
        At::Middle,
        &["from the contactor:", "see the emergency stop"],
    );

    // The home switch.
    sheet.line(Pen::Wire, &[(180.0, 370.0), (360.0, 370.0)]);
    let foot = sheet.resistor((360.0, 370.0), Run::Down);
    sheet.note((374.0, 394.0), At::Start, "1 kΩ");
    sheet.line(Pen::Wire, &[foot, (360.0, 470.0)]);
    let inner = sheet.resistor((260.0, 470.0), Run::Right);
    sheet.line(Pen::Wire, &[(180.0, 470.0), (260.0, 470.0)]);
    sheet.line(Pen::Wire, &[inner, (470.0, 470.0)]);
    sheet.joint((360.0, 470.0));
    sheet.note((280.0, 458.0), At::Middle, "4.7 kΩ");
    let pad = sheet.capacitor((220.0, 480.0), Run::Down);
    sheet.line(Pen::Wire, &[(220.0, 470.0), (220.0, 480.0)]);
    sheet.joint((220.0, 470.0));
    sheet.note((236.0, 504.0), At::Start, "2.2 nF");
    sheet.line(Pen::Wire, &[pad, (220.0, 530.0)]);
    sheet.line(Pen::Wire, &[(180.0, 530.0), (470.0, 530.0)]);
    sheet.joint((220.0, 530.0));
    sheet.block(Pen::Dashed, Fill::None, (458.0, 452.0), (110.0, 96.0));
    sheet.closed_contact((484.0, 480.0), Run::Down, Pen::Wire);
    sheet.line(Pen::Wire, &[(470.0, 470.0), (484.0, 470.0), (484.0, 480.0)]);
    sheet.line(Pen::Wire, &[(470.0, 530.0), (484.0, 530.0), (484.0, 520.0)]);
    sheet.positive_opening((515.0, 500.0));
    sheet.notes(
        (513.0, 424.0),
        At::Middle,
        &["home switch,", "normally closed"],
    );
    sheet.note((400.0, 506.0), At::Middle, "twisted pair");
}
