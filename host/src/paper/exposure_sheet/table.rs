//! The tables of a sheet, for print.

use std::io::{self, Write};

use super::super::html::escaped;
use super::parts::{Fixed, Part, Parts};
use super::pass_name;
use super::rows::{Lies, Row, Sheet};

/// A drawing that stays is named again after so many rows, so that it stands on every page.
const NAMED_AGAIN: u32 = 10;

/// Writes the `number`th table.
pub(super) fn table(
    sheet: &Sheet<'_>,
    parts: &Parts,
    number: usize,
    out: &mut impl Write,
    begun: &mut impl FnMut(u32) -> io::Result<()>,
) -> io::Result<()> {
    let part = &parts.tables[number];
    let several = sheet.schedule.passes.len() > 1;
    let columns = 2 + usize::from(several) + part.drawn.len() + 2 * part.settings.len();
    // As wide as the page, but where that would tear a few columns apart.
    let most = 1.5 * parts.fixed.width_mm() + 1.5 * part.width_mm;
    write!(out, "<table style=\"max-width: {most:.0}mm\">\n<colgroup>")?;
    let Fixed { frame_mm, pass_mm } = parts.fixed;
    let widths = [Some(Fixed::BOX_MM), Some(frame_mm), pass_mm];
    let widths = widths.into_iter().flatten();
    let widths = widths.chain(part.drawn.iter().map(|(_, width)| *width));
    let widths = widths.chain(part.settings.iter().flat_map(|(_, both)| *both));
    for width in widths {
        write!(out, "<col style=\"width: {width:.1}mm\">")?;
    }
    writeln!(out, "</colgroup>\n<thead>")?;
    if parts.tables.len() > 1 {
        let named = named(sheet, part);
        let remarks = match number {
            0 => "remarks stand on this table alone",
            _ => "remarks stand on table 1",
        };
        writeln!(
            out,
            "<tr class=\"part\"><th colspan=\"{columns}\">{}, table {} of {}: {}; {remarks}</th></tr>",
            escaped(sheet.shot),
            number + 1,
            parts.tables.len(),
            escaped(&named)
        )?;
    }
    write!(out, "<tr><th>done</th><th class=\"n\">frame</th>")?;
    if several {
        write!(out, "<th>pass</th>")?;
    }
    for (place, _) in &part.drawn {
        write!(out, "<th>{}<br>drawing</th>", escaped(sheet.drawn[*place]))?;
    }
    for (place, _) in &part.settings {
        let setting = &sheet.settings[*place];
        let by = if setting.hand { "" } else { "<br>motor" };
        write!(
            out,
            "<th colspan=\"2\">{}<br>{}, {}{by}</th>",
            escaped(setting.of),
            setting.way.name(),
            setting.scale.sign()
        )?;
    }
    writeln!(out, "</tr>\n</thead>\n<tbody>")?;
    let mut pass_before = None;
    // Of each drawing, rows since its name stood there.
    let mut unnamed = vec![0_u32; sheet.drawn.len()];
    sheet.rows(|row| {
        begun(row.turn.number)?;
        let new = several && row.turn.pass == 0 && pass_before.is_some();
        pass_before = Some(row.turn.pass);
        let remarks = number == 0 && !row.remarks.is_empty();
        // Across the whole table, above the row that they belong to: columns are narrow.
        if remarks {
            writeln!(
                out,
                "<tr class=\"note\"><td colspan=\"{columns}\">frame {}: {}</td></tr>",
                row.turn.frame,
                escaped(&row.remarks.join("; "))
            )?;
        }
        let class = if new && !remarks {
            " class=\"new\""
        } else {
            ""
        };
        write!(
            out,
            "<tr{class}><td><span class=\"box\"></span></td><td class=\"n\">{}</td>",
            row.turn.frame
        )?;
        cells(sheet, part, row, &mut unnamed, out)
    })?;
    writeln!(out, "</tbody>\n</table>")
}

/// The levels and axes of a table in words.
fn named(sheet: &Sheet<'_>, part: &Part) -> String {
    let drawn = part.drawn.iter().map(|(place, _)| sheet.drawn[*place]);
    let set = part.settings.iter();
    let set = set.map(|(place, _)| sheet.settings[*place].of);
    let mut names: Vec<&str> = Vec::new();
    for name in set.chain(drawn) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names.join(", ")
}

fn cells(
    sheet: &Sheet<'_>,
    part: &Part,
    row: &Row,
    unnamed: &mut [u32],
    out: &mut impl Write,
) -> io::Result<()> {
    if row.turn.several {
        let pass = sheet.schedule.passes.get(row.turn.pass);
        let name = escaped(&pass_name(row.turn, pass));
        write!(out, "<td class=\"pass\">{name}</td>")?;
    }
    for (place, _) in &part.drawn {
        let since = &mut unnamed[*place];
        *since += 1;
        match &row.drawings[*place] {
            Lies::New(drawing) => {
                *since = 0;
                let name = escaped(drawing.as_deref().unwrap_or("bare"));
                write!(out, "<td><b>{name}</b></td>")?;
            }
            Lies::Still(drawing) if *since >= NAMED_AGAIN => {
                *since = 0;
                let name = escaped(drawing.as_deref().unwrap_or("bare"));
                write!(out, "<td class=\"held\">\u{2502} {name}</td>")?;
            }
            Lies::Still(_) => write!(out, "<td class=\"held\">\u{2502}</td>")?,
            Lies::Out => write!(out, "<td class=\"held\">out</td>")?,
        }
    }
    for (place, _) in &part.settings {
        let (setting, (value, by)) = (&sheet.settings[*place], row.settings[*place]);
        let smallest = 0.5 * 10.0_f64.powi(-(setting.digits as i32));
        let value = setting.scale.words(value);
        let value = if setting.hand {
            format!("<b>{value}</b>")
        } else {
            value
        };
        write!(out, "<td class=\"n\">{value}</td><td class=\"way\">")?;
        match by {
            Some(by) if by.abs() < smallest => write!(out, "\u{b7}")?,
            Some(by) => write!(
                out,
                "{} {}",
                setting.way.toward(by),
                setting.scale.words(by.abs())
            )?,
            None => {}
        }
        write!(out, "</td>")?;
    }
    writeln!(out, "</tr>")
}
