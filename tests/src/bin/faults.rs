//! Shoots simulated takes to which things happen, and says what was found.

#![allow(clippy::print_stdout)]

use std::collections::BTreeMap;
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use clap::{Parser, Subcommand};
use indicatif::{ProgressBar, ProgressStyle};
use panestep_tests::faults::shrink::shrink;
use panestep_tests::faults::swarm::{Totals, swarm};
use panestep_tests::faults::{Finding, Kind, Mutant, Plan, Report, run, sweep, tell};

/// Shoots simulated takes to which things happen: cables pulled, power cut, hosts killed.
#[derive(Parser)]
#[command(version, about)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Draw a take and its faults from every seed, and shoot them.
    Run {
        /// First seed and the one after the last, such as 0..10000.
        #[arg(long, value_parser = range, default_value = "0..10000")]
        seeds: std::ops::Range<u64>,
        /// How many at a time.
        #[arg(long, default_value_t = 2)]
        threads: usize,
        /// Break something around the take on purpose: it must be found.
        #[arg(long)]
        mutant: Option<Mutant>,
    },
    /// Shoot three frames again and again, with a fault at every moment in turn.
    Sweep {
        /// How many at a time.
        #[arg(long, default_value_t = 2)]
        threads: usize,
    },
    /// Shoot one take again.
    Replay {
        /// The plan, as a failing run printed it.
        #[arg(required_unless_present = "seed")]
        plan: Option<String>,
        /// The seed to draw the plan from instead.
        #[arg(long, conflicts_with = "plan")]
        seed: Option<u64>,
        /// Print what happens, event by event.
        #[arg(long)]
        story: bool,
        /// Make it smaller first, for as long as it fails in the same way.
        #[arg(long)]
        shrink: bool,
    },
}

fn range(text: &str) -> Result<std::ops::Range<u64>, String> {
    let parse = |part: &str| {
        part.trim()
            .parse()
            .map_err(|_| "write it like 0..10000".to_owned())
    };
    let (from, to) = text.split_once("..").ok_or("write it like 0..10000")?;
    let range = parse(from)?..parse(to)?;
    if range.is_empty() {
        return Err("there is no seed in it".into());
    }
    Ok(range)
}

/// Least number of strikes of every kind in a run of this many takes.
const LEAST: u64 = 100;
const FULL: u64 = 10_000;
/// Least number of takes in a sweep.
const LEAST_SWEPT: usize = 1000;
/// Failing takes that are made smaller and printed.
const SHOWN: usize = 5;

fn main() -> ExitCode {
    // A panic in a take is a finding; its text is printed with it.
    std::panic::set_hook(Box::new(|_| ()));
    let sound = match Arguments::parse().command {
        Command::Run {
            seeds,
            threads,
            mutant,
        } => run_seeds(seeds, threads, mutant),
        Command::Sweep { threads } => sweep_all(threads),
        Command::Replay {
            plan,
            seed,
            story,
            shrink,
        } => match chosen(plan.as_deref(), seed) {
            Ok(plan) => replay(plan, story, shrink),
            Err(error) => {
                eprintln!("faults: {error}");
                return ExitCode::from(2);
            }
        },
    };
    if sound {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn chosen(plan: Option<&str>, seed: Option<u64>) -> Result<Plan, String> {
    match (plan, seed) {
        (Some(text), _) => {
            serde_json::from_str(text).map_err(|error| format!("this is no plan: {error}"))
        }
        (None, Some(seed)) => Ok(Plan::draw(seed)),
        (None, None) => Err("name a plan or a seed".into()),
    }
}

fn bar(length: u64) -> ProgressBar {
    let bar = ProgressBar::new(length);
    let style = ProgressStyle::with_template("{pos} of {len} takes  {bar:30}  {eta} left  {msg}");
    if let Ok(style) = style {
        bar.set_style(style);
    }
    bar
}

fn run_seeds(seeds: std::ops::Range<u64>, threads: usize, mutant: Option<Mutant>) -> bool {
    let bar = bar(seeds.end - seeds.start);
    let failed = AtomicU64::new(0);
    let begun = Instant::now();
    let totals = swarm(
        seeds.clone(),
        threads,
        mutant,
        &|_, findings: &[Finding]| {
            bar.inc(1);
            if !findings.is_empty() {
                bar.set_message(format!(
                    "{} failed",
                    failed.fetch_add(1, Ordering::Relaxed) + 1
                ));
            }
            false
        },
    );
    bar.finish_and_clear();
    print_totals(&totals, begun.elapsed());
    show_failures(&totals, mutant);
    let mut sound = totals.failures.is_empty();
    if totals.takes >= FULL && mutant.is_none() {
        for kind in Kind::ALL {
            let struck = totals.struck.get(&kind).copied().unwrap_or(0);
            if struck < LEAST {
                println!(
                    "Too seldom: {} struck {struck} times, not {LEAST}",
                    kind.words()
                );
                sound = false;
            }
        }
    }
    if sound {
        println!("Nothing found in {} takes.", totals.takes);
    }
    sound
}

fn print_totals(totals: &Totals, elapsed: Duration) {
    println!("Faults that struck:");
    for kind in Kind::ALL {
        let struck = totals.struck.get(&kind).copied().unwrap_or(0);
        println!("{struck:>9}  {}", kind.words());
    }
    println!("{:>9}  in all", totals.struck.values().sum::<u64>());
    println!();
    let minutes = elapsed.as_secs_f64() / 60.0;
    println!("{:>9}  takes", totals.takes);
    println!("{:>9}  exposures", totals.exposures);
    println!("{:>9}  resumes", totals.resumes);
    println!("{:>9}  questions asked", totals.questions);
    println!(
        "{:>9.1}  hours at the stand",
        totals.time.as_secs_f64() / 3600.0
    );
    println!("{:>9.0}  takes a minute", totals.takes as f64 / minutes);
}

fn show_failures(totals: &Totals, mutant: Option<Mutant>) {
    let mut kinds: BTreeMap<&str, Vec<u64>> = BTreeMap::new();
    for (seed, findings) in &totals.failures {
        if let Some(first) = findings.first() {
            kinds.entry(&first.kind).or_default().push(*seed);
        }
    }
    if kinds.is_empty() {
        return;
    }
    println!();
    println!("{} takes failed:", totals.failures.len());
    for (kind, seeds) in &kinds {
        let first: Vec<String> = seeds.iter().take(SHOWN).map(u64::to_string).collect();
        println!("{:>9}  {kind}: seeds {}", seeds.len(), first.join(", "));
    }
    for (kind, seeds) in kinds.iter().take(SHOWN) {
        let mut plan = Plan::draw(seeds[0]);
        plan.mutant = mutant;
        show(kind, seeds[0], &shrink(&plan, kind));
    }
}

fn show(kind: &str, seed: u64, plan: &Plan) {
    println!();
    println!("Seed {seed}: {kind}");
    for finding in &run(plan).findings {
        println!("  {}: {}", finding.kind, finding.what);
    }
    println!("  {} frames, faults:", plan.frames);
    for fault in &plan.faults {
        println!("    at {:?}: {:?}", fault.when, fault.what);
    }
    let json = serde_json::to_string(plan).unwrap_or_default();
    println!("  cargo run --release -p panestep-tests --bin faults -- replay --story '{json}'");
}

fn replay(mut plan: Plan, story: bool, smaller: bool) -> bool {
    let first = run(&plan)
        .findings
        .first()
        .map(|finding| finding.kind.clone());
    if let Some(kind) = first
        && smaller
    {
        plan = shrink(&plan, &kind);
        show(&kind, plan.seed, &plan);
    }
    let Report {
        findings,
        story: lines,
        resumes,
        exposures,
        trace,
        ..
    } = if story { tell(&plan) } else { run(&plan) };
    for line in lines {
        println!("{line}");
    }
    println!("{exposures} exposures, {resumes} resumes, trace {trace:016x}");
    for finding in &findings {
        println!("FOUND  {}: {}", finding.kind, finding.what);
    }
    findings.is_empty()
}

fn sweep_all(threads: usize) -> bool {
    let plans = sweep::plans();
    let bar = bar(plans.len() as u64);
    let begun = Instant::now();
    let sweep::Swept { failures, struck } = sweep::run_all(&plans, threads, &|| bar.inc(1));
    bar.finish_and_clear();
    println!(
        "{} takes of three frames, a fault at every moment in turn, which struck in {struck}, in {:.0} s",
        plans.len(),
        begun.elapsed().as_secs_f64()
    );
    for (plan, findings) in failures.iter().take(SHOWN) {
        if let Some(first) = findings.first() {
            show(&first.kind, plan.seed, plan);
        }
    }
    println!("{} failed", failures.len());
    let enough = plans.len() >= LEAST_SWEPT && struck * 10 >= plans.len() * 9;
    if !enough {
        println!(
            "Too little: a sweep is {LEAST_SWEPT} takes at least, and its fault strikes in nine of ten"
        );
    }
    enough && failures.is_empty()
}
