//! What a hand has to do before an exposure: the list that the person at the stand reads.

use panestep::schedule::Chore;
use panestep::take::Arrangement;

use super::people::Desk;
use super::screen::say;

/// Asks for all of it; none to stop.
pub(super) fn ask(desk: &Desk<'_>, arrangement: &Arrangement<'_>) -> Option<()> {
    // An Enter too many would answer for what nobody has done.
    desk.forget();
    let turn = arrangement.turn;
    let pass = if turn.several && !arrangement.pass.is_empty() {
        format!(" ({})", arrangement.pass)
    } else {
        String::new()
    };
    let first = if arrangement.first {
        "; nobody knows how the stand was left, so see that all of this is so"
    } else {
        ""
    };
    say(&format!("frame {turn}{pass}: before it is exposed{first}:"));
    for chore in arrangement.chores {
        say(&format!("  {}", order(chore, arrangement.first)));
    }
    say(
        "  nothing moves meanwhile. Press Enter when it is done and your hands are off the stand, or type stop:",
    );
    loop {
        match desk.line()?.to_lowercase().as_str() {
            "" => return Some(()),
            "stop" | "no" => return None,
            _ => say("  just Enter where all of it is done, or stop to stop here:"),
        }
    }
}

/// One thing to do; or where it may be so already, to see to.
fn order(chore: &Chore, first: bool) -> String {
    match chore {
        Chore::Lay { level, drawing } => format!("{level}: lay {drawing}"),
        Chore::Clear { level } => format!("{level}: take off what lies on it"),
        Chore::TakeOut { level } if first => format!("{level}: the pane is out"),
        Chore::TakeOut { level } => format!("{level}: take the pane out"),
        Chore::PutBack { level } if first => format!("{level}: the pane is in its place"),
        Chore::PutBack { level } => format!("{level}: put the pane back into its place"),
        Chore::Lamp { lamp, on: true } if first => format!("lamp {lamp}: on"),
        Chore::Lamp { lamp, on: false } if first => format!("lamp {lamp}: off"),
        Chore::Lamp { lamp, on: true } => format!("lamp {lamp}: switch it on"),
        Chore::Lamp { lamp, on: false } => format!("lamp {lamp}: switch it off"),
        Chore::Exposure { time } => {
            format!("camera: set its exposure time to {} s", time.as_secs_f64())
        }
    }
}
