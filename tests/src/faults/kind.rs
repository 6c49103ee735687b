//! What can go wrong, in plain words.

use panestep::sim::{CameraFault, Damage, Fault, Stranger, SwitchFault};

/// A kind of fault. Counted where it really struck.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A piece of bytes lost.
    BytesLost,
    /// A piece delivered twice.
    BytesTwice,
    /// A bit flipped.
    BitFlipped,
    /// A piece held back and delivered late.
    BytesLate,
    /// A piece cut short.
    BytesShort,
    /// A piece merged with the next.
    BytesMerged,
    /// A flood of garbage.
    Flood,
    /// A cable pulled.
    CableOut,
    /// A board reset, its mark kept.
    Reset,
    /// A board reset, its mark lost.
    ResetForgets,
    /// A board reset whose port drops out.
    ResetDrops,
    /// Opening the port resets the board.
    OpeningResets,
    /// Power cut of stand and computer.
    PowerCut,
    /// A board of another name on the port.
    OtherBoard,
    /// Another device on the port.
    OtherDevice,
    /// Two boards' cables swapped.
    Swapped,
    /// The host killed.
    HostKilled,
    /// The computer suspended.
    Suspended,
    /// The disk full.
    DiskFull,
    /// A sync that fails.
    SyncError,
    /// The journal replaced by an older copy.
    OlderJournal,
    /// A byte of the journal damaged.
    JournalDamaged,
    /// A crash that loses or tears what was not synced.
    UnsyncedLost,
    /// The camera ignores the release.
    CameraIgnores,
    /// The camera fires twice.
    CameraTwice,
    /// The flash contact does not close.
    NoContact,
    /// The camera fires late.
    CameraLate,
    /// A hand on the camera's release.
    HandRelease,
    /// An exposure cut short by a reset.
    ExposureCut,
    /// A home switch's wire broken.
    HomeWire,
    /// A home switch stuck.
    HomeStuck,
    /// A far switch's wire broken.
    FarWire,
    /// A far switch stuck.
    FarStuck,
    /// A home switch moved.
    HomeMoved,
    /// Some steps lost.
    StepsLost,
    /// Steps lost at random for a while.
    StepsOften,
    /// A motor's wires swapped.
    WiresSwapped,
    /// The slack of a drive changed.
    Backlash,
    /// The motors' supply lost.
    MotorPower,
    /// A driver dead.
    Driver,
    /// Stop pressed.
    Stop,
    /// The person presses Ctrl-C.
    Interrupt,
    /// The person walks away from a question.
    WalksAway,
    /// The person slips at a crank.
    CrankSlip,
    /// A picture lost on the way.
    PictureMissing,
    /// A picture that comes twice.
    PictureTwice,
    /// A black picture.
    PictureBlack,
    /// A copy of an earlier picture.
    PictureCopy,
    /// A picture that cannot be read.
    PictureUnreadable,
    /// A picture that comes too late.
    PictureLate,
    /// The command that fires fails.
    CommandFails,
    /// The command that fires takes too long.
    CommandTimesOut,
    /// A wrong answer, taken back later.
    WrongAnswer,
    /// Frames shot again on request.
    ShotAgain,
    /// The last frames shot again on request.
    SteppedBack,
    /// Frames left out on request.
    LeftOut,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 56] = [
        Self::BytesLost,
        Self::BytesTwice,
        Self::BitFlipped,
        Self::BytesLate,
        Self::BytesShort,
        Self::BytesMerged,
        Self::Flood,
        Self::CableOut,
        Self::Reset,
        Self::ResetForgets,
        Self::ResetDrops,
        Self::OpeningResets,
        Self::PowerCut,
        Self::OtherBoard,
        Self::OtherDevice,
        Self::Swapped,
        Self::HostKilled,
        Self::Suspended,
        Self::DiskFull,
        Self::SyncError,
        Self::OlderJournal,
        Self::JournalDamaged,
        Self::UnsyncedLost,
        Self::CameraIgnores,
        Self::CameraTwice,
        Self::NoContact,
        Self::CameraLate,
        Self::HandRelease,
        Self::ExposureCut,
        Self::HomeWire,
        Self::HomeStuck,
        Self::FarWire,
        Self::FarStuck,
        Self::HomeMoved,
        Self::StepsLost,
        Self::StepsOften,
        Self::WiresSwapped,
        Self::Backlash,
        Self::MotorPower,
        Self::Driver,
        Self::Stop,
        Self::Interrupt,
        Self::WalksAway,
        Self::CrankSlip,
        Self::PictureMissing,
        Self::PictureTwice,
        Self::PictureBlack,
        Self::PictureCopy,
        Self::PictureUnreadable,
        Self::PictureLate,
        Self::CommandFails,
        Self::CommandTimesOut,
        Self::WrongAnswer,
        Self::ShotAgain,
        Self::SteppedBack,
        Self::LeftOut,
    ];

    /// In plain words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::BytesLost => "bytes lost on the line",
            Self::BytesTwice => "bytes delivered twice",
            Self::BitFlipped => "a bit flipped on the line",
            Self::BytesLate => "bytes held back and delivered late",
            Self::BytesShort => "a message cut short",
            Self::BytesMerged => "two messages run into each other",
            Self::Flood => "a flood of garbage on the line",
            Self::CableOut => "cable pulled",
            Self::Reset => "board reset, mark kept",
            Self::ResetForgets => "board reset, mark lost",
            Self::ResetDrops => "board reset, port drops out",
            Self::OpeningResets => "opening the port resets the board",
            Self::PowerCut => "power cut of stand and computer",
            Self::OtherBoard => "board of another name on the port",
            Self::OtherDevice => "another device on the port",
            Self::Swapped => "cables of two boards swapped",
            Self::HostKilled => "host killed",
            Self::Suspended => "computer suspended",
            Self::DiskFull => "disk full",
            Self::SyncError => "sync fails",
            Self::OlderJournal => "journal replaced by an older copy",
            Self::JournalDamaged => "byte of the journal damaged",
            Self::UnsyncedLost => "crash loses or tears unsynced bytes",
            Self::CameraIgnores => "camera ignores the release",
            Self::CameraTwice => "camera fires twice",
            Self::NoContact => "flash contact does not close",
            Self::CameraLate => "camera fires late",
            Self::HandRelease => "a hand on the camera's release",
            Self::ExposureCut => "exposure cut short by a reset",
            Self::HomeWire => "home switch: wire broken",
            Self::HomeStuck => "home switch: stuck",
            Self::FarWire => "far switch: wire broken",
            Self::FarStuck => "far switch: stuck",
            Self::HomeMoved => "home switch trips elsewhere",
            Self::StepsLost => "steps lost",
            Self::StepsOften => "steps lost again and again",
            Self::WiresSwapped => "motor turns the wrong way",
            Self::Backlash => "slack of a drive changed",
            Self::MotorPower => "motor supply lost",
            Self::Driver => "motor driver dead",
            Self::Stop => "stop pressed",
            Self::Interrupt => "Ctrl-C",
            Self::WalksAway => "person walks away from a question",
            Self::CrankSlip => "person slips at a crank",
            Self::PictureMissing => "picture lost on the way",
            Self::PictureTwice => "picture comes twice",
            Self::PictureBlack => "picture is black",
            Self::PictureCopy => "picture is a copy of an earlier one",
            Self::PictureUnreadable => "picture cannot be read",
            Self::PictureLate => "picture comes too late",
            Self::CommandFails => "command that fires fails",
            Self::CommandTimesOut => "command that fires takes too long",
            Self::WrongAnswer => "wrong answer, taken back later",
            Self::ShotAgain => "frames shot again on request",
            Self::SteppedBack => "last frames shot again on request",
            Self::LeftOut => "frames left out on request",
        }
    }

    /// The kind of a fault of the simulated stand; `None` for what mends one.
    #[must_use]
    pub fn of(fault: &Fault) -> Option<Self> {
        Some(match fault {
            Fault::Noise { damage, .. } => match damage {
                Damage::Lost => Self::BytesLost,
                Damage::Twice => Self::BytesTwice,
                Damage::Flipped => Self::BitFlipped,
                Damage::Late(_) => Self::BytesLate,
                Damage::Short => Self::BytesShort,
                Damage::Merged => Self::BytesMerged,
                Damage::Flood(_) | Damage::After(_) => Self::Flood,
            },
            Fault::CableOut { .. } => Self::CableOut,
            Fault::Reset {
                drop_port: true, ..
            } => Self::ResetDrops,
            Fault::Reset {
                keep_mark: true, ..
            } => Self::Reset,
            Fault::Reset { .. } => Self::ResetForgets,
            Fault::OpeningResets { on: true, .. } => Self::OpeningResets,
            Fault::PowerCut { .. } => Self::PowerCut,
            Fault::Stranger {
                stranger: Some(Stranger::Named(_)),
                ..
            } => Self::OtherBoard,
            Fault::Stranger {
                stranger: Some(Stranger::Babbler),
                ..
            } => Self::OtherDevice,
            Fault::Swapped { .. } => Self::Swapped,
            Fault::KillHost => Self::HostKilled,
            Fault::Suspend(_) => Self::Suspended,
            Fault::Camera(CameraFault::Ignores) => Self::CameraIgnores,
            Fault::Camera(CameraFault::FiresTwice) => Self::CameraTwice,
            Fault::Camera(CameraFault::NoContact) => Self::NoContact,
            Fault::Camera(CameraFault::Late(_)) => Self::CameraLate,
            Fault::HandRelease => Self::HandRelease,
            Fault::HomeSwitch {
                fault: Some(SwitchFault::BrokenWire),
                ..
            } => Self::HomeWire,
            Fault::HomeSwitch {
                fault: Some(SwitchFault::Stuck),
                ..
            } => Self::HomeStuck,
            Fault::FarSwitch {
                fault: Some(SwitchFault::BrokenWire),
                ..
            } => Self::FarWire,
            Fault::FarSwitch {
                fault: Some(SwitchFault::Stuck),
                ..
            } => Self::FarStuck,
            Fault::HomeSwitchMoved { .. } => Self::HomeMoved,
            Fault::LoseSteps { .. } => Self::StepsLost,
            Fault::LoseOften { .. } => Self::StepsOften,
            Fault::SwapWires { .. } => Self::WiresSwapped,
            Fault::Backlash { .. } => Self::Backlash,
            Fault::MotorPower { on: false } => Self::MotorPower,
            Fault::Driver { dead: true, .. } => Self::Driver,
            Fault::StopPressed => Self::Stop,
            Fault::Crank(_) => Self::CrankSlip,
            Fault::OpeningResets { .. }
            | Fault::Stranger { .. }
            | Fault::HomeSwitch { .. }
            | Fault::FarSwitch { .. }
            | Fault::MotorPower { .. }
            | Fault::Driver { .. }
            | Fault::CableIn { .. }
            | Fault::StopReleased => return None,
        })
    }
}
