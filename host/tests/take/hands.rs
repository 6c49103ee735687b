//! Axes moved by hand: what is said of every wrong reading, and takes on a stand that has neither a
//! motor nor a board.

use std::cell::Cell;
use std::collections::VecDeque;
use std::io;
use std::rc::Rc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use panestep::link::{Clock, Port};
use panestep::schedule::{Exposure, HandAxis, Release, Schedule, Turn};
use panestep::stand::{AxisUnit, Way};
use panestep::take::hands::{Other, judge};
use panestep::take::{
    Arrangement, Boards, Check, Disk, Entry, HandProblem, HandRequest, Journal, Outcome, Person,
    Question, SimulatedDisk, Span, Stage, Suspects, rehearse, shoot,
};
use proptest::prelude::*;

use super::rig::{SHOT, begun, frame, stamp};

fn request(last: Option<f64>, reading: f64) -> HandRequest<'static> {
    HandRequest {
        turn: frame(3),
        of: "clouds",
        way: Way::North,
        unit: AxisUnit::Millimetre,
        reading,
        last,
        scale: 0.1,
        travel: (-100.0, 100.0),
        problem: None,
        in_place_of: None,
    }
}

fn sky(reading: f64) -> [Other; 1] {
    [Other {
        axis: "sky north".into(),
        reading,
    }]
}

#[test]
fn each_of_the_usual_mistakes_is_told_from_the_others() {
    let sky_at = |read| HandProblem::Another {
        read,
        axis: "sky north".into(),
    };
    // From 10 to 13, with the sky at 40.
    for (read, expected) in [
        (13.0, None),
        (13.05, None),
        (12.95, None),
        (10.0, Some(HandProblem::Unmoved { read: 10.0 })),
        (10.05, Some(HandProblem::Unmoved { read: 10.05 })),
        (16.0, Some(HandProblem::Double { read: 16.0 })),
        (-13.0, Some(HandProblem::Mirrored { read: -13.0 })),
        (40.0, Some(sky_at(40.0))),
        (43.0, Some(sky_at(43.0))),
        (
            1.3,
            Some(HandProblem::OtherUnit {
                read: 1.3,
                unit: "cm",
            }),
        ),
        (
            0.5,
            Some(HandProblem::OtherUnit {
                read: 0.5,
                unit: "in",
            }),
        ),
        (130.0, Some(HandProblem::BeyondTravel { read: 130.0 })),
        (
            7.0,
            Some(HandProblem::WrongWay {
                read: 7.0,
                gone: 3.0,
            }),
        ),
        (
            11.5,
            Some(HandProblem::Short {
                read: 11.5,
                missing: 1.5,
            }),
        ),
        (
            14.0,
            Some(HandProblem::Off {
                read: 14.0,
                by: 1.0,
            }),
        ),
    ] {
        let found = judge(&request(Some(10.0), 13.0), read, &sky(40.0));
        assert_eq!(found, expected, "{read}");
    }
    for nothing in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let found = judge(&request(Some(10.0), 13.0), nothing, &[]);
        assert_eq!(found, Some(HandProblem::NotANumber));
    }
}

/// A scale in 1/32 in: from 0 to 1 in. Whoever reads millimetres off it types 25.4, which counts as
/// inches.
#[test]
fn a_scale_in_inches_may_be_read_in_millimetres_by_mistake() {
    let inch = 25.4;
    let request = HandRequest {
        scale: inch / 32.0,
        travel: (-10.0 * inch, 10.0 * inch),
        ..request(Some(0.0), inch)
    };
    assert_eq!(judge(&request, inch + inch / 64.0, &[]), None);
    for (typed, unit) in [(25.4, "mm"), (25.0, "mm"), (2.5, "cm")] {
        let read = typed * inch;
        let found = judge(&request, read, &[]);
        assert_eq!(
            found,
            Some(HandProblem::OtherUnit { read, unit }),
            "{typed}"
        );
    }
}

#[test]
fn where_it_stood_is_not_known_only_the_place_itself_tells() {
    let first = request(None, 4.0);
    for (read, expected) in [
        (4.0, None),
        (-4.0, Some(HandProblem::Mirrored { read: -4.0 })),
        (8.0, Some(HandProblem::Off { read: 8.0, by: 4.0 })),
    ] {
        assert_eq!(judge(&first, read, &sky(8.0)), expected);
    }
}

/// A single division is as much of a move as any other.
#[test]
fn a_move_of_one_division_is_not_let_pass_unmoved_or_double() {
    let small = request(Some(4.0), 4.1);
    for (read, expected) in [
        (4.1, None),
        (4.0, Some(HandProblem::Unmoved { read: 4.0 })),
        (4.2, Some(HandProblem::Double { read: 4.2 })),
        (-4.1, Some(HandProblem::Mirrored { read: -4.1 })),
    ] {
        assert_eq!(judge(&small, read, &[]), expected, "{read}");
    }
    let found = judge(&small, 3.9, &[]);
    assert!(
        matches!(found, Some(HandProblem::WrongWay { .. })),
        "{found:?}"
    );
}

#[test]
fn a_turn_has_no_inches() {
    let turn = HandRequest {
        way: Way::Turn,
        unit: AxisUnit::Degree,
        ..request(None, 25.4)
    };
    let found = judge(&turn, 1.0, &[]);
    assert!(matches!(found, Some(HandProblem::Off { .. })), "{found:?}");
}

proptest! {
    /// Whatever else is said of it: a reading passes exactly where it is within half a division.
    #[test]
    fn a_reading_passes_exactly_within_half_a_division(
        last in proptest::option::of(-90.0..90.0_f64),
        target in -90.0..90.0_f64,
        off in prop_oneof![-30.0..30.0_f64, -0.2..0.2_f64],
        other in -90.0..90.0_f64,
    ) {
        let request = request(last, target);
        let found = judge(&request, target + off, &sky(other));
        // The last bit of the sum decides nothing here.
        prop_assume!((off.abs() - request.scale / 2.0).abs() > 1e-9);
        prop_assert_eq!(found.is_none(), off.abs() < request.scale / 2.0, "{:?}", found);
    }

    /// What would have to be done from a wrong reading leads to the right one.
    #[test]
    fn the_way_from_a_wrong_reading_leads_to_the_right_one(
        last in -90.0..90.0_f64,
        target in -90.0..90.0_f64,
        read in -90.0..90.0_f64,
    ) {
        let request = request(Some(last), target);
        if let Some(problem) = judge(&request, read, &[])
            && let Some(stands) = problem.read()
        {
            let next = HandRequest { last: Some(stands), problem: Some(problem), ..request };
            let by = next.by().expect("it is known where it stands");
            prop_assert!((stands + by - target).abs() < 1e-9);
            prop_assert_eq!(next.toward(), Some(if by < 0.0 { "south" } else { "north" }));
        }
    }
}

/// A clock that only waiting moves on.
#[derive(Default)]
struct Patient(Cell<Duration>);

impl Clock for Patient {
    fn now(&self) -> Duration {
        self.0.get()
    }

    fn sleep(&self, time: Duration) -> io::Result<()> {
        self.0.set(self.0.get() + time);
        Ok(())
    }
}

struct NoBoards;

impl Boards for NoBoards {
    fn open(
        &mut self,
        _: usize,
        name: &str,
    ) -> Result<Box<dyn Port>, Box<dyn std::error::Error + Send + Sync>> {
        panic!("asked for board {name}");
    }

    fn port_name(&self, _: usize) -> String {
        panic!("asked for a port");
    }
}

const SETTLE: Duration = Duration::from_millis(600);

/// Two levels, both moved by hand, from frame to frame by 3 mm and by -2 mm, the second only
/// from frame 3 on.
fn by_hand() -> Schedule {
    let axis = |of: &str| HandAxis {
        of: of.into(),
        way: Way::North,
        unit: AxisUnit::Millimetre,
        scale: 0.1,
        travel: (-100.0, 100.0),
    };
    Schedule {
        name: "by hand alone".into(),
        boards: Vec::new(),
        motors: Vec::new(),
        lifts: Vec::new(),
        hands: vec![axis("clouds"), axis("sky")],
        frames: 3,
        motor_targets: Vec::new(),
        hand_targets: vec![10.0, 40.0, 13.0, 40.0, 16.0, 38.0],
        exposure: Exposure {
            release: Release::Hand,
            settle: SETTLE,
            delay: Duration::ZERO,
            window: Duration::from_millis(500),
            ready: Duration::ZERO,
            arrival: None,
        },
        lamps: Vec::new(),
        passes: Vec::new(),
        laid: Vec::new(),
        home_check: 0,
    }
}

/// What the person does the next time that an axis is to be moved.
#[derive(Clone, Copy)]
enum Does {
    Right,
    /// Turns the wrong way.
    Mirrored,
    Half,
    Twice,
    /// Cranks another level, and reads the right scale.
    MovesOther,
    /// Cranks another level, and reads that one's scale.
    MovesAndReadsOther,
}

/// Cranks, and reads honestly what the scales show.
struct Hand {
    clock: Rc<Patient>,
    scales: [f64; 2],
    does: VecDeque<Does>,
    asked: Vec<(u32, String, Option<HandProblem>, bool)>,
    /// Where the scales were whenever the release was pressed, and since when they had been so.
    exposed: Vec<[f64; 2]>,
    touched: Duration,
}

impl Hand {
    fn new(clock: &Rc<Patient>, does: &[Does]) -> Self {
        Self {
            clock: Rc::clone(clock),
            scales: [10.0, 40.0],
            does: does.iter().copied().collect(),
            asked: Vec::new(),
            exposed: Vec::new(),
            touched: Duration::ZERO,
        }
    }
}

impl Person for Hand {
    fn set(&mut self, request: &HandRequest<'_>) -> Option<f64> {
        self.asked.push((
            request.turn.frame,
            request.of.to_owned(),
            request.problem.clone(),
            request.in_place_of.is_some(),
        ));
        let own = usize::from(request.of == "sky");
        let is_asked_to_move = request.toward().is_some();
        let looks = request.in_place_of.is_some() && request.problem.is_none();
        if looks {
            return Some(self.scales[own]);
        }
        let by = request.reading - self.scales[own];
        let does = match is_asked_to_move {
            true => self.does.pop_front().unwrap_or(Does::Right),
            false => Does::Right,
        };
        self.touched = self.clock.now();
        match does {
            Does::Right => self.scales[own] += by,
            Does::Mirrored => self.scales[own] -= by,
            Does::Half => self.scales[own] += by / 2.0,
            Does::Twice => self.scales[own] += 2.0 * by,
            Does::MovesOther => self.scales[1 - own] += by,
            Does::MovesAndReadsOther => {
                self.scales[1 - own] += by;
                return Some(self.scales[1 - own]);
            }
        }
        Some(self.scales[own])
    }

    fn exposed(&mut self, question: &Question) -> Option<bool> {
        panic!("asked about frame {}", question.turn.frame);
    }

    fn fire(&mut self, _: Turn) -> Option<bool> {
        assert!(self.clock.now() >= self.touched + SETTLE, "it still swings");
        self.exposed.push(self.scales);
        Some(true)
    }

    fn arrange(&mut self, _: &Arrangement<'_>) -> Option<()> {
        None
    }

    fn others(&mut self, _: &[Span], _: u32) -> Option<Vec<u32>> {
        None
    }

    fn again(&mut self, suspects: &Suspects) -> Option<bool> {
        panic!("asked about {suspects:?}");
    }
}

struct Desk {
    schedule: Schedule,
    clock: Rc<Patient>,
    disk: SimulatedDisk,
}

impl Desk {
    fn new() -> Self {
        Self {
            schedule: by_hand(),
            clock: Rc::new(Patient::default()),
            disk: SimulatedDisk::default(),
        }
    }

    fn stage<'a>(
        &self,
        person: &'a mut Hand,
        boards: &'a mut NoBoards,
        stop: &'a AtomicBool,
        trigger: &'a mut (),
        watch: &'a mut (),
    ) -> Stage<'a> {
        Stage {
            boards,
            clock: self.clock.clone(),
            person,
            watch,
            trigger,
            album: None,
            interrupt: stop,
        }
    }

    fn shoot(&self, person: &mut Hand) -> Outcome {
        let boxed: Box<dyn Disk> = Box::new(self.disk.clone());
        let mut journal =
            Journal::begin(boxed, stamp(), &begun(&self.schedule, SHOT)).expect("a disk in memory");
        let stop = AtomicBool::new(false);
        let outcome = shoot(
            &self.schedule,
            &mut journal,
            &mut self.stage(person, &mut NoBoards, &stop, &mut (), &mut ()),
            &[],
        );
        let state = journal.state();
        for frame in 1..=3 {
            let check = state.frame(frame).map(|frame| frame.check);
            assert_eq!(check, Some(Check::ByScale));
        }
        outcome.expect("nothing is wrong")
    }
}

const POSES: [[f64; 2]; 3] = [[10.0, 40.0], [13.0, 40.0], [16.0, 38.0]];

#[test]
fn a_stand_without_motors_and_boards_shoots_a_take() {
    let desk = Desk::new();
    let mut person = Hand::new(&desk.clock, &[]);
    assert_eq!(desk.shoot(&mut person), Outcome::Finished);
    assert_eq!(person.exposed, POSES);
    // Both scales once, and then only what is to move.
    let asked: Vec<(u32, &str)> = person
        .asked
        .iter()
        .map(|(frame, of, ..)| (*frame, of.as_str()))
        .collect();
    let (clouds, sky) = ("clouds", "sky");
    assert_eq!(
        asked,
        [(1, clouds), (1, sky), (2, clouds), (3, clouds), (3, sky)]
    );
}

#[test]
fn it_rehearses_too() {
    let desk = Desk::new();
    let mut person = Hand::new(&desk.clock, &[]);
    let stop = AtomicBool::new(false);
    let outcome = rehearse(
        &desk.schedule,
        &mut desk.stage(&mut person, &mut NoBoards, &stop, &mut (), &mut ()),
    );
    assert_eq!(outcome.expect("nothing is wrong"), Outcome::Finished);
    assert_eq!(person.scales, POSES[2]);
    assert!(person.exposed.is_empty());
}

/// Whatever is done at the crank: no frame is exposed before every level stands where it should.
#[test]
fn no_mistake_at_a_crank_gets_into_a_picture() {
    for (does, expected) in [
        (Does::Mirrored, "WrongWay"),
        (Does::Half, "Short"),
        (Does::Twice, "Double"),
        (Does::MovesOther, "Unmoved"),
        (Does::MovesAndReadsOther, "Another"),
    ] {
        let desk = Desk::new();
        let mut person = Hand::new(&desk.clock, &[does]);
        assert_eq!(desk.shoot(&mut person), Outcome::Finished, "{expected}");
        assert_eq!(person.exposed, POSES, "{expected}");
        let problems: Vec<String> = person
            .asked
            .iter()
            .filter_map(|(_, _, problem, _)| Some(format!("{:?}", problem.as_ref()?)))
            .collect();
        let named = |problem: &String| problem.starts_with(expected);
        assert!(problems.iter().any(named), "{expected}: {problems:?}");
        // Where another level may have been moved, its scale was looked at, and it was set back.
        let elsewhere = person
            .asked
            .iter()
            .any(|(_, of, _, doubt)| of == "sky" && *doubt);
        let moved = matches!(does, Does::MovesOther | Does::MovesAndReadsOther);
        assert_eq!(elsewhere, moved, "{expected}: {:?}", person.asked);
    }
}

/// Whoever cranks the wrong level twice in a row is asked about it twice.
#[test]
fn the_wrong_level_again_is_found_again() {
    let desk = Desk::new();
    let does = [Does::MovesOther, Does::Right, Does::MovesOther];
    let mut person = Hand::new(&desk.clock, &does);
    assert_eq!(desk.shoot(&mut person), Outcome::Finished);
    assert_eq!(person.exposed, POSES);
    let looks = person
        .asked
        .iter()
        .filter(|(_, _, problem, doubt)| *doubt && problem.is_none());
    assert_eq!(looks.count(), 2, "{:?}", person.asked);
}

/// The record keeps every reading that counted.
#[test]
fn readings_are_in_the_journal() {
    let desk = Desk::new();
    let mut person = Hand::new(&desk.clock, &[Does::Twice]);
    desk.shoot(&mut person);
    let history = panestep::take::journal::replay(&desk.disk.bytes())
        .expect("sound")
        .history;
    let mut readings = Vec::new();
    for entry in history {
        if let Entry::Reading {
            frame,
            axis,
            reading,
            ..
        } = entry
        {
            readings.push((frame, axis, reading));
        }
    }
    let clouds = |frame, reading| (frame, "clouds north".to_owned(), reading);
    let sky = |frame, reading| (frame, "sky north".to_owned(), reading);
    assert_eq!(
        readings,
        [
            clouds(1, 10.0),
            sky(1, 40.0),
            clouds(2, 13.0),
            clouds(3, 16.0),
            sky(3, 38.0)
        ]
    );
}
