//! Numbers of binary files: their types, and columns of them.

/// The type of a number in a binary file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scalar {
    /// Signed, 1 byte.
    I8,
    /// Unsigned, 1 byte.
    U8,
    /// Signed, 2 bytes.
    I16,
    /// Unsigned, 2 bytes.
    U16,
    /// Signed, 4 bytes.
    I32,
    /// Unsigned, 4 bytes.
    U32,
    /// Signed, 8 bytes.
    I64,
    /// Unsigned, 8 bytes.
    U64,
    /// IEEE 754, 4 bytes.
    F32,
    /// IEEE 754, 8 bytes.
    F64,
}

impl Scalar {
    /// Bytes in a number.
    pub fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::I64 | Self::U64 | Self::F64 => 8,
        }
    }

    /// Appends the numbers at the beginning of every `stride` bytes of `data`. `big`: the most significant byte
    /// stands first.
    pub fn column(self, data: &[u8], stride: usize, big: bool, out: &mut Vec<f64>) {
        match (self, big) {
            (Self::I8, _) => each(data, stride, out, |b: [u8; 1]| {
                f64::from(i8::from_le_bytes(b))
            }),
            (Self::U8, _) => each(data, stride, out, |b: [u8; 1]| f64::from(b[0])),
            (Self::I16, false) => each(data, stride, out, |b| f64::from(i16::from_le_bytes(b))),
            (Self::I16, true) => each(data, stride, out, |b| f64::from(i16::from_be_bytes(b))),
            (Self::U16, false) => each(data, stride, out, |b| f64::from(u16::from_le_bytes(b))),
            (Self::U16, true) => each(data, stride, out, |b| f64::from(u16::from_be_bytes(b))),
            (Self::I32, false) => each(data, stride, out, |b| f64::from(i32::from_le_bytes(b))),
            (Self::I32, true) => each(data, stride, out, |b| f64::from(i32::from_be_bytes(b))),
            (Self::U32, false) => each(data, stride, out, |b| f64::from(u32::from_le_bytes(b))),
            (Self::U32, true) => each(data, stride, out, |b| f64::from(u32::from_be_bytes(b))),
            (Self::I64, false) => each(data, stride, out, |b| i64::from_le_bytes(b) as f64),
            (Self::I64, true) => each(data, stride, out, |b| i64::from_be_bytes(b) as f64),
            (Self::U64, false) => each(data, stride, out, |b| u64::from_le_bytes(b) as f64),
            (Self::U64, true) => each(data, stride, out, |b| u64::from_be_bytes(b) as f64),
            (Self::F32, false) => each(data, stride, out, |b| f64::from(f32::from_le_bytes(b))),
            (Self::F32, true) => each(data, stride, out, |b| f64::from(f32::from_be_bytes(b))),
            (Self::F64, false) => each(data, stride, out, f64::from_le_bytes),
            (Self::F64, true) => each(data, stride, out, f64::from_be_bytes),
        }
    }

    /// The number at the beginning of `bytes`, or not a number when there are too few.
    pub fn value(self, bytes: &[u8], big: bool) -> f64 {
        let mut value = Vec::with_capacity(1);
        self.column(bytes, bytes.len().max(1), big, &mut value);
        value.first().copied().unwrap_or(f64::NAN)
    }
}

fn each<const N: usize>(
    data: &[u8],
    stride: usize,
    out: &mut Vec<f64>,
    value: impl Fn([u8; N]) -> f64,
) {
    let records = data.chunks(stride.max(1));
    out.extend(records.map(|record| record.first_chunk().map_or(f64::NAN, |b| value(*b))));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_of_both_byte_orders() {
        let mut out = Vec::new();
        Scalar::I16.column(&[1, 0, 9, 0xfe, 0xff], 3, false, &mut out);
        Scalar::I16.column(&[0, 1, 9, 0xff, 0xfe], 3, true, &mut out);
        assert_eq!(out, [1.0, -2.0, 1.0, -2.0]);
        assert_eq!(Scalar::F64.value(&(-0.1f64).to_be_bytes(), true), -0.1);
        assert!(Scalar::F32.value(&[0, 0], false).is_nan());
    }
}
