//! What can go wrong, sorted by what the user can do about it, and always with the place.
//!
//! In: a place, what was found, what was wanted. Out: one line for the terminal.

use std::fmt;
use std::io;

/// Every fallible function of the library returns this.
pub type Result<T> = std::result::Result<T, Error>;

/// Where in an input something stands. Lines and columns count from 1.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Place {
    /// The file as the user named it.
    pub file: String,
    /// The line of a text file, or the record of a binary one.
    pub line: Option<u64>,
    /// The name or number of the column or field.
    pub column: Option<String>,
    /// Whether `line` counts records of a binary file.
    pub record: bool,
}

impl Place {
    /// A whole file.
    pub fn file(file: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            ..Self::default()
        }
    }

    /// A line of a text file.
    pub fn line(file: impl Into<String>, line: u64) -> Self {
        Self {
            line: Some(line),
            ..Self::file(file)
        }
    }

    /// The line and column at so many bytes into `text`, the content of a text file.
    pub fn in_text(file: impl Into<String>, text: &str, at: usize) -> Self {
        let before = text.get(..at).unwrap_or(text);
        let line = before.matches('\n').count() as u64 + 1;
        let column = before.chars().rev().take_while(|&c| c != '\n').count() + 1;
        Self::line(file, line).column(column.to_string())
    }

    /// A record of a binary file.
    pub fn record(file: impl Into<String>, record: u64) -> Self {
        Self {
            line: Some(record),
            record: true,
            ..Self::file(file)
        }
    }

    /// The same place, narrowed to a column.
    pub fn column(mut self, column: impl Into<String>) -> Self {
        self.column = Some(column.into());
        self
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(
                f,
                ", {} {line}",
                if self.record { "record" } else { "line" }
            )?;
        }
        match &self.column {
            Some(column) => write!(f, ", column {column}"),
            None => Ok(()),
        }
    }
}

/// An error, by what the user can do about it.
#[derive(Debug)]
pub enum Error {
    /// Change the command: an option or argument is wrong.
    Argument {
        /// The option or argument, as typed.
        name: String,
        /// What was given.
        found: String,
        /// What would be understood.
        wanted: String,
    },
    /// Mend the file: something in it is not what it should be.
    Input {
        /// Where.
        place: Place,
        /// What stands there.
        found: String,
        /// What should stand there.
        wanted: String,
    },
    /// Measure again, or choose otherwise: the measurement does not allow what was asked.
    Floor {
        /// What the measurement holds.
        found: String,
        /// What it would have to hold, and what to do.
        wanted: String,
    },
    /// The file could not be read.
    Read {
        /// The file as the user named it.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// The file could not be written.
    Write {
        /// The file as the user named it.
        file: String,
        /// What the system said.
        source: io::Error,
    },
}

impl Error {
    /// An option or argument that cannot be used.
    pub fn argument(
        name: impl Into<String>,
        found: impl Into<String>,
        wanted: impl Into<String>,
    ) -> Self {
        Self::Argument {
            name: name.into(),
            found: found.into(),
            wanted: wanted.into(),
        }
    }

    /// Something in a file that is not what it should be.
    pub fn input(place: Place, found: impl Into<String>, wanted: impl Into<String>) -> Self {
        Self::Input {
            place,
            found: found.into(),
            wanted: wanted.into(),
        }
    }

    /// A measurement that does not allow what was asked.
    pub fn floor(found: impl Into<String>, wanted: impl Into<String>) -> Self {
        Self::Floor {
            found: found.into(),
            wanted: wanted.into(),
        }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Argument {
                name,
                found,
                wanted,
            } => write!(f, "{name}: found {found}; wanted {wanted}"),
            Self::Input {
                place,
                found,
                wanted,
            } => write!(f, "{place}: found {found}; wanted {wanted}"),
            Self::Floor { found, wanted } => {
                write!(f, "the survey: found {found}; wanted {wanted}")
            }
            Self::Read { file, source } => write!(f, "{file}: cannot be read: {source}"),
            Self::Write { file, source } => write!(f, "{file}: cannot be written: {source}"),
        }
    }
}

impl std::error::Error for Error {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Read { source, .. } | Self::Write { source, .. } => Some(source),
            Self::Argument { .. } | Self::Input { .. } | Self::Floor { .. } => None,
        }
    }
}

/// Something the user should know that stops nothing: one sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Warning(pub String);

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
