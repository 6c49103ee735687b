//! A three-frame take, with a fault at every one of its moments in turn.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::thread;

use super::plan::{Moment, Plan, PlannedFault};
use super::run::{Finding, run};
use super::stand::{Build, CAMERA, Fire, Passes};
use super::trouble::{Trouble, Unsynced};

/// The take that is swept.
#[must_use]
pub fn reference() -> Plan {
    Plan {
        seed: 3,
        frames: 3,
        build: Build {
            boards: 1,
            hand: false,
            flash_contact: true,
            press_times: false,
            runs_back: false,
            far_switches: true,
            fire: Fire::Board,
            pictures: false,
            home_check: 2,
            passes: Passes::One,
        },
        faults: Vec::new(),
        mutant: None,
    }
}

/// What strikes at every moment.
#[must_use]
pub fn troubles() -> Vec<Vec<Trouble>> {
    let kill = |unsynced| vec![Trouble::Kill { unsynced }];
    let reset = |keep_mark| {
        vec![Trouble::Reset {
            board: CAMERA,
            keep_mark,
            drop_port: false,
        }]
    };
    vec![
        kill(Unsynced::Kept),
        kill(Unsynced::Lost),
        kill(Unsynced::Torn(40)),
        reset(true),
        reset(false),
        vec![Trouble::Cable {
            board: CAMERA,
            back: Some(50),
        }],
        vec![Trouble::PowerCut {
            keep_mark: true,
            unsynced: Unsynced::Lost,
        }],
    ]
}

/// Every plan of the sweep.
#[must_use]
pub fn plans() -> Vec<Plan> {
    let reference = reference();
    let report = run(&reference);
    let (events, operations) = report.moments;
    let moments = (1..=operations)
        .map(Moment::Operation)
        .chain((1..=events).map(Moment::Event));
    let mut plans = Vec::new();
    for when in moments {
        for troubles in troubles() {
            let faults = troubles
                .into_iter()
                .map(|what| PlannedFault { when, what })
                .collect();
            plans.push(Plan {
                faults,
                ..reference.clone()
            });
        }
    }
    plans
}

/// What came of them all.
#[derive(Debug, Default)]
pub struct Swept {
    /// Takes in which something was found.
    pub failures: Vec<(Plan, Vec<Finding>)>,
    /// Takes in which the fault struck.
    pub struck: usize,
}

/// Runs them all; `done` is told of each.
#[must_use]
pub fn run_all(plans: &[Plan], threads: usize, done: &(dyn Fn() + Sync)) -> Swept {
    let next = AtomicUsize::new(0);
    let swept = Mutex::new(Swept::default());
    thread::scope(|scope| {
        for _ in 0..threads.max(1) {
            scope.spawn(|| {
                while let Some(plan) = plans.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let report = run(plan);
                    let mut swept = swept.lock().unwrap_or_else(PoisonError::into_inner);
                    swept.struck += usize::from(!report.struck.is_empty());
                    if !report.findings.is_empty() {
                        swept.failures.push((plan.clone(), report.findings));
                    }
                    drop(swept);
                    done();
                }
            });
        }
    });
    swept.into_inner().unwrap_or_else(PoisonError::into_inner)
}
