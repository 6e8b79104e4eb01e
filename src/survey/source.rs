//! A file to read, or what comes through standard input or a pipe, put aside so that it can be read like one.
//!
//! In: a path or `-`. Out: its bytes, its name as the user typed it, its SHA-256, and whether it has changed since it was named:
//! files are read more than once, and what is found must be of one state of them.

use std::fs::{self, File, Metadata};
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::SystemTime;

use sha2::{Digest, Sha256};

use crate::error::{Error, Place, Result};

/// How much of a file recognition may look at.
const HEAD: u64 = 64 * 1024;

/// Something to read, as the user named it.
#[derive(Debug, Clone)]
pub struct Source {
    name: String,
    path: PathBuf,
    seen: Seen,
    /// Holds what was put aside until the last clone is dropped.
    _spool: Option<Arc<tempfile::TempPath>>,
}

/// What would differ if a file were changed, or another put in its place.
#[derive(Debug, Clone, PartialEq)]
struct Seen {
    length: u64,
    modified: Option<SystemTime>,
    number: Option<u64>,
}

impl Seen {
    fn of(found: &Metadata) -> Self {
        Self {
            length: found.len(),
            modified: found.modified().ok(),
            number: number(found),
        }
    }
}

/// The number of a file in its file system, where files have one.
#[cfg(unix)]
fn number(found: &Metadata) -> Option<u64> {
    Some(std::os::unix::fs::MetadataExt::ino(found))
}

#[cfg(not(unix))]
fn number(_: &Metadata) -> Option<u64> {
    None
}

impl Source {
    /// A file; what comes through a pipe, or standard input for `-`, is copied to a temporary file.
    ///
    /// # Errors
    /// [`Error::Read`] if it does not exist, is a directory, or cannot be opened; [`Error::Write`] if there is no room for the
    /// copy.
    pub fn new(name: &str) -> Result<Self> {
        let fail = |source| Error::Read {
            file: name.to_owned(),
            source,
        };
        if name == "-" {
            return Self::put_aside("standard input", &mut io::stdin().lock());
        }
        let path = PathBuf::from(name);
        let mut file = File::open(&path).map_err(fail)?;
        let found = file.metadata().map_err(fail)?;
        if found.is_dir() {
            return Err(fail(io::Error::new(
                io::ErrorKind::IsADirectory,
                "it is a directory",
            )));
        }
        if !found.is_file() {
            return Self::put_aside(name, &mut file);
        }
        Ok(Self {
            name: name.to_owned(),
            path,
            seen: Seen::of(&found),
            _spool: None,
        })
    }

    /// What can be read only once, copied to a temporary file.
    fn put_aside(name: &str, stream: &mut impl Read) -> Result<Self> {
        let fail = |source: io::Error| {
            let file = match source.kind() {
                io::ErrorKind::StorageFull => std::env::temp_dir().display().to_string(),
                _ => {
                    let file = name.to_owned();
                    return Error::Read { file, source };
                }
            };
            Error::Write { file, source }
        };
        let mut spool = tempfile::NamedTempFile::new().map_err(fail)?;
        io::copy(stream, &mut spool).map_err(fail)?;
        let seen = Seen::of(&spool.as_file().metadata().map_err(fail)?);
        let spool = Arc::new(spool.into_temp_path());
        Ok(Self {
            name: name.to_owned(),
            path: spool.to_path_buf(),
            seen,
            _spool: Some(spool),
        })
    }

    /// That the file is still as it was when it was named.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] if it is not.
    pub fn unchanged(&self) -> Result<()> {
        let now = fs::metadata(&self.path).map_err(|source| self.read_error(source))?;
        if Seen::of(&now) == self.seen {
            return Ok(());
        }
        Err(Error::input(
            self.place(),
            "a file that changed while it was read",
            "one that stays as it is: wait until it is written, and try again",
        ))
    }

    /// What went wrong in reading, unless that is because the file has changed.
    pub fn or_changed(&self, error: Error) -> Error {
        self.unchanged().err().unwrap_or(error)
    }

    /// The name as the user typed it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Where the bytes are.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The whole file as a place of an error.
    pub fn place(&self) -> Place {
        Place::file(&self.name)
    }

    /// Opens it.
    ///
    /// # Errors
    /// [`Error::Read`].
    pub fn open(&self) -> Result<File> {
        File::open(&self.path).map_err(|source| self.read_error(source))
    }

    /// Opens it for reading in large blocks.
    ///
    /// # Errors
    /// [`Error::Read`].
    pub fn buffered(&self) -> Result<BufReader<File>> {
        Ok(BufReader::with_capacity(1 << 20, self.open()?))
    }

    /// Its length in bytes.
    ///
    /// # Errors
    /// [`Error::Read`].
    pub fn size(&self) -> Result<u64> {
        Ok(self
            .open()?
            .metadata()
            .map_err(|source| self.read_error(source))?
            .len())
    }

    /// The first 64 KiB.
    ///
    /// # Errors
    /// [`Error::Read`].
    pub fn head(&self) -> Result<Vec<u8>> {
        let mut head = Vec::new();
        self.open()?
            .take(HEAD)
            .read_to_end(&mut head)
            .map_err(|source| self.read_error(source))?;
        Ok(head)
    }

    /// The whole of a small text file, of at most `longest` bytes, without a byte-order mark. `wanted` is what an error
    /// says it should be.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] for a longer file, or one that is no UTF-8.
    pub fn text(&self, longest: u64, wanted: &str) -> Result<String> {
        let mut bytes = Vec::new();
        self.open()?
            .take(longest + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| self.read_error(error))?;
        let wrong = |found: &str| Error::input(self.place(), found, wanted);
        if bytes.len() as u64 > longest {
            return Err(wrong(&format!("more than {longest} bytes")));
        }
        let text = String::from_utf8(bytes).map_err(|_| wrong("bytes that are no text"))?;
        Ok(text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned())
    }

    /// SHA-256 of the content, in hexadecimal digits: of what has been read before, if that was all of it.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] if the file has changed since it was named.
    pub fn sha256(&self) -> Result<String> {
        let mut file = self.open()?;
        let mut hasher = Sha256::new();
        let mut block = vec![0; 1 << 20];
        loop {
            match file.read(&mut block) {
                Ok(0) => break,
                Ok(read) => hasher.update(&block[..read]),
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(source) => return Err(self.read_error(source)),
            }
        }
        self.unchanged()?;
        Ok(hasher
            .finalize()
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect())
    }

    /// What the system said when this could not be read.
    pub fn read_error(&self, source: io::Error) -> Error {
        Error::Read {
            file: self.name.clone(),
            source,
        }
    }
}
