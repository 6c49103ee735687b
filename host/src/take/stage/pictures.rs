//! The pictures that arrive in the watched folder.

use super::{Crew, Interrupt};
use crate::schedule::Turn;
use crate::take::album::{BLACK, Look};
use crate::take::error::TakeError;
use crate::take::exposure::{Event, Flaw, Found};
use crate::take::journal::{Entry, Hex, Picture};
use crate::take::people::Progress;
use crate::take::run::LOOK;

impl Crew<'_, '_> {
    /// Pictures in the folder that the journal does not know.
    pub(super) fn strangers(&mut self) -> Result<Vec<String>, TakeError> {
        let (Some(album), Some(journal)) = (&mut self.stage.album, &self.journal) else {
            return Ok(Vec::new());
        };
        let mut names = album.names().map_err(TakeError::Album)?;
        names.retain(|name| !journal.state().knows(name));
        names.sort();
        Ok(names)
    }

    /// What lies in the folder when a run begins belongs to no exposure that is still to come.
    pub(super) fn note_strangers(&mut self) -> Result<(), Interrupt> {
        let pictures = self.strangers()?;
        if !pictures.is_empty() {
            self.see(&Progress::Strangers {
                pictures: &pictures,
            });
            self.record(&Entry::Found { pictures })?;
        }
        Ok(())
    }

    /// A picture that nobody asked for makes it uncertain which is which: the take stops.
    pub(in crate::take) fn refuse_strangers(&mut self) -> Result<(), Interrupt> {
        let pictures = self.strangers()?;
        if pictures.is_empty() {
            return Ok(());
        }
        // It is told now, and not again when the take goes on.
        self.record(&Entry::Found {
            pictures: pictures.clone(),
        })?;
        Err(TakeError::Strangers {
            turn: self.next_frame(),
            pictures,
        }
        .into())
    }

    /// Looks whether everything is in its place still, and waits for the picture of the exposure
    /// under way, where they are watched.
    pub(super) fn look_at_exposure(&mut self, turn: Turn) -> Result<Event, Interrupt> {
        let steady = self.is_steady(turn)?;
        let Some(within) = self.schedule.exposure.arrival else {
            let found = Found::Unwatched;
            return Ok(Event::Looked { found, steady });
        };
        let until = self.now() + within;
        loop {
            let late = self.now() >= until;
            let new = self.strangers()?;
            let found = match new.as_slice() {
                [] => late.then_some(Found::Nothing),
                [one] => self.judge(one, late)?,
                several => Some(Found::Several(
                    u8::try_from(several.len()).unwrap_or(u8::MAX),
                )),
            };
            if let Some(found) = found {
                self.arrived = new;
                return Ok(Event::Looked { found, steady });
            }
            self.sleep(LOOK)?;
        }
    }

    /// Whether a picture is good; nothing where it may still be arriving.
    fn judge(&mut self, name: &str, late: bool) -> Result<Option<Found>, TakeError> {
        let (Some(album), Some(journal)) = (&mut self.stage.album, &self.journal) else {
            return Ok(None);
        };
        Ok(match album.look(name).map_err(TakeError::Album)? {
            Look::Unreadable => late.then_some(Found::Flawed(Flaw::Unreadable)),
            Look::Whole { bright, .. } if bright < BLACK => Some(Found::Flawed(Flaw::Black)),
            Look::Whole { digest, .. } if journal.state().same_picture(digest).is_some() => {
                Some(Found::Flawed(Flaw::Copy))
            }
            Look::Whole { digest, .. } => {
                self.picture = Some(Picture {
                    file: name.to_owned(),
                    digest: Hex(digest),
                });
                Some(Found::One)
            }
        })
    }
}
