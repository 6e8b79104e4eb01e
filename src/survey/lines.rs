//! Text files line by line, without copying lines out of the block they were read in.
//!
//! In: a file. Out: its lines without their ends (LF or CRLF) and their numbers, and the numbers on a line.
//! A line longer than [`LONGEST`] is an error: it is no text of points, and would fill the memory.

use std::fs::File;
use std::io::Read;
use std::ops::Range;

use crate::error::{Error, Place, Result};
use crate::survey::Source;

/// Bytes in a line, at most.
pub const LONGEST: usize = 64 * 1024;

/// Bytes read at a time.
const BLOCK: usize = 1 << 20;

/// The lines of a text file, or the bytes after them.
pub struct Lines {
    source: Source,
    file: File,
    block: Vec<u8>,
    at: usize,
    end: usize,
    ended: bool,
    /// Where the last line is in `block`.
    line: Range<usize>,
    number: u64,
}

impl Lines {
    /// The lines of `source`.
    ///
    /// # Errors
    /// [`Error::Read`].
    pub fn open(source: &Source) -> Result<Self> {
        Ok(Self {
            source: source.clone(),
            file: source.open()?,
            block: vec![0; BLOCK],
            at: 0,
            end: 0,
            ended: false,
            line: 0..0,
            number: 0,
        })
    }

    /// Where the last line stood.
    pub fn place(&self) -> Place {
        Place::line(self.source.name(), self.number)
    }

    /// An error at the last line.
    pub fn wrong(&self, found: impl Into<String>, wanted: impl Into<String>) -> Error {
        Error::input(self.place(), found, wanted)
    }

    /// The next line, or None at the end.
    ///
    /// # Errors
    /// [`Error::Input`] for a line that is too long; [`Error::Read`].
    pub fn next(&mut self) -> Result<Option<&[u8]>> {
        Ok(self.advance()?.then(|| self.current()))
    }

    /// The next line that holds more than white space, or None at the end.
    ///
    /// # Errors
    /// As [`Self::next`].
    pub fn next_filled(&mut self) -> Result<Option<&[u8]>> {
        while self.advance()? {
            if !self.current().trim_ascii().is_empty() {
                return Ok(Some(self.current()));
            }
        }
        Ok(None)
    }

    /// The line that was read last.
    fn current(&self) -> &[u8] {
        let line = &self.block[self.line.clone()];
        line.strip_suffix(b"\r").unwrap_or(line)
    }

    /// Goes to the next line. False at the end.
    fn advance(&mut self) -> Result<bool> {
        let mut seen = 0;
        let length = loop {
            let rest = &self.block[self.at..self.end];
            if let Some(length) = memchr::memchr(b'\n', &rest[seen..]) {
                break seen + length;
            }
            seen = rest.len();
            if seen > LONGEST {
                return Err(self.too_long());
            }
            if !self.fill()? {
                if seen == 0 {
                    return Ok(false);
                }
                break seen;
            }
        };
        if length > LONGEST {
            return Err(self.too_long());
        }
        self.number += 1;
        self.line = self.at..self.at + length;
        self.at = (self.line.end + 1).min(self.end);
        Ok(true)
    }

    fn too_long(&mut self) -> Error {
        self.number += 1;
        let found = format!("a line of more than {LONGEST} characters");
        self.wrong(found, "lines of points")
    }

    /// Up to `length` bytes after the last line; fewer only at the end of the file.
    ///
    /// # Errors
    /// [`Error::Read`].
    pub fn bytes(&mut self, length: usize) -> Result<&[u8]> {
        while self.end - self.at < length && self.fill()? {}
        let length = length.min(self.end - self.at);
        let bytes = &self.block[self.at..self.at + length];
        self.at += length;
        Ok(bytes)
    }

    /// Reads on behind what is still unread. False at the end of the file.
    fn fill(&mut self) -> Result<bool> {
        if self.ended {
            return Ok(false);
        }
        self.block.copy_within(self.at..self.end, 0);
        (self.at, self.end) = (0, self.end - self.at);
        if self.end == self.block.len() {
            self.block.resize(2 * self.end, 0);
        }
        let read = self
            .file
            .read(&mut self.block[self.end..])
            .map_err(|error| self.source.read_error(error))?;
        self.ended = read == 0;
        self.end += read;
        Ok(read > 0)
    }
}

/// Whether `byte` stands between numbers.
fn separates(byte: u8) -> bool {
    byte.is_ascii_whitespace() || matches!(byte, b',' | b';')
}

/// The parts of a line between separators. Two commas with nothing between them enclose an empty part.
pub fn parts(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    let mut rest = line.trim_ascii();
    let mut more = !rest.is_empty();
    std::iter::from_fn(move || {
        if !more {
            return None;
        }
        let end = rest.iter().position(|&b| separates(b));
        let (part, after) = rest.split_at(end.unwrap_or(rest.len()));
        let after = after.trim_ascii_start();
        more = end.is_some();
        rest = match after.split_first() {
            Some((b',' | b';', after)) => after.trim_ascii_start(),
            _ => after,
        };
        Some(part)
    })
}

/// A number, if the whole of `part` is one. `nan` and `inf` are numbers here: points without a position.
pub fn number(part: &[u8]) -> Option<f64> {
    fast_float2::parse(part).ok()
}

/// The first `N` numbers of a line, if it begins with as many.
pub fn numbers<const N: usize>(line: &[u8]) -> Option<[f64; N]> {
    let mut numbers = [0.0; N];
    let mut rest = line;
    for slot in &mut numbers {
        rest = rest.trim_ascii_start();
        let (number, length) = fast_float2::parse_partial(rest).ok()?;
        *slot = number;
        rest = rest.get(length..)?;
        rest = match rest.first() {
            Some(b',' | b';') => rest.get(1..)?,
            Some(byte) if byte.is_ascii_whitespace() => skip_separator(rest),
            Some(_) => return None,
            None => rest,
        };
    }
    Some(numbers)
}

/// White space, and a comma or semicolon within it.
fn skip_separator(rest: &[u8]) -> &[u8] {
    let rest = rest.trim_ascii_start();
    match rest.split_first() {
        Some((b',' | b';', after)) => after,
        _ => rest,
    }
}

/// As [`numbers`], on a line that holds nothing else.
pub fn only_numbers<const N: usize>(line: &[u8]) -> Option<[f64; N]> {
    (parts(line).count() == N).then(|| numbers(line)).flatten()
}

/// A whole number that stands alone on a line.
pub fn count(line: &[u8]) -> Option<u64> {
    let text = line.trim_ascii();
    let digits = !text.is_empty() && text.iter().all(u8::is_ascii_digit);
    digits
        .then(|| std::str::from_utf8(text).ok()?.parse().ok())
        .flatten()
}

/// A line as it can be shown in an error.
pub fn shown(line: &[u8]) -> String {
    let text = String::from_utf8_lossy(line);
    let short: String = text.chars().filter(|c| !c.is_control()).take(40).collect();
    match short.len() < text.trim().len() {
        true => format!("'{short}...'"),
        false => format!("'{}'", short.trim()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(text: &[u8]) -> Lines {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), text).unwrap();
        // Stays open after the file is gone; on systems without that, the test reads nothing.
        Lines::open(&Source::new(file.path().to_str().unwrap()).unwrap()).unwrap()
    }

    #[test]
    fn lines_end_in_lf_or_crlf_or_not_at_all() {
        let mut lines = lines(b"a\r\n\nb");
        assert_eq!(lines.next().unwrap(), Some(&b"a"[..]));
        assert_eq!(lines.next().unwrap(), Some(&b""[..]));
        assert_eq!(lines.next().unwrap(), Some(&b"b"[..]));
        assert_eq!(lines.place().line, Some(3));
        assert_eq!(lines.next().unwrap(), None);
    }

    #[test]
    fn lines_across_blocks_are_whole_and_endless_ones_refused() {
        let mut text = vec![b' '; BLOCK - 3];
        (0..text.len()).step_by(100).for_each(|i| text[i] = b'\n');
        text.extend_from_slice(b"\n12345\n");
        let mut long = lines(&text);
        let mut last = Vec::new();
        while let Some(line) = long.next().unwrap() {
            last = line.to_vec();
        }
        assert_eq!(last, b"12345");
        assert!(lines(&vec![b'1'; 3 * BLOCK]).next().is_err());
    }

    #[test]
    fn parts_of_a_line() {
        let split = |line: &'static str| parts(line.as_bytes()).collect::<Vec<_>>();
        assert_eq!(split("1 2\t3"), [b"1", b"2", b"3"]);
        assert_eq!(split(" 1 , 2;3 "), [b"1", b"2", b"3"]);
        assert_eq!(split("1,,3"), [&b"1"[..], b"", b"3"]);
        assert_eq!(split("  "), Vec::<&[u8]>::new());
        assert_eq!(numbers(b"1.5 -2e3 0 9"), Some([1.5, -2000.0, 0.0]));
        assert_eq!(numbers::<3>(b"1.5 2x 0"), None);
        assert_eq!(only_numbers::<2>(b"1 2 3"), None);
        assert_eq!(
            (count(b" 12 "), count(b"1.5"), count(b"")),
            (Some(12), None, None)
        );
    }
}
