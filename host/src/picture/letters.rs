//! Letters made of dots, eight by eight.

use font8x8::UnicodeFonts;

/// Rows and columns of a letter, in dots.
pub(crate) const LETTER: usize = 8;

/// The letter; one that is not to be had is a full block.
fn letter(of: char) -> [u8; LETTER] {
    font8x8::BASIC_FONTS
        .get(of)
        .or_else(|| font8x8::LATIN_FONTS.get(of))
        .or_else(|| font8x8::GREEK_FONTS.get(of))
        .unwrap_or([0x7e; LETTER])
}

/// Width of a text, in dots.
pub(crate) fn width(text: &str) -> usize {
    text.chars().count() * LETTER
}

/// Tells every dot of a text, column and row from its top left corner.
pub(crate) fn dots(text: &str, mut dot: impl FnMut(usize, usize)) {
    for (place, letter) in text.chars().map(letter).enumerate() {
        for (row, bits) in letter.into_iter().enumerate() {
            for column in (0..LETTER).filter(|column| bits >> column & 1 == 1) {
                dot(place * LETTER + column, row);
            }
        }
    }
}
