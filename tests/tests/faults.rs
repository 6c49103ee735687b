//! The swarm finds what is broken on purpose around a take, and makes it small; what it draws and
//! how it goes is the same every time.

use std::collections::BTreeMap;
use std::sync::Mutex;

use panestep_tests::faults::shrink::shrink;
use panestep_tests::faults::swarm::swarm;
use panestep_tests::faults::{Finding, Moment, Mutant, Plan, PlannedFault, Trouble, run, tell};

/// Seeds in which each mutant must show.
const SEEDS: u64 = 1500;

/// Sorts of findings that a mutant may show as.
fn betrays(mutant: Mutant) -> &'static [&'static str] {
    match mutant {
        Mutant::LyingDisk => &["fired without an intent", "released without an intent"],
        Mutant::SameBoot | Mutant::ForgedFence => &["void of an exposure"],
        Mutant::ShortWindow => &["law broken: MovedWhileOpen"],
        Mutant::YesSayer => &["frame skipped", "exposed in part"],
        Mutant::InventedPicture => &["done without an exposure", "frame skipped"],
        Mutant::CrossedLamps => &["in another light"],
    }
}

#[test]
fn what_is_broken_on_purpose_is_found_and_made_small() {
    for mutant in Mutant::ALL {
        let wanted = betrays(mutant);
        let found: Mutex<Option<(u64, String)>> = Mutex::new(None);
        let _ = swarm(0..SEEDS, 1, Some(mutant), &|seed, findings: &[Finding]| {
            let kind = findings
                .iter()
                .map(|finding| &finding.kind)
                .find(|kind| wanted.contains(&kind.as_str()));
            if let Some(kind) = kind {
                *found.lock().expect("one thread") = Some((seed, kind.clone()));
            }
            kind.is_some()
        });
        let found = found.into_inner().expect("one thread");
        let (seed, kind) = found.unwrap_or_else(|| panic!("{mutant:?} was not found"));
        let mut plan = Plan::draw(seed);
        plan.mutant = Some(mutant);
        let small = shrink(&plan, &kind);
        assert!(
            small.faults.len() <= 2,
            "{mutant:?}, seed {seed}: {kind} took {:?}",
            small.faults
        );
        // What is left still fails, through its text too, and without the mutant it does not.
        let text = serde_json::to_string(&small).expect("a plan is plain data");
        let back: Plan = serde_json::from_str(&text).expect("its own text");
        assert_eq!(back, small);
        assert!(run(&back).findings.iter().any(|other| other.kind == kind));
        let sound = run(&Plan {
            mutant: None,
            ..back
        });
        assert_eq!(sound.findings, [], "{mutant:?}, seed {seed}");
    }
}

#[test]
fn a_take_goes_the_same_way_every_time() {
    let mut traces = BTreeMap::new();
    for seed in 0..40 {
        let plan = Plan::draw(seed);
        assert_eq!(plan, Plan::draw(seed));
        assert!((3..=9).contains(&plan.faults.len()), "seed {seed}");
        let report = run(&plan);
        let told = tell(&plan);
        assert_eq!(report.trace, told.trace, "seed {seed}");
        assert_eq!(report.findings, told.findings, "seed {seed}");
        assert_eq!(report.moments, told.moments, "seed {seed}");
        assert!(report.story.is_empty() && !told.story.is_empty());
        traces.insert(report.trace, seed);
    }
    assert_eq!(traces.len(), 40, "no two seeds are the same");
}

#[test]
fn what_has_nothing_to_do_with_a_finding_is_left_out() {
    // A lying disk needs no fault at all: everything else goes, and all frames but one.
    let mut plan = Plan::draw(7);
    plan.mutant = Some(Mutant::LyingDisk);
    plan.frames = 4;
    plan.faults.push(PlannedFault {
        when: Moment::Fired(2),
        what: Trouble::Suspend { time: 4000 },
    });
    let kind = "released without an intent";
    plan.build.fire = panestep_tests::faults::stand::Fire::Board;
    assert!(run(&plan).findings.iter().any(|other| other.kind == kind));
    let small = shrink(&plan, kind);
    assert_eq!((small.faults.len(), small.frames), (0, 1));
    assert_eq!(small.seed, plan.seed);
}

/// The board of the lamps goes down as the shutter opens: what counts at the end was in its own light,
/// also where the program dies before anybody has decided, or the whole stand has lost its power.
#[test]
fn what_may_have_been_dark_is_decided_upon_whatever_comes_between() {
    let kill = |millisecond: u64| {
        serde_json::json!({
            "when": { "millisecond": millisecond },
            "what": { "kill": { "unsynced": "lost" } },
        })
    };
    let reset = serde_json::json!({
        "when": { "opened": 2 },
        "what": { "reset": { "board": 1, "keep-mark": true, "drop-port": false } },
    });
    let mut all: Vec<Vec<serde_json::Value>> = vec![vec![serde_json::json!({
        "when": { "opened": 2 },
        "what": { "power-cut": { "keep-mark": true, "unsynced": "kept" } },
    })]];
    // Before the outcome is recorded, between it and what follows, and long after.
    all.extend(
        (4500..7500)
            .step_by(250)
            .map(|at| vec![reset.clone(), kill(at)]),
    );
    for fire in ["board", "command", "hand"] {
        for faults in &all {
            let plan = serde_json::json!({
                "seed": 7,
                "frames": 2,
                "build": {
                    "boards": 2, "hand": false, "flash-contact": fire == "board",
                    "press-times": false, "runs-back": false, "far-switches": false,
                    "fire": fire, "pictures": false, "home-check": 0, "passes": "each-frame",
                },
                "faults": faults,
            });
            let plan: Plan = serde_json::from_value(plan).expect("a plan");
            let report = run(&plan);
            assert_eq!(report.findings, [], "{fire}: {faults:?}");
            assert!(report.exposures > 4, "{fire}: shot again: {faults:?}");
        }
    }
}
