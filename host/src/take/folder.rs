//! The take's folder: copies of the stand and shot files and of the schedule, `journal.jsonl`,
//! `pictures/`.

use std::fs::{self, File};
use std::io::{self, BufWriter, ErrorKind, Write};
use std::path::{Path, PathBuf};

use panestep_protocol::ShotId;
use thiserror::Error;

use super::disk::FileDisk;
use super::journal::{Entry, Journal, JournalError, Stamp};
use crate::schedule::Schedule;

/// Why a take's folder cannot be used.
#[derive(Debug, Error)]
pub enum FolderError {
    /// It is there already.
    #[error("{} is there already; resume it, or name another folder", path.display())]
    Exists {
        /// The folder.
        path: PathBuf,
    },
    /// Another program works on it.
    #[error("another program is working on the take in {}", path.display())]
    Locked {
        /// The folder.
        path: PathBuf,
    },
    /// It is no take's folder.
    #[error("{} holds no take: there is no journal.jsonl in it", path.display())]
    NoTake {
        /// The folder.
        path: PathBuf,
    },
    /// The system said no.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// There is no copy of the schedule in it.
    #[error(
        "{} is missing: the copy of the schedule that the take began with; bring it back from a \
         copy of the take's folder, or go on with the files as they were",
        path.display()
    )]
    NoSchedule {
        /// The file.
        path: PathBuf,
    },
    /// The copy of the schedule is not what was written.
    #[error(
        "{} is damaged ({why}): bring it back from a copy of the take's folder",
        path.display()
    )]
    DamagedSchedule {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        why: String,
    },
    /// The journal is not sound, or cannot be written.
    #[error("{}: {source}", path.display())]
    Journal {
        /// The folder.
        path: PathBuf,
        /// What is wrong.
        source: JournalError,
    },
}

/// The two files that a take was begun with.
#[derive(Clone, Copy, Debug)]
pub struct Files<'a> {
    /// The stand file's text.
    pub stand: &'a str,
    /// The shot file's text.
    pub shot: &'a str,
    /// The folder that the shot's art lies relative to.
    pub art: &'a Path,
    /// The folder that the stand's command and its pictures' folder lie relative to.
    pub base: &'a Path,
}

/// Name of the copy of the schedule.
const SCHEDULE: &str = "schedule.json";

/// A take's folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Folder {
    path: PathBuf,
}

impl Folder {
    /// Makes the folder of a new take, with `stand.toml`, `shot.toml`, `schedule.json`, an empty
    /// `pictures` and a journal that has begun. It is built beside its place and then renamed, so that it is there
    /// whole or not at all.
    ///
    /// # Errors
    /// That it exists, or what the system said.
    pub fn create(
        path: &Path,
        files: &Files<'_>,
        schedule: &Schedule,
        id: ShotId,
        stamp: Stamp,
    ) -> Result<(Self, Journal), FolderError> {
        if path.symlink_metadata().is_ok() {
            return Err(FolderError::Exists { path: path.into() });
        }
        let parent = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let building = parent.join(format!(".{name}.{:016x}", id.0));
        fs::create_dir_all(&parent).map_err(io_at(&parent))?;
        let made = build(&building, files, schedule, id, stamp).and_then(|journal| {
            // A rename would replace an empty folder that came in between; making the check
            // again leaves only a moment for that.
            if path.symlink_metadata().is_ok() {
                return Err(FolderError::Exists { path: path.into() });
            }
            fs::rename(&building, path).map_err(io_at(path))?;
            sync_folder(&parent)?;
            Ok(journal)
        });
        match made {
            Ok(journal) => Ok((Self { path: path.into() }, journal)),
            Err(error) => {
                // Best effort: what is left over carries a name of its own and harms nothing.
                let _ = fs::remove_dir_all(&building);
                Err(error)
            }
        }
    }

    /// Opens the folder of a take that was begun, and its journal.
    ///
    /// # Errors
    /// That it holds no take, that another program works on it, that the journal is damaged.
    pub fn open(path: &Path, stamp: Stamp) -> Result<(Self, Journal), FolderError> {
        let folder = Self { path: path.into() };
        let disk =
            FileDisk::open(&folder.journal(), false).map_err(|source| match source.kind() {
                ErrorKind::NotFound | ErrorKind::NotADirectory => {
                    FolderError::NoTake { path: path.into() }
                }
                ErrorKind::WouldBlock => FolderError::Locked { path: path.into() },
                _ => FolderError::Io {
                    path: folder.journal(),
                    source,
                },
            })?;
        let journal =
            Journal::resume(Box::new(disk), stamp).map_err(|source| FolderError::Journal {
                path: path.into(),
                source,
            })?;
        Ok((folder, journal))
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The take's copy of the stand file.
    #[must_use]
    pub fn stand(&self) -> PathBuf {
        self.path.join("stand.toml")
    }

    /// The take's copy of the shot file.
    #[must_use]
    pub fn shot(&self) -> PathBuf {
        self.path.join("shot.toml")
    }

    /// The schedule that the take began with, from the take's own copy. Whether it is the very one
    /// is for its [`fingerprint`](super::fingerprint()) to say, against the one in the journal.
    ///
    /// # Errors
    /// That the copy is missing, damaged, or cannot be read.
    pub fn schedule(&self) -> Result<Schedule, FolderError> {
        let path = self.path.join(SCHEDULE);
        let bytes = fs::read(&path).map_err(|source| match source.kind() {
            ErrorKind::NotFound => FolderError::NoSchedule { path: path.clone() },
            _ => FolderError::Io {
                path: path.clone(),
                source,
            },
        })?;
        let damaged = |why| FolderError::DamagedSchedule {
            path: path.clone(),
            why,
        };
        let schedule: Schedule =
            serde_json::from_slice(&bytes).map_err(|error| damaged(error.to_string()))?;
        if !schedule.is_whole() {
            return Err(damaged("its parts do not fit together".into()));
        }
        Ok(schedule)
    }

    /// The journal.
    #[must_use]
    pub fn journal(&self) -> PathBuf {
        self.path.join("journal.jsonl")
    }

    /// Where the pictures go.
    #[must_use]
    pub fn pictures(&self) -> PathBuf {
        self.path.join("pictures")
    }
}

fn build(
    path: &Path,
    files: &Files<'_>,
    schedule: &Schedule,
    id: ShotId,
    stamp: Stamp,
) -> Result<Journal, FolderError> {
    fs::create_dir(path).map_err(io_at(path))?;
    let pictures = path.join("pictures");
    fs::create_dir(&pictures).map_err(io_at(&pictures))?;
    for (name, text) in [("stand.toml", files.stand), ("shot.toml", files.shot)] {
        let file_path = path.join(name);
        let mut file = File::create_new(&file_path).map_err(io_at(&file_path))?;
        file.write_all(text.as_bytes())
            .and_then(|()| file.sync_all())
            .map_err(io_at(&file_path))?;
    }
    let schedule_path = path.join(SCHEDULE);
    write_schedule(&schedule_path, schedule).map_err(io_at(&schedule_path))?;
    let journal_path = path.join("journal.jsonl");
    let disk = FileDisk::open(&journal_path, true).map_err(io_at(&journal_path))?;
    let (art, base) = (files.art.to_string_lossy(), files.base.to_string_lossy());
    let begun = Entry::begun(schedule, &art, &base, id);
    let journal =
        Journal::begin(Box::new(disk), stamp, &begun).map_err(|source| FolderError::Journal {
            path: path.into(),
            source,
        })?;
    sync_folder(path)?;
    Ok(journal)
}

fn write_schedule(path: &Path, schedule: &Schedule) -> io::Result<()> {
    let mut file = BufWriter::new(File::create_new(path)?);
    serde_json::to_writer(&mut file, schedule)?;
    file.into_inner()?.sync_all()
}

fn sync_folder(path: &Path) -> Result<(), FolderError> {
    // Only Unix lets a folder be opened and synced; elsewhere the rename itself has to do.
    if cfg!(unix) {
        File::open(path)
            .and_then(|folder| folder.sync_all())
            .map_err(io_at(path))?;
    }
    Ok(())
}

fn io_at(path: &Path) -> impl FnOnce(io::Error) -> FolderError {
    let path = path.to_owned();
    move |source| FolderError::Io { path, source }
}
