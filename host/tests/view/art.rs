//! Art in every kind of file and pixel, and files that are none.

use image::{ImageBuffer, Rgb, RgbImage};

use crate::{Place, picture, texts};

#[test]
fn bad_art_is_named_before_anything_is_written() {
    let place = Place::with_art(5, "reeds.png");
    place.refuses(&[], &["reeds", "reeds.png", "cannot be opened"]);
    let write = |bytes: &[u8]| std::fs::write(place.path("reeds.png"), bytes).unwrap();
    write(b"not a picture");
    place.refuses(&[], &["reeds.png", "not a PNG, JPEG or TIFF"]);
    write(b"");
    place.refuses(&[], &["reeds.png", "not a PNG, JPEG or TIFF"]);
    write(&head_of_png(100_000, 100_000));
    place.refuses(&[], &["too large", "100000 x 100000"]);
    write(&head_of_png(0, 5));
    place.refuses(&[], &["reeds.png"]);
    let whole = encoded(&noise(), image::ImageFormat::Png);
    for length in [whole.len() / 2, whole.len() - 1] {
        write(&whole[..length]);
        place.refuses(&[], &["reeds.png", "not a PNG, JPEG or TIFF"]);
    }
    let whole = encoded(&noise(), image::ImageFormat::Jpeg);
    write(&whole[..whole.len() / 2]);
    place.refuses(&[], &["reeds.png", "its end is missing"]);
    let whole = encoded(&noise(), image::ImageFormat::Tiff);
    write(&whole[..whole.len() / 2]);
    place.refuses(&[], &["reeds.png", "not a PNG, JPEG or TIFF"]);
    std::fs::remove_file(place.path("reeds.png")).unwrap();
    std::fs::create_dir(place.path("reeds.png")).unwrap();
    place.refuses(&[], &["reeds.png", "a folder"]);
    // Whoever has no art yet looks at test fields.
    place.shows(&["--test-field"]);
}

/// A drawing for a later frame that is missing is named at once, and drawings lie on their frames.
#[test]
fn drawings_are_checked_and_shown() {
    let rest = "[[cels]]\nlevel = \"skiffs\"\nfrom = 2\ndrawings = [\"a.png\", \"b.png\"]\n";
    let place = Place::new(5, "", "art = \"a.png\"\nart_width = \"600 mm\"", rest);
    RgbImage::from_pixel(30, 20, Rgb([200, 10, 10]))
        .save(place.path("a.png"))
        .unwrap();
    place.refuses(&["--frames", "1"], &["b.png", "skiffs"]);
    RgbImage::from_pixel(30, 20, Rgb([10, 10, 200]))
        .save(place.path("b.png"))
        .unwrap();
    place.shows(&["--all", "--out", "all"]);
    let corner = |frame: u32| {
        let picture = picture(place.path(&format!("all/frame-{frame:04}.png")));
        *picture.get_pixel(2, 2)
    };
    assert!(corner(2)[0] > corner(2)[2] && corner(3)[0] < corner(3)[2]);
    assert_eq!(corner(1), corner(2));
}

/// What only turns out as it is loaded: the frames before it are there, and that is said.
#[test]
fn what_was_written_before_an_error_is_told() {
    let rest =
        "[[cels]]\nlevel = \"skiffs\"\nfrom = 1\ndrawings = [\"a.png\", \"a.png\", \"b.png\"]\n";
    let place = Place::new(5, "", "art_width = \"600 mm\"", rest);
    let whole = encoded(&noise(), image::ImageFormat::Png);
    std::fs::write(place.path("a.png"), &whole).unwrap();
    let mut torn = whole;
    let middle = torn.len() / 2;
    torn[middle] ^= 0xff;
    std::fs::write(place.path("b.png"), torn).unwrap();
    let output = place.view(&["--all", "--out", "all"]);
    let said = texts(&output).1;
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("frame 3") && said.contains("b.png"), "{said}");
    assert!(said.contains("2 of 5 frames are in all"), "{said}");
    assert_eq!(std::fs::read_dir(place.path("all")).unwrap().count(), 2);
    assert_eq!(picture(place.path("all/frame-0002.png")).width(), 240);
}

/// The same even colour in every format that a painter may save: it is seen as that colour.
#[test]
fn art_in_every_kind_of_pixel_is_shown() {
    use image::{DynamicImage, GrayImage, Luma, LumaA, Rgba};
    let place = Place::with_art(1, "reeds.png");
    let (w, h) = (64, 48);
    let kinds: Vec<(&str, DynamicImage)> = vec![
        ("grey", GrayImage::from_pixel(w, h, Luma([120])).into()),
        (
            "grey, 16 bits",
            ImageBuffer::from_pixel(w, h, Luma([120 * 257_u16])).into(),
        ),
        (
            "grey, opacity",
            ImageBuffer::from_pixel(w, h, LumaA([120_u8, 255])).into(),
        ),
        ("colour", RgbImage::from_pixel(w, h, Rgb([120; 3])).into()),
        (
            "colour, 16 bits",
            ImageBuffer::from_pixel(w, h, Rgb([120 * 257_u16; 3])).into(),
        ),
        (
            "opacity",
            ImageBuffer::from_pixel(w, h, Rgba([120_u8, 120, 120, 255])).into(),
        ),
        (
            "opacity, 16 bits",
            ImageBuffer::from_pixel(w, h, Rgba([30_840_u16, 30_840, 30_840, 65_535])).into(),
        ),
    ];
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    for (name, picture) in &kinds {
        for format in [image::ImageFormat::Png, image::ImageFormat::Tiff] {
            // The encoder has no TIFF of grey with opacity.
            if *name == "grey, opacity" && format == image::ImageFormat::Tiff {
                continue;
            }
            files.push((format!("{name} {format:?}"), encoded(picture, format)));
        }
    }
    files.push((
        "JPEG".into(),
        encoded(&kinds[3].1, image::ImageFormat::Jpeg),
    ));
    files.push(("palette".into(), palette_png()));
    // Made by Pillow 13.0.0: Image.new("CMYK", (64, 48), (0, 0, 0, 135)).
    files.push((
        "CMYK JPEG".into(),
        include_bytes!("../reference/cmyk.jpg").to_vec(),
    ));
    files.push((
        "CMYK TIFF".into(),
        include_bytes!("../reference/cmyk.tif").to_vec(),
    ));
    for (name, bytes) in files {
        std::fs::write(place.path("reeds.png"), bytes).unwrap();
        place.shows(&["--out", "seen.png"]);
        let seen = picture(place.path("seen.png")).get_pixel(120, 80).0;
        assert!(
            seen.iter().all(|value| value.abs_diff(120) <= 2),
            "{name}: {seen:?}"
        );
    }
}

fn noise() -> image::DynamicImage {
    let mut state = 1_u32;
    RgbImage::from_fn(64, 48, |_, _| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let [_, a, b, c] = state.to_be_bytes();
        Rgb([a, b, c])
    })
    .into()
}

fn encoded(picture: &image::DynamicImage, format: image::ImageFormat) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

fn palette_png() -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 64, 48);
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Four);
    encoder.set_palette(vec![0, 0, 0, 120, 120, 120]);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&[0x11; 32 * 48]).unwrap();
    writer.finish().unwrap();
    bytes
}

/// The head of a PNG (PNG specification, 11.2.1) of a size, an empty body and an end.
fn head_of_png(width: u32, height: u32) -> Vec<u8> {
    let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut chunk = |name: &[u8; 4], data: &[u8]| {
        bytes.extend((data.len() as u32).to_be_bytes());
        let mut body = name.to_vec();
        body.extend(data);
        bytes.extend(&body);
        bytes.extend(
            crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC)
                .checksum(&body)
                .to_be_bytes(),
        );
    };
    let mut header = width.to_be_bytes().to_vec();
    header.extend(height.to_be_bytes());
    header.extend([8, 6, 0, 0, 0]);
    chunk(b"IHDR", &header);
    chunk(b"IDAT", b"");
    chunk(b"IEND", b"");
    bytes
}
