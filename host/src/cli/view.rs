//! `panestep view`: what the lens will see.

use std::collections::VecDeque;
use std::fs;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use image::RgbImage;
use panestep::optics;
use panestep::optics::light::stops;
use panestep::picture::animation::{self, Pictures};
use panestep::picture::{Look, PictureError, Scene, difference, frame_name, write_view};
use panestep::plan::{Geometry, Plan};
use panestep::shot::Shot;
use panestep::stand::{LevelId, Stand, StandPose};
use rayon::prelude::*;

use super::args;
use super::screen::{Progress, about, frames as frames_of, say};
use super::{Failure, interrupt, plan};

mod asked;

use asked::Product;

/// Most pictures that are held at a time, and the most memory that they may take, bytes.
const HELD: usize = 16;
const HELD_BYTES: usize = 256 << 20;

/// Where the levels are taken to stand.
enum Poses {
    /// On the steps and divisions that they will be sent to.
    Stepped(Box<Plan>),
    /// Where the story wants them.
    Exact(Box<Geometry>),
}

/// A view that is ready to be made.
struct View {
    stand: Stand,
    shot: Shot,
    scene: Scene,
    poses: Poses,
    passes: Vec<usize>,
    look: Look,
    stop: Arc<AtomicBool>,
}

/// Makes pictures of a shot, or says what is wrong before anything is written.
pub(crate) fn view(typed: &args::View) -> Result<(), Failure> {
    let (stand, shot) = plan::read(&typed.shot)?;
    let frames = asked::frames(typed, &shot)?;
    let look = Look {
        size: asked::size(typed, &stand)?,
        blur: typed.blur,
        light_loss: typed.light_loss,
    };
    let passes = asked::passes(typed.pass.as_deref(), &shot)?;
    let product = asked::product(typed, &frames)?;
    if matches!(product, Product::Strip(_)) {
        asked::strip(&frames, look.size)?;
    }
    asked::may_write(&product, &frames, typed.replace)?;
    let poses = if typed.exact {
        Poses::Exact(Box::new(Geometry::new(&stand, &shot).map_err(
            |refusals| Failure::wrong(format!("{}: {refusals}", typed.shot.display())),
        )?))
    } else {
        let plan = plan::planned(&typed.shot, &stand, &shot)
            .map_err(|refused| refused.hint("to see it all the same: --exact"))?;
        Poses::Stepped(Box::new(plan))
    };
    let stop = interrupt::flag()?;
    let scene = scene(typed, &stand, &shot)?.stopped_by(Arc::clone(&stop));
    let view = View {
        stop,
        stand,
        shot,
        scene,
        poses,
        passes,
        look,
    };
    view.introduce(frames[0]);
    match product {
        Product::Files(folder) => view.files(&folder, &frames),
        Product::File(path) => view.file(&path, frames[0]),
        Product::Gif(path) | Product::Apng(path) => view.animation(&path, &frames),
        Product::Strip(path) => view.strip(&path, &frames),
        Product::Difference(path) => view.difference(&path, frames[0], frames[1]),
    }
}

/// The scene, with a test field where there is no art.
fn scene(typed: &args::View, stand: &Stand, shot: &Shot) -> Result<Scene, Failure> {
    let wrong = |error: PictureError| Failure::wrong(error).hint("nothing was written");
    if typed.test_field {
        return Scene::of_test_fields(stand, shot).map_err(wrong);
    }
    let mut progress = Progress::new("loading the art", 0);
    let scene = Scene::load(stand, shot, |done, files| {
        progress.of(done as u64, files as u64, "");
    });
    progress.done();
    scene.map(Scene::with_test_fields).map_err(wrong)
}

impl View {
    /// By how many stops the exposures of the passes shown are together longer than the stand's own.
    fn over(&self) -> Option<f64> {
        let own = self.stand.shutter.exposure;
        let all = self
            .passes
            .iter()
            .filter_map(|pass| self.shot.passes.get(*pass));
        let sum: f64 = all
            .map(|pass| pass.exposure.unwrap_or(own).as_secs_f64())
            .sum();
        (!own.is_zero() && sum > 0.0).then(|| stops(sum / own.as_secs_f64()))
    }

    /// What to know in order to understand the pictures.
    fn introduce(&self, frame: u32) {
        let name = |level: LevelId| &*self.stand.levels[level.0].name;
        let fields: Vec<&str> = self.scene.test_fields().map(name).collect();
        if !fields.is_empty() {
            say(&format!(
                "test fields in place of art: {}; their numbers are millimetres from the level's zero, \
                 their edges those of the panes",
                fields.join(", ")
            ));
        }
        if self.shot.passes.len() > 1 {
            let names: Vec<&str> = self
                .passes
                .iter()
                .map(|pass| &*self.shot.passes[*pass].name)
                .collect();
            say(&match names.as_slice() {
                [one] => format!("of each frame the exposure of pass {one} alone"),
                names => format!(
                    "exposed one over another: {}; all lamps count alike, exposure times do not",
                    names.join(", ")
                ),
            });
            if let Some(stops) = self.over().filter(|stops| *stops >= 0.1) {
                say(&format!(
                    "together that is {stops:.1} stops more than the stand's own exposure: lit alike, it \
                     burns out; nothing is known of how bright each lamp is"
                ));
            }
        }
        let pose = self.pose(frame);
        let (Ok(pose), true) = (pose, self.look.blur || self.look.light_loss) else {
            return;
        };
        for level in (0..self.stand.levels.len()).map(LevelId) {
            let mut said = Vec::new();
            if self.look.blur {
                let columns = self.look.size.0;
                let blur_px = self.scene.blur_px(level, self.passes[0], &pose, columns);
                said.push(format!("{:.1} px of blur", blur_px.unwrap_or_default()));
            }
            if self.look.light_loss {
                let stops = optics::light::stops(self.scene.through_glass(level, self.passes[0]));
                said.push(format!("{:.2} stops lost in glass", stops.abs()));
            }
            say(&format!(
                "{} at frame {frame}: {}",
                name(level),
                said.join(", ")
            ));
        }
    }

    fn pose(&self, frame: u32) -> Result<StandPose, Failure> {
        match &self.poses {
            Poses::Exact(geometry) => Ok(geometry.pose(frame).stand),
            Poses::Stepped(plan) => plan
                .stepped(frame)
                .ok_or_else(|| Failure::could_not(format!("the plan has no frame {frame}"))),
        }
    }

    fn picture(&self, frame: u32) -> Result<RgbImage, Failure> {
        let pose = self.pose(frame)?;
        self.scene
            .photograph(frame, &self.passes, &pose, &self.look)
            .map_err(|error| match error {
                PictureError::Interrupted => Failure::stopped("stopped; nothing was written"),
                error => Failure::could_not(format!("frame {frame}: {error}")),
            })
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// One file for each frame. Some are packed and written while the next are made, each by one
    /// thread; a frame itself is made by all of them. What goes wrong with one leaves those before it.
    fn files(&self, folder: &Path, frames: &[u32]) -> Result<(), Failure> {
        folder_of(&folder.join("any"))?;
        let bytes = self.look.size.0 as usize * self.look.size.1 as usize * 3;
        let lot = (HELD_BYTES / 2 / bytes.max(1)).clamp(1, HELD.min(rayon::current_num_threads()));
        let mut progress = Going::new("frame", frames.len());
        let mut made: Vec<(u32, RgbImage)> = Vec::new();
        let mut left: VecDeque<&[u32]> = frames.chunks(lot).collect();
        let mut written = 0;
        let mut failed = None;
        while !(left.is_empty() && made.is_empty()) {
            if self.stopped() || failed.is_some() {
                left.clear();
            }
            let next = left.pop_front().unwrap_or_default();
            let (wrote, making) = rayon::join(
                || {
                    let write = |(frame, picture): &(u32, RgbImage)| {
                        write_view(picture, &folder.join(frame_name(*frame)))
                    };
                    made.par_iter().map(write).collect::<Vec<_>>()
                },
                || {
                    next.iter()
                        .map(|frame| Ok((*frame, self.picture(*frame)?)))
                        .collect::<Vec<Result<_, Failure>>>()
                },
            );
            written += wrote.iter().take_while(|wrote| wrote.is_ok()).count();
            if let Some(Err(error)) = wrote.into_iter().find(Result::is_err) {
                failed = Some(Failure::could_not(error));
                break;
            }
            made.clear();
            // Those before the first that could not be made are written all the same.
            for picture in making {
                match picture {
                    Ok(picture) if failed.is_none() => made.push(picture),
                    Ok(_) => {}
                    Err(failure) => failed = failed.or(Some(failure)),
                }
            }
            progress.at(written);
        }
        progress.done();
        let whole = format!(
            "{written} of {} are in {}, each of them whole",
            frames_of(frames.len()),
            folder.display()
        );
        let go_on = || {
            format!(
                "go on from: --frames {}-{}",
                frames[written],
                frames[frames.len() - 1]
            )
        };
        match failed {
            _ if written < frames.len() && self.stopped() => {
                Err(Failure::stopped(format!("stopped: {whole}")).hint(go_on()))
            }
            Some(failure) => Err(failure.and_hint(whole)),
            None => finished(folder, &frames_of(frames.len())),
        }
    }

    fn file(&self, path: &Path, frame: u32) -> Result<(), Failure> {
        let picture = self.picture(frame)?;
        folder_of(path)?;
        write_view(&picture, path).map_err(Failure::could_not)?;
        finished(path, &format!("frame {frame}"))
    }

    /// A looping animation, by the ending of its name.
    fn animation(&self, path: &Path, frames: &[u32]) -> Result<(), Failure> {
        folder_of(path)?;
        let mut failure = None;
        let mut make = |places: &[usize]| {
            let made = places.iter().map(|place| self.picture(frames[*place]));
            made.collect::<Result<Vec<_>, _>>().map_err(|error| {
                // Its own words are said below.
                failure = Some(error);
                PictureError::Interrupted
            })
        };
        let pictures = Pictures {
            count: frames.len(),
            make: &mut make,
        };
        let mut going = Going::new("frame", frames.len());
        let progress = |done: usize, steps: usize| {
            going.of(done, steps);
            if self.stopped() {
                ControlFlow::Break(())
            } else {
                ControlFlow::Continue(())
            }
        };
        let rate = self.shot.rate;
        let is_gif = path
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("gif"));
        let made = if is_gif {
            animation::gif(pictures, path, rate, true, progress)
        } else {
            animation::apng(pictures, path, rate, progress).map(|()| frames.len())
        };
        going.done();
        match (made, failure) {
            (Ok(shown), _) => {
                if shown < frames.len() {
                    say(&format!(
                        "{} of {} shown: a GIF has at most 50 pictures a second; .apng has all",
                        shown,
                        frames_of(frames.len())
                    ));
                }
                finished(path, &frames_of(frames.len()))
            }
            (Err(_), _) if self.stopped() => {
                Err(Failure::stopped("stopped: no animation was written"))
            }
            (Err(_), Some(failure)) => Err(failure),
            (Err(error), None) => Err(Failure::could_not(error)),
        }
    }

    fn strip(&self, path: &Path, frames: &[u32]) -> Result<(), Failure> {
        let mut strip = asked::strip(frames, self.look.size)?;
        let mut progress = Going::new("frame", frames.len());
        for (done, frame) in frames.iter().enumerate() {
            progress.at(done);
            strip.add(*frame, &self.picture(*frame)?);
        }
        progress.done();
        folder_of(path)?;
        write_view(strip.picture(), path).map_err(Failure::could_not)?;
        finished(
            path,
            &format!("{}, each with its number", frames_of(frames.len())),
        )
    }

    fn difference(&self, path: &Path, first: u32, second: u32) -> Result<(), Failure> {
        let mut progress = Going::new("frame", 2);
        let one = self.picture(first)?;
        progress.at(1);
        let found =
            difference::between(&one, &self.picture(second)?).map_err(Failure::could_not)?;
        progress.done();
        folder_of(path)?;
        write_view(&found.picture, path).map_err(Failure::could_not)?;
        if found.pixels == 0 {
            say(&format!(
                "frames {first} and {second} are equal in every pixel"
            ));
        } else {
            let (column, row) = found.at;
            let all = self.look.size.0 as f64 * self.look.size.1 as f64;
            say(&format!(
                "greatest difference: {} of 255, at column {column} from the left, row {row} from the \
                 top; {:.1} % of the pixels differ",
                found.greatest,
                found.pixels as f64 / all * 100.0
            ));
            say(&format!(
                "orange: more in frame {first}; blue: more in frame {second}, of that of red, green and \
                 blue in which they differ most; differences are enlarged {:.1} times",
                found.enlarged
            ));
        }
        finished(path, &format!("difference of frames {first} and {second}"))
    }
}

/// Makes the folder that a file is to lie in.
fn folder_of(path: &Path) -> Result<(), Failure> {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => fs::create_dir_all(folder)
            .map_err(|error| Failure::could_not(format!("{}: {error}", folder.display()))),
        _ => Ok(()),
    }
}

/// What there is now, and where.
fn finished(path: &Path, what: &str) -> Result<(), Failure> {
    say(what);
    say(&format!("written: {}", path.display()));
    Ok(())
}

/// Progress, with how long it will still take.
struct Going {
    progress: Progress,
    start: Instant,
    length: usize,
}

impl Going {
    fn new(what: &'static str, length: usize) -> Self {
        Self {
            progress: Progress::new(what, length as u64),
            start: Instant::now(),
            length,
        }
    }

    fn at(&mut self, done: usize) {
        self.of(done, self.length);
    }

    fn of(&mut self, done: usize, length: usize) {
        let message = if done == 0 || done >= length {
            String::new()
        } else {
            let each = self.start.elapsed().as_secs_f64() / done as f64;
            let left = Duration::from_secs_f64(each * (length - done) as f64);
            format!("{} left", about(left))
        };
        self.progress.of(done as u64, length as u64, &message);
    }

    fn done(self) {
        self.progress.done();
    }
}
