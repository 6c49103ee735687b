//! Which compiler builds for the board's chip here. The one place that knows: the test command asks
//! `image cargo` too.

use std::env;
use std::path::{Path, PathBuf};
use std::process::Command;

use super::ImageError;

/// What compilers call the board's chip.
pub const TARGET: &str = "thumbv6m-none-eabi";

/// The compiler that builds everything else.
const USUAL: &str = "rustc";

/// Debian's compiler and the source of its core library (packages rustc-web, cargo-web, rust-web-src,
/// rust-web-clippy). Debian's plain rustc is too old.
const DEBIAN: &str = "/usr/bin";

/// A cargo subcommand (build, clippy, doc) for the board's chip, `--target` included, in a package's
/// `folder`, where its `.cargo/config.toml` counts.
///
/// With the compiler that `rustc` names, if it has a core library for the chip, as after
/// `rustup target add`. Else with Debian's, which can build the core library from source, and with the
/// linker of the other, which Debian's has not.
///
/// # Errors
/// When neither is here, or there is nothing to link with.
pub fn cargo(folder: &Path, subcommand: &str) -> Result<Command, ImageError> {
    let mut command = choose(subcommand, Path::new(DEBIAN), &rustc)?;
    command
        .current_dir(folder)
        .env("CARGO_TARGET_DIR", super::built_in(folder));
    Ok(command)
}

/// What `ask` is given: a compiler's program and its arguments.
type Ask<'a> = &'a dyn Fn(&Path, &[&str]) -> Result<String, ImageError>;

fn choose(subcommand: &str, debian: &Path, ask: Ask<'_>) -> Result<Command, ImageError> {
    let library = ask(
        Path::new(USUAL),
        &["--target", TARGET, "--print", "target-libdir"],
    );
    if library.is_ok_and(|folder| has_core(Path::new(&folder))) {
        let mut command = Command::new("cargo");
        command.arg(subcommand).args(["--target", TARGET]);
        undisturbed(&mut command);
        return Ok(command);
    }

    let compiler = debian.join("rustc");
    let source = ask(&compiler, &["--print", "sysroot"])
        .map(|root| Path::new(&root).join("lib/rustlib/src/rust/library/core"));
    if !source.is_ok_and(|folder| folder.is_dir()) || !debian.join("cargo").is_file() {
        return Err(ImageError::Target);
    }
    let linker = linker(ask)?;
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
fn linker(ask: Ask<'_>) -> Result<PathBuf, ImageError> {
    let root = ask(Path::new(USUAL), &["--print", "sysroot"])?;
    let version = ask(Path::new(USUAL), &["-vV"])?;
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
fn rustc(program: &Path, arguments: &[&str]) -> Result<String, ImageError> {
    let output = Command::new(program)
        .args(arguments)
        .output()
        .map_err(|source| ImageError::Start {
            program: program.display().to_string(),
            source,
        })?;
    Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    /// A folder that goes away again, for two compilers and what belongs to them.
    struct Machine(PathBuf);

    impl Machine {
        fn new(name: &str) -> Self {
            let folder = format!("panestep-toolchain-{name}-{}", std::process::id());
            let machine = Self(env::temp_dir().join(folder));
            fs::create_dir_all(machine.0.join("usual/lib")).unwrap();
            machine
        }

        fn file(&self, name: &str) -> PathBuf {
            let path = self.0.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(&path, "").unwrap();
            path
        }

        fn choose(&self, subcommand: &str) -> Result<Command, ImageError> {
            let debian = self.0.join("debian");
            choose(subcommand, &debian, &|program, arguments| {
                let usual = self.0.join("usual");
                let root = match program {
                    program if program == Path::new("rustc") => usual,
                    program if program.is_file() => debian.clone(),
                    program => {
                        return Err(ImageError::Start {
                            program: program.display().to_string(),
                            source: std::io::ErrorKind::NotFound.into(),
                        });
                    }
                };
                Ok(match arguments {
                    ["--target", TARGET, "--print", "target-libdir"] => root.join("lib"),
                    ["--print", "sysroot"] => root,
                    ["-vV"] => "rustc 1.2.3\nhost: here\nrelease: 1.2.3".into(),
                    other => panic!("asked for {other:?}"),
                }
                .display()
                .to_string())
            })
        }
    }

    impl Drop for Machine {
        fn drop(&mut self) {
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    fn arguments(command: &Command) -> Vec<&str> {
        command
            .get_args()
            .map(|part| part.to_str().unwrap())
            .collect()
    }

    #[test]
    fn a_core_library_is_enough() {
        let machine = Machine::new("target");
        machine.file("usual/lib/libcore-0123.rlib");
        let command = machine.choose("build").unwrap();
        assert_eq!(command.get_program(), "cargo");
        assert_eq!(arguments(&command), ["build", "--target", TARGET]);
    }

    #[test]
    fn without_one_it_is_built_from_debians_source() {
        let machine = Machine::new("source");
        machine.file("debian/rustc");
        machine.file("debian/cargo");
        machine.file("debian/lib/rustlib/src/rust/library/core/Cargo.toml");

        let error = machine.choose("build").unwrap_err().to_string();
        assert!(
            error.contains("usual/lib/rustlib/here/bin/rust-lld"),
            "{error}"
        );

        let linker = machine.file("usual/lib/rustlib/here/bin/rust-lld");
        let command = machine.choose("clippy").unwrap();
        assert_eq!(command.get_program(), machine.0.join("debian/cargo"));
        assert_eq!(
            arguments(&command),
            ["clippy", "--target", TARGET, "-Zbuild-std=core"]
        );
        let set = |name: &str| {
            let mut all = command.get_envs();
            all.find(|(key, _)| *key == name)
                .and_then(|(_, value)| value)
        };
        assert_eq!(
            set("CARGO_TARGET_THUMBV6M_NONE_EABI_LINKER"),
            Some(linker.as_os_str())
        );
        assert_eq!(
            set("RUSTC"),
            Some(machine.0.join("debian/rustc").as_os_str())
        );
        assert_eq!(set("RUSTC_BOOTSTRAP").unwrap(), "1");

        // Of its own, where there is one.
        let clippy = machine.file("debian/cargo-clippy");
        assert_eq!(machine.choose("clippy").unwrap().get_program(), clippy);
    }

    #[test]
    fn with_neither_it_says_what_to_run() {
        let machine = Machine::new("neither");
        let says = || machine.choose("build").unwrap_err().to_string();
        assert!(
            says().contains("rustup target add thumbv6m-none-eabi"),
            "{}",
            says()
        );
        assert!(
            says().contains("apt-get install rustc-web cargo-web rust-web-src"),
            "{}",
            says()
        );
        // Debian's other compiler, which has no source of its core library.
        machine.file("debian/rustc");
        machine.file("debian/cargo");
        assert!(says().contains("rustup target add"), "{}", says());
    }
}
