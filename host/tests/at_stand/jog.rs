//! Jogging: what is understood, what is refused, and what is asked first.

use std::fs;

use super::{Stand, changed, lifts, run, says, timely};

/// What was typed wrongly moves nothing, and what is known is listed.
#[test]
fn a_jog_that_is_typed_wrongly_moves_nothing() {
    let folder = lifts();
    let table: &[(&str, &[&str])] = &[
        (
            "moon east 2 mm",
            &["no level \"moon\"", "quay lift (up, down)"],
        ),
        (
            "quay sideways 2 mm",
            &["no direction", "quay east (east, west)"],
        ),
        (
            "quay turn 2 deg",
            &["has no axis that goes turn", "quay east"],
        ),
        ("sky north 2 mm", &["moved by hand", "sky lift"]),
        ("camera lift 2 mm", &["camera has no axis"]),
        ("quay east 2", &["no unit"]),
        ("quay east 2 furlongs", &["`furlongs`"]),
        ("quay east 2 deg", &["an angle, but a length"]),
        ("quay east two mm", &["does not begin with a number"]),
        ("quay east 1/0 in", &["divides by zero"]),
        ("quay east --2 mm", &[]),
        ("quay east 0 mm", &["less than half a step"]),
        ("quay east 0.0001 mm", &["less than half a step"]),
        ("quay east 900 km", &["`km`"]),
        ("quay east 9000 m", &["more than can be counted"]),
        (
            "quay east 41 mm",
            &["farther than its whole travel of 40.000 mm"],
        ),
        (
            "quay east -41 mm",
            &["farther than its whole travel of 40.000 mm"],
        ),
        (
            "quay west to 2 mm",
            &["could mean two places", "quay east to"],
        ),
        ("quay east", &["how far"]),
        ("quay", &["not understood"]),
        ("to frame 1", &["which shot"]),
        ("to frame one --shot shot.toml", &["no frame's number"]),
        ("to frame 9 --shot shot.toml", &["there is no frame 9"]),
        ("quay east 2 mm --shot shot.toml", &["--shot goes with"]),
        ("quay to frame 1 --shot nowhere.toml", &["nowhere.toml"]),
        ("quay east 2 mm --stand nowhere.toml", &["nowhere.toml"]),
        ("quay east 2 mm --port attic=x", &["no board \"attic\""]),
    ];
    for (words, wanted) in table {
        let mut arguments = vec!["jog"];
        arguments.extend(words.split(' '));
        let output = run(&folder, &arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{words}: {said}");
        for word in *wanted {
            assert!(said.contains(word), "{words}: no {word:?} in {said}");
        }
        assert!(!said.contains("waiting"), "{words}: {said}");
    }
    // Not wrong, but not possible as things stand.
    let to = ["jog", "quay", "east", "to", "-12", "mm"];
    says(&folder, &to, 1, &["quay east is not homed", "--home"]);
    let empty = tempfile::tempdir().expect("a folder");
    says(&empty, &["where"], 2, &["no stand.toml", "--stand"]);
}

#[test]
fn every_way_of_saying_a_distance_is_understood() {
    let folder = lifts();
    for (words, told) in [
        ("quay east 2 mm", "quay goes east by 2.000 mm"),
        ("quay east 2mm", "quay goes east by 2.000 mm"),
        ("quay west 2 mm", "quay goes west by 2.000 mm"),
        ("quay east -2 mm", "quay goes west by 2.000 mm"),
        ("quay west -.5 mm", "quay goes east by 0.500 mm"),
        ("quay lift 1/16 in", "quay goes up by 1.588 mm"),
        ("quay up 1/16 in", "quay goes up by 1.588 mm"),
        ("quay down 3 mm --anyway", "quay goes down by 3.000 mm"),
        ("quay lift -1/16 in --anyway", "quay goes down by 1.588 mm"),
        ("quay east to -12 mm --home", "quay goes east by"),
        (
            "--home quay east to -1/2 in",
            "from -21.797 mm to -12.700 mm",
        ),
    ] {
        let mut arguments = vec!["jog"];
        arguments.extend(words.split(' '));
        says(&folder, &arguments, 0, &[told]);
    }
}

/// Lifts go one after another, and never into each other.
#[test]
fn lifts_keep_clear_of_each_other() {
    let folder = lifts();
    // 500 mm lie between the two levels, 6 mm of them glass.
    let far = ["jog", "sky", "lift", "to", "479", "mm", "--home"];
    let said = run(&folder, &far);
    let said = String::from_utf8_lossy(&said.stderr).into_owned();
    assert!(said.contains("clearance"), "{said}");
    assert!(said.contains("quay and sky would come within"), "{said}");
    assert!(!said.contains("sky goes up"), "{said}");
    let near = ["jog", "sky", "lift", "to", "300", "mm", "--home"];
    says(&folder, &near, 0, &["sky lift is at 300.000 mm"]);
}

/// The lens hangs 800 mm above quay's face.
#[test]
fn nothing_is_driven_into_the_lens() {
    let folder = changed(lifts(), &[("480 mm", "820 mm")]);
    let into = ["jog", "quay", "lift", "to", "805", "mm", "--home"];
    says(&folder, &into, 2, &["the lens and quay", "may not touch"]);
    let below = ["jog", "quay", "lift", "to", "790", "mm", "--home"];
    says(&folder, &below, 0, &["quay lift is at 790.000 mm"]);
}

/// A neighbour that nobody knows may be anywhere: first a yes, and then slowly.
#[test]
fn a_lift_whose_neighbour_may_be_anywhere_goes_only_after_a_yes() {
    timely(a_lift_beside_an_unknown_one);
}

fn a_lift_beside_an_unknown_one() {
    let by_hand = "hand = { scale = \"1 mm\" }\ntravel = [\"-10 mm\", \"480 mm\"]\n\n[[axis]]";
    let folder = lifts();
    let path = folder.path().join("stand.toml");
    let text = fs::read_to_string(&path).expect("there");
    let motor = text
        .find("motor = { board = \"main\", channel = 1")
        .expect("quay's lift");
    let next = text[motor..].find("[[axis]]").expect("sky's lift") + motor;
    let text = format!(
        "{}{by_hand}{}",
        &text[..motor],
        &text[next + "[[axis]]".len()..]
    );
    fs::write(&path, text).expect("written");
    let near = ["jog", "sky", "lift", "to", "300", "mm", "--home"];
    says(&folder, &near, 0, &["sky lift is at 300.000 mm"]);
    let far = ["jog", "sky", "lift", "to", "479", "mm", "--home"];
    let wanted = [
        "nobody knows whether quay and sky stay clear",
        "they would be 5.000 mm apart",
        "it was not moved",
        "--anyway",
    ];
    says(&folder, &far, 3, &wanted);
    let anyway = [
        "jog", "sky", "lift", "to", "479", "mm", "--home", "--anyway",
    ];
    says(
        &folder,
        &anyway,
        0,
        &["slowly", "sky lift is at 479.000 mm"],
    );

    // One that is itself not homed.
    let stand = Stand::new(&folder);
    stand.says(
        "jog sky lift 2 mm",
        3,
        &["nobody knows whether quay and sky"],
    );
    assert!(
        stand
            .says("where --format csv", 0, &[])
            .contains("sky,lift,no,main,,mm,0,")
    );
    let mut seat = stand.seat("jog sky lift 2 mm");
    seat.read_up_to("have you looked that there is room?");
    seat.type_line("yes");
    seat.read_up_to("sky lift stands");
    assert_eq!(seat.code(), Some(0));
    stand.says("jog sky lift 2 mm --anyway", 0, &["sky lift stands"]);
    // Away from it nothing is asked.
    stand.says("jog sky down 2 mm", 0, &["sky lift stands"]);
}

/// What leads nowhere is refused before anything is homed.
#[test]
fn a_jog_that_leads_nowhere_homes_nothing() {
    let folder = lifts();
    for (words, wanted) in [
        ("quay east to 999 mm --home", "cannot go to 999.000 mm"),
        (
            "sky lift to 479 mm --home",
            "quay and sky would come within",
        ),
    ] {
        let mut arguments = vec!["jog"];
        arguments.extend(words.split(' '));
        let output = run(&folder, &arguments);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{words}: {said}");
        assert!(said.contains(wanted), "{words}: {said}");
        assert!(!said.contains("going home"), "{words}: {said}");
    }
}
