//! What the journal needs of a disk, a real one, and one that crashes as real ones do.

use std::cell::RefCell;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::Path;
use std::rc::Rc;

/// A file that grows at its end.
pub trait Disk {
    /// Everything in it.
    ///
    /// # Errors
    /// Whatever the system said.
    fn read(&mut self) -> io::Result<Vec<u8>>;

    /// Adds bytes at the end. Until [`Disk::sync`] has succeeded they may be found there after a
    /// crash, or not, or in part.
    ///
    /// # Errors
    /// Whatever the system said; nothing may be relied on after it.
    fn append(&mut self, bytes: &[u8]) -> io::Result<()>;

    /// Returns when everything appended is safe.
    ///
    /// # Errors
    /// Whatever the system said; a second try proves nothing.
    fn sync(&mut self) -> io::Result<()>;

    /// Cuts off what comes after so many bytes, and syncs.
    ///
    /// # Errors
    /// Whatever the system said.
    fn cut(&mut self, length: u64) -> io::Result<()>;
}

/// A real file, locked against other programs for as long as it is open.
#[derive(Debug)]
pub struct FileDisk {
    file: File,
}

impl FileDisk {
    /// Opens a file that is there, or begins a new one, and locks it.
    ///
    /// # Errors
    /// [`ErrorKind::WouldBlock`] where another program has locked it; else what the system said.
    pub fn open(path: &Path, create: bool) -> io::Result<Self> {
        let file = OpenOptions::new()
            .read(true)
            .append(true)
            .create_new(create)
            .open(path)?;
        match file.try_lock() {
            Ok(()) => Ok(Self { file }),
            Err(TryLockError::WouldBlock) => Err(ErrorKind::WouldBlock.into()),
            Err(TryLockError::Error(error)) => Err(error),
        }
    }
}

impl Disk for FileDisk {
    fn read(&mut self) -> io::Result<Vec<u8>> {
        let mut bytes = Vec::new();
        self.file.seek(SeekFrom::Start(0))?;
        self.file.read_to_end(&mut bytes)?;
        Ok(bytes)
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.file.write_all(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.file.sync_data()
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        self.file.set_len(length)?;
        self.file.sync_all()
    }
}

/// What a crash leaves of the bytes that were not synced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unsynced {
    /// All of them.
    Kept,
    /// None.
    Lost,
    /// Only so many.
    Torn(usize),
}

#[derive(Debug, Default)]
struct Platter {
    bytes: Vec<u8>,
    safe: usize,
    left: Option<u64>,
    operations: u64,
}

/// A disk in memory that can fail at a chosen operation and lose what was not synced. Clones are
/// the same disk.
#[derive(Clone, Debug, Default)]
pub struct SimulatedDisk(Rc<RefCell<Platter>>);

impl SimulatedDisk {
    /// From now on, this many more operations (append, sync, cut) succeed, then all fail.
    pub fn fail_after(&self, operations: u64) {
        self.0.borrow_mut().left = Some(operations);
    }

    /// Operations so far.
    #[must_use]
    pub fn operations(&self) -> u64 {
        self.0.borrow().operations
    }

    /// What it holds.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        self.0.borrow().bytes.clone()
    }

    /// The machine goes down and comes up again; the disk works again.
    pub fn crash(&self, unsynced: Unsynced) {
        let mut platter = self.0.borrow_mut();
        let keep = match unsynced {
            Unsynced::Kept => platter.bytes.len(),
            Unsynced::Lost => platter.safe,
            Unsynced::Torn(bytes) => platter.bytes.len().min(platter.safe + bytes),
        };
        platter.bytes.truncate(keep);
        platter.safe = keep;
        platter.left = None;
    }

    fn operate(&self) -> io::Result<std::cell::RefMut<'_, Platter>> {
        let mut platter = self.0.borrow_mut();
        platter.operations += 1;
        match &mut platter.left {
            Some(0) => Err(ErrorKind::StorageFull.into()),
            Some(left) => {
                *left -= 1;
                Ok(platter)
            }
            None => Ok(platter),
        }
    }
}

impl Disk for SimulatedDisk {
    fn read(&mut self) -> io::Result<Vec<u8>> {
        Ok(self.bytes())
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.operate()?.bytes.extend_from_slice(bytes);
        Ok(())
    }

    fn sync(&mut self) -> io::Result<()> {
        let mut platter = self.operate()?;
        platter.safe = platter.bytes.len();
        Ok(())
    }

    fn cut(&mut self, length: u64) -> io::Result<()> {
        let mut platter = self.operate()?;
        let length = usize::try_from(length).unwrap_or(usize::MAX);
        platter.bytes.truncate(length);
        platter.safe = platter.bytes.len();
        Ok(())
    }
}
