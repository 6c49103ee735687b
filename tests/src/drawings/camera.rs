use super::pin;
use super::pins::{CONTACT, HALF_PRESS, RELEASE};
use super::sheet::{At, Fill, Pen, Sheet};
use super::symbols::Run;

pub(super) fn draw(sheet: &mut Sheet) {
    sheet.note(
        (20.0, 52.0),
        At::Start,
        "No wire crosses the dashed line: the camera keeps its own ground. Currents and voltages: see the text.",
    );
    sheet.block(Pen::Outline, Fill::Shade, (30.0, 76.0), (150.0, 486.0));
    sheet.heading((105.0, 100.0), At::Middle, "board");
    sheet.block(Pen::Outline, Fill::Shade, (720.0, 76.0), (150.0, 486.0));
    sheet.heading((795.0, 100.0), At::Middle, "camera");

    for (top, line, name) in [
        (130.0, &HALF_PRESS, "half-press"),
        (270.0, &RELEASE, "release"),
    ] {
        sheet.heading((172.0, top + 5.0), At::End, &pin(line, 0));
        sheet.note((40.0, top + 5.0), At::Start, name);
        sheet.heading((172.0, top + 105.0), At::End, "GND");
        let [plus, minus, collector, emitter] = sheet.isolator((400.0, top + 20.0), false);
        let after = sheet.resistor((230.0, top), Run::Right);
        sheet.line(Pen::Wire, &[(180.0, top), (230.0, top)]);
        sheet.line(Pen::Wire, &[after, (plus.0, top), plus]);
        sheet.note((250.0, top - 12.0), At::Middle, "560 Ω");
        sheet.line(
            Pen::Wire,
            &[minus, (minus.0, top + 100.0), (180.0, top + 100.0)],
        );
        sheet.line(Pen::Wire, &[collector, (collector.0, top), (720.0, top)]);
        sheet.line(
            Pen::Wire,
            &[emitter, (emitter.0, top + 100.0), (720.0, top + 100.0)],
        );
        sheet.label((730.0, top + 5.0), At::Start, name);
        sheet.label((730.0, top + 105.0), At::Start, "common");
        sheet.note((600.0, top - 8.0), At::Middle, "the contact's plus");
    }

    // The contact comes back.
    let top = 440.0;
    sheet.heading((172.0, 405.0), At::End, "3.3 V");
    sheet.heading((172.0, top + 5.0), At::End, &pin(&CONTACT, 0));
    sheet.note((40.0, top + 5.0), At::Start, "flash");
    sheet.heading((172.0, top + 105.0), At::End, "GND");
    let [plus, minus, collector, emitter] = sheet.isolator((400.0, top + 20.0), true);
    sheet.line(Pen::Wire, &[(180.0, top), (collector.0, top), collector]);
    sheet.line(
        Pen::Wire,
        &[emitter, (emitter.0, top + 100.0), (180.0, top + 100.0)],
    );
    sheet.line(Pen::Wire, &[(180.0, 400.0), (300.0, 400.0)]);
    sheet.resistor((300.0, 400.0), Run::Down);
    sheet.joint((300.0, top));
    sheet.note((314.0, 424.0), At::Start, "10 kΩ");
    let after = sheet.resistor((530.0, top), Run::Right);
    sheet.line(Pen::Wire, &[plus, (plus.0, top), (530.0, top)]);
    sheet.note((550.0, top - 12.0), At::Middle, "330 Ω");
    // The plus of the cell points to the isolator's lamp.
    sheet.line(Pen::Wire, &[after, (610.0, top)]);
    let cell = sheet.cell((610.0, top), Run::Right);
    sheet.note((630.0, top - 18.0), At::Middle, "3 V cell");
    sheet.line(Pen::Wire, &[cell, (760.0, top), (760.0, top + 30.0)]);
    let foot = sheet.open_contact((760.0, top + 30.0), Run::Down, Pen::Wire);
    sheet.line(
        Pen::Wire,
        &[foot, (760.0, top + 100.0), (minus.0, top + 100.0), minus],
    );
    sheet.notes(
        (772.0, top + 48.0),
        At::Start,
        &["sync contact", "closed while", "it is open"],
    );

    // The line that nothing crosses.
    for (from, to) in [
        (66.0, 146.0),
        (214.0, 286.0),
        (354.0, 456.0),
        (524.0, 572.0),
    ] {
        sheet.line(Pen::Dashed, &[(450.0, from), (450.0, to)]);
    }
}
