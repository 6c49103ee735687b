//! What a linked program puts where on the chip.

use crc::{CRC_32_MPEG_2, Crc};
use object::LittleEndian;
use object::elf::{EM_ARM, FileHeader32, PT_LOAD, SHF_ALLOC};
use object::read::elf::{FileHeader, ProgramHeader, SectionHeader};

/// Where the flash begins in the chip's memory (RP2040 data sheet, "Address Map": XIP).
pub const FLASH: u32 = 0x1000_0000;
/// Bytes of flash on a Raspberry Pi Pico (its data sheet: 2 MB).
pub const FLASH_BYTES: u32 = 2 * 1024 * 1024;
/// Where its RAM begins (RP2040 data sheet, "SRAM").
pub const RAM: u32 = 0x2000_0000;
/// Bytes of its RAM, the two small banks at the end among them (RP2040 data sheet: 264 kB).
pub const RAM_BYTES: u32 = 264 * 1024;

/// The chip's own boot code copies this many bytes from the start of the flash and runs them, if
/// their last four are the checksum of the others (RP2040 data sheet, "Boot Sequence").
const SECOND_STAGE: usize = 256;

/// How much of the chip a program takes. All in bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sizes {
    /// Of the flash: code, constants, and what variables begin with.
    pub flash: u32,
    /// Of the RAM: variables that are there all the time, those that a reset leaves alone among them.
    pub ram: u32,
    /// Of the RAM: free for the stack, downwards from where it begins.
    pub stack: u32,
}

/// What is to stand in the flash, and how much it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Program {
    /// From the flash's first byte on; zero where the program says nothing.
    pub flash: Vec<u8>,
    /// How much of the chip it takes.
    pub sizes: Sizes,
}

/// What is wrong with a linked program.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Flaw {
    /// It is not what a linker makes for this chip.
    #[error("this is not a 32-bit ARM ELF program ({0}); it should have been linked for the board")]
    NotElf(String),
    /// Part of it would stand where there is no flash.
    #[error(
        "{bytes} bytes for address {address:#010x} are outside the flash \
         ({FLASH:#010x} and the {FLASH_BYTES} bytes from there on); make the program smaller, or \
         mend memory.x"
    )]
    Outside {
        /// Where they would stand.
        address: u32,
        /// How many.
        bytes: u32,
    },
    /// Two parts of it would stand in one place.
    #[error("two parts of it are both for flash address {address:#010x}; mend memory.x")]
    Overlap {
        /// The first such place.
        address: u32,
    },
    /// The chip would not run it.
    #[error(
        "the flash does not begin with the {SECOND_STAGE} bytes that the chip starts from, their checksum \
         among them; put a second stage from rp2040-boot2 into the section .boot2"
    )]
    NoSecondStage,
    /// It does not say where its stack and its code begin.
    #[error(
        "the table after the second stage begins with stack {stack:#010x} and code {reset:#010x}, which are \
         not in RAM and in flash; mend memory.x"
    )]
    NoVectors {
        /// Where the stack would begin.
        stack: u32,
        /// Where the code would begin.
        reset: u32,
    },
}

impl Program {
    /// Reads what a linker wrote.
    ///
    /// # Errors
    /// When it is no program for this chip, does not fit its flash, or the chip would not start it.
    pub fn read(elf: &[u8]) -> Result<Self, Flaw> {
        let bad = |error: object::Error| Flaw::NotElf(error.to_string());
        let header = FileHeader32::<LittleEndian>::parse(elf).map_err(bad)?;
        let endian = header.endian().map_err(bad)?;
        let machine = header.e_machine(endian);
        if machine != EM_ARM {
            return Err(Flaw::NotElf(format!("machine {machine:?}")));
        }

        let mut flash = Vec::new();
        let mut taken: Vec<(u32, u32)> = Vec::new();
        for segment in header.program_headers(endian, elf).map_err(bad)? {
            // What stands in the file belongs in the flash, at the address to load it from: variables
            // are copied to theirs at the start.
            let bytes = segment.p_filesz(endian);
            if segment.p_type(endian) != PT_LOAD || bytes == 0 {
                continue;
            }
            let address = segment.p_paddr(endian);
            let data = segment
                .data(endian, elf)
                .map_err(|()| Flaw::NotElf("it is cut short".into()))?;
            let from = address
                .checked_sub(FLASH)
                .filter(|from| from.checked_add(bytes).is_some_and(|to| to <= FLASH_BYTES))
                .ok_or(Flaw::Outside { address, bytes })?;
            let (from, to) = (from, from + bytes);
            if let Some((other, _)) = taken.iter().find(|(a, b)| *a < to && from < *b) {
                let address = FLASH + from.max(*other);
                return Err(Flaw::Overlap { address });
            }
            taken.push((from, to));
            if flash.len() < to as usize {
                flash.resize(to as usize, 0);
            }
            flash[from as usize..to as usize].copy_from_slice(data);
        }

        let Some((stage, rest)) = flash.split_at_checked(SECOND_STAGE) else {
            return Err(Flaw::NoSecondStage);
        };
        let (code, sum) = stage.split_at(SECOND_STAGE - 4);
        // Their sum has the polynomial 0x04c11db7, begins with all ones, and turns no bit around:
        // what the catalogue of the `crc` crate calls MPEG-2.
        if Crc::<u32>::new(&CRC_32_MPEG_2).checksum(code).to_le_bytes() != sum {
            return Err(Flaw::NoSecondStage);
        }
        let word = |at: usize| {
            let bytes = rest.get(at..at + 4).and_then(|word| word.try_into().ok());
            bytes.map_or(0, u32::from_le_bytes)
        };
        let (stack, reset) = (word(0), word(4));
        let in_ram = (RAM + 1..=RAM + RAM_BYTES).contains(&stack);
        let in_flash = (FLASH..FLASH + flash.len() as u32).contains(&reset);
        if !in_ram || !in_flash {
            return Err(Flaw::NoVectors { stack, reset });
        }

        let mut ram = 0;
        let mut floor = RAM;
        let sections = header.sections(endian, elf).map_err(bad)?;
        for section in sections.iter() {
            let (address, bytes) = (section.sh_addr(endian), section.sh_size(endian));
            if !section.sh_flags(endian).contains(SHF_ALLOC)
                || !(RAM..RAM + RAM_BYTES).contains(&address)
            {
                continue;
            }
            ram += bytes;
            // The stack grows downwards to the next variable, or to the end.
            let end = address.saturating_add(bytes);
            if end <= stack {
                floor = floor.max(end);
            }
        }
        Ok(Self {
            sizes: Sizes {
                flash: taken.iter().map(|(from, to)| to - from).sum(),
                ram,
                stack: stack - floor,
            },
            flash,
        })
    }
}
