//! Who answers at the boards' ports, before anything is made, written or moved: which are there,
//! which are missing, and which have changed places.

use panestep::link::{LinkError, greet};
use panestep::stand::Stand;
use panestep::take::{Boards, TakeError};

use super::Failure;
use super::rig::Rig;

/// What came of one board's port.
enum Found {
    /// The board that should be there.
    Itself,
    /// Another board: its name.
    Other(String),
    /// Nobody of use: why.
    Nobody(TakeError),
}

/// Sees that every real board is there, is the one it should be and speaks this program's protocol.
/// All of them are looked for before any is complained of. `hint` says what has not been done.
pub(crate) fn muster(rig: &Rig, stand: &Stand, hint: &str) -> Result<(), Failure> {
    if rig.is_simulated() {
        return Ok(());
    }
    let mut boards = rig;
    let mut found = Vec::new();
    for (place, board) in stand.boards.iter().enumerate() {
        let port = boards.open(place, &board.name);
        found.push(match port {
            Err(source) => Found::Nobody(TakeError::Port {
                board: board.name.clone(),
                source,
            }),
            Ok(port) => match greet(port, rig.clock(), &board.name) {
                Ok(_) => Found::Itself,
                Err(LinkError::OtherBoard { found, .. }) => Found::Other(found),
                Err(source) => Found::Nobody(TakeError::Connect {
                    port: boards.port_name(place),
                    source,
                }),
            },
        });
    }
    let names: Vec<&str> = stand.boards.iter().map(|board| &*board.name).collect();
    let ports: Vec<String> = (0..names.len())
        .map(|place| boards.port_name(place))
        .collect();
    match complaint(&names, &ports, &found) {
        None => Ok(()),
        Some((what, None)) => Err(Failure::could_not(what).hint(hint)),
        Some((what, Some(way))) => Err(Failure::could_not(what).hint(format!("{hint}; {way}"))),
    }
}

/// What is wrong with those that were found, and the way out of it where there is one to type.
fn complaint(
    names: &[&str],
    ports: &[String],
    found: &[Found],
) -> Option<(String, Option<String>)> {
    let at = |name: &str| {
        found.iter().position(|found| match found {
            Found::Other(other) => other == name,
            Found::Itself | Found::Nobody(_) => false,
        })
    };
    let mut lines = Vec::new();
    let mut typed = Vec::new();
    for ((name, port), found_here) in names.iter().zip(ports).zip(found) {
        // Where it is instead counts for more than who sits in its place.
        match (found_here, at(name)) {
            (Found::Itself, _) => {}
            (_, Some(elsewhere)) => {
                let there = &ports[elsewhere];
                lines.push(format!("board {name:?} answers at {there}, not at {port}"));
                typed.push(format!("--port {name}={there}"));
            }
            (Found::Other(other), None) => lines.push(format!(
                "board {name:?} is missing: at its port {port} a board answers that calls itself \
                 {other:?}"
            )),
            (Found::Nobody(error), None) => lines.push(error.to_string()),
        }
    }
    if lines.is_empty() {
        return None;
    }
    let all_there = typed.len() == lines.len();
    let first = match (names.len(), all_there) {
        (1, _) => None,
        (_, true) => Some("boards have changed places, by their cables or in the stand file:"),
        (_, false) => Some("not every board of this stand is where it should be:"),
    };
    let answering: Vec<&str> = names
        .iter()
        .zip(found)
        .filter(|(_, found)| matches!(found, Found::Itself))
        .map(|(name, _)| *name)
        .collect();
    if !answering.is_empty() {
        lines.push(format!("in its place: {}", answering.join(", ")));
    }
    let text = first.map_or_else(
        || lines.join("\n  "),
        |first| format!("{first}\n  {}", lines.join("\n  ")),
    );
    let way = all_there.then(|| {
        format!(
            "change the ports in the stand file, or type them: {}",
            typed.join(" ")
        )
    });
    Some((text, way))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(found: &[Found]) -> Option<(String, Option<String>)> {
        let names = ["main", "lower", "attic"];
        let ports = ["/a", "/b", "/c"].map(str::to_owned);
        complaint(&names[..found.len()], &ports[..found.len()], found)
    }

    fn other(name: &str) -> Found {
        Found::Other(name.to_owned())
    }

    fn nobody() -> Found {
        Found::Nobody(TakeError::Schedule("nobody"))
    }

    #[test]
    fn where_all_are_in_their_places_nothing_is_said() {
        assert!(told(&[Found::Itself, Found::Itself]).is_none());
    }

    #[test]
    fn boards_that_have_changed_places_are_named_with_what_to_type() {
        let (what, way) = told(&[other("lower"), other("main"), Found::Itself]).expect("wrong");
        assert!(what.contains("\"main\" answers at /b, not at /a"), "{what}");
        assert!(
            what.contains("\"lower\" answers at /a, not at /b"),
            "{what}"
        );
        assert!(what.contains("in its place: attic"), "{what}");
        let way = way.expect("it can be typed");
        assert!(way.ends_with("--port main=/b --port lower=/a"), "{way}");
    }

    #[test]
    fn one_that_is_missing_is_named_beside_one_that_sits_in_its_place() {
        let (what, way) = told(&[Found::Itself, other("main")]).expect("wrong");
        assert!(what.contains("\"lower\" is missing"), "{what}");
        assert!(what.contains("calls itself \"main\""), "{what}");
        assert!(what.contains("in its place: main"), "{what}");
        assert_eq!(way, None);
    }

    #[test]
    fn every_fault_is_told_at_once() {
        let (what, way) = told(&[nobody(), other("cellar"), nobody()]).expect("wrong");
        assert_eq!(what.lines().count(), 4, "{what}");
        assert_eq!(way, None);
        // One has gone to another's port, whose own board is away.
        let (what, way) = told(&[nobody(), other("main")]).expect("wrong");
        assert!(what.contains("\"main\" answers at /b, not at /a"), "{what}");
        assert!(what.contains("\"lower\" is missing"), "{what}");
        assert_eq!(way, None);
    }
}
