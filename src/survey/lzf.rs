//! LZF, the compression of PCD files.
//!
//! In: compressed bytes and how many they become. Out: the bytes. Source: Marc Lehmann's LibLZF, the format as its
//! decoder reads it (from memory): a control byte under 32 begins a run of that many bytes and one, as they are; any
//! other repeats what was written before, its upper three bits and two being the length (7: another byte is added),
//! its lower five bits and the following byte the distance.

/// Bytes that `packed` compressed bytes can become, at most: three bytes repeat 7 + 255 + 2 at most.
pub fn most(packed: usize) -> usize {
    (packed / 3 + 1).saturating_mul(264)
}

/// Unpacks; None for damaged data or when more than `length` bytes come out.
pub fn unpack(packed: &[u8], length: usize) -> Option<Vec<u8>> {
    let mut out: Vec<u8> = Vec::with_capacity(length.min(most(packed.len())));
    let mut rest = packed;
    while let Some((&control, after)) = rest.split_first() {
        rest = after;
        let control = usize::from(control);
        if control < 32 {
            let (run, after) = rest.split_at_checked(control + 1)?;
            out.extend_from_slice(run);
            rest = after;
        } else {
            let mut next = || {
                let (&byte, after) = rest.split_first()?;
                rest = after;
                Some(usize::from(byte))
            };
            let mut repeat = (control >> 5) + 2;
            if control >> 5 == 7 {
                repeat += next()?;
            }
            let distance = ((control & 31) << 8) + next()? + 1;
            let start = out.len().checked_sub(distance)?;
            for at in start..start + repeat {
                out.push(*out.get(at)?);
            }
        }
        if out.len() > length {
            return None;
        }
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_and_repeats() {
        // "abc", then 5 bytes from 3 back: "abcab"; then 9 + 3 from 1 back.
        let packed = [2, b'a', b'b', b'c', 3 << 5, 2, 7 << 5, 3, 0];
        let expected = b"abcabcabbbbbbbbbbbbb";
        assert_eq!(unpack(&packed, expected.len()).unwrap(), expected);
        assert_eq!(unpack(&packed, 4), None);
        assert_eq!(unpack(&[5, 1], 9), None);
        assert_eq!(unpack(&[2 << 5, 0], 9), None);
    }
}
