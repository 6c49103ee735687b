//! What can go wrong in the middle of a take: each ends it with a cause by name, and each take goes
//! on to its end with one exposure a frame.

use std::cell::Cell;
use std::error::Error;
use std::io;
use std::rc::Rc;
use std::time::Duration;

use panestep::link::{Clock, LinkError, Port};
use panestep::schedule::Turn;
use panestep::sim::{Fault, SimClock, SimulatedStand, SwitchFault, When};
use panestep::stand::{AxisId, BoardId};
use panestep::take::{
    Arrangement, Boards, Disk, Ending, Entry, FileDisk, HandRequest, Journal, JournalError,
    Outcome, Person, Progress, Question, Span, Stage, Suspects, TakeError, shoot,
};

use crate::rig::{
    Bench, FRAMES, MAIN, Operator, Ports, SHOT, begun, reset, schedule, sim_now, stamp,
};

const REEDS_EAST: AxisId = AxisId(0);

/// A moment within the move to frame 2.
const SOON: Duration = Duration::from_millis(150);

/// Lets a fault strike within the move to frame 2, and returns how the run ended.
fn struck(bench: &mut Bench, fault: &Fault) -> TakeError {
    bench
        .shoot_watched(|progress, sim| {
            if let Progress::Moving {
                turn: Turn { frame: 2, .. },
            } = progress
            {
                let soon = sim_now(sim) + SOON;
                assert!(sim.inject(When::At(soon), fault.clone()));
            }
        })
        .expect_err("struck in the middle of a move")
}

fn homings(bench: &Bench, name: &str) -> usize {
    bench
        .entries()
        .iter()
        .filter(|entry| matches!(entry, Entry::Homed { axis, .. } if axis == name))
        .count()
}

fn finish(bench: &mut Bench, context: &str) {
    assert_eq!(
        bench.shoot().expect(context),
        Outcome::Finished,
        "{context}"
    );
    bench.assert_exact(context);
    assert!(bench.person.asked.is_empty(), "{context}");
}

#[test]
fn a_limit_switch_that_trips_stops_everything_and_is_named() {
    let mut bench = Bench::new();
    // Toward the switch: away from a switch that is tripped, a board lets it go.
    bench.schedule.motor_targets[3] = -2000;
    let broken = |fault| Fault::HomeSwitch {
        axis: REEDS_EAST,
        fault,
    };
    let error = struck(&mut bench, &broken(Some(SwitchFault::BrokenWire)));
    assert_eq!(error.ending(), Ending::Stopped, "{error:?}");
    assert!(error.resumable());
    assert!(error.to_string().contains("reeds east"), "{error}");
    assert_eq!(bench.sim.releases(), 1);
    // Not mended: it is found again, before anything is exposed.
    let error = bench.shoot().expect_err("the wire is still broken");
    assert!(error.to_string().contains("reeds east"), "{error}");
    assert!(error.resumable());
    assert_eq!(bench.sim.releases(), 1);
    bench.sim.inject(When::Now, broken(None));
    finish(&mut bench, "a limit tripped");
    assert!(homings(&bench, "reeds east") >= 2);
}

#[test]
fn a_switch_that_is_tripped_at_rest_forbids_the_exposure() {
    let mut bench = Bench::new();
    let broken = |fault| Fault::FarSwitch {
        axis: REEDS_EAST,
        fault,
    };
    let error = bench
        .shoot_watched(|progress, sim| {
            if let Progress::Arrived {
                turn: Turn { frame: 2, .. },
            } = progress
            {
                sim.inject(When::Now, broken(Some(SwitchFault::BrokenWire)));
            }
        })
        .expect_err("a switch is tripped");
    assert_eq!(error.ending(), Ending::Stopped, "{error:?}");
    assert!(error.to_string().contains("reeds east"), "{error}");
    assert_eq!(bench.sim.releases(), 1);
    bench.sim.inject(When::Now, broken(None));
    finish(&mut bench, "a switch tripped at rest");
}

#[test]
fn steps_lost_on_the_way_show_where_a_switch_trips_too_early() {
    let mut bench = Bench::new();
    // Far up and then far down again: with 2500 steps lost on the way up, the carriage comes to
    // its home switch (at -5600) on the way down.
    bench.schedule.motor_targets[0] = 3600;
    bench.schedule.motor_targets[3] = -3800;
    let error = bench
        .shoot_watched(|progress, sim| {
            if let Progress::Moving {
                turn: Turn { frame: 1, .. },
            } = progress
            {
                let fault = Fault::LoseSteps {
                    axis: REEDS_EAST,
                    steps: 2500,
                };
                sim.inject(When::Now, fault);
            }
        })
        .expect_err("the carriage is not where it is counted");
    assert_eq!(error.ending(), Ending::Stopped, "{error:?}");
    assert!(error.to_string().contains("reeds east"), "{error}");
    // The homing finds by how much the count was wrong: frame 1 was exposed out of its place.
    bench.person.again = vec![Some(true)];
    assert_eq!(bench.shoot().expect("homed afresh"), Outcome::Finished);
    let doubt = &bench.person.doubts[0];
    assert_eq!(doubt.frames, Span::of([1]));
    assert_eq!(doubt.drifts.len(), 1);
    assert!(doubt.drifts[0].steps.abs_diff(2500) <= 1, "{doubt:?}");
    assert_eq!(bench.sim.releases(), FRAMES + 1);
    assert!(homings(&bench, "reeds east") >= 2);
    bench.assert_last_exposures("frame 1 was shot again");
}

/// A clock whose host is suspended once, in a wait after some moment.
struct Suspended {
    clock: SimClock,
    sim: SimulatedStand,
    after: Rc<Cell<Option<Duration>>>,
}

impl Clock for Suspended {
    fn now(&self) -> Duration {
        self.clock.now()
    }

    fn sleep(&self, time: Duration) -> io::Result<()> {
        if self.after.get().is_some_and(|after| self.now() >= after) {
            self.after.set(None);
            self.sim.pass(Duration::from_secs(5))?;
        }
        self.clock.sleep(time)
    }
}

#[test]
fn a_host_that_falls_silent_in_a_move_is_stopped_by_the_board() {
    let mut bench = Bench::new();
    // Long enough to outlast the silence.
    bench.schedule.motor_targets[3] = 3600;
    let after = Rc::new(Cell::new(None));
    let mut journal = bench.journal().expect("a disk in memory");
    let sim = bench.sim.clone();
    let mut watch = |progress: &Progress<'_>| {
        if let Progress::Moving {
            turn: Turn { frame: 2, .. },
        } = progress
        {
            after.set(Some(sim_now(&sim) + Duration::from_millis(50)));
        }
    };
    let error = shoot(
        &bench.schedule,
        &mut journal,
        &mut Stage {
            boards: &mut Ports(bench.sim.clone()),
            clock: Rc::new(Suspended {
                clock: bench.sim.clock(),
                sim: bench.sim.clone(),
                after: Rc::clone(&after),
            }),
            person: &mut bench.person,
            watch: &mut watch,
            trigger: &mut (),
            album: None,
            interrupt: &bench.interrupt,
        },
        &[],
    )
    .expect_err("the board stopped");
    drop(journal);
    assert_eq!(error.ending(), Ending::Stopped, "{error:?}");
    assert!(error.to_string().contains("heard nothing"), "{error}");
    finish(&mut bench, "the host was suspended");
    // A controlled stop keeps the position.
    assert_eq!(homings(&bench, "reeds east"), 1);
}

#[test]
fn a_killed_host_leaves_a_take_that_another_goes_on_with() {
    let mut bench = Bench::new();
    let error = struck(&mut bench, &Fault::KillHost);
    assert_eq!(error.ending(), Ending::CouldNot, "{error:?}");
    bench.sim.pass(Duration::from_secs(2)).expect("no hook");
    bench.sim.revive();
    finish(&mut bench, "the host was killed in a move");
}

#[test]
fn a_cable_pulled_in_a_move_ends_the_run_until_it_is_plugged_in() {
    for board in [MAIN, BoardId(1)] {
        let mut bench = Bench::new();
        // Both boards have far to go: close to a second.
        bench.schedule.motor_targets[3] = 3900;
        bench.schedule.motor_targets[5] = 3900;
        let name = &bench.schedule.boards[board.0].clone();
        let error = struck(&mut bench, &Fault::CableOut { board });
        assert!(
            matches!(error, TakeError::Link(LinkError::Lost { .. })),
            "{error:?}"
        );
        assert_eq!(error.ending(), Ending::CouldNot);
        assert!(error.resumable() && error.to_string().contains(name));
        // The other board was told to stop, and did, in the half second that a gentle stop takes:
        // left to itself it would go on for longer, to its target or until the silence stops it.
        let count = |axis| bench.sim.count(AxisId(axis)).expect("a motor");
        let other = if board == MAIN { 2 } else { 0 };
        bench.sim.pass(Duration::from_millis(600)).expect("no hook");
        let still = count(other);
        bench.sim.pass(Duration::from_secs(1)).expect("no hook");
        assert_eq!(count(other), still, "board {} went on", 1 - board.0);
        let error = bench.shoot().expect_err("the cable is out");
        assert!(matches!(error, TakeError::Port { .. }), "{error:?}");
        assert!(error.to_string().contains(name), "{error}");
        assert!(error.to_string().contains("plug it in"), "{error}");
        bench.sim.inject(When::Now, Fault::CableIn { board });
        finish(&mut bench, "the cable was out");
        assert_eq!(homings(&bench, "reeds east"), 1, "positions are kept");
    }
}

#[test]
fn a_board_that_was_reset_between_frames_is_homed_and_only_that_one() {
    let mut bench = Bench::new();
    let error = bench
        .shoot_watched(|progress, sim| {
            if let Progress::Frame {
                turn: Turn { frame: 1, .. },
                ..
            } = progress
            {
                let fault = reset();
                sim.inject(When::Now, fault);
            }
        })
        .expect_err("the board was reset");
    assert!(
        matches!(error, TakeError::Link(LinkError::Reset { .. })),
        "{error:?}"
    );
    assert_eq!(error.ending(), Ending::CouldNot);
    assert!(error.resumable() && error.to_string().contains("main"));
    finish(&mut bench, "the board was reset");
    assert_eq!(homings(&bench, "reeds east"), 2);
    assert_eq!(homings(&bench, "reeds lift"), 2);
    assert_eq!(homings(&bench, "sky east"), 1);
}

/// A file whose place is taken, at some operation, by a pipe: the system takes the bytes, and then
/// truly refuses to sync them.
struct Failing {
    file: FileDisk,
    pipe: FileDisk,
    left: Rc<Cell<u32>>,
}

impl Failing {
    fn disk(&mut self) -> &mut FileDisk {
        match self.left.get() {
            0 => &mut self.pipe,
            left => {
                self.left.set(left - 1);
                &mut self.file
            }
        }
    }
}

impl Disk for Failing {
    fn read(&mut self) -> io::Result<Vec<u8>> {
        self.file.read()
    }

    fn reserve(&mut self, bytes: u64) -> io::Result<()> {
        self.disk().reserve(bytes)
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.disk().append(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.disk().sync()
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.file.cut(length)
    }
}

#[cfg(unix)]
#[test]
fn a_sync_that_fails_on_a_real_file_poisons_the_journal_and_stops_the_take() {
    use rustix::fs::{CWD, FileType, Mode, mknodat};

    let folder = tempfile::tempdir().expect("a folder");
    let (path, pipe) = (folder.path().join("journal"), folder.path().join("pipe"));
    mknodat(CWD, &pipe, FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).expect("a pipe");
    let mut bench = Bench::new();
    let left = Rc::new(Cell::new(u32::MAX));
    let disk = Failing {
        file: FileDisk::open(&path, true).expect("a new file"),
        pipe: FileDisk::open(&pipe, false).expect("a pipe opened both ways does not block"),
        left: Rc::clone(&left),
    };
    let mut journal = Journal::begin(Box::new(disk), stamp(), &begun(&bench.schedule, SHOT))
        .expect("a sound disk");
    // The intent's line is taken, and its sync fails.
    let mut watch = |progress: &Progress<'_>| {
        if let Progress::Exposing {
            turn: Turn { frame: 2, .. },
        } = progress
        {
            left.set(1);
        }
    };
    let mut run = |journal: &mut Journal, person: &mut Operator| {
        shoot(
            &bench.schedule,
            journal,
            &mut Stage {
                boards: &mut Ports(bench.sim.clone()),
                clock: Rc::new(bench.sim.clock()),
                person,
                watch: &mut watch,
                trigger: &mut (),
                album: None,
                interrupt: &bench.interrupt,
            },
            &[],
        )
    };
    let error = run(&mut journal, &mut bench.person).expect_err("a failed sync");
    assert!(
        matches!(error, TakeError::Journal(JournalError::Disk(_))),
        "{error:?}"
    );
    assert_eq!(error.ending(), Ending::CouldNot);
    assert!(error.resumable());
    assert_eq!(bench.sim.releases(), 1, "no order without its intent");
    // Trying again does not help, however well the disk would work now.
    left.set(u32::MAX);
    let entry = Entry::Halted { cause: "".into() };
    assert!(matches!(
        journal.record(&entry),
        Err(JournalError::Poisoned)
    ));
    drop(journal);
    // A new run reads what is there. The intent is, and its token was never fired.
    let disk = FileDisk::open(&path, false).expect("unlocked");
    let mut journal = Journal::resume(Box::new(disk), stamp()).expect("sound");
    assert!(journal.state().open.is_some());
    let outcome = run(&mut journal, &mut bench.person).expect("a sound disk");
    assert_eq!(outcome, Outcome::Finished);
    assert_eq!(bench.sim.releases(), FRAMES);
    assert!(bench.person.asked.is_empty());
    assert!(bench.sim.violations().is_empty());
}

/// Notes what a hand request says of the last reading; stops at a frame.
struct Cranker {
    stop_at: u32,
    seen: Vec<(u32, Option<f64>, Option<&'static str>)>,
}

impl Person for Cranker {
    fn set(&mut self, request: &HandRequest<'_>) -> Option<f64> {
        self.seen
            .push((request.turn.frame, request.last, request.toward()));
        (request.turn.frame < self.stop_at).then_some(request.reading + 0.04)
    }

    fn exposed(&mut self, _: &Question) -> Option<bool> {
        None
    }

    fn fire(&mut self, _: Turn) -> Option<bool> {
        None
    }

    fn arrange(&mut self, _: &Arrangement<'_>) -> Option<()> {
        None
    }

    fn others(&mut self, _: &[Span], _: u32) -> Option<Vec<u32>> {
        None
    }

    fn again(&mut self, _: &Suspects) -> Option<bool> {
        None
    }
}

#[test]
fn the_last_reading_of_a_hand_axis_is_known_when_a_take_goes_on() {
    let bench = Bench::with(schedule(true));
    let mut seen = Vec::new();
    for stop_at in [3, u32::MAX] {
        let mut person = Cranker {
            stop_at,
            seen: Vec::new(),
        };
        let mut journal = bench.journal().expect("a disk in memory");
        let outcome = shoot(
            &bench.schedule,
            &mut journal,
            &mut Stage {
                boards: &mut Ports(bench.sim.clone()),
                clock: Rc::new(bench.sim.clock()),
                person: &mut person,
                watch: &mut (),
                trigger: &mut (),
                album: None,
                interrupt: &bench.interrupt,
            },
            &[],
        )
        .expect("nothing is wrong");
        assert_eq!(
            outcome == Outcome::Finished,
            stop_at == u32::MAX,
            "{outcome:?}"
        );
        seen.push(person.seen);
    }
    // Set to 1.04 for frame 1, held for frame 2, and then down to -2.
    let down = (3, Some(1.04), Some("south"));
    assert_eq!(seen, [vec![(1, None, None), down], vec![down]]);
    let readings: Vec<Entry> = bench
        .entries()
        .into_iter()
        .filter(|entry| matches!(entry, Entry::Reading { .. }))
        .collect();
    let reading = |frame, reading| Entry::Reading {
        frame,
        axis: "sky north".into(),
        reading,
        scale: format!("{reading:.3} mm"),
    };
    assert_eq!(readings, [reading(1, 1.04), reading(3, -1.96)]);
}

#[test]
fn nothing_moves_before_the_shutter_is_shut_nor_fires_before_the_camera_is_ready() {
    // A camera that takes much longer to get ready than the levels to move.
    let mut stand = crate::rig::stand();
    stand.shutter.ready = Duration::from_secs(5);
    let mut bench = Bench::new();
    bench.sim = SimulatedStand::new(&stand, &panestep::sim::Options::default());
    bench.schedule.exposure.ready = stand.shutter.ready;
    bench
        .shoot_watched(|progress, sim| {
            if let Progress::Moving { .. } = progress {
                // The simulated shutter opens up to 100 ms late and stays open for 500 ms: what
                // has been released has been closed again.
                assert_eq!(sim.releases() as usize, sim.exposures().len());
                assert!(!sim.shutter_open());
            }
        })
        .expect("nothing is wrong");
    bench.assert_exact("a slow camera");
    assert_eq!(bench.sim.ignored(), 0, "fired at a camera that was busy");
    let exposures = bench.sim.exposures();
    for pair in exposures.windows(2) {
        let rest = pair[1].opened - pair[0].closed;
        assert!(rest >= stand.shutter.ready, "only {rest:?} in between");
        // It moves while the camera gets ready: waiting comes to no more than that and the
        // lines' own times.
        let most = stand.shutter.ready + Duration::from_millis(400);
        assert!(rest < most, "{rest:?} in between");
    }
}

/// Ports that lead to nobody.
struct Deaf(SimClock);

impl Port for Deaf {
    fn send(&mut self, _: &[u8]) -> io::Result<()> {
        Ok(())
    }

    fn receive(&mut self, _: &mut [u8], time: Duration) -> io::Result<usize> {
        self.0.sleep(time).map(|()| 0)
    }
}

struct DeafPorts(SimClock);

impl Boards for DeafPorts {
    fn open(&mut self, _: usize, _: &str) -> Result<Box<dyn Port>, Box<dyn Error + Send + Sync>> {
        Ok(Box::new(Deaf(self.0.clone())))
    }

    fn port_name(&self, board: usize) -> String {
        format!("/dev/ttyACM{board}")
    }
}

#[test]
fn a_board_that_does_not_answer_is_named_with_its_port_and_what_to_check() {
    let mut bench = Bench::new();
    let mut journal = bench.journal().expect("a disk in memory");
    let error = shoot(
        &bench.schedule,
        &mut journal,
        &mut Stage {
            boards: &mut DeafPorts(bench.sim.clock()),
            clock: Rc::new(bench.sim.clock()),
            person: &mut bench.person,
            watch: &mut (),
            trigger: &mut (),
            album: None,
            interrupt: &bench.interrupt,
        },
        &[],
    )
    .expect_err("nobody is there");
    assert_eq!(error.ending(), Ending::CouldNot);
    let text = error.to_string();
    for part in ["/dev/ttyACM0", "\"main\"", "power", "cable", "stand file"] {
        assert!(text.contains(part), "{text}");
    }
}

#[test]
fn a_fault_of_what_the_stand_does_not_have_does_nothing() {
    let bench = Bench::new();
    let (axis, board) = (AxisId(99), BoardId(99));
    let hand = AxisId(3);
    let faults = [
        Fault::LoseSteps { axis, steps: 1 },
        Fault::LoseSteps {
            axis: hand,
            steps: 1,
        },
        Fault::LoseOften { axis, chance: 0.5 },
        Fault::SwapWires { axis },
        Fault::HomeSwitch { axis, fault: None },
        Fault::FarSwitch { axis, fault: None },
        Fault::Crank(panestep::sim::CrankSlip::Other(axis)),
        Fault::CableOut { board },
        Fault::CableIn { board },
        Fault::Reset {
            board,
            keep_mark: false,
            drop_port: true,
        },
        Fault::Noise {
            board,
            to_board: true,
            damage: panestep::sim::Damage::Lost,
        },
    ];
    for fault in faults {
        assert!(!bench.sim.inject(When::Now, fault.clone()), "{fault:?}");
        assert!(
            !bench.sim.inject(When::Event(1), fault.clone()),
            "{fault:?}"
        );
    }
    assert!(bench.sim.crank(hand, 1.0));
    assert!(!bench.sim.crank(axis, 1.0));
    bench.sim.pass(Duration::from_secs(1)).expect("no hook");
}
