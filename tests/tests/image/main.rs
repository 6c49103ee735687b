//! The file to flash holds what was linked, and what the chip could not run is refused.

mod linked;
#[cfg(feature = "emulator")]
mod real;

use std::collections::HashMap;

use linked::{Linked, Part};
use panestep_tests::image::{FAMILY, FLASH, FLASH_BYTES, Flaw, Program, RAM, to_uf2};

/// Blocks of 512 bytes with 256 of content each, numbered, with the marks that Microsoft's
/// specification gives (github.com/microsoft/uf2, README.md).
fn check_blocks(uf2: &[u8], contents: usize) {
    assert_eq!(uf2.len() % 512, 0);
    let count = contents.div_ceil(256);
    assert_eq!(uf2.len() / 512, count);
    for (number, block) in uf2.chunks(512).enumerate() {
        let word = |at: usize| u32::from_le_bytes(block[at..at + 4].try_into().unwrap());
        assert_eq!(word(0), 0x0a32_4655);
        assert_eq!(word(4), 0x9e5d_5157);
        assert_eq!(word(8), 0x0000_2000, "the family is named");
        assert_eq!(word(12), FLASH + 256 * number as u32);
        assert_eq!(word(16), 256);
        assert_eq!(word(20), number as u32);
        assert_eq!(word(24), count as u32);
        assert_eq!(word(28), 0xe48b_ff56, "RP2040 in utils/uf2families.json");
        assert!(block[288..508].iter().all(|byte| *byte == 0));
        assert_eq!(word(508), 0x0ab1_6f30);
    }
}

/// The flash after the file was copied onto the board, as another library reads it.
fn decoded(uf2: &[u8]) -> Vec<u8> {
    let (flash, families) = uf2_decode::convert_from_uf2(uf2).unwrap();
    assert_eq!(families, HashMap::from([(FAMILY, u64::from(FLASH))]));
    flash
}

/// Every loaded byte of a linked program stands where it is to be loaded from, and nothing else does.
/// The program is read by another library than the image's.
fn check_against_segments(elf: &[u8], flash: &[u8]) {
    let elf = elf::ElfBytes::<elf::endian::AnyEndian>::minimal_parse(elf).unwrap();
    let mut expected = vec![0; flash.len()];
    for segment in elf.segments().unwrap() {
        if segment.p_type == elf::abi::PT_LOAD {
            let from = (segment.p_paddr as usize).wrapping_sub(FLASH as usize);
            let data = elf.segment_data(&segment).unwrap();
            if !data.is_empty() {
                expected[from..from + data.len()].copy_from_slice(data);
            }
        }
    }
    assert!(flash == expected, "the flash differs from what was linked");
}

#[test]
fn file_holds_what_was_linked() {
    for code in [4, 0x40, 0xbf, 0xc0, 0xc1, 5000] {
        let linked = Linked::usual(code).bytes();
        let program = Program::read(&linked).unwrap();
        let uf2 = to_uf2(&program.flash);
        check_blocks(&uf2, program.flash.len());
        let flash = decoded(&uf2);
        assert_eq!(flash[..program.flash.len()], program.flash);
        check_against_segments(&linked, &flash);
    }
}

#[test]
fn holes_are_filled() {
    let mut linked = Linked::usual(40);
    linked
        .parts
        .push(Part::flash(FLASH + 0x5003, vec![0x5a; 300]));
    let linked = linked.bytes();
    let program = Program::read(&linked).unwrap();
    assert_eq!(program.flash.len(), 0x5003 + 300);
    let uf2 = to_uf2(&program.flash);
    check_blocks(&uf2, program.flash.len());
    check_against_segments(&linked, &decoded(&uf2));
}

#[test]
fn sizes_are_counted() {
    let sizes = Program::read(&Linked::usual(1000).bytes()).unwrap().sizes;
    // Second stage, two vectors, code, and what .data begins with.
    assert_eq!(sizes.flash, 256 + 8 + 1000 + 12);
    // .data, .bss and .uninit.
    assert_eq!(sizes.ram, 12 + 300 + 64);
    assert_eq!(sizes.stack, 256 * 1024 - sizes.ram);
}

#[test]
fn stack_below_the_variables_ends_where_ram_begins() {
    let mut linked = Linked::usual(1000);
    for part in &mut linked.parts {
        if part.address >= RAM {
            part.address += 0x8000;
        }
    }
    linked.set_vectors(RAM + 0x8000, FLASH + 0x109);
    let sizes = Program::read(&linked.bytes()).unwrap().sizes;
    assert_eq!(sizes.ram, 12 + 300 + 64);
    assert_eq!(sizes.stack, 0x8000);
}

fn flaw(linked: &Linked) -> Flaw {
    Program::read(&linked.bytes()).unwrap_err()
}

#[test]
fn what_is_no_program_for_the_chip_is_refused() {
    let not_elf = |bytes: &[u8]| {
        let flaw = Program::read(bytes).unwrap_err();
        assert!(matches!(flaw, Flaw::NotElf(_)), "{flaw}");
        assert!(flaw.to_string().contains("not a 32-bit ARM ELF"), "{flaw}");
    };
    not_elf(b"");
    not_elf(b"UF2\n and then something else, and long enough for a header of 52 bytes");
    // This test is a program for another machine.
    not_elf(&std::fs::read(std::env::current_exe().unwrap()).unwrap());
    let whole = Linked::usual(1000).bytes();
    not_elf(&whole[..whole.len() / 2]);
    let mut other = Linked::usual(1000);
    other.machine = 243; // RISC-V
    not_elf(&other.bytes());
}

#[test]
fn what_is_outside_the_flash_is_refused() {
    let end = FLASH + FLASH_BYTES;
    for (address, bytes) in [
        (0, 4),
        (FLASH - 4, 4),
        (FLASH - 2, 4),
        (end - 3, 4),
        (end, 1),
        (RAM, 16),
        (u32::MAX - 1, 4),
        (FLASH + 0x2000, FLASH_BYTES),
    ] {
        let mut linked = Linked::usual(100);
        linked
            .parts
            .push(Part::flash(address, vec![1; bytes as usize]));
        let flaw = flaw(&linked);
        assert_eq!(flaw, Flaw::Outside { address, bytes });
        assert!(flaw.to_string().contains(&format!("{address:#010x}")));
    }
    // To the last byte it fits.
    let mut linked = Linked::usual(100);
    linked.parts.push(Part::flash(end - 4, vec![1; 4]));
    let program = Program::read(&linked.bytes()).unwrap();
    assert_eq!(program.flash.len() as u32, FLASH_BYTES);
}

#[test]
fn two_things_in_one_place_are_refused() {
    let mut linked = Linked::usual(1000);
    linked.parts.push(Part::flash(FLASH + 0x1ff, vec![1; 4]));
    let address = FLASH + 0x1ff;
    assert_eq!(flaw(&linked), Flaw::Overlap { address });
}

#[test]
fn what_the_chip_would_not_start_is_refused() {
    assert_eq!(
        flaw(&Linked {
            parts: Vec::new(),
            machine: 40
        }),
        Flaw::NoSecondStage
    );
    // Every second stage of the makers has the right sum; one bit less and it has not.
    for stage in [
        rp2040_boot2::BOOT_LOADER_GENERIC_03H,
        rp2040_boot2::BOOT_LOADER_W25Q080,
    ] {
        let mut linked = Linked::usual(1000);
        linked.parts[0].data = stage.to_vec();
        assert!(Program::read(&linked.bytes()).is_ok());
        linked.parts[0].data[17] ^= 4;
        assert_eq!(flaw(&linked), Flaw::NoSecondStage);
    }
    for (stack, reset) in [
        (0, FLASH + 0x109),
        (RAM, FLASH + 0x109),
        (RAM + 264 * 1024 + 8, FLASH + 0x109),
        (RAM + 0x100, RAM + 0x80),
        (RAM + 0x100, FLASH + FLASH_BYTES),
    ] {
        let mut linked = Linked::usual(1000);
        linked.set_vectors(stack, reset);
        assert_eq!(flaw(&linked), Flaw::NoVectors { stack, reset });
    }
}
