//! `--step`: through a shot with keys.

use std::rc::Rc;

use panestep::schedule::{Order, Schedule};
use panestep::take::{Standing, Steps, Stood, Wish};

use super::screen::{aside, frames, say};
use super::typed::{Key, Typing};

/// The keys of somebody who steps.
pub(crate) struct Keys {
    typing: Rc<Typing>,
    order: Order,
}

impl Keys {
    pub(crate) fn new(typing: &Rc<Typing>, schedule: &Schedule) -> Self {
        Self {
            order: schedule.order(),
            typing: Rc::clone(typing),
        }
    }

    fn ask(&self, stood: &Stood) -> Option<Wish> {
        let enter = at_enter(stood, &self.order);
        loop {
            let key = self.typing.key(|| {
                say(&where_it_is(stood));
                say(&format!("  {}", self.keys(stood, enter)));
            })?;
            let wish = match key {
                Key::Enter => Some(enter),
                Key::Character('f' | 'F') => self.forward(stood),
                Key::Character('b' | 'B') => self.back(stood),
                Key::Character('g' | 'G') => self.to_a_frame(stood, None),
                Key::Character('e' | 'E') if stood.shooting => self.expose(stood),
                Key::Character('l' | 'L') => Some(Wish::Leave),
                Key::Line(line) => match line.split_whitespace().collect::<Vec<_>>()[..] {
                    ["g", ref words @ ..] if !words.is_empty() => {
                        self.to_a_frame(stood, Some(&words.join(" ")))
                    }
                    _ => self.unknown(),
                },
                Key::Character(_) => self.unknown(),
            };
            if wish.is_some() {
                return wish;
            }
        }
    }

    fn unknown(&self) -> Option<Wish> {
        say("  that is none of the keys");
        None
    }

    fn forward(&self, stood: &Stood) -> Option<Wish> {
        let next = forward_from(stood, &self.order);
        if next.is_none() {
            say("  this is the last frame");
        }
        next.map(Wish::Go)
    }

    fn back(&self, stood: &Stood) -> Option<Wish> {
        let before = stood.turn.and_then(|turn| match stood.shooting {
            true => turn.number.checked_sub(1).filter(|&number| number > 0),
            false => self.order.number_of(turn.frame - 1, turn.pass),
        });
        if before.is_none() {
            say("  there is no frame before this");
        }
        before.map(Wish::Go)
    }

    fn to_a_frame(&self, stood: &Stood, typed: Option<&str>) -> Option<Wish> {
        let mut typed = typed.map(str::to_owned);
        loop {
            let line = match typed.take() {
                Some(line) => line,
                None => {
                    let pass = match self.order.passes() {
                        1 => "",
                        _ => " Its pass too, such as 12 in pass 2, where it is another.",
                    };
                    say(&format!(
                        "  to which frame, 1 to {}?{pass} Enter alone to stay here:",
                        stood.frames
                    ));
                    self.typing.line()?
                }
            };
            if line.is_empty() {
                return None;
            }
            match self.number_of(stood, &line) {
                Some(number) => return Some(Wish::Go(number)),
                None => say(&format!(
                    "  {line:?} is none of the frames 1 to {}{}",
                    stood.frames,
                    match self.order.passes() {
                        1 => String::new(),
                        passes => format!(" in the passes 1 to {passes}"),
                    }
                )),
            }
        }
    }

    /// The exposure of a frame that was typed, in the pass that was typed or the one that the stand is
    /// at: `12`, `12 2`, `12 in pass 2`.
    fn number_of(&self, stood: &Stood, line: &str) -> Option<u32> {
        let words: Vec<&str> = line
            .split_whitespace()
            .filter(|word| !["in", "pass"].contains(word))
            .collect();
        let here = stood.turn.map_or(0, |turn| turn.pass);
        let (frame, pass) = match words[..] {
            [frame] => (frame, here),
            [frame, pass] => (frame, pass.parse::<usize>().ok()?.checked_sub(1)?),
            _ => return None,
        };
        self.order.number_of(frame.parse().ok()?, pass)
    }

    fn keys(&self, stood: &Stood, enter: Wish) -> String {
        let enter = match enter {
            Wish::Go(number) => match self.order.turn(number) {
                Some(turn) if stood.shooting => format!("go to frame {turn}"),
                Some(turn) => format!("go to frame {}", turn.frame),
                None => "go on".to_owned(),
            },
            Wish::Expose | Wish::ExposeAgain => "expose it".to_owned(),
            Wish::Leave => "leave".to_owned(),
        };
        let expose = if stood.shooting { ", e: expose" } else { "" };
        format!("Enter: {enter}, f: forward, b: back, g: go to a frame{expose}, l: leave")
    }

    fn expose(&self, stood: &Stood) -> Option<Wish> {
        let (Some(turn), Some(standing)) = (stood.turn, stood.standing) else {
            say("  go to a frame first");
            return None;
        };
        let what = match standing {
            Standing::Wanted => return Some(Wish::Expose),
            Standing::Exposed => "is exposed already; expose it once more?",
            Standing::Dropped => "is left out of this take; expose it all the same?",
        };
        say(&format!("  frame {turn} {what} yes or no:"));
        match self.typing.line()?.to_lowercase().as_str() {
            "yes" | "y" => Some(Wish::ExposeAgain),
            _ => {
                say("  it stays as it is");
                None
            }
        }
    }
}

/// The exposure after this one; in a rehearsal the next frame.
fn forward_from(stood: &Stood, order: &Order) -> Option<u32> {
    match stood.turn {
        None => Some(1),
        Some(turn) if stood.shooting => order.turn(turn.number + 1).map(|turn| turn.number),
        Some(turn) => order.number_of(turn.frame + 1, turn.pass),
    }
}

/// What Enter does: the next thing.
fn at_enter(stood: &Stood, order: &Order) -> Wish {
    if !stood.shooting {
        return forward_from(stood, order).map_or(Wish::Leave, Wish::Go);
    }
    match (stood.standing, stood.next) {
        (Some(Standing::Wanted), _) => Wish::Expose,
        (_, Some(next)) => Wish::Go(next.number),
        (_, None) => Wish::Leave,
    }
}

fn where_it_is(stood: &Stood) -> String {
    let several = stood.shooting && stood.turn.is_some_and(|turn| turn.several);
    let mut line = match stood.turn {
        None => "at no frame yet".to_owned(),
        Some(turn) if several => format!("at frame {turn}, of {} frames", stood.frames),
        Some(turn) => format!("at frame {} of {}", turn.frame, stood.frames),
    };
    line.push_str(match stood.standing {
        None => "",
        Some(Standing::Wanted) => ", not exposed yet",
        Some(Standing::Exposed) => ", exposed",
        Some(Standing::Dropped) => ", left out",
    });
    if stood.shooting {
        line.push_str(&match several {
            true => format!("; {} exposures still to be made", stood.left),
            false => format!("; {} still to be exposed", frames(stood.left as usize)),
        });
    }
    line
}

impl Steps for Keys {
    fn next(&mut self, stood: &Stood) -> Option<Wish> {
        aside(|| self.ask(stood))
    }
}
