//! Which compiler builds for the board's chip here. The one place that knows: the test command asks
//! `image cargo` too.

use std::env;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::ImageError;

/// What compilers call the board's chip.
pub const TARGET: &str = "thumbv6m-none-eabi";

/// Debian's compiler and the source of its core library (packages rustc-web, cargo-web, rust-web-src,
/// rust-web-clippy). Debian's plain rustc is too old.
const DEBIAN: &str = "/usr/bin";

/// A cargo subcommand (build, clippy, doc) for the board's chip, `--target` included. It is to run in
/// the folder of the package.
///
/// With the compiler that `rustc` names, if it has a core library for the chip, as after
/// `rustup target add`. Else with Debian's, which can build the core library from source, and with the
/// linker of the other, which Debian's has not.
///
/// # Errors
/// When neither is here, or there is nothing to link with.
pub fn cargo(subcommand: &str) -> Result<Command, ImageError> {
    let library = rustc("rustc", &["--target", TARGET, "--print", "target-libdir"]);
    if library.is_ok_and(|folder| has_core(Path::new(&folder))) {
        let mut command = Command::new("cargo");
        command.arg(subcommand).args(["--target", TARGET]);
        undisturbed(&mut command);
        return Ok(command);
    }

    let debian = Path::new(DEBIAN);
    let compiler = debian.join("rustc");
    let source = rustc(&compiler.to_string_lossy(), &["--print", "sysroot"])
        .map(|root| Path::new(&root).join("lib/rustlib/src/rust/library/core"));
    if !source.is_ok_and(|folder| folder.is_dir()) || !debian.join("cargo").is_file() {
        return Err(ImageError::Target);
    }
    let linker = linker()?;
    // Cargo would look for another compiler's `cargo-clippy` first.
    let clippy = debian.join("cargo-clippy");
    let mut command = if subcommand == "clippy" && clippy.is_file() {
        Command::new(clippy)
    } else {
        Command::new(debian.join("cargo"))
    };
    command
        .arg(subcommand)
        .args(["--target", TARGET, "-Zbuild-std=core"])
        .env("CARGO", debian.join("cargo"))
        .env("RUSTC", compiler)
        .env("RUSTDOC", debian.join("rustdoc"))
        // A stable compiler lets `-Zbuild-std` pass only when told so.
        .env("RUSTC_BOOTSTRAP", "1")
        .env("CARGO_TARGET_THUMBV6M_NONE_EABI_LINKER", linker);
    undisturbed(&mut command);
    Ok(command)
}

/// What is meant for the computer's own programs would take the place of what a board's folder asks
/// for in its `.cargo/config.toml`.
fn undisturbed(command: &mut Command) {
    for name in ["RUSTFLAGS", "CARGO_ENCODED_RUSTFLAGS", "CARGO_BUILD_TARGET"] {
        command.env_remove(name);
    }
}

fn has_core(folder: &Path) -> bool {
    folder.read_dir().is_ok_and(|mut entries| {
        entries.any(|entry| {
            entry.is_ok_and(|entry| {
                let name = entry.file_name();
                let name = name.to_string_lossy();
                name.starts_with("libcore-") && name.ends_with(".rlib")
            })
        })
    })
}

/// The linker that comes with rustup's compiler.
fn linker() -> Result<PathBuf, ImageError> {
    let root = rustc("rustc", &["--print", "sysroot"])?;
    let version = rustc("rustc", &["-vV"])?;
    let host = version
        .lines()
        .find_map(|line| line.strip_prefix("host: "))
        .unwrap_or_default();
    let linker = Path::new(&root)
        .join("lib/rustlib")
        .join(host)
        .join("bin")
        .join(format!("rust-lld{}", env::consts::EXE_SUFFIX));
    if linker.is_file() {
        Ok(linker)
    } else {
        Err(ImageError::Linker(linker))
    }
}

/// What a compiler says about itself; empty when it refuses.
fn rustc(program: &str, arguments: &[&str]) -> Result<String, ImageError> {
    let output = Command::new(program)
        .args(arguments)
        .output()
        .map_err(|source| ImageError::Start {
            program: program.to_owned(),
            source,
        })?;
    Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
}
