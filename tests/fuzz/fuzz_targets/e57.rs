#![no_main]

//! Pages of 1 kB end in a checksum, which no mutation would hit: each is mended, so that what lies behind is reached.

const PAGE: usize = 1024;
const SUM: usize = 4;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let mut data = data.to_vec();
    data.resize(data.len().next_multiple_of(PAGE), 0);
    for page in data.chunks_exact_mut(PAGE) {
        let (content, sum) = page.split_at_mut(PAGE - SUM);
        sum.copy_from_slice(&crc32c(content).to_be_bytes());
    }
    lowspot_fuzz::survey("e57", &data);
});

/// CRC-32C (Castagnoli), bit by bit.
fn crc32c(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| {
            (crc >> 1) ^ (0x82f6_3b78 & (crc & 1).wrapping_neg())
        })
    })
}
