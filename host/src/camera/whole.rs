//! Whether a picture's file is whole. A decoder may fill what is missing of a JPEG file with grey
//! and call it read; a file that is still being copied must not pass for a picture.

/// Whether a JPEG file has its end: walks from marker to marker (ITU-T T.81, annex B.1.1) up to
/// the end-of-image marker that belongs to the start. What some cameras write after it does not
/// count, nor does the end of a small picture that a segment may hold.
pub(crate) fn jpeg_has_its_end(bytes: &[u8]) -> bool {
    const START: u8 = 0xD8;
    const END: u8 = 0xD9;
    const SCAN: u8 = 0xDA;
    let Some(mut rest) = bytes.strip_prefix(&[0xFF, START]) else {
        return false;
    };
    loop {
        // Markers stand after any number of bytes of fill.
        let Some(after) = rest.strip_prefix(&[0xFF]) else {
            return false;
        };
        let Some((&marker, after)) = after.split_first() else {
            return false;
        };
        rest = match marker {
            0xFF => &rest[1..],
            END => return true,
            // Markers without a segment.
            0x01 | 0xD0..=0xD7 => after,
            _ => {
                let Some(length) = after.first_chunk() else {
                    return false;
                };
                let Some(behind) = after.get(usize::from(u16::from_be_bytes(*length))..) else {
                    return false;
                };
                if marker == SCAN {
                    after_scan(behind)
                } else {
                    behind
                }
            }
        };
    }
}

/// Whether a PNG file has its end: walks from chunk to chunk (PNG specification, 5.3) up to the one
/// that ends the image.
pub(crate) fn png_has_its_end(bytes: &[u8]) -> bool {
    const SIGNATURE: &[u8] = b"\x89PNG\r\n\x1a\n";
    let Some(mut rest) = bytes.strip_prefix(SIGNATURE) else {
        return false;
    };
    loop {
        let Some((length, after)) = rest.split_first_chunk() else {
            return false;
        };
        let length = u32::from_be_bytes(*length) as usize;
        // Its type, its data, its checksum.
        let Some(behind) = length.checked_add(8).and_then(|all| after.get(all..)) else {
            return false;
        };
        if after.starts_with(b"IEND") {
            return true;
        }
        rest = behind;
    }
}

/// From the coded data of a scan to the next marker that is none of those within it.
fn after_scan(data: &[u8]) -> &[u8] {
    let next = data
        .windows(2)
        .position(|pair| pair[0] == 0xFF && !matches!(pair[1], 0x00 | 0xD0..=0xD7 | 0xFF));
    next.map_or(&[], |at| &data[at..])
}

#[cfg(test)]
mod tests {
    use super::{jpeg_has_its_end, png_has_its_end};

    #[test]
    fn every_cut_of_a_jpeg_file_lacks_its_end() {
        let picture = image::RgbImage::from_fn(97, 61, |x, y| {
            image::Rgb([(x * y % 251) as u8, (x * 2) as u8, (y * 4) as u8])
        });
        let mut bytes = Vec::new();
        image::codecs::jpeg::JpegEncoder::new(&mut bytes)
            .encode_image(&picture)
            .expect("it is encoded");
        assert!(jpeg_has_its_end(&bytes));
        for length in 0..bytes.len() {
            assert!(!jpeg_has_its_end(&bytes[..length]), "{length}");
        }
        // Room that was made before the bytes came.
        let mut room = bytes[..bytes.len() / 2].to_vec();
        room.resize(bytes.len(), 0);
        assert!(!jpeg_has_its_end(&room));
        // A trailer behind the end.
        bytes.extend(b"more");
        assert!(jpeg_has_its_end(&bytes));
    }

    #[test]
    fn every_cut_of_a_png_file_lacks_its_end() {
        let mut bytes = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_fn(40, 30, |x, y| image::Rgb([x as u8, y as u8, 7]))
            .write_to(&mut bytes, image::ImageFormat::Png)
            .expect("it is encoded");
        let bytes = bytes.into_inner();
        assert!(png_has_its_end(&bytes));
        for length in 0..bytes.len() {
            assert!(!png_has_its_end(&bytes[..length]), "{length}");
        }
    }

    #[test]
    fn a_small_picture_within_is_not_the_end() {
        // An application segment that holds a whole picture, then nothing.
        let inner = [0xFF, 0xD8, 0xFF, 0xD9];
        let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xE1, 0, 2 + inner.len() as u8];
        bytes.extend(inner);
        assert!(!jpeg_has_its_end(&bytes));
        bytes.extend([0xFF, 0xFF, 0xD9]);
        assert!(jpeg_has_its_end(&bytes));
    }
}
