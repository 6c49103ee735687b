//! The program on a terminal: what a person types, and Ctrl-C.

use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Child, Command};
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

use rustix::fs::{Mode, OFlags, open};
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use tempfile::TempDir;

/// Far longer than anything takes on the slowest machine: only a hang gets there.
const LIMIT: Duration = Duration::from_secs(120);

/// The program, running on a pseudo-terminal in a folder of its own.
struct Seat {
    child: Child,
    keys: File,
    screen: Receiver<Vec<u8>>,
    seen: String,
    folder: TempDir,
}

impl Seat {
    fn new(arguments: &[&str]) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        for name in ["hand.stand.toml", "hand.shot.toml"] {
            let from = Path::new(env!("CARGO_MANIFEST_DIR"))
                .join("tests/data")
                .join(name);
            fs::copy(from, folder.path().join(name)).expect("the test's files");
        }
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
    fn read_up_to(&mut self, words: &str) {
        let begun = Instant::now();
        loop {
            if let Some(at) = self.seen.find(words) {
                self.seen.drain(..at + words.len());
                return;
            }
            let left = LIMIT.saturating_sub(begun.elapsed());
            match self.screen.recv_timeout(left) {
                Ok(bytes) => self.seen.push_str(&String::from_utf8_lossy(&bytes)),
                Err(_) => panic!("no {words:?} came; the screen says: {}", self.seen),
            }
        }
    }

    fn type_line(&mut self, line: &str) {
        writeln!(self.keys, "{line}").expect("typed");
    }

    fn interrupt(&self) {
        let id = i32::try_from(self.child.id()).expect("an id");
        kill_process(Pid::from_raw(id).expect("an id"), Signal::INT).expect("sent");
    }

    fn code(&mut self) -> Option<i32> {
        self.child.wait().expect("it ends").code()
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

const SHOOT: &[&str] = &[
    "shoot",
    "hand.shot.toml",
    "--take",
    "take",
    "--without-pictures",
];

#[test]
fn a_person_sets_a_level_and_is_told_of_every_wrong_reading() {
    let mut seat = Seat::new(SHOOT);
    seat.read_up_to("north scale reads 4.000 mm");
    seat.read_up_to("its reading now");
    seat.type_line("-4");
    seat.read_up_to("wrong side of zero");
    seat.read_up_to("move sky north by 8.000 mm");
    seat.type_line("four");
    seat.read_up_to("not a reading");
    seat.type_line("5");
    seat.read_up_to("1.000 mm too high");
    seat.read_up_to("move sky south by 1.000 mm");
    seat.type_line("4 mm");
    seat.read_up_to("move sky south by 10.000 mm");
    seat.read_up_to("its reading now");
    seat.type_line("-6.0");
    seat.read_up_to("2 frames exposed, each exactly once");
    assert_eq!(seat.code(), Some(0));
}

#[test]
fn ctrl_c_ends_the_wait_for_a_person_and_says_how_to_go_on() {
    let mut seat = Seat::new(SHOOT);
    seat.read_up_to("its reading now");
    seat.interrupt();
    seat.read_up_to("stopped before frame 1");
    seat.read_up_to("panestep resume take");
    assert_eq!(seat.code(), Some(3));
    assert!(seat.folder.path().join("take/journal.jsonl").is_file());
}

#[test]
fn an_empty_line_stops_too() {
    let mut seat = Seat::new(SHOOT);
    seat.read_up_to("its reading now");
    seat.type_line("4");
    seat.read_up_to("frame 2: move sky");
    seat.type_line("");
    seat.read_up_to("stopped before frame 2");
    assert_eq!(seat.code(), Some(3));
}
