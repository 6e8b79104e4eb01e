//! Delimited text, row by row: what lists, grids and books of readings are written in.
//!
//! In: UTF-8 with or without a byte-order mark, or UTF-16 with one; cells between commas, semicolons, tabs or runs of
//! spaces; CRLF or LF. Out: a [`Table`] of rows of cells and strict, finite numbers, each with its line and column.
//! Blank lines and lines that start with `#` are passed over. A decimal comma is understood where the cells are not
//! divided by commas. Files of readings are small, so the whole file is held; one beyond [`MAX_BYTES`] is refused.
//! Not here: what the columns mean (see `heading`), and scanned points as text, which are streamed.

use std::io::{Cursor, Read};

use crate::error::{Error, Place, Result};
use crate::survey::Source;

/// The largest file of readings that is read. A person writes kilobytes; a scan belongs to the scan readers.
pub const MAX_BYTES: u64 = 16 << 20;
/// The most columns a row may have.
pub const MAX_COLUMNS: usize = 10_000;
/// The most readings a file may hold.
pub const MAX_READINGS: usize = 1_000_000;

/// What stands between two cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Delimiter {
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// A tab.
    Tab,
    /// One or more spaces.
    Spaces,
}

impl Delimiter {
    fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
            Self::Spaces => b' ',
        }
    }

    /// The delimiter that `header` is written with.
    ///
    /// A comma between two digits in a line with spaces is a decimal comma, as in `staff_mm 0,5 1,0`.
    fn sniff(header: &str) -> Self {
        let mut quoted = false;
        let outside: Vec<char> = header
            .chars()
            .filter(|&c| {
                quoted ^= c == '"';
                !quoted
            })
            .collect();
        let decimal = |at: usize| {
            let digit = |at: Option<usize>| {
                at.and_then(|at| outside.get(at))
                    .is_some_and(char::is_ascii_digit)
            };
            digit(at.checked_sub(1)) && digit(Some(at + 1))
        };
        let mut commas = (0..outside.len()).filter(|&at| outside.get(at) == Some(&','));
        if outside.contains(&'\t') {
            Self::Tab
        } else if outside.contains(&';') {
            Self::Semicolon
        } else if commas.clone().next().is_some()
            && !(outside.contains(&' ') && commas.all(decimal))
        {
            Self::Comma
        } else {
            Self::Spaces
        }
    }
}

/// A row that is not blank.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its line in the file, from 1.
    pub line: u64,
    cells: csv::StringRecord,
}

impl Row {
    /// The text of a cell without the spaces around it; empty beyond the end of the row.
    pub fn cell(&self, column: usize) -> &str {
        self.cells.get(column).unwrap_or_default().trim()
    }

    /// The number of cells, not counting empty ones at the end.
    pub fn width(&self) -> usize {
        let filled = (0..self.cells.len()).rfind(|&column| !self.cell(column).is_empty());
        filled.map_or(0, |last| last + 1)
    }

    /// The texts of the cells up to [`Self::width`].
    pub fn texts(&self) -> impl Iterator<Item = &str> {
        (0..self.width()).map(|column| self.cell(column))
    }
}

/// A file of delimited text: its header row, then its rows one after another.
pub struct Table {
    header: Row,
    rows: Rows,
    /// The decimal mark that numbers have been written with so far.
    mark: Option<char>,
}

impl Table {
    /// Reads `source` and its header row.
    ///
    /// # Errors
    /// [`Error::Read`]; [`Error::Input`] for what is too large, no text, or without a header row.
    pub fn open(source: &Source) -> Result<Self> {
        let mut bytes = Vec::new();
        source
            .open()?
            .take(MAX_BYTES + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| source.read_error(error))?;
        Self::from_bytes(source.name(), &bytes)
    }

    /// Reads the content of a file that the user calls `file`.
    ///
    /// # Errors
    /// [`Error::Input`] as for [`Self::open`].
    pub fn from_bytes(file: &str, bytes: &[u8]) -> Result<Self> {
        if bytes.len() as u64 > MAX_BYTES {
            return Err(Error::input(
                Place::file(file),
                format!("more than {} MiB of text", MAX_BYTES >> 20),
                "a smaller file of readings (for scanned points, say so with --format)",
            ));
        }
        let (text, whole) = decode(bytes);
        if !whole {
            let line = text.matches('\n').count() as u64 + 1;
            return Err(Error::input(
                Place::line(file, line),
                "a character that is no text in UTF-8",
                "text in UTF-8, or in UTF-16 with a byte-order mark (save it as 'CSV UTF-8')",
            ));
        }
        let mut rows = Rows::new(file, text);
        let header = rows
            .next()?
            .ok_or_else(|| Error::input(Place::file(file), "no row of cells", "a header row"))?;
        Ok(Self {
            header: rows.join_units(header),
            rows,
            mark: None,
        })
    }

    /// The header row.
    pub fn header(&self) -> &Row {
        &self.header
    }

    /// The whole file as a place.
    pub fn file(&self) -> Place {
        Place::file(&self.rows.file)
    }

    /// A cell as a place; the column by the text of its header.
    pub fn place(&self, row: &Row, column: usize) -> Place {
        let name = match self.header.cell(column) {
            "" => (column + 1).to_string(),
            name => shown(name),
        };
        Place::line(&self.rows.file, row.line).column(name)
    }

    /// The next row that is not blank, with as many cells as the header has.
    ///
    /// # Errors
    /// [`Error::Input`] for a row that is longer or shorter than the header, or has more than [`MAX_COLUMNS`].
    pub fn next_row(&mut self) -> Result<Option<Row>> {
        let Some(row) = self.rows.next()? else {
            return Ok(None);
        };
        let wanted = self.header.width();
        if row.cells.len() >= wanted && row.width() <= wanted {
            return Ok(Some(row));
        }
        let hint = match self.rows.delimiter {
            Delimiter::Comma => " (decimal commas need semicolons between the cells)",
            Delimiter::Spaces => " (empty cells need commas, semicolons or tabs between the cells)",
            Delimiter::Semicolon | Delimiter::Tab => "",
        };
        Err(Error::input(
            Place::line(&self.rows.file, row.line),
            count(row.width().max(row.cells.len().min(wanted)), "cell"),
            format!("{wanted}, as the header row has{hint}"),
        ))
    }

    /// The number in a cell.
    ///
    /// # Errors
    /// [`Error::Input`] for anything but one finite decimal number, and for a file that mixes decimal points with
    /// decimal commas: one of the two would be a mark of thousands.
    pub fn number(&mut self, row: &Row, column: usize) -> Result<f64> {
        let cell = row.cell(column);
        let found = if cell.is_empty() {
            "an empty cell".to_owned()
        } else {
            format!("'{}'", shown(cell))
        };
        let comma_is_decimal = self.rows.delimiter != Delimiter::Comma;
        let Some(number) = decimal(cell, comma_is_decimal) else {
            let wanted = if cell.contains(',') && !comma_is_decimal {
                "a number (decimal commas need semicolons between the cells)"
            } else {
                "a number"
            };
            return Err(Error::input(self.place(row, column), found, wanted));
        };
        let mark = cell.chars().find(|c| matches!(c, '.' | ','));
        if mark.is_some() && self.mark.is_some() && mark != self.mark {
            return Err(Error::input(
                self.place(row, column),
                format!("{found}, where the numbers before it have the other decimal mark"),
                "one decimal mark in the whole file, and no marks of thousands",
            ));
        }
        self.mark = self.mark.or(mark);
        Ok(number)
    }

    /// Whether a file that has given `readings` already may give another.
    ///
    /// # Errors
    /// [`Error::Input`] beyond [`MAX_READINGS`].
    pub fn room_for_one_more(&self, readings: usize, row: &Row) -> Result<()> {
        if readings < MAX_READINGS {
            return Ok(());
        }
        Err(Error::input(
            Place::line(&self.rows.file, row.line),
            format!("more than {MAX_READINGS} readings"),
            "fewer of them (for scanned points, say so with --format)",
        ))
    }
}

/// The first row of a file that starts with `head`, and what its cells are divided by; None if it is no text.
pub fn first_row(head: &[u8]) -> Option<(Delimiter, Row)> {
    let (text, _) = decode(head);
    let mut rows = Rows::new("", header_line(&text)?.to_owned());
    let row = rows.next().ok().flatten()?;
    Some((rows.delimiter, rows.join_units(row)))
}

/// A finite decimal number, or None. `inf`, `nan` and the like are no measurement.
pub fn decimal(text: &str, comma_is_decimal: bool) -> Option<f64> {
    // Spreadsheets and word processors write the minus sign as a character of its own.
    let mut text = text.replace('\u{2212}', "-");
    if comma_is_decimal {
        text = text.replace(',', ".");
    }
    let plain = text
        .bytes()
        .all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b'e' | b'E'));
    let number: f64 = plain.then(|| text.parse().ok()).flatten()?;
    number.is_finite().then_some(number)
}

/// Text of the file as an error shows it: short, and without characters that a terminal would obey.
pub fn shown(text: &str) -> String {
    let mut short: String = text.chars().take(40).flat_map(char::escape_debug).collect();
    if text.chars().nth(40).is_some() {
        short.push_str("...");
    }
    short
}

/// `1 cell`, `2 cells`.
pub fn count(number: usize, noun: &str) -> String {
    format!("{number} {noun}{}", if number == 1 { "" } else { "s" })
}

/// The rows of a text.
struct Rows {
    file: String,
    delimiter: Delimiter,
    reader: csv::Reader<Cursor<String>>,
}

impl Rows {
    fn new(file: &str, text: String) -> Self {
        // One kind of line end, also after the last line, so that the reader stands one line below each row it gives.
        let text = text.replace("\r\n", "\n").replace('\r', "\n") + "\n";
        let delimiter = Delimiter::sniff(header_line(&text).unwrap_or_default());
        let reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(delimiter.byte())
            .terminator(csv::Terminator::Any(b'\n'))
            .comment(Some(b'#'))
            .from_reader(Cursor::new(text));
        Self {
            file: file.to_owned(),
            delimiter,
            reader,
        }
    }

    fn next(&mut self) -> Result<Option<Row>> {
        let mut cells = csv::StringRecord::new();
        loop {
            let more = self
                .reader
                .read_record(&mut cells)
                .map_err(|error| Error::Read {
                    file: self.file.clone(),
                    source: error.into(),
                })?;
            if !more {
                return Ok(None);
            }
            let end = self.reader.position().line().saturating_sub(1);
            self.check(&cells, end)?;
            if self.delimiter == Delimiter::Spaces {
                cells = cells.iter().filter(|cell| !cell.is_empty()).collect();
            }
            let row = Row { line: end, cells };
            if row.width() > 0 && !row.cell(0).starts_with('#') {
                return Ok(Some(row));
            }
            cells = row.cells;
        }
    }

    /// Refuses a cell that runs over its line, which is a quotation mark not closed, and a row with too many cells.
    fn check(&self, cells: &csv::StringRecord, end: u64) -> Result<()> {
        let over = cells.as_slice().matches('\n').count() as u64;
        if over > 0 {
            return Err(Error::input(
                Place::line(&self.file, end.saturating_sub(over).max(1)),
                "a cell in quotation marks that runs over the end of its line",
                "the closing quotation mark on the same line",
            ));
        }
        if cells.len() > MAX_COLUMNS {
            return Err(Error::input(
                Place::line(&self.file, end),
                count(cells.len(), "cell"),
                format!("at most {MAX_COLUMNS}"),
            ));
        }
        Ok(())
    }

    /// Between spaces, `height (mm)` falls into two cells: puts them together again.
    fn join_units(&self, header: Row) -> Row {
        if self.delimiter != Delimiter::Spaces {
            return header;
        }
        let mut names: Vec<String> = Vec::new();
        for cell in header.texts() {
            match names.last_mut() {
                Some(name) if cell.starts_with(['(', '[']) => name.push_str(&format!(" {cell}")),
                Some(_) | None => names.push(cell.to_owned()),
            }
        }
        Row {
            line: header.line,
            cells: names.into(),
        }
    }
}

/// The first line with something other than delimiters on it that is no comment.
fn header_line(text: &str) -> Option<&str> {
    let blank = |line: &str| {
        line.chars()
            .all(|c| c.is_whitespace() || matches!(c, ',' | ';'))
    };
    text.split(['\n', '\r'])
        .find(|line| !blank(line) && !line.trim_start().starts_with('#'))
}

/// The text that `bytes` begin with, and whether all of them are text.
fn decode(bytes: &[u8]) -> (String, bool) {
    let (mut text, mut whole) = match bytes {
        [0xFF, 0xFE, rest @ ..] => decode_utf16(rest, u16::from_le_bytes),
        [0xFE, 0xFF, rest @ ..] => decode_utf16(rest, u16::from_be_bytes),
        [0xEF, 0xBB, 0xBF, rest @ ..] | rest => match rest.utf8_chunks().next() {
            Some(chunk) => (chunk.valid().to_owned(), chunk.invalid().is_empty()),
            None => (String::new(), true),
        },
    };
    if let Some(at) = text.find('\0') {
        text.truncate(at);
        whole = false;
    }
    (text, whole)
}

fn decode_utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> (String, bool) {
    let (pairs, rest) = bytes.as_chunks::<2>();
    let mut whole = rest.is_empty();
    let text = char::decode_utf16(pairs.iter().map(|&pair| unit(pair)))
        .map_while(|c| c.inspect_err(|_| whole = false).ok())
        .collect();
    (text, whole)
}
