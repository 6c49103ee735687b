//! Large letters on the terminal, for who stands at a crank and not at the keyboard.

use std::io::{self, IsTerminal};

use font8x8::UnicodeFonts;

use super::screen::{say, width_of};

/// Rows and columns of a letter, in dots.
const SIZE: usize = 8;

/// Shows lines in large letters where standard error is a terminal that they fit on; whoever reads a
/// file does without.
pub(crate) fn show(lines: &[String]) {
    if !io::stderr().is_terminal() {
        return;
    }
    let columns = width_of(io::stderr());
    if let Some(drawn) = draw(lines, columns) {
        say("");
        for row in drawn {
            say(&row);
        }
    }
}

/// Lines drawn in block characters: a dot as wide as a column where all of them fit, else half as
/// wide; none where that does not fit either, or where a letter is not to be had.
fn draw(lines: &[String], columns: usize) -> Option<Vec<String>> {
    let longest = lines.iter().map(|line| line.chars().count()).max()?;
    // Two dots beside each other for each column, or one.
    let across = [1, 2]
        .into_iter()
        .find(|across| longest * SIZE / across <= columns)?;
    let mut drawn = Vec::new();
    for line in lines {
        let letters: Vec<[u8; SIZE]> = line
            .to_uppercase()
            .chars()
            .map(letter)
            .collect::<Option<_>>()?;
        let dot = |row: usize, column: usize| {
            letters
                .get(column / SIZE)
                .is_some_and(|letter| letter[row] >> (column % SIZE) & 1 == 1)
        };
        for row in (0..SIZE).step_by(2) {
            let drawn_row: String = (0..letters.len() * SIZE)
                .step_by(across)
                .map(|column| {
                    let right = column + across - 1;
                    let dots = [
                        dot(row, column),
                        dot(row, right),
                        dot(row + 1, column),
                        dot(row + 1, right),
                    ];
                    block(dots)
                })
                .collect();
            drawn.push(drawn_row.trim_end().to_owned());
        }
    }
    Some(drawn)
}

fn letter(letter: char) -> Option<[u8; SIZE]> {
    font8x8::BASIC_FONTS
        .get(letter)
        .or_else(|| font8x8::LATIN_FONTS.get(letter))
}

/// The character with these quarters filled: upper left, upper right, lower left, lower right.
fn block(dots: [bool; 4]) -> char {
    const BLOCKS: [char; 16] = [
        ' ', '\u{2598}', '\u{259d}', '\u{2580}', '\u{2596}', '\u{258c}', '\u{259e}', '\u{259b}',
        '\u{2597}', '\u{259a}', '\u{2590}', '\u{259c}', '\u{2584}', '\u{2599}', '\u{259f}',
        '\u{2588}',
    ];
    let place = dots
        .into_iter()
        .enumerate()
        .map(|(bit, dot)| usize::from(dot) << bit)
        .sum::<usize>();
    BLOCKS[place]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(text: &str, columns: usize) -> Option<Vec<String>> {
        draw(&[text.to_owned()], columns)
    }

    #[test]
    fn a_letter_is_as_large_as_fits() {
        // The rows of the font's capital L, `##`, `.#` and so on, two to a line of text.
        let large = drawn("L", 8).expect("it fits");
        assert_eq!(large.len(), 4);
        assert_eq!(large[3].chars().next(), Some('\u{2580}'));
        let narrow = drawn("L", 7).expect("it fits in half the width");
        assert!(narrow.iter().all(|row| row.chars().count() <= 4));
        assert_eq!(drawn("LL", 7), None);
    }

    #[test]
    fn what_has_no_letters_is_not_drawn() {
        assert_eq!(drawn("\u{6d77}", 80), None);
        assert!(drawn("gr\u{fc}n", 80).is_some());
    }

    #[test]
    fn every_dot_is_where_the_font_has_it() {
        for (dots, block_is) in [
            ([false; 4], ' '),
            ([true; 4], '\u{2588}'),
            ([true, true, false, false], '\u{2580}'),
            ([false, false, true, true], '\u{2584}'),
            ([true, false, true, false], '\u{258c}'),
            ([false, true, false, true], '\u{2590}'),
            ([false, true, true, false], '\u{259e}'),
        ] {
            assert_eq!(block(dots), block_is);
        }
    }
}
