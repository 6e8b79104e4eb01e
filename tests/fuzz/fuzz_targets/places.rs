#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    if let Ok(places) = lowspot::survey::places::read(&lowspot_fuzz::file(data), 20_000) {
        assert!(places.iter().flat_map(|place| place.at).all(f64::is_finite));
    }
});
