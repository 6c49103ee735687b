//! The hardware notes' drawings, made by code: names of pins come from the board's own table.
//!
//! `cargo run -p panestep-tests --bin drawings` writes them; a test compares them with what is
//! committed, and looks for labels that cannot be read.

mod boards;
mod camera;
mod lamp;
mod lift;
mod motor;
mod overview;
// The image's own file, which needs nothing of the board.
#[allow(unreachable_pub, dead_code)]
#[path = "../../../firmware/pico/src/pins.rs"]
mod pins;
mod sheet;
mod stop;
mod symbols;
mod travel;

use sheet::Sheet;

/// One drawing of the hardware notes.
pub struct Drawing {
    /// Its file's name, in the notes' folder of drawings.
    pub name: &'static str,
    /// What it shows, for those who do not see it.
    pub description: &'static str,
    title: &'static str,
    size: (f64, f64),
    draw: fn(&mut Sheet),
}

/// All of them.
pub const DRAWINGS: [Drawing; 8] = [
    Drawing {
        name: "overview.svg",
        title: "The whole stand, from the front",
        description: "A frame of two posts on a bed, five levels of glass in carriages one above \
                      another, a camera that looks down, lamps at both sides, motors, home \
                      switches, an emergency stop and a closed cabinet.",
        size: (900.0, 660.0),
        draw: overview::draw,
    },
    Drawing {
        name: "lift.svg",
        title: "A lift: carriage, screw, brake and counterweight",
        description: "A carriage with its pane on a vertical guide, a screw with nut, motor and \
                      brake, and a counterweight in a closed shaft on two ropes.",
        size: (900.0, 620.0),
        draw: lift::draw,
    },
    Drawing {
        name: "travel.svg",
        title: "Travel, home switch and buffers of one axis",
        description: "A carriage on its rail between two buffers; the home switch trips outside \
                      the travel and stays tripped until the carriage meets the buffer.",
        size: (900.0, 420.0),
        draw: travel::draw,
    },
    Drawing {
        name: "motor.svg",
        title: "One axis: board, driver, motor, home switch",
        description: "The board's step, direction and enable lines to a driver, the driver's \
                      supply with fuse and capacitor, its motor, and the home switch with its \
                      resistors and capacitor.",
        size: (900.0, 590.0),
        draw: motor::draw,
    },
    Drawing {
        name: "stop.svg",
        title: "Emergency stop",
        description: "A mushroom switch whose first contact holds the contactor that feeds the \
                      motor drivers, and whose second contact, in series with the far switches, \
                      tells the board.",
        size: (900.0, 560.0),
        draw: stop::draw,
    },
    Drawing {
        name: "camera.svg",
        title: "Camera: half-press, release, flash contact",
        description: "Three opto-isolators between the board and the camera: two from the board \
                      to the camera's remote contacts, one from the camera's flash contact back.",
        size: (900.0, 580.0),
        draw: camera::draw,
    },
    Drawing {
        name: "lamp.svg",
        title: "A lamp on the mains, through a certified relay",
        description: "The board's lamp output drives the isolated input of a certified relay in \
                      a closed earthed enclosure, through a transistor; the relay switches the \
                      live wire of the lamp.",
        size: (900.0, 440.0),
        draw: lamp::draw,
    },
    Drawing {
        name: "boards.svg",
        title: "Several boards on one stand",
        description: "One stop loop of extra-low voltage through the mushroom switch and the far \
                      switches feeds one opto-isolator for each board; one supply, one contactor \
                      and one enable circuit for each board.",
        size: (900.0, 620.0),
        draw: boards::draw,
    },
];

impl Drawing {
    fn sheet(&self) -> Sheet {
        let mut sheet = Sheet::new(self.size.0, self.size.1);
        sheet.title(self.title);
        (self.draw)(&mut sheet);
        sheet
    }

    /// The file's text.
    #[must_use]
    pub fn svg(&self) -> String {
        self.sheet().svg(self.title, self.description)
    }

    /// What cannot be read in it: empty where all is well.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        self.sheet().faults()
    }

    /// What is written in it.
    #[must_use]
    pub fn labels(&self) -> Vec<String> {
        self.sheet().labels().map(str::to_owned).collect()
    }
}

/// A pin of the board as it is printed on it: that of an axis, or 0 for a line that all share.
fn pin(line: &pins::Line, axis: u8) -> String {
    assert!(axis < line.count, "{} has no axis {axis}", line.name);
    format!("GP{}", line.first + axis)
}
