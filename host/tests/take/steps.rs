//! Through a shot step by step.

use std::rc::Rc;

use panestep::sim::SimulatedStand;
use panestep::take::{
    Entry, Outcome, Progress, Stage, Standing, Steps, Stood, TakeError, Wish, rehearse_by_steps,
    shoot_by_steps,
};

use super::rig::{Bench, FRAMES, Ports, STEPS_PER_MM, frame};

/// Somebody who wants one thing after another, and looks round before each.
struct Walker<'a> {
    wishes: Vec<Wish>,
    sim: &'a SimulatedStand,
    stood: Vec<(Stood, f64)>,
}

impl Steps for Walker<'_> {
    fn next(&mut self, stood: &Stood) -> Option<Wish> {
        let east = self.sim.pose().levels[0].east_mm;
        self.stood.push((*stood, east));
        if self.wishes.is_empty() {
            return None;
        }
        Some(self.wishes.remove(0))
    }
}

type Walked = (Result<Outcome, TakeError>, Vec<(Stood, f64)>);

fn walk(bench: &mut Bench, wishes: &[Wish], shooting: bool) -> Walked {
    let mut told = 0;
    let mut watch = |progress: &Progress<'_>| {
        if let Progress::SettingOut { passages, .. } = progress {
            told += 1;
            assert_eq!(passages.len(), 3);
        }
    };
    let sim = bench.sim.clone();
    let mut walker = Walker {
        wishes: wishes.to_vec(),
        sim: &sim,
        stood: Vec::new(),
    };
    let mut journal = shooting.then(|| bench.journal().expect("a journal"));
    let mut stage = Stage {
        boards: &mut Ports(bench.sim.clone()),
        clock: Rc::new(bench.sim.clock()),
        person: &mut bench.person,
        watch: &mut watch,
        trigger: &mut (),
        album: None,
        interrupt: &bench.interrupt,
    };
    let result = match &mut journal {
        Some(journal) => shoot_by_steps(&bench.schedule, journal, &mut stage, &[], &mut walker),
        None => rehearse_by_steps(&bench.schedule, &mut stage, &mut walker),
    };
    let goes = |wish: &&Wish| matches!(wish, Wish::Go(1..=FRAMES));
    assert_eq!(told, wishes.iter().filter(goes).count());
    (result, walker.stood)
}

#[test]
fn a_rehearsal_goes_forward_and_back_and_exposes_nothing() {
    let mut bench = Bench::new();
    let wishes = [
        Wish::Go(1),
        Wish::Go(2),
        Wish::Expose,
        Wish::Go(1),
        Wish::Go(9),
        Wish::Go(0),
        Wish::Go(3),
        Wish::Leave,
    ];
    let (result, stood) = walk(&mut bench, &wishes, false);
    assert_eq!(result.expect("nothing goes wrong"), Outcome::Finished);
    assert_eq!(bench.sim.releases(), 0);
    let frames: Vec<Option<u32>> = stood
        .iter()
        .map(|(stood, _)| stood.turn.map(|turn| turn.frame))
        .collect();
    let [one, two, three] = [Some(1), Some(2), Some(3)];
    assert_eq!(frames, [None, one, two, two, one, one, one, three]);
    for (stood, east) in &stood[1..] {
        let frame = stood.turn.expect("a frame").frame;
        let target = bench.schedule.motors_at(frame).expect("a row")[0];
        let off = (east - f64::from(target) / STEPS_PER_MM).abs();
        assert!(off <= 1.0 / STEPS_PER_MM + 1e-6, "frame {frame}: {off} mm");
        assert!(stood.standing.is_none() && !stood.shooting);
    }
    assert!(bench.sim.violations().is_empty());
}

/// Left with its key, a rehearsal sees whether every axis is where it is counted; where there is
/// nobody any more, it is stopped as it stands.
#[test]
fn a_rehearsal_ends_with_a_home_check_only_where_it_is_left() {
    let ends = |wishes: &[Wish]| {
        let mut bench = Bench::new();
        let (result, _) = walk(&mut bench, wishes, false);
        let target = bench.schedule.motors_at(3).expect("a row")[0];
        let east = bench.sim.pose().levels[0].east_mm;
        // A home check ends at the switch, far from every frame.
        let away = (east - f64::from(target) / STEPS_PER_MM).abs() > 1.0;
        (result.expect("nothing goes wrong"), away)
    };
    let stopped = |outcome| matches!(outcome, Outcome::Interrupted { .. });
    assert_eq!(ends(&[Wish::Go(3), Wish::Leave]), (Outcome::Finished, true));
    let (outcome, away) = ends(&[Wish::Go(3)]);
    assert!(stopped(outcome) && !away, "{outcome:?}");
    let (outcome, _) = ends(&[]);
    assert!(stopped(outcome), "{outcome:?}");
}

#[test]
fn frames_are_exposed_in_any_order_and_each_once() {
    let mut bench = Bench::new();
    let wishes = [
        Wish::Expose,
        Wish::Go(3),
        Wish::Expose,
        // It is exposed: passed over.
        Wish::Expose,
        Wish::Go(1),
    ];
    let (result, stood) = walk(&mut bench, &wishes, true);
    let next = Some(frame(1));
    assert_eq!(result.expect("it is left"), Outcome::Interrupted { next });
    assert_eq!(bench.sim.releases(), 1);
    assert_eq!(stood[3].0.standing, Some(Standing::Exposed));
    assert_eq!((stood[3].0.next, stood[3].0.left), (Some(frame(1)), 2));
    assert_eq!(stood[5].0.standing, Some(Standing::Wanted));

    // A run that goes by itself takes what is left, and the rest of the rules hold.
    assert_eq!(bench.shoot().expect("it goes on"), Outcome::Finished);
    bench.assert_exact("after steps");
    let chosen = |entry: &Entry| matches!(entry, Entry::Chosen { .. });
    assert_eq!(
        bench.entries().iter().filter(|entry| chosen(entry)).count(),
        1
    );
}

#[test]
fn an_exposed_frame_is_exposed_again_after_a_yes_and_recorded_as_such() {
    let mut bench = Bench::new();
    let wishes = [
        Wish::Go(1),
        Wish::Expose,
        Wish::Go(2),
        Wish::Expose,
        Wish::Go(3),
        Wish::Expose,
        Wish::Go(2),
        Wish::ExposeAgain,
        Wish::Leave,
    ];
    let (result, _) = walk(&mut bench, &wishes, true);
    assert_eq!(result.expect("everything is exposed"), Outcome::Finished);
    assert_eq!(bench.sim.releases(), FRAMES + 1);
    bench.assert_last_exposures("again");
    let again = |entry: &&Entry| matches!(entry, Entry::Again { .. });
    assert_eq!(bench.entries().iter().filter(again).count(), 1);

    // A finished take can be stepped through, and left, with nothing done.
    let (result, stood) = walk(&mut bench, &[Wish::Go(1), Wish::Leave], true);
    assert_eq!(result.expect("nothing is left"), Outcome::Finished);
    assert_eq!(stood[1].0.standing, Some(Standing::Exposed));
    assert_eq!((stood[1].0.next, stood[1].0.left), (None, 0));
    assert_eq!(bench.sim.releases(), FRAMES + 1);
}
