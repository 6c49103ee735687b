//! What is wrong with a stand or a shot is refused with its line, and with what to do.

use panestep::file::read_stand_text;

use super::{
    SHOT, STAND, changed, difference, head, refused, shot, shot_refused, stand_refused,
    stand_table_refused,
};

#[test]
fn a_bad_stand_is_refused_with_its_line() {
    let speed = "speed = \"25 mm/s\"";
    stand_refused(speed, "speed = 25", &["`speed` is 25", "unit"]);
    stand_refused(speed, "speed = \"25\"", &["`25` has no unit", "25 mm/s"]);
    stand_refused(
        speed,
        "speed = \"25 mm\"",
        &["`25 mm` is a length", "a speed is wanted"],
    );
    stand_refused(
        speed,
        "speed = \"5 deg/s\"",
        &["a turning speed", "a speed is wanted"],
    );
    stand_refused(speed, "speed = \"-25 mm/s\"", &["-25 mm", "more than zero"]);
    stand_refused(speed, "speed = nan", &["`speed` is nan"]);
    stand_refused(
        speed,
        "sped = \"25 mm/s\"",
        &["no key `sped`", "did you mean `speed`?", "no `speed`"],
    );
    stand_refused(speed, "speed = \"9000 km/s\"", &["`km/s`"]);
    stand_refused(
        "jerk = \"400 mm/s^3\"",
        "jerk = \"9000000 m/s3\"",
        &["steps/s3", "4294967295"],
    );
    stand_refused("f_number = 8.0", "f_number = inf", &["`f_number` is inf"]);
    stand_refused(
        "f_number = 8.0",
        "f_number = 0",
        &["`f_number` is 0", "above 0"],
    );
    stand_refused(
        "per_turn = \"8 mm\"",
        "per_turn = \"-8 mm\"",
        &["`per_turn` is -8 mm", "more than zero"],
    );
    stand_refused("steps = 200", "steps = 0", &["`steps` is 0"]);
    stand_refused(
        "microsteps = 16",
        "microsteps = 512",
        &["`microsteps` is 512", "1 to 256"],
    );
    stand_refused("channel = 0", "channel = 8", &["`channel` is 8", "0 to 7"]);
    stand_refused("channel = 1", "channel = 0", &["channel 0", "already"]);
    stand_refused(
        "[\"-120 mm\", \"120 mm\"]",
        "[\"120 mm\", \"-120 mm\"]",
        &["120.000 mm to -120.000 mm"],
    );
    stand_refused(
        "[\"-120 mm\", \"120 mm\"]",
        "[\"10 mm\", \"120 mm\"]",
        &["leaves out zero"],
    );
    stand_refused(
        "[\"-120 mm\", \"120 mm\"]",
        "[\"-120 mm\"]",
        &["a list of 1", "exactly two"],
    );
    stand_refused(
        "switch = \"-124 mm\"",
        "switch = \"-110 mm\"",
        &["-110.000 mm", "within the travel"],
    );
    stand_refused(
        "within = \"0.02 mm\"",
        "within = \"0.001 mm\"",
        &["less than one step of 0.003 mm"],
    );
    stand_refused(
        "slow = \"0.5 deg/s\"",
        "slow = \"6 deg/s\"",
        &["faster than `speed`"],
    );
    stand_refused(
        "backlash = \"0.05 mm\"",
        "backlash = \"-0.05 mm\"",
        &["`backlash` is -0.05 mm"],
    );
    stand_refused(
        "focus = \"quay\"",
        "focus = \"quai\"",
        &["`quai`", "did you mean `quay`?"],
    );
    stand_refused(
        "direction = \"east\"",
        "direction = \"aest\"",
        &["did you mean `east`?"],
    );
    stand_refused(
        "of = \"sky\"",
        "of = \"skies\"",
        &["`skies`", "`reeds`, `quay`, `sky`, `camera`"],
    );
    stand_refused(
        "name = \"sky\"",
        "name = \"quay\"",
        &["two levels called `quay`"],
    );
    stand_refused(
        "height = \"800 mm\"",
        "height = \"1190 mm\"",
        &["from `reeds` down to `quay`", "-2.350 mm of air"],
    );
    stand_refused(
        "height = \"1200 mm\"",
        "height = \"1600 mm\"",
        &["lens is at 1600.000 mm"],
    );
    let text = changed(
        STAND,
        "focal_length = \"50 mm\"",
        "focal_length = \"400 mm\"",
    );
    let at = text.find("height = \"1200 mm\"").unwrap();
    let result = read_stand_text("stand.toml", &text).map(drop);
    refused(
        result,
        &text,
        at,
        &["within its focal length of 400.000 mm"],
    );
    stand_refused(
        "index = 1.52",
        "index = 0.9",
        &["`index` is 0.9", "from 1 to 3"],
    );
    stand_refused(
        "[6000, 4000]",
        "[6000, 3000]",
        &["1.500 times", "2.000 times"],
    );
    stand_refused(
        "press = \"150 ms\"",
        "press = \"0 ms\"",
        &["`press` is 0 s", "more than zero"],
    );
    stand_refused(
        "settle = \"600 ms\"",
        "settle = \"60 min\"",
        &["less than an hour"],
    );
    stand_refused("settle = \"600 ms\"", "settle = \"-1 s\"", &["negative"]);
    stand_table_refused(
        "hand = { scale = \"0.1 mm\" }",
        "",
        &["neither of `motor` and `hand`"],
    );
    stand_refused("ring = \"60 deg\"", "ring = \"0 deg\"", &["both must rise"]);
    stand_refused(
        "distance = \"350 mm\"",
        "distance = \"50 mm\"",
        &[
            "down to 50.000 mm",
            "a lens of 50.000 mm focuses only beyond",
        ],
    );
    stand_refused(
        "[shutter]\nboard = \"main\"",
        "[shutter]\nboard = \"mian\"",
        &["did you mean `main`?"],
    );
    stand_refused(
        "name = \"main\"",
        "name = \"a board with a very long name\"",
        &["29 bytes", "at most 24"],
    );
    stand_refused("[lens]", "[lens", &["stand.toml:4:"]);
    stand_refused(
        "[[level]]\nname = \"sky\"",
        "[[levle]]\nname = \"sky\"",
        &["no key `levle`", "did you mean `level`?"],
    );
}

#[test]
fn a_bad_shot_is_refused_with_its_line() {
    shot_refused(
        "frames = 96",
        "frames = 0",
        &["`frames` is 0", "1 to 1000000"],
    );
    let text = changed(SHOT, "frames = 96", "frames = 95");
    refused(
        shot(&text).map(drop),
        &text,
        text.find("{ frame = 96").unwrap(),
        &["`frame` is 96", "from 1 to 95"],
    );
    shot_refused("rate = 24", "rate = -24", &["`rate` is -24"]);
    shot_refused("rate = 24", "rate = nan", &["`rate` is nan"]);
    shot_refused("\"twos\"", "\"two\"", &["did you mean `twos`?"]);
    shot_refused(
        "level = \"quay\"\ndistance",
        "level = \"quya\"\ndistance",
        &["did you mean `quay`?"],
    );
    shot_refused(
        "level = \"quay\"\ndistance",
        "level = \"sky\"\ndistance",
        &["a second layer", "a level `quay`"],
    );
    shot_refused(
        "distance = \"12 m\"",
        "distance = \"0 m\"",
        &["`distance` is 0 mm"],
    );
    shot_refused(
        "distance = \"12 m\"",
        "distance = \"12 s\"",
        &["a time", "a length is wanted"],
    );
    shot_refused("art = \"art/reeds.png\"", "art = \"\"", &["`art` is empty"]);
    shot_refused(
        "{ frame = 40, east",
        "{ frame = 1, east",
        &["frame 1 comes after one at frame 1"],
    );
    shot_refused(
        "{ frame = 40, east = \"0.2 m\" }",
        "{ frame = 40 }",
        &["no value", "`ahead`"],
    );
    shot_refused(
        "fairing = 24",
        "fairing = 57",
        &["fairings of 0 and 57", "only 56 frames"],
    );
    shot_refused(
        "lift = \"20 mm\"",
        "north = \"20 mm\"",
        &["`camera` along `north`", "no such axis"],
    );
    shot_refused(
        "direction = \"south\"",
        "direction = \"west\"",
        &["`sky` along `east`"],
    );
    shot_refused("from = 10", "from = 97", &["`from` is 97"]);
    shot_refused(
        "from = 10",
        "from = 10\nto = 9",
        &["from frame 10 to frame 9"],
    );
    shot_refused(
        "level = \"quay\", fairing = 10",
        "level = \"kay\", fairing = 10",
        &["`kay`"],
    );
    let text = changed(SHOT, "per_frame = \"1/32 in\"", "");
    refused(
        shot(&text).map(drop),
        &text,
        head(&text, difference(SHOT, &text)),
        &["neither of `per_frame` and `keys`"],
    );
}
