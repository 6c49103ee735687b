//! The exchange as a model: everything that can happen next, and what then becomes of the world.

use panestep::take::exposure::{Action, Event, Found, Released, Rules, State};
use panestep_protocol::{BootId, ExposureFact, Mark, Token};
use stateright::{Model, Property};

use super::broken::{Broken, broken_step};
use super::world::{
    Album, Board, Budget, Camera, Fires, Host, Line, Record, Releaser, SHOT, World, place, replay,
};

/// A stand with its camera, and a take of a few slots.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Exchange {
    pub(crate) slots: u32,
    pub(crate) fires: Fires,
    pub(crate) flash_contact: bool,
    pub(crate) pictures: bool,
    pub(crate) budget: Budget,
    pub(crate) broken: Broken,
}

/// One thing that happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Act {
    /// A program starts, opens a session and the shot, and settles what is open.
    Start,
    /// The program does what it was about to do.
    Go,
    /// The next pose is reached.
    Pose,
    /// The program sees that the board has a new start, and ends.
    SeeReset,
    /// What was written is synced.
    Sync,
    /// It is not; and is found there later, or not.
    DiskFails { kept: bool },
    /// A message arrives at the board (again, perhaps), and its answer at the program, or nowhere.
    Arrive {
        line: Line,
        refused: bool,
        heard: bool,
    },
    /// The program gives an answer up.
    GiveUp,
    /// The exposure that a board began ends.
    Expose(Camera),
    /// The command cannot be started.
    NotStarted,
    /// The command, or a person, closes the release.
    Press(Camera),
    /// The command ends, or the person answers.
    Release(Released),
    /// The board starts again; with `done`, the camera ends the exposure all the same.
    Reset { mark: bool, done: Reset },
    /// The program dies; what was written and not synced is found later, or not.
    Crash { kept: bool },
    /// Somebody takes a picture.
    Stray,
    /// An axis is let go of.
    Disturb,
    /// A person looks, and says what is true.
    Answer,
}

/// What a reset leaves of an exposure under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Reset {
    /// Nothing, or none was under way.
    Nothing,
    /// The whole of it.
    Whole,
    /// A part, in a picture that looks good.
    Part,
}

impl Exchange {
    pub(crate) fn rules(&self) -> Rules {
        Rules {
            shot: SHOT,
            flash_contact: self.flash_contact,
            pictures: self.pictures,
        }
    }

    /// Whether the stand would notice a pulse that came to nothing.
    fn has_evidence(&self) -> bool {
        self.flash_contact || self.pictures
    }

    /// What a camera may do here: only what the stand could notice.
    fn cameras(&self, world: &World) -> Vec<Camera> {
        let mut cameras = vec![Camera::Exposes];
        if world.budget.camera > 0 {
            cameras.extend([Camera::Ignores, Camera::Twice]);
            if self.pictures {
                cameras.extend([Camera::Spoils, Camera::Loses]);
            }
        }
        cameras
    }

    /// The host goes on after an event.
    fn go_on(&self, world: &mut World, state: State, event: Event) {
        world.host = match broken_step(self.broken, world, state, event, self.rules()) {
            (_, Some(Action::MoveOn)) if state.token().slot == self.slots => Host::Finished,
            (_, Some(Action::MoveOn)) => Host::Between,
            (State::Ready { .. }, None) => Host::Between,
            (_, Some(Action::Stop)) => Host::Down,
            (state, Some(action)) => Host::Doing(state, action),
            // It does not belong to the state: the host goes on waiting.
            (_, None) => return,
        };
    }

    /// A session begins, and the shot is opened with the last token that the journal has closed.
    fn connect(world: &mut World) -> Event {
        world.session = world.board.boot;
        let spent = replay(&world.safe).spent;
        world.board.high = world.board.high.max(spent);
        Event::Connected {
            boot: world.board.boot,
            mark: world.board.mark,
        }
    }

    fn start(&self, world: &mut World) {
        let found = replay(&world.safe);
        let connected = Self::connect(world);
        if let Some((token, boot)) = found.open {
            let event = match boot {
                Some(_) => connected,
                None => Event::TakenUp,
            };
            self.go_on(world, State::in_doubt(token, boot), event);
            return;
        }
        world.host = if found.next.slot > self.slots {
            Host::Finished
        } else {
            Host::Between
        };
    }

    /// What the board says to a message, `None` where it is meant for another start. With
    /// `refused`, something on the board forbids an exposure.
    fn board(&self, world: &mut World, line: Line, refused: bool) -> Option<Event> {
        let (Line::Fire(token, boot) | Line::Fence(token, boot) | Line::Watch(token, boot)) = line;
        if boot != world.board.boot && self.broken != Broken::NoBoot {
            return None;
        }
        let fact = |fact| Some(Event::Fact { token, fact });
        if let Line::Fire(..) = line {
            let spent = token <= world.board.high && self.broken != Broken::NoHighWater;
            let busy = matches!(world.board.last, Some((_, None)));
            if spent || busy || refused {
                return Some(Event::Refused { token });
            }
            world.board.high = world.board.high.max(token);
            world.board.mark = Some(Mark { shot: SHOT, token });
            world.board.last = Some((token, None));
            world.pulse(token);
            return fact(ExposureFact::Running);
        }
        if let Line::Fence(..) = line
            && self.broken != Broken::AskInsteadOfFence
        {
            world.board.high = world.board.high.max(token);
        }
        match world.board.last {
            Some((of, None)) if of == token => fact(ExposureFact::Running),
            Some((of, Some(contacts))) if of == token => fact(ExposureFact::Fired { contacts }),
            _ if matches!(line, Line::Watch(..)) => fact(ExposureFact::Unknown),
            _ => fact(ExposureFact::Never),
        }
    }

    /// The host does what it was about to do.
    fn act(&self, world: &mut World, state: State, action: Action) -> Option<()> {
        let boot = match state {
            State::Firing { boot, .. } | State::Fencing { boot, .. } => boot,
            _ => world.session,
        };
        let record = match action {
            Action::RecordIntent { token, boot } => {
                // The pictures that lie there now are known, and count for nothing later.
                let album = &mut world.album;
                let old = (album.old + album.good).min(1);
                *album = Album {
                    old,
                    ..Album::default()
                };
                // The pose has just been reached.
                world.moved = false;
                Record::Intent(token, boot)
            }
            Action::RecordDone { token, .. } => {
                world.album = Album::default();
                Record::Done(token)
            }
            Action::RecordVoid { token } => Record::Void(token),
            Action::RecordVerdict { token, exposed } => {
                world.denied[place(token)] += u8::from(!exposed);
                world.album = Album::default();
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
                return Some(());
            }
            Action::Release { token } => {
                let fired = false;
                world.releaser = Some(Releaser { token, fired });
                world.host = Host::Releasing(state);
                return Some(());
            }
            Action::Look { .. } => {
                let found = if self.pictures {
                    world.found(self.broken == Broken::OldPictures)
                } else {
                    Found::Unwatched
                };
                let steady = !world.moved;
                self.go_on(world, state, Event::Looked { found, steady });
                return Some(());
            }
            Action::Reconnect => {
                let event = Self::connect(world);
                self.go_on(world, state, event);
                return Some(());
            }
            Action::Ask { .. } | Action::MoveOn | Action::Stop => return None,
        };
        if self.broken == Broken::FireBeforeDurable && matches!(record, Record::Intent(..)) {
            world.unsynced = Some(record);
            self.go_on(world, state, Event::Durable);
            return Some(());
        }
        // Syncing a later record syncs the earlier ones with it.
        let earlier = world.unsynced.replace(record);
        world.safe.extend(earlier);
        world.host = Host::Written(state, record);
        Some(())
    }

    /// What the program may do, or meet, where it is.
    fn host_acts(&self, world: &World, acts: &mut Vec<Act>) {
        let budget = world.budget;
        match world.host {
            Host::Finished => {}
            Host::Down => acts.push(Act::Start),
            Host::Between => {
                // A new start is seen at the next look; or not before the order is on its way.
                if self.fires == Fires::Board && world.session != world.board.boot {
                    acts.push(Act::SeeReset);
                }
                acts.push(Act::Pose);
            }
            Host::Written(..) => {
                acts.push(Act::Sync);
                if budget.disk > 0 {
                    acts.extend([true, false].map(|kept| Act::DiskFails { kept }));
                }
            }
            // A start that the request does not name is noticed at once.
            Host::Waiting(_, line) => {
                let (Line::Fire(_, boot) | Line::Fence(_, boot) | Line::Watch(_, boot)) = line;
                if budget.silences > 0 || boot != world.board.boot {
                    acts.push(Act::GiveUp);
                }
            }
            Host::Releasing(_) => {}
            // A person who looks waits while the shutter may be open.
            Host::Doing(_, Action::Ask { .. }) => {
                if !world.is_busy() {
                    acts.push(Act::Answer);
                }
            }
            Host::Doing(_, Action::Release { .. }) => {
                // One that a run before has left behind ends first.
                if world.releaser.is_none() {
                    acts.push(Act::Go);
                    if budget.release > 0 && self.fires == Fires::Command {
                        acts.push(Act::NotStarted);
                    }
                }
            }
            Host::Doing(..) => acts.push(Act::Go),
        }
        if budget.crashes > 0 && !matches!(world.host, Host::Down | Host::Finished) {
            acts.push(Act::Crash { kept: true });
            if world.unsynced.is_some() {
                acts.push(Act::Crash { kept: false });
            }
        }
    }

    fn releaser_acts(&self, world: &World, releaser: Releaser, acts: &mut Vec<Act>) {
        let fails = world.budget.release > 0;
        let waited = matches!(world.host, Host::Releasing(_));
        if !releaser.fired {
            acts.extend(self.cameras(world).into_iter().map(Act::Press));
        }
        match self.fires {
            Fires::Board => {}
            Fires::Hand if !releaser.fired => {
                if fails || !waited {
                    acts.push(Act::Release(Released::NotBegun));
                }
            }
            Fires::Hand => acts.push(Act::Release(Released::Took)),
            Fires::Command => {
                if releaser.fired {
                    acts.push(Act::Release(Released::Took));
                }
                if fails || !waited {
                    acts.push(Act::Release(Released::Failed(Some(1))));
                }
                if fails && waited {
                    acts.push(Act::Release(Released::TimedOut));
                }
            }
        }
    }

    /// Whether a slot that is closed, on disk, meets a condition.
    fn is_closed(world: &World, condition: impl Fn(usize) -> bool) -> bool {
        world.safe.iter().any(|record| match record {
            Record::Done(token) | Record::Verdict(token, true) => condition(place(*token)),
            _ => false,
        })
    }

    /// Whether a slot has been closed without what its stand can tell of an exposure.
    fn skipped(&self, world: &World) -> bool {
        Self::is_closed(world, |slot| {
            if self.has_evidence() {
                world.exposures[slot] == 0
            } else {
                world.pulses[slot] == 0
            }
        })
    }
}

impl Model for Exchange {
    type State = World;
    type Action = Act;

    fn init_states(&self) -> Vec<World> {
        vec![World::new(self.slots, self.budget)]
    }

    fn actions(&self, world: &World, acts: &mut Vec<Act>) {
        self.host_acts(world, acts);
        for &line in &world.line {
            let fire = matches!(line, Line::Fire(..));
            let waited = matches!(world.host, Host::Waiting(_, of) if of == line);
            for (refused, heard) in [(false, false), (false, true), (true, false), (true, true)] {
                if (heard && !waited) || (refused && (!fire || world.budget.refusals == 0)) {
                    continue;
                }
                acts.push(Act::Arrive {
                    line,
                    refused,
                    heard,
                });
            }
        }
        if matches!(world.board.last, Some((_, None))) {
            acts.extend(self.cameras(world).into_iter().map(Act::Expose));
        }
        if let Some(releaser) = world.releaser {
            self.releaser_acts(world, releaser, acts);
        }
        if world.budget.resets > 0 && self.fires == Fires::Board {
            let running = matches!(world.board.last, Some((_, None)));
            let left: &[Reset] = match (running, self.pictures) {
                (false, _) => &[Reset::Nothing],
                (true, false) => &[Reset::Nothing, Reset::Whole],
                (true, true) => &[Reset::Nothing, Reset::Whole, Reset::Part],
            };
            for &done in left {
                acts.extend([true, false].map(|mark| Act::Reset { mark, done }));
            }
        }
        if world.budget.disturbed > 0 && !world.moved {
            acts.push(Act::Disturb);
        }
        // Nobody touches the camera between an intent and its end.
        if world.budget.strays > 0 && replay(&world.written()).open.is_none() {
            acts.push(Act::Stray);
        }
    }

    fn next_state(&self, before: &World, act: Act) -> Option<World> {
        let mut world = before.clone();
        match (act, before.host) {
            (Act::Start, Host::Down) => self.start(&mut world),
            (Act::SeeReset, Host::Between) => world.host = Host::Down,
            (Act::Pose, Host::Between) => {
                let token = replay(&world.written()).next;
                let boot = (self.fires == Fires::Board).then_some(world.session);
                self.go_on(&mut world, State::ready(token), Event::PoseReached { boot });
            }
            (Act::Go, Host::Doing(state, action)) => self.act(&mut world, state, action)?,
            (Act::Sync, Host::Written(state, _)) => {
                world.safe.extend(world.unsynced.take());
                self.go_on(&mut world, state, Event::Durable);
            }
            (Act::DiskFails { kept }, Host::Written(state, _)) => {
                world.budget.disk -= 1;
                let record = world.unsynced.take();
                world.safe.extend(record.filter(|_| kept));
                self.go_on(&mut world, state, Event::DiskFailed);
            }
            (Act::GiveUp, Host::Waiting(state, line)) => {
                let (Line::Fire(_, boot) | Line::Fence(_, boot) | Line::Watch(_, boot)) = line;
                world.budget.silences -= u8::from(boot == world.board.boot);
                self.go_on(&mut world, state, Event::NoAnswer);
            }
            (
                Act::Arrive {
                    line,
                    refused,
                    heard,
                },
                _,
            ) => {
                world.budget.refusals -= u8::from(refused);
                let answer = self.board(&mut world, line, refused);
                if let (true, Some(answer), Host::Waiting(state, _)) = (heard, answer, before.host)
                {
                    self.go_on(&mut world, state, answer);
                }
            }
            (Act::Expose(camera), _) => {
                let (token, _) = world.board.last?;
                world.budget.camera -= u8::from(camera != Camera::Exposes);
                let contacts = world.expose(token, camera);
                let contacts = if self.flash_contact { contacts } else { 0 };
                world.board.last = Some((token, Some(contacts)));
            }
            (Act::NotStarted, Host::Doing(state, _)) => {
                world.budget.release -= 1;
                let how = Released::NotBegun;
                self.go_on(&mut world, state, Event::Released { how });
            }
            (Act::Press(camera), _) => {
                let releaser = world.releaser.as_mut()?;
                releaser.fired = true;
                let token = releaser.token;
                world.budget.camera -= u8::from(camera != Camera::Exposes);
                world.pulse(token);
                world.expose(token, camera);
            }
            (Act::Release(how), host) => {
                world.releaser = None;
                if let Host::Releasing(state) = host {
                    world.budget.release -= u8::from(how != Released::Took);
                    self.go_on(&mut world, state, Event::Released { how });
                }
            }
            (Act::Reset { mark, done }, _) => {
                world.budget.resets -= 1;
                match (done, world.board.last) {
                    (Reset::Whole, Some((token, None))) => {
                        world.expose(token, Camera::Exposes);
                    }
                    (Reset::Part, _) => world.album.good += 1,
                    _ => {}
                }
                world.moved = true;
                let mark = world.board.mark.filter(|_| mark);
                world.board = Board {
                    boot: BootId(world.board.boot.0 + 1),
                    high: mark.map_or(Token::default(), |mark| mark.token),
                    last: None,
                    mark,
                };
            }
            (Act::Crash { kept }, _) => {
                world.budget.crashes -= 1;
                world.host = Host::Down;
                let unsynced = world.unsynced.take();
                world.safe.extend(unsynced.filter(|_| kept));
            }
            (Act::Stray, _) => {
                world.budget.strays -= 1;
                world.album.old = 1;
            }
            (Act::Disturb, _) => {
                world.budget.disturbed -= 1;
                world.moved = true;
            }
            (Act::Answer, Host::Doing(state, Action::Ask { token, .. })) => {
                let exposed = world.whole == Some((token, true));
                self.go_on(&mut world, state, Event::Verdict { token, exposed });
            }
            _ => return None,
        }
        (world != *before).then_some(world)
    }

    fn properties(&self) -> Vec<Property<Self>> {
        vec![
            Property::always(TWICE, |_, world: &World| {
                let slots = world.pulses.iter().zip(&world.denied);
                slots
                    .into_iter()
                    .all(|(pulses, denied)| *pulses <= 1 + denied)
            }),
            Property::always(SKIPPED, |model: &Self, world| !model.skipped(world)),
            Property::always(DISPLACED, |_, world: &World| {
                !Self::is_closed(world, |slot| world.displaced[slot])
            }),
            Property::always(UNRECORDED, |_, world: &World| !world.unrecorded),
            Property::sometimes(ENDS, |_, world: &World| world.host == Host::Finished),
        ]
    }
}

/// The properties' names.
pub(crate) const TWICE: &str = "no slot is fired twice without a verdict that it is not exposed";
pub(crate) const SKIPPED: &str = "no slot is skipped";
pub(crate) const DISPLACED: &str = "no slot is closed with a pose out of place";
pub(crate) const UNRECORDED: &str = "no pulse without its intent on disk";
pub(crate) const ENDS: &str = "the take ends";
