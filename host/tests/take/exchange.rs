//! The exposure exchange by itself: every state with every event.

use panestep::take::exposure::{Action, Event, Flaw, Found, Known, Released, Rules, State, step};
use panestep_protocol::{BootId, ExposureFact, Mark, ShotId, Token};

const SHOT: ShotId = ShotId(7);
const BOOT: BootId = BootId(100);
const LATER: BootId = BootId(101);
const TOKEN: Token = Token {
    slot: 4,
    attempt: 2,
};
const OTHERS: [Token; 4] = [
    Token {
        slot: 3,
        attempt: 2,
    },
    Token {
        slot: 4,
        attempt: 1,
    },
    Token {
        slot: 4,
        attempt: 3,
    },
    Token {
        slot: 5,
        attempt: 1,
    },
];

fn rules(flash_contact: bool, pictures: bool) -> Rules {
    Rules {
        shot: SHOT,
        flash_contact,
        pictures,
    }
}

fn states() -> [State; 13] {
    [
        State::Ready { token: TOKEN },
        State::Intending {
            token: TOKEN,
            boot: Some(BOOT),
        },
        State::Intending {
            token: TOKEN,
            boot: None,
        },
        State::Releasing { token: TOKEN },
        State::Looking {
            token: TOKEN,
            contacts: 1,
            doubt: None,
        },
        State::Looking {
            token: TOKEN,
            contacts: 2,
            doubt: Some(Known::Contacts(2)),
        },
        State::Firing {
            token: TOKEN,
            boot: BOOT,
        },
        State::Fencing {
            token: TOKEN,
            boot: BOOT,
        },
        State::Asking {
            token: TOKEN,
            known: Known::Forgotten,
        },
        State::Closing { token: TOKEN },
        State::Voiding { token: TOKEN },
        State::Closed { token: TOKEN },
        State::Stopped { token: TOKEN },
    ]
}

fn facts() -> Vec<ExposureFact> {
    let fired = (0..4).map(|contacts| ExposureFact::Fired { contacts });
    [
        ExposureFact::Running,
        ExposureFact::Never,
        ExposureFact::Unknown,
    ]
    .into_iter()
    .chain(fired)
    .collect()
}

fn marks() -> Vec<Option<Mark>> {
    let at = |shot, token| Some(Mark { shot, token });
    let mut marks = vec![None, at(ShotId(8), TOKEN), at(SHOT, TOKEN)];
    marks.extend(OTHERS.map(|token| at(SHOT, token)));
    marks
}

fn events() -> Vec<Event> {
    let mut events = vec![
        Event::PoseReached { boot: Some(BOOT) },
        Event::PoseReached { boot: None },
        Event::TakenUp,
        Event::Durable,
        Event::DiskFailed,
        Event::NoAnswer,
    ];
    for how in [
        Released::Took,
        Released::NotBegun,
        Released::Failed(Some(3)),
        Released::Failed(None),
        Released::TimedOut,
    ] {
        events.push(Event::Released { how });
    }
    for found in [
        Found::Unwatched,
        Found::Nothing,
        Found::One,
        Found::Several(2),
        Found::Flawed(Flaw::Unreadable),
        Found::Flawed(Flaw::Black),
        Found::Flawed(Flaw::Copy),
    ] {
        for steady in [false, true] {
            events.push(Event::Looked { found, steady });
        }
    }
    for token in OTHERS.into_iter().chain([TOKEN]) {
        events.extend(facts().into_iter().map(|fact| Event::Fact { token, fact }));
        events.push(Event::Refused { token });
        for exposed in [false, true] {
            events.push(Event::Verdict { token, exposed });
        }
    }
    for mark in marks() {
        for boot in [BOOT, LATER] {
            events.push(Event::Connected { boot, mark });
        }
    }
    events
}

/// The whole table, written from the exchange's description and not from the code: what follows,
/// or nothing where the event does not belong to the state.
fn expected(
    state: State,
    event: Event,
    contact: bool,
    pictures: bool,
) -> Option<(State, Option<Action>)> {
    let token = TOKEN;
    let fence = (
        State::Fencing { token, boot: BOOT },
        Some(Action::Fence { token }),
    );
    let void = (State::Voiding { token }, Some(Action::RecordVoid { token }));
    let ask = |known| {
        (
            State::Asking { token, known },
            Some(Action::Ask { token, known }),
        )
    };
    let done = |contacts| {
        (
            State::Closing { token },
            Some(Action::RecordDone { token, contacts }),
        )
    };
    let look = |contacts, doubt| {
        (
            State::Looking {
                token,
                contacts,
                doubt,
            },
            Some(Action::Look { token }),
        )
    };
    // Where pictures are watched, none is asked, nor anything closed, before one has been looked
    // for.
    let doubt = |contacts, known| {
        if pictures {
            look(contacts, Some(known))
        } else {
            ask(known)
        }
    };
    // Whatever was fired is looked at before it is closed.
    let fired = |contacts| look(contacts, None);
    let in_doubt = matches!(state, State::Firing { .. } | State::Fencing { .. });
    let fenced = matches!(state, State::Fencing { .. });
    Some(match event {
        Event::PoseReached { boot } if matches!(state, State::Ready { .. }) => (
            State::Intending { token, boot },
            Some(Action::RecordIntent { token, boot }),
        ),
        Event::Durable => match state {
            State::Intending { boot: None, .. } => {
                (State::Releasing { token }, Some(Action::Release { token }))
            }
            State::Intending { .. } => (
                State::Firing { token, boot: BOOT },
                Some(Action::Fire { token }),
            ),
            State::Closing { .. } => (State::Closed { token }, Some(Action::MoveOn)),
            State::Voiding { .. } => (
                State::Ready {
                    token: Token {
                        slot: 4,
                        attempt: 3,
                    },
                },
                None,
            ),
            _ => return None,
        },
        Event::DiskFailed
            if matches!(
                state,
                State::Intending { .. } | State::Closing { .. } | State::Voiding { .. }
            ) =>
        {
            (State::Stopped { token }, Some(Action::Stop))
        }
        Event::NoAnswer if in_doubt => (
            State::Fencing { token, boot: BOOT },
            Some(Action::Reconnect),
        ),
        Event::Fact { token: of, fact } if in_doubt && of == TOKEN => match fact {
            ExposureFact::Running if fenced => fence,
            ExposureFact::Running => (state, Some(Action::Watch { token })),
            ExposureFact::Fired { contacts } if contacts == 1 || !contact => fired(contacts),
            ExposureFact::Fired { contacts: 0 } => doubt(0, Known::NoContact),
            ExposureFact::Fired { contacts } => doubt(contacts, Known::Contacts(contacts)),
            // Only after a fence is "never" for good, and "unknown" all that will ever be known.
            ExposureFact::Never | ExposureFact::Unknown if !fenced => fence,
            ExposureFact::Never => void,
            ExposureFact::Unknown => doubt(0, Known::Forgotten),
        },
        Event::Refused { token: of } if of == TOKEN && matches!(state, State::Firing { .. }) => {
            fence
        }
        Event::Connected { boot: BOOT, .. } if in_doubt => fence,
        Event::Connected { mark, .. } if in_doubt => match mark {
            Some(mark) if mark.shot == SHOT && mark.token < TOKEN => void,
            Some(mark) if mark.shot == SHOT && mark.token > TOKEN => doubt(0, Known::MarkAhead),
            Some(mark) if mark.shot == SHOT => doubt(0, Known::ResetBegun),
            _ => doubt(0, Known::ResetNoMark),
        },
        Event::Released { how } if state == (State::Releasing { token }) => match how {
            Released::Took => fired(0),
            Released::NotBegun => void,
            Released::Failed(code) => doubt(0, Known::CommandFailed(code)),
            Released::TimedOut => doubt(0, Known::CommandTimedOut),
        },
        Event::TakenUp if state == (State::Releasing { token }) => doubt(0, Known::RunEnded),
        Event::Looked { found, steady } => match state {
            State::Looking {
                doubt: Some(known), ..
            } => ask(known),
            State::Looking { .. } if !steady => ask(Known::Disturbed),
            State::Looking { contacts, .. } => match found {
                Found::Unwatched if !pictures => done(contacts),
                Found::Unwatched => ask(Known::NoPicture),
                Found::One => done(contacts),
                Found::Nothing => ask(Known::NoPicture),
                Found::Several(count) => ask(Known::Pictures(count)),
                Found::Flawed(flaw) => ask(Known::Flawed(flaw)),
            },
            _ => return None,
        },
        Event::Verdict { token: of, exposed }
            if of == TOKEN && matches!(state, State::Asking { .. }) =>
        {
            let next = if exposed {
                State::Closing { token }
            } else {
                State::Voiding { token }
            };
            (next, Some(Action::RecordVerdict { token, exposed }))
        }
        _ => return None,
    })
}

#[test]
fn every_state_answers_every_event_as_the_exchange_says() {
    let (mut legal, mut ignored) = (0, 0);
    for (contact, pictures) in [(false, false), (false, true), (true, false), (true, true)] {
        for state in states() {
            for event in events() {
                let context = format!("{state:?}, {event:?}, contact {contact}, {pictures}");
                let is = step(state, event, rules(contact, pictures));
                match expected(state, event, contact, pictures) {
                    Some(follows) => {
                        legal += 1;
                        assert_eq!(is, follows, "{context}");
                    }
                    None => {
                        ignored += 1;
                        assert_eq!(is, (state, None), "{context}");
                    }
                }
                assert_eq!(is.0.token().slot, TOKEN.slot);
            }
        }
    }
    // By hand: 2 poses, 4 durable, 4 failures, 2 silences, 14 facts, 1 refusal, 28 sessions, 2
    // verdicts, 5 endings of a command, 1 taken up and 28 looks belong, of 89 events in each of
    // 13 states, with and without a contact, with and without pictures.
    assert_eq!((legal, legal + ignored), (4 * 91, 4 * 13 * 89));
}

#[test]
fn an_order_follows_only_a_durable_intent_and_the_last_attempt_is_not_passed() {
    for contact in [false, true] {
        for state in states() {
            for event in events() {
                let (_, action) = step(state, event, rules(contact, contact));
                let fires = matches!(action, Some(Action::Fire { .. } | Action::Release { .. }));
                let may = matches!(state, State::Intending { .. }) && event == Event::Durable;
                assert_eq!(fires, may, "{state:?}, {event:?}");
            }
        }
    }
    let token = Token {
        slot: 1,
        attempt: u16::MAX,
    };
    assert_eq!(
        step(State::Voiding { token }, Event::Durable, rules(true, false)),
        (State::Stopped { token }, Some(Action::Stop))
    );
}
