//! Makes the file to flash onto a Raspberry Pi Pico, and says how much of the chip it takes.

#![allow(clippy::print_stdout)]

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use panestep_tests::image::{self, FLASH_BYTES, Image, ImageError, RAM_BYTES};

/// Makes the file to flash onto a Raspberry Pi Pico (firmware/pico) from its source.
#[derive(Parser)]
#[command(version, about)]
#[command(args_conflicts_with_subcommands = true)]
struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
    /// What the board is called in the stand file, where that is not "main".
    #[arg(long)]
    board: Option<String>,
}

#[derive(Subcommand)]
enum Command {
    /// Run cargo for the board's chip, with whichever compiler here can.
    Cargo {
        /// The package's folder.
        #[arg(long, default_value = ".")]
        folder: PathBuf,
        /// Such as `build --release`; the target is added.
        #[arg(required = true, trailing_var_arg = true, allow_hyphen_values = true)]
        arguments: Vec<String>,
    },
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let done = match arguments.command {
        None => match &arguments.board {
            Some(board) => image::build_called(board),
            None => image::build(),
        }
        .map(|image| {
            report(&image);
            ExitCode::SUCCESS
        }),
        Some(Command::Cargo { folder, arguments }) => cargo(&folder, &arguments),
    };
    done.unwrap_or_else(|error| {
        eprintln!("image: {error}");
        ExitCode::FAILURE
    })
}

fn report(image: &Image) {
    let sizes = &image.sizes;
    println!(
        "code and constants  {:>9} of {FLASH_BYTES} bytes of flash",
        sizes.flash
    );
    println!(
        "static memory       {:>9} of {RAM_BYTES} bytes of RAM",
        sizes.ram
    );
    println!("left for the stack  {:>9} bytes of RAM", sizes.stack);
    println!("file to flash       {}", image.uf2.display());
    println!();
    println!(
        "Hold the board's BOOTSEL button down while plugging in its USB cable, and copy the file onto"
    );
    println!(
        "the drive that appears. The board then starts the image by itself, and the drive goes away."
    );
}

fn cargo(folder: &Path, arguments: &[String]) -> Result<ExitCode, ImageError> {
    let mut command = image::cargo(folder, &arguments[0])?;
    command.args(&arguments[1..]);
    let status = command.status().map_err(|source| ImageError::Start {
        program: command.get_program().to_string_lossy().into_owned(),
        source,
    })?;
    Ok(if status.success() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}
