//! What can go wrong, sorted by what the user can do about it, and always with the place.
//!
//! In: a place, what was found, what was wanted. Out: one line for the terminal.

use std::fmt::{self, Write as _};
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
        /// The files of the survey; empty while nobody has said: see [`Error::measured_in`].
        survey: String,
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
            survey: String::new(),
            found: found.into(),
            wanted: wanted.into(),
        }
    }

    /// The same error, with the files that were measured if it is one of the measurement and does not name them yet.
    pub fn measured_in(self, files: &[String]) -> Self {
        match (self, files) {
            (
                Self::Floor {
                    survey,
                    found,
                    wanted,
                },
                [first, others @ ..],
            ) if survey.is_empty() => Self::Floor {
                survey: match others {
                    [] => first.clone(),
                    others => format!("{first} and {} more", others.len()),
                },
                found,
                wanted,
            },
            (error, _) => error,
        }
    }
}

/// The most characters of an input that an error repeats.
const MOST_SHOWN: usize = 400;

/// Writes text that may come from a file: without characters that a terminal would obey, and not without end.
fn plainly(f: &mut fmt::Formatter<'_>, text: &str) -> fmt::Result {
    for c in text.chars().take(MOST_SHOWN) {
        match c.is_control() {
            true => write!(f, "{}", c.escape_default())?,
            false => f.write_char(c)?,
        }
    }
    match text.chars().nth(MOST_SHOWN) {
        Some(_) => f.write_str("..."),
        None => Ok(()),
    }
}

/// `PLACE: found FOUND; wanted WANTED`.
fn found_and_wanted(
    f: &mut fmt::Formatter<'_>,
    place: &str,
    found: &str,
    wanted: &str,
) -> fmt::Result {
    plainly(f, place)?;
    f.write_str(": found ")?;
    plainly(f, found)?;
    f.write_str("; wanted ")?;
    plainly(f, wanted)
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Argument {
                name,
                found,
                wanted,
            } => found_and_wanted(f, name, found, wanted),
            Self::Input {
                place,
                found,
                wanted,
            } => found_and_wanted(f, &place.to_string(), found, wanted),
            Self::Floor {
                survey,
                found,
                wanted,
            } => {
                let survey = match survey.as_str() {
                    "" => "the survey",
                    survey => survey,
                };
                found_and_wanted(f, survey, found, wanted)
            }
            Self::Read { file, source } => {
                plainly(f, file)?;
                write!(f, ": cannot be read: {source}")
            }
            Self::Write { file, source } => {
                plainly(f, file)?;
                write!(f, ": cannot be written: {source}")
            }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stood_in_a_file_stays_short_and_on_one_line() {
        let found = format!("'\u{1b}[2J\n{}'", "9".repeat(1_000_000));
        let shown = Error::input(Place::line("a\nb", 3), found, "a number").to_string();
        assert!(
            shown.starts_with("a\\nb, line 3: found '\\u{1b}[2J\\n999"),
            "{shown}"
        );
        assert!(shown.ends_with("999...; wanted a number") && shown.len() < 500);
    }

    #[test]
    fn an_error_of_the_measurement_names_its_files_once() {
        let files = ["a.csv", "b.csv", "c.csv"].map(str::to_owned);
        let error = Error::floor("nothing", "readings").measured_in(&files);
        assert_eq!(
            error.to_string(),
            "a.csv and 2 more: found nothing; wanted readings"
        );
        let other = ["d.csv".to_owned()];
        assert!(error.measured_in(&other).to_string().starts_with("a.csv"));
        let argument = Error::argument("--cell", "1", "2").measured_in(&other);
        assert_eq!(argument.to_string(), "--cell: found 1; wanted 2");
    }
}
