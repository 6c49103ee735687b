//! The program on a pseudo-terminal: what a person sees and types.

use std::fs::File;
use std::io::{Read, Write};
use std::os::unix::process::CommandExt;
use std::process::{Child, Command};
use std::rc::Rc;
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

use rustix::fs::{Mode, OFlags, open};
use rustix::process::{Pid, Signal, kill_process_group};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{LocalModes, tcgetattr};
use tempfile::TempDir;

/// Far longer than anything takes on the slowest machine: only a hang gets there.
pub(crate) const LIMIT: Duration = Duration::from_secs(120);

/// The program, running on a pseudo-terminal in a folder of its own.
pub(crate) struct Seat {
    child: Child,
    keys: File,
    screen: Receiver<Vec<u8>>,
    seen: String,
    pub(crate) folder: Rc<TempDir>,
}

impl Seat {
    /// Sits down at the program, run in a folder.
    pub(crate) fn at(folder: &Rc<TempDir>, arguments: &[&str]) -> Self {
        let folder = Rc::clone(folder);
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).expect("a pseudo-terminal");
        grantpt(&master).expect("granted");
        unlockpt(&master).expect("unlocked");
        let name = ptsname(&master, Vec::new()).expect("a name");
        let slave = open(
            name.as_c_str(),
            OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC,
            Mode::empty(),
        )
        .expect("its other side");
        let copy = || slave.try_clone().expect("a copy");
        let child = Command::new(env!("CARGO_BIN_EXE_panestep"))
            .args(arguments)
            .current_dir(folder.path())
            .env("NO_COLOR", "1")
            .stdin(copy())
            .stdout(copy())
            .stderr(copy())
            .process_group(0)
            .spawn()
            .expect("it runs");
        drop(slave);
        let keys = File::from(master);
        let mut reader = keys.try_clone().expect("a copy");
        let (sender, screen) = mpsc::channel();
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            // The read fails once the program has let go of the terminal.
            while let Ok(count @ 1..) = reader.read(&mut buffer) {
                if sender.send(buffer[..count].to_vec()).is_err() {
                    break;
                }
            }
        });
        Self {
            child,
            keys,
            screen,
            seen: String::new(),
            folder,
        }
    }

    /// Waits for words on the screen; what stands before them counts as read.
    #[track_caller]
    pub(crate) fn read_up_to(&mut self, words: &str) {
        self.read_between(words);
    }

    /// Reads on up to some words, and gives what stood before them.
    #[track_caller]
    pub(crate) fn read_between(&mut self, words: &str) -> String {
        let begun = Instant::now();
        loop {
            if let Some(at) = self.seen.find(words) {
                let between = self.seen[..at].to_owned();
                self.seen.drain(..at + words.len());
                return between;
            }
            let left = LIMIT.saturating_sub(begun.elapsed());
            match self.screen.recv_timeout(left) {
                Ok(bytes) => self.seen.push_str(&String::from_utf8_lossy(&bytes)),
                Err(_) => panic!("no {words:?} came; the screen says: {}", self.seen),
            }
        }
    }

    pub(crate) fn type_line(&mut self, line: &str) {
        writeln!(self.keys, "{line}").expect("typed");
    }

    /// Keys, without an Enter.
    pub(crate) fn press(&mut self, keys: &str) {
        write!(self.keys, "{keys}").expect("pressed");
    }

    /// Whether the terminal is as a shell wants it: whole lines, and what is typed is shown.
    pub(crate) fn is_restored(&self) -> bool {
        let modes = tcgetattr(&self.keys).expect("its modes").local_modes;
        modes.contains(LocalModes::ICANON | LocalModes::ECHO)
    }

    /// Ctrl-C, as a terminal sends it: to the program and all that belongs to its group.
    pub(crate) fn interrupt(&self) {
        self.signal(Signal::INT);
    }

    /// A signal, to the program and all that belongs to its group.
    pub(crate) fn signal(&self, signal: Signal) {
        kill_process_group(Pid::from_child(&self.child), signal).expect("sent");
    }

    /// The exit code, once it has ended.
    pub(crate) fn code(&mut self) -> Option<i32> {
        self.child.wait().expect("it ends").code()
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
