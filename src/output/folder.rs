//! A folder of files that is replaced as a whole: whoever looks sees the old one or the new one, never a mixture.
//!
//! In: a folder's name and files. They are written into a new folder beside it and brought to disk ([`Replacement::write`]);
//! then the two change places in one step of the system, and the old one is removed ([`Replacement::keep`]). Where the system
//! has no such step, the old folder is renamed aside first.
//! A folder is replaced only if it holds what an earlier bundle says that it made ([`LIST`]), and nothing else.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use serde::Deserialize;
use tempfile::TempDir;

use super::place::{Inputs, above, exchange, followed};
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

/// Whether a bundle may be written to `folder`: there is none, it is empty, or it holds an earlier bundle alone and none of
/// the files that the new one is made from.
///
/// # Errors
/// [`Error::Argument`] for a folder that holds anything else; [`Error::Write`] where it cannot be looked into.
fn may_be_replaced(folder: &Path, inputs: &Inputs) -> Result<()> {
    let fail = |source| write_error(folder, source);
    if !folder.exists() {
        return match above(folder).metadata() {
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
        let input = inputs.hold(&entry.path());
        if !ours || !plain || input {
            let what = if input { "the input " } else { "" };
            let found = format!("{}, which holds {what}{}", folder.display(), name.display());
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

/// A folder on disk beside the one that it will replace. Dropped or given up it is gone.
pub struct Replacement {
    inputs: Inputs,
    /// As the user named it.
    folder: PathBuf,
    /// Where that leads: of a link it is the folder that is replaced.
    place: PathBuf,
    staged: Mutex<Option<TempDir>>,
}

impl Replacement {
    /// Nothing yet.
    ///
    /// # Errors
    /// [`Error::Argument`] for a folder that may not be replaced: one that holds anything but an earlier bundle, or one of
    /// `inputs`; [`Error::Write`] where it cannot be looked into.
    pub fn of(folder: &Path, inputs: Inputs) -> Result<Self> {
        may_be_replaced(folder, &inputs)?;
        Ok(Self {
            inputs,
            folder: folder.to_owned(),
            place: followed(folder),
            staged: Mutex::default(),
        })
    }

    fn lock(&self) -> MutexGuard<'_, Option<TempDir>> {
        self.staged.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Writes these files into a new folder beside the old one, all brought to disk.
    ///
    /// # Errors
    /// [`Error::Write`].
    pub fn write(&self, files: &[(String, Vec<u8>)]) -> Result<()> {
        let fail = |source| write_error(&self.folder, source);
        let mut builder = tempfile::Builder::new();
        builder.prefix(".lowspot-");
        like_any_new_folder(&mut builder);
        let mut staged = self.lock();
        let new = builder.tempdir_in(above(&self.place)).map_err(fail)?;
        let inside = new.path().to_owned();
        *staged = Some(new);
        drop(staged);
        for (name, bytes) in files {
            let written = File::create_new(inside.join(name)).and_then(|mut file| {
                file.write_all(bytes)?;
                file.sync_all()
            });
            written.map_err(|source| write_error(&self.folder.join(name), source))?;
        }
        to_disk(&inside).map_err(fail)
    }

    /// Puts it in its place.
    ///
    /// # Errors
    /// As [`Replacement::of`], since time has passed; [`Error::Write`]: then what stood there is still there.
    pub fn keep(&self) -> Result<()> {
        let fail = |source| write_error(&self.folder, source);
        let mut staged = self.lock();
        let Some(new) = staged.take() else {
            return Ok(());
        };
        may_be_replaced(&self.folder, &self.inputs)?;
        if !self.place.exists() {
            fs::rename(new.path(), &self.place).map_err(fail)?;
        } else if !exchange(new.path(), &self.place).map_err(fail)? {
            exchange_in_two_steps(new.path(), &self.place).map_err(fail)?;
        }
        to_disk(above(&self.place)).map_err(fail)
    }

    /// Removes it and then does `last`, while nothing else can happen to it.
    pub fn give_up(&self, last: impl FnOnce()) {
        let mut staged = self.lock();
        *staged = None;
        last();
    }
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

    fn replace(folder: &Path, files: &[(String, Vec<u8>)]) -> Result<()> {
        let replacement = Replacement::of(folder, Inputs::default())?;
        replacement.write(files)?;
        replacement.keep()
    }

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
        let of = |folder: &Path| Replacement::of(folder, Inputs::default());
        assert!(of(&above.path().join("none/out")).is_err());
        assert!(of(&above.path().join("out")).is_ok());
        assert!(of(above.path()).is_ok(), "an empty one");
    }
}
