//! The exposure sheet: a row for every exposure in the order in which they are made, to work from and
//! to tick off at the stand. Written row by row; it does not grow in memory with the frames.

use std::collections::{BTreeMap, HashMap};
use std::io::{self, Write};
use std::ops::RangeInclusive;
use std::time::Duration;

use super::html::{FOOT, escaped, head, terms};
use crate::plan::Plan;
use crate::plan::output::{decimals, fixed, quoted};
use crate::plan::strobing::Rule;
use crate::plan::survey::Survey;
use crate::schedule::{Pass, Schedule, Turn};
use crate::shot::{Key, Shot, When};
use crate::stand::{Stand, Way};

/// The first columns of the CSV; after them come, for each axis, its setting and how far it goes.
pub const CSV_HEAD: &str = "exposure,frame,pass,lamps,exposure_seconds,drawings,remarks";

/// Frames of 35 mm film to a foot, four perforations to a frame (liquisearch.com, "35 mm film";
/// de.zxc.wiki, "Filmfuß").
const FRAMES_A_FOOT: u32 = 16;

/// What a sheet is to have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Frames whose exposures are in it.
    pub frames: RangeInclusive<u32>,
    /// Whether motors' positions are as well.
    pub motors: bool,
}

/// Length on 35 mm film with four perforations to a frame: feet, and frames beyond them.
#[must_use]
pub fn footage(frames: u32) -> (u32, u32) {
    (frames / FRAMES_A_FOOT, frames % FRAMES_A_FOOT)
}

/// One row.
struct Row {
    number: u32,
    turn: Turn,
    /// Of each column of settings: the setting, and how far it has gone since the row before.
    settings: Vec<(f64, Option<f64>)>,
    /// For each level with drawings: what lies on it, and whether it did already.
    drawings: Vec<(Option<String>, bool)>,
    remarks: Vec<String>,
}

/// A column of settings.
struct Setting<'a> {
    of: &'a str,
    way: Way,
    unit: &'static str,
    digits: usize,
    hand: bool,
}

struct Sheet<'a> {
    schedule: &'a Schedule,
    settings: Vec<Setting<'a>>,
    /// Levels on which drawings lie.
    drawn: Vec<&'a str>,
    laid: HashMap<(u32, &'a str), Option<&'a str>>,
    remarks: BTreeMap<u32, Vec<String>>,
    wanted: &'a Wanted,
}

impl<'a> Sheet<'a> {
    fn new(shot: &Shot, plan: &'a Plan, survey: &Survey, wanted: &'a Wanted) -> Self {
        let schedule = plan.schedule();
        let mut settings: Vec<Setting<'_>> = schedule
            .hands
            .iter()
            .map(|hand| Setting {
                of: &hand.of,
                way: hand.way,
                unit: hand.unit.sign(),
                digits: decimals(hand.scale),
                hand: true,
            })
            .collect();
        if wanted.motors {
            settings.extend(schedule.motors.iter().map(|motor| Setting {
                of: &motor.of,
                way: motor.way,
                unit: motor.unit.sign(),
                digits: 3,
                hand: false,
            }));
        }
        let mut drawn: Vec<&str> = Vec::new();
        for laid in &schedule.laid {
            if !drawn.contains(&&*laid.on) {
                drawn.push(&laid.on);
            }
        }
        let laid = schedule
            .laid
            .iter()
            .map(|laid| ((laid.frame, laid.on.as_str()), laid.drawing.as_deref()))
            .collect();
        Self {
            schedule,
            settings,
            drawn,
            laid,
            remarks: remarks(shot, plan, survey),
            wanted,
        }
    }

    fn settings_at(&self, frame: u32) -> Vec<f64> {
        let hands = self.schedule.hands_at(frame).unwrap_or_default();
        let mut values = hands.to_vec();
        if self.wanted.motors {
            let steps = self.schedule.motors_at(frame).unwrap_or_default();
            let sized = steps.iter().zip(&self.schedule.motors);
            values.extend(sized.map(|(steps, motor)| f64::from(*steps) * motor.step_size));
        }
        values
    }

    /// Every exposure in its order.
    fn rows(&self, mut each: impl FnMut(&Row) -> io::Result<()>) -> io::Result<()> {
        let schedule = self.schedule;
        let mut before: Option<Vec<f64>> = None;
        let mut lying: HashMap<&str, Option<&str>> = HashMap::new();
        let mut last: Option<Turn> = None;
        for number in 1..=schedule.turns() {
            let Some(turn) = schedule.turn(number) else {
                break;
            };
            // What lies there has to be known from the first frame on.
            let new_run = last.is_some_and(|last| turn.frame < last.frame);
            if new_run {
                lying.clear();
            }
            let mut changed = false;
            if last.is_none_or(|last| last.frame != turn.frame) {
                for on in &self.drawn {
                    if let Some(drawing) = self.laid.get(&(turn.frame, *on)) {
                        lying.insert(on, *drawing);
                        changed = true;
                    }
                }
            }
            if !self.wanted.frames.contains(&turn.frame) {
                last = Some(turn);
                continue;
            }
            let settings = self.settings_at(turn.frame);
            let moved = settings
                .iter()
                .enumerate()
                .map(|(place, value)| (*value, before.as_ref().map(|before| value - before[place])))
                .collect();
            let first = before.is_none();
            let drawings = self
                .drawn
                .iter()
                .map(|on| {
                    let drawing = lying.get(on).copied().flatten().map(str::to_owned);
                    let new = changed && self.laid.contains_key(&(turn.frame, *on));
                    (drawing, !(new || first || new_run))
                })
                .collect();
            let pass_before = last.filter(|_| !first).map(|last| last.pass);
            let row = Row {
                number,
                turn,
                settings: moved,
                drawings,
                remarks: self.remarks_of(turn, pass_before),
            };
            each(&row)?;
            before = Some(settings);
            last = Some(turn);
        }
        Ok(())
    }

    fn remarks_of(&self, turn: Turn, pass_before: Option<usize>) -> Vec<String> {
        let mut all = Vec::new();
        let passes = &self.schedule.passes;
        let pass = passes.get(turn.pass);
        if let Some(pass) = pass.filter(|_| pass_before != Some(turn.pass)) {
            let before = pass_before.and_then(|before| passes.get(before));
            if turn.several {
                all.push(format!("pass {}: {}", turn.pass + 1, pass.name));
            }
            let out = |pass: &Pass, level: &String| pass.without.contains(level);
            for level in &pass.without {
                if before.is_none_or(|before| !out(before, level)) {
                    all.push(format!("take {level} out"));
                }
            }
            for level in before.iter().flat_map(|before| &before.without) {
                if !out(pass, level) {
                    all.push(format!("put {level} in"));
                }
            }
            if pass.set_by_hand {
                all.push(format!("set the camera to {}", seconds(pass.exposure)));
            }
        }
        // Once a frame, with its first pass in this run.
        let again = pass_before.is_some_and(|before| before < turn.pass)
            && pass.is_some_and(|pass| pass.when == When::EachFrame);
        if !again {
            all.extend(self.remarks.get(&turn.frame).into_iter().flatten().cloned());
        }
        all
    }
}

/// What is to be said of single frames.
fn remarks(shot: &Shot, plan: &Plan, survey: &Survey) -> BTreeMap<u32, Vec<String>> {
    let mut all: BTreeMap<u32, Vec<String>> = BTreeMap::new();
    let mut say = |frame: u32, what: String| {
        let here = all.entry(frame).or_default();
        if !here.contains(&what) {
            here.push(what);
        }
    };
    for fast in &survey.fast {
        let what = match fast.rule {
            Rule::Crossing => "crosses the picture too fast",
            Rule::Jumps => "strobes",
        };
        for span in &fast.frames {
            say(
                *span.start(),
                format!("{} {what}, to {}", fast.level, span.end()),
            );
        }
    }
    for level in &survey.coverage {
        for (what, spare) in [
            ("painting", level.painting_spare),
            ("pane", Some(level.pane_spare)),
        ] {
            if let Some(spare) = spare.filter(|spare| spare.mm < 0.0) {
                say(
                    spare.frame,
                    format!(
                        "{}: the {what}'s {} edge is in the picture by {:.1} mm",
                        level.level,
                        spare.side.name(),
                        -spare.mm
                    ),
                );
            }
        }
    }
    for level in &survey.sharpness {
        for span in &level.soft {
            say(
                *span.start(),
                format!("{} is soft, to {}", level.level, span.end()),
            );
        }
    }
    for level in &plan.report().levels {
        if level.size_error_pixels.abs() >= 1.0 {
            say(
                level.size_error_frame,
                format!(
                    "{} is {:.1} px off in size, the most of all",
                    level.level,
                    level.size_error_pixels.abs()
                ),
            );
        }
    }
    let tracks = [
        ("viewer east", &shot.viewer.east.keys),
        ("viewer north", &shot.viewer.north.keys),
        ("viewer ahead", &shot.viewer.ahead.keys),
        ("viewer roll", &shot.viewer.roll.keys),
    ];
    for (name, keys) in tracks {
        fairings(name, keys, &mut say);
    }
    for (way, track) in &shot.camera {
        fairings(&format!("camera {}", way.name()), &track.keys, &mut say);
    }
    all
}

/// Where a move gathers and loses speed.
fn fairings(name: &str, keys: &[Key], say: &mut impl FnMut(u32, String)) {
    for two in keys.windows(2) {
        let [from, to] = two else { continue };
        if from.value == to.value {
            continue;
        }
        if from.fairing > 0 {
            say(from.frame, format!("{name} gathers speed"));
            let full = from.frame.saturating_add(from.fairing).min(to.frame);
            say(full, format!("{name} at full speed"));
        }
        if to.fairing > 0 {
            let slows = to.frame.saturating_sub(to.fairing).max(from.frame);
            say(slows, format!("{name} slows down"));
            say(to.frame, format!("{name} at rest"));
        }
    }
}

fn seconds(time: Duration) -> String {
    format!("{} s", time.as_secs_f64())
}

fn lamps(schedule: &Schedule, pass: &Pass) -> String {
    if schedule.lamps.is_empty() {
        return String::new();
    }
    let names: Vec<&str> = pass
        .lamps
        .iter()
        .filter_map(|lamp| Some(schedule.lamps.get(*lamp)?.name.as_str()))
        .collect();
    if names.is_empty() {
        "no lamp".into()
    } else {
        names.join(" + ")
    }
}

fn pass_name(turn: Turn, pass: Option<&Pass>) -> String {
    match pass {
        Some(pass) if turn.several => format!("{} {}", turn.pass + 1, pass.name),
        _ => String::new(),
    }
}

/// Writes the sheet for print. `begun` hears the number of every row before it is written, and may
/// end the work.
///
/// # Errors
///
/// Those of the writer and of `begun`.
pub fn html(
    stand: &Stand,
    shot: &Shot,
    plan: &Plan,
    survey: &Survey,
    wanted: &Wanted,
    out: &mut impl Write,
    mut begun: impl FnMut(u32) -> io::Result<()>,
) -> io::Result<()> {
    let sheet = Sheet::new(shot, plan, survey, wanted);
    let schedule = plan.schedule();
    let title = format!("{}: exposure sheet", shot.name);
    out.write_all(head(&title).as_bytes())?;
    writeln!(out, "<h1>{}</h1>", escaped(&title))?;
    let (first, last) = (*wanted.frames.start(), *wanted.frames.end());
    let (feet, over) = footage(shot.frames);
    let mut about = vec![
        ("stand", stand.name.clone()),
        (
            "frames",
            if (first, last) == (1, shot.frames) {
                format!("1 to {last}")
            } else {
                format!("{first} to {last} of {}", shot.frames)
            },
        ),
        (
            "shown",
            format!(
                "{} frames a second, {:.2} s; on 35 mm film with 4 perforations {feet} ft {over} fr",
                shot.rate,
                f64::from(shot.frames) / shot.rate
            ),
        ),
        (
            "pictures",
            match shot.hold {
                1 => "on ones".into(),
                2 => "on twos: two frames to a picture".into(),
                hold => format!("{hold} frames to a picture"),
            },
        ),
        ("exposures", format!("{}", schedule.turns())),
    ];
    for (place, pass) in schedule.passes.iter().enumerate() {
        if schedule.passes.len() == 1 && pass.name.is_empty() && schedule.lamps.is_empty() {
            about.push(("exposure time", seconds(pass.exposure)));
            continue;
        }
        let when = match pass.when {
            When::EachFrame => "at each frame",
            When::AfterRun => "after the run",
        };
        let out = if pass.without.is_empty() {
            String::new()
        } else {
            format!(", without {}", pass.without.join(", "))
        };
        let lamps = lamps(schedule, pass);
        let lamps = if lamps.is_empty() {
            String::new()
        } else {
            format!(", {lamps}")
        };
        about.push((
            "pass",
            format!(
                "{} {}: {when}, {}{lamps}{out}",
                place + 1,
                pass.name,
                seconds(pass.exposure)
            ),
        ));
    }
    out.write_all(terms(&about).as_bytes())?;
    if !schedule.hands.is_empty() {
        writeln!(
            out,
            "<p>Bold: the scale's reading to set. Beside it: which way and how far from the row \
             before; a dot: leave it as it is.</p>"
        )?;
    }
    table(&sheet, out, &mut begun)?;
    out.write_all(FOOT.as_bytes())
}

fn table(
    sheet: &Sheet<'_>,
    out: &mut impl Write,
    begun: &mut impl FnMut(u32) -> io::Result<()>,
) -> io::Result<()> {
    let schedule = sheet.schedule;
    let several = schedule.passes.len() > 1;
    writeln!(out, "<table>\n<thead>\n<tr>")?;
    write!(out, "<th>done</th><th class=\"n\">frame</th>")?;
    if several {
        write!(out, "<th>pass</th>")?;
    }
    for on in &sheet.drawn {
        write!(out, "<th>{}<br>drawing</th>", escaped(on))?;
    }
    for setting in &sheet.settings {
        let by = if setting.hand { "" } else { "<br>motor" };
        write!(
            out,
            "<th class=\"n\">{}<br>{}, {}{by}</th><th></th>",
            escaped(setting.of),
            setting.way.name(),
            setting.unit
        )?;
    }
    writeln!(out, "</tr>\n</thead>\n<tbody>")?;
    let columns = 2 + usize::from(several) + sheet.drawn.len() + 2 * sheet.settings.len();
    let mut pass_before = None;
    sheet.rows(|row| {
        begun(row.number)?;
        let new = several && row.turn.pass == 0 && pass_before.is_some();
        pass_before = Some(row.turn.pass);
        // Across the whole table, above the row that they belong to: columns are narrow.
        if !row.remarks.is_empty() {
            writeln!(
                out,
                "<tr class=\"note\"><td colspan=\"{columns}\">{}: {}</td></tr>",
                row.turn.frame,
                escaped(&row.remarks.join("; "))
            )?;
        }
        write!(
            out,
            "<tr{}><td><span class=\"box\"></span></td><td class=\"n\">{}</td>",
            if new && row.remarks.is_empty() {
                " class=\"new\""
            } else {
                ""
            },
            row.turn.frame
        )?;
        if several {
            let pass = schedule.passes.get(row.turn.pass);
            write!(out, "<td>{}</td>", escaped(&pass_name(row.turn, pass)))?;
        }
        for (drawing, held) in &row.drawings {
            match (drawing, held) {
                (_, true) => write!(out, "<td class=\"held\">\u{2502}</td>")?,
                (Some(drawing), false) => write!(out, "<td><b>{}</b></td>", escaped(drawing))?,
                (None, false) => write!(out, "<td>bare</td>")?,
            }
        }
        for ((value, by), setting) in row.settings.iter().zip(&sheet.settings) {
            let digits = setting.digits;
            let smallest = 0.5 * 10.0_f64.powi(-(digits as i32));
            let value = fixed(*value, digits);
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
                    setting.way.toward(*by),
                    fixed(by.abs(), digits)
                )?,
                None => {}
            }
            write!(out, "</td>")?;
        }
        writeln!(out, "</tr>")
    })?;
    writeln!(out, "</tbody>\n</table>")
}

/// Writes the sheet as CSV: [`CSV_HEAD`], then for each axis `OF WAY UNIT` and `OF WAY by UNIT`.
/// `begun` as for [`html`].
///
/// # Errors
///
/// Those of the writer and of `begun`.
pub fn csv(
    shot: &Shot,
    plan: &Plan,
    survey: &Survey,
    wanted: &Wanted,
    out: &mut impl Write,
    mut begun: impl FnMut(u32) -> io::Result<()>,
) -> io::Result<()> {
    let sheet = Sheet::new(shot, plan, survey, wanted);
    let schedule = plan.schedule();
    write!(out, "{CSV_HEAD}")?;
    for setting in &sheet.settings {
        let (of, way, unit) = (setting.of, setting.way.name(), setting.unit);
        let column = quoted(&format!("{of} {way} {unit}"));
        let by = quoted(&format!("{of} {way} by {unit}"));
        write!(out, ",{column},{by}")?;
    }
    writeln!(out)?;
    sheet.rows(|row| {
        begun(row.number)?;
        let pass = schedule.passes.get(row.turn.pass);
        let drawings: Vec<String> = row
            .drawings
            .iter()
            .zip(&sheet.drawn)
            .map(|((drawing, _), on)| format!("{on}: {}", drawing.as_deref().unwrap_or("bare")))
            .collect();
        write!(
            out,
            "{},{},{},{},{},{},{}",
            row.number,
            row.turn.frame,
            quoted(pass.map_or("", |pass| pass.name.as_str())),
            quoted(&pass.map_or(String::new(), |pass| lamps(schedule, pass))),
            pass.map_or(String::new(), |pass| pass
                .exposure
                .as_secs_f64()
                .to_string()),
            quoted(&drawings.join("; ")),
            quoted(&row.remarks.join("; ")),
        )?;
        for ((value, by), setting) in row.settings.iter().zip(&sheet.settings) {
            let by = by.map_or(String::new(), |by| fixed(by, setting.digits));
            write!(out, ",{},{by}", fixed(*value, setting.digits))?;
        }
        writeln!(out)
    })
}

#[cfg(test)]
mod tests {
    use super::footage;

    /// liquisearch.com, "35 mm film", and de.zxc.wiki, "Filmfuß" (seen): 16 frames a foot; 90 ft a minute
    /// at 24 frames a second; 100 minutes are 9000 ft, 1000 ft about 11 minutes.
    #[test]
    fn footage_is_the_published_one() {
        assert_eq!(footage(24 * 60), (90, 0));
        assert_eq!(footage(24 * 60 * 100), (9000, 0));
        assert_eq!(footage(16 * 1000).0, 1000);
        assert_eq!(footage(120), (7, 8));
        assert_eq!(footage(1), (0, 1));
    }
}
