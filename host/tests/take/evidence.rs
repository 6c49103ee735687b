//! Other ways to fire, and pictures as evidence.

use std::cell::RefCell;
use std::collections::VecDeque;
use std::io;
use std::rc::Rc;
use std::time::Duration;

use panestep::schedule::Release;
use panestep::schedule::Turn;
use panestep::sim::{CameraFault, Fault, SimulatedStand, When};
use panestep::take::exposure::{Flaw, Known, Released};
use panestep::take::{
    Album, Arrangement, Ending, Entry, Look, Outcome, Person, Progress, Question, ReleaseOrder,
    Span, Stage, Suspects, TakeError, Trigger, shoot,
};

use crate::rig::{Bench, FRAMES, Operator, Ports, reset, sim_now};

/// What becomes of one picture on its way from the camera to the folder.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Fate {
    Good,
    /// Good, and there only so long after the exposure.
    Slow(Duration),
    Lost,
    Black,
    Copy,
    Unreadable,
    /// Another one comes with it.
    Twice,
}

#[derive(Default)]
struct Shelf {
    pictures: Vec<(Duration, String, Look)>,
    fates: VecDeque<Fate>,
    number: u64,
}

/// A folder in memory that the simulated camera's pictures arrive in.
#[derive(Clone)]
struct Folder {
    shelf: Rc<RefCell<Shelf>>,
    sim: SimulatedStand,
    seen: Rc<RefCell<usize>>,
}

const FIRST: u64 = 100;

impl Folder {
    fn new(sim: &SimulatedStand, fates: &[Fate]) -> Self {
        let shelf = Rc::new(RefCell::new(Shelf {
            fates: fates.iter().copied().collect(),
            ..Shelf::default()
        }));
        Self {
            shelf,
            sim: sim.clone(),
            seen: Rc::default(),
        }
    }

    /// Takes over what the camera has exposed since the last look.
    fn arrive(&self) {
        let exposures = self.sim.exposures();
        let mut seen = self.seen.borrow_mut();
        for exposure in &exposures[*seen..] {
            let mut shelf = self.shelf.borrow_mut();
            let fate = shelf.fates.pop_front().unwrap_or(Fate::Good);
            let mut put = |after: Duration, digest: Option<u64>, bright| {
                shelf.number += 1;
                let name = format!("tide-{:04}", shelf.number);
                let look = Look::Whole {
                    digest: digest.unwrap_or(FIRST + shelf.number),
                    bright,
                };
                shelf.pictures.push((exposure.closed + after, name, look));
            };
            let usual = Duration::from_millis(200);
            match fate {
                Fate::Good => put(usual, None, 200),
                Fate::Slow(after) => put(after, None, 200),
                Fate::Lost => {}
                Fate::Black => put(usual, None, 3),
                Fate::Copy => put(usual, Some(FIRST + 1), 200),
                Fate::Twice => {
                    put(usual, None, 200);
                    put(usual, None, 200);
                }
                Fate::Unreadable => {
                    put(usual, None, 200);
                    if let Some(last) = shelf.pictures.last_mut() {
                        last.2 = Look::Unreadable;
                    }
                }
            }
        }
        *seen = exposures.len();
    }

    fn stranger(&self, name: &str) {
        let look = Look::Whole {
            digest: 7,
            bright: 200,
        };
        let now = sim_now(&self.sim);
        self.shelf
            .borrow_mut()
            .pictures
            .push((now, name.into(), look));
    }
}

impl Album for Folder {
    fn names(&mut self) -> io::Result<Vec<String>> {
        self.arrive();
        let now = sim_now(&self.sim);
        let shelf = self.shelf.borrow();
        let there = shelf.pictures.iter().filter(|(at, ..)| *at <= now);
        Ok(there.map(|(_, name, _)| name.clone()).collect())
    }

    fn look(&mut self, name: &str) -> io::Result<Look> {
        let shelf = self.shelf.borrow();
        let found = shelf.pictures.iter().find(|(_, of, _)| of == name);
        Ok(found.map_or(Look::Unreadable, |(.., look)| *look))
    }
}

/// A command, or a finger, that presses the simulated camera's release.
struct Presser {
    sim: SimulatedStand,
    /// What to answer, and whether the release is really pressed; good where it has run out.
    script: VecDeque<(Released, bool)>,
    orders: Vec<(u32, Vec<String>)>,
    /// What the person answers; presses and says so where it has run out.
    fingers: VecDeque<Option<bool>>,
    person: Operator,
}

impl Presser {
    fn new(sim: &SimulatedStand) -> Self {
        Self {
            sim: sim.clone(),
            script: VecDeque::new(),
            orders: Vec::new(),
            fingers: VecDeque::new(),
            person: Operator::default(),
        }
    }

    fn press(&self) {
        assert!(self.sim.inject(When::Now, Fault::HandRelease));
        self.sim.pass(Duration::from_secs(1)).expect("no hook");
    }
}

struct Command<'a>(&'a RefCell<Presser>);

impl Trigger for Command<'_> {
    fn release(&mut self, order: &ReleaseOrder<'_>) -> Released {
        let mut presser = self.0.borrow_mut();
        presser
            .orders
            .push((order.turn.frame, order.words.to_vec()));
        let (how, pressed) = presser.script.pop_front().unwrap_or((Released::Took, true));
        if pressed {
            presser.press();
        }
        how
    }

    fn why(&self) -> String {
        "there is no such program".into()
    }
}

struct Finger<'a>(&'a RefCell<Presser>);

impl Person for Finger<'_> {
    fn set(&mut self, request: &panestep::take::HandRequest<'_>) -> Option<f64> {
        Some(request.reading)
    }

    fn exposed(&mut self, question: &Question) -> Option<bool> {
        self.0.borrow_mut().person.exposed(question)
    }

    fn fire(&mut self, _: Turn) -> Option<bool> {
        let next = self.0.borrow_mut().fingers.pop_front();
        let answer = next.unwrap_or(Some(true));
        // Who says nothing has pressed it too.
        if answer != Some(false) {
            self.0.borrow().press();
        }
        answer
    }

    fn arrange(&mut self, _: &Arrangement<'_>) -> Option<()> {
        None
    }

    fn others(&mut self, frames: &[Span], most: u32) -> Option<Vec<u32>> {
        self.0.borrow_mut().person.others(frames, most)
    }

    fn again(&mut self, suspects: &Suspects) -> Option<bool> {
        self.0.borrow_mut().person.again(suspects)
    }
}

/// One run, on a stand whose camera its boards do not fire.
fn run(
    bench: &Bench,
    presser: &RefCell<Presser>,
    album: Option<&Folder>,
) -> Result<Outcome, TakeError> {
    let mut journal = bench.journal().expect("a disk in memory");
    let mut album = album.cloned();
    shoot(
        &bench.schedule,
        &mut journal,
        &mut Stage {
            boards: &mut Ports(bench.sim.clone()),
            clock: Rc::new(bench.sim.clock()),
            person: &mut Finger(presser),
            watch: &mut (),
            trigger: &mut Command(presser),
            album: album.as_mut().map(|album| album as &mut dyn Album),
            interrupt: &bench.interrupt,
        },
        &[],
    )
}

fn watched(fates: &[Fate]) -> (Bench, Folder, RefCell<Presser>) {
    let mut bench = Bench::new();
    bench.schedule.exposure.arrival = Some(Duration::from_secs(4));
    let folder = Folder::new(&bench.sim, fates);
    let presser = RefCell::new(Presser::new(&bench.sim));
    (bench, folder, presser)
}

fn by_command() -> (Bench, RefCell<Presser>) {
    let mut bench = Bench::new();
    bench.schedule.exposure.release = Release::Command {
        words: vec!["photograph".into(), "{frame}".into()],
        time_out: Duration::from_secs(30),
    };
    let presser = RefCell::new(Presser::new(&bench.sim));
    (bench, presser)
}

fn pictures(bench: &Bench) -> Vec<String> {
    let named = bench.entries().into_iter().filter_map(|entry| match entry {
        Entry::Done { picture, .. } | Entry::Verdict { picture, .. } => picture,
        _ => None,
    });
    named.map(|picture| picture.file).collect()
}

#[test]
fn each_exposure_brings_one_picture_which_the_journal_names() {
    let slow = Fate::Slow(Duration::from_millis(3500));
    let (bench, folder, presser) = watched(&[Fate::Good, slow]);
    folder.stranger("of yesterday");
    assert_eq!(
        run(&bench, &presser, Some(&folder)).unwrap(),
        Outcome::Finished
    );
    bench.assert_exact("pictures arrive");
    assert_eq!(pictures(&bench), ["tide-0001", "tide-0002", "tide-0003"]);
    assert!(bench.entries().contains(&Entry::Found {
        pictures: vec!["of yesterday".into()]
    }));
    assert!(presser.borrow().person.asked.is_empty());
}

#[test]
fn a_picture_that_is_missing_or_no_good_is_asked_about_with_what_has_come() {
    for (fate, known, come) in [
        (Fate::Lost, Known::NoPicture, 0),
        (Fate::Black, Known::Flawed(Flaw::Black), 1),
        (Fate::Copy, Known::Flawed(Flaw::Copy), 1),
        (Fate::Unreadable, Known::Flawed(Flaw::Unreadable), 1),
        (Fate::Twice, Known::Pictures(2), 2),
    ] {
        for exposed in [true, false] {
            let (bench, folder, presser) = watched(&[Fate::Good, fate]);
            presser.borrow_mut().person.verdicts = vec![Some(exposed)];
            let outcome = run(&bench, &presser, Some(&folder)).expect("answered");
            assert_eq!(outcome, Outcome::Finished, "{fate:?}");
            let asked = &presser.borrow().person.asked;
            assert_eq!(asked.len(), 1, "{fate:?}");
            assert_eq!(
                (asked[0].turn.frame, asked[0].known),
                (2, known),
                "{fate:?}"
            );
            assert_eq!(asked[0].pictures.len(), come, "{fate:?}");
            assert_eq!(bench.sim.releases(), FRAMES + u32::from(!exposed));
            // Whatever has come belongs to this exposure: it is no stranger at the next.
            assert!(bench.sim.violations().is_empty());
        }
    }
}

#[test]
fn without_an_answer_about_a_picture_the_question_comes_again() {
    let (bench, folder, presser) = watched(&[Fate::Good, Fate::Lost]);
    let outcome = run(&bench, &presser, Some(&folder)).expect("a person stops");
    assert_eq!(
        outcome,
        Outcome::Interrupted {
            next: Some(super::rig::frame(2))
        }
    );
    presser.borrow_mut().person.verdicts = vec![Some(true)];
    assert_eq!(
        run(&bench, &presser, Some(&folder)).unwrap(),
        Outcome::Finished
    );
    let asked = &presser.borrow().person.asked;
    assert_eq!(asked.len(), 2);
    assert_eq!(asked[1].known, Known::NoPicture);
    bench.assert_exact("asked twice");
}

#[test]
fn a_picture_that_nobody_asked_for_stops_the_take_before_the_next_exposure() {
    let (bench, folder, presser) = watched(&[]);
    let mut journal = bench.journal().expect("a disk in memory");
    let (mut album, stranger) = (folder.clone(), folder.clone());
    let mut watch = |progress: &Progress<'_>| {
        if let Progress::Moving {
            turn: Turn { frame: 2, .. },
        } = progress
        {
            stranger.stranger("of somebody's finger");
        }
    };
    let error = shoot(
        &bench.schedule,
        &mut journal,
        &mut Stage {
            boards: &mut Ports(bench.sim.clone()),
            clock: Rc::new(bench.sim.clock()),
            person: &mut Finger(&presser),
            watch: &mut watch,
            trigger: &mut (),
            album: Some(&mut album),
            interrupt: &bench.interrupt,
        },
        &[],
    )
    .expect_err("a stranger");
    drop(journal);
    assert!(
        matches!(
            error,
            TakeError::Strangers {
                turn: Some(Turn { frame: 2, .. }),
                ..
            }
        ),
        "{error:?}"
    );
    assert!(
        error.to_string().contains("of somebody's finger"),
        "{error}"
    );
    assert_eq!((error.ending(), error.resumable()), (Ending::Stopped, true));
    assert_eq!(bench.sim.releases(), 1);
    assert_eq!(
        run(&bench, &presser, Some(&folder)).unwrap(),
        Outcome::Finished
    );
    bench.assert_exact("a stranger was there");
}

#[test]
fn a_picture_does_not_decide_what_a_reset_has_left_in_doubt() {
    let (bench, folder, presser) = watched(&[]);
    let reset = reset();
    bench.sim.inject(When::Release(2), reset);
    presser.borrow_mut().person.verdicts = vec![Some(true)];
    let error = run(&bench, &presser, Some(&folder)).expect_err("the board was reset");
    assert!(error.resumable(), "{error:?}");
    {
        let asked = &presser.borrow().person.asked;
        assert_eq!(asked[0].known, Known::ResetBegun);
        assert_eq!(asked[0].pictures, ["tide-0002"]);
    }
    assert_eq!(
        run(&bench, &presser, Some(&folder)).unwrap(),
        Outcome::Finished
    );
    assert_eq!(pictures(&bench), ["tide-0001", "tide-0002", "tide-0003"]);
    bench.assert_exact("reset and picture");
}

#[test]
fn a_camera_that_ignores_its_release_shows_by_its_missing_picture_without_a_contact() {
    let (mut bench, folder, presser) = watched(&[]);
    if let Release::Board { flash_contact, .. } = &mut bench.schedule.exposure.release {
        *flash_contact = false;
    }
    bench
        .sim
        .inject(When::Now, Fault::Camera(CameraFault::Ignores));
    presser.borrow_mut().person.verdicts = vec![Some(false)];
    assert_eq!(
        run(&bench, &presser, Some(&folder)).unwrap(),
        Outcome::Finished
    );
    let asked = &presser.borrow().person.asked;
    assert_eq!((asked[0].turn.frame, asked[0].known), (1, Known::NoPicture));
    assert_eq!(bench.sim.exposures().len(), FRAMES as usize);
    bench.assert_last_exposures("ignored once");
}

#[test]
fn a_contact_that_closes_unasked_stops_the_take_before_the_next_exposure() {
    let mut bench = Bench::new();
    let error = bench
        .shoot_watched(|progress, sim| {
            if let Progress::Arrived {
                turn: Turn { frame: 2, .. },
            } = progress
            {
                sim.inject(When::Now, Fault::HandRelease);
            }
        })
        .expect_err("a hand on the release");
    assert!(
        matches!(
            error,
            TakeError::StrayContact {
                turn: Some(Turn { frame: 2, .. }),
                times: 1
            }
        ),
        "{error:?}"
    );
    assert_eq!((error.ending(), error.resumable()), (Ending::Stopped, true));
    assert_eq!(bench.sim.releases(), 1);
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    assert_eq!(bench.sim.releases(), FRAMES);
    assert!(bench.sim.violations().is_empty());
}

#[test]
fn a_camera_that_opens_late_holds_the_stand_still_until_it_has_closed() {
    let mut bench = Bench::new();
    // As late as the window of 600 ms just lets it: the shutter closes 500 ms later.
    let late = Fault::Camera(CameraFault::Late(Duration::from_millis(550)));
    bench.sim.inject(When::Now, late);
    assert_eq!(bench.shoot().unwrap(), Outcome::Finished);
    bench.assert_exact("late");
    assert!(bench.person.asked.is_empty());
}

#[test]
fn a_command_of_the_users_own_takes_the_pictures() {
    let (bench, presser) = by_command();
    assert_eq!(run(&bench, &presser, None).unwrap(), Outcome::Finished);
    let words = vec!["photograph".to_owned(), "{frame}".to_owned()];
    let orders: Vec<_> = (1..=FRAMES).map(|frame| (frame, words.clone())).collect();
    assert_eq!(presser.borrow().orders, orders);
    assert_eq!(bench.sim.releases(), 0, "the board has no part in it");
    bench.assert_last_exposures("by command");
}

#[test]
fn a_command_that_fails_is_asked_about_and_never_run_again_unasked() {
    for (how, known) in [
        (Released::Failed(Some(4)), Known::CommandFailed(Some(4))),
        (Released::Failed(None), Known::CommandFailed(None)),
        (Released::TimedOut, Known::CommandTimedOut),
    ] {
        for pressed in [true, false] {
            let (bench, presser) = by_command();
            presser.borrow_mut().script = [(Released::Took, true), (how, pressed)].into();
            presser.borrow_mut().person.verdicts = vec![Some(pressed)];
            assert_eq!(run(&bench, &presser, None).unwrap(), Outcome::Finished);
            let presser = presser.borrow();
            assert_eq!(presser.person.asked.len(), 1);
            assert_eq!(presser.person.asked[0].known, known);
            let tries = FRAMES as usize + usize::from(!pressed);
            assert_eq!(presser.orders.len(), tries, "{how:?}, {pressed}");
            bench.assert_last_exposures("a command failed");
        }
    }
}

#[test]
fn a_command_that_cannot_be_run_ends_the_take_with_nothing_in_doubt() {
    let (bench, presser) = by_command();
    presser.borrow_mut().script = [(Released::Took, true), (Released::NotBegun, false)].into();
    let error = run(&bench, &presser, None).expect_err("no such program");
    assert!(
        matches!(
            error,
            TakeError::Command {
                turn: Turn { frame: 2, .. },
                ..
            }
        ),
        "{error:?}"
    );
    assert!(error.to_string().contains("no such program"), "{error}");
    assert!(error.resumable());
    assert_eq!(run(&bench, &presser, None).unwrap(), Outcome::Finished);
    assert!(presser.borrow().person.asked.is_empty());
    bench.assert_last_exposures("a command was missing");
}

#[test]
fn a_host_killed_while_its_command_runs_asks_when_it_comes_back() {
    for (pressed, taken) in [(true, true), (false, false)] {
        let (bench, presser) = by_command();
        // Killed in the wait after the command, with the intent on disk and nothing else.
        struct Killer<'a>(Command<'a>, &'a SimulatedStand);
        impl Trigger for Killer<'_> {
            fn release(&mut self, order: &ReleaseOrder<'_>) -> Released {
                let how = self.0.release(order);
                self.1.inject(When::Now, Fault::KillHost);
                how
            }

            fn why(&self) -> String {
                String::new()
            }
        }
        presser.borrow_mut().script = [(Released::Took, pressed)].into();
        let before = bench.sim.exposures().len();
        let mut journal = bench.journal().expect("a disk in memory");
        shoot(
            &bench.schedule,
            &mut journal,
            &mut Stage {
                boards: &mut Ports(bench.sim.clone()),
                clock: Rc::new(bench.sim.clock()),
                person: &mut Finger(&presser),
                watch: &mut (),
                trigger: &mut Killer(Command(&presser), &bench.sim),
                album: None,
                interrupt: &bench.interrupt,
            },
            &[],
        )
        .expect_err("killed");
        drop(journal);
        assert_eq!(bench.sim.exposures().len() - before, usize::from(pressed));
        bench.sim.revive();
        presser.borrow_mut().person.verdicts = vec![Some(taken)];
        assert_eq!(run(&bench, &presser, None).unwrap(), Outcome::Finished);
        let presser = presser.borrow();
        assert_eq!(presser.person.asked[0].known, Known::RunEnded);
        assert_eq!(
            presser.orders.len(),
            FRAMES as usize + usize::from(!pressed)
        );
        assert_eq!(bench.sim.exposures().len() - before, FRAMES as usize);
    }
}

#[test]
fn a_finger_on_the_release_takes_the_pictures_or_leaves_it_alone() {
    let mut bench = Bench::new();
    bench.schedule.exposure.release = Release::Hand;
    let presser = RefCell::new(Presser::new(&bench.sim));
    presser.borrow_mut().fingers = [Some(true), Some(false)].into();
    let outcome = run(&bench, &presser, None).expect("a person stops");
    assert_eq!(
        outcome,
        Outcome::Interrupted {
            next: Some(super::rig::frame(2))
        }
    );
    assert_eq!(bench.sim.exposures().len(), 1);
    assert!(
        bench
            .entries()
            .iter()
            .any(|entry| matches!(entry, Entry::Void { slot: 2, .. }))
    );
    assert_eq!(run(&bench, &presser, None).unwrap(), Outcome::Finished);
    assert!(presser.borrow().person.asked.is_empty());
    bench.assert_last_exposures("by hand");
}

#[test]
fn a_person_who_walks_away_with_a_finger_on_the_release_is_asked_later() {
    let mut bench = Bench::new();
    bench.schedule.exposure.release = Release::Hand;
    let presser = RefCell::new(Presser::new(&bench.sim));
    presser.borrow_mut().fingers = [Some(true), None].into();
    let outcome = run(&bench, &presser, None).expect("a person stops");
    assert_eq!(
        outcome,
        Outcome::Interrupted {
            next: Some(super::rig::frame(2))
        }
    );
    presser.borrow_mut().person.verdicts = vec![Some(true)];
    assert_eq!(run(&bench, &presser, None).unwrap(), Outcome::Finished);
    assert_eq!(presser.borrow().person.asked[0].known, Known::RunEnded);
    assert_eq!(bench.sim.exposures().len(), FRAMES as usize);
    bench.assert_last_exposures("by hand, with a doubt");
}

#[test]
fn a_board_that_is_reset_while_a_command_holds_the_shutter_open_is_asked_about() {
    for exposed in [true, false] {
        let (bench, presser) = by_command();
        presser.borrow_mut().person.verdicts = vec![Some(exposed)];
        // The camera opens with the second press of its release, whoever presses it.
        struct Resetter<'a>(Command<'a>, &'a SimulatedStand);
        impl Trigger for Resetter<'_> {
            fn release(&mut self, order: &ReleaseOrder<'_>) -> Released {
                if order.turn.frame == 2 {
                    let soon = sim_now(self.1) + Duration::from_millis(300);
                    let reset = Fault::Reset {
                        board: panestep::stand::BoardId(1),
                        keep_mark: true,
                        drop_port: false,
                    };
                    self.1.inject(When::At(soon), reset);
                }
                self.0.release(order)
            }

            fn why(&self) -> String {
                String::new()
            }
        }
        let mut journal = bench.journal().expect("a disk in memory");
        let error = shoot(
            &bench.schedule,
            &mut journal,
            &mut Stage {
                boards: &mut Ports(bench.sim.clone()),
                clock: Rc::new(bench.sim.clock()),
                person: &mut Finger(&presser),
                watch: &mut (),
                trigger: &mut Resetter(Command(&presser), &bench.sim),
                album: None,
                interrupt: &bench.interrupt,
            },
            &[],
        )
        .expect_err("a board was reset");
        drop(journal);
        assert!(error.to_string().contains("lower"), "{error}");
        assert!(error.resumable());
        assert_eq!(run(&bench, &presser, None).unwrap(), Outcome::Finished);
        let asked = &presser.borrow().person.asked;
        assert_eq!(asked.len(), 1);
        assert_eq!((asked[0].turn.frame, asked[0].known), (2, Known::Disturbed));
        let exposures = FRAMES as usize + usize::from(!exposed);
        assert_eq!(bench.sim.exposures().len(), exposures);
    }
}
