//! What is left out of the exchange, to see whether that is found.

use panestep::take::exposure::{Action, Event, Known, Released, Rules, State, step};
use panestep_protocol::ExposureFact;

use super::world::World;

/// One thing left out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Broken {
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
    /// The contact is wired, but not looked at.
    IgnoreContact,
    /// An axis that was let go of meanwhile is not noticed.
    IgnoreDisturbance,
    /// Pictures are watched, but not looked at.
    CloseWithoutLooking,
    /// Pictures from before the intent count.
    OldPictures,
    /// Any picture decides, also where there is a doubt.
    PictureDecides,
    /// A command that failed counts as not exposed.
    RetryFailed,
    /// A command that hung counts as not exposed.
    RetryHung,
    /// A command that failed counts as exposed.
    FailedIsDone,
    /// What a new run finds open counts as not exposed.
    ForgetOpen,
    /// What a new run finds open counts as exposed.
    OpenIsDone,
}

/// The production function, or what a broken variant makes of it.
pub(crate) fn broken_step(
    broken: Broken,
    world: &World,
    state: State,
    event: Event,
    rules: Rules,
) -> (State, Option<Action>) {
    let token = state.token();
    let void = (State::Voiding { token }, Some(Action::RecordVoid { token }));
    let done = {
        let contacts = 1;
        let action = Action::RecordDone { token, contacts };
        (State::Closing { token }, Some(action))
    };
    let reset = matches!(state, State::Fencing { boot, .. } if boot != world.board.boot);
    match (broken, state, event) {
        (Broken::RetryWithoutFence, State::Firing { .. }, Event::NoAnswer)
        | (
            Broken::RetryFailed,
            State::Releasing { .. },
            Event::Released {
                how: Released::Failed(_),
            },
        )
        | (
            Broken::RetryHung,
            State::Releasing { .. },
            Event::Released {
                how: Released::TimedOut,
            },
        )
        | (Broken::ForgetOpen, State::Releasing { .. }, Event::TakenUp) => void,
        (
            Broken::FailedIsDone,
            State::Releasing { .. },
            Event::Released {
                how: Released::Failed(_),
            },
        )
        | (Broken::MoveOnInDoubt, State::Firing { .. }, Event::NoAnswer)
        | (Broken::OpenIsDone, State::Releasing { .. }, Event::TakenUp) => done,
        (Broken::AssumeNot, State::Fencing { .. }, Event::Connected { .. }) if reset => void,
        (Broken::AssumeExposed, State::Fencing { .. }, Event::Connected { .. }) if reset => done,
        (Broken::NoBoot, State::Fencing { boot, .. }, Event::Connected { mark, .. }) => {
            step(state, Event::Connected { boot, mark }, rules)
        }
        (Broken::IgnoreContact, ..) => {
            let flash_contact = false;
            step(
                state,
                event,
                Rules {
                    flash_contact,
                    ..rules
                },
            )
        }
        (
            Broken::CloseWithoutLooking,
            State::Firing { .. } | State::Fencing { .. },
            Event::Fact {
                fact: ExposureFact::Fired { .. },
                ..
            },
        )
        | (
            Broken::CloseWithoutLooking,
            State::Releasing { .. },
            Event::Released {
                how: Released::Took,
            },
        ) => done,
        (Broken::IgnoreDisturbance, _, Event::Looked { found, .. }) => {
            let steady = true;
            step(state, Event::Looked { found, steady }, rules)
        }
        (
            Broken::PictureDecides,
            State::Looking {
                token,
                contacts,
                doubt: Some(Known::ResetBegun | Known::ResetNoMark | Known::RunEnded),
            },
            Event::Looked { found, .. },
        ) => {
            let state = State::Looking {
                token,
                contacts,
                doubt: None,
            };
            let steady = true;
            step(state, Event::Looked { found, steady }, rules)
        }
        _ => step(state, event, rules),
    }
}
