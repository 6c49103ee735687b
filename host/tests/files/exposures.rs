//! Lamps, drawings on levels, passes and the limits of strobing.

use std::path::PathBuf;

use panestep::shot::{Strobing, When};
use panestep::stand::{BoardId, Lamp, LampSwitch};

use super::*;

/// The second level, `quay`.
const QUAY: LevelId = LevelId(1);

fn sound() -> Shot {
    shot(SHOT).unwrap_or_else(|problems| panic!("{problems}"))
}

#[test]
fn lamps_mean_what_they_say() {
    let front = Lamp {
        name: "front".into(),
        switched: LampSwitch::Board {
            board: BoardId(0),
            output: 0,
        },
        warm_up: Duration::from_secs(2),
    };
    let by_hand = Lamp {
        name: "box".into(),
        switched: LampSwitch::Hand,
        warm_up: Duration::ZERO,
    };
    assert_eq!(stand().lamps, [front, by_hand]);
    let last = "[[lamp]]\nname = \"box\"\nby_hand = true\n";
    for (lamp, place, parts) in [
        (
            "[[lamp]]\nname = \"box\"\n",
            "[[lamp]]",
            &["does not say what switches it", "`by_hand = true`"][..],
        ),
        (
            "[[lamp]]\nname = \"box\"\nby_hand = false\n",
            "by_hand",
            &["`by_hand` is false"],
        ),
        (
            "[[lamp]]\nname = \"box\"\nboard = \"main\"\noutput = 0\n",
            "output = 0",
            &["already switches another lamp"],
        ),
        (
            "[[lamp]]\nname = \"box\"\nboard = \"main\"\noutput = 8\n",
            "output = 8",
            &["`output` is 8", "from 0 to 7"],
        ),
        (
            "[[lamp]]\nname = \"front\"\nby_hand = true\n",
            "name = \"front\"",
            &["two lamps called `front`"],
        ),
        (
            "[[lamp]]\nname = \"box\"\nboard = \"mian\"\noutput = 1\n",
            "board = \"mian\"",
            &["`board` is `mian`", "`main`"],
        ),
        (
            "[[lamp]]\nname = \"box\"\nboard = \"main\"\noutput = 1\nby_hand = true\n",
            "[[lamp]]",
            &["by a board or by hand, not by both"],
        ),
    ] {
        let text = changed(STAND, last, lamp);
        let at = text.rfind(place).expect("it is there");
        refused(
            read_stand_text("stand.toml", &text).map(drop),
            &text,
            at,
            parts,
        );
    }
}

#[test]
fn drawings_lie_where_and_as_long_as_they_say() {
    let shot = sound();
    let named = |frame: u32| {
        shot.art_at(QUAY, frame).map(|art| {
            art.file_name()
                .expect("a file")
                .to_string_lossy()
                .into_owned()
        })
    };
    // Before the stretch lies the layer's own art, of which there is none.
    assert_eq!(named(2), None);
    // Two frames, three frames, one bare, and again.
    let round = [
        Some("gull-1.png"),
        Some("gull-1.png"),
        Some("gull-2.png"),
        Some("gull-2.png"),
        Some("gull-2.png"),
        None,
    ];
    for frame in 3..=60 {
        let expected = round[(frame as usize - 3) % 6].map(str::to_owned);
        assert_eq!(named(frame), expected, "frame {frame}");
    }
    // The last drawing stays.
    for frame in 61..=96 {
        assert_eq!(named(frame).as_deref(), Some("gull-1.png"), "frame {frame}");
    }
    assert_eq!(
        shot.art_at(LevelId(0), 5),
        Some(Path::new("work/art/reeds.png"))
    );
    // Each is asked since when it has been held.
    let since = |frame| shot.cels[0].drawing(frame).map(|(_, since)| since);
    assert_eq!(
        [3, 4, 5, 7, 8, 9, 60].map(since),
        [3, 3, 5, 5, 8, 9, 59].map(Some)
    );
    assert_eq!(since(2), None);
    assert_eq!(since(61), None);
    assert_eq!(
        shot.cels[0].drawings()[1].art,
        Some(PathBuf::from("work/art/gull-2.png"))
    );
}

#[test]
fn drawings_that_do_not_fit_are_refused() {
    for (from, to, parts) in [
        (
            "from = 61\n",
            "from = 60\n",
            &["already from frame 3 to frame 60", "`quay`"][..],
        ),
        (
            "hold = [2, 3, 1]",
            "hold = [2, 3]",
            &["2 numbers", "3 drawings"],
        ),
        (
            "hold = [2, 3, 1]",
            "hold = [2, 0, 1]",
            &["`hold` is 0", "from 1 to 1000000"],
        ),
        (
            "hold = [2, 3, 1]",
            "hold = \"two\"",
            &["the text \"two\"", "a whole number"],
        ),
        (
            "hold = [2, 3, 1]",
            "hold = 2\nexposures = \"twos\"",
            &["both `exposures` and `hold`"],
        ),
        ("to = 60", "to = 2", &["from frame 3 to frame 2"]),
        ("to = 60", "to = 97", &["`to` is 97", "from 1 to 96"]),
        (
            "drawings = [\"art/gull-1.png\", \"art/gull-2.png\", \"bare\"]",
            "drawings = []",
            &["`drawings` is empty"],
        ),
    ] {
        shot_refused_saying(from, to, parts);
    }
}

#[test]
fn passes_mean_what_they_say() {
    let shot = sound();
    let [coast, glow] = &shot.passes[..] else {
        panic!("two passes")
    };
    assert_eq!(
        (coast.name.as_str(), coast.when),
        ("coast", When::EachFrame)
    );
    assert_eq!((&coast.lamps[..], &coast.without[..]), (&[0][..], &[][..]));
    assert_eq!((coast.exposure, coast.press), (None, None));
    assert_eq!((glow.name.as_str(), glow.when), ("glow", When::AfterRun));
    assert_eq!(
        (&glow.lamps[..], &glow.without[..]),
        (&[1][..], &[LevelId(0)][..])
    );
    assert_eq!(
        (glow.exposure, glow.press),
        (Some(Duration::from_secs(2)), Some(Duration::from_secs(2)))
    );
    assert_eq!(
        shot.strobing,
        Strobing {
            crossing: Duration::from_secs(5),
            strobes_below: 100.0,
            smears_below: 48.0,
        }
    );
    // Without a word of passes every lamp burns, in one.
    let at = SHOT.find("[[pass]]").expect("there are some");
    let plain = self::shot(&SHOT[..at]).unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(plain.passes.len(), 1);
    assert_eq!(plain.passes[0].lamps, [0, 1]);
}

#[test]
fn passes_that_cannot_be_are_refused() {
    for (from, to, parts) in [
        (
            "lamps = [\"front\"]",
            "lamps = [\"fornt\"]",
            &["`lamps` is `fornt`", "`front`, `box`"][..],
        ),
        (
            "lamps = [\"front\"]",
            "lamps = [\"front\", \"front\"]",
            &["`front` is in `lamps` twice"],
        ),
        (
            "lamps = [\"front\"]",
            "lamps = [\"front\"]\nwhen = \"after the run\"",
            &["the first pass cannot come after"],
        ),
        (
            "without = [\"reeds\"]",
            "without = [\"reed\"]",
            &["`reed`", "`reeds`"],
        ),
        (
            "name = \"glow\"",
            "name = \"coast\"",
            &["two passes called `coast`"],
        ),
        (
            "exposure = \"2 s\"",
            "exposure = \"0 s\"",
            &["`exposure` is 0 s"],
        ),
        (
            "when = \"after the run\"",
            "when = \"later\"",
            &["`when` is `later`", "`at each frame`, `after the run`"],
        ),
        (
            "crossing = \"5 s\"",
            "crossing = \"5\"",
            &["`crossing`", "unit"],
        ),
        (
            "strobes_below = 100",
            "strobes_below = 40",
            &["48 is more than 40", "`smears_below`"],
        ),
    ] {
        shot_refused_saying(from, to, parts);
    }
    // So many exposures that the frames alone do not tell.
    let many = changed(SHOT, "frames = 96", "frames = 600000");
    let problems = shot(&many).expect_err("1.2 million exposures").to_string();
    assert!(
        problems.contains("more than 1000000 exposures"),
        "{problems}"
    );
}

#[track_caller]
fn shot_refused_saying(from: &str, to: &str, parts: &[&str]) {
    let text = changed(SHOT, from, to);
    let problems = shot(&text).expect_err("should be refused").to_string();
    for part in parts {
        assert!(
            problems.contains(part),
            "`{part}` is not said in:\n{problems}"
        );
    }
}
