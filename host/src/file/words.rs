//! Words for what was found in a file, and for what may have been meant.

use toml::de::DeValue;

use crate::units::QuantityError;

/// What is wrong with a quantity, in a few words.
pub(super) fn brief(error: &QuantityError) -> String {
    match error {
        QuantityError::Empty { .. } => "nothing is written".into(),
        QuantityError::BareNumber { .. } => "no unit".into(),
        QuantityError::UnknownUnit { unit, .. } => format!("`{unit}` is no unit"),
        QuantityError::Comma { .. } => "a comma in the number".into(),
        QuantityError::WrongKind { is, expected, .. } => format!("{is}, not {expected}"),
        QuantityError::NotANumber { .. } => "not a number and a unit".into(),
        QuantityError::DivisionByZero { .. } => "divides by zero".into(),
        QuantityError::OutOfRange { .. } => "far too great".into(),
        QuantityError::Negative { .. } => "less than zero".into(),
    }
}

/// What a value is, for messages.
pub(super) fn describe(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => {
            format!("the text \"{}\"", text.chars().take(60).collect::<String>())
        }
        DeValue::Integer(number) => number.as_str().to_owned(),
        DeValue::Float(number) => number.as_str().to_owned(),
        DeValue::Boolean(flag) => flag.to_string(),
        DeValue::Datetime(time) => format!("the date {time}"),
        DeValue::Array(list) => format!("a list of {}", list.len()),
        DeValue::Table(_) => "a table".into(),
    }
}

/// What to do about a value of the wrong kind.
pub(super) fn advice(value: &DeValue<'_>, expected: &str) -> String {
    match value {
        DeValue::Integer(_) | DeValue::Float(_) if expected.contains("unit") => {
            "a bare number could be millimetres or inches: add the unit and the quotes".into()
        }
        DeValue::String(_) if expected.contains("number") => {
            "take out the quotes and any unit".into()
        }
        _ => format!("write {} there", expected.trim_end_matches(',')),
    }
}

/// What to write instead of a quantity that cannot be read: the same with a decimal point, or with
/// its unit, where that is all that it lacks, so that nobody copies an example's number. `example`
/// is a number, a space and a unit.
pub(super) fn amended<T>(
    text: &str,
    example: &str,
    parse: impl Fn(&str) -> Result<T, QuantityError>,
) -> String {
    let pointed = text.trim().replacen(',', ".", 1);
    if parse(&pointed).is_ok() {
        return format!("write it as \"{pointed}\"");
    }
    let unit = example.split([' ', '"']).nth(1).unwrap_or_default();
    let united = format!("{pointed} {unit}");
    if parse(&united).is_ok() {
        return format!("write its unit too, such as \"{united}\"");
    }
    format!("write a number and its unit, such as \"{example}\"")
}

/// What may have been meant.
pub(super) fn suggestion<'w>(word: &str, known: impl Iterator<Item = &'w str> + Clone) -> String {
    let near = known
        .clone()
        .map(|other| (distance(word, other), other))
        .min()
        .filter(|(far, other)| {
            *far <= (other.chars().count() / 3).max(1)
                || word.to_lowercase() == other.to_lowercase()
        });
    match near {
        Some((_, other)) => format!("did you mean `{other}`?"),
        None => format!("known here: {}", known.collect::<Vec<_>>().join(", ")),
    }
}

/// Fewest letters to put in, take out, change or swap with their neighbour (optimal string
/// alignment) that make one word of the other.
fn distance(one: &str, two: &str) -> usize {
    let one: Vec<char> = one.chars().take(64).collect();
    let two: Vec<char> = two.chars().take(64).collect();
    let mut rows = vec![(0..=two.len()).collect::<Vec<usize>>()];
    for i in 1..=one.len() {
        let mut row = vec![i];
        for j in 1..=two.len() {
            let change = usize::from(one[i - 1] != two[j - 1]);
            let mut best = (rows[i - 1][j] + 1)
                .min(row[j - 1] + 1)
                .min(rows[i - 1][j - 1] + change);
            if i > 1 && j > 1 && one[i - 1] == two[j - 2] && one[i - 2] == two[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            row.push(best);
        }
        rows.push(row);
    }
    rows[one.len()][two.len()]
}
