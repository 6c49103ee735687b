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

    /// Makes sure that so many bytes more can be appended, so that a full disk shows before an act
    /// and not after it. A promise where the file system can give one, nothing where it cannot.
    ///
    /// # Errors
    /// Whatever the system said, [`ErrorKind::StorageFull`] where there is no room.
    fn reserve(&mut self, bytes: u64) -> io::Result<()>;

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

    #[cfg(target_os = "linux")]
    fn reserve(&mut self, bytes: u64) -> io::Result<()> {
        use rustix::fs::{FallocateFlags, fallocate};
        use rustix::io::Errno;

        if bytes == 0 {
            return Ok(());
        }
        let length = self.file.metadata()?.len();
        match fallocate(&self.file, FallocateFlags::KEEP_SIZE, length, bytes) {
            // A file system that cannot promise room (EINVAL: a file that is none, or an old
            // network file system): the append will tell.
            Ok(()) | Err(Errno::OPNOTSUPP | Errno::NOSYS | Errno::INVAL | Errno::NODEV) => Ok(()),
            Err(error) => Err(error.into()),
        }
    }

    /// This system has no way to ask.
    #[cfg(not(target_os = "linux"))]
    fn reserve(&mut self, _bytes: u64) -> io::Result<()> {
        Ok(())
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
    capacity: Option<usize>,
    sync_fails: bool,
    lies: bool,
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

    /// There is room for so many bytes in all, or for any number. What does not fit is written as
    /// far as it fits, and fails.
    pub fn hold(&self, capacity: Option<usize>) {
        self.0.borrow_mut().capacity = capacity;
    }

    /// The next sync fails, and nothing that it was to make safe is safe.
    pub fn fail_sync(&self) {
        self.0.borrow_mut().sync_fails = true;
    }

    /// Says from now on that it has synced without having done so. No sound disk does; it is here
    /// to prove that a test would notice.
    pub fn lie(&self) {
        self.0.borrow_mut().lies = true;
    }

    /// How many bytes it holds.
    #[must_use]
    pub fn length(&self) -> usize {
        self.0.borrow().bytes.len()
    }

    /// How many of its bytes no crash can take.
    #[must_use]
    pub fn safe(&self) -> usize {
        self.0.borrow().safe
    }

    /// Somebody puts other contents in its place: an older copy, a damaged one.
    pub fn replace(&self, bytes: Vec<u8>) {
        let mut platter = self.0.borrow_mut();
        platter.safe = bytes.len();
        platter.bytes = bytes;
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

    fn reserve(&mut self, bytes: u64) -> io::Result<()> {
        let platter = self.0.borrow();
        let needed = usize::try_from(bytes).unwrap_or(usize::MAX);
        let needed = platter.bytes.len().saturating_add(needed);
        if platter.left == Some(0) || platter.capacity.is_some_and(|room| needed > room) {
            return Err(ErrorKind::StorageFull.into());
        }
        Ok(())
    }

    fn append(&mut self, bytes: &[u8]) -> io::Result<()> {
        let mut platter = self.operate()?;
        let room = platter.capacity.unwrap_or(usize::MAX);
        let fits = bytes.len().min(room.saturating_sub(platter.bytes.len()));
        platter.bytes.extend_from_slice(&bytes[..fits]);
        if fits < bytes.len() {
            return Err(ErrorKind::StorageFull.into());
        }
        Ok(())
    }

    fn sync(&mut self) -> io::Result<()> {
        let mut platter = self.operate()?;
        if std::mem::take(&mut platter.sync_fails) {
            return Err(io::Error::other("the simulated disk could not sync"));
        }
        if platter.lies {
            return Ok(());
        }
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

#[cfg(test)]
mod tests {
    use std::io::ErrorKind;

    use super::{Disk, FileDisk, SimulatedDisk, Unsynced};

    #[test]
    fn reserved_room_is_no_part_of_the_file() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("journal");
        let mut disk = FileDisk::open(&path, true).expect("a new file");
        disk.append(b"first").expect("room");
        disk.reserve(10_000).expect("room");
        disk.reserve(0).expect("nothing asked");
        disk.append(b" second").expect("room");
        assert_eq!(disk.read().expect("readable"), b"first second");
        // Beyond what any file may hold.
        let error = disk.reserve(i64::MAX as u64 - 1);
        if cfg!(target_os = "linux") {
            assert!(error.is_err(), "such a file can be");
        }
    }

    #[test]
    fn a_simulated_disk_is_full_where_it_is_full_and_loses_what_it_did_not_sync() {
        let mut disk = SimulatedDisk::default();
        disk.append(b"safe").expect("room");
        disk.sync().expect("sound");
        disk.hold(Some(6));
        disk.reserve(2).expect("just enough");
        assert_eq!(
            disk.reserve(3).expect_err("full").kind(),
            ErrorKind::StorageFull
        );
        assert_eq!(
            disk.append(b"more").expect_err("full").kind(),
            ErrorKind::StorageFull
        );
        assert_eq!(disk.bytes(), b"safemo");
        disk.fail_sync();
        disk.sync().expect_err("asked to fail");
        assert_eq!(disk.safe(), 4);
        disk.crash(Unsynced::Torn(1));
        assert_eq!(disk.bytes(), b"safem");
        disk.lie();
        disk.hold(None);
        disk.append(b"!").expect("room");
        disk.sync().expect("so it says");
        disk.crash(Unsynced::Lost);
        assert_eq!(disk.bytes(), b"safem");
    }

    #[test]
    fn a_simulated_disk_that_fails_reserves_nothing() {
        let mut disk = SimulatedDisk::default();
        disk.reserve(1).expect("it works");
        disk.fail_after(0);
        let error = disk.reserve(1).expect_err("it has failed");
        assert_eq!(error.kind(), ErrorKind::StorageFull);
    }
}
