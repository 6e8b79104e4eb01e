//! PTS: a line with the number of points, then a point a line: x y z, mostly intensity, often red, green and blue.
//!
//! In: text. Out: points in the file's unit. Several scans may follow one another, each with its own number of points.
//! Source: no standard; as exporters of laser scanners write it. A file without the first line is plain text of
//! points (see `xyz`).

use crate::error::{Result, Warning};
use crate::survey::lines::{self, Lines};
use crate::survey::{Batch, Content, Format, LeftOut, Options, PointReader, Source, cloud};

/// PTS.
pub const PTS: Format = Format {
    name: "pts",
    title: "PTS point cloud",
    recognises,
    open,
};

fn recognises(head: &[u8]) -> bool {
    let mut all = head.split(|&b| b == b'\n');
    let first = all.next().and_then(lines::count);
    let second = all.next().and_then(lines::numbers::<3>);
    first.is_some() && second.is_some()
}

fn open(source: &Source, options: &Options) -> Result<Content> {
    let mut lines = Lines::open(source)?;
    let first = lines.next()?.and_then(lines::count);
    let left = first.ok_or_else(|| lines.wrong("no number of points", "the number of points"))?;
    let reader = Reader {
        lines,
        left,
        announced: left,
        beyond: 0,
        name: source.name().to_owned(),
        left_out: LeftOut::default(),
    };
    Ok(cloud::content(Box::new(reader), None, options))
}

struct Reader {
    name: String,
    lines: Lines,
    /// Points still to come in this scan.
    left: u64,
    announced: u64,
    /// Points beyond those.
    beyond: u64,
    left_out: LeftOut,
}

impl PointReader for Reader {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        while batch.len() < cloud::BATCH {
            let Some(line) = self.lines.next()? else {
                if self.left > 0 {
                    let wanted = format!("{} more points", self.left);
                    return Err(self.lines.wrong("the end of the file", wanted));
                }
                return Ok(!batch.is_empty());
            };
            match (lines::numbers(line), self.left) {
                (Some(point), 1..) => {
                    self.left -= 1;
                    cloud::push(batch, &mut self.left_out, point);
                }
                (None, 0) if line.trim_ascii().is_empty() => {}
                (None, 0) if lines::count(line).is_some() => {
                    self.left = lines::count(line).unwrap_or_default();
                    self.announced = self.announced.saturating_add(self.left);
                }
                (Some(point), 0) => {
                    self.beyond += 1;
                    cloud::push(batch, &mut self.left_out, point);
                }
                (None, _) => {
                    let found = lines::shown(line);
                    return Err(self.lines.wrong(found, "a point: x y z"));
                }
            }
        }
        Ok(true)
    }

    fn announced(&self) -> Option<u64> {
        Some(self.announced)
    }

    fn left_out(&self) -> LeftOut {
        self.left_out
    }

    fn warnings(&self) -> Vec<Warning> {
        let more = Warning(format!(
            "{}: it says it holds {} points, but there are {} more; all were read",
            self.name, self.announced, self.beyond
        ));
        Vec::from_iter((self.beyond > 0).then_some(more))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::cloud::testing::{error, points};

    #[test]
    fn scans_one_after_another() {
        let text = b"2\r\n1 2 3\r\n4 5 6 -1613 52 70 64\r\n1\n7 8 9\n\n";
        assert!(recognises(text));
        let expected = [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0], [7.0, 8.0, 9.0]];
        assert_eq!(points(&PTS, text), expected);
    }

    #[test]
    fn points_may_be_more_than_announced_but_not_fewer() {
        assert!(error(&PTS, b"3\n1 2 3\n").contains("line 2: found the end of the file"));
        assert_eq!(points(&PTS, b"1\n1 2 3\n4 5 6\n").len(), 2);
        assert!(error(&PTS, b"1\n1 2\n").contains("line 2: found '1 2'"));
    }
}
