//! `--step`: through a shot with keys.

use std::rc::Rc;

use panestep::take::{Standing, Steps, Stood, Wish};

use super::screen::{aside, frames, say};
use super::typed::{Key, Typing};

/// The keys of somebody who steps.
pub(crate) struct Keys {
    typing: Rc<Typing>,
}

impl Keys {
    pub(crate) fn new(typing: &Rc<Typing>) -> Self {
        Self {
            typing: Rc::clone(typing),
        }
    }

    fn ask(&self, stood: &Stood) -> Option<Wish> {
        let enter = at_enter(stood);
        loop {
            let key = self.typing.key(|| {
                say(&where_it_is(stood));
                say(&format!("  {}", keys(stood, enter)));
            })?;
            let wish = match key {
                Key::Enter => Some(enter),
                Key::Character('f' | 'F') => self.forward(stood),
                Key::Character('b' | 'B') => self.back(stood),
                Key::Character('g' | 'G') => self.to_a_frame(stood, None),
                Key::Character('e' | 'E') if stood.shooting => self.expose(stood),
                Key::Character('l' | 'L') => Some(Wish::Leave),
                Key::Line(line) => match line.split_whitespace().collect::<Vec<_>>()[..] {
                    ["g", number] => self.to_a_frame(stood, Some(number)),
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
        let frame = stood.frame.map_or(1, |frame| frame + 1);
        if frame > stood.frames {
            say("  this is the last frame");
            return None;
        }
        Some(Wish::Go(frame))
    }

    fn back(&self, stood: &Stood) -> Option<Wish> {
        match stood.frame {
            None | Some(1) => {
                say("  there is no frame before this");
                None
            }
            Some(frame) => Some(Wish::Go(frame - 1)),
        }
    }

    fn to_a_frame(&self, stood: &Stood, typed: Option<&str>) -> Option<Wish> {
        let mut typed = typed.map(str::to_owned);
        loop {
            let line = match typed.take() {
                Some(line) => line,
                None => {
                    say(&format!(
                        "  to which frame, 1 to {}? Enter alone to stay here:",
                        stood.frames
                    ));
                    self.typing.line()?
                }
            };
            if line.is_empty() {
                return None;
            }
            match line.parse() {
                Ok(frame) if (1..=stood.frames).contains(&frame) => return Some(Wish::Go(frame)),
                _ => say(&format!(
                    "  {line:?} is none of the frames 1 to {}",
                    stood.frames
                )),
            }
        }
    }

    fn expose(&self, stood: &Stood) -> Option<Wish> {
        let (Some(frame), Some(standing)) = (stood.frame, stood.standing) else {
            say("  go to a frame first");
            return None;
        };
        let what = match standing {
            Standing::Wanted => return Some(Wish::Expose),
            Standing::Exposed => "is exposed already; expose it once more?",
            Standing::Dropped => "is left out of this take; expose it all the same?",
        };
        say(&format!("  frame {frame} {what} yes or no:"));
        match self.typing.line()?.to_lowercase().as_str() {
            "yes" | "y" => Some(Wish::ExposeAgain),
            _ => {
                say("  it stays as it is");
                None
            }
        }
    }
}

/// What Enter does: the next thing.
fn at_enter(stood: &Stood) -> Wish {
    if !stood.shooting {
        return match stood.frame {
            Some(frame) if frame < stood.frames => Wish::Go(frame + 1),
            Some(_) => Wish::Leave,
            None => Wish::Go(1),
        };
    }
    match (stood.standing, stood.next) {
        (Some(Standing::Wanted), _) => Wish::Expose,
        (_, Some(next)) => Wish::Go(next),
        (_, None) => Wish::Leave,
    }
}

fn where_it_is(stood: &Stood) -> String {
    let mut line = match stood.frame {
        None => "at no frame yet".to_owned(),
        Some(frame) => format!("at frame {frame} of {}", stood.frames),
    };
    line.push_str(match stood.standing {
        None => "",
        Some(Standing::Wanted) => ", not exposed yet",
        Some(Standing::Exposed) => ", exposed",
        Some(Standing::Dropped) => ", left out",
    });
    if stood.shooting {
        line.push_str(&format!(
            "; {} still to be exposed",
            frames(stood.left as usize)
        ));
    }
    line
}

fn keys(stood: &Stood, enter: Wish) -> String {
    let enter = match enter {
        Wish::Go(frame) => format!("go to frame {frame}"),
        Wish::Expose | Wish::ExposeAgain => "expose it".to_owned(),
        Wish::Leave => "leave".to_owned(),
    };
    let expose = if stood.shooting { ", e: expose" } else { "" };
    format!("Enter: {enter}, f: forward, b: back, g: go to a frame{expose}, l: leave")
}

impl Steps for Keys {
    fn next(&mut self, stood: &Stood) -> Option<Wish> {
        aside(|| self.ask(stood))
    }
}
