//! The user's own command that takes the picture.

use std::collections::VecDeque;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStderr, Command, ExitStatus, Stdio};
use std::rc::Rc;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crate::link::Clock;
use crate::take::exposure::Released;
use crate::take::{ReleaseOrder, Trigger};

/// How long a command may go on after it has been asked to end.
const GRACE: Duration = Duration::from_secs(2);

/// A command that takes longer than this is worth a word to whoever waits.
const PATIENCE: Duration = Duration::from_millis(1500);

/// Between two looks at whether it has ended.
const LOOK: Duration = Duration::from_millis(10);

/// How much of its standard error is kept, bytes, and how many lines of that are shown.
const KEPT: usize = 8 * 1024;
const LINES: usize = 8;

/// How long after its end its last words may still be on the way: a process that it left behind
/// may hold the pipe open for ever.
const LAST_WORDS: Duration = Duration::from_millis(200);

/// What there is to tell of a command.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Told {
    /// It takes its time: what is being waited for.
    Waiting(String),
    /// It failed, or took too long, with the last lines of its standard error.
    Failed(String),
}

/// Runs the command: without a shell, in a folder of the user's choice, and in a process group of
/// its own, so that Ctrl-C does not reach it: an exposure that was begun is finished.
pub struct UserCommand {
    folder: PathBuf,
    clock: Rc<dyn Clock>,
    tell: Box<dyn FnMut(&Told)>,
    why: String,
}

impl UserCommand {
    /// For commands that run in this folder; `clock` is the real time, and `tell` hears what
    /// happens.
    pub fn new(folder: &Path, clock: Rc<dyn Clock>, tell: impl FnMut(&Told) + 'static) -> Self {
        Self {
            folder: folder.into(),
            clock,
            tell: Box::new(tell),
            why: String::new(),
        }
    }

    /// Why a command can certainly not be started, as far as can be seen without starting it. One
    /// on the search path shows only when it is run.
    #[must_use]
    pub fn missing(&self, words: &[String]) -> Option<String> {
        let program = words.first()?;
        if !program.contains(std::path::is_separator) {
            return None;
        }
        let error = match std::fs::metadata(located(&self.folder, program)) {
            Ok(file) if file.is_file() && group::may_be_run(&file) => return None,
            Ok(_) => io::ErrorKind::PermissionDenied.into(),
            Err(error) => error,
        };
        Some(not_begun(program, &self.folder, &error))
    }

    fn fails(&mut self, what: String, words: &Words) {
        let lines = words.last_lines();
        self.why = if lines.is_empty() {
            format!("{what}; it said nothing on its standard error")
        } else {
            format!("{what}; the last it said:\n  {}", lines.join("\n  "))
        };
        (self.tell)(&Told::Failed(self.why.clone()));
    }

    /// Waits until it has ended; none where it has taken too long, and was ended.
    fn wait(
        &mut self,
        child: &mut Child,
        shown: &str,
        order: &ReleaseOrder<'_>,
    ) -> io::Result<Option<ExitStatus>> {
        let begun = self.clock.now();
        let mut told = false;
        loop {
            if let Some(status) = child.try_wait()? {
                return Ok(Some(status));
            }
            let spent = self.clock.now().saturating_sub(begun);
            if spent >= order.time_out {
                return Ok(None);
            }
            if spent >= PATIENCE && !std::mem::replace(&mut told, true) {
                (self.tell)(&Told::Waiting(format!(
                    "frame {}: waiting for {shown} to end, {} at most",
                    order.turn,
                    seconds(order.time_out)
                )));
            }
            self.clock.sleep(LOOK.min(order.time_out - spent))?;
        }
    }

    /// Asks it to end, and ends it where it does not; with everything that it has started.
    fn end(&self, child: &mut Child) {
        group::ask_to_end(child);
        let begun = self.clock.now();
        while !group::has_ended(child) && self.clock.now().saturating_sub(begun) < GRACE {
            if self.clock.sleep(LOOK).is_err() {
                break;
            }
        }
        group::end(child);
        // It has been ended: nothing more to learn from how.
        let _ = child.wait();
    }
}

impl Trigger for UserCommand {
    fn release(&mut self, order: &ReleaseOrder<'_>) -> Released {
        self.why.clear();
        let Some((program, arguments)) = order.words.split_first() else {
            "the stand file names no program".clone_into(&mut self.why);
            return Released::NotBegun;
        };
        let arguments: Vec<String> = arguments.iter().map(|word| order.filled_in(word)).collect();
        let shown = shown(program, &arguments);
        let mut command = Command::new(located(&self.folder, program));
        command
            .args(&arguments)
            .current_dir(&self.folder)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped());
        group::apart(&mut command);
        let mut child = match command.spawn() {
            Ok(child) => child,
            // A spawn that fails has not begun the program.
            Err(error) => {
                self.why = not_begun(program, &self.folder, &error);
                return Released::NotBegun;
            }
        };
        let words = Words::listen(child.stderr.take());
        match self.wait(&mut child, &shown, order) {
            Ok(Some(status)) if status.success() => Released::Took,
            Ok(Some(status)) => {
                words.finish(&*self.clock);
                let how = status.code().map_or_else(
                    || "was ended from outside".to_owned(),
                    |code| format!("ended with exit code {code}"),
                );
                self.fails(format!("{shown} {how}"), &words);
                Released::Failed(status.code())
            }
            Ok(None) => {
                self.end(&mut child);
                words.finish(&*self.clock);
                let after = seconds(order.time_out);
                self.fails(
                    format!("{shown} had not ended after {after}, and was ended"),
                    &words,
                );
                Released::TimedOut
            }
            Err(error) => {
                self.end(&mut child);
                self.fails(format!("{shown} cannot be waited for: {error}"), &words);
                Released::Failed(None)
            }
        }
    }

    fn why(&self) -> String {
        self.why.clone()
    }
}

/// A program with a path is found from the stand file's folder, one without on the search path.
fn located(folder: &Path, program: &str) -> PathBuf {
    if program.contains(std::path::is_separator) {
        folder.join(program)
    } else {
        program.into()
    }
}

fn not_begun(program: &str, folder: &Path, error: &io::Error) -> String {
    let folder_shown = folder.display();
    if !folder.is_dir() {
        return format!("{folder_shown}, the stand file's folder, is not there");
    }
    match error.kind() {
        io::ErrorKind::NotFound if program.contains(std::path::is_separator) => {
            format!(
                "there is no {program} in {folder_shown}, or what its first line names is missing"
            )
        }
        io::ErrorKind::NotFound => format!(
            "there is no program {program} on the search path; one that lies beside the stand \
             file is called ./{program}"
        ),
        io::ErrorKind::PermissionDenied => {
            format!("{program} is not a program that may be run: chmod +x makes it one")
        }
        _ => format!("{program}: {error}"),
    }
}

fn shown(program: &str, arguments: &[String]) -> String {
    let mut text = format!("the command {program}");
    for argument in arguments {
        text.push(' ');
        text.push_str(argument);
    }
    text
}

fn seconds(time: Duration) -> String {
    format!("{} s", (time.as_secs_f64() * 10.0).round() / 10.0)
}

/// The end of what a command says on its standard error.
struct Words {
    kept: Arc<Mutex<VecDeque<u8>>>,
    reader: Option<std::thread::JoinHandle<()>>,
}

impl Words {
    fn listen(pipe: Option<ChildStderr>) -> Self {
        let kept = Arc::new(Mutex::new(VecDeque::new()));
        let into = Arc::clone(&kept);
        let reader = pipe.map(|mut pipe| {
            std::thread::spawn(move || {
                let mut buffer = [0; 1024];
                // A pipe that breaks has nothing more to say.
                while let Ok(count @ 1..) = pipe.read(&mut buffer) {
                    let mut kept = into.lock().unwrap_or_else(PoisonError::into_inner);
                    kept.extend(&buffer[..count]);
                    let over = kept.len().saturating_sub(KEPT);
                    kept.drain(..over);
                }
            })
        });
        Self { kept, reader }
    }

    /// Waits a little for the last of them.
    fn finish(&self, clock: &dyn Clock) {
        let begun = clock.now();
        while self
            .reader
            .as_ref()
            .is_some_and(|reader| !reader.is_finished())
            && clock.now().saturating_sub(begun) < LAST_WORDS
        {
            if clock.sleep(LOOK).is_err() {
                break;
            }
        }
    }

    fn last_lines(&self) -> Vec<String> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let bytes: Vec<u8> = kept.iter().copied().collect();
        let text = String::from_utf8_lossy(&bytes);
        let plain = |line: &str| -> String {
            line.chars()
                .filter(|character| !character.is_control())
                .collect()
        };
        let mut lines: Vec<String> = text
            .lines()
            .rev()
            .map(plain)
            .filter(|line| !line.trim().is_empty())
            .take(LINES)
            .collect();
        lines.reverse();
        lines
    }
}

/// A process with all that it has started.
#[cfg(unix)]
mod group {
    use std::fs::Metadata;
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    use std::process::{Child, Command};

    use rustix::process::{Pid, Signal, WaitId, WaitIdOptions, kill_process_group, waitid};

    pub(super) fn apart(command: &mut Command) {
        command.process_group(0);
    }

    pub(super) fn may_be_run(file: &Metadata) -> bool {
        file.permissions().mode() & 0o111 != 0
    }

    pub(super) fn ask_to_end(child: &Child) {
        // One that has ended by itself needs no asking.
        let _ = kill_process_group(Pid::from_child(child), Signal::TERM);
    }

    /// Leaves it to be waited for, so that its group keeps its number.
    pub(super) fn has_ended(child: &Child) -> bool {
        let options = WaitIdOptions::EXITED | WaitIdOptions::NOHANG | WaitIdOptions::NOWAIT;
        !matches!(
            waitid(WaitId::Pid(Pid::from_child(child)), options),
            Ok(None)
        )
    }

    pub(super) fn end(child: &mut Child) {
        let _ = kill_process_group(Pid::from_child(child), Signal::KILL);
    }
}

/// A process alone, where the system knows no groups.
#[cfg(not(unix))]
mod group {
    use std::fs::Metadata;
    use std::process::{Child, Command};

    pub(super) fn apart(_command: &mut Command) {}

    pub(super) fn may_be_run(_file: &Metadata) -> bool {
        true
    }

    pub(super) fn ask_to_end(_child: &Child) {}

    pub(super) fn has_ended(child: &mut Child) -> bool {
        !matches!(child.try_wait(), Ok(None))
    }

    pub(super) fn end(child: &mut Child) {
        let _ = child.kill();
    }
}
