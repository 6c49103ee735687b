//! The paintings and drawings of a shot: checked at once, loaded when they are shown.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use rayon::prelude::*;

use crate::picture::art::{Art, PictureError};

/// Memory that loaded paintings may take before those that have not been shown for longest are put
/// away, bytes. What a single frame shows is loaded whatever it takes.
pub(crate) const ROOM: usize = 1 << 30;

/// Place of a file on a [`Shelf`].
pub(crate) type Place = usize;

/// Files of art, each loaded at most once as long as there is room.
pub(crate) struct Shelf {
    files: Vec<ArtFile>,
    places: HashMap<PathBuf, Place>,
    room: usize,
    loaded: Mutex<Loaded>,
}

struct ArtFile {
    /// The layer that it is first asked for.
    layer: String,
    path: PathBuf,
}

#[derive(Default)]
struct Loaded {
    /// The art, and when it was last shown.
    art: HashMap<Place, (Arc<Art>, u64)>,
    /// Counts what is shown.
    shown: u64,
}

impl Loaded {
    /// The art of a place, where it is loaded.
    fn take(&mut self, place: Place) -> Option<Arc<Art>> {
        self.shown += 1;
        let (art, shown) = self.art.get_mut(&place)?;
        *shown = self.shown;
        Some(Arc::clone(art))
    }

    /// Puts away what has not been shown for longest until the rest fits.
    fn tidy(&mut self, room: usize) {
        let mut bytes: usize = self.art.values().map(|(art, _)| art.bytes()).sum();
        while bytes > room {
            let oldest = self.art.iter().min_by_key(|(_, (_, shown))| *shown);
            let Some((&place, _)) = oldest else { return };
            if let Some((art, _)) = self.art.remove(&place) {
                bytes -= art.bytes();
            }
        }
    }
}

impl Shelf {
    /// A shelf without files that keeps at most so many bytes of art.
    pub(crate) fn new(room: usize) -> Self {
        Self {
            files: Vec::new(),
            places: HashMap::new(),
            room,
            loaded: Mutex::default(),
        }
    }

    /// Puts a file on the shelf, once it is sure that it is a whole picture and not too large.
    ///
    /// # Errors
    /// As [`Art::check`].
    pub(crate) fn add(&mut self, layer: &str, path: &Path) -> Result<(), PictureError> {
        if self.places.contains_key(path) {
            return Ok(());
        }
        Art::check(layer, path)?;
        self.places.insert(path.to_owned(), self.files.len());
        self.files.push(ArtFile {
            layer: layer.to_owned(),
            path: path.to_owned(),
        });
        Ok(())
    }

    /// The art of files on the shelf, in their order; a path that is not on the shelf has none.
    ///
    /// # Errors
    /// A file that has become unreadable since it was checked, or is broken in its middle.
    pub(crate) fn take(
        &self,
        paths: &[Option<&Path>],
    ) -> Result<Vec<Option<Arc<Art>>>, PictureError> {
        let places: Vec<Option<Place>> = paths
            .iter()
            .map(|path| self.places.get((*path)?).copied())
            .collect();
        let mut found: HashMap<Place, Arc<Art>> = HashMap::new();
        let mut missing = Vec::new();
        {
            let mut loaded = self.loaded.lock().unwrap_or_else(PoisonError::into_inner);
            for place in places.iter().copied().flatten() {
                if found.contains_key(&place) || missing.contains(&place) {
                    continue;
                }
                match loaded.take(place) {
                    Some(art) => {
                        found.insert(place, art);
                    }
                    None => missing.push(place),
                }
            }
        }
        if !missing.is_empty() {
            // Not under the lock: reading takes long, and its threads may be lent to other work.
            let read: Vec<(Place, Arc<Art>)> = missing
                .into_par_iter()
                .map(|place| {
                    let file = &self.files[place];
                    Ok((place, Arc::new(Art::load(&file.layer, &file.path)?)))
                })
                .collect::<Result<_, PictureError>>()?;
            let mut loaded = self.loaded.lock().unwrap_or_else(PoisonError::into_inner);
            for (place, art) in read {
                loaded.shown += 1;
                let shown = loaded.shown;
                loaded.art.insert(place, (Arc::clone(&art), shown));
                found.insert(place, art);
            }
            loaded.tidy(self.room);
        }
        Ok(places
            .into_iter()
            .map(|place| found.get(&place?).cloned())
            .collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shelf(count: u8, room: usize) -> (tempfile::TempDir, Vec<PathBuf>, Shelf) {
        let folder = tempfile::tempdir().expect("a folder");
        let mut shelf = Shelf::new(room);
        let paths: Vec<PathBuf> = (0..count)
            .map(|number| {
                let path = folder.path().join(format!("wave-{number}.png"));
                let picture = image::RgbaImage::from_pixel(100, 100, image::Rgba([number; 4]));
                picture.save(&path).expect("saved");
                shelf.add("skiffs", &path).expect("it is a picture");
                path
            })
            .collect();
        (folder, paths, shelf)
    }

    fn bytes(shelf: &Shelf) -> usize {
        let loaded = shelf.loaded.lock().expect("no panic");
        loaded.art.values().map(|(art, _)| art.bytes()).sum()
    }

    #[test]
    fn what_is_shown_all_the_time_stays_and_the_rest_keeps_within_the_room() {
        // Each takes 102 x 102 x 8 bytes and a third: there is room for three.
        let (_folder, paths, shelf) = shelf(8, 350_000);
        let always = shelf.take(&[Some(&paths[0])]).expect("loaded");
        for round in 0..3 {
            for path in &paths[1..] {
                let taken = shelf
                    .take(&[Some(&paths[0]), None, Some(path)])
                    .expect("loaded");
                let [Some(first), None, Some(_)] = &taken[..] else {
                    panic!("{round}: two are there")
                };
                assert!(Arc::ptr_eq(first, always[0].as_ref().expect("loaded")));
                assert!(bytes(&shelf) <= 350_000 && bytes(&shelf) > 220_000);
            }
        }
    }

    #[test]
    fn what_one_frame_shows_is_loaded_although_there_is_no_room() {
        let (folder, paths, shelf) = shelf(2, 1);
        let taken = shelf
            .take(&[Some(&paths[0]), Some(&paths[1])])
            .expect("loaded");
        assert!(taken.iter().all(Option::is_some));
        assert_eq!(bytes(&shelf), 0);
        let stranger = folder.path().join("other.png");
        assert!(shelf.take(&[Some(&stranger)]).expect("nothing to load")[0].is_none());
    }

    #[test]
    fn a_file_that_has_gone_since_is_named() {
        let (_folder, paths, shelf) = shelf(1, 350_000);
        std::fs::remove_file(&paths[0]).expect("it is there");
        let error = shelf.take(&[Some(&paths[0])]).err().expect("it has gone");
        let said = error.to_string();
        assert!(
            said.contains("skiffs") && said.contains("wave-0.png"),
            "{said}"
        );
    }
}
