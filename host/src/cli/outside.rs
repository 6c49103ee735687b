//! The world beside the boards: the user's command that fires the camera, and the folder that its
//! pictures arrive in.

use std::io;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::time::Duration;

use panestep::camera::{PictureFolder, Told, UserCommand};
use panestep::link::{Clock, SystemClock};
use panestep::stand::{Release, Stand};
use panestep::take::{Album, Look};

use super::Failure;
use super::rig::Rig;
use super::screen::{say, waiting};

/// Between two looks at a folder that real pictures arrive in, where the boards' time is not real.
const PAUSE: Duration = Duration::from_millis(100);

/// A folder that is looked at again and again for longer than this is waited for.
const PATIENCE: Duration = Duration::from_millis(1500);

/// Looks that lie farther apart than this do not belong to one wait.
const APART: Duration = Duration::from_millis(500);

/// The command, and the folder where there is one.
pub(crate) struct Outside {
    pub(crate) command: UserCommand,
    pub(crate) folder: Option<Waited>,
}

/// The folder, saying what is waited for where that takes a while.
pub(crate) struct Waited {
    folder: PictureFolder,
    clock: SystemClock,
    /// The first and the last look of a row of them.
    looks: Option<(Duration, Duration)>,
    told: bool,
}

impl Waited {
    fn new(folder: PictureFolder) -> Self {
        Self {
            folder,
            clock: SystemClock::new(),
            looks: None,
            told: false,
        }
    }
}

impl Album for Waited {
    fn names(&mut self) -> io::Result<Vec<String>> {
        let now = self.clock.now();
        let first = match self.looks {
            Some((first, last)) if now.saturating_sub(last) < APART => first,
            _ => {
                self.told = false;
                now
            }
        };
        self.looks = Some((first, now));
        if now.saturating_sub(first) >= PATIENCE && !std::mem::replace(&mut self.told, true) {
            let folder = self.folder.path().display();
            waiting(&format!("waiting for the picture to arrive in {folder}"));
        }
        self.folder.names()
    }

    fn look(&mut self, name: &str) -> io::Result<Look> {
        self.folder.look(name)
    }
}

impl Outside {
    /// Sees that everything the stand names is there; runs and writes nothing. `base` is the stand
    /// file's own folder.
    pub(crate) fn new(stand: &Stand, rig: &Rig, base: &Path) -> Result<Self, Failure> {
        let command = UserCommand::new(base, Rc::new(SystemClock::new()), |told| match told {
            Told::Waiting(what) => waiting(what),
            Told::Failed(why) => say(&format!("warning: {why}")),
        });
        let by_command = match &stand.shutter.release {
            Release::Command { words, .. } => {
                if let Some(why) = command.missing(words) {
                    return Err(Failure::could_not(format!(
                        "the command that takes the picture: {why}"
                    ))
                    .hint(wanted_at(words, base)));
                }
                true
            }
            Release::Board { .. } | Release::Hand => false,
        };
        let folder = match pictures(stand, base) {
            None => None,
            Some(path) => {
                let folder = PictureFolder::open(&path).map_err(|error| {
                    Failure::could_not(format!(
                        "the folder that the camera's pictures arrive in cannot be read: {}: \
                         {error}",
                        path.display()
                    ))
                    .hint(
                        "nothing was moved; make the folder, or connect the card or camera that \
                         it is on. `folder` under [pictures] in the stand file names it",
                    )
                })?;
                Some(Waited::new(if rig.is_simulated() && by_command {
                    folder.with_pause(Rc::new(SystemClock::new()), PAUSE)
                } else {
                    folder
                }))
            }
        };
        Ok(Self { command, folder })
    }
}

/// What to do where the program that takes the pictures is missing.
fn wanted_at(words: &[String], base: &Path) -> String {
    let program = words.first().map_or("", String::as_str);
    // Without the `.` of `./photograph`.
    let path: PathBuf = base.join(program).components().collect();
    format!(
        "nothing was moved; put the program at {}. `command` in the stand file names it; a take \
         that has begun keeps its own copy of that file, so that it can only be put back there",
        path.display()
    )
}

/// The folder that the stand's pictures arrive in.
pub(crate) fn pictures(stand: &Stand, base: &Path) -> Option<PathBuf> {
    stand
        .arrival
        .as_ref()
        .map(|arrival| base.join(&arrival.folder))
}
