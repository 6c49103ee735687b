//! Node, and the lines of JSON to and from it.

use std::io::{self, BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use serde::de::DeserializeOwned;
use serde_json::Value;
use thiserror::Error;

/// The oldest node that the emulator's package runs on, by its `package.json`.
const OLDEST_NODE: u32 = 18;

/// Why there is no emulated board, or none any more.
#[derive(Debug, Error)]
pub enum BoardError {
    /// Node is not there.
    #[error(
        "cannot run {program:?}: {source}; the emulated board needs node {OLDEST_NODE} or newer \
         (Debian: apt-get install nodejs npm; or from nodejs.org); NODE in the environment names \
         another one"
    )]
    NoNode {
        /// What was run.
        program: String,
        /// What the system said.
        source: io::Error,
    },
    /// Node is too old.
    #[error(
        "{program:?} says it is {version:?}; the emulated board needs node {OLDEST_NODE} or newer; \
         NODE in the environment names another one"
    )]
    OldNode {
        /// What was run.
        program: String,
        /// What it said.
        version: String,
    },
    /// The emulator's package is not there.
    #[error("there is no {}; run `npm ci` in {}", package.display(), folder.display())]
    NoPackage {
        /// Where it should be.
        package: PathBuf,
        /// Where to install it.
        folder: PathBuf,
    },
    /// Node ended, or the pipe to it.
    #[error("the emulation has ended: {0}; what node said is above")]
    Ended(io::Error),
    /// Node could not do what it was asked.
    #[error("the emulation says: {0}")]
    Said(String),
    /// The emulated program ran into a trap.
    #[error("the emulated board has stopped: {0:?}")]
    Trouble(Vec<String>),
    /// An answer that is not what it should be.
    #[error("the emulation's answer makes no sense: {0}")]
    Json(serde_json::Error),
    /// Bytes that are none.
    #[error("the emulation's answer makes no sense: {0:?} are no bytes")]
    Hex(String),
    /// A terminal fails.
    #[error("the board's terminal: {0}")]
    Terminal(io::Error),
    /// The board is not on its port.
    #[error("the board has not come to its port within {0:?} of emulated time")]
    NotThere(std::time::Duration),
}

impl From<BoardError> for io::Error {
    fn from(error: BoardError) -> Self {
        Self::other(error)
    }
}

/// Node with the emulation in it.
#[derive(Debug)]
pub(super) struct Process {
    child: Child,
    input: Option<ChildStdin>,
    output: BufReader<ChildStdout>,
}

impl Process {
    pub(super) fn start() -> Result<Self, BoardError> {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("emulated");
        let package = folder.join("node_modules/rp2040js/package.json");
        let node = std::env::var("NODE").unwrap_or_else(|_| "node".into());
        let missing = |source| BoardError::NoNode {
            program: node.clone(),
            source,
        };
        let version = Command::new(&node)
            .arg("--version")
            .output()
            .map_err(missing)?
            .stdout;
        let version = String::from_utf8_lossy(&version).trim().to_owned();
        let major = version
            .strip_prefix('v')
            .and_then(|version| version.split('.').next()?.parse::<u32>().ok());
        if major.is_none_or(|major| major < OLDEST_NODE) {
            return Err(BoardError::OldNode {
                program: node,
                version,
            });
        }
        if !package.is_file() {
            return Err(BoardError::NoPackage { package, folder });
        }
        let mut child = Command::new(&node)
            .arg(folder.join("src/main.mjs"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(missing)?;
        let gone = || BoardError::Ended(io::ErrorKind::BrokenPipe.into());
        let input = child.stdin.take().ok_or_else(gone)?;
        let output = BufReader::new(child.stdout.take().ok_or_else(gone)?);
        Ok(Self {
            child,
            input: Some(input),
            output,
        })
    }

    /// Asks something and waits for the answer.
    pub(super) fn ask(&mut self, command: &Value) -> Result<Value, BoardError> {
        let input = self
            .input
            .as_mut()
            .ok_or_else(|| BoardError::Ended(io::ErrorKind::BrokenPipe.into()))?;
        let mut line = command.to_string();
        line.push('\n');
        input
            .write_all(line.as_bytes())
            .map_err(BoardError::Ended)?;
        line.clear();
        let count = self
            .output
            .read_line(&mut line)
            .map_err(BoardError::Ended)?;
        if count == 0 {
            return Err(BoardError::Ended(io::ErrorKind::UnexpectedEof.into()));
        }
        let answer: Value = serde_json::from_str(&line).map_err(BoardError::Json)?;
        match answer["error"].as_str() {
            Some(error) => Err(BoardError::Said(error.to_owned())),
            None => Ok(answer),
        }
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        // Node ends with its input.
        self.input = None;
        let _ = self.child.wait();
    }
}

/// A part of an answer.
pub(super) fn read<T: DeserializeOwned>(value: Value) -> Result<T, BoardError> {
    serde_json::from_value(value).map_err(BoardError::Json)
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

pub(super) fn unhex(text: &str) -> Result<Vec<u8>, BoardError> {
    let wrong = || BoardError::Hex(text.to_owned());
    text.as_bytes()
        .chunks(2)
        .map(|pair| {
            let pair = std::str::from_utf8(pair).map_err(|_| wrong())?;
            u8::from_str_radix(pair, 16).map_err(|_| wrong())
        })
        .collect()
}
