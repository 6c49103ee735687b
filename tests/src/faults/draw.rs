//! Takes and their faults drawn from seeds.

use panestep::sim::Random;

use super::plan::{Moment, Plan, PlannedFault};
use super::stand::{Build, CAMERA, Fire, MOTORS, Passes};
use super::trouble::{Blemish, Harm, Lapse, Slip, Trouble, Unsynced, Wish};

/// Families of faults: each seed enables a random half of them.
const FAMILIES: usize = 14;

fn below(random: &mut Random, count: u64) -> u64 {
    random.next() % count
}

fn unsynced(random: &mut Random) -> Unsynced {
    match below(random, 3) {
        0 => Unsynced::Kept,
        1 => Unsynced::Lost,
        _ => Unsynced::Torn(below(random, 120) as usize),
    }
}

fn trouble(family: usize, build: &Build, frames: u32, random: &mut Random) -> Option<Trouble> {
    let board = below(random, build.boards as u64) as usize;
    let axis = below(random, MOTORS as u64) as usize;
    let flag = random.chance(0.5);
    Some(match family {
        0 => Trouble::Bytes {
            board,
            to_board: flag,
            harm: match below(random, 7) {
                0 => Harm::Lost,
                1 => Harm::Twice,
                2 => Harm::Flipped,
                3 => Harm::Late(1 + below(random, 400)),
                4 => Harm::Short,
                5 => Harm::Merged,
                _ => Harm::Flood(1 + below(random, 1500) as u32),
            },
        },
        1 => Trouble::Cable {
            board,
            back: flag.then(|| 1 + below(random, 600)),
        },
        2 => match below(random, 5) {
            0 => Trouble::OpeningResets { board },
            _ => Trouble::Reset {
                board,
                keep_mark: flag,
                drop_port: below(random, 3) == 0,
            },
        },
        3 => match below(random, 3) {
            0 => Trouble::OtherBoard { board },
            1 => Trouble::OtherDevice { board },
            _ if build.boards > 1 => Trouble::Swapped,
            _ => return None,
        },
        4 => match below(random, 3) {
            0 => Trouble::Suspend {
                time: 100 + below(random, 5000),
            },
            _ => Trouble::Kill {
                unsynced: unsynced(random),
            },
        },
        5 => Trouble::PowerCut {
            keep_mark: flag,
            unsynced: unsynced(random),
        },
        6 => match below(random, 4) {
            0 => Trouble::DiskFull {
                room: below(random, 200) as usize,
            },
            1 => Trouble::SyncError,
            2 => Trouble::Older {
                lines: 1 + below(random, 12) as usize,
            },
            _ => Trouble::Damaged {
                at: below(random, 1000) as usize,
            },
        },
        7 if build.fire == Fire::Command => match below(random, 4) {
            0 | 1 => Trouble::CommandFails {
                code: 1 + below(random, 3) as i32,
                fired: flag,
            },
            2 => Trouble::CommandTimesOut { fired: flag },
            _ => Trouble::HandRelease,
        },
        7 if build.fire == Fire::Hand => Trouble::HandRelease,
        7 => match below(random, 6) {
            0 if build.flash_contact || build.pictures => Trouble::Camera(Lapse::Ignores),
            1 if build.flash_contact && !build.press_times => Trouble::Camera(Lapse::Twice),
            2 if build.flash_contact => Trouble::Camera(Lapse::NoContact),
            3 if build.flash_contact => Trouble::Camera(Lapse::Late(150 + below(random, 400))),
            4 => Trouble::HandRelease,
            5 => Trouble::Reset {
                board: CAMERA,
                keep_mark: flag,
                drop_port: false,
            },
            _ => return None,
        },
        8 => match below(random, 3) {
            0 => Trouble::Home { axis, stuck: flag },
            1 if build.far_switches => Trouble::Far { axis, stuck: flag },
            2 => Trouble::HomeMoved {
                axis,
                by: below(random, 60) as i32 - 30,
            },
            _ => return None,
        },
        9 => match below(random, 6) {
            0 => Trouble::StepsLost {
                axis,
                steps: 1 + below(random, 60) as u32,
            },
            1 => Trouble::StepsOften {
                axis,
                permille: 1 + below(random, 50) as u32,
            },
            2 => Trouble::WiresSwapped { axis },
            3 => Trouble::Backlash {
                axis,
                slack: below(random, 20) as u32,
            },
            4 => Trouble::MotorPower {
                back: flag.then(|| 1 + below(random, 3000)),
            },
            _ => Trouble::Driver { axis },
        },
        10 => Trouble::Stop,
        12 if build.pictures => Trouble::Picture(match below(random, 6) {
            0 => Blemish::Missing,
            1 => Blemish::Twice,
            2 => Blemish::Black,
            3 => Blemish::Copy,
            4 => Blemish::Unreadable,
            _ => Blemish::Late(below(random, 1500)),
        }),
        12 => return None,
        13 => {
            let first = 1 + below(random, u64::from(frames)) as u32;
            let last = first + below(random, u64::from(frames - first) + 1) as u32;
            Trouble::Wants(match below(random, 3) {
                0 => Wish::Again(first, last),
                1 => Wish::Back(1 + below(random, 2) as u32),
                _ => Wish::Drop(first, last),
            })
        }
        _ => match below(random, 5) {
            0 => Trouble::Interrupt,
            1 => Trouble::WalksAway,
            2 => Trouble::WrongAnswer,
            _ if build.hand => Trouble::Slip(match below(random, 4) {
                0 => Slip::WrongWay,
                1 => Slip::Short,
                2 => Slip::Double,
                _ => Slip::Nothing,
            }),
            _ => return None,
        },
    })
}

fn moment(frames: u32, build: &Build, what: &Trouble, random: &mut Random) -> Moment {
    if matches!(
        what,
        Trouble::Older { .. } | Trouble::Damaged { .. } | Trouble::Wants(_)
    ) {
        return Moment::Run(2 + below(random, 3) as u32);
    }
    let n = 1 + below(random, u64::from(frames) + 1) as u32;
    let resets_camera = matches!(what, Trouble::Reset { board: CAMERA, .. });
    if resets_camera && build.press_times && random.chance(0.6) {
        // In the midst of an exposure that the press times.
        return Moment::Opened(n);
    }
    let near = random.chance(0.5);
    if near {
        match below(random, 11) {
            0 => Moment::IntentComes(n),
            1 => Moment::IntentAppended(n),
            2 => Moment::IntentSynced(n),
            3 => Moment::Fired(n),
            4 => Moment::Pressed(n),
            5 => Moment::Opened(n),
            6 => Moment::Exposed(n),
            7 => Moment::Answered(n),
            8 => Moment::DoneComes(n),
            9 => Moment::DoneAppended(n),
            _ => Moment::DoneSynced(n),
        }
    } else {
        match below(random, 4) {
            0 => Moment::Event(1 + below(random, 900)),
            1 => Moment::Operation(1 + below(random, 40)),
            _ => Moment::Millisecond(below(random, 8000)),
        }
    }
}

impl Plan {
    /// Draws one: a random half of the families of faults, three to eight faults.
    #[must_use]
    pub fn draw(seed: u64) -> Self {
        let mut random = Random::new(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xFA17);
        let build = Build {
            boards: 1 + usize::from(random.chance(0.4)),
            hand: random.chance(0.3),
            flash_contact: random.chance(0.8),
            press_times: random.chance(0.25),
            runs_back: random.chance(0.4),
            far_switches: random.chance(0.7),
            fire: match below(&mut random, 20) {
                0..=3 => Fire::Command,
                4 | 5 => Fire::Hand,
                _ => Fire::Board,
            },
            pictures: random.chance(0.35),
            home_check: below(&mut random, 3) as u32,
            passes: match below(&mut random, 5) {
                0 => Passes::EachFrame,
                1 => Passes::AfterRun,
                _ => Passes::One,
            },
        };
        let build = Build {
            flash_contact: build.flash_contact && build.fire == Fire::Board,
            press_times: build.press_times && build.fire == Fire::Board,
            ..build
        };
        let frames = 1 + below(&mut random, 4) as u32;
        let mut families: Vec<usize> = (0..FAMILIES).filter(|_| random.chance(0.5)).collect();
        if families.is_empty() {
            families.push(below(&mut random, FAMILIES as u64) as usize);
        }
        let count = 3 + below(&mut random, 6) as usize;
        let mut faults = Vec::with_capacity(count);
        while faults.len() < count {
            let family = families[below(&mut random, families.len() as u64) as usize];
            let Some(what) = trouble(family, &build, frames, &mut random) else {
                // This stand has no such part; another family may have to do.
                families.push(below(&mut random, FAMILIES as u64) as usize);
                continue;
            };
            let when = moment(frames, &build, &what, &mut random);
            faults.push(PlannedFault { when, what });
        }
        // An older or damaged journal needs a second run to be found by.
        let needs_run = |fault: &PlannedFault| matches!(fault.when, Moment::Run(_));
        if faults.iter().all(needs_run) || random.chance(0.2) && faults.iter().any(needs_run) {
            faults.push(PlannedFault {
                when: Moment::Exposed(1 + below(&mut random, u64::from(frames)) as u32),
                what: Trouble::Interrupt,
            });
        }
        Self {
            seed,
            frames,
            build,
            faults,
            mutant: None,
        }
    }
}
