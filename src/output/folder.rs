//! A folder of files that is replaced as a whole: whoever looks sees the old one or the new one, never a mixture.
//!
//! In: a folder's name and files. They are written into a new folder beside it and brought to disk; then the two change
//! places in one step of the system, and the old one is removed. Where the system has no such step, the old folder is
//! renamed aside first.
//! A folder is replaced only if it holds what an earlier bundle says that it made ([`LIST`]), and nothing else.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::Path;

use serde::Deserialize;
use tempfile::TempDir;

use crate::error::{Error, Result};

/// The file of a bundle that names all of them under `files`.
pub const LIST: &str = "handover.json";

/// More than this is no list of ours, bytes.
const LONGEST_LIST: u64 = 1 << 28;

/// What is read of an old bundle's list.
#[derive(Deserialize)]
struct Listed {
    files: BTreeSet<String>,
}

/// Whether a bundle may be written to `folder`: there is none, it is empty, or it holds an earlier bundle alone.
///
/// # Errors
/// [`Error::Argument`] for a folder that holds anything else; [`Error::Write`] where it cannot be looked into.
pub fn may_be_replaced(folder: &Path) -> Result<()> {
    let fail = |source| write_error(folder, source);
    if !folder.exists() {
        return match parent(folder).metadata() {
            Ok(above) if above.is_dir() => Ok(()),
            Ok(_) => Err(fail(io::ErrorKind::NotADirectory.into())),
            Err(source) => Err(fail(source)),
        };
    }
    let made = made_before(folder);
    for entry in fs::read_dir(folder).map_err(fail)? {
        let entry = entry.map_err(fail)?;
        let name = entry.file_name();
        let ours = name.to_str().is_some_and(|name| made.contains(name));
        let plain = entry.file_type().map_err(fail)?.is_file();
        if !ours || !plain {
            let found = format!("{}, which holds {}", folder.display(), name.display());
            let wanted =
                "a new or empty folder, or one that holds an earlier handover and nothing else";
            return Err(Error::argument("--out", found, wanted));
        }
    }
    Ok(())
}

/// What an earlier bundle made; nothing if there was none.
fn made_before(folder: &Path) -> BTreeSet<String> {
    let list = folder.join(LIST);
    let small = list
        .metadata()
        .is_ok_and(|found| found.len() <= LONGEST_LIST);
    let text = if small {
        fs::read(&list).unwrap_or_default()
    } else {
        Vec::new()
    };
    serde_json::from_slice::<Listed>(&text).map_or_else(|_| BTreeSet::new(), |listed| listed.files)
}

/// Replaces `folder` by one with these files.
///
/// # Errors
/// As [`may_be_replaced`]; [`Error::Write`] for what cannot be written: then what stood there is still there.
pub fn replace(folder: &Path, files: &[(String, Vec<u8>)]) -> Result<()> {
    may_be_replaced(folder)?;
    let fail = |source| write_error(folder, source);
    // A link is followed, so that it is the folder that is replaced and not the link.
    let place = if folder.exists() {
        folder.canonicalize().map_err(fail)?
    } else {
        folder.to_owned()
    };
    let staged = stage(&place, files)?;
    if place.exists() {
        exchange(staged.path(), &place).map_err(fail)?;
    } else {
        fs::rename(staged.keep(), &place).map_err(fail)?;
    }
    to_disk(parent(&place)).map_err(fail)
}

/// A new folder with these files beside `place`, all on disk. It goes when it is dropped.
fn stage(place: &Path, files: &[(String, Vec<u8>)]) -> Result<TempDir> {
    let fail = |source| write_error(place, source);
    let mut builder = tempfile::Builder::new();
    builder.prefix(".lowspot-");
    like_any_new_folder(&mut builder);
    let staged = builder.tempdir_in(parent(place)).map_err(fail)?;
    for (name, bytes) in files {
        let path = staged.path().join(name);
        let written = File::create_new(&path).and_then(|mut file| {
            file.write_all(bytes)?;
            file.sync_all()
        });
        written.map_err(|source| write_error(&place.join(name), source))?;
    }
    to_disk(staged.path()).map_err(fail)?;
    Ok(staged)
}

/// Lets two folders change places.
#[cfg(any(target_os = "linux", target_os = "android", target_vendor = "apple"))]
fn exchange(new: &Path, old: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, new, CWD, old, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(()),
        // Some file systems cannot.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS) => exchange_in_two_steps(new, old),
        Err(error) => Err(error.into()),
    }
}

#[cfg(not(any(target_os = "linux", target_os = "android", target_vendor = "apple")))]
fn exchange(new: &Path, old: &Path) -> io::Result<()> {
    exchange_in_two_steps(new, old)
}

/// The same where the system has no step for it: between the two the old folder is whole, under another name.
fn exchange_in_two_steps(new: &Path, old: &Path) -> io::Result<()> {
    let mut name = old.file_name().unwrap_or(OsStr::new("handover")).to_owned();
    name.push(".old");
    let aside = old.with_file_name(name);
    fs::rename(old, &aside)?;
    fs::rename(new, old).or_else(|error| fs::rename(&aside, old).and(Err(error)))?;
    fs::remove_dir_all(aside)
}

/// What is above a folder.
fn parent(folder: &Path) -> &Path {
    folder
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty())
        .unwrap_or(Path::new("."))
}

#[cfg(unix)]
fn to_disk(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn to_disk(_: &Path) -> io::Result<()> {
    Ok(())
}

/// A temporary folder alone would be the owner's only; this one is readable by all that the user's mask allows.
#[cfg(unix)]
fn like_any_new_folder(builder: &mut tempfile::Builder<'_, '_>) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(fs::Permissions::from_mode(0o777));
}

#[cfg(not(unix))]
fn like_any_new_folder(_: &mut tempfile::Builder<'_, '_>) {}

fn write_error(path: &Path, source: io::Error) -> Error {
    let file = path.display().to_string();
    Error::Write { file, source }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::PathBuf;

    fn files(names: &[&str]) -> Vec<(String, Vec<u8>)> {
        let list = format!(
            "{{\"files\": {}}}",
            serde_json::json!([names, &[LIST]].concat())
        );
        let mut files: Vec<_> = names
            .iter()
            .map(|name| ((*name).to_owned(), b"1".to_vec()))
            .collect();
        files.push((LIST.to_owned(), list.into_bytes()));
        files
    }

    fn names(folder: &Path) -> Vec<PathBuf> {
        let mut names: Vec<_> = fs::read_dir(folder)
            .expect("a folder")
            .map(|entry| entry.expect("an entry").path())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_bundle_replaces_an_earlier_one_whole_and_nothing_else() {
        let above = tempfile::tempdir().expect("a folder");
        let folder = above.path().join("out");
        let inside = |names: &[&str]| {
            names
                .iter()
                .map(|name| folder.join(name))
                .collect::<Vec<_>>()
        };
        replace(&folder, &files(&["a.svg", "old.svg"])).expect("a new folder");
        replace(&folder, &files(&["a.svg", "new.svg"])).expect("an earlier bundle");
        assert_eq!(names(&folder), inside(&["a.svg", LIST, "new.svg"]));
        assert_eq!(
            names(above.path()),
            std::slice::from_ref(&folder),
            "nothing is left beside it"
        );

        fs::write(folder.join("photo.jpg"), "mine").expect("writes");
        let refused = replace(&folder, &files(&["a.svg"])).expect_err("a foreign file");
        assert!(refused.to_string().contains("photo.jpg"), "{refused}");
        assert_eq!(
            names(&folder),
            inside(&["a.svg", LIST, "new.svg", "photo.jpg"])
        );
        assert_eq!(names(above.path()), std::slice::from_ref(&folder));
    }

    #[test]
    fn the_way_in_two_steps_ends_the_same() {
        let above = tempfile::tempdir().expect("a folder");
        let [old, new] = ["out", "new"].map(|name| above.path().join(name));
        for folder in [&old, &new] {
            fs::create_dir(folder).expect("a folder");
            fs::write(folder.join("which"), folder.display().to_string()).expect("writes");
        }
        exchange_in_two_steps(&new, &old).expect("two renames");
        assert_eq!(
            fs::read_to_string(old.join("which")).ok(),
            Some(new.display().to_string())
        );
        assert_eq!(names(above.path()), [old]);
    }

    #[test]
    fn a_folder_without_one_above_it_is_refused() {
        let above = tempfile::tempdir().expect("a folder");
        assert!(may_be_replaced(&above.path().join("none/out")).is_err());
        assert!(may_be_replaced(&above.path().join("out")).is_ok());
        assert!(may_be_replaced(above.path()).is_ok(), "an empty one");
    }
}
