//! Whatever entries come, sensible or not: a journal's state is what a plain count of its frames
//! says, a refused entry changes nothing, and the bytes read back amount to the same.

use std::collections::BTreeMap;

use panestep::take::journal::{Hex, Picture, replay};
use panestep::take::{
    Disk, Drift, Entry, Journal, JournalError, SimulatedDisk, Span, Standing, TakeState,
};
use panestep_protocol::ShotId;
use proptest::prelude::*;

use crate::rig::{schedule, stamp};

const FRAMES: u32 = 7;

fn spans() -> impl Strategy<Value = Vec<Span>> {
    // One beyond the last frame, now and then.
    let one = (1..=FRAMES + 1, 0..3_u32).prop_filter_map("a span", |(first, more)| {
        Span::new(first, (first + more).min(FRAMES + 1))
    });
    proptest::collection::vec(one, 1..3)
}

/// What may come next; slots and tries are filled in so that they mostly fit.
#[derive(Clone, Debug)]
enum Move {
    Intent,
    Done(Option<u8>),
    Void,
    Verdict(bool),
    TakenBack(u32, bool),
    Vouched(u32),
    Behind(u32),
    Entry(Entry),
}

fn moves() -> impl Strategy<Value = Move> {
    let drift = || Drift {
        axis: "reeds east".into(),
        steps: 30,
        amount: 0.075,
        unit: "mm".into(),
        pixels: 1.5,
    };
    let checked = Entry::Checked {
        off: BTreeMap::from([("reeds east".to_owned(), 1)]),
    };
    prop_oneof![
        6 => Just(Move::Intent),
        6 => proptest::option::of(0..9_u8).prop_map(Move::Done),
        1 => Just(Move::Void),
        2 => any::<bool>().prop_map(Move::Verdict),
        1 => (1..=FRAMES, any::<bool>()).prop_map(|(frame, exposed)| Move::TakenBack(frame, exposed)),
        1 => (1..=FRAMES).prop_map(Move::Vouched),
        1 => (0..3_u32).prop_map(Move::Behind),
        1 => spans().prop_map(|frames| Move::Entry(Entry::Again { frames, why: "a test".into() })),
        1 => spans().prop_map(|frames| Move::Entry(Entry::Dropped { frames })),
        1 => spans().prop_map(move |frames| Move::Entry(Entry::Suspect { drift: drift(), frames })),
        1 => Just(Move::Entry(Entry::Kept)),
        2 => (1..=FRAMES).prop_map(|frame| Move::Entry(Entry::Chosen { frame })),
        1 => Just(Move::Entry(checked)),
        1 => proptest::option::of(-9..9_i32).prop_map(|off| Move::Entry(Entry::Homed {
            axis: "reeds east".into(), boot: Hex(5), was: -5600, off,
        })),
        1 => (1..4_u32).prop_map(|number| Move::Entry(Entry::Session {
            board: "main".into(), boot: Hex(5), number,
        })),
        2 => Just(Move::Entry(Entry::Finished)),
    ]
}

/// Boards that may have left a slot dark: at every third.
fn dark(slot: u32) -> Vec<String> {
    let names = if slot.is_multiple_of(3) {
        &["main"][..]
    } else {
        &[]
    };
    names.iter().map(|name| (*name).to_owned()).collect()
}

/// The entry that a move comes to, as things stand.
fn entry(next: &Move, state: &TakeState) -> Entry {
    let token = state.open.map_or(state.next, |open| open.token);
    let (slot, attempt) = (token.slot, token.attempt);
    match next {
        Move::Intent => Entry::Intent {
            frame: state.next_frame().unwrap_or(1),
            slot,
            attempt,
            boot: Some(Hex(5)),
        },
        Move::Done(picture) => Entry::Done {
            slot,
            attempt,
            contacts: 1,
            picture: picture.map(|number| Picture {
                file: format!("tide-{number}"),
                digest: Hex(number.into()),
            }),
            unlit: dark(slot),
        },
        Move::Void => Entry::Void { slot, attempt },
        Move::Verdict(exposed) => Entry::Verdict {
            slot,
            attempt,
            exposed: *exposed,
            known: "a test".into(),
            picture: None,
            others: vec!["tide-99".into()],
            unlit: dark(slot),
        },
        Move::TakenBack(frame, exposed) => {
            let of = state.verdict(*frame).map_or(token, |(token, _)| token);
            Entry::TakenBack {
                slot: of.slot,
                attempt: of.attempt,
                exposed: *exposed,
            }
        }
        Move::Vouched(frame) => Entry::Vouched { frame: *frame },
        Move::Behind(more) => Entry::Behind {
            board: "main".into(),
            slot: slot + more,
            attempt,
        },
        Move::Entry(entry) => entry.clone(),
    }
}

fn count(state: &TakeState, standing: Standing) -> u32 {
    (1..=FRAMES)
        .filter(|&frame| state.frame(frame).expect("a frame").standing == standing)
        .count() as u32
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_entries_leave_a_state_that_counts_and_reads_back(moves in proptest::collection::vec(moves(), 0..60)) {
        let mut schedule = schedule(false);
        schedule.frames = FRAMES;
        let disk = SimulatedDisk::default();
        let begun = Entry::begun(&schedule, "art", "", ShotId(7));
        let mut journal = Journal::begin(Box::new(disk.clone()), stamp(), &begun).expect("a disk");
        let mut chosen = None;
        for next in &moves {
            let entry = entry(next, journal.state());
            let (before, bytes) = (journal.state().clone(), disk.bytes());
            let spent = before.spent;
            match journal.record(&entry) {
                Ok(()) => {}
                Err(JournalError::OutOfOrder { .. }) => {
                    prop_assert_eq!(journal.state(), &before, "{:?} was refused", entry);
                    prop_assert_eq!(disk.bytes(), bytes);
                    continue;
                }
                Err(error) => return Err(TestCaseError::fail(error.to_string())),
            }
            let state = journal.state();
            prop_assert!(state.spent >= spent && state.next > state.spent, "tokens only rise");
            let wanted: Vec<u32> = state.wanted().collect();
            prop_assert_eq!(wanted.len() as u32, count(state, Standing::Wanted));
            prop_assert_eq!(state.left(), count(state, Standing::Wanted));
            prop_assert_eq!(state.dropped(), count(state, Standing::Dropped));
            if let Entry::Chosen { frame } = entry {
                chosen = Some(frame);
            }
            chosen = chosen.filter(|frame| wanted.contains(frame));
            prop_assert_eq!(state.next_frame(), chosen.or(wanted.first().copied()));
            for frame in state.unchecked() {
                let standing = state.frame(frame).expect("a frame").standing;
                prop_assert_eq!(standing, Standing::Exposed, "frame {} waits for a check", frame);
            }
            if state.finished {
                prop_assert!(wanted.is_empty() && state.open.is_none() && state.suspects().is_none());
            }
        }
        let read = replay(&disk.bytes()).expect("sound");
        prop_assert_eq!(&read.state, journal.state());
        drop(journal);
        let resumed = Journal::resume(Box::new(disk.clone()), stamp()).expect("sound");
        prop_assert_eq!(resumed.state(), &read.state);
        // Every shorter journal reads back too, or never began.
        let bytes = disk.bytes();
        let cut = bytes.len() / 2;
        let mut shorter = SimulatedDisk::default();
        shorter.append(&bytes[..cut]).expect("room");
        match replay(&shorter.bytes()) {
            Ok(read) => prop_assert!(read.sound <= cut),
            Err(error) => prop_assert!(matches!(error, JournalError::Empty), "{}", error),
        }
    }
}
