//! Writing files so that they are either all there and whole, or as they were before.
//!
//! In: paths and bytes. Each is written beside its place and moved there when all of them are on disk. A file that
//! belongs to the input is never written over.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use crate::error::{Error, Result};

/// Files to be written.
pub struct Files {
    spared: Vec<PathBuf>,
    waiting: Vec<(PathBuf, Vec<u8>)>,
}

impl Files {
    /// No file yet; those at `inputs` will be refused.
    pub fn sparing<'a>(inputs: impl IntoIterator<Item = &'a Path>) -> Self {
        Self {
            spared: inputs
                .into_iter()
                .filter_map(|path| path.canonicalize().ok())
                .collect(),
            waiting: Vec::new(),
        }
    }

    /// Takes a file to write.
    ///
    /// # Errors
    /// [`Error::Argument`] if it is an input, or is to be written twice.
    pub fn add(&mut self, path: &Path, bytes: impl Into<Vec<u8>>) -> Result<()> {
        let shown = path.display().to_string();
        if path
            .canonicalize()
            .is_ok_and(|path| self.spared.contains(&path))
        {
            return Err(Error::argument(
                shown,
                "an input named as output",
                "another file to write to",
            ));
        }
        if self.waiting.iter().any(|(other, _)| other == path) {
            return Err(Error::argument(
                shown,
                "the same file for two outputs",
                "a file for each",
            ));
        }
        self.waiting.push((path.to_owned(), bytes.into()));
        Ok(())
    }

    /// Writes them all.
    ///
    /// # Errors
    /// [`Error::Write`] for the first that cannot be written; what stood at its place is still there.
    pub fn write(self) -> Result<()> {
        let staged: Vec<_> = self
            .waiting
            .iter()
            .map(|(path, bytes)| stage(path, bytes))
            .collect::<Result<_>>()?;
        for (file, (path, _)) in staged.into_iter().zip(&self.waiting) {
            file.persist(path)
                .map_err(|error| write_error(path, error.error))?;
        }
        Ok(())
    }
}

/// Writes `bytes` to a temporary file beside `path`.
fn stage(path: &Path, bytes: &[u8]) -> Result<NamedTempFile> {
    let fail = |source| write_error(path, source);
    if path.is_dir() {
        return Err(fail(std::io::Error::new(
            std::io::ErrorKind::IsADirectory,
            "it is a directory",
        )));
    }
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    like_any_new_file(&mut builder);
    let mut file = builder.tempfile_in(folder).map_err(fail)?;
    file.write_all(bytes)
        .and_then(|()| file.as_file().sync_all())
        .map_err(fail)?;
    Ok(file)
}

/// A temporary file alone would be the owner's only; this one is readable by all that the user's mask allows.
#[cfg(unix)]
fn like_any_new_file(builder: &mut tempfile::Builder<'_, '_>) {
    use std::os::unix::fs::PermissionsExt;
    builder.permissions(std::fs::Permissions::from_mode(0o666));
}

#[cfg(not(unix))]
fn like_any_new_file(_: &mut tempfile::Builder<'_, '_>) {}

fn write_error(path: &Path, source: std::io::Error) -> Error {
    Error::Write {
        file: path.display().to_string(),
        source,
    }
}
