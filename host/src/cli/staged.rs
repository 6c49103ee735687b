//! Files that appear whole or not at all.
//!
//! Everything is written under a temporary name beside the place where it belongs, and given its own
//! once all of it is there. What is there already is replaced only where this program wrote it, or
//! where that is asked for.

use std::fs::{self, File};
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use super::screen::{Progress, about};
use super::{Failure, interrupt};

/// How much of a file is looked at to see who wrote it, bytes.
const LOOKED_AT: u64 = 4096;

/// A bar for less than a blink is none.
const SHORT: Duration = Duration::from_millis(500);

/// Temporary files, and folders that were made for them, as long as they are not what was asked for:
/// whoever ends the program on the spot takes them away.
static UNFINISHED: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

fn unfinished() -> MutexGuard<'static, Vec<PathBuf>> {
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes away what is not finished, the newest first, and lets nothing new begin while what it
/// returns is held.
pub(crate) fn take_away() -> MutexGuard<'static, Vec<PathBuf>> {
    let mut all = unfinished();
    for path in all.drain(..).rev() {
        // A file, or a folder that is empty by now.
        let _ = fs::remove_file(&path).or_else(|_| fs::remove_dir(&path));
    }
    all
}

/// Files that are being written.
pub(crate) struct Staged {
    /// Temporary name and own name.
    files: Vec<(PathBuf, PathBuf)>,
    /// Folders that were made for them, the outermost first.
    made: Vec<PathBuf>,
    replace: bool,
}

impl Staged {
    /// Nothing yet. `replace`: whoever wrote what is there.
    pub(crate) fn new(replace: bool) -> Self {
        Self {
            files: Vec::new(),
            made: Vec::new(),
            replace,
        }
    }

    /// Sees that there is a folder.
    pub(crate) fn folder(&mut self, folder: &Path) -> Result<(), Failure> {
        let missing: Vec<&Path> = folder
            .ancestors()
            .take_while(|folder| !folder.as_os_str().is_empty() && !folder.exists())
            .collect();
        for folder in missing.into_iter().rev() {
            // Nothing is made while all is taken away.
            let mut unfinished = unfinished();
            fs::create_dir(folder).map_err(|error| {
                Failure::could_not(format!("{} cannot be made: {error}", folder.display()))
            })?;
            unfinished.push(folder.to_owned());
            self.made.push(folder.to_owned());
        }
        if folder.as_os_str().is_empty() || folder.is_dir() {
            return Ok(());
        }
        Err(Failure::wrong(format!(
            "{} is there already and is no folder",
            folder.display()
        ))
        .hint("name another folder"))
    }

    /// Refuses a file that is there already and is somebody else's: only what has `mark` within
    /// its first lines was written by this program.
    pub(crate) fn must_be_ours(&self, path: &Path, mark: &str) -> Result<(), Failure> {
        let Ok(about) = path.symlink_metadata() else {
            return Ok(());
        };
        if about.is_dir() {
            return Err(Failure::wrong(format!("{} is a folder", path.display())));
        }
        if self.replace {
            return Ok(());
        }
        let mut start = Vec::new();
        // What cannot be read is somebody else's.
        let _ = File::open(path).and_then(|file| file.take(LOOKED_AT).read_to_end(&mut start));
        let mark = mark.as_bytes();
        let ours = !mark.is_empty() && start.windows(mark.len()).any(|part| part == mark);
        if about.is_file() && ours {
            return Ok(());
        }
        Err(Failure::wrong(format!(
            "{} is there already, and is left as it is; nothing was written",
            path.display()
        ))
        .hint("name another place, or say --replace to have it replaced"))
    }

    /// Writes a file. `mark` is what shows that an older one of its name was this program's.
    pub(crate) fn write(
        &mut self,
        path: &Path,
        mark: &str,
        write: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>,
    ) -> Result<(), Failure> {
        self.must_be_ours(path, mark)?;
        let Some(name) = path.file_name() else {
            return Err(Failure::wrong(format!(
                "{} is no file's name",
                path.display()
            )));
        };
        let mut hidden = std::ffi::OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}.part", std::process::id()));
        let part = path.with_file_name(hidden);
        self.files.push((part.clone(), path.to_owned()));
        let mut unfinished = unfinished();
        unfinished.push(part.clone());
        let created = File::create(&part);
        drop(unfinished);
        created
            .map(BufWriter::new)
            .and_then(|mut out| {
                write(&mut out)?;
                out.flush()?;
                out.get_ref().sync_data()
            })
            .map_err(|error| {
                Failure::could_not(format!("{} cannot be written: {error}", path.display()))
                    .hint("check the folder and the free space; nothing half was left behind")
            })
    }

    /// Gives every file its own name, in the order in which they were written.
    pub(crate) fn keep(mut self) -> Result<Vec<PathBuf>, Failure> {
        let mut kept: Vec<PathBuf> = Vec::new();
        while !self.files.is_empty() {
            let (part, path) = &self.files[0];
            // All or nothing, also where the program is ended on the spot.
            let mut unfinished = unfinished();
            fs::rename(part, path).map_err(|error| {
                let written = match kept.as_slice() {
                    [] => "nothing was written".to_owned(),
                    kept => {
                        let kept = kept.iter().map(|path| path.display().to_string());
                        let kept: Vec<_> = kept.collect();
                        format!(
                            "written before: {}; all others are as they were",
                            kept.join(", ")
                        )
                    }
                };
                Failure::could_not(format!("{} cannot be written: {error}", path.display()))
                    .hint(format!("check the folder; {written}"))
            })?;
            unfinished.retain(|it| it != part && !self.made.contains(it));
            drop(unfinished);
            let (_, path) = self.files.remove(0);
            kept.push(path);
            self.made.clear();
        }
        Ok(kept)
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        // What is left had no chance to become whole. There may be none.
        for (part, _) in &self.files {
            let _ = fs::remove_file(part);
        }
        for folder in self.made.iter().rev() {
            let _ = fs::remove_dir(folder);
        }
        let gone = |path: &PathBuf| {
            self.made.contains(path) || self.files.iter().any(|(part, _)| part == path)
        };
        unfinished().retain(|path| !gone(path));
    }
}

/// A long piece of work: a bar, and Ctrl-C.
pub(crate) struct Work {
    what: &'static str,
    progress: Option<Progress>,
    asked: Arc<AtomicBool>,
    begun: Instant,
    length: u64,
    done: u64,
    /// When the bar is looked at next.
    next: u64,
}

impl Work {
    /// Begins; `length` is the number of things to be done.
    pub(crate) fn new(what: &'static str, length: u64) -> Result<Self, Failure> {
        Ok(Self {
            what,
            progress: None,
            asked: interrupt::flag()?,
            begun: Instant::now(),
            length,
            done: 0,
            next: 0,
        })
    }

    /// One more is begun: an error once somebody has asked to stop.
    pub(crate) fn step(&mut self) -> io::Result<()> {
        self.steps(1)
    }

    /// Something as long as so many is begun.
    pub(crate) fn steps(&mut self, much: u64) -> io::Result<()> {
        if self.asked.load(Ordering::Relaxed) {
            return Err(io::Error::other("stopped"));
        }
        // Not at each of a hundred thousand: the bar would be the work.
        let seldom = (self.length / 200).max(1);
        let passed = self.begun.elapsed();
        if self.done >= self.next && passed >= SHORT {
            self.next = self.done + seldom;
            let left = self.length.saturating_sub(self.done);
            let each = passed.as_secs_f64() / self.done.max(1) as f64;
            let message = about(Duration::from_secs_f64(each * left as f64));
            self.progress
                .get_or_insert_with(|| Progress::new(self.what, self.length))
                .at(self.done, &message);
        }
        self.done += much;
        Ok(())
    }

    /// What the work came to: where somebody has asked to stop, that.
    pub(crate) fn end<T>(mut self, result: Result<T, Failure>) -> Result<T, Failure> {
        if let Some(progress) = self.progress.take() {
            progress.done();
        }
        match result {
            Err(_) if self.asked.load(Ordering::Relaxed) => {
                Err(Failure::stopped("stopped; nothing was written"))
            }
            result => result,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_half_is_left_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let deep = folder.path().join("a/b");
        {
            let mut staged = Staged::new(false);
            staged.folder(&deep).expect("made");
            staged
                .write(&deep.join("one"), "", |out| out.write_all(b"1"))
                .expect("written");
            assert!(!deep.join("one").exists());
            let failed = staged.write(&deep.join("two"), "", |_| Err(io::Error::other("full")));
            assert!(failed.is_err());
        }
        assert!(!folder.path().join("a").exists());
    }

    #[test]
    fn what_was_written_is_said_where_a_later_file_cannot_be() {
        let folder = tempfile::tempdir().expect("a folder");
        let (one, two) = (folder.path().join("one"), folder.path().join("two"));
        let mut staged = Staged::new(false);
        for path in [&one, &two] {
            staged
                .write(path, "", |out| out.write_all(b"1"))
                .expect("written");
        }
        // A folder gets in the way.
        fs::create_dir(&two).expect("made");
        let failed = staged.keep().expect_err("a folder is there");
        let said = format!("{failed:?}");
        assert!(
            said.contains("written before") && said.contains("one"),
            "{said}"
        );
        assert!(one.exists());
        assert_eq!(fs::read_dir(folder.path()).expect("read").count(), 2);
    }

    #[test]
    fn only_what_is_ours_is_replaced_unasked() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("plan.txt");
        let write = |replace: bool, text: &str| {
            let mut staged = Staged::new(replace);
            staged.write(&path, "by us", |out| out.write_all(text.as_bytes()))?;
            staged.keep()
        };
        assert!(write(false, "by us, 1").is_ok());
        assert!(write(false, "by us, 2").is_ok());
        fs::write(&path, "somebody's").expect("written");
        assert!(write(false, "by us, 3").is_err());
        assert_eq!(fs::read_to_string(&path).expect("read"), "somebody's");
        assert!(write(true, "by us, 4").is_ok());
        assert_eq!(fs::read_to_string(&path).expect("read"), "by us, 4");
        assert_eq!(fs::read_dir(folder.path()).expect("read").count(), 1);
    }
}
