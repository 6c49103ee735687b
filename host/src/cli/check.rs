//! `panestep check`: what can be told of a stand from its file, for people and for programs.

use std::io::{self, BufWriter, Write};

use panestep::audit::{About, Audit, Finding, Glance, Severity, audit};
use panestep::stand::{Carrier, LevelId, Stand};
use serde_json::{Value, json};

use super::Failure;
use super::args;
use super::measure::args::Shape;
use super::plan::file_failure;
use super::screen::{self, wrapped};

/// Version of the JSON; raised when a reader of an older one would misread it.
const JSON_VERSION: u32 = 1;

/// Width of the column before the sentence.
const MARK: usize = 9;

/// Audits a stand and writes the report to standard output. Opens no port.
pub(crate) fn check(typed: &args::Check) -> Result<(), Failure> {
    let stand =
        panestep::file::read_stand(&typed.stand).map_err(|problems| file_failure(&problems))?;
    let audit = audit(&stand);
    let mut out = BufWriter::new(io::stdout().lock());
    match typed.format {
        Shape::Table => report(&stand, &audit, typed.all, screen::width(), &mut out),
        Shape::Json => as_json(&stand, &audit, &mut out),
    }
    .and_then(|()| out.flush())
    .map_err(|error| Failure::output(&error))?;
    if audit.forbids() {
        let count = audit.count(Severity::Forbids);
        return Err(Failure::could_not(format!(
            "{} cannot be shot on as it is: {count} thing{} forbid{} it",
            stand.name,
            if count == 1 { "" } else { "s" },
            if count == 1 { "s" } else { "" },
        ))
        .hint("what to do stands beside each, at the top of the report"));
    }
    Ok(())
}

const fn mark(severity: Severity) -> &'static str {
    match severity {
        Severity::Fine => "ok",
        Severity::WorthKnowing => "note",
        Severity::Warning => "WARNING",
        Severity::Forbids => "FORBIDS",
    }
}

/// What a finding is about: the kind of thing, and its name.
fn about(stand: &Stand, about: About) -> (&'static str, String) {
    match about {
        About::Stand => ("stand", stand.name.clone()),
        About::Lens => ("lens", String::new()),
        About::Level(LevelId(level)) => ("level", stand.levels[level].name.clone()),
        About::Axis(axis) => {
            let axis = &stand.axes[axis.0];
            let name = format!("{} {}", stand.carrier_name(axis.of), axis.way.name());
            ("axis", name)
        }
        About::Board(board) => ("board", stand.boards[board.0].name.clone()),
        About::Lamp(lamp) => ("lamp", stand.lamps[lamp].name.clone()),
        About::Shutter => ("shutter", String::new()),
    }
}

fn heading(stand: &Stand, of: About) -> String {
    match about(stand, of) {
        (kind, name) if name.is_empty() => kind.to_owned(),
        (_, _) if of == About::Stand => "the stand as a whole".to_owned(),
        (kind, name) => format!("{kind} {name}"),
    }
}

/// The things of a stand in the order of a report: a level's axes come behind it.
fn order(stand: &Stand, of: About) -> (usize, usize, usize) {
    match of {
        About::Stand => (0, 0, 0),
        About::Lens => (1, 0, 0),
        About::Level(LevelId(level)) => (2, level, 0),
        About::Axis(axis) => match stand.axes[axis.0].of {
            Carrier::Level(LevelId(level)) => (2, level, 1 + axis.0),
            Carrier::Camera => (1, 0, 1 + axis.0),
        },
        About::Board(board) => (3, board.0, 0),
        About::Lamp(lamp) => (4, lamp, 0),
        About::Shutter => (5, 0, 0),
    }
}

/// Sources in the order in which they are first needed, numbered from 1.
struct Sources(Vec<&'static str>);

impl Sources {
    fn number(&mut self, source: &'static str) -> usize {
        let place = self.0.iter().position(|known| *known == source);
        place.unwrap_or_else(|| {
            self.0.push(source);
            self.0.len() - 1
        }) + 1
    }
}

fn report(
    stand: &Stand,
    audit: &Audit,
    all: bool,
    width: usize,
    out: &mut impl Write,
) -> io::Result<()> {
    let width = width.clamp(60, 120);
    let mut sources = Sources(Vec::new());
    let mut findings: Vec<&Finding> = audit.findings.iter().collect();
    findings.sort_by_key(|finding| order(stand, finding.about));
    writeln!(out, "{}: {}", stand.name, summary(audit))?;
    let mut loud: Vec<&&Finding> = findings
        .iter()
        .filter(|finding| finding.severity >= Severity::Warning)
        .collect();
    loud.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    if !loud.is_empty() {
        writeln!(out)?;
    }
    for finding in loud {
        line(finding, width, &mut sources, out)?;
        advice(finding, width, out)?;
    }
    glances(&audit.levels, width, out)?;
    let mut before = None;
    for finding in &findings {
        let shown = match finding.severity {
            Severity::Fine => all,
            Severity::WorthKnowing => true,
            // They stand at the top.
            Severity::Warning | Severity::Forbids => false,
        };
        if !shown {
            continue;
        }
        if before != Some(finding.about) {
            writeln!(out, "\n{}", heading(stand, finding.about))?;
            before = Some(finding.about);
        }
        line(finding, width, &mut sources, out)?;
        advice(finding, width, out)?;
    }
    if !all {
        fine(stand, &findings, width, out)?;
    }
    if !sources.0.is_empty() {
        writeln!(out, "\nwhere the numbers come from")?;
    }
    for (place, source) in sources.0.iter().enumerate() {
        let head = format!("{:>5} ", format!("[{}]", place + 1));
        wrapped(&head, source, width, out)?;
    }
    writeln!(out, "\n{}", summary(audit))
}

/// A line a level: what a builder looks for first.
fn glances(levels: &[Glance], width: usize, out: &mut impl Write) -> io::Result<()> {
    if levels.is_empty() {
        return Ok(());
    }
    let name = |level: &Glance| level.level.chars().count();
    let longest = levels.iter().map(name).max().unwrap_or(0).max(5);
    writeln!(
        out,
        "\n{:<longest$}  {:>9}  {:>10}  {:>9}  {:>11}  one step",
        "level", "distance", "size", "blur", "light"
    )?;
    for level in levels {
        let step = level.step.as_ref().map_or_else(
            || "no axis".to_owned(),
            |step| format!("{:.3} px {}", step.pixels, step.way),
        );
        // No minus before a zero.
        let light = (level.light_stops * 100.0).round() / 100.0 + 0.0;
        writeln!(
            out,
            "{:<longest$}  {:>6.0} mm  {:>8.4} x  {:>6.2} px  {:>5.2} stops  {step}",
            level.level, level.distance_mm, level.magnification, level.blur_px, light
        )?;
    }
    let says = "Distance from the lens through the glass, size in the picture, blur of focus, light lost \
                in the panes above, and the picture's move at one step (or division) of the level's coarsest \
                axis; all axes at zero.";
    wrapped("", says, width, out)
}

/// Counts what is fine, kind by kind.
fn fine(
    stand: &Stand,
    findings: &[&Finding],
    width: usize,
    out: &mut impl Write,
) -> io::Result<()> {
    let mut kinds: Vec<(&str, usize)> = Vec::new();
    for finding in findings {
        if finding.severity != Severity::Fine {
            continue;
        }
        let (kind, _) = about(stand, finding.about);
        match kinds.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, count)) => *count += 1,
            None => kinds.push((kind, 1)),
        }
    }
    let count: usize = kinds.iter().map(|(_, count)| count).sum();
    if count == 0 {
        return Ok(());
    }
    let kinds: Vec<String> = kinds
        .iter()
        .map(|(kind, count)| format!("{kind} {count}"))
        .collect();
    let says = format!(
        "{count} more {} found fine ({}): `--all` shows them with their numbers.",
        if count == 1 {
            "thing was"
        } else {
            "things were"
        },
        kinds.join(", ")
    );
    writeln!(out)?;
    wrapped("", &says, width, out)
}

/// How many of each, the worst first.
fn summary(audit: &Audit) -> String {
    let some = |severity, one: &str, more: &str| match audit.count(severity) {
        0 => None,
        1 => Some(format!("1 {one}")),
        count => Some(format!("{count} {more}")),
    };
    let parts: Vec<String> = [
        some(
            Severity::Forbids,
            "thing FORBIDS shooting",
            "things FORBID shooting",
        ),
        some(Severity::Warning, "WARNING", "WARNINGS"),
        some(
            Severity::WorthKnowing,
            "thing worth knowing",
            "things worth knowing",
        ),
        some(Severity::Fine, "fine", "fine"),
    ]
    .into_iter()
    .flatten()
    .collect();
    let verdict = if audit.forbids() {
        ""
    } else if audit.count(Severity::Warning) > 0 {
        "can be shot on, but read the warnings: "
    } else {
        "sound: "
    };
    format!("{verdict}{}", parts.join(", "))
}

fn line(
    finding: &Finding,
    width: usize,
    sources: &mut Sources,
    out: &mut impl Write,
) -> io::Result<()> {
    let head = format!("{:<MARK$}", mark(finding.severity));
    let number = sources.number(finding.source);
    let says = format!("{} [{number}]", finding.says);
    wrapped(&head, &says, width, out)
}

fn advice(finding: &Finding, width: usize, out: &mut impl Write) -> io::Result<()> {
    let Some(advice) = &finding.advice else {
        return Ok(());
    };
    let head = format!("{:>1$}", "-> ", MARK);
    wrapped(&head, advice, width, out)
}

fn as_json(stand: &Stand, audit: &Audit, out: &mut impl Write) -> io::Result<()> {
    let findings: Vec<Value> = audit
        .findings
        .iter()
        .map(|finding| {
            let (kind, name) = about(stand, finding.about);
            json!({
                "severity": finding.severity,
                "about": kind,
                "name": name,
                "aspect": finding.aspect,
                "value": finding.value,
                "says": finding.says,
                "numbers": finding.numbers,
                "source": finding.source,
                "advice": finding.advice,
            })
        })
        .collect();
    let document = json!({
        "panestep_check": JSON_VERSION,
        "stand": stand.name,
        "sound": !audit.forbids(),
        "forbids": audit.count(Severity::Forbids),
        "warnings": audit.count(Severity::Warning),
        "worth_knowing": audit.count(Severity::WorthKnowing),
        "levels": audit.levels,
        "findings": findings,
    });
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}
