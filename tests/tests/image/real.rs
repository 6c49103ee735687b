//! The image of `firmware/pico`, built from source.

use std::fs;

use panestep_tests::image::{self, FLASH_BYTES, Image, ImageError, RAM_BYTES};

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
