//! From the source of `firmware/pico` to the file that a person copies onto the board, and how much of
//! the chip it takes.

mod chip;
mod toolchain;

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::ExitStatus;
use std::sync::Mutex;

use panestep_protocol::MAX_NAME;

pub use chip::{FLASH, FLASH_BYTES, Flaw, Program, RAM, RAM_BYTES, Sizes};
pub use toolchain::{TARGET, cargo};

/// The number by which the board's boot loader knows that a UF2 file is for its chip: RP2040 in the
/// list of families in github.com/microsoft/uf2 (utils/uf2families.json).
pub const FAMILY: u32 = 0xe48b_ff56;

/// The image, built.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Image {
    /// The linked program, with what a debugger needs.
    pub elf: PathBuf,
    /// The file to flash.
    pub uf2: PathBuf,
    /// What the flash holds from its first byte on: what an emulator starts.
    pub flash: Vec<u8>,
    /// How much of the chip it takes.
    pub sizes: Sizes,
}

/// Why there is no image.
#[derive(Debug, thiserror::Error)]
pub enum ImageError {
    /// No name for a board.
    #[error(
        "{0:?} cannot be a board's name: it has 1 to {MAX_NAME} letters, digits, - or _, and is the \
         one that the stand file gives the board"
    )]
    Name(String),
    /// A program that builds could not be started.
    #[error("cannot run {program}: {source}; install Rust as https://rustup.rs says")]
    Start {
        /// Its name.
        program: String,
        /// Why.
        source: io::Error,
    },
    /// No compiler here has a core library for the board's chip.
    #[error(
        "no compiler here can build for the board's chip ({TARGET}); run: rustup target add {TARGET}\n\
         (where rustup cannot have it, on Debian, as root: \
         apt-get install rustc-web cargo-web rust-web-src)"
    )]
    Target,
    /// The compiler from Debian is there, but nothing to link with.
    #[error(
        "there is no linker for the board's chip at {0}; install Rust as https://rustup.rs says, beside \
         Debian's"
    )]
    Linker(PathBuf),
    /// Cargo refused; it said why on standard error.
    #[error("cargo could not build {} ({status}); its own message is above", .folder.display())]
    Build {
        /// The package's folder.
        folder: PathBuf,
        /// How cargo ended.
        status: ExitStatus,
    },
    /// A file could not be read or written.
    #[error("cannot {what} {}: {source}", .path.display())]
    File {
        /// What was tried.
        what: &'static str,
        /// With which file.
        path: PathBuf,
        /// Why not.
        source: io::Error,
    },
    /// What was linked is nothing that the board could run.
    #[error("{}: {flaw}", .path.display())]
    Flaw {
        /// The linked program.
        path: PathBuf,
        /// What is wrong with it.
        flaw: Flaw,
    },
}

/// The repository's top folder.
#[must_use]
pub fn top() -> PathBuf {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
    tests.parent().unwrap_or(tests).to_owned()
}

/// Builds the image of `firmware/pico` from its source, unless it is up to date, and its UF2 file.
/// Cargo's progress and its messages go to standard error.
///
/// # Errors
/// When the compiler, the target or the linker is missing, when the source does not build, when what
/// was linked does not fit the chip, or when the file cannot be written.
pub fn build() -> Result<Image, ImageError> {
    build_in(&pico(), PACKAGE, &[])
}

/// Builds it like [`build`], for a board that calls itself `board` instead of "main". The UF2 file has
/// that name in its own.
///
/// # Errors
/// As [`build`]; a name that is no name of a board.
pub fn build_called(board: &str) -> Result<Image, ImageError> {
    let letter = |letter: char| letter.is_ascii_alphanumeric() || "-_".contains(letter);
    if board.is_empty() || board.len() > MAX_NAME || !board.chars().all(letter) {
        return Err(ImageError::Name(board.to_owned()));
    }
    build_with(&pico(), PACKAGE, &[], Some(board))
}

const PACKAGE: &str = "panestep-pico";

fn pico() -> PathBuf {
    top().join("firmware/pico")
}

/// Builds a board's program like [`build`]: package and program `name` in `folder`, a workspace of its
/// own. `more`: further arguments for `cargo build`, such as `--features`.
///
/// # Errors
/// As [`build`].
pub fn build_in(folder: &Path, name: &str, more: &[&str]) -> Result<Image, ImageError> {
    build_with(folder, name, more, None)
}

fn build_with(
    folder: &Path,
    name: &str,
    more: &[&str],
    board: Option<&str>,
) -> Result<Image, ImageError> {
    // Tests build at the same time as one another: the files are written once.
    static ONE: Mutex<()> = Mutex::new(());
    let _one = ONE
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner);

    let built = built_in(folder);
    let mut command = cargo(folder, "build")?;
    command
        .args(["--release", "--locked", "--package", name, "--bin", name])
        .args(more);
    match board {
        Some(board) => command.env("PANESTEP_BOARD", board),
        None => command.env_remove("PANESTEP_BOARD"),
    };
    let status = command.status().map_err(|source| ImageError::Start {
        program: command.get_program().to_string_lossy().into_owned(),
        source,
    })?;
    if !status.success() {
        return Err(ImageError::Build {
            folder: folder.to_owned(),
            status,
        });
    }
    let elf = built.join(TARGET).join("release").join(name);
    let file = |what, path: &Path| {
        let path = path.to_owned();
        move |source| ImageError::File { what, path, source }
    };
    let bytes = fs::read(&elf).map_err(file("read", &elf))?;
    let Program { flash, sizes } = Program::read(&bytes).map_err(|flaw| ImageError::Flaw {
        path: elf.clone(),
        flaw,
    })?;
    let file_name = board.map_or_else(|| name.to_owned(), |board| format!("{name}-{board}"));
    let uf2 = built.join(file_name).with_extension("uf2");
    let blocks = to_uf2(&flash);
    // Whoever copies the file at this moment gets the whole of the old one or of the new one.
    if fs::read(&uf2).ok().as_ref() != Some(&blocks) {
        let new = uf2.with_extension(format!("uf2.{}", std::process::id()));
        fs::write(&new, &blocks).map_err(file("write", &new))?;
        fs::rename(&new, &uf2).map_err(file("write", &uf2))?;
    }
    Ok(Image {
        elf,
        uf2,
        flash,
        sizes,
    })
}

/// What the boot loader reads: the flash's contents from its first byte on, in blocks. There is no gap
/// between them: the chip's boot loader reckons from a block's number which part of the flash to
/// erase for it (RP2040-E14 in the RP2040 data sheet).
///
/// # Panics
/// Never: it writes to memory.
#[must_use]
pub fn to_uf2(flash: &[u8]) -> Vec<u8> {
    uf2::bin_to_uf2(&flash.to_vec(), FAMILY, FLASH).expect("a vector takes every byte")
}

/// Where a package for a board is built. For a workspace of its own that is its own `target`, or a
/// folder of its name in the one that CARGO_TARGET_DIR names (which counts from the top folder).
#[must_use]
pub fn built_in(folder: &Path) -> PathBuf {
    let top = top();
    let folder = std::path::absolute(folder).unwrap_or_else(|_| folder.to_owned());
    let own = folder.join(".cargo").is_dir();
    match std::env::var_os("CARGO_TARGET_DIR").filter(|target| !target.is_empty()) {
        Some(target) if own => top
            .join(target)
            .join(folder.file_name().unwrap_or_default()),
        Some(target) => top.join(target),
        None if own => folder.join("target"),
        None => top.join("target"),
    }
}
