//! The hardware notes quote the Pico's pin table from the code: they must say the same.

// The image's own file, which needs nothing of the board.
#[allow(unreachable_pub)]
#[path = "../../firmware/pico/src/pins.rs"]
mod pins;

use pins::{AXES, Line, TABLE, Wiring};

/// The rows of the notes' table: the first column's and the second's text, and the third's.
fn rows() -> Vec<[String; 3]> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../hardware-notes/pico.md");
    let notes = std::fs::read_to_string(path).expect("the hardware notes");
    let section = notes
        .split("\n## Pins\n")
        .nth(1)
        .expect("the Pico's section");
    let table = section
        .lines()
        .skip_while(|line| !line.starts_with("| line |"));
    table
        .skip(2)
        .take_while(|line| line.starts_with('|'))
        .map(|line| {
            let mut cells = line.trim_matches('|').split('|').map(str::trim);
            [(); 3].map(|()| cells.next().unwrap_or_default().to_owned())
        })
        .collect()
}

fn pins_of(line: &Line) -> String {
    let last = line.first + line.count - 1;
    if line.count == AXES {
        format!("GP{} to GP{last}, axis 0 to {}", line.first, AXES - 1)
    } else {
        format!("GP{}", line.first)
    }
}

fn start_of(wiring: Wiring) -> &'static str {
    match wiring {
        Wiring::Low | Wiring::Pulses => "output, low",
        Wiring::High => "output, high",
        Wiring::PulledUp => "input, pulled up",
        Wiring::UartOut => "UART",
        Wiring::UartIn => "UART, pulled up",
    }
}

#[test]
fn the_notes_quote_the_pin_table() {
    let rows = rows();
    for (line, [name, pins, start]) in TABLE.iter().zip(&rows) {
        assert_eq!((name.as_str(), pins), (line.name, &pins_of(line)));
        let stated = start.split(':').next();
        assert_eq!(stated, Some(start_of(line.wiring)), "{name}");
    }
    assert_eq!(rows.len(), TABLE.len());
}

/// What the Pico's edge carries: GP0 to GP22 and GP26 to GP28; GP25 is its own lamp (Raspberry Pi
/// Pico data sheet, pin-out; from memory).
#[test]
fn every_line_is_on_a_pin_that_the_board_has() {
    let edge = 0x07f_ffff | 0b111 << 26 | 1 << 25;
    for line in &TABLE {
        assert_eq!(line.mask() & !edge, 0, "{}", line.name);
    }
}
