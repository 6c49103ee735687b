//! The image of `firmware/pico`, built from source.

use std::fs;

use panestep_tests::image::{self, FLASH_BYTES, Image, ImageError, RAM, RAM_BYTES};

use super::{check_against_segments, check_blocks, decoded};

#[test]
fn file_to_flash_holds_the_linked_image() {
    let image = image::build().unwrap();
    let elf = fs::read(&image.elf).unwrap();
    let uf2 = fs::read(&image.uf2).unwrap();
    check_blocks(&uf2, image.flash.len());
    let flash = decoded(&uf2);
    assert_eq!(flash[..image.flash.len()], image.flash);
    check_against_segments(&elf, &flash);

    // No hole and no padding to speak of: what is counted is what the file holds.
    let Image { sizes, .. } = &image;
    let counted = sizes.flash as usize;
    assert!((image.flash.len() - 64..=image.flash.len()).contains(&counted));
    assert!(sizes.flash < FLASH_BYTES);
    assert!(sizes.ram + sizes.stack <= RAM_BYTES);
    assert_ne!(sizes.ram, 0);

    // The same source is the same image.
    assert_eq!(image::build().unwrap(), image);
    assert_eq!(fs::read(&image.uf2).unwrap(), uf2);
}

#[test]
fn what_does_not_build_is_an_error() {
    let folder = image::top().join("firmware/pico");
    let more = ["--features", "no-such-feature"];
    let error = image::build_in(&folder, "panestep-pico", &more).unwrap_err();
    assert!(matches!(error, ImageError::Build { .. }), "{error}");
    assert!(error.to_string().contains("firmware/pico"), "{error}");
}

#[test]
fn a_board_can_be_called_something_else() {
    let holds = |image: &Image, name: &str| {
        let windows = image.flash.windows(name.len());
        windows.into_iter().any(|window| window == name.as_bytes())
    };
    let other = image::build_called("north-side").unwrap();
    assert!(holds(&other, "north-side"));
    let usual = image::build().unwrap();
    assert!(!holds(&usual, "north-side"));
    assert_ne!(other.uf2, usual.uf2);
    for name in ["", "a name", "a-name-of-25-letters-00000"] {
        let error = image::build_called(name).unwrap_err();
        assert!(matches!(error, ImageError::Name(_)), "{error}");
    }
}

/// In flash it would now and then wait for the cache, in the middle of a move.
#[test]
fn what_runs_at_a_tick_is_in_ram() {
    let image = image::build().unwrap();
    let elf = fs::read(&image.elf).unwrap();
    let file = elf::ElfBytes::<elf::endian::LittleEndian>::minimal_parse(&elf).unwrap();
    let (symbols, names) = file.symbol_table().unwrap().unwrap();
    let mut found = 0;
    for symbol in symbols.iter() {
        let name = names.get(symbol.st_name as usize).unwrap();
        // The interrupt's handler, and what of the library has not gone into it.
        let quick = name == "PIO0_IRQ_0" || name.contains("panestep_firmware");
        if quick && symbol.st_symtype() == elf::abi::STT_FUNC {
            found += 1;
            assert!(
                (u64::from(RAM)..u64::from(RAM + RAM_BYTES)).contains(&symbol.st_value),
                "{name} is at {:#x}",
                symbol.st_value
            );
        }
    }
    assert!(found > 10, "only {found} functions found");
}
