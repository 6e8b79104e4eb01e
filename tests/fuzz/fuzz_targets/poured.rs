#![no_main]

use lowspot::survey::poured::Poured;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    if let Ok(poured) = Poured::read(&lowspot_fuzz::file(data)) {
        assert!(poured.depths.iter().all(|depth| depth.depth.is_finite()));
    }
});
