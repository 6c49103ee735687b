//! What can go wrong, with everything that it takes to let it.

use std::time::Duration;

use panestep::sim::{CameraFault, CrankSlip, Damage, Fault, Stranger, SwitchFault};
use panestep::stand::{AxisId, BoardId};
use serde::{Deserialize, Serialize};

use super::kind::Kind;

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
