//! What `view` is asked for: which frames and passes, how large, as what and where.

use std::path::{Path, PathBuf};

use panestep::picture::strip::{MOST_SIDE, Numbered};
use panestep::picture::{frame_name, is_view};
use panestep::shot::Shot;
use panestep::stand::Stand;
use panestep::take::Span;

use super::Failure;
use super::args;
use super::frames_of;

/// Fewest columns that a picture can be asked for.
const LEAST_WIDTH: u32 = 16;

/// Columns of a strip's pictures where nobody asks for more or less.
const STRIP_WIDTH: u32 = 480;

/// Endings that are picture files' and films', in whose place no folder is made.
const ENDINGS: [&str; 19] = [
    "png", "gif", "apng", "jpg", "jpeg", "jxl", "tif", "tiff", "bmp", "webp", "avif", "heic",
    "svg", "pdf", "exr", "mp4", "mov", "avi", "webm",
];

/// What is made.
pub(super) enum Product {
    /// A file for each frame.
    Files(PathBuf),
    /// The only frame's own file.
    File(PathBuf),
    Gif(PathBuf),
    Apng(PathBuf),
    Strip(PathBuf),
    Difference(PathBuf),
}

/// The frames that are shown, in their order; at least one.
pub(super) fn frames(typed: &args::View, shot: &Shot) -> Result<Vec<u32>, Failure> {
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
pub(super) fn size(typed: &args::View, stand: &Stand) -> Result<(u32, u32), Failure> {
    let picture = &stand.lens.picture;
    let unasked = match typed.strip {
        Some(_) => picture.columns.min(STRIP_WIDTH),
        None => picture.columns,
    };
    let width = typed.width.unwrap_or(unasked);
    if width == picture.columns {
        return Ok((picture.columns, picture.rows));
    }
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
pub(super) fn passes(name: Option<&str>, shot: &Shot) -> Result<Vec<usize>, Failure> {
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
pub(super) fn product(typed: &args::View, frames: &[u32]) -> Result<Product, Failure> {
    // A dot alone makes no file: only what pictures and films end in.
    let ending = |path: &Path| {
        let ending = path.extension().and_then(|ending| ending.to_str());
        let ending = ending.unwrap_or_default().to_ascii_lowercase();
        Some(ending).filter(|ending| ENDINGS.contains(&&**ending))
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
    let bytes = out.as_os_str().as_encoded_bytes();
    let is_folder = out.is_dir() || bytes.ends_with(std::path::MAIN_SEPARATOR_STR.as_bytes());
    let kind = match ending(&out) {
        Some(ending) if !is_folder => ending,
        _ => String::new(),
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

/// An empty strip for these frames.
pub(super) fn strip(frames: &[u32], size: (u32, u32)) -> Result<Numbered, Failure> {
    let greatest = frames.iter().copied().max().unwrap_or(1);
    Numbered::new(frames.len(), size, greatest).ok_or_else(|| {
        Failure::wrong(format!(
            "a strip of {} of {} x {} pixels would have more than {MOST_SIDE} columns or rows; nothing \
             was written",
            frames_of(frames.len()),
            size.0,
            size.1
        ))
        .hint("make them smaller with --width, or show fewer")
    })
}

/// Whether nothing is in the way but views.
pub(super) fn may_write(product: &Product, frames: &[u32], replace: bool) -> Result<(), Failure> {
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
