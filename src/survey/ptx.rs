//! PTX: scans as the instrument took them, each with columns, rows, pose and transformation, then a point a line.
//!
//! In: text. Out: points after each scan's own transformation; points at exactly 0 0 0 were not measured.
//! Header of a scan: columns, rows, the instrument's position, its three axes, and a 4 x 4 matrix by which a point is
//! multiplied from the left as a row: [x y z 1] M, so that the last row is the translation.
//! Source: no standard; a description of the export by those who made the format (from memory), and files whose instrument position
//! equals the last row. A file may end before columns x rows points: some exporters write wrong numbers. That is a
//! warning, unless the last line is cut off.

use crate::error::{Result, Warning};
use crate::survey::lines::{self, Lines};
use crate::survey::{Batch, Content, Format, LeftOut, Options, PointReader, Source, cloud};

/// PTX.
pub const PTX: Format = Format {
    name: "ptx",
    title: "PTX point cloud",
    recognises,
    open,
};

fn recognises(head: &[u8]) -> bool {
    let mut all = head.split(|&b| b == b'\n').map(<[u8]>::trim_ascii);
    let mut fits = |test: fn(&[u8]) -> bool| all.next().is_some_and(test);
    let counts = (0..2).all(|_| fits(|line| lines::count(line).is_some()));
    let pose = counts && (0..4).all(|_| fits(|line| lines::only_numbers::<3>(line).is_some()));
    pose && (0..4).all(|_| fits(|line| lines::only_numbers::<4>(line).is_some()))
}

fn open(source: &Source, options: &Options) -> Result<Content> {
    let mut reader = Reader {
        lines: Lines::open(source)?,
        name: source.name().to_owned(),
        left: 0,
        announced: 0,
        matrix: [[0.0; 3]; 4],
        columns: 0,
        left_out: LeftOut::default(),
        warnings: Vec::new(),
    };
    if !reader.next_scan()? {
        let wanted = "a PTX scan, beginning with its number of columns";
        return Err(reader.lines.wrong("nothing", wanted));
    }
    Ok(cloud::content(Box::new(reader), None, options))
}

struct Reader {
    lines: Lines,
    name: String,
    /// Points still to come in this scan.
    left: u64,
    announced: u64,
    /// Rows of the transformation, without its last column.
    matrix: [[f64; 3]; 4],
    /// Numbers on the last line of a point.
    columns: usize,
    left_out: LeftOut,
    warnings: Vec<Warning>,
}

impl Reader {
    /// Reads the header of the next scan. False at the end of the file.
    fn next_scan(&mut self) -> Result<bool> {
        let columns = loop {
            match self.lines.next()? {
                None => return Ok(false),
                Some(line) if line.trim_ascii().is_empty() => {}
                Some(line) => break lines::count(line),
            }
        };
        let rows = self.lines.next()?.and_then(lines::count);
        let (Some(columns), Some(rows)) = (columns, rows) else {
            let wanted = "the number of columns and the number of rows, each on a line";
            return Err(self.lines.wrong("something else", wanted));
        };
        for _ in 0..4 {
            self.header_line::<3>()?;
        }
        for row in 0..4 {
            let [x, y, z, _] = self.header_line()?;
            self.matrix[row] = [x, y, z];
        }
        self.left = columns.saturating_mul(rows);
        self.columns = 0;
        self.announced = self.announced.saturating_add(self.left);
        Ok(true)
    }

    fn header_line<const N: usize>(&mut self) -> Result<[f64; N]> {
        let numbers = self.lines.next()?.and_then(lines::only_numbers);
        let finite = numbers.filter(|numbers: &[f64; N]| numbers.iter().all(|n| n.is_finite()));
        finite.ok_or_else(|| {
            let wanted = format!("{N} finite numbers of the scan's position and transformation");
            self.lines.wrong("something else", wanted)
        })
    }

    /// The file has ended before the scan has.
    fn ended(&mut self, batch: &Batch) -> bool {
        if self.left > 0 {
            let (left, announced) = (self.left, self.announced);
            self.warnings.push(Warning(format!(
                "{}: it says it holds {announced} points, but ends {left} points earlier; what is there was read",
                self.name
            )));
            self.left = 0;
        }
        !batch.is_empty()
    }

    fn point(&mut self, point: [f64; 3], batch: &mut Batch) {
        self.left -= 1;
        if point == [0.0; 3] {
            self.left_out.invalid += 1;
            return;
        }
        let [x, y, z] = point;
        let [a, b, c, d] = self.matrix;
        let moved = |i: usize| x * a[i] + y * b[i] + z * c[i] + d[i];
        cloud::push(batch, &mut self.left_out, [moved(0), moved(1), moved(2)]);
    }
}

impl PointReader for Reader {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        // Counted in lines: a scan may hold millions of points that were not measured.
        for _ in 0..cloud::BATCH {
            if self.left == 0 && !self.next_scan()? {
                return Ok(!batch.is_empty());
            }
            if self.left == 0 {
                continue;
            }
            let Some(line) = self.lines.next()? else {
                return Ok(self.ended(batch));
            };
            let columns = lines::parts(line).count();
            let Some(point) = lines::numbers(line).filter(|_| columns >= self.columns) else {
                let found = lines::shown(line);
                return Err(self.lines.wrong(found, "a point: x y z intensity"));
            };
            self.columns = columns;
            self.point(point, batch);
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
        self.warnings.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::cloud::testing::{error, points};

    const SCAN: &str =
        "1\n2\n10 20 30\n1 0 0\n0 1 0\n0 0 1\n0 1 0 0\n-1 0 0 0\n0 0 1 0\n10 20 30 1\n";

    /// A quarter turn to the left, then the translation: the x axis becomes y, the y axis becomes -x.
    #[test]
    fn a_scan_is_turned_and_moved_by_its_matrix() {
        let text = format!("{SCAN}1 2 3 0.5\n0 0 0 0.5\n{SCAN}0 0 0 0.5\n4 0 0 0.5\n");
        assert!(recognises(text.as_bytes()));
        let expected = [[8.0, 21.0, 33.0], [10.0, 24.0, 30.0]];
        assert_eq!(points(&PTX, text.as_bytes()), expected);
    }

    #[test]
    fn a_line_cut_off_is_an_error() {
        let text = format!("{SCAN}1 2 3 0.5\n4 5 6\n");
        assert!(error(&PTX, text.as_bytes()).contains("line 12: found '4 5 6'"));
        assert!(error(&PTX, b"1\n2\n1 0\n").contains("line 3"));
    }
}
