//! `panestep view`: what the lens will see.

use std::collections::VecDeque;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use image::RgbImage;
use panestep::optics::{self, depth};
use panestep::picture::animation::{self, Pictures};
use panestep::picture::{
    Look, PictureError, Scene, difference, frame_name, is_view, strip, write_view,
};
use panestep::plan::{Geometry, Plan};
use panestep::shot::Shot;
use panestep::stand::{LevelId, Stand, StandPose};
use panestep::take::Span;
use rayon::prelude::*;

use super::args;
use super::screen::{Progress, about, frames as frames_of, say};
use super::{Failure, interrupt, plan};

/// Most pictures that are held at a time, and the most memory that they may take, bytes.
const HELD: usize = 16;
const HELD_BYTES: usize = 256 << 20;

/// Fewest columns that a picture can be asked for.
const LEAST_WIDTH: u32 = 16;

/// What is made.
enum Product {
    /// A file for each frame.
    Files(PathBuf),
    /// The only frame's own file.
    File(PathBuf),
    Gif(PathBuf),
    Apng(PathBuf),
    Strip(PathBuf),
    Difference(PathBuf),
}

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
    let frames = frames(typed, &shot)?;
    let look = Look {
        size: size(typed, &stand)?,
        blur: typed.blur,
        light_loss: typed.light_loss,
    };
    let passes = passes(typed.pass.as_deref(), &shot)?;
    let product = product(typed, &frames)?;
    may_write(&product, &frames, typed.replace)?;
    let poses = if typed.exact {
        Poses::Exact(Box::new(Geometry::new(&stand, &shot).map_err(
            |refusals| Failure::wrong(format!("{}: {refusals}", typed.shot.display())),
        )?))
    } else {
        let plan = plan::planned(&typed.shot, &stand, &shot)
            .map_err(|refused| refused.hint("to see it all the same: --exact"))?;
        Poses::Stepped(Box::new(plan))
    };
    let scene = scene(typed, &stand, &shot)?;
    let view = View {
        stop: interrupt::flag()?,
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

/// The frames that are shown, in their order; at least one.
fn frames(typed: &args::View, shot: &Shot) -> Result<Vec<u32>, Failure> {
    let all = Span::new(1, shot.frames);
    let spans: Vec<Span> = match (&typed.difference[..], typed.all) {
        (&[first, second], _) => [first, second]
            .into_iter()
            .filter_map(|frame| Span::new(frame, frame))
            .collect(),
        (_, true) => all.into_iter().collect(),
        _ if typed.frames.is_empty() && typed.strip.is_some() => all.into_iter().collect(),
        _ if typed.frames.is_empty() => Span::new(1, 1).into_iter().collect(),
        _ => typed.frames.clone(),
    };
    if let Some(beyond) = spans.iter().find(|span| span.last() > shot.frames) {
        return Err(Failure::wrong(format!(
            "there is no frame {}: the shot has {}; nothing was written",
            beyond.last(),
            frames_of(shot.frames as usize)
        )));
    }
    let mut frames: Vec<u32> = spans.iter().flat_map(|span| span.frames()).collect();
    if typed.difference.is_empty() {
        frames.sort_unstable();
        frames.dedup();
    }
    if let Some(count) = typed.strip {
        let count = (count as usize).min(frames.len());
        frames = spread(&frames, count);
    }
    Ok(frames)
}

/// So many, evenly spread from the first to the last.
fn spread(frames: &[u32], count: usize) -> Vec<u32> {
    let last = frames.len() - 1;
    (0..count)
        .map(|place| match count {
            1 => frames[0],
            _ => frames[(place * last + (count - 1) / 2) / (count - 1)],
        })
        .collect()
}

/// Columns and rows of the pictures.
fn size(typed: &args::View, stand: &Stand) -> Result<(u32, u32), Failure> {
    let picture = &stand.lens.picture;
    let Some(width) = typed.width else {
        return Ok((picture.columns, picture.rows));
    };
    if !(LEAST_WIDTH..=picture.columns.max(LEAST_WIDTH)).contains(&width) {
        return Err(Failure::wrong(format!(
            "--width {width}: the stand's pictures are {} pixels wide, and a view can be from \
             {LEAST_WIDTH} to that; nothing was written",
            picture.columns
        )));
    }
    let rows = f64::from(width) * f64::from(picture.rows) / f64::from(picture.columns);
    Ok((width, (rows.round() as u32).max(1)))
}

/// The passes that are exposed one over another.
fn passes(name: Option<&str>, shot: &Shot) -> Result<Vec<usize>, Failure> {
    let Some(name) = name else {
        return Ok((0..shot.passes.len()).collect());
    };
    let named = shot.passes.iter().position(|pass| pass.name == name);
    let numbered = || {
        let number: usize = name.parse().ok()?;
        (1..=shot.passes.len())
            .contains(&number)
            .then(|| number - 1)
    };
    named
        .or_else(numbered)
        .map(|pass| vec![pass])
        .ok_or_else(|| {
            let all: Vec<String> = (1..)
                .zip(&shot.passes)
                .map(|(number, pass)| format!("{number} {}", pass.name))
                .collect();
            let hint = if shot.passes.len() > 1 {
                format!("its passes: {}", all.join(", "))
            } else {
                "it has a single one: leave --pass out".to_owned()
            };
            Failure::wrong(format!(
                "the shot has no pass `{name}`; nothing was written"
            ))
            .hint(hint)
        })
}

/// What is to be made, and where.
fn product(typed: &args::View, frames: &[u32]) -> Result<Product, Failure> {
    let ending = |path: &Path| {
        let ending = path.extension().and_then(|ending| ending.to_str());
        ending.unwrap_or_default().to_ascii_lowercase()
    };
    let single = match (&typed.difference[..], typed.strip) {
        (&[first, second], _) => Some(format!("difference-{first:04}-{second:04}.png")),
        (_, Some(_)) => Some("strip.png".to_owned()),
        _ => None,
    };
    let out = match &typed.out {
        Some(out) => out.clone(),
        None => {
            let stem = typed.shot.file_stem().unwrap_or_default().to_string_lossy();
            let folder = typed.shot.with_file_name(format!("{stem}-view"));
            single
                .as_ref()
                .map_or(folder.clone(), |name| folder.join(name))
        }
    };
    let kind = if out.is_dir() {
        String::new()
    } else {
        ending(&out)
    };
    let path = match (&single, &kind[..]) {
        (Some(name), "") => out.join(name),
        _ => out,
    };
    match (single.is_some(), &kind[..]) {
        (true, "" | "png") if typed.strip.is_some() => Ok(Product::Strip(path)),
        (true, "" | "png") => Ok(Product::Difference(path)),
        (false, "") => Ok(Product::Files(path)),
        (false, "png") if frames.len() == 1 => Ok(Product::File(path)),
        (false, "gif") => Ok(Product::Gif(path)),
        (false, "apng") => Ok(Product::Apng(path)),
        (false, "png") => Err(Failure::wrong(format!(
            "{} do not fit into one .png file; nothing was written",
            frames_of(frames.len())
        ))
        .hint("give a folder, or for an animation a name that ends in .gif or .apng")),
        (is_single, _) => Err(Failure::wrong(format!(
            "{}: no picture of that ending can be written; nothing was written",
            path.display()
        ))
        .hint(if is_single {
            "let it end in .png, or give a folder"
        } else {
            "let it end in .png (one frame), .gif or .apng (an animation), or give a folder"
        })),
    }
}

/// Whether nothing is in the way but views.
fn may_write(product: &Product, frames: &[u32], replace: bool) -> Result<(), Failure> {
    let refuse = |path: &Path, what: &str| {
        Err(
            Failure::wrong(format!("{} {what}; nothing was written", path.display()))
                .hint("give another place with --out, or --replace"),
        )
    };
    let check = |path: &Path| match path.symlink_metadata() {
        Err(_) => Ok(()),
        Ok(there) if there.is_dir() => Err(Failure::wrong(format!(
            "{} is a folder; nothing was written",
            path.display()
        ))),
        Ok(_) if replace || is_view(path) => Ok(()),
        Ok(_) => refuse(path, "is there already, and is no view of panestep's"),
    };
    match product {
        Product::Files(folder) => {
            if folder.exists() && !folder.is_dir() {
                return Err(Failure::wrong(format!(
                    "{} is a file, not a folder; nothing was written",
                    folder.display()
                ))
                .hint("give another place with --out"));
            }
            // A folder that is not there has nothing in it.
            if !folder.exists() {
                return Ok(());
            }
            frames
                .iter()
                .try_for_each(|frame| check(&folder.join(frame_name(*frame))))
        }
        Product::File(path)
        | Product::Gif(path)
        | Product::Apng(path)
        | Product::Strip(path)
        | Product::Difference(path) => check(path),
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
            say(&format!(
                "exposed one over another: {}; all lamps count alike, exposure times do not",
                names.join(", ")
            ));
        }
        let pose = self.pose(frame);
        let (Ok(pose), true) = (pose, self.look.blur || self.look.light_loss) else {
            return;
        };
        for level in (0..self.stand.levels.len()).map(LevelId) {
            let mut said = Vec::new();
            if self.look.blur {
                said.push(format!("{:.1} px of blur", self.blur_px(level, &pose)));
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

    /// Diameter of the disc that a point of a level is blurred to, in the view's pixels.
    fn blur_px(&self, level: LevelId, pose: &StandPose) -> f64 {
        let lens = &self.stand.lens;
        let distance_mm =
            optics::apparent_distance_mm(&self.stand, level, &pose.camera, &pose.levels[level.0]);
        depth::blur_mm(
            lens.focal_length_mm,
            lens.f_number,
            pose.focus_mm,
            distance_mm,
        ) * f64::from(self.look.size.0)
            / lens.picture.width_mm
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
            .map_err(|error| Failure::could_not(format!("frame {frame}: {error}")))
    }

    fn stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// One file for each frame. Some are packed and written while the next are made, each by one
    /// thread; a frame itself is made by all of them.
    fn files(&self, folder: &Path, frames: &[u32]) -> Result<(), Failure> {
        folder_of(&folder.join("any"))?;
        let bytes = self.look.size.0 as usize * self.look.size.1 as usize * 3;
        let lot = (HELD_BYTES / 2 / bytes.max(1)).clamp(1, HELD.min(rayon::current_num_threads()));
        let mut progress = Going::new("frame", frames.len());
        let mut made: Vec<(u32, RgbImage)> = Vec::new();
        let mut left: VecDeque<&[u32]> = frames.chunks(lot).collect();
        let mut written = 0;
        while !(left.is_empty() && made.is_empty()) {
            if self.stopped() {
                left.clear();
            }
            let next = left.pop_front().unwrap_or_default();
            let (wrote, making) = rayon::join(
                || {
                    made.par_iter().try_for_each(|(frame, picture)| {
                        write_view(picture, &folder.join(frame_name(*frame)))
                    })
                },
                || {
                    next.iter()
                        .map(|frame| Ok((*frame, self.picture(*frame)?)))
                        .collect::<Result<Vec<_>, Failure>>()
                },
            );
            wrote.map_err(Failure::could_not)?;
            written += made.len();
            made = making?;
            progress.at(written);
        }
        progress.done();
        if written < frames.len() {
            return Err(Failure::stopped(format!(
                "stopped: {written} of {} are in {}, each of them whole",
                frames_of(frames.len()),
                folder.display()
            ))
            .hint(format!(
                "go on from: --frames {}-{}",
                frames[written],
                frames[frames.len() - 1]
            )));
        }
        finished(folder, &frames_of(frames.len()))
    }

    fn file(&self, path: &Path, frame: u32) -> Result<(), Failure> {
        folder_of(path)?;
        write_view(&self.picture(frame)?, path).map_err(Failure::could_not)?;
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
        let made = if path
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("gif"))
        {
            animation::gif(pictures, path, rate, true, progress)
        } else {
            animation::apng(pictures, path, rate, progress)
        };
        going.done();
        match (made, failure) {
            (Ok(()), _) => finished(path, &frames_of(frames.len())),
            (Err(_), Some(failure)) => Err(failure),
            (Err(PictureError::Interrupted), None) => {
                Err(Failure::stopped("stopped: no animation was written"))
            }
            (Err(error), None) => Err(Failure::could_not(error)),
        }
    }

    fn strip(&self, path: &Path, frames: &[u32]) -> Result<(), Failure> {
        folder_of(path)?;
        let mut progress = Going::new("frame", frames.len());
        let mut pictures = Vec::with_capacity(frames.len());
        for frame in frames {
            progress.at(pictures.len());
            if self.stopped() {
                progress.done();
                return Err(Failure::stopped("stopped: no strip was written"));
            }
            pictures.push((*frame, self.picture(*frame)?));
        }
        progress.done();
        write_view(&strip::numbered(&pictures), path).map_err(Failure::could_not)?;
        finished(
            path,
            &format!("{}, each with its number", frames_of(frames.len())),
        )
    }

    fn difference(&self, path: &Path, first: u32, second: u32) -> Result<(), Failure> {
        folder_of(path)?;
        let found = difference::between(&self.picture(first)?, &self.picture(second)?)
            .map_err(Failure::could_not)?;
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
                "orange: brighter in frame {first}; blue: brighter in frame {second}; differences are \
                 enlarged {:.1} times",
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

/// Where it is goes to standard output, what it is to standard error.
fn finished(path: &Path, what: &str) -> Result<(), Failure> {
    use std::io::Write;
    say(what);
    writeln!(std::io::stdout(), "{}", path.display()).map_err(|error| Failure::output(&error))
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

#[cfg(test)]
mod tests {
    use super::spread;

    #[test]
    fn a_strip_reaches_from_the_first_frame_to_the_last() {
        let frames: Vec<u32> = (10..=49).collect();
        assert_eq!(spread(&frames, 1), [10]);
        assert_eq!(spread(&frames, 2), [10, 49]);
        assert_eq!(spread(&frames, 4), [10, 23, 36, 49]);
        assert_eq!(spread(&frames, 40), frames);
    }
}
