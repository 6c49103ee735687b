//! The world beside the boards: the user's command that fires the camera, and the folder that its
//! pictures arrive in.

use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::time::Duration;

use panestep::camera::{PictureFolder, Told, UserCommand};
use panestep::link::SystemClock;
use panestep::stand::{Release, Stand};

use super::Failure;
use super::rig::Rig;
use super::screen::{say, waiting};

/// Between two looks at a folder that real pictures arrive in, where the boards' time is not real.
const PAUSE: Duration = Duration::from_millis(100);

/// The command, and the folder where there is one.
pub(crate) struct Outside {
    pub(crate) command: UserCommand,
    pub(crate) folder: Option<PictureFolder>,
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
                    .hint("nothing was moved; `command` in the stand file names it"));
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
                Some(if rig.is_simulated() && by_command {
                    folder.with_pause(Rc::new(SystemClock::new()), PAUSE)
                } else {
                    folder
                })
            }
        };
        Ok(Self { command, folder })
    }
}

/// The folder that the stand's pictures arrive in.
pub(crate) fn pictures(stand: &Stand, base: &Path) -> Option<PathBuf> {
    stand
        .arrival
        .as_ref()
        .map(|arrival| base.join(&arrival.folder))
}
