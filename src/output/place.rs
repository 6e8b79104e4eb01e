//! Where files are put, and what is there already.
//!
//! In: paths as the user names them. Out: which of them are the same file by another name or link, where a link leads, and two
//! files or folders that change places in one step.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Files that must not be written over.
#[derive(Default)]
pub struct Inputs(Vec<Identity>);

/// What tells a file from every other, whatever it is called.
#[cfg(unix)]
type Identity = (u64, u64);
#[cfg(not(unix))]
type Identity = PathBuf;

/// The identity of a file; None of anything else, such as a terminal or a pipe, which may be read and written at once.
#[cfg(unix)]
fn identity(path: &Path) -> Option<Identity> {
    use std::os::unix::fs::MetadataExt;
    let found = fs::metadata(path).ok().filter(fs::Metadata::is_file)?;
    Some((found.dev(), found.ino()))
}

#[cfg(not(unix))]
fn identity(path: &Path) -> Option<Identity> {
    path.canonicalize().ok().filter(|path| path.is_file())
}

impl Inputs {
    /// Those at `paths`; `-` is what standard input comes from.
    pub fn at<'a>(paths: impl IntoIterator<Item = &'a Path>) -> Self {
        let named = |path: &'a Path| match path.to_str() {
            Some("-") => Path::new("/dev/stdin"),
            _ => path,
        };
        Self(paths.into_iter().map(named).filter_map(identity).collect())
    }

    /// Whether `path` leads to one of them.
    pub fn hold(&self, path: &Path) -> bool {
        identity(path).is_some_and(|file| self.0.contains(&file))
    }

    /// Whether standard output goes into one of them.
    pub fn hold_standard_output(&self) -> bool {
        self.hold(Path::new(STANDARD_OUTPUT))
    }
}

const STANDARD_OUTPUT: &str = "/dev/stdout";

/// Whether `path` is the file that standard output goes into.
pub fn is_standard_output(path: &Path) -> bool {
    Inputs::at([Path::new(STANDARD_OUTPUT)]).hold(path)
}

/// Where a path leads when links are followed, also where there is no file yet.
pub fn followed(path: &Path) -> PathBuf {
    let beside = || Some(above(path).canonicalize().ok()?.join(path.file_name()?));
    let there = path.canonicalize().ok().or_else(beside);
    there.unwrap_or_else(|| path.to_owned())
}

/// The folder that something is in.
pub fn above(path: &Path) -> &Path {
    path.parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

/// Lets two files or two folders change places. Returns false where the system has no step for it, and nothing is done.
///
/// # Errors
/// What the system says.
#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
pub fn exchange(one: &Path, other: &Path) -> io::Result<bool> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(true),
        // Some file systems cannot.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS | rustix::io::Errno::NOTSUP) => {
            Ok(false)
        }
        Err(error) => Err(error.into()),
    }
}

#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
pub fn exchange(_: &Path, _: &Path) -> io::Result<bool> {
    Ok(false)
}
