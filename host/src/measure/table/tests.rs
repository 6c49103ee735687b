use super::*;

const COLUMNS: [Column; 3] = [
    Column {
        name: "target",
        want: Want::Place(AxisUnit::Millimetre),
        needed: true,
    },
    Column {
        name: "reading",
        want: Want::Place(AxisUnit::Millimetre),
        needed: true,
    },
    Column {
        name: "going",
        want: Want::Word,
        needed: false,
    },
];

fn numbers(text: &str) -> Vec<(usize, f64, f64)> {
    let rows = read("r.csv", text, &COLUMNS, 1).expect("sound");
    let number = |row: &Row, name| row.number(name).expect("there");
    rows.iter()
        .map(|row| (row.line, number(row, "target"), number(row, "reading")))
        .collect()
}

fn wrong(text: &str) -> String {
    read("r.csv", text, &COLUMNS, 2)
        .expect_err("wrong")
        .to_string()
}

#[test]
fn columns_come_in_any_order_with_units_in_head_or_value() {
    let wanted = [(2, 1.0, 25.4), (4, 2.0, 50.8)];
    for text in [
        "reading in,note,Target (mm)\n1,x,1\n\n2,y,2\n",
        "\u{feff}target;reading\r\n1 mm;1 in\r\n# a remark\r\n0.2 cm;50.8 mm\r\n",
        "target [cm]\treading mm\n0.1\t25.4\n\n0.2\t2 in",
    ] {
        assert_eq!(numbers(text), wanted, "{text:?}");
    }
    let rows = read(
        "r",
        "target mm,reading mm,going\n1,2,east\n3,4,\n",
        &COLUMNS,
        2,
    );
    let rows = rows.expect("sound");
    assert_eq!(
        (rows[0].word("going"), rows[1].word("going")),
        (Some("east"), None)
    );
}

#[test]
fn what_is_wrong_is_named_with_its_place() {
    for (text, words) in [
        ("", "r.csv:1: the table is empty"),
        (
            "target mm,value\n1,2\n",
            "r.csv:1: there is no column `reading`; the columns here are `target mm`, `value`",
        ),
        (
            "target mm,reading kg\n1,2\n3,4\n",
            "r.csv:1: column 2 (`reading kg`): `1 kg` is a mass, but a length is wanted",
        ),
        (
            "target mm,reading deg\n1,2\n3,4\n",
            "is an angle, but a length is wanted",
        ),
        (
            "target mm,reading mm\n1,2\n3,\n",
            "r.csv:3: column 2 (`reading mm`): nothing is written here",
        ),
        (
            "target mm,reading mm\n1,2\n3\n",
            "r.csv:3: column 2 (`reading mm`): nothing is written here",
        ),
        (
            "target mm,reading mm\n1,2\n3,four\n",
            "`four` does not begin with a number",
        ),
        (
            "target mm,reading mm\n1,2\n3,nan\n",
            "`nan` does not begin with a number",
        ),
        (
            "target mm,reading mm\n1,2\n3,inf\n",
            "`inf` does not begin with a number",
        ),
        ("target mm,reading mm\n1,2\n3,1e9\n", "`1e9` "),
        (
            "target mm,reading mm\n1,2\n3,4 s\n",
            "is a time, but a length is wanted",
        ),
        (
            "target mm,reading\n1,2\n3,4\n",
            "write the unit into the column's head, such as `reading mm`",
        ),
        (
            "target mm,reading mm\n1,2,0\n3,4\n",
            "r.csv:2: 3 values, but 2 columns",
        ),
        (
            "target mm,reading mm,reading mm\n1,2,0\n",
            "column 3 (`reading mm`): a second column",
        ),
        (
            "target mm,reading mm\n1,2\n",
            "r.csv:2: there are 1 rows of readings, but at least 2",
        ),
    ] {
        let said = wrong(text);
        assert!(said.contains(words), "{text:?}: {said}");
    }
    // Everything at once, but not endlessly.
    let said = wrong("target mm,reading mm\nx,y\n,2\n");
    assert_eq!(said.lines().count(), 3, "{said}");
    let many = format!("target mm,reading mm\n{}", "x,y\n".repeat(50));
    assert!(
        wrong(&many).ends_with("... and 88 more"),
        "{}",
        wrong(&many)
    );
}
