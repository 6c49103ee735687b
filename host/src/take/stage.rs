//! A run's grip on the boards: sessions, homing, moves, checks, one exposure.

use std::sync::atomic::Ordering;
use std::time::Duration;

use panestep_protocol::{
    Activity, Answer, AxisIndex, AxisSettings, AxisTarget, Command, ExposureFact, FireOrder,
    GuardSettings, Halt, HomeOrder, HomingFault, Refusal, Status, Steps, Token, Toward,
};

use super::error::TakeError;
use super::exposure::{Action, Event, Known, Rules, State, step};
use super::journal::{Entry, Hex, Journal};
use super::people::{Person, Progress, Question};
use super::run::{LOOK, Stage};
use crate::link::session::SILENCE;
use crate::link::{Link, LinkError, words};
use crate::schedule::{MotorAxis, Schedule};

/// Sessions tried in a row before a board counts as gone.
const RECONNECTS: u32 = 5;

/// How often one exposure may be refused and tried anew within a run.
const TRIES: u32 = 4;

/// Between two looks at an exposure under way.
const BREATH: Duration = Duration::from_millis(2);

/// Longest that an axis may take to come to rest beyond what was announced.
const PATIENCE: Duration = Duration::from_secs(30);

/// Why a run does not go on.
pub(super) enum Interrupt {
    /// A person wants it.
    Person,
    /// Something went wrong.
    Error(TakeError),
}

impl<E: Into<TakeError>> From<E> for Interrupt {
    fn from(error: E) -> Self {
        Self::Error(error.into())
    }
}

impl MotorAxis {
    /// Its name for messages.
    pub(super) fn name(&self) -> String {
        format!("{} {}", self.of, self.way)
    }

    /// Which end its home switch is at.
    fn toward(&self) -> Toward {
        if self.switch < self.travel.0 {
            Toward::Negative
        } else {
            Toward::Positive
        }
    }

    /// Steps between the switch and the travel.
    fn gap(&self) -> u32 {
        match self.toward() {
            Toward::Negative => self.travel.0.abs_diff(self.switch),
            Toward::Positive => self.switch.abs_diff(self.travel.1),
        }
    }

    /// How to find its switch. The fast approach is slow enough to stop within the room between
    /// switch and travel, as there is about as much behind the switch on a stand that is built
    /// well; the back-off covers that stop, the slack both ways and the room itself.
    fn home_order(&self) -> HomeOrder {
        let gap = self.gap().max(1);
        let mut fast = self.speed;
        while fast > self.slow && self.stop(fast) > u64::from(gap) {
            fast = (fast - fast / 8 - 1).max(self.slow);
        }
        let stop = u32::try_from(self.stop(fast)).unwrap_or(u32::MAX);
        let slack = self.take_up.unsigned_abs();
        let far_end = match self.toward() {
            Toward::Negative => self.travel.1,
            Toward::Positive => self.travel.0,
        };
        let span = far_end.abs_diff(self.switch);
        // Counts are to say where the carriage is when it has come from below. A switch at the
        // lower end is met from above, with the drive's slack on the other side.
        let edge = match self.toward() {
            Toward::Negative => self.switch.saturating_sub(self.slack),
            Toward::Positive => self.switch,
        };
        HomeOrder {
            axis: AxisIndex(self.channel),
            fast,
            slow: self.slow.min(fast),
            search: span
                .saturating_add(span / 10)
                .saturating_add(gap)
                .saturating_add(slack),
            back_off: gap
                .saturating_add(stop)
                .saturating_add(slack.saturating_mul(2)),
            clear: (gap / 2).max(1),
            edge: Steps(edge),
        }
    }

    /// Upper bound of the steps from a speed to rest: half the speed times the time, which is at
    /// most `v/a + a/j` or `2 sqrt(v/j)`, whichever shape the ramp has.
    fn stop(&self, speed: u32) -> u64 {
        let speed = f64::from(speed);
        let acceleration = f64::from(self.acceleration.max(1));
        let jerk = f64::from(self.jerk.max(1));
        let time = (speed / acceleration + acceleration / jerk).max(2.0 * (speed / jerk).sqrt());
        (speed * time / 2.0).ceil() as u64
    }
}

/// The boards and people of a run.
pub(super) struct Crew<'s, 'r> {
    pub(super) schedule: &'r Schedule,
    stage: &'r mut Stage<'s>,
    journal: Option<&'r mut Journal>,
    links: Vec<Option<Link>>,
    /// Of each motor axis: whether it has come up to where it stands by at least its slack.
    seated: Vec<bool>,
    /// When the camera can take the next.
    ready: Duration,
    refused: Option<Refusal>,
    /// Whether the exposure was under way when the board was last asked.
    running: bool,
}

impl<'s, 'r> Crew<'s, 'r> {
    pub(super) fn new(
        schedule: &'r Schedule,
        stage: &'r mut Stage<'s>,
        journal: Option<&'r mut Journal>,
    ) -> Self {
        Self {
            links: schedule.boards.iter().map(|_| None).collect(),
            seated: vec![false; schedule.motors.len()],
            schedule,
            stage,
            journal,
            ready: Duration::ZERO,
            refused: None,
            running: false,
        }
    }

    pub(super) fn now(&self) -> Duration {
        self.stage.clock.now()
    }

    pub(super) fn see(&mut self, progress: &Progress<'_>) {
        self.stage.watch.see(progress);
    }

    pub(super) fn person(&mut self) -> &mut dyn Person {
        self.stage.person
    }

    pub(super) fn records(&self) -> bool {
        self.journal.is_some()
    }

    pub(super) fn next_frame(&self) -> Option<u32> {
        self.journal
            .as_ref()
            .and_then(|journal| journal.state().next_frame())
    }

    pub(super) fn all_exposed(&self) -> bool {
        self.journal
            .as_ref()
            .is_some_and(|journal| journal.state().next_frame().is_none())
    }

    pub(super) fn record(&mut self, entry: &Entry) -> Result<(), TakeError> {
        match &mut self.journal {
            Some(journal) => Ok(journal.record(entry)?),
            None => Ok(()),
        }
    }

    pub(super) fn check_interrupt(&self) -> Result<(), Interrupt> {
        if self.stage.interrupt.load(Ordering::Relaxed) {
            Err(Interrupt::Person)
        } else {
            Ok(())
        }
    }

    fn sleep(&self, time: Duration) -> Result<(), TakeError> {
        self.stage.clock.sleep(time).map_err(TakeError::Clock)
    }

    fn boards(&self) -> std::ops::Range<usize> {
        0..self.schedule.boards.len()
    }

    fn link(&mut self, board: usize) -> Result<&mut Link, TakeError> {
        self.links
            .get_mut(board)
            .and_then(Option::as_mut)
            .ok_or(TakeError::Schedule(
                "it names a board that it does not have",
            ))
    }

    /// The name of an axis of a board.
    fn axis_name(&self, board: usize, axis: AxisIndex) -> String {
        self.schedule
            .motors
            .iter()
            .find(|motor| motor.board == board && motor.channel == axis.0)
            .map_or_else(|| format!("axis {}", axis.0), MotorAxis::name)
    }

    fn ask(&mut self, board: usize, command: Command) -> Result<Answer, TakeError> {
        match self.link(board)?.ask(command) {
            Err(LinkError::Refused { refusal, .. }) => Err(self.refused(board, refusal)),
            other => Ok(other?),
        }
    }

    fn refused(&self, board: usize, refusal: Refusal) -> TakeError {
        let name = |axis| self.axis_name(board, axis);
        let board = self.schedule.boards[board].clone();
        match refusal {
            Refusal::Halted(halt) => TakeError::Halted {
                board,
                cause: words::halt(halt, &name),
            },
            _ => TakeError::Refused {
                board,
                what: words::refusal(&refusal, &name),
            },
        }
    }

    fn halted(&self, board: usize, halt: Halt) -> TakeError {
        self.refused(board, Refusal::Halted(halt))
    }

    fn connect(&mut self, board: usize) -> Result<(), TakeError> {
        // The old port has to be let go before it can be had again.
        self.links[board] = None;
        let name = &self.schedule.boards[board];
        let port = self
            .stage
            .boards
            .open(board, name)
            .map_err(TakeError::Port)?;
        let link = Link::connect(port, self.stage.clock.clone(), name)?;
        let boot = Hex(link.boot().0);
        self.links[board] = Some(link);
        self.record(&Entry::Session {
            board: name.clone(),
            boot,
        })?;
        self.stage.watch.see(&Progress::Connected { board: name });
        Ok(())
    }

    pub(super) fn connect_all(&mut self) -> Result<(), Interrupt> {
        for board in self.boards() {
            self.check_interrupt()?;
            self.connect(board)?;
        }
        Ok(())
    }

    /// Waits until nothing moves on a board, whatever it did before this run.
    fn rest(&mut self, board: usize) -> Result<Status, TakeError> {
        let begun = self.now();
        loop {
            let status = self.link(board)?.status()?;
            if status.activity == Activity::Idle {
                return Ok(status);
            }
            let waited = self.now().saturating_sub(begun);
            if waited > PATIENCE {
                return Err(TakeError::Restless {
                    board: self.schedule.boards[board].clone(),
                    waited,
                });
            }
            self.sleep(LOOK)?;
        }
    }

    /// Sets every board up, switches the drivers on, and homes every axis whose place its board
    /// does not vouch for. A rehearsal and the first run of a take home all of them.
    pub(super) fn prepare(&mut self) -> Result<(), Interrupt> {
        let fresh = self.journal.as_ref().is_none_or(|journal| {
            journal.state().next
                == Token {
                    slot: 1,
                    attempt: 1,
                }
        });
        let mut queues = Vec::new();
        for board in self.boards() {
            self.check_interrupt()?;
            // What an earlier run left moving comes to rest first.
            if self.link(board)?.status()?.activity == Activity::Moving {
                self.ask(board, Command::Halt)?;
            }
            let status = self.rest(board)?;
            if status.halt.is_some() {
                self.ask(board, Command::Acknowledge)?;
            }
            let link = self.link(board)?;
            let silence = link.ticks(SILENCE)?;
            let settle = self.schedule.exposure.settle;
            let settle = self.link(board)?.ticks(settle)?;
            self.ask(board, Command::Guard(GuardSettings { silence, settle }))?;
            let mut queue: Vec<usize> = Vec::new();
            for (place, axis) in self.schedule.motors.iter().enumerate() {
                if axis.board != board {
                    continue;
                }
                self.ask(
                    board,
                    Command::Configure(AxisSettings {
                        axis: AxisIndex(axis.channel),
                        speed: axis.speed,
                        acceleration: axis.acceleration,
                        jerk: axis.jerk,
                        slow: axis.slow,
                        reversed: axis.reversed,
                        least: Steps(axis.travel.0),
                        greatest: Steps(axis.travel.1),
                        home: axis.toward(),
                    }),
                )?;
                queue.push(place);
            }
            self.ask(board, Command::Drivers { on: true })?;
            let homed = self.link(board)?.status()?.homed;
            if !fresh {
                queue.retain(|&place| {
                    !homed.contains(usize::from(self.schedule.motors[place].channel))
                });
            }
            queue.reverse();
            queues.push(queue);
        }
        self.home(queues)?;
        self.open_shot()?;
        Ok(())
    }

    /// Homes axes, one after another on each board, the boards side by side.
    fn home(&mut self, mut queues: Vec<Vec<usize>>) -> Result<(), Interrupt> {
        let mut under_way = vec![None; queues.len()];
        loop {
            let mut busy = false;
            for board in self.boards() {
                if let Some((place, request)) = under_way[board] {
                    // Why a homing failed says more than the halt that may come with it.
                    let status = self.link(board)?.status()?;
                    if matches!(status.activity, Activity::Homing(_)) {
                        // Its report may still be an earlier session's of the same number.
                        busy = true;
                        continue;
                    }
                    let axis: &MotorAxis = &self.schedule.motors[place];
                    let report = status.homing.filter(|report| report.request == request);
                    let interrupted =
                        report.is_none_or(|report| report.result == Err(HomingFault::Interrupted));
                    if let Some(halt) = status.halt.filter(|_| interrupted) {
                        let _ = self.halt_all();
                        return Err(self.halted(board, halt).into());
                    }
                    let Some(report) = report else {
                        busy = true;
                        continue;
                    };
                    under_way[board] = None;
                    let found = match report.result {
                        Ok(found) => found,
                        Err(fault) => {
                            // The axes of other boards do not go on alone.
                            let _ = self.halt_all();
                            return Err(TakeError::Homing {
                                axis: axis.name(),
                                fault,
                            }
                            .into());
                        }
                    };
                    self.record(&Entry::Homed {
                        axis: axis.name(),
                        was: found.was.0,
                    })?;
                    self.see(&Progress::Homed { axis: &axis.name() });
                }
                if let Some(place) = queues[board].pop() {
                    let axis = &self.schedule.motors[place];
                    self.see(&Progress::Homing { axis: &axis.name() });
                    self.ask(board, Command::Home(axis.home_order()))?;
                    under_way[board] = Some((place, self.link(board)?.last_request()));
                    busy = true;
                }
            }
            if !busy {
                return Ok(());
            }
            self.wait(LOOK)?;
        }
    }

    /// Waits a little; a person who interrupts brings everything to rest first.
    fn wait(&mut self, time: Duration) -> Result<(), Interrupt> {
        self.sleep(time)?;
        if self.check_interrupt().is_err() {
            self.halt_all()?;
            return Err(Interrupt::Person);
        }
        Ok(())
    }

    fn halt_all(&mut self) -> Result<(), TakeError> {
        for board in self.boards() {
            self.ask(board, Command::Halt)?;
        }
        for board in self.boards() {
            self.rest(board)?;
        }
        Ok(())
    }

    /// A board's status; where the board has halted, the others are brought to rest too.
    fn look(&mut self, board: usize) -> Result<Status, Interrupt> {
        let status = self.link(board)?.status()?;
        if let Some(halt) = status.halt {
            // The halt is what the person has to hear of, whatever else goes wrong now.
            let _ = self.halt_all();
            return Err(self.halted(board, halt).into());
        }
        Ok(status)
    }

    /// Brings every motor axis to a frame's position from below, and sees that it is there.
    pub(super) fn move_to(&mut self, frame: u32) -> Result<(), Interrupt> {
        self.check_interrupt()?;
        self.see(&Progress::Moving { frame });
        let schedule = self.schedule;
        let targets = schedule
            .motors_at(frame)
            .ok_or(TakeError::Schedule("a frame has no positions"))?;
        let at = self.positions()?;
        let via: Vec<i32> = schedule
            .motors
            .iter()
            .enumerate()
            .map(|(place, axis)| {
                let (from, to) = (at[place], targets[place]);
                let gained = i64::from(to) - i64::from(from);
                let direct = axis.take_up == 0
                    || gained >= i64::from(axis.take_up)
                    || (self.seated[place] && gained >= 0);
                if direct { to } else { to - axis.take_up }
            })
            .collect();
        self.seated.fill(false);
        // An axis that needs no detour arrives with the first of the two.
        self.go(&at, &via)?;
        self.go(&via, targets)?;
        self.seated.fill(true);
        self.confirm(frame, targets)?;
        self.see(&Progress::Arrived { frame });
        Ok(())
    }

    fn positions(&mut self) -> Result<Vec<i32>, Interrupt> {
        let mut statuses = Vec::new();
        for board in self.boards() {
            statuses.push(self.look(board)?);
        }
        self.schedule
            .motors
            .iter()
            .map(|axis| {
                statuses[axis.board]
                    .positions
                    .get(usize::from(axis.channel))
                    .map(|steps| steps.0)
                    .ok_or_else(|| {
                        self.refused(axis.board, Refusal::NoAxis(AxisIndex(axis.channel)))
                            .into()
                    })
            })
            .collect()
    }

    /// One move on each board that has something to move, side by side, until all are at rest.
    fn go(&mut self, from: &[i32], to: &[i32]) -> Result<(), Interrupt> {
        let mut end = self.now();
        let mut moving = Vec::new();
        for board in self.boards() {
            let targets = self
                .schedule
                .motors
                .iter()
                .enumerate()
                .filter(|(place, axis)| axis.board == board && from[*place] != to[*place])
                .map(|(place, axis)| AxisTarget {
                    axis: AxisIndex(axis.channel),
                    from: Steps(from[place]),
                    to: Steps(to[place]),
                })
                .collect::<Vec<_>>();
            if targets.is_empty() {
                continue;
            }
            let targets = targets.into_iter().collect();
            match self.ask(board, Command::Move { targets }) {
                Ok(Answer::Under { way }) => {
                    end = end.max(self.now() + self.link(board)?.time(way));
                }
                Ok(_) => {}
                Err(error) => {
                    // Those that have begun must not go on alone.
                    let _ = self.halt_all();
                    return Err(error.into());
                }
            }
            moving.push(board);
        }
        while !moving.is_empty() {
            let now = self.now();
            if now > end + PATIENCE {
                return Err(TakeError::Restless {
                    board: self.schedule.boards[moving[0]].clone(),
                    waited: PATIENCE,
                }
                .into());
            }
            let tick = Duration::from_millis(1);
            self.wait(end.saturating_sub(now).clamp(tick, LOOK))?;
            let mut still = Vec::new();
            for board in moving {
                if self.look(board)?.activity != Activity::Idle {
                    still.push(board);
                }
            }
            moving = still;
        }
        Ok(())
    }

    /// Counters equal targets, positions are trusted, no switch is tripped inside the travel.
    fn confirm(&mut self, frame: u32, targets: &[i32]) -> Result<(), Interrupt> {
        for board in self.boards() {
            let status = self.look(board)?;
            for (axis, &expected) in self.schedule.motors.iter().zip(targets) {
                if axis.board != board {
                    continue;
                }
                let channel = usize::from(axis.channel);
                let counted = status.positions.get(channel).map_or(i32::MIN, |at| at.0);
                if counted != expected {
                    return Err(TakeError::Counter {
                        frame,
                        axis: axis.name(),
                        expected,
                        counted,
                    }
                    .into());
                }
                for (which, tripped) in
                    [("home", status.switches.home), ("far", status.switches.far)]
                {
                    if tripped.contains(channel) {
                        return Err(TakeError::Switch {
                            frame,
                            axis: axis.name(),
                            which,
                        }
                        .into());
                    }
                }
                if !status.homed.contains(channel) {
                    return Err(TakeError::NotReady {
                        frame,
                        board: self.schedule.boards[board].clone(),
                        what: format!("the position of {} is not trusted any more", axis.name()),
                    }
                    .into());
                }
            }
            if status.activity != Activity::Idle || !status.drivers {
                let what = if status.drivers {
                    words::activity(status.activity, &|axis| self.axis_name(board, axis))
                } else {
                    "its motor drivers are off".into()
                };
                return Err(TakeError::NotReady {
                    frame,
                    board: self.schedule.boards[board].clone(),
                    what,
                }
                .into());
            }
        }
        Ok(())
    }

    /// Waits until the camera is ready and every board has been still for long enough, and then
    /// looks again whether all is in place.
    pub(super) fn settle(&mut self, frame: u32) -> Result<(), Interrupt> {
        let settle = self.schedule.exposure.settle;
        loop {
            let mut missing = self.ready.saturating_sub(self.now());
            for board in self.boards() {
                let still = self.look(board)?.still;
                let link = self.link(board)?;
                let needed = link.ticks(settle)?;
                if still < needed {
                    let short = panestep_protocol::Ticks((needed.0 - still.0).saturating_add(1));
                    missing = missing.max(link.time(short));
                }
            }
            if missing.is_zero() {
                break;
            }
            // The answer's way counts too; a little more makes one wait enough.
            self.wait((missing + Duration::from_micros(100)).min(LOOK))?;
        }
        let targets = self
            .schedule
            .motors_at(frame)
            .ok_or(TakeError::Schedule("a frame has no positions"))?;
        self.confirm(frame, targets)
    }

    fn open_shot(&mut self) -> Result<(), TakeError> {
        let Some(journal) = &self.journal else {
            return Ok(());
        };
        let state = journal.state();
        let command = Command::OpenShot {
            shot: state.shot,
            spent: state.spent,
        };
        self.ask(self.schedule.exposure.board, command).map(drop)
    }

    /// Whatever an earlier run left open is settled before anything moves.
    pub(super) fn settle_open_exposure(&mut self) -> Result<(), Interrupt> {
        let Some(journal) = &self.journal else {
            return Ok(());
        };
        let (next, open, shot) = {
            let state = journal.state();
            (state.next, state.open, state.shot)
        };
        let board = self.schedule.exposure.board;
        let (boot, mark) = {
            let link = self.link(board)?;
            (link.boot(), link.identity().mark)
        };
        if let Some(mark) = mark
            && mark.shot == shot
            && open.map_or(mark.token >= next, |open| mark.token > open.token)
        {
            return Err(TakeError::JournalBehind {
                board: self.schedule.boards[board].clone(),
                slot: mark.token.slot,
                attempt: mark.token.attempt,
            }
            .into());
        }
        let Some(open) = open else {
            return Ok(());
        };
        self.open_shot()?;
        let state = State::in_doubt(open.token, open.boot);
        self.drive(open.frame, state, Event::Connected { boot, mark })?;
        Ok(())
    }

    /// Exposes a frame whose pose has been reached: `true` where it is exposed, `false` where it is
    /// certain that it is not and the pose has to be made sure of again.
    pub(super) fn expose(&mut self, frame: u32, tries: u32) -> Result<bool, Interrupt> {
        self.check_interrupt()?;
        let Some(journal) = &self.journal else {
            return Ok(true);
        };
        let state = State::ready(journal.state().next);
        let boot = self.link(self.schedule.exposure.board)?.boot();
        self.see(&Progress::Exposing { frame });
        self.refused = None;
        let done = self.drive(frame, state, Event::PoseReached { boot })?;
        let now = self.link(self.schedule.exposure.board)?.boot();
        if now != boot && !self.all_exposed() {
            // Positions are gone: only a new run homes.
            return Err(TakeError::Link(LinkError::Reset {
                board: self.schedule.boards[self.schedule.exposure.board].clone(),
                was: boot,
                now,
            })
            .into());
        }
        if done {
            return Ok(true);
        }
        if let Some(refusal) = self.refused {
            let board = self.schedule.exposure.board;
            if let Refusal::Halted(_) = refusal {
                return Err(self.refused(board, refusal).into());
            }
            if tries >= TRIES {
                let name = |axis| self.axis_name(board, axis);
                return Err(TakeError::NoExposure {
                    frame,
                    tries,
                    why: words::refusal(&refusal, &name),
                }
                .into());
            }
        } else if tries >= TRIES {
            return Err(TakeError::NoExposure {
                frame,
                tries,
                why: "the board did not carry it out".into(),
            }
            .into());
        }
        Ok(false)
    }

    /// Runs the exchange until the slot is closed (`true`) or certainly unexposed (`false`).
    fn drive(&mut self, frame: u32, state: State, event: Event) -> Result<bool, Interrupt> {
        let rules = Rules {
            shot: self
                .journal
                .as_ref()
                .map(|journal| journal.state().shot)
                .unwrap_or_default(),
            flash_contact: self.schedule.exposure.flash_contact,
        };
        let (mut state, mut action) = step(state, event, rules);
        let mut known = String::new();
        let mut reconnects = 0;
        while let Some(next) = action {
            let event = match next {
                Action::MoveOn => return Ok(true),
                Action::Stop => {
                    return Err(TakeError::Journal(super::JournalError::Poisoned).into());
                }
                Action::Reconnect => {
                    reconnects += 1;
                    self.reconnect(reconnects)?
                }
                Action::Ask { token, known: what } => {
                    known = what.sentence();
                    self.ask_person(frame, token, what)?
                }
                Action::RecordIntent { token, boot } => self.written(&Entry::Intent {
                    frame,
                    slot: token.slot,
                    attempt: token.attempt,
                    boot: Hex(boot.0),
                })?,
                Action::RecordDone { token, contacts } => self.written(&Entry::Done {
                    slot: token.slot,
                    attempt: token.attempt,
                    contacts,
                })?,
                Action::RecordVoid { token } => self.written(&Entry::Void {
                    slot: token.slot,
                    attempt: token.attempt,
                })?,
                Action::RecordVerdict { token, exposed } => self.written(&Entry::Verdict {
                    slot: token.slot,
                    attempt: token.attempt,
                    exposed,
                    known: known.clone(),
                })?,
                Action::Fire { token } => self.fire(rules, token)?,
                Action::Watch { token } => self.follow(token)?,
                Action::Fence { token } => self.fence(rules, token)?,
            };
            (state, action) = step(state, event, rules);
        }
        Ok(matches!(state, State::Closed { .. }))
    }

    /// Writes an entry. The state machine hears of a failure through the error that ends the run:
    /// whatever is in memory then ends with it.
    fn written(&mut self, entry: &Entry) -> Result<Event, Interrupt> {
        self.record(entry)?;
        Ok(Event::Durable)
    }

    fn reconnect(&mut self, tries: u32) -> Result<Event, Interrupt> {
        let board = self.schedule.exposure.board;
        if tries > 1 {
            self.sleep(LOOK * tries)?;
        }
        match self.connect(board) {
            Ok(()) => {
                let link = self.link(board)?;
                Ok(Event::Connected {
                    boot: link.boot(),
                    mark: link.identity().mark,
                })
            }
            Err(TakeError::Link(error)) if error.is_lost() && tries < RECONNECTS => {
                Ok(Event::NoAnswer)
            }
            Err(TakeError::Port(_)) if tries < RECONNECTS => Ok(Event::NoAnswer),
            Err(error) => Err(error.into()),
        }
    }

    fn ask_person(&mut self, frame: u32, token: Token, known: Known) -> Result<Event, Interrupt> {
        let question = Question {
            frame,
            token,
            known,
        };
        let exposed = self
            .stage
            .person
            .exposed(&question)
            .ok_or(Interrupt::Person)?;
        Ok(Event::Verdict { token, exposed })
    }

    fn fire(&mut self, rules: Rules, token: Token) -> Result<Event, Interrupt> {
        let board = self.schedule.exposure.board;
        let exposure = &self.schedule.exposure;
        let link = self.link(board)?;
        let order = FireOrder {
            shot: rules.shot,
            token,
            half_press: link.ticks(exposure.half_press)?,
            press: link.ticks(exposure.press)?,
            window: link.ticks(exposure.window)?,
        };
        match link.ask(Command::Fire(order)) {
            Ok(Answer::Under { way }) => {
                let time = self.link(board)?.time(way);
                self.sleep(time)?;
                Ok(running(token))
            }
            Ok(_) => Ok(running(token)),
            Err(LinkError::Refused { refusal, .. }) => {
                self.refused = Some(refusal);
                Ok(Event::Refused { token })
            }
            Err(error) if error.is_lost() => Ok(Event::NoAnswer),
            Err(error) => Err(TakeError::from(error).into()),
        }
    }

    /// What the board knows of the last token by now.
    fn follow(&mut self, token: Token) -> Result<Event, Interrupt> {
        let board = self.schedule.exposure.board;
        self.sleep(BREATH)?;
        let fact = match self.link(board)?.status() {
            Ok(status) => match status.exposure {
                Some((of, fact)) if of == token => fact,
                _ => ExposureFact::Unknown,
            },
            Err(error) if error.is_lost() => return Ok(Event::NoAnswer),
            Err(error) => return Err(TakeError::from(error).into()),
        };
        self.fact(token, fact)
    }

    fn fence(&mut self, rules: Rules, token: Token) -> Result<Event, Interrupt> {
        let board = self.schedule.exposure.board;
        let shot = rules.shot;
        if std::mem::take(&mut self.running) {
            self.sleep(BREATH)?;
        }
        match self.link(board)?.ask(Command::Fence { shot, token }) {
            Ok(Answer::Exposure(fact)) => self.fact(token, fact),
            Ok(_) => Err(TakeError::Link(LinkError::Misfit {
                board: self.schedule.boards[board].clone(),
            })
            .into()),
            Err(error) if error.is_lost() => Ok(Event::NoAnswer),
            Err(error) => Err(TakeError::from(error).into()),
        }
    }

    fn fact(&mut self, token: Token, fact: ExposureFact) -> Result<Event, Interrupt> {
        self.running = fact == ExposureFact::Running;
        if let ExposureFact::Fired { contacts } = fact {
            let exposure = &self.schedule.exposure;
            if exposure.flash_contact && contacts > 1 {
                // The last of them may have come late in the window: the shutter may still be open.
                self.sleep(exposure.window)?;
            }
            self.ready = self.now() + exposure.ready;
        }
        Ok(Event::Fact { token, fact })
    }
}

fn running(token: Token) -> Event {
    Event::Fact {
        token,
        fact: ExposureFact::Running,
    }
}
