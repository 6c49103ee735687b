//! The demonstration shot on the simulated stand, without pictures: how long it takes beside how
//! long it would take at a real stand, and what a tick costs.
//!
//! Run with `cargo bench -p panestep-tests --bench shoot`.
#![allow(clippy::print_stdout, reason = "a bench prints its figures")]

use std::error::Error;
use std::path::Path;
use std::rc::Rc;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use panestep::link::Clock;
use panestep::plan::Plan;
use panestep::sim::{Options, SimulatedStand};
use panestep::take::{self, Entry, Journal, Outcome, SimulatedDisk, Stage};
use panestep_protocol::ShotId;
use panestep_tests::{Nobody, Ports};

const RUNS: u64 = 5;

fn main() -> Result<(), Box<dyn Error>> {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host/demo/shot.toml");
    let (stand, shot) = panestep::file::read_shot(&demo)?;
    let schedule = Plan::new(&stand, &shot)?.into_schedule();
    let mut quickest = Duration::MAX;
    let mut simulated = Duration::ZERO;
    let mut ticks = 0;
    for seed in 1..=RUNS {
        let start = Instant::now();
        let world = SimulatedStand::new(
            &stand,
            &Options {
                seed,
                ..Options::default()
            },
        );
        let mut journal = Journal::begin(
            Box::new(SimulatedDisk::default()),
            Box::new(jiff::Timestamp::now),
            &Entry::begun(&schedule, "", "", ShotId(seed)),
        )?;
        let clock = Rc::new(world.clock());
        let outcome = take::shoot(
            &schedule,
            &mut journal,
            &mut Stage {
                boards: &mut Ports(world.clone()),
                clock: clock.clone(),
                person: &mut Nobody,
                watch: &mut (),
                trigger: &mut (),
                album: None,
                interrupt: &AtomicBool::new(false),
            },
            &[],
        )?;
        let took = start.elapsed();
        assert_eq!(outcome, Outcome::Finished, "seed {seed}");
        assert_eq!(
            world.exposures().len(),
            schedule.frames as usize,
            "seed {seed}"
        );
        if took < quickest {
            (quickest, simulated, ticks) = (took, clock.now(), world.ticks());
        }
    }
    println!(
        "{} frames, {} axes: {:.3} s, {:.0} times as fast as the stand itself ({:.0} s); \
         {ticks} ticks carried out, {:.0} ns each with everything around them",
        schedule.frames,
        schedule.motors.len(),
        quickest.as_secs_f64(),
        simulated.as_secs_f64() / quickest.as_secs_f64(),
        simulated.as_secs_f64(),
        quickest.as_nanos() as f64 / ticks.max(1) as f64,
    );
    Ok(())
}
