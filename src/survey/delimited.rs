//! Delimited text, row by row: what lists, grids and books of readings are written in.
//!
//! In: UTF-8 with or without a byte-order mark, or UTF-16 with one; cells between commas, semicolons, tabs or runs of
//! spaces; CRLF or LF. Out: a [`Table`] of rows of cells and strict, finite numbers, each with its line and column.
//! Blank lines and lines that start with `#` are passed over. A decimal comma is understood where the cells are not
//! divided by commas. Files of readings are small, so the whole file is held; one beyond [`MAX_BYTES`] is refused.
//! Not here: what the columns mean (see `heading`), and scanned points as text, which are streamed.

use std::io::{Cursor, Read};

use crate::error::{Error, Place, Result};
use crate::survey::{FARTHEST, Source, WITHIN_REACH};

/// The largest file of readings that is read. A person writes kilobytes; a scan belongs to the scan readers.
pub const MAX_BYTES: u64 = 16 << 20;
/// The most columns a row may have.
pub const MAX_COLUMNS: usize = 10_000;
/// The longest line, bytes: ten thousand columns of numbers written out in full.
pub const LONGEST_LINE: usize = 256 << 10;
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
        // A terminal would obey them, and names go from here to every output.
        let obeyed = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
        if let Some(at) = text.find(obeyed) {
            return Err(Error::input(
                Place::in_text(file, &text, at),
                "a control character",
                "text (save it again as 'CSV UTF-8')",
            ));
        }
        if let Some(line) = text.lines().position(|line| line.len() > LONGEST_LINE) {
            return Err(Error::input(
                Place::line(file, line as u64 + 1),
                format!("a line of more than {} KiB", LONGEST_LINE >> 10),
                "lines of readings",
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

    /// The coordinate in a cell of a column whose unit has so many metres, m.
    ///
    /// # Errors
    /// [`Error::Input`] as for [`Self::number`], and beyond [`FARTHEST`].
    pub fn metres(&mut self, row: &Row, (column, metres): (usize, f64)) -> Result<f64> {
        // Zero is added so that minus zero is the same place as zero.
        let at = self.number(row, column)? * metres + 0.0;
        if at.abs() <= FARTHEST {
            return Ok(at);
        }
        let found = format!("'{}'", shown(row.cell(column)));
        Err(Error::input(self.place(row, column), found, WITHIN_REACH))
    }

    /// The distance in a cell of a column whose unit has so many metres, m.
    ///
    /// # Errors
    /// [`Error::Input`] as for [`Self::number`], and for a distance below zero.
    pub fn distance(&mut self, row: &Row, column: (usize, f64)) -> Result<f64> {
        let metres = self.metres(row, column)?;
        if metres < 0.0 {
            let found = format!("the distance {}", shown(row.cell(column.0)));
            return Err(Error::input(self.place(row, column.0), found, "0 or more"));
        }
        Ok(metres)
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
        let delimiter = Delimiter::sniff(header_line(&text).unwrap_or_default().trim_end());
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
        let text = cells.as_slice();
        let over = text.matches('\n').count() as u64;
        if over > 0 {
            // A mark that is never closed takes in the last line end of the file as well.
            let open = u64::from(text.ends_with('\n'));
            return Err(Error::input(
                Place::line(&self.file, (end + open).saturating_sub(over)),
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

#[cfg(test)]
mod tests {
    use super::*;

    fn table(text: &str) -> Table {
        Table::from_bytes("floor.csv", text.as_bytes()).expect("a header row")
    }

    fn error(bytes: &[u8]) -> String {
        let read = || {
            let mut table = Table::from_bytes("floor.csv", bytes)?;
            while let Some(row) = table.next_row()? {
                for column in 0..row.width() {
                    table.number(&row, column)?;
                }
            }
            Ok(())
        };
        let read: Result<()> = read();
        read.expect_err("something wrong").to_string()
    }

    #[test]
    fn every_delimiter_is_told_from_the_header() {
        let cases = [
            ("x,y,z", Delimiter::Comma),
            ("x, y, z", Delimiter::Comma),
            ("staff_mm,0,1,2", Delimiter::Comma),
            (",0,1,2", Delimiter::Comma),
            ("height (mm),0,1", Delimiter::Comma),
            ("\"X;1\",\"Y\",\"Z\"", Delimiter::Comma),
            ("x;y;z", Delimiter::Semicolon),
            ("staff_mm;0,5;1,0", Delimiter::Semicolon),
            ("x\ty\theight (mm)", Delimiter::Tab),
            ("x y  z", Delimiter::Spaces),
            ("staff_mm 0,5 1,0", Delimiter::Spaces),
        ];
        for (header, delimiter) in cases {
            assert_eq!(Delimiter::sniff(header), delimiter, "{header}");
        }
    }

    #[test]
    fn lines_are_counted_past_comments_blank_lines_and_quotation_marks() {
        for end in ["\n", "\r\n", "\r"] {
            let text = [
                "# a, \"comment",
                "",
                "a,b",
                " ",
                ",,",
                "\"1\",2",
                "  # no",
                "",
                "3,4",
            ];
            let mut table = table(&text.join(end));
            assert_eq!(table.header().line, 3);
            let mut lines = Vec::new();
            while let Some(row) = table.next_row().expect("rows") {
                lines.push((row.line, row.cell(0).to_owned()));
            }
            assert_eq!(lines, [(6, "1".to_owned()), (9, "3".to_owned())], "{end:?}");
        }
    }

    #[test]
    fn units_in_brackets_stay_with_their_name_between_spaces() {
        let table = table("  x   y [ft]  height (mm)\n 1 2 3");
        let names: Vec<_> = table.header().texts().collect();
        assert_eq!(names, ["x", "y [ft]", "height (mm)"]);
    }

    #[test]
    fn every_encoding_gives_the_same_text() {
        let text = "Küche,b\n1,2\n";
        let utf16 = |bytes: fn(u16) -> [u8; 2]| -> Vec<u8> {
            "\u{feff}"
                .encode_utf16()
                .chain(text.encode_utf16())
                .flat_map(bytes)
                .collect()
        };
        let all = [
            text.as_bytes().to_vec(),
            format!("\u{feff}{text}").into_bytes(),
            utf16(u16::to_le_bytes),
            utf16(u16::to_be_bytes),
        ];
        for bytes in all {
            let table = Table::from_bytes("floor.csv", &bytes).expect("text");
            assert_eq!(table.header().cell(0), "Küche");
        }
    }

    #[test]
    fn numbers_are_strict() {
        for (text, number) in [
            ("1.5", 1.5),
            ("-1e-3", -1e-3),
            ("+2", 2.0),
            ("\u{2212}3", -3.0),
            (".5", 0.5),
        ] {
            assert_eq!(decimal(text, false), Some(number), "{text}");
        }
        assert_eq!(decimal("1,5", true), Some(1.5));
        for text in [
            "", "-", "nan", "inf", "1e999", "1,5", "1 5", "5mm", "0x1", "1_000", "e", "--1",
        ] {
            assert_eq!(decimal(text, false), None, "{text}");
        }
        for text in ["1.234,5", "1,234,567"] {
            assert_eq!(decimal(text, true), None, "{text}");
        }
    }

    #[test]
    fn errors_name_line_and_column() {
        let cases: [(&[u8], &str); 12] = [
            (
                b"a,b\n1,2\n\n3,x\n",
                "floor.csv, line 4, column b: found 'x'; wanted a number",
            ),
            (
                b"a;b\n1;2\n;4\n",
                "floor.csv, line 3, column a: found an empty cell; wanted a number",
            ),
            (
                b"a,b\n1,1e999\n",
                "floor.csv, line 2, column b: found '1e999'; wanted a number",
            ),
            (
                b"a,b\n1,\"2,5\"\n",
                "floor.csv, line 2, column b: found '2,5'; wanted a number (decimal commas need semicolons between the cells)",
            ),
            (
                b"a;b\n1,5;1.250\n",
                "floor.csv, line 2, column b: found '1.250', where the numbers before it have the other decimal mark; wanted one decimal mark in the whole file, and no marks of thousands",
            ),
            (
                b"a,b\n1,0,2,0\n",
                "floor.csv, line 2: found 4 cells; wanted 2, as the header row has (decimal commas need semicolons between the cells)",
            ),
            (
                b"a;b\n1\n",
                "floor.csv, line 2: found 1 cell; wanted 2, as the header row has",
            ),
            (
                b"a  b\n1\n",
                "floor.csv, line 2: found 1 cell; wanted 2, as the header row has (empty cells need commas, semicolons or tabs between the cells)",
            ),
            (
                b"a,b\n1,2\n\"3,4\n5,6\n",
                "floor.csv, line 3: found a cell in quotation marks that runs over the end of its line; wanted the closing quotation mark on the same line",
            ),
            (
                b"a,b\n1,\"2\n3\"\n5,6\n",
                "floor.csv, line 2: found a cell in quotation marks that runs over the end of its line; wanted the closing quotation mark on the same line",
            ),
            (
                b"a,b\nK\xfcche,2\n",
                "floor.csv, line 2: found a character that is no text in UTF-8; wanted text in UTF-8, or in UTF-16 with a byte-order mark (save it as 'CSV UTF-8')",
            ),
            (
                b"# nothing\n\n",
                "floor.csv: found no row of cells; wanted a header row",
            ),
        ];
        for (bytes, message) in cases {
            assert_eq!(error(bytes), message);
        }
    }

    #[test]
    fn trailing_delimiters_are_no_cells() {
        let mut table = table("a,b,,\n1,2,,,\n1,2\n");
        assert_eq!(table.header().width(), 2);
        for _ in 0..2 {
            assert!(table.next_row().expect("a whole row").is_some());
        }
    }

    #[test]
    fn what_is_too_large_is_refused() {
        assert!(error(&vec![b' '; MAX_BYTES as usize + 1]).contains("more than 16 MiB of text"));
        assert!(
            error(format!("a{}", ",".repeat(MAX_COLUMNS)).as_bytes())
                .contains("10001 cells; wanted at most 10000")
        );
    }

    #[test]
    fn what_a_terminal_would_obey_is_not_shown() {
        assert_eq!(shown("a\u{1b}[2J"), "a\\u{1b}[2J");
        assert_eq!(shown(&"x".repeat(99)).len(), 43);
    }
}
