//! Lamps, passes and drawings: which of them count, and what is said of them.

use std::time::Duration;

use panestep::schedule::{Laid, Lamp, Pass, Schedule, differences};
use panestep::shot::When;
use panestep::take::fingerprint;

use super::schedule;

/// Two lamps, three passes, drawings on the reeds.
pub(crate) fn with_passes() -> Schedule {
    let lamp = |name: &str, output| Lamp {
        name: name.into(),
        output,
        warm_up: Duration::from_millis(200),
    };
    let pass = |name: &str, when, lamps: &[usize]| Pass {
        name: name.into(),
        when,
        lamps: lamps.to_vec(),
        without: Vec::new(),
        exposure: Duration::from_millis(500),
        press: Duration::from_millis(150),
        window: Duration::from_millis(620),
        set_by_hand: false,
    };
    let mut titles = pass("titles", When::AfterRun, &[1]);
    titles.without.push("quay".into());
    let laid = |frame, drawing: Option<&str>| Laid {
        frame,
        on: "reeds".into(),
        drawing: drawing.map(str::to_owned),
    };
    Schedule {
        lamps: vec![lamp("dawn", Some((0, 0))), lamp("lantern", None)],
        passes: vec![
            pass("day", When::EachFrame, &[0]),
            pass("dusk", When::EachFrame, &[0, 1]),
            titles,
        ],
        laid: vec![laid(1, Some("wave-1")), laid(3, None)],
        ..schedule()
    }
}

/// A take that was begun before there were lamps, passes and drawings goes on: this is the
/// fingerprint that the schedule had then.
#[test]
fn a_plain_schedules_fingerprint_stays_what_it_was() {
    let before = 0x69b9_6d20_7b8f_12a5;
    assert_eq!(fingerprint(&schedule()), before);
    // The one pass that a plan makes of it is the same thing.
    let mut now = schedule();
    now.passes = with_passes().passes[..1].to_vec();
    now.passes[0].lamps.clear();
    assert!(now.is_plain());
    assert_eq!(fingerprint(&now), before);
    assert_eq!(differences(&schedule(), &now), Vec::<String>::new());
    now.passes[0].window += Duration::from_secs(1);
    assert!(!now.is_plain());
    assert_ne!(fingerprint(&now), before);
    assert_ne!(fingerprint(&with_passes()), before);
}

/// Whatever decides an exposure counts, and is said; what does not is not.
#[test]
fn whatever_decides_an_exposure_counts_and_is_said() {
    type Change = fn(&mut Schedule);
    let changes: [(Change, &str); 21] = [
        (|now| now.lamps[0].name.push('s'), "lamp 1, name: `dawn`"),
        (
            |now| now.lamps[0].output = Some((0, 1)),
            "lamp 1, what switches it: output 0 of `main` (board 1)",
        ),
        (
            |now| now.lamps[1].output = Some((1, 0)),
            "lamp 2, what switches it: by hand",
        ),
        (
            |now| now.lamps[0].warm_up *= 2,
            "lamp 1, time to warm up: 200 ms",
        ),
        (|now| drop(now.lamps.pop()), "the lamps: 2 (dawn, lantern)"),
        (|now| drop(now.passes.pop()), "the number of passes: 3"),
        (|now| now.passes.clear(), "the number of passes: 3"),
        (
            |now| now.passes.reverse(),
            "pass 1, lamps that burn: dawn (lamp 1)",
        ),
        (
            |now| now.passes[2].when = When::EachFrame,
            "pass 3, when it is exposed: after the run",
        ),
        (
            |now| now.passes[1].lamps.clear(),
            "pass 2, lamps that burn: dawn (lamp 1), lantern (lamp 2)",
        ),
        (
            |now| now.passes[2].without.clear(),
            "pass 3, levels that are taken out: quay",
        ),
        (
            |now| now.passes[0].without.push("sky".into()),
            "pass 1, levels that are taken out: none",
        ),
        (
            |now| now.passes[0].exposure *= 3,
            "pass 1, exposure time: 500 ms",
        ),
        (
            |now| now.passes[0].press *= 3,
            "pass 1, how long the release line is closed: 150 ms",
        ),
        (
            |now| now.passes[0].window *= 3,
            "pass 1, longest time that the shutter is open: 620 ms",
        ),
        (
            |now| now.passes[0].set_by_hand = true,
            "pass 1, the camera's exposure time: not set by hand",
        ),
        (
            |now| drop(now.laid.pop()),
            "drawing 2 that is laid: nothing on reeds from frame 3 on",
        ),
        (
            |now| now.laid[0].frame = 2,
            "drawing 1 that is laid: `wave-1` on reeds from frame 1 on",
        ),
        (
            |now| now.laid[0].drawing = None,
            "drawing 1 that is laid: `wave-1` on reeds",
        ),
        (
            |now| now.laid[0].on.push('s'),
            "drawing 1 that is laid: `wave-1` on reeds",
        ),
        (
            |now| now.laid.swap(0, 1),
            "drawing 1 that is laid: `wave-1` on reeds",
        ),
    ];
    let began = with_passes();
    for (change, begins) in changes {
        let mut now = began.clone();
        change(&mut now);
        assert_ne!(fingerprint(&began), fingerprint(&now), "{begins}");
        let said = differences(&began, &now);
        assert!(
            said.iter().any(|said| said.starts_with(begins)),
            "{begins}: {said:#?}"
        );
        for said in said {
            assert!(
                said.contains(" when the take began, ") && said.ends_with(" now"),
                "{said}"
            );
        }
    }
    let mut now = began.clone();
    now.passes[1].name = "evening".into();
    // There is no pass before the first.
    now.passes[0].when = When::AfterRun;
    assert_eq!(fingerprint(&began), fingerprint(&now));
    assert_eq!(differences(&began, &now), Vec::<String>::new());
}
