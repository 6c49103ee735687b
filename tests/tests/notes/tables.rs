//! Tables and figures as a reader of the hardware notes sees them.

use std::collections::BTreeSet;

use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd};

/// The calculations that tests work out: page and heading.
const CALCULATIONS: [(&str, &str); 9] = [
    ("drives.md", "The load"),
    ("drives.md", "The lift's motor"),
    ("drives.md", "The same level on a ball screw"),
    ("drives.md", "A sideways axis"),
    ("frame-and-glass.md", "A counterweight"),
    ("frame-and-glass.md", "A gas spring"),
    ("power.md", "How much supply"),
    ("power.md", "What a wire drops"),
    ("tuning.md", "Jerk"),
];

/// A table under its heading.
pub(crate) struct Table {
    heading: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// The tables of a page, in their order.
pub(crate) fn tables(page: &str) -> Vec<Table> {
    let path = format!("{}/../hardware-notes/{page}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"));
    let mut tables = Vec::new();
    let (mut heading, mut cell, mut row) = (String::new(), String::new(), Vec::new());
    for event in Parser::new_ext(&text, Options::ENABLE_TABLES) {
        match event {
            Event::Start(Tag::Heading { .. } | Tag::TableCell) => cell.clear(),
            Event::Text(text) | Event::Code(text) => cell.push_str(&text),
            Event::End(TagEnd::Heading(_)) => heading.clone_from(&cell),
            Event::End(TagEnd::TableCell) => row.push(cell.trim().to_owned()),
            Event::End(TagEnd::TableHead) => tables.push(Table {
                heading: heading.clone(),
                columns: std::mem::take(&mut row),
                rows: Vec::new(),
            }),
            Event::End(TagEnd::TableRow) => {
                let table = tables.last_mut().expect("a head comes before rows");
                table.rows.push(std::mem::take(&mut row));
            }
            _ => {}
        }
    }
    tables
}

/// The only table under a heading of a page.
pub(crate) fn table(page: &str, heading: &str) -> Table {
    let mut found: Vec<_> = tables(page)
        .into_iter()
        .filter(|table| table.heading == heading)
        .collect();
    assert_eq!(found.len(), 1, "{page}: tables under \"{heading}\"");
    found.remove(0)
}

/// A figure with its unit, as printed.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Figure {
    pub(crate) value: f64,
    decimals: i32,
    unit: String,
}

impl Figure {
    /// Such as "1,600", "-0.010 N m", "±2.0 µm".
    fn read(text: &str) -> Option<Self> {
        let text = text.strip_prefix('±').unwrap_or(text);
        let end = text
            .find(|letter: char| !(letter.is_ascii_digit() || ",.-".contains(letter)))
            .unwrap_or(text.len());
        let number = text[..end].replace(',', "");
        let decimals = number.split_once('.').map_or(0, |(_, part)| part.len());
        Some(Self {
            value: number.parse().ok()?,
            decimals: i32::try_from(decimals).ok()?,
            unit: text[end..].trim().to_owned(),
        })
    }

    /// Whether this is how a value is printed with so many decimals.
    fn prints(&self, value: f64) -> bool {
        let half = 0.5 * 10_f64.powi(-self.decimals);
        (self.value - value).abs() <= half * (1.0 + 1e-9)
    }
}

impl Table {
    /// Every row, with its figures by column.
    pub(crate) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        assert!(!self.rows.is_empty(), "\"{}\" is empty", self.heading);
        self.rows.iter().map(|cells| Row { table: self, cells })
    }
}

/// One row of a table.
pub(crate) struct Row<'a> {
    table: &'a Table,
    cells: &'a [String],
}

impl Row<'_> {
    pub(crate) fn text(&self, column: &str) -> &str {
        let at = self.table.columns.iter().position(|name| name == column);
        &self.cells
            [at.unwrap_or_else(|| panic!("no column \"{column}\" in {:?}", self.table.columns))]
    }

    /// A figure in a unit.
    pub(crate) fn figure(&self, column: &str, unit: &str) -> Figure {
        let text = self.text(column);
        let figure = Figure::read(text).unwrap_or_else(|| panic!("{column}: no figure: {text}"));
        assert_eq!(figure.unit, unit, "{column}: {text}");
        figure
    }

    /// The printed figure is the value, to the last digit printed.
    #[track_caller]
    pub(crate) fn says(&self, column: &str, unit: &str, value: f64) {
        let figure = self.figure(column, unit);
        let heading = &self.table.heading;
        assert!(
            figure.prints(value),
            "{heading}: {:?}: {column}: {figure:?}, worked out: {value}",
            self.cells
        );
    }
}

/// A calculation, row by row: columns "quantity", "value" and "from". What begins with "given" is
/// put in; everything else has to be worked out.
pub(crate) struct Sums {
    table: Table,
    seen: BTreeSet<String>,
}

impl Sums {
    pub(crate) fn of(page: &str, heading: &str) -> Self {
        assert!(CALCULATIONS.contains(&(page, heading)), "{page}: {heading}");
        Self {
            table: table(page, heading),
            seen: BTreeSet::new(),
        }
    }

    fn row(&mut self, name: &str) -> Row<'_> {
        self.seen.insert(name.to_owned());
        let heading = &self.table.heading;
        let found = self.table.rows().find(|row| row.text("quantity") == name);
        found.unwrap_or_else(|| panic!("{heading}: no row \"{name}\""))
    }

    /// Something that is put in.
    #[track_caller]
    pub(crate) fn given(&mut self, name: &str, unit: &str) -> f64 {
        let row = self.row(name);
        assert!(
            row.text("from").starts_with("given"),
            "{name} is worked out"
        );
        row.figure("value", unit).value
    }

    /// Something that is worked out: the value in full.
    #[track_caller]
    pub(crate) fn is(&mut self, name: &str, unit: &str, value: f64) -> f64 {
        let row = self.row(name);
        assert!(!row.text("from").starts_with("given"), "{name} is given");
        row.says("value", unit, value);
        value
    }

    /// Nothing in the table was left unchecked.
    #[track_caller]
    pub(crate) fn all(self) {
        for row in self.table.rows() {
            let name = row.text("quantity");
            assert!(self.seen.contains(name), "nobody worked out \"{name}\"");
        }
    }
}

#[test]
fn figures_are_read_as_printed() {
    let figure =
        |text| Figure::read(text).map(|figure| (figure.value, figure.decimals, figure.unit));
    assert_eq!(figure("1,600"), Some((1600.0, 0, String::new())));
    assert_eq!(figure("-0.010 N m"), Some((-0.010, 3, "N m".into())));
    assert_eq!(figure("±2.0 µm"), Some((2.0, 1, "µm".into())));
    assert_eq!(figure("holds"), None);
}

#[test]
fn a_figure_must_be_right_to_its_last_digit() {
    let figure = Figure::read("0.068 N m").unwrap();
    assert!(figure.prints(0.0684) && figure.prints(0.0676));
    assert!(!figure.prints(0.0686) && !figure.prints(-0.068));
}

#[test]
fn no_calculation_of_the_notes_is_left_out() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../hardware-notes");
    let mut found = BTreeSet::new();
    for entry in std::fs::read_dir(folder).expect("the notes") {
        let name = entry
            .expect("a file")
            .file_name()
            .into_string()
            .expect("a name");
        if name.ends_with(".md") {
            let calculations = tables(&name)
                .into_iter()
                .filter(|table| table.columns == ["quantity", "value", "from"]);
            found.extend(calculations.map(|table| (name.clone(), table.heading)));
        }
    }
    let listed = CALCULATIONS.map(|(page, heading)| (page.to_owned(), heading.to_owned()));
    assert_eq!(found, BTreeSet::from(listed));
}
