//! What every reader of scanned points does the same way: batches, points without a position, `--units` and `--up`.
//!
//! In: a reader that speaks the file's own unit and axes. Out: the same points in metres with z up.

use crate::error::{Result, Warning};
use crate::survey::{Batch, Content, LeftOut, Options, PointReader, Up};
use crate::units::LengthUnit;

/// Points in a batch, at most: 1.5 MB of coordinates, which the processor's cache holds.
pub const BATCH: usize = 65_536;

/// A point goes to the batch, or to the invalid ones if it has no position.
#[inline]
pub fn push(batch: &mut Batch, left_out: &mut LeftOut, point: [f64; 3]) {
    if point.iter().all(|c| c.is_finite()) {
        batch.push(point);
    } else {
        left_out.invalid += 1;
    }
}

/// Takes points without a position out of the batch.
pub fn drop_invalid(batch: &mut Batch, left_out: &mut LeftOut) {
    let finite = |column: &[f64]| column.iter().all(|c| c.is_finite());
    if finite(&batch.x) && finite(&batch.y) && finite(&batch.z) {
        return;
    }
    let mut kept = Batch::default();
    for point in batch.points() {
        push(&mut kept, left_out, point);
    }
    *batch = kept;
}

/// `reader` as content, in metres and upright. `unit` is what the file itself says; without it `--units`, or metres.
pub fn content(
    reader: Box<dyn PointReader>,
    unit: Option<LengthUnit>,
    options: &Options,
) -> Content {
    let unit = unit.or(options.units).unwrap_or(LengthUnit::Metre);
    if unit == LengthUnit::Metre && options.up == Up::Z {
        return Content::Points(reader);
    }
    Content::Points(Box::new(Upright {
        reader,
        metres: unit.metres(),
        up: options.up,
    }))
}

/// A reader whose points are scaled to metres and turned upright.
struct Upright {
    reader: Box<dyn PointReader>,
    metres: f64,
    up: Up,
}

impl PointReader for Upright {
    fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
        let more = self.reader.next_batch(batch)?;
        let Batch { x, y, z } = batch;
        for ((x, y), z) in x.iter_mut().zip(y).zip(z) {
            [*x, *y, *z] = self.up.turn([*x, *y, *z].map(|c| c * self.metres));
        }
        Ok(more)
    }

    fn announced(&self) -> Option<u64> {
        self.reader.announced()
    }

    fn left_out(&self) -> LeftOut {
        self.reader.left_out()
    }

    fn warnings(&self) -> Vec<Warning> {
        self.reader.warnings()
    }
}

/// Reading points out of bytes, for the tests of the readers.
#[cfg(test)]
pub mod testing {
    use super::*;
    use crate::survey::{Format, Source};

    /// All points of a file with this content.
    pub fn read(format: &Format, bytes: &[u8]) -> Result<(Vec<[f64; 3]>, LeftOut)> {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), bytes).unwrap();
        let source = Source::new(file.path().to_str().unwrap())?;
        let Content::Points(mut reader) = (format.open)(&source, &Options::default())? else {
            panic!("no points")
        };
        let (mut batch, mut points) = (Batch::default(), Vec::new());
        while reader.next_batch(&mut batch)? {
            points.extend(batch.points());
        }
        Ok((points, reader.left_out()))
    }

    /// All points of a file without faults.
    pub fn points(format: &Format, bytes: &[u8]) -> Vec<[f64; 3]> {
        read(format, bytes).unwrap().0
    }

    /// What is wrong with a file.
    pub fn error(format: &Format, bytes: &[u8]) -> String {
        read(format, bytes).unwrap_err().to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Once(Option<[f64; 3]>);

    impl PointReader for Once {
        fn next_batch(&mut self, batch: &mut Batch) -> Result<bool> {
            batch.clear();
            let mut left_out = LeftOut::default();
            let point = self.0.take();
            point
                .into_iter()
                .for_each(|p| push(batch, &mut left_out, p));
            Ok(point.is_some())
        }

        fn announced(&self) -> Option<u64> {
            Some(1)
        }

        fn left_out(&self) -> LeftOut {
            LeftOut::default()
        }
    }

    fn read(unit: Option<LengthUnit>, options: &Options) -> Batch {
        let content = content(Box::new(Once(Some([1.0, 2.0, 3.0]))), unit, options);
        let Content::Points(mut reader) = content else {
            panic!("points")
        };
        let mut batch = Batch::default();
        assert!(reader.next_batch(&mut batch).unwrap());
        batch
    }

    #[test]
    fn units_and_up_reach_every_point() {
        let mut options = Options {
            units: Some(LengthUnit::Millimetre),
            up: Up::Y,
            format: None,
            collimation: None,
        };
        let turned = read(None, &options);
        assert_eq!(turned.points().next(), Some([0.001, -0.003, 0.002]));
        options.up = Up::Z;
        let feet = read(Some(LengthUnit::Foot), &options);
        assert_eq!(feet.points().next(), Some([0.3048, 0.6096, 0.3048 * 3.0]));
    }

    #[test]
    fn points_without_a_position_are_counted() {
        let (mut batch, mut left_out) = (Batch::default(), LeftOut::default());
        push(&mut batch, &mut left_out, [0.0, f64::NAN, 0.0]);
        push(&mut batch, &mut left_out, [0.0, 0.0, f64::INFINITY]);
        push(&mut batch, &mut left_out, [0.0, 0.0, 0.0]);
        assert_eq!((batch.len(), left_out.invalid), (1, 2));
    }
}
