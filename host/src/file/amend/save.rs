//! A file that is replaced whole or not at all.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::AmendError;

/// Replaces a file's contents, where they are still what they were.
pub(super) fn replace(path: &Path, before: &[u8], after: &[u8]) -> Result<(), AmendError> {
    let io_error = |source| AmendError::Io {
        path: path.to_owned(),
        source,
    };
    // Behind a link lies the file that is meant.
    let target = fs::canonicalize(path).map_err(io_error)?;
    let beside = beside(&target);
    let made = write_beside(&target, &beside, after);
    let done = made.and_then(|()| {
        // As late as can be: what somebody else wrote meanwhile is worth more than this.
        if fs::read(&target)? != before {
            return Ok(false);
        }
        fs::rename(&beside, &target)?;
        Ok(true)
    });
    match done {
        Ok(true) => {
            // The file has been replaced already; that it outlives a power cut is all this is for, and
            // not every file system can do it.
            if cfg!(unix)
                && let Some(folder) = target.parent()
            {
                let _ = File::open(folder).and_then(|folder| folder.sync_all());
            }
            Ok(())
        }
        Ok(false) => {
            let _ = fs::remove_file(&beside);
            Err(AmendError::ChangedMeanwhile {
                path: path.to_owned(),
            })
        }
        Err(source) => {
            let _ = fs::remove_file(&beside);
            Err(io_error(source))
        }
    }
}

/// A name of this process's own in the same folder: only there a rename replaces at one stroke.
fn beside(target: &Path) -> PathBuf {
    let mut name = std::ffi::OsString::from(".");
    name.push(target.file_name().unwrap_or_default());
    name.push(format!(".{}.new", std::process::id()));
    target.with_file_name(name)
}

fn write_beside(target: &Path, beside: &Path, text: &[u8]) -> io::Result<()> {
    let permissions = fs::metadata(target)?.permissions();
    if permissions.readonly() {
        let what = "it may not be written";
        return Err(io::Error::new(io::ErrorKind::PermissionDenied, what));
    }
    let mut file = File::create(beside)?;
    file.write_all(text)?;
    file.set_permissions(permissions)?;
    file.sync_all()
}
