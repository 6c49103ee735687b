//! Every order of events around a few exposures, explored with stateright through the production
//! transition function: a board, a command or a person that fires, a camera, a disk, a line and a
//! program that fail at any moment. Small by intent; what it has to find in the broken variants
//! shows that it looks in the right places.
//!
//! What it takes for granted: a record that is synced stays; a picture lies in its folder by the
//! time that the folder is looked at, or never comes; nobody uses the camera between an intent and
//! its end; a person who is asked waits until nothing is under way any more, and says what is true.

#![allow(clippy::print_stdout, reason = "the numbers of states")]

mod broken;
mod model;
mod world;

use std::collections::{HashMap, HashSet, VecDeque};
use std::hash::{DefaultHasher, Hash, Hasher};

use broken::Broken;
use model::{DISPLACED, ENDS, Exchange, SKIPPED, TWICE, UNRECORDED};
use panestep::take::exposure::Action;
use stateright::{Checker, HasDiscoveries, Model};
use world::{Budget, Fires, Host, World};

const CALM: Budget = Budget {
    crashes: 0,
    resets: 0,
    silences: 0,
    refusals: 0,
    disk: 0,
    camera: 0,
    release: 0,
    strays: 0,
    disturbed: 0,
};

/// Every stand: what fires, with a flash contact or without, with watched pictures or without.
fn stands(slots: u32, budget: Budget) -> impl Iterator<Item = Exchange> {
    let ways = [
        (Fires::Board, false),
        (Fires::Board, true),
        (Fires::Command, false),
        (Fires::Hand, false),
    ];
    ways.into_iter().flat_map(move |(fires, flash_contact)| {
        [false, true].map(|pictures| Exchange {
            slots,
            fires,
            flash_contact,
            pictures,
            budget,
            broken: Broken::Nothing,
        })
    })
}

/// Explores everything; how many states there are.
fn explore(model: Exchange) -> usize {
    let checker = model.checker().spawn_bfs().join();
    let states = checker.unique_state_count();
    println!(
        "{states:8} states: {} slots, {:?}, contact {}, pictures {}, {:?}",
        model.slots, model.fires, model.flash_contact, model.pictures, model.budget
    );
    for property in [TWICE, SKIPPED, DISPLACED, UNRECORDED] {
        if let Some(path) = checker.discovery(property) {
            panic!("not so: {property}: {:#?}", path.into_actions());
        }
    }
    checker.assert_any_discovery(ENDS);
    states
}

/// Stands for a state in a search: the states themselves would take too much room.
fn fingerprint(world: &World) -> u64 {
    let mut hasher = DefaultHasher::new();
    world.hash(&mut hasher);
    hasher.finish()
}

/// From every state there is a way to the end. (Stateright's `eventually` is no proof of it: it
/// stops at states that it has seen before. So this goes backwards from the ends.)
fn ends_from_everywhere(model: Exchange) {
    let mut numbers: HashMap<_, u32> = HashMap::new();
    let mut comes_from: Vec<Vec<u32>> = Vec::new();
    let mut open = VecDeque::new();
    let mut ends = Vec::new();
    for world in model.init_states() {
        numbers.insert(fingerprint(&world), 0);
        comes_from.push(Vec::new());
        open.push_back((0, world));
    }
    while let Some((number, world)) = open.pop_front() {
        if world.host == Host::Finished {
            ends.push(number);
        }
        for (_, next) in model.next_steps(&world) {
            let new = comes_from.len() as u32;
            let next_number = *numbers.entry(fingerprint(&next)).or_insert(new);
            if next_number == new {
                comes_from.push(Vec::new());
                open.push_back((new, next));
            }
            comes_from[next_number as usize].push(number);
        }
    }
    let mut reached = vec![false; comes_from.len()];
    let mut left = comes_from.len();
    while let Some(number) = ends.pop() {
        if !std::mem::replace(&mut reached[number as usize], true) {
            left -= 1;
            ends.extend(&comes_from[number as usize]);
        }
    }
    assert_eq!(left, 0, "states without a way to the end: {model:?}");
}

#[test]
fn no_order_of_events_doubles_or_skips_an_exposure() {
    let mut states = 0;
    for budget in [
        CALM,
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
            disk: 1,
            ..CALM
        },
        Budget {
            crashes: 1,
            camera: 1,
            release: 1,
            strays: 1,
            ..CALM
        },
        Budget {
            resets: 1,
            refusals: 1,
            camera: 1,
            release: 2,
            ..CALM
        },
        Budget {
            crashes: 2,
            disk: 1,
            release: 1,
            ..CALM
        },
        Budget {
            crashes: 1,
            silences: 1,
            release: 1,
            disturbed: 1,
            ..CALM
        },
        Budget {
            resets: 1,
            disturbed: 1,
            ..CALM
        },
    ] {
        for model in stands(2, budget) {
            let found = explore(model);
            // A budget that is not used up explores nothing.
            assert!(found > 15, "{model:?}: only {found} states");
            states += found;
        }
    }
    println!("{states:8} states in all");
}

#[test]
fn nor_does_any_over_three_exposures() {
    let mut states = 0;
    for budget in [
        Budget {
            crashes: 1,
            silences: 1,
            release: 1,
            ..CALM
        },
        Budget {
            resets: 1,
            camera: 1,
            strays: 1,
            release: 1,
            ..CALM
        },
    ] {
        states += stands(3, budget).map(explore).sum::<usize>();
    }
    println!("{states:8} states in all");
}

#[test]
fn there_is_always_a_way_to_the_end() {
    let all = Budget {
        crashes: 1,
        resets: 1,
        silences: 0,
        refusals: 1,
        disk: 0,
        camera: 1,
        release: 1,
        strays: 0,
        disturbed: 0,
    };
    let disk = Budget {
        crashes: 1,
        disk: 1,
        silences: 1,
        ..CALM
    };
    for budget in [all, disk] {
        stands(2, budget).for_each(ends_from_everywhere);
    }
}

/// Where nothing goes wrong, nobody is asked, and each slot takes one pulse.
#[test]
fn a_calm_take_asks_nobody() {
    for model in stands(2, CALM) {
        let mut open = model.init_states();
        let mut seen = HashSet::new();
        while let Some(world) = open.pop() {
            assert!(
                !matches!(world.host, Host::Doing(_, Action::Ask { .. })),
                "{model:?}: {world:?}"
            );
            if world.host == Host::Finished {
                assert_eq!(world.pulses, [1, 1], "{model:?}");
            }
            if seen.insert(fingerprint(&world)) {
                open.extend(model.next_steps(&world).into_iter().map(|(_, next)| next));
            }
        }
    }
}

#[test]
fn whatever_is_left_out_of_the_exchange_is_found() {
    let line = Budget {
        crashes: 1,
        resets: 1,
        silences: 1,
        ..CALM
    };
    let camera = Budget {
        resets: 1,
        camera: 1,
        strays: 1,
        ..CALM
    };
    let release = Budget {
        crashes: 1,
        release: 1,
        ..CALM
    };
    let disturbed = Budget {
        disturbed: 1,
        ..CALM
    };
    let board = |flash_contact, pictures| (Fires::Board, flash_contact, pictures);
    let command = (Fires::Command, false, false);
    let watched = (Fires::Command, false, true);
    let hand = (Fires::Hand, false, false);
    for (broken, budget, stand, finds) in [
        (
            Broken::FireBeforeDurable,
            line,
            board(true, false),
            UNRECORDED,
        ),
        (Broken::FireBeforeDurable, release, command, UNRECORDED),
        (Broken::FireBeforeDurable, release, hand, UNRECORDED),
        (Broken::RetryWithoutFence, line, board(true, false), TWICE),
        (Broken::RetryWithoutFence, line, board(false, true), TWICE),
        (Broken::AskInsteadOfFence, line, board(true, false), TWICE),
        (Broken::NoBoot, line, board(true, false), TWICE),
        (Broken::AssumeExposed, line, board(true, false), SKIPPED),
        (Broken::AssumeExposed, line, board(false, true), SKIPPED),
        (Broken::AssumeNot, line, board(true, false), TWICE),
        (Broken::NoHighWater, line, board(true, false), TWICE),
        (Broken::MoveOnInDoubt, line, board(true, false), SKIPPED),
        (Broken::IgnoreContact, camera, board(true, false), SKIPPED),
        (
            Broken::CloseWithoutLooking,
            camera,
            board(false, true),
            SKIPPED,
        ),
        (Broken::CloseWithoutLooking, camera, watched, SKIPPED),
        (
            Broken::IgnoreDisturbance,
            disturbed,
            board(true, true),
            DISPLACED,
        ),
        (
            Broken::IgnoreDisturbance,
            disturbed,
            board(false, false),
            DISPLACED,
        ),
        (Broken::IgnoreDisturbance, disturbed, command, DISPLACED),
        (Broken::IgnoreDisturbance, disturbed, hand, DISPLACED),
        (Broken::OldPictures, camera, board(false, true), SKIPPED),
        (Broken::OldPictures, camera, watched, SKIPPED),
        (Broken::PictureDecides, camera, board(true, true), SKIPPED),
        (Broken::RetryFailed, release, command, TWICE),
        (Broken::RetryFailed, release, watched, TWICE),
        (Broken::RetryHung, release, command, TWICE),
        (Broken::FailedIsDone, release, command, SKIPPED),
        (Broken::ForgetOpen, release, command, TWICE),
        (Broken::ForgetOpen, release, hand, TWICE),
        (Broken::OpenIsDone, release, command, SKIPPED),
        (Broken::OpenIsDone, release, hand, SKIPPED),
    ] {
        let (fires, flash_contact, pictures) = stand;
        let model = Exchange {
            slots: 2,
            fires,
            flash_contact,
            pictures,
            budget,
            broken,
        };
        let checker = model
            .checker()
            .finish_when(HasDiscoveries::AnyFailures)
            .spawn_bfs()
            .join();
        let states = checker.unique_state_count();
        let Some(path) = checker.discovery(finds) else {
            panic!("{broken:?} for {fires:?} was not found in {states} states");
        };
        let events = path.into_actions();
        println!("{broken:?} for {fires:?}: found by {} events", events.len());
        assert!(!events.is_empty(), "{broken:?}");
    }
}
