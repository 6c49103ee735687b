//! Many takes, each from its own seed.

use std::collections::BTreeMap;
use std::ops::Range;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread;
use std::time::Duration;

use super::kind::Kind;
use super::plan::{Mutant, Plan};
use super::run::{Finding, run};

/// What many takes amount to.
#[derive(Clone, Debug, Default)]
pub struct Totals {
    /// Takes.
    pub takes: u64,
    /// Faults that struck, by kind.
    pub struck: BTreeMap<Kind, u64>,
    /// Exposures.
    pub exposures: u64,
    /// Runs after each take's first.
    pub resumes: u64,
    /// Questions.
    pub questions: u64,
    /// Time at the stand.
    pub time: Duration,
    /// Takes in which something was found, and what: by seed.
    pub failures: BTreeMap<u64, Vec<Finding>>,
}

/// Every so manieth seed is run twice, and both must be the same.
const TWICE: u64 = 20;

/// Draws and runs every seed; `done` is told of each, and ends it early by saying so.
#[must_use]
pub fn swarm(
    seeds: Range<u64>,
    threads: usize,
    mutant: Option<Mutant>,
    done: &(dyn Fn(u64, &[Finding]) -> bool + Sync),
) -> Totals {
    let next = AtomicU64::new(seeds.start);
    let enough = AtomicBool::new(false);
    let totals = Mutex::new(Totals::default());
    thread::scope(|scope| {
        for _ in 0..threads.max(1) {
            scope.spawn(|| {
                while !enough.load(Ordering::Relaxed) {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    if seed >= seeds.end {
                        break;
                    }
                    let mut plan = Plan::draw(seed);
                    plan.mutant = mutant;
                    let mut report = run(&plan);
                    if seed.is_multiple_of(TWICE) {
                        let again = run(&plan);
                        if again.trace != report.trace || again.findings != report.findings {
                            report.findings.push(Finding {
                                kind: "not repeatable".into(),
                                what: format!(
                                    "two runs of seed {seed}: {:016x} and {:016x}",
                                    report.trace, again.trace
                                ),
                            });
                        }
                    }
                    if done(seed, &report.findings) {
                        enough.store(true, Ordering::Relaxed);
                    }
                    let Ok(mut totals) = totals.lock() else {
                        return;
                    };
                    totals.takes += 1;
                    totals.exposures += u64::from(report.exposures);
                    totals.resumes += u64::from(report.resumes);
                    totals.questions += u64::from(report.questions);
                    totals.time += report.time;
                    for (kind, count) in report.struck {
                        *totals.struck.entry(kind).or_default() += u64::from(count);
                    }
                    if !report.findings.is_empty() {
                        totals.failures.insert(seed, report.findings);
                    }
                }
            });
        }
    });
    totals.into_inner().unwrap_or_default()
}
