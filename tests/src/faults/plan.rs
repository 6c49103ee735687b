//! One take, what goes wrong in it and when: drawn from a seed, or read from JSON.

use std::time::Duration;

use panestep::sim::{CameraFault, CrankSlip, Damage, Fault, Random, Stranger, SwitchFault};
use panestep::stand::{AxisId, BoardId};
use serde::{Deserialize, Serialize};

use super::kind::Kind;
use super::stand::{Build, CAMERA, Fire, MOTORS};

/// A take and its faults.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Plan {
    /// Everything that chance decides in the simulation follows from it.
    pub seed: u64,
    /// How many frames.
    pub frames: u32,
    /// What the stand is like.
    pub build: Build,
    /// What goes wrong.
    pub faults: Vec<PlannedFault>,
    /// What is broken on purpose in the take's surroundings, to see that it is found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mutant: Option<Mutant>,
}

/// Something that goes wrong at its moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct PlannedFault {
    /// When.
    pub when: Moment,
    /// What.
    pub what: Trouble,
}

/// When something goes wrong. Numbers count from 1, over the whole take.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Moment {
    /// With whatever happens first from so many milliseconds on.
    Millisecond(u64),
    /// With so many events of the world; steps are not counted.
    Event(u64),
    /// At so many operations of the journal's disk.
    Operation(u64),
    /// Before the n-th intent is appended.
    IntentComes(u32),
    /// When it has been appended and not yet synced.
    IntentAppended(u32),
    /// When it has been synced.
    IntentSynced(u32),
    /// When the order to fire has been sent for the n-th time.
    Fired(u32),
    /// When the release closes for the n-th time.
    Pressed(u32),
    /// When the shutter opens for the n-th time.
    Opened(u32),
    /// When it closes for the n-th time.
    Exposed(u32),
    /// When the board's first answer to the n-th order to fire sets out.
    Answered(u32),
    /// Before the n-th proof of an exposure is appended.
    DoneComes(u32),
    /// When it has been appended and not yet synced.
    DoneAppended(u32),
    /// When it has been synced.
    DoneSynced(u32),
    /// Before the n-th run of the program.
    Run(u32),
}

/// What becomes of a piece of bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Harm {
    /// Lost.
    Lost,
    /// Delivered twice.
    Twice,
    /// A bit flipped.
    Flipped,
    /// Late by so many milliseconds.
    Late(u64),
    /// Cut short.
    Short,
    /// Run into the next.
    Merged,
    /// Preceded by so many bytes of garbage.
    Flood(u32),
}

/// What a crash leaves of the bytes that were not synced.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unsynced {
    /// All.
    Kept,
    /// None.
    Lost,
    /// The first so many.
    Torn(usize),
}

/// What the camera does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Lapse {
    /// Ignores the release.
    Ignores,
    /// Fires twice.
    Twice,
    /// Does not close the contact.
    NoContact,
    /// Fires so many milliseconds late.
    Late(u64),
}

/// What becomes of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Blemish {
    /// It never comes.
    Missing,
    /// It comes twice.
    Twice,
    /// It is black.
    Black,
    /// It is a copy of the one before.
    Copy,
    /// It cannot be read.
    Unreadable,
    /// It comes so many milliseconds too late.
    Late(u64),
}

/// What a person wants changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wish {
    /// Frames from one to another shot again.
    Again(u32, u32),
    /// The last so many frames shot again.
    Back(u32),
    /// Frames from one to another left out.
    Drop(u32, u32),
}

/// What the person does at the crank.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Slip {
    /// Turns the wrong way.
    WrongWay,
    /// Goes half the way.
    Short,
    /// Goes twice as far.
    Double,
    /// Does nothing.
    Nothing,
}

/// Something that can go wrong. Axes and boards by their place in the stand.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", rename_all_fields = "kebab-case")]
pub enum Trouble {
    /// The next bytes are damaged.
    Bytes {
        /// The board.
        board: usize,
        /// Whether on the way to it.
        to_board: bool,
        /// How.
        harm: Harm,
    },
    /// A cable is pulled, and perhaps put back by itself.
    Cable {
        /// The board.
        board: usize,
        /// After so many milliseconds.
        back: Option<u64>,
    },
    /// A board is reset.
    Reset {
        /// The board.
        board: usize,
        /// Whether its mark is kept.
        keep_mark: bool,
        /// Whether its port drops out.
        drop_port: bool,
    },
    /// From now on opening its port resets a board.
    OpeningResets {
        /// The board.
        board: usize,
    },
    /// Power cut of stand and computer.
    PowerCut {
        /// Whether the mark is kept.
        keep_mark: bool,
        /// What becomes of the disk.
        unsynced: Unsynced,
    },
    /// Another board on a port.
    OtherBoard {
        /// Whose.
        board: usize,
    },
    /// Another device on a port.
    OtherDevice {
        /// Whose.
        board: usize,
    },
    /// The two boards' cables are swapped.
    Swapped,
    /// The host dies.
    Kill {
        /// What becomes of the disk.
        unsynced: Unsynced,
    },
    /// The computer is suspended.
    Suspend {
        /// For so many milliseconds.
        time: u64,
    },
    /// The disk is full but for so many bytes.
    DiskFull {
        /// That many.
        room: usize,
    },
    /// The next sync fails; a crash may follow.
    SyncError,
    /// The journal is an older copy: shorter by so many lines.
    Older {
        /// That many.
        lines: usize,
    },
    /// A bit of the journal is flipped, so far from its beginning.
    Damaged {
        /// Part of the whole, in thousandths.
        at: usize,
    },
    /// The camera does something else at its next press.
    Camera(Lapse),
    /// A hand presses the camera's release.
    HandRelease,
    /// The home switch's wire breaks, or the switch sticks.
    Home {
        /// The axis.
        axis: usize,
        /// Whether it sticks.
        stuck: bool,
    },
    /// The same at the other end.
    Far {
        /// The axis.
        axis: usize,
        /// Whether it sticks.
        stuck: bool,
    },
    /// A home switch slips.
    HomeMoved {
        /// The axis.
        axis: usize,
        /// So many hundredths of a millimetre.
        by: i32,
    },
    /// Steps are lost.
    StepsLost {
        /// The axis.
        axis: usize,
        /// How many.
        steps: u32,
    },
    /// Steps are lost again and again.
    StepsOften {
        /// The axis.
        axis: usize,
        /// How many of a thousand.
        permille: u32,
    },
    /// A motor turns the other way.
    WiresSwapped {
        /// The axis.
        axis: usize,
    },
    /// The slack of a drive changes.
    Backlash {
        /// The axis.
        axis: usize,
        /// To so many hundredths of a millimetre.
        slack: u32,
    },
    /// The motors' supply fails, and perhaps comes back by itself.
    MotorPower {
        /// After so many milliseconds.
        back: Option<u64>,
    },
    /// A driver dies.
    Driver {
        /// The axis.
        axis: usize,
    },
    /// Stop is pressed.
    Stop,
    /// Ctrl-C is pressed.
    Interrupt,
    /// The person walks away from the next question.
    WalksAway,
    /// The person slips at the crank.
    Slip(Slip),
    /// Something becomes of the next picture.
    Picture(Blemish),
    /// The command fails with this exit code the next time, before or after it has fired.
    CommandFails {
        /// The exit code.
        code: i32,
        /// Whether it has fired the camera.
        fired: bool,
    },
    /// The command takes too long the next time.
    CommandTimesOut {
        /// Whether it has fired the camera.
        fired: bool,
    },
    /// The person's next answer is wrong, and is taken back at the next run.
    WrongAnswer,
    /// The person wants something changed.
    Wants(Wish),
}

/// What is broken on purpose in the take's surroundings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "kebab-case")]
pub enum Mutant {
    /// A disk that says it has synced, and has not.
    LyingDisk,
    /// Boards that draw the same boot id at every start.
    SameBoot,
    /// A line on which every "fired" that answers a fence reads as "never".
    ForgedFence,
    /// A schedule that takes the exposure for over before it is.
    ShortWindow,
    /// A person who always says that the frame has been exposed.
    YesSayer,
    /// A folder in which a picture comes for every order to fire, and for no exposure.
    InventedPicture,
}

impl Mutant {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::LyingDisk,
        Self::SameBoot,
        Self::ForgedFence,
        Self::ShortWindow,
        Self::YesSayer,
        Self::InventedPicture,
    ];
}

impl Trouble {
    /// Its kind.
    #[must_use]
    pub fn kind(&self) -> Kind {
        match self {
            Self::DiskFull { .. } => Kind::DiskFull,
            Self::SyncError => Kind::SyncError,
            Self::Older { .. } => Kind::OlderJournal,
            Self::Damaged { .. } => Kind::JournalDamaged,
            Self::Interrupt => Kind::Interrupt,
            Self::WalksAway => Kind::WalksAway,
            Self::Picture(blemish) => match blemish {
                Blemish::Missing => Kind::PictureMissing,
                Blemish::Twice => Kind::PictureTwice,
                Blemish::Black => Kind::PictureBlack,
                Blemish::Copy => Kind::PictureCopy,
                Blemish::Unreadable => Kind::PictureUnreadable,
                Blemish::Late(_) => Kind::PictureLate,
            },
            Self::CommandFails { .. } => Kind::CommandFails,
            Self::CommandTimesOut { .. } => Kind::CommandTimesOut,
            Self::WrongAnswer => Kind::WrongAnswer,
            Self::Wants(Wish::Again(..)) => Kind::ShotAgain,
            Self::Wants(Wish::Back(_)) => Kind::SteppedBack,
            Self::Wants(Wish::Drop(..)) => Kind::LeftOut,
            _ => self
                .fault()
                .as_ref()
                .and_then(Kind::of)
                .unwrap_or(Kind::HostKilled),
        }
    }

    /// What strikes the simulated stand; `None` for what strikes disk or person.
    #[must_use]
    pub fn fault(&self) -> Option<Fault> {
        let axis = AxisId;
        let board = BoardId;
        Some(match *self {
            Self::Bytes {
                board: place,
                to_board,
                harm,
            } => Fault::Noise {
                board: board(place),
                to_board,
                damage: match harm {
                    Harm::Lost => Damage::Lost,
                    Harm::Twice => Damage::Twice,
                    Harm::Flipped => Damage::Flipped,
                    Harm::Late(time) => Damage::Late(Duration::from_millis(time)),
                    Harm::Short => Damage::Short,
                    Harm::Merged => Damage::Merged,
                    Harm::Flood(bytes) => Damage::Flood(bytes),
                },
            },
            Self::Cable { board: place, .. } => Fault::CableOut {
                board: board(place),
            },
            Self::Reset {
                board: place,
                keep_mark,
                drop_port,
            } => Fault::Reset {
                board: board(place),
                keep_mark,
                drop_port,
            },
            Self::OpeningResets { board: place } => Fault::OpeningResets {
                board: board(place),
                on: true,
            },
            Self::PowerCut { keep_mark, .. } => Fault::PowerCut { keep_mark },
            Self::OtherBoard { board: place } => Fault::Stranger {
                board: board(place),
                stranger: Some(Stranger::Named("bellows".into())),
            },
            Self::OtherDevice { board: place } => Fault::Stranger {
                board: board(place),
                stranger: Some(Stranger::Babbler),
            },
            Self::Swapped => Fault::Swapped {
                one: board(0),
                other: board(1),
            },
            Self::Kill { .. } => Fault::KillHost,
            Self::Suspend { time } => Fault::Suspend(Duration::from_millis(time)),
            Self::Camera(lapse) => Fault::Camera(match lapse {
                Lapse::Ignores => CameraFault::Ignores,
                Lapse::Twice => CameraFault::FiresTwice,
                Lapse::NoContact => CameraFault::NoContact,
                Lapse::Late(time) => CameraFault::Late(Duration::from_millis(time)),
            }),
            Self::HandRelease => Fault::HandRelease,
            Self::Home { axis: place, stuck } => Fault::HomeSwitch {
                axis: axis(place),
                fault: Some(wrong(stuck)),
            },
            Self::Far { axis: place, stuck } => Fault::FarSwitch {
                axis: axis(place),
                fault: Some(wrong(stuck)),
            },
            Self::HomeMoved { axis: place, by } => Fault::HomeSwitchMoved {
                axis: axis(place),
                by: f64::from(by) / 100.0,
            },
            Self::StepsLost { axis: place, steps } => Fault::LoseSteps {
                axis: axis(place),
                steps,
            },
            Self::StepsOften {
                axis: place,
                permille,
            } => Fault::LoseOften {
                axis: axis(place),
                chance: f64::from(permille) / 1000.0,
            },
            Self::WiresSwapped { axis: place } => Fault::SwapWires { axis: axis(place) },
            Self::Backlash { axis: place, slack } => Fault::Backlash {
                axis: axis(place),
                slack: f64::from(slack) / 100.0,
            },
            Self::MotorPower { .. } => Fault::MotorPower { on: false },
            Self::Driver { axis: place } => Fault::Driver {
                axis: axis(place),
                dead: true,
            },
            Self::Stop => Fault::StopPressed,
            Self::Slip(slip) => Fault::Crank(match slip {
                Slip::WrongWay => CrankSlip::WrongWay,
                Slip::Short => CrankSlip::Short(0.5),
                Slip::Double => CrankSlip::Double,
                Slip::Nothing => CrankSlip::Nothing,
            }),
            Self::DiskFull { .. }
            | Self::SyncError
            | Self::Older { .. }
            | Self::Damaged { .. }
            | Self::Interrupt
            | Self::Picture(_)
            | Self::CommandFails { .. }
            | Self::CommandTimesOut { .. }
            | Self::WrongAnswer
            | Self::Wants(_)
            | Self::WalksAway => return None,
        })
    }

    /// What mends it, and whether it stays until somebody does.
    #[must_use]
    pub fn mended_by(&self) -> Option<Fault> {
        Some(match *self {
            Self::Cable { board, .. } => Fault::CableIn {
                board: BoardId(board),
            },
            Self::OtherBoard { board } | Self::OtherDevice { board } => Fault::Stranger {
                board: BoardId(board),
                stranger: None,
            },
            Self::OpeningResets { board } => Fault::OpeningResets {
                board: BoardId(board),
                on: false,
            },
            Self::Home { axis, .. } => Fault::HomeSwitch {
                axis: AxisId(axis),
                fault: None,
            },
            Self::Far { axis, .. } => Fault::FarSwitch {
                axis: AxisId(axis),
                fault: None,
            },
            Self::StepsOften { axis, .. } => Fault::LoseOften {
                axis: AxisId(axis),
                chance: 0.0,
            },
            Self::MotorPower { .. } => Fault::MotorPower { on: true },
            Self::Driver { axis } => Fault::Driver {
                axis: AxisId(axis),
                dead: false,
            },
            Self::Stop => Fault::StopReleased,
            Self::Swapped | Self::WiresSwapped { .. } => self.fault()?,
            _ => return None,
        })
    }

    /// Softer versions of itself.
    #[must_use]
    pub fn softer(&self) -> Vec<Self> {
        match *self {
            Self::Bytes {
                board,
                to_board,
                harm,
            } => {
                let harm = match harm {
                    Harm::Flood(bytes) if bytes > 8 => Harm::Flood(bytes / 2),
                    Harm::Late(time) if time > 20 => Harm::Late(time / 2),
                    _ => return Vec::new(),
                };
                vec![Self::Bytes {
                    board,
                    to_board,
                    harm,
                }]
            }
            Self::Suspend { time } if time > 200 => vec![Self::Suspend { time: time / 2 }],
            Self::StepsLost { axis, steps } if steps > 1 => vec![Self::StepsLost {
                axis,
                steps: steps / 2,
            }],
            Self::PowerCut {
                keep_mark,
                unsynced,
            } if unsynced != Unsynced::Kept => {
                vec![Self::PowerCut {
                    keep_mark,
                    unsynced: Unsynced::Kept,
                }]
            }
            Self::Kill { unsynced } if unsynced != Unsynced::Kept => vec![Self::Kill {
                unsynced: Unsynced::Kept,
            }],
            Self::PowerCut { unsynced, .. } => vec![Self::Kill { unsynced }],
            Self::Reset {
                board,
                keep_mark,
                drop_port: true,
            } => vec![Self::Reset {
                board,
                keep_mark,
                drop_port: false,
            }],
            Self::Reset {
                board,
                keep_mark: false,
                drop_port,
            } => vec![Self::Reset {
                board,
                keep_mark: true,
                drop_port,
            }],
            Self::Cable {
                board,
                back: Some(_),
            } => vec![Self::Cable { board, back: None }],
            _ => Vec::new(),
        }
    }
}

fn wrong(stuck: bool) -> SwitchFault {
    if stuck {
        SwitchFault::Stuck
    } else {
        SwitchFault::BrokenWire
    }
}

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
