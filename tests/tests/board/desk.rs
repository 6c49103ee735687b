//! The real program, its files, and a person who reads its words and types.

use std::fs;
use std::io::{BufRead, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{self, Receiver, TryRecvError};
use std::time::Duration;

use panestep_tests::board::{Board, Terminal};

use crate::rig::{NAME, demo_folder, sure};

/// Frames of the demonstration's shortened shot.
pub(crate) const FRAMES: usize = 24;

/// Longest that the program may run, or be waited for, in emulated time; it takes less than a minute.
pub(crate) const LIMIT: Duration = Duration::from_secs(240);

/// A program that does not outlive its test.
pub(crate) struct Running(pub(crate) Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// The program ended although something was still to come from it.
#[derive(Debug)]
pub(crate) struct Ended {
    pub(crate) status: ExitStatus,
    /// What it had said since it was last read.
    pub(crate) said: String,
}

/// The program and a person at it, with the board's time going on while either is waited for.
pub(crate) struct Desk<'b> {
    program: Running,
    keys: ChildStdin,
    words: Receiver<Vec<u8>>,
    said: String,
    board: &'b Board,
    terminal: &'b mut Terminal,
}

impl<'b> Desk<'b> {
    pub(crate) fn new(command: &mut Command, board: &'b Board, terminal: &'b mut Terminal) -> Self {
        let child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn();
        let mut child = child.expect("the program starts");
        let keys = child.stdin.take().expect("its input");
        let mut screen = child.stderr.take().expect("its words");
        let (sender, words) = mpsc::channel();
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count @ 1..) = screen.read(&mut buffer) {
                if sender.send(buffer[..count].to_vec()).is_err() {
                    break;
                }
            }
        });
        Self {
            program: Running(child),
            keys,
            words,
            said: String::new(),
            board,
            terminal,
        }
    }

    /// Waits for words; what stands before them counts as read.
    pub(crate) fn read_up_to(&mut self, wanted: &str) -> Result<(), Ended> {
        let until = self.board.now() + LIMIT;
        loop {
            let gone = self.listen();
            if let Some(at) = self.said.find(wanted) {
                self.said.drain(..at + wanted.len());
                return Ok(());
            }
            if gone {
                let said = std::mem::take(&mut self.said);
                let status = self.program.0.wait().expect("a child");
                return Err(Ended { status, said });
            }
            sure(self.terminal.step());
            assert!(
                self.board.now() < until,
                "no {wanted:?} came; it says: {}",
                self.said
            );
        }
    }

    /// Takes up what has been said; whether nothing more can come.
    fn listen(&mut self) -> bool {
        loop {
            match self.words.try_recv() {
                Ok(bytes) => self.said.push_str(&String::from_utf8_lossy(&bytes)),
                Err(TryRecvError::Empty) => return false,
                Err(TryRecvError::Disconnected) => return true,
            }
        }
    }

    pub(crate) fn type_line(&mut self, line: &str) {
        // Where it has ended, reading on will tell.
        let _ = writeln!(self.keys, "{line}");
    }

    /// Lets time pass.
    pub(crate) fn wait(&mut self, time: Duration) {
        let until = self.board.now() + time;
        while self.board.now() < until {
            sure(self.terminal.step());
        }
    }
}

/// The program: named by `PANESTEP_PROGRAM`, or built here.
pub(crate) fn program() -> PathBuf {
    if let Some(program) = std::env::var_os("PANESTEP_PROGRAM") {
        return program.into();
    }
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo)
        .args(["build", "--package", "panestep", "--bin", "panestep"])
        .arg("--message-format=json-render-diagnostics")
        .arg("--manifest-path")
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("../Cargo.toml"))
        .stderr(Stdio::inherit())
        .output()
        .expect("cargo runs");
    assert!(output.status.success(), "cargo: {}", output.status);
    output
        .stdout
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(&line.ok()?).ok())
        .filter_map(|message| message["executable"].as_str().map(PathBuf::from))
        .last()
        .expect("cargo says where it is")
}

/// The demonstration in a folder of this name, with ways of a few millimetres, in fewer frames: real
/// time is long.
pub(crate) fn files(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    // What an earlier run left.
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder for the test");
    let read =
        |name: &str| fs::read_to_string(demo_folder().join(name)).expect("the demonstration");
    let stand: String = read("stand.toml")
        .replace("name = \"main\"", &format!("name = \"{NAME}\""))
        .replace("board = \"main\"", &format!("board = \"{NAME}\""))
        .replace(
            "port = \"simulated\"",
            "port = \"simulated\"\nstop_tested = \"2026-03-01\"",
        )
        .replace("60 mm/s2", "300 mm/s2")
        .replace("150 mm/s3", "3000 mm/s3")
        .lines()
        .map(|line| {
            let short = match line.split(" =").next() {
                Some("travel") => "travel = [\"-8 mm\", \"8 mm\"]",
                Some("home") => "home = { switch = \"-10 mm\", within = \"0.02 mm\" }",
                Some("settle") => "settle = \"50 ms\"",
                Some("ready") => "ready = \"50 ms\"",
                _ => line,
            };
            format!("{short}\n")
        })
        .collect();
    let shot: String = read("shot.toml")
        .replace("frames = 120", &format!("frames = {FRAMES}"))
        .replace(
            "frame = 120, east = \"0.8 m\", ahead = \"0.9 m\", fairing = 24",
            &format!("frame = {FRAMES}, east = \"4 mm\", ahead = \"5 mm\""),
        )
        .replace(", fairing = 24", "");
    fs::write(folder.join("stand.toml"), stand).expect("the stand is written");
    fs::write(folder.join("shot.toml"), shot).expect("the shot is written");
    std::os::unix::fs::symlink(
        demo_folder().canonicalize().expect("there").join("art"),
        folder.join("art"),
    )
    .expect("the art is at hand");
    folder
}
