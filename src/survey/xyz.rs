//! Plain text of points, one a line: x y z and whatever else follows.
//!
//! In: numbers between spaces, tabs, commas or semicolons, with a decimal comma where the separator is not a comma;
//! a header that names columns X, Y and Z, or none, and then the first three columns. Out: points in the file's unit.
//! Empty lines and lines beginning with `#` or `//` are passed over; any other line must be a point.
//! Not here: lists of readings, whose header says the unit and which way heights run.

use crate::error::Result;
use crate::survey::lines::{self, Lines};
use crate::survey::{Batch, Content, Format, LeftOut, Options, PointReader, Source, cloud};

/// Plain text of points.
pub const XYZ: Format = Format {
    name: "xyz",
    title: "plain text of x y z points",
    recognises,
    open,
};

fn recognises(head: &[u8]) -> bool {
    let mut named = false;
    for line in head.split(|&b| b == b'\n').map(without_mark) {
        match kind(line) {
            Kind::Nothing => {}
            Kind::Header(_) if !named => named = true,
            Kind::Header(_) => return false,
            Kind::Other => return point(line, [0, 1, 2], decimal_comma(line)).is_some(),
        }
    }
    false
}

/// What a line that is no point may be.
enum Kind {
    /// Empty or a remark.
    Nothing,
    /// Names of columns: which are x, y and z.
    Header([usize; 3]),
    /// A point, or a fault.
    Other,
}

fn kind(line: &[u8]) -> Kind {
    let line = line.trim_ascii();
    let remark = line.strip_prefix(b"//").or(line.strip_prefix(b"#"));
    let names: Vec<_> = lines::parts(remark.unwrap_or(line))
        .take(64)
        .map(|name| name.trim_ascii().to_ascii_lowercase())
        .collect();
    let column = |axis: &str| {
        let quoted = format!("\"{axis}\"");
        let is = |name: &Vec<u8>| *name == axis.as_bytes() || *name == quoted.as_bytes();
        names.iter().position(is)
    };
    match (column("x"), column("y"), column("z")) {
        (Some(x), Some(y), Some(z)) => Kind::Header([x, y, z]),
        _ if line.is_empty() || remark.is_some() => Kind::Nothing,
        _ => Kind::Other,
    }
}

/// Whether commas on this line stand in numbers: no number has a point, and something else separates them.
fn decimal_comma(line: &[u8]) -> bool {
    if line.contains(&b'.') || !line.contains(&b',') {
        return false;
    }
    let columns = line.split(|&b| matches!(b, b' ' | b'\t' | b';'));
    let filled = columns.filter(|column| !column.is_empty());
    let mut several = 0;
    let plain = filled.into_iter().all(|column| {
        several += 1;
        let commas = column.iter().filter(|&&b| b == b',').count();
        commas <= 1 && !column.starts_with(b",") && !column.ends_with(b",")
    });
    plain && several >= 3
}

/// The numbers in the given columns.
fn point(line: &[u8], columns: [usize; 3], decimal_comma: bool) -> Option<[f64; 3]> {
    if decimal_comma {
        let mut line = line.to_vec();
        line.iter_mut()
            .filter(|b| **b == b',')
            .for_each(|b| *b = b'.');
        return point(&line, columns, false);
    }
    if columns == [0, 1, 2] {
        return lines::numbers(line);
    }
    let mut point = [None; 3];
    for (index, part) in lines::parts(line).enumerate() {
        if let Some(axis) = columns.iter().position(|&column| column == index) {
            point[axis] = lines::number(part);
        }
    }
    let [x, y, z] = point;
    Some([x?, y?, z?])
}

fn without_mark(line: &[u8]) -> &[u8] {
    line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line)
}

fn open(source: &Source, options: &Options) -> Result<Content> {
    let reader = Reader {
        lines: Lines::open(source)?,
        columns: [0, 1, 2],
        decimal_comma: None,
        left_out: LeftOut::default(),
    };
    Ok(cloud::content(Box::new(reader), None, options))
}

struct Reader {
    lines: Lines,
    columns: [usize; 3],
    /// Found out from the first point.
    decimal_comma: Option<bool>,
    left_out: LeftOut,
}

impl PointReader for Reader {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        batch.clear();
        while batch.len() < cloud::BATCH {
            let Some(line) = self.lines.next_filled()? else {
                return Ok(!batch.is_empty());
            };
            let line = without_mark(line);
            let comma = self.decimal_comma.unwrap_or_else(|| decimal_comma(line));
            if let Some(point) = point(line, self.columns, comma) {
                self.decimal_comma = Some(comma);
                cloud::push(batch, &mut self.left_out, point);
                continue;
            }
            match kind(line) {
                Kind::Nothing => {}
                Kind::Header(columns) if self.decimal_comma.is_none() => self.columns = columns,
                Kind::Header(_) | Kind::Other => {
                    let found = lines::shown(line);
                    return Err(self.lines.wrong(found, "a point: x y z"));
                }
            }
        }
        Ok(true)
    }

    fn announced(&self) -> Option<u64> {
        None
    }

    fn left_out(&self) -> LeftOut {
        self.left_out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::cloud::testing::{error, points};

    #[test]
    fn separators_headers_and_line_ends() {
        let expected = [[1.5, -2.0, 3.0], [4.0, 5.0, 6.25]];
        for text in [
            "1.5 -2 3\n4 5 6.25",
            "1.5,-2,3,255\r\n4,5,6.25,0\r\n",
            "X;Y;Z\n1.5;-2;3\n\n4;5;6.25\n",
            "1,5;-2;3\n4;5;6,25\n",
            "1,5\t-2,0\t3,0\n4,0\t5,0\t6,25\n",
            "\"Intensity\",\"Z\",\"X\",\"Y\"\n9,3,1.5,-2\n9,6.25,4,5\n",
            "//X Y Z R\n# made by hand\n1.5 -2 3 0\n4 5 6.25 0\n",
            "\u{feff}x y z\n1.5 , -2 , 3,7\n 4 , 5 , 6.25\n",
        ] {
            assert!(recognises(text.as_bytes()), "{text}");
            assert_eq!(points(&XYZ, text.as_bytes()), expected, "{text}");
        }
    }

    #[test]
    fn what_is_no_point_is_an_error_with_its_line() {
        assert!(error(&XYZ, b"X Y Z\n1 2 3\n1 2\n").contains("line 3: found '1 2'"));
        assert!(error(&XYZ, b"1 2 3\nX Y Z\n").contains("line 2"));
        for text in [
            "X,Y,X\n1,2,3\n",
            "words only\n",
            "",
            "x_m,y_m,staff_mm\n1,2,3\n",
        ] {
            assert!(!recognises(text.as_bytes()), "{text}");
        }
    }
}
