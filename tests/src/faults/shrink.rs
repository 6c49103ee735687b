//! A failing plan made as small as it gets.

use super::plan::Plan;
use super::run::run;

/// Most runs that making a plan smaller may take.
const RUNS: u32 = 400;

/// Whether a plan still fails in the same way.
fn fails(plan: &Plan, kind: &str, runs: &mut u32) -> bool {
    *runs += 1;
    run(plan)
        .findings
        .iter()
        .any(|finding| finding.kind == kind)
}

/// Leaves faults out, then frames, then makes what is left gentler, for as long as a finding of
/// the same kind remains.
#[must_use]
pub fn shrink(plan: &Plan, kind: &str) -> Plan {
    let mut best = plan.clone();
    let mut runs = 0;
    loop {
        let before = best.clone();
        // Whole halves first: most of a list has nothing to do with it.
        let mut part = best.faults.len();
        while part > 0 && runs < RUNS {
            let mut from = 0;
            while from < best.faults.len() && runs < RUNS {
                let mut fewer = best.clone();
                let to = (from + part).min(fewer.faults.len());
                fewer.faults.drain(from..to);
                if fails(&fewer, kind, &mut runs) {
                    best = fewer;
                } else {
                    from += part;
                }
            }
            part /= 2;
        }
        for frames in 1..best.frames {
            let mut shorter = best.clone();
            shorter.frames = frames;
            if runs < RUNS && fails(&shorter, kind, &mut runs) {
                best = shorter;
                break;
            }
        }
        for place in 0..best.faults.len() {
            for softer in best.faults[place].what.softer() {
                let mut gentler = best.clone();
                gentler.faults[place].what = softer;
                if runs < RUNS && fails(&gentler, kind, &mut runs) {
                    best = gentler;
                    break;
                }
            }
        }
        for plainer in plainer(&best) {
            if runs < RUNS && fails(&plainer, kind, &mut runs) {
                best = plainer;
            }
        }
        if best == before || runs >= RUNS {
            return best;
        }
    }
}

/// The same on plainer stands.
fn plainer(plan: &Plan) -> Vec<Plan> {
    let mut plans = Vec::new();
    let changes: [fn(&mut Plan); 4] = [
        |plan| plan.build.hand = false,
        |plan| plan.build.runs_back = false,
        |plan| plan.build.press_times = false,
        |plan| plan.build.far_switches = true,
    ];
    for change in changes {
        let mut plainer = plan.clone();
        change(&mut plainer);
        if plainer != *plan {
            plans.push(plainer);
        }
    }
    plans
}
