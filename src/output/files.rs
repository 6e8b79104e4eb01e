//! Writing files so that they are either all there and whole, or as they were before.
//!
//! In: paths and bytes. Each is written beside its place and brought to disk ([`Files::write_beside`]); when all of them are,
//! they are put in their places ([`Beside::keep`]). A device or a pipe has nothing to be put in its place: it is written to as
//! it is. A file that belongs to the input is never written over.

use std::fs::{self, Metadata, OpenOptions};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use tempfile::TempPath;

use super::place::{Inputs, above, exchange, followed, is_standard_output};
use crate::error::{Error, Result};

/// Files to be written.
pub struct Files {
    inputs: Inputs,
    waiting: Vec<Waiting>,
}

/// One of them.
struct Waiting {
    /// As the user named it.
    name: String,
    /// Where that leads.
    place: PathBuf,
    bytes: Vec<u8>,
}

impl Files {
    /// No file yet; those at `inputs` will be refused.
    pub fn sparing<'a>(inputs: impl IntoIterator<Item = &'a Path>) -> Self {
        Self {
            inputs: Inputs::at(inputs),
            waiting: Vec::new(),
        }
    }

    /// Takes a file to write.
    ///
    /// # Errors
    /// [`Error::Argument`] if it is an input, or is to be written twice.
    pub fn add(&mut self, path: &Path, bytes: impl Into<Vec<u8>>) -> Result<()> {
        let (name, place) = (path.display().to_string(), followed(path));
        if self.inputs.hold(&place) {
            return Err(input_as_output(name));
        }
        if self.waiting.iter().any(|other| other.place == place) || is_standard_output(&place) {
            let found = "the same file for two outputs";
            return Err(Error::argument(name, found, "a file for each"));
        }
        self.waiting.push(Waiting {
            name,
            place,
            bytes: bytes.into(),
        });
        Ok(())
    }

    /// Writes them all, each beside its place.
    ///
    /// # Errors
    /// [`Error::Argument`] if standard output goes into an input; [`Error::Write`] for the first file that cannot be written.
    pub fn write_beside(&self, beside: &Beside) -> Result<()> {
        if self.inputs.hold_standard_output() {
            return Err(input_as_output("standard output".to_owned()));
        }
        let mut straight = Vec::new();
        for file in &self.waiting {
            let fail = |source| write_error(&file.name, source);
            let old = fs::metadata(&file.place).ok();
            match old {
                Some(old) if !old.is_file() && !old.is_dir() => straight.push(file),
                old => beside.write(file, old.as_ref()).map_err(fail)?,
            }
        }
        for file in straight {
            let opened = OpenOptions::new().write(true).open(&file.place);
            opened
                .and_then(|mut opened| opened.write_all(&file.bytes))
                .map_err(|source| write_error(&file.name, source))?;
        }
        Ok(())
    }
}

/// Files on disk that are not yet in their places. Dropped or given up they are gone.
#[derive(Default)]
pub struct Beside(Mutex<Vec<Staged>>);

/// One of them.
struct Staged {
    name: String,
    place: PathBuf,
    temporary: TempPath,
}

/// What stood where a file was put.
enum Before {
    Nothing,
    /// It has the temporary name now.
    Aside,
    Gone,
}

impl Beside {
    fn lock(&self) -> MutexGuard<'_, Vec<Staged>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn write(&self, file: &Waiting, old: Option<&Metadata>) -> io::Result<()> {
        if old.is_some_and(Metadata::is_dir) {
            return Err(io::Error::new(
                io::ErrorKind::IsADirectory,
                "it is a directory",
            ));
        }
        if old.is_some_and(|old| old.permissions().readonly()) {
            return Err(io::Error::new(
                io::ErrorKind::PermissionDenied,
                "it may only be read",
            ));
        }
        let mut builder = tempfile::Builder::new();
        builder.prefix(".lowspot-");
        like_any_new_file(&mut builder);
        let mut staged = self.lock();
        let (mut temporary, path) = builder.tempfile_in(above(&file.place))?.into_parts();
        staged.push(Staged {
            name: file.name.clone(),
            place: file.place.clone(),
            temporary: path,
        });
        drop(staged);
        if let Some(old) = old {
            temporary.set_permissions(old.permissions())?;
        }
        temporary.write_all(&file.bytes)?;
        temporary.sync_all()
    }

    /// Puts them all in their places, or none.
    ///
    /// # Errors
    /// [`Error::Write`] for the first that cannot be put there; what stood at each place is back.
    pub fn keep(&self) -> Result<()> {
        let mut staged = self.lock();
        let mut put = Vec::new();
        for file in &*staged {
            match file.put() {
                Ok(before) => put.push((file, before)),
                Err(source) => {
                    put.iter().for_each(|(file, before)| file.put_back(before));
                    return Err(write_error(&file.name, source));
                }
            }
        }
        staged.clear();
        Ok(())
    }

    /// Removes them and then does `last`, while nothing else can happen to them.
    pub fn give_up(&self, last: impl FnOnce()) {
        let mut staged = self.lock();
        staged.clear();
        last();
    }
}

impl Staged {
    fn put(&self) -> io::Result<Before> {
        if !self.place.exists() {
            fs::rename(&self.temporary, &self.place)?;
            Ok(Before::Nothing)
        } else if exchange(&self.temporary, &self.place)? {
            Ok(Before::Aside)
        } else {
            fs::rename(&self.temporary, &self.place)?;
            Ok(Before::Gone)
        }
    }

    /// Undoes it as far as it can be: what fails a second time cannot be told more clearly than the first error.
    fn put_back(&self, before: &Before) {
        match before {
            Before::Nothing => drop(fs::remove_file(&self.place)),
            Before::Aside => drop(exchange(&self.temporary, &self.place)),
            Before::Gone => {}
        }
    }
}

/// A temporary file alone would be the owner's only; this one is readable by all that the user's mask allows.
#[cfg(unix)]
fn like_any_new_file(builder: &mut tempfile::Builder<'_, '_>) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(fs::Permissions::from_mode(0o666));
}

#[cfg(not(unix))]
fn like_any_new_file(_: &mut tempfile::Builder<'_, '_>) {}

fn input_as_output(name: String) -> Error {
    Error::argument(name, "an input named as output", "another file to write to")
}

fn write_error(name: &str, source: io::Error) -> Error {
    Error::Write {
        file: name.to_owned(),
        source,
    }
}
