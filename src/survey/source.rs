//! A file to read, or standard input put aside so that it can be read like one.
//!
//! In: a path or `-`. Out: its bytes, its name as the user typed it, its SHA-256.

use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sha2::{Digest, Sha256};

use crate::error::{Error, Place, Result};

/// How much of a file recognition may look at.
const HEAD: u64 = 64 * 1024;

/// Something to read, as the user named it.
#[derive(Debug, Clone)]
pub struct Source {
    name: String,
    path: PathBuf,
    /// Holds the copy of standard input until the last clone is dropped.
    _spool: Option<Arc<tempfile::TempPath>>,
}

impl Source {
    /// A file, or standard input for `-`, which is copied to a temporary file.
    ///
    /// # Errors
    /// [`Error::Read`] if it does not exist, is a directory, or cannot be opened.
    pub fn new(name: &str) -> Result<Self> {
        let fail = |source| Error::Read {
            file: name.to_owned(),
            source,
        };
        if name == "-" {
            let mut spool = tempfile::NamedTempFile::new().map_err(fail)?;
            io::copy(&mut io::stdin().lock(), &mut spool).map_err(fail)?;
            let spool = Arc::new(spool.into_temp_path());
            let path = spool.to_path_buf();
            return Ok(Self {
                name: "standard input".to_owned(),
                path,
                _spool: Some(spool),
            });
        }
        let source = Self {
            name: name.to_owned(),
            path: PathBuf::from(name),
            _spool: None,
        };
        let kind = source.open()?.metadata().map_err(fail)?;
        if kind.is_dir() {
            return Err(fail(io::Error::new(
                io::ErrorKind::IsADirectory,
                "it is a directory",
            )));
        }
        Ok(source)
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

    /// SHA-256 of the content, in hexadecimal digits.
    ///
    /// # Errors
    /// [`Error::Read`].
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
