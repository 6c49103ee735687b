//! The hardware over embedded-hal pins: which level means what, in which order, and which way a pin
//! that fails is taken.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::cell::RefCell;
use std::rc::Rc;

use embedded_hal::delay::DelayNs;
use embedded_hal::digital::{ErrorKind, ErrorType, InputPin, OutputPin};
use panestep_firmware::hal::{AxisPins, PinBoard, Pins};
use panestep_firmware::hardware::{CameraPort, LampPort, MarkPort, StepPort, SwitchPort};
use panestep_firmware::{Controller, Setup};
use panestep_protocol::{AxisMask, BootId, Mark, ShotId, Ticks, Token};

/// What happened, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Event {
    Pin(&'static str, bool),
    Wait(u32),
}

type Log = Rc<RefCell<Vec<Event>>>;

/// An output; `broken`: the level that it cannot be set to.
struct Out {
    name: &'static str,
    log: Log,
    broken: Rc<RefCell<Option<bool>>>,
}

impl ErrorType for Out {
    type Error = ErrorKind;
}

impl Out {
    fn set(&mut self, high: bool) -> Result<(), ErrorKind> {
        if *self.broken.borrow() == Some(high) {
            return Err(ErrorKind::Other);
        }
        self.log.borrow_mut().push(Event::Pin(self.name, high));
        Ok(())
    }
}

impl OutputPin for Out {
    fn set_low(&mut self) -> Result<(), ErrorKind> {
        self.set(false)
    }

    fn set_high(&mut self) -> Result<(), ErrorKind> {
        self.set(true)
    }
}

/// An input: high, low, or not to be read.
#[derive(Clone)]
struct In(Rc<RefCell<Option<bool>>>);

impl In {
    fn new(high: bool) -> Self {
        Self(Rc::new(RefCell::new(Some(high))))
    }

    fn put(&self, level: Option<bool>) {
        *self.0.borrow_mut() = level;
    }
}

impl ErrorType for In {
    type Error = ErrorKind;
}

impl InputPin for In {
    fn is_high(&mut self) -> Result<bool, ErrorKind> {
        self.0.borrow().ok_or(ErrorKind::Other)
    }

    fn is_low(&mut self) -> Result<bool, ErrorKind> {
        self.is_high().map(|high| !high)
    }
}

struct Wait(Log);

impl DelayNs for Wait {
    fn delay_ns(&mut self, ns: u32) {
        self.0.borrow_mut().push(Event::Wait(ns));
    }
}

struct Kept(Option<Mark>);

impl MarkPort for Kept {
    fn mark(&mut self) -> Option<Mark> {
        self.0
    }

    fn set_mark(&mut self, mark: Mark) {
        self.0 = Some(mark);
    }
}

const STEP: [&str; 2] = ["step 0", "step 1"];
const DIRECTION: [&str; 2] = ["direction 0", "direction 1"];
const LAMP: [&str; 2] = ["lamp 0", "lamp 1"];
const PULSE: u32 = 1_900;

type Board = PinBoard<Out, In, Wait, Kept, 2, 2>;

/// A board of two axes, only the first with a far switch; all circuits closed.
struct Bench {
    log: Log,
    cells: Vec<(&'static str, Rc<RefCell<Option<bool>>>)>,
    home: [In; 2],
    far: In,
    stop: In,
    contact: In,
}

impl Bench {
    fn new(enable_low: bool) -> (Self, Board) {
        let mut bench = Self {
            log: Log::default(),
            cells: Vec::new(),
            home: [In::new(false), In::new(false)],
            far: In::new(false),
            stop: In::new(false),
            contact: In::new(true),
        };
        let axes = [0, 1].map(|axis| AxisPins {
            step: bench.out(STEP[axis]),
            direction: bench.out(DIRECTION[axis]),
            home: bench.home[axis].clone(),
            far: (axis == 0).then(|| bench.far.clone()),
        });
        let pins = Pins {
            axes,
            enable: bench.out("enable"),
            enable_low,
            stop: bench.stop.clone(),
            half_press: bench.out("half-press"),
            release: bench.out("release"),
            contact: bench.contact.clone(),
            lamps: LAMP.map(|name| bench.out(name)),
        };
        let wait = Wait(bench.log.clone());
        let board = PinBoard::new(pins, wait, PULSE, Kept(None));
        (bench, board)
    }

    fn out(&mut self, name: &'static str) -> Out {
        let broken = Rc::default();
        self.cells.push((name, Rc::clone(&broken)));
        let log = self.log.clone();
        Out { name, log, broken }
    }

    /// From now on this output cannot be set to this level.
    fn break_pin(&self, name: &str, high: bool) {
        let mut cells = self.cells.iter();
        let (_, cell) = cells.find(|(known, _)| *known == name).unwrap();
        *cell.borrow_mut() = Some(high);
    }

    fn events(&self) -> Vec<Event> {
        self.log.borrow_mut().drain(..).collect()
    }
}

#[test]
fn a_pulse_is_high_for_its_width_on_all_axes_together() {
    let (bench, mut board) = Bench::new(true);
    board.step(AxisMask(0b11));
    let high = STEP.map(|name| Event::Pin(name, true));
    let low = STEP.map(|name| Event::Pin(name, false));
    let expected = [high[0], high[1], Event::Wait(PULSE), low[0], low[1]];
    assert_eq!(bench.events(), expected);
    // One axis alone; one that is not there.
    board.step(AxisMask(0b10));
    assert_eq!(bench.events(), [high[1], Event::Wait(PULSE), low[1]]);
    board.step(AxisMask(0b1000));
    assert_eq!(bench.events(), [Event::Wait(PULSE)]);
    assert!(!board.has_failed());
}

#[test]
fn directions_lamps_and_camera_lines_are_active_high() {
    let (bench, mut board) = Bench::new(true);
    board.directions(AxisMask(0b01));
    board.lamps(0b10);
    board.half_press(true);
    board.release(true);
    board.release(false);
    board.half_press(false);
    let expected = [
        Event::Pin(DIRECTION[0], true),
        Event::Pin(DIRECTION[1], false),
        Event::Pin(LAMP[0], false),
        Event::Pin(LAMP[1], true),
        Event::Pin("half-press", true),
        Event::Pin("release", true),
        Event::Pin("release", false),
        Event::Pin("half-press", false),
    ];
    assert_eq!(bench.events(), expected);
}

#[test]
fn the_enable_is_of_the_drivers_polarity() {
    for (enable_low, on, high) in [
        (true, true, false),
        (true, false, true),
        (false, true, true),
        (false, false, false),
    ] {
        let (bench, mut board) = Bench::new(enable_low);
        board.drivers(on);
        assert_eq!(bench.events(), [Event::Pin("enable", high)]);
    }
}

#[test]
fn an_open_circuit_is_a_trip_and_so_is_an_input_that_cannot_be_read() {
    let (bench, mut board) = Bench::new(true);
    let read = |board: &mut Board| (board.home().0, board.far().0, board.stop());
    assert_eq!(read(&mut board), (0, 0, false));
    for level in [Some(true), None] {
        for (axis, home) in bench.home.iter().enumerate() {
            home.put(level);
            assert_eq!(read(&mut board), (1 << axis, 0, false));
            home.put(Some(false));
        }
        bench.far.put(level);
        assert_eq!(read(&mut board), (0, 1, false));
        bench.far.put(Some(false));
        bench.stop.put(level);
        assert_eq!(read(&mut board), (0, 0, true));
        bench.stop.put(Some(false));
    }
    assert!(!board.has_failed());
}

/// The flash contact is evidence that the shutter opened: only a closed circuit, low, is any.
#[test]
fn only_a_closed_contact_is_evidence() {
    let (bench, mut board) = Bench::new(true);
    for (level, closed) in [(Some(true), false), (Some(false), true), (None, false)] {
        bench.contact.put(level);
        assert_eq!(board.contact(), closed, "{level:?}");
    }
}

/// An output of the motors that fails, or a camera line that cannot be opened again: nothing may
/// move any more, and the stop says so for good.
#[test]
fn a_failed_output_reads_as_a_stop() {
    type Use = fn(&mut Board);
    let cases: [(&str, bool, Use); 7] = [
        ("step 1", true, |board| board.step(AxisMask(0b11))),
        ("step 0", false, |board| board.step(AxisMask(0b11))),
        ("direction 1", true, |board| {
            board.directions(AxisMask(0b10))
        }),
        ("direction 1", false, |board| board.directions(AxisMask(0))),
        ("enable", false, |board| board.drivers(true)),
        ("release", false, |board| board.release(false)),
        ("half-press", false, |board| board.half_press(false)),
    ];
    for (name, level, act) in cases {
        let (bench, mut board) = Bench::new(true);
        assert!(!board.stop());
        bench.break_pin(name, level);
        act(&mut board);
        assert!(board.has_failed() && board.stop(), "{name} {level}");
        // Also once it works again.
        bench.break_pin(name, !level);
        act(&mut board);
        assert!(board.stop(), "{name} {level}");
    }
    let harmless: [(&str, Use); 3] = [
        ("release", |board| board.release(true)),
        ("half-press", |board| board.half_press(true)),
        ("lamp 0", |board| board.lamps(1)),
    ];
    for (name, act) in harmless {
        let (bench, mut board) = Bench::new(true);
        bench.break_pin(name, true);
        act(&mut board);
        assert!(!board.has_failed() && !board.stop(), "{name}");
    }
}

/// At its start a board opens the camera's lines, puts the lamps out and lets the drivers go, and
/// moves nothing.
#[test]
fn everything_is_off_at_the_start() {
    let (bench, board) = Bench::new(true);
    let setup = Setup {
        name: "pins",
        axes: 2,
        tick_rate: 1_000,
        boot: BootId(1),
        direction_setup: Ticks(1),
    };
    let mut controller = Controller::new(board, &setup);
    let mut levels = std::collections::BTreeMap::new();
    for event in bench.events() {
        if let Event::Pin(name, high) = event {
            levels.insert(name, high);
        }
    }
    let off = [
        (DIRECTION[0], false),
        (DIRECTION[1], false),
        ("enable", true),
        ("half-press", false),
        (LAMP[0], false),
        (LAMP[1], false),
        ("release", false),
    ];
    assert_eq!(levels, off.into_iter().collect());
    for _ in 0..1_000 {
        controller.tick();
    }
    assert_eq!(bench.events(), []);
}

#[test]
fn the_mark_is_handed_through_and_the_parts_come_back() {
    let (_, mut board) = Bench::new(true);
    assert_eq!(board.mark(), None);
    let mark = Mark {
        shot: ShotId(3),
        token: Token {
            slot: 5,
            attempt: 2,
        },
    };
    board.set_mark(mark);
    assert_eq!(board.mark(), Some(mark));
    let (pins, _, marks) = board.into_parts();
    assert_eq!(marks.0, Some(mark));
    assert_eq!(pins.axes.len(), 2);
}
