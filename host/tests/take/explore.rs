//! Every order of events around two exposures, breadth first, through the production transition
//! function: a board, a disk, a line and a host that fail at any moment. Small by intent; what it
//! has to find in the broken variants shows that it looks in the right places.

use std::collections::{BTreeSet, HashMap, VecDeque};

use panestep::take::exposure::{Action, Event, Found, Rules, State, step};
use panestep_protocol::{BootId, ExposureFact, Mark, ShotId, Token};

const SLOTS: u32 = 2;
const SHOT: ShotId = ShotId(1);
const RULES: Rules = Rules {
    shot: SHOT,
    flash_contact: true,
    pictures: false,
};

/// What is left out of the exchange, to see whether that is found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Broken {
    /// Nothing.
    Nothing,
    /// The order goes out when the intent has been written, but not synced.
    FireBeforeDurable,
    /// After silence the slot counts as not exposed.
    RetryWithoutFence,
    /// The board is only asked what became of a token, and may still fire it later.
    AskInsteadOfFence,
    /// A session with another start of the board counts as the old one.
    NoBoot,
    /// After a reset the slot counts as exposed.
    AssumeExposed,
    /// After a reset the slot counts as not exposed.
    AssumeNot,
    /// The board fires whatever arrives, as often as it arrives.
    NoHighWater,
    /// The next slot begins while the last one is in doubt.
    MoveOnInDoubt,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
enum Line {
    Fire(Token, BootId),
    Fence(Token, BootId),
    Watch(Token, BootId),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Record {
    Intent(Token, BootId),
    Done(Token),
    Void(Token),
    Verdict(Token, bool),
}

/// The board. The shot is opened with every session.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Board {
    boot: BootId,
    /// Tokens up to this one are spent.
    high: Token,
    /// The last token accepted, and how often the contact has closed once it is over.
    last: Option<(Token, Option<u8>)>,
    mark: Option<Mark>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Host {
    Down,
    /// About to do something.
    Doing(State, Action),
    /// The record has been written, not yet synced.
    Written(State, Record),
    /// Waits for an answer.
    Waiting(State, Line),
    /// Between exposures, in a session with this start.
    Between(BootId),
    Finished,
}

/// What may still go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Budget {
    crashes: u8,
    resets: u8,
    silences: u8,
    refusals: u8,
    disk_failures: u8,
    ignored: u8,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct World {
    host: Host,
    safe: Vec<Record>,
    unsynced: Option<Record>,
    board: Board,
    /// Everything ever sent: it arrives whenever it likes, as often as it likes, or never.
    line: BTreeSet<Line>,
    budget: Budget,
    /// For each slot: pulses, whole exposures, and verdicts that there was none.
    pulses: [u8; SLOTS as usize],
    exposures: [u8; SLOTS as usize],
    denied: [u8; SLOTS as usize],
    /// Whether the last token's exposure was whole.
    whole: Option<(Token, bool)>,
}

fn slot(token: Token) -> usize {
    token.slot as usize - 1
}

/// What the journal says: the next token, and the intent that is open.
fn replay(records: &[Record]) -> (Token, Token, Option<(Token, BootId)>) {
    let mut next = Token {
        slot: 1,
        attempt: 1,
    };
    let (mut spent, mut open) = (Token::default(), None);
    for record in records {
        let (token, exposed) = match *record {
            Record::Intent(token, boot) => {
                open = Some((token, boot));
                continue;
            }
            Record::Done(token) => (token, true),
            Record::Void(token) => (token, false),
            Record::Verdict(token, exposed) => (token, exposed),
        };
        open = None;
        spent = token;
        next = if exposed {
            Token {
                slot: token.slot + 1,
                attempt: 1,
            }
        } else {
            Token {
                attempt: token.attempt + 1,
                ..token
            }
        };
    }
    (next, spent, open)
}

impl World {
    fn new(budget: Budget) -> Self {
        Self {
            host: Host::Down,
            safe: Vec::new(),
            unsynced: None,
            board: Board {
                boot: BootId(1),
                high: Token::default(),
                last: None,
                mark: None,
            },
            line: BTreeSet::new(),
            budget,
            pulses: [0; SLOTS as usize],
            exposures: [0; SLOTS as usize],
            denied: [0; SLOTS as usize],
            whole: None,
        }
    }

    /// The production function, or what a broken variant makes of it.
    fn step(&self, state: State, event: Event, broken: Broken) -> (State, Option<Action>) {
        let token = state.token();
        match (broken, state, event) {
            (Broken::RetryWithoutFence, State::Firing { .. }, Event::NoAnswer)
            | (Broken::AssumeNot, State::Fencing { .. }, Event::Connected { .. })
                if broken == Broken::RetryWithoutFence || self.is_other_boot(state) =>
            {
                (State::Voiding { token }, Some(Action::RecordVoid { token }))
            }
            (Broken::AssumeExposed, State::Fencing { .. }, Event::Connected { .. })
                if self.is_other_boot(state) =>
            {
                let contacts = 1;
                (
                    State::Closing { token },
                    Some(Action::RecordDone { token, contacts }),
                )
            }
            (Broken::MoveOnInDoubt, State::Firing { .. }, Event::NoAnswer) => {
                let contacts = 1;
                (
                    State::Closing { token },
                    Some(Action::RecordDone { token, contacts }),
                )
            }
            (Broken::NoBoot, State::Fencing { boot, .. }, Event::Connected { mark, .. }) => {
                step(state, Event::Connected { boot, mark }, RULES)
            }
            _ => step(state, event, RULES),
        }
    }

    fn is_other_boot(&self, state: State) -> bool {
        matches!(state, State::Fencing { boot, .. } if boot != self.board.boot)
    }

    /// The host goes on after an event.
    fn go_on(mut self, state: State, event: Event, broken: Broken) -> Self {
        let boot = match state {
            State::Intending {
                boot: Some(boot), ..
            }
            | State::Firing { boot, .. }
            | State::Fencing { boot, .. } => boot,
            _ => self.board.boot,
        };
        self.host = match self.step(state, event, broken) {
            (_, Some(Action::MoveOn)) if state.token().slot == SLOTS => Host::Finished,
            (_, Some(Action::MoveOn) | None) => Host::Between(boot),
            (_, Some(Action::Stop)) => Host::Down,
            (state, Some(action)) => Host::Doing(state, action),
        };
        self
    }

    /// A program starts, opens a session and the shot, and settles what is open.
    fn start(mut self, broken: Broken) -> Self {
        let (next, spent, open) = replay(&self.safe);
        self.board.high = self.board.high.max(spent);
        if let Some((token, boot)) = open {
            let event = Event::Connected {
                boot: self.board.boot,
                mark: self.board.mark,
            };
            return self.go_on(State::in_doubt(token, Some(boot)), event, broken);
        }
        self.host = if next.slot > SLOTS {
            Host::Finished
        } else {
            Host::Between(self.board.boot)
        };
        self
    }

    /// What the board says to a message, `None` where it is meant for another start. With
    /// `refuse`, something on the board forbids an exposure.
    fn deliver(&mut self, line: Line, refuse: bool, broken: Broken) -> Option<Event> {
        let (Line::Fire(token, boot) | Line::Fence(token, boot) | Line::Watch(token, boot)) = line;
        if boot != self.board.boot && broken != Broken::NoBoot {
            return None;
        }
        let fact = |fact| Some(Event::Fact { token, fact });
        let busy = matches!(self.board.last, Some((_, None)));
        if let Line::Fire(..) = line {
            let spent = token <= self.board.high && broken != Broken::NoHighWater;
            if spent || busy || refuse {
                return Some(Event::Refused { token });
            }
            self.board.high = self.board.high.max(token);
            self.board.mark = Some(Mark { shot: SHOT, token });
            self.board.last = Some((token, None));
            self.pulses[slot(token)] += 1;
            self.whole = None;
            return fact(ExposureFact::Running);
        }
        if let Line::Fence(..) = line
            && broken != Broken::AskInsteadOfFence
        {
            self.board.high = self.board.high.max(token);
        }
        match self.board.last {
            Some((of, None)) if of == token => fact(ExposureFact::Running),
            Some((of, Some(contacts))) if of == token => fact(ExposureFact::Fired { contacts }),
            _ if matches!(line, Line::Watch(..)) => fact(ExposureFact::Unknown),
            _ => fact(ExposureFact::Never),
        }
    }

    /// All that can happen next.
    fn next(&self, broken: Broken) -> Vec<Self> {
        let mut next = Vec::new();
        self.host_acts(broken, &mut next);
        // Something arrives, whoever still waits for it.
        for &line in &self.line {
            for refuse in [false, true] {
                let mut world = self.clone();
                if refuse {
                    if !matches!(line, Line::Fire(..)) || world.budget.refusals == 0 {
                        continue;
                    }
                    world.budget.refusals -= 1;
                }
                let answer = world.deliver(line, refuse, broken);
                let mut unheard = world.clone();
                if let (Some(answer), Host::Waiting(state, of)) = (answer, self.host)
                    && of == line
                {
                    next.push(world.go_on(state, answer, broken));
                }
                unheard.host = self.host;
                if unheard != *self {
                    next.push(unheard);
                }
            }
        }
        // The exposure ends.
        if let Some((token, None)) = self.board.last {
            let mut world = self.clone();
            world.board.last = Some((token, Some(1)));
            world.exposures[slot(token)] += 1;
            world.whole = Some((token, true));
            next.push(world);
            if self.budget.ignored > 0 {
                let mut world = self.clone();
                world.budget.ignored -= 1;
                world.board.last = Some((token, Some(0)));
                world.whole = Some((token, false));
                next.push(world);
            }
        }
        if self.budget.resets > 0 {
            for keep_mark in [true, false] {
                let mut world = self.clone();
                world.budget.resets -= 1;
                let boot = BootId(self.board.boot.0 + 1);
                let mark = self.board.mark.filter(|_| keep_mark);
                world.board = Board {
                    boot,
                    high: mark.map_or(Token::default(), |mark| mark.token),
                    last: None,
                    mark,
                };
                next.push(world);
            }
        }
        if self.budget.crashes > 0 && !matches!(self.host, Host::Down | Host::Finished) {
            for kept in [true, false] {
                let mut world = self.clone();
                world.budget.crashes -= 1;
                world.host = Host::Down;
                let unsynced = world.unsynced.take();
                world.safe.extend(unsynced.filter(|_| kept));
                next.push(world);
            }
        }
        next
    }

    fn host_acts(&self, broken: Broken, next: &mut Vec<Self>) {
        let mut world = self.clone();
        match self.host {
            Host::Finished => {}
            Host::Down => next.push(world.start(broken)),
            Host::Between(boot) => {
                // A new start is seen at the next look: only a new run homes.
                if boot != self.board.boot {
                    world.host = Host::Down;
                    next.push(world);
                    // Or it is not seen before the order is on its way.
                }
                let mut known = self.safe.clone();
                known.extend(self.unsynced);
                let (token, ..) = replay(&known);
                let event = Event::PoseReached { boot: Some(boot) };
                let (state, action) = step(State::ready(token), event, RULES);
                let mut world = self.clone();
                world.host = action.map_or(Host::Down, |action| Host::Doing(state, action));
                next.push(world);
            }
            Host::Written(state, record) => {
                world.unsynced = None;
                world.safe.push(record);
                next.push(world.go_on(state, Event::Durable, broken));
                if self.budget.disk_failures > 0 {
                    for kept in [true, false] {
                        let mut world = self.clone();
                        world.budget.disk_failures -= 1;
                        world.unsynced = None;
                        world.safe.extend(kept.then_some(record));
                        next.push(world.go_on(state, Event::DiskFailed, broken));
                    }
                }
            }
            Host::Waiting(state, _) => {
                if self.budget.silences > 0 {
                    world.budget.silences -= 1;
                    next.push(world.go_on(state, Event::NoAnswer, broken));
                }
                // A start that the request does not name is noticed at once.
                let boot = match state {
                    State::Intending {
                        boot: Some(boot), ..
                    }
                    | State::Firing { boot, .. }
                    | State::Fencing { boot, .. } => boot,
                    _ => self.board.boot,
                };
                if boot != self.board.boot {
                    let world = self.clone();
                    next.push(world.go_on(state, Event::NoAnswer, broken));
                }
            }
            Host::Doing(state, action) => self.act(state, action, broken, next),
        }
    }

    fn act(&self, state: State, action: Action, broken: Broken, next: &mut Vec<Self>) {
        let mut world = self.clone();
        let boot = match state {
            State::Intending {
                boot: Some(boot), ..
            }
            | State::Firing { boot, .. }
            | State::Fencing { boot, .. } => boot,
            _ => self.board.boot,
        };
        let record = match action {
            Action::RecordIntent { token, .. } => Record::Intent(token, boot),
            Action::RecordDone { token, .. } => Record::Done(token),
            Action::RecordVoid { token } => Record::Void(token),
            Action::RecordVerdict { token, exposed } => {
                world.denied[slot(token)] += u8::from(!exposed);
                Record::Verdict(token, exposed)
            }
            Action::Fire { token } | Action::Watch { token } | Action::Fence { token } => {
                let line = match action {
                    Action::Fire { .. } => Line::Fire(token, boot),
                    Action::Watch { .. } => Line::Watch(token, boot),
                    _ => Line::Fence(token, boot),
                };
                world.line.insert(line);
                world.host = Host::Waiting(state, line);
                next.push(world);
                return;
            }
            Action::Reconnect => {
                let event = Event::Connected {
                    boot: self.board.boot,
                    mark: self.board.mark,
                };
                next.push(world.go_on(state, event, broken));
                return;
            }
            Action::Ask { token, .. } => {
                // A person who looks says what is true, and waits while the shutter is open.
                if !matches!(self.board.last, Some((of, None)) if of == token) {
                    let exposed = self.whole == Some((token, true));
                    next.push(world.go_on(state, Event::Verdict { token, exposed }, broken));
                }
                return;
            }
            Action::Look { .. } => {
                let event = Event::Looked {
                    found: Found::Unwatched,
                    steady: true,
                };
                next.push(world.go_on(state, event, broken));
                return;
            }
            // This stand fires by its board.
            Action::Release { .. } => unreachable!("{action:?}"),
            Action::MoveOn | Action::Stop => return,
        };
        if broken == Broken::FireBeforeDurable && matches!(record, Record::Intent(..)) {
            world.unsynced = Some(record);
            next.push(world.go_on(state, Event::Durable, broken));
            return;
        }
        // Syncing a later record syncs the earlier ones with it.
        let earlier = world.unsynced.replace(record);
        world.safe.extend(earlier);
        world.host = Host::Written(state, record);
        next.push(world);
    }

    /// What must never be.
    fn fault(&self) -> Option<String> {
        for slot in 0..SLOTS as usize {
            if self.pulses[slot] > 1 + self.denied[slot] {
                return Some(format!("slot {} fired twice", slot + 1));
            }
        }
        let closed = |record: &&Record| match record {
            Record::Done(_) => true,
            Record::Verdict(_, exposed) => *exposed,
            _ => false,
        };
        for record in self.safe.iter().filter(closed) {
            let (Record::Done(token) | Record::Verdict(token, _)) = record else {
                continue;
            };
            if self.exposures[slot(*token)] == 0 {
                return Some(format!("slot {} skipped", token.slot));
            }
        }
        let fired = self.board.last.map(|(token, _)| token);
        if let Some(token) = fired
            && !self
                .safe
                .iter()
                .any(|record| matches!(record, Record::Intent(of, _) if *of == token))
        {
            return Some(format!("{token:?} fired without an intent on disk"));
        }
        None
    }
}

/// Explores everything within a budget: the states seen, and the first fault with the way to it.
fn explore(budget: Budget, broken: Broken) -> (usize, Option<(String, usize)>) {
    let mut seen: HashMap<World, usize> = HashMap::new();
    let mut queue = VecDeque::from([World::new(budget)]);
    seen.insert(World::new(budget), 0);
    let mut finished = false;
    while let Some(world) = queue.pop_front() {
        let depth = seen[&world];
        if let Some(fault) = world.fault() {
            return (seen.len(), Some((fault, depth)));
        }
        if world.host == Host::Finished {
            finished = true;
            // Late messages may still arrive; nothing else matters any more.
        }
        let next = world.next(broken);
        assert!(
            !next.is_empty() || world.host == Host::Finished,
            "a dead end: {world:?}"
        );
        for world in next {
            if !seen.contains_key(&world) {
                seen.insert(world.clone(), depth + 1);
                queue.push_back(world);
            }
        }
    }
    assert!(finished, "no way to the end");
    (seen.len(), None)
}

const CALM: Budget = Budget {
    crashes: 0,
    resets: 0,
    silences: 0,
    refusals: 0,
    disk_failures: 0,
    ignored: 0,
};

#[test]
fn no_order_of_events_doubles_or_skips_an_exposure() {
    for budget in [
        CALM,
        Budget {
            crashes: 2,
            silences: 1,
            ..CALM
        },
        Budget {
            crashes: 1,
            resets: 1,
            silences: 1,
            ..CALM
        },
        Budget {
            crashes: 1,
            refusals: 1,
            silences: 1,
            disk_failures: 1,
            ..CALM
        },
        Budget {
            resets: 1,
            refusals: 1,
            ignored: 1,
            ..CALM
        },
    ] {
        let (states, fault) = explore(budget, Broken::Nothing);
        assert_eq!(fault, None, "{budget:?}");
        // A budget that is not used up explores nothing.
        assert!(states > 30, "{budget:?}: only {states} states");
    }
}

#[test]
fn whatever_is_left_out_of_the_exchange_is_found() {
    let budget = Budget {
        crashes: 1,
        resets: 1,
        silences: 1,
        ..CALM
    };
    for (broken, finds) in [
        (Broken::FireBeforeDurable, "without an intent"),
        (Broken::RetryWithoutFence, "fired twice"),
        (Broken::AskInsteadOfFence, "fired twice"),
        (Broken::NoBoot, "fired twice"),
        (Broken::AssumeExposed, "skipped"),
        (Broken::AssumeNot, "fired twice"),
        (Broken::NoHighWater, "fired twice"),
        (Broken::MoveOnInDoubt, "skipped"),
    ] {
        let (states, fault) = explore(budget, broken);
        let Some((fault, depth)) = fault else {
            panic!("{broken:?} was not found in {states} states");
        };
        assert!(
            fault.contains(finds),
            "{broken:?}: {fault} after {depth} events"
        );
    }
}
