//! The program against boards on serial ports: strange ones, and the simulated stand on its
//! pseudo-terminal, in real time.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Read, Write};
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

use panestep_protocol::{
    Accumulator, BootId, FromBoard, Hello, Identity, MAGIC, MAX_FRAME, SessionId, ToBoard, VERSION,
    encode, schema,
};
use rustix::fs::{Mode, OFlags, open};
use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use tempfile::TempDir;

mod support;

/// Far longer than anything takes on the slowest machine: only a hang gets there.
const LIMIT: Duration = Duration::from_secs(120);

const FRAMES: usize = 12;

/// A folder with a stand of one quick motor and a short shot for it.
fn desk() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data");
    let read = |name: &str| fs::read_to_string(data.join(name)).expect("the test's file");
    // Without the level that is set by hand.
    let (before, rest) = {
        let stand = read("hand.stand.toml");
        let axis = stand.rfind("[[axis]]").expect("the hand axis");
        let shutter = stand.find("[shutter]").expect("the shutter");
        (stand[..axis].to_owned(), stand[shutter..].to_owned())
    };
    let stand = (before + &rest)
        .replace("\"60 mm/s2\"", "\"400 mm/s2\"")
        .replace("\"400 mm/s3\"", "\"6000 mm/s3\"");
    let shot = read("hand.shot.toml");
    let shot = shot[..shot.find("[[shift]]").expect("the hand axis's move")]
        .replace("frames = 2", &format!("frames = {FRAMES}"))
        .replace("frame = 2", &format!("frame = {FRAMES}"));
    fs::write(folder.path().join("hand.stand.toml"), stand).expect("the stand is written");
    fs::write(folder.path().join("shot.toml"), shot).expect("the shot is written");
    folder
}

fn program(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_panestep"));
    command
        .args(arguments)
        .current_dir(folder)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// A board that is only played: it hears everything, and answers a hello as it is told to.
struct Fake {
    path: PathBuf,
    heard: Receiver<ToBoard>,
    // Holds the terminal open between the program's visits.
    _slave: OwnedFd,
}

impl Fake {
    fn new(answer: impl Fn(&Hello) -> Vec<u8> + Send + 'static) -> Self {
        let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
        let master = openpt(flags).expect("a pseudo-terminal");
        grantpt(&master).expect("granted");
        unlockpt(&master).expect("unlocked");
        let name = ptsname(&master, Vec::new()).expect("a name");
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
        let slave = open(name.as_c_str(), flags, Mode::empty()).expect("its other side");
        let mut modes = tcgetattr(&slave).expect("its modes");
        modes.make_raw();
        tcsetattr(&slave, OptionalActions::Now, &modes).expect("raw");
        let (sender, heard) = mpsc::channel();
        let mut line = File::from(master);
        std::thread::spawn(move || {
            let mut accumulator = Accumulator::<ToBoard>::default();
            let mut buffer = [0; 256];
            while let Ok(count @ 1..) = line.read(&mut buffer) {
                for &byte in &buffer[..count] {
                    let Some(Ok(message)) = accumulator.push(byte) else {
                        continue;
                    };
                    let answer = match &message {
                        ToBoard::Hello(hello) => Some(answer(hello)),
                        _ => None,
                    };
                    // Before the answer, on which the program may end: what was heard is asked for then.
                    if sender.send(message).is_err() {
                        return;
                    }
                    if let Some(answer) = answer {
                        let _ = line.write_all(&answer);
                    }
                }
            }
        });
        Self {
            path: PathBuf::from(name.to_str().expect("a plain name")),
            heard,
            _slave: slave,
        }
    }

    /// A shoot on it fails with these words, leaves nothing behind, and sends it nothing but
    /// hellos.
    #[track_caller]
    fn is_refused(&self, words: &[&str]) {
        let folder = desk();
        let port = format!("main={}", self.path.display());
        let output = program(folder.path(), &["shoot", "shot.toml", "--port", &port])
            .output()
            .expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(1), "{said}");
        for word in words {
            assert!(said.contains(word), "{word:?} is missing in: {said}");
        }
        assert_eq!(fs::read_dir(folder.path()).expect("the folder").count(), 2);
        let heard: Vec<ToBoard> = self.heard.try_iter().collect();
        assert!(!heard.is_empty(), "it never said hello");
        assert!(
            heard
                .iter()
                .all(|message| matches!(message, ToBoard::Hello(_))),
            "more than a hello was sent: {heard:?}"
        );
    }
}

fn identity(hello: &Hello) -> Identity {
    Identity {
        magic: MAGIC,
        version: VERSION,
        schema: schema(),
        nonce: hello.nonce,
        name: "main".try_into().expect("a short name"),
        axes: 6,
        tick_rate: 20_000,
        boot: BootId(7),
        session: SessionId(0),
        mark: None,
    }
}

fn frame(identity: Identity) -> Vec<u8> {
    let mut buffer = [0; MAX_FRAME];
    encode(&FromBoard::Identity(identity), &mut buffer)
        .expect("it fits")
        .to_vec()
}

#[test]
fn a_board_that_babbles_is_none_of_ours() {
    let noise: Vec<u8> = (0..400_u32).map(|n| (n * n % 251) as u8).collect();
    Fake::new(move |_| noise.clone()).is_refused(&["main"]);
}

#[test]
fn a_board_that_is_silent_is_named_with_its_port() {
    let fake = Fake::new(|_| Vec::new());
    fake.is_refused(&["main", &fake.path.display().to_string()]);
}

#[test]
fn a_board_of_another_name_is_named() {
    Fake::new(|hello| {
        frame(Identity {
            name: "attic".try_into().expect("a short name"),
            ..identity(hello)
        })
    })
    .is_refused(&["main", "attic"]);
}

#[test]
fn a_board_of_another_version_is_told_with_both_numbers() {
    Fake::new(|hello| {
        frame(Identity {
            version: 47,
            ..identity(hello)
        })
    })
    .is_refused(&["main", "47", &VERSION.to_string()]);
}

#[test]
fn a_board_of_another_schema_is_refused() {
    Fake::new(|hello| {
        frame(Identity {
            schema: [1; 8],
            ..identity(hello)
        })
    })
    .is_refused(&["main", "firmware"]);
}

/// The simulated stand on its pseudo-terminal, for as long as this lives.
struct Simulated {
    child: Child,
    port: String,
    // Its words have somewhere to go.
    _screen: BufReader<std::process::ChildStderr>,
}

impl Simulated {
    fn new(folder: &Path) -> Self {
        Self::of(folder, "hand.stand.toml")
    }

    fn of(folder: &Path, stand: &str) -> Self {
        let (mut simulated, [port]) = Self::with_boards(folder, stand, ["main"]);
        simulated.port = port;
        simulated
    }

    /// A simulated stand of several boards, and their ports.
    fn with_boards<const N: usize>(
        folder: &Path,
        stand: &str,
        boards: [&str; N],
    ) -> (Self, [String; N]) {
        let mut child = program(folder, &["simulate", stand])
            .spawn()
            .expect("it runs");
        let mut screen = BufReader::new(child.stderr.take().expect("its words"));
        let ports = boards.map(|board| {
            let mut line = String::new();
            screen.read_line(&mut line).expect("a line for the board");
            let words = format!("board {board} is at ");
            let path = line.trim().strip_prefix(&words).expect(&line);
            format!("{board}={path}")
        });
        let simulated = Self {
            port: String::new(),
            child,
            _screen: screen,
        };
        (simulated, ports)
    }
}

impl Drop for Simulated {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Slots that the journal has as exposed, in its order.
fn done(take: &Path) -> Vec<u64> {
    let text = fs::read_to_string(take.join("journal.jsonl")).unwrap_or_default();
    text.lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
        .filter(|entry| entry["kind"] == "done")
        .filter_map(|entry| entry["slot"].as_u64())
        .collect()
}

/// Waits until so many frames are exposed, then sends the signal; how the program ended.
fn struck(mut child: Child, take: &Path, frames: usize, signal: Signal) -> Output {
    let start = Instant::now();
    while done(take).len() < frames {
        assert!(start.elapsed() < LIMIT, "{frames} frames took too long");
        assert!(
            child.try_wait().expect("it is there").is_none(),
            "it ended too soon"
        );
        std::thread::sleep(Duration::from_millis(20));
    }
    let pid = Pid::from_child(&child);
    kill_process(pid, signal).expect("the signal is sent");
    child.wait_with_output().expect("it ends")
}

#[test]
fn a_take_survives_an_interrupt_and_a_kill_on_a_running_board() {
    let folder = desk();
    let simulated = Simulated::new(folder.path());
    let take = folder.path().join("take");
    let port = ["--port", simulated.port.as_str()];
    let shoot = ["shoot", "shot.toml", "--take", "take", port[0], port[1]];
    let resume = ["resume", "take", port[0], port[1]];
    let begin = |arguments: &[&str]| program(folder.path(), arguments).spawn().expect("it runs");

    let output = struck(begin(&shoot), &take, 3, Signal::INT);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(3), "{said}");
    assert!(said.contains("panestep resume take"), "{said}");
    let interrupted = done(&take).len();
    assert!((3..FRAMES).contains(&interrupted), "{interrupted} frames");

    let output = struck(begin(&resume), &take, interrupted + 3, Signal::KILL);
    assert_eq!(output.status.code(), None, "it was killed");

    let output = begin(&resume).wait_with_output().expect("it ends");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{said}");
    let slots: Vec<u64> = (1..=FRAMES as u64).collect();
    assert_eq!(done(&take), slots, "{said}");
}

/// The board only moves; the test's own command takes the pictures, which arrive a while later, in
/// pieces.
#[test]
fn a_command_takes_the_pictures_of_a_stand_on_a_port() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let within = support::CARD.replace("2 s", "60 s");
    support::write(folder.path(), support::COMMAND, &within, 3);
    let at = |name: &str| folder.path().join(name);
    fs::create_dir(at("card")).expect("a folder");
    for frame in 1..=3 {
        support::picture(&at(&format!("{frame}.png")), 60 + frame);
    }
    support::script(
        folder.path(),
        "( sleep 0.2; head -c 40 $1.png >card/$1.png; sleep 0.3; tail -c +41 $1.png >>card/$1.png ) \
         >/dev/null 2>&1 &",
    );
    let simulated = Simulated::of(folder.path(), "stand.toml");
    let port = ["--port", simulated.port.as_str()];
    let arguments = ["shoot", "shot.toml", "--take", "take", port[0], port[1]];
    let output = program(folder.path(), &arguments)
        .output()
        .expect("it runs");
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(
        said.contains("3 frames exposed, each exactly once"),
        "{said}"
    );
    let pictures = support::of_kind(&at("take"), "done", "picture");
    let files: Vec<_> = pictures.iter().map(|picture| &picture["file"]).collect();
    assert_eq!(files, ["1.png", "2.png", "3.png"]);
}

/// A stand whose levels are moved by a board each, and a shot of three frames for it.
fn two_boards() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    support::write(folder.path(), support::BOARD, "", 3);
    let path = folder.path().join("stand.toml");
    let stand = fs::read_to_string(&path).expect("the stand");
    let at = stand.find("[[level]]").expect("a level");
    let axis = stand.find("[[axis]]").expect("an axis");
    let shutter = stand.find("[shutter]").expect("the shutter");
    let lower = stand[axis..shutter]
        .replace("\"quay\"", "\"sky\"")
        .replace("\"main\"", "\"lower\"");
    let board =
        "[[board]]\nname = \"lower\"\nport = \"simulated\"\nstop_tested = \"2026-03-01\"\n\n";
    let text = [
        &stand[..at],
        board,
        &stand[at..shutter],
        &lower,
        &stand[shutter..],
    ]
    .concat();
    fs::write(&path, text).expect("written");
    let path = folder.path().join("shot.toml");
    let shot = fs::read_to_string(&path).expect("the shot");
    let shift = "\n[[shift]]\nlevel = \"sky\"\ndirection = \"west\"\nper_frame = \"2 mm\"\n";
    fs::write(&path, shot + shift).expect("written");
    folder
}

#[test]
fn boards_that_have_changed_places_are_named_and_put_right_by_what_is_said() {
    let folder = two_boards();
    let (_simulated, [main, lower]) =
        Simulated::with_boards(folder.path(), "stand.toml", ["main", "lower"]);
    let path = |port: &str| port.split_once('=').expect("a port").1.to_owned();
    let (at_main, at_lower) = (path(&main), path(&lower));
    let shoot = |ports: [String; 2]| {
        let [one, other] = ports;
        let words = [
            "shoot",
            "shot.toml",
            "--take",
            "take",
            "--port",
            &one,
            "--port",
            &other,
        ];
        let output = program(folder.path(), &words).output().expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        (output.status.code(), said)
    };

    let (code, said) = shoot([format!("main={at_lower}"), format!("lower={at_main}")]);
    assert_eq!(code, Some(1), "{said}");
    let says = |words: &str| assert!(said.contains(words), "{words:?} is missing in: {said}");
    says("boards have changed places");
    says(&format!("\"main\" answers at {at_main}, not at {at_lower}"));
    says(&format!("--port {main} --port {lower}"));
    assert!(!folder.path().join("take").exists());

    // One is away: the other, that is there, is named as well.
    let missing = folder.path().join("nowhere").display().to_string();
    let (code, said) = shoot([main.clone(), format!("lower={missing}")]);
    assert_eq!(code, Some(1), "{said}");
    let says = |words: &str| assert!(said.contains(words), "{words:?} is missing in: {said}");
    says("board \"lower\"");
    says(&missing);
    says("in its place: main");
    says("no take was begun");
    assert!(!folder.path().join("take").exists());

    let (code, said) = shoot([main, lower]);
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(done(&folder.path().join("take")), [1, 2, 3]);
}
