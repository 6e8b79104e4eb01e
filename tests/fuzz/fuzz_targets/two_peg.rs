#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    if let Ok(test) = lowspot::survey::two_peg::read(&lowspot_fuzz::file(data), None) {
        assert!(test.collimation.is_finite());
    }
});
